"""What is believed of a print nobody measured: how light each grey of the strip comes out.

Printers differ far more than cameras do. Some are handed the grey as sRGB and keep its tone, give or take; others take
it for a share of black ink and print a half-tone, whose dots gain. Some save toner; black, paper and the shape of the
ramp vary besides. The belief is the mean and the main departures of many such prints, drawn here from their ranges.

Sources: black ramps of published print characterisations (as ICC profiles: ISO-coated in scribus-data, default CMYK in
Ghostscript, krita-data's), tone value increase of ISO 12647-2, Murray and Davies 1936 for half-tones, Yule and Nielsen
1951 for light spread in the paper. `tests/test_print_prior.py` lays the published ramps beside it. Ranges of papers,
blacks, exponents and toner saving are common practice, no source.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness, srgb_to_linear
from finishlab.imaging.strip import STRIP

__all__ = ["usual_print"]

_DRAWS: Final = 4000
_PAPER: Final = (88.0, 96.0)
"""L* of papers."""
_BLACK: Final = (14.0, 34.0)
"""L* of black."""
_EXPONENT: Final = (0.75, 1.25)
"""Of a grey that is kept as sRGB."""
_GAIN: Final = (0.06, 0.28)
"""Tone value increase at half tone."""
_SAVING: Final = (0.85, 1.0)
"""Share of black that toner saving leaves."""
_WIGGLE: Final = 1.2
"""Standard deviation of the ramp's smooth departures, L*: extremes of about 2."""
_REACH: Final = 12.0
"""Over how many L* such a departure stays alike."""
_SHARES: Final = (0.45, 0.85)
"""Share of prints that keep sRGB's tone; share of these and of plain half-tones, the rest save toner."""
_ALONE: Final = 0.02
"""How far each level may be off by itself besides, natural log: a patch's own ink, and that prints are no Gaussian."""


def _ramps(count: int) -> np.ndarray:
    """Return reflectance factors of the strip's levels in prints drawn from the ranges, shape (count, levels)."""
    rng = np.random.default_rng(1)
    grey = np.asarray(STRIP.greys)
    paper, black = (reflectance_of_lightness(rng.uniform(*span, (count, 1))) for span in (_PAPER, _BLACK))
    kept = srgb_to_linear(grey) ** rng.uniform(*_EXPONENT, (count, 1))
    inked = 1.0 - grey
    gain, bulge = rng.uniform(*_GAIN, (count, 1)), rng.random((count, 1)) < 0.5
    # Gain of dots as a parabola, or most among light dots.
    dots = np.where(bulge, inked + gain * 4.0 * inked * grey, inked ** (np.log(0.5 + gain) / np.log(0.5)))
    kind = rng.random((count, 1))
    ink = np.where(kind < _SHARES[0], 1.0 - kept, dots)
    ink *= np.where(kind < _SHARES[1], 1.0, rng.uniform(*_SAVING, (count, 1)))
    lightness = lightness_of_reflectance(paper - ink * (paper - black))
    gap = np.abs(lightness[:, :, None] - lightness[:, None, :]) / _REACH
    root = np.linalg.cholesky((1.0 + gap) * np.exp(-gap) + 1e-6 * np.eye(len(grey)))
    share = (lightness - lightness[:, :1]) / np.ptp(lightness, axis=1)[:, None]
    wiggle = (
        _WIGGLE * (root @ rng.standard_normal((count, len(grey), 1)))[..., 0] * np.sqrt(4.0 * share * (1.0 - share))
    )
    return np.asarray(reflectance_of_lightness(np.sort(lightness + wiggle, axis=1)))


@cache
def usual_print() -> tuple[np.ndarray, np.ndarray]:
    """Return the usual print.

    Returns
    -------
    usual, departures
        Shape (levels,): natural log of the levels' reflectance factors. Shape (terms, levels): how it changes for one
        standard deviation of each independent departure, the largest first.
    """
    log = np.log(_ramps(_DRAWS))
    usual = log.mean(axis=0)
    sizes, axes = np.linalg.eigh(np.cov(log.T) + _ALONE**2 * np.eye(len(usual)))
    return usual, np.asarray((axes * np.sqrt(sizes)).T[::-1])
