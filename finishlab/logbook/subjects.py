"""Boards and floor spots by their numbers: finding, changing and removing them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Literal, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, UsageError
from finishlab.logbook.reading import board_record, spot_record
from finishlab.logbook.tables import BoardRow, FloorSpotRow
from finishlab.logbook.writing import change_light, note_change, now, record_values
from finishlab.records import BoardRecord, FloorSpotRecord

__all__ = ["edit", "find", "remove", "subject_name"]

AnyRow = BoardRow | FloorSpotRow
Row = TypeVar("Row", bound=AnyRow)
_DIGITS: Final = re.compile(r"[0-9]{1,9}")
_MOST_NAMED: Final = 12


@dataclass(frozen=True, slots=True)
class _Kind:
    letter: Literal["B", "F"]
    subject: Literal["board", "spot"]
    words: str
    command: str


_BOARD: Final = _Kind("B", "board", "board", "finishlab board add")
_SPOT: Final = _Kind("F", "spot", "floor spot", "finishlab floor add")


def _kind(table: type[Row]) -> _Kind:
    return _BOARD if issubclass(table, BoardRow) else _SPOT


def subject_name(row: AnyRow) -> str:
    """Return the number people see, ``"B3"`` or ``"F3"``."""
    return f"{_kind(type(row)).letter}{row.number}"


def find(session: Session, table: type[Row], number: str, *, removed: bool = False, lock: bool = False) -> Row:
    """Return the row of ``"B3"`` or ``"F3"``; with `lock`, held for this transaction where the database locks rows.

    Raises
    ------
    LogbookError
        ``"unknown-board"`` or ``"unknown-spot"``, with what there is in the hint; removed ones too, unless `removed`.
    """
    kind = _kind(table)
    name = number.strip().upper()
    row = None
    if name[:1] == kind.letter and _DIGITS.fullmatch(name[1:]):
        asked = select(table).where(table.number == int(name[1:]))
        row = session.scalars(asked.with_for_update() if lock else asked).first()
    if row is None:
        raise LogbookError(
            f"unknown-{kind.subject}", f"The logbook has no {kind.words} {number}.", _what_there_is(session, table)
        )
    if row.removed is not None and not removed:
        raise LogbookError(
            f"unknown-{kind.subject}",
            f"The {kind.words} {name} was removed on {row.removed.astimezone().date().isoformat()}.",
            _what_there_is(session, table),
        )
    return row


def _what_there_is(session: Session, table: type[Row]) -> str:
    kind = _kind(table)
    numbers = session.scalars(select(table.number).where(table.removed.is_(None)).order_by(table.number)).all()
    if not numbers:
        return f"No {kind.words} is logged; add one with: {kind.command} PHOTO ..."
    return f"Logged: {_listed(kind.letter, numbers)}."


def _listed(letter: str, numbers: Sequence[int]) -> str:
    """Return ``"B1 to B4, B7"``: runs of three or more are drawn together, and a long list is cut."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts: list[str] = []
    for run in runs:
        parts += [f"{letter}{run[0]} to {letter}{run[-1]}"] if len(run) > 2 else [f"{letter}{n}" for n in run]
    return ", ".join(parts) if len(parts) <= _MOST_NAMED else ", ".join(parts[:_MOST_NAMED]) + " and more"


def _record(row: AnyRow) -> BoardRecord | FloorSpotRecord:
    return board_record(row) if isinstance(row, BoardRow) else spot_record(row)


def edit(session: Session, row: AnyRow, changes: Mapping[str, Any], who: str) -> None:
    """Change fields of a record, and note what they were; no change leaves no entry.

    A new light also holds for the photos measured in the old one: it was one word for both.

    Raises
    ------
    UsageError
        ``"unknown-field"``, or what the record raises.
    """
    before = _record(row)
    known = [f.name for f in fields(before)]
    for name in changes:
        if name not in known:
            words = _kind(type(row)).words
            raise UsageError("unknown-field", f"A {words} has no field “{name}”.", f"It has: {', '.join(known)}.")
    # A date that stays is not judged again: the clock may have been set back since.
    latest = None if "date" in changes else dt.date.max
    after = replace(before, **changes, latest=latest)
    if after == before:
        return
    for name, value in record_values(after).items():
        setattr(row, name, value)
    noted = after.as_dict()
    if after.light != before.light:
        noted["photos"] = change_light(session, _kind(type(row)).subject, row.number, before.light, after.light)
    note_change(session, who, "edit", subject_name(row), before=before.as_dict(), after=noted)
    session.flush()


def remove(session: Session, row: AnyRow, who: str) -> None:
    """Hide a board or spot and note what it was."""
    row.removed = now()
    note_change(session, who, "remove", subject_name(row), before=_record(row).as_dict())
