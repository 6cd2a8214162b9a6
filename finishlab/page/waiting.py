"""Photos that came and are not logged yet: kept in one folder of the logbook by what stands in them, cleared by age.

A photo is known by its content (the first digits of its SHA-256), from here to the record it is logged in. So a photo
that is sent twice waits once, and what it was logged as can be looked up whatever became of the answer. A photo is
written beside its place and renamed when it is whole: a server that is killed leaves nothing half there.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import threading
import time
import uuid
from collections import OrderedDict
from collections.abc import Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Final

from finishlab.errors import FinishlabError, PhotoError, internal_error
from finishlab.files import PHOTO_FOLDER
from finishlab.logbook.database import failures_named
from finishlab.page.glance import Glance, Known, finish, glance
from finishlab.page.workers import Workers
from finishlab.record import harmless

__all__ = ["MOST_BYTES", "PHOTO_ID", "Bench", "Waiting", "bench_of", "end"]

MOST_BYTES: Final = 100_000_000
"""Of one photo: one of 100 megapixels as a phone packs it takes half of that."""
PHOTO_ID: Final = re.compile(r"[0-9a-f]{16}")
"""What a photo is called in an address."""
_KEPT_SECONDS: Final = 24 * 3600.0
_KEPT_BYTES: Final = 3_000_000_000
"""Of all photos that wait; the oldest go first."""
_CHUNK: Final = 1 << 18
_SUFFIXES: Final = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp", "HEIC": ".heic", "RAW": ".raw"}
_LONGEST_NAME: Final = 80
_GLANCES: Final = 200
"""Answers kept in memory; of other photos they are made anew."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A photo that waits to be logged."""

    path: Path
    """Named by its content."""
    name: str
    """As the phone called it, for people to read."""

    @property
    def photo(self) -> str:
        """What it is called in an address, the photo's id in the logbook."""
        return self.path.name[:16]

    @property
    def picture(self) -> Path:
        """Where the picture of what was found in it lies."""
        return self.path.with_suffix(".seen")

    def named(self, text: str) -> str:
        """Return a sentence about the file with the name people know."""
        return text.replace(str(self.path), self.name).replace(self.path.name, self.name)

    def named_error(self, error: FinishlabError) -> FinishlabError:
        """Return a failure with the name people know."""
        return type(error)(error.code, self.named(error.message), self.named(error.hint))


@dataclass(frozen=True, slots=True)
class _Look:
    """A photo that is being looked at."""

    key: str
    """What it is looked at with."""
    found: Future[Glance] = field(default_factory=Future)
    done: Future[None] = field(default_factory=Future)
    """Done when there is a picture, or when there will be none; then the workers know what a command will ask for."""


class Bench:
    """The photos that wait in one logbook, and who looks at them.

    Parameters
    ----------
    folder
        The logbook's.
    workers
        Who looks at them.
    """

    def __init__(self, folder: Path, workers: Workers) -> None:
        self.folder = folder
        self.place = folder / PHOTO_FOLDER / ".waiting"
        self.workers = workers
        self.logging = threading.Lock()
        """Held while photos are logged, so that a form sent twice finds what the first one did."""
        self._glances: OrderedDict[str, _Look] = OrderedDict()
        self._lock = threading.Lock()
        self.clear()

    def take(self, name: str, file: BinaryIO) -> Waiting:
        """Keep a photo that comes, as long as it is one and not too large.

        Raises
        ------
        PhotoError
            ``"photo-empty"``, ``"not-a-photo"``, ``"photo-format"`` or ``"photo-too-large"``.
        LogbookError
            If the folder cannot be written.
        """
        name = harmless(" ".join(name.split()))[-_LONGEST_NAME:] or "photo"
        with failures_named(str(self.folder)):
            self.place.mkdir(parents=True, exist_ok=True)
            self.clear()
            part = self.place / f"{os.getpid()}.{uuid.uuid4().hex}.part"
            try:
                sha256, kind = _copied(name, file, part)
                path = self.place / f"{sha256}{_SUFFIXES[kind]}"
                path.with_suffix(".json").write_text(json.dumps({"name": name}), encoding="utf-8")
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)
        photo = Waiting(path, name)
        if not photo.picture.is_file():
            self._forget(photo)
        return photo

    def find(self, photo: str) -> Waiting | None:
        """Return the photo with this id; None where none waits, or none any more."""
        if not PHOTO_ID.fullmatch(photo):
            return None
        for path in self.place.glob(f"{photo}*"):
            if path.suffix in _SUFFIXES.values():
                return Waiting(path, self._name(path))
        return None

    def _name(self, path: Path) -> str:
        try:
            return str(json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["name"])
        except (OSError, ValueError, LookupError, TypeError):
            return path.name

    def begin(self, photo: Waiting, known: Known) -> _Look:
        """Begin to look at a photo, unless it was or is being looked at with the same knowledge of strip and camera."""
        key = repr(known.asked)
        with self._lock:
            before = self._glances.get(photo.photo)
            if before is not None and before.key == key:
                return before
            look = self._glances[photo.photo] = _Look(key)
            while len(self._glances) > _GLANCES:
                self._glances.popitem(last=False)
        threading.Thread(target=self._look, args=(photo, known, look), daemon=True).start()
        return look

    def glance(self, photo: Waiting, known: Known) -> Glance:
        """Return what a photo shows; whatever is wrong is in it."""
        return self.begin(photo, known).found.result()

    def settle(self, photo: Waiting) -> None:
        """Wait until nothing more is being done with a photo."""
        with self._lock:
            look = self._glances.get(photo.photo)
        if look is not None:
            look.done.result()

    def picture(self, photo: Waiting) -> bytes | None:
        """Return the picture of what was found in a photo, a JPEG, once it is drawn; None where there is none."""
        self.settle(photo)
        try:
            return photo.picture.read_bytes()
        except OSError:
            return None

    def _look(self, photo: Waiting, known: Known, look: _Look) -> None:
        try:
            found = self.workers.run(glance, photo.path, known)
        except FinishlabError as error:
            found = Glance(error=error)
            if error.code == "photos-waiting":
                self._forget(photo)
        except Exception as error:  # noqa: BLE001 - whoever waits for the answer must get one
            found = Glance(error=internal_error(error, photo.name))
        look.found.set_result(found)
        try:
            if found.pictured:
                for work, args, made in self.workers.do(finish, photo.path, known, photo.picture):
                    self.workers.know(made, work, *args)
        except Exception:  # noqa: BLE001 - the answer stands without its picture
            photo.picture.unlink(missing_ok=True)
        finally:
            look.done.set_result(None)

    def _forget(self, photo: Waiting) -> None:
        """Have a photo looked at anew when it is asked for again."""
        with self._lock:
            self._glances.pop(photo.photo, None)

    def drop(self, photo: Waiting) -> None:
        """Clear a photo away."""
        self._forget(photo)
        for path in (photo.path, photo.picture, photo.path.with_suffix(".json")):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)

    def clear(self) -> None:
        """Clear away what is a day old, what killed servers left, and the oldest of too many photos."""
        now, kept = time.time(), []
        for path, age, size in _ages(self.place, now):
            if age > _KEPT_SECONDS or (path.suffix == ".part" and not _is_written(path)):
                with contextlib.suppress(OSError):
                    path.unlink()
            else:
                kept.append((age, size, path))
        total = sum(size for _, size, _ in kept)
        for _, size, path in sorted(kept, reverse=True):
            if total <= _KEPT_BYTES:
                return
            with contextlib.suppress(OSError):
                path.unlink()
                total -= size


def _ages(place: Path, now: float) -> Iterator[tuple[Path, float, int]]:
    """Yield each file that waits with its age in seconds and its size in bytes."""
    try:
        found = list(place.iterdir())
    except OSError:
        return
    for path in found:
        with contextlib.suppress(OSError):  # another server cleared it
            about = path.stat()
            yield path, now - about.st_mtime, about.st_size


def _is_written(part: Path) -> bool:
    """Say whether the server that began a file may still be writing it."""
    owner = part.name.split(".")[0]
    if os.name != "posix" or not owner.isdecimal():
        return True  # its age tells
    try:
        os.kill(int(owner), 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _copied(name: str, file: BinaryIO, part: Path) -> tuple[str, str]:
    """Copy a photo; return its SHA-256 and its kind."""
    from finishlab.photos.files import HEAD_BYTES, photo_kind

    first = file.read(_CHUNK)
    kind = photo_kind(name, first[:HEAD_BYTES])
    digest, size = hashlib.sha256(), 0
    with part.open("xb") as writer:
        chunk = first
        while chunk:
            size += len(chunk)
            if size > MOST_BYTES:
                raise PhotoError(
                    "photo-too-large",
                    f"{name} is larger than {MOST_BYTES / 1e6:.0f} MB.",
                    "Send the photo as the phone saved it, not a raw file or a video.",
                )
            digest.update(chunk)
            writer.write(chunk)
            chunk = file.read(_CHUNK)
    return digest.hexdigest(), kind


_BENCHES: Final[dict[Path, Bench]] = {}
_OPENING: Final = threading.Lock()


def bench_of(folder: Path) -> Bench:
    """Return the bench of a logbook, set up when it is first asked for: a worker is started then."""
    with _OPENING:
        if folder not in _BENCHES:
            workers = next((each.workers for each in _BENCHES.values()), None) or Workers()
            _BENCHES[folder] = Bench(folder, workers)
            threading.Thread(target=_warm, args=(workers,), daemon=True).start()
        return _BENCHES[folder]


def _warm(workers: Workers) -> None:
    with contextlib.suppress(FinishlabError):
        workers.warm()


def end() -> None:
    """End all workers: the page is being ended."""
    with _OPENING:
        for bench in _BENCHES.values():
            bench.workers.close()
        _BENCHES.clear()
