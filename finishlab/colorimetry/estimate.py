"""A colour with its doubt: what is this surface's own, and what it shares with others.

The grain under the camera and the sensor's noise are a measurement's own. The photo's fit, the print of the strip, the
camera's way of seeing and its saturation are shared by all that was photographed in that photo, beside that strip,
with that camera; they largely cancel in a pair. One lumped figure would overstate the doubt of every comparison, so
they are kept apart: an own covariance, and a list of shared effects, each a direction in CIELAB that one unknown
number moves.

One documented place besides for how far a camera that does not see as eyes do can be off, even with perfect greys,
found by simulation over cameras, lights and measured spectra (docs/decisions/0005-camera-error.md). A camera in a
light errs as a matrix on linear RGB would that keeps white, the more the more colourful a surface is. That part is
shared by all it sees and cancels between like colours. What is left differs from wood to wood, and more from wood to
print.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from finishlab.colorimetry.spaces import rgb_to_lab

__all__ = [
    "COLOUR_SPACE",
    "MATRIX_ERRORS",
    "PRINT_AGAINST_WOOD",
    "WOOD_ALONE",
    "LabEstimate",
    "SharedEffect",
    "draw",
    "less_wood",
    "matrix_effects",
]

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


COLOUR_SPACE = "CIELAB D65 2deg"
"""What every document says of its L*, a*, b* values: CIE 015:2018, illuminant D65, 1931 2 degree observer."""


@dataclass(frozen=True, slots=True)
class SharedEffect:
    """One unknown that moves several measurements together."""

    name: str
    """What is unknown, e.g. ``"saturation"``, ``"black-ink"``."""
    scope: str
    """Whom it is shared with: measurements with the same name and scope move by the same unknown, e.g.
    ``"camera:Acme One"``, ``"strip:412"``, ``"photo:3f2a..."``."""
    vector: tuple[float, float, float]
    """Change of (L*, a*, b*) when the unknown is one standard deviation up."""


@dataclass(frozen=True, slots=True)
class LabEstimate:
    """CIELAB of a surface's mean with its uncertainty.

    Raises
    ------
    ValueError
        If a value is not finite, or the covariance is not symmetric and positive semi-definite.
    """

    lab: tuple[float, float, float]
    own: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
    """Covariance of the mean, one-sigma units squared, common errors left out."""
    shared: tuple[SharedEffect, ...] = ()
    wood: bool = False
    """Whether `own` holds what a camera gets wrong of one wood (`finishlab.colorimetry.estimate.WOOD_ALONE`): no
    other surface shares it, but all photos of this one by one camera in one light do."""

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for row in (self.lab, *self.own) for v in row):
            raise ValueError("a colour estimate must be finite")
        if not _is_covariance(self.own):
            raise ValueError("a covariance must be symmetric and positive semi-definite")

    @classmethod
    def build(
        cls, lab: np.ndarray, own: np.ndarray, shared: Sequence[SharedEffect] = (), *, wood: bool = False
    ) -> LabEstimate:
        """Build from arrays: `lab` shape (3,), `own` shape (3, 3)."""
        own = np.asarray(own, dtype=float)
        one, two, three = ((own + own.T) / 2).tolist()
        rows = (tuple(one), tuple(two), tuple(three))
        return cls((float(lab[0]), float(lab[1]), float(lab[2])), rows, tuple(shared), wood)

    @property
    def standard_error(self) -> tuple[float, float, float]:
        """One sigma of the mean of L*, a*, b*, common errors left out."""
        s = np.sqrt(np.clip(np.diag(np.asarray(self.own)), 0.0, None))
        return float(s[0]), float(s[1]), float(s[2])

    @property
    def own_of_photo(self) -> np.ndarray:
        """Own covariance without what all photos of this surface share, shape (3, 3)."""
        own = np.array(self.own, dtype=float)
        return less_wood(own) if self.wood else own

    @property
    def camera(self) -> str:
        """Scope of the camera's effects; empty where there are none."""
        return next((e.scope for e in self.shared if e.scope.startswith("camera:")), "")

    def total_covariance(self) -> np.ndarray:
        """Return the covariance with the shared effects added, shape (3, 3): the doubt of the absolute colour."""
        total = np.array(self.own, dtype=float)
        for effect in self.shared:
            total += np.outer(effect.vector, effect.vector)
        return total

    def as_dict(self) -> dict[str, Any]:
        """Return the stored form."""
        return {
            "lab": list(self.lab),
            "own_covariance": [list(row) for row in self.own],
            "shared": [{"name": e.name, "scope": e.scope, "vector": list(e.vector)} for e in self.shared],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, wood: bool = False) -> LabEstimate:
        """Rebuild an estimate from `as_dict`; of which surface it is stands beside it."""
        shared = tuple(SharedEffect(e["name"], e["scope"], tuple(e["vector"])) for e in data["shared"])
        one, two, three = data["own_covariance"]
        return cls(tuple(data["lab"]), (tuple(one), tuple(two), tuple(three)), shared, wood)


def _is_covariance(rows: Sequence[Sequence[float]]) -> bool:
    """Return whether a 3 x 3 matrix is symmetric and positive semi-definite, up to rounding.

    By the pivots of its elimination: thousands of stored colours are checked when a logbook is read.
    """
    (a, b, c), (b2, d, e), (c2, e2, f) = rows
    size = max(1.0, a + d + f)
    if max(abs(b - b2), abs(c - c2), abs(e - e2)) > 1e-5 * size:
        return False
    jitter = 1e-9 * size
    a, d, f = a + jitter, d + jitter, f + jitter
    if a <= 0.0:
        return False
    second = d - b * b / a
    if second <= 0.0:
        return False
    mixed = e - b * c / a
    return f - c * c / a - mixed * mixed / second >= 0.0


def draw(estimates: Sequence[LabEstimate], count: int, rng: np.random.Generator) -> np.ndarray:
    """Draw what the true colours may be, shared unknowns drawn once for all.

    Parameters
    ----------
    estimates
        The colours to draw together.
    count
        Number of draws.
    rng
        Source of randomness.

    Returns
    -------
    ndarray, shape (len(estimates), count, 3)
    """
    unknowns: dict[tuple[str, str], np.ndarray] = {}
    out = np.empty((len(estimates), count, 3))
    for i, estimate in enumerate(estimates):
        values, vectors = np.linalg.eigh(np.asarray(estimate.own))
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        out[i] = np.asarray(estimate.lab) + rng.standard_normal((count, 3)) @ root.T
        for effect in estimate.shared:
            key = (effect.name, effect.scope)
            if key not in unknowns:
                unknowns[key] = rng.standard_normal(count)
            out[i] += unknowns[key][:, None] * np.asarray(effect.vector)
    return out
