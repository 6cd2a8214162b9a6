"""The stair's rows to frozen objects, in a fixed number of queries however many there are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import fields
from functools import lru_cache, partial
from typing import Any, Final, TypeVar

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from finishlab.logbook.entities import readable
from finishlab.logbook.reading import read_approvals
from finishlab.logbook.tables import ChangeRow, FlightRow, MeasurementRow, PartEventRow, PartRow, Unreadable
from finishlab.record import Record
from finishlab.stair.names import PartName, level_of, level_title
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
    "records_by_number",
    "stair_levels",
]

R = TypeVar("R", bound=Record)
EVENT_FIELDS: Final = tuple(each.name for each in fields(PartEvent))


def records_by_number(record: type[R], stored: Iterable[Any]) -> dict[int, R]:
    """Return the records that can be read by their numbers."""
    named = f"the {record.__name__.lower()} {{}}".format
    return {
        row.number: said for row, said in readable(lambda row: named(row.number), partial(_record_of, record), stored)
    }


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


def read_flights(found: Sequence[FlightRow]) -> tuple[StoredFlight, ...]:
    """Return the flights of all rows that were not removed, from the bottom up."""
    levels = levels_of(found)
    shown = (row for row in found if row.removed is None)
    flights = [
        StoredFlight(row.number, levels[row.number], record)
        for row, record in readable(lambda row: level_title(levels[row.number]), flight_record, shown)
    ]
    return tuple(sorted(flights, key=lambda flight: flight.level))


def read_parts(session: Session, levels: Mapping[int, int]) -> tuple[StoredPart, ...]:
    """Read the parts that were not removed, from the bottom up; `levels` as `stair_levels` gives them."""
    found = session.scalars(select(PartRow).where(PartRow.removed.is_(None)).order_by(PartRow.id))

    def read(row: PartRow) -> StoredPart:
        record = part_record(row)
        return StoredPart(row.id, record, part_name(record, levels))

    parts = (part for _, part in readable(lambda _: "a part of the stair", read, found))
    return tuple(sorted(parts, key=lambda part: part.name.order))


def read_events(session: Session, parts: Container[int]) -> tuple[StoredEvent, ...]:
    """Read what was done to these parts in one query; plain columns, since there can be many."""
    own = (PartEventRow.id, PartEventRow.part_id, PartEventRow.created)
    shown = select(*own, *(getattr(PartEventRow, name) for name in EVENT_FIELDS))
    shown = shown.join(PartRow, PartRow.id == PartEventRow.part_id)
    shown = shown.where(PartEventRow.removed.is_(None), PartRow.removed.is_(None))

    def read(found: Row[Any]) -> StoredEvent:
        ident, part, created, *values = tuple(found)
        if any(isinstance(value, Unreadable) for value in (created, *values)):
            raise ValueError("a day or moment of it is none")
        said = dict(zip(EVENT_FIELDS, values, strict=True))
        _check_event(*(said[name] for name in ("kind", "step", "coat", "recipe_number", "batch_number", "faces")))
        return StoredEvent(*values, ident=ident, part=part, created=created)

    found = session.execute(shown.order_by(PartEventRow.date, PartEventRow.id))
    of_parts = (row for row in found if row.part_id in parts)
    return tuple(event for _, event in readable(lambda _: "what was done to the stair", read, of_parts))


@lru_cache(maxsize=512)  # the same few coats are given to all treads
def _check_event(kind: Any, step: Any, coat: Any, recipe: Any, can: Any, faces: Any) -> None:  # noqa: ANN401 - as stored
    note = "x" if kind == "note" else None
    PartEvent(kind, dt.date.min, step, coat, recipe, can, faces, note=note)


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
        if (part, created) in known and all(isinstance(value, float) for value in lab)
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
