"""The stair drawn as SVG, as one sees it from below: steps above one another, filled as far as their coats are on.

What is on a part is solid in the finish's own colour, what is to come is hatched in it: one sees how far the work is
without reading. The drawing is of polygons and texts alone, since paper knows no more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final
from xml.sax.saxutils import escape

from finishlab.colorimetry.spaces import hex_colour
from finishlab.stair.documents import FlightShown, Lab, PartShown, back_words, flight_heading, grouped, stair_notes

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
_UNKNOWN: Final = "#9aa0a6"
"""The colour of a finish of which no board was measured."""
_HATCH: Final = (7.0, 1.8, 5.0)
"""Of what is to come: from one bar to the next, its width, and how far its top leans, in pixels."""
_DOTS: Final = (9.0, 1.5)
"""Of sanded wood: from one dot to the next, and its side, in pixels."""
_EDGE: Final = 2.6
"""Height of the bar below what is fitted."""
_LEGEND: Final = (
    "Solid: coats that are on; hatched: coats to come; dots: sanded; a bar below: fitted; !: not as planned.",
    "The colour is as measured on the part, else of its recipe's board, else grey. White: no finish yet.",
)


@dataclass(slots=True)
class _Page:
    """The drawing as it grows downwards."""

    scale: float
    """Pixels a millimetre."""
    colours: Mapping[int, Lab]
    """Of the finishes, by the number of their recipe."""
    y: float = 20.0
    parts: list[str] = field(default_factory=list)

    def text(self, x: float, y: float, words: str, style: str = "") -> None:
        """Write a line."""
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{style}>{escape(_plain(words))}</text>')

    def shape(self, points: Sequence[tuple[float, float]], fill: str, line: float = 0.8) -> None:
        """Draw an outline filled with a colour; without a line where it is 0."""
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        stroke = "#444" if line else fill
        self.parts.append(f'<polygon points="{corners}" fill="{fill}" stroke="{stroke}" stroke-width="{line:g}"/>')


@dataclass(frozen=True, slots=True)
class _Board:
    """A part as it is drawn: a board with its bottom edge, its top edge, and how far up it reaches."""

    bottom: tuple[float, float]
    """Left and right end of the bottom edge."""
    top: tuple[float, float]
    low: float
    """Height on the page of the bottom edge."""
    high: float

    def at(self, share: float, up: float) -> tuple[float, float]:
        """Return the point so far along from the left, and so far up, both from 0 to 1."""
        left = self.bottom[0] + (self.top[0] - self.bottom[0]) * up
        right = self.bottom[1] + (self.top[1] - self.bottom[1]) * up
        return left + (right - left) * share, self.low + (self.high - self.low) * up

    def band(self, first: float = 0.0, last: float = 1.0, up: float = 1.0) -> list[tuple[float, float]]:
        """Return the outline from one share of the width to another, up to a share of the height."""
        return [self.at(first, up), self.at(last, up), self.at(last, 0.0), self.at(first, 0.0)]


def stair_svg(flights: Sequence[FlightShown], colours: Mapping[int, Lab] | None = None) -> str:
    """Return the whole stair as an SVG document.

    Widths are to one scale, and what is out of square is drawn so; heights are not.

    Parameters
    ----------
    flights
        The stair, from the bottom up.
    colours
        Recipe -> the colour of its finish, CIELAB D65 2 degrees, as measured on its board.
    """
    widest = max((part.record.sizes.front or 0.0 for flight in flights for part in flight.parts), default=0.0)
    page = _Page(_WIDEST / max(widest, _USUAL_MM / 3) if widest else _WIDEST / _USUAL_MM, colours or {})
    for flight in reversed(flights):
        _draw_flight(page, flight)
    for note in stair_notes(flights):
        page.y += _LINE
        page.text(20, page.y, note)
    for line in ("Counted from the bottom up; left and right seen from below.", *_LEGEND):
        page.y += _LINE
        page.text(20, page.y, line, ' fill="#555"')
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
                box = _Board((_MIDDLE - 30, _MIDDLE + 30), (_MIDDLE - 30, _MIDDLE + 30), page.y - 2, page.y - 15)
                _fill(page, box, part)
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
    _fill(page, _Board((left, right), (left + lean, left + lean + back), bottom, top), part)
    grey = ' fill="#555" font-size="11"' if kind == "riser" else ""
    square = f" (front {sizes.words('front')}, back {back_words(sizes)})" if _slanted(part) else ""
    if told:
        name = part.name.words(with_level=False)
        page.text(_WORDS, (top + bottom) / 2 + 4, f"{name}: {part.state}{square}", grey)
        page.text(_FIGURES, (top + bottom) / 2 + 4, _figures(part), grey)
    page.y = bottom


def _fill(page: _Page, board: _Board, part: PartShown) -> None:
    """Fill a part as far as its coats are on, in the colour of its finish."""
    own = page.colours.get(part.recipe_number or 0)
    finish = _UNKNOWN if own is None else hex_colour(own)
    on, want = sum(part.coats.values()), sum(part.wanted.values())
    share = min(1.0, on / want) if want else float(bool(on))
    bare = _BARE if part.lab is None or on else hex_colour(part.lab)
    page.shape(board.band(), bare)
    if share:
        page.shape(board.band(0.0, share), hex_colour(part.lab) if part.lab is not None else finish)
    if want and share < 1:
        _hatch(page, board, share, finish)
    if not on and part.state.startswith("sanded"):
        _dot(page, board)
    if part.fitted:
        page.shape(board.band(up=_EDGE / (board.low - board.high)), "#222222", line=0)
    if part.deviations:
        page.text(board.bottom[1] + 6, (board.low + board.high) / 2 + 5, "!", ' font-weight="bold"')


def _hatch(page: _Page, board: _Board, first: float, colour: str) -> None:
    """Draw leaning bars from a share of the width on."""
    pitch, wide, lean = (size / max(1.0, board.bottom[1] - board.bottom[0]) for size in _HATCH)
    start = first + pitch / 2
    while start + wide + lean <= 1:
        corners = [board.at(start + lean, 1), board.at(start + lean + wide, 1), board.at(start + wide, 0)]
        page.shape([*corners, board.at(start, 0)], colour, line=0)
        start += pitch


def _dot(page: _Page, board: _Board) -> None:
    """Draw a row of dots."""
    pitch, side = (size / max(1.0, board.bottom[1] - board.bottom[0]) for size in _DOTS)
    count = int((1 - side) / pitch)
    for index in range(count):
        x, y = board.at((index + 0.5) * pitch, 0.5)
        page.shape([(x, y), (x + _DOTS[1], y), (x + _DOTS[1], y + _DOTS[1]), (x, y + _DOTS[1])], "#777777", line=0)


def _slanted(part: PartShown) -> bool:
    sizes = part.record.sizes
    return sizes.out_of_square and None not in {sizes.front, sizes.back_width}


def _figures(part: PartShown) -> str:
    return "" if part.lab is None else "L* {:.0f} a* {:.0f} b* {:.0f}".format(*(round(v) + 0.0 for v in part.lab))


def _plain(text: str) -> str:
    """Take out what no XML document may hold."""
    return "".join(c if c.isprintable() else " " for c in text)
