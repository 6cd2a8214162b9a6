"""A plain SVG on a sheet, so that screen and paper show one and the same picture."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

from finishlab.show.pdf.flow import Flow, Piece

if TYPE_CHECKING:
    from finishlab.show.pdf.sheet import Sheet

__all__ = ["outline_piece"]

_SPACE: Final = "{http://www.w3.org/2000/svg}"
_CAP: Final = 0.718
_SIZE: Final = 13.0
_GREYS: Final = {"#555": 0.33, "#222": 0.13, "#fff": 1.0}


def outline_piece(flow: Flow, svg: str) -> Piece:
    """Return an SVG of polygons and lines of text as a piece as wide as its sheet, or as high."""
    root = ET.fromstring(svg)  # noqa: S314 - our own document
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    scale = min(flow.width / width, (flow.height - 14.0) / height)

    def draw(x: float, y: float) -> None:
        for element in root:
            if element.tag == f"{_SPACE}polygon":
                _draw_polygon(flow.sheet, element, (x, y), scale)
            elif element.tag == f"{_SPACE}text" and element.text:
                _draw_text(flow.sheet, element, (x, y), scale)

    return Piece(height * scale, draw)


def _draw_polygon(sheet: Sheet, element: ET.Element, at: tuple[float, float], scale: float) -> None:
    pairs = (pair.split(",") for pair in element.attrib["points"].split())
    points = [(at[0] + float(x) * scale, at[1] + float(y) * scale) for x, y in pairs]
    line = float(element.attrib["stroke-width"]) * scale
    sheet.shape(points, fill=element.attrib["fill"], line=line, grey=0.3)


def _draw_text(sheet: Sheet, element: ET.Element, at: tuple[float, float], scale: float) -> None:
    said = element.attrib
    sheet.text(
        at[0] + float(said["x"]) * scale,
        at[1] + float(said["y"]) * scale,
        element.text or "",
        cap=float(said.get("font-size", _SIZE)) * _CAP * scale,
        bold=said.get("font-weight") == "bold",
        grey=_GREYS.get(said.get("fill", ""), 0.0),
        align="centre" if said.get("text-anchor") == "middle" else "left",
    )
