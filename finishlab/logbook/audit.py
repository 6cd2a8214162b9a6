"""What stands in a logbook that should not: looked for, and moved aside; nothing is deleted.

Looked at are the database's own integrity, its tables, what rows name, every row by the record it holds, every kept
photo by its hash, files that no row names; and a sample of photos is measured again. What cannot be read goes, with all
that hangs on it, into a file of the folder `aside/`, and strange files into that folder, so that the rest works again.
"""

from __future__ import annotations

import datetime as dt
import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Table, func, inspect, select
from sqlalchemy.orm import Session

from finishlab.files import write_atomically
from finishlab.logbook.checks import TABLES, check_row, faults, spoilt
from finishlab.logbook.database import Transactions
from finishlab.logbook.entities import KINDS
from finishlab.logbook.photo_files import file_hash, kept_files, photo_place
from finishlab.logbook.tables import DAMAGED, CounterRow, PhotoRow, plain_value
from finishlab.logbook.writing import note_change

__all__ = ["ASIDE", "AuditStore", "Finding"]

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
    ``"stray-file"``."""
    what: str
    """A sentence."""
    mended: bool = False
    """Whether it was moved aside or put right."""


@dataclass
class _Bad:
    """What is to be moved aside, or mended."""

    rows: Rows = field(default_factory=lambda: defaultdict(set))
    files: list[Path] = field(default_factory=list)
    suffixes: dict[str, str] = field(default_factory=dict)
    """Photos whose file ends otherwise than their row says -> how."""


class AuditStore(Transactions):
    """The part of a logbook that looks itself over."""

    def audit(self, *, repair: bool = False, on_photo: Callable[[], None] = lambda: None) -> list[Finding]:
        """Look the whole logbook over; return what is not as it should be.

        Parameters
        ----------
        repair
            Whether to move aside what cannot be read, and put right what can be, in one transaction.
        on_photo
            Called after each photo.

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
                *_photo_findings(session, self._folder, bad, on_photo),
            ]
            if not repair or not found:
                return found
            aside = self._folder / ASIDE / f"{dt.datetime.now(tz=dt.UTC):%Y-%m-%dT%H-%M-%S-%f}"
            _move_aside(session, bad, aside, self._folder)
            if any(bad.rows.values()):
                moved = {name: len(keys) for name, keys in bad.rows.items() if keys}
                note_change(session, self._who, "check", "logbook", after={"aside": aside.name, "moved": moved})
        return [
            each if each.code in {"photo-missing", "table"} else Finding(each.code, each.what, mended=True)
            for each in found
            if each.code != "database"
        ] + [each for each in found if each.code == "database"]


def _database_findings(connection: Connection, *, repair: bool) -> Iterator[Finding]:
    """Yield what the database says of itself, and tables that are not as they should be."""
    if connection.dialect.name == "sqlite":
        said = _integrity(connection)
        if said and repair:
            connection.exec_driver_sql("REINDEX")
            left = _integrity(connection)
            yield from (Finding("database", text, mended=text not in left) for text in said)
        else:
            yield from (Finding("database", text) for text in said)
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
    for name, entry, why, _ in faults(session):
        bad.rows[name].add(entry)
        yield Finding("entry", f"Entry {str(entry)[:16]} of {name} cannot be read: {why.rstrip('.')}.")
    for name, table in TABLES.items():
        (key,) = table.primary_key.columns
        for each in table.foreign_keys:
            gone = select(key).where(each.parent.is_not(None), each.parent.not_in(select(each.column)))
            for lost in session.scalars(gone):
                bad.rows[name].add(lost)
                yield Finding("reference", f"Entry {lost} of {name} names {each.column.table.name} that are not there.")


def _photo_findings(session: Session, folder: Path, bad: _Bad, on_photo: Callable[[], None]) -> Iterator[Finding]:
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
        on_photo()
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
    _restore_counters(session)
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


def _restore_counters(session: Session) -> None:
    """See that every kind of numbered thing has its counter, and that no number is given again."""
    for table in KINDS:
        last = session.scalar(select(func.max(table.number))) or 0
        row = session.get(CounterRow, table.__tablename__)
        if row is None:
            session.add(CounterRow(name=table.__tablename__, last=last))
        elif row.last < last:
            row.last = last
    session.flush()


def _is_spoilt(table: Table, row: Mapping[str, Any], column: str) -> bool:
    return column in table.columns and spoilt(table.columns[column], row[column]) is not None


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
