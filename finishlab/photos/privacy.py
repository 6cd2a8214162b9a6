"""A photo file without the place it was taken at: what leaves a logbook does not tell where a house stands.

The file keeps its length and every pixel: only the bytes that hold a place are blanked. So a photo without a place
comes out as it went in, and doing it twice changes nothing more.
"""

from __future__ import annotations

import re
import struct
import zlib
from typing import Final

__all__ = ["without_location"]

_GPS_POINTER: Final = 0x8825
_NESTED: Final = (0x8769, 0x014A)
"""EXIF and SubIFD pointers (CIPA DC-008, TIFF technical note 1): directories that may point on to a place."""
_IPTC: Final = 0x83BB
_ITEM_BYTES: Final = (0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4)
"""Bytes of one value of each TIFF field type (TIFF 6.0, section 2; 13 from technical note 1)."""
_MOST_ENTRIES: Final = 1000
_DEEPEST: Final = 6

_TIFF_HEAD: Final = re.compile(rb"II\*\0|MM\0\*")
_NAMES: Final = (
    rb"(?:exif:GPS\w+|photoshop:(?:City|State|Country)"
    rb"|Iptc4xmp(?:Core|Ext):(?:Location\w*|CountryCode|CountryName|City|Sublocation|ProvinceState|WorldRegion))"
)
"""Properties of XMP that hold a place: EXIF's GPS tags (XMP specification part 2) and IPTC's photo metadata."""
_ATTRIBUTE: Final = re.compile(_NAMES + rb"\s*=\s*(?:\"([^\"<]*)\"|'([^'<]*)')")
_ELEMENT: Final = re.compile(rb"<(" + _NAMES + rb")(?:\s[^>]*)?(?<!/)>(.*?)</\1\s*>", re.DOTALL)
_IPTC_PLACES: Final = frozenset({90, 92, 95, 100, 101})
"""IPTC IIM record 2: city, sublocation, province or state, country code, country name (IIM 4.2)."""
_PACKED_TEXT: Final = (b"zTXt", b"iTXt")


def without_location(data: bytes) -> bytes:
    """Return a photo file's bytes with every place it names blanked: EXIF's GPS directory, XMP and IPTC places.

    Parameters
    ----------
    data
        The file: JPEG, PNG, TIFF, WebP, HEIC or a raw file built like a TIFF.

    Returns
    -------
    bytes
        As long as `data`, but for a PNG's packed texts, which are taken out where they hold a place.

    Notes
    -----
    EXIF blocks are looked for in the whole file, since a phone's JPEG holds further pictures behind the first. Places
    inside a maker's own notes are not known to this tool and stay.
    """
    out = bytearray(_without_packed_texts(data) if data.startswith(b"\x89PNG") else data)
    before = bytes(out)
    for found in _TIFF_HEAD.finditer(before):
        _blank_exif(out, found.start())
    for found in _ATTRIBUTE.finditer(before):
        _blank(out, *found.span(1 if found.group(1) is not None else 2))
    for found in _ELEMENT.finditer(before):
        _blank(out, *found.span(2))
    _blank_iptc_in_jpeg(out)
    if out != before and before.startswith(b"\x89PNG"):
        _renew_checksums(out)
    return bytes(out)


def _blank(out: bytearray, start: int, end: int, fill: bytes = b" ") -> None:
    out[start:end] = fill * (end - start)


def _blank_exif(out: bytearray, head: int) -> None:
    """Empty the GPS directories of the TIFF structure whose first byte stands at `head`."""
    order = "<" if out[head : head + 2] == b"II" else ">"
    if head + 8 > len(out):
        return
    (first,) = struct.unpack_from(order + "I", out, head + 4)
    seen: set[int] = set()
    waiting = [(first, 0)]
    while waiting:
        at, depth = waiting.pop()
        if at in seen or depth > _DEEPEST:
            continue
        seen.add(at)
        waiting += [(offset, depth + 1) for offset in _walk(out, head, at, order)]


def _walk(out: bytearray, head: int, at: int, order: str) -> list[int]:
    """Look through one directory, empty what holds a place, and return the directories it points to."""
    entries = _entries(out, head + at, order)
    onward: list[int] = []
    for entry, tag, kind, count in entries:
        start, end = _value_span(out, head, entry, kind, count, order)
        if tag == _GPS_POINTER and end - start == 4:
            (gps,) = struct.unpack_from(order + "I", out, start)
            _empty_directory(out, head, gps, order)
        elif tag == _IPTC:
            _blank_iptc(out, start, end)
        elif tag in _NESTED and kind in (4, 13):
            onward += struct.unpack_from(f"{order}{(end - start) // 4}I", out, start)
    if entries:
        after = head + at + 2 + 12 * len(entries)
        if after + 4 <= len(out):
            onward += struct.unpack_from(order + "I", out, after)
    return [offset for offset in onward if offset]


def _entries(out: bytearray, at: int, order: str) -> list[tuple[int, int, int, int]]:
    """Return where each entry of a directory stands, its tag, type and count; nothing if it is no directory."""
    if at + 2 > len(out):
        return []
    (number,) = struct.unpack_from(order + "H", out, at)
    if not 0 < number <= _MOST_ENTRIES or at + 2 + 12 * number > len(out):
        return []
    entries = [(at + 2 + 12 * i, *struct.unpack_from(order + "HHI", out, at + 2 + 12 * i)) for i in range(number)]
    return entries if all(0 < kind < len(_ITEM_BYTES) for _, _, kind, _ in entries) else []


def _value_span(out: bytearray, head: int, entry: int, kind: int, count: int, order: str) -> tuple[int, int]:
    """Return where an entry's value lies; nothing long if it lies outside the file."""
    size = _ITEM_BYTES[kind] * count
    if size <= 4:
        return entry + 8, entry + 8 + size
    (offset,) = struct.unpack_from(order + "I", out, entry + 8)
    start = head + offset
    return (start, start + size) if start + size <= len(out) else (entry + 8, entry + 8)


def _empty_directory(out: bytearray, head: int, at: int, order: str) -> None:
    for entry, _, kind, count in _entries(out, head + at, order):
        _blank(out, *_value_span(out, head, entry, kind, count, order), fill=b"\0")
        _blank(out, entry, entry + 12, fill=b"\0")
    if head + at + 2 <= len(out) and _entries_count_is_real(out, head + at, order):
        out[head + at : head + at + 2] = b"\0\0"


def _entries_count_is_real(out: bytearray, at: int, order: str) -> bool:
    (number,) = struct.unpack_from(order + "H", out, at)
    return bool(number <= _MOST_ENTRIES and at + 2 + 12 * number <= len(out))


def _blank_iptc_in_jpeg(out: bytearray) -> None:
    """Blank the places of IPTC data in a JPEG's APP13 segments."""
    at = 2
    while out.startswith(b"\xff\xd8") and at + 4 <= len(out) and out[at] == 0xFF and out[at + 1] not in (0xDA, 0xD9):
        end = at + 2 + int.from_bytes(out[at + 2 : at + 4], "big")
        if out[at + 1] == 0xED:
            _blank_iptc(out, at + 4, min(end, len(out)))
        at = end


def _blank_iptc(out: bytearray, start: int, end: int) -> None:
    """Blank places among the data sets between two bytes: 1C, record, number, length, value (IIM 4.2, 1.5)."""
    at = out.find(b"\x1c\x02", start, end)
    while at >= 0 and at + 5 <= end:
        length = int.from_bytes(out[at + 3 : at + 5], "big")
        whole = length < 0x8000 and at + 5 + length <= end
        if whole and out[at + 2] in _IPTC_PLACES:
            _blank(out, at + 5, at + 5 + length)
        at = out.find(b"\x1c\x02", at + 5 + length if whole else at + 1, end)


def _chunks(data: bytes) -> list[tuple[int, bytes, int]]:
    """Return where each chunk of a PNG begins, its type and its length (PNG third edition, 5.3)."""
    found, at = [], 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        found.append((at, data[at + 4 : at + 8], length))
        at += 12 + length
    return found


def _without_packed_texts(data: bytes) -> bytes:
    """Take out packed texts of a PNG that hold a place; plain ones are blanked where they stand."""
    cut = [
        (at, at + 12 + length)
        for at, kind, length in _chunks(data)
        if kind in _PACKED_TEXT and _holds_place(_unpacked(data[at + 8 : at + 8 + length]))
    ]
    for start, end in reversed(cut):
        data = data[:start] + data[end:]
    return data


def _unpacked(content: bytes) -> bytes:
    """Return the text packed somewhere in a chunk's content, or nothing."""
    for found in re.finditer(rb"\x78[\x01\x5e\x9c\xda]", content):
        try:
            return zlib.decompressobj().decompress(content[found.start() :], 10_000_000)
        except zlib.error:
            continue
    return b""


def _holds_place(text: bytes) -> bool:
    return bool(_ATTRIBUTE.search(text) or _ELEMENT.search(text))


def _renew_checksums(out: bytearray) -> None:
    for at, kind, length in _chunks(bytes(out)):
        end = at + 8 + length
        if kind != b"IDAT":
            out[end : end + 4] = zlib.crc32(out[at + 4 : end]).to_bytes(4, "big")
