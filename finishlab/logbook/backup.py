"""A logbook like this one in another folder, made also while this one is in use, and brought up to date."""

from __future__ import annotations

import sqlite3
import uuid
from pathlib import Path

from finishlab.errors import LogbookError, OutputError
from finishlab.logbook.database import DATABASE, Transactions
from finishlab.logbook.merge import read_dump
from finishlab.logbook.photo_files import PHOTOS, keep_file, photo_place

__all__ = ["BackupStore"]


class BackupStore(Transactions):
    """The part of a logbook that copies it."""

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
        with self._read() as session:
            rows = read_dump(session.connection()).tables["photos"]
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
        if inside or (there and not (folder / DATABASE).is_file()) or (folder.exists() and not folder.is_dir()):
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
            with sqlite3.connect(f"{(folder / DATABASE).as_uri()}?mode=ro", uri=True) as other:
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
                (folder / f"{DATABASE}{stale}").unlink(missing_ok=True)
            incoming.replace(folder / DATABASE)
        finally:
            incoming.unlink(missing_ok=True)
