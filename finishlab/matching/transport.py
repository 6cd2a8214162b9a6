"""How far apart two surfaces are colour by colour, not only on average: optimal transport with CIEDE2000 as distance.

Each surface is a set of colours that stand for equal shares of it. The distance is the mean CIEDE2000 of the pairing in
which that mean is smallest: the transport problem of Kantorovich with CIEDE2000 as the cost of a move, known from
images as earth mover's distance (Y. Rubner, C. Tomasi, L. J. Guibas, Int. J. Comput. Vis. 40 (2000) 99). A busy grain
with the right mean is far from a calm floor by it. With equal shares it is an assignment problem, solved exactly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.delta_e import CIEDE2000, Formula
from finishlab.colorimetry.palette import equal_shares
from finishlab.matching.assignment import cheapest_pairs

__all__ = ["centred", "merge_colours", "plank_yardstick", "transport_distance"]

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
