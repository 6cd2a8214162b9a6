"""What goes wrong outside the program: others who write at once, clocks, other versions, disks, permissions."""

from __future__ import annotations

import ctypes
import datetime as dt
import json
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import campaign
import numpy as np
import pytest

from finishlab.errors import LogbookError
from finishlab.logbook import history, writing
from finishlab.logbook.store import Logbook
from finishlab.measuring import logged
from finishlab.photos import photo_facts, write_png

BY_HAND = ("--grey", "0,0,20,20:50", "--area", "20,0,20,20")


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The logbook that `filled` copies."""
    return campaign.fill(tmp_path_factory.mktemp("filled"))


@pytest.fixture
def filled(filled_once: Path, tmp_path: Path) -> Path:
    """A logbook that holds one of each."""
    shutil.copytree(filled_once, tmp_path / "log")
    return tmp_path / "log"


def command(
    log: Path,
    *words: str,
    before: Callable[[], None] | None = None,
    code: str = "from finishlab.cli import main; main()",
) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own, after something that is done in it first."""
    env = os.environ | {"FINISHLAB_LOGBOOK": str(log), "FINISHLAB_DEBUG": "", "PYTHONDONTWRITEBYTECODE": "1"}
    asked = [sys.executable, "-c", code, *words]
    return subprocess.run(asked, env=env, preexec_fn=before, capture_output=True, text=True, check=False)


def sound(log: Path) -> bool:
    """See that nothing of a logbook is out of order, and nothing is left over."""
    with Logbook.open(log) as opened:
        return opened.audit() == [] and not list((log / "photos" / ".incoming").glob("*"))


EIGHT = """
import os, sys
from finishlab.cli import main
from finishlab.logbook import store
children = []
for writer in range(8):
    if not (child := os.fork()):
        code = 0
        for number in range(5):
            sys.argv = ["finishlab", "can", "add", f"w{writer}-{number}", "--kind", "oil stain"]
            try:
                main()
            except SystemExit as end:
                code = code or int(end.code or 0)
        sys.stdout.flush()
        os._exit(code)
    children.append(child)
sys.exit(max(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children))
"""


def test_eight_writers_at_once(filled: Path) -> None:
    """Eight programs that log five cans each at the same time lose none, and no number is given twice."""
    done = command(filled, code=EIGHT)
    assert (done.returncode, "Traceback" in done.stderr) == (0, False), done.stderr
    cans = json.loads(campaign.run(filled, "can", "list", "--json").stdout)["cans"]
    assert {each["record"]["product"] for each in cans} >= {f"w{w}-{n}" for w in range(8) for n in range(5)}
    numbers = [int(each["can"].removeprefix("C")) for each in cans]
    assert sorted(numbers) == list(range(1, len(cans) + 1))
    assert sound(filled)


def test_the_clock_goes_backwards(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A clock set back by a year between commands: undo still takes back the last one, redo brings it again."""
    for module in (writing, history):
        monkeypatch.setattr(module, "now", lambda: dt.datetime(2023, 1, 1, tzinfo=dt.UTC))
    assert campaign.run(filled, "can", "edit", "C1", "--lot", "earlier").exit_code == 0
    assert "earlier" in campaign.run(filled, "can", "show", "C1").output
    undone = campaign.run(filled, "undo")
    assert (undone.exit_code, "C1" in undone.stderr) == (0, True)
    assert "earlier" not in campaign.run(filled, "can", "show", "C1", "--json").stdout.partition('"history"')[0]
    assert campaign.run(filled, "redo").exit_code == 0
    assert list(campaign.broken_commands(filled, campaign.READING)) == []
    assert sound(filled)


def test_an_older_program_leaves_a_newer_logbook_alone(filled: Path) -> None:
    """Every command on a logbook that a newer finishlab wrote is refused in a sentence, and nothing is touched."""
    with closing(sqlite3.connect(filled / "logbook.db")) as newer, newer:
        newer.execute("UPDATE alembic_version SET version_num = '9999_later'")
        newer.execute("ALTER TABLE boards ADD COLUMN later TEXT")
    before = {path: path.read_bytes() for path in filled.rglob("*") if path.is_file()}
    for words in (
        *campaign.READING,
        *campaign.CHANGING,
        ("check", "--repair"),
        ("backup", str(filled.parent / "copy")),
    ):
        result = campaign.run(filled, *words)
        assert (result.exit_code, campaign.said_badly(result)) == (6, None), words
        assert "Update finishlab" in result.stderr
    assert {path: path.read_bytes() for path in filled.rglob("*") if path.is_file()} == before
    assert not (filled.parent / "copy").exists()


def test_a_newer_program_comes_while_an_older_one_is_open(filled: Path) -> None:
    """A logbook that is carried over while an older program has it open: what that still logs is whole."""
    with Logbook.open(filled) as older:
        with closing(sqlite3.connect(filled / "logbook.db")) as newer, newer:
            newer.execute("UPDATE alembic_version SET version_num = '9999_later'")
            newer.execute("ALTER TABLE boards ADD COLUMN later TEXT")
        older.edit_board("B2", note="still logged")
        assert older.board("B2").record.note == "still logged"
        assert older.audit() == []
    with pytest.raises(LogbookError, match="newer finishlab"):
        Logbook.open(filled)


def large_photo(folder: Path) -> Path:
    """Return a photo of 300 kB."""
    path = folder / "large.png"
    pixels = np.full((400, 400, 3), 119, np.uint8)
    pixels[:20, 20:40] = (150, 100, 60)
    pixels[30:] = np.random.default_rng(3).integers(0, 255, (370, 400, 3), dtype=np.uint8)
    write_png(path, pixels + np.random.default_rng(4).integers(0, 3, pixels.shape, np.uint8))
    return path


def test_a_quota_is_reached_half_way(filled: Path) -> None:
    """Where a photo does not fit any more nothing of its board is logged, a sentence says why, and reading goes on."""

    def quota() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))

    before = campaign.run(filled, "board", "list", "--json").stdout
    done = command(filled, "board", "add", str(large_photo(filled.parent)), "--species", "ash", *BY_HAND, before=quota)
    assert (done.returncode, done.stderr.count("Error: "), "Traceback" in done.stderr) == (6, 1, False), done.stderr
    assert campaign.run(filled, "board", "list", "--json").stdout == before
    assert campaign.run(filled, "can", "edit", "C1", "--lot", "9").exit_code == 0
    assert sound(filled)


def without_privilege() -> None:
    """Let this process, root or not, do no more than the permissions of files say."""
    libc = ctypes.CDLL(None, use_errno=True)
    if os.geteuid() == 0:  # what is taken out of the bounding set is gone after the next exec
        for capability in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
            if libc.prctl(24, capability, 0, 0, 0):  # PR_CAPBSET_DROP
                os._exit(99)


@pytest.mark.skipif(sys.platform != "linux", reason="permissions are taken from root as Linux does it")
def test_a_folder_that_may_only_be_read(filled: Path) -> None:
    """From a read-only logbook lists come, a change is refused in a sentence; one that may not be read is told too."""
    try:
        for path in (filled, *filled.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        read = command(filled, "board", "list", before=without_privilege)
        if read.returncode == 99:
            pytest.skip("this root may not give up its privileges")
        assert (read.returncode, "B1" in read.stdout) == (0, True), read.stderr
        changing: tuple[tuple[str, ...], ...] = (
            ("board", "edit", "B1", "--note", "x"),
            ("undo",),
            ("check", "--repair"),
        )
        for words in changing:
            done = command(filled, *words, before=without_privilege)
            assert (done.returncode, "can be read, but not written" in done.stderr) == (6, True), done.stderr
        (filled / "logbook.db").chmod(0)
        for words in (("board", "list"), ("backup", str(filled.parent / "copy"))):
            done = command(filled, *words, before=without_privilege)
            assert (done.returncode, done.stderr.startswith("Error: ")) == (6, True), done.stderr
            assert "Traceback" not in done.stderr
    finally:
        for path in (filled, *filled.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)
    assert sound(filled)


@pytest.mark.skipif(sys.platform != "linux", reason="as above")
def test_a_photo_that_may_not_be_read(filled: Path) -> None:
    """A photo without permission is told with the photo's code, and nothing is logged."""
    photo = large_photo(filled.parent)
    photo.chmod(0)
    done = command(filled, "board", "add", str(photo), "--species", "ash", *BY_HAND, before=without_privilege)
    assert (done.returncode, "large.png" in done.stderr, "Traceback" in done.stderr) in {
        (3, True, False),
        (99, False, False),
    }
    assert sound(filled)


@pytest.mark.parametrize("then", ["gone", "another"])
def test_a_photo_vanishes_while_it_is_logged(filled: Path, monkeypatch: pytest.MonkeyPatch, then: str) -> None:
    """A photo that is gone, or another, between measuring and keeping: a sentence, and nothing of it is logged."""
    photo = large_photo(filled.parent)
    before = campaign.run(filled, "board", "list", "--json").stdout

    def late(path: Path) -> object:
        if then == "gone":
            path.unlink()
        else:
            write_png(path, np.full((400, 400, 3), 90, np.uint8))
        return photo_facts(path)

    monkeypatch.setattr(logged, "photo_facts", late)
    done = campaign.run(filled, "board", "add", str(photo), "--species", "ash", *BY_HAND, "--date", "2024-05-31")
    assert (done.exit_code, campaign.said_badly(done)) == (3 if then == "gone" else 6, None), done.output
    assert campaign.run(filled, "board", "list", "--json").stdout == before
    assert sound(filled)
