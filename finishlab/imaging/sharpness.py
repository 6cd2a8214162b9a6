"""Whether a photo is blurred all over, told from its own strongest edges, strip or not.

A sharp photo has a sharp edge somewhere: a board's side, a tag, grain. In a blurred one even the strongest edges take
many pixels. A photo without strong edges, of a bare wall or a soft shadow, says nothing either way and is not called
blurred. In a very noisy photo the noise passes for sharp edges, and it is not called blurred either.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from finishlab.imaging.opencv import cv2
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.resample import grey_of, shrink

__all__ = ["looks_blurred"]

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
