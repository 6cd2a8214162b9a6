"""Pictures of what is logged, by the number of a thing and of its photo: small copies, nothing of the file but pixels.

A photo is found through the logbook alone, so no text that came over the network is ever part of a path, and is opened
where a hostile file can do no harm. What was made once is kept in memory, the newest up to `KEPT_BYTES`.
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

__all__ = ["KEPT_BYTES", "SIZES", "Kept", "crop", "no_picture", "picture"]

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


def picture(folder: Path, photo: str, size: str) -> bytes:
    """Return a photo of the logbook, named by its hash, as a JPEG of one of `SIZES`.

    Raises
    ------
    FinishlabError
        If its file cannot be read, or costs more than a photo may.
    """
    return _KEPT.get((photo, size), lambda: _made(folder, _small, folder, photo, SIZES[size], _QUALITY[size]))


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
        ``"no-picture"`` if its photo gives none.
    """
    key = (folder, number, light, state)
    return _KEPT.get(key, lambda: _made(folder, _beside, folder, number, light, floor))


_ONE: Final = threading.Lock()
"""Pictures take one worker at most, so that a photo that was just taken need not wait for those logged long ago."""


def _made(folder: Path, work: Callable[..., bytes], *args: object) -> bytes:
    """Return a picture that is made where a photo can do no harm."""
    from finishlab.page.waiting import bench_of

    with _ONE:
        return bench_of(folder).workers.do(work, *args)


def _small(folder: Path, photo: str, side: int, quality: int) -> bytes:
    from finishlab.photos.reading import thumbnail

    with _logbook(folder) as log:
        return thumbnail(log.photo_path(photo), side, quality=quality)


def _beside(folder: Path, number: str, light: str, floor: tuple[float, ...]) -> bytes:
    from finishlab.report.pictures import crops_of

    with _logbook(folder) as log:
        found = crops_of(log, [log.board(number)], light, floor)
    if number not in found:
        raise no_picture(number)
    return found[number].jpeg


def _logbook(folder: Path) -> Logbook:
    from finishlab.logbook.store import Logbook

    log = Logbook.open_existing(folder)
    if log is None:
        raise no_picture("anything")
    return log


def no_picture(number: str) -> LogbookError:
    """Return that there is no picture of a thing."""
    return LogbookError("no-picture", f"There is no such picture of {number}.", "Open its page.")
