"""The ways back from changes of the stair: of flights, of parts, and of what was done to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, Final

from sqlalchemy import select

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.renewing import swap_figures
from finishlab.logbook.tables import FlightRow, MeasurementRow, PartEventRow, PartRow
from finishlab.logbook.undo.task import Task, Way
from finishlab.stair.names import level_title
from finishlab.stair.reading import (
    event_record,
    flight_record,
    noted_event,
    noted_flight,
    noted_part,
    part_code,
    part_name,
    part_record,
    stair_levels,
)
from finishlab.stair.records import Flight, Part, PartEvent
from finishlab.stair.store import check_event, measured_in, photos_noted, put_values, take_measurements

__all__ = ["FLIGHT_WAYS", "PART_WAYS"]


def _hide_flight(task: Task) -> None:
    """Hide a flight that was added, or brought back, and the parts it got since."""
    row = _flight(task)
    named = stair_levels(task.session)
    mine = select(PartRow).where(PartRow.flight_number == row.number, PartRow.removed.is_(None))
    for part in task.session.scalars(mine).all():
        record = part_record(part)
        part.removed = rows.now()
        task.note("remove", noted_part(part, record), subject=part_name(record, named).code)
    row.removed = rows.now()
    task.note("remove", noted_flight(row))


def _show_flight(task: Task) -> None:
    """Bring a flight back; the parts that went with it have entries of their own."""
    row = _flight(task)
    row.removed = None
    task.session.flush()
    task.note("add", None, noted_flight(row))


def _change_flight(task: Task) -> None:
    row = _flight(task)
    now = noted_flight(row)
    put_values(row, Flight.from_dict(flight_record(row).as_dict() | _known(task.before, Flight)))
    task.note("edit", now, noted_flight(row))


def _hide_part(task: Task) -> None:
    row = _part(task)
    row.removed = rows.now()
    task.note("remove", noted_part(row, part_record(row)))


def _show_part(task: Task) -> None:
    row = _part(task)
    record = part_record(row)
    flight = task.session.get_one(FlightRow, record.flight_number)
    named = stair_levels(task.session)
    if row.removed is None:
        return
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
    row = _event(task, task.after)
    row.removed = rows.now()
    task.note("remove-event", noted_event(row) | take_measurements(task.session, measured_in(task.session, [row])[0]))


def _put_event(task: Task) -> None:
    row = _event(task, task.before)
    record = event_record(row)
    part = task.session.get_one(PartRow, row.part_id)
    if part.removed is not None:
        level = level_title(stair_levels(task.session)[part.flight_number])
        raise LogbookError(
            "unknown-part",
            f"{part_code(task.session, part.id)} was removed.",
            f'Bring it back first, or its flight: finishlab redo "{level}"',
        )
    check_event(task.session, row.part_id, record)
    measured = task.before.get("measurements") or ()
    for values in measured:
        rows.refuse_twice(task.session, MeasurementRow, "part", row.part_id, values["photo_sha256"])
        task.session.add(MeasurementRow(**values, created=row.created))
        task.session.flush()
    row.removed = None
    task.note("log", None, {"event": row.id} | record.as_dict() | photos_noted(measured))


def _change_event(task: Task) -> None:
    row = _event(task, task.before)
    now = event_record(row)
    after = PartEvent.from_dict(now.as_dict() | _known(task.before, PartEvent))
    check_event(task.session, row.part_id, after, but=row.id)
    for field in fields(after):
        setattr(row, field.name, getattr(after, field.name))
    task.note("edit-event", {"event": row.id} | now.as_dict(), {"event": row.id} | after.as_dict())


def _unremeasure(task: Task) -> None:
    said = {name: task.before[name] for name in ("part", "events")}
    before = swap_figures(task.session, PartRow, int(task.before["part"]), task.before)
    photos = [each["photo_sha256"] for each in before["measurements"]]
    task.note("remeasure", said | before, {"part": said["part"], "photos": photos})


def _flight(task: Task) -> FlightRow:
    return task.session.get_one(FlightRow, int((task.after.get("flight") or task.before.get("flight")) or 0))


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
    "remeasure": _unremeasure,
    "remove-event": _put_event,
    "edit-event": _change_event,
}
