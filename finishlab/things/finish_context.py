"""What a board's finish is held against in a logbook, for the soft limits."""

from __future__ import annotations

from typing import Final

from finishlab.logbook import Logbook, StoredBoard
from finishlab.matching.guards import sheen_of
from finishlab.records import CLEAR_ONLY, BoardRecord
from finishlab.records.finish_warnings import FinishWarning, WarningContext, board_warnings
from finishlab.stair.names import PartName, listed

__all__ = ["UNSTAINED", "finish_context", "new_warnings"]

UNSTAINED: Final = ("raw", CLEAR_ONLY)
"""Purposes of boards that have no stain."""


def finish_context(log: Logbook, board: StoredBoard, *, deciding: bool = False) -> WarningContext:
    """Return what a logged board is held against.

    Parameters
    ----------
    log
        The logbook.
    board
        The board.
    deciding
        Whether it is to become the standard: then lights and places of the floor count too.
    """
    standard = log.standard()
    finish = None if standard is None else standard.approval.finish
    own = standard is not None and standard.approval.board == board.number
    return WarningContext(
        tread_woods=_tread_woods(log),
        tread=None if own else finish,
        approved=None if own else finish,
        on_tread=deciding,
        deciding=deciding,
        floor_gloss_gu=_floor_gloss(log),
        clear_only=_clear_only(log, board, deciding=deciding),
        lights=len({m.light for m in board.measurements}) if deciding else None,
        spots=_places(log) if deciding else None,
        labels={can.number.key: can.record.label for can in log.cans(removed=True) if can.record.label},
    )


def new_warnings(log: Logbook, board: StoredBoard, before: BoardRecord | None = None) -> tuple[FinishWarning, ...]:
    """Return what the soft limits say of a board as it is logged now and did not say of the record before."""
    now = board_warnings(board.record, finish_context(log, board, deciding=_decided(board.record)))
    if before is None:
        return now
    old = board_warnings(before, finish_context(log, board, deciding=_decided(before)))
    known = {each.message for each in old}
    newly = _decided(board.record) and not _decided(before)
    return tuple(each for each in now if each.message not in known and (newly or each.code != "no-clear-only"))


def _decided(record: BoardRecord) -> bool:
    return record.purpose == "approved standard"


def _places(log: Logbook) -> int:
    """Return at how many places the floor was measured: spots of one name are one, and so is the floor at a board."""
    spots = log.floor_spots()
    places = {(spot.record.spot or spot.number).casefold() for spot in spots}
    logged = {measured.photo for spot in spots for measured in spot.measurements}
    beside = {board for board, photo in log.boards_beside_floor() if photo not in logged}
    return len(places | beside)


def _floor_gloss(log: Logbook) -> float | None:
    """Return the gloss that a note on the floor names, such as ``"matte"``; None if no note does."""
    return next((gloss for spot in log.floor_spots() if (gloss := sheen_of(spot.record.note)) is not None), None)


def _tread_woods(log: Logbook) -> tuple[tuple[str, str], ...]:
    """Return each wood of the treads, and which are of it where they differ."""
    woods: dict[str, list[PartName]] = {}
    for each in log.stair_parts():
        if each.record.kind == "tread" and each.record.species:
            woods.setdefault(each.record.species, []).append(each.name)
    return tuple((wood, listed(names) if len(woods) > 1 else "") for wood, names in woods.items())


def _clear_only(log: Logbook, board: StoredBoard, *, deciding: bool) -> bool | None:
    """Return whether a clear-only board is logged; None where that does not matter or was told before.

    It is told at the first stained board, and again when one is decided on.
    """
    others = log.kinds_of_boards(board.number)
    if any(purpose == CLEAR_ONLY for purpose, _ in others):
        return True
    stained = board.record.stain is not None and board.record.purpose not in UNSTAINED
    told = any(stained and purpose not in UNSTAINED for purpose, stained in others)
    return False if stained and (deciding or not told) else None
