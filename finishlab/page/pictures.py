"""Pictures of what is logged, by the number of a thing and of its photo: small copies, nothing of the file but pixels.

A photo is found through the logbook alone, so no text that came over the network is ever part of a path. What was made
once is kept in memory, the newest up to `KEPT_BYTES`.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import TYPE_CHECKING, Final, Generic, TypeVar

from finishlab.errors import LogbookError

if TYPE_CHECKING:
    from finishlab.logbook import Logbook

T = TypeVar("T")

__all__ = ["KEPT_BYTES", "SIZES", "Kept", "crop", "picture"]

SIZES: Final = {"small": 480, "large": 1600}
"""Name of a size -> pixels of the long side."""
KEPT_BYTES: Final = 24_000_000
"""Of pictures in memory: about 600 small ones."""
_QUALITY: Final = {"small": 80, "large": 88}


class Kept(Generic[T]):
    """What was made once, by what it is of; the oldest is dropped where there is too much.

    Parameters
    ----------
    most
        How much is kept.
    weigh
        How much one is.
    """

    def __init__(self, most: int, weigh: Callable[[T], int]) -> None:
        self._most = most
        self._weigh = weigh
        self._size = 0
        self._found: OrderedDict[Hashable, T] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under a key; made once, however many ask for it at the same time."""
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
                return self._found[key]
            making = self._making.setdefault(key, threading.Lock())
        try:
            with making:
                with self._lock:
                    if key in self._found:
                        return self._found[key]
                made = make()
                self._keep(key, made)
                return made
        finally:
            with self._lock:
                self._making.pop(key, None)

    def _keep(self, key: Hashable, made: T) -> None:
        with self._lock:
            self._found[key] = made
            self._size += self._weigh(made)
            while self._size > self._most and len(self._found) > 1:
                self._size -= self._weigh(self._found.popitem(last=False)[1])


_KEPT: Final = Kept[bytes](KEPT_BYTES, len)


def picture(folder: Path, number: str, place: int, size: str) -> bytes:
    """Return a photo of a thing as a JPEG of one of `SIZES`.

    Raises
    ------
    LogbookError
        If there is no such thing, photo or size.
    PhotoError
        If its file cannot be read.
    """
    from finishlab.photos.reading import thumbnail

    with _logbook(folder) as log:
        photos = _photos(log, number)
        if not 1 <= place <= len(photos) or size not in SIZES:
            raise _none(number)
        sha256 = photos[place - 1]
        path = log.photo_path(sha256)
    return _KEPT.get((sha256, size), lambda: thumbnail(path, SIZES[size], quality=_QUALITY[size]))


def crop(folder: Path, number: str, light: str, floor: tuple[float, ...], state: int) -> bytes:
    """Return a board above the floor, cut from its photo at one scale and corrected, as the report shows it.

    Parameters
    ----------
    folder
        The logbook's.
    number
        The board's.
    light
        Whose photos are used.
    floor
        Mean CIELAB of the floor.
    state
        Of the logbook; what is learned of a strip changes the picture.

    Raises
    ------
    LogbookError
        If its photo gives none.
    """
    from finishlab.report.contents import crops_of

    def make() -> bytes:
        with _logbook(folder) as log:
            found = crops_of(log, [log.board(number)], light, floor)
        if number not in found:
            raise _none(number)
        return found[number].jpeg

    return _KEPT.get((str(folder), number, light, state), make)


def _photos(log: Logbook, number: str) -> list[str]:
    """Return the hash of each photo of a board or a floor spot, once, in the order they were logged."""
    thing = log.floor_spot(number) if number[:1] in {"F", "f"} else log.board(number)
    return list(dict.fromkeys(found.photo for found in thing.measurements))


def _logbook(folder: Path) -> Logbook:
    from finishlab.logbook.store import Logbook

    log = Logbook.open_existing(folder)
    if log is None:
        raise _none("")
    return log


def _none(number: str) -> LogbookError:
    return LogbookError("no-picture", f"There is no such picture of {number or 'anything'}.", "Open the board's page.")
