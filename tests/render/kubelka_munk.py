"""Kubelka-Munk and Saunderson: what a colouring layer does to the light that wood sends back.

Stain adds absorption to wood, and K/S adds where reflectance does not (single-constant theory). A clear coat or an air
surface mirrors part of the light at both sides of its boundary; Saunderson's formula takes that off. All arguments are
reflectances 0..1 of one wavelength or one channel, any shape, broadcast against each other.

Sources: Kubelka and Munk, Zeitschrift fuer technische Physik 12 (1931) 593; Kubelka, J. Opt. Soc. Am. 38 (1948) 448
(the layer over a substrate); Saunderson, J. Opt. Soc. Am. 32 (1942) 727.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["k_over_s", "layer_over", "reflectance", "saunderson_internal", "saunderson_measured"]

FloatArray = NDArray[np.floating[Any]]


def k_over_s(reflectance: ArrayLike) -> FloatArray:
    """K/S = (1 - R)^2 / 2R of an opaque layer with reflectance R (0 < R <= 1).

    Raises
    ------
    ValueError
        If a reflectance is not above 0 or is above 1: nothing absorbs without end, nothing reflects more than all.
    """
    r = np.asarray(reflectance, dtype=float)
    if not np.all((r > 0.0) & (r <= 1.0)):
        raise ValueError("a reflectance must be above 0 and at most 1")
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def reflectance(ratio: ArrayLike) -> FloatArray:
    """Reflectance of an opaque layer with K/S = `ratio` (>= 0): the inverse of `k_over_s`.

    Raises
    ------
    ValueError
        If a ratio is negative or not finite.
    """
    q = np.asarray(ratio, dtype=float)
    if not np.all((q >= 0.0) & np.isfinite(q)):
        raise ValueError("K/S must be finite and at least 0")
    # 1 + q - sqrt(q^2 + 2q), written as its reciprocal: no cancellation where K/S is large
    return np.asarray(1.0 / (1.0 + q + np.sqrt(q * (q + 2.0))))


def layer_over(substrate: ArrayLike, r_infinity: ArrayLike, sx: ArrayLike) -> FloatArray:
    """Reflectance of a layer over a substrate (Kubelka 1948, hyperbolic form).

    Parameters
    ----------
    substrate
        Reflectance of what lies below, 0..1.
    r_infinity
        Reflectance the layer would have if it were opaque, 0 < R < 1.
    sx
        Scattering power of the layer: its scattering coefficient times its thickness, > 0.

    Raises
    ------
    ValueError
        If a value is outside its range.
    """
    rg, x = np.asarray(substrate, dtype=float), np.asarray(sx, dtype=float)
    if not np.all((rg >= 0.0) & (rg <= 1.0)):
        raise ValueError("a substrate's reflectance must lie within 0..1")
    if not np.all(x > 0.0):
        raise ValueError("a scattering power must be above 0")
    q = k_over_s(r_infinity)
    if not np.all(q > 0.0):
        raise ValueError("an opaque layer's reflectance must be below 1")
    a = 1.0 + q
    b = np.sqrt(a * a - 1.0)
    b_coth = b / np.tanh(b * x)
    return np.asarray((1.0 - rg * (a - b_coth)) / (a - rg + b_coth))


def saunderson_internal(measured: ArrayLike, k1: float = 0.04, k2: float = 0.6) -> FloatArray:
    """Reflectance inside the film, of the measured one (Saunderson 1942, mirror-like part included).

    Parameters
    ----------
    measured
        Reflectance seen from outside, `k1` <= R <= 1.
    k1
        Share of the light from outside that the surface mirrors; 0.04 for a refractive index of 1.5 (Fresnel).
    k2
        Share of the diffuse light from inside that it mirrors back; 0.6 for the same index by theory.
    """
    r = np.asarray(measured, dtype=float)
    if not np.all((r >= k1) & (r <= 1.0)):
        raise ValueError("a measured reflectance must lie between the surface's own and 1")
    return np.asarray((r - k1) / (1.0 - k1 - k2 * (1.0 - r)))


def saunderson_measured(internal: ArrayLike, k1: float = 0.04, k2: float = 0.6) -> FloatArray:
    """Reflectance seen from outside, of the one inside the film: the inverse of `saunderson_internal`."""
    r = np.asarray(internal, dtype=float)
    if not np.all((r >= 0.0) & (r <= 1.0)):
        raise ValueError("a reflectance must lie within 0..1")
    return np.asarray(k1 + (1.0 - k1) * (1.0 - k2) * r / (1.0 - k2 * r))
