"""What was done to the parts of the stair, into the logbook: coats, sanding, fitting, measurements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import fields, replace
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, UsageError
from finishlab.logbook import writing as rows
from finishlab.logbook.reading import read_part_measurements
from finishlab.logbook.stored import StoredMeasurement
from finishlab.logbook.tables import BatchRow, FlightRow, MeasurementRow, PartEventRow, PartRow, RecipeRow
from finishlab.measure import Measurement
from finishlab.records import normalise_light
from finishlab.stair.reading import levels, live_part, part_name, part_record
from finishlab.stair.records import PartEvent

__all__ = ["EventShelf", "check_event", "event_record", "part_code", "photos_noted", "take_measurements"]


class EventShelf:
    """The part of a logbook that keeps what was done to the stair's parts."""

    _who: str

    def _read(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def _write(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def log_events(self, events: Iterable[tuple[int, PartEvent]]) -> list[int]:
        """Log what was done to parts (`StoredPart.ident`), all or none; return the events' numbers.

        Raises
        ------
        LogbookError
            ``"unknown-part"``, ``"unknown-recipe"``, ``"unknown-can"``, ``"coat-logged-twice"``.
        """
        with self._write() as session:
            return [_log(session, ident, event, self._who) for ident, event in events]

    def edit_event(self, number: int, **changes: Any) -> None:  # noqa: ANN401 - each field has its own type
        """Change fields of what was done; what they were is kept in the history.

        Raises
        ------
        LogbookError
            ``"unknown-event"``, ``"unknown-recipe"``, ``"unknown-can"``, ``"coat-logged-twice"``.
        UsageError
            What `PartEvent` raises.
        """
        with self._write() as session:
            row = _event(session, number)
            before = event_record(row)
            latest = None if "date" in changes else before.date.max
            after = replace(before, **changes, latest=latest)
            if after == before:
                return
            check_event(session, row.part_id, after, but=number)
            for field in fields(after):
                setattr(row, field.name, getattr(after, field.name))
            session.flush()
            noted = ({"event": number} | before.as_dict(), {"event": number} | after.as_dict())
            rows.note_change(
                session, self._who, "edit-event", part_code(session, row.part_id), before=noted[0], after=noted[1]
            )

    def remove_events(self, numbers: Sequence[int]) -> None:
        """Take back what was logged by mistake; the history keeps it, and the figures of a measurement whole.

        The photos of a measurement that was taken back can be logged again, for this part or another.

        Raises
        ------
        LogbookError
            ``"unknown-event"``.
        """
        with self._write() as session:
            for number in numbers:
                row = _event(session, number)
                row.removed = rows.now()
                before = {"event": number} | event_record(row).as_dict() | take_measurements(session, row)
                rows.note_change(session, self._who, "remove-event", part_code(session, row.part_id), before=before)

    def event_part(self, number: int) -> int:
        """Return the part (`StoredPart.ident`) an event is about; LogbookError ``"unknown-event"``."""
        with self._read() as session:
            return _event(session, number).part_id

    def add_part_measurements(
        self, entries: Iterable[tuple[int, Sequence[Measurement], PartEvent]], *, light: str | None = None
    ) -> list[int]:
        """Log the colour of parts, each measured in one or more photos, which were kept before; all or none.

        Parameters
        ----------
        entries
            Part (`StoredPart.ident`), its measurements, and the event of the kind ``measured``.
        light
            The light they were all taken in; daylight unless named.

        Returns
        -------
        list
            The events' numbers.

        Raises
        ------
        LogbookError
            ``"unknown-part"``, ``"photo-not-kept"``, ``"photo-logged-twice"``.
        UsageError
            ``"no-measurement"``, ``"field-not-measured"``.
        """
        lit = normalise_light(light)
        with self._write() as session:
            return [_add_measured(session, *entry, lit, self._who) for entry in entries]

    def part_measurements(self, ident: int) -> tuple[StoredMeasurement, ...]:
        """Return all that was measured of a part (`StoredPart.ident`), in the order it was logged."""
        with self._read() as session:
            return read_part_measurements(session, ident)


def _add_measured(
    session: Session, ident: int, measurements: Sequence[Measurement], event: PartEvent, light: str, who: str
) -> int:
    if not measurements:
        raise UsageError("no-measurement", "There is nothing measured to log.", "Name at least one photo.")
    row = _add_event(session, ident, event)
    photos = rows.add_measurements(session, measurements, subject="part", number=ident, light=light)
    # By their moment a measurement and its event know each other.
    mine = (MeasurementRow.part_id == ident, MeasurementRow.photo_sha256.in_(photos))
    session.execute(update(MeasurementRow).where(*mine).values(created=row.created))
    _note_logged(session, row, who, {"light": light, "photos": photos})
    return row.id


def _event(session: Session, number: int) -> PartEventRow:
    row = session.get(PartEventRow, number)
    if row is None or row.removed is not None:
        raise LogbookError(
            "unknown-event",
            f"The logbook has no event E{number} of a part.",
            "See a part's events with: finishlab stairs part tread 7",
        )
    return row


def event_record(row: PartEventRow) -> PartEvent:
    """Return what was done, as a row holds it."""
    return PartEvent.from_dict({field.name: getattr(row, field.name) for field in fields(PartEvent)})


def take_measurements(session: Session, event: PartEventRow) -> dict[str, Any]:
    """Take out what was measured in an event, and return it for the history."""
    made = (MeasurementRow.part_id == event.part_id, MeasurementRow.created == event.created)
    taken = []
    for row in session.scalars(select(MeasurementRow).where(*made)).all():
        columns = [column.key for column in MeasurementRow.__table__.columns if column.key not in {"id", "created"}]
        taken.append({name: getattr(row, name) for name in columns})
        session.delete(row)
    return {"measurements": taken} if taken else {}


def part_code(session: Session, ident: int) -> str:
    """Return the code of a part, ``"2.T7"``."""
    named = levels(session.scalars(select(FlightRow)).all())
    return part_name(part_record(session.get_one(PartRow, ident)), named).code


def _log(session: Session, ident: int, event: PartEvent, who: str) -> int:
    row = _add_event(session, ident, event)
    _note_logged(session, row, who, {})
    return row.id


def _add_event(session: Session, ident: int, event: PartEvent) -> PartEventRow:
    live_part(session, ident)
    check_event(session, ident, event)
    row = PartEventRow(part_id=ident, created=rows.now(), **{f.name: getattr(event, f.name) for f in fields(event)})
    session.add(row)
    session.flush()
    return row


def _note_logged(session: Session, row: PartEventRow, who: str, seen: Mapping[str, Any]) -> None:
    after = {"event": row.id} | event_record(row).as_dict() | dict(seen)
    rows.note_change(session, who, "log", part_code(session, row.part_id), after=after)


def photos_noted(measured: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return what the history says of the photos an event was measured in; nothing where it was not."""
    if not measured:
        return {}
    return {"light": measured[0]["light"], "photos": [values["photo_sha256"] for values in measured]}


def check_event(session: Session, ident: int, event: PartEvent, *, but: int | None = None) -> None:
    """Check that recipe and can are there, and that the coat is not on record already."""
    for table, number, letter, words in (
        (RecipeRow, event.recipe_number, "R", "recipe"),
        (BatchRow, event.batch_number, "C", "can"),
    ):
        if number is not None and session.get(table, number) is None:
            raise LogbookError(
                f"unknown-{words}", f"The logbook has no {words} {letter}{number}.", f"See: finishlab {words} list"
            )
    if event.kind != "coat":
        return
    for logged in _since_sanded(session, ident):
        if logged.kind == "coat" and (logged.step, logged.coat) == (event.step, event.coat) and logged.id != but:
            raise LogbookError(
                "coat-logged-twice",
                f"{str(event.step).capitalize()} {event.coat} is on {part_code(session, ident)} already, "
                f"logged as E{logged.id} for {logged.date}.",
                "Leave the number out for the next coat, or change what was logged with finishlab stairs edit-event.",
            )


def _since_sanded(session: Session, ident: int) -> list[PartEventRow]:
    """Return what was done to a part since its wood was last sanded."""
    mine = select(PartEventRow).where(PartEventRow.part_id == ident, PartEventRow.removed.is_(None))
    found = session.scalars(mine.order_by(PartEventRow.date, PartEventRow.id)).all()
    last = max((index for index, row in enumerate(found) if row.kind == "sanded"), default=-1)
    return list(found[last + 1 :])
