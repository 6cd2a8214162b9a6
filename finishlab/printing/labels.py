"""Labels for the backs of boards and the undersides of treads: number, recipe, which way round, date, a QR code.

The label is read from behind or from below, with the arrow ``FRONT EDGE`` pointing to the front edge. A tread turned
over about its long side keeps its left end at the left, so the other arrow points left. Of an upright part, seen from
behind with its top up, the left end lies at the right.

Sizes of sheets are those they are commonly sold in (common practice, no source). All of them lie centred on their page.
Whose sheet differs can check it by printing outlines on plain paper.
"""

from __future__ import annotations

import datetime as dt
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from finishlab.board import BoardRecord
from finishlab.errors import LogbookError
from finishlab.imaging.strip import PAGES, Paper, Rect
from finishlab.record import address, today
from finishlab.show.pdf import Look, Setter, Style
from finishlab.show.sheets import HELVETICA, POINTS_PER_MM, Sheet, line_width, new_sheet, points, qr_modules, qr_width
from finishlab.stair.documents import size_words
from finishlab.stair.names import UPRIGHT
from finishlab.stair.progress import progress_of, recipe_of, resolved
from finishlab.strip.page import module_outlines

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard
    from finishlab.stair.progress import PartRecipe
    from finishlab.stair.records import StoredPart, StoredStair


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """Where the labels lie on a page; millimetres."""

    name: str
    page: Paper
    columns: int
    rows: int
    width: float
    height: float
    pitch_x: float
    """From one label's left edge to the next one's."""
    pitch_y: float
    cut_lines: bool = False
    """Plain paper: lines to cut along."""

    @property
    def page_size(self) -> tuple[float, float]:
        """Width and height of the page."""
        return PAGES[self.page]

    @property
    def left(self) -> float:
        """Left margin."""
        return (self.page_size[0] - (self.columns - 1) * self.pitch_x - self.width) / 2

    @property
    def top(self) -> float:
        """Top margin."""
        return (self.page_size[1] - (self.rows - 1) * self.pitch_y - self.height) / 2

    @property
    def labels(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows

    def place(self, index: int) -> Rect:
        """Return where label `index` (from 0, row by row from the top left) lies on its page."""
        row, column = divmod(index % self.labels, self.columns)
        return Rect(self.left + column * self.pitch_x, self.top + row * self.pitch_y, self.width, self.height)

    def describe(self) -> str:
        """Return what the sheet is, in a few words."""
        page = "A4" if self.page == "a4" else "Letter"
        kind = "plain paper to cut" if self.cut_lines else "label sheet"
        size = f"{round(self.width, 1):g} x {round(self.height, 1):g} mm"
        return f"{page} {kind}, {self.columns} x {self.rows} labels of {size}"


SHEETS: Final = {
    sheet.name: sheet
    for sheet in (
        LabelSheet("a4-plain", "a4", 2, 5, 90.0, 52.0, 90.0, 52.0, cut_lines=True),
        LabelSheet("letter-plain", "letter", 2, 5, 90.0, 50.0, 90.0, 50.0, cut_lines=True),
        LabelSheet("a4-3x7", "a4", 3, 7, 63.5, 38.1, 66.04, 38.1),
        LabelSheet("a4-2x4", "a4", 2, 4, 99.1, 67.7, 101.64, 67.7),
        LabelSheet("letter-3x10", "letter", 3, 10, 66.675, 25.4, 69.85, 25.4),
        LabelSheet("letter-2x5", "letter", 2, 5, 101.6, 50.8, 106.3625, 50.8),
    )
}
"""Name -> sheet; ``columns x rows`` stand in the name."""


QR_LEAST: Final = 15.0
"""Least side of a QR code without its quiet zone, in millimetres."""
_QR_MOST: Final = 26.0
_QUIET: Final = 4
"""Modules of bare paper around the code (ISO/IEC 18004, 6.3.8)."""
_MODULE: Final = 0.4
"""Least side of a module that phones and 300 dpi printers still resolve well (common practice, no source)."""
_INSET: Final = 2.0
"""Kept free inside a label's edge: sheets are seldom fed to the millimetre."""
_BAND: Final = 3.6
"""Height of the band with the arrow to the front edge."""
_CUT_GREY: Final = 0.6
_MOST: Final = 240
"""Most letters below the recipe: more would be too small to read, and the code holds what it can."""
_LOOK: Final = Look(0, 0, HELVETICA, {"bold": Style(8, 10, bold=True), "plain": Style(8, 10, grey=0.15)})
_BOARD: Final = re.compile(r"[Bb]\d{1,9}")


@dataclass(frozen=True, slots=True)
class LabelView:
    """One label, for the back of a board or the underside of a tread."""

    number: str
    """As people call it: ``"B3"``, ``"tread 7"``."""
    address: str
    """Of its record, see `finishlab.record`."""
    recipe: str | None = None
    place: str | None = None
    """``"flight 1"``; for a board the wood."""
    date: dt.date | None = None
    text: str | None = None
    """A few more words."""
    edge: str = "front edge"
    """The edge the upward arrow points to; ``"top edge"`` of what stands upright."""
    left_points: Literal["left", "right"] = "left"
    """Where the left end lies as the label is read: see the top of this file."""


def labels_pdf(labels: Sequence[LabelView], sheet: LabelSheet, *, start: int = 1, outlines: bool = False) -> bytes:
    """Return labels as the bytes of a PDF; the same labels are always the same bytes.

    Parameters
    ----------
    labels
        In order.
    sheet
        What is printed on.
    start
        First free label of the first sheet, counted from 1, row by row from the top left.
    outlines
        Draw every label's outline, to be held against a sheet before it is used.
    """
    width, height = sheet.page_size
    pages = new_sheet(width, height, title="finishlab labels", subject=f"{sheet.describe()}, print at true size")
    for index, label in enumerate(labels, start=start - 1):
        if index == start - 1 or index % sheet.labels == 0:
            if index != start - 1:
                pages.next_page()
            for at in map(sheet.place, range(sheet.labels)) if sheet.cut_lines or outlines else ():
                round_ = 0.0 if sheet.cut_lines else 1.5
                pages.frame(at.x, at.y, at.width, at.height, line=0.15, grey=_CUT_GREY, radius=round_)
        _draw_label(pages, sheet.place(index), label)
    return pages.finish()


def qr_text(label: LabelView, *, side: float = _QR_MOST) -> str:
    """Return what the QR code holds: the address, then of what the label says as much as a code of `side` carries."""
    date = label.date.isoformat() if label.date else None
    known = [label.number, label.recipe, label.place, date, label.text]
    text = "\n".join([label.address, ", ".join(part for part in known if part)])
    while "\n" in text and qr_width(text) * _MODULE > max(side, QR_LEAST):
        shorter = text[: -max(4, len(text) // 16)].rstrip()
        text = shorter if len(shorter) > len(label.address) + 2 else label.address
    return text


def _draw_label(pages: Sheet, at: Rect, label: LabelView) -> None:
    inner = at.inset(_INSET, _INSET)
    _draw_arrows(pages, inner, label)
    body = Rect(inner.x, inner.y + _BAND + 0.8, inner.width, inner.height - _BAND - 0.8)
    side = min(_QR_MOST, body.height, body.width * 0.42)
    code = qr_modules(qr_text(label, side=side))
    # The quiet zone may lie over the label's bare rim, but not over words.
    side = max(QR_LEAST, min(side, len(code) * 0.7))
    module = side / len(code)
    x, y = body.right - side, body.y + (body.height - side) / 2
    if y - _QUIET * module < inner.y + _BAND:
        y = min(body.bottom - side, inner.y + _BAND + _QUIET * module * 0.5)
    loops = [[(x + column * module, y + row * module) for column, row in loop] for loop in module_outlines(~code)]
    pages.polygons(loops, 0.0)
    _draw_words(pages, Rect(body.x, body.y, x - body.x - _QUIET * module, body.height), label)


def _draw_words(pages: Sheet, at: Rect, label: LabelView) -> None:
    """Set the number large, the recipe below it, and the rest in what is left of the place; all smaller if need be."""
    big = points(min(7.0, at.height * 0.26))
    setter = Setter(_LOOK, at.width * POINTS_PER_MM, big * 1.3)
    number = setter.place(setter.text(label.number, "bold", fontSize=big, leading=big))
    y = at.height * 0.04 + pages.put(number, at.x, at.y - 0.18 * big / POINTS_PER_MM, at.width, at.height)
    rest = at.bottom - y
    date = label.date.isoformat() if label.date else None
    first = ", ".join(words for words in (label.place, date) if words)
    more = textwrap.shorten(label.text or "", _MOST, placeholder="…")
    small = "\n".join(words for words in (first, more) if words)
    setter = Setter(_LOOK, at.width * POINTS_PER_MM, rest * POINTS_PER_MM)
    told = [(label.recipe, "bold", min(3.0, rest * 0.16)), (small, "plain", min(2.4, rest * 0.13))]
    words = [
        setter.text(said, style, fontSize=points(cap), leading=points(cap) * 1.2, spaceBefore=1)
        for said, style, cap in told
        if said
    ]
    if words:
        pages.put(setter.place(*words), at.x, y, at.width, rest)


def _draw_arrows(pages: Sheet, at: Rect, label: LabelView) -> None:
    """Draw the band along the top: arrows up to the front edge in its middle, one to the left end at its side."""
    cap = 1.7
    baseline = at.y + _BAND - 0.9
    half = line_width(label.edge.upper(), cap=cap, bold=True) / 2
    middle = at.x + at.width / 2
    if label.left_points == "left":
        _arrow(pages, at.x, baseline - cap / 2, (-1, 0))
        pages.text(at.x + 4.2, baseline, "LEFT END", cap=cap, bold=True)
        middle = max(middle, at.x + 4.2 + line_width("LEFT END", cap=cap, bold=True) + 6.5 + half)
    else:
        _arrow(pages, at.right, baseline - cap / 2, (1, 0))
        pages.text(at.right - 4.2, baseline, "LEFT END", cap=cap, bold=True, align="right")
        middle = min(middle, at.right - 4.2 - line_width("LEFT END", cap=cap, bold=True) - 6.5 - half)
    pages.text(middle, baseline, label.edge.upper(), cap=cap, bold=True, align="centre")
    for x in (middle - half - 2.2, middle + half + 2.2):
        _arrow(pages, x, at.y, (0, -1))
    pages.line(at.x, at.y + _BAND, at.right, at.y + _BAND, line=0.15, grey=0.5)


def _arrow(pages: Sheet, x: float, y: float, way: tuple[int, int], long: float = 3.2) -> None:
    """Fill an arrow with its tip at (x, y), pointing `way`."""
    (dx, dy), head, half, shaft = way, long * 0.5, long * 0.34, long * 0.12
    along = ((0.0, 0.0), (head, half), (head, shaft), (long, shaft), (long, -shaft), (head, -shaft), (head, -half))
    pages.polygons([[(x - a * dx - b * dy, y - a * dy + b * dx) for a, b in along]], 0.0)


@dataclass(frozen=True, slots=True)
class Wish:
    """Which labels somebody wants."""

    boards: tuple[str, ...]
    """``"B3"`` ...; all if neither boards nor parts are named."""
    parts: str
    """As `finishlab.stair.names.parse_parts` reads it."""
    all_boards: bool = False


def split_wish(words: Sequence[str]) -> Wish:
    """Return boards and parts out of words such as ``B1 B2 treads 3-9`` or ``boards, all treads``."""
    text = " ".join(words).replace(",", " , ")
    # A landing has boards too.
    text, every = re.subn(r"(?i)\b(?:all +)?(?<!landing )(?:test )?boards\b(?! *\d)", " ", text)
    pieces = text.split()
    boards = tuple(dict.fromkeys(piece.upper() for piece in pieces if _BOARD.fullmatch(piece)))
    parts = " ".join(piece for piece in pieces if not _BOARD.fullmatch(piece)).strip(" ,")
    return Wish(boards, parts, all_boards=bool(every))


def label_views(log: Logbook, wish: Wish, *, date: dt.date | None = None) -> list[LabelView]:
    """Return the labels somebody wants: of the boards and parts named, else of all boards and treads.

    Parameters
    ----------
    log
        The logbook.
    wish
        What is named.
    date
        Day that stands on labels of parts; without it today. Boards have their own.

    Raises
    ------
    LogbookError
        ``"nothing-to-label"``, ``"unknown-board"``, ``"unknown-part"``.
    UsageError
        What `StoredStair.named` raises.
    """
    stair = log.stair()
    everything = not wish.boards and not wish.parts and not wish.all_boards
    every = everything or wish.all_boards
    boards = log.boards() if every else [log.board(number) for number in wish.boards]
    if everything:
        parts = [part for part in stair.parts if part.record.kind == "tread"]
    else:
        parts = stair.named(wish.parts) if wish.parts else []
    if not boards and not parts:
        raise LogbookError(
            "nothing-to-label",
            "There are no boards and no treads to label yet.",
            "Log a board first: finishlab board add --help",
        )
    name = log.folder.resolve().name
    views = [_board_label(stair, board, name) for board in boards]
    progress = progress_of(stair.events)
    day = date or today()
    return views + [_part_label(stair, part, recipe_of(stair, part, progress[part.ident]), name, day) for part in parts]


def _board_label(stair: StoredStair, board: StoredBoard, logbook: str) -> LabelView:
    record: BoardRecord = board.record
    told = [record.purpose, record.state, record.maker]
    return LabelView(
        number=board.number,
        address=address("board", board.number, logbook),
        recipe=record.recipe_name if record.recipe_number is None else resolved(stair, record.recipe_number).words,
        place=record.species,
        date=record.date,
        text=", ".join(word for word in told if word),
    )


def _part_label(
    stair: StoredStair, part: StoredPart, recipe: PartRecipe | None, logbook: str, day: dt.date
) -> LabelView:
    flight = next((each for each in stair.flights if each.number == part.record.flight_number), None)
    place = None if flight is None else flight.title
    if flight is not None and flight.record.name:
        place = f"{flight.title}, {flight.record.name}"
    told = [part.record.species, size_words(part.record.sizes), part.record.note]
    upright = part.record.kind in UPRIGHT
    return LabelView(
        number=stair.words(part),
        address=address("part", part.code, logbook),
        recipe=None if recipe is None else recipe.words,
        place=place,
        date=day,
        text="; ".join(word for word in told if word) or None,
        edge="top edge" if upright else "front edge",
        left_points="right" if upright else "left",
    )
