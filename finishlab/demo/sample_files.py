"""From rendered pixels to the bytes of a sample photo: JPEG or HEIC, sRGB or Display P3, marked as rendered inside."""

from __future__ import annotations

from io import BytesIO
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.spaces import linear_to_srgb, srgb_to_linear
from finishlab.demo.encode import encode_jpeg
from finishlab.photos import matrix_profile
from finishlab.photos.profiles import named_encoding

__all__ = ["MAKE", "RENDERED", "in_colours", "photo_bytes", "rendered_exif"]

MAKE: Final = "Rendered"
"""EXIF maker of every sample photo."""
RENDERED: Final = "Rendered scene, not a photograph"
_JPEG_QUALITY: Final = 88
_HEIC_QUALITY: Final = 60


def rendered_exif(model: str, taken: str) -> bytes:
    """Return the EXIF block of a rendered photo.

    Parameters
    ----------
    model
        Name of the rendered camera.
    taken
        Invented time, ``"2024:05:11 10:05:00"``.
    """
    from PIL import ExifTags, Image

    exif = Image.Exif()
    exif[ExifTags.Base.Make] = MAKE
    exif[ExifTags.Base.Model] = model
    exif[ExifTags.Base.ImageDescription] = RENDERED
    exif[ExifTags.Base.Orientation] = 1
    exif[ExifTags.IFD.Exif] = {
        int(ExifTags.Base.DateTimeOriginal): taken,
        int(ExifTags.Base.UserComment): b"ASCII\0\0\0" + RENDERED.encode("ascii"),
    }
    return exif.tobytes()


def in_colours(pixels: np.ndarray, colours: Literal["sRGB", "Display P3"]) -> np.ndarray:
    """Return sRGB pixels, shape (H, W, 3) uint8, coded in another colour space."""
    if colours == "sRGB":
        return pixels
    matrix = np.linalg.inv(named_encoding(colours).to_srgb).astype(np.float32)
    linear = np.asarray(srgb_to_linear(pixels / np.float32(255.0)), dtype=np.float32) @ matrix.T
    # Display P3 has sRGB's transfer function
    return np.asarray(np.rint(linear_to_srgb(np.clip(linear, 0.0, 1.0)) * 255.0), dtype=np.uint8)


def photo_bytes(
    pixels: np.ndarray, kind: Literal["jpeg", "heic"], colours: Literal["sRGB", "Display P3"], exif: bytes
) -> bytes:
    """Return the file of a rendered photo.

    Parameters
    ----------
    pixels
        sRGB, shape (H, W, 3), uint8.
    kind
        Format of the file.
    colours
        Colour space the file is coded in; its profile is embedded.
    exif
        From `rendered_exif`.
    """
    coded, profile = in_colours(pixels, colours), matrix_profile(colours)
    if kind == "jpeg":
        return encode_jpeg(coded, _JPEG_QUALITY, "4:2:0", icc=profile, exif=exif)
    from pillow_heif import from_bytes

    picture = from_bytes(mode="RGB", size=(coded.shape[1], coded.shape[0]), data=np.ascontiguousarray(coded).tobytes())
    picture.info["exif"], picture.info["icc_profile"], picture.info["icc_profile_type"] = exif, profile, "prof"
    out = BytesIO()
    picture.save(out, quality=_HEIC_QUALITY)
    return out.getvalue()
