"""What people call by a letter and a number, boards, spots, recipes, cans, trials: found, changed and removed."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Literal, TypeVar, cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.errors import LogbookError, UsageError
from finishlab.files import SAID
from finishlab.logbook.tables import (
    DAMAGED,
    ApprovalRow,
    BatchRow,
    BoardRow,
    FloorSpotRow,
    PartRow,
    RecipeRow,
    TrialRow,
    Unreadable,
)
from finishlab.logbook.writing import AnyRecord, change_light, note_change, now, record_values
from finishlab.recipe import Can, Recipe
from finishlab.record import Number, Record
from finishlab.strip import TrialRecord

AnyRow = BoardRow | FloorSpotRow | RecipeRow | BatchRow | TrialRow
R = TypeVar("R", bound=Record)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of numbered thing."""

    letter: str
    """Before its number: ``"B"`` for B3."""
    subject: str
    """How codes of failures name it."""
    words: str
    command: str
    """Adds the first."""
    record: type[Record]


KINDS: Final[Mapping[Any, Kind]] = {
    BoardRow: Kind("B", "board", "board", "finishlab board add PHOTO ...", BoardRecord),
    FloorSpotRow: Kind("F", "spot", "floor spot", "finishlab floor add PHOTO ...", FloorSpotRecord),
    RecipeRow: Kind("R", "recipe", "recipe", "finishlab recipe add NAME ...", Recipe),
    BatchRow: Kind("C", "can", "can", "finishlab can add PRODUCT --kind KIND", Can),
    TrialRow: Kind("H", "trial", "trial", "finishlab trial same PHOTO ...", TrialRecord),
}


def subject_name(row: AnyRow) -> Number:
    """Return the number people see, ``"B3"``, ``"F3"``, ``"R3"``, ``"C3"`` or ``"H3"``."""
    return Number.of(KINDS[type(row)].letter, row.number)


def record_in(kind: type[R], row: object) -> R:
    """Return the record a row holds, whose columns bear the names of its fields; raises what building it raises."""
    return kind.from_dict({each.name: getattr(row, each.name) for each in fields(cast("Any", kind))})


def read_record(row: AnyRow) -> Any:  # noqa: ANN401 - the record of its kind
    """Return the record a numbered row holds."""
    return record_in(KINDS[type(row)].record, row)


Named = TypeVar("Named", bound=AnyRow)
Row = TypeVar("Row")
T = TypeVar("T")
_DIGITS: Final = re.compile(r"[0-9]{1,9}")
_MOST_NAMED: Final = 12
_MOMENTS: Final = frozenset({"created", "made"})
_LONGEST_WHY: Final = 200
_NOT_JUDGED_AGAIN: Final = ("date", "opened")


def table_of(name: str) -> type[AnyRow] | None:
    """Return the table of ``"B3"``, ``"F3"``, ``"R3"``, ``"C3"`` or ``"H3"``; None if it is none of these."""
    plain = name.strip().upper()
    if not _DIGITS.fullmatch(plain[1:]):
        return None
    return next((table for table, kind in KINDS.items() if kind.letter == plain[:1]), None)


def find(session: Session, table: type[Named], number: str, *, removed: bool = False, lock: bool = False) -> Named:
    """Return the row of ``"B3"``, or ``"3"`` since the table is known.

    With `lock` it is held for this transaction, where the database locks rows.

    Raises
    ------
    LogbookError
        ``"unknown-board"``, ``"unknown-spot"``, ``"unknown-recipe"``, ``"unknown-can"``,
        ``"unknown-trial"``, with what there is in the hint; removed ones too, unless `removed`.
    """
    kind = KINDS[table]
    name = number.strip().upper()
    if _DIGITS.fullmatch(name):
        name = f"{kind.letter}{name}"
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


def _what_there_is(session: Session, table: type[Named]) -> str:
    kind = KINDS[table]
    numbers = session.scalars(select(table.number).where(table.removed.is_(None)).order_by(table.number)).all()
    if not numbers:
        return f"No {kind.words} is logged; add one with: {kind.command}"
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


def check_named(session: Session, record: AnyRecord, before: AnyRecord | None = None) -> None:
    """See that the recipe and the cans a record names are there; those it named before may have been removed since.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"`` or ``"unknown-can"``.
    """
    recipe = getattr(record, "recipe_number", None)
    if recipe is not None and recipe != getattr(before, "recipe_number", None):
        find(session, RecipeRow, f"R{recipe}")
    for can in set(_cans(record)) - set(_cans(before)):
        find(session, BatchRow, f"C{can}")


def _cans(record: AnyRecord | None) -> tuple[int, ...]:
    finish = getattr(record, "finish", None)
    return () if finish is None else tuple(finish.cans())


def edit(session: Session, row: AnyRow, changes: Mapping[str, Any], who: str) -> None:
    """Change fields of a record, and note what they were; no change leaves no entry.

    A new light also holds for the photos measured in the old one: it was one word for both.

    Raises
    ------
    UsageError
        ``"unknown-field"``, or what the record raises.
    LogbookError
        ``"unknown-recipe"`` or ``"unknown-can"`` if a record comes to name one that is not there.
    """
    before = read_record(row)
    known = [f.name for f in fields(before)]
    for name in changes:
        if name not in known:
            words = KINDS[type(row)].words
            raise UsageError("unknown-field", f"A {words} has no field “{name}”.", f"It has: {', '.join(known)}.")
    given = dict(changes)
    if "date" in known:
        # A date that stays is not judged again: the clock may have been set back since.
        given["latest"] = None if any(name in changes for name in _NOT_JUDGED_AGAIN) else dt.date.max
    after = replace(before, **given)
    if after == before:
        return
    check_named(session, after, before)
    for name, value in record_values(after).items():
        setattr(row, name, value)
    noted = after.as_dict()
    if isinstance(after, BoardRecord | FloorSpotRecord) and isinstance(before, BoardRecord | FloorSpotRecord):
        subject: Literal["board", "spot"] = "board" if isinstance(after, BoardRecord) else "spot"
        if after.light != before.light:
            noted["photos"] = change_light(session, subject, row.number, before.light, after.light)
    note_change(session, who, "edit", subject_name(row), before=before.as_dict(), after=noted)


def remove(session: Session, number: str, who: str) -> None:
    """Hide what is logged and note what it was.

    Raises
    ------
    LogbookError
        ``"unknown-subject"``, what `find` raises, ``"recipe-in-use"``.
    """
    table = table_of(number)
    if table is None:
        raise LogbookError("unknown-subject", f"“{number}” is no number of anything logged.", "Name it like B3 or C2.")
    row: AnyRow = find(session, table, number, lock=True)
    check_unused(session, row)
    row.removed = now()
    note_change(session, who, "remove", subject_name(row), before=read_record(row).as_dict())


def check_unused(session: Session, row: AnyRow) -> None:
    """See that no board, part or standard has a recipe that is to go.

    Raises
    ------
    LogbookError
        ``"recipe-in-use"``.
    """
    if not isinstance(row, RecipeRow):
        return
    users: tuple[type[BoardRow | PartRow], ...] = (BoardRow, PartRow)
    for table in users:
        named = select(table).where(table.recipe_number == row.number, table.removed.is_(None)).limit(1)
        user = session.scalars(named).first()
        if user is not None:
            who = f"board {subject_name(user)}" if isinstance(user, BoardRow) else "a part of the stair"
            raise LogbookError(
                "recipe-in-use", f"The recipe R{row.number} is that of {who}.", "Give that another recipe first."
            )
    today = select(ApprovalRow).where(ApprovalRow.recipe_number == row.number, ApprovalRow.ended.is_(None)).limit(1)
    if session.scalars(today).first() is not None:
        raise LogbookError(
            "recipe-in-use", f"The recipe R{row.number} is the standard.", "Approve a board of another first."
        )


def readable(
    named: Callable[[Any], str], read: Callable[[Any], T], found: Iterable[Row], *, strict: bool = False
) -> Iterator[tuple[Row, T]]:
    """Yield rows with what they say; one that cannot be read is left out, with a word, unless `strict`.

    Raises
    ------
    LogbookError
        ``"logbook-damaged"``, if `strict`.
    """
    for row in found:
        try:
            said = decoded(named(row), read, row)
        except LogbookError as error:
            if strict:
                raise
            left_out(error)
            continue
        yield row, said


def left_out(error: LogbookError) -> None:
    """Say that an entry which cannot be read is passed over."""
    SAID.warning("%s It is left out. What can be done: finishlab check", error.message)


def decoded(what: str, decode: Callable[[Row], T], row: Row) -> T:
    """Return what a row says of something.

    Raises
    ------
    LogbookError
        ``"logbook-damaged"`` if it cannot be meant.
    """
    try:
        for name, value in getattr(row, "__dict__", {}).items():
            if isinstance(value, Unreadable):
                raise ValueError(f"{name} cannot be “{value[:40]}”")  # noqa: TRY004 - caught with all others
            if value is None and name in _MOMENTS:
                raise ValueError(f"{name} is missing")
        return decode(row)
    except DAMAGED as error:
        raise damaged(what, error) from error


def damaged(what: str, error: Exception) -> LogbookError:
    """Return the failure that an entry of something cannot be read."""
    return LogbookError(
        "logbook-damaged",
        f"An entry of {what} in the logbook cannot be read ({why(error)}).",
        "Update finishlab if a newer one wrote it, or see what can be done: finishlab check",
    )


def why(error: Exception) -> str:
    """Return what an error says of an entry, in one short line."""
    text = " ".join(str(getattr(error, "message", error)).split())
    return f"{text} is missing" if isinstance(error, LookupError) else text[:_LONGEST_WHY]
