"""Which board comes closest to the floor, how sure that is, and the words for it.

The boards stand in the order of their measured difference from the floor, or from what the aim names. What may be true
is drawn many times with the errors that boards and floor share drawn once for all, which gives each board's probability
of being the closest one and says which orders stay open. The drawn truths are those a wide-open mind would hold after
measuring: each colour normal about its measured mean.

The bands of the words are those of `finishlab.colorimetry.difference` and, for the floor's own range, the ones below;
both are this tool's own and stand beside the published thresholds in docs/bands.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.difference import BANDS, DeltaE, SignedDifference, describe, signed_difference
from finishlab.matching.aims import MATCH, Aim
from finishlab.matching.joint import JointColours
from finishlab.matching.next_photo import NextPhoto
from finishlab.matching.orders import SURE, Distances, Orders, Spread, distances_of, ties_of
from finishlab.matching.scatter import FloorPool
from finishlab.quality import Doubt

__all__ = [
    "RANGES",
    "SURE",
    "Margin",
    "RankedBoard",
    "Ranking",
    "as_rows",
    "lay_sentence",
    "range_words",
    "rank_colours",
]

FloatArray = NDArray[np.float64]

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

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form."""
        return {"board": self.first, "next": self.next, **{k: round(v, 3) + 0.0 for k, v in self.by.as_dict().items()}}


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
    ties, open_to = ties_of(orders), orders.inseparable()
    labs, covariances = colours.labs.tolist(), distances.covariance.tolist()
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
            difference=signed_difference(lab, colours.floor_lab),
            ratio_to_floor_spread=delta_e00.value / floor.spread_e00 if floor.spread_e00 else None,
            ties=ties[index],
            score=score,
            within_limits=None if orders.kept is None else float(orders.kept[i]),
            covariance=as_rows(covariances[i]),
            inseparable=tuple(numbers[j] for j in open_to.get(i, ())),
            own=_inside(orders.own(i), score),
        )
        boards.append(board)
    return tuple(boards)


def _inside(own: Spread | None, whole: DeltaE) -> Spread | None:
    """Keep a board's own part inside its interval."""
    return None if own is None else Spread(whole.value, max(own.low, whole.low), min(own.high, whole.high))


def as_rows(matrix: Sequence[Sequence[float]]) -> tuple[tuple[float, float, float], ...]:
    """Return a 3 x 3 matrix as plain tuples."""
    return tuple((float(r[0]), float(r[1]), float(r[2])) for r in matrix)


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
