"""Pictures with known pixels and profiles with known curves, for the tests of photos."""

from __future__ import annotations

import io
import struct
from typing import Any

import numpy as np
import pillow_heif
from PIL import ExifTags, Image

from finishlab.photos.profiles import matrix_profile

CORNERS = np.array([[(200, 30, 30), (30, 160, 40)], [(40, 50, 190), (230, 220, 60)]], dtype=np.uint8)
"""Top left red, top right green, bottom left blue, bottom right yellow."""


def blocks(width: int = 96, height: int = 64) -> np.ndarray:
    """Return a picture of four plain blocks, `CORNERS`, shape (height, width, 3), uint8."""
    return np.repeat(np.repeat(CORNERS, height // 2, axis=0), width // 2, axis=1)


def corners_of(pixels: np.ndarray) -> np.ndarray:
    """Return the colours in the middle of the four quarters, shape (2, 2, 3)."""
    height, width = pixels.shape[:2]
    rows, columns = (height // 4, height - height // 4), (width // 4, width - width // 4)
    return np.array([[pixels[y, x] for x in columns] for y in rows])


def exif_block(*, orientation: int = 1, space: int | None = None, index: str | None = None, **texts: str) -> Image.Exif:
    """Return EXIF data; `texts` are make, model, original (DateTimeOriginal) and offset."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    for key, tag in (("make", ExifTags.Base.Make), ("model", ExifTags.Base.Model)):
        if key in texts:
            exif[tag] = texts[key]
    details: dict[int, Any] = {}
    for key, tag in (("original", ExifTags.Base.DateTimeOriginal), ("offset", ExifTags.Base.OffsetTimeOriginal)):
        if key in texts:
            details[tag] = texts[key]
    if space is not None:
        details[ExifTags.Base.ColorSpace] = space
    if index is not None:
        details[ExifTags.IFD.Interop] = {ExifTags.Interop.InteropIndex: index}
    if details:
        exif[ExifTags.IFD.Exif] = details
    return exif


def saved(pixels: np.ndarray | Image.Image, kind: str, **options: Any) -> bytes:
    """Return a picture as Pillow writes it."""
    picture = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def jpeg_photo(
    pixels: np.ndarray, *, quality: int = 92, profile: bytes | None = None, exif: Image.Exif | None = None
) -> bytes:
    """Return a JPEG as a camera writes it: its profile, sRGB's unless named, and what it says of itself."""
    said = b"" if exif is None else exif.tobytes()
    icc = profile or matrix_profile("sRGB")
    return saved(pixels, "JPEG", quality=quality, subsampling="4:4:4", optimize=True, icc_profile=icc, exif=said)


def saved_heic(pixels: np.ndarray, **options: Any) -> bytes:
    """Return a HEIC file of 8 or 16 bit RGB pixels (the encoder keeps 10 bits of 16)."""
    mode = "RGB" if pixels.dtype == np.uint8 else "RGB;16"
    size = (pixels.shape[1], pixels.shape[0])
    image = pillow_heif.from_bytes(mode=mode, size=size, data=np.ascontiguousarray(pixels).tobytes())
    out = io.BytesIO()
    image.save(out, quality=100, chroma=444, **options)
    return out.getvalue()


def with_element(profile: bytes, signature: bytes, element: bytes, *, rename: bytes | None = None) -> bytes:
    """Return an ICC profile with the element of one tag replaced, and the tag renamed."""
    at = next(i for i in range(132, 132 + 12 * profile[131], 12) if profile[i : i + 4] == signature)
    entry = struct.pack(">4sII", rename or signature, len(profile), len(element))
    out = profile[:at] + entry + profile[at + 12 :] + element
    out += bytes(-len(out) % 4)
    return bytes(struct.pack(">I", len(out)) + out[4:])


def sampled_curve(levels: np.ndarray) -> bytes:
    """Return a curveType of levels 0..1."""
    values: bytes = np.rint(levels * 65535).astype(">u2").tobytes()
    return b"curv\0\0\0\0" + struct.pack(">I", len(levels)) + values


def parametric_curve(kind: int, *parameters: float) -> bytes:
    """Return a parametricCurveType."""
    return b"para\0\0\0\0" + struct.pack(f">HH{len(parameters)}i", kind, 0, *(round(p * 65536) for p in parameters))


def with_curves(element: bytes, *, channels: tuple[bytes, ...] = (b"rTRC", b"gTRC", b"bTRC")) -> bytes:
    """Return a Display P3 profile whose channels follow another curve."""
    profile = matrix_profile("Display P3")
    for channel in channels:
        profile = with_element(profile, channel, element)
    return profile
