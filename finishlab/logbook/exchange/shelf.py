"""The part of a logbook that gives itself away whole and takes another in: archives and backups."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from finishlab.errors import LogbookError, OutputError
from finishlab.logbook.database import failures_named
from finishlab.logbook.exchange.dump import Dump, Tables, checked, read_dump, upgraded
from finishlab.logbook.exchange.taking_in import TakenIn, take_in
from finishlab.logbook.photo_files import PHOTOS, keep_file, photo_place
from finishlab.logbook.shelf import Shelf

__all__ = ["ExchangeShelf"]

_DATABASE: Final = "logbook.db"


class ExchangeShelf(Shelf):
    """What `finishlab.logbook.store.Logbook` can do with the whole of itself."""

    def dump(self) -> Dump:
        """Return all that the tables hold, at one moment."""
        with self._read() as session:
            return read_dump(session.connection())

    def checked_dump(self, dump: Dump) -> Tables:
        """Return a dump at today's step; one that could not be taken in is refused before its photos are kept.

        Raises
        ------
        LogbookError
            ``"archive-newer"`` or ``"archive-damaged"``.
        """
        return checked(upgraded(dump))

    def take_in(self, dump: Tables) -> TakenIn:
        """Join another logbook's dump with this one, in one transaction; its photos are kept before.

        Raises
        ------
        LogbookError
            ``"archive-damaged"``; nothing is changed then.
        """
        with self._write() as session:
            return take_in(session, dump, self._who)

    def keep_photo_copy(self, path: Path, row: Mapping[str, Any]) -> None:
        """Keep the file of an archive's photo; `row` is its entry in the table of photos.

        Raises
        ------
        LogbookError
            ``"photo-changed"`` if the bytes are not those that the entry names.
        """
        with failures_named(str(self._folder)):
            keep_file(self._folder, path, row["sha256"], row["suffix"], content=row["kept_sha256"])

    def backup(self, folder: Path) -> int:
        """Write a logbook like this one into another folder, also while this one is in use; return its photos' number.

        A folder that holds an earlier backup is brought up to date.

        Raises
        ------
        OutputError
            ``"backup-not-writable"`` or ``"backup-elsewhere"``.
        LogbookError
            ``"backup-not-sqlite"`` for a database on a server, which has ways of its own.
        """
        if self._engine.dialect.name != "sqlite":
            raise LogbookError(
                "backup-not-sqlite",
                "This logbook's database is on a server.",
                "Back it up with the server's own tools.",
            )
        folder = Path(folder).expanduser()
        self._check_backup(folder)
        rows = self.dump().tables["photos"]
        try:
            (folder / PHOTOS).mkdir(parents=True, exist_ok=True)
            # Photos first, as everywhere: a photo that nothing names is no harm.
            for row in rows:
                kept = photo_place(self._folder, row["sha256"], row["suffix"])
                if kept.is_file():
                    keep_file(folder, kept, row["sha256"], row["suffix"], content=row["kept_sha256"])
            self._copy_database(folder)
        except OSError as error:
            raise OutputError(
                "backup-not-writable",
                f"{folder} cannot be written ({error.strerror or error}).",
                "Name a folder you may write to, on a disk with room.",
            ) from error
        return len(rows)

    def _check_backup(self, folder: Path) -> None:
        there = folder.is_dir() and any(folder.iterdir())
        inside = folder.resolve().is_relative_to(self._folder.resolve())
        if inside or (there and not (folder / _DATABASE).is_file()) or (folder.exists() and not folder.is_dir()):
            raise OutputError(
                "backup-elsewhere",
                f"{folder} is no place for a backup: it holds other files, or lies inside the logbook.",
                "Name a new or empty folder, or that of an earlier backup.",
            )
        if there and not self._same_logbook(folder):
            raise OutputError(
                "backup-elsewhere",
                f"{folder} holds another logbook, which would be lost.",
                "Name a new or empty folder, or that of an earlier backup of this logbook.",
            )

    def _same_logbook(self, folder: Path) -> bool:
        """Say whether a folder holds an earlier state of this logbook: every change it knows is known here."""
        asked = "SELECT made, what, subject FROM changes"
        try:
            with sqlite3.connect(f"{(folder / _DATABASE).as_uri()}?mode=ro", uri=True) as other:
                theirs = set(other.execute(asked))
            other.close()
        except (sqlite3.Error, ValueError):
            return False
        with self._read() as session:
            return theirs <= {tuple(row) for row in session.connection().exec_driver_sql(asked)}

    def _copy_database(self, folder: Path) -> None:
        incoming = folder / f".{uuid.uuid4().hex}.db"
        try:
            with self._read() as session, sqlite3.connect(incoming) as copy:
                source = session.connection().connection.driver_connection
                if not isinstance(source, sqlite3.Connection):
                    raise TypeError(f"SQLite through another driver: {type(source).__name__}")
                source.backup(copy)
            copy.close()
            for stale in ("-wal", "-shm"):
                (folder / f"{_DATABASE}{stale}").unlink(missing_ok=True)
            incoming.replace(folder / _DATABASE)
        finally:
            incoming.unlink(missing_ok=True)
