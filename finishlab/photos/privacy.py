"""A photo file fit to leave the logbook: picture, colours, turning, time and camera model, and nothing else.

What is kept is named here; whatever is not named is left out, known or not: places, serial numbers, names, comments,
small copies of the picture, a maker's own notes, and all that lies behind the picture, such as a phone's short film.
The coded picture is never touched, so that a photo measures the same before and after.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from typing import Final

from PIL import Image

from finishlab.photos.header import DECODING_ERRORS, quiet
from finishlab.photos.kept import NotUnderstoodError, cleaned_heif, cleaned_tiff, exif_of, kept_xmp

__all__ = ["shareable"]

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
