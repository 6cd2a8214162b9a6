"""Rows into the tables, inside a transaction the caller holds, with an image of every row that changes.

The images that came together since the last entry of the history belong to the next one, see `note_change`; `undo`
puts them back, and archives tell by them who knows more of a thing.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, Final, Literal, TypeVar

from sqlalchemy import ColumnElement, event, inspect, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import ORMExecuteState, Session, UOWTransaction, aliased

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.errors import LogbookError, UsageError
from finishlab.imaging.strip import FieldName
from finishlab.logbook.database import WritingSession
from finishlab.logbook.stored import FLOOR_IN_DOUBT, DirectPair
from finishlab.logbook.tables import (
    AnyRow,
    ApprovalRow,
    Base,
    BoardRow,
    ChangeRow,
    CounterRow,
    FloorSpotRow,
    ImageRow,
    LastingRow,
    MeasurementRow,
    PairRow,
    PartEventRow,
    PartRow,
    PhotoRow,
    StripGreysRow,
    StripRow,
    batches,
    plain_value,
)
from finishlab.measure.results import FieldMeasurement, Measurement
from finishlab.recipe import Can, Recipe, Standard
from finishlab.record import Light, plain
from finishlab.stair.records import Flight, Part, PartEvent
from finishlab.strip import TrialRecord

LASTING: Final[Mapping[str, type[LastingRow]]] = {
    mapper.class_.__tablename__: mapper.class_
    for mapper in Base.registry.mappers
    if issubclass(mapper.class_, LastingRow) and mapper.class_ is not ChangeRow
}
"""Tables whose rows can be put back, by name."""
HOLDERS: Final[Mapping[str, tuple[str, ...]]] = {
    "approvals": (),
    "strip_greys": ("strip_number",),
    "camera_profiles": ("camera", "light"),
}
"""Tables of which one row holds at a time, for all that agree in these columns: together they are one thing."""
_NAMES: Final = uuid.UUID("4d1f0c52-7f0e-5c8e-9b0a-6d2f0a6f4b11")
_PENDING: Final = "images"
Pending = dict[tuple[str, str], tuple[ImageRow, dict[str, Any]]]
"""Table and name of a row -> its image, and what it held when it was first met."""


def thing_of(
    table: str,
    row: Mapping[str, Any],
    named: Callable[[str, Any], str | None],
    event_at: Callable[[int, Any], str | None],
) -> str:
    """Return the name of what a row belongs to.

    Parameters
    ----------
    table, row
        The row's table and its values by column.
    named
        Returns the name of a row of another table by its key.
    event_at
        Returns the name of the event of a part at a moment: by these a part's measurement knows its event.
    """
    if table in HOLDERS:
        return str(uuid.uuid5(_NAMES, "/".join([table, *(str(row[column]) for column in HOLDERS[table])])))
    found = None
    if table in {"measurements", "pairs"}:
        column, key, *_ = next(each for each in MEASURED.values() if row.get(each[0]) is not None)
        found = event_at(row[column], row["created"]) if column == "part_id" else None
        found = found or named(key.class_.__tablename__, row[column])
    return str(found or row["uuid"])


def taken_images(session: Session, change: ChangeRow, row: LastingRow | None = None) -> list[ImageRow]:
    """Return the images of what was flushed since they were taken last, or of one row, as those of a change."""
    pending: Pending = session.info.setdefault(_PENDING, {})
    keys = list(pending) if row is None else [(row.__tablename__, row.uuid)]
    images = []
    for image, values in (pending.pop(key) for key in keys):
        if image.before is None or image.before != image.after:
            image.change, image.thing = change, _thing(session, image.table_name, values)
            images.append(image)
    return images


@event.listens_for(WritingSession, "before_flush")
def _note_rows(session: Session, _context: UOWTransaction, _instances: object) -> None:
    pending: Pending = session.info.setdefault(_PENDING, {})
    for row in (*session.new, *session.dirty):
        if isinstance(row, LastingRow):
            row.uuid = row.uuid or _new_name(session, row)
            _note(pending, row, *((None, {}) if row in session.new else _moved(row)))
    for row in session.deleted:
        if isinstance(row, LastingRow):
            _note(pending, row, _values(row), None)


@event.listens_for(WritingSession, "do_orm_execute")
def _refuse_unseen(state: ORMExecuteState) -> None:
    """See that no row is changed by a statement, of which a flush knows nothing."""
    mapper = state.bind_mapper if state.is_update or state.is_delete else None
    if mapper is not None and issubclass(mapper.class_, LastingRow):
        raise RuntimeError(f"rows of {mapper.class_.__tablename__} are changed one by one, so that each has its image")


@event.listens_for(WritingSession, "before_commit")
def _refuse_unsaid(session: Session) -> None:
    """See that nothing is changed without an entry in the history."""
    if session.in_nested_transaction():
        return
    session.flush()
    if session.info.get(_PENDING):
        tables = sorted({table for table, _ in session.info[_PENDING]})
        raise RuntimeError(f"changed without an entry in the history: {', '.join(tables)}")


def _note(pending: Pending, row: LastingRow, before: dict[str, Any] | None, after: dict[str, Any] | None) -> None:
    key = (row.__tablename__, row.uuid)
    if isinstance(row, ChangeRow) or before == after:
        return
    if key not in pending:
        values = {column.key: getattr(row, column.key) for column in row.__table__.columns}
        pending[key] = ImageRow(table_name=key[0], row_uuid=key[1], before=before, after=after), values
        return
    held = pending[key][0]
    if held.before is not None and before is not None:
        held.before, held.after = before | held.before, None if after is None else (held.after or {}) | after
    elif after is None:
        del pending[key]  # it was added a moment ago


def _moved(row: LastingRow) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the changed columns' values, before and after."""
    before: dict[str, Any] = {}
    after: dict[str, Any] = {}
    for name in _columns(row):
        moved = inspect(row).attrs[name].history
        if moved.added and moved.deleted:
            before[name], after[name] = plain_value(moved.deleted[0]), plain_value(moved.added[0])
    return before, after


def _values(row: LastingRow) -> dict[str, Any]:
    return {name: plain_value(getattr(row, name)) for name in _columns(row)}


def _columns(row: LastingRow) -> list[str]:
    return [column.key for column in row.__table__.columns if not column.primary_key and column.key != "uuid"]


def _new_name(session: Session, row: LastingRow) -> str:
    """Return a name that no other row has; what was measured in a photo of one thing is called the same everywhere."""
    for column, key, *_ in MEASURED.values():
        owner = getattr(row, column, None)
        if isinstance(row, MeasurementRow | PairRow) and owner is not None:
            name = _named(session, key.class_.__tablename__, owner)
            return str(uuid.uuid5(uuid.UUID(name), f"{row.__tablename__}/{row.photo_sha256}"))
    return str(uuid.uuid4())


def _thing(session: Session, table: str, values: Mapping[str, Any]) -> str:
    def event_at(part: int, moment: Any) -> str | None:  # noqa: ANN401 - a moment
        asked = select(PartEventRow.uuid).where(PartEventRow.part_id == part, PartEventRow.created == moment)
        return session.scalars(asked.limit(1)).first()

    return thing_of(table, values, lambda other, key: _named(session, other, key), event_at)


def _named(session: Session, table: str, key: object) -> str:
    """Return the name of a row by its key."""
    return session.get_one(LASTING[table], key).uuid


HASH_DIGITS: Final = 64
Measured = Literal["board", "spot", "part"]
MEASURED: Final[Mapping[Measured, tuple[str, Any, Any, str]]] = {
    "board": ("board_number", BoardRow.number, BoardRow.removed, "as B{}"),
    "spot": ("spot_number", FloorSpotRow.number, FloorSpotRow.removed, "as F{}"),
    "part": ("part_id", PartRow.id, PartRow.removed, "for another part of the stair"),
}
"""What can be measured: the column that names it, its key and removal, and how another one is called."""
AnyRecord = BoardRecord | FloorSpotRecord | Recipe | Can | Flight | Part | TrialRecord


def now() -> dt.datetime:
    """Return the present moment in UTC."""
    return dt.datetime.now(tz=dt.UTC)


def record_values(record: AnyRecord | Standard | PartEvent) -> dict[str, Any]:
    """Return a record's values by column; what is a section of it goes into a column as JSON."""
    values = ((f.name, getattr(record, f.name)) for f in fields(record))
    return {name: value.as_dict() if hasattr(value, "as_dict") else value for name, value in values}


Numbered = TypeVar("Numbered", bound=AnyRow)


def add_rows(session: Session, table: type[Numbered], records: Sequence[AnyRecord]) -> list[Numbered]:
    """Insert what has numbers of its own, which follow one another; return the rows."""
    # The update holds the row (or SQLite's write lock) until the end of the transaction, so no two get one number.
    counter = CounterRow.name == table.__tablename__
    session.execute(update(CounterRow).where(counter).values(last=CounterRow.last + len(records)))
    first = session.execute(select(CounterRow.last).where(counter)).scalar_one() - len(records) + 1
    made = now()
    added = [table(number=n, created=made, **record_values(each)) for n, each in enumerate(records, first)]
    session.add_all(added)
    session.flush()
    return added


def add_row(session: Session, table: type[AnyRow], record: AnyRecord) -> int:
    """Insert what has a number of its own; return the number."""
    return add_rows(session, table, [record])[0].number


Holding = TypeVar("Holding", StripGreysRow, ApprovalRow)


def ended(session: Session, table: type[Holding], *of: ColumnElement[bool]) -> Holding | None:
    """Let what holds today end, of a table or of some of it; return it, None where nothing does."""
    found = session.scalars(select(table).where(table.ended.is_(None), *of).order_by(table.id)).all()
    for row in found:
        row.ended = now()
    return found[-1] if found else None


def insert_if_missing(session: Session, row: Base, key: object) -> None:
    """Insert a row unless one with its key is there, also when another program inserts it at the same moment."""
    if session.get(type(row), key) is not None:
        return
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        if session.get(type(row), key) is None:
            raise


def find_photo(session: Session, name: str) -> PhotoRow | None:
    """Return the kept photo with this hash, or with this start of a hash (16 digits or more).

    A copy without its place, as archives hold it, is the same photo.
    """
    last = name + "f" * (HASH_DIGITS - len(name))
    for column in (PhotoRow.sha256, PhotoRow.kept_sha256):
        row = session.scalars(select(PhotoRow).where(column.between(name, last)).limit(1)).first()
        if row is not None:
            return row
    return None


def kept_photo(session: Session, photo_id: str) -> str:
    """Return the hash of the kept photo a measurement names."""
    row = find_photo(session, photo_id)
    if row is None:
        raise LogbookError(
            "photo-not-kept", f"The photo {photo_id} was measured but not kept in the logbook.", "Keep the photo first."
        )
    return row.sha256


def _field_of(measurement: Measurement, wanted: FieldName) -> FieldMeasurement:
    found = measurement.fields.get(wanted)
    if found is None and measurement.strip is None:
        # Without a strip there are no edges: the one surface measured is reported as the board field.
        found = measurement.fields.get("board")
    if found is None:
        raise UsageError(
            "field-not-measured",
            f"The {wanted} field was not measured in the photo {measurement.photo_id}.",
            f"Measure the {wanted} field of that photo.",
        )
    return found


def add_measurements(
    session: Session,
    measurements: Sequence[Measurement],
    *,
    subject: Measured,
    number: int,
    light: Light,
    created: dt.datetime | None = None,
) -> list[str]:
    """Insert the measurements of one board, spot or stair part, made now or then; return their photos' hashes.

    Raises
    ------
    UsageError
        ``"no-measurement"`` or ``"field-not-measured"``.
    LogbookError
        ``"photo-not-kept"``, ``"photo-logged-twice"``.
    """
    if not measurements:
        raise UsageError("no-measurement", "There is nothing measured to log.", "Name at least one photo.")
    column = MEASURED[subject][0]
    kept: list[str] = []
    for measurement in measurements:
        photo = kept_photo(session, measurement.photo_id)
        refuse_twice(session, MeasurementRow, subject, number, photo)
        values = measured_values(session, measurement, "floor" if subject == "spot" else "board")
        values["created"] = created or values["created"]
        session.add(MeasurementRow(**{column: number}, photo_sha256=photo, light=light, **values))
        session.flush()
        kept.append(photo)
    return kept


def measured_values(session: Session, measurement: Measurement, wanted: FieldName) -> dict[str, Any]:
    """Return, by column, what a measurement says of a field; its strip is made known."""
    measured = _field_of(measurement, wanted)
    lab = measured.estimate.lab
    strip = measurement.strip
    strip_number = None if strip is None else strip.number
    if strip_number is not None:
        insert_if_missing(session, StripRow(number=strip_number, first_seen=now()), strip_number)
    return {
        "field": measured.name,
        "lab_l": lab[0],
        "lab_a": lab[1],
        "lab_b": lab[2],
        "result": plain(measured),
        "strip_number": strip_number,
        "strip_reading": plain(strip),
        "correction": plain(measurement.correction),
        "settings": plain(measurement.settings),
        "version": measurement.version,
        "created": now(),
    }


def paired_values(pair: DirectPair) -> dict[str, Any]:
    """Return, by column, what a direct pair says."""
    return {
        "board_result": plain(pair.board),
        "floor_result": plain(pair.floor),
        "de00_value": pair.delta_e00.value,
        "de00_low": pair.delta_e00.low,
        "de00_high": pair.delta_e00.high,
        "created": now(),
    }


def floor_doubts(told: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return those doubts of what lay beside a board that say it may not be the floor."""
    return [each for each in told if each["code"] == FLOOR_IN_DOUBT]


def set_floor_doubts(pair: PairRow, doubts: Sequence[Mapping[str, Any]]) -> None:
    """Put these doubts that it is the floor in the place of those there are."""
    others = [each for each in pair.floor_result["doubts"] if each["code"] != FLOOR_IN_DOUBT]
    pair.floor_result = {**pair.floor_result, "doubts": [*others, *doubts]}


def add_pairs(session: Session, pairs: Iterable[DirectPair], *, number: int, light: Light) -> list[str]:
    """Insert the direct pairs of one board; return their photos' hashes."""
    kept: list[str] = []
    for pair in pairs:
        photo = kept_photo(session, pair.photo_id)
        refuse_twice(session, PairRow, "board", number, photo)
        session.add(PairRow(board_number=number, photo_sha256=photo, light=light, **paired_values(pair)))
        session.flush()
        kept.append(photo)
    return kept


def refuse_twice(
    session: Session, table: type[MeasurementRow | PairRow], subject: Measured, number: int, photo: str
) -> None:
    """Refuse a photo that is logged already; raises `LogbookError` ``"photo-logged-twice"``."""
    # One photo counted twice would pass for a repeat and halve the doubt that repeats are there to show.
    # Asked inside the writing transaction, so that two programs cannot both find the photo free.
    column, key, removed, elsewhere = MEASURED[subject]
    owner = getattr(table, column)
    logged = select(owner).join(key.class_, key == owner)
    other = session.scalars(logged.where(table.photo_sha256 == photo, removed.is_(None)).limit(1)).first()
    if other is not None:
        raise _twice(session, photo, f"for this {subject}" if other == number else elsewhere.format(other))


def refuse_elsewhere(session: Session, subject: Measured, numbers: Iterable[int]) -> None:
    """Refuse photos of boards, spots or parts that are logged for another of them too; errors as in `refuse_twice`."""
    column, key, removed, elsewhere = MEASURED[subject]
    mine, others = aliased(MeasurementRow), aliased(MeasurementRow)
    owner, other = getattr(mine, column), getattr(others, column)
    twice = select(mine.photo_sha256, other).join(others, (mine.photo_sha256 == others.photo_sha256) & (owner != other))
    twice = twice.join(key.class_, key == other).where(removed.is_(None)).limit(1)
    for some in batches(numbers):
        found = session.execute(twice.where(owner.in_(some))).first()
        if found is not None:
            raise _twice(session, found[0], elsewhere.format(found[1]))


def _twice(session: Session, photo: str, which: str) -> LogbookError:
    name = session.get_one(PhotoRow, photo).file_name
    return LogbookError(
        "photo-logged-twice", f"The photo {name} is logged {which} already.", "Leave it out, or take another photo."
    )


def change_light(session: Session, row: BoardRow | FloorSpotRow, old: Light, new: Light) -> list[str]:
    """Say that what was measured of a thing in the light `old` was measured in `new`; return the photos' hashes."""
    owner = MeasurementRow.board_number if isinstance(row, BoardRow) else MeasurementRow.spot_number
    lit: list[MeasurementRow | PairRow] = []
    lit += session.scalars(select(MeasurementRow).where(owner == row.number, MeasurementRow.light == old))
    if isinstance(row, BoardRow):
        lit += session.scalars(select(PairRow).where(PairRow.board_number == row.number, PairRow.light == old))
    for each in lit:
        each.light = new
    return sorted({each.photo_sha256 for each in lit})


def note_change(
    session: Session,
    who: str,
    what: str,
    subject: str,
    *,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    row: LastingRow | None = None,
) -> ChangeRow:
    """Add an entry to the history; what was changed since the entry before belongs to it, or of that only one row.

    All entries of one write bear one moment, by which `undo` knows them together.
    """
    if row is None:
        session.flush()
    made = session.info.setdefault("made", now())
    change = ChangeRow(
        uuid=str(uuid.uuid4()), made=made, who=who, what=what, subject=subject, before=before, after=after
    )
    session.add(change)
    session.add_all(taken_images(session, change, row))
    return change


def renew_logged(
    session: Session, owned: ColumnElement[bool], measurement: Measurement, name: str, wanted: FieldName
) -> MeasurementRow:
    """Put a photo measured again in the place of the logged one, whose row is returned.

    A part's keeps its moment: by that it and its event know each other.

    Raises
    ------
    LogbookError
        ``"photo-not-logged"``.
    """
    photo = find_photo(session, measurement.photo_id)
    logged = None
    if photo is not None:
        asked = select(MeasurementRow).where(owned, MeasurementRow.photo_sha256 == photo.sha256)
        logged = session.scalars(asked).first()
    if logged is None:
        raise LogbookError(
            "photo-not-logged", f"The photo {measurement.photo_id} is not logged for {name}.", "Add it instead."
        )
    made = logged.created
    _renew(logged, measured_values(session, measurement, wanted))
    if logged.part_id is not None:
        logged.created = made
    return logged


def renew_pair(session: Session, number: int, measurement: Measurement, photo: str) -> None:
    """Put a pair measured again in the place of the logged one; a doubt of it stays."""
    pair = DirectPair.of(measurement)
    wanted = select(PairRow).where(PairRow.board_number == number, PairRow.photo_sha256 == photo)
    logged = None if pair is None else session.scalars(wanted).first()
    if pair is not None and logged is not None:
        doubted = floor_doubts(logged.floor_result["doubts"])
        _renew(logged, paired_values(pair))
        set_floor_doubts(logged, doubted)


def _renew(row: MeasurementRow | PairRow, values: Mapping[str, Any]) -> None:
    for name, value in values.items():
        setattr(row, name, value)
