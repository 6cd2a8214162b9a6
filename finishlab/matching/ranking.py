"""Which board comes closest to the floor, and how sure that is.

The boards stand in the order of their measured difference from the floor, or from what the aim names. What may be true
is drawn many times with the errors that boards and floor share drawn once for all, which gives each board's probability
of being the closest one and says which orders stay open. The drawn truths are those a wide-open mind would hold after
measuring: each colour normal about its measured mean.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import islice, takewhile
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.difference import DeltaE, SignedDifference, describe, signed_difference
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.errors import LogbookError
from finishlab.matching.aims import MATCH, Aim
from finishlab.matching.figures import AT_ONCE, Figures
from finishlab.matching.floor import FloorPool, pool_estimates
from finishlab.matching.next_photo import NextPhoto
from finishlab.matching.orders import SURE, Orders, Spread, Ties
from finishlab.matching.places import Places, Subjects
from finishlab.matching.simulate import Together, gather
from finishlab.matching.words import lay_sentence
from finishlab.quality import Doubt

__all__ = [
    "SURE",
    "BoardColour",
    "Margin",
    "RankedBoard",
    "Ranking",
    "Subject",
    "as_rows",
    "rank_boards",
    "rank_together",
    "require_boards",
]

FloatArray = NDArray[np.float64]


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
    in_words: str
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
    boards: Sequence[RankedBoard]
    """By place; each is made when it is looked at (`finishlab.matching.places.Places`), and a slice is a tuple."""
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
    def numbers(self) -> Sequence[str]:
        """The boards' numbers by place."""
        return self.boards.numbers if isinstance(self.boards, Places) else [board.board for board in self.boards]

    def find(self, number: str) -> RankedBoard:
        """Return a board by its number.

        Raises
        ------
        KeyError
            If it is not ranked.
        """
        if isinstance(self.boards, Places):
            return self.boards.find(number)
        return {board.board: board for board in self.boards}[number]

    def score_of(self, number: str) -> DeltaE:
        """Return how far a board is from the aim, by its number; as `find`."""
        if isinstance(self.boards, Places):
            return self.boards.score_of(number)
        found = self.find(number)
        return found.score or found.delta_e00

    def changed(self, change: Callable[[RankedBoard], RankedBoard]) -> Ranking:
        """Return the same ranking with each board changed, when it is looked at."""
        boards = self.boards
        if not isinstance(boards, Places):
            return replace(self, boards=tuple(change(board) for board in boards))
        return replace(self, boards=boards.changed(change))

    @property
    def leaders(self) -> tuple[RankedBoard, ...]:
        """The first board and those whose order against it stays open; they follow it place by place."""
        if not self.boards:
            return ()
        first = self.boards[0]
        return (first, *takewhile(first.tied_with, islice(self.boards, 1, None)))


@dataclass(frozen=True, slots=True)
class Subject:
    """What a ranking is told of a board beside its colour."""

    board: str
    doubts: tuple[Doubt, ...] = ()
    photos: int = 0
    pairs: int = 0
    final: bool = True


def rank_boards(
    floor: FloorPool, boards: Sequence[BoardColour], *, aim: Aim = MATCH, count: int = 4000, seed: int = 0
) -> Ranking:
    """Rank boards by their difference from a pooled floor, each measured on its own.

    Parameters
    ----------
    floor
        The pooled floor, see `finishlab.matching.floor.pool_floor`.
    boards
        The boards, in any order; equal differences keep it.
    aim, count, seed
        See `rank_together`.

    Raises
    ------
    LogbookError
        ``"no-boards"`` if there is none.
    ValueError
        If `count` is below 1.
    """
    require_boards(boards)
    together = gather([pool_estimates(board.estimates) for board in boards], floor.estimate)
    subjects = [Subject(board.board, board.doubts, len(board.estimates)) for board in boards]
    return rank_together(floor, together, subjects, aim=aim, count=count, seed=seed)


def require_boards(boards: Sequence[object]) -> None:
    """Refuse to rank nothing.

    Raises
    ------
    LogbookError
        ``"no-boards"``.
    """
    if not boards:
        raise LogbookError(
            "no-boards",
            "No test board has been measured yet, so there is nothing to rank.",
            "Photograph a test board beside the strip and log it: finishlab board add PHOTO --species WOOD.",
        )


def rank_together(
    floor: FloorPool,
    together: Together,
    subjects: Sequence[Subject],
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
    together
        Colours of boards and floor, e.g. from `finishlab.matching.evidence.weigh`.
    subjects
        The same boards in the same order.
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
    figures = Figures(together, aim)
    orders = Orders.of(together, aim, figures, count, seed)
    told = Subjects.of(subjects)
    ranked = _Ranked(floor, together, told, figures, orders)
    numbers = [told.numbers[i] for i in orders.order.tolist()]
    by = orders.margin()
    margin = None if by is None else Margin(numbers[0], numbers[1], by)
    return Ranking(floor, Places(numbers, ranked.at, ranked.score_at), aim, light, margin=margin)


class _Ranked:
    """Makes ranked boards out of what is known of all of them."""

    def __init__(
        self, floor: FloorPool, together: Together, subjects: Subjects, figures: Figures, orders: Orders
    ) -> None:
        self._floor, self._together, self._subjects = floor, together, subjects
        self._figures, self._orders = figures, orders
        self._ties, self._open_to = Ties(orders), orders.inseparable()

    def score_at(self, index: int) -> DeltaE:
        """Return how far the board at a place is from the aim."""
        return self._figures.score(int(self._orders.order[index]))

    def at(self, index: int) -> RankedBoard:
        """Return the board at a place, counted from 0."""
        orders, figures, i = self._orders, self._figures, int(self._orders.order[index])
        first = index - index % AT_ONCE
        figures.need(orders.order[first : first + AT_ONCE])
        subject, lab, spread = self._subjects[i], self._together.labs[i], self._floor.spread_e00
        delta_e00 = figures.delta_e00(i)
        difference = signed_difference(lab, self._together.floor_lab)
        return RankedBoard(
            place=index + 1,
            board=subject.board,
            lab=(float(lab[0]), float(lab[1]), float(lab[2])),
            delta_e00=delta_e00,
            probability_closest=float(orders.closest[i]),
            difference=difference,
            ratio_to_floor_spread=delta_e00.value / spread if spread else None,
            in_words=describe(difference, delta_e00),
            ties=self._ties.at(index),
            doubts=subject.doubts,
            score=delta_e00 if figures.plain_aim else figures.score(i),
            within_limits=None if orders.kept is None else float(orders.kept[i]),
            covariance=as_rows(figures.apart(i)),
            inseparable=tuple(self._subjects.numbers[j] for j in self._open_to.get(i, ())),
            photos=subject.photos,
            pairs=subject.pairs,
            final=subject.final,
            own=_inside(orders.own(i), figures.score(i)),
        )


def _inside(own: Spread | None, whole: DeltaE) -> Spread | None:
    """Keep a board's own part inside its interval."""
    return None if own is None else Spread(whole.value, max(own.low, whole.low), min(own.high, whole.high))


def as_rows(matrix: FloatArray) -> tuple[tuple[float, float, float], ...]:
    """Return a 3 x 3 matrix as plain tuples."""
    return tuple((float(r[0]), float(r[1]), float(r[2])) for r in matrix)
