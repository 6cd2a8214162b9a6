"""What screens of black lines reflect, and how greys and screens are read where a camera cannot tell lines apart.

The mean light of a screen is fixed by geometry (A. Murray, J. Franklin Inst. 221 (1936) 721-744), but for ink that runs
beyond a line's edges and for light that enters the paper between lines and is caught under them (J. A. C. Yule,
W. J. Nielsen, TAGA Proc. 3 (1951) 65-76). Both darken by so much an edge, hence more the finer the pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.finder import StripFit, apply_homography
from finishlab.imaging.opencv import apply_table
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import GreyPatch, Rect, Screen

__all__ = ["GROWTH", "SPREAD", "AreaMeans", "read_areas", "screen_reflectance"]

GROWTH: Final = (0.03, 0.02)
"""How far ink runs beyond an edge, mm: mean and standard deviation among prints (common practice, no source)."""
SPREAD: Final = (0.055, 0.025)
"""The same of how far light spreads in paper along one direction, mm (common practice, no source)."""
_NEIGHBOURS: Final = 12
"""Lines on either side whose shade is counted."""
_LEAST_GAP: Final = 0.02
"""Gaps do not close further, mm: a fit must be able to find its way back."""
_TAPER: Final = 16 * 25.4 / 300
"""Over how many millimetres a pixel's weight falls off towards the rim of an area: whole lines at each pitch, or the
window would beat with them."""
_LEAST: Final = 12.0
"""Fewest pixels, by weight, that make an area usable."""
_CLIPPED: Final = 0.02
_BLUR: Final = 0.6
"""Deviation of a usual lens in pixels (common practice, no source)."""
_HARMONICS: Final = np.arange(1, 4)


def screen_reflectance(screen: Screen, paper: float, black: float, growth: float, spread: float) -> float:
    """Return the mean reflectance factor of a screen.

    Paper of transmittance 1 and ink of transmittance ``t = sqrt(black / paper)`` are passed twice, at places a little
    apart: ``R = paper * mean(T * (T spread))``. Light spreads by a two-sided exponential along x.

    Parameters
    ----------
    screen
        The screen as drawn.
    paper, black
        Reflectance factors of bare paper and solid black.
    growth
        How far ink runs beyond an edge, mm.
    spread
        Mean distance along x between where light enters the paper and where it leaves, mm, above 0.
    """
    pitch = screen.pitch
    line = min(screen.coverage * pitch + 2.0 * growth, pitch - _LEAST_GAP)
    k = np.arange(-_NEIGHBOURS, _NEIGHBOURS + 1) * pitch

    def twice(x: np.ndarray) -> np.ndarray:
        return np.asarray(np.maximum(x, 0.0) + spread / 2 * np.exp(-np.abs(x) / spread))

    both = float((twice(k + line) - 2.0 * twice(k) + twice(k - line)).sum()) / pitch
    stopped = 1.0 - float(np.sqrt(black / paper))
    return paper * (1.0 - 2.0 * stopped * line / pitch + stopped**2 * both)


@dataclass(frozen=True, eq=False, slots=True)
class AreaMeans:
    """The mean of each area, two ways; they part where a pattern shows."""

    light: np.ndarray
    """Shape (N, 3): file-linear value whose light is the mean light, by the tone curve it was read with."""
    codes: np.ndarray
    """Shape (N, 3): file-linear value of the mean code."""
    beats: np.ndarray
    """Shape (N,): how far the pixel grid may beat with the lines of a screen, as a share of paper's light."""
    usable: np.ndarray
    """Shape (N,), bool: False where an area is outside the photo, too small or clipped."""


def read_areas(
    image: LinearImage,
    fit: StripFit,
    areas: Sequence[GreyPatch | Screen],
    curve: tuple[np.ndarray, np.ndarray],
) -> AreaMeans:
    """Read greys and screens from the photo's own pixels, none interpolated.

    Parameters
    ----------
    image, fit
        The photo, and where its strip lies.
    areas
        What to read.
    curve
        Rising tables (log of a file-linear value, log of light): pixels are averaged in light by them.
    """
    light, codes, beats = np.zeros((len(areas), 3)), np.zeros((len(areas), 3)), np.zeros(len(areas))
    usable = np.zeros(len(areas), dtype=bool)
    log_light = np.interp(np.log(np.maximum(image.decode, 1e-5)), *curve)
    table = np.exp(log_light).astype(np.float32)
    step = np.arange(len(image.decode), dtype=float)
    for i, area in enumerate(areas):
        found = _pixels(image, fit, area.sample)
        if found is None:
            continue
        window, places, weight = found
        mean_light = np.einsum("hw,hwk->k", weight, apply_table(window, table))
        light[i] = np.exp(np.interp(np.log(np.maximum(mean_light, 1e-9)), curve[1], curve[0]))
        codes[i] = np.interp(np.einsum("hw,hwk->k", weight, window.astype(float)), step, image.decode)
        clipped = float((weight * (window >= len(table) - 1).any(axis=-1)).sum())
        usable[i] = bool((codes[i] > 1e-4).all()) and clipped < _CLIPPED
        if isinstance(area, Screen):
            beats[i] = _beat(area, places[..., 0], weight, fit.px_per_mm)
    return AreaMeans(light, codes, beats, usable)


def _pixels(image: LinearImage, fit: StripFit, area: Rect) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Return the codes about an area, their places in mm and their weights, which sum to 1; None if it is not whole."""
    corners = fit.pixels(area.corners())
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
    if left < 0 or top < 0 or right > image.size[0] or bottom > image.size[1]:
        return None
    x, y = np.meshgrid(np.arange(left, right), np.arange(top, bottom))
    places = apply_homography(np.linalg.inv(fit.to_pixels), np.stack([x, y], axis=-1))
    along = np.minimum(places[..., 0] - area.x, area.right - places[..., 0])
    across = np.minimum(places[..., 1] - area.y, area.bottom - places[..., 1])
    weight = np.clip(along / _TAPER, 0.0, 1.0) * np.clip(across / _TAPER, 0.0, 1.0)
    if weight.sum() < _LEAST:
        return None
    return image.encoded[top:bottom, left:right], places, weight / weight.sum()


def _beat(screen: Screen, x: np.ndarray, weight: np.ndarray, px_per_mm: float) -> float:
    """Return the deviation of a screen's mean from its lines' phase against the pixel grid, as a share of paper."""
    strength = 2.0 * np.sin(np.pi * _HARMONICS * screen.coverage) / (np.pi * _HARMONICS)
    waves = _HARMONICS / (screen.pitch * px_per_mm)
    seen = np.sinc(waves) * np.exp(-2.0 * (np.pi * _BLUR * waves) ** 2)
    left = [abs((weight * np.exp(2j * np.pi * k * x / screen.pitch)).sum()) for k in _HARMONICS]
    return float(np.sqrt(0.5 * ((strength * seen * np.array(left)) ** 2).sum()))
