"""Migrations: an old logbook opens in a new finishlab, and the tables are what the program expects."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from logbook_makers import DAY, keep, measurement, take_back, trial
from sqlalchemy import Engine, create_engine, inspect, text
from sqlalchemy.dialects import mysql, postgresql, sqlite
from sqlalchemy.schema import CreateTable

from finishlab.board import BoardRecord, FloorSpotRecord, PhotoRecord
from finishlab.colorimetry.camera_profile import fit_profile
from finishlab.colorimetry.spaces import chart_lab, lab_to_rgb
from finishlab.errors import LogbookError
from finishlab.files import LOGBOOK_FILE
from finishlab.imaging.greys import greys_of_readings
from finishlab.logbook import database
from finishlab.logbook.archive import upgraded
from finishlab.logbook.database import migrate, open_engine
from finishlab.logbook.merge import MergeResult, checked
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.store import Logbook
from finishlab.logbook.tables import Base, BoardRow, FloorSpotRow, PhotoRow, TrialRow
from finishlab.recipe import Can
from finishlab.stair.records import Conditions, Flight, Part, PartEvent
from finishlab.strip import TrialRecord

SCRIPTS = Path(database.__file__).parent / "migrations"
pytestmark = pytest.mark.usefixtures("real_migrations")


@pytest.fixture
def migrated(tmp_path: Path) -> Iterator[Engine]:
    """Bring up a new database by migrations."""
    engine = open_engine(tmp_path / "new.db")
    assert migrate(engine)
    yield engine
    engine.dispose()


def test_migrations_make_the_declared_tables(migrated: Engine) -> None:
    """Alembic finds no difference between the migrated database and the declared tables."""
    with migrated.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        assert compare_metadata(context, Base.metadata) == []


def test_constraints_are_the_declared_ones(migrated: Engine, tmp_path: Path) -> None:
    """What Alembic's comparison leaves out is the same too: keys, checks and references, by name."""
    declared = create_engine(f"sqlite:///{tmp_path / 'declared.db'}")
    Base.metadata.create_all(declared)
    mine, theirs = inspect(migrated), inspect(declared)
    for table in Base.metadata.tables:
        assert mine.get_check_constraints(table) == theirs.get_check_constraints(table)
        assert mine.get_pk_constraint(table) == theirs.get_pk_constraint(table)
        for ask in ("get_foreign_keys", "get_unique_constraints", "get_indexes"):
            found, wanted = (sorted(getattr(one, ask)(table), key=lambda c: c["name"]) for one in (mine, theirs))
            assert found == wanted
    declared.dispose()


def test_a_comparison_would_see_a_difference(migrated: Engine) -> None:
    """The comparison is not blind: a column more in the database is found."""
    with migrated.connect() as connection:
        connection.execute(text("ALTER TABLE boards ADD COLUMN extra TEXT"))
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) != []


def test_the_steps_are_one_line_to_the_head() -> None:
    """The named revisions follow one another without a branch, and the last is the head the program knows."""
    scripts = ScriptDirectory(str(SCRIPTS))
    steps = [script.revision for script in scripts.walk_revisions()]
    assert scripts.get_heads() == [HEAD] == steps[:1]
    assert steps[-1] == "0001_first_tables"
    assert steps == sorted(steps, reverse=True)
    assert all(len(step) <= 32 for step in steps), "Alembic keeps 32 characters of a name"


@pytest.mark.parametrize("dialect", [sqlite, postgresql, mysql], ids=["sqlite", "postgresql", "mysql"])
def test_the_tables_are_no_one_databases_own(dialect: ModuleType) -> None:
    """Every table can be written in the language of other databases."""
    for table in Base.metadata.sorted_tables:
        assert str(CreateTable(table).compile(dialect=dialect.dialect())).strip().startswith("CREATE TABLE")


@pytest.mark.parametrize(
    ("record", "row"),
    [(BoardRecord, BoardRow), (FloorSpotRecord, FloorSpotRow), (PhotoRecord, PhotoRow), (TrialRecord, TrialRow)],
)
def test_every_field_of_a_record_has_its_column(record: type, row: type[Base]) -> None:
    """A field added to a record cannot be forgotten in the tables."""
    assert {f.name for f in fields(record)} <= {column.name for column in row.__table__.columns}


def test_an_up_to_date_logbook_opens_without_alembic(tmp_path: Path) -> None:
    """The second opening reads the stored revision and loads no migration library."""
    Logbook.open(tmp_path / "log").close()
    code = (
        "import sys; from pathlib import Path; from finishlab.logbook.store import Logbook\n"
        f"with Logbook.open(Path({str(tmp_path / 'log')!r})) as log: log.boards()\n"
        "print('alembic' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_migrating_twice_does_nothing(migrated: Engine) -> None:
    """A database at the head is left alone."""
    assert migrate(migrated) is False


def test_a_newer_logbook_is_refused(tmp_path: Path) -> None:
    """A logbook at a revision this program does not know is refused with a sentence and left as it is."""
    Logbook.open(tmp_path / "log").close()
    file = tmp_path / "log" / LOGBOOK_FILE
    with sqlite3.connect(file) as other:
        other.execute("UPDATE alembic_version SET version_num = '9999_later'")
    other.close()
    before = file.read_bytes()
    with pytest.raises(LogbookError) as caught:
        Logbook.open(tmp_path / "log")
    assert caught.value.code == "logbook-newer"
    assert "9999_later" in caught.value.message
    assert "Update finishlab" in caught.value.hint
    assert file.read_bytes() == before


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    """Tables of something else are not written into."""
    (tmp_path / "log").mkdir()
    with sqlite3.connect(tmp_path / "log" / LOGBOOK_FILE) as other:
        other.execute("CREATE TABLE songs (name TEXT)")
    other.close()
    with pytest.raises(LogbookError) as caught:
        Logbook.open(tmp_path / "log")
    assert caught.value.code == "logbook-foreign"


def test_an_empty_file_is_a_new_logbook(tmp_path: Path) -> None:
    """A database that was only begun (an empty file) is filled."""
    (tmp_path / "log").mkdir()
    (tmp_path / "log" / LOGBOOK_FILE).touch()
    with Logbook.open(tmp_path / "log") as log:
        assert log.boards() == []


def _with_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> None:
    """Give the program a copy of its steps with one more."""
    copy = tmp_path / "later" / "migrations"
    shutil.copytree(SCRIPTS, copy, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "versions" / "9999_later.py").write_text(
        f"import sqlalchemy as sa\nfrom alembic import op\nrevision = '9999_later'\ndown_revision = {HEAD!r}\n"
        f"def upgrade():\n" + "".join(f"    {line}\n" for line in body.splitlines())
    )
    monkeypatch.setattr(database, "HEAD", "9999_later")
    monkeypatch.setattr(database, "MIGRATIONS", copy)


def test_an_old_logbook_is_brought_up_with_what_it_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A later step that rebuilds a table others refer to keeps every board and measurement."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, tmp_path))])
        board = log.board("B1")
    _with_step(
        tmp_path,
        monkeypatch,
        "with op.batch_alter_table('boards', recreate='always') as batch:\n"
        "    batch.add_column(sa.Column('later', sa.String(10), nullable=True))",
    )
    with Logbook.open(tmp_path / "log") as log:
        assert log.board("B1") == board
    other = sqlite3.connect(tmp_path / "log" / LOGBOOK_FILE)
    assert other.execute("SELECT later FROM boards").fetchall() == [(None,)]
    assert other.execute("SELECT version_num FROM alembic_version").fetchall() == [("9999_later",)]
    other.close()


def test_a_logbook_of_the_first_tables_learns_strips(tmp_path: Path) -> None:
    """A filled logbook from before strips could be learned opens with all it holds, and learns."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, tmp_path))])
        board = log.board("B1")
    take_back(tmp_path / "log" / LOGBOOK_FILE, "0001_first_tables")
    with Logbook.open(tmp_path / "log") as log:
        assert log.boards() == [board]
        assert log.learned_greys() == ()
        greys = log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
        assert log.learned_greys() == (greys,)


def test_a_logbook_from_before_cameras_were_learned_learns_one(tmp_path: Path) -> None:
    """A filled logbook of the step before opens with all it holds, and keeps a profile."""
    with Logbook.open(tmp_path / "log") as log:
        photo = keep(log, tmp_path)
        log.add_board(BoardRecord("ash", date=DAY), [measurement(photo)])
        board = log.board("B1")
    take_back(tmp_path / "log" / LOGBOOK_FILE, "0003_finish_record")
    reference = np.array(list(chart_lab().values()))
    profile = fit_profile(lab_to_rgb(reference), reference, "matrix")
    with Logbook.open(tmp_path / "log") as log:
        assert log.boards() == [board]
        assert log.camera_profiles() == []
        log.add_camera_profile(profile.named("Acme One", "daylight", "a chart", date=DAY, photo_id=photo.sha256[:16]))
        assert [each.camera for each in log.camera_profiles()] == ["Acme One"]


def _fill(log: Logbook, folder: Path) -> None:
    """Log one of each that a change can be about, and take something back."""
    log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, folder, "1.jpg"))])
    log.edit_board("B1", stain="walnut")
    log.add_can(Can("oil stain", "walnut", date=DAY))
    log.add_flights({1: Flight(risers=3), 2: Flight("landing")}, [Part(1, "tread", place) for place in (1, 2)])
    log.log_events([(ident, PartEvent("sanded", DAY)) for ident in (1, 2)])
    log.add_part_measurements([(1, [measurement(keep(log, folder, "2.jpg"))], PartEvent("measured", DAY))])
    log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
    log.approve("B1")
    log.edit_board("B1", note="by the door")
    log.undo()


def _without_images(tmp_path: Path) -> tuple[Path, Path]:
    """Return two copies of one logbook from before images were kept."""
    with Logbook.open(tmp_path / "a") as log:
        _fill(log, tmp_path)
    take_back(tmp_path / "a" / LOGBOOK_FILE, "0004_camera_profiles")
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    return tmp_path / "a", tmp_path / "b"


def test_copies_of_an_older_logbook_agree_on_the_names_of_their_rows(tmp_path: Path) -> None:
    """Each copy carried over by itself knows every row of the other again, and follows its changes."""
    one, two = _without_images(tmp_path)
    with Logbook.open(one) as log, Logbook.open(two) as other:
        assert log.dump() == other.dump()
        assert other.merge(checked(upgraded(log.dump()))) == MergeResult()
        log.edit_board("B1", stain="cherry")
        log.remove_events([3])
        assert set(other.merge(checked(upgraded(log.dump()))).renewed) == {"B1", "1.T1"}
        assert (other.boards(), other.stair()) == (log.boards(), log.stair())


def test_a_change_from_before_images_is_not_taken_back_but_later_ones_are(tmp_path: Path) -> None:
    """Undo and redo of an older finishlab's changes are refused in one sentence; new changes go back and forth."""
    with Logbook.open(_without_images(tmp_path)[0]) as log:
        before = log.dump()
        for step in (log.undo, log.redo):
            with pytest.raises(LogbookError, match="before finishlab kept what undo puts back") as caught:
                step()
            assert (caught.value.code, caught.value.exit_code) == ("cannot-undo", 6)
        assert log.dump() == before
        stain = log.board("B1").record.stain
        log.edit_board("B1", stain="cherry")
        log.undo()
        assert log.board("B1").record.stain == stain


def test_a_logbook_from_before_trials_takes_one(tmp_path: Path) -> None:
    """A filled logbook of the step before opens with all it holds, and its first trial is H1."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, tmp_path))])
        log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
        board, greys = log.board("B1"), log.learned_greys()
    take_back(tmp_path / "log" / LOGBOOK_FILE, "0004_camera_profiles")
    with Logbook.open(tmp_path / "log") as log:
        assert (log.boards(), log.learned_greys(), log.trials()) == ([board], greys, [])
        assert [each.number for each in log.add_trials([trial()])] == ["H1"]


def test_a_logbook_from_before_conditions_keeps_how_a_coat_is_given(tmp_path: Path) -> None:
    """A filled logbook of the step before opens with all that was done to its parts, and takes hour and air."""
    with Logbook.open(tmp_path / "log") as log:
        _fill(log, tmp_path)
        events = log.stair().events
    take_back(tmp_path / "log" / LOGBOOK_FILE, "0006_row_images")
    with Logbook.open(tmp_path / "log") as log:
        assert log.stair().events == events
        coat = PartEvent("coat", DAY, "stain", 1, conditions=Conditions(time="14:30", air_c=19))
        log.log_events([(1, coat)])
        assert log.stair().events[-1].conditions == Conditions(time="14:30", air_c=19)
        dumped = upgraded(log.dump())
    with Logbook.open(tmp_path / "other") as other:
        other.merge(checked(dumped))
        assert other.stair().events[-1].conditions == Conditions(time="14:30", air_c=19)


@pytest.mark.parametrize(
    "failing",
    [
        "op.execute('DROP TABLE pairs')\nop.execute('SELECT * FROM nowhere')",
        "op.execute('DELETE FROM photos')",
    ],
    ids=["a failing statement", "a lost reference"],
)
def test_a_step_that_fails_leaves_the_logbook_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    """An upgrade is done wholly or not at all; the older program still opens the logbook."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, tmp_path))])
        board = log.board("B1")
    with monkeypatch.context() as later:
        _with_step(tmp_path, later, failing)
        with pytest.raises(LogbookError):
            Logbook.open(tmp_path / "log")
    with Logbook.open(tmp_path / "log") as log:
        assert log.boards() == [board]
