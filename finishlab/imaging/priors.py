"""What is believed before a photo is seen: of a camera's tone curve, and of a print that nobody measured.

**Tone.** Beside greys that nobody measured, the camera is the better known of the two, but not by its straightness:
phones press highlights together and steepen the middle, and where on the curve a grey lies is told by its code. The
belief is therefore laid over the codes themselves: a usual curve and a few smooth departures from it, each a unit
Gaussian. docs/decisions/0019-print-and-camera.md has the figures.

**Print.** Printers differ far more than cameras do. Some are handed the grey as sRGB and keep its tone, give or take;
others take it for a share of black ink and print a half-tone, whose dots gain. Some save toner; black, paper and the
shape of the ramp vary besides. The belief is the mean and the main departures of many such prints, drawn here from
their ranges. Sources: black ramps of published print characterisations (as ICC profiles: ISO-coated in scribus-data,
default CMYK in Ghostscript, krita-data's), tone value increase of ISO 12647-2, Murray and Davies 1936 for half-tones,
Yule and Nielsen 1951 for light spread in the paper. `tests/test_print_and_tone.py` lays the published ramps beside it.
Ranges of papers, blacks, exponents and toner saving are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness, srgb_to_linear
from finishlab.imaging.strip import STRIP

__all__ = ["TonePrior", "phone_tone", "straight_tone", "usual_print"]

_GRID: Final = np.linspace(-9.0, 0.0, 181)
"""Natural log of the file's linear values (sRGB-decoded codes) that curves are tabulated at."""
_SLOPE_AT: Final = (-9.0, -3.5, -2.3, -1.6, -1.2, -0.8, -0.5, -0.2, -0.1, 0.0)
_SLOPE: Final = (0.82, 0.80, 0.83, 0.89, 0.97, 1.09, 1.25, 1.48, 1.67, 1.98)
"""Usual slope of log light against log code at those logs."""
_COMMON: Final = 0.05
"""Relative standard deviation of the slope, the same at all codes."""
_LOCAL: Final = (0.07, 0.9)
"""The same from code to code, and over how much of the log it stays alike."""
_TOP: Final = (0.4, 0.25)
"""The same again, added towards the brightest codes, and over how much of the log it fades."""
_USED: Final = (-4.5, -0.15)
"""Logs that a photo's greys usually span; the departures are told apart there."""
_MODES: Final = 9


@dataclass(frozen=True, eq=False, slots=True)
class TonePrior:
    """A usual curve from the log of a linear value to the log of light, and independent departures from it.

    Beyond the grid curves go on straight; their height is left to the photo's exposure.
    """

    name: str
    """What its departures are called."""
    grid: np.ndarray
    """Shape (n,): logs of linear values, rising."""
    mean: np.ndarray
    """Shape (n,): log light."""
    modes: np.ndarray
    """Shape (n, terms): change of log light for one standard deviation of each departure."""

    @property
    def terms(self) -> int:
        """How many departures there are."""
        return int(self.modes.shape[1])

    def usual(self, u: np.ndarray) -> np.ndarray:
        """Return the usual curve at logs of linear values, same shape."""
        return np.asarray(np.interp(u, self.grid, self.mean))

    def departures(self, u: np.ndarray | float) -> np.ndarray:
        """Return the departures at logs of linear values, shape (..., terms)."""
        at = np.asarray(u, dtype=float)
        part = np.clip(np.searchsorted(self.grid, at), 1, len(self.grid) - 1)
        share = np.clip((at - self.grid[part - 1]) / (self.grid[part] - self.grid[part - 1]), 0.0, 1.0)[..., None]
        return np.asarray(self.modes[part - 1] + share * (self.modes[part] - self.modes[part - 1]))


def _integrated(slope: np.ndarray) -> np.ndarray:
    """Return the integral over the grid from its upper end, of one slope or of columns of them."""
    step = np.diff(_GRID)
    pieces = (slope[1:] + slope[:-1]) / 2 * (step if slope.ndim == 1 else step[:, None])
    return np.asarray(np.concatenate([np.zeros_like(slope[:1]), np.cumsum(pieces, axis=0)]) - pieces.sum(axis=0))


@cache
def phone_tone() -> TonePrior:
    """Return what is believed of the tone curve of a phone or camera that saves developed pictures."""
    slope = np.interp(_GRID, _SLOPE_AT, _SLOPE)
    near, reach = _LOCAL
    top = np.exp(_GRID / _TOP[1])
    spread = _COMMON**2 + near**2 * _alike(reach) + np.outer(top, top) * _TOP[0] ** 2
    kernel = slope[:, None] * spread * slope
    return TonePrior("tone", _GRID, _integrated(slope), _departures(kernel))


@cache
def straight_tone(sigma: float = 0.02) -> TonePrior:
    """Return what is believed of linear light: a slope of one, give or take lens flare and black level.

    Parameters
    ----------
    sigma
        Standard deviation of the slope; common practice, no source.
    """
    kernel = sigma**2 * (0.5 + 0.5 * _alike(_LOCAL[1]))
    return TonePrior("linear", _GRID, _integrated(np.ones_like(_GRID)), _departures(kernel))


def _alike(reach: float) -> np.ndarray:
    """Return how alike slopes are from code to code: Matern's covariance of order 3/2, which allows a sudden bend."""
    gap = np.sqrt(3.0) * np.abs(_GRID[:, None] - _GRID[None, :]) / reach
    return np.asarray((1.0 + gap) * np.exp(-gap))


def _departures(kernel: np.ndarray) -> np.ndarray:
    """Return the largest independent departures, shape (n, terms), of curves whose slopes have a covariance.

    Height is left out, as the mean over the codes in use; largest means there.
    """
    used = (np.abs(_GRID - sum(_USED) / 2) <= (_USED[1] - _USED[0]) / 2).astype(float)
    lift = _integrated(np.eye(len(_GRID)))
    lift -= used @ lift / used.sum()
    covariance = lift @ kernel @ lift.T
    weighted = covariance * np.sqrt(np.outer(used, used))
    sizes, axes = np.linalg.eigh(weighted)
    order = np.argsort(sizes)[::-1][:_MODES]
    # Regress every code's departure on the axes, so that the curves go on beyond the codes in use.
    return np.asarray(covariance @ (np.sqrt(used)[:, None] * axes[:, order]) / np.sqrt(sizes[order]))


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
