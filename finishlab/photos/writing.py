"""From pixels back to a file: JPEG and PNG in sRGB, and thumbnails.

What is written carries the picture and its profile and nothing of the source's metadata, so a shared page does not tell
where a house stands.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np
from PIL import ExifTags, Image, PngImagePlugin

from finishlab.colorimetry.spaces import srgb8_of_linear
from finishlab.files import write_atomically
from finishlab.imaging.pixels import LinearImage
from finishlab.photos.profiles import matrix_profile
from finishlab.photos.reading import read_photo

__all__ = ["CameraTags", "srgb_pixels", "thumbnail", "write_jpeg", "write_png"]

_STRIPE_PIXELS: Final = 500_000
"""A photo is converted in stripes: a float copy of a whole one would take hundreds of megabytes."""


@dataclass(frozen=True, slots=True)
class CameraTags:
    """What a camera writes into a photo of its own; for rendered photos that stand in for real ones."""

    make: str
    model: str
    taken: datetime
    """Local time of exposure; its offset is written too when it has one."""
    orientation: int = 1
    """EXIF orientation, 1 to 8, of the pixels as stored."""

    def __post_init__(self) -> None:
        if not 1 <= self.orientation <= 8:
            raise ValueError("an orientation is 1 to 8")

    def exif(self) -> bytes:
        """Return the EXIF block."""
        exif = Image.Exif()
        exif[ExifTags.Base.Make] = self.make
        exif[ExifTags.Base.Model] = self.model
        exif[ExifTags.Base.Orientation] = self.orientation
        details = {int(ExifTags.Base.DateTimeOriginal): self.taken.strftime("%Y:%m:%d %H:%M:%S")}
        offset = self.taken.strftime("%z")
        if offset:
            details[ExifTags.Base.OffsetTimeOriginal] = f"{offset[:3]}:{offset[3:5]}"
        exif[ExifTags.IFD.Exif] = details
        return exif.tobytes()


def srgb_pixels(image: LinearImage) -> np.ndarray:
    """Return a photo's decoded pixels in sRGB, shape (H, W, 3), uint8; colours outside sRGB are clipped."""
    height, width = image.encoded.shape[:2]
    out = np.empty((height, width, 3), dtype=np.uint8)
    matrix = image.to_srgb.T.astype(np.float32)
    rows = max(1, _STRIPE_PIXELS // width)
    for top in range(0, height, rows):
        out[top : top + rows] = srgb8_of_linear(image.decode[image.encoded[top : top + rows]] @ matrix)
    return out


def _picture(pixels: np.ndarray, long_side: int | None) -> Image.Image:
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3:
        raise ValueError("a picture is an (H, W, 3) array of 8 bit codes")
    picture = Image.fromarray(np.ascontiguousarray(pixels))
    if long_side is not None and max(picture.size) > long_side:
        factor = long_side / max(picture.size)
        size = max(1, round(picture.width * factor)), max(1, round(picture.height * factor))
        picture = picture.resize(size, Image.Resampling.LANCZOS, reducing_gap=3.0)
    return picture


def write_jpeg(
    pixels: np.ndarray,
    *,
    quality: int,
    long_side: int | None = None,
    profile: bytes | None = None,
    camera: CameraTags | None = None,
) -> bytes:
    """Return a JPEG of sRGB pixels.

    Parameters
    ----------
    pixels
        Shape (H, W, 3), uint8, RGB.
    quality
        1 to 95, libjpeg's scale; colour is kept at full resolution from 90 up.
    long_side
        Make the picture smaller until its long side has no more than this many pixels.
    profile
        ICC profile the pixels are coded in, to be embedded in place of sRGB's.
    camera
        EXIF data for a rendered photo; without it the file has no EXIF at all.
    """
    out = io.BytesIO()
    subsampling = "4:4:4" if quality >= 90 else "4:2:0"
    _picture(pixels, long_side).save(
        out,
        "JPEG",
        quality=quality,
        subsampling=subsampling,
        optimize=True,
        icc_profile=profile or matrix_profile("sRGB"),
        exif=camera.exif() if camera else b"",
    )
    return out.getvalue()


def write_png(path: Path, pixels: np.ndarray) -> None:
    """Write a PNG of sRGB pixels, shape (H, W, 3), uint8, whole or not at all.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    out = io.BytesIO()
    # The mark tells a later call that this picture is one of ours, which may be replaced, and no photo.
    mark = PngImagePlugin.PngInfo()
    mark.add_text("Software", "finishlab")
    _picture(pixels, None).save(out, "PNG", icc_profile=matrix_profile("sRGB"), pnginfo=mark)
    write_atomically(path, out.getvalue())


def thumbnail(path: Path, long_side: int, *, quality: int = 85) -> bytes:
    """Return a small JPEG of a photo for a page: upright, in sRGB, without metadata.

    Raises
    ------
    PhotoError
        As `read_photo`.
    """
    from finishlab.imaging.opencv import shrink

    photo = read_photo(path, long_side=long_side)
    small = shrink(photo.encoded, max(photo.size) / long_side)
    return write_jpeg(srgb_pixels(replace(photo, encoded=small)), quality=quality)
