"""What a logbook keeps of the stair: flights, parts, what was done to them, and their measured colours.

Rows become frozen objects in a fixed number of queries however many there are. Every change is one transaction and one
entry of the history for each part or flight it touches, under its code (``2.T7``, ``flight 2``). What is removed is
only no longer shown. However many parts a change names, what it has to know of them is read at once.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from functools import lru_cache, partial
from typing import Any, Final

from sqlalchemy import Row, select, tuple_
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, UsageError
from finishlab.logbook import writing as rows
from finishlab.logbook.database import Transactions
from finishlab.logbook.entities import find
from finishlab.logbook.stored import StoredMeasurement, read_approvals, read_numbered, read_part_measurements
from finishlab.logbook.tables import (
    BatchRow,
    ChangeRow,
    FlightRow,
    MeasurementRow,
    PartEventRow,
    PartRow,
    RecipeRow,
    Unreadable,
    readable,
    record_in,
)
from finishlab.measure.results import Measurement
from finishlab.recipe import Can, Recipe
from finishlab.record import normalise_light
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
    StoredStair,
)

StairRow = FlightRow | PartRow | PartEventRow
_EVENT_FIELDS: Final = tuple(each.name for each in fields(PartEvent))


def read_flights(found: Sequence[FlightRow]) -> tuple[StoredFlight, ...]:
    """Return the flights of all rows that were not removed, from the bottom up."""
    levels = levels_of(found)
    shown = (row for row in found if row.removed is None)
    flights = [
        StoredFlight(row.number, levels[row.number], record)
        for row, record in readable(lambda row: level_title(levels[row.number]), partial(record_in, Flight), shown)
    ]
    return tuple(sorted(flights, key=lambda flight: flight.level))


def read_parts(session: Session, levels: Mapping[int, int]) -> tuple[StoredPart, ...]:
    """Read the parts that were not removed, from the bottom up; `levels` as `stair_levels` gives them."""
    found = session.scalars(select(PartRow).where(PartRow.removed.is_(None)).order_by(PartRow.id))

    def read(row: PartRow) -> StoredPart:
        return StoredPart(row.id, record_in(Part, row), part_name(row, levels))

    parts = (part for _, part in readable(lambda _: "a part of the stair", read, found))
    return tuple(sorted(parts, key=lambda part: part.name.order))


def read_events(session: Session, parts: Container[int]) -> tuple[StoredEvent, ...]:
    """Read what was done to these parts in one query; plain columns, since there can be many."""
    own = (PartEventRow.id, PartEventRow.part_id, PartEventRow.created)
    shown = select(*own, *(getattr(PartEventRow, name) for name in _EVENT_FIELDS))
    shown = shown.join(PartRow, PartRow.id == PartEventRow.part_id)
    shown = shown.where(PartEventRow.removed.is_(None), PartRow.removed.is_(None))

    def read(found: Row[Any]) -> StoredEvent:
        ident, part, created, *values = tuple(found)
        if any(isinstance(value, Unreadable) for value in (created, *values)):
            raise ValueError("a day or moment of it is none")
        said = dict(zip(_EVENT_FIELDS, values, strict=True))
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


def part_name(part: Part | PartRow, levels: Mapping[int, int]) -> PartName:
    """Return what a part is called."""
    return PartName(levels[part.flight_number], part.kind, part.place, part.side)  # type: ignore[arg-type]  # as stored


def part_code(session: Session, ident: int) -> str:
    """Return the code of a part, ``"2.T7"``."""
    return part_name(session.get_one(PartRow, ident), stair_levels(session)).code


def noted(row: StairRow) -> dict[str, Any]:
    """Return what the history holds of a row: its record with its key.

    Landings are called by another number, and a part's place can be taken by another part later.
    """
    if isinstance(row, FlightRow):
        return {"flight": row.number} | record_in(Flight, row).as_dict()
    if isinstance(row, PartRow):
        return {"part": row.id} | record_in(Part, row).as_dict()
    return {"event": row.id} | record_in(PartEvent, row).as_dict()


_FIXED: Final = {"flight_number", "kind", "place", "side"}
"""What a part is called by."""


class StairStore(Transactions):
    """The part of a logbook that keeps the stair; `finishlab.logbook.store.Logbook` is one."""

    @contextmanager
    def _changing(self) -> Iterator[_Writing]:
        with self._write() as session:
            yield _Writing(session, self._who, stair_levels(session))

    # Reading

    def stair(self) -> StoredStair:
        """Return the whole stair, in eight queries whatever there is."""
        with self._read() as session:
            flights = session.scalars(select(FlightRow).order_by(FlightRow.number)).all()
            parts = read_parts(session, levels_of(flights))
            events = read_events(session, {part.ident for part in parts})
            return StoredStair(
                read_flights(flights),
                parts,
                events,
                read_colours(session, events),
                {each.number.key: each.record for each in read_numbered(session, RecipeRow, Recipe, removed=True)},
                {each.number.key: each.record for each in read_numbered(session, BatchRow, Can, removed=True)},
                read_standards(session),
            )

    def stair_parts(self) -> tuple[StoredPart, ...]:
        """Return the parts from the bottom up, without what was done to them."""
        with self._read() as session:
            return read_parts(session, stair_levels(session))

    def part_measurements(self, ident: int) -> tuple[StoredMeasurement, ...]:
        """Return all that was measured of a part (`StoredPart.ident`), in the order it was logged."""
        with self._read() as session:
            return read_part_measurements(session, ident)

    def can_number(self, text: str) -> int:
        """Return the number of the can that is named ``"C1"`` or ``"1"``; LogbookError ``"unknown-can"``."""
        with self._read() as session:
            return find(session, BatchRow, text).number

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
            _add_parts(_Writing(session, self._who, stair_levels(session)), tuple(parts))

    def add_parts(self, parts: Iterable[Part]) -> None:
        """Log parts, all or none.

        Raises
        ------
        LogbookError
            ``"unknown-flight"``, ``"unknown-recipe"``, ``"part-there"``.
        """
        with self._changing() as writing:
            _add_parts(writing, tuple(parts))

    def edit_flight(self, number: int, **changes: Any) -> None:  # noqa: ANN401 - each field has its own type
        """Change fields of a flight's record; what they were is kept in the history.

        Raises
        ------
        LogbookError
            ``"unknown-flight"``.
        UsageError
            What `Flight` raises.
        """
        with self._changing() as writing:
            row = _live_flight(writing.session, number)
            after = replace(record_in(Flight, row), **changes)
            writing.put(row, after, "edit", level_title(writing.levels[number]))

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
        with self._changing() as writing:
            _check_there(writing.session, RecipeRow, [changes.get("recipe_number")])
            return sum(_edit_part(writing, row, changes) for row in _live_parts(writing.session, idents))

    def remove_flight(self, number: int) -> None:
        """Show a flight or landing no longer, and none of its parts.

        Raises
        ------
        LogbookError
            ``"unknown-flight"``.
        """
        with self._changing() as writing:
            row = _live_flight(writing.session, number)
            mine = select(PartRow).where(PartRow.flight_number == number, PartRow.removed.is_(None))
            for part in writing.session.scalars(mine).all():
                writing.remove_part(part)
            row.removed = rows.now()
            writing.note("remove", level_title(writing.levels[number]), noted(row))

    def remove_parts(self, idents: Sequence[int]) -> None:
        """Show parts no longer; what was done to them stays in the logbook.

        Raises
        ------
        LogbookError
            ``"unknown-part"``.
        """
        with self._changing() as writing:
            for row in _live_parts(writing.session, idents):
                writing.remove_part(row)

    # What was done to them

    def log_events(self, events: Iterable[tuple[int, PartEvent]]) -> list[int]:
        """Log what was done to parts (`StoredPart.ident`), all or none; return the events' numbers.

        Raises
        ------
        LogbookError
            ``"unknown-part"``, ``"unknown-recipe"``, ``"unknown-can"``, ``"coat-logged-twice"``.
        """
        with self._changing() as writing:
            return [row.id for row in _add_events(writing, list(events))]

    def edit_events(self, numbers: Sequence[int], **changes: Any) -> None:  # noqa: ANN401 - each field has its own type
        """Change fields of what was done, all or none; what they were is kept in the history.

        `conditions` names only those that change; None takes one out.

        Raises
        ------
        LogbookError
            ``"unknown-event"``, ``"unknown-recipe"``, ``"unknown-can"``, ``"coat-logged-twice"``.
        UsageError
            What `PartEvent` raises.
        """
        with self._changing() as writing:
            found = _live_events(writing.session, numbers)
            after = [_changed(record_in(PartEvent, row), changes) for row in found]
            codes = writing.codes(row.part_id for row in found)
            check = _Coats(writing.session, [(row.part_id, event) for row, event in zip(found, after, strict=True)])
            for row, event in zip(found, after, strict=True):
                check.hold(row.part_id, event, codes[row.part_id], but=row.id)
                writing.put(row, event, "edit-event", codes[row.part_id])

    def remove_events(self, numbers: Sequence[int]) -> None:
        """Take back what was logged by mistake; the history keeps it, and its images the figures of a measurement.

        The photos of a measurement that was taken back can be logged again, for this part or another.

        Raises
        ------
        LogbookError
            ``"unknown-event"``.
        """
        with self._changing() as writing:
            found = _live_events(writing.session, numbers)
            codes = writing.codes(row.part_id for row in found)
            for row, measured in zip(found, _measured_in(writing.session, found), strict=True):
                row.removed = rows.now()
                taken = _take_measurements(writing.session, measured)
                writing.note("remove-event", codes[row.part_id], noted(row) | taken)

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
        with self._changing() as writing:
            return [_add_measured(writing, *entry, lit) for entry in entries]


@dataclass(frozen=True, slots=True)
class _Writing:
    """One transaction that changes the stair."""

    session: Session
    who: str
    levels: Mapping[int, int]
    """By what level each flight is called."""

    def note(
        self, what: str, subject: str, before: dict[str, Any] | None = None, after: dict[str, Any] | None = None
    ) -> None:
        """Add an entry to the history."""
        rows.note_change(self.session, self.who, what, subject, before=before, after=after)

    def put(self, row: StairRow, record: Flight | Part | PartEvent, what: str, subject: str) -> bool:
        """Put a changed record into its row, and note what it was; return whether anything changed."""
        if record == record_in(type(record), row):
            return False
        before = noted(row)
        for name, value in _values(record).items():
            setattr(row, name, value)
        self.session.flush()
        self.note(what, subject, before, noted(row))
        return True

    def remove_part(self, row: PartRow) -> None:
        """Hide a part and note what it was."""
        row.removed = rows.now()
        self.note("remove", part_name(row, self.levels).code, noted(row))

    def codes(self, idents: Iterable[int]) -> dict[int, str]:
        """Return the codes of parts, ``"2.T7"``."""
        mine = select(PartRow).where(PartRow.id.in_(set(idents)))
        return {row.id: part_name(row, self.levels).code for row in self.session.scalars(mine)}


# What has to be there


def _live_flight(session: Session, number: int) -> FlightRow:
    row = session.get(FlightRow, number)
    if row is None or row.removed is not None:
        raise LogbookError(
            "unknown-flight",
            f"The stair has no {level_title(number)}.",
            "See what there is with: finishlab stairs show",
        )
    return row


def _live_parts(session: Session, idents: Iterable[int]) -> list[PartRow]:
    """Return parts that were not removed, in this order; LogbookError ``"unknown-part"``."""
    wanted = list(idents)
    mine = select(PartRow).where(PartRow.id.in_(wanted), PartRow.removed.is_(None))
    found = {row.id: row for row in session.scalars(mine)}
    if set(wanted) - set(found):
        raise LogbookError("unknown-part", "That part of the stair is not there.", "See: finishlab stairs show")
    return [found[ident] for ident in wanted]


def _live_events(session: Session, numbers: Sequence[int]) -> list[PartEventRow]:
    """Return events that were not taken back, in this order; LogbookError ``"unknown-event"``."""
    mine = select(PartEventRow).where(PartEventRow.id.in_(numbers), PartEventRow.removed.is_(None))
    found = {row.id: row for row in session.scalars(mine)}
    missing = [number for number in numbers if number not in found]
    if missing or len(set(numbers)) < len(numbers):
        number = missing[0] if missing else next(each for each in numbers if numbers.count(each) > 1)
        raise LogbookError(
            "unknown-event",
            f"The logbook has no event E{number} of a part.",
            "See a part's events with: finishlab stairs part tread 7",
        )
    return [found[number] for number in numbers]


def _check_there(session: Session, table: type[RecipeRow | BatchRow], numbers: Iterable[int | None]) -> None:
    """Check that recipes or cans are there; those that were removed are."""
    named = dict.fromkeys(number for number in numbers if number is not None)
    if not named:
        return
    there = set(session.scalars(select(table.number).where(table.number.in_(named))))
    letter, words = ("R", "recipe") if table is RecipeRow else ("C", "can")
    for number in named:
        if number not in there:
            raise LogbookError(
                f"unknown-{words}", f"The logbook has no {words} {letter}{number}.", f"See: finishlab {words} list"
            )


# Into the tables


def _values(record: Flight | Part | PartEvent) -> dict[str, Any]:
    """Return a record's values as its row keeps them; sizes or conditions of which nothing is known as nothing."""
    return {name: None if value == {} else value for name, value in rows.record_values(record).items()}


def _changed(event: PartEvent, changes: Mapping[str, Any]) -> PartEvent:
    """Return an event with some of its fields changed; a day that stays is not judged again."""
    values = dict(changes)
    if "conditions" in values:
        values["conditions"] = event.conditions.as_dict() | values["conditions"]
    return replace(event, **values, latest=None if "date" in changes else event.date.max)


def _add_flight(session: Session, number: int, record: Flight, who: str) -> None:
    row = session.get(FlightRow, number)
    if row is not None and row.removed is None:
        raise LogbookError(
            "flight-there",
            f"The stair has a {level_title(number)} already.",
            "Change it with finishlab stairs edit, or name the next.",
        )
    if row is None:
        row = FlightRow(number=number, created=rows.now(), **_values(record))
        session.add(row)
    else:
        for name, value in _values(record).items():
            setattr(row, name, value)
        row.removed = None
    session.flush()
    rows.note_change(session, who, "add", level_title(stair_levels(session)[number]), after=noted(row))


def _add_parts(writing: _Writing, parts: Sequence[Part]) -> None:
    session = writing.session
    shown = select(PartRow).where(PartRow.removed.is_(None))
    there = {part_name(row, writing.levels) for row in session.scalars(shown)}
    flights = set(session.scalars(select(FlightRow.number).where(FlightRow.removed.is_(None))))
    missing = [part.flight_number for part in parts if part.flight_number not in flights]
    if missing:
        _live_flight(session, missing[0])
    _check_there(session, RecipeRow, (part.recipe_number for part in parts))
    for part in parts:
        name = part_name(part, writing.levels)
        if name in there:
            raise LogbookError(
                "part-there",
                f"The stair has a part {name.words(with_level=True)} already.",
                "Change it with finishlab stairs edit.",
            )
        there.add(name)
        row = PartRow(created=rows.now(), **_values(part))
        session.add(row)
        session.flush()
        writing.note("add", name.code, after=noted(row))


def _edit_part(writing: _Writing, row: PartRow, changes: Mapping[str, Any]) -> bool:
    before, values = record_in(Part, row), dict(changes)
    if values.get("sizes") is not None:
        values["sizes"] = before.sizes.with_changes(values["sizes"])
    if _FIXED & set(values):
        raise UsageError(
            "part-name-fixed", "A part keeps its flight, kind, place and side.", "Remove it, and add another."
        )
    return writing.put(row, replace(before, **values), "edit", part_name(row, writing.levels).code)


def _add_events(
    writing: _Writing,
    events: Sequence[tuple[int, PartEvent]],
    *,
    made: dt.datetime | None = None,
    seen: Mapping[str, Any] | None = None,
) -> list[PartEventRow]:
    """Insert events, made now or then, and say so in the history; `seen` is what the history holds besides."""
    parts = {row.id: row for row in _live_parts(writing.session, (ident for ident, _ in events))}
    check = _Coats(writing.session, events)
    added = []
    for ident, event in events:
        code = part_name(parts[ident], writing.levels).code
        check.hold(ident, event, code)
        row = PartEventRow(part_id=ident, created=made or rows.now(), **_values(event))
        writing.session.add(row)
        writing.session.flush()
        check.logged[ident].append(row)
        writing.note("log", code, after=noted(row) | dict(seen or {}))
        added.append(row)
    return added


def _add_measured(
    writing: _Writing, ident: int, measurements: Sequence[Measurement], event: PartEvent, light: str
) -> int:
    _live_parts(writing.session, [ident])
    made = rows.now()  # a measurement and its event know each other by their moment
    photos = rows.add_measurements(
        writing.session, measurements, subject="part", number=ident, light=light, created=made
    )
    (row,) = _add_events(writing, [(ident, event)], made=made, seen={"light": light, "photos": photos})
    return row.id


class _Coats:
    """Holds events against what is logged already, which is read once for all of them."""

    def __init__(self, session: Session, events: Sequence[tuple[int, PartEvent]]) -> None:
        _check_there(session, RecipeRow, (event.recipe_number for _, event in events))
        _check_there(session, BatchRow, (event.batch_number for _, event in events))
        self.logged: dict[int, list[PartEventRow]] = defaultdict(list)
        idents = {ident for ident, event in events if event.kind == "coat"}
        mine = select(PartEventRow).where(PartEventRow.part_id.in_(idents), PartEventRow.removed.is_(None))
        for row in session.scalars(mine) if idents else ():
            self.logged[row.part_id].append(row)

    def hold(self, ident: int, event: PartEvent, code: str, *, but: int | None = None) -> None:
        """Refuse a coat that is on record since the part was last sanded; LogbookError ``"coat-logged-twice"``."""
        if event.kind != "coat":
            return
        done = sorted(self.logged[ident], key=lambda row: (row.date, row.id))
        sanded = max((index for index, row in enumerate(done) if row.kind == "sanded"), default=-1)
        for row in done[sanded + 1 :]:
            if (row.kind, row.step, row.coat) == ("coat", event.step, event.coat) and row.id != but:
                raise LogbookError(
                    "coat-logged-twice",
                    f"{str(event.step).capitalize()} {event.coat} is on {code} already, "
                    f"logged as E{row.id} for {row.date}.",
                    "Leave the number out for the next coat, or change what was logged with "
                    "finishlab stairs edit-event.",
                )


def check_events(session: Session, found: Sequence[PartEventRow]) -> None:
    """Check that the recipes and cans events name are there, and that no coat is on record twice."""
    check = _Coats(session, [(row.part_id, record_in(PartEvent, row)) for row in found])
    codes = _Writing(session, "", stair_levels(session)).codes(row.part_id for row in found) if found else {}
    for row in found:
        check.hold(row.part_id, record_in(PartEvent, row), codes[row.part_id], but=row.id)


def _measured_in(session: Session, events: Sequence[PartEventRow]) -> list[list[MeasurementRow]]:
    """Return what was measured in events, event by event, read at once."""
    made = tuple_(MeasurementRow.part_id, MeasurementRow.created)
    mine = select(MeasurementRow).where(made.in_([(event.part_id, event.created) for event in events]))
    found: dict[tuple[int | None, dt.datetime], list[MeasurementRow]] = defaultdict(list)
    for row in session.scalars(mine.order_by(MeasurementRow.id)):
        found[row.part_id, row.created].append(row)
    return [found[event.part_id, event.created] for event in events]


def _take_measurements(session: Session, measured: Sequence[MeasurementRow]) -> dict[str, Any]:
    """Take out what was measured, and return what the history says of it."""
    for row in measured:
        session.delete(row)
    return {"light": measured[0].light, "photos": [row.photo_sha256 for row in measured]} if measured else {}
