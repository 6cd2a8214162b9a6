"""What OpenCV does fast: code tables, warps, size changes, 16 bit files, turning; and the one import of it.

Its import says in one sentence what is missing where a system library it needs is not installed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import numpy as np

from finishlab.errors import MissingLibraryError

__all__ = ["cv2"]

try:
    import cv2
except ImportError as error:  # opencv-python links to libGL and glib, which a bare server lacks
    raise MissingLibraryError(
        "opencv-library-missing",
        f"OpenCV cannot be loaded, because a system library is missing ({error}).",
        "Install it once with: apt-get install -y libgl1 libglib2.0-0",
    ) from error


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
