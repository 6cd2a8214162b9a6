"""Camera raw files through LibRaw: linear light as the sensor counted it, with no phone's tone curve to undo.

rawpy is an optional extra. This module is its only doorway.
"""

from __future__ import annotations

import io
import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import numpy as np
from PIL import Image

from finishlab.errors import PhotoError
from finishlab.photos.files import PhotoFile
from finishlab.photos.profiles import ColourEncoding, named_encoding

__all__ = ["RAW_WHITE", "decode_raw", "is_raw", "open_raw", "raw_encoding", "raw_exif", "raw_size", "silent"]

RAW_WHITE: Final = 65535
"""The code at which the sensor's first channel is full."""
_REDUCED_PICTURE: Final = 254
_PHOTOMETRIC: Final = 262
_DNG_VERSION: Final = 50706
_MOSAIC: Final = (32803, 34892)
"""Photometric interpretation of a colour filter array (ISO 12234-2) and of linear raw (DNG Specification 1.4)."""


def is_raw(file: PhotoFile) -> bool:
    """Say whether a file is a camera raw file, by its first bytes or its first TIFF directory."""
    if file.format != "TIFF":
        return file.format == "RAW"
    data = file.data
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, at)
    short, long = order + "H", order + "I"
    tags = {}
    for i in range(count):  # that the directory lies inside the file was checked when it was loaded
        tag, kind = struct.unpack_from(order + "HH", data, at + 2 + 12 * i)
        (tags[tag],) = struct.unpack_from(short if kind == 3 else long, data, at + 10 + 12 * i)
    reduced = bool(tags.get(_REDUCED_PICTURE, 0) & 1)
    return _DNG_VERSION in tags or reduced or tags.get(_PHOTOMETRIC) in _MOSAIC or data[8:10] == b"CR"


@contextmanager
def silent() -> Iterator[None]:
    """Keep LibRaw and LibTIFF from writing remarks to stderr: they ask nobody and know no setting for it."""
    kept, nothing = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nothing, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nothing)


def _library(file: PhotoFile) -> Any:  # noqa: ANN401 - rawpy ships no types
    try:
        import rawpy
    except ImportError as error:
        raise PhotoError(
            "raw-extra-missing",
            f"{file.name} is a camera raw file, which needs an extra library.",
            "Install it once with: pip install 'finishlab[raw]'",
        ) from error
    return rawpy


def open_raw(file: PhotoFile) -> Any:  # noqa: ANN401 - rawpy ships no types
    """Open a raw file without unpacking it.

    Raises
    ------
    PhotoError
        ``raw-extra-missing``, ``photo-damaged`` or ``photo-format``.
    """
    rawpy = _library(file)
    raw = rawpy.RawPy()
    try:
        with silent():
            raw.open_buffer(io.BytesIO(file.data))
    except rawpy.LibRawFileUnsupportedError as error:
        raise file.unsupported("a kind of camera raw file") from error
    except rawpy.LibRawError as error:
        raise file.damaged() from error
    if raw.num_colors != 3:
        raise file.unsupported("a camera raw file without the usual three colours")
    return raw


def raw_size(raw: Any) -> tuple[int, int]:  # noqa: ANN401 - rawpy ships no types
    """Return width and height of the upright picture."""
    sizes = raw.sizes
    return (sizes.height, sizes.width) if sizes.flip & 4 else (sizes.width, sizes.height)


def raw_exif(file: PhotoFile, raw: Any, errors: tuple[type[Exception], ...]) -> Image.Exif:  # noqa: ANN401 - rawpy ships no types
    """Return the camera's EXIF: the raw file's own where it is a kind of TIFF, else that of the preview inside."""
    try:
        if file.format == "TIFF":
            exif = Image.Exif()
            exif.load(file.data)
            return exif
        preview = raw.extract_thumb()
        return Image.open(io.BytesIO(preview.data)).getexif() if isinstance(preview.data, bytes) else Image.Exif()
    except (*errors, _library(file).LibRawError):
        return Image.Exif()


def decode_raw(file: PhotoFile, raw: Any, long_side: int | None) -> np.ndarray:  # noqa: ANN401 - rawpy ships no types
    """Return linear light with the camera's white balance, upright, shape (H, W, 3), uint16, ProPhoto primaries.

    The wide primaries keep colours that sRGB would cut off. Nothing is stretched or bent: neither brightness nor the
    white level follows the picture's content, and highlights are clipped where the first channel is full.

    Parameters
    ----------
    file, raw
        The file and what `open_raw` made of it.
    long_side
        When given and half the size leaves this many pixels, each 2 x 2 cell of the mosaic becomes one pixel, which
        needs no guess of the missing colours.

    Raises
    ------
    PhotoError
        ``photo-damaged`` or ``photo-truncated``.
    """
    rawpy = _library(file)
    half = long_side is not None and max(raw_size(raw)) // 2 >= long_side
    try:
        with silent():
            pixels: np.ndarray = raw.postprocess(
                gamma=(1, 1),
                no_auto_bright=True,
                adjust_maximum_thr=0.0,
                use_camera_wb=True,
                output_bps=16,
                output_color=rawpy.ColorSpace.ProPhoto,
                highlight_mode=rawpy.HighlightMode.Clip,
                # Means of light are wanted, not edges: the plain mean of neighbours keeps them and takes least time.
                demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
                half_size=half,
            )
    except rawpy.LibRawIOError as error:
        raise file.truncated() from error
    except rawpy.LibRawError as error:
        raise file.damaged() from error
    finally:
        raw.close()
    return np.ascontiguousarray(pixels)


def raw_encoding() -> ColourEncoding:
    """Return how `decode_raw`'s codes stand for light: in proportion."""
    wide = named_encoding("ProPhoto RGB")
    return ColourEncoding("camera raw, linear (camera's white balance and matrix)", lambda x: x, wide.to_srgb)
