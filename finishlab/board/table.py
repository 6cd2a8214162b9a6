"""Many boards from one CSV file: every row is read and checked before any is logged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.board.records import CLEAR_ONLY
from finishlab.errors import FinishlabError, LogbookError
from finishlab.finish.entering import UNSTAINED, Draft, finish_context, read_record_rows
from finishlab.finish.warnings import board_warnings

if TYPE_CHECKING:
    from finishlab.board.records import BoardRecord
    from finishlab.logbook import Logbook, StoredBoard

__all__ = ["Imported", "import_boards", "rows_words"]

_MOST_NAMED: Final = 5


@dataclass(frozen=True, slots=True)
class Imported:
    """Boards logged from the rows of a file, in its order; row 1 is the first below the head.

    Parameters
    ----------
    boards
        The boards.
    warnings
        What is likely a slip -> the rows it is about.
    seen
        Row -> the board that was logged before and says the same.
    """

    boards: tuple[StoredBoard, ...]
    warnings: Mapping[str, tuple[int, ...]]
    seen: Mapping[int, str]


def import_boards(log: Logbook, path: str | Path) -> Imported:
    """Log every row of a CSV file as a board, all or none; their photos are added afterwards.

    Raises
    ------
    UsageError, LogbookError
        What is wrong with the first row that cannot be a board, which is named, and how many more there are;
        ``"not-csv"`` and what `finishlab.finish.entering.read_record_rows` raises for the file.
    """
    records = _records(log, Path(path))
    before = {_plain(board.record): board.number for board in log.boards(brief=True)}
    boards = tuple(log.add_boards(records))
    seen = {row: before[_plain(record)] for row, record in enumerate(records, start=1) if _plain(record) in before}
    return Imported(boards, _warnings(log, boards), seen)


class _Recipes:
    """The logbook's recipes, each looked up once."""

    def __init__(self, log: Logbook) -> None:
        self.recipe = cache(log.recipe)


def _records(log: Logbook, path: Path) -> list[BoardRecord]:
    recipes = _Recipes(log)
    cans = {can.number.key for can in log.cans()}
    found: list[BoardRecord] = []
    wrong: list[tuple[int, FinishlabError]] = []
    for row, read in enumerate(read_record_rows(path), start=1):
        try:
            record = Draft().with_said(recipes, [read()]).record()
            missing = [] if record.finish is None else sorted(set(record.finish.cans()) - cans)
            if missing:
                raise LogbookError("unknown-can", f"There is no can C{missing[0]}.", "See: finishlab can list")
            found.append(record)
        except FinishlabError as error:
            wrong.append((row, error))
    if wrong:
        raise _named(path, wrong)
    return found


def _named(path: Path, wrong: Sequence[tuple[int, FinishlabError]]) -> FinishlabError:
    """Return the first row's error with the row's name, and how many others are wrong."""
    row, first = wrong[0]
    where = f"{path.name}, row {row}"
    message = first.message if first.message.startswith(where) else f"{where}: {first.message}"
    if len(wrong) > 1:
        others = rows_words([row for row, _ in wrong[1:]])
        message += f" {others.capitalize()} {'is' if len(wrong) == 2 else 'are'} wrong too."
    return type(first)(first.code, message, f"{first.hint} Nothing was logged.".strip())


def rows_words(rows: Sequence[int]) -> str:
    """Return rows in words: ``row 3``, ``rows 3, 5 and 9``, ``rows 3, 4, 5, 6, 7 and 12 more``."""
    if len(rows) == 1:
        return f"row {rows[0]}"
    named = [str(row) for row in rows[:_MOST_NAMED]]
    last = f"{len(rows) - _MOST_NAMED} more" if len(rows) > _MOST_NAMED else named.pop()
    return f"rows {', '.join(named)} and {last}"


def _plain(record: BoardRecord) -> str:
    """Return what two records of one board say alike: all but the day they were written down."""
    return repr(sorted((name, value) for name, value in record.as_dict().items() if name != "date"))


def _warnings(log: Logbook, boards: Sequence[StoredBoard]) -> dict[str, tuple[int, ...]]:
    context = finish_context(log, boards[0])
    compared = context.clear_only is True or boards[0].record.purpose == CLEAR_ONLY
    held = replace(context, clear_only=None)
    found: dict[str, list[int]] = {}
    for row, board in enumerate(boards, start=1):
        for each in board_warnings(board.record, held):
            found.setdefault(each.message, []).append(row)
    stained = [row for row, b in enumerate(boards, start=1) if b.record.stain and b.record.purpose not in UNSTAINED]
    if stained and not compared:
        one = boards[stained[0] - 1]
        for each in board_warnings(one.record, replace(held, clear_only=False)):
            found.setdefault(each.message, stained)
    return {message: tuple(rows) for message, rows in found.items()}
