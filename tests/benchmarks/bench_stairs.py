"""Time ``finishlab stairs show`` with 1,000 boards and 10,000 events against the same command on an empty logbook.

Run ``python tests/benchmarks/bench_stairs.py``; it prints the median of several runs. It decides nothing.
"""

from __future__ import annotations

import datetime as dt
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

from sqlalchemy.orm import Session

from finishlab.logbook.store import Logbook
from finishlab.logbook.tables import BoardRow, PartEventRow
from finishlab.stair.records import Flight, Part

BOARDS: Final = 1_000
EVENTS: Final = 10_000
RUNS: Final = 9
DAY: Final = dt.date(2024, 5, 31)
STEPS: Final = (("sanded", None), ("coat", "stain"), ("coat", "topcoat"), ("rubbed out", None), ("note", None))


def fill(folder: Path) -> None:
    """Make a logbook of that size."""
    with Logbook.open(folder) as log:
        kinds = ("tread", "riser")
        parts = [Part(number, kind, place) for number in (1, 3) for kind in kinds for place in range(1, 15)]  # type: ignore[arg-type]  # both are kinds of part
        log.add_flights({1: Flight(risers=15), 2: Flight("landing"), 3: Flight(risers=15)}, parts)
        idents = [part.ident for part in log.stair_parts()]
        now = dt.datetime.now(tz=dt.UTC)
        with Session(log._engine) as session, session.begin():  # noqa: SLF001 - thousands of rows in one go
            plain = {"species": "ash", "light": "daylight", "date": DAY, "purpose": "candidate", "created": now}
            session.add_all(BoardRow(number=number, **plain) for number in range(1, BOARDS + 1))
            session.add_all(event(idents[n % len(idents)], n // len(idents), now) for n in range(EVENTS))


def event(part: int, turn: int, now: dt.datetime) -> PartEventRow:
    """Return the next thing done to a part, in turns of sanding, staining, coating, rubbing out and a note."""
    kind, step = STEPS[turn % len(STEPS)]
    coat = 1 if step else None
    note = "again" if kind == "note" else None
    return PartEventRow(part_id=part, kind=kind, date=DAY, step=step, coat=coat, note=note, created=now)


def timed(folder: Path, *words: str) -> float:
    """Return the median seconds of a command."""
    taken = []
    for _ in range(RUNS):
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "finishlab.cli", "--logbook", str(folder), *words],
            check=True,
            capture_output=True,
            env=os.environ,
        )
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as place:
        full, empty = Path(place) / "full", Path(place) / "empty"
        fill(full)
        Logbook.open(empty).close()
        start = timed(empty, "stairs", "show")
        print(f"stairs show, empty logbook: {start:.3f} s")
        for words in (("stairs", "show"), ("stairs", "due"), ("stairs", "part", "1/tread", "7")):
            took = timed(full, *words)
            print(f"{' '.join(words)}, {BOARDS} boards, {EVENTS} events: {took:.3f} s, {took / start:.2f} times that")


if __name__ == "__main__":
    main()
