"""The ways back from changes of the stair: of flights, of parts, and of what was done to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.stair_events import check_event, event_record, part_code, take_measurements
from finishlab.logbook.stair_reading import flight_record, part_name, part_record
from finishlab.logbook.stair_shelf import noted_part, put_values, remove_part, stair_levels
from finishlab.logbook.tables import ChangeRow, FlightRow, MeasurementRow, PartEventRow, PartRow
from finishlab.logbook.undo_task import Task, Way
from finishlab.records import Flight, Part, PartEvent
from finishlab.records.stair_names import level_title

__all__ = ["FLIGHT_WAYS", "PART_WAYS"]


def _hide_flight(task: Task) -> None:
    """Hide a flight that was added, or brought back, and its parts."""
    row = _flight(task)
    named = stair_levels(task.session)
    mine = select(PartRow).where(PartRow.flight_number == row.number, PartRow.removed.is_(None))
    for part in task.session.scalars(mine).all():
        remove_part(task.session, part, named, task.who)
    row.removed = rows.now()
    task.note("remove", flight_record(row).as_dict())


def _show_flight(task: Task) -> None:
    """Bring a flight back, with the parts that went with it."""
    row = _flight(task)
    row.removed = None
    task.session.flush()
    named = stair_levels(task.session)
    for ident in _gone_with(task.session, task.number, row.number):
        part = task.session.get_one(PartRow, ident)
        part.removed = None
        record = part_record(part)
        rows.note_change(task.session, task.who, "add", part_name(record, named).code, after=noted_part(part, record))
    task.note("add", None, flight_record(row).as_dict())


def _gone_with(session: Session, change: int, flight: int) -> list[int]:
    """Return the parts removed just before a flight was, in the same step."""
    gone: list[int] = []
    for entry in session.scalars(select(ChangeRow).where(ChangeRow.id < change).order_by(ChangeRow.id.desc())):
        before = entry.before or {}
        if entry.what != "remove" or before.get("flight_number") != flight or "part" not in before:
            break
        gone.insert(0, int(before["part"]))
    return gone


def _change_flight(task: Task) -> None:
    row = _flight(task)
    now = flight_record(row)
    after = Flight.from_dict(now.as_dict() | _known(task.before, Flight))
    put_values(row, after)
    task.note("edit", now.as_dict(), after.as_dict())


def _hide_part(task: Task) -> None:
    row = _part(task)
    row.removed = rows.now()
    task.note("remove", noted_part(row, part_record(row)))


def _show_part(task: Task) -> None:
    row = _part(task)
    record = part_record(row)
    flight = task.session.get_one(FlightRow, record.flight_number)
    named = stair_levels(task.session)
    if flight.removed is not None:
        raise LogbookError(
            "unknown-flight",
            f"The {level_title(named[flight.number])} of this part was removed.",
            f'Bring that back first: finishlab undo "{level_title(named[flight.number])}"',
        )
    name = part_name(record, named)
    shown = select(PartRow).where(PartRow.removed.is_(None), PartRow.flight_number == record.flight_number)
    if any(part_name(part_record(each), named) == name for each in task.session.scalars(shown)):
        raise LogbookError(
            "part-there", f"The stair has another part {name.words(with_level=True)} now.", "Remove that first."
        )
    row.removed = None
    task.note("add", None, noted_part(row, record))


def _change_part(task: Task) -> None:
    row = _part(task)
    now = part_record(row)
    after = Part.from_dict(now.as_dict() | _known(task.before, Part))
    put_values(row, after)
    task.note("edit", noted_part(row, now), noted_part(row, after))


def _take_event(task: Task) -> None:
    """Take back what was logged as done, and what was measured in it."""
    _take(task, _event(task, task.after))


def _take_measured(task: Task) -> None:
    """Take back a measurement: its entry of photos follows the one of its event."""
    logged = task.session.get(ChangeRow, task.number - 1)
    if logged is None or logged.what != "log" or logged.subject != task.subject or logged.after is None:
        raise LogbookError(
            "cannot-undo",
            f"The event of these photos of {task.subject} is not known.",
            "Take it back with: finishlab stairs remove-event",
        )
    _take(task, _event(task, logged.after))


def _take(task: Task, row: PartEventRow) -> None:
    row.removed = rows.now()
    task.note("remove-event", {"event": row.id} | event_record(row).as_dict() | take_measurements(task.session, row))


def _put_event(task: Task) -> None:
    row = _event(task, task.before)
    record = event_record(row)
    part = task.session.get_one(PartRow, row.part_id)
    if part.removed is not None:
        raise LogbookError(
            "unknown-part", f"{part_code(task.session, part.id)} was removed.", "Bring the part back first."
        )
    check_event(task.session, row.part_id, record)
    for values in task.before.get("measurements") or ():
        rows.refuse_twice(task.session, MeasurementRow, "part", row.part_id, values["photo_sha256"])
        task.session.add(MeasurementRow(**values, created=row.created))
        task.session.flush()
    row.removed = None
    task.note("log", None, {"event": row.id} | record.as_dict())


def _change_event(task: Task) -> None:
    row = _event(task, task.before)
    now = event_record(row)
    after = PartEvent.from_dict(now.as_dict() | _known(task.before, PartEvent))
    check_event(task.session, row.part_id, after, but=row.id)
    for field in fields(after):
        setattr(row, field.name, getattr(after, field.name))
    task.note("edit-event", {"event": row.id} | now.as_dict(), {"event": row.id} | after.as_dict())


def _flight(task: Task) -> FlightRow:
    named = stair_levels(task.session)
    number = next((number for number in named if level_title(named[number]) == task.subject), None)
    if number is None:
        raise LogbookError("unknown-flight", f"The stair has no {task.subject}.", "See: finishlab stairs show")
    return task.session.get_one(FlightRow, number)


def _part(task: Task) -> PartRow:
    return task.session.get_one(PartRow, int((task.after.get("part") or task.before.get("part")) or 0))


def _event(task: Task, said: Mapping[str, Any]) -> PartEventRow:
    return task.session.get_one(PartEventRow, int(said["event"]))


def _known(values: Mapping[str, Any], record: type[Flight | Part | PartEvent]) -> dict[str, Any]:
    names = {field.name for field in fields(record)}
    return {name: value for name, value in values.items() if name in names}


FLIGHT_WAYS: Final[Mapping[str, Way]] = {"add": _hide_flight, "remove": _show_flight, "edit": _change_flight}
PART_WAYS: Final[Mapping[str, Way]] = {
    "add": _hide_part,
    "remove": _show_part,
    "edit": _change_part,
    "log": _take_event,
    "add-photos": _take_measured,
    "remove-event": _put_event,
    "edit-event": _change_event,
}
