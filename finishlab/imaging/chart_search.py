"""Where a 24-patch chart may lie: the largest group of even, squarish regions that stand side by side.

Colours are not asked here, so light, white balance and tone do not matter; `finishlab.imaging.chart` judges them.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from finishlab.imaging.opencv import cv2

__all__ = ["candidate_corners"]

_WINDOWS: Final = (11, 31, 75)
"""Sides of the neighbourhoods that a pixel is compared with: small charts and large."""
_STEPS: Final = (3, -3)
_AREA: Final = (120.0, 1 / 60)
"""A patch has at least so many pixels, and at most this share of the picture."""
_SQUARE: Final = (0.8, 0.5)
"""Least share of its box that a patch fills, and least ratio of the box's sides."""
_NEAR: Final = 1.65
"""Distance of neighbours over the side of the larger."""
_ALIKE: Final = 0.65
_LEAST: Final = 10
"""Patches a group must have."""


def candidate_corners(rgb: np.ndarray) -> np.ndarray | None:
    """Return four corners around the likeliest chart, clockwise as seen, pixels, shape (4, 2); None if there is none.

    Parameters
    ----------
    rgb
        Shape (H, W, 3), uint8.
    """
    squares = _apart(_squares(rgb))
    group = _largest_group(squares) if len(squares) >= _LEAST else squares
    if len(group) < _LEAST:
        return None
    side = float(np.median(group[:, 2]))
    centre, (width, height), angle = cv2.minAreaRect(group[:, :2].astype(np.float32))
    corners = np.asarray(cv2.boxPoints((centre, (width + side, height + side), angle)), dtype=float)
    (ax, ay), (bx, by) = corners[2] - corners[0], corners[3] - corners[1]
    return corners if ax * by - ay * bx > 0 else corners[::-1]


def _squares(rgb: np.ndarray) -> np.ndarray:
    """Return centre and side of every even squarish region, shape (n, 3), many of them more than once."""
    lightness = cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2LAB)[..., 0]
    out = []
    for channel in (lightness, rgb.max(axis=-1)):
        smooth = cv2.medianBlur(np.ascontiguousarray(channel), 3)
        for window in _WINDOWS:
            for step in _STEPS:
                parts = cv2.adaptiveThreshold(smooth, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, step)
                contours, _ = cv2.findContours(parts, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
                out += [square for contour in contours if (square := _square(contour, smooth.size)) is not None]
    return np.array(out).reshape(-1, 3)


def _square(contour: np.ndarray, pixels: int) -> tuple[float, float, float] | None:
    area = float(cv2.contourArea(contour))
    if not _AREA[0] <= area <= _AREA[1] * pixels:
        return None
    (x, y), (width, height), _ = cv2.minAreaRect(contour)
    if area < _SQUARE[0] * width * height or min(width, height) < _SQUARE[1] * max(width, height):
        return None
    return float(x), float(y), float(np.sqrt(area))


def _apart(squares: np.ndarray) -> np.ndarray:
    """Return one square of each place, the largest."""
    left = squares[np.argsort(-squares[:, 2])]
    kept: list[np.ndarray] = []
    while len(left):
        first = left[0]
        kept.append(first)
        left = left[np.hypot(*(left[:, :2] - first[:2]).T) > 0.4 * first[2]]
    return np.array(kept).reshape(-1, 3)


def _largest_group(squares: np.ndarray) -> np.ndarray:
    """Return the largest set of squares that are neighbours of one another and alike in size."""
    x, y, side = squares.T
    larger, smaller = np.maximum(side[:, None], side), np.minimum(side[:, None], side)
    near = (np.hypot(x[:, None] - x, y[:, None] - y) < _NEAR * larger) & (smaller > _ALIKE * larger)
    best: list[int] = []
    open_places = set(range(len(squares)))
    while open_places:
        group = [open_places.pop()]
        for member in group:
            joined = [other for other in np.flatnonzero(near[member]).tolist() if other in open_places]
            open_places.difference_update(joined)
            group += joined
        best = max(best, group, key=len)
    return squares[best]
