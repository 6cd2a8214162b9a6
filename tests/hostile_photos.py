"""Photos as no camera writes them: a corpus made here, its mutations, and the campaign that reads them all.

``python tests/hostile_photos.py --cases 20000`` reads that many and prints the figures for docs/reliability.md. Each
case follows from its number alone, so that what fails can be made again.
"""

from __future__ import annotations

import argparse
import io
import resource
import struct
import sys
import tempfile
import time
import zlib
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from photo_samples import saved, saved_heic
from PIL import Image
from raw_samples import write_dng

from finishlab.errors import FinishlabError
from finishlab.photos import read_photo
from finishlab.photos.kept import shareable

__all__ = ["SLOW_S", "corpus", "hostile", "outcome"]

SLOW_S: Final = 10.0
"""Seconds of processor time after which a case counts as hung; others may use the machine meanwhile."""
_EXTREMES: Final = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_PLACES: Final = 40


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def _png(width: int, height: int, *more: bytes) -> bytes:
    head = _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    data = _chunk(b"IDAT", zlib.compress(bytes(50)))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(more) + data + _chunk(b"IEND", b"")


def _deep_exif() -> bytes:
    """Return EXIF whose directories lead to one another without end."""
    entry = struct.pack("<HHII", 0x8769, 4, 1, 8)
    return b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", 1) + entry + struct.pack("<I", 8)


def _not_a_number() -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full((20, 30), np.nan, np.float32)).save(out, "TIFF")
    return out.getvalue()


def _animated() -> bytes:
    out = io.BytesIO()
    frames = [Image.new("RGB", (40, 30), (level, 90, 60)) for level in (10, 120, 240)]
    frames[0].save(out, "WEBP", save_all=True, append_images=frames[1:])
    return out.getvalue()


@cache
def corpus() -> dict[str, bytes]:
    """Return whole and odd files by name; the first ones are what people have."""
    noise = np.random.default_rng(11).integers(0, 256, (48, 64, 3)).astype(np.uint8)
    picture = Image.fromarray(noise)
    with tempfile.TemporaryDirectory() as folder:
        write_dng(Path(folder) / "a.dng", noise / 255.0)
        raw = (Path(folder) / "a.dng").read_bytes()
    jpeg, png, tiff = (saved(picture, kind) for kind in ("JPEG", "PNG", "TIFF"))
    return {
        "jpeg": jpeg,
        "progressive": saved(picture, "JPEG", progressive=True),
        "png": png,
        "tiff": tiff,
        "packed tiff": saved(picture, "TIFF", compression="tiff_lzw"),
        "webp": saved(picture, "WEBP"),
        "heic": saved_heic(noise),
        "raw": raw,
        "grey": saved(picture.convert("L"), "JPEG"),
        "press colours": saved(picture.convert("CMYK"), "JPEG"),
        "one pixel": saved(Image.fromarray(noise[:1, :1]), "PNG"),
        "a line": saved(Image.new("RGB", (60000, 1), (90, 80, 70)), "PNG"),
        "animated": _animated(),
        "not a number": _not_a_number(),
        "no end of directories": jpeg[:2] + b"\xff\xe1" + struct.pack(">H", 36) + _deep_exif().ljust(34) + jpeg[2:],
        "broken profile": saved(picture, "JPEG", icc_profile=b"\0\0\1\0lcms" + bytes(150)),
        "huge by its head": _png(0x7FFFFFFF, 0x7FFFFFFF),
        "ninety by ninety thousand": _png(90000, 90000),
        "a packed text without end": _png(30, 20, _chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(3_000_000), 9))),
        "two at once": jpeg + png,
        "a page that is a photo": b"<html>" + jpeg,
        "nothing but a head": b"\xff\xd8\xff",
    }


def hostile(number: int) -> tuple[str, bytes]:
    """Return a case's name and file: one of the corpus, as it is or changed at up to four places."""
    rng = np.random.default_rng(number)
    names = tuple(corpus())
    name = names[number % len(names)]
    data = bytearray(corpus()[name])
    if number < len(names):
        return name, bytes(data)
    for _ in range(int(rng.integers(1, 5))):
        if data:
            _change(data, rng)
    return f"{name} {number}", bytes(data)


def _change(data: bytearray, rng: np.random.Generator) -> None:
    """Change a file in one way at one place, half of them near its head where lengths and kinds stand."""
    near = len(data) if rng.random() < 0.5 else min(len(data), 400)
    at, length = int(rng.integers(near)), int(rng.integers(1, _PLACES))
    way = int(rng.integers(8))
    if way == 0:
        data[at] ^= 1 << int(rng.integers(8))
    elif way == 1:
        data[at : at + length] = rng.integers(0, 256, length, dtype=np.uint8).tobytes()
    elif way == 2:
        data[at : at + length] = bytes(length)
    elif way == 3:
        del data[at : at + length]
    elif way == 4:
        data[at:at] = data[at : at + length]
    elif way == 5:
        del data[at:]
    elif way == 6:
        value = _EXTREMES[int(rng.integers(len(_EXTREMES)))]
        data[at : at + 4] = value.to_bytes(4, "big" if rng.random() < 0.5 else "little")
    else:
        other = hostile(int(rng.integers(len(corpus()))))[1]
        data[at:at] = other[: int(rng.integers(1, len(other) + 1))]


def outcome(data: bytes, folder: Path) -> str:
    """Read a file as a photo and clean it for giving away; return the refusal's code, ``read``, or what went wrong."""
    path = folder / "photo"
    path.write_bytes(data)
    began = time.process_time()
    try:
        read_photo(path, long_side=2000)
        found = "read"
    except FinishlabError as error:
        found = error.code
    except Exception as error:  # noqa: BLE001 - whatever else comes out is what the campaign looks for
        found = f"unforeseen {type(error).__name__}: {error}"
    try:
        shareable(data)
    except Exception as error:  # noqa: BLE001 - as above
        found = f"unforeseen in cleaning {type(error).__name__}: {error}"
    return found if time.process_time() - began < SLOW_S else f"hung: {found}"


def main() -> int:
    """Run the campaign; the exit code is 1 if anything unforeseen or slow came out."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(options.first, options.first + options.cases):
            name, data = hostile(number)
            found = outcome(data, Path(folder))
            counts[found.split(":")[0]] += 1
            if found.startswith(("unforeseen", "hung")):
                sys.stdout.write(f"{number} ({name}): {found}\n")
    for code, count in counts.most_common():
        sys.stdout.write(f"{count:7d}  {code}\n")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(f"{options.cases} cases, peak memory {peak:.0f} MB\n")
    return int(any(code.startswith(("unforeseen", "hung")) for code in counts))


if __name__ == "__main__":
    raise SystemExit(main())
