"""Many photos measured, each tried whatever happens to the others, with all processors when there are enough."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.errors import DEBUG, ExitCode, FinishlabError, NoStripError, QualityError, UsageError, internal_error
from finishlab.reports.rows import PhotoResult
from finishlab.workflow.finding import expand_photos
from finishlab.workflow.measuring import check_how, inspect_photo

if TYPE_CHECKING:
    from finishlab.colorimetry.camera_profile import CameraProfile
    from finishlab.imaging.greys import StripGreys
    from finishlab.imaging.strip import FieldName
    from finishlab.measure import GreyArea, SurfaceArea, SurfaceKind

__all__ = ["How", "measure_photos", "picture_paths", "processors", "with_path", "worst_exit_code"]

_ALONE: Final = 5
"""Up to this many photos are measured in this process: a 12 megapixel photo takes about 0.1 s, a worker's start three
times that."""


@dataclass(frozen=True, slots=True)
class How:
    """How photos are to be measured; see `finishlab.workflow.measuring.measure_photo`.

    Raises
    ------
    UsageError
        If fields, greys and area cannot be meant together.
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
        check_how(self.fields, self.greys, self.area)


def measure_photos(
    paths: Sequence[str | Path],
    how: How | None = None,
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
    how
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
    how = how or How()
    named = expand_photos(paths)
    if on_start is not None:
        on_start(len(named))
    pictures = picture_paths(picture, [path for path, _ in named])
    _spare_photos(pictures, [path for path, _ in named])
    jobs = [(path, error, how, drawn) for (path, error), drawn in zip(named, pictures, strict=True)]
    results: list[PhotoResult | None] = [None] * len(jobs)
    for index, result in _run(jobs, workers):
        results[index] = result
        if on_done is not None:
            on_done()
    return [result for result in results if result is not None]


Job = tuple[Path, FinishlabError | None, How, Path | None]


def _run(jobs: Sequence[Job], workers: int) -> Iterator[tuple[int, PhotoResult]]:
    """Yield each job's number and result as they are done."""
    if workers <= 1 or len(jobs) <= _ALONE:
        yield from ((index, _measure_one(job)) for index, job in enumerate(jobs))
        return
    # Processes are started afresh: a copy of this one may hold locks of threads that were not copied.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(jobs)), context, _prepare_worker, (tuple(sys.warnoptions),)) as pool:
        running = {pool.submit(_measure_one, job): index for index, job in enumerate(jobs)}
        try:
            for future in as_completed(running):
                yield running[future], _outcome(future, jobs[running[future]][0])
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


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


def _prepare_worker(warn_options: tuple[str, ...]) -> None:
    # One worker a processor is enough: the image library shall not start threads of its own beside.
    os.environ["OPENCV_FOR_THREADS_NUM"] = "1"
    if not warn_options and not os.environ.get(DEBUG):
        warnings.simplefilter("ignore")


def _measure_one(job: Job) -> PhotoResult:
    """Measure one photo; whatever goes wrong is in the result, so that the others are still tried."""
    path, error, how, picture = job
    if error is not None:
        return PhotoResult(str(path), error=error)
    try:
        inspection, image = inspect_photo(
            path,
            fields=how.fields,
            floor_is=how.floor_is,
            greys=how.greys,
            area=how.area,
            strip_greys=how.strip_greys,
            profiles=how.profiles,
        )
    except FinishlabError as failure:
        if picture is not None and isinstance(failure, QualityError | NoStripError):
            _draw_refusal(picture, path, how, failure)
        return PhotoResult(str(path), error=with_path(failure, path))
    except Exception as failure:  # one photo's trouble must not end the others
        if os.environ.get(DEBUG):
            raise
        return PhotoResult(str(path), error=internal_error(failure, path.name))
    if picture is not None:
        from finishlab.workflow.pictures import save_picture

        try:
            save_picture(picture, inspection, image)
        except FinishlabError as failure:
            return PhotoResult(str(path), inspection.measurement, failure)
    return PhotoResult(str(path), inspection.measurement)


def _draw_refusal(picture: Path, path: Path, how: How, failure: FinishlabError) -> None:
    """Draw what is known of a photo that gave no figure; that failure stays the one that is told."""
    from finishlab.workflow.measuring import photo_and_strip
    from finishlab.workflow.pictures import save_refusal

    areas = () if how.area is None else (*(grey.rect for grey in how.greys), how.area.box)
    with contextlib.suppress(FinishlabError):
        image, fit = photo_and_strip(path, by_hand=how.area is not None)
        save_refusal(picture, failure, image, fit, how.fields, areas)


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
    kept = {photo.resolve() for photo in photos}
    for picture in pictures:
        if picture is not None and picture.resolve() in kept:
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
