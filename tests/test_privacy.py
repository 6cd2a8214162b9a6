"""Photos that leave a logbook: the place is gone, the picture is not touched.

Files are written with Pillow and pillow-heif and read back with them, as other programs would.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image, PngImagePlugin

from finishlab.photos.privacy import without_location

PLACE = {1: "N", 2: (48.0, 51.0, 29.6), 3: "E", 4: (2.0, 17.0, 40.2), 29: "2024:05:31"}
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" '
    b'exif:GPSLatitude="48,51.4933N" photoshop:City="Sampletown" tiff:Make="Acme">'
    b"<exif:GPSLongitude>2,17.67E</exif:GPSLongitude></rdf:Description></rdf:RDF></x:xmpmeta>"
)
SECRETS = (b"48,51.4933N", b"Sampletown", b"2,17.67E", b"2024:05:31")


def _picture() -> Image.Image:
    return Image.fromarray(np.random.default_rng(5).integers(0, 255, (40, 60, 3), dtype=np.uint8))


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Acme"
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.IFD.Exif] = {int(ExifTags.Base.DateTimeOriginal): "2023:01:02 03:04:05"}
    exif[ExifTags.IFD.GPSInfo] = PLACE
    return exif


def _file(kind: str) -> bytes:
    out = io.BytesIO()
    if kind == "HEIC":
        pillow_heif.from_pillow(_picture()).save(out, exif=_exif().tobytes(), xmp=XMP, quality=90)
    elif kind == "PNG":
        texts = PngImagePlugin.PngInfo()
        texts.add_itxt("XML:com.adobe.xmp", XMP.decode(), zip=True)
        _picture().save(out, "PNG", exif=_exif().tobytes(), pnginfo=texts)
    elif kind == "TIFF":
        exif = Image.Exif()
        exif.load(_exif().tobytes())
        exif[700] = XMP  # TIFF's tag for XMP
        _picture().save(out, "TIFF", exif=exif)
    else:
        _picture().save(out, kind, exif=_exif().tobytes(), xmp=XMP)
    return out.getvalue()


def _read(data: bytes) -> Image.Image:
    pillow_heif.register_heif_opener()
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIC"])
def test_the_place_is_gone_and_the_rest_is_as_it_was(kind: str) -> None:
    """No GPS tag is left for Pillow to read, no place in XMP; pixels, camera, turning and time are what they were."""
    data = _file(kind)
    clean = without_location(data)
    before, after = _read(data), _read(clean)
    assert before.getexif().get_ifd(ExifTags.IFD.GPSInfo)
    assert not after.getexif().get_ifd(ExifTags.IFD.GPSInfo)
    assert not any(secret in clean for secret in SECRETS)
    np.testing.assert_array_equal(np.asarray(before), np.asarray(after))
    assert after.getexif()[ExifTags.Base.Make] == "Acme"
    times = after.getexif().get_ifd(ExifTags.IFD.Exif)
    assert times[ExifTags.Base.DateTimeOriginal] == "2023:01:02 03:04:05"
    if kind != "PNG":
        assert len(clean) == len(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIC"])
def test_done_twice_changes_nothing_more(kind: str) -> None:
    """What was cleaned once comes out of a second cleaning byte for byte."""
    once = without_location(_file(kind))
    assert without_location(once) == once


def test_iptc_places_are_blanked() -> None:
    """City and country in a JPEG's IPTC data are blanked; its caption stays (IIM 4.2, record 2, sets 90, 101, 120)."""
    sets = b"".join(
        b"\x1c\x02" + bytes([number]) + len(text).to_bytes(2, "big") + text
        for number, text in ((120, b"a tread"), (90, b"Sampletown"), (101, b"Samplonia"))
    )
    block = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + len(sets).to_bytes(4, "big") + sets
    plain = io.BytesIO()
    _picture().save(plain, "JPEG")
    data = plain.getvalue()
    segment = b"\xff\xed" + (len(block) + 2).to_bytes(2, "big") + block
    clean = without_location(data[:2] + segment + data[2:])
    assert b"Sampletown" not in clean
    assert b"Samplonia" not in clean
    assert b"a tread" in clean


def test_further_pictures_behind_the_first_are_cleaned() -> None:
    """A second JPEG behind the first, as phones append it, loses its place too."""
    data = without_location(_file("JPEG") + _file("JPEG"))
    assert not _read(data[len(data) // 2 :]).getexif().get_ifd(ExifTags.IFD.GPSInfo)


def test_a_photo_without_a_place_is_not_changed(tmp_path: Path) -> None:
    """A file that names no place comes out as it went in."""
    _picture().save(tmp_path / "plain.jpg", quality=95)
    data = (tmp_path / "plain.jpg").read_bytes()
    assert without_location(data) == data


@given(
    st.binary(max_size=400),
    st.sampled_from([b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"\xff\xd8", b"\x89PNG\r\n\x1a\n"]),
)
def test_damaged_files_are_no_failure(noise: bytes, head: bytes) -> None:
    """Whatever bytes follow a head, cleaning ends without an error and, but for a PNG, at the same length."""
    clean = without_location(head + noise)
    assert len(clean) == len(head + noise) or head.startswith(b"\x89PNG")
