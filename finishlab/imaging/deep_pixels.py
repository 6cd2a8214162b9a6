"""Pixels OpenCV handles better than the photo library: 16 bit PNG and TIFF, and turning a photo upright."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import numpy as np

from finishlab.imaging.opencv import cv2

__all__ = ["decode_16bit", "turn_upright"]

_QUARTER_TURNS: Final = {
    3: cv2.ROTATE_180,
    6: cv2.ROTATE_90_CLOCKWISE,
    8: cv2.ROTATE_90_COUNTERCLOCKWISE,
}
_FLIPS: Final = {2: 1, 4: 0}
_STRIPE_PIXELS: Final = 500_000


@contextmanager
def _silent() -> Iterator[None]:
    """Keep OpenCV from writing remarks about unknown TIFF tags to stderr."""
    # Version 4 has the setting at the top, version 5 in a module of its own.
    set_level: Callable[[int], int] = getattr(cv2, "setLogLevel", None) or cv2.utils.logging.setLogLevel
    before = set_level(0)
    try:
        yield
    finally:
        set_level(before)


def decode_16bit(data: bytes) -> np.ndarray | None:
    """Decode a PNG or TIFF without reducing its depth.

    Parameters
    ----------
    data
        The whole file.

    Returns
    -------
    ndarray or None
        Shape (H, W), (H, W, 3) or (H, W, 4), RGB order, uint8 or uint16, not turned for a PNG, turned upright for a
        TIFF (OpenCV follows the TIFF's own orientation tag). None when OpenCV cannot decode the file.
    """
    with _silent():
        try:
            pixels = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
        except cv2.error:
            return None
    if pixels is None:
        return None
    swap = {3: cv2.COLOR_BGR2RGB, 4: cv2.COLOR_BGRA2RGBA}.get(pixels.shape[2] if pixels.ndim == 3 else 1)
    if swap is not None:
        # In stripes: in place OpenCV would first copy the whole picture, which may have half a gigabyte.
        rows = max(1, _STRIPE_PIXELS // pixels.shape[1])
        for top in range(0, pixels.shape[0], rows):
            pixels[top : top + rows] = cv2.cvtColor(pixels[top : top + rows], swap)
    return np.asarray(pixels)


def turn_upright(codes: np.ndarray, orientation: int) -> np.ndarray:
    """Return pixels as they are to be looked at.

    Parameters
    ----------
    codes
        Shape (H, W, 3) as stored in the file.
    orientation
        EXIF tag 274 (CIPA DC-008, Exif 2.32), 1 to 8; any other value leaves the pixels as they are.

    Returns
    -------
    ndarray, shape (H, W, 3) or (W, H, 3)
        A contiguous array: windows of a turned view are slow to read, and OpenCV turns a photo in a fraction of that.
    """
    if orientation in _QUARTER_TURNS:
        return np.asarray(cv2.rotate(codes, _QUARTER_TURNS[orientation]))
    if orientation in _FLIPS:
        return np.asarray(cv2.flip(codes, _FLIPS[orientation]))
    if orientation == 5:
        return np.asarray(cv2.transpose(codes))
    if orientation == 7:
        return np.asarray(cv2.flip(cv2.transpose(codes), -1))
    return codes
