"""A logbook like this one in another folder, made also while this one is in use; and of a damaged one what is left."""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
import sqlite3
import uuid
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError, OutputError, PhotoError
from finishlab.files import LOGBOOK_FILE, PHOTO_FOLDER
from finishlab.logbook.audit import ASIDE, TABLES, AuditStore, restore_counters
from finishlab.logbook.database import (
    Transactions,
    failures_named,
    migrate_to,
    named_folder,
    open_database,
    open_engine,
)
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.photo_files import clear_leftovers, keep_file, kept_files, photo_place
from finishlab.logbook.tables import PhotoRow

_HALF: Final = re.compile(r"\.[0-9a-f]{32}\.db(-journal|-wal|-shm)?")
"""Names of databases that are being copied."""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds."""

    photos: int
    """Photos whose files are in it, as they were kept."""
    missing: tuple[str, ...] = ()
    """Names of photos that are not: their files are gone, or no longer what was kept."""


class BackupStore(Transactions):
    """The part of a logbook that copies it."""

    def backup(self, folder: Path) -> BackedUp:
        """Write a logbook like this one into another folder, also while this one is in use.

        A folder that holds an earlier backup, or one that was cut short, is brought up to date.

        Raises
        ------
        OutputError
            ``"backup-not-writable"`` or ``"backup-elsewhere"``.
        LogbookError
            ``"backup-not-sqlite"`` for a database on a server, which has ways of its own; ``"logbook-damaged"`` if the
            database is not sound: the earlier backup then stays as it is.
        """
        if self._engine.dialect.name != "sqlite":
            raise LogbookError(
                "backup-not-sqlite",
                "This logbook's database is on a server.",
                "Back it up with the server's own tools.",
            )
        place = named_folder(folder).absolute()
        self._check_backup(place)
        try:
            (place / PHOTO_FOLDER).mkdir(parents=True, exist_ok=True)
            clear_leftovers(place, lambda _: True)
            incoming = self._copied_database(place)
            try:
                # Photos before the database that names them, as everywhere: a photo that nothing names is no harm.
                done = self._copy_photos(place)
                for stale in ("-wal", "-shm"):
                    (place / f"{LOGBOOK_FILE}{stale}").unlink(missing_ok=True)
                incoming.replace(place / LOGBOOK_FILE)
            finally:
                incoming.unlink(missing_ok=True)
        except OSError as error:
            raise OutputError(
                "backup-not-writable",
                f"{folder} cannot be written ({error.strerror or error}).",
                "Name a folder you may write to, on a disk with room.",
            ) from error
        return done

    def _copy_photos(self, place: Path) -> BackedUp:
        with self._read() as session:
            asked = select(PhotoRow.sha256, PhotoRow.suffix, PhotoRow.kept_sha256, PhotoRow.file_name)
            rows = session.execute(asked.order_by(PhotoRow.sha256)).all()
        copied, missing = 0, []
        for sha256, suffix, kept_sha256, name in rows:
            kept = photo_place(self.folder, sha256, suffix)
            try:
                keep_file(place, kept, sha256, suffix, content=kept_sha256)
            except (LogbookError, PhotoError):  # gone, or not what was kept
                missing.append(name)
            else:
                copied += 1
        return BackedUp(copied, tuple(missing))

    def _check_backup(self, place: Path) -> None:
        there = {each.name for each in place.iterdir()} if place.is_dir() else set()
        inside = place.resolve().is_relative_to(self.folder.resolve())
        cut_short = all(name == PHOTO_FOLDER or _HALF.fullmatch(name) for name in there)
        if inside or (place.exists() and not place.is_dir()) or not (cut_short or LOGBOOK_FILE in there):
            raise OutputError(
                "backup-elsewhere",
                f"{place} is no place for a backup: it holds other files, or lies inside the logbook.",
                "Name a new or empty folder, or that of an earlier backup.",
            )
        if LOGBOOK_FILE in there and not self._same_logbook(place):
            raise OutputError(
                "backup-elsewhere",
                f"{place} holds another logbook, which would be lost.",
                "Name a new or empty folder, or that of an earlier backup of this logbook.",
            )

    def _same_logbook(self, place: Path) -> bool:
        """Say whether a folder holds an earlier state of this logbook: every change it knows is known here."""
        asked = "SELECT made, what, subject FROM changes"
        try:
            with closing(sqlite3.connect(f"{(place / LOGBOOK_FILE).as_uri()}?mode=ro", uri=True)) as other:
                theirs = set(other.execute(asked))
        except (sqlite3.Error, ValueError):
            return False
        with self._read() as session:
            return theirs <= {tuple(row) for row in session.connection().exec_driver_sql(asked)}

    def _copied_database(self, place: Path) -> Path:
        """Copy the database beside its place and see that the copy is sound; return it."""
        for half in place.iterdir():
            if _HALF.fullmatch(half.name):
                half.unlink(missing_ok=True)
        incoming = place / f".{uuid.uuid4().hex}.db"
        try:
            with self._read() as session, closing(sqlite3.connect(incoming)) as copy:
                source = session.connection().connection.driver_connection
                if isinstance(source, sqlite3.Connection):  # as it is of every SQLite engine
                    source.backup(copy)
                self._refuse_unsound(copy, place)
        except BaseException:
            incoming.unlink(missing_ok=True)
            raise
        return incoming

    def _refuse_unsound(self, copy: sqlite3.Connection, place: Path) -> None:
        if copy.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
            raise LogbookError(
                "logbook-damaged",
                f"The database of the logbook in {self.folder} is damaged, so no backup is made of it.",
                f"What {place} held before is as it was. See what can be mended: finishlab check --repair",
            )


@dataclass(frozen=True, slots=True)
class Saved:
    """What was made of the part of a damaged database that can be read."""

    folder: Path
    """A logbook of its own."""
    entries: int
    torn: tuple[str, ...]
    """Tables of which not every row could be read."""
    loose: bool
    """Whether entries that fit to nothing any more lie in the `aside/` of the new one."""


def save_readable(folder: Path, who: str) -> Saved:
    """Make a logbook of what can still be read of a damaged one, in its `aside/`; the damaged one stays as it is.

    Tables are read row by row from both ends, and between them by their numbers, so that a page that is destroyed costs
    the rows on it only. What then cannot be meant goes aside once more, as everywhere.

    Raises
    ------
    LogbookError
        ``"logbook-damaged"`` if nothing can be read, and what writing raises.
    """
    place = folder / ASIDE / f"{dt.datetime.now(tz=dt.UTC):%Y-%m-%dT%H-%M-%S-%f}"
    with failures_named(str(folder)):
        place.mkdir(parents=True)
        try:
            step, found, torn = _readable(folder, place)
            _fill(place, step, found)
        except BaseException:
            shutil.rmtree(place)
            raise
        _photos_too(folder, place)
        engine, _ = open_database(place / LOGBOOK_FILE, str(place))
        store = AuditStore(place, engine, who)
        with store._write() as session:  # noqa: SLF001 - of this very class
            restore_counters(session)
        loose = bool(store.audit(repair=True))
        with Session(engine) as session:
            left = sum(session.scalar(select(func.count()).select_from(table)) or 0 for table in TABLES.values())
        engine.dispose()
    return Saved(place, left, torn, loose)


def _photos_too(folder: Path, place: Path) -> None:
    """Give a logbook another's photos, without a second copy where the disk can do that: nobody ever changes one."""
    for path in kept_files(folder):
        there = place / path.relative_to(folder)
        there.parent.mkdir(parents=True, exist_ok=True)
        try:
            os.link(path, there)
        except OSError:
            shutil.copyfile(path, there)


def _nothing_left(folder: Path) -> LogbookError:
    return LogbookError(
        "logbook-damaged",
        f"Nothing of the database of the logbook in {folder} can be read.",
        "Restore the folder from a backup; the photos are still in it.",
    )


_Raw = dict[str, tuple[list[str], dict[int, tuple[Any, ...]]]]
"""Table -> its columns, and its rows by their numbers, as the database has them."""


def _readable(folder: Path, place: Path) -> tuple[str, _Raw, tuple[str, ...]]:
    """Return the step of a damaged database's tables, the rows that can be read, and the tables that lost some."""
    copy = place / "damaged.db"  # SQLite writes where it reads a journal; what is damaged stays as it is
    for ending in ("", "-wal"):
        if (source := Path(f"{folder / LOGBOOK_FILE}{ending}")).is_file():
            shutil.copyfile(source, f"{copy}{ending}")
    found: _Raw = {}
    torn, step = [], HEAD
    with closing(sqlite3.connect(copy)) as database:
        database.text_factory = lambda raw: raw.decode("utf-8", "replace")
        database.execute("PRAGMA writable_schema = ON")  # what is cut off, or a spoilt schema, stops it no more
        with suppress(sqlite3.DatabaseError, TypeError):
            (step,) = database.execute("SELECT version_num FROM alembic_version").fetchone()
        for name in TABLES:
            try:
                columns = [str(each[1]) for each in database.execute(f"PRAGMA table_info({name})")]
            except sqlite3.DatabaseError:
                columns = []
            if columns:
                rows, whole = _rows_of(database, name)
                found[name] = (columns, rows)
                torn += [] if whole else [name]
    for rest in place.glob("damaged.db*"):
        rest.unlink()
    if not any(rows for _, rows in found.values()):
        raise _nothing_left(folder)
    return str(step), found, tuple(torn)


def _rows_of(database: sqlite3.Connection, table: str) -> tuple[dict[int, tuple[Any, ...]], bool]:
    """Return a table's rows by their numbers, and whether that is all of them."""
    found: dict[int, tuple[Any, ...]] = {}
    asked = f"SELECT rowid, * FROM {table}"  # noqa: S608 - a table of ours
    for order in ("", " DESC"):
        try:
            for row in database.execute(f"{asked} ORDER BY rowid{order}"):
                found[row[0]] = row[1:]
        except sqlite3.DatabaseError:
            continue
        return found, not order
    for number in set(range(min(found, default=0), min(max(found, default=0), _MOST_ROWS))) - set(found):
        with suppress(sqlite3.DatabaseError):
            found |= {row[0]: row[1:] for row in database.execute(f"{asked} WHERE rowid = ?", [number])}
    return found, False


_MOST_ROWS: Final = 200_000
"""Numbers of rows up to which single ones are looked for."""


def _fill(place: Path, step: str, found: _Raw) -> None:
    """Write rows into new tables of their step; one that breaks a rule of its table is left out."""
    engine = open_engine(place / LOGBOOK_FILE)
    try:
        if not migrate_to(engine, step):
            raise _nothing_left(place.parent.parent)
    finally:
        engine.dispose()
    with closing(sqlite3.connect(place / LOGBOOK_FILE)) as new, new:
        for name, (columns, rows) in found.items():
            marks = ", ".join("?" * len(columns))
            named = ", ".join(f'"{each}"' for each in columns)
            new.executemany(f"INSERT OR IGNORE INTO {name} ({named}) VALUES ({marks})", rows.values())  # noqa: S608
