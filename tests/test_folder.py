"""A folder of photos logged in one go: what each shows is read from its name or a table, shown back, and logged."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any, Final

import pytest
from conftest import Run
from sqlalchemy import event
from sqlalchemy.engine import Engine

import finishlab
from finishlab.board.files import Shown, read_name

PACKAGE: Final = Path(finishlab.__file__).parent
SAMPLES: Final = Path(__file__).parents[1] / "sample_photos"
MOST_FILES: Final = 45
_NEW_LOCALS: Final = 0x2
"""`inspect.CO_NEWLOCALS`: a function's code, not a module's."""

NAMES: Final = {
    "floor-kitchen.jpg": "floor-kitchen-doorway.jpg",
    "floor-1.jpg": "floor-under-the-window.jpg",
    "raw.jpg": "board-raw.jpg",
    "clear-only-hardwax-oil.jpg": "board-clear-only.jpg",
    "honey-1-coat.jpg": "board-honey-one-coat.jpg",
    "honey_2coats_varnish.jpg": "board-honey-two-coats-varnish.jpg",
    "Walnut 2 coats with floor.jpg": "board-walnut-two-coats.jpg",
    "walnut-2-coats-with-floor-evening.jpg": "board-walnut-two-coats-evening.jpg",
    "mix-two-coats-oil-with-floor.jpg": "board-mix-two-coats.jpg",
    "strip.jpg": "strip-from-three-steps-back.jpg",
}
"""Name in the user's folder -> the rendered photo it is."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Photos of two places of a floor and six boards, named for what they show."""
    home = tmp_path / "photos"
    home.mkdir()
    for name, sample in NAMES.items():
        shutil.copy(SAMPLES / sample, home / name)
    return home


def boards(run: Run) -> list[dict[str, Any]]:
    """Return what ``board list --json`` says."""
    found: list[dict[str, Any]] = json.loads(run("board", "list", "--json").stdout)["boards"]
    return found


@pytest.mark.parametrize(
    ("name", "kind", "said"),
    [
        ("walnut-2-coats", "board", {"stain": "walnut", "coats": 2}),
        ("Dark Walnut two coats satin poly 3", "board", {"stain": "dark walnut", "coats": 2, "topcoat": "satin poly"}),
        ("board-honey-one-coat-oil", "board", {"stain": "honey", "coats": 1, "topcoat": "oil"}),
        ("oak stain 3x", "board", {"stain": "oak", "coats": 3}),
        ("walnut", "board", {"stain": "walnut"}),
        ("raw-2", "board", {"purpose": "raw"}),
        ("clear only matte varnish", "board", {"purpose": "clear-only control", "topcoat": "matte varnish"}),
        ("satin varnish", "board", {"topcoat": "satin varnish"}),
        ("floor-by-the-door", "floor", {}),
        ("plank3", "floor", {}),
        ("strip-far", "left out", {}),
    ],
)
def test_a_name_says_what_a_photo_shows(name: str, kind: str, said: dict[str, object]) -> None:
    """Stain, coats, topcoat in this order; raw, clear-only and floor by their words; a last number is none."""
    shown = read_name(name)
    assert shown is not None
    assert (shown.kind, dict(shown.said.fields)) == (kind, said)


@pytest.mark.parametrize("name", ["IMG_1234", "20240531_101112", "DSC0042", "photo 3", "WhatsApp Image 2024-05-31", ""])
def test_a_name_that_a_camera_gave_says_nothing(name: str) -> None:
    """What a phone calls its photos is not taken for a stain."""
    assert read_name(name) is None


def test_names_say_the_light_and_the_floor_beside() -> None:
    """Evening is the lamp's light; a place keeps its name, a mere number is none."""
    plain, lit = read_name("walnut-2-coats"), read_name("walnut-2-coats-with-floor-evening")
    assert plain is not None
    assert lit == replace(plain, light="evening lamp", with_floor=True)
    assert read_name("floor-under-the-window-evening") == Shown("floor", light="evening lamp", spot="under the window")
    assert read_name("floor-2") == Shown("floor")


def test_a_folder_is_logged_by_its_names(run: Run, folder: Path) -> None:
    """Shown back; without a terminal it takes ``--yes``; a line a board, cautions once; one undo is enough."""
    words = ("board", "add", folder, "--species", "cherry")
    done = run(*words)
    assert done.exit_code == 2
    assert "--yes" in done.stderr
    assert "honey_2coats_varnish.jpg" in done.stderr
    assert "strip.jpg" in done.stderr
    assert run("board", "list").exit_code == 6
    done = run(*words, "--yes")
    assert done.exit_code == 0, done.output
    assert sorted(done.stdout.split()) == ["B1", "B2", "B3", "B4", "B5", "B6", "F1", "F2"]
    lines = done.stderr.splitlines()
    assert len([line for line in lines if "): L* " in line]) == 8
    assert lines[-1].endswith("finishlab undo")
    cautions = [line for line in lines if line.startswith("Caution:")]
    assert len(cautions) == len(set(cautions)) > 0
    several = [each for each in boards(run) if each["record"]["coats"] != 1]
    found = {each["record"]["stain"] or each["record"]["purpose"]: each for each in several}
    assert set(found) == {"raw", "clear-only control", "honey", "walnut", "mix"}
    assert {m["light"] for m in found["walnut"]["measurements"]} == {"daylight", "evening lamp"}
    assert len(found["mix"]["direct_pairs"]) == 1
    assert found["honey"]["record"]["topcoat"] == "varnish"
    best = json.loads(run("rank", "--json").stdout)["ranking"][0]
    assert best["board"] == found["mix"]["board"]
    assert run("undo").exit_code == 0
    assert boards(run) == []


def test_print_to_answer_takes_at_most_five_commands(run: Run, folder: Path, tmp_path: Path) -> None:
    """One floor and six boards: the strip, its print learned, the photos, the answer."""
    for words in (
        ("strip", "--output", tmp_path / "strip.pdf"),
        ("strip", "learn", folder / "strip.jpg"),
        ("board", "add", folder, "--species", "cherry", "--yes"),
        ("rank",),
    ):
        done = run(*words)
        assert done.exit_code == 0, done.output
    assert "mix" in done.stdout


def test_a_table_says_what_photos_show(run: Run, folder: Path) -> None:
    """A CSV beside the photos wins over their names; what it does not name is left out."""
    (folder / "boards.csv").write_text(
        "photo,species,stain,coats,topcoat,light,with_floor,spot\n"
        "floor-1.jpg,,,,,,,by the door\n"
        "raw,ash,,,,,,\n"
        "mix-two-coats-oil-with-floor.jpg,oak,walnut brown,2,oil,,yes,\n"
    )
    done = run("board", "add", folder, "--yes", "--json")
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert [each["record"]["species"] for each in document["boards"]] == ["oak", "ash"]
    assert [each["record"]["spot"] for each in document["floor_spots"]] == ["by the door"]
    assert len(boards(run)[0]["direct_pairs"]) == 1
    assert run("undo").exit_code == 0
    done = run("board", "add", folder / "boards.csv", "--yes")
    assert done.stdout.split() == ["F2", "B3", "B4"]
    (folder / "boards.csv").write_text("photo,species\nnone.jpg,ash\n")
    done = run("board", "add", folder, "--yes")
    assert done.exit_code == 2
    assert "none.jpg" in done.stderr


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("photo,species\n,ash\n", "no photo is named"),
        ("photo,species\nraw.jpg,ash\nraw.jpg,oak\n", "named twice"),
        ("photo,species,with_floor\nraw.jpg,ash,perhaps\n", "“perhaps” is not yes or no"),
        ("photo,species,wood\nraw.jpg,ash,oak\n", "wood"),
    ],
)
def test_what_is_wrong_with_a_table_is_told(run: Run, folder: Path, table: str, told: str) -> None:
    """One sentence, exit code 2, nothing logged."""
    (folder / "boards.csv").write_text(table)
    done = run("board", "add", folder, "--yes")
    assert done.exit_code == 2, done.output
    assert told in done.stderr


def test_photos_that_nothing_tells_of_are_asked_about(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a terminal they are named and refused; on one each is asked for, then the wood, then whether to log."""
    home = tmp_path / "photos"
    home.mkdir()
    shutil.copy(SAMPLES / "board-raw.jpg", home / "IMG_1.jpg")
    shutil.copy(SAMPLES / "board-honey-one-coat.jpg", home / "IMG_2.jpg")
    shutil.copy(SAMPLES / "floor-kitchen-doorway.jpg", home / "IMG_3.jpg")
    done = run("board", "add", home, "--yes")
    assert done.exit_code == 2
    assert "IMG_1.jpg, IMG_2.jpg, IMG_3.jpg" in done.stderr
    monkeypatch.setattr("finishlab.board.adding.on_terminal", lambda: True)
    done = run("board", "add", home, answers="\ncherry stain honey 1 coat\n\nash\ny\n")
    assert done.exit_code == 0, done.output
    (board,) = boards(run)
    assert (board["record"]["species"], board["record"]["coats"]) == ("ash", 1)


def test_a_failed_photo_leaves_nothing_logged(run: Run, folder: Path) -> None:
    """Of a folder all is logged or none."""
    (folder / "oak-1-coat.jpg").write_bytes(b"no photo")
    assert run("board", "add", folder, "--species", "ash", "--yes").exit_code == 3
    assert run("board", "list").exit_code == 6


@pytest.fixture
def writes() -> Iterator[list[str]]:
    """Every commit that a command makes of something written."""
    seen: list[str] = []
    written: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE")):
            written.append(statement)

    def commit(_connection: object) -> None:
        if written:
            seen.append(written[0])
            written.clear()

    event.listen(Engine, "before_cursor_execute", note)
    event.listen(Engine, "commit", commit)
    yield seen
    event.remove(Engine, "before_cursor_execute", note)
    event.remove(Engine, "commit", commit)


def test_a_board_is_one_transaction_and_crosses_few_files(run: Run, writes: list[str]) -> None:
    """What ``board add`` writes, its cautions too, is written at once; it runs through few files of the package."""
    run("floor", "add", SAMPLES / "floor-kitchen-doorway.jpg")
    writes.clear()
    crossed: set[str] = set()

    def note(frame: FrameType, what: str, _arg: object) -> None:
        if what == "call" and frame.f_code.co_flags & _NEW_LOCALS:
            crossed.add(frame.f_code.co_filename)

    words = ("--species", "cherry", "--stain", "walnut", "--coats", 2, "--topcoat", "satin polyurethane")
    sys.setprofile(note)
    try:
        done = run("board", "add", SAMPLES / "board-walnut-two-coats.jpg", *words)
    finally:
        sys.setprofile(None)
    assert done.exit_code == 0, done.output
    assert len(writes) == 1
    ours = sorted(str(Path(name).relative_to(PACKAGE)) for name in crossed if Path(name).is_relative_to(PACKAGE))
    assert "board/adding.py" in ours
    assert len(ours) <= MOST_FILES, ours
