"""What was measured, as a document: each field with its colour and doubts, and why others were not measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from finishlab.board.shown import profile_line
from finishlab.matching.costs import costs_entry, costs_line
from finishlab.show import jsons
from finishlab.show.document import Block, Cell, Colour, Column, Document, Interval, Line, Listing, Table

if TYPE_CHECKING:
    from finishlab.matching.costs import Costs
    from finishlab.measure.results import FieldMeasurement, StripReading
    from finishlab.measuring.photos import PhotoResult

__all__ = ["measurement_document"]

_COLUMNS = (
    Column("photo"),
    Column("field", fold=False),
    Column("L* a* b*"),
    Column("+-", fold=False),
    Column("used", fold=False, right=True),
    Column("dE00 (95 %)", fold=False),
)


def measurement_document(
    results: Sequence[PhotoResult], *, failures: bool = True, beside: Sequence[str] = (), **more: object
) -> Document:
    """Return ``finishlab/measurement/1``: every photo that was tried, measured or not.

    Parameters
    ----------
    results
        What came of each photo.
    failures
        Whether people are told what failed, too.
    beside
        Sentences for people at the end.
    more
        What JSON holds besides.
    """
    rows = [row for result in results for row in _rows(result)]
    notes = [note for result in results for note in _notes(result, failures=failures)]
    blocks: list[Block] = []
    if rows:
        said = "+-: one standard error of the mean, common errors left out; used: share of the field that was read"
        blocks = [Table(_COLUMNS, rows), Line(said)]
    blocks += [Listing("Notes", [*notes, *_cost_notes(results)]), *(Line(line, whole=True) for line in beside)]
    return Document("measurement", {"photos": [_photo(result) for result in results], **more}, blocks)


def _photo(result: PhotoResult) -> dict[str, Any]:
    measurement = result.measurement
    profile = None if measurement is None else measurement.settings.get("camera_profile")
    costs = _costs_of_photo(result)
    return {
        "path": result.path,
        "ok": result.error is None,
        "error": None if result.error is None else result.error.as_dict(),
        "strip": None if measurement is None or measurement.strip is None else _strip(measurement.strip),
        "fields": {} if measurement is None else {name: _field(found) for name, found in measurement.fields.items()},
        "delta_e00": None if measurement is None or measurement.pair is None else jsons.difference(measurement.pair),
        **({} if costs is None else {"costs": _costs_entry(costs)}),
        **({} if profile is None else {"camera_profile": profile}),
    }


def _strip(strip: StripReading) -> dict[str, Any]:
    return {
        "found": True,
        "number": strip.number,
        "tags_seen": strip.tags_seen,
        "corners": [[jsons.rounded(x, 2), jsons.rounded(y, 2)] for x, y in strip.corners],
        "px_per_mm": jsons.rounded(strip.px_per_mm),
        "tilt_deg": jsons.rounded(strip.tilt_deg, 2),
        "rotation_deg": jsons.rounded(strip.rotation_deg, 2),
        "residual_mm": jsons.rounded(strip.residual_mm),
    }


def _field(found: FieldMeasurement) -> dict[str, Any]:
    return {
        "lab": jsons.lab(found.estimate.lab),
        "standard_error": jsons.lab(found.estimate.standard_error),
        "spread": {"L10": jsons.rounded(found.spread.L10), "L90": jsons.rounded(found.spread.L90)},
        "used_share": jsons.rounded(found.used_share, 4),
        "glare_share": jsons.rounded(found.glare_share, 4),
        "left_out": {reason: jsons.rounded(share, 4) for reason, share in found.left_out.items()},
        "surface": found.kind,
        "texture": jsons.texture(found.texture),
        "doubts": jsons.doubts(found.doubts),
    }


def _rows(result: PhotoResult) -> Iterator[tuple[Cell, ...]]:
    if result.measurement is None:
        return
    pair = result.measurement.pair
    path: str = result.path
    beside: Cell = "" if pair is None else Interval(pair.value, pair.low, pair.high)
    for name, found in result.measurement.fields.items():
        errors = " ".join(f"{round(v, 1) + 0.0:.1f}" for v in found.estimate.standard_error)
        used = f"{100 * found.used_share:.0f} %"
        yield path, name, Colour(found.estimate.lab, decimals=1), errors, used, beside
        path, beside = "", ""


def _notes(result: PhotoResult, *, failures: bool) -> list[str]:
    notes = []
    if result.error is not None and failures:
        notes.append(f"{result.path}: {result.error.message} {result.error.hint}".strip())
    fields = {} if result.measurement is None else result.measurement.fields
    told: dict[str, list[str]] = {}
    for name, found in fields.items():
        for doubt in found.doubts:
            told.setdefault(doubt.message, []).append(name)
    profile = None if result.measurement is None else result.measurement.settings.get("camera_profile")
    if profile:
        notes.append(f"{result.path}: {profile_line(profile)}")
    # What holds for the whole photo is said once, without a field's name.
    for message, names in told.items():
        where = f", {names[0]}" if len(names) < len(fields) or len(fields) == 1 else ""
        notes.append(f"{result.path}{where}: {message}")
    return notes


def _costs_of_photo(result: PhotoResult) -> Costs | None:
    """Return what the interval of a photo's pair is made of; None without a pair."""
    found = result.measurement
    if found is None or found.pair is None:
        return None
    from finishlab.matching.costs import pair_costs

    return pair_costs(found.fields["board"].estimate, found.fields["floor"].estimate)


def _costs_entry(costs: Costs) -> dict[str, Any]:
    """Return the costs of a photo's pair for a document, with the doubt about the print; a ranking says that once."""
    from finishlab.matching.costs import print_doubt

    found = print_doubt([costs])
    doubts = [] if found is None else [{"code": found.code, "message": found.message}]
    return {**costs_entry(costs), "doubts": doubts}


def _cost_notes(results: Sequence[PhotoResult]) -> list[str]:
    """Say what each pair's interval is made of, and once that learning the print would pay."""
    found = [(result.path, costs) for result in results if (costs := _costs_of_photo(result)) is not None]
    if not found:
        return []
    from finishlab.matching.costs import print_doubt

    doubtful = print_doubt([costs for _, costs in found])
    return [f"{path}: {costs_line(costs)}" for path, costs in found] + ([] if doubtful is None else [doubtful.message])
