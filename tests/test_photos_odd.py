"""Photos as people really have them: gain maps, panoramas, screenshots, other colour spaces, huge and unfit files."""

from __future__ import annotations

import io
import json
import struct
import zlib
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

import cv2
import numpy as np
import pytest
from conftest import SCENES, STRIP_NUMBER, Photos, Run
from photo_samples import blocks, jpeg_photo, saved
from PIL import Image
from render.photo import render_scene

from finishlab import Measurement, measure_photo, measuring
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import srgb_to_linear
from finishlab.errors import NoStripError
from finishlab.imaging import finder
from finishlab.imaging.pixels import LinearImage
from finishlab.photos import read_photo
from finishlab.photos.profiles import SpaceName, matrix_profile, named_encoding

XMP: Final = b"http://ns.adobe.com/xap/1.0/\0"
HDRGM: Final = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" hdrgm:Version="1.0"/></rdf:RDF></x:xmpmeta>'
)
APPLE: Final = b'<apdi:AuxiliaryImageType="urn:com:apple:photo:2020:aux:hdrgainmap"/>'
ISO: Final = b"urn:iso:std:iso:ts:21496:-1\0"
GPANO: Final = b'<rdf:Description xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" GPano:ProjectionType="flat"/>'


def with_segment(jpeg: bytes, marker: int, content: bytes) -> bytes:
    """Return a JPEG with one more application segment after its start."""
    return jpeg[:2] + struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content + jpeg[2:]


def multi_picture(primary: bytes, second: bytes) -> bytes:
    """Return a JPEG with a second picture behind it and the index that names both (CIPA DC-007)."""
    size = 4 + 4 + 8 + 2 + 3 * 12 + 4 + 32  # the whole APP2 segment: "MPF", TIFF head, three entries, two pictures
    first_length = len(primary) + size + 4
    index_at = 2 + 4 + 4  # the offset of the second counts from the TIFF head
    body = b"MPF\0" + struct.pack(">2sHIH", b"MM", 42, 8, 3)
    body += struct.pack(">HHI4s", 0xB000, 7, 4, b"0100")
    body += struct.pack(">HHII", 0xB001, 4, 1, 2)
    body += struct.pack(">HHII", 0xB002, 7, 32, 50) + bytes(4)
    body += struct.pack(">IIIHH", 0x030000, first_length, 0, 0, 0)
    body += struct.pack(">IIIHH", 0, len(second), first_length - index_at, 0, 0)
    body += bytes(size - len(body))
    return with_segment(primary, 0xE2, body) + second


def gain_map_file(kind: str, jpeg: bytes) -> bytes:
    """Return a JPEG with a gain map as the kinds in use have it."""
    grey = saved(Image.fromarray(np.full((30, 40), 90, np.uint8)), "JPEG")
    if kind == "xmp":
        return multi_picture(with_segment(jpeg, 0xE1, XMP + HDRGM), with_segment(grey, 0xE1, XMP + HDRGM))
    if kind == "apple":
        return multi_picture(jpeg, with_segment(grey, 0xE1, XMP + APPLE))
    return multi_picture(with_segment(jpeg, 0xE2, ISO + bytes(4)), with_segment(grey, 0xE2, ISO + bytes(60)))


def codes_of(path: Path) -> list[str]:
    """Return the codes of the doubts of a file."""
    return [d.code for d in read_photo(path).info.doubts]


# -- gain maps


@pytest.mark.parametrize("kind", ["xmp", "apple", "iso"])
@pytest.mark.parametrize("long_side", [None, 600])
def test_of_a_gain_map_jpeg_the_base_picture_is_read_and_told(
    photos: Photos, tmp_path: Path, kind: str, long_side: int | None
) -> None:
    """A JPEG with a gain map, of each of the three kinds in use, gives the ordinary picture's pixels and a doubt."""
    path = tmp_path / "hdr.jpg"
    path.write_bytes(gain_map_file(kind, photos("straight").read_bytes()))
    found, plain = read_photo(path, long_side=long_side), read_photo(photos("straight"), long_side=long_side)
    assert np.array_equal(found.encoded, plain.encoded)
    assert [d.code for d in found.info.doubts] == ["gain-map"]
    assert (found.info.profile, found.info.camera) == (plain.info.profile, plain.info.camera)


def test_a_gain_map_changes_no_figure_and_the_command_tells_it(run: Run, photos: Photos, tmp_path: Path) -> None:
    """Measured with a gain map, the board has the colour it has without, and the doubt stands beside it."""
    path = tmp_path / "hdr.jpg"
    path.write_bytes(gain_map_file("xmp", photos("straight").read_bytes()))
    with_map, without = (
        json.loads(run("measure", p, "--json").stdout)["photos"][0] for p in (path, photos("straight"))
    )
    assert with_map["fields"]["board"]["lab"] == without["fields"]["board"]["lab"]
    told = {d["code"]: d["message"] for d in with_map["fields"]["board"]["doubts"]}
    assert "without the map" in told["gain-map"]


def test_two_pictures_in_a_file_are_no_gain_map(photos: Photos, tmp_path: Path) -> None:
    """A JPEG with a second, ordinary picture (a preview) is read without that doubt."""
    path = tmp_path / "two.jpg"
    path.write_bytes(multi_picture(photos("straight").read_bytes(), saved(blocks(), "JPEG")))
    assert codes_of(path) == []


# -- panoramas, screenshots


@pytest.mark.parametrize(("width", "height", "doubted"), [(2400, 1000, False), (2410, 1000, True), (400, 1000, True)])
def test_a_long_photo_is_doubted_as_a_panorama(tmp_path: Path, width: int, height: int, *, doubted: bool) -> None:
    """More than 2.4 times as long as wide, lying or standing, a photo is taken for a panorama."""
    path = tmp_path / "long.jpg"
    path.write_bytes(saved(np.full((height, width, 3), 120, np.uint8), "JPEG"))
    assert ("panorama" in codes_of(path)) == doubted


def test_a_photo_that_says_it_is_a_panorama_is_believed(tmp_path: Path) -> None:
    """The panorama name space in XMP is enough, whatever the shape."""
    path = tmp_path / "sphere.jpg"
    path.write_bytes(with_segment(saved(blocks(), "JPEG"), 0xE1, XMP + GPANO))
    assert "panorama" in codes_of(path)


def test_a_panorama_and_a_screenshot_are_measured_with_a_doubt(run: Run, photos: Photos, tmp_path: Path) -> None:
    """A long crop and a screenshot (PNG without camera data) give a colour, and say what they are."""
    image = Image.open(photos("straight"))
    wide, shot = tmp_path / "wide.jpg", tmp_path / "shot.png"
    image.crop((0, 200, 1200, 690)).save(wide, quality=95, exif=image.getexif())
    image.save(shot, dpi=(144, 144))
    for path, code in ((wide, "panorama"), (shot, "no-camera")):
        result = run("measure", path, "--json")
        assert result.exit_code == 0, result.stderr
        doubts = json.loads(result.stdout)["photos"][0]["fields"]["board"]["doubts"]
        assert code in [d["code"] for d in doubts]


# -- JPEG saved again


@pytest.mark.parametrize(("quality", "step"), [(95, 2 / 8), (75, 9 / 8), (60, 14 / 8), (30, 28 / 8)])
def test_the_rounding_of_a_jpeg_is_known(tmp_path: Path, quality: int, step: float) -> None:
    """The step of a block's mean chroma is its table's first entry over 8; low quality gets a doubt.

    Expected: 17 of table K.2 (ISO/IEC 10918-1), scaled by quality as the usual encoder scales it.
    """
    path = tmp_path / "again.jpg"
    path.write_bytes(saved(blocks(), "JPEG", quality=quality))
    assert read_photo(path).info.chroma_step == pytest.approx(step)
    assert ("coarse-jpeg" in codes_of(path)) == (quality <= 60)


def test_what_has_no_chroma_tables_is_not_rounded(tmp_path: Path) -> None:
    """A PNG and a greyscale JPEG have no step."""
    for name, data in (("a.png", saved(blocks(), "PNG")), ("grey.jpg", saved(blocks()[..., 0], "JPEG", quality=30))):
        (tmp_path / name).write_bytes(data)
        assert read_photo(tmp_path / name).info.chroma_step == 0.0


# -- greyscale, CMYK, transparent


def test_greyscale_is_measured_as_lightness_with_a_doubt(run: Run, photos: Photos, tmp_path: Path) -> None:
    """A greyscale photo gives a grey near the board's lightness, and says that it has no colour."""
    path = tmp_path / "grey.jpg"
    Image.open(photos("straight")).convert("L").save(path, quality=95)
    grey, colour = (json.loads(run("measure", p, "--json").stdout)["photos"][0] for p in (path, photos("straight")))
    lab, truth = (np.array(photo["fields"]["board"]["lab"]) for photo in (grey, colour))
    assert np.abs(lab[1:]).max() < 1.0
    assert lab[0] == pytest.approx(truth[0], abs=3.0)
    assert "greyscale" in [d["code"] for d in grey["fields"]["board"]["doubts"]]


@pytest.mark.parametrize(("mode", "kind", "words"), [("CMYK", "jpg", "printing press"), ("RGBA", "png", "transparent")])
def test_what_no_camera_makes_is_refused_in_words(
    run: Run, photos: Photos, tmp_path: Path, mode: str, kind: str, words: str
) -> None:
    """CMYK and transparent files end with exit code 3, one sentence and a hint, on stderr alone."""
    path = tmp_path / f"odd.{kind}"
    image = Image.open(photos("straight")).convert(mode)
    if mode == "RGBA":
        image.putalpha(128)
    image.save(path)
    result = run("measure", path)
    assert (result.exit_code, result.stdout) == (3, "")
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) == 2


# -- colour spaces


@cache
def scene_pixels() -> np.ndarray:
    """Return one rendered pair, sRGB, not yet packed."""
    return render_scene(replace(SCENES["pair"], jpeg_quality=None)).pixels


def in_space(space: SpaceName) -> np.ndarray:
    """Return the same colours in another space's codes, 16 bit."""
    linear = srgb_to_linear(scene_pixels() / 255.0) @ np.linalg.inv(named_encoding(space).to_srgb).T
    levels = named_encoding(space).curve(np.arange(65536) / 65535)
    return np.rint(np.interp(np.clip(linear, 0, 1), levels, np.arange(65536))).astype(np.uint16)


def measured(path: Path) -> Measurement:
    """Measure board and floor."""
    return measure_photo(path, fields=("board", "floor"))


@cache
def reference(folder: Path) -> Measurement:
    """Measure the scene in sRGB."""
    path = folder / "srgb.png"
    path.write_bytes(saved(scene_pixels(), "PNG", icc_profile=matrix_profile("sRGB")))
    return measured(path)


SPACES: Final[tuple[tuple[SpaceName, str], ...]] = (
    ("Display P3", "png"),
    ("Adobe RGB", "png"),
    ("ProPhoto RGB", "png"),
    ("Display P3", "jpg"),
    ("Adobe RGB", "jpg"),
    ("sRGB", "bare.png"),
)


@pytest.mark.parametrize(("space", "kind"), SPACES)
def test_one_scene_in_any_colour_space_measures_the_same(
    tmp_path_factory: pytest.TempPathFactory, tmp_path: Path, space: SpaceName, kind: str
) -> None:
    """A rendered pair saved in each space agrees with its sRGB file: the pair within 0.15 dE00, each colour in 0.5."""
    base = reference(tmp_path_factory.getbasetemp())
    path = tmp_path / f"photo.{kind}"
    if kind == "jpg":
        codes = ((in_space(space).astype(np.uint32) + 128) // 257).astype(np.uint8)
        path.write_bytes(jpeg_photo(codes, quality=97, profile=matrix_profile(space)))
    elif kind == "bare.png":
        path.write_bytes(saved(scene_pixels(), "PNG"))
    else:
        path.write_bytes(deep_png(in_space(space), matrix_profile(space)))
    found = measured(path)
    assert found.pair is not None
    assert base.pair is not None
    assert found.pair.value == pytest.approx(base.pair.value, abs=0.15)
    for name, field in found.fields.items():
        assert delta_e_00(field.estimate.lab, base.fields[name].estimate.lab) < 0.5
    assert ("no-profile" in [d.code for d in found.fields["board"].doubts]) == (kind == "bare.png")


def chunk(kind: bytes, content: bytes) -> bytes:
    """Return one chunk of a PNG."""
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def deep_png(codes: np.ndarray, profile: bytes) -> bytes:
    """Return a 16 bit PNG with a profile."""
    done, data = cv2.imencode(".png", codes[:, :, ::-1])
    assert done
    plain = data.tobytes()
    return plain[:33] + chunk(b"iCCP", b"profile\0\0" + zlib.compress(profile)) + plain[33:]


# -- very large


def test_a_very_large_jpeg_is_never_decoded_in_full(photos: Photos, monkeypatch: pytest.MonkeyPatch) -> None:
    """Above 50 megapixels a photo is decoded at half its size at most, with a strip or without.

    The limit is lowered here, so that the rendered photos count as very large.
    """
    monkeypatch.setattr(measuring, "_VERY_LARGE", 1_000_000)
    monkeypatch.setattr(measuring, "_QUICK_LONG_SIDE", 300)
    seen: list[float] = []
    find = finder.find_strip

    def watched(image: LinearImage) -> finder.StripFit:
        seen.append(image.scale)
        return find(image)

    monkeypatch.setattr(finder, "find_strip", watched)
    found = measure_photo(photos("straight"))
    assert seen == [0.25, 0.5]
    assert found.strip is not None
    assert found.strip.number == STRIP_NUMBER
    seen.clear()
    with pytest.raises(NoStripError):
        measure_photo(photos("no_strip"))
    assert seen == [0.25, 0.5]


def test_beyond_100_megapixels_the_size_refuses_before_decoding(run: Run, tmp_path: Path) -> None:
    """A JPEG and a PNG whose header claims more are refused by it: there is no picture behind these headers."""
    jpeg = bytearray(saved(blocks(), "JPEG"))
    at = jpeg.index(b"\xff\xc0")
    struct.pack_into(">HH", jpeg, at + 5, 12000, 12000)
    png = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 12000, 12000, 16, 2, 0, 0, 0))
    png += chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    tiff = io.BytesIO()
    Image.fromarray(blocks()).save(tiff, "TIFF")
    large_tiff = bytearray(tiff.getvalue())
    directory = struct.unpack_from("<I", large_tiff, 4)[0]
    for i in range(struct.unpack_from("<H", large_tiff, directory)[0]):
        entry = directory + 2 + 12 * i
        if struct.unpack_from("<H", large_tiff, entry)[0] in (256, 257):
            struct.pack_into("<HII", large_tiff, entry + 2, 4, 1, 12000)
    for name, data in (("a.jpg", bytes(jpeg)), ("a.png", png), ("a.tif", bytes(large_tiff))):
        (tmp_path / name).write_bytes(data)
        result = run("measure", tmp_path / name)
        assert (result.exit_code, result.stdout) == (3, "")
        assert "12000 x 12000 pixels, more than 100 megapixels" in result.stderr
