"""Pairs of rows and columns at the least cost in all: the assignment problem, solved exactly.

Shortest augmenting paths with prices (R. Jonker, A. Volgenant, Computing 38 (1987) 325; D. F. Crouse, IEEE Trans.
Aerosp. Electron. Syst. 52 (2016) 1679). A library has it too, but loading that takes longer than all the pairs of a
ranking.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["cheapest_pairs"]


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
