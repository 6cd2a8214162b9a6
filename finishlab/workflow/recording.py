"""Measured photos into the logbook: the originals kept, the figures logged, all or nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from pathlib import Path

from finishlab.errors import LogbookError
from finishlab.logbook import DirectPair, Logbook, StoredBoard, StoredSpot
from finishlab.measure import Measurement
from finishlab.photos import photo_facts
from finishlab.records import BoardRecord, FloorSpotRecord, PhotoRecord, today
from finishlab.reports.rows import PhotoResult

__all__ = [
    "keep_original",
    "keep_photos",
    "log_board",
    "log_board_photos",
    "log_floor_spots",
    "measured_of",
    "photo_day",
    "refuse_known",
]


def refuse_known(log: Logbook, results: Sequence[PhotoResult]) -> None:
    """Refuse photos of which one is logged already, or named twice; LogbookError ``"photo-logged-twice"``."""
    _refuse_known(results, log.boards_of_photos)


def log_board(
    log: Logbook, record: BoardRecord, results: Sequence[PhotoResult], *, dated: bool = True, with_floor: bool = False
) -> StoredBoard:
    """Log a board measured in one or more photos.

    Parameters
    ----------
    log
        The logbook.
    record
        The board and its finish.
    results
        What `finishlab.workflow.batch.measure_photos` gave, all of them measured.
    dated
        False to take the day the first photo says it was taken instead of the record's.
    with_floor
        Keep the direct pair of each photo that shows the floor too.

    Raises
    ------
    LogbookError
        ``photo-logged-twice``, ``photo-changed``, and what the logbook can raise; nothing is logged then.
    """
    measured = measured_of(results)
    _refuse_known(results, log.boards_of_photos)
    if not dated:
        record = replace(record, date=photo_day(results[0].path) or record.date)
    keep_photos(log, results)
    return log.add_board(record, measured, _pairs(measured, with_floor=with_floor))


def log_board_photos(
    log: Logbook, number: str, results: Sequence[PhotoResult], *, light: str | None = None, with_floor: bool = False
) -> StoredBoard:
    """Log further photos of a board, in another light or as repeats; see `log_board`."""
    measured = measured_of(results)
    _refuse_known(results, log.boards_of_photos)
    keep_photos(log, results)
    return log.add_board_photos(number, measured, _pairs(measured, with_floor=with_floor), light=light)


def log_floor_spots(
    log: Logbook, record: FloorSpotRecord, results: Sequence[PhotoResult], *, dated: bool = True
) -> list[StoredSpot]:
    """Log places of the floor.

    Photos of a place that has a name are repeats of that one spot; without a name each photo is a spot of its own, so
    that photos of five planks show how much planks differ.

    Parameters
    ----------
    log, results, dated
        As in `log_board`.
    record
        The place.
    """
    measured = measured_of(results)
    _refuse_known(results, log.spots_of_photos)
    if not dated:
        record = replace(record, date=photo_day(results[0].path) or record.date)
    keep_photos(log, results)
    groups = [measured] if record.spot is not None else [[each] for each in measured]
    return log.add_floor_spots(record, groups)


def photo_day(path: str | Path) -> dt.date | None:
    """Return the day a photo says it was taken; None if it says none, or one that cannot be."""
    taken = _taken(photo_facts(Path(path)).taken)
    day = None if taken is None else taken.date()
    return day if day is not None and day <= today() else None


def _taken(text: str) -> dt.datetime | None:
    try:
        return dt.datetime.fromisoformat(text) if text else None
    except ValueError:
        return None


def measured_of(results: Sequence[PhotoResult]) -> list[Measurement]:
    """Return the measurements; the first failure is raised, so that nothing is logged by halves."""
    measured = []
    for result in results:
        if result.error is not None:
            raise result.error
        if result.measurement is not None:
            measured.append(result.measurement)
    return measured


def _pairs(measured: Sequence[Measurement], *, with_floor: bool) -> list[DirectPair]:
    pairs = [DirectPair.of(each) for each in measured] if with_floor else []
    return [pair for pair in pairs if pair is not None]


def keep_photos(log: Logbook, results: Sequence[PhotoResult]) -> None:
    """Keep the photos' bytes, after seeing that they are still those that were measured."""
    for result in results:
        keep_original(log, result.path, None if result.measurement is None else result.measurement.photo_id)


def keep_original(log: Logbook, path: str, photo_id: str | None) -> None:
    """Keep a photo's bytes.

    Raises
    ------
    LogbookError
        ``photo-changed`` if they are not those that were measured.
    """
    facts = photo_facts(Path(path))
    if photo_id is not None and facts.photo_id != photo_id:
        raise LogbookError(
            "photo-changed",
            f"The photo {path} is not the one that was measured.",
            "Measure it again when nothing changes it.",
        )
    width, height = facts.full_size
    record = PhotoRecord(
        sha256=facts.sha256,
        file_name=facts.original_name,
        width=width,
        height=height,
        taken=_taken(facts.taken),
        camera_model=facts.camera or None,
        suffix=facts.suffix,
    )
    log.keep_photo(Path(path), record)


def _refuse_known(results: Sequence[PhotoResult], logged: Callable[[Collection[str]], dict[str, str]]) -> None:
    """Refuse a photo that counts already: logged twice it would pass for a repeat and halve the doubt."""
    photos = [result.measurement.photo_id for result in results if result.measurement is not None]
    seen = {photo: f"one that is logged as {number} already" for photo, number in logged(photos).items()}
    for result in results:
        if result.measurement is None:
            continue
        owner = seen.get(result.measurement.photo_id)
        if owner is not None:
            raise LogbookError(
                "photo-logged-twice",
                f"The photo {result.path} is the same as {owner}.",
                "Leave it out, or take another photo.",
            )
        seen[result.measurement.photo_id] = f"{result.path}, named before it"
