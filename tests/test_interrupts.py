"""Ctrl-C and a kill while photos are measured: what is done is said, no process and no traceback is left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PHOTO = Path(__file__).parent.parent / "sample_photos" / "board-raw.jpg"
MANY = 100
"""Photos enough that no machine is done with them when it is stopped."""
TWO_WORKERS = """
import signal
from finishlab import measuring as photos
signal.signal(signal.SIGINT, signal.default_int_handler)  # what runs in the background is started deaf to Ctrl-C
photos.processors = lambda: 2
from finishlab.cli import main
main()
"""


def _measuring(folder: Path) -> subprocess.Popen[str]:
    """Start the command with two workers in a process group of its own, as a terminal does."""
    for number in range(MANY):
        (folder / f"{number}.jpg").symlink_to(PHOTO)
    return subprocess.Popen(
        [sys.executable, "-c", TWO_WORKERS, "measure", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )


def _workers(parent: int) -> list[int]:
    """Return the processes of a process's session, itself left out."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[3]) == parent and int(place.parent.name) != parent and fields[0] != "Z":
            found.append(int(place.parent.name))
    return found


def _wait(condition: object, seconds: float = 30.0) -> bool:
    assert callable(condition)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.05)
    return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked for in /proc")
@pytest.mark.parametrize("after_s", [0.1, 2.0])
def test_what_was_measured_is_said_when_it_is_stopped(after_s: float, tmp_path: Path) -> None:
    """After Ctrl-C at whatever moment of the work the exit code is 130, the count is told and no traceback is seen."""
    with _measuring(tmp_path) as process:
        assert _wait(lambda: len(_workers(process.pid)) >= 2)
        time.sleep(after_s)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=60)
        assert "Traceback" not in out + err
        assert process.returncode == 130
        assert f"of {MANY} photos were measured." in err
        assert _wait(lambda: not _workers(process.pid))


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked for in /proc")
def test_a_killed_command_leaves_no_process(tmp_path: Path) -> None:
    """When the command is killed outright its workers end by themselves."""
    with _measuring(tmp_path) as process:
        assert _wait(lambda: len(_workers(process.pid)) >= 2)
        process.kill()
        assert _wait(lambda: not _workers(process.pid))
