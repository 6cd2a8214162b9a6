"""Recipes in place of boards: each pooled over the boards it was tried on, with how boards of one recipe differ.

A board is its recipe's colour plus a chance of its own (the wood, the wiping). How large that is, is found from all
recipes with two boards or more; where there are few it leans on what is usual. A recipe's colour is the mean of its
boards, each at its weight; what the boards share with others stays shared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.matching.components import positive_part
from finishlab.matching.simulate import Together

__all__ = ["USUAL_BOARD", "Groups", "pool_groups"]

FloatArray = NDArray[np.float64]

USUAL_BOARD: Final = (1.0, 0.4, 0.8)
"""Standard deviation of L*, a*, b* from board to board of one recipe on one wood; this tool's own."""
_WEIGHT: Final = 3.0
"""Boards that the usual figure counts as."""


@dataclass(frozen=True, slots=True)
class Groups:
    """Recipes, and the next board made by each."""

    names: tuple[str, ...]
    boards: tuple[tuple[int, ...], ...]
    """The boards of each recipe, by number."""
    together: Together
    """The recipes' own colours with the floor."""
    board_to_board: FloatArray
    """Covariance of a board from its recipe, shape (3, 3)."""


def pool_groups(together: Together, names: Sequence[str], groups: Mapping[str, str]) -> Groups | None:
    """Pool boards by recipe.

    Parameters
    ----------
    together
        The boards' colours with the floor.
    names
        The boards' numbers, in the same order.
    groups
        Board -> recipe; boards without one stand for themselves.

    Returns
    -------
    Groups or None
        None when no recipe has two boards: there is nothing to pool.
    """
    members: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        members.setdefault(groups.get(name, name), []).append(i)
    if all(len(boards) < 2 for boards in members.values()):
        return None
    between = _board_to_board(together, list(members.values()))
    # most boards stand for themselves: of one board the mean is the board
    first = np.array([boards[0] for boards in members.values()])
    labs, own, moves = together.labs[first], together.own[first] + between, together.moves[first]
    for i, boards in enumerate(members.values()):
        if len(boards) > 1:
            labs[i], own[i], moves[i] = _pool(together, boards, between)
    pooled = replace(together, labs=labs, own=own, moves=moves)
    return Groups(tuple(members), tuple(tuple(boards) for boards in members.values()), pooled, between)


def _pool(together: Together, boards: Sequence[int], between: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, own covariance and shared moves of one recipe, each board weighed by its own error and the scatter."""
    weights = np.linalg.inv(together.own[boards] + between)
    covariance = np.linalg.inv(weights.sum(axis=0))
    shares = covariance @ weights
    lab = np.einsum("nij,nj->i", shares, together.labs[boards])
    moved = np.einsum("nij,nkj->ki", shares, together.moves[boards])
    return lab, covariance, moved


def _board_to_board(together: Together, recipes: Sequence[Sequence[int]]) -> FloatArray:
    """Covariance of a board from its recipe, errors taken out, leaning on the usual."""
    total, count = np.zeros((3, 3)), 0
    for boards in recipes:
        n = len(boards)
        if n < 2:
            continue
        of_unknowns = together.moves[boards] - together.moves[boards].mean(axis=0)
        explained = together.own[boards].mean(axis=0) + np.einsum("nki,nkj->ij", of_unknowns, of_unknowns) / (n - 1)
        total += (n - 1) * (np.cov(together.labs[boards].T) - explained)
        count += n - 1
    usual = _WEIGHT * np.diag(np.square(USUAL_BOARD))
    between: FloatArray = (usual + positive_part(total)) / (_WEIGHT + count)
    return between
