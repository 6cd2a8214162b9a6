"""Photos looked at in processes of their own, within time and memory: a hostile file costs one of them, not the server.

A worker is started once and kept, so that OpenCV is loaded when a photo comes. It is ended, and replaced when it is
next needed, after its time is up, when it ended by itself, or when it ran short of memory. What a worker is asked and
what it answers goes through a pipe. The bounds are the operating system's where it has them (Linux and macOS); time is
kept by the server everywhere.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

from finishlab.errors import FinishlabError, PhotoError, internal_error

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess

T = TypeVar("T")
Work = Callable[..., Any]

_MEGABYTE: Final = 1_000_000
_ANSWERS: Final = 64
"""Answers kept: those of the photos a person looks at; one is a few kilobytes."""
_START_SECONDS: Final = 180.0
"""A process has to be ready by then, on a slow computer that does much else."""
_LAST_WORD_SECONDS: Final = 1.0
_SPENT: Final = frozenset({"photo-needs-memory", "photo-took-too-long"})


@dataclass(frozen=True, slots=True)
class Limits:
    """What one photo may cost."""

    seconds: float = 60.0
    """Time, of the clock and of the processor: 100 megapixels packed as PNG take 20 s on a slow computer."""
    memory: int = 1_500 * _MEGABYTE
    """Bytes that may be written to: the largest photo that is read, 100 megapixels as TIFF, takes 1,080 MB."""
    waiting: int = 24
    """Photos that may wait for a worker; more are refused, so that they cannot keep all other pages waiting."""
    file_size: int = 64 * _MEGABYTE
    """Bytes of a file that a worker may write."""


LIMITS: Final = Limits()


class Kept(Generic[T]):
    """What was made once, by what it is of; the oldest is dropped where there is too much.

    Parameters
    ----------
    most
        How much is kept.
    weigh
        How much one is; 1 unless told.
    """

    def __init__(self, most: int, weigh: Callable[[T], int] = lambda _: 1) -> None:
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
                return self.put(key, make())
        finally:
            with self._lock:
                self._making.pop(key, None)

    def put(self, key: Hashable, made: T) -> T:
        """Keep what was made elsewhere; return it."""
        with self._lock:
            self._size += self._weigh(made) - (self._weigh(self._found[key]) if key in self._found else 0)
            self._found[key] = made
            while self._size > self._most and len(self._found) > 1:
                self._size -= self._weigh(self._found.popitem(last=False)[1])
        return made


class Workers:
    """A few processes that look at photos.

    What was answered once is known for a while: the same work with the same words is not done twice.

    Parameters
    ----------
    count
        How many; as many as there are processors, but two at least and four at most, unless told.
    limits
        What each photo may cost.
    """

    def __init__(self, count: int | None = None, limits: Limits = LIMITS) -> None:
        from finishlab.measuring import processors

        self._limits = limits
        self._all = tuple(_Worker(limits) for _ in range(count or min(4, max(2, processors()))))
        self._free = list(self._all)
        self._room = threading.Condition()
        self._waiting = 0
        self._closed = False
        self._known = Kept[Any](_ANSWERS)

    def warm(self) -> None:
        """Start one worker now, so that the first photo does not wait for the libraries."""
        with self._worker("") as worker:
            worker.start()

    def run(self, work: Callable[..., T], *args: object) -> T:
        """Return what `work` makes of `args` in a worker; the first of them that is a path names the photo.

        Raises
        ------
        FinishlabError
            What the work raised; ``"photo-took-too-long"``, ``"photo-needs-memory"``, ``"worker-ended"`` or
            ``"photos-waiting"``.
        """
        found: T = self._known.get(_key(work, args), lambda: self.do(work, *args))
        return found

    def know(self, found: object, work: Work, *args: object) -> None:
        """Take `found` for what `work` makes of `args`: it was made on the way to something else."""
        self._known.put(_key(work, args), found)

    def close(self) -> None:
        """End all workers, whatever they do."""
        with self._room:
            self._closed = True
            self._room.notify_all()
        for worker in self._all:
            worker.end()

    def do(self, work: Callable[..., T], *args: object) -> T:
        """Do as `run` does, also what was done before."""
        name = next((each.name for each in args if isinstance(each, Path)), "the photo")
        with self._worker(name) as worker:
            found: T = worker.ask(work, args, name)
            return found

    @contextlib.contextmanager
    def _worker(self, name: str) -> Iterator[_Worker]:
        """Give a free worker, waiting until there is one."""
        with self._room:
            if self._waiting >= self._limits.waiting:
                raise FinishlabError("photos-waiting", "Too many photos are being looked at.", "Try again in a minute.")
            self._waiting += 1
            self._room.wait_for(lambda: self._free or self._closed)
            self._waiting -= 1
            if self._closed:
                raise FinishlabError(
                    "page-ended", f"{name} was not looked at: the page is being ended.", "Start it again."
                )
            worker = self._free.pop()
        try:
            yield worker
        finally:
            with self._room:
                self._free.append(worker)
                self._room.notify()


def _key(work: Work, args: tuple[object, ...]) -> str:
    """Return what tells work from other work: values that are equal read alike, to the last digit."""
    return f"{work.__module__}.{work.__qualname__}{args!r}"


class _Worker:
    """One process, started when it is needed."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None
        self._ready = False
        """Whether the process has loaded what it needs: that counts for no photo."""

    def start(self) -> Connection:
        """See that the process runs; return the pipe to it."""
        if self._pipe is not None and self._process is not None and self._process.is_alive():
            return self._pipe
        self.end()
        context = multiprocessing.get_context("spawn")  # a copy of this one may hold locks of threads not copied
        mine, its = context.Pipe()
        self._process = context.Process(
            target=_work, args=(its, self._limits, tuple(sys.warnoptions)), name="finishlab-photo", daemon=True
        )
        self._process.start()
        its.close()
        self._pipe = mine
        return mine

    def ask(self, work: Work, args: tuple[object, ...], name: str) -> Any:  # noqa: ANN401 - whatever the work makes
        """Return what the work makes of its arguments; errors as in `Workers.run`."""
        pipe = self.start()
        try:
            if not self._ready and pipe.poll(_START_SECONDS):
                self._ready = bool(pipe.recv())
            pipe.send((work, args))
            answered = pipe.poll(self._limits.seconds + _LAST_WORD_SECONDS)
            good, answer = pipe.recv() if answered else (False, _too_long(name, self._limits))
        except (EOFError, OSError) as error:
            code = self.end()
            if code == -getattr(signal, "SIGXCPU", 0):
                raise _too_long(name, self._limits) from error
            raise PhotoError(
                "worker-ended",
                f"{name} was not looked at: it brought the reading of photos to an end.",
                "Photograph again; if it happens again, save the photo as JPEG.",
            ) from error
        except BaseException:
            self.end()  # the pipe may hold half an answer
            raise
        if good:
            return answer
        if answer.code in _SPENT:
            self.end()  # it is at work still, or what is left of its memory is in pieces
        raise answer

    def end(self) -> int | None:
        """End the process, whatever it does; return its exit code."""
        process, pipe = self._process, self._pipe
        self._process, self._pipe, self._ready = None, None, False
        if pipe is not None:
            pipe.close()
        if process is None:
            return None
        process.join(0.5)  # one that ended by itself tells why
        process.kill()
        process.join()
        return process.exitcode


def _too_long(name: str, limits: Limits) -> PhotoError:
    return PhotoError(
        "photo-took-too-long",
        f"{name} was given up after {limits.seconds:.0f} seconds.",
        "Save the photo as JPEG with 12 megapixels, and try again.",
    )


def _work(pipe: Connection, limits: Limits, warn_options: tuple[str, ...]) -> None:
    """Do what comes through the pipe until it is closed."""
    from finishlab.measuring import prepare_worker

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to hear
    prepare_worker(warn_options)
    _load()
    _bound(limits)
    pipe.send(True)  # noqa: FBT003 - it is ready
    while True:
        try:
            work, args = pipe.recv()
        except (EOFError, OSError):
            return
        _bound_time(limits)
        pipe.send(_done(work, args))


def _load() -> None:
    """Load what photos need before the first of them comes."""
    import finishlab.imaging.finder
    import finishlab.measure.flow
    import finishlab.measuring.shown
    import finishlab.photos  # noqa: F401 - loaded for its sake


def _done(work: Work, args: tuple[object, ...]) -> tuple[bool, Any]:
    """Return whether work went well, and what it made, or why it did not."""
    name = next((each.name for each in args if isinstance(each, Path)), "")
    try:
        return True, work(*args)
    except FinishlabError as error:
        return False, error
    except BaseException as error:  # noqa: BLE001 - whatever a photo brings about is told, and the next one is looked at
        if isinstance(error, MemoryError) or "nsufficient memory" in str(error):  # OpenCV's words
            return False, PhotoError(
                "photo-needs-memory",
                f"{name} needs more memory than a photo may.",
                "Save the photo as JPEG with 12 megapixels, and try again.",
            )
        return False, internal_error(error, name)


def _bound(limits: Limits) -> None:
    """Bound what this process may take of memory and disk, where the system can."""
    try:
        import resource
    except ImportError:  # Windows; the time is kept all the same
        return
    # Not the address space, of which threads reserve much that they never touch: what may be written to.
    for what, most in (("DATA", limits.memory), ("FSIZE", limits.file_size), ("CORE", 0)):
        with contextlib.suppress(ValueError, OSError):  # it is bounded lower already, or cannot be
            resource.setrlimit(getattr(resource, f"RLIMIT_{what}"), (most, most))


def _bound_time(limits: Limits) -> None:
    """Bound the processor's time of the work that comes: the process ends itself even when its server is gone."""
    if os.name != "posix":
        return
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF)
    with contextlib.suppress(ValueError, OSError):
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime + limits.seconds) + 1, hard))
