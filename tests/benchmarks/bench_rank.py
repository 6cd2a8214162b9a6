"""How long ``finishlab rank`` takes and how much memory it needs with many boards, against the same on a tiny logbook.

Run ``python tests/benchmarks/bench_rank.py [--runs N] [--recipes] [--lights] [--json]``. Logbooks of 10, 100, 1,000 and
10,000 boards are made (`many_boards`), and the command is started anew for each run, the sizes in turn, so that all
meet the same load. With ``--logbook DIR`` that logbook alone is timed, part by part, in this process. The figures
decide nothing.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

SIZES: Final = (10, 100, 1_000, 10_000)
CHILD: Final = """
import pathlib, resource, sys
from finishlab.cli import main
try:
    main()
except SystemExit as end:
    assert not end.code, end.code
sys.stdout.flush()
status = pathlib.Path("/proc/self/status")
if status.exists():  # getrusage would count what the starting process held, too
    peak = next(line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM"))
else:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak, file=sys.stderr)
"""
"""Runs the command and prints its peak resident memory to stderr."""


def once(folder: Path, words: list[str]) -> tuple[float, float]:
    """Return the seconds and the peak megabytes of a command in a fresh process."""
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", CHILD, "--logbook", str(folder), "rank", *words],
        check=True,
        capture_output=True,
        text=True,
    )
    taken = time.perf_counter() - began
    peak = float(done.stderr.split()[-1])
    return taken, peak / 1e6 if sys.platform == "darwin" else peak / 1e3  # bytes there, kibibytes on Linux


def commands(runs: int, words: list[str], **kinds: bool) -> None:
    """Make logbooks and time the command on them."""
    sys.path.append(str(Path(__file__).parents[1]))  # where the tests' helpers are
    from many_boards import folders

    with tempfile.TemporaryDirectory() as place:
        made = dict(folders(Path(place), SIZES, **kinds))
        found: dict[int, list[tuple[float, float]]] = {size: [] for size in SIZES}
        for run in range(runs + 1):
            for size, folder in made.items():
                taken = once(folder, words)
                if run:  # the first finds nothing in the disk's cache
                    found[size].append(taken)
    start = statistics.median(seconds for seconds, _ in found[SIZES[0]])
    least = max(peak for _, peak in found[SIZES[0]])
    for size, each in found.items():
        seconds, peak = statistics.median(s for s, _ in each), max(p for _, p in each)
        print(
            f"{size:6d} boards: {seconds:.2f} s (best {min(s for s, _ in each):.2f}), {seconds - start:.2f} s beyond "
            f"{SIZES[0]} boards; peak {peak:.0f} MB, {peak - least:+.0f} MB"
        )


def parts(folder: Path) -> None:
    """Read and compare a logbook in this process."""
    from finishlab.logbook.store import Logbook
    from finishlab.rank.comparing import compare

    with Logbook.open(folder) as log:
        start = time.perf_counter()
        count = len(log.boards())
        middle = time.perf_counter()
        compare(log)
        end = time.perf_counter()
    print(f"{count} logged boards: read in {middle - start:.2f} s; read and compared in {end - middle:.2f} s")


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--recipes", action="store_true", help="boards of 40 recipes among the others")
    parser.add_argument("--lights", action="store_true", help="every third board by the lamp, too")
    parser.add_argument("--json", action="store_true", help="time --json in place of the table")
    parser.add_argument("--logbook", type=Path)
    asked = parser.parse_args()
    if asked.logbook:
        parts(asked.logbook)
    else:
        commands(asked.runs, ["--json"] if asked.json else [], recipes=asked.recipes, lights=asked.lights)


if __name__ == "__main__":
    main()
