"""Pixel moves that OpenCV does fast: code tables, warps and size changes, in linear light."""

from __future__ import annotations

import numpy as np

from finishlab.imaging.opencv import cv2

__all__ = ["any_channel_at_least", "apply_table", "channel_mean", "enlarge", "grey_of", "recolour", "shrink", "warp"]


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
        return np.asarray(table[codes])
    return np.stack([table[codes[..., k], k] for k in range(3)], axis=-1)


def recolour(rgb: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Return each pixel's three channels multiplied by a 3 x 3 matrix, float32."""
    return np.asarray(cv2.transform(np.ascontiguousarray(rgb, dtype=np.float32), matrix))


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


def channel_mean(rgb: np.ndarray) -> np.ndarray:
    """Return the mean of the three channels, shape (H, W), float32; far quicker than a sum over a short last axis."""
    return np.asarray(cv2.transform(np.ascontiguousarray(rgb, dtype=np.float32), np.full((1, 3), 1 / 3)))


def any_channel_at_least(rgb: np.ndarray, limits: np.ndarray) -> np.ndarray:
    """Return where a channel is at or above its limit, shape (H, W), bool; `limits` is one number or three."""
    limit = np.broadcast_to(limits, (3,))
    return np.asarray((rgb[..., 0] >= limit[0]) | (rgb[..., 1] >= limit[1]) | (rgb[..., 2] >= limit[2]))


def enlarge(image: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Return a smooth picture at a larger size (width, height), interpolated linearly."""
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_LINEAR))


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
            image,
            to_source,
            size,
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(outside, outside, outside),
        )
    )
