"""Everything the program writes for others: no secret of a photo stands in any of it.

Photos get a place, a serial number, an owner, a comment, a maker's note, a small picture and a film behind them, each
holding one secret word; then everything that can be made of them is made, and every file read back byte by byte.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from pathlib import Path

import pytest
from conftest import Run

SAMPLES = Path(__file__).parent.parent / "sample_photos"
SECRET = b"Sampletown-SN4711"


def _segment(marker: int, content: bytes) -> bytes:
    return b"\xff" + bytes([marker]) + (len(content) + 2).to_bytes(2, "big") + content


def _planted(name: str) -> bytes:
    """Return a sample photo with the secret in ways that cameras and editors have."""
    data = (SAMPLES / name).read_bytes()
    xmp = b'http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x="adobe:ns:meta/" exif:GPSLatitude="' + SECRET + b'"/>'
    iptc = b"\x1c\x02\x5a" + len(SECRET).to_bytes(2, "big") + SECRET
    block = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + len(iptc).to_bytes(4, "big") + iptc
    more = [_segment(0xE1, xmp), _segment(0xED, block), _segment(0xFE, SECRET), _segment(0xEA, SECRET)]
    film = (len(SECRET) + 8).to_bytes(4, "big") + b"moov" + SECRET
    end = 2 + 2 + int.from_bytes(data[4:6], "big")  # behind the first segment
    return data[:end] + b"".join(more) + data[end:] + film


def _all_in(path: Path) -> bytes:
    """Return a file's bytes, with what is packed in it unpacked behind them."""
    data = path.read_bytes()
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            return data + b"".join(archive.read(name) for name in archive.namelist())
    for found in re.finditer(rb"stream\r?\n", data):
        try:
            data += zlib.decompressobj().decompress(path.read_bytes()[found.end() :])
        except zlib.error:
            continue
    return data


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of photos that hold the secret."""
    folder = tmp_path_factory.mktemp("planted")
    for name in ("floor-kitchen-doorway.jpg", "board-raw.jpg", "board-honey-two-coats.jpg"):
        (folder / name).write_bytes(_planted(name))
        assert SECRET in (folder / name).read_bytes()
    return folder


def test_no_secret_of_a_photo_leaves(planted: Path, run: Run, tmp_path: Path) -> None:
    """Report, PDF, labels, house file, check picture and archive hold no secret; a backup is a full copy."""
    board = planted / "board-honey-two-coats.jpg"
    assert run("floor", "add", planted / "floor-kitchen-doorway.jpg").exit_code == 0
    assert run("board", "add", planted / "board-raw.jpg", "--species", "ash").exit_code == 0
    assert run("board", "add", board, "--species", "ash", "--stain", "honey", "--coats", 2).exit_code == 0
    out = tmp_path / "out"
    out.mkdir()
    made = {
        "page.html": ("report", "--output", out / "page.html", "--pdf", out / "page.pdf"),
        "page.pdf": (),
        "house.pdf": ("house-file", "--output", out / "house.pdf"),
        "labels.pdf": ("labels", "--output", out / "labels.pdf"),
        "seen.png": ("measure", board, "--save-picture", out / "seen.png"),
        "all.zip": ("export", out / "all.zip"),
    }
    for words in made.values():
        if words:
            done = run(*words)
            assert done.exit_code == 0, done.stderr
    for name in made:
        assert SECRET not in _all_in(out / name), name
    assert run("backup", tmp_path / "copy").exit_code == 0
    assert any(SECRET in path.read_bytes() for path in (tmp_path / "copy").rglob("*.jpg"))
