"""What cannot be read: one sentence with the file's name, a hint, the photo's exit code, and not a word more."""

from __future__ import annotations

import os
import struct
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from photo_samples import blocks, saved, saved_heic
from PIL import Image

from finishlab.errors import ExitCode, PhotoError
from finishlab.photos import photo_facts, read_photo

NOISE = np.random.default_rng(1).integers(0, 256, (120, 160, 3)).astype(np.uint8)
DEEP = NOISE.astype(np.uint16) * 257


def png_of_size(width: int, height: int) -> bytes:
    """Return a PNG whose header claims a size its few bytes cannot fill."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    start = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header)
    return start + chunk(b"IDAT", zlib.compress(bytes(100))) + chunk(b"IEND", b"")


def transparent(kind: str) -> bytes:
    """Return a picture with a hole in it."""
    picture = Image.fromarray(blocks()).convert("RGBA")
    picture.putpixel((3, 3), (0, 0, 0, 100))
    return saved(picture, kind)


def deep_transparent() -> bytes:
    """Return a 16 bit PNG with a hole in it."""
    layers = np.dstack([DEEP, np.full(DEEP.shape[:2], 65535, np.uint16)])
    layers[5, 5, 3] = 0
    return cv2.imencode(".png", layers)[1].tobytes()


WHOLE = {
    "a.jpg": saved(NOISE, "JPEG"),
    "progressive.jpg": saved(NOISE, "JPEG", progressive=True),
    "a.png": saved(NOISE, "PNG"),
    "a.tif": saved(NOISE, "TIFF"),
    "lzw.tif": saved(NOISE, "TIFF", compression="tiff_lzw"),
    "a.webp": saved(NOISE, "WEBP"),
    "a.heic": saved_heic(NOISE),
    "deep.png": cv2.imencode(".png", DEEP)[1].tobytes(),
    "deep.tif": cv2.imencode(".tif", DEEP)[1].tobytes(),
}

BAD = {
    "empty.jpg": (b"", "photo-empty"),
    "text.jpg": (b"Dear renovator, this is a letter.", "not-a-photo"),
    "a.gif": (saved(NOISE, "GIF"), "photo-format"),
    "a.bmp": (saved(NOISE, "BMP"), "photo-format"),
    "a.pdf": (b"%PDF-1.7\n", "photo-format"),
    "a.mov": (b"\0\0\0\x14ftypqt  \0\0\0\0qt  ", "photo-format"),
    "a.avif": (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf", "photo-format"),
    "lab.tif": (saved(Image.fromarray(NOISE).convert("LAB"), "TIFF"), "photo-format"),
    "thumbnail.nef": (saved(NOISE, "TIFF", tiffinfo={254: 1}), "photo-format"),
    "cmyk.jpg": (saved(Image.fromarray(NOISE).convert("CMYK"), "JPEG"), "cmyk"),
    "cmyk.tif": (saved(Image.fromarray(NOISE).convert("CMYK"), "TIFF"), "cmyk"),
    "hole.png": (transparent("PNG"), "photo-transparent"),
    "hole.webp": (transparent("WEBP"), "photo-transparent"),
    "deep-hole.png": (deep_transparent(), "photo-transparent"),
    "hdr.heic": (saved_heic(NOISE, color_primaries=9, transfer_characteristics=16), "photo-colours"),
    "large.png": (png_of_size(10001, 10000), "photo-too-large"),
    "bomb.png": (png_of_size(60000, 60000), "photo-too-large"),
    "nothing.png": (png_of_size(0, 10), "photo-damaged"),
    "short.png": (png_of_size(100, 100), "photo-truncated"),
    "junk.heic": (b"\0\0\0\x18ftypheic" + bytes(8) + b"heic" + bytes(200), "photo-damaged"),
}


def check(error: PhotoError, name: str) -> None:
    """Check that an error is one sentence with the file's name, and carries a hint and the photo's exit code."""
    assert error.exit_code is ExitCode.PHOTO_UNREADABLE
    assert name in error.message
    assert error.message.endswith(".")
    assert error.message.removesuffix(".").replace(name, "").count(". ") == 0
    assert error.hint.endswith(".")


@pytest.mark.parametrize("name", BAD)
def test_each_bad_file_is_refused_with_its_code(tmp_path: Path, name: str, capfd: pytest.CaptureFixture[str]) -> None:
    """Each kind of bad file is refused with its own code, a sentence, a hint, and silence of the libraries beneath."""
    data, code = BAD[name]
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.code == code
    check(caught.value, name)
    assert capfd.readouterr() == ("", "")
    assert path.read_bytes() == data


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.99, 0.998])
@pytest.mark.parametrize("name", WHOLE)
def test_cut_off_files_are_found(tmp_path: Path, name: str, share: float, capfd: pytest.CaptureFixture[str]) -> None:
    """A file cut off anywhere is refused, never half a picture with grey below, and nothing is printed."""
    path = tmp_path / name
    whole = WHOLE[name]
    path.write_bytes(whole[: max(16, int(len(whole) * share))])
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.code in {"photo-truncated", "photo-damaged"}
    check(caught.value, name)
    assert capfd.readouterr() == ("", "")


def test_cut_off_jpeg_is_called_cut_off(tmp_path: Path) -> None:
    """The commonest damage, a JPEG whose end is missing, is named as what it is, at reduced size too."""
    path = tmp_path / "a.jpg"
    path.write_bytes(WHOLE["a.jpg"][:-200])
    for long_side in (None, 40):
        with pytest.raises(PhotoError, match=r"^a\.jpg is cut off") as caught:
            read_photo(path, long_side=long_side)
        assert caught.value.code == "photo-truncated"


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """A name that leads nowhere and a folder are told apart, for reading and for the facts alike."""
    for read in (read_photo, photo_facts):
        with pytest.raises(PhotoError) as caught:
            read(tmp_path / "none.jpg")
        assert caught.value.code == "photo-not-found"
        check(caught.value, "none.jpg")
        with pytest.raises(PhotoError) as caught:
            read(tmp_path)
        assert caught.value.code == "photo-is-folder"
        check(caught.value, tmp_path.name)


def test_huge_file_is_not_read(tmp_path: Path) -> None:
    """A file of a gigabyte is refused by its size, before a byte of it is read."""
    path = tmp_path / "a.tif"
    with path.open("wb") as file:
        file.truncate(1_000_000_000)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.code == "photo-too-large"
    check(caught.value, "a.tif")


@pytest.mark.skipif(sys.platform == "win32", reason="file rights work differently there")
def test_unreadable_name(tmp_path: Path) -> None:
    """A name the system itself refuses gives a sentence, not a crash."""
    with pytest.raises(PhotoError) as caught:
        read_photo(tmp_path / ("x" * 300 + ".jpg"))
    assert caught.value.code == "photo-unreadable"


def test_ninety_nine_megapixels_raise_no_warning(tmp_path: Path) -> None:
    """Below the bound of 100 megapixels the picture library's own warning about size stays inside."""
    path = tmp_path / "a.png"
    path.write_bytes(png_of_size(9900, 10000))
    facts = photo_facts(path)
    assert (facts.width, facts.height) == (9900, 10000)


@pytest.mark.parametrize("name", WHOLE)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_random_damage_is_read_or_refused(tmp_path: Path, name: str, data: st.DataObject) -> None:
    """A file with random bytes in it is either read or refused with a `PhotoError`: no other exception, no warning."""
    damaged = bytearray(WHOLE[name])
    head = st.integers(0, min(600, len(damaged) - 1))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.one_of(head, st.integers(0, len(damaged) - 1)))
        damaged[at] = data.draw(st.integers(0, 255))
    path = tmp_path / name
    path.write_bytes(damaged)
    try:
        photo = read_photo(path)
    except PhotoError as error:
        assert error.message  # noqa: PT017 - an error is one of the two good outcomes here
    else:
        assert photo.encoded.shape[2] == 3


def _damaged(data: bytes, kind: str, at: int, rng: np.random.Generator) -> bytes:
    """Return a JPEG whose coded data are damaged as memory cards, cables and full disks do it."""
    out = bytearray(data)
    if kind == "zeroed":
        out[at : at + 512] = bytes(512)
    elif kind == "overwritten":
        out[at : at + 512] = rng.integers(0, 256, 512, dtype=np.uint8).tobytes()
    elif kind == "shortened":
        del out[at : at + 512]
    else:
        out[at:at] = rng.integers(0, 256, 512, dtype=np.uint8).tobytes()
    return bytes(out)


@pytest.mark.parametrize("kind", ["zeroed", "overwritten", "shortened", "lengthened"])
def test_damage_in_a_jpegs_coded_data_is_told(tmp_path: Path, kind: str) -> None:
    """A block of 512 bytes zeroed, overwritten, lost or added in the picture is told in 48 of 50 places or more.

    Decoders go on past such damage and give some colours; a measurement of those would be wrong without a word. What is
    smaller than a disk's block is often not to be told: the code finds back into step by itself.
    """
    rng = np.random.default_rng(5)
    photo = saved(Image.fromarray(NOISE).resize((480, 360)), "JPEG", quality=92)
    first = photo.rindex(b"\xff\xda") + 20
    told = []
    for at in rng.integers(first, len(photo) - 600, 50):
        (tmp_path / "damaged.jpg").write_bytes(_damaged(photo, kind, int(at), rng))
        try:
            read_photo(tmp_path / "damaged.jpg")
        except PhotoError as error:
            told.append(error.code)
    assert len(told) >= 48
    assert set(told) <= {"photo-damaged", "photo-truncated"}


def test_noughts_before_the_end_are_no_damage(tmp_path: Path) -> None:
    """A JPEG whose camera fills up with noughts before the end mark reads as the same pixels (common practice)."""
    photo = saved(NOISE, "JPEG", quality=92)
    (tmp_path / "a.jpg").write_bytes(photo)
    (tmp_path / "b.jpg").write_bytes(photo[:-2] + bytes(40) + photo[-2:])
    np.testing.assert_array_equal(read_photo(tmp_path / "a.jpg").encoded, read_photo(tmp_path / "b.jpg").encoded)


@pytest.mark.parametrize("long_side", [None, 100, 60, 30])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_the_decoder_gives_pillows_pixels(tmp_path: Path, mode: str, long_side: int | None) -> None:
    """At each scale the codes are those that Pillow, which decodes past damage, gives of a whole file."""
    (tmp_path / "a.jpg").write_bytes(saved(Image.fromarray(NOISE).convert(mode), "JPEG", quality=90))
    with Image.open(tmp_path / "a.jpg") as image:
        scale = {None: 1, 100: 1, 60: 2, 30: 4}[long_side]
        image.draft(image.mode, (image.width // scale, image.height // scale))
        expected = np.asarray(image.convert("RGB"))
    np.testing.assert_array_equal(read_photo(tmp_path / "a.jpg", long_side=long_side).encoded, expected)


def test_devices_and_pipes_are_not_waited_for(tmp_path: Path) -> None:
    """A named pipe and an endless device are told at once, and a link that leads to itself is told too."""
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "loop.jpg").symlink_to("loop.jpg")
    for place, code in ((tmp_path / "pipe.jpg", "not-a-photo"), (Path("/dev/zero"), "not-a-photo")):
        with pytest.raises(PhotoError) as caught:
            read_photo(place)
        assert caught.value.code == code
    with pytest.raises(PhotoError):
        read_photo(tmp_path / "loop.jpg")
