"""What a phone does to a picture beyond its tone curve: a boost of saturation, an error of white, tone place by place.

A phone guesses white on the sensor's channels, mixes these to the file's primaries, bends the tone and only then boosts
saturation, on codes that still hold what it got wrong of white. The way back is gone in the same order. The boost is
taken out of the greys and of the surface, code by code, and the greys are fitted again. What is left of a cast is then
divided out of the sensor's channels, not of the file's: scaling the file's red and blue would turn saturated colours.
docs/decisions/0009-saturation-and-white.md records the trial.

A tone curve treats equal light alike wherever it falls; local tone mapping darkens what lies in bright surroundings and
lightens what lies in dark ones. Each grey of the strip stands at four places or more, so what the one fit leaves over
can be laid against how bright the photo is around each place. The slope of that is the share of the surroundings'
contrast that the phone took out. What tone curve, light and glare could explain instead is taken out first, each
within what is believed of it, so the slope's error is honest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import linear_to_srgb, srgb_to_linear
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction, light_basis
from finishlab.imaging.finder import StripFit
from finishlab.imaging.opencv import cv2
from finishlab.imaging.pixels import LinearImage

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


_REACHES_MM: Final = (8.0, 16.0, 32.0)
"""Sigmas of the surroundings that are tried."""
_DARK: Final = 0.002
_BELIEVED: Final = 0.3
_TONE: Final = (0.8, 0.3, 0.2, 0.12, 0.06)
"""How far tone and print together may bend what the greys show, Legendre orders 1..: wide, either may."""
_PER_SIGMA: Final = 3
"""Pixels a sigma of blur needs; the surroundings are looked at no finer."""


@dataclass(frozen=True, slots=True)
class LocalTone:
    """What the greys say of local tone mapping at the reach that shows it most clearly."""

    strength: float
    """Share of the surroundings' log contrast that was taken out: 0 none, 1 all; negative if it was raised."""
    standard_error: float
    reach_mm: float

    @property
    def significance(self) -> float:
        """Strength over its standard error."""
        return self.strength / self.standard_error


def local_tone(
    image: LinearImage,
    fit: StripFit,
    readings: PatchReadings,
    correction: Correction,
    reflectance: np.ndarray,
    priors: FitPriors | None = None,
) -> LocalTone | None:
    """Estimate local tone mapping from the greys' residuals.

    Parameters
    ----------
    image, fit
        The photo and where the strip lies in it.
    readings, correction
        The greys as read, and the fit to them.
    reflectance
        Shape (N,): what each grey is.
    priors
        Those of the fit.

    Returns
    -------
    LocalTone or None
        None with fewer than twenty greys that are believed.
    """
    priors = priors or FitPriors()
    kept = np.flatnonzero(correction.weights > _BELIEVED)
    if kept.size < 20:
        return None
    places, grey = readings.places[kept], np.asarray(reflectance, dtype=float)[kept]
    light = correction.light(places).mean(axis=1)
    total = grey * light + float(correction.glare.mean())
    read = np.exp(np.log(np.maximum(correction.exposure(readings.values[kept]), 1e-5)).mean(axis=1))
    left_over = np.log(read / total)
    sigma = np.where(grey < 0.06, priors.black_reading, priors.reading)
    design, prior = _explained_otherwise(read, places, total, priors)
    weight = correction.weights[kept] / sigma**2
    found = []
    for reach, around in zip(_REACHES_MM, _surroundings(image, fit, places), strict=True):
        strength, error = _slope(left_over, -around, weight, design=design, prior=prior)
        found.append(LocalTone(strength, error * max(1.0, correction.misfit), reach))
    return max(found, key=lambda f: abs(f.significance))


def _explained_otherwise(
    read: np.ndarray, places: np.ndarray, total: np.ndarray, priors: FitPriors
) -> tuple[np.ndarray, np.ndarray]:
    """Return what else may explain a residual, shape (N, terms), and the terms' prior standard deviations."""
    u = np.log(read)
    t = 2 * (u - u.min()) / max(float(np.ptp(u)), 1e-6) - 1
    tone = np.polynomial.legendre.legvander(t, len(_TONE))
    design = np.column_stack([tone, -light_basis(places), -1.0 / total])
    prior = np.array([np.inf, *_TONE, *[priors.light_plane] * 2, *[priors.light_bend] * 3, priors.glare[1]])
    return design, prior


def _slope(
    y: np.ndarray, x: np.ndarray, weight: np.ndarray, *, design: np.ndarray, prior: np.ndarray
) -> tuple[float, float]:
    """Return the slope of y on x beside the design, and its standard error, by weighted least squares."""
    columns = np.column_stack([design, x])
    normal = columns.T @ (columns * weight[:, None])
    normal[np.arange(len(prior)), np.arange(len(prior))] += 1 / prior**2
    covariance = np.linalg.inv(normal + 1e-9 * np.eye(len(normal)))
    return float((covariance @ (columns.T @ (weight * y)))[-1]), float(np.sqrt(covariance[-1, -1]))


def _surroundings(image: LinearImage, fit: StripFit, places: np.ndarray) -> list[np.ndarray]:
    """Return the log brightness around places in millimetres, one array a reach.

    The photo is thinned, not averaged: what is blurred over centimetres afterwards need not be smooth before.
    """
    per_mm = fit.px_per_mm
    out = []
    at = fit.pixels(places)
    step = max(1, int(per_mm * _REACHES_MM[0] / _PER_SIGMA))
    half = step // 2
    codes = np.ascontiguousarray(image.encoded[half::step, half::step])
    log = np.log(np.maximum(image.decode, _DARK)).astype(np.float32)
    brightness = log[codes].mean(axis=-1)
    where = (at - half) / step
    for reach in _REACHES_MM:
        blurred = cv2.GaussianBlur(brightness, (0, 0), reach * per_mm / step, borderType=cv2.BORDER_REPLICATE)
        x, y = where[:, 0].astype(np.float32), where[:, 1].astype(np.float32)
        out.append(cv2.remap(blurred, x[None], y[None], cv2.INTER_LINEAR)[0].astype(float))
    return out
