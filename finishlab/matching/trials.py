"""Trials at home: what a phone, a print and a room achieve, held against the intervals that are stated.

Three trials have a truth that everybody has. One board that shows at both edges of the strip differs from itself by
nothing. Board and floor changed over differ as before. One board photographed again, turned, in other light, is the
same board. Each gives one or more differences whose true value is zero, with the covariance that the stated errors give
them; from trial to trial these are independent.

What cancels in such a difference is not tried by it: an error of the print's tone or of the camera's boost scales all
differences alike and leaves zero at zero. So a trial speaks of the light, the fit of the photo and the grain, and it is
their variance that is widened or trusted (`TRIED`); print and camera keep the size that is stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.formulas import CIEDE2000
from finishlab.colorimetry.sources import Source
from finishlab.matching.components import USUAL_PHOTO

__all__ = ["LEAST", "MOST", "PRIOR", "TRIED", "Outcome", "Side", "Trust", "judge_trial", "trust_of"]

FloatArray = NDArray[np.float64]

TRIED: Final[tuple[Source, ...]] = ("light", "grain")
"""Sources of error that trials speak of."""
PRIOR: Final = 20.0
"""Degrees of freedom that the stated intervals count as: about ten trials."""
LEAST: Final = 0.75
"""Smallest factor: trials at home never make those errors smaller than this part of what is stated."""
MOST: Final = 4.0
"""Largest factor; beyond it something else is wrong than the size of the errors."""
_FAR: Final = 4.0
"""How many times what is expected a trial may be off before another cause is likelier, such as another board."""
_ENDS: Final = tuple(NormalDist().inv_cdf(p) for p in (0.025, 0.975))


@dataclass(frozen=True, slots=True)
class Side:
    """One colour of a trial."""

    photo: str
    """What tells photos apart."""
    estimate: LabEstimate


@dataclass(frozen=True, slots=True)
class Outcome:
    """How far a trial came out from its truth, and how far it was to be expected."""

    seen: float
    """CIEDE2000; root mean square of the trial's differences."""
    expected: float
    """What the stated errors make of it, root mean square."""
    freedom: float
    """Degrees of freedom it counts as: of each difference that of the scaled chi-square with its mean and variance."""

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
    factor: float = 1.0
    """Factor of the errors that were tried (`TRIED`); 1 as they are stated."""

    @property
    def variances(self) -> Mapping[Source, float]:
        """Factor of the variance of each source that was tried; empty where nothing changes."""
        return {} if self.factor == 1.0 else dict.fromkeys(TRIED, self.factor**2)


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
    weights = _weights(kind, len(sides))
    labs = np.array([side.estimate.lab for side in sides])
    metric = CIEDE2000.metric(labs.mean(axis=0))
    squares, means, freedoms = [], [], []
    for each in weights:
        spread = metric @ _covariance(each, sides)
        off = each @ labs
        mean = float(np.trace(spread))
        squares.append(float(off @ metric @ off))
        means.append(mean)
        freedoms.append(mean**2 / float(np.sum(spread * spread.T)))
    freedom = sum(freedoms)
    # each difference counts by its degrees of freedom, as in their sum
    ratio2 = sum(f * square / mean for f, square, mean in zip(freedoms, squares, means, strict=True)) / freedom
    expected = math.sqrt(sum(means) / len(means))
    return Outcome(expected * math.sqrt(ratio2), expected, freedom)


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


def _covariance(weights: FloatArray, sides: Sequence[Side]) -> FloatArray:
    """Covariance of a weighted sum of colours, what they share counted once; photos scatter as usual."""
    total = np.zeros((3, 3))
    moved: dict[tuple[str, str], FloatArray] = {}
    photos: dict[str, float] = {}
    for weight, side in zip(weights, sides, strict=True):
        total += weight**2 * np.asarray(side.estimate.own)
        photos[side.photo] = photos.get(side.photo, 0.0) + float(weight)
        for effect in side.estimate.shared:
            vector = moved.setdefault((effect.name, effect.scope), np.zeros(3))
            vector += weight * np.asarray(effect.vector)
    for vector in moved.values():
        total += np.outer(vector, vector)
    # never exactly none, so that no division fails: a hundredth of a unit
    scatter = sum(weight**2 for weight in photos.values())
    return np.asarray(total + scatter * np.diag(np.square(USUAL_PHOTO)) + 1e-4 * np.eye(3))


def trust_of(outcomes: Iterable[Outcome]) -> Trust:
    """Return what trials say of the stated errors.

    Notes
    -----
    The mean of an inverse gamma posterior of the variance's scale (Gelman et al., Bayesian Data Analysis, 3rd ed.,
    2013, section 2.6), its prior worth `PRIOR` degrees of freedom at 1. Three things are this tool's own. The prior
    gives way where trials contradict it on the side of errors that are too small: by how many standard deviations z
    of a chi-square all but the worst of them do, as 1 / (1 + z^2), so that no one trial can do it. One trial counts
    as off by four times at most. And the variance is widened for how little is known of it. Figures:
    docs/decisions/0021-trials-at-home.md.
    """
    found = sorted(outcomes, key=lambda each: each.ratio)
    freedom = sum(each.freedom for each in found)
    if not freedom:
        return Trust()
    squares = [each.freedom * min(each.ratio, _FAR) ** 2 for each in found]
    total, others = sum(squares), freedom - found[-1].freedom
    surprise = max(0.0, (sum(squares[:-1]) - others) / math.sqrt(2.0 * others)) if others else 0.0
    prior = PRIOR / (1.0 + surprise**2)
    weight = prior + freedom
    variance = (prior + total) / weight * (1.0 + 2.0 * freedom / weight**2)
    low, high = (math.sqrt(total / _chi_square(freedom, end)) for end in reversed(_ENDS))
    factor = float(np.clip(math.sqrt(variance), LEAST, MOST))
    return Trust(len(found), math.sqrt(total / freedom), low, high, factor)


def _chi_square(freedom: float, score: float) -> float:
    """Quantile of chi-square at a normal score (E. B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684)."""
    part = 2.0 / (9.0 * freedom)
    return float(freedom * max(1.0 - part + score * math.sqrt(part), 0.05) ** 3)
