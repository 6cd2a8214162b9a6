"""What a logbook keeps of the stair: flights, parts, what was done to them, and their measured colours.

Every change is one transaction and one entry of the history for each part or flight it touches, under its code
(``2.T7``, ``flight 2``). What is removed is only no longer shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import fields, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, UsageError
from finishlab.logbook import writing as rows
from finishlab.logbook.reading import read_history
from finishlab.logbook.stored import Change
from finishlab.logbook.tables import FlightRow, PartRow, RecipeRow
from finishlab.stair.event_store import EventShelf
from finishlab.stair.logged import StoredPart, StoredStair
from finishlab.stair.names import level_title
from finishlab.stair.reading import (
    flight_record,
    levels,
    live_part,
    part_name,
    part_record,
    read_parts,
    read_stair,
)
from finishlab.stair.records import Flight, Part

__all__ = ["StairShelf", "noted_flight", "noted_part", "put_values", "stair_levels"]


class StairShelf(EventShelf):
    """The part of a logbook that keeps the stair; `finishlab.logbook.store.Logbook` is one."""

    _who: str

    def _read(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def _write(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    # Reading

    def stair(self) -> StoredStair:
        """Return the whole stair, in six queries whatever there is."""
        with self._read() as session:
            return read_stair(session)

    def stair_parts(self) -> tuple[StoredPart, ...]:
        """Return the parts from the bottom up, without what was done to them."""
        with self._read() as session:
            return read_parts(session)

    def stair_history(self, code: str) -> tuple[Change, ...]:
        """Return what was changed of a part (``"2.T7"``) or flight (``"flight 2"``), first to last."""
        with self._read() as session:
            return read_history(session, code)

    # Flights and parts

    def add_flights(self, flights: Mapping[int, Flight], parts: Iterable[Part] = ()) -> None:
        """Log flights and landings by their numbers in the order of the stair, and parts, all or none.

        A flight that was removed and is entered again takes up its old number and history; its old parts stay removed.

        Raises
        ------
        LogbookError
            ``"flight-there"``, and what `add_parts` raises.
        """
        with self._write() as session:
            for number, record in flights.items():
                _add_flight(session, number, record, self._who)
            _add_parts(session, parts, self._who)

    def add_parts(self, parts: Iterable[Part]) -> None:
        """Log parts, all or none.

        Raises
        ------
        LogbookError
            ``"unknown-flight"``, ``"unknown-recipe"``, ``"part-there"``.
        """
        with self._write() as session:
            _add_parts(session, parts, self._who)

    def edit_flight(self, number: int, **changes: Any) -> None:  # noqa: ANN401 - each field has its own type
        """Change fields of a flight's record; what they were is kept in the history.

        Raises
        ------
        LogbookError
            ``"unknown-flight"``.
        UsageError
            What `Flight` raises.
        """
        with self._write() as session:
            row = _flight(session, number)
            before = flight_record(row)
            after = replace(before, **changes)
            if after != before:
                noted = noted_flight(row)
                put_values(row, after)
                subject = level_title(stair_levels(session)[number])
                rows.note_change(session, self._who, "edit", subject, before=noted, after=noted_flight(row))

    def edit_parts(self, idents: Sequence[int], **changes: Any) -> int:  # noqa: ANN401 - each field has its own type
        """Change fields of parts; return how many changed.

        `sizes` names only the sizes that change; None takes one out. Flight, kind, place and side stay: they are what
        the part is called by.

        Raises
        ------
        LogbookError
            ``"unknown-part"``, ``"unknown-recipe"``.
        UsageError
            What `Part` and `PartSizes` raise.
        """
        with self._write() as session:
            _check_recipe(session, changes.get("recipe_number"))
            named = stair_levels(session)
            return sum(_edit_part(session, live_part(session, each), changes, named, self._who) for each in idents)

    def remove_flight(self, number: int) -> None:
        """Show a flight or landing no longer, and none of its parts.

        Raises
        ------
        LogbookError
            ``"unknown-flight"``.
        """
        with self._write() as session:
            row = _flight(session, number)
            named = stair_levels(session)
            mine = select(PartRow).where(PartRow.flight_number == number, PartRow.removed.is_(None))
            for part in session.scalars(mine).all():
                _remove_part(session, part, named, self._who)
            row.removed = rows.now()
            rows.note_change(session, self._who, "remove", level_title(named[number]), before=noted_flight(row))

    def remove_parts(self, idents: Sequence[int]) -> None:
        """Show parts no longer; what was done to them stays in the logbook.

        Raises
        ------
        LogbookError
            ``"unknown-part"``.
        """
        with self._write() as session:
            named = stair_levels(session)
            for ident in idents:
                _remove_part(session, live_part(session, ident), named, self._who)


def stair_levels(session: Session) -> dict[int, int]:
    """Return by what level each flight is called."""
    return levels(session.scalars(select(FlightRow)).all())


def _flight(session: Session, number: int) -> FlightRow:
    row = session.get(FlightRow, number)
    if row is None or row.removed is not None:
        raise LogbookError(
            "unknown-flight",
            f"The stair has no {level_title(number)}.",
            "See what there is with: finishlab stairs show",
        )
    return row


def _add_flight(session: Session, number: int, record: Flight, who: str) -> None:
    row = session.get(FlightRow, number)
    if row is not None and row.removed is None:
        raise LogbookError(
            "flight-there",
            f"The stair has a {level_title(number)} already.",
            "Change it with finishlab stairs edit, or name the next.",
        )
    if row is None:
        row = FlightRow(number=number, created=rows.now(), **rows.record_values(record))
        session.add(row)
    else:
        put_values(row, record)
        row.removed = None
    session.flush()
    rows.note_change(session, who, "add", level_title(stair_levels(session)[number]), after=noted_flight(row))


def _add_parts(session: Session, parts: Iterable[Part], who: str) -> None:
    named = stair_levels(session)
    shown = select(PartRow).where(PartRow.removed.is_(None))
    there = {part_name(part_record(row), named) for row in session.scalars(shown)}
    flights = set(session.scalars(select(FlightRow.number).where(FlightRow.removed.is_(None))))
    for part in parts:
        if part.flight_number not in flights:
            _flight(session, part.flight_number)
        _check_recipe(session, part.recipe_number)
        name = part_name(part, named)
        if name in there:
            raise LogbookError(
                "part-there",
                f"The stair has a part {name.words(with_level=True)} already.",
                "Change it with finishlab stairs edit.",
            )
        there.add(name)
        row = PartRow(created=rows.now(), **rows.record_values(part) | {"sizes": part.sizes.as_dict() or None})
        session.add(row)
        session.flush()
        rows.note_change(session, who, "add", name.code, after=noted_part(row, part))


def _edit_part(session: Session, row: PartRow, changes: Mapping[str, Any], named: Mapping[int, int], who: str) -> bool:
    before = part_record(row)
    sizes = changes.get("sizes")
    values = dict(changes)
    if sizes is not None:
        values["sizes"] = before.sizes.with_changes(sizes)
    fixed = {"flight_number", "kind", "place", "side"} & set(values)
    if fixed:
        raise UsageError(
            "part-name-fixed", "A part keeps its flight, kind, place and side.", "Remove it, and add another."
        )
    after = replace(before, **values)
    if after == before:
        return False
    put_values(row, after)
    session.flush()
    code = part_name(after, named).code
    rows.note_change(session, who, "edit", code, before=noted_part(row, before), after=noted_part(row, after))
    return True


def _remove_part(session: Session, row: PartRow, named: Mapping[int, int], who: str) -> None:
    """Hide a part and note what it was."""
    row.removed = rows.now()
    record = part_record(row)
    rows.note_change(session, who, "remove", part_name(record, named).code, before=noted_part(row, record))


def noted_flight(row: FlightRow) -> dict[str, Any]:
    """Return what the history holds of a flight or landing: with its key, for landings are called by another."""
    return {"flight": row.number} | flight_record(row).as_dict()


def noted_part(row: PartRow, record: Part) -> dict[str, Any]:
    """Return what the history holds of a part: with its key, since a place can be taken by another part later."""
    return {"part": row.id} | record.as_dict()


def put_values(row: FlightRow | PartRow, record: Flight | Part) -> None:
    """Put a record's values into its row."""
    values = rows.record_values(record)
    for field in fields(record):
        setattr(row, field.name, values[field.name])
    if isinstance(row, PartRow) and isinstance(record, Part):
        row.sizes = record.sizes.as_dict() or None


def _check_recipe(session: Session, number: int | None) -> None:
    if number is not None and session.get(RecipeRow, number) is None:
        raise LogbookError("unknown-recipe", f"The logbook has no recipe R{number}.", "See: finishlab recipe list")
