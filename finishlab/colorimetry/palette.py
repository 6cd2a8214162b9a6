"""A few colours that stand for all of a surface's, each for an equal share of it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PALETTE_SIZE", "equal_shares"]

FloatArray = NDArray[np.float64]

_SLICES: Final = (8, 4)
PALETTE_SIZE: Final = _SLICES[0] * _SLICES[1]
"""Colours kept of one measured field."""


def equal_shares(labs: ArrayLike, slices: tuple[int, int] = _SLICES) -> FloatArray:
    """Return the mean colours of equal shares of a surface.

    The colours are sorted along the direction in which they vary most and cut into as many parts as `slices` says
    first; each part is cut again along the direction of most variance in it. So the same colours always give the
    same summary, and light and dark grain stay apart.

    Parameters
    ----------
    labs
        CIELAB of places of the surface, shape (n, 3).
    slices
        Numbers of parts of the first and the second cut.

    Returns
    -------
    ndarray, shape (slices[0] * slices[1], 3)

    Raises
    ------
    ValueError
        If there are fewer places than parts.
    """
    places = np.asarray(labs, dtype=np.float64).reshape(-1, 3)
    if len(places) < slices[0] * slices[1]:
        raise ValueError("a surface needs a place for each part")
    return np.array([part.mean(axis=0) for first in _cut(places, slices[0]) for part in _cut(first, slices[1])])


def _cut(places: FloatArray, parts: int) -> list[FloatArray]:
    """Cut colours into parts of equal number along the direction in which they vary most, the darkest part first."""
    centred = places - places.mean(axis=0)
    _, axes = np.linalg.eigh(centred.T @ centred)
    axis = axes[:, -1] * (1.0 if axes[0, -1] >= 0 else -1.0)
    return np.array_split(places[np.argsort(centred @ axis, kind="stable")], parts)
