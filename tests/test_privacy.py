"""Photos that leave a logbook: what tells of people and places is gone, the picture is not touched.

Files are written with Pillow and pillow-heif and read back with them, as other programs would; what is planted by hand
follows the standard named beside it.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image, PngImagePlugin
from raw_samples import write_dng

from finishlab.photos import read_photo
from finishlab.photos.kept import shareable

SECRET: Final = b"Sampletown-48.51N-SN12345"
TEXT: Final = SECRET.decode()
PLACE: Final = {
    1: "N",
    2: (48.0, 51.0, 29.6),
    3: "E",
    4: (2.0, 17.0, 40.2),
    27: b"ASCII\0\0\0" + SECRET,
    29: "2024:05:31",
}
KINDS: Final = ("JPEG", "PNG", "TIFF", "WEBP", "HEIC")


def _picture() -> Image.Image:
    return Image.fromarray(np.random.default_rng(5).integers(0, 255, (40, 60, 3), dtype=np.uint8))


def _exif(
    *, place: bool = False, main: dict[int, object] | None = None, shot: dict[int, object] | None = None
) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Acme"
    exif[ExifTags.Base.Orientation] = 6
    exif.update(main or {})
    exif[ExifTags.IFD.Exif] = {int(ExifTags.Base.DateTimeOriginal): "2023:01:02 03:04:05", **(shot or {})}
    if place:
        exif[ExifTags.IFD.GPSInfo] = PLACE
    return exif.tobytes()


def _saved(kind: str, exif: bytes = b"", xmp: bytes = b"") -> bytes:
    out = io.BytesIO()
    if kind == "HEIC":
        pillow_heif.from_pillow(_picture()).save(out, exif=exif or None, xmp=xmp or None, quality=90)
    elif kind == "PNG":
        texts = PngImagePlugin.PngInfo()
        if xmp:
            texts.add_itxt("XML:com.adobe.xmp", xmp.decode("latin-1"), zip=True)
        _picture().save(out, "PNG", exif=exif, pnginfo=texts)
    elif kind == "TIFF":
        tags = Image.Exif()
        if exif:
            tags.load(exif)
        if xmp:
            tags[700] = xmp  # TIFF's tag for XMP
        _picture().save(out, "TIFF", exif=tags)
    else:
        _picture().save(out, kind, exif=exif, **({"xmp": xmp} if xmp else {}))
    return out.getvalue()


def _xmp(properties: str, elements: str = "") -> bytes:
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        f"<rdf:Description {properties}>{elements}</rdf:Description></rdf:RDF></x:xmpmeta>"
    ).encode()


def _segment(marker: int, content: bytes) -> bytes:
    """Return a JPEG segment (ISO/IEC 10918-1, B.1.1.4)."""
    return b"\xff" + bytes([marker]) + (len(content) + 2).to_bytes(2, "big") + content


def _jpeg_with(*segments: bytes, behind: bytes = b"") -> bytes:
    data = _saved("JPEG", _exif())
    return data[:2] + b"".join(segments) + data[2:] + behind


def _png_with(kind: bytes, content: bytes) -> bytes:
    """Return a PNG with one more chunk before its picture (PNG third edition, 5.3)."""
    data = _saved("PNG", _exif())
    at = data.index(b"IDAT") - 4
    chunk = len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")
    return data[:at] + chunk + data[at:]


def _webp_with(kind: bytes, content: bytes) -> bytes:
    data = _saved("WEBP", _exif())
    body = data[12:] + kind + len(content).to_bytes(4, "little") + content + bytes(len(content) % 2)
    return b"RIFF" + (len(body) + 4).to_bytes(4, "little") + b"WEBP" + body


def _iptc(number: int) -> bytes:
    """Return IPTC data in a JPEG's application segment (IIM 4.2, 1.5; resource 0x0404)."""
    sets = b"\x1c\x02" + bytes([number]) + len(SECRET).to_bytes(2, "big") + SECRET
    return b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + len(sets).to_bytes(4, "big") + sets


def _unknown_type() -> bytes:
    """Return EXIF with a field of a type no standard knows beside one that holds a place."""
    head = b"II*\0\x08\0\0\0" + struct.pack("<H", 2)
    fields = struct.pack("<HHII", 0x010F, 99, 4, 0) + struct.pack("<HHII", 0x9286, 7, len(SECRET), 38)
    return b"Exif\0\0" + head + fields + bytes(4) + SECRET


def _extended_xmp() -> bytes:
    packet = _xmp(f'xmlns:place="http://example.org/" place:where="{TEXT}"')
    head = b"http://ns.adobe.com/xmp/extension/\0" + b"0" * 32 + len(packet).to_bytes(4, "big") + bytes(4)
    return _segment(0xE1, head + packet)


def _thumbnail() -> bytes:
    """Return EXIF with a small picture in its second directory, as cameras write it (CIPA DC-008, 4.5.8)."""
    small = _jpeg_with(_segment(0xFE, SECRET))
    second = struct.pack("<H", 2) + struct.pack("<HHII", 513, 4, 1, 60) + struct.pack("<HHII", 514, 4, 1, len(small))
    first = struct.pack("<H", 1) + struct.pack("<HHII", 0x0112, 3, 1, 1) + struct.pack("<I", 26)
    return b"Exif\0\0" + (b"II*\0\x08\0\0\0" + first + second + bytes(4)).ljust(60, b"\0") + small


def _box(kind: bytes, content: bytes) -> bytes:
    return (len(content) + 8).to_bytes(4, "big") + kind + content


def _jfif_thumbnail() -> bytes:
    data = _saved("JPEG")
    small = SECRET.ljust(27, b" ")  # three by three pixels
    return data[:4] + (16 + 27).to_bytes(2, "big") + data[6:18] + b"\3\3" + small + data[20:]


def _tiff_second_page() -> bytes:
    out = io.BytesIO()
    page = Image.Exif()
    page[ExifTags.Base.ImageDescription] = TEXT
    _picture().save(out, "TIFF", save_all=True, append_images=[_picture()], exif=page)
    return out.getvalue()


TOLD: Final[dict[str, dict[str, dict[int, object]]]] = {
    "description": {"main": {0x010E: TEXT}},
    "software and its user": {"main": {0x0131: TEXT}},
    "artist": {"main": {0x013B: TEXT}},
    "host computer": {"main": {0x013C: TEXT}},
    "rating in a private field": {"main": {0xFDE8: TEXT}},
    "copyright": {"main": {0x8298: TEXT}},
    "title in UTF-16": {"main": {0x9C9B: TEXT.encode("utf-16-le")}},
    "comment in UTF-16": {"main": {0x9C9C: TEXT.encode("utf-16-le")}},
    "author in UTF-16": {"main": {0x9C9D: TEXT.encode("utf-16-le")}},
    "keywords in UTF-16": {"main": {0x9C9E: TEXT.encode("utf-16-le")}},
    "subject in UTF-16": {"main": {0x9C9F: TEXT.encode("utf-16-le")}},
    "maker's notes": {"shot": {0x927C: SECRET}},
    "user comment": {"shot": {0x9286: b"ASCII\0\0\0" + SECRET}},
    "sound file": {"shot": {0xA004: TEXT}},
    "unique picture number": {"shot": {0xA420: TEXT}},
    "camera owner": {"shot": {0xA430: TEXT}},
    "body serial number": {"shot": {0xA431: TEXT}},
    "lens maker": {"shot": {0xA433: TEXT}},
    "lens model": {"shot": {0xA434: TEXT}},
    "lens serial number": {"shot": {0xA435: TEXT}},
    "title": {"shot": {0xA436: TEXT}},
    "photographer": {"shot": {0xA437: TEXT}},
    "picture editor": {"shot": {0xA438: TEXT}},
}
"""What EXIF tells of people and things (CIPA DC-008-2023, tables 6 to 9; the fields in UTF-16 are Windows' own) -> its
fields by number, in the main directory and in the one of the shot."""
XMP_TOLD: Final = {
    "serial number": 'xmlns:aux="a" aux:SerialNumber="{}"',
    "creator": 'xmlns:dc="d" dc:creator="{}"',
    "city": 'xmlns:photoshop="p" photoshop:City="{}"',
    "document's number": 'xmlns:xmpMM="m" xmpMM:DocumentID="{}"',
    "history of edits": 'xmlns:crs="c" crs:RawFileName="{}"',
    "a person's region": 'xmlns:mwg="r" mwg:Name="{}"',
}

RAW_TOLD: Final = {
    **{
        what: number for told in TOLD.values() for number in told.get("main", ()) for what in TOLD if TOLD[what] is told
    },
    "XMP": 700,
    "IPTC": 33723,
    "Photoshop resources": 34377,
    "owner's name": 65000,
    "localized model": 50709,
    "camera's serial number": 50735,
    "private data": 50740,
    "maker's notes are safe": 50741,
    "raw data's unique number": 50781,
    "original raw file's name": 50827,
    "original raw file": 50828,
    "camera's calibration signature": 50931,
    "profile's calibration signature": 50932,
    "shot profile's name": 50934,
    "profile's name": 50936,
    "profile's copyright": 50942,
    "preview program": 50966,
    "preview program's version": 50967,
    "preview settings' name": 50968,
    "preview settings' digest": 50969,
    "time of the preview": 50971,
    "raw picture's digest": 50972,
    "original raw file's digest": 50973,
}
"""Fields of a DNG that tell of people and things (Digital Negative Specification 1.4, chapter 4) -> their numbers."""


def _raw(number: int | None, behind: bytes = b"") -> bytes:
    """Return an open raw file with the secret in one of its fields, or behind its end."""
    light = np.random.default_rng(3).uniform(0.1, 0.9, (64, 96, 3))
    with TemporaryDirectory() as folder:
        write_dng(Path(folder) / "a.dng", light, more=() if number is None else ((number, "s", TEXT),))
        return (Path(folder) / "a.dng").read_bytes() + behind


WAYS: Final[dict[str, Callable[[], bytes]]] = {
    **{f"DNG: {what}": lambda number=number: _raw(number) for what, number in RAW_TOLD.items()},  # type: ignore[misc]
    "DNG: behind the end": lambda: _raw(None, SECRET),
    **{f"{kind}: EXIF's GPS directory": lambda kind=kind: _saved(kind, _exif(place=True)) for kind in KINDS},  # type: ignore[misc]
    **{
        f"{kind}: XMP": lambda kind=kind: _saved(kind, _exif(), _xmp(f'xmlns:exif="e" exif:GPSLatitude="{TEXT}"'))  # type: ignore[misc]
        for kind in KINDS
    },
    **{
        f"{kind}: XMP, {what}": lambda kind=kind, told=told: _saved(kind, _exif(), _xmp(told.format(TEXT)))  # type: ignore[misc]
        for kind in KINDS
        for what, told in XMP_TOLD.items()
    },
    **{
        f"{kind}: {what}": lambda kind=kind, told=told: _saved(
            kind, _exif(main=told.get("main"), shot=told.get("shot"))
        )  # type: ignore[misc]
        for kind in KINDS
        for what, told in TOLD.items()
    },
    "JPEG: EXIF of an unknown type": lambda: _jpeg_with(_segment(0xE1, _unknown_type())),
    "JPEG: thumbnail in EXIF": lambda: _jpeg_with(_segment(0xE1, _thumbnail())),
    "JPEG: thumbnail in JFIF": _jfif_thumbnail,
    "JPEG: thumbnail in an extension": lambda: _jpeg_with(_segment(0xE0, b"JFXX\0\x10" + SECRET)),
    "JPEG: XMP with another prefix": lambda: _saved("JPEG", _exif(), _xmp(f'xmlns:q="e" q:GPSLatitude="{TEXT}"')),
    "JPEG: XMP element": lambda: _saved("JPEG", b"", _xmp("", f"<exif:GPSLongitude>{TEXT}</exif:GPSLongitude>")),
    "JPEG: XMP in UTF-16": lambda: _saved("JPEG", b"", TEXT.encode("utf-16-be")),
    "JPEG: extended XMP": lambda: _jpeg_with(_extended_xmp()),
    "JPEG: IPTC city": lambda: _jpeg_with(_segment(0xED, _iptc(90))),
    "JPEG: IPTC location code": lambda: _jpeg_with(_segment(0xED, _iptc(26))),
    "JPEG: IPTC by-line": lambda: _jpeg_with(_segment(0xED, _iptc(80))),
    "JPEG: comment": lambda: _jpeg_with(_segment(0xFE, SECRET)),
    "JPEG: a maker's own segment": lambda: _jpeg_with(_segment(0xEA, SECRET)),
    "JPEG: further pictures behind": lambda: _jpeg_with(behind=_jpeg_with(_segment(0xFE, SECRET))),
    "JPEG: a film behind": lambda: _jpeg_with(behind=_box(b"ftyp", b"mp42") + _box(b"moov", SECRET)),
    "JPEG: text behind": lambda: _jpeg_with(behind=SECRET),
    "PNG: text": lambda: _png_with(b"tEXt", b"Comment\0" + SECRET),
    "PNG: packed text": lambda: _png_with(b"zTXt", b"Comment\0\0" + zlib.compress(SECRET * 3)),
    "PNG: raw profile in a text": lambda: _png_with(b"tEXt", b"Raw profile type exif\0\n" + SECRET.hex().encode()),
    "PNG: a private chunk": lambda: _png_with(b"loCa", SECRET),
    "PNG: behind the end": lambda: _saved("PNG") + SECRET,
    "WEBP: an unknown chunk": lambda: _webp_with(b"LOCA", SECRET),
    "WEBP: behind the end": lambda: _saved("WEBP") + SECRET,
    "TIFF: a second page": _tiff_second_page,
    "TIFF: between and behind": lambda: _saved("TIFF") + SECRET,
    "HEIC: a film behind": lambda: _saved("HEIC", _exif()) + _box(b"mpvd", SECRET),
    "HEIC: a maker's own box": lambda: _saved("HEIC") + _box(b"uuid", SECRET),
    "HEIC: behind the items": lambda: _saved("HEIC") + _box(b"mdat", SECRET),
}


def _hidden_in(data: bytes) -> bytes:
    """Return a file's bytes with all that is packed in it unpacked behind them."""
    out = data
    for at in range(len(data) - 1):
        if data[at] == 0x78 and data[at + 1] in (0x01, 0x5E, 0x9C, 0xDA):
            try:
                out += zlib.decompressobj().decompress(data[at:], 10_000_000)
            except zlib.error:
                continue
    return out


def _forms(secret: bytes) -> tuple[bytes, ...]:
    text = secret.decode()
    return secret, text.encode("utf-16-le"), text.encode("utf-16-be"), secret.hex().encode()


def _read(data: bytes) -> Image.Image:
    pillow_heif.register_heif_opener()
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


@pytest.mark.parametrize("way", WAYS)
def test_what_is_planted_does_not_leave(way: str) -> None:
    """A secret planted in each of these ways is in the file and, packed or not, in no byte of what is given away."""
    data = WAYS[way]()
    assert any(form in _hidden_in(data) for form in _forms(SECRET))
    clean = shareable(data)
    assert clean is not None
    assert not any(form in _hidden_in(clean) for form in _forms(SECRET))
    np.testing.assert_array_equal(_pixels(data, way), _pixels(clean, way))


def _pixels(data: bytes, way: str) -> np.ndarray:
    """Return a file's picture as another program reads it; of an open raw file its mosaic, which lies at the end."""
    if not way.startswith("DNG"):
        return np.asarray(_read(data))
    offset = data.index(struct.pack("<HHI", 273, 4, 1)) + 8
    (at,) = struct.unpack("<I", data[offset : offset + 4])
    return np.frombuffer(data, "<u2", 64 * 96, at)


def test_every_kind_of_file_is_tried_in_many_ways() -> None:
    """Of each kind of file 31 ways or more are tried."""
    kinds = Counter(way.partition(":")[0] for way in WAYS)
    assert set(kinds) == {*KINDS, "DNG"}
    assert min(kinds.values()) >= 31


@pytest.mark.parametrize("kind", KINDS)
def test_what_measuring_needs_is_kept(kind: str, tmp_path: Path) -> None:
    """Pixels, turning, camera, time and colours are what they were, and a second cleaning changes nothing."""
    data = _saved(kind, _exif(place=True, shot={0xA001: 1}))
    clean = shareable(data)
    assert clean is not None
    assert shareable(clean) == clean
    assert not _read(clean).getexif().get_ifd(ExifTags.IFD.GPSInfo)
    for name, content in (("before", data), ("after", clean)):
        (tmp_path / name).write_bytes(content)
    before, after = read_photo(tmp_path / "before"), read_photo(tmp_path / "after")
    np.testing.assert_array_equal(before.encoded, after.encoded)
    told = [(p.info.camera, p.info.taken, p.info.profile, p.info.full_size, p.info.doubts) for p in (before, after)]
    assert told[0] == told[1]
    assert told[0][1] == "2023-01-02T03:04:05"


def test_marks_of_gain_map_and_panorama_stay() -> None:
    """What measuring doubts a photo for is still told by the file that is given away."""
    marked = _xmp(
        f'xmlns:hdrgm="h" hdrgm:Version="1.0" xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" q="{TEXT}"'
    )
    clean = shareable(_saved("JPEG", _exif(), marked)) or b""
    assert b"hdrgm:Version" in clean
    assert b"http://ns.google.com/photos/1.0/panorama/" in clean
    assert SECRET not in clean
    assert shareable(clean) == clean


def test_a_plain_photo_is_not_changed() -> None:
    """A JPEG that holds nothing but its picture comes out byte for byte as it went in."""
    data = _saved("JPEG")
    assert shareable(data) == data


def test_open_raw_files_keep_their_light(tmp_path: Path) -> None:
    """A DNG decodes to the same light, and its serial number and previews are gone (DNG Specification 1.4)."""
    pytest.importorskip("rawpy")
    write_dng(tmp_path / "a.dng", np.random.default_rng(3).uniform(0.1, 0.9, (64, 96, 3)))
    data = (tmp_path / "a.dng").read_bytes()
    planted = data.replace(b"Test Raw One", b"Test Raw One", 1)
    # the unique model's field is made one of the serial number, which no longer may be kept
    at = planted.index(struct.pack("<HH", 50708, 2))
    planted = planted[:at] + struct.pack("<HH", 50735, 2) + planted[at + 4 :]
    (tmp_path / "b.dng").write_bytes(planted)
    clean = shareable(planted)
    assert clean is not None
    assert b"Test Raw One" not in clean
    (tmp_path / "c.dng").write_bytes(clean)
    before, after = read_photo(tmp_path / "b.dng"), read_photo(tmp_path / "c.dng")
    np.testing.assert_array_equal(before.encoded, after.encoded)
    assert shareable(clean) == clean


@pytest.mark.parametrize("head", [b"FUJIFILMCCD-RAW ", b"\0\0\0\x18ftypcrx ", b"II*\0\x10\0\0\0CR\2\0"])
def test_makers_raw_files_stay(head: bytes) -> None:
    """A maker's own raw file, whose notes nobody else can clean, is not given away."""
    assert shareable(head + bytes(200) + SECRET) is None


@given(
    st.binary(max_size=400),
    st.sampled_from(
        [b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"\0\0\0\x10ftypheic\0\0\0\0"]
    ),
)
def test_damaged_files_are_no_failure(noise: bytes, head: bytes) -> None:
    """Whatever bytes follow a head, cleaning ends with a file that a second cleaning leaves as it is, or with None."""
    clean = shareable(head + noise)
    assert clean is None or shareable(clean) in (clean, None)
