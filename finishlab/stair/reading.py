"""The stair's rows to frozen objects, in a fixed number of queries however many there are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from functools import partial
from typing import Any, Final, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, UsageError
from finishlab.logbook.reading import read_approvals
from finishlab.logbook.tables import ChangeRow, FlightRow, MeasurementRow, PartEventRow, PartRow
from finishlab.record import Record
from finishlab.stair.names import PartName, level_of
from finishlab.stair.records import (
    Flight,
    Part,
    PartEvent,
    Standing,
    StoredColour,
    StoredEvent,
    StoredFlight,
    StoredPart,
)

__all__ = [
    "EVENT_FIELDS",
    "Records",
    "event_record",
    "event_values",
    "flight_record",
    "levels_of",
    "noted_event",
    "noted_flight",
    "noted_part",
    "part_code",
    "part_name",
    "part_record",
    "read_colours",
    "read_events",
    "read_flights",
    "read_parts",
    "read_standards",
    "stair_levels",
]

R = TypeVar("R", bound=Record)
EVENT_FIELDS: Final = tuple(each.name for each in fields(PartEvent))


class Records(Mapping[int, R]):
    """Records by number, each decoded when it is asked for."""

    def __init__(self, record: type[R], stored: Iterable[Any]) -> None:
        self._decode = partial(_damaged, record.__name__.lower(), partial(_record_of, record))
        self._rows = {row.number: row for row in stored}
        self._known: dict[int, R] = {}

    def __getitem__(self, number: int) -> R:
        if number not in self._known:
            self._known[number] = self._decode(self._rows[number])
        return self._known[number]

    def __iter__(self) -> Iterator[int]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def _record_of(record: type[R], row: Any) -> R:  # noqa: ANN401 - a row of any table
    """Return the record a row holds."""
    return record.from_dict({each.name: getattr(row, each.name) for each in fields(record)})  # type: ignore[arg-type]  # all are dataclasses


flight_record = partial(_record_of, Flight)
part_record = partial(_record_of, Part)
event_record = partial(_record_of, PartEvent)


def event_values(event: PartEvent) -> dict[str, Any]:
    """Return an event's values as its row keeps them; conditions of which nothing is known as nothing."""
    values = {name: getattr(event, name) for name in EVENT_FIELDS}
    return values | {"conditions": event.conditions.as_dict() or None}


def _damaged(what: str, decode: Callable[[Any], R], row: Any) -> R:  # noqa: ANN401 - a row of any table
    """Return the decoded row; one that cannot be read is told as a damaged logbook."""
    try:
        return decode(row)
    except (LookupError, TypeError, ValueError, AttributeError, UsageError) as error:
        raise LogbookError(
            "logbook-damaged",
            f"A {what} of the stair in the logbook cannot be read ({error}).",
            "Update finishlab if a newer one wrote it, or restore the folder from a backup.",
        ) from error


def read_flights(found: Sequence[FlightRow]) -> tuple[StoredFlight, ...]:
    """Return the flights of all rows that were not removed, from the bottom up."""
    levels = levels_of(found)
    flights = [
        StoredFlight(row.number, levels[row.number], _damaged("flight", flight_record, row))
        for row in found
        if row.removed is None
    ]
    return tuple(sorted(flights, key=lambda flight: flight.level))


def read_parts(session: Session, levels: Mapping[int, int]) -> tuple[StoredPart, ...]:
    """Read the parts that were not removed, from the bottom up; `levels` as `stair_levels` gives them."""
    parts = []
    for row in session.scalars(select(PartRow).where(PartRow.removed.is_(None)).order_by(PartRow.id)):
        record = _damaged("part", part_record, row)
        parts.append(StoredPart(row.id, record, part_name(record, levels)))
    return tuple(sorted(parts, key=lambda part: part.name.order))


def read_events(session: Session) -> tuple[StoredEvent, ...]:
    """Read what was done to the parts in one query; plain columns, since there can be many."""
    own = (PartEventRow.id, PartEventRow.part_id, PartEventRow.created)
    shown = select(*own, *(getattr(PartEventRow, name) for name in EVENT_FIELDS))
    shown = shown.join(PartRow, PartRow.id == PartEventRow.part_id)
    shown = shown.where(PartEventRow.removed.is_(None), PartRow.removed.is_(None))
    return tuple(
        StoredEvent(*values, ident=ident, part=part, created=created)
        for ident, part, created, *values in session.execute(shown.order_by(PartEventRow.date, PartEventRow.id))
    )


def read_colours(session: Session, events: Iterable[StoredEvent]) -> tuple[StoredColour, ...]:
    """Read the parts' colours; one whose event was taken back is left out.

    A measurement of a part and its event were made at one moment, by which they know each other.
    """
    known = {(event.part, event.created): event.ident for event in events if event.kind == "measured"}
    row = MeasurementRow
    shown = select(row.part_id, row.lab_l, row.lab_a, row.lab_b, row.light, row.photo_sha256, row.created)
    shown = (
        shown.join(PartRow, PartRow.id == row.part_id).where(PartRow.removed.is_(None)).order_by(row.created, row.id)
    )
    found: Sequence[Any] = session.execute(shown).all()
    return tuple(
        StoredColour(part, known[part, created], tuple(lab), light, photo)
        for part, *lab, light, photo, created in found
        if (part, created) in known
    )


def read_standards(session: Session) -> tuple[Standing, ...]:
    """Read every standard there was, and whether the recipe of each was edited since it was approved."""
    found = read_approvals(session)
    row = ChangeRow
    edits = session.execute(select(row.subject, row.made).where(row.what == "edit", row.subject.like("R%"))).all()
    return tuple(
        Standing(
            each.approval,
            None if each.ended is None else each.ended.astimezone().date(),
            edited=any(subject == each.approval.recipe and made > each.created for subject, made in edits),
        )
        for each in found
    )


def levels_of(found: Iterable[FlightRow]) -> dict[int, int]:
    """Return by what level each stored flight is called, removed ones too.

    Odd numbers are flights and even ones landings. One that came out of an archive may have got a number of the other
    sort, since its own was taken: it is called by the next that is free.
    """
    out: dict[int, int] = {}
    odd_ones: list[FlightRow] = []
    for row in sorted(found, key=lambda each: each.number):
        if (row.kind == "flight") == bool(row.number % 2):
            out[row.number] = row.number
        else:
            odd_ones.append(row)
    for row in odd_ones:
        kind, count = "flight" if row.kind == "flight" else "landing", 1
        while level_of(kind, count) in out.values():  # type: ignore[arg-type]  # one of the two
            count += 1
        out[row.number] = level_of(kind, count)  # type: ignore[arg-type]  # one of the two
    return out


def stair_levels(session: Session) -> dict[int, int]:
    """Return by what level each flight is called."""
    return levels_of(session.scalars(select(FlightRow)).all())


def part_name(record: Part, levels: Mapping[int, int]) -> PartName:
    """Return what a part is called."""
    return PartName(levels[record.flight_number], record.kind, record.place, record.side)


def part_code(session: Session, ident: int) -> str:
    """Return the code of a part, ``"2.T7"``."""
    return part_name(part_record(session.get_one(PartRow, ident)), stair_levels(session)).code


def noted_flight(row: FlightRow) -> dict[str, Any]:
    """Return what the history holds of a flight or landing: with its key, for landings are called by another."""
    return {"flight": row.number} | flight_record(row).as_dict()


def noted_part(row: PartRow, record: Part) -> dict[str, Any]:
    """Return what the history holds of a part: with its key, since a place can be taken by another part later."""
    return {"part": row.id} | record.as_dict()


def noted_event(row: PartEventRow) -> dict[str, Any]:
    """Return what the history holds of an event: with its number."""
    return {"event": row.id} | event_record(row).as_dict()
