"""The only opener of image files: from a file to a `LinearImage`, and from pixels back to a file."""

from __future__ import annotations

from finishlab.photos.files import FORMATS_READ, MAX_MEGAPIXELS
from finishlab.photos.profiles import matrix_profile
from finishlab.photos.reading import (
    photo_facts,
    read_photo,
    srgb_pixels,
    thumbnail,
    write_jpeg,
    write_png,
)

__all__ = [
    "FORMATS_READ",
    "MAX_MEGAPIXELS",
    "matrix_profile",
    "photo_facts",
    "read_photo",
    "srgb_pixels",
    "thumbnail",
    "write_jpeg",
    "write_png",
]
