"""Slips that would change the answer without a word: two boards as one, a control not called one, a misspelt light."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from conftest import Photos, Run
from logbook_makers import make_photo, measurement

from finishlab.board.checks import near_light, refuse_mixed
from finishlab.board.records import BoardRecord
from finishlab.errors import QualityError
from finishlab.finish.entering import Draft, Entered
from finishlab.measuring.photos import PhotoResult


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
    record: BoardRecord = Draft().with_said(None, [Entered({"species": "ash", **said})]).record()  # type: ignore[arg-type]  # no recipe is named
    assert record.purpose == purpose


def test_the_control_and_coats_without_stain_are_told(run: Run, photos: Photos) -> None:
    """The command says that it took the board for the control, and that coats want a stain."""
    done = run("board", "add", photos("light_board"), "--species", "ash", "--topcoat", "satin")
    assert "it is the clear-only control" in done.stderr
    done = run("board", "edit", "B1", "--coats", 2)
    assert "2 coats of stain, and no stain is named" in done.stderr
    assert run("board", "edit", "B1", "--purpose", "clear-only", "--clear", "coats").exit_code == 0


def test_a_misspelt_light_is_told(run: Run, photos: Photos) -> None:
    """A new light much like one that is logged is told with the lights there are; another one is not."""
    run("board", "add", photos("light_board"), "--species", "ash", "--light", "evening lamp")
    done = run("floor", "add", photos("floor1"), "--light", "evening lamps")
    assert "“evening lamps” is a new light; logged so far: evening lamp." in done.stderr
    assert near_light("daylight", ["evening lamp"]) is None
    assert near_light("evening lamp", ["evening lamp", "evening lamps"]) is None
