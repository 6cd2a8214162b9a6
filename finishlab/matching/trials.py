"""Trials at home: what a phone, a print and a room achieve, held against the intervals that are stated.

Three trials have a truth that everybody has. One board that shows at both edges of the strip differs from itself by
nothing. Board and floor changed over differ as before. One board photographed again, turned, in other light, is the
same board. Each gives one or more differences whose true value is zero, with the covariance that the stated errors give
them; from trial to trial these are independent.

What cancels in such a difference is not tried by it: an error of the print's tone or of the camera's boost scales all
differences alike and leaves zero at zero. So a trial speaks of the light, the fit of the photo and the grain, and it is
their errors that are widened or trusted (`TRIED`), those of lightness by themselves, since a room's light falls on L*
first of all; print and camera keep the size that is stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import CIEDE2000
from finishlab.colorimetry.estimate import WOOD_ALONE, Factors, LabEstimate, Source, moves_of
from finishlab.matching.scatter import USUAL_PHOTO

FloatArray = NDArray[np.float64]

TRIED: Final[tuple[Source, ...]] = ("light", "grain")
"""Sources of error that trials speak of."""
PRIOR: Final = 10.0
"""Trials that what is stated counts as."""
LEAST: Final = 0.75
"""Smallest factor: trials at home never make those errors smaller than this part of what is stated."""
MOST: Final = 4.0
"""Largest factor; beyond it something else is wrong than the size of the errors."""
_FAR: Final = 4.0
"""How many times what is expected a trial may be off before another cause is likelier, such as another board."""
_LIGHTNESS: Final = np.array([1.0, 0.0, 0.0])
_ENDS: Final = tuple(NormalDist().inv_cdf(p) for p in (0.025, 0.975))


@dataclass(frozen=True, slots=True)
class Side:
    """One colour of a trial."""

    photo: str
    """What tells photos apart."""
    estimate: LabEstimate


@dataclass(frozen=True, slots=True)
class Part:
    """What differences that should be nothing say of the size of their errors."""

    square: float
    """Sum of squares, each over its expectation and times its degrees of freedom: a chi-square where all is stated."""
    freedom: float
    """Its degrees of freedom."""

    @property
    def ratio(self) -> float:
        """Seen over expected, root mean square."""
        return math.sqrt(self.square / self.freedom)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How far a trial came out from its truth, and how far it was to be expected."""

    seen: float
    """CIEDE2000; root mean square of the trial's differences."""
    expected: float
    """What the stated errors make of it, root mean square."""
    freedom: float
    """Degrees of freedom it counts as: of each difference that of the scaled chi-square with its mean and variance."""
    lightness: Part
    """Of lightness alone."""
    colour: Part
    """Of the other two directions."""

    @property
    def ratio(self) -> float:
        """Seen over expected."""
        return self.seen / self.expected

    @property
    def far_off(self) -> bool:
        """Whether another cause is likelier than errors that are larger than stated."""
        return self.ratio > _FAR


@dataclass(frozen=True, slots=True)
class Trust:
    """What all trials say of the stated errors."""

    trials: int = 0
    ratio: float | None = None
    """Seen over expected, root mean square of all trials; None without any."""
    low: float | None = None
    """Where the true ratio lies with 95 %, by these trials alone."""
    high: float | None = None
    lightness: float = 1.0
    """Factor of the errors of lightness that were tried (`TRIED`); 1 as they are stated."""
    colour: float = 1.0
    """The same of a* and b*."""

    @property
    def factors(self) -> Factors:
        """By how much to multiply the errors that were tried; empty where nothing changes."""
        each = (self.lightness, self.colour, self.colour)
        return {} if each == (1.0, 1.0, 1.0) else dict.fromkeys(TRIED, each)


def judge_trial(kind: str, sides: Sequence[Side]) -> Outcome:
    """Hold one trial against its truth.

    Parameters
    ----------
    kind
        ``"same"``: the colours at board edge and floor edge of one photo. ``"swap"``: board edge and floor edge of the
        first photo, then of the second. ``"repeat"``: one board in two or more photos.
    sides
        The colours in that order.

    Raises
    ------
    ValueError
        If there is another number of colours, or of another kind.
    """
    labs = np.array([side.estimate.lab for side in sides])
    weights = _weights(kind, len(sides))
    surfaces = (0, 1, 1, 0) if kind == "swap" else (0,) * len(sides)
    offs, covariances = weights @ labs, [_covariance(each, sides, surfaces) for each in weights]
    metric = CIEDE2000.metric(labs.mean(axis=0))
    whole, means = _part(metric, offs, covariances)
    lightness, colour = (
        _part(metric * np.outer(on, on), offs, covariances)[0] for on in (_LIGHTNESS, 1.0 - _LIGHTNESS)
    )
    expected = math.sqrt(sum(means) / len(means))
    return Outcome(expected * whole.ratio, expected, whole.freedom, lightness, colour)


def _part(metric: FloatArray, offs: FloatArray, covariances: Sequence[FloatArray]) -> tuple[Part, list[float]]:
    """Return what differences say of their errors by a metric, and the mean square that each is to have.

    Each counts by its degrees of freedom (Satterthwaite, Biometrics Bull. 2 (1946) 110), as in the sum of chi-squares.
    """
    square, freedom, means = 0.0, 0.0, []
    for off, covariance in zip(offs, covariances, strict=True):
        spread = metric @ covariance
        mean = float(np.trace(spread))
        each = mean**2 / float(np.sum(spread * spread.T))
        square += each * float(off @ metric @ off) / mean
        freedom += each
        means.append(mean)
    return Part(square, freedom), means


def _weights(kind: str, count: int) -> FloatArray:
    """Return what is added and taken off to get differences that are truly zero and independent, shape (m, count)."""
    if kind == "same" and count == 2:
        return np.array([[1.0, -1.0]])
    if kind == "swap" and count == 4:
        return np.array([[1.0, -1.0, 1.0, -1.0]])
    if kind == "repeat" and count >= 2:
        rows = []
        for k in range(1, count):
            row = np.zeros(count)
            row[:k], row[k] = -1.0 / k, 1.0
            rows.append(row * math.sqrt(k / (k + 1)) * math.sqrt(2.0))  # each scatters as a plain difference of two
        return np.array(rows)
    raise ValueError(f"a trial “{kind}” does not have {count} colours")


def _covariance(weights: FloatArray, sides: Sequence[Side], surfaces: Sequence[int]) -> FloatArray:
    """Covariance of a weighted sum of colours, what they share counted once; photos scatter as usual."""
    total = np.zeros((3, 3))
    photos: dict[str, float] = {}
    woods: dict[tuple[int, str], float] = {}
    for weight, side, surface in zip(weights, sides, surfaces, strict=True):
        total += weight**2 * side.estimate.own_of_photo
        photos[side.photo] = photos.get(side.photo, 0.0) + float(weight)
        wood = surface, side.estimate.camera
        woods[wood] = woods.get(wood, 0.0) + float(weight) * side.estimate.wood
    for moves in moves_of([side.estimate for side in sides]).values():
        vector = (weights[:, None] * moves).sum(axis=0)
        total += np.outer(vector, vector)
    # never exactly none, so that no division fails: a hundredth of a unit
    scatter = sum(weight**2 for weight in photos.values())
    alone = sum(weight**2 for weight in woods.values())
    return np.asarray(total + scatter * np.diag(np.square(USUAL_PHOTO)) + alone * WOOD_ALONE + 1e-4 * np.eye(3))


def trust_of(outcomes: Iterable[Outcome]) -> Trust:
    """Return what trials say of the stated errors, of lightness and of the other two directions."""
    found = list(outcomes)
    if not found:
        return Trust()
    freedom = sum(each.freedom for each in found)
    total = sum(each.freedom * each.ratio**2 for each in found)
    low, high = (math.sqrt(total / _chi_square(freedom, end)) for end in reversed(_ENDS))
    return Trust(
        len(found),
        math.sqrt(total / freedom),
        low,
        high,
        _factor([each.lightness for each in found]),
        _factor([each.colour for each in found]),
    )


def _factor(parts: Sequence[Part]) -> float:
    """Return by how much to multiply stated errors.

    The mean of an inverse gamma posterior of their variance's scale (Gelman et al., Bayesian Data Analysis, 3rd ed.,
    2013, section 2.6), its prior worth `PRIOR` trials at 1. Three things are this tool's own. The prior gives way where
    trials contradict it on the side of errors that are too small: by how many standard deviations z of a chi-square all
    but the worst of them do, as 1 / (1 + z^2), so that no one trial can do it. One trial counts as off by four times at
    most. And the variance is widened for how little is known of it. Figures: docs/decisions/0021-trials-at-home.md.
    """
    ordered = sorted(parts, key=lambda part: part.ratio)
    squares = [min(part.square, _FAR**2 * part.freedom) for part in ordered]
    total, freedom = sum(squares), sum(part.freedom for part in ordered)
    others = freedom - ordered[-1].freedom
    surprise = max(0.0, (total - squares[-1] - others) / math.sqrt(2.0 * others)) if len(ordered) > 1 else 0.0
    prior = PRIOR * freedom / len(ordered) / (1.0 + surprise**2)
    weight = prior + freedom
    variance = (prior + total) / weight * (1.0 + 2.0 * freedom / weight**2)
    return float(np.clip(math.sqrt(variance), LEAST, MOST))


def _chi_square(freedom: float, score: float) -> float:
    """Quantile of chi-square at a normal score (E. B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684)."""
    part = 2.0 / (9.0 * freedom)
    return float(freedom * max(1.0 - part + score * math.sqrt(part), 0.05) ** 3)
