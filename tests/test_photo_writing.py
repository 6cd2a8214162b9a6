"""Writing pictures: sRGB with its profile, nothing that tells where a photo was taken, whole or not at all."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from photo_samples import CORNERS, blocks, corners_of, exif_block, saved
from PIL import ExifTags, Image

from finishlab.errors import OutputError
from finishlab.photos import read_photo, srgb_pixels, thumbnail, write_jpeg, write_png
from finishlab.photos.profiles import matrix_profile


def opened(data: bytes) -> Image.Image:
    """Open a picture from its bytes."""
    return Image.open(io.BytesIO(data))


def test_jpeg_carries_srgb_and_nothing_else() -> None:
    """A written JPEG has the sRGB profile embedded, no EXIF, and the colours it was given."""
    image = opened(write_jpeg(blocks(), quality=95))
    assert image.info["icc_profile"] == matrix_profile("sRGB")
    assert not image.getexif()
    assert set(image.info) <= {"icc_profile", "jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert corners_of(np.asarray(image)).astype(int) == pytest.approx(CORNERS.astype(int), abs=4)


@pytest.mark.parametrize(("shape", "kind"), [((4, 4), np.uint8), ((4, 4, 3), np.float32), ((4, 4, 4), np.uint8)])
def test_other_arrays_are_refused(shape: tuple[int, ...], kind: type) -> None:
    """Only (H, W, 3) arrays of 8 bit codes are written."""
    with pytest.raises(ValueError, match="8 bit"):
        write_jpeg(np.zeros(shape, kind), quality=80)


def test_png_is_written_whole(tmp_path: Path) -> None:
    """A PNG replaces what was there, keeps every pixel, has an ordinary file's rights, and leaves nothing behind."""
    path = tmp_path / "a.png"
    write_png(path, np.zeros((9, 9, 3), np.uint8))
    pixels = np.random.default_rng(4).integers(0, 256, (31, 17, 3)).astype(np.uint8)
    write_png(path, pixels)
    photo = read_photo(path)
    assert np.array_equal(photo.encoded, pixels)
    assert photo.info.profile == "sRGB"
    assert list(tmp_path.iterdir()) == [path]
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    assert path.stat().st_mode == plain.stat().st_mode


def test_png_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    """Where a PNG cannot be put, one sentence says so and no half file stays."""
    (tmp_path / "taken.png").mkdir()
    for path in (tmp_path / "no" / "a.png", tmp_path / "taken.png"):
        with pytest.raises(OutputError) as caught:
            write_png(path, blocks())
        assert caught.value.code == "output-not-writable"
        assert path.name in caught.value.message
    assert [path.name for path in tmp_path.iterdir()] == ["taken.png"]


def test_thumbnails_are_small_upright_srgb_and_tell_nothing(tmp_path: Path) -> None:
    """A thumbnail of a Display P3 photo lying on its side is upright, in sRGB, without EXIF or place."""
    brown = np.full((640, 960, 3), (150, 120, 100), np.uint8)
    stored = np.ascontiguousarray(np.rot90(brown))
    exif = exif_block(orientation=6, make="Acme")
    exif[ExifTags.IFD.GPSInfo] = {ExifTags.GPS.GPSLatitude: (52.0, 30.0, 0.0)}
    path = tmp_path / "a.jpg"
    profile = matrix_profile("Display P3")
    path.write_bytes(saved(stored, "JPEG", quality=98, subsampling=0, exif=exif, icc_profile=profile))
    assert opened(path.read_bytes()).getexif().get_ifd(ExifTags.IFD.GPSInfo)
    image = opened(thumbnail(path, 200))
    assert image.size == (200, 133)
    assert not image.getexif()
    assert image.info["icc_profile"] == matrix_profile("sRGB")
    # colour-science, Display P3 (150, 120, 100) in sRGB: 155.75, 118.53, 96.88
    assert np.asarray(image)[60, 100].astype(int) == pytest.approx(np.array([155.75, 118.53, 96.88]), abs=2)


def test_srgb_pixels_of_an_srgb_photo_are_its_own(tmp_path: Path) -> None:
    """A photo that is sRGB already comes out of the conversion code for code."""
    pixels = np.random.default_rng(6).integers(0, 256, (211, 97, 3)).astype(np.uint8)
    path = tmp_path / "a.png"
    path.write_bytes(saved(pixels, "PNG"))
    assert np.array_equal(srgb_pixels(read_photo(path)), pixels)
