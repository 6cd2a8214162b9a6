"""The fonts of the report's PDF: DejaVu Sans, which comes with Matplotlib, and others for the letters it has not."""

from __future__ import annotations

from functools import cache
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from finishlab.reports.details import board_details
from finishlab.reports.print.fonts import beside
from finishlab.reports.report.story import tell

if TYPE_CHECKING:
    from finishlab.reports.report.contents import ReportContent

__all__ = ["BOLD", "REGULAR", "marked", "own_letters", "report_letters_missing"]

REGULAR, BOLD = "Report", "ReportBold"


@cache
def own_letters() -> frozenset[int]:
    """Return the letters of DejaVu Sans."""
    from reportlab.pdfbase.pdfmetrics import getFont

    _fonts()
    return frozenset(getFont(REGULAR).face.charToGlyph)


@cache
def _fonts() -> None:
    """Make fonts known that hold more than Latin letters; they are Matplotlib's own copy of DejaVu Sans."""
    import matplotlib as mpl
    from reportlab.lib.fonts import addMapping
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    registerFont(TTFont(REGULAR, folder / "DejaVuSans.ttf"))
    registerFont(TTFont(BOLD, folder / "DejaVuSans-Bold.ttf"))
    for bold in (0, 1):
        addMapping(REGULAR, bold, 0, BOLD if bold else REGULAR)


def marked(words: str) -> str:
    """Return a text as reportlab's markup, letters that DejaVu Sans has not in another font."""
    from reportlab.lib.fonts import addMapping

    marked = ""
    for font, piece in beside(words, own_letters()):
        if font is None:
            marked += escape(piece)
            continue
        for bold, italic in product((0, 1), repeat=2):
            addMapping(font, bold, italic, font)
        marked += f'<font name="{font}">{escape(piece)}</font>'
    return marked


def report_letters_missing(content: ReportContent) -> str:
    """Return the letters of a report that no font here can print; in its PDF they stand as ``?``."""
    story = tell(content)
    boards = [text for row in content.boards.values() for pair in board_details(row.record) for text in pair]
    spots = [text for spot in content.spots for text in (spot.record.spot or "", spot.record.note or "")]
    facts = [text for _, text in story.facts]
    said = [content.title, content.light, story.answer, story.detail, *boards, *spots, *facts]
    missing = (char for words in said for char in words or "" if beside(char, own_letters()) == [(None, "?")])
    return "".join(dict.fromkeys(char for char in missing if char != "?"))
