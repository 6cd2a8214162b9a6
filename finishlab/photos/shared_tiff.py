"""A TIFF or DNG with its picture, its colours and the camera's model, and nothing else (TIFF 6.0; DNG 1.4)."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any, Final

from finishlab.photos.said_beside import NotUnderstoodError

__all__ = ["cleaned_tiff"]

_ITEM_BYTES: Final = (0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4)
"""Bytes of one value of each field type (TIFF 6.0, section 2; 13 from technical note 1)."""
_SUBFILE: Final = 254
_SUB_DIRECTORIES: Final = 330
_EXIF_DIRECTORY: Final = 34665
_INTEROP_DIRECTORY: Final = 40965
_DNG_VERSION: Final = 50706
_STORAGE_TAGS: Final = (
    frozenset({254, 256, 257, 258, 259, 262, 266, 273, 277, 278, 279, 284, 317, 320, 330, 338, 339, 347})
    | frozenset(range(322, 326))
    | frozenset({529, 530, 531, 532, 33421, 33422})
)
_SHOWN_TAGS: Final = frozenset({271, 272, 274, 282, 283, 296, 301, 306, 318, 319, 34665, 34675})
_DNG_TAGS: Final = (
    frozenset(range(50706, 50740)) - {50735}
    | frozenset({50778, 50779, 50780, 50879, 50931, 50932, 50964, 50965, 50974, 50975, 50981, 50982})
    | frozenset(range(50829, 50835))
    | frozenset(range(50936, 50942))
    | frozenset({51008, 51009, 51022, 51041, 51110, 51125, 51177})
)
_PICTURE_TAGS: Final = _STORAGE_TAGS | _SHOWN_TAGS | _DNG_TAGS
"""How the picture is stored, which way up, its colours, camera model and time; DNG's colours without serial numbers,
private data, original names and digests (DNG Specification 1.4, chapter 4)."""
_SHOT_DIRECTORY: Final = frozenset((36867, 36881, 40961, _INTEROP_DIRECTORY))
_STORED_AT: Final = ((273, 279), (324, 325))
_MOST_ENTRIES: Final = 4000
_MOST_DIRECTORIES: Final = 64


def cleaned_tiff(data: bytes) -> bytes:
    """Return a TIFF or DNG with what is kept in its place and nothing anywhere else.

    Raises
    ------
    NotUnderstoodError
        If the structure does not tell what is picture and what is not, or it is a maker's own kind of raw file.
    """
    return _Tiff(data).cleaned()


@dataclass(frozen=True, slots=True)
class _Entry:
    """One field of a TIFF directory."""

    tag: int
    kind: int
    count: int
    place: bytes
    """The four bytes that are the value or its offset."""


class _Tiff:
    """A TIFF of which directories and kept values are written, in their places, over a file of nothing."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._order = "<" if data[:2] == b"II" else ">"
        self._out = bytearray(len(data))
        self._done: set[int] = set()

    def cleaned(self) -> bytes:
        """Return the cleaned file, as long as it was but for an empty end."""
        (first,) = self._unpack("I", 4)
        tags = {entry.tag: entry for entry in self._entries(first)[0]}
        dng = _DNG_VERSION in tags
        reduced = _SUBFILE in tags and self._numbers(tags[_SUBFILE])[0] & 1
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
        return _SUBFILE in tags and bool(self._numbers(tags[_SUBFILE])[0] & 1)

    def _pixels(self, tags: dict[int, _Entry]) -> None:
        for offsets, lengths in _STORED_AT:
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

    def _keep(self, start: int, end: int) -> None:
        self._out[start:end] = self._data[start:end]
