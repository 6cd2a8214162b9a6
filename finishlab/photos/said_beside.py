"""What a shared photo still says beside its picture: EXIF and XMP of our own, made of what is known to be harmless."""

from __future__ import annotations

import io
from typing import Any, Final

from PIL import ExifTags, Image

from finishlab.photos.header import DECODING_ERRORS
from finishlab.photos.marks import GAIN_MAP, PANORAMA

__all__ = ["NotUnderstoodError", "exif_of", "kept_exif", "kept_xmp"]

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
    shot = exif.get_ifd(ExifTags.IFD.Exif)
    details: dict[int, Any] = {tag: _short(shot[tag]) for tag in _SHOT_TAGS if tag in shot}
    index = exif.get_ifd(ExifTags.IFD.Interop).get(ExifTags.Interop.InteropIndex)
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
