"""How the kinds of pages look on paper: the report and the house file."""

from __future__ import annotations

from typing import Final

from finishlab.show.pdf.flow import Look, Style
from finishlab.show.pdf.fonts import DEJAVU, HELVETICA
from finishlab.show.pdf.setting import cap_of

__all__ = ["HOUSE", "REPORT"]

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
