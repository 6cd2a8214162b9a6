"""Slips that would change the answer without a word: two boards as one, a control not called one, a misspelt light."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any, Final

import pytest
from conftest import Photos, Run
from logbook_makers import make_photo, measurement

from finishlab.errors import QualityError
from finishlab.finish.entering import Draft, Entered
from finishlab.measuring import PhotoResult
from finishlab.measuring.logged import refuse_mixed


def result(folder: Path, name: str, lightness: float) -> PhotoResult:
    """Return an invented photo's measurement."""
    path, record = make_photo(folder, name)
    return PhotoResult(str(path), measurement(record, lightness=lightness))


def test_photos_of_two_boards_are_refused_as_one(run: Run, photos: Photos) -> None:
    """Both colours are shown, nothing is logged, exit code 5; with ``--each`` they are two boards."""
    both = (photos("light_board"), photos("dark_board"))
    done = run("board", "add", *both, "--species", "ash", "--stain", "walnut")
    assert done.exit_code == 5
    assert "light_board.jpg L*" in done.stderr
    assert "dark_board.jpg L*" in done.stderr
    assert "--each" in done.stderr
    assert run("board", "list").exit_code == 6
    done = run("board", "add", *both, "--species", "ash", "--stain", "walnut", "--each")
    assert done.exit_code == 0, done.stderr
    assert done.stdout == "B1\nB2\n"
    boards = json.loads(run("board", "list", "--json").stdout)["boards"]
    assert [len(board["measurements"]) for board in boards] == [1, 1]
    assert run("board", "add", photos("pair"), "--to", "B1", "--each").exit_code == 2


@pytest.mark.parametrize(("other", "refused"), [(50.0, False), (51.5, False), (52.5, False), (58.0, True)])
def test_repeats_may_differ_as_one_board_does(tmp_path: Path, other: float, refused: bool) -> None:
    """Two units of lightness apart is one piece of wood; eight is not."""
    found = [result(tmp_path, "one.jpg", 50.0), result(tmp_path, "two.jpg", other)]
    if not refused:
        refuse_mixed(found)
        return
    with pytest.raises(QualityError, match=r"one\.jpg L\* 50\.0 .*two\.jpg L\* 58\.0"):
        refuse_mixed(found)


@pytest.mark.parametrize(
    ("said", "purpose"),
    [
        ({"topcoat": "satin"}, "clear-only control"),
        ({"topcoat": "satin", "stain": "walnut"}, "candidate"),
        ({"topcoat": "satin", "coats": 2}, "candidate"),
        ({"topcoat": "none"}, "candidate"),
        ({}, "candidate"),
        ({"topcoat": "satin", "purpose": "witness"}, "witness"),
    ],
)
def test_a_topcoat_without_stain_is_the_clear_only_control(said: dict[str, object], purpose: str) -> None:
    """A new board with a topcoat and nothing that colours it is the control, unless its purpose is said."""
    draft = Draft().with_said(pytest.fail, [Entered({"species": "ash", **said})])  # no recipe is named
    assert draft.record().purpose == purpose


def test_the_control_and_coats_without_stain_are_told(run: Run, photos: Photos) -> None:
    """The command says that it took the board for the control, and refuses coats of no stain."""
    done = run("board", "add", photos("light_board"), "--species", "ash", "--topcoat", "satin")
    assert "clear-only control" in done.stderr
    done = run("board", "edit", "B1", "--coats", 2)
    assert "2 coats of stain, and no stain is named" in done.stderr
    assert run("board", "edit", "B1", "--purpose", "clear-only", "--clear", "coats").exit_code == 0
    done = run("board", "add", photos("dark_board"), "--species", "ash", "--coats", 2)
    assert done.exit_code == 2
    assert "2 coats of stain, and no stain is named." in done.stderr
    assert "--stain" in done.stderr
    assert run("board", "show", "B2").exit_code == 6


def test_coats_without_stain_are_asked_about(run: Run, photos: Photos, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where somebody can answer, the stain of the coats is asked for."""
    monkeypatch.setattr("finishlab.board.adding.on_terminal", lambda: True)
    done = run("board", "add", photos("dark_board"), "--species", "ash", "--coats", 2, answers="walnut\n")
    assert done.exit_code == 0, done.output
    record = json.loads(run("board", "show", "B1", "--json").stdout)["boards"][0]["record"]
    assert (record["stain"], record["coats"]) == ("walnut", 2)


def test_a_misspelt_light_is_refused(run: Run, photos: Photos) -> None:
    """A new light much like one that is logged is refused with the lights there are; ``--new-light`` keeps it."""
    run("board", "add", photos("light_board"), "--species", "ash", "--light", "evening lamp")
    words = ("floor", "add", photos("floor1"), "--light", "evening lamps")
    done = run(*words)
    assert done.exit_code == 2
    assert "“evening lamps” is a new light; logged so far: evening lamp." in done.stderr
    assert "--new-light" in done.stderr
    assert run("floor", "show", "F1").exit_code == 6
    assert run("board", "add", photos("dark_board"), "--to", "B1", "--light", "evening lamps").exit_code == 2
    assert run(*words, "--new-light").exit_code == 0
    assert run("floor", "add", photos("floor2"), "--light", "daylight").exit_code == 0


SAMPLES: Final = Path(__file__).parents[1] / "sample_photos"
BENCH: Final = "board-raw.jpg"
"""A photo in which the bench lies at the strip's floor edge."""


@pytest.fixture(scope="module")
def floors(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with three places of the floor, and two boards photographed beside it."""
    home = tmp_path_factory.mktemp("floors") / "logbook"
    spots = (SAMPLES / f"floor-{spot}.jpg" for spot in ("beside-the-stair", "kitchen-doorway", "under-the-window"))
    for words in (
        ("floor", "add", *spots),
        ("board", "add", SAMPLES / "board-mix-two-coats.jpg", "--species", "cherry", "--stain", "mix", "--with-floor"),
        ("board", "add", SAMPLES / "board-walnut-two-coats.jpg", "--like", "B1", "--stain", "walnut", "--with-floor"),
    ):
        done = Run(home)(*words)
        assert done.exit_code == 0, done.output
    return home


@pytest.fixture
def beside(floors: Path, run: Run) -> Run:
    """The command on a logbook of its own like `floors`."""
    shutil.copytree(floors, run.logbook)
    return run


def ranked(run: Run) -> dict[str, dict[str, Any]]:
    """Return board -> its entry of the ranking, the first first."""
    return {each["board"]: each for each in json.loads(run("rank", "--json").stdout)["ranking"]}


def test_a_bench_is_not_taken_for_the_floor(beside: Run) -> None:
    """Two boards whose photos show the bench for the floor are told at once, and turn no order; confirmed, they count.

    The truth: B1 differs from the floor by 0.8 in its own photo, and is first of all.
    """
    before = ranked(beside)
    for stain, photo in (("raw", BENCH), ("honey", "board-honey-one-coat.jpg")):
        words = ("--like", "B1", "--stain", stain, "--with-floor")
        done = beside("board", "add", SAMPLES / photo, *words)
        assert done.exit_code == 0, done.output
        assert "from the nearest place of the floor" in done.stderr
        assert "left out of the ranking until it is confirmed" in done.stderr
    found = ranked(beside)
    assert next(iter(found)) == "B1" == next(iter(before))
    assert found["B3"]["direct_pairs"] == 0 == found["B4"]["direct_pairs"]
    assert found["B1"]["direct_pairs"] == 1
    assert "floor-in-doubt" in {doubt["code"] for doubt in found["B3"]["doubts"]}
    full = beside("rank", "--full").stdout
    steps = " ".join(full[full.index("What to do next") :].split())
    assert steps.partition("2. ")[0].startswith("What to do next 1. Photograph B3 and B4 beside the floor again")
    shown = json.loads(beside("board", "show", "B3", "--json").stdout)["boards"][0]
    assert (len(shown["direct_pairs"]), len(shown["pairs_in_doubt"])) == (0, 1)
    assert "not counted, it may not be the floor" in beside("board", "show", "B3").stdout
    done = beside("board", "edit", "B3", "--confirm-floor")
    assert done.exit_code == 0, done.output
    assert ranked(beside)["B3"]["direct_pairs"] == 1
    assert "floor beside “in doubt” -> “confirmed”" in beside("history", "B3").stdout
    assert beside("board", "edit", "B3", "--confirm-floor").exit_code == 2
    assert beside("undo").exit_code == 0
    assert ranked(beside)["B3"]["direct_pairs"] == 0
    assert beside("remeasure", "B3").exit_code == 0
    assert ranked(beside)["B3"]["direct_pairs"] == 0


def test_the_floor_beside_a_board_can_be_confirmed_at_once(beside: Run) -> None:
    """With ``--confirm-floor`` what lies beside the board counts, and nothing is said of it."""
    done = beside("board", "add", SAMPLES / BENCH, "--species", "cherry", "--with-floor", "--confirm-floor")
    assert done.exit_code == 0, done.output
    assert "nearest place" not in done.stderr
    assert ranked(beside)["B3"]["direct_pairs"] == 1


@pytest.mark.parametrize("photo", [BENCH, "board-walnut-one-coat.jpg"])
def test_a_bench_is_no_place_of_the_floor(beside: Run, photo: str) -> None:
    """Photos of a bench are refused as the floor, without a terminal, with the option that confirms them."""
    done = beside("floor", "add", SAMPLES / photo)
    assert done.exit_code == 2
    assert "from the nearest place of the floor, F" in done.stderr
    assert "--confirm-floor" in done.stderr
    assert beside("floor", "show", "F4").exit_code == 6
    assert beside("floor", "add", SAMPLES / photo, "--confirm-floor").stdout == "F4\n"


def test_a_bench_is_asked_about_where_somebody_can_answer(beside: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal the question is put; no leaves nothing logged, yes logs it."""
    monkeypatch.setattr("finishlab.board.commands.on_terminal", lambda: True)
    done = beside("floor", "add", SAMPLES / BENCH, answers="n\n")
    assert done.exit_code == 2
    assert beside("floor", "show", "F4").exit_code == 6
    assert beside("floor", "add", SAMPLES / BENCH, answers="y\n").exit_code == 0


def test_the_first_place_of_a_floor_is_held_against_what_a_floor_can_be(run: Run) -> None:
    """A plain sheet is no floor that looks like wood; a tile may be plain. Of several photos the odd one is told."""
    done = run("floor", "add", SAMPLES / BENCH)
    assert done.exit_code == 2
    assert "shows no grain" in done.stderr
    both = (SAMPLES / "floor-kitchen-doorway.jpg", SAMPLES / "floor-under-the-window.jpg", SAMPLES / BENCH)
    done = run("floor", "add", *both)
    assert done.exit_code == 2
    assert done.stderr.count("nearest place of the floor") == 1
    assert run("floor", "add", SAMPLES / BENCH, "--surface", "tile").exit_code == 0


def test_a_lamp_photo_logged_as_daylight_is_told(beside: Run) -> None:
    """The warmth that a phone leaves in a lamp's photo gives it away; in its own light, and by daylight, not."""
    lamp = SAMPLES / "board-mix-two-coats-evening.jpg"
    done = beside("board", "add", lamp, "--to", "B1")
    assert "redder against blue than photos in daylight" in done.stderr
    assert beside("undo").exit_code == 0
    done = beside("board", "add", lamp, "--to", "B1", "--light", "evening lamp")
    assert "redder" not in done.stderr
    done = beside("floor", "add", SAMPLES / "floor-near-the-front-door-evening.jpg")
    assert "redder" in done.stderr
    done = beside("floor", "add", SAMPLES / "floor-near-the-front-door.jpg")
    assert "redder" not in done.stderr
