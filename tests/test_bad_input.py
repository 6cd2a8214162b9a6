"""Bad input: one sentence, a hint, the contract's exit code, and a log that is not touched."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Final

import pytest
from click.testing import Result
from conftest import Photos, Run

UNWRITABLE: Final = Path("/proc/self")
"""A folder in which not even root can write."""
needs_unwritable = pytest.mark.skipif(not UNWRITABLE.is_dir(), reason="no folder here in which nobody can write")


def check_told(done: Result, code: int, *words: str) -> None:
    """Check that a failure was told as the contract says: exit code, one sentence with a hint, no traceback."""
    assert done.exit_code == code, done.stderr
    first, hint, *_ = done.stderr.splitlines()
    assert first.startswith("Error: ")
    assert first.endswith(".")
    assert hint.startswith("  ")
    assert hint.strip()
    assert "Traceback" not in done.stderr
    for word in words:
        assert word in first


def content(run: Run) -> dict[str, object]:
    """Return all that the logbook shows, and what is in its folder of photos; where it is empty nothing is shown."""
    listed = (run(what, "list", "--json") for what in ("board", "floor"))
    boards, floor = (None if each.exit_code == 6 else json.loads(each.stdout) for each in listed)
    return {
        "boards": boards,
        "floor": floor,
        "photos": sorted(path.name for path in (run.logbook / "photos").rglob("*.*")),
    }


def bad_photo(name: str, photos: Photos, tmp_path: Path) -> Path:
    """Return a photo that cannot be measured, rendered or made."""
    path = tmp_path / f"{name}.jpg"
    if name == "not_a_photo":
        path.write_text("Dear diary")
    elif name == "truncated":
        path.write_bytes(photos("pair").read_bytes()[:60_000])
    elif name == "empty_file":
        path.write_bytes(b"")
    elif name == "empty_folder":
        path.mkdir()
    elif name != "missing":
        path = photos(name)
    return path


BAD: Final = {
    "no_strip": (4,),
    "hidden_strip": (4,),
    "blurred": (4,),
    "clipped": (5,),
    "dark": (5,),
    "not_a_photo": (3,),
    "truncated": (3,),
    "empty_file": (3,),
    "empty_folder": (3,),
    "missing": (3,),
}
"""Photo -> exit codes that fit it."""


@pytest.mark.parametrize("name", BAD)
def test_measure_says_what_is_wrong_with_a_photo(name: str, run: Run, photos: Photos, tmp_path: Path) -> None:
    """Measuring a bad photo gives a sentence that names it, a hint, and the exit code; JSON carries the same."""
    path = bad_photo(name, photos, tmp_path)
    done = run("measure", path)
    check_told(done, done.exit_code, str(path))
    assert done.exit_code in BAD[name]
    assert done.stdout == ""
    document = json.loads(run("measure", path, "--json").stdout)
    (photo,) = document["photos"]
    assert photo["ok"] is False
    assert photo["strip"] is None
    assert photo["fields"] == {}
    assert photo["error"]["message"] in done.stderr
    assert photo["error"]["hint"]


@pytest.fixture(scope="module")
def one_board(tmp_path_factory: pytest.TempPathFactory, photos: Photos) -> Path:
    """The folder of a logbook with a board."""
    run = Run(tmp_path_factory.mktemp("one") / "logbook")
    assert run("board", "add", photos("light_board"), "--species", "ash").exit_code == 0
    return run.logbook


@pytest.mark.parametrize("name", BAD)
def test_logging_a_bad_photo_leaves_the_log_untouched(
    name: str, run: Run, one_board: Path, photos: Photos, tmp_path: Path
) -> None:
    """Beside a good photo too, a bad one is named, and neither board nor spot nor photo is added."""
    shutil.copytree(one_board, run.logbook)
    before = content(run)
    path = bad_photo(name, photos, tmp_path)
    for words in (("board", "add", "--species", "ash"), ("floor", "add"), ("board", "add", "--to", "B1")):
        done = run(*words, photos("pair"), path)
        check_told(done, done.exit_code, str(path))
        assert done.exit_code in BAD[name]
        assert done.stdout == ""
        assert "Nothing was logged, because 1 of 2 photos failed" in done.stderr
        assert content(run) == before


def test_blur_that_hides_the_strip_is_told(run: Run, photos: Photos) -> None:
    """A photo so blurred that its strip is not found has no strip to measure by, and the sentence says why."""
    done = run("measure", photos("blurred"))
    assert done.exit_code == 4
    assert "since the photo is blurred" in done.stderr
    assert "focus" in done.stderr
    assert "blurred" not in run("measure", photos("no_strip")).stderr


def test_half_a_strip_is_refused(run: Run, photos: Photos) -> None:
    """A strip of which the photo shows only one end says too little of the light: code 4, a sentence and a hint."""
    done = run("measure", photos("half_strip"), "--json")
    (photo,) = json.loads(done.stdout)["photos"]
    assert done.exit_code == 4
    assert photo["ok"] is False
    assert photo["error"]["code"] == "strip-hidden"
    assert "whole strip" in photo["error"]["hint"]


def test_a_picture_never_replaces_a_photo(run: Run, photos: Photos, tmp_path: Path) -> None:
    """Naming the photo itself for the check picture is refused, and the photo keeps its bytes."""
    photo = tmp_path / "mine.png"
    photo.write_bytes(photos("pair").read_bytes())
    before = photo.read_bytes()
    done = run("measure", photo, "--save-picture", photo)
    assert done.exit_code == 2
    assert "would replace the photo" in done.stderr
    assert photo.read_bytes() == before


def test_a_strip_never_replaces_something_else(run: Run, tmp_path: Path) -> None:
    """A strip is written over an earlier PDF at most, with a word about it, and never over its own layout."""
    photo = tmp_path / "photo.png"
    photo.write_bytes(b"precious")
    assert run("strip", "--output", photo).exit_code == 2
    assert photo.read_bytes() == b"precious"
    both = tmp_path / "strip.pdf"
    assert run("strip", "--output", both, "--layout", both).exit_code == 2
    assert not both.exists()
    assert run("strip", "--output", both).exit_code == 0
    assert "is replaced" in run("strip", "--output", both).stderr


def test_several_bad_photos_are_all_named_and_the_worst_code_returned(run: Run, photos: Photos, tmp_path: Path) -> None:
    """Every photo is tried: the good one is measured, each bad one is named, and the worst code comes back."""
    names = ("not_a_photo", "no_strip", "empty_folder", "dark")
    paths = [bad_photo(name, photos, tmp_path) for name in names]
    done = run("measure", paths[0], photos("pair"), *paths[1:])
    assert done.exit_code == 5
    for path in paths:
        assert str(path) in done.stderr
    assert "1 of 5 photos were measured" in done.stderr
    assert "pair" in done.stdout


USAGE: Final = {
    "future date": (("--species", "ash", "--date", "2999-01-01"), "future"),
    "no date": (("--species", "ash", "--date", "last week"), "“last week”"),
    "no species": ((), "species"),
    "empty species": (("--species", " "), "species"),
    "too many coats": (("--species", "ash", "--coats", "99"), "99"),
    "unknown purpose": (("--species", "ash", "--purpose", "doorstop"), "doorstop"),
    "unknown option": (("--qq", "brown"), "--qq"),
    "long text": (("--species", "a" * 500), "500"),
    "grey without area": (("--species", "ash", "--grey", "1,2,30,40:50"), "grey"),
    "area without grey": (("--species", "ash", "--area", "1,2,30,40"), "grey"),
    "malformed grey": (("--species", "ash", "--grey", "1,2,30:50", "--area", "1,2,30,40"), "1,2,30"),
    "malformed area": (("--species", "ash", "--grey", "1,2,30,40:50", "--area", "1,2,30"), "1,2,30"),
    "area outside": (("--species", "ash", "--grey", "1,2,30,40:50", "--area", "1100,2,300,40"), "1100,2,300,40"),
    "pair by hand": (("--species", "ash", "--with-floor", "--grey", "1,2,30,40:50", "--area", "1,2,30,40"), "strip"),
}
"""What is typed after ``board add PHOTO``, and a word of the sentence."""


@pytest.mark.parametrize("case", USAGE)
def test_what_cannot_be_meant_is_a_usage_error(case: str, run: Run, photos: Photos) -> None:
    """A record or an option that cannot be meant: exit code 2, the value named, nothing logged."""
    words, named = USAGE[case]
    before = content(run)
    check_told(run("board", "add", photos("pair"), *words), 2, named)
    assert content(run) == before


@pytest.mark.parametrize("words", [("mesure",), ("board",), ("board", "sell"), ("measure",), ("rank", "--ligth", "x")])
def test_a_mistyped_command_is_a_usage_error(words: tuple[str, ...], run: Run) -> None:
    """Commands and options that are not there give exit code 2 and where the help is."""
    done = run(*words)
    assert done.exit_code == 2
    assert "--help" in done.stderr
    assert done.stdout == ""


UNKNOWN: Final = (
    ("board", "show", "B9"),
    ("board", "edit", "B9", "--stain", "walnut"),
    ("board", "remove", "B9"),
    ("board", "history", "B9"),
    ("floor", "show", "F9"),
    ("floor", "remove", "F9"),
    ("floor", "edit", "F9", "--note", "x"),
    ("board", "show", "nine"),
)


@pytest.mark.parametrize("words", UNKNOWN, ids=" ".join)
def test_an_unknown_number_is_named_with_what_there_is(words: tuple[str, ...], run: Run) -> None:
    """An unknown board or spot: exit code 6 and the number in the sentence."""
    run("recipe", "add", "plain")
    check_told(run(*words), 6, words[2])


def test_an_unknown_board_is_told_before_photos_are_measured(run: Run, tmp_path: Path) -> None:
    """Adding photos to a board that is not there fails for the board, not for the photos."""
    run("recipe", "add", "plain")
    check_told(run("board", "add", tmp_path / "gone.jpg", "--to", "B9"), 6, "B9")


def test_ranking_nothing_says_what_to_log_first(run: Run, photos: Photos) -> None:
    """Without floor or boards there is no ranking: exit code 6, and the hint is the command to run."""
    run("recipe", "add", "plain")
    done = run("rank", "--json")
    check_told(done, 6, "floor")
    assert done.stdout == ""
    assert "finishlab floor add" in done.stderr
    run("floor", "add", photos("floor1"))
    done = run("rank")
    check_told(done, 6, "board")
    assert "finishlab board add" in done.stderr


def test_the_same_photo_twice_is_refused(run: Run, photos: Photos) -> None:
    """A photo that is logged already would pass for a repeat: exit code 6, log untouched."""
    run("board", "add", photos("pair"), "--species", "ash")
    before = content(run)
    check_told(run("board", "add", photos("pair"), "--species", "ash"), 6, "B1")
    check_told(run("board", "add", photos("pair"), "--to", "B1"), 6, "B1")
    assert content(run) == before


def test_a_logbook_that_is_a_file_is_refused(run: Run, tmp_path: Path) -> None:
    """A file in the place of the logbook: exit code 6, and the file stays."""
    place = tmp_path / "file"
    place.write_text("mine")
    check_told(run("--logbook", place, "board", "list"), 6, str(place))
    assert place.read_text() == "mine"


@needs_unwritable
def test_a_logbook_in_an_unwritable_folder_is_refused(run: Run, photos: Photos) -> None:
    """A folder that cannot be written: exit code 6 before any photo is measured."""
    place = UNWRITABLE / "logbook"
    check_told(run("--logbook", place, "board", "add", photos("pair"), "--species", "ash"), 6, str(place))


@needs_unwritable
def test_outputs_that_cannot_be_written_are_named(run: Run, photos: Photos) -> None:
    """A picture, a strip and a layout that cannot be written: exit code 1, and the measurement is still given."""
    done = run("measure", photos("pair"), "--save-picture", UNWRITABLE / "c.png", "--json")
    check_told(done, 1, str(UNWRITABLE / "c.png"))
    (photo,) = json.loads(done.stdout)["photos"]
    assert set(photo["fields"]) == {"board"}
    check_told(run("strip", "--output", UNWRITABLE / "s.pdf"), 1, str(UNWRITABLE / "s.pdf"))


def test_a_picture_in_no_folder_or_of_another_kind_is_refused(run: Run, photos: Photos, tmp_path: Path) -> None:
    """The picture's folder must exist, and its name must be a PNG's."""
    check_told(run("measure", photos("pair"), "--save-picture", tmp_path / "no" / "c.png"), 1, "c.png")
    check_told(run("measure", photos("pair"), "--save-picture", tmp_path / "c.bmp"), 2, "c.bmp")
    assert not list(tmp_path.glob("c.*"))


@pytest.mark.parametrize("number", ["0", "1601", "seven"])
def test_a_strip_number_that_no_strip_can_carry_is_refused(number: str, run: Run, tmp_path: Path) -> None:
    """Strip numbers run from 1 to 1600: exit code 2, nothing written."""
    check_told(run("strip", "--output", tmp_path / "s.pdf", "--number", number), 2, number)
    assert not list(tmp_path.iterdir())
