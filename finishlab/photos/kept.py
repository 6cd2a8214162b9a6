"""A photo file fit to leave the logbook: picture, colours, turning, time and camera model, and nothing else.

What is kept is named here; whatever is not named is left out, known or not: places, serial numbers, names, comments,
small copies of the picture, a maker's own notes, and all that lies behind the picture, such as a phone's short film.
The coded picture is never touched, so that a photo measures the same before and after.
"""

from __future__ import annotations

import io
import re
import struct
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pillow_heif
from PIL import ExifTags, Image

from finishlab.photos.files import (
    DECODING_ERRORS,
    DNG_VERSION,
    HEAD_BYTES,
    REDUCED_PICTURE,
    Box,
    boxes,
    format_of,
    png_chunks,
    quiet,
)
from finishlab.photos.header import GAIN_MAP, PANORAMA, STORED_AT, exif_directory, loaded_exif

# -- what is still said beside the picture --

_MAIN_TAGS: Final = (ExifTags.Base.Make, ExifTags.Base.Model, ExifTags.Base.Orientation, ExifTags.Base.DateTime)
_SHOT_TAGS: Final = (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal, ExifTags.Base.ColorSpace)
"""What is kept of EXIF (CIPA DC-008), with the interoperability index, which may name the colour space."""
_LONGEST_TEXT: Final = 64
"""Characters kept of a text in EXIF: makes and models are shorter (common practice, no source)."""
_PACKET: Final = (
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    "<rdf:Description {}/></rdf:RDF></x:xmpmeta>"
)
_GAIN_MAP_PROPERTY: Final = 'xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" hdrgm:Version="1.0"'
_PANORAMA_PROPERTY: Final = f'xmlns:GPano="{PANORAMA.decode()}"'


class NotUnderstoodError(ValueError):
    """A file whose structure does not tell what in it is picture and what is not."""


def kept_exif(exif: Image.Exif) -> bytes:
    """Return a TIFF structure with what is kept of EXIF, or nothing."""
    kept = Image.Exif()
    for tag in _MAIN_TAGS:
        if tag in exif:
            kept[tag] = _short(exif[tag])
    shot = exif_directory(exif, ExifTags.IFD.Exif)
    details: dict[int, Any] = {tag: _short(shot[tag]) for tag in _SHOT_TAGS if tag in shot}
    index = exif_directory(exif, ExifTags.IFD.Interop).get(ExifTags.Interop.InteropIndex)
    if index:
        details[ExifTags.IFD.Interop] = {int(ExifTags.Interop.InteropIndex): _short(index)}
    if details:
        kept[ExifTags.IFD.Exif] = details
    return kept.tobytes().removeprefix(b"Exif\0\0") if len(kept) else b""


def _short(value: object) -> object:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    return value[:_LONGEST_TEXT].rstrip("\0") if isinstance(value, str) else value


def exif_of(data: bytes, kind: str) -> bytes:
    """Return what is kept of a file's EXIF, nothing where it cannot be read: the photo is measured without it too."""
    try:
        with Image.open(io.BytesIO(data), formats=(kind,)) as image:
            return kept_exif(image.getexif())
    except DECODING_ERRORS:
        return b""


def kept_xmp(data: bytes) -> bytes:
    """Return an XMP packet of our own saying what measuring takes from XMP: gain map or not, panorama or not."""
    properties = [_GAIN_MAP_PROPERTY] if any(mark in data for mark in GAIN_MAP) else []
    properties += [_PANORAMA_PROPERTY] if PANORAMA in data else []
    return _PACKET.format(" ".join(properties)).encode() if properties else b""


_ITEM_BYTES: Final = (0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4)
"""Bytes of one value of each field type (TIFF 6.0, section 2; 13 from technical note 1)."""
_SUB_DIRECTORIES: Final = 330
_EXIF_DIRECTORY: Final = 34665
_INTEROP_DIRECTORY: Final = 40965
_STORAGE_TAGS: Final = (
    frozenset({254, 256, 257, 258, 259, 262, 266, 273, 277, 278, 279, 284, 317, 320, 330, 338, 339, 347})
    | frozenset(range(322, 326))
    | frozenset({529, 530, 531, 532, 33421, 33422})
)
_SHOWN_TAGS: Final = frozenset({271, 272, 274, 282, 283, 296, 301, 306, 318, 319, 34665, 34675})
_DNG_TAGS: Final = (
    frozenset(range(50706, 50740)) - {50709, 50735}
    | frozenset({50778, 50779, 50780, 50879, 50964, 50965, 50974, 50975, 50981, 50982})
    | frozenset(range(50829, 50835))
    | frozenset(range(50937, 50942))
    | frozenset({51008, 51009, 51022, 51041, 51110, 51125, 51177})
)
_PICTURE_TAGS: Final = _STORAGE_TAGS | _SHOWN_TAGS | _DNG_TAGS
"""How the picture is stored, which way up, its colours, camera model and time; DNG's colours without serial numbers,
private data, names that people gave, and digests (DNG Specification 1.4, chapter 4)."""
_SHOT_DIRECTORY: Final = frozenset((36867, 36881, 40961, _INTEROP_DIRECTORY))
_MOST_ENTRIES: Final = 4000
_MOST_DIRECTORIES: Final = 64


@dataclass(frozen=True, slots=True)
class _Entry:
    """One field of a TIFF directory."""

    tag: int
    kind: int
    count: int
    place: bytes
    """The four bytes that are the value or its offset."""


class _Kept:
    """A file of nothing, as long as another, into which that one's kept parts are written in their places."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._out = bytearray(len(data))

    def _keep(self, start: int, end: int) -> None:
        self._out[start:end] = self._data[start:end]


class _Tiff(_Kept):
    """A TIFF: directories and kept values."""

    def __init__(self, data: bytes) -> None:
        super().__init__(data)
        self._order = "<" if data[:2] == b"II" else ">"
        self._done: set[int] = set()

    def cleaned(self) -> bytes:
        """Return the cleaned file, as long as it was but for an empty end."""
        (first,) = self._unpack("I", 4)
        tags = {entry.tag: entry for entry in self._entries(first)[0]}
        dng = DNG_VERSION in tags
        reduced = REDUCED_PICTURE in tags and self._numbers(tags[REDUCED_PICTURE])[0] & 1
        if self._data[8:10] == b"CR" or (reduced and not dng):
            raise NotUnderstoodError  # a maker's raw file
        self._keep(0, 8)
        self._directory(first, _PICTURE_TAGS, chain=dng)
        return bytes(self._out.rstrip(b"\0")).ljust(8, b"\0") if not dng else bytes(self._out)

    def _directory(self, at: int, kept_tags: frozenset[int], *, chain: bool = False) -> None:
        if at in self._done or len(self._done) > _MOST_DIRECTORIES:
            return
        self._done.add(at)
        entries, following = self._entries(at)
        kept = [replaced for entry in entries if entry.tag in kept_tags if (replaced := self._value(entry))]
        tags = {entry.tag: entry for entry in kept}
        if not self._is_preview(tags):
            self._pixels(tags)
        (after,) = self._unpack("I", following)
        if not (chain and after and self._is_picture(after)):
            after = 0
        directory = struct.pack(self._order + "H", len(kept))
        directory += b"".join(struct.pack(self._order + "HHI", e.tag, e.kind, e.count) + e.place for e in kept)
        directory += struct.pack(self._order + "I", after)
        self._out[at : at + len(directory)] = directory
        if after:
            self._directory(after, kept_tags, chain=chain)

    def _value(self, entry: _Entry) -> _Entry | None:
        """Keep a field's value and the directories it leads to; None if it leads to nothing kept."""
        if entry.tag in (_EXIF_DIRECTORY, _INTEROP_DIRECTORY):
            at = self._numbers(entry)[0]
            self._directory(at, _SHOT_DIRECTORY if entry.tag == _EXIF_DIRECTORY else frozenset({1}))
            return entry
        if entry.tag == _SUB_DIRECTORIES:
            return self._sub_directories(entry)
        start, end = self._span(entry)
        if end - start > 4:
            self._keep(start, end)
        return entry

    def _sub_directories(self, entry: _Entry) -> _Entry | None:
        kept = [at for at in self._numbers(entry) if self._is_picture(at)]
        for at in kept:
            self._directory(at, _PICTURE_TAGS)
        if not kept:
            return None
        packed = struct.pack(f"{self._order}{len(kept)}I", *kept)
        if len(kept) == 1:
            return _Entry(entry.tag, entry.kind, 1, packed)
        start = self._span(entry)[0]
        self._out[start : start + len(packed)] = packed
        return _Entry(entry.tag, entry.kind, len(kept), entry.place)

    def _is_picture(self, at: int) -> bool:
        """Say whether a directory holds a picture of its own and not a smaller copy."""
        return not self._is_preview({entry.tag: entry for entry in self._entries(at)[0]})

    def _is_preview(self, tags: dict[int, _Entry]) -> bool:
        return REDUCED_PICTURE in tags and bool(self._numbers(tags[REDUCED_PICTURE])[0] & 1)

    def _pixels(self, tags: dict[int, _Entry]) -> None:
        for offsets, lengths in STORED_AT:
            if offsets in tags and lengths in tags:
                starts, counts = self._numbers(tags[offsets]), self._numbers(tags[lengths])
                for start, count in zip(starts, counts, strict=False):
                    self._keep(start, start + count)

    def _entries(self, at: int) -> tuple[list[_Entry], int]:
        """Return a directory's fields and where the offset of the next directory stands."""
        (number,) = self._unpack("H", at)
        end = at + 2 + 12 * number
        if not 0 < number <= _MOST_ENTRIES or end + 4 > len(self._data):
            raise NotUnderstoodError
        fields = []
        for place in range(at + 2, end, 12):
            tag, kind, count = self._unpack("HHI", place)
            fields.append(_Entry(tag, kind, count, self._data[place + 8 : place + 12]))
        return [field for field in fields if 0 < field.kind < len(_ITEM_BYTES)], end

    def _span(self, entry: _Entry) -> tuple[int, int]:
        """Return where a value lies in the file; from 0 on for one that stands in its field."""
        size = _ITEM_BYTES[entry.kind] * entry.count
        start = 0 if size <= 4 else struct.unpack(self._order + "I", entry.place)[0]
        if start + size > len(self._data):
            raise NotUnderstoodError
        return start, start + size

    def _numbers(self, entry: _Entry) -> tuple[int, ...]:
        """Return whole numbers of 1, 2 or 4 bytes each."""
        letter = {1: "B", 3: "H", 4: "I", 13: "I"}.get(entry.kind)
        start, end = self._span(entry)
        if letter is None or not entry.count:
            raise NotUnderstoodError
        value = entry.place if end - start <= 4 else self._data[start:end]
        return struct.unpack_from(f"{self._order}{entry.count}{letter}", value)

    def _unpack(self, form: str, at: int) -> tuple[Any, ...]:
        return struct.unpack_from(self._order + form, self._data, at)


# -- HEIC: ISO/IEC 14496-12 boxes, 23008-12 items --

_PICTURE_ITEMS: Final = frozenset(b"hvc1 hev1 lhv1 av01 grid iovl iden tmap".split())
_META_KEPT: Final = frozenset(b"hdlr dinf pitm iinf iloc iref iprp idat".split())
_PROPERTIES_KEPT: Final = frozenset(
    b"hvcC lhvC av1C ispe colr pixi irot imir clap pasp auxC clli mdcv rloc lsel a1op a1lx oinf tols".split()
)
_THUMBNAIL: Final = b"thmb"
_HANDLER_NAME_AT: Final = 24


class _Heif(_Kept):
    """A HEIC: boxes and items that are kept."""

    _idat = 0

    def cleaned(self) -> bytes:
        """Return the cleaned file, cut off behind the last box that is kept."""
        found = list(boxes(self._data, 0, len(self._data)))
        meta = next((box for box in found if box.kind == b"meta"), None)
        if meta is None:
            raise NotUnderstoodError
        end = 0
        for box in found:
            if box.kind == b"ftyp":
                self._keep(box.start, box.end)
            elif box.kind == b"mdat":
                self._keep(box.start, box.content)
            elif box.kind != b"meta":
                self._empty(box)
                continue
            end = box.end
        self._meta(meta)
        return bytes(self._out[:end])

    def _meta(self, meta: Box) -> None:
        self._keep(meta.start, meta.content + 4)
        inner = {box.kind: box for box in boxes(self._data, meta.content + 4, meta.end)}
        for kind, box in inner.items():
            if kind in _META_KEPT and kind != b"idat":
                self._keep(box.start, box.end)
            elif kind == b"idat":
                self._keep(box.start, box.content)
                self._idat = box.content
            else:
                self._empty(box)
        handler = inner.get(b"hdlr")
        if handler:
            name = handler.content + _HANDLER_NAME_AT
            self._out[name : handler.end] = bytes(max(0, handler.end - name))
        self._properties(inner[b"iprp"])
        thumbnails = self._cut_thumbnails(inner[b"iref"]) if b"iref" in inner else frozenset()
        places = self._places(inner[b"iloc"])
        for item, kind in self._items(inner[b"iinf"], thumbnails):
            extents = places.get(item, [])
            if kind in _PICTURE_ITEMS and item not in thumbnails:
                for start, end in extents:
                    self._keep(start, end)
            elif kind == b"Exif":
                exif = kept_exif(loaded_exif(pillow_heif.open_heif(self._data).info))
                self._spread(b"\0\0\0\6Exif\0\0" + exif if exif else b"", extents)
            elif kind == b"mime":
                self._spread(kept_xmp(self._data), extents)

    def _spread(self, content: bytes, extents: list[tuple[int, int]]) -> None:
        """Put content into an item's places, which stay as long as they are; nothing if they are too short."""
        if len(content) > sum(end - start for start, end in extents):
            return
        for start, end in extents:
            part, content = content[: end - start], content[end - start :]
            self._out[start : start + len(part)] = part

    def _properties(self, box: Box) -> None:
        inside = {inner.kind: inner for inner in boxes(self._data, box.content, box.end)}
        container = inside[b"ipco"]
        for inner in boxes(self._data, container.content, container.end):
            if inner.kind not in _PROPERTIES_KEPT:
                self._empty(inner)

    def _cut_thumbnails(self, box: Box) -> frozenset[int]:
        """Take out what says that items are small copies of others; return those items."""
        wide = self._data[box.content] > 0
        found = set()
        for inner in boxes(self._data, box.content + 4, box.end):
            if inner.kind == _THUMBNAIL:
                found.add(int.from_bytes(self._data[inner.content : inner.content + (4 if wide else 2)], "big"))
                self._empty(inner)
        return frozenset(found)

    def _items(self, box: Box, thumbnails: frozenset[int]) -> Iterator[tuple[int, bytes]]:
        """Yield number and kind of each item; names go, and small copies are marked as hidden."""
        first = box.content + (6 if self._data[box.content] == 0 else 8)
        for entry in boxes(self._data, first, box.end):
            version, at = self._data[entry.content], entry.content + 4
            size = 4 if version == 3 else 2
            if version not in (2, 3):
                raise NotUnderstoodError
            item = int.from_bytes(self._data[at : at + size], "big")
            kind = self._data[at + size + 2 : at + size + 6]
            if item in thumbnails:
                self._out[entry.content + 3] |= 1
            if kind not in (b"mime", b"Exif"):
                name = at + size + 6
                self._out[name : entry.end] = bytes(entry.end - name)
            yield item, kind

    def _places(self, box: Box) -> dict[int, list[tuple[int, int]]]:
        """Return item -> where its bytes lie in the file (ISO/IEC 14496-12, 8.11.3)."""
        data, version = self._data, self._data[box.content]
        sizes = data[box.content + 4], data[box.content + 5]
        offset_size, length_size, base_size = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4
        index_size = sizes[1] & 15 if version else 0
        at = box.content + 6

        def number(size: int) -> int:
            nonlocal at
            at += size
            if at > box.end:
                raise NotUnderstoodError
            return int.from_bytes(data[at - size : at], "big")

        wide = 4 if version == 2 else 2
        places: dict[int, list[tuple[int, int]]] = {}
        for _ in range(number(wide)):
            item = number(wide)
            method = number(2) & 15 if version else 0
            if number(2) or method > 1:
                raise NotUnderstoodError  # bytes of another file, or of another item
            base = number(base_size) + (self._idat if method == 1 else 0)
            extents = []
            for _ in range(number(2)):
                number(index_size)
                start, length = base + number(offset_size), number(length_size)
                if start + length > len(data):
                    raise NotUnderstoodError
                extents.append((start, start + length))
            places[item] = extents
        return places

    def _empty(self, box: Box) -> None:
        """Leave a box of the same length that holds nothing."""
        self._keep(box.start, box.content)
        self._out[box.start + 4 : box.start + 8] = b"free"
        self._out[box.content : box.end] = bytes(box.end - box.content)


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
    clean = _CLEAN.get(format_of(data[:HEAD_BYTES]) or "")
    try:
        with quiet():
            return None if clean is None else clean(data)
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
    out: list[bytes | memoryview] = [data[:8]]
    kind = b""
    for kind, chunk in png_chunks(data):
        if kind == b"IDAT" and said:
            out, said = [*out, *said], []
        if kind in _PNG_KEPT:
            out.append(chunk)
    if kind != b"IEND":
        raise NotUnderstoodError
    return b"".join(out)


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


_CLEAN: Final[Mapping[str, Callable[[bytes], bytes]]] = {
    "JPEG": _jpeg,
    "PNG": _png,
    "WEBP": _webp,
    "TIFF": lambda data: _Tiff(data).cleaned(),
    "HEIC": lambda data: _Heif(data).cleaned(),
}
