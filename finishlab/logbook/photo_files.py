"""Keeping photos: the user's bytes, unchanged, under their own hash.

A photo is copied beside its place, flushed to the disk and then renamed into it, so that a file under its final name is
always whole, whatever kills the program.
"""

from __future__ import annotations

import hashlib
import os
import time
import uuid
from pathlib import Path
from typing import Final

from finishlab.errors import LogbookError, PhotoError
from finishlab.files import PHOTO_FOLDER as PHOTOS

__all__ = ["PHOTOS", "keep_file", "photo_place"]

_INCOMING: Final = ".incoming"
_CHUNK: Final = 1 << 20
_LEFTOVER_SECONDS: Final = 24 * 3600.0


def photo_place(folder: Path, sha256: str, suffix: str) -> Path:
    """Return where a photo lies in the logbook's folder: ``photos/<first two digits>/<hash><suffix>``."""
    return folder / PHOTOS / sha256[:2] / f"{sha256}{suffix}"


def keep_file(folder: Path, source: Path, sha256: str, suffix: str, *, content: str | None = None) -> tuple[Path, int]:
    """Copy `source` into the logbook's folder, unless it is there; return its place and its size in bytes.

    Parameters
    ----------
    folder
        The logbook's folder.
    source
        The file.
    sha256
        Hash of the photo as the camera wrote it, which names it.
    suffix
        End of the kept file's name.
    content
        Hash of the bytes of `source`, where it is a copy that lost its place.

    Raises
    ------
    LogbookError
        ``"photo-changed"`` if the bytes of `source` are not those they should be.
    PhotoError
        ``"photo-gone"`` if `source` cannot be opened.
    OSError
        If the copy cannot be written.
    """
    place = photo_place(folder, sha256, suffix)
    if place.is_file() and _hash(place) in {sha256, content}:
        return place, place.stat().st_size
    incoming = folder / PHOTOS / _INCOMING
    incoming.mkdir(parents=True, exist_ok=True)
    _clear_leftovers(incoming)
    copy = incoming / uuid.uuid4().hex
    try:
        if _copy(source, copy) != (content or sha256):
            raise LogbookError(
                "photo-changed",
                f"The photo {source} is not the one that was measured.",
                "Measure it again when nothing changes it.",
            )
        size = copy.stat().st_size
        place.parent.mkdir(exist_ok=True)
        copy.replace(place)
    finally:
        copy.unlink(missing_ok=True)
    _flush_folder(place.parent)
    return place, size


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _copy(source: Path, target: Path) -> str:
    """Copy and flush; return the SHA-256 of what was written."""
    digest = hashlib.sha256()
    try:
        reader = source.open("rb")
    except OSError as error:
        raise PhotoError(
            "photo-gone",
            f"The photo {source} can no longer be opened ({error.strerror}).",
            "Put it back, then try again.",
        ) from error
    with reader, target.open("xb") as writer:
        while chunk := reader.read(_CHUNK):
            digest.update(chunk)
            writer.write(chunk)
        writer.flush()
        os.fsync(writer.fileno())
    return digest.hexdigest()


def _clear_leftovers(incoming: Path) -> None:
    """Delete half copies of programs that were killed; a day old, so that none is still being written."""
    oldest = time.time() - _LEFTOVER_SECONDS
    for path in incoming.iterdir():
        try:
            if path.stat().st_mtime < oldest:
                path.unlink()
        except OSError:
            continue  # another program was quicker, or it stays for the next time


def _flush_folder(folder: Path) -> None:
    """Flush a folder's list of names, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
