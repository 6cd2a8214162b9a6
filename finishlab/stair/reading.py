"""The stair's rows to frozen objects, in a fixed number of queries however many there are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, Final, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, UsageError
from finishlab.logbook.tables import BatchRow, FlightRow, MeasurementRow, PartEventRow, PartRow, RecipeRow
from finishlab.records import Batch, Recipe
from finishlab.stair.logged import StoredColour, StoredEvent, StoredFlight, StoredPart, StoredStair
from finishlab.stair.names import PartName, level_of
from finishlab.stair.records import Flight, Part

__all__ = [
    "damaged",
    "flight_record",
    "levels",
    "live_part",
    "part_name",
    "part_record",
    "read_parts",
    "read_stair",
]

T = TypeVar("T")
_FLIGHT: Final = tuple(f.name for f in fields(Flight))
_PART: Final = tuple(f.name for f in fields(Part))
_EVENT: Final = (
    PartEventRow.id,
    PartEventRow.part_id,
    PartEventRow.kind,
    PartEventRow.date,
    PartEventRow.step,
    PartEventRow.coat,
    PartEventRow.recipe_number,
    PartEventRow.batch_number,
    PartEventRow.faces,
    PartEventRow.deviation,
    PartEventRow.note,
    PartEventRow.created,
)
_COLOUR: Final = (
    MeasurementRow.part_id,
    MeasurementRow.lab_l,
    MeasurementRow.lab_a,
    MeasurementRow.lab_b,
    MeasurementRow.light,
    MeasurementRow.photo_sha256,
    MeasurementRow.created,
)


def read_stair(session: Session) -> StoredStair:
    """Read the stair in six queries; what was removed is left out."""
    rows = session.scalars(select(FlightRow).order_by(FlightRow.number)).all()
    named = levels(rows)
    flights = [
        StoredFlight(row.number, named[row.number], damaged("flight", flight_record, row), row.created)
        for row in rows
        if row.removed is None
    ]
    parts, events = _parts(session, named), _events(session)
    return StoredStair(
        tuple(sorted(flights, key=lambda flight: flight.level)),
        parts,
        events,
        _colours(session, events),
        _records(session, RecipeRow, Recipe),
        _records(session, BatchRow, Batch),
    )


def read_parts(session: Session) -> tuple[StoredPart, ...]:
    """Read the parts that were not removed, in two queries."""
    return _parts(session, levels(session.scalars(select(FlightRow)).all()))


def _parts(session: Session, named: Mapping[int, int]) -> tuple[StoredPart, ...]:
    rows = session.scalars(select(PartRow).where(PartRow.removed.is_(None)).order_by(PartRow.id))
    parts = []
    for row in rows:
        record = damaged("part", part_record, row)
        parts.append(StoredPart(row.id, record, part_name(record, named), row.created))
    return tuple(sorted(parts, key=lambda part: part.name.order))


def _events(session: Session) -> tuple[StoredEvent, ...]:
    """Read what was done to the parts in one query; plain columns, since there can be many."""
    shown = select(*_EVENT).join(PartRow, PartRow.id == PartEventRow.part_id)
    shown = shown.where(PartEventRow.removed.is_(None), PartRow.removed.is_(None))
    found: Sequence[Any] = session.execute(shown.order_by(PartEventRow.date, PartEventRow.id)).all()
    return tuple(StoredEvent(*row) for row in found)


def levels(rows: Iterable[FlightRow]) -> dict[int, int]:
    """Return by what level each stored flight is called, removed ones too.

    Odd numbers are flights and even ones landings. One that came out of an archive may have got a number of the other
    sort, since its own was taken: it is called by the next that is free.
    """
    out: dict[int, int] = {}
    odd_ones: list[FlightRow] = []
    for row in sorted(rows, key=lambda each: each.number):
        if (row.kind == "flight") == bool(row.number % 2):
            out[row.number] = row.number
        else:
            odd_ones.append(row)
    for row in odd_ones:
        count = 1
        while level_of("flight" if row.kind == "flight" else "landing", count) in out.values():
            count += 1
        out[row.number] = level_of("flight" if row.kind == "flight" else "landing", count)
    return out


def flight_record(row: FlightRow) -> Flight:
    """Return the record a row holds."""
    return Flight.from_dict({name: getattr(row, name) for name in _FLIGHT})


def part_record(row: PartRow) -> Part:
    """Return the record a row holds."""
    return Part.from_dict({name: getattr(row, name) for name in _PART})


def live_part(session: Session, ident: int) -> PartRow:
    """Return a part that was not removed; LogbookError ``"unknown-part"``."""
    row = session.get(PartRow, ident)
    if row is None or row.removed is not None:
        raise LogbookError("unknown-part", "That part of the stair is not there.", "See: finishlab stairs show")
    return row


def part_name(record: Part, named: Mapping[int, int]) -> PartName:
    """Return what a part is called."""
    return PartName(named[record.flight_number], record.kind, record.place, record.side)


def damaged(what: str, decode: Callable[[Any], T], row: Any) -> T:  # noqa: ANN401 - a row of any table
    """Return the decoded row; one that cannot be read is told as a damaged logbook."""
    try:
        return decode(row)
    except (LookupError, TypeError, ValueError, AttributeError, UsageError) as error:
        raise LogbookError(
            "logbook-damaged",
            f"A {what} of the stair in the logbook cannot be read ({error}).",
            "Update finishlab if a newer one wrote it, or restore the folder from a backup.",
        ) from error


def _colours(session: Session, events: Iterable[StoredEvent]) -> tuple[StoredColour, ...]:
    """Read the parts' colours; one whose event was taken back is left out.

    A measurement of a part and its event were made at one moment, by which they know each other.
    """
    known = {(event.part, event.created): event.ident for event in events if event.kind == "measured"}
    shown = select(*_COLOUR).join(PartRow, PartRow.id == MeasurementRow.part_id).where(PartRow.removed.is_(None))
    found: Sequence[Any] = session.execute(shown.order_by(MeasurementRow.id)).all()
    return tuple(
        StoredColour(part, known[part, created], tuple(lab), light, photo)
        for part, *lab, light, photo, created in found
        if (part, created) in known
    )


def _records(session: Session, table: Any, record: type[T]) -> dict[int, T]:  # noqa: ANN401 - either table
    names = [f.name for f in fields(record)]  # type: ignore[arg-type]  # both are dataclasses
    rows = session.scalars(select(table).order_by(table.number))

    def decode(row: Any) -> T:  # noqa: ANN401 - a row of that table
        found: T = record.from_dict({name: getattr(row, name) for name in names})  # type: ignore[attr-defined]  # both
        return found

    return {row.number: damaged(record.__name__.lower(), decode, row) for row in rows}
