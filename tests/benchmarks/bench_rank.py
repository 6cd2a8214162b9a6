"""How long ranking takes with many boards, part by part: ``python tests/benchmarks/bench_rank.py [boards]``.

The boards are made up and kept in memory; what reading them from a logbook takes is told by ``--logbook DIR``, for a
logbook that is there.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np

from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.logbook import Logbook
from finishlab.matching.components import Components
from finishlab.matching.evidence import BoardLooks, Look, PlankLooks, weigh
from finishlab.matching.floor import FloorSpot, pool_floor
from finishlab.matching.ranking import Subject, rank_together
from finishlab.workflow.comparing import compare

FLOOR = np.array([56.0, 8.0, 22.0])


def colour(lab: np.ndarray, photo: str, rng: np.random.Generator) -> LabEstimate:
    """A colour with the effects a measured one has."""
    effects = [SharedEffect(f"fit-{i}", f"photo:{photo}", tuple(rng.normal(0, 0.2, 3))) for i in range(3)]
    effects += [SharedEffect("saturation", "camera:x", (0.1, 0.5, 1.0))]
    effects += [SharedEffect(f"ink-{i}", "strip:1", (0.4, 0.1, 0.1)) for i in range(4)]
    return LabEstimate.build(lab, 0.04 * np.eye(3), effects)


def made_up(count: int) -> None:
    """Weigh and rank made-up boards, every second with the floor beside it."""
    rng = np.random.default_rng(0)
    boards = [
        BoardLooks(
            f"B{i}",
            (
                Look(
                    colour(FLOOR + rng.normal(0, 6, 3), f"{i}", rng),
                    f"{i}",
                    colour(FLOOR + rng.normal(0, 1, 3), f"{i}", rng) if i % 2 else None,
                ),
            ),
        )
        for i in range(count)
    ]
    planks = [PlankLooks(f"F{i}", (Look(colour(FLOOR, f"f{i}", rng), f"f{i}"),)) for i in range(6)]
    pool = pool_floor([FloorSpot(plank.spot, (plank.looks[0].estimate,)) for plank in planks])
    start = time.perf_counter()
    weighed = weigh(boards, planks, Components.usual())
    middle = time.perf_counter()
    rank_together(pool, weighed.together, [Subject(board.board) for board in boards])
    end = time.perf_counter()
    print(f"{count} boards: weighed in {middle - start:.2f} s, ranked in {end - middle:.2f} s")


def logged(folder: Path) -> None:
    """Read and compare a logbook."""
    with Logbook.open(folder) as log:
        start = time.perf_counter()
        count = len(log.boards(brief=True))
        middle = time.perf_counter()
        compare(log)
        end = time.perf_counter()
    print(f"{count} logged boards: read in {middle - start:.2f} s; read and compared in {end - middle:.2f} s")


if __name__ == "__main__":
    words = sys.argv[1:]
    if words[:1] == ["--logbook"]:
        logged(Path(words[1]))
    else:
        made_up(int(words[0]) if words else 10_000)
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
