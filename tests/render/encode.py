"""Writing rendered photos: JPEG bytes, and lettering for the rendered strip. The demo's only use of Pillow."""

from __future__ import annotations

from io import BytesIO
from typing import Literal

import numpy as np

__all__ = ["decode_jpeg", "encode_jpeg", "letter_mask"]


def encode_jpeg(
    pixels: np.ndarray,
    quality: int = 92,
    subsampling: Literal["4:4:4", "4:2:2", "4:2:0"] = "4:2:0",
    icc: bytes | None = None,
    exif: bytes | None = None,
) -> bytes:
    """Return a JPEG file of a picture.

    Parameters
    ----------
    pixels
        Shape (H, W, 3), uint8.
    quality
        JPEG quality, 1 to 95.
    subsampling
        Chroma subsampling.
    icc, exif
        Colour profile and EXIF block to embed.
    """
    from PIL import Image

    out = BytesIO()
    extra: dict[str, bytes] = {}
    if icc is not None:
        extra["icc_profile"] = icc
    if exif is not None:
        extra["exif"] = exif
    Image.fromarray(pixels).save(out, "JPEG", quality=quality, subsampling=subsampling, **extra)
    return out.getvalue()


def decode_jpeg(data: bytes) -> np.ndarray:
    """Return the pixels of a JPEG file, shape (H, W, 3), uint8."""
    from PIL import Image

    with Image.open(BytesIO(data)) as picture:
        return np.asarray(picture.convert("RGB"))


def letter_mask(text: str, height: int, width: int) -> np.ndarray:
    """Return the ink of a line of text that fits a box, shape (height, width), 0 none to 1 full, left aligned."""
    from PIL import Image, ImageDraw, ImageFont

    mask = Image.new("L", (width, height), 0)
    size = height * 0.9
    while size > 3:
        font = ImageFont.load_default(size)
        left, top, right, bottom = ImageDraw.Draw(mask).textbbox((0, 0), text, font=font)
        if right - left <= width and bottom - top <= height:
            ImageDraw.Draw(mask).text((-left, (height - (bottom - top)) / 2 - top), text, fill=255, font=font)
            break
        size *= 0.9
    return np.asarray(mask, dtype=np.float32) / 255.0
