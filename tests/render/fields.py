"""Fields smoothed, stretched, averaged and read between their cells: what a render does most."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import cv2
import numpy as np

__all__ = ["averaged", "gaussian", "look_up", "stretched"]


def gaussian(
    field: np.ndarray, sigma: float | tuple[float, float], *, rim: Literal["nearest", "wrap"], reach: float = 4.0
) -> np.ndarray:
    """Return a field smoothed by a Gaussian, float32.

    Parameters
    ----------
    field
        Shape (H, W) or (H, W, C).
    sigma
        Deviation in pixels, along columns and along rows if they differ.
    rim
        What lies beyond the field: its nearest value, or the field again.
    reach
        Deviations at which the Gaussian is cut off.
    """
    down, across = (_kernel(each, reach) for each in (sigma if isinstance(sigma, tuple) else (sigma, sigma)))
    field = np.asarray(field, dtype=np.float32)
    if rim == "nearest":
        return cv2.sepFilter2D(field, -1, across, down, borderType=cv2.BORDER_REPLICATE)
    rows, cols = len(down) // 2, len(across) // 2
    wrapped = np.pad(field, ((rows, rows), (cols, cols)), mode="wrap")
    inside = slice(rows, rows + field.shape[0]), slice(cols, cols + field.shape[1])
    return cv2.sepFilter2D(wrapped, -1, across, down)[inside]


def _kernel(sigma: float, reach: float) -> np.ndarray:
    half = int(reach * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma) ** 2) if sigma > 0.0 else np.ones(1)
    return np.asarray(weights / weights.sum(), dtype=np.float32)


def stretched(field: np.ndarray, steps: tuple[int, int]) -> np.ndarray:
    """Return a field stretched this many times, rows and columns, linear between its values; its rim stays."""
    for axis, step in enumerate(steps):
        if step > 1:
            many = field.shape[axis]
            at = np.linspace(0.0, many - 1, many * step)
            first = np.minimum(at.astype(int), many - 2)
            share = (at - first).astype(np.float32)
            share = share[:, None] if axis == 0 else share
            low = field.take(first, axis)
            field = low + share * (field.take(first + 1, axis) - low)
    return field


def averaged(field: np.ndarray, many: int) -> np.ndarray:
    """Return the means of blocks of `many` by `many` cells."""
    rows, cols = field.shape[0] // many, field.shape[1] // many
    return cv2.resize(field[: rows * many, : cols * many], (cols, rows), interpolation=cv2.INTER_AREA)


def look_up(fields: Iterable[np.ndarray], rows: np.ndarray, cols: np.ndarray) -> list[np.ndarray]:
    """Read fields of one shape at fractional places, bilinear, edge values beyond their rim; all float32."""
    fields = list(fields)
    height, width = fields[0].shape
    r = np.clip(rows, 0, height - 1.001)
    c = np.clip(cols, 0, width - 1.001)
    r0, c0 = r.astype(np.intp), c.astype(np.intp)
    fr, fc = (r - r0).astype(np.float32), (c - c0).astype(np.float32)
    place = r0 * width + c0
    around = [place, place + 1, place + width, place + (width + 1)]
    found = []
    for field in fields:
        here, right, below, across = (field.ravel().take(at) for at in around)
        right -= here
        right *= fc
        right += here
        across -= below
        across *= fc
        across += below
        across -= right
        across *= fr
        across += right
        found.append(np.asarray(across, dtype=np.float32))
    return found
