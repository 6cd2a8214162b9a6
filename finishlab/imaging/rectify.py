"""The strip and its two fields laid flat: a grid of millimetres cut out of the photo, in linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.finder import StripFit, apply_homography
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.resample import any_channel_at_least, apply_table, shrink, warp
from finishlab.imaging.strip import Rect

__all__ = ["FlatView", "flatten"]

_BAND_ROWS: Final = 512
"""Rows made linear at a time, so that a 100 megapixel photo stays within memory."""


@dataclass(frozen=True, eq=False, slots=True)
class FlatView:
    """A rectangle of the strip frame on an even grid."""

    values: np.ndarray
    """Shape (h, w, 3), float32; what they mean is the caller's table: file-linear values or scene exposure."""
    inside: np.ndarray
    """Shape (h, w), bool: the pixel lies in the photo."""
    clipped: np.ndarray
    """Shape (h, w), bool: a channel is at the top of its range."""
    rect: Rect
    px_per_mm: float

    def places(self) -> np.ndarray:
        """Return each pixel centre in millimetres, shape (h, w, 2)."""
        h, w = self.inside.shape
        x = self.rect.x + (np.arange(w) + 0.5) / self.px_per_mm
        y = self.rect.y + (np.arange(h) + 0.5) / self.px_per_mm
        return np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)

    def window(self, rect: Rect) -> tuple[slice, slice]:
        """Return the rows and columns whose pixel centres lie in a rectangle of the strip frame."""
        p = self.px_per_mm
        h, w = self.inside.shape
        x0, x1 = (np.clip(round((x - self.rect.x) * p), 0, w) for x in (rect.x, rect.right))
        y0, y1 = (np.clip(round((y - self.rect.y) * p), 0, h) for y in (rect.y, rect.bottom))
        return slice(int(y0), int(y1)), slice(int(x0), int(x1))


def flatten(image: LinearImage, fit: StripFit, rect: Rect, px_per_mm: float, table: np.ndarray) -> FlatView:
    """Cut a rectangle of the strip frame out of the photo.

    Parameters
    ----------
    image
        The photo.
    fit
        Where the strip lies in it.
    rect
        What to cut out, in millimetres.
    px_per_mm
        Resolution of the result.
    table
        Value of each code, shape (codes,) or (codes, 3), float32. Averaging happens on these values, so the table
        decides in which light the mean is taken.

    Returns
    -------
    FlatView
    """
    size = (round(rect.width * px_per_mm), round(rect.height * px_per_mm))
    to_mm = np.array(
        [[1 / px_per_mm, 0, rect.x + 0.5 / px_per_mm], [0, 1 / px_per_mm, rect.y + 0.5 / px_per_mm], [0, 0, 1]]
    )
    to_source = fit.to_pixels @ to_mm
    left, top, right, bottom = _bounds(to_source, size, image.size)
    if right - left < 2 or bottom - top < 2:
        empty = np.zeros((size[1], size[0]), dtype=bool)
        return FlatView(np.zeros((size[1], size[0], 3), np.float32), empty, empty.copy(), rect, px_per_mm)
    step = max(1, int(fit.px_per_mm / px_per_mm))
    crop = _linear_crop(image.encoded[top:bottom, left:right], table, step)
    to_crop = np.array([[1 / step, 0, (0.5 - left) / step - 0.5], [0, 1 / step, (0.5 - top) / step - 0.5], [0, 0, 1]])
    values = warp(crop, to_crop @ to_source, size)
    grid = np.array([[-0.5, -0.5], [size[0] - 0.5, -0.5], [size[0] - 0.5, size[1] - 0.5], [-0.5, size[1] - 0.5]])
    corners = apply_homography(to_source, grid)
    w, h = image.size
    if corners.min() > 0.5 and corners[:, 0].max() < w - 1.5 and corners[:, 1].max() < h - 1.5:
        inside = np.ones((size[1], size[0]), dtype=bool)
    else:
        x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
        p = apply_homography(to_source, np.stack([x, y], axis=-1))
        inside = (p[..., 0] >= 0.5) & (p[..., 1] >= 0.5) & (p[..., 0] <= w - 1.5) & (p[..., 1] <= h - 1.5)
    top_value = table[-1 - max(1, len(table) // 128)]
    clipped = any_channel_at_least(values, top_value) & inside
    return FlatView(values, inside, clipped, rect, px_per_mm)


def _bounds(to_source: np.ndarray, size: tuple[int, int], photo: tuple[int, int]) -> tuple[int, int, int, int]:
    """Return the photo window (left, top, right, bottom) that the output needs, clipped to the photo."""
    grid = np.array([[-1.0, -1.0], [size[0], -1.0], [size[0], size[1]], [-1.0, size[1]]])
    corners = apply_homography(to_source, grid)
    left, top = np.floor(corners.min(axis=0)).astype(int) - 2
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 3
    return max(0, int(left)), max(0, int(top)), min(photo[0], int(right)), min(photo[1], int(bottom))


def _linear_crop(codes: np.ndarray, table: np.ndarray, step: int) -> np.ndarray:
    """Return codes as table values, averaged over `step` x `step` pixels, a band of rows at a time."""
    if step == 1:
        return apply_table(codes, table)
    h, w = (codes.shape[0] // step) * step, (codes.shape[1] // step) * step
    rows = max(step, _BAND_ROWS // step * step)
    return np.concatenate(
        [shrink(apply_table(codes[y : min(y + rows, h), :w], table), step) for y in range(0, h, rows)]
    )
