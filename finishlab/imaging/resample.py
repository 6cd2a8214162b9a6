"""Pixel moves that OpenCV does fast: code tables, warps and size changes, in linear light."""

from __future__ import annotations

import numpy as np

from finishlab.imaging.opencv import cv2

__all__ = ["apply_table", "grey_of", "shrink", "warp"]


def apply_table(codes: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Return the table's value of each code, float32, same shape as `codes`.

    Parameters
    ----------
    codes
        Shape (H, W, 3), uint8 or uint16.
    table
        Shape (codes,), or (codes, 3) for one table a channel.
    """
    if codes.dtype == np.uint8:
        shaped = table.reshape(1, 256, 3) if table.ndim == 2 else table
        return np.asarray(cv2.LUT(np.ascontiguousarray(codes), np.ascontiguousarray(shaped)))
    if table.ndim == 1:
        return table[codes]
    return np.stack([table[codes[..., k], k] for k in range(3)], axis=-1)


def grey_of(rgb: np.ndarray) -> np.ndarray:
    """Return a uint8 grey picture of 8 or 16 bit RGB codes, shape (H, W)."""
    if rgb.dtype == np.uint16:
        rgb = (rgb >> 8).astype(np.uint8)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY))


def shrink(image: np.ndarray, factor: float) -> np.ndarray:
    """Return the picture made smaller by `factor` (>= 1) by averaging areas."""
    if factor <= 1.0:
        return image
    size = (max(1, round(image.shape[1] / factor)), max(1, round(image.shape[0] / factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA))


def warp(image: np.ndarray, to_source: np.ndarray, size: tuple[int, int], outside: float = 0.0) -> np.ndarray:
    """Return `image` seen through a homography.

    Parameters
    ----------
    image
        Shape (H, W) or (H, W, 3).
    to_source
        Shape (3, 3): output pixel -> source pixel.
    size
        Width and height of the output.
    outside
        Value of output pixels whose source lies outside.
    """
    return np.asarray(
        cv2.warpPerspective(
            image, to_source, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT, borderValue=(outside, outside, outside),
        )
    )
