"""How far apart two surfaces are colour by colour, not only on average: optimal transport with CIEDE2000 as distance.

Each surface is a set of colours that stand for equal shares of it. The distance is the mean CIEDE2000 of the pairing in
which that mean is smallest: the transport problem of Kantorovich with CIEDE2000 as the cost of a move, known from
images as earth mover's distance (Y. Rubner, C. Tomasi, L. J. Guibas, Int. J. Comput. Vis. 40 (2000) 99). A busy grain
with the right mean is far from a calm floor by it. With equal shares it is an assignment problem, solved exactly by
shortest augmenting paths with prices (R. Jonker, A. Volgenant, Computing 38 (1987) 325; D. F. Crouse, IEEE Trans.
Aerosp. Electron. Syst. 52 (2016) 1679). A library has it too, but loading that takes longer than all the pairs of a
ranking.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.delta_e import CIEDE2000, Formula
from finishlab.colorimetry.palette import equal_shares

__all__ = ["centred", "cheapest_pairs", "merge_colours", "plank_yardstick", "transport_distance"]

FloatArray = NDArray[np.float64]

_MERGED: Final = (16, 4)
_MOST: Final = 256
"""Colours a side, after each was split so that both sides have as many."""


def transport_distance(standard: ArrayLike, batch: ArrayLike, formula: Formula = CIEDE2000) -> float:
    """Return the optimal-transport distance of two surfaces.

    Parameters
    ----------
    standard, batch
        CIELAB of equal shares, shapes (n, 3) and (m, 3).
    formula
        The cost of a move.

    Returns
    -------
    float
        In units of the formula; at 0 the two have the same colours in the same shares.

    Raises
    ------
    ValueError
        If a side is empty, or the least common multiple of n and m is above 256.
    """
    one, two = np.asarray(standard, dtype=np.float64), np.asarray(batch, dtype=np.float64)
    size = math.lcm(len(one), len(two))
    if not 0 < size <= _MOST:
        raise ValueError(f"surfaces of {len(one)} and {len(two)} colours cannot be paired")
    one, two = np.repeat(one, size // len(one), axis=0), np.repeat(two, size // len(two), axis=0)
    cost = formula.difference(one[:, None, :], two[None, :, :])
    return float(cost[np.arange(size), cheapest_pairs(cost)].mean())


def centred(colours: ArrayLike, mean: ArrayLike) -> FloatArray:
    """Return colours moved as one so that their mean is `mean`, shape (n, 3)."""
    values = np.asarray(colours, dtype=np.float64)
    moved: FloatArray = values - values.mean(axis=0) + np.asarray(mean, dtype=np.float64)
    return moved


def merge_colours(surfaces: Sequence[ArrayLike]) -> FloatArray:
    """Return equal shares of several surfaces taken together, each surface counted once.

    Parameters
    ----------
    surfaces
        At least one, each of shape (n, 3) with the same n.
    """
    together = np.concatenate([np.asarray(each, dtype=np.float64) for each in surfaces])
    return equal_shares(together, _MERGED) if len(surfaces) > 1 and len(together) >= math.prod(_MERGED) else together


def plank_yardstick(surfaces: Sequence[ArrayLike]) -> float | None:
    """Return how far planks are from the floor as a whole, on average; None for one plank."""
    if len(surfaces) < 2:
        return None
    whole = merge_colours(surfaces)
    return float(np.mean([transport_distance(whole, each) for each in surfaces]))


def cheapest_pairs(cost: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the column of each row, shape (n,), so that the sum of their costs is the least.

    Parameters
    ----------
    cost
        Finite, shape (n, n).
    """
    of_column = cost.min(axis=0)
    of_row = (cost - of_column).min(axis=1)
    column_of, row_of = _first_pairs(cost - of_column - of_row[:, None])
    for row in np.flatnonzero(column_of < 0):
        _add_row(int(row), cost, of_row, of_column, column_of, row_of)
    return column_of


def _first_pairs(reduced: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pair rows and columns whose reduced cost is 0 as far as they come free; -1 stands for none."""
    size = len(reduced)
    column_of, row_of = np.full(size, -1), np.full(size, -1)
    for row, column in np.argwhere(reduced <= 0.0).tolist():
        if column_of[row] < 0 and row_of[column] < 0:
            column_of[row], row_of[column] = column, row
    return column_of, row_of


def _add_row(
    start: int,
    cost: NDArray[np.float64],
    of_row: NDArray[np.float64],
    of_column: NDArray[np.float64],
    column_of: NDArray[np.intp],
    row_of: NDArray[np.intp],
) -> None:
    """Give one more row a column by the shortest path over pairs made before (Dijkstra); changes the last four."""
    size = len(cost)
    shortest, before = np.full(size, np.inf), np.full(size, start)
    ahead = shortest.copy()  # as `shortest`, infinite where the path has been
    row, length = start, 0.0
    visited: list[int] = []
    while True:
        reached = cost[row] - of_column + (length - of_row[row])
        better = (reached < shortest) & np.isfinite(ahead) if visited else np.ones(size, dtype=bool)
        shortest[better] = ahead[better] = reached[better]
        before[better] = row
        column = int(ahead.argmin())
        length = float(ahead[column])
        if row_of[column] < 0:
            break
        ahead[column] = np.inf
        visited.append(column)
        row = int(row_of[column])
    of_row[start] += length
    if visited:
        gained = length - shortest[visited]
        of_row[row_of[visited]] += gained
        of_column[visited] -= gained
    while True:
        row = int(before[column])
        row_of[column] = row
        column_of[row], column = column, int(column_of[row])
        if row == start:
            return
