"""Photos that a user names, measured: which they are, how they are read, each tried whatever happens to the others."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextvars import ContextVar
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

from finishlab.errors import (
    DEBUG,
    ExitCode,
    FinishlabError,
    NoStripError,
    PhotoError,
    QualityError,
    UsageError,
    internal_error,
)
from finishlab.record import normalise_light

if TYPE_CHECKING:
    from finishlab.colorimetry.camera_profile import CameraProfile
    from finishlab.imaging.finder import StripFit
    from finishlab.imaging.greys import StripGreys
    from finishlab.imaging.pixels import LinearImage
    from finishlab.imaging.strip import FieldName
    from finishlab.logbook.store import Logbook
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.measure.by_hand import HandInspection
    from finishlab.measure.flow import Inspection
    from finishlab.measure.learn_print import PrintFit
    from finishlab.measure.results import Measurement, SurfaceKind


PHOTO_SUFFIXES: Final = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"})
"""Endings by which a folder's photos are known; a file named by itself may have any."""


def expand_photos(paths: Sequence[str | Path]) -> list[tuple[Path, FinishlabError | None]]:
    """Return each photo once, a folder replaced by the photos in it, sorted by name.

    Parameters
    ----------
    paths
        Files and folders.

    Returns
    -------
    list
        Photo and None, or a folder and why it gives no photo.
    """
    found: dict[Path, FinishlabError | None] = {}
    for path in map(Path, paths):
        try:
            is_folder = path.is_dir()
        except (OSError, ValueError):  # a name no file can have; opening it says so
            is_folder = False
        if not is_folder:
            found.setdefault(path, None)
            continue
        try:
            inside = _photos_in(path)
        except OSError as error:
            reason = error.strerror or str(error)
            found[path] = PhotoError(
                "folder-unreadable", f"The folder {path} cannot be read ({reason}).", "Check that it is yours to read."
            )
            continue
        if not inside:
            found[path] = PhotoError(
                "no-photos", f"The folder {path} holds no photo.", "Name a folder with photos in it, or the photos."
            )
        for photo in inside:
            found.setdefault(photo, None)
    return list(found.items())


def _photos_in(folder: Path) -> list[Path]:
    """Return the photos of a folder, not of the folders in it."""
    return sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in PHOTO_SUFFIXES and not path.name.startswith(".") and path.is_file()
    )


_QUICK_LONG_SIDE: Final = 2000
"""Pixels that a photo is first decoded to: the strip is found in it, and most often it is enough to measure."""
_BY_HAND_LONG_SIDE: Final = 5000
"""Pixels a very large photo is decoded to when areas are named by hand: a photo up to twice that stays as it is."""
_VERY_LARGE: Final = 50_000_000
"""Pixels above which a JPEG is decoded at half its size at most: the full one takes 700 MB, and a strip that is too
small at half the size is smaller than a fifteenth of the photo."""
_HALF: Final = 0.4
"""Scale above which a photo counts as decoded at half its size or more: odd sides are rounded."""
_ENOUGH_PX_PER_MM: Final = 3.5
"""Decoded pixels per millimetre from which a reduced photo is measured as well as the full one."""


@dataclass(frozen=True, slots=True)
class MeasureOptions:
    """How photos are to be measured; see `finishlab.measuring.measure_photo`.

    Raises
    ------
    UsageError
        ``unknown-field``, ``grey-and-area`` or ``one-area``.
    """

    fields: tuple[FieldName, ...] = ("board",)
    floor_is: SurfaceKind = "print"
    greys: tuple[GreyArea, ...] = ()
    area: SurfaceArea | None = None
    strip_greys: tuple[StripGreys, ...] = ()
    """What was learned of single strips (``Logbook.learned_greys()``)."""
    profiles: tuple[CameraProfile, ...] = ()
    """Learned camera profiles of the photos' light (``Logbook.camera_profiles()``)."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "fields", tuple(dict.fromkeys(self.fields)))
        if not self.fields or not set(self.fields) <= {"board", "floor"}:
            raise UsageError(
                "unknown-field", f"{self.fields!r} are no fields of the strip.", "Choose board, floor or both."
            )
        if bool(self.greys) != (self.area is not None):
            raise UsageError(
                "grey-and-area",
                "A grey and the surface to measure belong together.",
                "Name both: --grey X,Y,W,H:L and --area X,Y,W,H.",
            )
        if self.area is not None and len(self.fields) > 1:
            raise UsageError("one-area", "By hand only one surface is measured in a photo.", "Name one field only.")

    def with_calibration(self, log: Logbook, light: str | None, *, profile: bool = True) -> MeasureOptions:
        """Return the options with the strips' greys and the cameras' profiles that a logbook has learned.

        Of a strip that was not learned it holds what each logged photo said of its print.

        Parameters
        ----------
        log
            The logbook.
        light
            The photos' light: a profile holds for one. Daylight when not said.
        profile
            False leaves profiles out.
        """
        lit = normalise_light(light)
        known = tuple(each for each in log.camera_profiles() if each.light == lit) if profile else ()
        return replace(self, strip_greys=(*log.learned_greys(), *log.photographed_greys()), profiles=known)


How = MeasureOptions
"""The name by which scripts know it."""


def measure_photo(
    path: str | Path,
    *,
    fields: Sequence[FieldName] = ("board",),
    floor_is: SurfaceKind = "print",
    greys: Sequence[GreyArea] = (),
    area: SurfaceArea | None = None,
    strip_greys: Sequence[StripGreys] = (),
    profiles: Sequence[CameraProfile] = (),
) -> Measurement:
    """Measure the surfaces in one photo.

    Parameters
    ----------
    path
        A JPEG, PNG, TIFF, WebP or HEIC file, or with the extra ``raw`` a camera raw file.
    fields
        ``"board"`` (against the strip's board edge), ``"floor"``, or both; both give their difference too.
    floor_is
        ``"print"`` or ``"wood"``: a camera tells print from wood less well, so the interval is wider.
    greys
        Without a strip in the photo: areas of known lightness.
    area
        Without a strip: the surface to measure, a rectangle or a polygon. It is reported as the board field.
    strip_greys
        What was learned of single strips (``Logbook.learned_greys()``); the one with the number of the strip in the
        photo is used, and the result's settings say so.
    profiles
        Learned camera profiles of the photo's light (``Logbook.camera_profiles()``); the one of the photo's camera is
        used.

    Returns
    -------
    Measurement
        Nothing is logged.

    Raises
    ------
    PhotoError
        If the file cannot be read as a photo.
    NoStripError
        If no strip is found and no grey is named.
    QualityError
        If the photo does not allow a figure.
    UsageError
        If fields, greys or area cannot be meant.

    Examples
    --------
    >>> found = measure_photo("board.jpg", fields=("board", "floor"))    # doctest: +SKIP
    >>> found.fields["board"].estimate.lab, found.pair                   # doctest: +SKIP
    """
    options = MeasureOptions(
        tuple(fields), floor_is, tuple(greys), area, strip_greys=tuple(strip_greys), profiles=tuple(profiles)
    )
    return inspect_photo(path, options)[0].measurement


def inspect_photo(
    path: str | Path, options: MeasureOptions | None = None
) -> tuple[Inspection | HandInspection, LinearImage]:
    """Measure as `measure_photo` does; return all that was found, and the decoded photo, for a picture."""
    from finishlab.measure.by_hand import measure_by_hand
    from finishlab.measure.flow import measure
    from finishlab.photos import read_photo

    options, path = options or MeasureOptions(), Path(path)
    if options.area is not None:
        image = read_photo(path, long_side=_BY_HAND_LONG_SIDE)
        kind: SurfaceKind = options.floor_is if options.fields == ("floor",) else "wood"
        profile = profile_of(image, options.profiles)
        return measure_by_hand(image, options.greys, options.area, kind, profile), image
    image, fit = found_strip(path)
    known = {each.number: each for each in options.strip_greys}
    return measure(image, options.fields, options.floor_is, fit, known.get, profile_of(image, options.profiles)), image


def profile_of(image: LinearImage, profiles: Sequence[CameraProfile]) -> CameraProfile | None:
    """Return the profile of the camera that made a photo, or None."""
    camera = image.info.seen_by
    return next((each for each in profiles if camera and each.camera == camera), None)


def found_strip(path: Path) -> tuple[LinearImage, StripFit]:
    """Return the photo at the least size that will do, and the strip in it; `NoStripError` where there is none."""
    from finishlab.imaging.finder import find_strip
    from finishlab.imaging.sampling import looks_blurred
    from finishlab.photos import read_photo

    wanted: int | None = _QUICK_LONG_SIDE
    while True:
        image = read_photo(path, long_side=wanted)
        width, height = image.info.full_size
        finest = wanted is None or (image.scale > _HALF if width * height > _VERY_LARGE else image.scale == 1.0)
        try:
            fit = find_strip(image)
            if finest or fit.px_per_mm >= _ENOUGH_PX_PER_MM:
                return image, fit
        except NoStripError as error:
            if finest and looks_blurred(image):
                raise NoStripError(
                    error.code,
                    "No grey strip can be made out, since the photo is blurred.",
                    "Hold the phone still, tap the strip to focus, and photograph again.",
                ) from error
            if finest:
                raise
        wanted = max(image.size) * 2 - 1 if width * height > _VERY_LARGE else None
        del image  # before the next is decoded: a very large photo is not to be held twice


def print_in(path: Path) -> PrintFit:
    """Return what a photo of the strip from a few steps back says of its print.

    Raises
    ------
    PhotoError
        If the file cannot be read as a photo.
    FinishlabError
        What `finishlab.measure.learn_print.look_at_print` raises.
    """
    from finishlab.measure.learn_print import look_at_print
    from finishlab.photos import read_photo

    return look_at_print(read_photo(path))


def photo_and_strip(path: Path, *, by_hand: bool = False) -> tuple[LinearImage, StripFit | None]:
    """Return a photo and the strip in it, None where none is found or, `by_hand`, none is looked for."""
    from finishlab.photos import read_photo

    if by_hand:
        return read_photo(path), None
    try:
        return found_strip(path)
    except NoStripError:
        return read_photo(path, long_side=_QUICK_LONG_SIDE), None


@dataclass(frozen=True, slots=True)
class PhotoResult:
    """What came of one photo that was to be measured.

    Raises
    ------
    ValueError
        If there is neither a measurement nor an error.
    """

    path: str
    measurement: Measurement | None = None
    error: FinishlabError | None = None
    """Why it failed or, beside a measurement, why its result is refused."""

    def __post_init__(self) -> None:
        if self.measurement is None and self.error is None:
            raise ValueError("a photo was either measured or it failed")

    @property
    def measured(self) -> Measurement:
        """What was measured, to be logged; why it failed or is refused is raised."""
        if self.measurement is None or self.error is not None:
            raise cast("FinishlabError", self.error)
        return self.measurement


_ALONE: Final = 5
"""Up to this many photos are measured in this process: a 12 megapixel photo takes about 0.1 s, a worker's start three
times that."""


def measure_photos(
    paths: Sequence[str | Path],
    options: MeasureOptions | None = None,
    *,
    workers: int = 1,
    picture: str | Path | None = None,
    on_start: Callable[[int], None] | None = None,
    on_done: Callable[[], None] | None = None,
) -> list[PhotoResult]:
    """Measure every photo that is named, and every one in the folders that are.

    Parameters
    ----------
    paths
        Photos and folders.
    options
        What to measure; the board beside the strip unless said.
    workers
        Processes to use when there are enough photos to pay for starting them. Above 1 the calling script needs the
        usual ``if __name__ == "__main__"``, as workers are started afresh.
    picture
        Where to write what was found as a PNG; with several photos each name gets the photo's.
    on_start, on_done
        Called with the number of photos, and after each of them.

    Returns
    -------
    list
        One result a photo, in the order named; failures are in them, not raised.
    """
    options = options or MeasureOptions()
    named = expand_photos(paths)
    if on_start is not None:
        on_start(len(named))
    pictures = picture_paths(picture, [path for path, _ in named])
    _spare_photos(pictures, [path for path, _ in named])
    jobs = [(path, error, options, drawn) for (path, error), drawn in zip(named, pictures, strict=True)]
    results: list[PhotoResult | None] = [None] * len(jobs)
    try:
        for index, result in _run(jobs, workers):
            results[index] = result
            if on_done is not None:
                on_done()
    except KeyboardInterrupt as stop:
        raise InterruptedMeasuringError([result for result in results if result is not None], len(jobs)) from stop
    return [result for result in results if result is not None]


class InterruptedMeasuringError(KeyboardInterrupt):
    """Measuring was stopped by whoever started it."""

    def __init__(self, results: list[PhotoResult], asked: int) -> None:
        super().__init__()
        self.results = results
        """What was done by then, in the order named."""
        self.asked = asked
        """How many photos were to be measured."""


Job = tuple[Path, FinishlabError | None, MeasureOptions, Path | None]
Found = TypeVar("Found")
_ELSEWHERE: ContextVar[Callable[..., Any] | None] = ContextVar("finishlab.photos_elsewhere", default=None)
_CALLED: ContextVar[Mapping[Path, str]] = ContextVar("finishlab.photos_called", default={})  # noqa: B039 - never written


@contextlib.contextmanager
def looking_elsewhere(run: Callable[..., Any], called: Mapping[Path, str]) -> Iterator[None]:
    """Have photos opened by `run`, in this context alone: it is given the work and its arguments, as `look` is.

    Who serves photos of others has them opened in processes that may break, and knows some answers already. He keeps
    them under names of his own; `called` tells what their owner calls them, which is written down and never a path.
    """
    before, names = _ELSEWHERE.set(run), _CALLED.set(called)
    try:
        yield
    finally:
        _ELSEWHERE.reset(before)
        _CALLED.reset(names)


def called(path: Path, name: str) -> str:
    """Return what the owner of a photo calls it: `name`, unless this context knows better."""
    return _CALLED.get().get(path, name)


def look(work: Callable[..., Found], *args: object) -> Found:
    """Return what some work on a photo gives, done here unless this context has it done elsewhere."""
    run = _ELSEWHERE.get()
    return work(*args) if run is None else cast("Found", run(work, *args))


def _looked(job: Job) -> PhotoResult:
    try:
        return look(measure_one, job)
    except FinishlabError as failure:  # of who did the work, not of the photo
        return PhotoResult(str(job[0]), error=failure)


def _run(jobs: Sequence[Job], workers: int) -> Iterator[tuple[int, PhotoResult]]:
    """Yield each job's number and result as they are done."""
    if workers <= 1 or len(jobs) <= _ALONE or _ELSEWHERE.get() is not None:
        yield from ((index, _looked(job)) for index, job in enumerate(jobs))
        return
    # Processes are started afresh: a copy of this one may hold locks of threads that were not copied.
    context = multiprocessing.get_context("spawn")
    callers = multiprocessing.active_children()
    with ProcessPoolExecutor(min(workers, len(jobs)), context, prepare_worker, (tuple(sys.warnoptions),)) as pool:
        with _deaf_to_interrupts():
            running = {pool.submit(measure_one, job): index for index, job in enumerate(jobs)}
        try:
            for future in as_completed(running):
                yield running[future], _outcome(future, jobs[running[future]][0])
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            for worker in multiprocessing.active_children():  # each has photos of its own in hand and before it
                if worker not in callers:
                    worker.terminate()
            raise


@contextlib.contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Let the processes started meanwhile not hear Ctrl-C: it is this one's to stop them, without their tracebacks."""
    if not hasattr(signal, "pthread_sigmask"):  # where a process inherits nothing of the kind
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)  # one that came meanwhile is heard now


def _outcome(future: Future[PhotoResult], path: Path) -> PhotoResult:
    try:
        return future.result()
    except BrokenProcessPool:
        error = FinishlabError(
            "worker-ended",
            f"{path.name} was not measured: the system ended a process of the measurement.",
            "Close other programs if memory is short, and measure fewer or smaller photos at once.",
        )
        return PhotoResult(str(path), error=error)


def prepare_worker(warn_options: tuple[str, ...]) -> None:
    """Set up a process that measures photos for another one: it ends with that one."""
    # One worker a processor is enough: the image library shall not start threads of its own beside.
    os.environ["OPENCV_FOR_THREADS_NUM"] = "1"
    if not warn_options and not os.environ.get(DEBUG):
        warnings.simplefilter("ignore")
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process when the one that started it was killed and cannot say so any more."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def measure_one(job: Job) -> PhotoResult:
    """Measure one photo; whatever goes wrong is in the result, so that the others are still tried."""
    path, error, options, picture = job
    if error is not None:
        return PhotoResult(str(path), error=error)
    try:
        inspection, image = inspect_photo(path, options)
    except FinishlabError as failure:
        if picture is not None and isinstance(failure, QualityError | NoStripError):
            _draw_refusal(picture, path, options, failure)
        return PhotoResult(str(path), error=with_path(failure, path))
    except Exception as failure:  # one photo's trouble must not end the others
        if os.environ.get(DEBUG):
            raise
        return PhotoResult(str(path), error=internal_error(failure, path.name))
    if picture is not None:
        from finishlab.measuring.shown import save_picture

        try:
            save_picture(picture, inspection, image)
        except FinishlabError as failure:
            return PhotoResult(str(path), inspection.measurement, failure)
    return PhotoResult(str(path), inspection.measurement)


def _draw_refusal(picture: Path, path: Path, options: MeasureOptions, failure: FinishlabError) -> None:
    """Draw what is known of a photo that gave no figure; that failure stays the one that is told."""
    from finishlab.measuring.shown import save_refusal

    areas = () if options.area is None else (*(grey.rect for grey in options.greys), options.area.box)
    with contextlib.suppress(FinishlabError):
        image, fit = photo_and_strip(path, by_hand=options.area is not None)
        save_refusal(picture, failure, image, fit, options.fields, areas)


def with_path(error: FinishlabError, path: Path) -> FinishlabError:
    """Return the error with the photo named as the user named it."""
    message = error.message
    if str(path) in message:
        return error
    named = message.replace(path.name, str(path), 1) if message.startswith(f"{path.name} ") else f"{path}: {message}"
    return type(error)(error.code, named, error.hint)


def picture_paths(picture: str | Path | None, photos: Sequence[Path]) -> list[Path | None]:
    """Return where each photo's picture goes: the name given, or with several photos that name and the photo's.

    Photos of one name in several folders are told apart by a number.
    """
    if picture is None:
        return [None] * len(photos)
    whole = Path(picture)
    if len(photos) == 1:
        return [whole]
    out: list[Path | None] = []
    for photo in photos:
        place, number = whole.with_name(f"{whole.stem}-{photo.stem}{whole.suffix}"), 1
        while place in out:
            number += 1
            place = whole.with_name(f"{whole.stem}-{photo.stem}-{number}{whole.suffix}")
        out.append(place)
    return out


def _spare_photos(pictures: Sequence[Path | None], photos: Sequence[Path]) -> None:
    """Refuse to draw over a photo that is to be measured: originals are never changed."""
    kept = {os.path.realpath(photo) for photo in photos}
    for picture in pictures:
        if picture is not None and os.path.realpath(picture) in kept:
            raise UsageError(
                "picture-over-photo", f"The picture would replace the photo {picture}.", "Give it another file name."
            )


def processors() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def worst_exit_code(results: Sequence[PhotoResult]) -> ExitCode:
    """Return the worst exit code of several photos; of the contract's codes a higher one is worse."""
    return max((r.error.exit_code for r in results if r.error is not None), default=ExitCode.DONE)
