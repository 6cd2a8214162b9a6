"""``finishlab status`` and ``finishlab start``: how far the job is, read from the logbook, and what is next."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from conftest import Run
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.cli import finishlab
from finishlab.demo import FOLDER, samples_home
from finishlab.guide import FIRST_HOUR, read_guide
from finishlab.logbook.store import Logbook

SAMPLES = samples_home() / FOLDER


def state(log: Logbook | None, folder: Path) -> dict[str, str]:
    """Return step -> how far it is."""
    return {step.name: step.state for step in read_guide(log, folder).steps}


def spots(log: Logbook, folder: Path, names: range) -> None:
    """Log floor spots with invented colours."""
    for name in names:
        record = FloorSpotRecord(f"plank {name}", date=DAY)
        log.add_floor_spots(
            record, [[measurement(keep(log, folder, f"floor-{name}.jpg"), "floor", lightness=45.0 + name)]]
        )


def board(log: Logbook, folder: Path, name: str, **written: Any) -> None:
    """Log a board with an invented colour."""
    log.add_board(BoardRecord("ash", date=DAY, **written), [measurement(keep(log, folder, f"{name}.jpg"))])


def test_nothing_logged_begins_with_the_strip(tmp_path: Path) -> None:
    """Without a logbook every step is open and the first is next; a strip that was written here counts as printed."""
    assert set(state(None, tmp_path).values()) == {"open"}
    assert read_guide(None, tmp_path).next == read_guide(None, tmp_path).step("print")
    (tmp_path / "strip.pdf").write_bytes(b"%PDF-")
    following = read_guide(None, tmp_path).next
    assert following is not None
    assert (following.name, following.command) == ("learn", "finishlab strip learn PHOTO")


def test_each_step_is_read_from_the_logbook(tmp_path: Path) -> None:
    """What is logged moves the steps on: a few spots are a part, five are enough; boards want a clear-only one."""
    with Logbook.open(tmp_path / "log") as log:
        spots(log, tmp_path, range(2))
        found = read_guide(log, tmp_path)
        assert (found.step("print").state, found.step("learn").state) == ("done", "open")
        assert (found.step("floor").state, found.step("floor").found) == ("partly", "2 spots")
        assert "3 more planks" in found.step("floor").missing
        spots(log, tmp_path, range(2, 5))
        board(log, tmp_path, "one", stain="walnut", coats=1, topcoat="oil")
        now = state(log, tmp_path)
        assert (now["floor"], now["boards"], now["answer"]) == ("done", "open", "done")
        board(log, tmp_path, "two", stain="walnut", coats=2, topcoat="oil")
        assert state(log, tmp_path)["boards"] == "partly"
        board(log, tmp_path, "three", topcoat="oil", purpose="clear-only control")
        assert state(log, tmp_path)["boards"] == "done"


def test_what_nothing_goes_on_without_is_next(tmp_path: Path) -> None:
    """An open step of the first hour comes before one that only makes the answer surer, and both before the rest."""
    with Logbook.open(tmp_path / "log") as log:
        spots(log, tmp_path, range(2))
        board(log, tmp_path, "one", stain="walnut", coats=1, topcoat="oil")
        guide = read_guide(log, tmp_path)
    order = {(step.name in FIRST_HOUR, step.state) for step in guide.steps}
    following = guide.next
    assert following is not None
    assert following.name == "learn"
    assert (True, "partly") in order
    assert (False, "open") in order


def test_once_a_recipe_is_approved_the_choice_is_made(tmp_path: Path) -> None:
    """A doubt that was lived with holds nobody up once a recipe is approved: what comes after the choice is next."""
    with Logbook.open(tmp_path / "log") as log:
        spots(log, tmp_path, range(2))
        board(log, tmp_path, "one", stain="walnut", coats=1, topcoat="oil")
        log.approve("B1", reason="as the floor")
        following = read_guide(log, tmp_path).next
    assert following is not None
    assert following.name == "second light"


def test_status_says_how_far_and_what_is_next(run: Run, logbook: Path, tmp_path: Path) -> None:
    """One line a step, then the next command; the same in JSON."""
    with Logbook.open(logbook) as log:
        spots(log, tmp_path, range(1))
    said = run("status", columns=80)
    assert said.exit_code == 0, said.stderr
    assert "partly Photograph the floor   1 spot" in said.stdout
    assert said.stdout.endswith("  finishlab strip learn PHOTO\n")
    assert max(len(line) for line in said.stdout.splitlines()) <= 80
    document = json.loads(run("status", "--json").stdout)
    assert document["format"] == "finishlab/status/1"
    assert [step["step"] for step in document["steps"]][:6] == list(FIRST_HOUR)
    assert document["next"]["command"] == "finishlab strip learn PHOTO"


def test_start_without_a_terminal_says_the_next_command_and_makes_nothing(run: Run, logbook: Path) -> None:
    """Where nobody can be asked, or JSON is wanted, it says how far the job is; no folder appears."""
    said = run("start")
    assert said.exit_code == 0, said.stderr
    assert said.stdout.endswith("  finishlab strip --output strip.pdf\n")
    assert json.loads(run("start", "--json").stdout)["next"]["step"] == "print"
    assert not logbook.exists()


def test_start_asks_logs_and_shows_the_answer(logbook: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal the first hour goes from the strip to the answer; a wrong file is told and asked for again."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("finishlab.guide.on_terminal", lambda: True)
    answers = [
        "a4", "",  # paper, and printed
        "",  # the print is not learned now
        "no-such.jpg", "vinyl",  # told
        f"{SAMPLES}/floor-beside-the-stair.jpg", "vinyl",
        f"'{SAMPLES}/board-mix-two-coats.jpg'", "cherry", "walnut and honey", "2", "hardwax oil", "y",
        "",  # no further board
    ]  # fmt: skip
    env = {"FINISHLAB_LOGBOOK": str(logbook), "COLUMNS": "80"}
    done = CliRunner(env=env).invoke(finishlab, ["start"], input="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.stderr
    assert (tmp_path / "strip.pdf").is_file()
    assert "no-such.jpg" in done.stderr
    assert "That did not work" in done.stderr
    assert "B1" in done.stdout
    with Logbook.open(logbook) as log:
        assert [each.record.topcoat for each in log.boards()] == ["hardwax oil"]
        assert len(log.floor_spots()) == 1
    assert "finishlab status" in done.stderr


def test_start_goes_on_where_it_was_left(logbook: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is done is not asked again, and with too little for an answer it says so and ends well."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("finishlab.guide.on_terminal", lambda: True)
    with Logbook.open(logbook) as log:
        spots(log, tmp_path, range(5))
    done = CliRunner(env={"FINISHLAB_LOGBOOK": str(logbook)}).invoke(finishlab, ["start"], input="\n\n")
    assert done.exit_code == 0, done.stderr
    assert "Paper" not in done.stderr
    assert "Photos of the floor" not in done.stderr
    assert "Photos of one board" in done.stderr
    assert "goes on from here" in done.stderr
