"""Which of two boards is nearer to the aim, which of all is the nearest, and how sure that is.

For the boards that may be the nearest it is drawn many times what may be true, with the errors that boards and floor
share drawn once for all. For orders among the many that cannot, the differences are taken as normal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.matching.aims import Aim, within
from finishlab.matching.simulate import Together, draw_colours

__all__ = ["SURE", "Orders", "ties_of"]

FloatArray = NDArray[np.float64]

SURE: Final = 0.95
"""An order between two boards is called settled at this probability."""
_SURE_SCORE: Final = 1.6449
"""Normal score of `SURE`."""
_MOST_DRAWN: Final = 200
_LEAST_DRAWN: Final = 30
_MOST_DRAWS: Final = 400_000
"""Boards times draws at most: many boards get fewer draws each, but never below a tenth of those asked for."""
_BROKEN: Final = 1000.0
"""Added to a score when a limit is broken: worse than any difference."""


@dataclass(frozen=True, slots=True)
class Orders:
    """Boards by how near they are to an aim."""

    order: NDArray[np.intp]
    """Boards by place."""
    drawn: dict[int, int]
    """Board -> its row in `scores`."""
    scores: NDArray[np.float32]
    """Drawn scores of the boards that may be the nearest, shape (k, count)."""
    closest: FloatArray
    """Each board's probability of being the nearest, shape (n,)."""
    kept: FloatArray | None
    """Each board's probability of keeping the aim's limits, shape (n,); None without any."""
    value: FloatArray
    slope_shared: FloatArray
    """How each score moves with the shared unknowns, shape (n, k)."""
    slope_own: FloatArray
    """Variance of each score from what the board shares with nobody, shape (n,)."""

    @classmethod
    def of(cls, together: Together, aim: Aim, intervals: FloatArray, count: int, seed: int) -> Orders:
        """Draw and compare.

        Parameters
        ----------
        together
            Boards and floor.
        aim
            What they are compared for.
        intervals
            Score of each board with the ends of its interval, shape (3, n).
        count, seed
            Number of draws and their seed.
        """
        value, low, high = intervals
        kept = _kept(together, aim, seed) if aim.limits or aim.name == "contrast" else None
        order = np.lexsort((value,) if kept is None else (value, kept < 0.5))
        picks = _may_be_nearest(order, low - (value - low), high)
        count = min(count, max(count // 10, _MOST_DRAWS // len(picks)))
        boards, floor = draw_colours(together, picks, count, np.random.default_rng(seed))
        scores = np.stack([_score(aim, each, floor, limited=kept is not None) for each in boards])
        closest = np.zeros(len(value))
        closest[picks] = np.bincount(np.argmin(scores, axis=0), minlength=len(picks)) / count
        shared, own = _slopes(together, aim)
        drawn = {int(board): row for row, board in enumerate(picks)}
        return cls(order, drawn, scores, closest, kept, value, shared, own)

    def surely_before(self, one: int, two: int) -> bool:
        """Return whether board `one` is nearer than `two` with a probability of `SURE` or more."""
        if one in self.drawn and two in self.drawn:
            nearer = self.scores[self.drawn[one]] < self.scores[self.drawn[two]]
            return bool(np.count_nonzero(nearer) >= SURE * nearer.size)
        apart = self.slope_shared[one] - self.slope_shared[two]
        spread = float(np.sqrt(apart @ apart + self.slope_own[one] + self.slope_own[two]))
        return bool(self.value[two] - self.value[one] >= _SURE_SCORE * spread)

    def inseparable(self, most: int = _LEAST_DRAWN) -> dict[int, list[int]]:
        """Return, for each of the first `most` boards, those of them whose order against it is open, by place."""
        first = [int(i) for i in self.order[:most]]
        rows = [self.drawn[i] for i in first if i in self.drawn]
        names = [i for i in first if i in self.drawn]
        open_to: dict[int, list[int]] = {i: [] for i in first}
        for place, one in enumerate(names):
            nearer = np.count_nonzero(self.scores[rows[place]] < self.scores[rows], axis=1) / self.scores.shape[1]
            for other, share in zip(names, nearer.tolist(), strict=True):
                if other != one and 1.0 - SURE < share < SURE:
                    open_to[one].append(other)
        return open_to


def _score(aim: Aim, board: FloatArray, floor: FloatArray, *, limited: bool) -> NDArray[np.float32]:
    score = aim.score(board, floor)
    return np.asarray(score + _BROKEN * ~within(aim, board, floor) if limited else score, dtype=np.float32)


def _kept(together: Together, aim: Aim, seed: int, count: int = 200) -> FloatArray:
    rng = np.random.default_rng(seed + 1)
    n = len(together.labs)
    out = np.empty(n)
    for first in range(0, n, _MOST_DRAWN):
        picks = np.arange(first, min(first + _MOST_DRAWN, n))
        boards, floor = draw_colours(together, picks, count, rng)
        out[picks] = within(aim, boards, floor).mean(axis=1)
    return out


def _may_be_nearest(order: NDArray[np.intp], low: FloatArray, high: FloatArray) -> NDArray[np.intp]:
    """Boards whose widened interval reaches below the surest of the first boards, by number; bounded both ways."""
    reach = float(high[order[:_LEAST_DRAWN]].min())
    able = order[low[order] <= reach][:_MOST_DRAWN]
    return np.unique(np.concatenate([able, order[:_LEAST_DRAWN]]))


def _slopes(together: Together, aim: Aim) -> tuple[FloatArray, FloatArray]:
    """How scores move: with the shared unknowns (n, k), and their variance from what each board has alone (n,)."""
    targets = aim.targets(together.labs, together.floor_lab)
    slopes = aim.scored_by.slopes(targets, together.labs)
    of_floor, of_board = slopes[:, :3], slopes[:, 3:]
    shared = of_floor @ together.floor_vectors.T
    moved = np.einsum("mi,mi->m", of_board[together.effect_board], together.effect_vector)
    np.add.at(shared, (together.effect_board, together.effect_key), moved)
    own = np.einsum("ni,nij,nj->n", of_board, together.own, of_board)
    return np.hstack([shared, of_floor @ _root(together.floor_own)]), own


def _root(covariance: FloatArray) -> FloatArray:
    values, axes = np.linalg.eigh(covariance)
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))
    return root


def ties_of(orders: Orders) -> list[range]:
    """Find the runs of neighbours whose order stays open, and give each run a mark.

    A run starts at a board and goes on as long as that board is not surely nearer than the next one. A run inside an
    earlier one is dropped. So a board may stand in two runs without joining their ends: that A and B, and B and C
    cannot be told apart does not tie A with C (a compact display of comparisons, as after Piepho, J. Comput. Graph.
    Stat. 13 (2004) 456).

    Returns
    -------
    list
        For each place the marks of its runs, counted from 1; they follow one another, as runs are met in order.
    """
    order = orders.order.tolist()
    boards = len(order)
    runs: list[tuple[int, int]] = []
    end = -1
    for start in range(boards):
        reached = max(end, start)
        while reached + 1 < boards and not orders.surely_before(order[start], order[reached + 1]):
            reached += 1
        if reached > max(end, start):
            runs.append((start, reached))
            end = reached
    starts, ends = np.array(runs, dtype=int).reshape(-1, 2).T
    places = np.arange(boards)
    first = np.searchsorted(ends, places, side="left") + 1
    last = np.searchsorted(starts, places, side="right")
    return [range(a, b + 1) for a, b in zip(first.tolist(), last.tolist(), strict=True)]
