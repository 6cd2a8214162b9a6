"""What stands in a logbook that should not: looked for, and moved aside; nothing is deleted.

Looked at are the database's own integrity, its tables, what rows name, every row by the record it holds, every kept
photo by its hash, files that no row names; and a sample of photos is measured again. What cannot be read goes, with all
that hangs on it, into a file of the folder `aside/`, and strange files into that folder, so that the rest works again.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Final, cast

from sqlalchemy import Connection, Table, func, inspect, select
from sqlalchemy import cast as cast_to
from sqlalchemy.orm import Session
from sqlalchemy.types import JSON, BigInteger, Float, Integer, String

from finishlab.board import PhotoRecord
from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.files import write_atomically
from finishlab.imaging.greys import StripGreys
from finishlab.logbook.database import Transactions
from finishlab.logbook.photo_files import file_hash, kept_files, photo_place
from finishlab.logbook.stored import field_from_dict, strip_from_dict
from finishlab.logbook.tables import (
    DAMAGED,
    KINDS,
    Base,
    CounterRow,
    Day,
    PhotoRow,
    Unreadable,
    UtcDateTime,
    column_value,
    plain_value,
    record_in,
    why,
)
from finishlab.logbook.writing import note_change
from finishlab.measure.results import FieldMeasurement
from finishlab.recipe import Standard
from finishlab.record import normalise_light
from finishlab.stair.records import Flight, Part, PartEvent
from finishlab.strip import TrialRecord

ASIDE: Final = "aside"
"""Folder in the logbook's for what was moved out of the way."""
_WHEN: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
"""Stands for a moment that cannot be read."""
_HARMLESS: Final[Mapping[str, Any]] = {
    "created": _WHEN,
    "first_seen": _WHEN,
    "kept": _WHEN,
    "shown": _WHEN.date(),
    "made": _WHEN,
    "removed": _WHEN,
    "ended": _WHEN,
    "taken": None,
    "note": None,
    "camera_make": None,
    "camera_model": None,
    "who": "unknown",
    "file_name": "photo",
    "lot": None,
    "version": "unknown",
}
"""Columns that a row can do without -> what stands there instead, where they are spoilt."""
Rows = dict[str, set[Any]]
"""Table -> keys of rows."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it should be."""

    code: str
    """``"database"``, ``"table"``, ``"reference"``, ``"entry"``, ``"photo-missing"``, ``"photo-changed"``,
    ``"photo-unnamed"``, ``"stray-file"``."""
    what: str
    """A sentence."""
    mended: bool = False
    """Whether it was moved aside or put right."""


_NOT_MOVED: Final = frozenset({"database", "photo-missing", "table"})
"""Codes of what moving things aside mends not."""


@dataclass
class _Bad:
    """What is to be moved aside, or mended."""

    rows: Rows = field(default_factory=lambda: defaultdict(set))
    files: list[Path] = field(default_factory=list)
    suffixes: dict[str, str] = field(default_factory=dict)
    """Photos whose file ends otherwise than their row says -> how."""


class AuditStore(Transactions):
    """The part of a logbook that looks itself over."""

    def audit(self, *, repair: bool = False) -> list[Finding]:
        """Look the whole logbook over; return what is not as it should be.

        Parameters
        ----------
        repair
            Whether to move aside what cannot be read, and put right what can be, in one transaction.

        Raises
        ------
        LogbookError
            ``"logbook-unwritable"``, ``"logbook-full"`` ...; nothing is moved then.
        """
        with self._write() if repair else self._read() as session:
            bad = _Bad()
            found = [
                *_database_findings(session.connection(), repair=repair),
                *_row_findings(session, bad),
                *_unnamed_photos(session, bad),
                *_photo_findings(session, self.folder, bad),
            ]
            if not repair or not found:
                return found
            aside = self.folder / ASIDE / f"{dt.datetime.now(tz=dt.UTC):%Y-%m-%dT%H-%M-%S-%f}"
            _move_aside(session, bad, aside, self.folder)
            if any(bad.rows.values()):
                moved = {name: len(keys) for name, keys in bad.rows.items() if keys}
                note_change(session, self._who, "check", "logbook", after={"aside": aside.name, "moved": moved})
        # What is said of the database itself comes last.
        return [
            each if each.code in _NOT_MOVED else replace(each, mended=True)
            for each in sorted(found, key=lambda each: each.code == "database")
        ]


def _database_findings(connection: Connection, *, repair: bool) -> Iterator[Finding]:
    """Yield what the database says of itself, and tables that are not as they should be."""
    if connection.dialect.name == "sqlite":
        said = left = _integrity(connection)
        if said and repair:
            connection.exec_driver_sql("REINDEX")
            left = _integrity(connection)
        yield from (Finding("database", text, mended=text not in left) for text in said)
    there = inspect(connection)
    for name, table in TABLES.items():
        columns = {each["name"] for each in there.get_columns(name)} if there.has_table(name) else set()
        if lacking := sorted(set(table.columns.keys()) - columns):
            yield Finding("table", f"The table {name} lacks {', '.join(lacking)}.")


def _integrity(connection: Connection) -> list[str]:
    said = [str(text) for (text,) in connection.exec_driver_sql("PRAGMA integrity_check(20)")]
    return [] if said == ["ok"] else [f"The database: {' '.join(text.split())}." for text in said]


def _row_findings(session: Session, bad: _Bad) -> Iterator[Finding]:
    """Yield rows that cannot be read, and rows that name others which are not there."""
    for name, entry, reason in _faults(session):
        bad.rows[name].add(entry)
        yield Finding("entry", f"Entry {str(entry)[:16]} of {name} cannot be read: {reason.rstrip('.')}.")
    for name, table in TABLES.items():
        (key,) = table.primary_key.columns
        for each in table.foreign_keys:
            gone = select(key).where(each.parent.is_not(None), each.parent.not_in(select(each.column)))
            for lost in session.scalars(gone):
                bad.rows[name].add(lost)
                yield Finding("reference", f"Entry {lost} of {name} names {each.column.table.name} that are not there.")


def _unnamed_photos(session: Session, bad: _Bad) -> Iterator[Finding]:
    """Yield photos whose row no other names: programs before this one could be killed between the two."""
    asked = select(PhotoRow.sha256, PhotoRow.file_name)
    for table in TABLES.values():
        for each in table.foreign_keys:
            if each.column.table is PhotoRow.__table__:
                asked = asked.where(PhotoRow.sha256.not_in(select(each.parent).where(each.parent.is_not(None))))
    # Trials, profiles and the history name a photo in JSON, by the beginning of its hash.
    texts = [each for table in TABLES.values() for each in table.columns if isinstance(each.type, JSON)]
    for sha256, name in session.execute(asked).all():
        said = (select(each).where(func.instr(cast_to(each, String), sha256[:16])).limit(1) for each in texts)
        if sha256 not in bad.rows["photos"] and not any(session.execute(one).first() for one in said):
            bad.rows["photos"].add(sha256)
            yield Finding("photo-unnamed", f"The photo {name} is named by no entry ({sha256[:16]}).")


def _photo_findings(session: Session, folder: Path, bad: _Bad) -> Iterator[Finding]:
    """Yield photos that are gone or are others, and files nobody names."""
    known: set[Path] = set()
    there = {path.name[:64]: path for path in kept_files(folder)}
    rows = select(PhotoRow.sha256, PhotoRow.suffix, PhotoRow.kept_sha256, PhotoRow.file_name)
    for sha256, suffix, kept, name in session.execute(rows.order_by(PhotoRow.sha256)).all():
        if sha256 in bad.rows["photos"]:
            # Its file goes with it, unless it can be mended; it is no stray one.
            known.update(path for stem, path in there.items() if stem == sha256)
            continue
        place = photo_place(folder, sha256, suffix)
        if not place.is_file() and sha256 in there:
            place = there[sha256]
            bad.suffixes[sha256] = place.name[64:]
            yield Finding("entry", f"The photo {name} lies there as {place.name[:16]}…{place.name[64:]}.")
        known.add(place)
        if not place.is_file():
            yield Finding("photo-missing", f"The photo {name} is not in {place.parent.name}/ ({sha256[:16]}).")
        elif file_hash(place) != (kept or sha256):
            bad.files.append(place)
            yield Finding("photo-changed", f"The photo {name} is no longer what was kept ({sha256[:16]}).")
    for path in kept_files(folder):
        if path not in known:
            bad.files.append(path)
            yield Finding("stray-file", f"The file {path.name[:16]} among the photos is named by nothing.")


def _move_aside(session: Session, bad: _Bad, aside: Path, folder: Path) -> None:
    """Write bad rows, and those that hang on them, into a file and take them out; move bad files beside it."""
    taken = _mend(session, bad.rows)
    for sha256, suffix in bad.suffixes.items():
        session.get_one(PhotoRow, sha256).suffix = suffix
    session.flush()
    _add_dependents(session, bad.rows)
    bad.files += [path for path in kept_files(folder) if path.name[:64] in bad.rows["photos"]]
    for name in reversed(list(TABLES)):
        (key,) = TABLES[name].primary_key.columns
        for each in sorted(bad.rows.get(name, ()), key=str):
            row = session.execute(select(TABLES[name]).where(key == each)).mappings().one()
            taken.setdefault(name, []).append({column: plain_value(value) for column, value in row.items()})
            session.connection().execute(TABLES[name].delete().where(key == each))
    restore_counters(session)
    aside.mkdir(parents=True)
    if taken:
        document = {"format": "finishlab/aside/1", "tables": taken}
        write_atomically(aside / "entries.json", json.dumps(document, indent=1, default=repr).encode())
    for path in bad.files:
        path.replace(aside / path.name)


def _mend(session: Session, bad: Rows) -> dict[str, list[Mapping[str, Any]]]:
    """Put in order the rows of which only a moment or a remark is spoilt; return what they were."""
    was: dict[str, list[Mapping[str, Any]]] = {}
    for name, keys in bad.items():
        table = TABLES[name]
        (key,) = table.primary_key.columns
        for each in sorted(keys, key=str):
            row = dict(session.execute(select(table).where(key == each)).mappings().one())
            mended = {column: value for column, value in _HARMLESS.items() if _is_spoilt(table, row, column)}
            try:
                check_row(name, row | mended)
            except DAMAGED:
                continue
            if not mended:  # a row that can be read, and names others which are not there
                continue
            session.connection().execute(table.update().where(key == each).values(**mended))
            was.setdefault(name, []).append({column: plain_value(value) for column, value in row.items()})
            keys.remove(each)
    return was


def restore_counters(session: Session) -> None:
    """See that every kind of numbered thing has its counter, and that no number is given again."""
    for table in KINDS:
        last = session.scalar(select(func.max(table.number))) or 0
        row = session.get(CounterRow, table.__tablename__)
        if row is None:
            session.add(CounterRow(name=table.__tablename__, last=last))
        elif row.last < last:
            row.last = last
    session.flush()


def _add_dependents(session: Session, bad: Rows) -> None:
    """Add the rows that name a bad one: without it they say nothing."""
    grown = True
    while grown:
        grown = False
        for name, table in TABLES.items():
            (key,) = table.primary_key.columns
            for each in table.foreign_keys:
                others = bad.get(each.column.table.name)
                for lost in session.scalars(select(key).where(each.parent.in_(others))) if others else ():
                    grown = grown or lost not in bad[name]
                    bad[name].add(lost)


TABLES: Final[Mapping[str, Table]] = {each.name: each for each in Base.metadata.sorted_tables}
"""Every table, those that are named by others before those that name them."""

COLUMN_KINDS: Final[tuple[tuple[type, type | tuple[type, ...], Mapping[str, str]], ...]] = (
    (JSON, dict, {"type": "object"}),
    (UtcDateTime, dt.datetime, {"type": "string", "format": "date-time"}),
    (Day, dt.date, {"type": "string", "format": "date"}),
    (Float, (int, float), {"type": "number"}),
    (Integer, int, {"type": "integer"}),
    (String, str, {"type": "string"}),
)
"""Type of a column, what it holds, and its JSON Schema."""
_LARGEST: Final = 999_999_999
"""Of numbers and keys: what the command line reads as a number has nine digits at most."""
_LARGEST_SIZE: Final = 1 << 50
"""Bytes of a photo."""
_ONE_LINE: Final = frozenset({"who", "what", "subject", "version", "camera", "code", "uuid", "file_name"})
"""Columns that are shown as they are."""
_HASH: Final = re.compile(r"[0-9a-f]{64}")


def check_row(table: str, row: Mapping[str, Any]) -> None:
    """See that a row, its values as the database gives them, is one that a command can have written.

    Raises
    ------
    LookupError, TypeError, ValueError, AttributeError, OverflowError, UsageError
        What is wrong with it: all of them are in `DAMAGED`.
    """
    for column in TABLES[table].columns:
        _check_value(column.name, column.type, row.get(column.name), empty=bool(column.nullable))
    says = _SAYS.get(table)
    if says is not None:
        says(SimpleNamespace(**{"uuid": None, **row}))


def _faults(session: Session) -> Iterator[tuple[str, Any, str]]:
    """Yield table, key and fault of every row that cannot be read."""
    for name, table in TABLES.items():
        (key,) = table.primary_key.columns.keys()
        for row in session.execute(select(table), execution_options={"yield_per": 500}).mappings():
            try:
                check_row(name, dict(row))
            except DAMAGED as error:
                yield name, row[key], why(error)


def _is_spoilt(table: Table, row: Mapping[str, Any], column: str) -> bool:
    """Say whether a table has a column and a row's value cannot be one of it, as far as the column alone tells."""
    found = table.columns.get(column)
    try:
        if found is not None:
            _check_value(column, found.type, row[column], empty=bool(found.nullable))
    except DAMAGED:
        return True
    return False


def _check_value(name: str, kind: Any, value: Any, *, empty: bool) -> None:  # noqa: ANN401 - any column's type and value
    if value is None:
        if not empty:
            raise ValueError(f"{name} is missing")
        return
    if isinstance(value, Unreadable):
        raise ValueError(f"{name} cannot be “{value[:40]}”")  # noqa: TRY004 - the value is of the right type, as text
    wanted = next(types for of, types, _ in COLUMN_KINDS if isinstance(kind, of))
    if isinstance(value, bool) or not isinstance(cast("object", value), wanted):
        raise TypeError(f"{name} is of another kind")
    if isinstance(value, str):
        _check_text(name, getattr(kind, "length", None), value)
    elif isinstance(kind, Float):
        if not math.isfinite(value):
            raise ValueError(f"{name} is no finite number")
    elif isinstance(kind, Integer) and not 0 <= value <= (_LARGEST_SIZE if isinstance(kind, BigInteger) else _LARGEST):
        raise ValueError(f"{name} cannot be {value}")


def _check_text(name: str, longest: int | None, value: str) -> None:
    if longest is not None and len(value) > longest:
        raise ValueError(f"{name} is longer than {longest} characters")
    if name in _ONE_LINE and not value.isprintable():
        raise ValueError(f"{name} holds control characters")
    if name == "uuid":
        uuid.UUID(value)


def _coloured(result: Mapping[str, Any]) -> FieldMeasurement:
    found = field_from_dict(result)
    if not all(math.isfinite(value) for effect in found.estimate.shared for value in effect.vector):
        raise ValueError("a shared effect is no finite number")
    if any(not math.isfinite(value) for colour in found.colours or () for value in colour):
        raise ValueError("a sampled colour is no finite number")
    return found


def _measured(row: Any) -> None:  # noqa: ANN401 - a row of measurements
    if sum(owner is not None for owner in (row.board_number, row.spot_number, row.part_id)) != 1:
        raise ValueError("it is of no one thing")
    found = _coloured(row.result)
    lab = (row.lab_l, row.lab_a, row.lab_b)
    if any(abs(one - other) > 1e-9 for one, other in zip(lab, found.estimate.lab, strict=True)):
        raise ValueError("two of its colours differ")
    if found.name != row.field:
        raise ValueError("it is of another field")
    if row.strip_reading is not None:
        strip_from_dict(row.strip_reading)
    print_said = row.settings.get("print") or {}
    if not isinstance(print_said, Mapping) or not isinstance(row.settings.get("camera_profile") or {}, Mapping):
        raise TypeError("its settings are none")
    for figure in row.correction.get("print") or ():
        float(figure)
    _check_light(row.light)


def _paired(row: Any) -> None:  # noqa: ANN401 - a row of pairs
    _coloured(row.board_result)
    _coloured(row.floor_result)
    DeltaE(row.de00_value, row.de00_low, row.de00_high)
    _check_light(row.light)


def _check_light(light: str) -> None:
    if normalise_light(light) != light:
        raise ValueError(f"light cannot be “{light[:40]}”")


def _photographed(row: Any) -> None:  # noqa: ANN401 - a row of photos
    if record_in(PhotoRecord, row).file_name != row.file_name:
        raise ValueError("file_name is no name of a file")
    if row.kept_sha256 is not None and not _HASH.fullmatch(row.kept_sha256):
        raise ValueError("kept_sha256 is no hash")


def _imaged(row: Any) -> None:  # noqa: ANN401 - a row of row_images
    columns = TABLES[row.table_name].columns
    for side in (row.before, row.after):
        for name, value in (side or {}).items():
            kind = columns[name].type
            _check_value(name, kind, column_value(kind, value), empty=True)


def _counted(row: Any) -> None:  # noqa: ANN401 - a row of counters
    if row.name not in TABLES:
        raise LookupError(f"nothing is called {row.name[:20]}")


def _tried(row: Any) -> None:  # noqa: ANN401 - a row of trials
    for side in record_in(TrialRecord, row).sides:
        LabEstimate.from_dict(side["estimate"], wood=True)


def _learned(row: Any) -> None:  # noqa: ANN401 - a row of strip_greys
    if StripGreys.from_dict(row.greys).number != row.strip_number:
        raise ValueError("its greys are another strip's")


def _profiled(row: Any) -> None:  # noqa: ANN401 - a row of camera_profiles
    profile = CameraProfile.from_dict(row.profile)
    profile.summary()
    if profile.camera != row.camera or normalise_light(profile.light) != row.light:
        raise ValueError("its profile is another camera's")


_SAYS: Final[Mapping[str, Callable[[Any], object]]] = {
    **{table.__tablename__: partial(record_in, kind.record) for table, kind in KINDS.items()},
    "trials": _tried,
    "approvals": partial(record_in, Standard),
    "measurements": _measured,
    "pairs": _paired,
    "photos": _photographed,
    "row_images": _imaged,
    "counters": _counted,
    "strip_greys": _learned,
    "camera_profiles": _profiled,
    "flights": partial(record_in, Flight),
    "parts": partial(record_in, Part),
    "part_events": partial(record_in, PartEvent),
}
"""Table -> what reads a row as everything else does."""
