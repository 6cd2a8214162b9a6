"""Rows into the tables, inside a transaction the caller holds."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import fields
from typing import Any, Final, Literal

from sqlalchemy import select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, aliased

from finishlab.errors import LogbookError, UsageError
from finishlab.imaging.strip import FieldName
from finishlab.logbook.images import taken_images
from finishlab.logbook.many import batches
from finishlab.logbook.serialise import field_to_dict, plain, strip_to_dict
from finishlab.logbook.stored import DirectPair
from finishlab.logbook.tables import (
    Base,
    BatchRow,
    BoardRow,
    ChangeRow,
    CounterRow,
    FloorSpotRow,
    LastingRow,
    MeasurementRow,
    PairRow,
    PartRow,
    PhotoRow,
    RecipeRow,
    StripRow,
    TrialRow,
)
from finishlab.measure import FieldMeasurement, Measurement
from finishlab.records import Approval, Batch, BoardRecord, FloorSpotRecord, Light, Recipe
from finishlab.stair.records import Flight, Part
from finishlab.strip.records import TrialRecord

__all__ = [
    "AnyRecord",
    "add_board_rows",
    "add_measurements",
    "add_pairs",
    "add_row",
    "change_light",
    "find_photo",
    "insert_if_missing",
    "kept_photo",
    "measured_values",
    "note_change",
    "now",
    "paired_values",
    "record_values",
    "refuse_elsewhere",
    "refuse_twice",
]

HASH_DIGITS: Final = 64
_OWNERS: Final[dict[str, tuple[str, Any, Any, str]]] = {
    "board": ("board_number", BoardRow.number, BoardRow.removed, "as B{}"),
    "spot": ("spot_number", FloorSpotRow.number, FloorSpotRow.removed, "as F{}"),
    "part": ("part_id", PartRow.id, PartRow.removed, "for another part of the stair"),
}
"""What can be measured: the column that names it, its key and removal, and how another one is called."""
AnyRecord = BoardRecord | FloorSpotRecord | Recipe | Batch | Flight | Part | TrialRecord


def now() -> dt.datetime:
    """Return the present moment in UTC."""
    return dt.datetime.now(tz=dt.UTC)


def record_values(record: AnyRecord | Approval) -> dict[str, Any]:
    """Return a record's values by column; what is a section of it goes into a column as JSON."""
    values = ((f.name, getattr(record, f.name)) for f in fields(record))
    return {name: value.as_dict() if hasattr(value, "as_dict") else value for name, value in values}


def add_board_rows(session: Session, records: Sequence[BoardRecord]) -> list[BoardRow]:
    """Insert boards with numbers that follow one another; return them."""
    first = _next_number(session, BoardRow.__tablename__, len(records)) - len(records) + 1
    made = now()
    boards = [BoardRow(number=n, created=made, **record_values(each)) for n, each in enumerate(records, first)]
    session.add_all(boards)
    session.flush()
    return boards


def add_row(
    session: Session, table: type[BoardRow | FloorSpotRow | RecipeRow | BatchRow | TrialRow], record: AnyRecord
) -> int:
    """Insert what has a number of its own; return the number."""
    number = _next_number(session, table.__tablename__)
    session.add(table(number=number, created=now(), **record_values(record)))
    session.flush()
    return number


def _next_number(session: Session, name: str, count: int = 1) -> int:
    # The update holds the row (or SQLite's write lock) until the end of the transaction, so no two get one number.
    session.execute(update(CounterRow).where(CounterRow.name == name).values(last=CounterRow.last + count))
    return session.execute(select(CounterRow.last).where(CounterRow.name == name)).scalar_one()


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
    subject: Literal["board", "spot", "part"],
    number: int,
    light: Light,
    created: dt.datetime | None = None,
) -> list[str]:
    """Insert the measurements of one board, spot or stair part, made now or then; return their photos' hashes."""
    column = _OWNERS[subject][0]
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
        "result": field_to_dict(measured),
        "strip_number": strip_number,
        "strip_reading": None if strip is None else strip_to_dict(strip),
        "correction": plain(measurement.correction),
        "settings": plain(measurement.settings),
        "version": measurement.version,
        "created": now(),
    }


def paired_values(pair: DirectPair) -> dict[str, Any]:
    """Return, by column, what a direct pair says."""
    return {
        "board_result": field_to_dict(pair.board),
        "floor_result": field_to_dict(pair.floor),
        "de00_value": pair.delta_e00.value,
        "de00_low": pair.delta_e00.low,
        "de00_high": pair.delta_e00.high,
        "created": now(),
    }


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
    session: Session, table: type[MeasurementRow | PairRow], subject: str, number: int, photo: str
) -> None:
    """Refuse a photo that is logged already; raises `LogbookError` ``"photo-logged-twice"``."""
    # One photo counted twice would pass for a repeat and halve the doubt that repeats are there to show.
    # Asked inside the writing transaction, so that two programs cannot both find the photo free.
    column, key, removed, elsewhere = _OWNERS[subject]
    owner = getattr(table, column)
    logged = select(owner).join(key.class_, key == owner)
    other = session.scalars(logged.where(table.photo_sha256 == photo, removed.is_(None)).limit(1)).first()
    if other is not None:
        raise _twice(session, photo, f"for this {subject}" if other == number else elsewhere.format(other))


def refuse_elsewhere(session: Session, subject: str, numbers: Iterable[int]) -> None:
    """Refuse photos of boards, spots or parts that are logged for another of them too; errors as in `refuse_twice`."""
    column, key, removed, elsewhere = _OWNERS[subject]
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


def change_light(
    session: Session,
    subject: Literal["board", "spot"],
    number: int,
    old: Light,
    new: Light,
) -> list[str]:
    """Say that what was measured in the light `old` was measured in `new`; return the photos' hashes."""
    owner = MeasurementRow.board_number if subject == "board" else MeasurementRow.spot_number
    lit: list[MeasurementRow | PairRow] = []
    lit += session.scalars(select(MeasurementRow).where(owner == number, MeasurementRow.light == old))
    if subject == "board":
        lit += session.scalars(select(PairRow).where(PairRow.board_number == number, PairRow.light == old))
    for row in lit:
        row.light = new
    return sorted({row.photo_sha256 for row in lit})


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
