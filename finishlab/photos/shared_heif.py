"""A HEIC with its picture, its colours and the camera's model, and nothing else (ISO/IEC 14496-12, 23008-12)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pillow_heif
from PIL import Image

from finishlab.photos.header import DECODING_ERRORS
from finishlab.photos.said_beside import NotUnderstoodError, kept_exif, kept_xmp

__all__ = ["cleaned_heif"]

_PICTURE_ITEMS: Final = frozenset(b"hvc1 hev1 lhv1 av01 grid iovl iden tmap".split())
_META_KEPT: Final = frozenset(b"hdlr dinf pitm iinf iloc iref iprp idat".split())
_PROPERTIES_KEPT: Final = frozenset(
    b"hvcC lhvC av1C ispe colr pixi irot imir clap pasp auxC clli mdcv rloc lsel a1op a1lx oinf tols".split()
)
_THUMBNAIL: Final = b"thmb"
_HANDLER_NAME_AT: Final = 24


def cleaned_heif(data: bytes) -> bytes:
    """Return a HEIC with what is kept in its place and nothing anywhere else.

    Raises
    ------
    NotUnderstoodError
        If the structure does not tell what is picture and what is not.
    """
    return _Heif(data).cleaned()


@dataclass(frozen=True, slots=True)
class _Box:
    """Where one box lies."""

    start: int
    kind: bytes
    content: int
    """Where its content begins."""
    end: int


class _Heif:
    """A HEIC of which boxes and items that are kept are written, in their places, over a file of nothing."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._out = bytearray(len(data))
        self._idat = 0

    def cleaned(self) -> bytes:
        """Return the cleaned file, cut off behind the last box that is kept."""
        boxes = list(self._boxes(0, len(self._data)))
        meta = next((box for box in boxes if box.kind == b"meta"), None)
        if meta is None:
            raise NotUnderstoodError
        end = 0
        for box in boxes:
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

    def _meta(self, meta: _Box) -> None:
        self._keep(meta.start, meta.content + 4)
        boxes = {box.kind: box for box in self._boxes(meta.content + 4, meta.end)}
        for kind, box in boxes.items():
            if kind in _META_KEPT and kind != b"idat":
                self._keep(box.start, box.end)
            elif kind == b"idat":
                self._keep(box.start, box.content)
                self._idat = box.content
            else:
                self._empty(box)
        handler = boxes.get(b"hdlr")
        if handler:
            name = handler.content + _HANDLER_NAME_AT
            self._out[name : handler.end] = bytes(max(0, handler.end - name))
        self._properties(boxes[b"iprp"])
        thumbnails = self._cut_thumbnails(boxes[b"iref"]) if b"iref" in boxes else frozenset()
        places = self._places(boxes[b"iloc"])
        for item, kind in self._items(boxes[b"iinf"], thumbnails):
            extents = places.get(item, [])
            if kind in _PICTURE_ITEMS and item not in thumbnails:
                for start, end in extents:
                    self._keep(start, end)
            elif kind == b"Exif":
                exif = self._exif()
                self._spread(b"\0\0\0\6Exif\0\0" + exif if exif else b"", extents)
            elif kind == b"mime":
                self._spread(kept_xmp(self._data), extents)

    def _exif(self) -> bytes:
        exif = Image.Exif()
        try:
            exif.load(pillow_heif.open_heif(self._data).info.get("exif") or b"")
            return kept_exif(exif)
        except DECODING_ERRORS:
            return b""

    def _spread(self, content: bytes, extents: list[tuple[int, int]]) -> None:
        """Put content into an item's places, which stay as long as they are; nothing if they are too short."""
        if len(content) > sum(end - start for start, end in extents):
            return
        for start, end in extents:
            part, content = content[: end - start], content[end - start :]
            self._out[start : start + len(part)] = part

    def _properties(self, box: _Box) -> None:
        inside = {inner.kind: inner for inner in self._boxes(box.content, box.end)}
        container = inside[b"ipco"]
        for inner in self._boxes(container.content, container.end):
            if inner.kind not in _PROPERTIES_KEPT:
                self._empty(inner)

    def _cut_thumbnails(self, box: _Box) -> frozenset[int]:
        """Take out what says that items are small copies of others; return those items."""
        wide = self._data[box.content] > 0
        found = set()
        for inner in self._boxes(box.content + 4, box.end):
            if inner.kind == _THUMBNAIL:
                found.add(int.from_bytes(self._data[inner.content : inner.content + (4 if wide else 2)], "big"))
                self._empty(inner)
        return frozenset(found)

    def _items(self, box: _Box, thumbnails: frozenset[int]) -> Iterator[tuple[int, bytes]]:
        """Yield number and kind of each item; names go, and small copies are marked as hidden."""
        first = box.content + (6 if self._data[box.content] == 0 else 8)
        for entry in self._boxes(first, box.end):
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

    def _places(self, box: _Box) -> dict[int, list[tuple[int, int]]]:
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

    def _boxes(self, at: int, end: int) -> Iterator[_Box]:
        while at + 8 <= end:
            size, kind, content = int.from_bytes(self._data[at : at + 4], "big"), self._data[at + 4 : at + 8], at + 8
            if size == 1:
                size, content = int.from_bytes(self._data[at + 8 : at + 16], "big"), at + 16
            elif size == 0:
                size = end - at
            if size < content - at or at + size > end:
                raise NotUnderstoodError
            yield _Box(at, kind, content, at + size)
            at += size

    def _empty(self, box: _Box) -> None:
        """Leave a box of the same length that holds nothing."""
        self._keep(box.start, box.content)
        self._out[box.start + 4 : box.start + 8] = b"free"
        self._out[box.content : box.end] = bytes(box.end - box.content)

    def _keep(self, start: int, end: int) -> None:
        self._out[start:end] = self._data[start:end]
