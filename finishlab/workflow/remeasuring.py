"""Logged photos measured again, with today's version and what is known today of strips and cameras."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, cast

from finishlab.errors import FinishlabError
from finishlab.logbook import Logbook, StoredBoard, StoredMeasurement, StoredSpot
from finishlab.measure import GreyArea, Measurement, PixelRect
from finishlab.workflow.batch import How, measure_photos
from finishlab.workflow.learned import as_learned

if TYPE_CHECKING:
    from finishlab.colorimetry.estimate import LabEstimate
    from finishlab.imaging.strip import FieldName
    from finishlab.measure import SurfaceKind

__all__ = ["Remeasured", "remeasure"]


@dataclass(frozen=True, slots=True)
class Remeasured:
    """What came of one board or floor spot."""

    number: str
    before: tuple[LabEstimate, ...]
    after: tuple[LabEstimate, ...]
    """Empty where a photo failed: the subject was then left as it was."""
    errors: tuple[FinishlabError, ...] = ()


def remeasure(log: Logbook, numbers: Sequence[str] = ()) -> list[Remeasured]:
    """Measure the kept photos of boards and floor spots again, each in the way it was measured.

    Parameters
    ----------
    log
        An open logbook.
    numbers
        ``"B1"``, ``"F1"`` ...; without any, all.

    Returns
    -------
    list
        One result a subject. Where one of its photos fails a subject is left as it was; the others are still done.

    Raises
    ------
    LogbookError
        ``unknown-board`` or ``unknown-spot``, before anything is measured.
    """
    named = [number.strip().upper() for number in numbers]
    subjects: list[StoredBoard | StoredSpot] = [
        log.floor_spot(number) if number.startswith("F") else log.board(number) for number in dict.fromkeys(named)
    ]
    return [_renewed(log, subject) for subject in subjects or [*log.floor_spots(), *log.boards()]]


def _renewed(log: Logbook, subject: StoredBoard | StoredSpot) -> Remeasured:
    before = tuple(found.field.estimate for found in subject.measurements)
    paired = {pair.photo for pair in subject.pairs} if isinstance(subject, StoredBoard) else set()
    measured: list[Measurement] = []
    errors: list[FinishlabError] = []
    for found in subject.measurements:
        try:
            path = log.photo_path(found.photo)
        except FinishlabError as error:
            errors.append(error)
            continue
        (result,) = measure_photos([Path(path)], _how(log, found, pair=found.photo in paired))
        if result.error is not None:
            errors.append(result.error)
        elif result.measurement is not None:
            measured.append(result.measurement)
    if errors or not measured:
        return Remeasured(subject.number, before, (), tuple(errors))
    log.renew_measurements(subject.number, measured)
    spot = isinstance(subject, StoredSpot)
    now = log.floor_spot(subject.number) if spot else log.board(subject.number)
    return Remeasured(subject.number, before, tuple(found.field.estimate for found in now.measurements))


def _how(log: Logbook, found: StoredMeasurement, *, pair: bool) -> How:
    """Return how a photo was measured, with what is known of strips and cameras today."""
    settings = found.settings
    if settings.get("area"):
        areas = tuple(GreyArea.parse(str(text)) for text in settings["greys"])
        # By hand the one surface is reported as the board field; a floor's kind is kept by calling it the floor.
        how = How(("floor",), found.field.kind, areas, PixelRect.parse(str(settings["area"])))
        return as_learned(how, log, found.light)
    floor_is = cast("SurfaceKind", settings.get("floor_is", "print"))
    if found.field.name == "floor":
        floor_is = found.field.kind
    fields: tuple[FieldName, ...] = ("board", "floor") if pair else (found.field.name,)
    return as_learned(How(fields, floor_is), log, found.light)
