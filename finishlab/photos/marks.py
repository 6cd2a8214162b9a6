"""What a file says of itself beside its picture that makes a measurement less sure: gain maps and panoramas."""

from __future__ import annotations

from typing import Final

from finishlab.photos.files import PhotoFile
from finishlab.quality import Doubt, doubt

__all__ = ["file_doubts"]

_GAIN_MAP: Final = (
    b"hdrgm:Version",
    b"urn:iso:std:iso:ts:21496:-1",
    b"aux:hdrgainmap",
    b"HDRGainMap:HDRGainMapVersion",
)
"""Marks of a gain map: the XMP name space of Adobe's gain map specification 1.0, ISO/TS 21496-1's URN, and the
auxiliary picture type and name space that Apple writes (the last two from memory)."""
_PANORAMA: Final = b"http://ns.google.com/photos/1.0/panorama/"
"""XMP name space of the photo sphere metadata, used for flat panoramas too."""
_HEAD: Final = 1 << 20
_LONG: Final = 2.4
"""Width over height, or height over width, that no camera's sensor has (common practice, no source)."""


def file_doubts(file: PhotoFile, size: tuple[int, int]) -> tuple[Doubt, ...]:
    """Return the doubts that a file's marks and shape call for.

    Parameters
    ----------
    file
        The photo's bytes.
    size
        Width and height of the upright photo.
    """
    out = []
    if file.format in ("JPEG", "HEIC") and any(mark in file.data for mark in _GAIN_MAP):
        out.append(doubt("gain-map"))
    if max(size) > _LONG * min(size) or file.data.find(_PANORAMA, 0, _HEAD) >= 0:
        out.append(doubt("panorama"))
    return tuple(out)
