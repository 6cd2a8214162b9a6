"""The stair's SVG as a drawing for paper, so that screen and paper show one and the same picture."""

from __future__ import annotations

from typing import Final
from xml.etree import ElementTree as ET

from finishlab.reports.print.views import Drawing, DrawnShape, DrawnText

__all__ = ["svg_drawing"]

_SPACE: Final = "{http://www.w3.org/2000/svg}"
_CAP: Final = 0.718
_SIZE: Final = 13.0
_GREYS: Final = {"#555": 0.33, "#222": 0.13, "#fff": 1.0}


def svg_drawing(svg: str) -> Drawing:
    """Return polygons and lines of text of an SVG that `finishlab.stair.drawing` wrote."""
    root = ET.fromstring(svg)  # noqa: S314 - our own document
    shapes, texts = [], []
    for element in root:
        if element.tag == f"{_SPACE}polygon":
            points = tuple(_point(pair) for pair in element.attrib["points"].split())
            shapes.append(DrawnShape(points, element.attrib["fill"], float(element.attrib["stroke-width"])))
        elif element.tag == f"{_SPACE}text" and element.text:
            texts.append(
                DrawnText(
                    float(element.attrib["x"]),
                    float(element.attrib["y"]),
                    element.text,
                    float(element.attrib.get("font-size", _SIZE)) * _CAP,
                    "centre" if element.attrib.get("text-anchor") == "middle" else "left",
                    element.attrib.get("font-weight") == "bold",
                    _GREYS.get(element.attrib.get("fill", ""), 0.0),
                )
            )
    return Drawing(float(root.attrib["width"]), float(root.attrib["height"]), tuple(shapes), tuple(texts))


def _point(pair: str) -> tuple[float, float]:
    x, y = pair.split(",")
    return float(x), float(y)
