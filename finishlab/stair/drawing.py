"""The stair drawn as SVG, as one sees it from below: steps above one another, filled as far as their coats are on.

What is on a part is solid in the finish's own colour, what is to come is hatched in it: one sees how far the work is
without reading. The drawing is of polygons and texts alone, since paper knows no more; on a screen each part is a link
too.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from finishlab.colorimetry.spaces import hex_colour
from finishlab.stair.documents import FlightShown, Lab, PartShown, back_words, flight_heading, grouped, stair_notes
from finishlab.stair.names import listed

_HEIGHTS: Final = {"tread": 24.0, "riser": 15.0, "landing nosing": 18.0, "landing board": 20.0}
_DRAWN: Final = tuple(_HEIGHTS)
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
LEGEND: Final = (
    "Counted from the bottom up; left and right seen from below.",
    "Solid: coats that are on; hatched: coats to come; dots: sanded; a bar below: fitted; !: not as planned.",
    "The colour is as measured on the part, else of its recipe's board, else grey. White: no finish yet.",
)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where what stands, in pixels."""

    width: int
    left: float
    """Of the headings."""
    middle: float
    """Of the boards, along the width."""
    widest: float
    """Length of the longest board."""
    words: float
    """Left edge of what is said of a part."""
    figures: float
    """Left edge of its colour in figures; 0 for in the words."""
    line: float
    """From one line of text to the next."""
    row: float
    """Height of a part at least."""
    letters: int = 0
    """Most letters in a line of words; 0 where there is room for all."""
    heading_letters: int = 0
    """The same of a heading, in bold."""


_PAPER: Final = _Layout(880, 20, 160, 280, 320, 745, 18, 0)
_SCREEN: Final = _Layout(360, 4, 80, 148, 166, 0, 20, 48, 23, 34)
"""As wide as a phone held upright, each part high enough for a thumb (48 pixels, W3C WCAG 2.2, 2.5.8 wants 24)."""


@dataclass(slots=True)
class _Page:
    """The drawing as it grows downwards."""

    scale: float
    """Pixels a millimetre."""
    colours: Mapping[int, Lab]
    """Of the finishes, by the number of their recipe."""
    lay: _Layout
    link: Callable[[str], str] | None = None
    """Parts in words -> the address of their page."""
    say: Callable[[str], str] = str
    """A name or a state -> the same in the reader's language."""
    y: float = 20.0
    parts: list[str] = field(default_factory=list)

    def text(self, x: float, y: float, words: str, style: str = "") -> None:
        """Write a line."""
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{style}>{escape(_plain(words))}</text>')

    def told(self, name: str, part: PartShown) -> str:
        """Return what a part is called and how far it is."""
        return f"{self.say(name)}: {self.say(part.state)}"

    @contextmanager
    def part(self, alike: Sequence[PartShown], name: str, low: float) -> Iterator[None]:
        """Make what is drawn meanwhile, from here down to `low`, one link to parts that are alike."""
        if self.link is None:
            yield
            return
        words = self.told(name, alike[0]) + (f"; {self.say('not as planned')}" if alike[0].deviations else "")
        to = self.link(listed([part.name for part in alike], with_level=True))
        self.parts.append(f"<a href={quoteattr(to)} aria-label={quoteattr(_plain(words))}>")
        high, width = low - self.y, self.lay.width
        self.parts.append(
            f'<rect class="hit" y="{self.y:.1f}" width="{width}" height="{high:.1f}" fill="transparent"/>'
        )
        yield
        self.parts.append("</a>")

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
    page = _drawn(flights, _Page(_scale(flights, _PAPER), colours or {}, _PAPER))
    for note in stair_notes(flights):
        page.y += page.lay.line
        page.text(20, page.y, note)
    for line in LEGEND:
        page.y += page.lay.line
        page.text(20, page.y, line, ' fill="#555"')
    told = "; ".join(f"{part.words}: {part.state}" for flight in flights for part in flight.parts)
    width, height = page.lay.width, f"{page.y + 20:.0f}"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" font-family="sans-serif" font-size="13" role="img" aria-labelledby="title desc">'
    )
    parts = [
        head,
        '<title id="title">The stair, part by part</title>',
        f'<desc id="desc">{escape(_plain(told))}</desc>',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        *page.parts,
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def linked_stair(
    flights: Sequence[FlightShown],
    link: Callable[[str], str],
    *,
    colours: Mapping[int, Lab] | None = None,
    say: Callable[[str], str] = str,
    title: str,
) -> str:
    """Return the stair as an SVG element of a page, each part a link with a name for those who do not see it.

    What is odd, and `LEGEND`, stand beside it.

    Parameters
    ----------
    flights, colours
        As of `stair_svg`.
    link
        Parts in words, ``"2/tread 7"`` -> an address.
    say
        A heading, a name or a state -> the same in the reader's language.
    title
        What the drawing is called.
    """
    page = _drawn(flights, _Page(_scale(flights, _SCREEN), colours or {}, _SCREEN, link, say))
    head = (
        f'<svg class="stair" viewBox="0 0 {page.lay.width} {page.y:.0f}" font-size="16" fill="currentColor" '
        f'role="group" aria-label={quoteattr(title)}>'
    )
    return "\n".join([head, *page.parts, "</svg>"]) + "\n"


def _scale(flights: Sequence[FlightShown], lay: _Layout) -> float:
    widest = max((part.record.sizes.front or 0.0 for flight in flights for part in flight.parts), default=0.0)
    return lay.widest / max(widest, _USUAL_MM / 3) if widest else lay.widest / _USUAL_MM


def _drawn(flights: Sequence[FlightShown], page: _Page) -> _Page:
    for flight in reversed(flights):
        _draw_flight(page, flight)
    return page


def _draw_flight(page: _Page, flight: FlightShown) -> None:
    page.y += 8
    for line in _wrapped(page, page.say(flight_heading(flight)), page.lay.heading_letters):
        page.text(page.lay.left, page.y + 4, line, ' font-weight="bold"')
        page.y += page.lay.line
    page.y += 14 - page.lay.line
    drawn = [part for part in flight.parts if part.record.kind in _DRAWN]
    known = [part.record.sizes.front for part in drawn if part.record.sizes.front is not None]
    usual = known[0] * page.scale if known else page.lay.widest
    risers = [part for part in drawn if part.record.kind == "riser"]
    same = len({(part.state, part.lab) for part in risers}) == 1
    for part in sorted(drawn, key=_height_in_stair, reverse=True):
        _draw_part(page, part, usual, told=part not in risers or not same)
    listed_below = [part for part in flight.parts if part.record.kind not in _DRAWN] + (risers if same else [])
    for name, alike in grouped(listed_below):
        _draw_together(page, name, alike)
    page.y += 14


def _draw_together(page: _Page, name: str, alike: Sequence[PartShown]) -> None:
    """Tell parts that are not drawn, or all risers in one state, in a line."""
    part, lay = alike[0], page.lay
    lines = _wrapped(page, page.told(name, part))
    low = page.y + max(lay.row, lay.line * len(lines))
    with page.part(alike, name, low):
        first = page.y + (low - page.y - lay.line * (len(lines) - 1)) / 2 + 5
        for number, line in enumerate(lines):
            page.text(lay.words, first + number * lay.line, line)
        if part.lab is not None:
            if part.record.kind not in _DRAWN:
                edges = (lay.middle - 30, lay.middle + 30)
                _fill(page, _Board(edges, edges, first + 2, first - 11), part)
            if lay.figures:
                page.text(lay.figures, first, _figures(part))
    page.y = low


def _height_in_stair(part: PartShown) -> float:
    """Order from the bottom up: riser 1, tread 1, riser 2 ..., the top nosing above the last riser."""
    kind, place = part.record.kind, part.record.place
    return {"riser": place, "tread": place + 0.5, "landing nosing": 1000 + place}.get(kind, 500 + place)


def _draw_part(page: _Page, part: PartShown, usual: float, *, told: bool) -> None:
    """Draw one part in its colour; `usual` is the width of one that has no size, `told` whether its state is said."""
    kind, sizes, lay = part.record.kind, part.record.sizes, page.lay
    front = usual if sizes.front is None else sizes.front * page.scale
    back = front if sizes.back_width is None or kind == "riser" else sizes.back_width * page.scale
    left, right = lay.middle - front / 2, lay.middle + front / 2
    lean = 0.0
    if sizes.left_angle is not None and sizes.depth is not None:
        lean = sizes.depth * page.scale / math.tan(math.radians(sizes.left_angle))
    elif sizes.out_of_square:
        lean = (front - back) / 2
    name = part.name.words(with_level=False)
    square = f" (front {sizes.words('front')}, back {back_words(sizes)})" if _slanted(part) else ""
    lines = _wrapped(page, page.told(name, part) + square) if told else []
    top = page.y
    low = top + max(_HEIGHTS[kind], lay.row if told else 0.0, lay.line * len(lines) if lay.letters else 0.0)
    board = _Board((left, right), (left + lean, left + lean + back), low, top)
    if not told:
        _fill(page, board, part)
    else:
        with page.part([part], part.words, low):
            _fill(page, board, part)
            grey = ' fill="#555" font-size="11"' if kind == "riser" and not lay.letters else ""
            first = (top + low - lay.line * (len(lines) - 1)) / 2 + 4
            for number, line in enumerate(lines):
                page.text(lay.words, first + number * lay.line, line, grey)
            if lay.figures:
                page.text(lay.figures, first, _figures(part), grey)
    page.y = low


def _wrapped(page: _Page, words: str, letters: int | None = None) -> list[str]:
    """Return words as lines of the layout, of `letters` letters at most if they are not those beside a board."""
    most = page.lay.letters if letters is None else letters
    return textwrap.wrap(words, most) if most else [words]


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
