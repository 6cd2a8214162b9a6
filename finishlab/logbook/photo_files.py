"""Keeping photos: the user's bytes, unchanged, under their own hash.

A photo is copied beside its place, flushed to the disk and then renamed into it, so that a file under its final name is
always whole, whatever kills the program. The file comes first and its row in the database after, so that no row names a
file that is not there. Between the two a marker says who keeps the file: what a program that was killed has left is
cleared by the next one that writes.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import re
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from finishlab.errors import LogbookError, PhotoError
from finishlab.files import PHOTO_FOLDER

INCOMING: Final = Path(PHOTO_FOLDER) / ".incoming"
"""Where photos are copied to before they are moved into their place; in the logbook's folder."""
_CHUNK: Final = 1 << 20
_LEFTOVER_SECONDS: Final = 24 * 3600.0
_MARK: Final = re.compile(r"(?P<kind>copy|kept)\.(?P<pid>[0-9]+)\.(?P<host>[^.]*)\.(?P<token>[0-9a-f]+)\.(?P<photo>.+)")
_PHOTO: Final = re.compile(r"[0-9a-f]{64}(\.[a-z0-9]{1,8})?")


def photo_place(folder: Path, sha256: str, suffix: str) -> Path:
    """Return where a photo lies in the logbook's folder: ``photos/<first two digits>/<hash><suffix>``."""
    return folder / PHOTO_FOLDER / sha256[:2] / f"{sha256}{suffix}"


def kept_files(folder: Path) -> Iterator[Path]:
    """Yield every photo's file in the logbook's folder, whether the database knows of it or not."""
    for path in sorted((folder / PHOTO_FOLDER).glob("[0-9a-f][0-9a-f]/*")):
        if _PHOTO.fullmatch(path.name):
            yield path


@dataclass(slots=True)
class KeptPhoto:
    """A photo whose file is kept and whose row is not written yet."""

    source: Path
    sha256: str
    """Hash of the photo as the camera wrote it, which names it."""
    suffix: str
    """End of the kept file's name."""
    content: str | None = None
    """Hash of the bytes of `source`, where it is a copy that lost its place."""
    row: Mapping[str, Any] | None = None
    """The row that is to come, without the figures of the kept file; None where it comes with an archive's."""
    size: int = 0
    marker: Path | None = field(default=None, repr=False)

    def settle(self, folder: Path) -> Path:
        """See that the file is in its place, marked as this program's; return the place.

        Raises
        ------
        LogbookError
            ``"photo-changed"`` if the bytes of `source` are not those they should be.
        PhotoError
            ``"photo-gone"`` if `source` cannot be opened.
        OSError
            If the copy cannot be written.
        """
        place = photo_place(folder, self.sha256, self.suffix)
        if self.marker is not None and place.is_file() and place.stat().st_size == self.size:
            return place
        if self.marker is None:
            marker = _marked(folder, "kept", f"{self.sha256}{self.suffix}")
            marker.touch()
            self.marker = marker
        try:
            place, self.size = keep_file(folder, self.source, self.sha256, self.suffix, content=self.content)
        except BaseException:
            self.done()
            raise
        return place

    def done(self) -> None:
        """Take the marker away: the row is written."""
        if self.marker is not None:
            with contextlib.suppress(OSError):
                self.marker.unlink(missing_ok=True)
            self.marker = None


def keep_file(folder: Path, source: Path, sha256: str, suffix: str, *, content: str | None = None) -> tuple[Path, int]:
    """Copy `source` into the logbook's folder, unless it is there; return its place and its size in bytes.

    Parameters and errors are those of `KeptPhoto`.
    """
    place = photo_place(folder, sha256, suffix)
    if place.is_file() and file_hash(place) in {sha256, content}:
        return place, place.stat().st_size
    copy = _marked(folder, "copy", f"{sha256}{suffix}")
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


def file_hash(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def clear_leftovers(folder: Path, is_kept: Callable[[str], bool]) -> None:
    """Clear what programs that were killed left.

    To be called by who alone may write to the database: nobody else's photo comes to be known meanwhile.

    Parameters
    ----------
    folder
        The logbook's folder.
    is_kept
        Says whether the database knows a photo.
    """
    found = list((folder / INCOMING).glob("*"))
    dead = [path for path in found if not _is_alive(path)]
    live = {mark["photo"] for path in found if path not in dead and (mark := _MARK.fullmatch(path.name))}
    for path in dead:
        mark = _MARK.fullmatch(path.name)
        with contextlib.suppress(OSError):  # another program was quicker, or it stays for the next time
            if mark and mark["kind"] == "kept" and _PHOTO.fullmatch(mark["photo"]) and mark["photo"] not in live:
                sha256 = mark["photo"][:64]
                if not is_kept(sha256):
                    photo_place(folder, sha256, mark["photo"][64:]).unlink(missing_ok=True)
            path.unlink()


def _marked(folder: Path, kind: str, photo: str) -> Path:
    """Return a new name in the folder of what is coming that says whose it is."""
    incoming = folder / INCOMING
    incoming.mkdir(parents=True, exist_ok=True)
    return incoming / f"{kind}.{os.getpid()}.{_host()}.{uuid.uuid4().hex[:12]}.{photo}"


def _host() -> str:
    return re.sub(r"[^A-Za-z0-9-]", "-", platform.node())[:60]


def _is_alive(path: Path) -> bool:
    """Say whether the program that made a file in the folder of what is coming may still be at work."""
    mark = _MARK.fullmatch(path.name)
    if mark and os.name == "posix" and mark["host"] == _host():
        try:
            os.kill(int(mark["pid"]), 0)
        except (ProcessLookupError, OverflowError):
            return False
        except PermissionError:
            return True
        return True
    try:  # on another computer, or of an older finishlab: nobody keeps a photo for a day
        return time.time() - path.stat().st_mtime < _LEFTOVER_SECONDS
    except OSError:
        return True


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


def _flush_folder(folder: Path) -> None:
    """Flush a folder's list of names, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
