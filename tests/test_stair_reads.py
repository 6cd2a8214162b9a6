"""What a command of the stair crosses: the same reads however many parts it names, and few files."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Final

import pytest
from conftest import Run
from sqlalchemy import event
from sqlalchemy.engine import Engine

import finishlab

PACKAGE: Final = Path(finishlab.__file__).parent
MOST_FILES: Final = 25
_NEW_LOCALS: Final = 0x2
"""`inspect.CO_NEWLOCALS`: a function's code, not a module's."""


@pytest.fixture
def reads() -> Iterator[list[str]]:
    """Every SELECT that is sent to a database."""
    seen: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.lstrip().upper().startswith("SELECT"):
            seen.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    yield seen
    event.remove(Engine, "before_cursor_execute", note)


@pytest.fixture
def stair(run: Run) -> Run:
    """The command with 12 treads, a recipe and a can; each command the tests measure has run once."""
    for line in (
        "stairs add 7 landing 7 --tread 914x292x27",
        "can add honey --kind 'oil stain'",
        "recipe add Honey --step 'oil; can=C1' --top 'water pu; coats=3'",
        "stairs edit all treads --recipe R1",
        "stairs log all treads stain --can C1",
        "stairs log all treads topcoat --can C1",
    ):
        do(run, line)
    return run


def do(run: Run, line: str) -> None:
    """Run a command line that succeeds."""
    done = run(*shlex.split(line))
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize(
    ("few", "many"),
    [
        ("log 1/tread 1 topcoat --can C1", "log all treads topcoat --can C1"),
        ("edit 1/tread 1 --species ash", "edit all treads --species oak"),
        ("remove E1", "remove E2 E3 E4 E5 E6"),
        ("remove 1/tread 1", "remove 1/treads 2-6"),
    ],
)
def test_reads_do_not_grow_with_the_parts(stair: Run, reads: list[str], few: str, many: str) -> None:
    """What is done to twelve treads reads the logbook as often as what is done to one."""
    do(stair, f"stairs {few}")
    of_one = len(reads)
    reads.clear()
    do(stair, f"stairs {many}")
    assert of_one == len(reads) > 0


def test_logging_crosses_few_files(stair: Run) -> None:
    """One line about the stair, held against its recipe and its can, runs through at most 25 files of the package."""
    crossed: set[str] = set()

    def note(frame: FrameType, what: str, _arg: object) -> None:
        if what == "call" and frame.f_code.co_flags & _NEW_LOCALS:
            crossed.add(frame.f_code.co_filename)

    sys.setprofile(note)
    try:
        do(stair, "stairs log all treads topcoat --can C1")
    finally:
        sys.setprofile(None)
    ours = sorted(str(Path(name).relative_to(PACKAGE)) for name in crossed if Path(name).is_relative_to(PACKAGE))
    assert "stair/store.py" in ours
    assert len(ours) <= MOST_FILES, ours
