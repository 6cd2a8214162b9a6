"""The 95 % interval of a CIEDE2000 difference between two uncertain colours.

A difference cannot be negative, so errors lift small ones: two equal colours measured with errors always differ.
Quantiles of simulated differences around the measured ones repeat that lift and miss the truth. Here the interval holds
every true difference that would not be surprised by the measured one (the inversion of a test), which undoes the lift.

Near a pair the square of CIEDE2000 is a quadratic form in the errors. Its distribution for a true difference is taken
from its first three cumulants (Jensen and Solomon, J. Am. Stat. Assoc. 67 (1972) 898), so that thousands of pairs cost
no simulation and the same photos always give the same interval. The upper end is found from the ratio of two
probabilities (Read, J. Phys. G 28 (2002) 2693), so that a lucky small difference does not pass for a sure one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.formulas import CIEDE2000, Formula

__all__ = ["LEVEL", "difference_intervals", "joint_covariance"]

FloatArray = NDArray[np.float64]

LEVEL: Final = 0.95
"""Share of true differences the interval is made to hold."""
_TAIL: Final = (1.0 - LEVEL) / 2.0
_NORMAL: Final = NormalDist()
_SCORE: Final = _NORMAL.inv_cdf(_TAIL)
_LEAST_POWER: Final = 0.05
_HALVINGS: Final = 40
_FARTHEST: Final = 8.0
"""How far above the measured difference its true one is looked for, in standard deviations of all noise together."""


def joint_covariance(one: LabEstimate, two: LabEstimate, extra: ArrayLike | None = None) -> FloatArray:
    """Covariance of two colours together, effects they share counted once.

    Parameters
    ----------
    one, two
        The two colours.
    extra
        A further covariance of their difference, shape (3, 3), CIELAB units squared.

    Returns
    -------
    ndarray, shape (6, 6)
        Of (L1, a1, b1, L2, a2, b2).
    """
    joint = np.zeros((6, 6))
    joint[:3, :3], joint[3:, 3:] = one.own, two.own
    if extra is not None:
        joint[3:, 3:] += np.asarray(extra, dtype=np.float64)
    moved: dict[tuple[str, str], FloatArray] = {}
    for first, estimate in ((0, one), (3, two)):
        for effect in estimate.shared:
            vector = moved.setdefault((effect.name, effect.scope), np.zeros(6))
            vector[first : first + 3] += effect.vector
    for vector in moved.values():
        joint += np.outer(vector, vector)
    return joint


@dataclass(frozen=True, slots=True)
class _Noise:
    """What errors do to the square of a difference: cumulants as functions of the true difference. Shapes (n,)."""

    trace: FloatArray
    """Sum of the variances along CIEDE2000's three local axes."""
    trace2: FloatArray
    """Sum of their squares."""
    trace3: FloatArray
    """Sum of their cubes."""
    along: FloatArray
    """Variance along the difference itself."""
    along2: FloatArray
    """The same of the squared covariance."""

    def normal_score(self, square: FloatArray, true: FloatArray) -> FloatArray:
        """Where `square` stands among the squares that a `true` difference may be measured as, as a normal score."""
        k1 = true**2 + self.trace
        k2 = 2.0 * self.trace2 + 4.0 * true**2 * self.along
        k3 = 8.0 * self.trace3 + 24.0 * true**2 * self.along2
        # very unlike axes would take the power below 0, where the formula no longer holds
        power = np.maximum(1.0 - k1 * k3 / (3.0 * k2 * k2), _LEAST_POWER)
        wide = k2 / (k1 * k1)
        centre = 1.0 + wide * power * (power - 1.0) / 2.0
        result: FloatArray = ((square / k1) ** power - centre) / (np.sqrt(wide) * power)
        return result


def _noise(one: FloatArray, two: FloatArray, joint: FloatArray, measured: FloatArray, formula: Formula) -> _Noise:
    """Gather the noise of pairs; `one` and `two` shape (n, 3), `joint` shape (n, 6, 6), `measured` shape (n,)."""
    of_difference = joint[:, :3, :3] + joint[:, 3:, 3:] - joint[:, :3, 3:] - joint[:, 3:, :3]
    values, axes = np.linalg.eigh(formula.metric((one + two) / 2.0))
    whiten = np.sqrt(values)[:, :, None] * np.swapaxes(axes, 1, 2)
    spread = whiten @ of_difference @ np.swapaxes(whiten, 1, 2)
    # never exactly none, so that no division below fails: a ten-thousandth of a unit
    spread = spread + 1e-8 * np.eye(3)
    spread2 = spread @ spread
    direction = np.einsum("nij,nj->ni", whiten, two - one)
    direction /= np.maximum(np.linalg.norm(direction, axis=1), 1e-12)[:, None]
    trace = np.trace(spread, axis1=1, axis2=2)
    slopes = np.roll(formula.slopes(two, one), 3, axis=-1)
    along = np.maximum(np.einsum("ni,nij,nj->n", slopes, joint, slopes), 1e-8)
    quadratic = np.einsum("ni,nij,nj->n", direction, spread, direction)
    along2 = np.einsum("ni,nij,nj->n", direction, spread2, direction) * along / np.maximum(quadratic, 1e-8)
    # a difference lost in noise has no direction of its own: lean on the widest axis then
    widest = np.linalg.eigvalsh(spread)[:, -1]
    sure = measured**2 / (measured**2 + trace)
    return _Noise(
        trace=trace,
        trace2=np.trace(spread2, axis1=1, axis2=2),
        trace3=np.trace(spread2 @ spread, axis1=1, axis2=2),
        along=sure * along + (1.0 - sure) * widest,
        along2=sure * along2 + (1.0 - sure) * widest**2,
    )


def _last_true(holds: Callable[[FloatArray], NDArray[np.bool_]], top: FloatArray) -> FloatArray:
    """Largest value up to `top` for which `holds`, which is true below and false above it (0 if nowhere true)."""
    low, high = np.zeros_like(top), top
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        yes = holds(middle)
        low, high = np.where(yes, middle, low), np.where(yes, high, middle)
    return low


def _tail_of_ratio(at_zero: FloatArray) -> FloatArray:
    """Normal score whose probability is a tail's share of the probability of `at_zero`, the score of no difference."""
    probabilities = (_NORMAL.cdf(max(score, -_FARTHEST)) for score in at_zero.tolist())
    return np.array([_NORMAL.inv_cdf(_TAIL * p) for p in probabilities])


def difference_intervals(
    lab1: ArrayLike, lab2: ArrayLike, joint: ArrayLike, formula: Formula = CIEDE2000
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Differences of pairs, CIEDE2000 unless told, with their 95 % intervals.

    Parameters
    ----------
    lab1, lab2
        Measured colours, shapes (..., 3), broadcast against each other.
    joint
        Covariance of each pair together, shape (..., 6, 6), see `joint_covariance`.
    formula
        The colour-difference formula; for one that is not symmetric `lab2` is the standard.

    Returns
    -------
    value, low, high : ndarray, shape (...)
        The difference of the two measured colours (lifted by noise as it is) and the interval of the true one;
        ``0 <= low <= value <= high``.
    """
    one, two = np.broadcast_arrays(np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64))
    shape = one.shape[:-1]
    one, two = one.reshape(-1, 3), two.reshape(-1, 3)
    together = np.broadcast_to(np.asarray(joint, dtype=np.float64), (*shape, 6, 6)).reshape(-1, 6, 6)
    value = formula.difference(two, one)
    noise = _noise(one, two, together, value, formula)
    square = value**2
    low = _last_true(lambda true: noise.normal_score(square, true) > -_SCORE, value)
    lowest = _tail_of_ratio(noise.normal_score(square, np.zeros_like(value)))
    top = value + _FARTHEST * np.sqrt(noise.trace)
    high = np.maximum(_last_true(lambda true: noise.normal_score(square, true) > lowest, top), value)
    return value.reshape(shape), np.minimum(low, value).reshape(shape), high.reshape(shape)
