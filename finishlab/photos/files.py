"""A photo's file: its bytes, read once, what they claim to be, and decoding where a JPEG or a raw file needs care.

Everything that is wrong with a file before a pixel is decoded is said here, in one sentence with the file's name.

A JPEG is decoded without overlooking damage. It holds a block's mean chroma as a whole number of steps, and the decoder
rounds that to a whole code. Where a surface is even, all its blocks are rounded the same way. Between which two values
each block's mean lay is known.

Camera raw files go through LibRaw: linear light as the sensor counted it, with no phone's tone curve to undo. rawpy is
an optional extra; this module is its only doorway.
"""

from __future__ import annotations

import hashlib
import io
import os
import stat
import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import simplejpeg
from PIL import Image

from finishlab.errors import PhotoError
from finishlab.imaging.pixels import ChromaBlocks
from finishlab.photos.profiles import ColourEncoding, named_encoding

FORMATS_READ: Final = "JPEG, PNG, TIFF, WebP or HEIC"
MAX_MEGAPIXELS: Final = 100
"""The largest photo decoded, in millions of pixels."""
_MAX_BYTES: Final = 800_000_000
"""A photo of `MAX_MEGAPIXELS` with 16 bits and no compression takes 600 MB; anything larger is not read at all."""

HEAD_BYTES: Final = 32
"""Of a file, that tell what it is."""
_HEIF_BRANDS: Final = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_RAW_HEADS: Final = (b"FUJIFILM", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FOVb")
"""First bytes of raw files that are not plain TIFFs (LibRaw's list, from memory)."""
_OTHER_FORMATS: Final = {
    b"GIF8": "a GIF",
    b"BM": "a BMP picture",
    b"%PDF": "a PDF",
    b"8BPS": "a Photoshop document",
    b"\xff\x0a": "a JPEG XL picture",
    b"\x00\x00\x00\x0cJXL ": "a JPEG XL picture",
    b"\x00\x00\x00\x0cjP  ": "a JPEG 2000 picture",
    b"II\x2b\x00": "a BigTIFF",
    b"MM\x00\x2b": "a BigTIFF",
}
DECODING_ERRORS: Final = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    RuntimeError,
    struct.error,
)
"""What Pillow and pillow-heif raise on damaged files; the exceptions of their own are kinds of these."""


@contextmanager
def quiet(*, stderr: bool = False) -> Iterator[None]:
    """Keep the picture libraries' remarks from the user.

    They tell of odd metadata and of large pictures; what matters of that is reported by this package as an error with
    a sentence of its own.

    Parameters
    ----------
    stderr
        Also what is written straight to stderr, past Python: LibRaw and LibTIFF ask nobody and know no setting for it.
    """
    kept = os.dup(2) if stderr else None
    try:
        if kept is not None:
            with open(os.devnull, "wb") as nothing:  # noqa: PTH123 - a device, not a path
                os.dup2(nothing.fileno(), 2)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        if kept is not None:
            os.dup2(kept, 2)
            os.close(kept)


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A file's bytes and what they say of themselves at first glance."""

    path: Path
    data: bytes
    sha256: str
    format: str
    """``"JPEG"``, ``"PNG"``, ``"TIFF"``, ``"WEBP"``, ``"HEIC"`` or ``"RAW"``.

    Many raw files are TIFFs, see `finishlab.photos.files.is_raw`.
    """

    @property
    def name(self) -> str:
        """The file's name, for sentences."""
        return self.path.name

    @property
    def photo_id(self) -> str:
        """First 16 hex digits of the SHA-256."""
        return self.sha256[:16]

    def unreadable(self, code: str, what: str, hint: str) -> PhotoError:
        """Return the error that says `what` of this file."""
        return PhotoError(code, f"{self.name} {what}.", hint)

    def truncated(self) -> PhotoError:
        """Return the error of a file that ends too early."""
        return self.unreadable(
            "photo-truncated",
            "is cut off: the end of the picture is missing",
            "Copy it again from the phone or camera.",
        )

    def damaged(self) -> PhotoError:
        """Return the error of a file that cannot be decoded."""
        return self.unreadable("photo-damaged", "is damaged", "Copy it again from the phone or camera.")

    def unsupported(self, what: str) -> PhotoError:
        """Return the error of a picture of a kind that is not read; `what` completes "<name> is ..."."""
        return self.unreadable(
            "photo-format", f"is {what}, which is not read", f"Save the photo as {FORMATS_READ} and try again."
        )


def load_file(path: Path) -> PhotoFile:
    """Read a photo's bytes once.

    Raises
    ------
    PhotoError
        If there is no such file, it is a folder, cannot be read, is empty, too large or no picture.
    """
    data = _read_bytes(path)
    file = PhotoFile(path, data, hashlib.sha256(data).hexdigest(), photo_kind(path.name, data[:HEAD_BYTES]))
    if not _is_complete(file.format, data):
        raise file.truncated()
    return file


def photo_kind(name: str, head: bytes) -> str:
    """Return what kind of picture a file says it is, see `PhotoFile.format`.

    Parameters
    ----------
    name
        The file's, for sentences.
    head
        Its first `HEAD_BYTES` bytes.

    Raises
    ------
    PhotoError
        ``"photo-empty"``, ``"photo-format"`` or ``"not-a-photo"``.
    """
    kind = format_of(head)
    if kind is None:
        raise _not_read(PhotoFile(Path(name), head, "", ""), head)
    return kind


def _read_bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise PhotoError("photo-is-folder", f"{path} is a folder, not a photo.", "Name the photos inside it.")
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            raise PhotoError(
                "not-a-photo", f"{path.name} is not a file but a device or a pipe.", "Name a photo's file."
            )
        size = about.st_size
        if size > _MAX_BYTES:
            raise PhotoError(
                "photo-too-large",
                f"{path.name} is {size / 1e6:.0f} MB large.",
                f"Give a photo below {_MAX_BYTES / 1e6:.0f} MB.",
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise PhotoError("photo-not-found", f"There is no file {path}.", "Check the name and the folder.") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PhotoError(
            "photo-unreadable", f"{path.name} cannot be read ({reason}).", "Check that the file is yours to read."
        ) from error
    return data


def format_of(head: bytes) -> str | None:
    """Return `PhotoFile.format` by a file's first bytes, None for what is not read."""
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if head.startswith((b"II*\0", b"MM\0*")):
        return "TIFF"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WEBP"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return "HEIC"
    return "RAW" if head.startswith(_RAW_HEADS) or head[4:12] == b"ftypcrx " else None


def _not_read(file: PhotoFile, head: bytes) -> PhotoError:
    if not head:
        return file.unreadable("photo-empty", "is empty", "Copy it again from the phone or camera.")
    if head[4:8] == b"ftyp":
        avif = head[8:12] in (b"avif", b"avis")
        return file.unsupported("an AVIF picture" if avif else "a video")
    for magic, what in _OTHER_FORMATS.items():
        if head.startswith(magic):
            return file.unsupported(what)
    return file.unreadable("not-a-photo", "is not a photo", f"Give a photo as {FORMATS_READ}.")


def _is_complete(kind: str, data: bytes) -> bool:
    """Say whether a file ends where its own structure says so."""
    if kind == "PNG":
        return any(chunk == b"IEND" for chunk, _ in png_chunks(data))
    if kind == "WEBP":
        return len(data) >= int.from_bytes(data[4:8], "little") + 8
    return {"TIFF": _directory_inside, "HEIC": _boxes_complete}.get(kind, bool)(data)


def png_chunks(data: bytes) -> Iterator[tuple[bytes, memoryview]]:
    """Give the whole chunks of a PNG (PNG third edition, 5.3): type, and all of it from length to checksum."""
    at = 8
    while at + 12 <= len(data):
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        if end > len(data):
            return
        kind = data[at + 4 : at + 8]
        yield kind, memoryview(data)[at:end]
        if kind == b"IEND":
            return
        at = end


def _directory_inside(data: bytes) -> bool:
    """Say whether the first directory of a TIFF (TIFF 6.0, section 2) lies inside the file.

    It often stands at the file's end.
    """
    order = "<" if data[:2] == b"II" else ">"
    if len(data) < 8:
        return False
    (at,) = struct.unpack_from(order + "I", data, 4)
    if at + 2 > len(data):
        return False
    (entries,) = struct.unpack_from(order + "H", data, at)
    return bool(at + 2 + 12 * entries <= len(data))


@dataclass(frozen=True, slots=True)
class Box:
    """Where one box of an ISO base media file (ISO/IEC 14496-12, 4.2) lies."""

    start: int
    kind: bytes
    content: int
    """Where its content begins."""
    end: int


def boxes(data: bytes, at: int, end: int) -> Iterator[Box]:
    """Give the boxes between two places; `ValueError` where one does not lie inside."""
    while at + 8 <= end:
        size, kind, content = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8], at + 8
        if size == 1:
            size, content = int.from_bytes(data[at + 8 : at + 16], "big"), at + 16
        elif size == 0:
            size = end - at
        if size < content - at or at + size > end:
            raise ValueError("a box reaches beyond what holds it")
        yield Box(at, kind, content, at + size)
        at += size


def _boxes_complete(data: bytes) -> bool:
    try:
        return max(box.end for box in boxes(data, 0, len(data))) == len(data)
    except ValueError:
        return False


def check_size(file: PhotoFile, width: int, height: int) -> None:
    """Refuse a photo too large to decode, by its header.

    Raises
    ------
    PhotoError
        Code ``"photo-too-large"``.
    """
    if width * height > MAX_MEGAPIXELS * 1_000_000:
        raise too_large(file, f"{width} x {height} pixels, more than {MAX_MEGAPIXELS} megapixels")


def too_large(file: PhotoFile, what: str) -> PhotoError:
    """Return the error of a photo with too many pixels; `what` completes "<name> has ..."."""
    return file.unreadable("photo-too-large", f"has {what}", "Save it smaller; 12 megapixels are plenty.")


_BLOCK: Final = 8
"""Side of a JPEG block in pixels (ISO/IEC 10918-1); the smallest scale of decoding makes each one pixel."""
_LEAST_STEP: Final = 0.85
"""Step of the mean chroma, in codes, below which the file is not decoded once more: quality 81 and above of the usual
tables, as cameras save. There it brings next to nothing (see decision 16) and would cost as much as the photo."""

_HARMLESS: Final = ("JFIF", "Adobe", "SOS")
"""Words of the decoder's remarks on heads that cameras get wrong and every decoder reads all the same."""
_END: Final = b"\xff\xd9"


def decode_jpeg(file: PhotoFile, size: tuple[int, int], *, grey: bool, long_side: int | None = None) -> np.ndarray:
    """Decode a JPEG, not yet upright, at the smallest scale that leaves `long_side` pixels.

    Parameters
    ----------
    file
        The photo's bytes.
    size
        Its width and height as stored.
    grey
        Whether it has one channel only.
    long_side
        As in `finishlab.photos.read_photo`.

    Returns
    -------
    numpy.ndarray
        8 bit codes, shape (H, W, 3), or (H, W) where grey.

    Raises
    ------
    PhotoError
        ``photo-damaged`` or ``photo-truncated`` wherever the coded data do not decode without remark: a decoder goes on
        past damage with whatever colours come out. A few bytes that still decode, to other colours, cannot be told.
    """
    scale = next((s for s in (8, 4, 2) if long_side is not None and -(-max(size) // s) >= long_side), 1)
    least = -(-size[0] // scale), -(-size[1] // scale)
    try:
        codes = _strictly(file.data, least, grey=grey)
    except ValueError as error:
        if "premature end of jpeg" in str(error).lower():
            raise file.truncated() from error
        raise file.damaged() from error
    return codes[:, :, 0] if grey else codes


def _strictly(data: bytes, least: tuple[int, int], *, grey: bool) -> np.ndarray:
    options = {"colorspace": "GRAY" if grey else "RGB", "min_width": least[0], "min_height": least[1]}
    try:
        codes: np.ndarray = simplejpeg.decode_jpeg(data, **options)
    except ValueError as error:
        said = str(error)
        if any(word in said for word in _HARMLESS):
            codes = simplejpeg.decode_jpeg(data, **options, strict=False)
        elif "before marker 0xd9" in said:
            # some cameras fill up with noughts before the end; anything else there is damage
            end = data.rindex(_END)
            codes = simplejpeg.decode_jpeg(data[:end].rstrip(b"\0") + _END, **options)
        else:
            raise
    return codes


def chroma_blocks(data: bytes, decoded: tuple[int, int], orientation: int = 1) -> ChromaBlocks | None:
    """Return between which values the mean chroma of each block lay, None where it is rounded finely or not at all.

    Parameters
    ----------
    data
        A JPEG file.
    decoded
        Width and height of what was decoded from it, as stored: full size, a half, a quarter or an eighth.
    orientation
        EXIF tag 274, by which the photo was turned upright.
    """
    try:
        with quiet(), Image.open(io.BytesIO(data), formats=("JPEG",)) as image:
            return _read(image, decoded, orientation)
    except DECODING_ERRORS:
        return None


def _read(image: Any, decoded: tuple[int, int], orientation: int) -> ChromaBlocks | None:  # noqa: ANN401 - as Pillow's
    layers: list[Any] = image.layer
    if len(layers) != 3 or image.mode != "RGB" or image.info.get("adobe_transform") == 0:
        return None
    steps = np.array([image.quantization[layer[3]][0] for layer in layers[1:]]) / _BLOCK
    across, along = (layers[0][i] // layers[1][i] for i in (1, 2))
    reduced = round(image.width / decoded[0])
    if steps.max() < _LEAST_STEP or layers[1][1:3] != layers[2][1:3] or max(reduced, across, along) > _BLOCK:
        return None
    # blocks cut by the photo's edge hold made-up pixels, and are left out
    columns, rows = image.width // (_BLOCK * across), image.height // (_BLOCK * along)
    if not (rows and columns):
        return None
    width = image.width
    image.draft("YCbCr", (image.width // _BLOCK, image.height // _BLOCK))
    seen = np.asarray(image, dtype=float)
    if seen.shape[1] != -(-width // _BLOCK):  # not the scale that was asked for
        return None
    means = seen[: rows * along, : columns * across, 1:].reshape(rows, along, columns, across, 2).mean(axis=(1, 3))
    low, high = _between(means - 128.0, steps, whole=across * along == 1)
    side = (_BLOCK * across // reduced, _BLOCK * along // reduced)
    return _upright(low, high, side, decoded, orientation)


def _between(means: np.ndarray, steps: np.ndarray, *, whole: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return the least and the largest mean that would have been kept, and then rounded to a code, as was seen.

    The decoder rounds a half up, and with steps of half a code every second one is a half. So where a block was seen as
    a `whole` (chroma at full size) the upper end does not count. Of the parts of a block some are rounded up and others
    down.
    """
    first, last = np.ceil((means - 0.5) / steps - 1e-9), np.floor((means + 0.5) / steps + 1e-9)
    if whole:
        last = np.ceil((means + 0.5) / steps - 1e-9) - 1
    nearest = np.round(means / steps)
    first, last = np.where(last < first, nearest, first), np.where(last < first, nearest, last)
    return (first - 0.5) * steps, (last + 0.5) * steps


def _upright(
    low: np.ndarray, high: np.ndarray, side: tuple[int, int], decoded: tuple[int, int], orientation: int
) -> ChromaBlocks:
    """Return the blocks as they lie in the upright photo, where those cut by the edge may have come first."""
    rest = (decoded[0] - low.shape[1] * side[0], decoded[1] - low.shape[0] * side[1])
    if orientation == 1:
        return ChromaBlocks(low, high, side, (0, 0))
    from finishlab.imaging.opencv import turn_upright

    corner = turn_upright(np.array([[1.0, 0.0], [0.0, 0.0]]), orientation)
    if orientation > 4:
        side, rest = side[::-1], rest[::-1]
    first = (int(corner[:, 1].any()) * rest[0], int(corner[1].any()) * rest[1])
    return ChromaBlocks(turn_upright(low, orientation), turn_upright(high, orientation), side, first)


RAW_WHITE: Final = 65535
"""The code at which the sensor's first channel is full."""
REDUCED_PICTURE: Final = 254
_PHOTOMETRIC: Final = 262
DNG_VERSION: Final = 50706
_MOSAIC: Final = (32803, 34892)
"""Photometric interpretation of a colour filter array (ISO 12234-2) and of linear raw (DNG Specification 1.4)."""


def is_raw(file: PhotoFile) -> bool:
    """Say whether a file is a camera raw file, by its first bytes or its first TIFF directory."""
    if file.format != "TIFF":
        return file.format == "RAW"
    data = file.data
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, at)
    short, long = order + "H", order + "I"
    tags = {}
    for i in range(count):  # that the directory lies inside the file was checked when it was loaded
        tag, kind = struct.unpack_from(order + "HH", data, at + 2 + 12 * i)
        (tags[tag],) = struct.unpack_from(short if kind == 3 else long, data, at + 10 + 12 * i)
    reduced = bool(tags.get(REDUCED_PICTURE, 0) & 1)
    return DNG_VERSION in tags or reduced or tags.get(_PHOTOMETRIC) in _MOSAIC or data[8:10] == b"CR"


def _library(file: PhotoFile) -> Any:  # noqa: ANN401 - rawpy ships no types
    try:
        import rawpy
    except ImportError as error:
        raise PhotoError(
            "raw-extra-missing",
            f"{file.name} is a camera raw file, which needs an extra library.",
            "Install it once with: pip install 'finishlab[raw]'",
        ) from error
    return rawpy


def open_raw(file: PhotoFile) -> Any:  # noqa: ANN401 - rawpy ships no types
    """Open a raw file without unpacking it.

    Raises
    ------
    PhotoError
        ``raw-extra-missing``, ``photo-damaged`` or ``photo-format``.
    """
    rawpy = _library(file)
    raw = rawpy.RawPy()
    try:
        with quiet(stderr=True):
            raw.open_buffer(io.BytesIO(file.data))
    except rawpy.LibRawFileUnsupportedError as error:
        raise file.unsupported("a kind of camera raw file") from error
    except rawpy.LibRawError as error:
        raise file.damaged() from error
    if raw.num_colors != 3:
        raise file.unsupported("a camera raw file without the usual three colours")
    return raw


def raw_size(raw: Any) -> tuple[int, int]:  # noqa: ANN401 - rawpy ships no types
    """Return width and height of the upright picture."""
    sizes = raw.sizes
    return (sizes.height, sizes.width) if sizes.flip & 4 else (sizes.width, sizes.height)


def raw_exif(file: PhotoFile, raw: Any) -> Image.Exif:  # noqa: ANN401 - rawpy ships no types
    """Return the camera's EXIF: the raw file's own where it is a kind of TIFF, else that of the preview inside."""
    try:
        if file.format == "TIFF":
            exif = Image.Exif()
            exif.load(file.data)
            return exif
        preview = raw.extract_thumb()
        return Image.open(io.BytesIO(preview.data)).getexif() if isinstance(preview.data, bytes) else Image.Exif()
    except (*DECODING_ERRORS, _library(file).LibRawError):
        return Image.Exif()


def decode_raw(file: PhotoFile, raw: Any, long_side: int | None) -> np.ndarray:  # noqa: ANN401 - rawpy ships no types
    """Return linear light with the camera's white balance, upright, shape (H, W, 3), uint16, ProPhoto primaries.

    The wide primaries keep colours that sRGB would cut off. Nothing is stretched or bent: neither brightness nor the
    white level follows the picture's content, and highlights are clipped where the first channel is full.

    Parameters
    ----------
    file, raw
        The file and what `open_raw` made of it.
    long_side
        When given and half the size leaves this many pixels, each 2 x 2 cell of the mosaic becomes one pixel, which
        needs no guess of the missing colours.

    Raises
    ------
    PhotoError
        ``photo-damaged`` or ``photo-truncated``.
    """
    rawpy = _library(file)
    half = long_side is not None and max(raw_size(raw)) // 2 >= long_side
    try:
        with quiet(stderr=True):
            pixels: np.ndarray = raw.postprocess(
                gamma=(1, 1),
                no_auto_bright=True,
                adjust_maximum_thr=0.0,
                use_camera_wb=True,
                output_bps=16,
                output_color=rawpy.ColorSpace.ProPhoto,
                highlight_mode=rawpy.HighlightMode.Clip,
                # Means of light are wanted, not edges: the plain mean of neighbours keeps them and takes least time.
                demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
                half_size=half,
            )
    except rawpy.LibRawIOError as error:
        raise file.truncated() from error
    except rawpy.LibRawError as error:
        raise file.damaged() from error
    finally:
        raw.close()
    return np.ascontiguousarray(pixels)


def raw_encoding() -> ColourEncoding:
    """Return how `decode_raw`'s codes stand for light: in proportion."""
    wide = named_encoding("ProPhoto RGB")
    return ColourEncoding("camera raw, linear (camera's white balance and matrix)", lambda x: x, wide.to_srgb)
