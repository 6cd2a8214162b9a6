"""What a file says of itself beside its picture that makes a measurement less sure: gain map, panorama, coarse JPEG."""

from __future__ import annotations

from typing import Any, Final

from finishlab.photos.files import PhotoFile
from finishlab.quality import Doubt, doubt

__all__ = ["GAIN_MAP", "PANORAMA", "chroma_step", "file_doubts"]

GAIN_MAP: Final = (
    b"hdrgm:Version",
    b"urn:iso:std:iso:ts:21496:-1",
    b"aux:hdrgainmap",
    b"HDRGainMap:HDRGainMapVersion",
)
"""Marks of a gain map: the XMP name space of Adobe's gain map specification 1.0, ISO/TS 21496-1's URN, and the
auxiliary picture type and name space that Apple writes (the last two from memory)."""
PANORAMA: Final = b"http://ns.google.com/photos/1.0/panorama/"
"""XMP name space of the photo sphere metadata, used for flat panoramas too."""
_HEAD: Final = 1 << 20
_LONG: Final = 2.4
"""Width over height, or height over width, that no camera's sensor has (common practice, no source)."""
_COARSE: Final = 1.4
"""Step of a block's mean chroma, in codes, from which colours are said to be rounded: quality 67 and below of the usual
tables. There a pair moves by 0.1 to 0.3 on average (docs/decisions/0016-rounded-chroma.md)."""
_BLOCK: Final = 8
"""Side of a JPEG block in pixels; its mean is its first coefficient over this (ISO/IEC 10918-1)."""


def chroma_step(image: Any) -> float:  # noqa: ANN401 - a JPEG has tables its base class lacks
    """Return in what steps, in codes, a JPEG keeps the mean chroma of a block; 0 for what has none.

    Parameters
    ----------
    image
        The picture as Pillow opened it.
    """
    layers: list[Any] = getattr(image, "layer", [])
    tables: dict[int, Any] = getattr(image, "quantization", {})
    if len(layers) != 3:
        return 0.0
    table = tables.get(layers[1][3])
    return float(table[0]) / _BLOCK if table else 0.0


def file_doubts(file: PhotoFile, size: tuple[int, int], step: float = 0.0) -> tuple[Doubt, ...]:
    """Return the doubts that a file's marks and shape call for.

    Parameters
    ----------
    file
        The photo's bytes.
    size
        Width and height of the upright photo.
    step
        See `chroma_step`.
    """
    out = []
    if step >= _COARSE:
        out.append(doubt("coarse-jpeg"))
    if file.format in ("JPEG", "HEIC") and any(mark in file.data for mark in GAIN_MAP):
        out.append(doubt("gain-map"))
    if max(size) > _LONG * min(size) or file.data.find(PANORAMA, 0, _HEAD) >= 0:
        out.append(doubt("panorama"))
    return tuple(out)
