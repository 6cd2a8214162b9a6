"""Match or contrast: the best board under each aim, and what choosing it costs under the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from finishlab.colorimetry.difference import DeltaE
from finishlab.matching.aims import Aim
from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = ["Choice", "weigh_choices"]

_NO_COST = 0.5
"""CIEDE2000 units below which a choice costs nothing worth naming."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The best board under one aim."""

    aim: Aim
    board: str
    score: DeltaE
    """How far it is from the aim."""
    probability_best: float
    within_limits: float | None
    """Probability that it keeps the aim's limits; None without any."""
    other: Aim
    other_score: DeltaE
    """How far the same board is from the other aim."""
    cost: float
    """How much farther from the other aim it is than that aim's own best board."""
    in_words: str = ""


def weigh_choices(rankings: Sequence[Ranking]) -> tuple[Choice, ...]:
    """Return the best board under each of two aims.

    Parameters
    ----------
    rankings
        The same boards ranked for two aims.

    Raises
    ------
    ValueError
        If there are not two rankings with boards.
    """
    if len(rankings) != 2 or not all(ranking.boards for ranking in rankings):
        raise ValueError("two aims are weighed against each other, each with its ranking")
    one, two = rankings
    return (_choice(one, two), _choice(two, one))


def _choice(ranking: Ranking, other: Ranking) -> Choice:
    best = ranking.boards[0]
    there = other.score_of(best.board)
    leader = other.boards[0]
    cost = max(0.0, there.value - _score(leader).value)
    return Choice(
        aim=ranking.aim,
        board=best.board,
        score=_score(best),
        probability_best=best.probability_closest,
        within_limits=best.within_limits,
        other=other.aim,
        other_score=there,
        cost=cost,
        in_words=_in_words(ranking, best, other, cost),
    )


def _score(board: RankedBoard) -> DeltaE:
    return board.score or board.delta_e00


def _in_words(ranking: Ranking, best: RankedBoard, other: Ranking, cost: float) -> str:
    told = f"To {ranking.aim.in_words}, take {best.board}: it is {_score(best).value:.1f} away from that."
    if ranking.aim.name == "contrast":
        told = f"For a contrast ({ranking.aim.in_words}), take {best.board}: it is {_score(best).value:.1f} off."
    if ranking.no_contrast:
        return f"No board makes a contrast ({ranking.aim.in_words}); the nearest to it is {best.board}."
    if best.within_limits is not None and best.within_limits < 0.5:
        told += " It likely breaks a limit, as all boards do."
    rival = "a match" if other.aim.name == "match" else "a contrast"
    if cost < _NO_COST:
        return f"{told} It is also as good as the best for {rival}."
    return f"{told} For {rival} it is {cost:.1f} worse than {other.boards[0].board}."
