"""Sheets that are filled from top to bottom: text over as many as it takes, and rows of pieces that stay whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.imaging.strip import PAGES, Paper
from finishlab.show.sheets import DEJAVU, HELVETICA, Face, Sheet, break_lines, cap_of, fit, line_width

_FOOT: Final = 8.6
"""From the bottom of the sheet to the baseline of its last line."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a text is set; millimetres."""

    cap: float
    """Height of capitals."""
    leading: float
    """From baseline to baseline, in heights of capitals."""
    bold: bool = False
    grey: float = 0.0
    before: float = 0.0
    """Space kept free above and below."""
    after: float = 0.0
    smallest: float = 0.0
    """Height of capitals down to which it shrinks to keep within `height`; 0 lets it take the room it needs."""
    height: float = 0.0


@dataclass(frozen=True, slots=True)
class Look:
    """How all pages of one kind look; millimetres."""

    left: float
    right: float
    top: float
    bottom: float
    face: Face
    styles: Mapping[str, Style]
    """By the name of what is set: ``"plain"``, ``"heading"`` ..."""
    names: float = 0.0
    """Width of the column of names in facts; 0 sets them in front of their values."""
    rule: float = 0.0
    """Width of the line below a heading; 0 draws none."""
    rows: tuple[float, float, float, float] = (0.3, 0.1, 0.5, 1.0)
    """Of a table: line below the head, line below a row, its grey, space about a cell."""
    gap: float = 0.0
    """Below what belongs together."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Something of a height that is drawn from its left top down."""

    height: float
    draw: Callable[[float, float], None]


class Flow:
    """Sheets that are filled from top to bottom.

    Parameters
    ----------
    look
        How they look.
    paper
        Their size.
    title, subject
        What the file says of itself.
    foot
        At the foot of every sheet.
    """

    def __init__(self, look: Look, paper: Paper, *, title: str, subject: str, foot: str) -> None:
        width, height = PAGES[paper]
        self.look = look
        self.sheet = Sheet(width, height, title=title, subject=subject, compressed=True)
        self.width, self.bottom = width - look.left - look.right, height - look.bottom
        self.y, self.number = look.top, 1
        self._foot = foot
        self._draw_foot()

    @property
    def height(self) -> float:
        """Height of a whole sheet between its margins."""
        return self.bottom - self.look.top

    def room(self, height: float) -> bool:
        """Make sure that `height` is left on the sheet; return whether a new one was begun for it."""
        if self.y + height <= self.bottom or self.y == self.look.top:
            return False
        self.sheet.next_page()
        self.number += 1
        self.y = self.look.top
        self._draw_foot()
        return True

    def space(self, height: float) -> None:
        """Leave room free, but not at the top of a sheet."""
        if self.y > self.look.top:
            self.y += height

    def heading(self, words: str, style: str, *, room: float) -> None:
        """Set a heading above at least `room` of its sheet."""
        self.room(room)
        self.words(words, style, ruled=bool(self.look.rule) and style == "heading")

    def words(self, text: str, style: str = "plain", *, strong: str = "", ruled: bool = False) -> None:
        """Set a paragraph, `strong` in bold before it, over as many sheets as it takes."""
        how = self.look.styles[style]
        self.space(how.before)
        cap, lines = self._broken(text, how, self.width, strong)
        for line in lines:
            self.room(cap * how.leading)
            self._line(self.look.left, self.y + cap, line, cap, how)
            self.y += cap * how.leading
        if ruled:
            self.y -= cap * (how.leading - 1) - 1.8
            self.sheet.line(self.look.left, self.y, self.look.left + self.width, self.y, line=self.look.rule)
        self.y += how.after

    def text(self, text: str, style: str, width: float, *, strong: str = "") -> Piece:
        """Return a paragraph no wider than `width`."""
        how = self.look.styles[style]
        cap, lines = self._broken(text, how, width, strong)

        def draw(x: float, y: float) -> None:
            for index, line in enumerate(lines):
                self._line(x, y + how.before + cap * (1 + index * how.leading), line, cap, how)

        return Piece(how.before + cap * how.leading * len(lines) + how.after, draw)

    def lines(self, text: str, style: str, width: float) -> list[str]:
        """Return a text in lines no wider than `width`."""
        how = self.look.styles[style]
        return break_lines(text, width=width, cap=how.cap, bold=how.bold, face=self.look.face)

    def row(self, columns: Sequence[tuple[float, Sequence[Piece]]], *, below: float = 0.0) -> None:
        """Draw columns of pieces side by side, all on one sheet; each stands `x` from the left margin."""
        height = max((sum(piece.height for piece in pieces) for _, pieces in columns), default=0.0)
        self.room(height)
        for x, pieces in columns:
            y = self.y
            for piece in pieces:
                piece.draw(self.look.left + x, y)
                y += piece.height
        self.y += height + below

    def finish(self) -> bytes:
        """Return the file's bytes."""
        return self.sheet.finish()

    def _broken(self, text: str, how: Style, width: float, strong: str) -> tuple[float, list[tuple[str, str]]]:
        """Return the height of capitals, and lines as what is strong in them and the rest."""
        face = self.look.face
        if how.smallest:
            found = fit(
                text, width=width, height=how.height, cap=how.cap, smallest=how.smallest, bold=how.bold, face=face
            )
            return found.cap, [("", line) for line in found.lines]
        if not strong:
            lines = break_lines(text, width=width, cap=how.cap, bold=how.bold, face=face)
            return how.cap, [("", line) for line in lines]
        leads = break_lines(strong, width=width, cap=how.cap, bold=True, face=face)
        taken = self._taken(leads[-1], how.cap)
        first, *rest = break_lines(text, width=width, cap=how.cap, bold=how.bold, face=face, taken=taken)
        return how.cap, [*((lead, "") for lead in leads[:-1]), (leads[-1], first), *(("", line) for line in rest)]

    def _taken(self, strong: str, cap: float) -> float:
        return line_width(strong, cap=cap, bold=True, face=self.look.face) + cap * 0.44

    def _line(self, x: float, y: float, line: tuple[str, str], cap: float, how: Style) -> None:
        strong, words = line
        if strong:
            self.sheet.text(x, y, strong, cap=cap, bold=True, grey=how.grey, face=self.look.face)
            x += self._taken(strong, cap)
        if words:
            self.sheet.text(x, y, words, cap=cap, bold=how.bold, grey=how.grey, face=self.look.face)

    def _draw_foot(self) -> None:
        how, face, y = self.look.styles["foot"], self.look.face, self.sheet.height - _FOOT
        place = {"width": self.width - 20.0, "height": how.cap, "cap": how.cap, "smallest": how.cap * 0.75}
        said = fit(self._foot, **place, bold=how.bold, face=face)
        self.sheet.text(self.look.left, y, said.lines[0], cap=said.cap, grey=how.grey, face=face)
        right = self.sheet.width - self.look.right
        self.sheet.text(right, y, f"page {self.number}", cap=how.cap, grey=how.grey, align="right", face=face)


# -- how the kinds of pages look: the report and the house file --

_INK: Final = 0.1
_SOFT: Final = 0.29
_MM: Final = 25.4 / 72.0


def _style(
    size: float, leading: float, *, before: float = 0.0, after: float = 0.0, bold: bool = False, grey: float = _INK
) -> Style:
    """Return a style by its measures in points."""
    return Style(cap_of(size), leading * _MM / cap_of(size), bold, grey, before * _MM, after * _MM)


REPORT: Final = Look(
    left=16.0,
    right=16.0,
    top=16.0,
    bottom=16.0,
    face=DEJAVU,
    styles={
        "plain": _style(9, 12.5, after=4),
        "kicker": _style(8, 10.5, after=4, grey=_SOFT),
        "note": _style(8, 10.5, after=4, grey=_SOFT),
        "title": _style(17, 21, after=5, bold=True),
        "lead": _style(10.5, 14, after=4),
        "notice": _style(9, 12.5),
        "heading": _style(12, 15, before=12, after=5, bold=True),
        "small": _style(9.5, 12, before=7, after=3, bold=True),
        "cell": _style(8, 10),
        "head": _style(8, 10, bold=True),
        "detail": _style(8, 10.5, grey=_SOFT),
        "foot": _style(7.5, 10, grey=0.3),
    },
    rows=(1.0 * _MM, 0.5 * _MM, 0.77, 3.0 * _MM),
)
HOUSE: Final = Look(
    left=22.0,  # wide enough to be punched
    right=14.0,
    top=16.0,
    bottom=16.0,
    face=HELVETICA,
    styles={
        "plain": Style(2.1, 1.8),
        "note": Style(2.1, 1.8, after=1.6),
        "title": Style(6.5, 1.75, bold=True, after=0.0, smallest=3.0, height=16.0),
        "heading": Style(3.2, 1.75, bold=True, after=2.6, smallest=2.0, height=9.0),
        "name": Style(2.1, 1.8, bold=True),
        "cell": Style(1.89, 1.8),
        "head": Style(1.89, 1.8, bold=True),
        "caption": Style(1.8, 1.75, grey=0.15, smallest=1.4, height=6.0),
        "swatch name": Style(2.1, 1.75, bold=True, smallest=1.3, height=2.4),
        "swatch": Style(1.7, 1.75, grey=0.2, smallest=1.2, height=5.4),
        "foot": Style(1.6, 1.75, grey=0.35),
    },
    names=42.0,
    rule=0.3,
    rows=(0.1, 0.1, 0.5, 0.7),
    gap=5.0,
)
