"""The second page of a strip: lines and a ladder of greys in them, for eyes three metres away."""

from __future__ import annotations

from typing import Final

from finishlab.imaging.eye_page import EYE_ROWS, EyeRow
from finishlab.imaging.strip import PAGES, Paper
from finishlab.show.pdf.sheet import Sheet

__all__ = ["eye_page_pdf"]

_TOP: Final = 42.0
_EVERY: Final = 42.0
_GREY: Final = 0.3
_WORDS: Final = (
    "Print it like the strip: same printer, paper and settings, at 100 %. Hang it in even light and look from 3 m, one "
    "eye, with the glasses you read signs with. In each row one square vanishes among the lines. Type them: finishlab "
    "strip learn --number {number} --seen 1:STEP --seen 2:STEP ... Halves are fine; leave out a row that has none."
)


def eye_page_pdf(*, paper: Paper, number: int) -> bytes:
    """Return the page as the bytes of a PDF; the same page is always the same bytes."""
    width, height = PAGES[paper]
    title = f"finishlab strip {number:04d}, page for the eye"
    sheet = Sheet(width, height, title=title, subject="Lines and greys to be matched by eye, print at true size")
    left = (width - EYE_ROWS[0].screen.rect.width) / 2
    sheet.text(left, 16.2, f"By eye: strip {number:04d}", cap=3.6, bold=True)
    span = EYE_ROWS[0].screen.rect.width
    sheet.paragraph(left, 22.4, _WORDS.format(number=number), width=span, cap=1.9, leading=4.2, grey=_GREY)
    for index, row in enumerate(EYE_ROWS):
        _draw_row(sheet, row, left, _TOP + index * _EVERY, index + 1)
    return sheet.finish()


def _draw_row(sheet: Sheet, row: EyeRow, left: float, top: float, number: int) -> None:
    lines = [line.corners() for line in row.screen.lines()]
    sheet.polygons([[(left + float(x), top + float(y)) for x, y in corners] for corners in lines], 0.0)
    sheet.text(left - 5.0, top + row.screen.rect.height / 2 + 1.3, str(number), cap=2.6, bold=True)
    for step, (at, grey) in enumerate(zip(row.patches(), row.greys, strict=True), start=1):
        sheet.box(left + at.x, top + at.y, at.width, at.height, grey)
        sheet.text(left + at.centre[0], top + row.screen.rect.height + 3.0, str(step), cap=1.6, align="centre")
