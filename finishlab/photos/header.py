"""What a photo's header says, before its pixels are decoded."""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import pillow_heif
from PIL import ExifTags, Image

from finishlab.photos.files import (
    DECODING_ERRORS,
    PhotoFile,
    check_size,
    is_raw,
    open_raw,
    png_chunks,
    quiet,
    raw_exif,
    raw_size,
    too_large,
)
from finishlab.quality import Doubt, doubt

# -- what a file says of itself beside its picture that makes a measurement less sure --

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


# Pillow logs remarks on odd files; without a handler of its own Python would print them to stderr.
logging.getLogger("PIL").addHandler(logging.NullHandler())

_SAMPLE_BITS: Final = 258
_COMPRESSION: Final = 259
_PHOTOMETRIC: Final = 262
_PLANES: Final = 284
_LZW_AND_DEFLATE: Final = (5, 8, 32946)
STORED_AT: Final = ((273, 279), (324, 325))
"""TIFF tags of where strips and tiles lie, and how long they are (TIFF 6.0)."""


@dataclass(frozen=True, slots=True)
class Header:
    """A photo opened, not yet decoded."""

    file: PhotoFile
    image: Any
    """The Pillow image, the HEIF image of pillow-heif, or the raw file of rawpy."""
    mode: str
    """Pillow's name of the pixel layout."""
    bits: int
    """Bits of one sample as stored: 8, 16, or 10 and 12 in HEIC."""
    stored_size: tuple[int, int]
    """Width and height before turning upright."""
    camera: str
    taken: str
    exif_space: str
    """``"sRGB"`` or ``"Adobe RGB"`` where EXIF says so, or an empty string."""
    by_opencv: bool = False
    """Whether OpenCV is to decode it: Pillow keeps 8 of 16 bits, and lets its TIFF library write to stderr."""
    orientation: int = 1
    """EXIF orientation still to be applied, 1 to 8."""
    icc: bytes = b""
    """The embedded profile, or nothing."""
    cicp: tuple[int, int] | None = None
    """Code points of primaries and transfer, where the file has them."""
    info: Mapping[Any, Any] = field(default_factory=dict)
    """What the library found beside the pixels."""
    raw: bool = False
    """Whether it is a camera raw file."""

    @property
    def full_size(self) -> tuple[int, int]:
        """Width and height of the upright photo."""
        width, height = self.stored_size
        return (height, width) if self.orientation >= 5 else (width, height)


def open_header(file: PhotoFile) -> Header:
    """Read the header of a photo.

    Raises
    ------
    PhotoError
        If the header is damaged, the photo is too large, or it is of a kind that is not read.
    """
    with quiet():
        if is_raw(file):
            return _open_raw(file)
        return _open_heic(file) if file.format == "HEIC" else _open_pillow(file)


def _header(file: PhotoFile, image: Any, exif: Image.Exif, *, size: tuple[int, int], **said: Any) -> Header:  # noqa: ANN401 - as Header's
    """Return the header of a photo with what its EXIF says; a raw file's colours are not told by it."""
    space = "" if said.get("raw") else _exif_space(exif)
    return Header(file, image, stored_size=size, camera=_camera(exif), taken=_taken(exif), exif_space=space, **said)


def _open_raw(file: PhotoFile) -> Header:
    raw = open_raw(file)
    size = raw_size(raw)
    check_size(file, *size)
    exif = raw_exif(file, raw)
    return _header(file, raw, exif, mode="RGB;16", bits=16, size=size, raw=True)  # the raw library turns it upright


def _open_heic(file: PhotoFile) -> Header:
    try:
        image = pillow_heif.open_heif(file.data, convert_hdr_to_8bit=False)
        size, mode, info = image.size, image.mode, image.info
    except DECODING_ERRORS as error:
        raise _damaged(file) from error
    check_size(file, *size)
    nclx = info.get("nclx_profile") or {}
    cicp = (nclx["color_primaries"], nclx["transfer_characteristics"]) if nclx else None
    # The HEIF library has applied the file's own rotation; ISO/IEC 23008-12 wants EXIF's left alone.
    bits, icc = int(info.get("bit_depth", 8)), info.get("icc_profile") or b""
    cicp = None if cicp and 2 in cicp else cicp
    return _header(file, image, loaded_exif(info), mode=mode, bits=bits, size=size, icc=icc, cicp=cicp, info=info)


def _open_pillow(file: PhotoFile) -> Header:
    try:
        image: Any = Image.open(io.BytesIO(file.data), formats=(file.format,))
    except Image.DecompressionBombError as error:
        raise too_large(file, "far too many pixels") from error
    except DECODING_ERRORS as error:
        raise _damaged(file) from error
    check_size(file, *image.size)
    bits = 8
    if file.format == "TIFF":
        bits = _check_tiff(file, image)
    elif file.format == "PNG":
        bits = 16 if file.data[24] == 16 else 8
    exif = _exif(image)
    # Pillow turns a TIFF upright by itself when it decodes one, and gives its size as if it had.
    orientation = 1 if file.format == "TIFF" else _orientation(exif)
    return _header(
        file,
        image,
        exif,
        mode=image.mode,
        bits=bits,
        by_opencv=bits == 16 or (file.format == "TIFF" and _plain_packed(image.tag_v2)),
        size=image.size,
        orientation=orientation,
        icc=image.info.get("icc_profile") or b"",
        cicp=_png_cicp(file),
        info=image.info,
    )


def _damaged(file: PhotoFile) -> Exception:
    if file.format == "TIFF":
        return file.unreadable(
            "photo-damaged",
            "is damaged, or an unusual kind of TIFF",
            "Save it as an RGB TIFF with 8 or 16 bits, or as JPEG.",
        )
    if len(file.data) < 4096 and file.format == "JPEG":
        return file.truncated()
    return file.damaged()


def _check_tiff(file: PhotoFile, image: Any) -> int:  # noqa: ANN401 - a TIFF image has tags its base class lacks
    """Refuse cut-off files and unusual kinds; return the bits of a sample."""
    tags: Mapping[int, Any] = image.tag_v2
    for offsets, lengths in STORED_AT:
        starts, counts = tags.get(offsets, ()), tags.get(lengths, ())
        starts = starts if isinstance(starts, tuple) else (starts,)
        counts = counts if isinstance(counts, tuple) else (counts,)
        if any(int(start) + int(count) > len(file.data) for start, count in zip(starts, counts, strict=False)):
            raise file.truncated()
    bits = tags.get(_SAMPLE_BITS, (8,))
    deepest = int(max(bits if isinstance(bits, tuple) else (bits,)))
    if deepest > 8 and (tags.get(_PLANES, 1) != 1 or tags.get(_PHOTOMETRIC) not in (1, 2)):
        raise file.unsupported("an unusual kind of 16 bit TIFF")  # OpenCV would decode it to other colours
    return deepest


def _plain_packed(tags: Mapping[int, Any]) -> bool:
    """Say whether a TIFF is plain RGB, packed with LZW or Deflate."""
    plain = tags.get(_PLANES, 1) == 1 and tags.get(_PHOTOMETRIC) == 2
    return plain and tags.get(_SAMPLE_BITS) == (8, 8, 8) and tags.get(_COMPRESSION) in _LZW_AND_DEFLATE


def _exif(image: Any) -> Image.Exif:  # noqa: ANN401 - a Pillow image or a HEIC file
    try:
        exif: Image.Exif = image.getexif()
    except DECODING_ERRORS:
        return Image.Exif()
    return exif


def loaded_exif(info: Mapping[Any, Any]) -> Image.Exif:
    """Return the EXIF that pillow-heif found beside a picture, empty where it is damaged."""
    exif = Image.Exif()
    try:
        exif.load(info.get("exif") or b"")
    except DECODING_ERRORS:
        return Image.Exif()
    return exif


def exif_directory(exif: Image.Exif, tag: int) -> Mapping[int, Any]:
    """Return one of EXIF's directories, empty where it is damaged."""
    try:
        return exif.get_ifd(tag)
    except DECODING_ERRORS:
        return {}


def _orientation(exif: Image.Exif) -> int:
    value = exif.get(ExifTags.Base.Orientation, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _words(value: object) -> str:
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value or "")
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _camera(exif: Image.Exif) -> str:
    """Join make and model, the make once."""
    make, model = _words(exif.get(ExifTags.Base.Make)), _words(exif.get(ExifTags.Base.Model))
    return model if model.casefold().startswith(make.casefold()) and model else f"{make} {model}".strip()


def _taken(exif: Image.Exif) -> str:
    """Return the time of exposure as ISO 8601, with its offset where EXIF has one, or an empty string."""
    tags = exif_directory(exif, ExifTags.IFD.Exif)
    text = _words(tags.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime))
    offset = _words(tags.get(ExifTags.Base.OffsetTimeOriginal))
    try:
        moment = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - EXIF keeps the offset in another tag
    except ValueError:
        return ""
    return moment.isoformat() + (offset if re.fullmatch(r"[+-]\d\d:\d\d", offset) else "")


def _exif_space(exif: Image.Exif) -> str:
    """Return the colour space EXIF names: ColorSpace 1, or interoperability index R03 (CIPA DC-008 and DC-009).

    ColorSpace 2 for Adobe RGB is outside the standard but in use (common practice, no source).
    """
    space = exif_directory(exif, ExifTags.IFD.Exif).get(ExifTags.Base.ColorSpace)
    index = _words(exif_directory(exif, ExifTags.IFD.Interop).get(ExifTags.Interop.InteropIndex))
    if index == "R03" or space == 2:
        return "Adobe RGB"
    return "sRGB" if space == 1 or index == "R98" else ""


def _png_cicp(file: PhotoFile) -> tuple[int, int] | None:
    """Return the cICP chunk's primaries and transfer (PNG third edition, 11.3.2.6)."""
    if file.format != "PNG":
        return None
    chunk = dict(png_chunks(file.data)).get(b"cICP", b"")
    return (chunk[8], chunk[9]) if len(chunk) == 16 else None
