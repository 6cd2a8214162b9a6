"""How far a camera that does not see as eyes do can be off, even with perfect greys: one documented place.

Found by simulation over cameras, lights and measured spectra: see docs/decisions/0005-camera-error.md. A camera in a
light errs as a matrix on linear RGB would that keeps white, the more the more colourful a surface is. That part is
shared by all it sees and cancels between like colours. What is left differs from wood to wood, and more from wood to
print.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import rgb_to_lab

__all__ = ["MATRIX_ERRORS", "PRINT_AGAINST_WOOD", "WOOD_ALONE", "less_wood", "matrix_effects"]

MATRIX_ERRORS: Final = np.array(
    [
        [[-0.0529, 0.0644, -0.0115], [0.0280, 0.0118, -0.0398], [-0.0163, -0.0600, 0.0763]],
        [[0.0384, -0.0422, 0.0038], [-0.0156, -0.0043, 0.0199], [-0.0317, 0.0241, 0.0076]],
    ]
)
"""Two independent unknowns of a camera in a light, each one standard deviation, shape (2, 3, 3): linear RGB becomes
(1 + error) RGB. On woods the first moves 2.6 CIELAB, the second 0.9, all others together 0.2."""

WOOD_ALONE: Final = np.array([[0.002, -0.001, 0.002], [-0.001, 0.079, -0.085], [0.002, -0.085, 0.116]])
"""Covariance of the error of (L*, a*, b*) of one wood beyond that, shape (3, 3). It is drawn once for a wood, a camera
and a light: further photos, layings and planks of it repeat it."""

_PRINT_SHARE: Final = 0.8
"""Share of the simulated covariance of prints that is used: print floors that were simulated are harsher than the
published case, and the intervals are held against rendered scenes."""

PRINT_AGAINST_WOOD: Final = _PRINT_SHARE * np.array(
    [[0.031, 0.001, 0.049], [0.001, 1.234, -0.834], [0.049, -0.834, 1.340]]
)
"""Covariance of the same of a print, which one camera's prints are taken to share, shape (3, 3)."""

for _constant in (MATRIX_ERRORS, WOOD_ALONE, PRINT_AGAINST_WOOD):
    _constant.flags.writeable = False


def less_wood(own: np.ndarray) -> np.ndarray:
    """Return covariances without `WOOD_ALONE`: what one photo of a wood has by itself.

    Parameters
    ----------
    own
        Shape (..., 3, 3), each with `WOOD_ALONE` in it.
    """
    values, axes = np.linalg.eigh(np.asarray(own, dtype=float) - WOOD_ALONE)
    # rounding may leave a direction a little below nothing
    return np.asarray((axes * np.clip(values, 0.0, None)[..., None, :]) @ np.swapaxes(axes, -1, -2))


def matrix_effects(rgb: np.ndarray, errors: np.ndarray = MATRIX_ERRORS) -> np.ndarray:
    """Return what one standard deviation of each error of a camera's matrix does to a colour.

    Parameters
    ----------
    rgb
        Shape (3,), linear RGB of sRGB's primaries, 1.0 a perfect white diffuser.
    errors
        Shape (n, 3, 3): changes of the matrix; rows that sum to 0 keep white.

    Returns
    -------
    ndarray, shape (n, 3)
        Change of (L*, a*, b*), to first order.
    """
    small = 1e-2
    moves = small * errors @ np.asarray(rgb, dtype=float)
    return np.asarray((rgb_to_lab(rgb + moves) - rgb_to_lab(rgb - moves)) / (2 * small))
