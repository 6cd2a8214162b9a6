"""From the logbook to what labels show."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from finishlab.errors import UsageError
from finishlab.records import BoardRecord, Recipe, today
from finishlab.records.addresses import Address
from finishlab.records.short_text import recipe_name
from finishlab.reports.print.views import LabelView
from finishlab.stair.progress import progress_of, recipe_of
from finishlab.stair.shown import size_words

if TYPE_CHECKING:
    import datetime as dt

    from finishlab.logbook import Logbook, StoredBoard
    from finishlab.stair.records import StoredPart, StoredStair

__all__ = ["Wish", "label_views", "recipe_words", "split_wish"]

_BOARD: Final = re.compile(r"[Bb]\d{1,9}")
_UPRIGHT: Final = ("riser", "stringer", "skirt")


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
        ``"unknown-board"``, ``"unknown-part"``.
    UsageError
        ``"nothing-to-label"``, and what `StoredStair.named` raises.
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
        raise UsageError(
            "nothing-to-label",
            "There are no boards and no treads to label yet.",
            "Log a board first: finishlab board add --help",
        )
    name = log.folder.resolve().name
    views = [_board_label(board, stair.recipes.get(board.record.recipe_number or 0), name) for board in boards]
    progress = progress_of(stair.events)
    day = date or today()
    return views + [_part_label(stair, part, recipe_of(part, progress.get(part.ident)), name, day) for part in parts]


def recipe_words(number: int | None, recipe: Recipe | None) -> str | None:
    """Return a recipe as ``"R1 honey, satin"``."""
    if number is None:
        return None
    return f"R{number}" if recipe is None else f"R{number} {recipe.name}"


def _board_label(board: StoredBoard, recipe: Recipe | None, logbook: str) -> LabelView:
    record: BoardRecord = board.record
    told = [record.purpose, record.state, record.maker]
    return LabelView(
        number=board.number,
        address=str(Address("board", board.number, logbook)),
        recipe=recipe_words(record.recipe_number, recipe) or recipe_name(record),
        place=record.species,
        date=record.date,
        text=", ".join(word for word in told if word),
    )


def _part_label(stair: StoredStair, part: StoredPart, recipe: int | None, logbook: str, day: dt.date) -> LabelView:
    flight = next((each for each in stair.flights if each.number == part.record.flight_number), None)
    place = None if flight is None else flight.title
    if flight is not None and flight.record.name:
        place = f"{flight.title}, {flight.record.name}"
    told = [part.record.species, size_words(part.record.sizes), part.record.note]
    upright = part.record.kind in _UPRIGHT
    return LabelView(
        number=stair.words(part),
        address=str(Address("part", part.code, logbook)),
        recipe=None if recipe is None else recipe_words(recipe, stair.recipes.get(recipe)),
        place=place,
        date=day,
        text="; ".join(word for word in told if word) or None,
        edge="top edge" if upright else "front edge",
        left_points="right" if upright else "left",
    )
