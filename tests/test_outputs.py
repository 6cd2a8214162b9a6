"""What an output option may replace: a file of its own kind that finishlab wrote, and nothing else."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from conftest import Photos
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord
from finishlab.cli import finishlab
from finishlab.errors import OutputError
from finishlab.files import write_atomically
from finishlab.imaging.greys import greys_of_readings
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.stair.records import Flight, Part

SIZES = ("--treads", "3", "--front", "36in", "--depth", "11in", "--thickness", "1in")
WRITERS = {
    "export": ("export", "OUT.zip"),
    "report": ("report", "--output", "OUT.html"),
    "report --pdf": ("report", "--output", "other.html", "--pdf", "OUT.pdf"),
    "strip": ("strip", "--number", "7", "--output", "OUT.pdf"),
    "strip --layout": ("strip", "--number", "7", "--output", "other.pdf", "--layout", "OUT.json"),
    "strip show": ("strip", "show", "412", "--save-picture", "OUT.png"),
    "labels": ("labels", "--output", "OUT.pdf"),
    "house-file": ("house-file", "--output", "OUT.pdf"),
    "stairs show": ("stairs", "show", "--svg", "OUT.svg"),
    "calendar": ("plan", "calendar", "--treads", "3", "--liquid", "oil stain", "--ics", "OUT.ics"),
    "quantities": ("plan", "quantities", *SIZES, "--liquid", "oil stain", "--csv", "OUT.csv"),
}
"""Command -> how it is called; OUT is what it writes."""


@pytest.fixture(scope="module")
def begun_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a logbook ``own`` with a board beside the floor, a learned strip, and a stair."""
    folder = tmp_path_factory.mktemp("outputs")
    with Logbook.open(folder / "own") as log:
        both = measurement(keep(log, folder, "board.jpg"), "board", "floor")
        pair = DirectPair.of(both)
        assert pair is not None
        log.add_board(BoardRecord("ash", stain="walnut", date=DAY), [both], [pair])
        log.approve("B1")
        log.add_flights({1: Flight(risers=3)}, [Part(1, "tread", place) for place in (1, 2)])
        log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
    return folder


@pytest.fixture
def begun(begun_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, the folder in which the commands run."""
    shutil.copytree(begun_once, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    """Run a command on the logbook."""
    return CliRunner().invoke(finishlab, ["--logbook", "own", *words])


def written(command: str, out: str) -> Result:
    """Run a command that writes, to a file of this name."""
    return run(*(out if word.startswith("OUT.") else word for word in WRITERS[command]))


FOREIGN = {
    ".png": b"\x89PNG\r\n\x1a\n of somebody",
    ".pdf": b"%PDF-1.7 a data sheet",
    ".html": b"<!doctype html>\n<p>mine",
    ".svg": b'<?xml version="1.0" encoding="UTF-8"?>\n<svg>mine</svg>',
    ".csv": b"species,stain\nash,walnut\n",
    ".json": b"{}",
    ".zip": b"PK\x03\x04 of somebody",
    ".ics": b"BEGIN:VCALENDAR\r\nPRODID:mine",
}
"""Files of other programs, by the end of their names."""
SOMEBODYS = (b"\xff\xd8\xff\xe0 a photo", b"[board]\n")


@pytest.mark.parametrize("command", WRITERS)
def test_only_its_own_kind_is_replaced(begun: Path, command: str) -> None:
    """Another program's file and the logbook stay as they are, its own file is replaced, with a word.

    What it wrote takes the place neither of a photo nor of a text, whatever they are called.
    """
    out = begun / next(word for word in WRITERS[command] if word.startswith("OUT."))
    kept = next((begun / "own" / "photos").glob("*/*"))
    shutil.copy(kept, photo := kept.with_name(f"photo{out.suffix}"))
    foreign, own = begun / f"foreign{out.suffix}", begun / "own" / "logbook.db"
    foreign.write_bytes(FOREIGN[out.suffix])
    for place, reason in ((foreign, "not replaced"), (photo, "belongs to a logbook")):
        before = place.read_bytes()
        done = written(command, str(place))
        assert done.exit_code in {1, 2}
        assert place.read_bytes() == before
        assert reason in done.stderr
        assert "Traceback" not in done.stderr
    assert written(command, out.name).exit_code == 0
    again = written(command, out.name)
    assert again.exit_code == 0, again.stderr
    assert f"{out.name} was there before and is replaced." in again.stderr
    content = out.read_bytes()
    for place, before in ((own, own.read_bytes()), *((foreign, each) for each in SOMEBODYS)):
        place.write_bytes(before)
        with pytest.raises(OutputError):
            write_atomically(place, content)
        assert place.read_bytes() == before


def test_an_archive_with_more_in_it_is_not_replaced(begun: Path) -> None:
    """An archive of this logbook is renewed by export; one with other entries stays until it is taken in."""
    assert run("export", "a.zip").exit_code == 0
    assert CliRunner().invoke(finishlab, ["--logbook", "other", "import", "a.zip"]).exit_code == 0
    assert CliRunner().invoke(finishlab, ["--logbook", "other", "board", "edit", "B1", "--note", "x"]).exit_code == 0
    assert CliRunner().invoke(finishlab, ["--logbook", "other", "export", "sent.zip"]).exit_code == 0
    before = (begun / "sent.zip").read_bytes()
    done = run("export", "sent.zip")
    assert (done.exit_code, (begun / "sent.zip").read_bytes()) == (1, before)
    assert "finishlab import sent.zip" in done.stderr
    assert run("import", "sent.zip").exit_code == 0
    assert run("export", "sent.zip").exit_code == 0
    assert run("export", "a.zip").exit_code == 0


def test_a_check_picture_never_takes_a_photo_s_place(begun: Path, photos: Photos) -> None:
    """`measure --save-picture` over the very photo it measures leaves it whole."""
    for name in ("photo.png", "other.png"):
        shutil.copy(photos("light_board"), begun / name)
    before = (begun / "photo.png").read_bytes()
    assert run("measure", "photo.png", "--save-picture", "photo.png").exit_code == 2
    assert run("measure", "photo.png", "--save-picture", "other.png").exit_code == 1
    assert {(begun / name).read_bytes() for name in ("photo.png", "other.png")} == {before}
