"""The stair drawn as SVG, as one sees it from below: steps above one another, each with its colour and its state."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final
from xml.sax.saxutils import escape

from finishlab.colorimetry.spaces import hex_colour
from finishlab.stair.shown import FlightShown, PartShown, back_words, flight_heading, grouped, stair_notes

__all__ = ["stair_svg"]

_WIDTH: Final = 880
_MIDDLE: Final = 160.0
_WIDEST: Final = 280.0
_WORDS: Final = 320.0
_FIGURES: Final = 745.0
_HEIGHTS: Final = {"tread": 24.0, "riser": 15.0, "landing nosing": 18.0, "landing board": 20.0}
_DRAWN: Final = tuple(_HEIGHTS)
_LINE: Final = 18.0
_BARE: Final = "#ffffff"
_USUAL_MM: Final = 900.0
_DARK_LETTERS: Final = 55.0
"""L* from which letters on a colour are dark."""


@dataclass(slots=True)
class _Page:
    """The drawing as it grows downwards."""

    scale: float
    """Pixels a millimetre."""
    y: float = 20.0
    parts: list[str] = field(default_factory=list)

    def text(self, x: float, y: float, words: str, style: str = "") -> None:
        """Write a line."""
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{style}>{escape(_plain(words))}</text>')

    def shape(self, points: Sequence[tuple[float, float]], fill: str) -> None:
        """Draw an outline filled with a colour."""
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.parts.append(f'<polygon points="{corners}" fill="{fill}" stroke="#444" stroke-width="0.8"/>')


def stair_svg(flights: Sequence[FlightShown]) -> str:
    """Return the whole stair as an SVG document; colours are as measured, a white part is not measured.

    Widths are to one scale, and what is out of square is drawn so; heights are not.
    """
    widest = max((part.record.sizes.front or 0.0 for flight in flights for part in flight.parts), default=0.0)
    page = _Page(_WIDEST / max(widest, _USUAL_MM / 3) if widest else _WIDEST / _USUAL_MM)
    for flight in reversed(flights):
        _draw_flight(page, flight)
    for note in stair_notes(flights):
        page.y += _LINE
        page.text(20, page.y, note)
    page.y += _LINE
    page.text(
        20, page.y, "Counted from the bottom up; left and right seen from below. White: not measured.", ' fill="#555"'
    )
    height = page.y + 20
    told = "; ".join(f"{part.words}: {part.state}" for flight in flights for part in flight.parts)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height:.0f}" width="{_WIDTH}" '
        f'height="{height:.0f}" font-family="sans-serif" font-size="13" role="img" aria-labelledby="title desc">'
    )
    parts = [
        head,
        '<title id="title">The stair, part by part</title>',
        f'<desc id="desc">{escape(_plain(told))}</desc>',
        f'<rect width="{_WIDTH}" height="{height:.0f}" fill="#ffffff"/>',
        *page.parts,
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _draw_flight(page: _Page, flight: FlightShown) -> None:
    page.y += 8
    page.text(20, page.y + 4, flight_heading(flight), ' font-weight="bold"')
    page.y += 14
    drawn = [part for part in flight.parts if part.record.kind in _DRAWN]
    known = [part.record.sizes.front for part in drawn if part.record.sizes.front is not None]
    usual = known[0] * page.scale if known else _WIDEST
    risers = [part for part in drawn if part.record.kind == "riser"]
    same = len({(part.state, part.lab) for part in risers}) == 1
    for part in sorted(drawn, key=_height_in_stair, reverse=True):
        _draw_part(page, part, usual, told=part not in risers or not same)
    listed_below = [part for part in flight.parts if part.record.kind not in _DRAWN] + (risers if same else [])
    for name, part in grouped(listed_below):
        page.y += _LINE
        page.text(_WORDS, page.y - 4, f"{name}: {part.state}")
        if part.lab is not None:
            if part.record.kind not in _DRAWN:
                page.shape(_box(_MIDDLE, 60, page.y - 15, 13), hex_colour(part.lab))
            page.text(_FIGURES, page.y - 4, _figures(part))
    page.y += 14


def _height_in_stair(part: PartShown) -> float:
    """Order from the bottom up: riser 1, tread 1, riser 2 ..., the top nosing above the last riser."""
    kind, place = part.record.kind, part.record.place
    return {"riser": place, "tread": place + 0.5, "landing nosing": 1000 + place}.get(kind, 500 + place)


def _draw_part(page: _Page, part: PartShown, usual: float, *, told: bool) -> None:
    """Draw one part in its colour; `usual` is the width of one that has no size, `told` whether its state is said."""
    kind, sizes = part.record.kind, part.record.sizes
    high = _HEIGHTS[kind]
    front = usual if sizes.front is None else sizes.front * page.scale
    back = front if sizes.back_width is None or kind == "riser" else sizes.back_width * page.scale
    left, right = _MIDDLE - front / 2, _MIDDLE + front / 2
    lean = 0.0
    if sizes.left_angle is not None and sizes.depth is not None:
        lean = sizes.depth * page.scale / math.tan(math.radians(sizes.left_angle))
    elif sizes.out_of_square:
        lean = (front - back) / 2
    top, bottom = page.y, page.y + high
    fill = _BARE if part.lab is None else hex_colour(part.lab)
    page.shape([(left + lean, top), (left + lean + back, top), (right, bottom), (left, bottom)], fill)
    dark = part.lab is None or part.lab[0] >= _DARK_LETTERS
    small = ' font-size="11"' if high < _LINE else ""
    page.text(
        _MIDDLE, (top + bottom) / 2 + 4, str(part.record.place),
        f' text-anchor="middle" fill="{"#222" if dark else "#fff"}"{small}',
    )  # fmt: skip
    grey = ' fill="#555" font-size="11"' if kind == "riser" else ""
    square = f" (front {sizes.words('front')}, back {back_words(sizes)})" if _slanted(part) else ""
    if told:
        name = part.name.words(with_level=False)
        page.text(_WORDS, (top + bottom) / 2 + 4, f"{name}: {part.state}{square}", grey)
        page.text(_FIGURES, (top + bottom) / 2 + 4, _figures(part), grey)
    page.y = bottom


def _slanted(part: PartShown) -> bool:
    sizes = part.record.sizes
    return sizes.out_of_square and None not in {sizes.front, sizes.back_width}


def _box(middle: float, wide: float, top: float, high: float) -> list[tuple[float, float]]:
    left, right = middle - wide / 2, middle + wide / 2
    return [(left, top), (right, top), (right, top + high), (left, top + high)]


def _figures(part: PartShown) -> str:
    return "" if part.lab is None else "L* {:.0f} a* {:.0f} b* {:.0f}".format(*(round(v) + 0.0 for v in part.lab))


def _plain(text: str) -> str:
    """Take out what no XML document may hold."""
    return "".join(c if c.isprintable() else " " for c in text)
