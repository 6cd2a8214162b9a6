"""Which board comes closest to the floor, how sure that is, and the words for it.

The boards stand in the order of their measured difference from the floor, or from what the aim names. For those that
may be the nearest it is drawn many times what may be true, with the errors that boards and floor share drawn once for
all, which gives each board's probability of being the closest one and says which orders stay open. The drawn truths are
those a wide-open mind would hold after measuring: each colour normal about its measured mean. For orders among the many
that cannot be the nearest, the differences are taken as normal.

The bands of the words are those of `finishlab.colorimetry.difference` and, for the floor's own range, the ones below;
both are this tool's own and stand beside the published thresholds in docs/bands.md.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import CIEDE2000
from finishlab.colorimetry.difference import (
    BANDS,
    DeltaE,
    SignedDifference,
    describe,
    difference_intervals,
    of_difference,
    signed_difference,
)
from finishlab.colorimetry.estimate import root_of, triple
from finishlab.matching.aims import MATCH, Aim, within
from finishlab.matching.costs import NextPhoto
from finishlab.matching.joint import JointColours, draw_colours
from finishlab.matching.scatter import FloorPool
from finishlab.quality import Doubt

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
    return Distances(delta_e00, score, of_difference(joint))


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

    def own(self) -> dict[int, Spread]:
        """Return the score of each drawn board with the interval of what is the board's own.

        What moves the scores of all drawn boards alike, on average over them, is common to them.
        """
        ends = np.quantile(self.scores % np.float32(_BROKEN) - self.common, _ENDS, axis=1).T.tolist()
        drawn = [(board, float(self.value[board]), *ends[row]) for board, row in self.drawn.items()]
        return {b: Spread(v, max(0.0, v - (middle - low)), v + (high - middle)) for b, v, low, middle, high in drawn}

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
        return cls(np.hstack([shared, of_floor @ root_of(colours.floor_own)]), own)

    def spread(self, one: int, two: int) -> float:
        """Return the standard deviation of the difference of two boards' scores."""
        apart = self.shared[one] - self.shared[two]
        return float(np.sqrt(apart @ apart + self.own[one] + self.own[two]))


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


RANGES: Final[tuple[tuple[float, str], ...]] = (
    (0.7, "well inside what its own planks differ by"),
    (1.3, "about as far off as its own planks are"),
    (2.0, "a little farther off than its own planks are"),
    (3.5, "about {times} times as far off as its own planks are"),
    (math.inf, "far outside what its own planks differ by"),
)
"""Upper end of the ratio (CIEDE2000 over the floor's own spread) and words of each band; this tool's own."""
_TOO_EVEN: Final = 0.3
"""Spread of a floor below which the ratio says nothing: its planks are as good as equal."""
_SAME: Final = BANDS[0][0]
_MORE_ALIKE: Final = ", though its own planks are more alike still"
"""Beside a difference that is hardly seen, in place of words that would make it large."""


@dataclass(frozen=True, slots=True)
class Margin:
    """How much nearer to the aim the first board is than the next, from the draws that give the chances."""

    first: str
    next: str
    by: Spread
    """In units of the score. Below 0 the next may be the nearer."""


@dataclass(frozen=True, slots=True)
class RankedBoard:
    """A board's place and what it rests on."""

    place: int
    """1 is the nearest to the aim; boards that likely break a limit come after those that keep it."""
    board: str
    lab: tuple[float, float, float]
    """CIELAB of the board, all its measurements together."""
    delta_e00: DeltaE
    probability_closest: float
    """Share of the drawn worlds in which this board is the nearest of all to the aim, limits kept."""
    difference: SignedDifference
    """Board minus floor."""
    ratio_to_floor_spread: float | None
    """CIEDE2000 over the floor's own spread; up to 1 the board lies inside the floor's range. None without a spread."""
    ties: range = range(0)
    """Marks of the ties it belongs to, numbered from 1 at the front. Two boards share a mark exactly when they stand in
    a run of neighbours whose first is closer than each other one with a probability below `SURE`."""
    doubts: tuple[Doubt, ...] = ()
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
    own: Spread | None = None
    """Its score with the part of the interval that is its own; the rest moves all boards alike. None where the board
    is too far behind to be drawn."""

    @property
    def in_words(self) -> str:
        """How far off and in which direction, in a few words."""
        return describe(self.difference, self.delta_e00)

    @property
    def sentence(self) -> str:
        """One sentence for a lay person: how far off, in which direction, and against what the floor itself does."""
        return lay_sentence(self.difference, self.delta_e00, self.ratio_to_floor_spread)

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
    """By place."""
    aim: Aim = MATCH
    light: str = ""
    """The light all of it was photographed in; empty when not told."""
    next_photos: tuple[NextPhoto, ...] = ()
    """What one more photo would bring, the best first; empty when the first place is settled."""
    margin: Margin | None = None
    """How much nearer the first board is than the next; None with one board, or where limits part them."""

    @property
    def no_contrast(self) -> bool:
        """True when a contrast was asked for and even the best board is none: see `Aim.is_made_by`."""
        return bool(self.boards) and not self.aim.is_made_by(np.array(self.boards[0].difference.dL))

    @property
    def numbers(self) -> list[str]:
        """The boards' numbers by place."""
        return [board.board for board in self.boards]

    @property
    def by_number(self) -> dict[str, RankedBoard]:
        """The boards by their numbers."""
        return {board.board: board for board in self.boards}

    @property
    def leaders(self) -> tuple[RankedBoard, ...]:
        """The first board and those whose order against it stays open; they follow it place by place."""
        if not self.boards:
            return ()
        first = self.boards[0]
        return (first, *takewhile(first.tied_with, self.boards[1:]))


def rank_colours(
    floor: FloorPool,
    colours: JointColours,
    numbers: Sequence[str],
    *,
    aim: Aim = MATCH,
    light: str = "",
    count: int = 4000,
    seed: int = 0,
) -> Ranking:
    """Rank boards whose colours and floor are known together.

    Parameters
    ----------
    floor
        The floor, for its spread and its own words.
    colours
        Colours of boards and floor, e.g. from `finishlab.matching.gls.solve`.
    numbers
        What the same boards are called, in the same order.
    aim
        What they are ranked for.
    light
        The light they were photographed in.
    count
        Draws of what may be true.
    seed
        Seed of the draws: the same photos give the same ranking.

    Raises
    ------
    ValueError
        If `count` is below 1.

    Notes
    -----
    The intervals are not drawn but computed, see `finishlab.colorimetry.difference`; they hold the error of the floor
    and of print seen beside wood in full, though it cancels in the order.
    """
    if count < 1:
        raise ValueError("a ranking needs at least one draw")
    distances = distances_of(colours, aim)
    orders = Orders.of(colours, aim, distances, count, seed)
    names = [numbers[i] for i in orders.order.tolist()]
    by = orders.margin()
    margin = None if by is None else Margin(names[0], names[1], by)
    return Ranking(floor, _boards(floor, colours, numbers, distances, orders), aim, light, margin=margin)


def _boards(
    floor: FloorPool, colours: JointColours, numbers: Sequence[str], distances: Distances, orders: Orders
) -> tuple[RankedBoard, ...]:
    """Return the boards by place."""
    ties, open_to, own = ties_of(orders), orders.inseparable(), orders.own()
    labs, covariances = colours.labs.tolist(), distances.covariance.tolist()
    floor_lab = colours.floor_lab.tolist()
    plain, scores = distances.delta_e00.T.tolist(), distances.score.T.tolist()
    boards = []
    for index, i in enumerate(orders.order.tolist()):
        delta_e00, score, lab = DeltaE(*plain[i]), DeltaE(*scores[i]), labs[i]
        board = RankedBoard(
            place=index + 1,
            board=numbers[i],
            lab=(lab[0], lab[1], lab[2]),
            delta_e00=delta_e00,
            probability_closest=float(orders.closest[i]),
            difference=signed_difference(lab, floor_lab),
            ratio_to_floor_spread=delta_e00.value / floor.spread_e00 if floor.spread_e00 else None,
            ties=ties[index],
            score=score,
            within_limits=None if orders.kept is None else float(orders.kept[i]),
            covariance=tuple((one, two, three) for one, two, three in covariances[i]),
            inseparable=tuple(numbers[j] for j in open_to.get(i, ())),
            own=_inside(own.get(i), score),
        )
        boards.append(board)
    return tuple(boards)


def _inside(own: Spread | None, whole: DeltaE) -> Spread | None:
    """Keep a board's own part inside its interval."""
    return None if own is None else Spread(whole.value, max(own.low, whole.low), min(own.high, whole.high))


def as_rows(matrix: Sequence[Sequence[float]]) -> tuple[tuple[float, float, float], ...]:
    """Return a 3 x 3 matrix as plain tuples."""
    return tuple(triple(row) for row in matrix)


def range_words(ratio: float, spread_e00: float | None = None) -> str:
    """Say how a difference stands to the floor's own plank-to-plank spread.

    Parameters
    ----------
    ratio
        CIEDE2000 of the board over the root mean square CIEDE2000 of the planks, both from the floor's mean.
    spread_e00
        That of the planks; below 0.3 an even floor is named in place of a ratio.
    """
    if spread_e00 is not None and spread_e00 < _TOO_EVEN:
        return "beside a floor whose planks are all but equal"
    words = next(words for end, words in RANGES if ratio < end)
    return words.format(times=round(ratio))


def lay_sentence(difference: SignedDifference, delta_e00: DeltaE, ratio: float | None = None) -> str:
    """Return one sentence about a board beside the floor.

    Parameters
    ----------
    difference
        Board minus floor.
    delta_e00
        CIEDE2000 of the same pair.
    ratio
        That over the floor's own spread; None where the floor was seen at one spot only.

    Returns
    -------
    str
        E.g. ``"A touch darker and pinker than the floor, about as far off as its own planks are."``
    """
    direction = describe(difference)
    if delta_e00.value < _SAME:
        direction = "hardly to be told from the floor" if direction.startswith("much like") else f"just {direction}"
    told = direction
    if ratio is not None and math.isfinite(ratio):
        if delta_e00.value < _SAME and ratio >= RANGES[1][0]:
            told += _MORE_ALIKE
        else:
            told += ", " + range_words(ratio, delta_e00.value / ratio if ratio > 0 else None)
    if delta_e00.low == 0.0 and delta_e00.value >= _SAME:
        told += "; the photos leave open whether there is a difference at all"
    return told[:1].upper() + told[1:] + "."
