"""Reading photos: every format, upright, in its own colours, never changed."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_samples import (
    CORNERS,
    blocks,
    corners_of,
    exif_block,
    parametric_curve,
    saved,
    saved_heic,
    with_curves,
    with_element,
)
from PIL import Image, ImageCms

from finishlab.imaging.pixels import LinearImage
from finishlab.photos import photo_facts, read_photo
from finishlab.photos.profiles import matrix_profile, named_encoding

LOSSLESS: dict[str, Callable[..., bytes]] = {
    "a.png": lambda p, **o: saved(p, "PNG", **o),
    "a.tif": lambda p, **o: saved(p, "TIFF", **o),
    "lzw.tif": lambda p, **o: saved(p, "TIFF", compression="tiff_lzw", **o),
    "a.webp": lambda p, **o: saved(p, "WEBP", lossless=True, **o),
}
LOSSY: dict[str, Callable[..., bytes]] = {
    "a.jpg": lambda p, **o: saved(p, "JPEG", quality=98, subsampling=0, **o),
    "a.heic": saved_heic,
}
FORMATS = LOSSLESS | LOSSY


def put(folder: Path, name: str, data: bytes) -> Path:
    """Write a photo into a folder."""
    path = folder / name
    path.write_bytes(data)
    return path


def codes_of(photo: LinearImage) -> list[str]:
    """Return the codes of a photo's doubts."""
    return [d.code for d in photo.info.doubts]


@pytest.mark.parametrize("name", LOSSLESS)
def test_lossless_formats_keep_every_pixel(tmp_path: Path, name: str) -> None:
    """PNG, TIFF and lossless WebP come back with the very pixels that were saved."""
    pixels = np.random.default_rng(3).integers(0, 256, (37, 53, 3)).astype(np.uint8)
    photo = read_photo(put(tmp_path, name, FORMATS[name](pixels)))
    assert np.array_equal(photo.encoded, pixels)
    assert photo.info.full_size == (53, 37)
    assert photo.scale == 1.0


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_keeps_colours_and_places(tmp_path: Path, name: str) -> None:
    """Each format gives the colours in their corners, RGB and not BGR, lossy ones within 4 codes."""
    photo = read_photo(put(tmp_path, name, FORMATS[name](blocks())))
    assert photo.encoded.dtype == np.uint8
    assert corners_of(photo.encoded).astype(int) == pytest.approx(CORNERS.astype(int), abs=4)
    assert not photo.encoded.flags.writeable


@pytest.mark.parametrize("name", FORMATS)
def test_display_p3_is_honoured_in_every_format(tmp_path: Path, name: str) -> None:
    """An embedded Display P3 profile gives its name, its curve and its matrix, and no doubt about the profile."""
    profile = matrix_profile("Display P3")
    photo = read_photo(put(tmp_path, name, FORMATS[name](blocks(), icc_profile=profile)))
    assert photo.info.profile == "Display P3"
    assert "no-profile" not in codes_of(photo)
    assert photo.to_srgb == pytest.approx(named_encoding("Display P3").to_srgb, abs=1e-4)
    assert photo.decode == pytest.approx(named_encoding("Display P3").table(256), abs=1e-5)


@pytest.mark.parametrize("name", FORMATS)
def test_original_is_never_changed(tmp_path: Path, name: str) -> None:
    """Reading a photo and its facts leaves every byte of the file as it was, and names it by their SHA-256."""
    path = put(tmp_path, name, FORMATS[name](blocks()))
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    photo, facts = read_photo(path), photo_facts(path)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before == facts.sha256
    assert photo.info.photo_id == before[:16] == facts.photo_id
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.webp", "a.tif"])
def test_all_eight_orientations_come_out_upright(tmp_path: Path, name: str, orientation: int) -> None:
    """Pixels stored in each of EXIF's eight orientations come out upright, with the upright size."""
    upright = blocks(96, 64)
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(upright, -1),
    }[orientation]
    data = FORMATS[name](np.ascontiguousarray(stored), exif=exif_block(orientation=orientation))
    photo = read_photo(put(tmp_path, name, data))
    assert photo.size == photo.info.full_size == (96, 64)
    assert corners_of(photo.encoded).astype(int) == pytest.approx(CORNERS.astype(int), abs=4)
    assert photo.encoded.flags.c_contiguous
    facts = photo_facts(tmp_path / name)
    assert (facts.width, facts.height) == (96, 64)


def test_heic_rotation_is_applied_once(tmp_path: Path) -> None:
    """A HEIC file that says to be turned a quarter clockwise comes out upright, once and not twice."""
    stored = np.ascontiguousarray(np.rot90(blocks(96, 64), 1))
    photo = read_photo(put(tmp_path, "a.heic", saved_heic(stored, exif=exif_block(orientation=6).tobytes())))
    assert photo.size == photo.info.full_size == (96, 64)
    assert corners_of(photo.encoded).astype(int) == pytest.approx(CORNERS.astype(int), abs=4)


def test_heic_code_points_name_the_colours(tmp_path: Path) -> None:
    """A HEIC without an ICC profile whose code points say Display P3 is read as Display P3."""
    data = saved_heic(blocks(), color_primaries=12, transfer_characteristics=13)
    photo = read_photo(put(tmp_path, "a.heic", data))
    assert photo.info.profile == "Display P3"
    assert photo.to_srgb == pytest.approx(named_encoding("Display P3").to_srgb, abs=1e-4)


def test_ten_bit_heic_keeps_its_depth_and_its_white(tmp_path: Path) -> None:
    """A HEIC of ten bits comes out as 16 bit codes whose white decodes to 1.0."""
    deep = np.full((64, 96, 3), 65535, dtype=np.uint16)
    deep[:, :48] = round(0.5 * 65535)
    photo = read_photo(put(tmp_path, "a.heic", saved_heic(deep)))
    assert photo.encoded.dtype == np.uint16
    linear = photo.linear(0, 0, *photo.size)
    assert linear[32, 72] == pytest.approx(1.0, abs=2e-3)
    assert linear[32, 24] == pytest.approx(0.21404, abs=2e-3)


@pytest.mark.parametrize("ending", [".png", ".tiff"])
@pytest.mark.parametrize("alpha", [False, True])
def test_sixteen_bits_are_kept(tmp_path: Path, ending: str, alpha: bool) -> None:
    """16 bit PNG and TIFF come back with every one of their 65536 codes; an opaque alpha channel is dropped."""
    deep = np.random.default_rng(5).integers(0, 65536, (41, 59, 3)).astype(np.uint16)
    layers = [deep[:, :, ::-1], *([np.full(deep.shape[:2], 65535, np.uint16)] if alpha else [])]
    coded = cv2.imencode(ending, np.ascontiguousarray(np.dstack(layers)))[1].tobytes()
    photo = read_photo(put(tmp_path, "a" + ending, coded))
    assert np.array_equal(photo.encoded, deep)
    assert photo.decode.shape == (65536,)
    assert photo.info.full_size == (59, 41)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_sixteen_bit_tiff_is_turned_once(tmp_path: Path, orientation: int) -> None:
    """A 16 bit TIFF comes out turned just as its 8 bit twin."""
    tifffile = pytest.importorskip("tifffile")
    turned = []
    for pixels in (blocks(), blocks().astype(np.uint16) * 257):
        path = tmp_path / f"{pixels.dtype}.tif"
        tifffile.imwrite(path, pixels, photometric="rgb", extratags=[(274, "H", 1, orientation, True)])
        turned.append(read_photo(path))
    assert np.array_equal(turned[0].encoded, turned[1].encoded // 257)
    assert turned[0].info.full_size == turned[1].info.full_size == turned[1].size


def test_odd_tags_make_no_noise(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A 16 bit TIFF with a private tag and a PNG with odd text and profile chunks are read without a word on stderr."""
    tifffile = pytest.importorskip("tifffile")
    deep = blocks().astype(np.uint16) * 257
    tifffile.imwrite(tmp_path / "a.tif", deep, photometric="rgb", extratags=[(65000, "s", 0, "hello", True)])
    plain = cv2.imencode(".png", deep)[1].tobytes()
    text = b"iCCPx\0\0" + zlib.compress(b"no profile at all")
    chunk = struct.pack(">I", len(text) - 4) + text + struct.pack(">I", zlib.crc32(text))
    put(tmp_path, "a.png", plain[:33] + chunk + plain[33:])
    for name in ("a.tif", "a.png"):
        assert read_photo(tmp_path / name).encoded.dtype == np.uint16
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("long_side", [None, 1600, 801, 800, 401, 400, 201, 200, 50])
def test_jpegs_are_decoded_at_the_smallest_scale_that_serves(tmp_path: Path, long_side: int | None) -> None:
    """Asked for a long side, a JPEG comes at 1/1, 1/2, 1/4 or 1/8, never below it, and still tells its full size."""
    path = put(tmp_path, "a.jpg", FORMATS["a.jpg"](blocks(1600, 1200)))
    photo = read_photo(path, long_side=long_side)
    scale = {None: 1, 1600: 1, 801: 1, 800: 2, 401: 2, 400: 4, 201: 4, 200: 8, 50: 8}[long_side]
    assert photo.size == (1600 // scale, 1200 // scale)
    assert photo.info.full_size == (1600, 1200)
    assert photo.scale == 1 / scale
    assert corners_of(photo.encoded).astype(int) == pytest.approx(CORNERS.astype(int), abs=4)


def test_odd_sizes_are_rounded_up(tmp_path: Path) -> None:
    """A reduced JPEG of odd size keeps its last, partly filled row and column."""
    path = put(tmp_path, "a.jpg", FORMATS["a.jpg"](np.full((1001, 1603, 3), 90, np.uint8)))
    assert read_photo(path, long_side=402).size == (802, 501)
    assert read_photo(path, long_side=401).size == (401, 251)


def test_fast_copy_is_pillows_own_decode(tmp_path: Path) -> None:
    """The pixels of a JPEG are those of a plain Pillow decode, in every row, stripes and remainder alike."""
    pixels = np.random.default_rng(2).integers(0, 256, (211, 997, 3)).astype(np.uint8)
    path = put(tmp_path, "a.jpg", FORMATS["a.jpg"](pixels))
    with Image.open(path) as image:
        assert np.array_equal(read_photo(path).encoded, np.asarray(image))


def test_stereo_and_gain_map_files_give_the_base_picture(tmp_path: Path) -> None:
    """A JPEG that carries a second picture (gain map, preview) gives the first, at full and reduced size."""
    base, second = Image.fromarray(blocks(160, 120)), Image.fromarray(np.zeros((30, 40, 3), np.uint8))
    path = put(tmp_path, "a.jpg", saved(base, "MPO", save_all=True, append_images=[second], quality=95))
    assert read_photo(path).size == (160, 120)
    assert read_photo(path, long_side=60).size == (80, 60)
    assert corners_of(read_photo(path).encoded).astype(int) == pytest.approx(CORNERS.astype(int), abs=8)


def test_animations_give_their_first_frame(tmp_path: Path) -> None:
    """An animated WebP is read as its first picture."""
    frames = [Image.fromarray(blocks()), Image.fromarray(np.zeros((64, 96, 3), np.uint8))]
    path = put(tmp_path, "a.webp", saved(frames[0], "WEBP", save_all=True, append_images=frames[1:], lossless=True))
    assert np.array_equal(corners_of(read_photo(path).encoded), CORNERS)


@pytest.mark.parametrize("depth", [8, 16])
def test_greyscale_is_read_with_a_doubt(tmp_path: Path, depth: int) -> None:
    """A greyscale photo gives three equal channels and the doubt that only lightness can be measured."""
    ramp = np.tile(np.arange(96, dtype=np.uint8), (64, 1))
    grey = ramp if depth == 8 else ramp.astype(np.uint16) * 257
    photo = read_photo(put(tmp_path, "a.png", cv2.imencode(".png", grey)[1].tobytes()))
    assert np.array_equal(photo.encoded, np.dstack([grey] * 3))
    assert "greyscale" in codes_of(photo)


def test_palettes_and_opaque_alpha_are_read(tmp_path: Path) -> None:
    """A palette PNG and a PNG with an alpha channel that hides nothing give their colours."""
    picture = Image.fromarray(blocks())
    for name, image in (("p.png", picture.quantize(8)), ("a.png", picture.convert("RGBA"))):
        photo = read_photo(put(tmp_path, name, saved(image, "PNG")))
        assert np.array_equal(corners_of(photo.encoded), CORNERS)
        assert photo.encoded.shape == (64, 96, 3)


def test_photo_without_profile_is_srgb_with_a_doubt(tmp_path: Path) -> None:
    """A file that says nothing of its colours is taken as sRGB, says so, and carries the doubt."""
    photo = read_photo(put(tmp_path, "a.jpg", FORMATS["a.jpg"](blocks())))
    assert photo.info.profile == "sRGB (assumed)"
    assert codes_of(photo) == ["no-profile", "no-camera"]
    assert photo.to_srgb == pytest.approx(np.eye(3), abs=1e-12)
    assert photo.decode[128] == pytest.approx(((128 / 255 + 0.055) / 1.055) ** 2.4, abs=1e-7)


@pytest.mark.parametrize(
    ("exif", "name"),
    [
        (exif_block(space=1), "sRGB"),
        (exif_block(space=65535, index="R98"), "sRGB"),
        (exif_block(space=65535, index="R03"), "Adobe RGB (by EXIF)"),
        (exif_block(space=2), "Adobe RGB (by EXIF)"),
    ],
)
def test_exif_names_the_colours(tmp_path: Path, exif: Image.Exif, name: str) -> None:
    """Without a profile, EXIF's colour space (sRGB, or Adobe RGB by the R03 file rule) is believed, without a doubt."""
    photo = read_photo(put(tmp_path, "a.jpg", FORMATS["a.jpg"](blocks(), exif=exif)))
    assert photo.info.profile == name
    assert "no-profile" not in codes_of(photo)


def png_with(chunk: bytes, content: bytes) -> bytes:
    """Return a PNG with one more chunk after its header."""
    plain = saved(blocks(), "PNG")
    body = chunk + content
    return plain[:33] + struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body)) + plain[33:]


@pytest.mark.parametrize(
    ("chunk", "content", "name"),
    [
        (b"cICP", bytes([12, 13, 0, 1]), "Display P3"),
        (b"sRGB", b"\0", "sRGB"),
        (b"gAMA", struct.pack(">I", 45455), "sRGB (by gamma)"),
        (b"gAMA", struct.pack(">I", 100000), "gamma 1.00"),
    ],
)
def test_png_chunks_name_the_colours(tmp_path: Path, chunk: bytes, content: bytes, name: str) -> None:
    """A PNG's own colour chunks are believed: code points, sRGB, gamma."""
    photo = read_photo(put(tmp_path, "a.png", png_with(chunk, content)))
    assert photo.info.profile == name
    assert "no-profile" not in codes_of(photo)


def test_profile_that_needs_littlecms_is_converted(tmp_path: Path) -> None:
    """A profile whose channels follow different curves is converted to sRGB by LittleCMS, and its name says so."""
    profile = with_curves(parametric_curve(0, 1.8), channels=(b"rTRC",))
    path = put(tmp_path, "a.png", saved(blocks(), "PNG", icc_profile=profile))
    photo = read_photo(path)
    with Image.open(path) as image:
        target = ImageCms.createProfile("sRGB")
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        expected = ImageCms.profileToProfile(image, source, target, renderingIntent=intent, outputMode="RGB")
    assert np.array_equal(photo.encoded, np.asarray(expected))
    assert photo.info.profile == "Display P3 (converted to sRGB, 8 bits)"
    assert photo.to_srgb == pytest.approx(np.eye(3), abs=1e-12)


def test_sixteen_bits_with_such_a_profile_become_eight(tmp_path: Path) -> None:
    """A 16 bit photo with a profile only LittleCMS reads comes out as its 8 bit twin does."""
    profile = with_curves(parametric_curve(0, 1.8), channels=(b"rTRC",))
    deep = cv2.imencode(".png", blocks()[:, :, ::-1].astype(np.uint16) * 257)[1].tobytes()
    body = b"iCCPx\0\0" + zlib.compress(profile)
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    photo = read_photo(put(tmp_path, "a.png", deep[:33] + chunk + deep[33:]))
    twin = read_photo(put(tmp_path, "b.png", saved(blocks(), "PNG", icc_profile=profile)))
    assert np.array_equal(photo.encoded, twin.encoded)


def test_damaged_profile_counts_as_none(tmp_path: Path) -> None:
    """A profile that neither reader understands leaves sRGB assumed, with the doubt."""
    profile = with_element(matrix_profile("sRGB"), b"rXYZ", b"junk")[:300]
    photo = read_photo(put(tmp_path, "a.jpg", FORMATS["a.jpg"](blocks(), icc_profile=profile)))
    assert photo.info.profile == "sRGB (assumed)"
    assert "no-profile" in codes_of(photo)


@pytest.mark.parametrize(
    ("make", "model", "camera"),
    [
        ("Acme", "Acme One", "Acme One"),
        ("Acme", "One", "Acme One"),
        ("ACME", "acme One", "acme One"),
        ("Acme ", "One\0", "Acme One"),
        ("Acme", "", "Acme"),
    ],
)
def test_camera_names_its_make_once(tmp_path: Path, make: str, model: str, camera: str) -> None:
    """Make and model are joined without saying the make twice, and without the padding some cameras write."""
    path = put(tmp_path, "a.jpg", FORMATS["a.jpg"](blocks(), exif=exif_block(make=make, model=model)))
    assert read_photo(path).info.camera == camera
    assert "no-camera" not in codes_of(read_photo(path))


@pytest.mark.parametrize(
    ("original", "offset", "taken"),
    [
        ("2024:05:17 18:03:09", "+02:00", "2024-05-17T18:03:09+02:00"),
        ("2024:05:17 18:03:09", "", "2024-05-17T18:03:09"),
        ("2024:05:17 18:03:09", "   :  ", "2024-05-17T18:03:09"),
        ("0000:00:00 00:00:00", "+02:00", ""),
        ("yesterday", "", ""),
    ],
)
@pytest.mark.parametrize("name", ["a.jpg", "a.heic", "a.png", "a.webp"])
def test_time_of_exposure(tmp_path: Path, name: str, original: str, offset: str, taken: str) -> None:
    """The time of exposure is ISO 8601 with its offset where EXIF has one, and empty where EXIF has nonsense."""
    exif = exif_block(original=original, offset=offset).tobytes()
    assert read_photo(put(tmp_path, name, FORMATS[name](blocks(), exif=exif))).info.taken == taken


def test_facts_tell_the_file_apart(tmp_path: Path) -> None:
    """The facts for the logbook hold the hash, the size, the camera, and an ending that fits the content."""
    exif = exif_block(make="Acme", model="One", original="2024:05:17 18:03:09", orientation=6)
    data = FORMATS["a.jpg"](blocks(), exif=exif)
    facts = photo_facts(put(tmp_path, "Floor 1.JPEG", data))
    assert facts.sha256 == hashlib.sha256(data).hexdigest()
    assert (facts.file_name, facts.suffix) == ("Floor 1.JPEG", ".jpg")
    assert (facts.width, facts.height, facts.camera_model) == (64, 96, "Acme One")
    assert str(facts.taken) == "2024-05-17 18:03:09"


def test_wrong_ending_does_not_matter(tmp_path: Path) -> None:
    """A photo is known by its content: a HEIC named .jpg is read, and its facts say .heic."""
    path = put(tmp_path, "a.jpg", saved_heic(blocks()))
    assert read_photo(path).size == (96, 64)
    assert photo_facts(path).suffix == ".heic"
