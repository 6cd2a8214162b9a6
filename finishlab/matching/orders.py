"""How far boards are from floor and aim; which of two is nearer, which of all is the nearest, and how sure that is.

For the boards that may be the nearest it is drawn many times what may be true, with the errors that boards and floor
share drawn once for all. For orders among the many that cannot, the differences are taken as normal.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import CIEDE2000
from finishlab.colorimetry.difference import difference_intervals
from finishlab.matching.aims import Aim, within
from finishlab.matching.joint import JointColours, draw_colours

__all__ = ["SURE", "Distances", "Orders", "Spread", "distances_of", "ties_of"]

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
_EVEN: Final = 0.5
"""Chance of keeping the limits below which a board comes behind those that keep them."""
_FEW_DRAWS: Final = 200
"""Draws that tell whether a board keeps the limits where that is plain."""
_NEAR: Final = 0.15
"""How near to `_EVEN` their share must be for more draws: four times its own error."""
_MORE_DRAWS: Final = (1000, 20_000)
"""Draws then, at least and at most: as many as `_MOST_DRAWS` allows for all such boards together."""
_ENDS: Final = (0.025, 0.5, 0.975)


@dataclass(frozen=True, slots=True)
class Spread:
    """A figure with the 95 % interval of what was drawn for it; it may be below 0."""

    value: float
    low: float
    high: float

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form."""
        return {"value": self.value, "low": self.low, "high": self.high}


@dataclass(frozen=True, slots=True)
class Distances:
    """How far boards are from the floor and from an aim."""

    delta_e00: FloatArray
    """CIEDE2000 from the floor with the ends of its 95 % interval, shape (3, n)."""
    score: FloatArray
    """Distance from the aim by the aim's formula, shape (3, n); the same where the aim is to match by CIEDE2000."""
    covariance: FloatArray
    """Of (L*, a*, b*) of board minus floor, shape (n, 3, 3)."""


def distances_of(colours: JointColours, aim: Aim) -> Distances:
    """Return the distances of all boards, with intervals."""
    joint = colours.joint_with_floor()
    delta_e00 = np.stack(difference_intervals(colours.labs, colours.floor_lab, joint))
    score = delta_e00
    if aim.name != "match" or aim.formula != CIEDE2000:
        targets = aim.targets(colours.labs, colours.floor_lab)
        score = np.stack(difference_intervals(colours.labs, targets, joint, aim.scored_by))
    apart = joint[:, :3, :3] + joint[:, 3:, 3:] - joint[:, :3, 3:] - joint[:, 3:, :3]
    return Distances(delta_e00, score, apart)


@dataclass(frozen=True, slots=True)
class Orders:
    """Boards by how near they are to an aim."""

    order: NDArray[np.intp]
    """Boards by place."""
    drawn: dict[int, int]
    """Board -> its row in `scores`."""
    scores: NDArray[np.float32]
    """Drawn scores of the boards that may be the nearest, shape (k, count)."""
    common: NDArray[np.float32]
    """The mean of the drawn boards' scores in each draw, broken limits aside, shape (count,)."""
    closest: FloatArray
    """Each board's probability of being the nearest, shape (n,)."""
    kept: FloatArray | None
    """Each board's probability of keeping the aim's limits, shape (n,); None without any."""
    value: FloatArray
    slopes: Slopes

    @classmethod
    def of(cls, colours: JointColours, aim: Aim, distances: Distances, count: int, seed: int) -> Orders:
        """Draw and compare.

        Parameters
        ----------
        colours
            Boards and floor.
        aim
            What they are compared for.
        distances
            Of the boards for this aim.
        count, seed
            Number of draws and their seed.
        """
        value = distances.score[0]
        kept = _kept(colours, aim, seed) if aim.limits or aim.name == "contrast" else None
        order = np.lexsort((value,) if kept is None else (value, kept < _EVEN))
        picks = _may_be_nearest(distances.score[:, order], order)
        count = min(count, max(count // 10, _MOST_DRAWS // len(picks)))
        boards, floor = draw_colours(colours, picks, count, np.random.default_rng(seed))
        scores = np.stack([_score(aim, each, floor, limited=kept is not None) for each in boards])
        closest = np.zeros(len(value))
        closest[picks] = np.bincount(np.argmin(scores, axis=0), minlength=len(picks)) / count
        drawn = {int(board): row for row, board in enumerate(picks)}
        common = (scores % np.float32(_BROKEN)).mean(axis=0)
        return cls(order, drawn, scores, common, closest, kept, value, Slopes.of(colours, aim))

    def margin(self) -> Spread | None:
        """Return how much nearer the first board is than the second; None for one board, or where limits part them."""
        if len(self.order) < 2:
            return None
        one, two = (int(board) for board in self.order[:2])
        if self.kept is not None and self.kept[two] < _EVEN <= self.kept[one]:
            return None
        drawn = self._distances(two) - self._distances(one)
        low, _, high = np.quantile(drawn, _ENDS).tolist()
        value = float(self.value[two] - self.value[one])
        return Spread(value, min(low, value), max(high, value))

    def own(self, board: int) -> Spread | None:
        """Return a board's score with the interval of what is the board's own; None where it was not drawn.

        What moves the scores of all drawn boards alike, on average over them, is common to them.
        """
        if board not in self.drawn:
            return None
        low, middle, high = np.quantile(self._distances(board) - self.common, _ENDS).tolist()
        value = float(self.value[board])
        return Spread(value, max(0.0, value - (middle - low)), value + (high - middle))

    def _distances(self, board: int) -> NDArray[np.float32]:
        return np.asarray(self.scores[self.drawn[board]] % np.float32(_BROKEN))

    def surely_before(self, one: int, two: int) -> bool:
        """Return whether board `one` is nearer than `two` with a probability of `SURE` or more."""
        if one in self.drawn and two in self.drawn:
            nearer = self.scores[self.drawn[one]] < self.scores[self.drawn[two]]
            return bool(np.count_nonzero(nearer) >= SURE * nearer.size)
        return bool(self.value[two] - self.value[one] >= _SURE_SCORE * self.slopes.spread(one, two))

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


def _kept(colours: JointColours, aim: Aim, seed: int) -> FloatArray:
    """Return each board's chance of keeping the limits, surer where it decides the place."""
    rng = np.random.default_rng(seed + 1)
    everyone = np.arange(len(colours.labs))
    kept = _shares(colours, aim, everyone, _FEW_DRAWS, rng)
    close = everyone[np.abs(kept - _EVEN) < _NEAR]
    if len(close):
        kept[close] = _shares(colours, aim, close, int(np.clip(_MOST_DRAWS // len(close), *_MORE_DRAWS)), rng)
    return kept


def _shares(
    colours: JointColours, aim: Aim, boards: NDArray[np.intp], count: int, rng: np.random.Generator
) -> FloatArray:
    """Return the share of draws in which boards keep the limits, shape (k,)."""
    shares: list[float] = []
    for first in range(0, len(boards), _MOST_DRAWN):
        drawn, floor = draw_colours(colours, boards[first : first + _MOST_DRAWN], count, rng)
        shares += [float(within(aim, board, floor).mean()) for board in drawn]
    return np.array(shares)


def _may_be_nearest(scores: FloatArray, order: NDArray[np.intp]) -> NDArray[np.intp]:
    """Boards whose widened interval reaches below the surest of the first boards, by number; bounded both ways.

    Scores by place with their intervals, shape (3, n).
    """
    value, low, high = scores
    reach = float(high[:_LEAST_DRAWN].min())
    able = order[low - (value - low) <= reach]
    return np.unique(np.concatenate([able[:_MOST_DRAWN], order[:_LEAST_DRAWN]]))


@dataclass(frozen=True, slots=True)
class Slopes:
    """How scores move with what is unknown, to first order."""

    shared: FloatArray
    """With each shared unknown, and the floor's own error, shape (n, k + 3)."""
    own: FloatArray
    """Variance by what each board shares with nobody, shape (n,)."""

    @classmethod
    def of(cls, colours: JointColours, aim: Aim) -> Slopes:
        """Work them out at the boards' means."""
        slopes = aim.scored_by.slopes(aim.targets(colours.labs, colours.floor_lab), colours.labs)
        of_floor, of_board = slopes[:, :3], slopes[:, 3:]
        shared = of_floor @ colours.floor_vectors.T + np.einsum("nki,ni->nk", colours.moves, of_board)
        own = np.einsum("ni,nij,nj->n", of_board, colours.own, of_board)
        return cls(np.hstack([shared, of_floor @ _root(colours.floor_own)]), own)

    def spread(self, one: int, two: int) -> float:
        """Return the standard deviation of the difference of two boards' scores."""
        apart = self.shared[one] - self.shared[two]
        return float(np.sqrt(apart @ apart + self.own[one] + self.own[two]))


def _root(covariance: FloatArray) -> FloatArray:
    values, axes = np.linalg.eigh(covariance)
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))
    return root


def ties_of(orders: Orders) -> list[range]:
    """Return the marks of each place: of the runs of neighbours whose order stays open, counted from 1 at the front.

    A run starts at a board and goes on as long as that board is not surely nearer than the next one. A run inside an
    earlier one is dropped. So a board may stand in two runs without joining their ends: that A and B, and B and C
    cannot be told apart does not tie A with C (a compact display of comparisons, as after Piepho, J. Comput. Graph.
    Stat. 13 (2004) 456). A place's marks follow one another, as runs are met in order.
    """
    order: list[int] = orders.order.tolist()
    starts: list[int] = []
    ends: list[int] = []
    for start, board in enumerate(order):
        end = reached = max(ends[-1] if ends else -1, start)
        while reached + 1 < len(order) and not orders.surely_before(board, order[reached + 1]):
            reached += 1
        if reached > end:
            starts.append(start)
            ends.append(reached)
    return [range(bisect_left(ends, place) + 1, bisect_right(starts, place) + 1) for place in range(len(order))]
