"""From pixels back to a file, and from a photo's file to one fit to leave the logbook.

What is written carries the picture and its profile and nothing of the source's metadata, so a shared page does not tell
where a house stands.

A photo's file keeps picture, colours, turning, time and camera model. What is kept is named here; whatever is not named
is left out, known or not: places, serial numbers, names, comments, small copies of the picture, a maker's own notes,
and all that lies behind the picture, such as a phone's short film. The coded picture is never touched, so that a photo
measures the same before and after.
"""

from __future__ import annotations

import io
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np
from PIL import ExifTags, Image, PngImagePlugin

from finishlab.colorimetry.spaces import srgb8_of_linear
from finishlab.files import write_atomically
from finishlab.imaging.pixels import LinearImage
from finishlab.photos.files import DECODING_ERRORS, quiet
from finishlab.photos.kept import NotUnderstoodError, cleaned_heif, cleaned_tiff, exif_of, kept_xmp
from finishlab.photos.profiles import matrix_profile
from finishlab.photos.reading import read_photo

_XMP_HEAD: Final = b"http://ns.adobe.com/xap/1.0/\0"
_XMP_KEYWORD: Final = b"XML:com.adobe.xmp"


def shareable(data: bytes) -> bytes | None:
    """Return a photo file with nothing in it but what is known to tell nothing of people and places.

    Parameters
    ----------
    data
        The file: JPEG, PNG, TIFF, WebP, HEIC, or a raw file in Adobe's open format (DNG).

    Returns
    -------
    bytes or None
        The file to give away; of what came out once a second call returns the same bytes. None where this cannot be
        promised: a maker's own raw file cannot be decoded without notes that may name the camera's owner, and of a
        damaged file nobody knows what it holds.
    """
    try:
        with quiet():
            if data.startswith(b"\xff\xd8\xff"):
                return _jpeg(data)
            if data.startswith(b"\x89PNG\r\n\x1a\n"):
                return _png(data)
            if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
                return _webp(data)
            if data[:4] in (b"II*\0", b"MM\0*"):
                return cleaned_tiff(data)
            return cleaned_heif(data) if data[4:8] == b"ftyp" else None
    except (NotUnderstoodError, Image.DecompressionBombError, *DECODING_ERRORS):
        return None


# -- JPEG (ISO/IEC 10918-1, annex B) ----------------------------------------------------------------------------------

_SCAN: Final = 0xDA
_END: Final = 0xD9
_CODING: Final = frozenset(range(0xC0, 0xD0)) | {0xDB, 0xDC, 0xDD, 0xDE, 0xDF} - {0xC8}
"""Frames, Huffman and arithmetic tables, quantisation, number of lines, restart interval, hierarchy."""
_AFTER_SCAN: Final = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")


def _jpeg(data: bytes) -> bytes:
    exif, xmp = exif_of(data, "JPEG"), kept_xmp(data)
    head = [_segment(0xE1, b"Exif\0\0" + exif)] if exif else []
    head += [_segment(0xE1, _XMP_HEAD + xmp)] if xmp else []
    jfif: list[bytes] = []
    rest: list[bytes] = []
    for marker, content, scan in _segments(data):
        if marker == 0xE0 and content.startswith(b"JFIF\0") and len(content) >= 14:
            jfif = [_segment(marker, content[:12] + b"\0\0")]
        elif marker in _CODING or marker == _SCAN or _colours(marker, content):
            rest.append(_segment(marker, content) + scan)
    if not any(part[1] == _SCAN for part in rest):
        raise NotUnderstoodError
    return b"".join([b"\xff\xd8", *jfif, *head, *rest, b"\xff\xd9"])


def _colours(marker: int, content: bytes) -> bool:
    """Say whether an application segment tells of colours: a profile (ICC.1, annex B), or how they are coded."""
    return (marker == 0xE2 and content.startswith(b"ICC_PROFILE\0")) or (
        marker == 0xEE and content.startswith(b"Adobe")
    )


def _segment(marker: int, content: bytes) -> bytes:
    return b"\xff" + bytes([marker]) + (len(content) + 2).to_bytes(2, "big") + content


def _segments(data: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Yield marker, content and what is coded behind it of each segment, up to the picture's end."""
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            raise NotUnderstoodError
        marker = data[at + 1]
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker == _END:
            return
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        after = end
        if marker == _SCAN:
            found = _AFTER_SCAN.search(data, end)
            after = found.start() if found else len(data)
        yield marker, data[at + 4 : end], data[end:after]
        at = after


# -- PNG (third edition, 5.3) and WebP (RFC 9649) ---------------------------------------------------------------------

_PNG_KEPT: Final = frozenset(b"IHDR PLTE tRNS IDAT IEND sRGB gAMA cHRM iCCP cICP sBIT mDCV cLLI".split())
_WEBP_KEPT: Final = frozenset((b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"))
_WEBP_FLAGS: Final = {b"ICCP": 0x20, b"ALPH": 0x10, b"EXIF": 0x08, b"XMP ": 0x04}


def _png(data: bytes) -> bytes:
    exif, xmp = exif_of(data, "PNG"), kept_xmp(data)
    said = [_chunk(b"eXIf", exif)] if exif else []
    said += [_chunk(b"iTXt", _XMP_KEYWORD + bytes(5) + xmp)] if xmp else []
    out, at = [data[:8]], 8
    while at + 12 <= len(data):
        length, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if kind == b"IDAT" and said:
            out, said = [*out, *said], []
        if kind in _PNG_KEPT:
            out.append(data[at : at + 12 + length])
        at += 12 + length
        if kind == b"IEND":
            return b"".join(out)
    raise NotUnderstoodError


def _chunk(kind: bytes, content: bytes) -> bytes:
    return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")


def _webp(data: bytes) -> bytes:
    exif, xmp = exif_of(data, "WEBP"), kept_xmp(data)
    chunks, at = [], 12
    while at + 8 <= len(data):
        kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        if kind in _WEBP_KEPT:
            chunks.append((kind, data[at + 8 : at + 8 + length]))
        at += 8 + length + length % 2
    if not any(kind in (b"VP8 ", b"VP8L") for kind, _ in chunks):
        raise NotUnderstoodError
    chunks += [(kind, content) for kind, content in ((b"EXIF", exif), (b"XMP ", xmp)) if content]
    flags = sum(_WEBP_FLAGS.get(kind, 0) for kind, _ in chunks)
    body = b"".join(
        kind
        + len(content).to_bytes(4, "little")
        + (bytes([flags | content[0] & 0x10]) + content[1:] if kind == b"VP8X" else content)
        + bytes(len(content) % 2)
        for kind, content in chunks
    )
    return b"RIFF" + (len(body) + 4).to_bytes(4, "little") + b"WEBP" + body


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
