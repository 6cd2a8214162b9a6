"""Trials at home: photos to logged trials, what they all say, and that said of intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from finishlab.colorimetry.estimate import LabEstimate, scaled
from finishlab.errors import LogbookError, UsageError
from finishlab.logbook.tables import left_out
from finishlab.matching.trials import LEAST, PRIOR, TRIED, Outcome, Side, Trust, judge_trial, trust_of
from finishlab.measuring import PhotoResult
from finishlab.quality import Doubt, doubt
from finishlab.record import counted, today
from finishlab.strip import TrialKind, TrialRecord

if TYPE_CHECKING:
    from finishlab.imaging.strip import FieldName
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredTrial
    from finishlab.measure.results import Measurement


FIELDS_OF: Final[dict[TrialKind, tuple[FieldName, ...]]] = {
    "same": ("board", "floor"),
    "swap": ("board", "floor"),
    "repeat": ("board",),
}
"""Which edges of the strip each kind of trial is read at."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A logged trial at home and how it came out."""

    number: str
    record: TrialRecord
    outcome: Outcome

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What makes the trial doubtful."""
        return (doubt("trial-far-off", ratio=round(self.outcome.ratio, 1)),) if self.outcome.far_off else ()


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
) -> list[Tried]:
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
    from finishlab.measuring.logged import photo_day

    check_count(kind, len(results))
    measured = [each.measured for each in results]
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


def tried(log: Logbook) -> list[Tried]:
    """Return every logged trial, by number; one that cannot be read is left out, with a word."""
    found = []
    for each in log.trials():
        try:
            found.append(_tried(each))
        except LogbookError as error:
            left_out(error)
    return found


def _tried(stored: StoredTrial) -> Tried:
    try:
        sides = [Side(str(s["photo"]), LabEstimate.from_dict(s["estimate"], wood=True)) for s in stored.record.sides]
        return Tried(stored.number, stored.record, judge_trial(stored.record.kind, sides))
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


_HARDLY: Final = 0.02
"""How far from 1 a factor is not worth a word."""


def trust_entry(trust: Trust) -> dict[str, Any] | None:
    """Return what trials say of the stated errors for a document; None without trials."""
    if trust.ratio is None or trust.low is None or trust.high is None:
        return None
    return {
        "trials": trust.trials,
        "ratio": {"value": round(trust.ratio, 3), "low": round(trust.low, 3), "high": round(trust.high, 3)},
        "factors": {"lightness": round(trust.lightness, 3), "colour": round(trust.colour, 3)},
        "applies_to": list(TRIED),
    }


def trust_lines(trust: Trust) -> list[str]:
    """Say what trials achieve beside the stated errors, and what comes of it."""
    if trust.ratio is None or trust.low is None or trust.high is None:
        return []
    ends = f"95 %: {trust.low:.2f} to {trust.high:.2f}; 1 is as stated"
    lines = [f"{_counted(trust)}: {trust.ratio:.2f} times as far off as expected ({ends})."]
    if _as_stated(trust):
        lines.append("Intervals stay as they are stated.")
    else:
        lines.append(f"From now on errors of light, fit and grain count {_times(trust)} what is stated.")
    if min(trust.lightness, trust.colour) <= LEAST:
        lines.append(f"Trials never make them smaller than {LEAST:.2f} times what is stated.")
    if trust.trials < PRIOR:
        lines.append(f"What is stated counts as {PRIOR:.0f} trials, so few trials change little; make more.")
    lines.append(
        "No such trial can see the tone of the print or the boost of the camera, which scale all differences alike: "
        "they keep their stated size. A strip that is learned (finishlab strip learn) makes the print's smaller."
    )
    return lines


def trust_line(trust: Trust) -> str:
    """Say beside an interval that trials changed it; empty where they did not."""
    if _as_stated(trust):
        return ""
    return f"{_counted(trust)} at home: errors of light, fit and grain count {_times(trust)} what is stated."


def _as_stated(trust: Trust) -> bool:
    return max(abs(trust.lightness - 1.0), abs(trust.colour - 1.0)) < _HARDLY


def _times(trust: Trust) -> str:
    return f"{trust.lightness:.2f} times (lightness) and {trust.colour:.2f} times (colour)"


def _counted(trust: Trust) -> str:
    return counted(trust.trials, "trial")
