"""How a surface looks beyond its mean: how strong the grain is, which way it runs, how blotchy the rest is.

Lightness is taken over half-millimetre squares, since pores are finer and a camera's noise lives there. What differs
within eight millimetres is grain; what differs from one place to another beyond that is blotch. The direction is that
of the structure tensor: the mean of the gradient's outer products (J. Bigun, G. H. Granlund, Proc. 1st ICCV (1987)
433-438), whose weaker eigenvector runs along the grain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.imaging.colours import LUMA
from finishlab.imaging.corrected import CorrectedImage
from finishlab.imaging.opencv import cv2

__all__ = ["TextureFigures", "texture_of"]

_FINE_MM: Final = 0.5
_COARSE_MM: Final = 8.0
"""Squares whose means bound the grain; both common practice, no source."""
_FILLED: Final = 0.7
"""Share of a square that must be surface for it to count."""
_CLEAR: Final = 0.30
"""Coherence from which grain is said to have a direction; texture without any stays below, see the tests."""
_LEAST_CONTRAST: Final = 0.35
"""Grain in L* below which noise and JPEG blocks may have a direction of their own."""
_LEAST_CELLS: Final = 200


@dataclass(frozen=True, slots=True)
class TextureFigures:
    """Texture of the sampled part of a field."""

    contrast: float
    """Standard deviation of L* between 0.5 and 8 mm."""
    blotch: float
    """Standard deviation of L* beyond 8 mm."""
    coherence: float
    """How much the texture runs one way: 0 none, 1 lines."""
    direction_deg: float | None
    """Angle of the grain from the grid's x axis, clockwise, above -90 up to 90; None without a clear direction."""


def texture_of(image: CorrectedImage, mask: np.ndarray) -> TextureFigures | None:
    """Return the texture of the part of a corrected field that a mask holds, None if it is too small to tell.

    Parameters
    ----------
    image
        The corrected field.
    mask
        Shape (h, w), bool: what is surface.
    """
    step = max(1, round(_FINE_MM * image.px_per_mm))
    size = (mask.shape[1] // step, mask.shape[0] // step)
    if min(size) < 8:
        return None
    grey = cv2.transform(image.rgb, LUMA.astype(np.float32)[None])
    solid = mask.astype(np.float32)
    share = _squares(solid, size, step)
    mean = _squares(grey * solid, size, step) / np.maximum(share, 1e-6)
    there = share > _FILLED
    if there.sum() < _LEAST_CELLS:
        return None
    lightness = np.where(there, lightness_of_reflectance(np.maximum(mean, 0.0)), 0.0).astype(np.float32)
    weight = there.astype(np.float32)
    wide = max(3, round(_COARSE_MM * image.px_per_mm / step))
    filled = cv2.blur(weight, (wide, wide), borderType=cv2.BORDER_REFLECT)
    low = cv2.blur(lightness, (wide, wide), borderType=cv2.BORDER_REFLECT) / np.maximum(filled, 1e-3)
    grain = (lightness - low) * weight
    contrast, blotch = float(grain[there].std()), float(low[there].std())
    coherence, direction = _direction(grain, there)
    clear = coherence >= _CLEAR and contrast >= _LEAST_CONTRAST
    return TextureFigures(contrast, blotch, coherence, direction if clear else None)


def _squares(values: np.ndarray, size: tuple[int, int], step: int) -> np.ndarray:
    """Return the means of `step` x `step` pixels; what is left over at the right and below is dropped."""
    whole = values[: size[1] * step, : size[0] * step]
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA))


def _direction(grain: np.ndarray, there: np.ndarray) -> tuple[float, float]:
    """Return coherence and the angle of the grain in degrees, above -90 up to 90."""
    # Smoothing before the gradient: single squares hold the noise and the steps of JPEG.
    smooth = cv2.GaussianBlur(grain, (0, 0), 1.0)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    # The border of what is sampled is no grain.
    inner = cv2.erode(there.astype(np.uint8), np.ones((7, 7), np.uint8), borderType=cv2.BORDER_REPLICATE) > 0
    if inner.sum() < _LEAST_CELLS:
        return 0.0, 0.0
    # Plain sums: a library that starts threads for a dot product takes longer than the sum.
    x, y = gx[inner].astype(float), gy[inner].astype(float)
    xx, yy, xy = (float((one * other).sum()) for one, other in ((x, x), (y, y), (x, y)))
    if xx + yy <= 0:
        return 0.0, 0.0
    coherence = float(np.hypot(xx - yy, 2 * xy)) / (xx + yy)
    across = np.rad2deg(0.5 * np.arctan2(2 * xy, xx - yy))
    return coherence, float(across - 90 if across > 0 else across + 90)
