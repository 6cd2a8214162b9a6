"""Recipes and standards as they are shown: with the boards and stair parts that are finished by them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from finishlab.reports.recipe_rows import CanRow, RecipeRow, StandardRow

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.stair.records import StoredPart

__all__ = ["can_rows", "recipe_rows", "standard_rows"]


def recipe_rows(log: Logbook) -> list[RecipeRow]:
    """Return every recipe with what is finished by it, by number."""
    standard = log.standard()
    boards: dict[int, list[str]] = {}
    for board in log.boards(brief=True):
        if board.record.recipe_number is not None:
            boards.setdefault(board.record.recipe_number, []).append(board.number)
    stair = log.stair()
    parts: dict[int, list[StoredPart]] = {}
    for part in stair.parts:
        if part.record.recipe_number is not None:
            parts.setdefault(part.record.recipe_number, []).append(part)
    rows = []
    for found in log.recipes():
        number = int(found.number[1:])
        since = None
        if standard is not None and standard.approval.recipe_number == number:
            since = standard.approval.date
        mine = parts.get(number, [])
        words = tuple(stair.words(part) for part in mine)
        listing = stair.listed(part.name for part in mine) if mine else ""
        rows.append(RecipeRow(found.number, found.record, since, tuple(boards.get(number, ())), words, listing))
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
    alike: dict[int, dict[str, list[StoredPart]]] = {}
    for event in stair.events:
        record = event.record
        if record.batch_number is not None:
            what = f"{record.step} {record.coat}" if record.kind == "coat" else record.kind
            went_on.setdefault(record.batch_number, []).append(f"{names[event.part]}: {what}, {record.date}")
            coats = alike.setdefault(record.batch_number, {})
            coats.setdefault(f"{what}, {record.date}", []).append(stair.part(event.part))
    boards: dict[int, list[str]] = {}
    for board in log.boards(brief=True):
        for number in board.record.finish.cans() if board.record.finish is not None else ():
            went_on.setdefault(number, []).append(f"board {board.number}")
            boards.setdefault(number, []).append(board.number)
    rows = []
    for can in log.cans():
        number = int(can.number[1:])
        told = [f"{stair.listed(part.name for part in parts)}: {what}" for what, parts in alike.get(number, {}).items()]
        told += [f"boards: {', '.join(dict.fromkeys(boards[number]))}"] if number in boards else []
        rows.append(CanRow(can.number, can.record, tuple(went_on.get(number, ())), tuple(told)))
    return rows
