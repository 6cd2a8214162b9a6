"""Whether a phone has evened brightness out from place to place, told by the strip's greys.

A tone curve treats equal light alike wherever it falls; local tone mapping darkens what lies in bright surroundings and
lightens what lies in dark ones. Each grey of the strip stands at four places or more, so what the one fit leaves over
can be laid against how bright the photo is around each place. The slope of that is the share of the surroundings'
contrast that the phone took out. What tone curve, light and glare could explain instead is taken out first, each
within what is believed of it, so the slope's error is honest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.correction import Correction, FitPriors, PatchReadings, light_basis
from finishlab.imaging.finder import StripFit
from finishlab.imaging.opencv import cv2
from finishlab.imaging.pixels import LinearImage

__all__ = ["LocalTone", "local_tone"]

_REACHES_MM: Final = (8.0, 16.0, 32.0)
"""Sigmas of the surroundings that are tried."""
_DARKEST: Final = 0.002
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
    log = np.log(np.maximum(image.decode, _DARKEST)).astype(np.float32)
    brightness = log[codes].mean(axis=-1)
    where = (at - half) / step
    for reach in _REACHES_MM:
        blurred = cv2.GaussianBlur(brightness, (0, 0), reach * per_mm / step, borderType=cv2.BORDER_REPLICATE)
        x, y = where[:, 0].astype(np.float32), where[:, 1].astype(np.float32)
        out.append(cv2.remap(blurred, x[None], y[None], cv2.INTER_LINEAR)[0].astype(float))
    return out
