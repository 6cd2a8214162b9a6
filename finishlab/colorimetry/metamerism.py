"""How far a pair that looks alike in one light comes apart in another.

The index follows the idea of ISO 18314-4 (metamerism index for a change of illuminant): what already differs in the
reference light is taken out by a multiplicative correction of the tristimulus values; the colour difference that is
left in the test light is the index. For pairs that match exactly it is their difference in the test light.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.formulas import CIEDE2000, Formula

__all__ = ["corrected_batch", "metamerism_index"]

FloatArray = NDArray[np.float64]

_DELTA = 6.0 / 29.0


def metamerism_index(
    standard: tuple[ArrayLike, ArrayLike], batch: tuple[ArrayLike, ArrayLike], formula: Formula = CIEDE2000
) -> FloatArray:
    """Return the metamerism index of pairs.

    Parameters
    ----------
    standard, batch
        CIELAB in the reference light and in the test light, each relative to white in that light, shapes (..., 3).
    formula
        The colour-difference formula.

    Returns
    -------
    ndarray, shape (...)
    """
    return formula.difference(standard[1], corrected_batch(standard[0], batch[0], batch[1]))


def corrected_batch(standard_reference: ArrayLike, batch_reference: ArrayLike, batch_test: ArrayLike) -> FloatArray:
    """Return the batch in the test light as it would be if it matched the standard in the reference light.

    X, Y and Z of the batch in the test light are each multiplied by the ratio that makes batch and standard equal in
    the reference light.

    Parameters
    ----------
    standard_reference, batch_reference, batch_test
        CIELAB, each relative to white in its light, shapes (..., 3).
    """
    ratio = _relative_xyz(standard_reference) / np.maximum(_relative_xyz(batch_reference), 1e-6)
    return _lab(_relative_xyz(batch_test) * ratio)


def _relative_xyz(lab: ArrayLike) -> FloatArray:
    """X/Xn, Y/Yn, Z/Zn of CIELAB (ISO/CIE 11664-4:2019, inverse)."""
    values = np.asarray(lab, dtype=np.float64)
    y = (values[..., 0] + 16.0) / 116.0
    f = np.stack([y + values[..., 1] / 500.0, y, y - values[..., 2] / 200.0], axis=-1)
    return np.where(f > _DELTA, f**3, 3.0 * _DELTA**2 * (f - 4.0 / 29.0))


def _lab(ratio: FloatArray) -> FloatArray:
    f = np.where(ratio > _DELTA**3, np.cbrt(ratio), ratio / (3.0 * _DELTA**2) + 4.0 / 29.0)
    return np.stack(
        [116.0 * f[..., 1] - 16.0, 500.0 * (f[..., 0] - f[..., 1]), 200.0 * (f[..., 1] - f[..., 2])], axis=-1
    )
