"""The mean of what is believed after the photo, where a fit finds the likeliest.

The likeliest answer is not the mean one where readings answer to an unknown the more, the larger it is: a flatter tone
curve and a paler print make every misfit smaller, so a fit leans to them, and all differences come out too small. To
second order the mean lies ``-1/2 C grad log det H`` off the likeliest, ``H = J'J + P`` the normal matrix at it and C
its inverse (Laplace's method: L. Tierney, J. B. Kadane, J. Am. Stat. Assoc. 81 (1986) 82-86).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

__all__ = ["mean_less_mode"]

_DIRECTIONS: Final = 10
"""How many of the least certain directions are looked along; the readings settle the others."""
_STEP: Final = 0.25
"""Standard deviations to either side at which the slope of the normal matrix is taken."""
_FARTHEST: Final = 1.0
"""Standard deviations that the mean may lie off along one direction: beyond that two orders do not tell the way."""


def mean_less_mode(
    rows_at: Callable[[np.ndarray], np.ndarray], at: np.ndarray, covariance: np.ndarray, scale: np.ndarray
) -> np.ndarray:
    """Return how far the mean lies from the likeliest answer, shape (parameters,).

    Parameters
    ----------
    rows_at
        Gives J, the whitened readings' derivatives by the parameters, shape (readings, parameters), at an answer.
    at
        Shape (parameters,): where its slope is taken. Taken at the mean itself, instead of at the likeliest answer, it
        is closest (measured on draws from the prior: of 6 % too small, 0 instead of -1.5 % is left).
    covariance
        Of the parameters, there.
    scale
        Shape (parameters,): what to count each parameter in, to tell which directions are the least certain.
    """
    counted = covariance / np.outer(scale, scale)
    try:
        sizes, axes = np.linalg.eigh((counted + counted.T) / 2)
    except np.linalg.LinAlgError:  # a fit that has lost its way has no mean to lean to; it is judged as it stands
        return np.zeros(len(at))
    answers = rows_at(at) @ covariance
    out = np.zeros(len(at))
    for size, axis in zip(sizes[::-1][:_DIRECTIONS], axes.T[::-1], strict=False):
        move = scale * axis * np.sqrt(max(size, 0.0))
        slope = (rows_at(at + _STEP * move) - rows_at(at - _STEP * move)) / (2 * _STEP)
        lean = float((slope * answers).sum())
        out -= move * (np.clip(lean, -_FARTHEST, _FARTHEST) if np.isfinite(lean) else 0.0)
    return out
