"""From a colour as the photo shows it to the surface's own: the phone's boost of saturation and its error of white.

A phone guesses white on the sensor's channels, mixes these to the file's primaries, bends the tone and only then boosts
saturation, on codes that still hold what it got wrong of white. The way back is gone in the same order. The boost is
taken out of the greys and of the surface, code by code, and the greys are fitted again. What is left of a cast is then
divided out of the sensor's channels, not of the file's: scaling the file's red and blue would turn saturated colours.

docs/decisions/0009-saturation-and-white.md records the trial.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import linear_to_srgb, srgb_to_linear
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction

__all__ = [
    "LUMA",
    "RAW_SATURATION",
    "SATURATION_BOOST",
    "USUAL_MATRIX",
    "plain_colours",
    "unboosted",
    "unboosted_readings",
    "white_matrix",
]

LUMA: Final = np.array([0.2126, 0.7152, 0.0722])
"""Weights of linear sRGB in luminance (IEC 61966-2-1, from the Rec. 709 primaries)."""

SATURATION_BOOST: Final = (1.02, 0.07)
"""How much a phone's picture mode is believed to boost saturation about grey: mean and standard deviation.

A grey strip cannot see it. Phones are said to use 0 to 20 % (common practice, no source); seven public photos of a
chart show 0.996 +- 0.04 in the chroma of its patches. The saying is given the weight of one photo, the photos, since
several come from one phone, that of four. A camera's profile replaces it.
"""

RAW_SATURATION: Final = (1.0, 0.03)
"""The same for a camera raw file: nothing boosts it, but its matrix is not exact (common practice, no source)."""

USUAL_MATRIX: Final = np.array([[1.545, -0.406, -0.139], [-0.278, 1.631, -0.353], [0.092, -0.692, 1.600]])
"""A usual camera's matrix from its balanced channels to linear sRGB, shape (3, 3); each row sums to 1.

Mean of three cameras with a colour filter array whose measured sensitivities are published (Nikon 5100, Canon
PowerShot S90, Sony ILCE-7RM2; sources in tests/render/data/README.md), each fitted on a 24-patch chart under D65
and A. `tests/test_colours.py` computes it anew.
"""
_TO_SENSOR: Final = np.linalg.inv(USUAL_MATRIX)
_DARKEST: Final = 1e-5

for _constant in (LUMA, USUAL_MATRIX, _TO_SENSOR):
    _constant.flags.writeable = False


def unboosted(values: np.ndarray, boost: float) -> np.ndarray:
    """Take a boost of saturation out of a file's linear values: drawn together about luma, as encoded by sRGB's curve.

    Parameters
    ----------
    values
        Shape (..., 3), linear values of the file.
    boost
        Factor by which the phone spread the encoded channels about luma; 1 changes nothing.

    Returns
    -------
    ndarray, same shape
    """
    code = linear_to_srgb(np.asarray(values, dtype=float))
    luma = (code @ LUMA)[..., None]
    return np.maximum(srgb_to_linear(luma + (code - luma) / boost), _DARKEST)


def unboosted_readings(readings: PatchReadings, boost: float) -> PatchReadings:
    """Return the greys as they would have been read without a boost of saturation."""
    return replace(readings, values=unboosted(readings.values, boost))


def white_matrix(correction: Correction, to_srgb: np.ndarray) -> np.ndarray:
    """Return what turns corrected RGB of the file's primaries into sRGB's, white balanced on the sensor's channels.

    A correction makes the greys grey by a factor on each of the file's channels. The phone's error of white was one
    factor on each of the sensor's; both agree on greys and differ on colours. A camera's own matrix is not known, so a
    usual one stands in for it. Without a cast the result is `to_srgb`.

    Parameters
    ----------
    correction
        Fit to greys whose boost of saturation is out.
    to_srgb
        Shape (3, 3), the file's primaries to sRGB's.

    Returns
    -------
    ndarray, shape (3, 3)
        Keeps white: each row sums to 1.
    """
    cast = correction.cast
    sensor = _TO_SENSOR @ to_srgb
    return np.asarray(USUAL_MATRIX @ ((sensor * cast) / (sensor @ cast)[:, None]))


def plain_colours(
    values: np.ndarray,
    places: np.ndarray,
    readings: PatchReadings,
    greys: KnownGreys | np.ndarray,
    correction: Correction,
    to_srgb: np.ndarray,
    priors: FitPriors | None,
    boost: float,
) -> np.ndarray:
    """Return what colours in a photo are, once a boost of saturation and an error of white are out.

    Parameters
    ----------
    values, places
        Shapes (N, 3) and (N, 2): linear values of the file, and where, in millimetres of the strip frame.
    readings, greys, priors, correction
        The greys as read, what each is believed to be, and the fit to them as they are, with its priors.
    to_srgb
        Shape (3, 3), the file's primaries to sRGB's.
    boost
        See `unboosted`.

    Returns
    -------
    ndarray, shape (N, 3)
        Linear RGB of sRGB's primaries, 1.0 a perfect white diffuser.
    """
    plain = fit_correction(unboosted_readings(readings, boost), greys, priors, correction)
    reflectance = plain.reflectance(unboosted(values, boost), places)
    return np.asarray(reflectance @ white_matrix(plain, to_srgb).T)
