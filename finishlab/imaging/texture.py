"""How a surface looks beyond its mean: how strong the grain is, which way it runs, how blotchy the rest is.

Lightness is taken over half-millimetre squares, since pores are finer and a camera's noise lives there. What differs
within eight millimetres is grain; what differs from one place to another beyond that is blotch. The direction is that
of the structure tensor: the mean of the gradient's outer products (J. Bigun, G. H. Granlund, Proc. 1st ICCV (1987)
433-438), whose weaker eigenvector runs along the grain.

Whether the photo is blurred all over is told from its own strongest edges, strip or not. A sharp photo has a sharp edge
somewhere: a board's side, a tag, grain. In a blurred one even the strongest edges take many pixels. A photo without
strong edges, of a bare wall or a soft shadow, says nothing either way and is not called blurred. In a very noisy photo
the noise passes for sharp edges, and it is not called blurred either.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.imaging.colours import LUMA
from finishlab.imaging.opencv import cv2, grey_of, shrink
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import CorrectedImage

__all__ = ["TextureFigures", "looks_blurred", "texture_of"]

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


_LONG_SIDE: Final = 1200
"""Size at which edges are looked at: that at which the strip's tags are looked for first."""
_REACH: Final = 16
"""Pixels about an edge in which no stronger one may lie, and over which its contrast is taken."""
_CONTRAST: Final = (20, 40)
"""Least contrast, in codes of 255, of an edge that can show the photo to be sharp, and of one to judge by."""
_EDGES: Final = 12
"""Edges that are enough to judge by."""
_SHARPEST: Final = 0.05
"""Share of the edges that may be sharp by chance, as noise or a fleck makes them."""
_WIDE: Final = 6.0
"""Rise from 10 to 90 %, in pixels, above which tags are not found any more."""
_BOTH_WAYS: Final = 0.1
"""Least share of edges across the main direction: one soft shadow has edges one way only."""


def looks_blurred(image: LinearImage) -> bool:
    """Return whether even the strongest edges of a photo are wide; False where it has too few to tell."""
    grey = grey_of(image.encoded)
    # A little smoothing keeps noise from passing for sharp edges.
    grey = cv2.GaussianBlur(shrink(grey, max(grey.shape) / _LONG_SIDE).astype(np.float32), (0, 0), 1.0)
    across, down = (cv2.Sobel(grey, cv2.CV_32F, dx, 1 - dx, ksize=3, scale=1 / 8) for dx in (1, 0))
    slope = np.hypot(across, down)
    around = np.ones((2 * _REACH + 1, 2 * _REACH + 1), np.uint8)
    contrast = cv2.dilate(grey, around) - cv2.erode(grey, around)
    strongest = (slope >= cv2.dilate(slope, around)) & (contrast >= _CONTRAST[0])
    inside = np.zeros_like(strongest)
    inside[_REACH:-_REACH, _REACH:-_REACH] = True
    rows, columns = np.nonzero(strongest & inside)
    strong = contrast[rows, columns] >= _CONTRAST[1]
    if strong.sum() < _EDGES:
        return False
    width = 0.8 * contrast[rows, columns] / slope[rows, columns]
    rows, columns = rows[strong], columns[strong]
    steep = slope[rows, columns]
    direction = np.stack([across[rows, columns], down[rows, columns]]) / steep
    if np.linalg.eigvalsh(direction @ direction.T / len(rows))[0] < _BOTH_WAYS:
        return False
    return bool(np.quantile(width, _SHARPEST) > _WIDE)
