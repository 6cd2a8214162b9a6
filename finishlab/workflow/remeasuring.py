"""Logged photos measured again, with today's version and what is known today of strips and cameras."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

from finishlab.errors import FinishlabError
from finishlab.logbook import Logbook, StoredBoard, StoredMeasurement, StoredSpot
from finishlab.measure import GreyArea, Measurement, PixelPolygon, PixelRect
from finishlab.stair.records import StoredPart
from finishlab.strip.learning import as_learned
from finishlab.workflow.batch import How, measure_photos

if TYPE_CHECKING:
    from finishlab.colorimetry.estimate import LabEstimate
    from finishlab.imaging.strip import FieldName
    from finishlab.measure import SurfaceKind

_Subject = StoredBoard | StoredSpot | StoredPart
_NUMBER: Final = re.compile(r"[BbFf][0-9]{1,9}")

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
    """Measure the kept photos of boards, floor spots and stair parts again, each in the way it was measured.

    Parameters
    ----------
    log
        An open logbook.
    numbers
        ``"B1"``, ``"F1"``, ``"tread 7"`` ...; without any, all.

    Returns
    -------
    list
        One result a subject. Where one of its photos fails a subject is left as it was; the others are still done.

    Raises
    ------
    LogbookError
        ``unknown-board``, ``unknown-spot`` or ``unknown-part``, before anything is measured.
    """
    if not numbers:
        parts = [part for part in log.stair_parts() if log.part_measurements(part.ident)]
        return [
            *(_renewed(log, spot) for spot in log.floor_spots()),
            *(_renewed(log, board) for board in log.boards() if board.measurements),
            *(_renewed(log, part) for part in parts),
        ]
    subjects: list[_Subject] = []
    for number in dict.fromkeys(" ".join(each.split()) for each in numbers):
        if not _NUMBER.fullmatch(number):
            subjects += log.stair().named(number)
        else:
            subjects.append(log.floor_spot(number) if number[0] in "Ff" else log.board(number))
    return [_renewed(log, subject) for subject in subjects]


def _renewed(log: Logbook, subject: _Subject) -> Remeasured:
    name = subject.code if isinstance(subject, StoredPart) else subject.number
    logged = _logged(log, subject)
    before = tuple(found.field.estimate for found in logged)
    paired = {pair.photo for pair in subject.pairs} if isinstance(subject, StoredBoard) else set()
    measured: list[Measurement] = []
    errors: list[FinishlabError] = []
    for found in logged:
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
        return Remeasured(name, before, (), tuple(errors))
    if isinstance(subject, StoredPart):
        log.renew_part_measurements(subject.ident, measured)
        return Remeasured(name, before, tuple(found.field.estimate for found in _logged(log, subject)))
    log.renew_measurements(subject.number, measured)
    now = log.floor_spot(subject.number) if isinstance(subject, StoredSpot) else log.board(subject.number)
    return Remeasured(name, before, tuple(found.field.estimate for found in now.measurements))


def _logged(log: Logbook, subject: _Subject) -> tuple[StoredMeasurement, ...]:
    return log.part_measurements(subject.ident) if isinstance(subject, StoredPart) else subject.measurements


def _how(log: Logbook, found: StoredMeasurement, *, pair: bool) -> How:
    """Return how a photo was measured, with what is known of strips and cameras today."""
    settings = found.settings
    if settings.get("area"):
        areas = tuple(GreyArea.parse(str(text)) for text in settings["greys"])
        # By hand the one surface is reported as the board field; a floor's kind is kept by calling it the floor.
        text = str(settings["area"])
        # A rectangle is four figures, a polygon six or more.
        area = PixelRect.parse(text) if text.count(",") == 3 else PixelPolygon.parse(text)
        how = How(("floor",), found.field.kind, areas, area)
        return as_learned(how, log, found.light)
    floor_is = cast("SurfaceKind", settings.get("floor_is", "print"))
    if found.field.name == "floor":
        floor_is = found.field.kind
    fields: tuple[FieldName, ...] = ("board", "floor") if pair else (found.field.name,)
    return as_learned(How(fields, floor_is), log, found.light)
