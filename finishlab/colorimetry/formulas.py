"""Colour-difference formulas by their standards' names: CIEDE2000 with its parametric factors, and CMC(l:c).

Sources: ISO/CIE 11664-6:2022 (CIEDE2000); F. J. J. Clarke, R. McDonald, B. Rigg, J. Soc. Dyers Colour. 100 (1984) 128,
and ISO 105-J03 (CMC).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.ciede2000 import delta_e_00, metric_00

__all__ = ["CIEDE2000", "CIEDE2000_TEXTURE", "CMC_2_1", "Formula", "delta_e_cmc"]

FloatArray = NDArray[np.float64]

_STEP: Final = 1e-3
"""Step of the numeric slopes, CIELAB units: rounding and curvature both stay below 1e-6 of the slope."""


def delta_e_cmc(standard: ArrayLike, batch: ArrayLike, lightness: float = 2.0, chroma: float = 1.0) -> FloatArray:
    """CMC(l:c) of batches from their standard (Clarke, McDonald, Rigg 1984).

    Parameters
    ----------
    standard, batch
        CIELAB, shapes (..., 3), broadcast against each other. The formula is not symmetric.
    lightness, chroma
        Its l and c: 2:1 judges whether a difference is acceptable, 1:1 whether it can be seen.

    Returns
    -------
    ndarray, shape (...)
    """
    one, two = np.asarray(standard, dtype=np.float64), np.asarray(batch, dtype=np.float64)
    s_l, s_c, s_h = _cmc_weights(one)
    c1, c2 = np.hypot(one[..., 1], one[..., 2]), np.hypot(two[..., 1], two[..., 2])
    d_l, d_c = two[..., 0] - one[..., 0], c2 - c1
    square_h = (two[..., 1] - one[..., 1]) ** 2 + (two[..., 2] - one[..., 2]) ** 2 - d_c**2
    total = (d_l / (lightness * s_l)) ** 2 + (d_c / (chroma * s_c)) ** 2 + np.maximum(square_h, 0.0) / s_h**2
    result: FloatArray = np.sqrt(total)
    return result


def _cmc_weights(lab: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """CMC's S_L, S_C, S_H at a standard."""
    lightness, chroma = lab[..., 0], np.hypot(lab[..., 1], lab[..., 2])
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360.0
    s_l = np.where(lightness < 16.0, 0.511, 0.040975 * lightness / (1.0 + 0.01765 * lightness))
    s_c = 0.0638 * chroma / (1.0 + 0.0131 * chroma) + 0.638
    violet = (hue >= 164.0) & (hue <= 345.0)
    t = np.where(
        violet,
        0.56 + np.abs(0.2 * np.cos(np.radians(hue + 168.0))),
        0.36 + np.abs(0.4 * np.cos(np.radians(hue + 35.0))),
    )
    fourth = chroma**4
    f = np.sqrt(fourth / (fourth + 1900.0))
    return s_l, s_c, s_c * (f * t + 1.0 - f)


@dataclass(frozen=True, slots=True)
class Formula:
    """A colour-difference formula with the factors it is used with.

    Raises
    ------
    ValueError
        If a factor is not above 0.
    """

    kind: Literal["CIEDE2000", "CMC"] = "CIEDE2000"
    lightness: float = 1.0
    """CIEDE2000's kL, or CMC's l."""
    chroma: float = 1.0
    """CIEDE2000's kC, or CMC's c."""
    hue: float = 1.0
    """CIEDE2000's kH; CMC has none."""

    def __post_init__(self) -> None:
        if not all(0.0 < factor < math.inf for factor in (self.lightness, self.chroma, self.hue)):
            raise ValueError("the factors of a colour-difference formula are above 0")

    @property
    def name(self) -> str:
        """The standard's name with its parametric factors: ``"CIEDE2000"``, ``"CIEDE2000(2:1:1)"``, ``"CMC(2:1)"``."""
        if self.kind == "CMC":
            return f"CMC({self.lightness:g}:{self.chroma:g})"
        factors = (self.lightness, self.chroma, self.hue)
        return "CIEDE2000" if factors == (1.0, 1.0, 1.0) else "CIEDE2000({:g}:{:g}:{:g})".format(*factors)

    def difference(self, standard: ArrayLike, batch: ArrayLike) -> FloatArray:
        """Return the difference of batches from standards, CIELAB of shapes (..., 3)."""
        if self.kind == "CMC":
            return delta_e_cmc(standard, batch, self.lightness, self.chroma)
        return delta_e_00(standard, batch, self.lightness, self.chroma, self.hue)

    def metric(self, lab: ArrayLike) -> FloatArray:
        """Return G, shape (..., 3, 3): the squared difference is d' G d for a small step d at a colour."""
        if self.kind == "CMC":
            return _cmc_metric(np.asarray(lab, dtype=np.float64), self.lightness, self.chroma)
        return metric_00(lab, self.lightness, self.chroma, self.hue)

    def slopes(self, standard: ArrayLike, batch: ArrayLike) -> FloatArray:
        """Return how the difference moves with (L1, a1, b1, L2, a2, b2), shape (..., 6), by central differences.

        At equal colours a difference has no slope; zeros come back.
        """
        one, two = np.asarray(standard, dtype=np.float64), np.asarray(batch, dtype=np.float64)
        steps = np.eye(3) * _STEP
        columns = [self.difference(one + e, two) - self.difference(one - e, two) for e in steps]
        columns += [self.difference(one, two + e) - self.difference(one, two - e) for e in steps]
        result: FloatArray = np.stack(columns, axis=-1) / (2.0 * _STEP)
        return result


def _cmc_metric(lab: FloatArray, lightness: float, chroma: float) -> FloatArray:
    s_l, s_c, s_h = _cmc_weights(lab)
    hue = np.arctan2(lab[..., 2], lab[..., 1])
    cos, sin, none = np.cos(hue), np.sin(hue), np.zeros_like(hue)
    rows = [
        [1.0 / (lightness * s_l), none, none],
        [none, cos / (chroma * s_c), sin / (chroma * s_c)],
        [none, -sin / s_h, cos / s_h],
    ]
    turned = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    metric: FloatArray = np.swapaxes(turned, -1, -2) @ turned
    return metric


CIEDE2000: Final = Formula()
CIEDE2000_TEXTURE: Final = Formula(lightness=2.0)
"""Parametric factor kL = 2, which textiles use: texture makes eyes less strict about lightness (CIE 142-2001)."""
CMC_2_1: Final = Formula("CMC", 2.0)
