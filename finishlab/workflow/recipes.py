"""Recipes and standards as they are shown: with the boards and stair parts that are finished by them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from finishlab.reports.recipe_rows import CanRow, RecipeRow, StandardRow

if TYPE_CHECKING:
    from finishlab.logbook import Logbook

__all__ = ["can_rows", "recipe_rows", "standard_rows"]


def recipe_rows(log: Logbook) -> list[RecipeRow]:
    """Return every recipe with what is finished by it, by number."""
    standard = log.standard()
    boards: dict[int, list[str]] = {}
    for board in log.boards(brief=True):
        if board.record.recipe_number is not None:
            boards.setdefault(board.record.recipe_number, []).append(board.number)
    stair = log.stair()
    parts: dict[int, list[str]] = {}
    for part in stair.parts:
        if part.record.recipe_number is not None:
            parts.setdefault(part.record.recipe_number, []).append(stair.words(part))
    rows = []
    for found in log.recipes():
        number = int(found.number[1:])
        since = None
        if standard is not None and standard.approval.recipe_number == number:
            since = standard.approval.date
        rows.append(
            RecipeRow(found.number, found.record, since, tuple(boards.get(number, ())), tuple(parts.get(number, ())))
        )
    return rows


def standard_rows(log: Logbook, *, earlier: bool = False) -> list[StandardRow]:
    """Return today's standard, or with `earlier` every one there was, the newest first."""
    names = {found.number: found.record.name for found in log.recipes()}
    found = [each for each in reversed(log.standards()) if earlier or each.ended is None]
    return [
        StandardRow(each.approval, names.get(each.approval.recipe), None if each.ended is None else each.ended.date())
        for each in found
    ]


def can_rows(log: Logbook) -> list[CanRow]:
    """Return every can with the coats that came from it, by number."""
    stair = log.stair()
    names = {part.ident: stair.words(part) for part in stair.parts}
    went_on: dict[int, list[str]] = {}
    for event in stair.events:
        record = event.record
        if record.batch_number is not None:
            what = f"{record.step} {record.coat}" if record.kind == "coat" else record.kind
            went_on.setdefault(record.batch_number, []).append(f"{names[event.part]}: {what}, {record.date}")
    for board in log.boards(brief=True):
        for number in board.record.finish.cans() if board.record.finish is not None else ():
            went_on.setdefault(number, []).append(f"board {board.number}")
    return [CanRow(can.number, can.record, tuple(went_on.get(int(can.number[1:]), ()))) for can in log.cans()]
