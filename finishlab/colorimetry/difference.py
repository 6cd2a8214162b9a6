"""Differences between two colours: CIEDE2000 with its 95 % interval, signed differences, and their words.

A difference cannot be negative, so errors lift small ones: two equal colours measured with errors always differ.
Quantiles of simulated differences around the measured ones repeat that lift and miss the truth. And errors are not
alike in all directions: a difference in lightness may be sure where one in yellow of the same size is not. So the
interval is read off the region of (L*, a*, b*) that the covariance allows: it holds every difference that some colour
inside the region has.

Seen in the local axes of CIEDE2000 the colours at one difference are a sphere. The colour on it that errors make the
most likely gives the likelihood of that difference (the profile likelihood: D. R. Cox, D. V. Hinkley, Theoretical
Statistics, 1974). Where the sphere is flat beside the errors, 1.96 standard deviations are 95 %. The smaller it is
beside them, the more directions count at once, up to all three at no difference: the limit follows its curvature.
Thousands of pairs cost no simulation, and the same photos always give the same interval.

Sources: ISO/CIE 11664-6:2022 (CIEDE2000); ASTM D2244 and CIE 015:2018 (signed differences).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.delta_e import CIEDE2000, Formula, delta_e_00
from finishlab.colorimetry.estimate import LabEstimate, moves_of
from finishlab.record import enumerated

FloatArray = NDArray[np.float64]

LEVEL: Final = 0.95
"""Share of true differences the interval is made to hold."""
_FLAT: Final = 1.95996
"""Limit of the distance from the region's middle where one direction counts: root of chi-square's 95 % point, 1 degree
of freedom."""
_POINT: Final = 2.79548
"""The same where three count, at no difference."""
_CURVED: Final = 11.0
"""Square of the curvature, in standard deviations, at which the limit is half-way between the two. It gives the exact
limits of errors alike on all axes within 0.05: 2.40, 2.20 and 2.05 at 0.5, 1 and 2 standard deviations."""
_STEPS: Final = 36
_FARTHEST: Final = 40.0
"""Natural logarithm of the largest multiplier: beyond it nothing moves any more."""
_NO_ERROR: Final = 1e-8
"""Added to variances so that colours known exactly can be divided by: a ten-thousandth of a unit."""


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
    for moves in moves_of((one, two)).values():
        joint += np.outer(moves, moves)
    return joint


class _Spheres:
    """The most likely colours at each difference, seen in CIEDE2000's local axes turned to those of the errors.

    By Lagrange's method they are ``x / (1 + h variance)`` axis by axis for a multiplier h, the same for all axes of a
    pair: 0 at the measured colour, above it towards no difference.

    Parameters
    ----------
    local
        Measured difference in local axes, shape (n, 3).
    covariance
        Its errors there, shape (n, 3, 3).
    """

    def __init__(self, local: FloatArray, covariance: FloatArray) -> None:
        variances, axes = np.linalg.eigh(covariance)
        self._variances: FloatArray = np.maximum(variances, _NO_ERROR)
        self._relative = self._variances / self._variances[:, -1:]
        self._squares = np.einsum("nij,ni->nj", axes, local) ** 2
        # where the widest axis shows nothing at all, the sphere still grows along it
        self._squares[:, -1] = np.maximum(self._squares[:, -1], 1e-10 * self._variances[:, -1])

    def end(self, towards: float) -> FloatArray:
        """Return the last difference inside the region, from the measured one on; by halving the multiplier's range.

        `towards` is the logarithm of ``1 + h`` times the largest variance where the search ends: above 0 for the lower
        end of the interval, below for the upper one.
        """
        inside, outside = np.zeros(len(self._squares)), np.full(len(self._squares), towards)
        for _ in range(_STEPS):
            middle = (inside + outside) / 2.0
            held = self._at(middle)[1]
            inside, outside = np.where(held, middle, inside), np.where(held, outside, middle)
        return self._at(inside)[0]

    def _at(self, log: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Return the difference at a multiplier, and whether its most likely colour lies in the region."""
        shrink = np.exp(log)[:, None]
        scale = 1.0 + self._relative * (shrink - 1.0)
        scale[:, -1] = shrink[:, 0]  # exactly, where the sum would lose it
        squares = self._squares / scale**2
        of_normal = self._variances * squares
        along = of_normal.sum(axis=1)
        multiplier = (shrink[:, 0] - 1.0) / self._variances[:, -1]
        # sum of the sphere's principal curvatures, where errors count as one standard deviation on each axis
        across = self._variances.sum(axis=1) - (self._variances * of_normal).sum(axis=1) / along
        curvature2 = across**2 / along
        limit = _FLAT + (_POINT - _FLAT) * curvature2 / (curvature2 + _CURVED)
        return np.sqrt(squares.sum(axis=1)), multiplier**2 * along <= limit**2


def _local(
    one: FloatArray, two: FloatArray, joint: FloatArray, measured: FloatArray, formula: Formula
) -> tuple[FloatArray, FloatArray]:
    """Return the measured difference and its covariance in the formula's local axes, shapes (n, 3) and (n, 3, 3).

    Across the difference the errors are weighed by the metric between the colours; along it by the formula's true
    slopes, which hold for large differences too and tell what moves both colours together.
    """
    values, axes = np.linalg.eigh(formula.metric((one + two) / 2.0))
    whiten = np.sqrt(values)[:, :, None] * np.swapaxes(axes, 1, 2)
    covariance = whiten @ of_difference(joint) @ np.swapaxes(whiten, 1, 2)
    direction = np.einsum("nij,nj->ni", whiten, two - one)
    direction /= np.maximum(np.linalg.norm(direction, axis=1), 1e-12)[:, None]
    slopes = np.roll(formula.slopes(two, one), 3, axis=-1)
    along = np.einsum("ni,nij,nj->n", slopes, joint, slopes) + _NO_ERROR
    quadratic = np.einsum("ni,nij,nj->n", direction, covariance, direction) + _NO_ERROR
    # a difference lost in noise has no direction of its own, and no slope there
    sure = measured**2 / (measured**2 + np.trace(covariance, axis1=1, axis2=2) + _NO_ERROR)
    stretch = (np.maximum(along / quadratic, 1e-12) ** (sure / 2.0) - 1.0)[:, None, None]
    stretched = np.eye(3) + stretch * direction[:, :, None] * direction[:, None, :]
    return direction * measured[:, None], stretched @ covariance @ stretched


def of_difference(joint: FloatArray) -> FloatArray:
    """Covariance of the difference of two colours, shape (..., 3, 3), of that of both together, shape (..., 6, 6)."""
    return np.asarray(joint[..., :3, :3] + joint[..., 3:, 3:] - joint[..., :3, 3:] - joint[..., 3:, :3])


def _may_be_none(difference: FloatArray, joint: FloatArray) -> NDArray[np.bool_]:
    """Return whether the 95 % region of (L*, a*, b*) about a measured difference, shape (n, 3), holds no difference."""
    covariance = of_difference(joint) + _NO_ERROR * np.eye(3)
    distance2 = np.einsum("ni,ni->n", difference, np.linalg.solve(covariance, difference[:, :, None])[:, :, 0])
    return np.asarray(distance2 <= _POINT**2)


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
        ``0 <= low <= value <= high``; `low` is 0 exactly where the 95 % region of (L*, a*, b*) holds no difference.
    """
    one, two = np.broadcast_arrays(np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64))
    shape = one.shape[:-1]
    one, two = one.reshape(-1, 3), two.reshape(-1, 3)
    together = np.broadcast_to(np.asarray(joint, dtype=np.float64), (*shape, 6, 6)).reshape(-1, 6, 6)
    value = formula.difference(two, one)
    spheres = _Spheres(*_local(one, two, together, value, formula))
    low = np.where(_may_be_none(two - one, together), 0.0, np.minimum(spheres.end(_FARTHEST), value))
    high = np.maximum(spheres.end(-_FARTHEST), value)
    return value.reshape(shape), low.reshape(shape), high.reshape(shape)


BANDS: Final[tuple[tuple[float, str], ...]] = (
    (0.8, "hardly any difference"),
    (1.8, "very close"),
    (3.5, "close"),
    (6.0, "clearly different"),
    (math.inf, "another colour"),
)
"""Upper end (CIEDE2000) and words of each band. The bands are this tool's own: the first two ends are set at the two
thresholds of Paravina et al. 2015 (half of observers perceive, accept it; tooth colours), the others by judgement. No
tolerance for stained wood is published."""

_DEGREES: Final[tuple[tuple[float, str], ...]] = ((1.5, "a touch "), (3.0, ""), (math.inf, "much "))
"""Upper end (CIEDE2000 of that direction alone) and the word before it; the tool's own."""
_NOTICED: Final = 0.5
"""Below this a direction is not named."""

_WORDS: Final = (("darker", "lighter"), ("greener", "pinker"), ("bluer", "more golden"))
_WOOD: Final = (58.0, 8.0, 24.0)
"""The middle of wood colours."""


@dataclass(frozen=True, slots=True)
class DeltaE:
    """A CIEDE2000 difference with its 95 % interval.

    Raises
    ------
    ValueError
        If a figure is negative or not finite, or the value lies outside its interval.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.value <= self.high < math.inf:
            raise ValueError("a difference must be finite, not negative and inside its interval")

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form."""
        return {"value": self.value, "low": self.low, "high": self.high}


@dataclass(frozen=True, slots=True)
class SignedDifference:
    """Board minus floor in each direction of CIELAB (ASTM D2244), CIELAB units, not weighted as CIEDE2000 weights them.

    Raises
    ------
    ValueError
        If a figure is not finite.
    """

    dL: float
    """Above 0: the board is lighter."""
    da: float
    """Above 0: the board is redder (the trade says pinker)."""
    db: float
    """Above 0: the board is yellower (the trade says more golden)."""
    dC: float
    """Above 0: the board is more colourful."""
    dH: float
    """Metric hue difference. Above 0: the board's hue angle is larger, which among wood colours is more golden."""
    middle: tuple[float, float, float] = _WOOD
    """The colour half-way between the two, at which the directions are weighed."""

    def __post_init__(self) -> None:
        if not math.isfinite(self.dL + self.da + self.db + self.dC + self.dH):
            raise ValueError("a signed difference must be finite")

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form."""
        return {"dL": self.dL, "da": self.da, "db": self.db, "dC": self.dC, "dH": self.dH}

    def weighed(self) -> tuple[float, float, float]:
        """Return the differences in L*, a* and b* alone as CIEDE2000 weighs them at this colour, with their signs."""
        middle, steps = np.array(self.middle), np.diag((self.dL, self.da, self.db))
        sizes = delta_e_00(middle - steps / 2.0, middle + steps / 2.0).tolist()
        signed = (math.copysign(s, d) for s, d in zip(sizes, (self.dL, self.da, self.db), strict=True))
        return next(signed), next(signed), next(signed)


def signed_difference(lab_board: Iterable[float], lab_floor: Iterable[float]) -> SignedDifference:
    """Board minus floor, direction by direction (ASTM D2244; CIE 015:2018).

    Parameters
    ----------
    lab_board, lab_floor
        CIELAB D65 2 degrees, shape (3,).
    """
    l1, a1, b1 = map(float, lab_board)
    l0, a0, b0 = map(float, lab_floor)
    c1, c0 = math.hypot(a1, b1), math.hypot(a0, b0)
    turn = math.atan2(a0 * b1 - b0 * a1, a0 * a1 + b0 * b1)
    hue = 2.0 * math.sqrt(c1 * c0) * math.sin(turn / 2.0)
    middle = ((l1 + l0) / 2.0, (a1 + a0) / 2.0, (b1 + b0) / 2.0)
    return SignedDifference(l1 - l0, a1 - a0, b1 - b0, c1 - c0, hue, middle)


def delta_e_interval(one: LabEstimate, two: LabEstimate, extra_covariance: ArrayLike | None = None) -> DeltaE:
    """CIEDE2000 between two uncertain colours with its 95 % interval.

    Effects with the same name and scope move both colours together and largely cancel.

    Parameters
    ----------
    one, two
        The two colours, in either order.
    extra_covariance
        A further covariance of their difference, shape (3, 3), CIELAB units squared.

    Returns
    -------
    DeltaE
        `value` is the difference of the two means, not corrected for the lift by noise; the interval is (see
        `finishlab.colorimetry.difference`).
    """
    from finishlab.colorimetry.difference import difference_intervals, joint_covariance

    joint = joint_covariance(one, two, extra_covariance)
    value, low, high = difference_intervals(one.lab, two.lab, joint)
    return DeltaE(float(value), float(low), float(high))


def band(delta_e00: float) -> str:
    """Return the words of the band a CIEDE2000 difference falls in (see `BANDS`)."""
    return next(words for end, words in BANDS if delta_e00 < end)


def describe(difference: SignedDifference, delta_e00: DeltaE | None = None, reference: str = "the floor") -> str:
    """Say a signed difference in lay words, the direction first that CIEDE2000 finds the largest at this colour.

    Parameters
    ----------
    difference
        Board minus `reference`.
    delta_e00
        The CIEDE2000 of the same pair; puts its band first, and says so when there may be no difference at all.
    reference
        What the board is compared with, as it shall stand in the sentence.

    Returns
    -------
    str
        A phrase to stand in a sentence or a table, e.g. ``"close, a touch darker and pinker than the floor"``.
    """
    sizes = zip(difference.weighed(), _WORDS, strict=True)
    named = sorted(((size, words) for size, words in sizes if abs(size) >= _NOTICED), key=lambda each: -abs(each[0]))
    groups: dict[str, list[str]] = {}
    for size, words in named:
        degree = next(word for end, word in _DEGREES if abs(size) < end)
        groups.setdefault(degree, []).append(words[size > 0])
    told = f"{_joined(groups)} than {reference}" if groups else ""
    if delta_e00 is not None:
        unsure = delta_e00.low == 0.0
        how_far = band(delta_e00.value)
        if unsure and delta_e00.value >= BANDS[1][0]:
            how_far = f"perhaps {how_far}"
        told = f"{how_far}, {told}" if told else how_far
        if unsure:
            told += "; there may also be no difference" if groups else "; there may be none at all"
    return told or f"much like {reference}"


def _joined(groups: dict[str, list[str]]) -> str:
    """Join words with commas and one 'and', each in its degree; no word may seem to borrow another's."""
    spoken: list[str] = []
    for degree, words in groups.items():
        # one degree for all is said once; after another degree a plain word is set off
        before = degree or ("also " if spoken else "")
        again = degree if len(groups) > 1 else ""
        spoken += [before + words[0], *(again + word for word in words[1:])]
    return enumerated(spoken)
