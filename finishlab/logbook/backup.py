"""A logbook like this one in another folder, made also while this one is in use, and brought up to date."""

from __future__ import annotations

import re
import sqlite3
import uuid
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sqlalchemy import select

from finishlab.errors import LogbookError, OutputError, PhotoError
from finishlab.files import LOGBOOK_FILE, PHOTO_FOLDER
from finishlab.logbook.database import Transactions, named_folder
from finishlab.logbook.photo_files import clear_leftovers, keep_file, photo_place
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
            kept = photo_place(self._folder, sha256, suffix)
            try:
                keep_file(place, kept, sha256, suffix, content=kept_sha256)
            except (LogbookError, PhotoError):  # gone, or not what was kept
                missing.append(name)
            else:
                copied += 1
        return BackedUp(copied, tuple(missing))

    def _check_backup(self, place: Path) -> None:
        there = {each.name for each in place.iterdir()} if place.is_dir() else set()
        inside = place.resolve().is_relative_to(self._folder.resolve())
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
                f"The database of the logbook in {self._folder} is damaged, so no backup is made of it.",
                f"What {place} held before is as it was. See what can be mended: finishlab check --repair",
            )
