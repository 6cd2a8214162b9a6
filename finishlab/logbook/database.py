"""Opening the folder and its database: SQLite's settings, migrations, and failures put into words."""

from __future__ import annotations

import datetime as dt
import errno
import getpass
import json
import os
import sqlite3
import time
import uuid
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, Engine, column, create_engine, event, inspect, select, table
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.orm import Session
from sqlalchemy.pool import QueuePool

from finishlab.errors import LogbookError
from finishlab.files import LOGBOOK_FILE, PHOTO_FOLDER
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.photo_files import INCOMING, KeptPhoto, clear_leftovers
from finishlab.logbook.tables import PhotoRow, Unreadable

if TYPE_CHECKING:
    from alembic.config import Config


BUSY_SECONDS: Final = 30.0
"""How long to wait for another program that is writing."""
MIGRATIONS: Final = Path(__file__).parent / "migrations"
"""The Alembic environment; it lies inside the package, so that an installed wheel has it."""
_JOURNAL_TRIES: Final = 50
_IMMEDIATE: Final = "finishlab_immediate"
_CANNOT_WRITE: Final = frozenset({"logbook-unwritable", "logbook-full", "logbook-failed"})
"""Codes of failures that a logbook which can only be read gives when it is opened to write."""
_OURS: Final = frozenset({"boards", "photos", "changes"})
"""Tables every logbook has had from the first."""
_HINT_DAMAGED: Final = "Restore the folder from a backup. What can still be read is saved by: finishlab check --repair"
_HINT_BACKUP: Final = "Restore the folder from a backup, or name another folder with --logbook."


@contextmanager
def failures_named(where: str) -> Iterator[None]:
    """Turn the database's and the disk's failures inside into `LogbookError` sentences about `where`.

    Raises
    ------
    LogbookError
        ``"logbook-busy"``, ``"logbook-unwritable"``, ``"logbook-full"``, ``"logbook-damaged"`` or
        ``"logbook-failed"``.
    """
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, OSError) as error:
        raise _named(error, where) from error
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise LogbookError(
            "logbook-damaged", f"An entry of the logbook in {where} cannot be read.", _HINT_BACKUP
        ) from error


def _named(error: SQLAlchemyError | sqlite3.Error | OSError, where: str) -> LogbookError:
    if isinstance(error, OSError):
        reason = "no space" if error.errno == errno.ENOSPC else (error.strerror or str(error))
    else:
        reason = str(getattr(error, "orig", None) or error).lower()
    if "locked" in reason:
        return LogbookError(
            "logbook-busy",
            f"Another program has been writing to the logbook in {where} for more than {BUSY_SECONDS:.0f} seconds.",
            "Wait until it is done, then try again.",
        )
    if "full" in reason or "no space" in reason:
        return LogbookError("logbook-full", f"The disk of the logbook in {where} is full.", "Make room and try again.")
    if "malformed" in reason or "not a database" in reason or "disk image" in reason:
        return LogbookError("logbook-damaged", f"The database of the logbook in {where} is damaged.", _HINT_DAMAGED)
    if isinstance(error, OSError) or "readonly" in reason or "unable to open" in reason:
        return LogbookError(
            "logbook-unwritable",
            f"The logbook in {where} cannot be read and written ({reason}).",
            "Give yourself write permission on the folder, or name another folder with --logbook.",
        )
    return LogbookError("logbook-failed", f"The logbook in {where} failed: {reason.rstrip('.')}.", "Try again.")


def _json_or_kept(text: str) -> Any:  # noqa: ANN401 - any JSON value
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return Unreadable(text)


_JSON: Final[dict[str, Any]] = {
    "json_serializer": partial(json.dumps, allow_nan=False),
    "json_deserializer": _json_or_kept,
}


def open_database(place: str | Path, where: str) -> tuple[Engine, str | None]:
    """Open a logbook's database at today's step; return also why it can only be read, None where it can be written.

    Where the disk is full, or the folder may only be read, what is read comes from a copy in memory.

    Parameters
    ----------
    place
        SQLite file, or the address of another database.
    where
        How failures name the logbook.

    Raises
    ------
    LogbookError
        As `failures_named`, `migrate` and `open_engine`.
    """
    if isinstance(place, Path):
        with failures_named(where):
            _refuse_foreign(place)
        if place.exists() and not all(os.access(each, os.W_OK) for each in (place, place.parent)):
            return _open_copy(place, where), "permission denied"
    try:
        return _migrated(open_engine(place), where), None
    except LogbookError as error:
        if error.code not in _CANNOT_WRITE or not isinstance(place, Path) or not place.is_file():
            raise
        return _open_copy(place, where), error.message


def _migrated(engine: Engine, where: str) -> Engine:
    try:
        with failures_named(where):
            migrate(engine)
    except BaseException:
        engine.dispose()
        raise
    return engine


def _refuse_foreign(place: Path) -> None:
    """See that a file is no other program's database, without changing anything in it or beside it."""
    if not place.is_file() or not place.stat().st_size or Path(f"{place}-wal").exists():
        return  # nothing there; or it is in use, and looked at when it is opened
    with closing(sqlite3.connect(f"{place.absolute().as_uri()}?immutable=1", uri=True)) as looked_at:
        names = {name for (name,) in looked_at.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if names and not names >= _OURS:
        raise _foreign()


def _open_copy(place: Path, where: str) -> Engine:
    """Return an engine for a copy of a SQLite file in memory, which cannot be written."""
    address = f"file:finishlab-{uuid.uuid4().hex}?mode=memory&cache=shared"
    copy = sqlite3.connect(address, uri=True, check_same_thread=False)
    with failures_named(where):
        for how in ("mode=ro", "immutable=1"):  # the second where not even SQLite's own small files can be made
            try:
                with closing(sqlite3.connect(f"{place.absolute().as_uri()}?{how}", uri=True)) as source:
                    source.backup(copy)
                break
            except sqlite3.OperationalError:
                if how == "immutable=1":
                    raise

    def connect(_held: sqlite3.Connection = copy) -> sqlite3.Connection:
        # Held, since with the last connection that is closed the copy is gone.
        return sqlite3.connect(address, uri=True)

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, **_JSON)
    return _migrated(_set_up(engine), where)


def open_engine(address: str | Path) -> Engine:
    """Return an engine for a SQLite file (a path) or for any database SQLAlchemy knows (an address).

    A file has one engine in a process: with it its queries stay compiled, for the next command of the page or a script.
    To dispose of it closes its connections; it may be used again.

    Raises
    ------
    LogbookError
        ``"logbook-address"`` if the address or its driver is unknown.
    """
    if isinstance(address, Path):
        return _file_engine(str(address.absolute()))
    try:
        return _engine(make_url(address))
    except (ArgumentError, NoSuchModuleError, ImportError) as error:
        raise LogbookError(
            "logbook-address", f"The database address cannot be used: {error}.", "Check it; install its driver."
        ) from error


@lru_cache(maxsize=8)
def _file_engine(file: str) -> Engine:
    return _engine(URL.create("sqlite", database=file))


def _engine(url: URL) -> Engine:
    engine = create_engine(url, **_JSON)
    return _set_up(engine) if url.get_backend_name() == "sqlite" else engine


def _set_up(engine: Engine) -> Engine:
    event.listen(engine, "connect", set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def set_up_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    """Set up a new connection: references held, write-ahead journal where the file system allows one."""
    # Python's driver would begin transactions on its own, and too late; `_begin_sqlite` does it instead.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA busy_timeout = {round(1000 * BUSY_SECONDS)}")
    # One text that is no text must not take all others with it.
    connection.text_factory = lambda raw: raw.decode("utf-8", "replace")
    # SQLite does not wait when a second program switches the journal at the same moment. Where it never can be
    # switched the old journal serves too: a little slower, and as safe.
    for _ in range(_JOURNAL_TRIES):
        try:
            if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
            time.sleep(0.05)


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that will write asks for the lock at once: one that reads first and writes later could not wait.
    immediate = connection.get_execution_options().get(_IMMEDIATE, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


def writing(engine: Engine) -> Engine:
    """Return the same engine for transactions that write."""
    return engine.execution_options(**{_IMMEDIATE: True})


def stored_revision(connection: Connection) -> str | None:
    """Return the revision the database is at, None for an empty database.

    Raises
    ------
    LogbookError
        ``"logbook-foreign"`` if the database holds another program's tables.
    """
    inspector = inspect(connection)
    names = set(inspector.get_table_names())
    if names - {"alembic_version"} and not names >= _OURS:
        raise _foreign()
    if "alembic_version" in names:
        revision = connection.execute(select(column("version_num")).select_from(table("alembic_version"))).scalar()
        if revision is not None:
            return str(revision)
    if names - {"alembic_version"}:
        raise _foreign()
    return None


def _foreign() -> LogbookError:
    return LogbookError(
        "logbook-foreign",
        "The database is not a finishlab logbook; it holds other tables.",
        "Name another folder with --logbook.",
    )


def migrate(engine: Engine) -> bool:
    """Bring the tables up to date; return whether anything had to be done.

    The whole upgrade is one transaction: a logbook is never left between two versions. Several programs may do this at
    once; the first does the work.

    Raises
    ------
    LogbookError
        ``"logbook-newer"`` if a newer finishlab wrote the logbook, ``"logbook-foreign"``.
    """
    with engine.connect() as connection:
        revision = stored_revision(connection)
    if revision == HEAD:
        return False
    if revision is not None and revision not in _known_revisions():
        raise LogbookError(
            "logbook-newer",
            f"The logbook was written by a newer finishlab (its tables are at “{revision}”, this one knows “{HEAD}”).",
            "Update finishlab, then try again.",
        )
    _upgrade(engine, HEAD)
    return True


def migrate_to(engine: Engine, revision: str) -> bool:
    """Make the tables of an empty database as they were at `revision`; return whether that is a known one."""
    if revision not in _known_revisions():
        return False
    _upgrade(engine, revision)
    return True


def _config() -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    return config


def _known_revisions() -> set[str]:
    from alembic.script import ScriptDirectory

    return {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}


def _upgrade(engine: Engine, revision: str) -> None:
    from alembic import command

    config = _config()
    with writing(engine).connect() as connection:
        _keep_references(connection, keep=False)
        try:
            with connection.begin():
                if stored_revision(connection) != revision:
                    config.attributes["connection"] = connection
                    command.upgrade(config, revision)
                    _check_references(connection)
        finally:
            _keep_references(connection, keep=True)


def _keep_references(connection: Connection, *, keep: bool) -> None:
    # SQLite rebuilds a table to alter it; with references on, dropping the old one would fail. This pragma does nothing
    # inside a transaction, so it goes to the driver's connection before and after.
    if connection.dialect.name == "sqlite":
        driver = connection.connection.driver_connection
        if not isinstance(driver, sqlite3.Connection):
            raise TypeError(f"SQLite through another driver: {type(driver).__name__}")
        driver.execute(f"PRAGMA foreign_keys = {'ON' if keep else 'OFF'}")


def _check_references(connection: Connection) -> None:
    if connection.dialect.name == "sqlite" and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise LogbookError("logbook-damaged", "Entries of the logbook name others that are not there.", _HINT_BACKUP)


def named_folder(folder: str | Path) -> Path:
    """Return the logbook's folder somebody names, with ``~`` for their own.

    Raises
    ------
    LogbookError
        ``logbook-not-a-folder`` if no folder can have that name.
    """
    try:
        place = Path(folder).expanduser()
        os.fspath(place).encode("utf-8", "surrogateescape")
    except (RuntimeError, UnicodeError):
        place = None
    if place is None or "\0" in str(place):
        shown = str(folder).replace("\0", "\\0")
        raise LogbookError("logbook-not-a-folder", f"No folder is called “{shown}”.", "Name a folder with --logbook.")
    return place


def last_change(folder: Path, subjects: Sequence[str] = ()) -> int:
    """Return the number of the newest entry of the history, 0 where there is none; the logbook need not be open.

    Parameters
    ----------
    folder
        The logbook's.
    subjects
        Only of these, as the history names them.
    """
    if not (folder / LOGBOOK_FILE).is_file():
        return 0
    among = f" WHERE subject IN ({', '.join('?' * len(subjects))})" if subjects else ""
    with (
        failures_named(str(folder)),
        closing(sqlite3.connect(folder / LOGBOOK_FILE, timeout=BUSY_SECONDS)) as connection,
    ):
        found = connection.execute(f"SELECT max(id) FROM changes{among}", tuple(subjects)).fetchone()  # noqa: S608 - places only
    return int(found[0] or 0)


def make_folder(folder: Path) -> None:
    """Make the logbook's folder and its `photos/` where they are not there."""
    check_folder(folder)
    with failures_named(str(folder)):
        _refuse_foreign(folder / LOGBOOK_FILE)
        only_read = (folder / LOGBOOK_FILE).is_file() and not os.access(folder, os.W_OK)
        if not (folder / PHOTO_FOLDER).is_dir() and not only_read:
            (folder / PHOTO_FOLDER).mkdir(parents=True, exist_ok=True)


def check_folder(folder: Path) -> None:
    """See that what has the logbook folder's name is one."""
    if folder.exists() and not folder.is_dir():
        raise LogbookError("logbook-not-a-folder", f"{folder} is not a folder.", "Name a folder with --logbook.")


def login_name() -> str:
    """Return who is logged in, for the history."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no entry for this user, or no such system
        return "unknown"


class WritingSession(Session):
    """A session whose changes are noted, see `finishlab.logbook.writing`."""


class Transactions:
    """A logbook's folder and open database; `finishlab.logbook.store.Logbook` and the stores it is made of are one.

    Parameters
    ----------
    folder
        Where the kept photos lie.
    engine
        The database.
    who
        Name for the history.
    only_read
        Why it cannot be written; None if it can.
    """

    def __init__(self, folder: Path, engine: Engine, who: str, only_read: str | None = None) -> None:
        self.folder = folder
        self._engine = engine
        self._writing = writing(engine)
        self._who = who
        self._only_read = only_read
        self._kept: dict[str, KeptPhoto] = {}
        self._shared: Session | None = None

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """Let all that is read and written meanwhile be one transaction: logged whole or not at all, undone as one."""
        with self._write() as session:
            self._shared = session
            try:
                yield
            finally:
                self._shared = None

    def _refuse_reading_only(self) -> None:
        if self._only_read is not None:
            raise LogbookError(
                "logbook-unwritable",
                f"The logbook in {self.folder} can be read, but not written: {self._only_read.rstrip('.')}.",
                "Make room, give yourself write permission on the folder, or name another with --logbook.",
            )

    @contextmanager
    def _read(self) -> Iterator[Session]:
        if self._shared is not None:
            yield self._shared
            return
        with failures_named(str(self.folder)), Session(self._engine, expire_on_commit=False) as session:
            yield session

    def _note_kept(self, session: Session) -> None:
        for photo in self._kept.values():
            photo.settle(self.folder)
            _note_photo(session, photo)

    @contextmanager
    def _write(self) -> Iterator[Session]:
        if self._shared is not None:
            self._note_kept(self._shared)
            yield self._shared
            return
        self._refuse_reading_only()
        with failures_named(str(self.folder)):
            with WritingSession(self._writing) as session, session.begin():
                # The whole of a SQLite file is this transaction's alone.
                if self._engine.dialect.name == "sqlite" and any((self.folder / INCOMING).glob("*")):
                    clear_leftovers(self.folder, lambda sha256: session.get(PhotoRow, sha256) is not None)
                self._note_kept(session)
                yield session
            for photo in self._kept.values():
                photo.done()
            self._kept.clear()


def _note_photo(session: Session, photo: KeptPhoto) -> None:
    """Insert a kept photo's row; where only a copy without its place was known, say that the original is here now."""
    if photo.row is None:
        return
    known = session.get(PhotoRow, photo.sha256)
    if known is None:
        session.add(PhotoRow(**photo.row, size=photo.size, kept=dt.datetime.now(tz=dt.UTC)))
        session.flush()
    else:
        known.kept_sha256 = None
