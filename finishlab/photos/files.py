"""The file itself: its bytes, read once, its fingerprint, and what kind of picture they claim to be.

Everything that is wrong with a file before a pixel is decoded is said here, in one sentence with the file's name.
"""

from __future__ import annotations

import hashlib
import os
import stat
import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from finishlab.errors import PhotoError

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

    Many raw files are TIFFs, see `finishlab.photos.decoders.is_raw`.
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
    _check_complete(file)
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
    kind = _format(head)
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


def _format(head: bytes) -> str | None:
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


def _check_complete(file: PhotoFile) -> None:
    """Find files that end too early where their own structure says so."""
    if file.format == "PNG" and not any(kind == b"IEND" for kind, _ in png_chunks(file.data)):
        raise file.truncated()
    if file.format == "WEBP" and len(file.data) < int.from_bytes(file.data[4:8], "little") + 8:
        raise file.truncated()
    if file.format == "TIFF" and not _directory_inside(file.data):
        raise file.truncated()
    if file.format == "HEIC" and not _boxes_complete(file.data):
        raise file.truncated()


def png_chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return the whole chunks of a PNG (PNG third edition, 5.3) as (type, content).

    The picture's own chunks come without content; checksums are left to the decoder.
    """
    chunks, at = [], 8
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        kind = data[at + 4 : at + 8]
        if at + 12 + length > len(data):
            break
        chunks.append((kind, b"" if kind == b"IDAT" else data[at + 8 : at + 8 + length]))
        at += 12 + length
        if kind == b"IEND":
            break
    return chunks


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


def _boxes_complete(data: bytes) -> bool:
    """Say whether the top-level boxes of an ISO base media file (ISO/IEC 14496-12, 4.2) lie inside the file."""
    at = 0
    while at + 8 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        if size == 1 and at + 16 <= len(data):
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        if size == 0:
            return True
        if size < 8:
            return False
        at += size
    return at == len(data)


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
