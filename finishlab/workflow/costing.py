"""What the intervals of the first boards are made of, and whether learning the strip would pay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Final

import numpy as np

from finishlab.matching.components import Components
from finishlab.matching.costs import Costs, board_costs, print_doubt
from finishlab.matching.layout import Looks
from finishlab.matching.ranking import Ranking

__all__ = ["costs_of", "only", "with_print_doubt"]

_TOLD: Final = 5
"""Boards, from the nearest on, whose costs are told."""
_MOST_WEIGHED: Final = 100
"""Boards up to which all are weighed again for it; of more only those that are told, with the floor."""


def costs_of(looks: Looks, components: Components, ranking: Ranking, numbers: Sequence[str]) -> tuple[Costs, ...]:
    """Return what the intervals of the first boards of a ranking are made of.

    Parameters
    ----------
    looks, components
        What was weighed.
    ranking
        What came of it.
    numbers
        The boards in the order of the looks.
    """
    told = ranking.boards[:_TOLD]
    place = {number: i for i, number in enumerate(numbers)}
    picks = [place[board.board] for board in told]
    if len(numbers) > _MOST_WEIGHED:
        few = only(looks, picks)
        # without the floors beside other boards there may be none left to compare with
        if np.any(few.plank >= 0):
            looks, picks = few, list(range(len(picks)))
    boards = [(board.board, pick, board.lab) for board, pick in zip(told, picks, strict=True)]
    return board_costs(looks, components, ranking.floor.lab, boards)


def only(looks: Looks, boards: Sequence[int]) -> Looks:
    """Return the looks at some boards, in this order, and at the planks."""
    new = np.full(int(looks.block.max(initial=0)) + 1, -1)
    new[looks.boards :] = np.arange(len(new) - looks.boards) + len(boards)
    new[list(boards)] = np.arange(len(boards))
    kept = np.flatnonzero(new[looks.block] >= 0)
    kept = kept[np.argsort(new[looks.block[kept]], kind="stable")]
    each = {f.name: getattr(looks, f.name) for f in fields(looks)}
    picked = {name: value[kept] for name, value in each.items() if isinstance(value, np.ndarray)}
    return replace(looks, **picked | {"block": new[looks.block[kept]]}, boards=len(boards))


def with_print_doubt(ranking: Ranking, costs: Sequence[Costs]) -> Ranking:
    """Return a ranking that says once, of all boards, that the print was not learned, where that matters."""
    found = print_doubt(costs)
    if found is None:
        return ranking
    return replace(ranking, floor=replace(ranking.floor, doubts=(*ranking.floor.doubts, found)))
