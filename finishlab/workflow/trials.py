"""Trials at home: photos to logged trials, what they all say, and that said of intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.sources import scaled
from finishlab.errors import LogbookError, UsageError
from finishlab.matching.trials import Side, Trust, judge_trial, trust_of
from finishlab.measuring.photos import PhotoResult
from finishlab.records import TrialKind, TrialRecord, today
from finishlab.reports.rows import TrialRow

if TYPE_CHECKING:
    from finishlab.imaging.strip import FieldName
    from finishlab.logbook import Logbook, StoredTrial
    from finishlab.measure import Measurement

__all__ = [
    "FIELDS_OF",
    "check_count",
    "log_trials",
    "tried",
    "trust_in",
    "trusted",
]

FIELDS_OF: Final[dict[TrialKind, tuple[FieldName, ...]]] = {
    "same": ("board", "floor"),
    "swap": ("board", "floor"),
    "repeat": ("board",),
}
"""Which edges of the strip each kind of trial is read at."""


def check_count(kind: TrialKind, photos: int) -> None:
    """See that a trial has the photos it takes.

    Raises
    ------
    UsageError
        ``"two-photos"`` or ``"more-photos"``.
    """
    if kind == "swap" and photos != 2:
        raise UsageError(
            "two-photos",
            f"Changing over takes two photos; {photos} came.",
            "First the board at the board edge and the floor at the floor edge, then the two changed over.",
        )
    if kind == "repeat" and photos < 2:
        raise UsageError("more-photos", "A repeat takes two photos or more.", "Photograph the same board again.")


def log_trials(
    log: Logbook, kind: TrialKind, results: Sequence[PhotoResult], *, light: str | None = None, note: str | None = None
) -> list[TrialRow]:
    """Log what was measured as trials: of ``"same"`` one a photo, of the others one of all photos.

    Parameters
    ----------
    log
        The logbook.
    kind
        What was tried.
    results
        The photos, all measured, at the edges that `FIELDS_OF` names, everything taken as wood.
    light, note
        What to write down with it.

    Raises
    ------
    UsageError
        See `check_count`; ``"same-photo"`` if one photo came twice.
    LogbookError
        ``"photo-tried-already"``.
    """
    from finishlab.measuring.logged import measured_of, photo_day

    check_count(kind, len(results))
    measured = measured_of(results)
    if len({each.photo_id for each in measured}) < len(measured):
        raise UsageError("same-photo", "One photo came twice.", "A trial needs photos of its own.")
    groups = [[i] for i in range(len(results))] if kind == "same" else [list(range(len(results)))]
    records = []
    for group in groups:
        sides = [side for i in group for side in _sides(kind, results[i].path, measured[i])]
        said = {"version": measured[group[0]].version, "sides": sides}
        day = photo_day(results[group[0]].path) or today()
        records.append(TrialRecord(kind, said, light=light, note=note, date=day))  # type: ignore[arg-type]  # tidied
    return [_tried(each) for each in log.add_trials(records)]


def _sides(kind: TrialKind, path: str, measured: Measurement) -> list[dict[str, Any]]:
    from pathlib import Path

    strip = None if measured.strip is None else measured.strip.number
    return [
        {
            "photo": measured.photo_id,
            "file": Path(path).name,
            "field": name,
            "strip": strip,
            "estimate": measured.fields[name].estimate.as_dict(),
        }
        for name in FIELDS_OF[kind]
    ]


def tried(log: Logbook) -> list[TrialRow]:
    """Return every logged trial, by number."""
    return [_tried(each) for each in log.trials()]


def _tried(stored: StoredTrial) -> TrialRow:
    try:
        sides = [Side(str(s["photo"]), LabEstimate.from_dict(s["estimate"], wood=True)) for s in stored.record.sides]
        return TrialRow(stored.number, stored.record, judge_trial(stored.record.kind, sides))
    except (LookupError, TypeError, ValueError) as error:
        raise LogbookError(
            "logbook-damaged",
            f"The trial {stored.number} in the logbook cannot be read ({error}).",
            "Update finishlab if a newer one wrote it, or restore the folder from a backup.",
        ) from error


def trust_in(log: Logbook) -> Trust:
    """Return what the logged trials say of the stated errors."""
    return trust_of(each.outcome for each in tried(log))


def trusted(results: Sequence[PhotoResult], trust: Trust) -> list[PhotoResult]:
    """Return what was measured, its intervals widened or narrowed as trials say; for showing, never for logging."""
    if not trust.factors:
        return list(results)
    return [
        each if each.measurement is None else replace(each, measurement=_trusted(each.measurement, trust))
        for each in results
    ]


def _trusted(measurement: Measurement, trust: Trust) -> Measurement:
    from finishlab.colorimetry.difference import delta_e_interval

    fields = {
        name: replace(found, estimate=scaled(found.estimate, trust.factors))
        for name, found in measurement.fields.items()
    }
    pair = measurement.pair and delta_e_interval(fields["board"].estimate, fields["floor"].estimate)
    return replace(measurement, fields=fields, pair=pair)
