"""The logbook's database: SQLite's settings, moments in UTC, and races between programs."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.dialects import sqlite
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import database
from finishlab.logbook.database import failures_named, migrate, open_engine, writing
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.tables import StripRow, UtcDateTime
from finishlab.logbook.writing import insert_if_missing, now

pytestmark = pytest.mark.usefixtures("real_migrations")


def test_sqlite_is_set_up_to_survive(tmp_path: Path) -> None:
    """Write-ahead journal, references held, every commit flushed to the disk, a wait for other programs."""
    engine = open_engine(tmp_path / "new.db")
    names = ("journal_mode", "foreign_keys", "synchronous", "busy_timeout")
    with engine.connect() as connection:
        found = [connection.execute(text(f"PRAGMA {name}")).scalar() for name in names]
    assert found == ["wal", 1, 2, 30000]
    engine.dispose()


class _Switching(sqlite3.Connection):
    """A connection on which another program holds the journal for some tries."""

    tries = 0
    held = 2
    reason = "database is locked"

    def execute(self, sql: str, *parameters: object) -> sqlite3.Cursor:
        """Fail to switch the journal while it is held."""
        if sql == "PRAGMA journal_mode = WAL":
            self.tries += 1
            if self.tries <= self.held:
                raise sqlite3.OperationalError(self.reason)
        return super().execute(sql, *parameters)  # type: ignore[arg-type]  # passed on as it came


@pytest.mark.parametrize(("held", "mode"), [(2, "wal"), (999, "delete")])
def test_a_journal_held_by_another_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held: int, mode: str
) -> None:
    """When two programs open a new logbook at one moment the later tries again; in the end it works without."""
    monkeypatch.setattr("time.sleep", lambda _seconds: None)
    connection = sqlite3.connect(tmp_path / "new.db", factory=_Switching)
    connection.held = held
    database.set_up_sqlite(connection, None)
    assert connection.execute("PRAGMA journal_mode").fetchone() == (mode,)
    connection.close()


def test_another_failure_of_the_journal_is_not_hidden(tmp_path: Path) -> None:
    """Only a journal that is held is tried again."""
    connection = sqlite3.connect(tmp_path / "new.db", factory=_Switching)
    connection.reason = "disk I/O error"
    with pytest.raises(sqlite3.OperationalError, match="disk I/O"):
        database.set_up_sqlite(connection, None)
    assert connection.tries == 1
    connection.close()


def test_moments_are_utc_on_both_sides() -> None:
    """A moment of any zone is stored in UTC and comes back with its zone; one without a zone is refused."""
    kind, dialect = UtcDateTime(), sqlite.dialect()
    moment = dt.datetime(2024, 5, 31, 12, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    stored = kind.process_bind_param(moment, dialect)
    assert stored == moment
    assert stored is not None
    assert stored.tzinfo == dt.UTC
    assert kind.process_result_value(stored.replace(tzinfo=None), dialect) == moment
    assert kind.process_result_value(moment, dialect) == moment
    assert kind.process_bind_param(None, dialect) is None
    assert kind.process_result_value(None, dialect) is None
    with pytest.raises(ValueError, match="zone"):
        kind.process_bind_param(dt.datetime(2024, 5, 31), dialect)  # noqa: DTZ001 - the mistake under test


def test_a_row_another_program_inserts_first_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Looked up in vain, then inserted by another: the row is there, the transaction goes on; a real clash is told."""
    engine = open_engine(tmp_path / "new.db")
    migrate(engine)
    with Session(writing(engine)) as session, session.begin():
        insert_if_missing(session, StripRow(number=7, first_seen=now()), 7)
    real = Session.get
    for answers, fails in (([False, True], False), ([False, False], True)):
        seen = iter(answers)
        monkeypatch.setattr(Session, "get", lambda *args, seen=seen: real(*args) if next(seen) else None)
        with Session(writing(engine)) as session, session.begin():
            row = StripRow(number=7, first_seen=now())
            if fails:
                with pytest.raises(IntegrityError):
                    insert_if_missing(session, row, 7)
            else:
                insert_if_missing(session, row, 7)
            assert session.execute(text("SELECT count(*) FROM strips")).scalar() == 1
    engine.dispose()


def test_an_upgrade_another_program_did_first_is_not_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The revision is read again once the lock is held, so a second program does not make the tables twice."""
    engine = open_engine(tmp_path / "new.db")
    migrate(engine)
    real = database.stored_revision
    seen = iter([None])
    monkeypatch.setattr(database, "stored_revision", lambda connection: next(seen, real(connection)))
    assert migrate(engine) is True
    with engine.connect() as connection:
        assert real(connection) == HEAD
    engine.dispose()


def test_tables_without_a_revision_are_another_programs(tmp_path: Path) -> None:
    """A database whose revision is gone is not guessed at."""
    engine = open_engine(tmp_path / "new.db")
    migrate(engine)
    with engine.begin() as connection:
        connection.execute(text("DELETE FROM alembic_version"))
    with pytest.raises(LogbookError) as caught:
        migrate(engine)
    assert caught.value.code == "logbook-foreign"
    engine.dispose()


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (sqlite3.OperationalError("database is locked"), "logbook-busy"),
        (sqlite3.OperationalError("database or disk is full"), "logbook-full"),
        (sqlite3.OperationalError("attempt to write a readonly database"), "logbook-unwritable"),
        (sqlite3.DatabaseError("database disk image is malformed"), "logbook-damaged"),
        (sqlite3.OperationalError("no such table: boards"), "logbook-failed"),
        (OSError(13, "Permission denied", "/full/locked"), "logbook-unwritable"),
        (OSError(28, "No space left on device"), "logbook-full"),
    ],
)
def test_each_failure_has_its_sentence(error: Exception, code: str) -> None:
    """What a database or a disk says becomes one sentence with the folder in it, and a hint."""
    with pytest.raises(LogbookError) as caught, failures_named("the folder"):
        raise error
    assert caught.value.code == code
    assert "the folder" in caught.value.message
    assert caught.value.hint
