"""The floor as the pool of its spots: its mean colour, how sure that is, and how much the floor varies in itself."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.estimate import WOOD_ALONE, LabEstimate, SharedEffect
from finishlab.errors import LogbookError
from finishlab.matching.components import USUAL_PLANK
from finishlab.quality import Doubt, doubt

__all__ = ["FEW_SPOTS", "SPREAD_LIMIT", "FloorPool", "FloorSpot", "pool_estimates", "pool_floor"]

FEW_SPOTS: Final = 5
"""Fewer spots than this are called few (common practice, no source)."""
SPREAD_LIMIT: Final = 5.0
"""Scatter of the spots (CIEDE2000) above which one of them is hardly the same floor; this tool's own."""
_USUAL_WEIGHT: Final = 3.0
"""Measurements that the usual shape of a scatter counts as, as in `finishlab.matching.components`."""


@dataclass(frozen=True, slots=True)
class FloorSpot:
    """One place of the floor with everything measured there.

    Raises
    ------
    ValueError
        If nothing was measured there.
    """

    name: str
    estimates: tuple[LabEstimate, ...]
    doubts: tuple[Doubt, ...] = ()

    def __post_init__(self) -> None:
        if not self.estimates:
            raise ValueError("a floor spot needs at least one measurement")


@dataclass(frozen=True, slots=True)
class FloorPool:
    """The floor's colour from all its spots.

    Raises
    ------
    ValueError
        If there is no spot, or the spread does not fit the number of spots.
    """

    estimate: LabEstimate
    """Mean of the spots, each spot counted once; its own covariance holds measuring error and spot-to-spot scatter."""
    spots: int
    spread_e00: float | None
    """Root mean square CIEDE2000 of the spots from their mean, with n - 1; measuring error included, so an upper bound
    of how much the floor varies from plank to plank. None for one spot, which cannot tell."""
    doubts: tuple[Doubt, ...] = ()
    planks: tuple[tuple[str, tuple[float, float, float]], ...] = ()
    """Name and CIELAB of each spot, its photos averaged."""
    photos: int = 0
    """Photos the floor is seen in, those beside boards included; 0 when not counted."""
    plank_covariance: tuple[tuple[float, float, float], ...] | None = None
    """How planks scatter in (L*, a*, b*), shape (3, 3), measuring errors taken out: the ellipse of one more plank.
    With few planks it leans on what floors usually do (`finishlab.matching.components`)."""
    colours: tuple[tuple[float, float, float], ...] | None = None
    """The floor's sampled colours: equal shares of all its planks, about its mean; None where none were kept."""
    colours_e00: float | None = None
    """How far its planks' colours lie from those of the floor as a whole, on average: the yardstick of
    `RankedBoard.colours_e00` (`finishlab.matching.transport`)."""

    def __post_init__(self) -> None:
        if self.spots < 1 or (self.spread_e00 is None) != (self.spots == 1):
            raise ValueError("a floor needs a spot, and a spread exactly when it has several")

    @property
    def lab(self) -> tuple[float, float, float]:
        """CIELAB of the mean."""
        return self.estimate.lab


def pool_floor(spots: Sequence[FloorSpot]) -> FloorPool:
    """Pool the floor's spots.

    Parameters
    ----------
    spots
        The spots, each with one measurement or more; repeats of one spot are averaged first.

    Raises
    ------
    LogbookError
        ``"no-floor"`` if there is no spot.
    """
    if not spots:
        raise LogbookError(
            "no-floor",
            "The floor has not been measured yet, so there is nothing to compare the boards with.",
            "Photograph the floor beside the strip and log it: finishlab floor add PHOTO...",
        )
    each = [pool_estimates(spot.estimates) for spot in spots]
    pooled = pool_estimates(each)
    spread = None
    if len(each) > 1:
        from_mean = delta_e_00([e.lab for e in each], pooled.lab)
        spread = math.sqrt(float(np.sum(from_mean**2)) / (len(each) - 1))
    doubts = dict.fromkeys((d.code, d.message) for spot in spots for d in spot.doubts)
    first = {(d.code, d.message): d for spot in reversed(spots) for d in reversed(spot.doubts)}
    own = [doubt("few-spots", spots=len(each))] if len(each) < FEW_SPOTS else []
    if spread is not None and spread > SPREAD_LIMIT:
        middle = np.median([e.lab for e in each], axis=0)
        farthest = spots[int(np.argmax(delta_e_00([e.lab for e in each], middle)))]
        own.append(doubt("spots-disagree", spread=round(spread, 1), spot=farthest.name))
    return FloorPool(pooled, len(each), spread, tuple(own) + tuple(first[key] for key in doubts))


def pool_estimates(estimates: Sequence[LabEstimate]) -> LabEstimate:
    """Average repeated measurements of one thing, or of several things that stand for one.

    The mean is of CIELAB values, each measurement counted once. Its own covariance is that of their own errors plus the
    scatter that neither own errors nor shared effects explain, widened for small numbers. Effects are kept shared: one
    that touches all moves the mean in full, one that touches a single photo by its share.

    Parameters
    ----------
    estimates
        At least one.

    Raises
    ------
    ValueError
        If there is none.

    Notes
    -----
    The mean of CIELAB differs from that of linear light by about s^2 / (L* + 16) in L*, with s the scatter of L*: for
    planks that scatter by 2, less than 0.1.
    """
    if not estimates:
        raise ValueError("nothing to average")
    n = len(estimates)
    if n == 1:
        return estimates[0]
    labs = np.array([e.lab for e in estimates])
    own = np.mean([e.own_of_photo for e in estimates], axis=0)
    moved: dict[tuple[str, str], NDArray[np.float64]] = {}
    for i, estimate in enumerate(estimates):
        for effect in estimate.shared:
            moved.setdefault((effect.name, effect.scope), np.zeros((n, 3)))[i] += effect.vector
    explained = own + sum((np.cov(vectors.T) for vectors in moved.values()), np.zeros((3, 3)))
    between = _in_all_directions(_positive_part(np.cov(labs.T) - explained), n)
    shared = [
        SharedEffect(name, scope, (float(v[0]), float(v[1]), float(v[2])))
        for (name, scope), v in ((key, vectors.mean(axis=0)) for key, vectors in moved.items())
    ]
    share = _wood_share(estimates)
    whole = (own + between * _small_number_factor(n)) / n + share * WOOD_ALONE
    return LabEstimate.build(labs.mean(axis=0), whole, shared, wood=share > 0.0)


def _wood_share(estimates: Sequence[LabEstimate]) -> float:
    """How much of the variance of a camera's error of one wood is left in the mean: with one camera all of it."""
    cameras = Counter(estimate.camera for estimate in estimates if estimate.wood)
    return sum(count**2 for count in cameras.values()) / len(estimates) ** 2


def _positive_part(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Nearest positive semi-definite matrix: negative eigenvalues, which only noise makes, are set to nothing."""
    values, axes = np.linalg.eigh(matrix)
    result: NDArray[np.float64] = (axes * np.clip(values, 0.0, None)) @ axes.T
    return result


def _in_all_directions(scatter: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """Let a scatter found from `n` things lean on the usual shape, its size kept: two of them lie on a line."""
    usual = np.diag(np.square(USUAL_PLANK))
    usual *= np.trace(scatter) / np.trace(usual)
    result: NDArray[np.float64] = ((n - 1) * scatter + _USUAL_WEIGHT * usual) / (n - 1 + _USUAL_WEIGHT)
    return result


def _small_number_factor(n: int) -> float:
    """By how much to widen a scatter found from `n` things, which is itself uncertain.

    Own formula: with it the 95 % interval of a difference held the truth in 94.5-98.8 % for 2 to 10 simulated spots,
    without it in 87-97 %.
    """
    return (n + 2) / (n - 1)
