"""Which board comes closest to the floor, and how sure that is.

The boards stand in the order of their measured CIEDE2000 from the floor. What may be true is drawn many times with the
errors that boards and floor share drawn once for all, which gives each board's probability of being the closest one and
says which orders stay open. The drawn truths are those a wide-open mind would hold after measuring: each colour normal
about its measured mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.difference import DeltaE, SignedDifference, describe, signed_difference
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.interval import difference_intervals
from finishlab.errors import LogbookError
from finishlab.matching.aims import MATCH, Aim
from finishlab.matching.floor import FloorPool, pool_estimates
from finishlab.matching.next_photo import NextPhoto
from finishlab.matching.simulate import draw_differences, gather
from finishlab.quality import Doubt

__all__ = ["SURE", "BoardColour", "RankedBoard", "Ranking", "rank_boards"]

SURE: Final = 0.95
"""An order between two boards is called settled at this probability."""
_MOST_DRAWS: Final = 1_600_000
"""Boards times draws that are simulated at most; with many boards each gets fewer draws, but `_FEWEST`."""
_FEWEST: Final = 120


@dataclass(frozen=True, slots=True)
class BoardColour:
    """A test board with everything measured on it.

    Raises
    ------
    ValueError
        If nothing was measured on it.
    """

    board: str
    """The board's number, e.g. ``"B3"``."""
    estimates: tuple[LabEstimate, ...]
    kind: Literal["wood", "print"] = "wood"
    doubts: tuple[Doubt, ...] = ()
    """Doubts to stand beside its place."""

    def __post_init__(self) -> None:
        if not self.estimates:
            raise ValueError("a board needs at least one measurement")


@dataclass(frozen=True, slots=True)
class RankedBoard:
    """A board's place and what it rests on."""

    place: int
    """1 is the closest, by measured difference."""
    board: str
    lab: tuple[float, float, float]
    """CIELAB of the board, all its measurements together."""
    delta_e00: DeltaE
    probability_closest: float
    """Share of the drawn worlds in which this board is the closest of all."""
    difference: SignedDifference
    """Board minus floor."""
    ratio_to_floor_spread: float | None
    """CIEDE2000 over the floor's own spread; up to 1 the board lies inside the floor's range. None without a spread."""
    in_words: str
    ties: range = range(0)
    """Marks of the ties it belongs to, numbered from 1 at the front. Two boards share a mark exactly when they stand in
    a run of neighbours whose first is closer than each other one with a probability below `SURE`."""
    doubts: tuple[Doubt, ...] = ()
    sentence: str = ""
    """One sentence for a lay person: how far off, in which direction, and against what the floor itself does."""
    score: DeltaE | None = None
    """How far it is from the aim, by the aim's formula; the places follow it. None stands for `delta_e00`."""
    within_limits: float | None = None
    """Probability that it keeps every limit of the aim (and its undertone); None without any."""
    covariance: tuple[tuple[float, float, float], ...] | None = None
    """Of (L*, a*, b*) of board minus floor, shape (3, 3), everything unsure in it."""
    inseparable: tuple[str, ...] = ()
    """Boards whose order against this one stays open, nearest first."""
    colours_e00: float | None = None
    """Distance of all its sampled colours from the floor's: mean CIEDE2000 of the best pairing (optimal transport)."""
    figure_e00: float | None = None
    """The same with both means laid on each other: how unlike grain and figure are by themselves."""
    photos: int = 0
    pairs: int = 0
    """Photos of it, and how many of them hold the floor too; 0 when not counted."""
    final: bool = True
    """False while no verdict may rest on it, e.g. before it is topcoated and dry; its doubts say why."""

    @property
    def tied(self) -> bool:
        """True when its order against another board stays open."""
        return len(self.ties) > 0

    def tied_with(self, other: RankedBoard) -> bool:
        """Return whether the order between the two stays open."""
        return max(self.ties.start, other.ties.start) < min(self.ties.stop, other.ties.stop)


@dataclass(frozen=True, slots=True)
class Ranking:
    """The boards from the closest on, and the floor they are compared with."""

    floor: FloorPool
    boards: tuple[RankedBoard, ...]
    aim: Aim = MATCH
    light: str = ""
    """The light all of it was photographed in; empty when not told."""
    next_photos: tuple[NextPhoto, ...] = ()
    """What one more photo would bring, the best first; empty when the first place is settled."""

    @property
    def leaders(self) -> tuple[RankedBoard, ...]:
        """The first board and those whose order against it stays open."""
        return tuple(b for b in self.boards if b is self.boards[0] or b.tied_with(self.boards[0]))


def rank_boards(floor: FloorPool, boards: Sequence[BoardColour], *, count: int = 4000, seed: int = 0) -> Ranking:
    """Rank boards by their difference from the floor.

    Parameters
    ----------
    floor
        The pooled floor, see `finishlab.matching.floor.pool_floor`.
    boards
        The boards, in any order; equal differences keep it.
    count
        Draws of what may be true. With more than 400 boards each gets fewer, so that the time stays bounded.
    seed
        Seed of the draws: the same photos give the same ranking.

    Raises
    ------
    LogbookError
        ``"no-boards"`` if there is none.
    ValueError
        If `count` is below 1.

    Notes
    -----
    The intervals are not drawn but computed, see `finishlab.colorimetry.interval`; they hold the error of the floor and
    of print seen beside wood in full, though it cancels in the order.
    """
    if count < 1:
        raise ValueError("a ranking needs at least one draw")
    if not boards:
        raise LogbookError(
            "no-boards",
            "No test board has been measured yet, so there is nothing to rank.",
            "Photograph a test board beside the strip and log it: finishlab board add PHOTO --species WOOD.",
        )
    together = gather([pool_estimates(board.estimates) for board in boards], floor.estimate)
    value, low, high = difference_intervals(together.labs, together.floor_lab, together.joint_with_floor())
    draws = min(count, max(_FEWEST, _MOST_DRAWS // len(boards)))
    differences = draw_differences(together, draws, np.random.default_rng(seed))
    closest = np.bincount(np.argmin(differences, axis=0), minlength=len(boards)) / draws
    order = np.argsort(value, kind="stable")
    ties = _ties(differences, order)
    ranked: list[RankedBoard] = []
    for place, i in enumerate(order.tolist(), start=1):
        delta_e00 = DeltaE(float(value[i]), float(low[i]), float(high[i]))
        difference = signed_difference(together.labs[i], together.floor_lab)
        ranked.append(
            RankedBoard(
                place=place,
                board=boards[i].board,
                lab=(float(together.labs[i, 0]), float(together.labs[i, 1]), float(together.labs[i, 2])),
                delta_e00=delta_e00,
                probability_closest=float(closest[i]),
                difference=difference,
                ratio_to_floor_spread=delta_e00.value / floor.spread_e00 if floor.spread_e00 else None,
                in_words=describe(difference, delta_e00),
                ties=ties[place - 1],
                doubts=boards[i].doubts,
            )
        )
    return Ranking(floor, tuple(ranked))


def _ties(differences: NDArray[np.float32], order: NDArray[np.intp]) -> list[range]:
    """Find the runs of neighbours whose order stays open, and give each run a mark.

    A run starts at a board and goes on as long as that board is not surely closer than the next one. A run inside an
    earlier one is dropped. So a board may stand in two runs without joining their ends: that A and B, and B and C
    cannot be told apart does not tie A with C (a compact display of comparisons, as after Piepho, J. Comput. Graph.
    Stat. 13 (2004) 456).

    Parameters
    ----------
    differences
        Drawn differences, shape (n, count).
    order
        Boards by place, shape (n,).

    Returns
    -------
    list
        For each place the marks of its runs, counted from 1; they follow one another, as runs are met in order.
    """
    boards, count = differences.shape
    runs: list[tuple[int, int]] = []
    end = -1
    for start in range(boards):
        here = differences[order[start]]
        reached = max(end, start)
        while reached + 1 < boards and np.count_nonzero(here < differences[order[reached + 1]]) < SURE * count:
            reached += 1
        if reached > max(end, start):
            runs.append((start, reached))
            end = reached
    starts, ends = np.array(runs, dtype=int).reshape(-1, 2).T
    places = np.arange(boards)
    first = np.searchsorted(ends, places, side="left") + 1
    last = np.searchsorted(starts, places, side="right")
    return [range(a, b + 1) for a, b in zip(first.tolist(), last.tolist(), strict=True)]
