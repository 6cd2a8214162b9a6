"""A field of the photo with light, tone and white put right: the only thing a surface may be sampled from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.correction import Correction
from finishlab.imaging.finder import StripFit
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import FlatView, flatten
from finishlab.imaging.resample import channel_mean, enlarge, recolour
from finishlab.imaging.strip import Rect

__all__ = ["CorrectedImage", "correct"]

_PLENTY: Final = 5000
"""Places of a mask that are enough for a share."""


@dataclass(frozen=True, eq=False, slots=True)
class CorrectedImage:
    """Reflectance factors over a rectangle of the strip frame."""

    rgb: np.ndarray
    """Shape (h, w, 3), float32, linear RGB of sRGB's primaries, 1.0 a perfect white diffuser; saturation as taken."""
    inside: np.ndarray
    clipped: np.ndarray
    rect: Rect
    px_per_mm: float
    light: np.ndarray
    """Shape (h, w), float32: the light taken out, relative to the strip's centre."""

    def to_mm(self) -> np.ndarray:
        """Return the homography from pixels of this picture to millimetres of the strip frame, shape (3, 3)."""
        p = self.px_per_mm
        return np.array([[1 / p, 0, self.rect.x + 0.5 / p], [0, 1 / p, self.rect.y + 0.5 / p], [0, 0, 1]])

    def window(self, rect: Rect) -> tuple[slice, slice]:
        """Return the rows and columns of a rectangle of the strip frame."""
        view = FlatView(self.rgb, self.inside, self.clipped, self.rect, self.px_per_mm)
        return view.window(rect)

    def places(self, mask: np.ndarray) -> np.ndarray:
        """Return centres of pixels in a mask, millimetres of the strip frame, shape (N, 2): some thousands, evenly."""
        chosen = np.flatnonzero(mask)
        rows, columns = np.divmod(chosen[:: max(1, len(chosen) // _PLENTY)], mask.shape[1])
        centres = np.stack([columns, rows], axis=-1) + 0.5
        return np.asarray(centres / self.px_per_mm + np.array([self.rect.x, self.rect.y]))


def correct(image: LinearImage, fit: StripFit, correction: Correction, rect: Rect, px_per_mm: float) -> CorrectedImage:
    """Cut a rectangle out of the photo and undo tone, white balance, light and glare.

    The tone curve is undone code by code before anything is averaged, so that every mean is a mean of light.
    """
    table = correction.exposure_table(image.decode)
    view = flatten(image, fit, rect, px_per_mm, table)
    # The light is smooth: a coarse grid blown up is exact enough and costs nothing.
    coarse = _coarse_light(correction, view)
    glare = correction.glare.astype(np.float32)
    file_rgb = (view.values - glare) / coarse
    rgb = recolour(file_rgb, image.to_srgb)
    return CorrectedImage(rgb, view.inside, view.clipped, rect, px_per_mm, channel_mean(coarse))


def _coarse_light(correction: Correction, view: FlatView) -> np.ndarray:
    """Return the light at every pixel, shape (h, w, 3), from a grid of a few millimetres."""
    h, w = view.inside.shape
    columns, rows = 48, 16
    x = view.rect.x + (np.arange(columns) + 0.5) * view.rect.width / columns
    y = view.rect.y + (np.arange(rows) + 0.5) * view.rect.height / rows
    light = correction.light(np.stack(np.meshgrid(x, y), axis=-1)).astype(np.float32)
    return enlarge(light, (w, h))
