"""What was measured, or again by a check, as a document; and a picture that shows what was found in a photo."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from finishlab.board.shown import profile_line
from finishlab.colorimetry.spaces import lab_to_srgb8
from finishlab.imaging.opencv import shrink
from finishlab.imaging.overlay import (
    GLARE,
    LEFT_OUT,
    SAMPLED,
    WHITE,
    FieldDrawing,
    GreyPoints,
    Ink,
    PanelContent,
    PanelField,
    check_picture,
    draw_panel,
    hatch,
    line,
)
from finishlab.imaging.strip import STRIP
from finishlab.logbook.audit import ASIDE, Finding
from finishlab.logbook.backup import Saved
from finishlab.matching.costs import Costs, costs_entry, costs_line, pair_costs, print_doubt
from finishlab.measure.areas import PixelRect
from finishlab.measure.by_hand import HandInspection
from finishlab.measure.flow import PX_PER_MM, inspect_partly
from finishlab.measuring.logged import SAME, Again
from finishlab.photos import srgb_pixels, write_png
from finishlab.record import plain
from finishlab.show import jsons
from finishlab.show.document import Block, Cell, Colour, Column, Document, Interval, Line, Listing, Table, lab_words

if TYPE_CHECKING:
    from finishlab.errors import FinishlabError
    from finishlab.imaging.finder import StripFit
    from finishlab.imaging.pixels import LinearImage
    from finishlab.imaging.strip import FieldName
    from finishlab.measure.flow import Inspection, PartialInspection
    from finishlab.measure.results import FieldMeasurement
    from finishlab.measuring import PhotoResult


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
    measured, error = result.measurement, result.error
    failed = None if error is None else error.as_dict()
    told: dict[str, Any] = {"path": result.path, "ok": error is None, "error": failed}
    if measured is None:
        return {**told, "strip": None, "fields": {}, "delta_e00": None}
    reading = "number tags_seen corners:2 px_per_mm tilt_deg:2 rotation_deg:2 residual_mm"
    costs, profile = _costs_of_photo(result), measured.settings.get("camera_profile")
    return {
        **told,
        "strip": None if measured.strip is None else {"found": True, **jsons.entry(measured.strip, reading)},
        "fields": {name: _field(found) for name, found in measured.fields.items()},
        "delta_e00": None if measured.pair is None else jsons.difference(measured.pair),
        **({} if costs is None else {"costs": _costs_entry(costs)}),
        **({} if profile is None else {"camera_profile": profile}),
    }


def _field(found: FieldMeasurement) -> dict[str, Any]:
    return {
        **jsons.entry(found.estimate, "lab standard_error"),
        "spread": jsons.entry(found.spread, "L10 L90"),
        **jsons.entry(found, "used_share:4 glare_share:4 left_out:4 kind=surface"),
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
        errors = lab_words(found.estimate.standard_error, 1)
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
    return pair_costs(found.fields["board"].estimate, found.fields["floor"].estimate)


def _costs_entry(costs: Costs) -> dict[str, Any]:
    """Return the costs of a photo's pair for a document, with the doubt about the print; a ranking says that once."""
    found = print_doubt([costs])
    return {**costs_entry(costs), "doubts": jsons.doubts([] if found is None else [found])}


def _cost_notes(results: Sequence[PhotoResult]) -> list[str]:
    """Say what each pair's interval is made of, and once that learning the print would pay."""
    found = [(result.path, costs) for result in results if (costs := _costs_of_photo(result)) is not None]
    if not found:
        return []
    doubtful = print_doubt([costs for _, costs in found])
    return [f"{path}: {costs_line(costs)}" for path, costs in found] + ([] if doubtful is None else [doubtful.message])


_LONG_SIDE: Final = 1600
_MARGIN: Final = (225, 225, 222)
_LEAST_NAMED: Final = 0.005
"""Share of a field that is worth a word."""


def save_picture(path: Path, inspection: Inspection | HandInspection, image: LinearImage) -> None:
    """Write the photo with all that was found in it, and a panel that says why, as a PNG.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_png(path, _joined(picture_of(inspection, image), _panel_of(inspection)))


def picture_of(
    inspection: Inspection | HandInspection, image: LinearImage, *, long_side: int = _LONG_SIDE
) -> np.ndarray:
    """Return the photo with all that was found in it, shape (H, W, 3), uint8 sRGB; without the panel."""
    if isinstance(inspection, HandInspection):
        return _picture_by_hand(inspection, image)
    drawings = {
        name: FieldDrawing(
            view.surface,
            view.image.rect,
            view.image.px_per_mm,
            inspection.measurement.fields[name].estimate.lab,
            f"{name}: " + "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*inspection.measurement.fields[name].estimate.lab),
        )
        for name, view in inspection.views.items()
    }
    return check_picture(image, inspection.fit, drawings, inspection.correction, long_side=long_side)


def picture_of_refused(
    image: LinearImage, fit: StripFit, fields: Sequence[FieldName], *, long_side: int = _LONG_SIDE
) -> tuple[np.ndarray, PartialInspection]:
    """Return a photo that gave no figure with what was found in it, as `picture_of` does, and what that was."""
    seen = inspect_partly(image, fit, fields)
    drawings = {
        name: FieldDrawing(seen.surfaces.get(name), STRIP.fields[name], PX_PER_MM, None, f"{name}: no figure")
        for name in fields
    }
    return check_picture(image, fit, drawings, seen.correction, long_side=long_side), seen


def save_refusal(
    path: Path,
    error: FinishlabError,
    image: LinearImage,
    fit: StripFit | None = None,
    fields: Sequence[FieldName] = (),
    areas: Sequence[PixelRect] = (),
) -> None:
    """Write the photo that gave no figure with what was found in it, and the reason, as a PNG.

    Parameters
    ----------
    path
        Where to.
    error
        Why there is no figure.
    image
        The photo.
    fit
        Where the strip lies, None where none was found.
    fields
        Which fields were to be measured.
    areas
        Without a strip: the rectangles that were named.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    if fit is None:
        canvas, factor = _canvas(image)
        for rect in areas:
            _outline(canvas, _box(rect, factor))
        write_png(path, _joined(canvas, PanelContent(refused=error.message, hint=error.hint)))
        return
    picture, seen = picture_of_refused(image, fit, fields)
    content = PanelContent(
        refused=error.message, hint=error.hint, correction=seen.correction, greys=GreyPoints(seen.readings, seen.greys)
    )
    write_png(path, _joined(picture, content))


def _joined(canvas: np.ndarray, content: PanelContent) -> np.ndarray:
    """Set the panel under the picture; the narrower of the two is filled up on its right."""
    panel = draw_panel(canvas.shape[1], content)
    missing = panel.shape[1] - canvas.shape[1]
    if missing > 0:
        side = np.full((canvas.shape[0], missing, 3), _MARGIN, dtype=np.uint8)
        canvas = np.concatenate([canvas, side], axis=1)
    return np.concatenate([canvas, panel])


def _panel_of(inspection: Inspection | HandInspection) -> PanelContent:
    found = inspection.measurement.fields
    pair = inspection.measurement.pair
    told = dict.fromkeys(doubt.title for field in found.values() for doubt in field.doubts)
    greys = None
    if not isinstance(inspection, HandInspection):
        greys = GreyPoints(inspection.readings, inspection.greys)
    return PanelContent(
        fields=tuple(
            PanelField(name, field.estimate.lab, field.estimate.standard_error, _read_from(field))
            for name, field in found.items()
        ),
        pair=f"difference: {pair.value:.1f} CIEDE2000 (95 %: {pair.low:.1f} to {pair.high:.1f})" if pair else "",
        doubts=tuple(told),
        correction=inspection.correction,
        greys=greys,
    )


def _read_from(found: FieldMeasurement) -> str:
    """Say how much of a field was read, and what was left out."""
    left = sorted(found.left_out.items(), key=lambda item: -item[1])
    parts = [f"{reason.replace('-', ' ')} {100 * share:.0f} %" for reason, share in left if share >= _LEAST_NAMED]
    read = f"read from {100 * found.used_share:.0f} % of the field"
    return f"{read}; left out: {', '.join(parts)}" if parts else read


def _canvas(image: LinearImage) -> tuple[np.ndarray, float]:
    """Return the photo at the picture's size, and by what it was made smaller."""
    factor = max(1.0, max(image.size) / _LONG_SIDE)
    return np.ascontiguousarray(shrink(srgb_pixels(image), factor)), factor


def _picture_by_hand(inspection: HandInspection, image: LinearImage) -> np.ndarray:
    """Draw the named rectangles, hatch what was left out, and set the colour found beside the area."""
    canvas, factor = _canvas(image)
    # The photo may have been decoded smaller than the pixels that areas are named in.
    factor /= image.scale
    top, left, bottom, right = _box(inspection.area.box, factor)
    surface = inspection.view.surface
    rows = np.linspace(0, surface.mask.shape[0] - 1, max(1, bottom - top)).round().astype(int)
    columns = np.linspace(0, surface.mask.shape[1] - 1, max(1, right - left)).round().astype(int)
    part = canvas[top:bottom, left:right]
    glare, used = surface.glare[np.ix_(rows, columns)], surface.mask[np.ix_(rows, columns)]
    height, width = part.shape[:2]
    inside = surface.outline[np.ix_(rows, columns)]
    part[glare & hatch(height, width, glare=True)] = GLARE
    part[inside & ~glare & ~used & hatch(height, width, glare=False)] = LEFT_OUT
    for grey in inspection.greys:
        _outline(canvas, _box(grey.rect, factor))
    if isinstance(inspection.area, PixelRect):
        _outline(canvas, (top, left, bottom, right), SAMPLED)
    else:
        line(canvas, np.array(inspection.area.points) / factor, SAMPLED, closed=True)
    side = max(8, min(bottom - top, right - left) // 4)
    swatch = (top + 6, left + 6, top + 6 + side, left + 6 + side)
    canvas[swatch[0] : swatch[2], swatch[1] : swatch[3]] = lab_to_srgb8(
        np.array(inspection.measurement.fields["board"].estimate.lab)
    )
    _outline(canvas, swatch)
    return canvas


def _box(rect: PixelRect, factor: float) -> tuple[int, int, int, int]:
    """Return top, left, bottom and right on the canvas."""
    return (
        int(rect.y / factor),
        int(rect.x / factor),
        max(int((rect.y + rect.height) / factor), int(rect.y / factor) + 1),
        max(int((rect.x + rect.width) / factor), int(rect.x / factor) + 1),
    )


def _outline(canvas: np.ndarray, box: tuple[int, int, int, int], ink: Ink = WHITE) -> None:
    """Draw a frame around a box."""
    top, left, bottom, right = box
    corners = ((left - 2, top - 2), (right + 1, top - 2), (right + 1, bottom + 1), (left - 2, bottom + 1))
    line(canvas, np.array(corners), ink, closed=True)


def check_document(
    found: Sequence[Finding], again: Sequence[Again], *, repair: bool, saved: Saved | None = None
) -> Document:
    """Return what a check says; `saved` is what was made of a database whose pages are destroyed."""
    open_ones = [each for each in found if not each.mended]
    moved = [each for each in again if each.delta_e00 is not None and each.delta_e00 > SAME]
    failed = [f"{each.number}: {each.error.message}" for each in again if each.error is not None]
    otherwise = "finishlab measures otherwise than it did as version"
    blocks: list[Line | Listing] = [
        Listing("Not as it should be:", [each.what for each in open_ones]),
        Listing("Put right, or moved aside:", [each.what for each in found if each.mended]),
        Listing("Measured again, photos that give no colour:", failed),
        Listing(
            "Measured again, colours that differ from what was logged (finishlab remeasure takes the new ones):",
            [f"{e.number}: dE00 {e.delta_e00:.2f}; {'; '.join(e.why) or f'{otherwise} {e.version}'}" for e in moved],
        ),
    ]
    same = len(again) - len(moved) - len(failed)
    if again:
        blocks.append(Line(f"{same} of {len(again)} colours measured again are as they were logged."))
    if saved is None:
        blocks.append(Line(_conclusion(open_ones, repair=repair, mended=len(found) - len(open_ones))))
    else:
        blocks += _saved(saved)
    data = {
        "sound": not open_ones,
        "findings": plain(found),
        "measured_again": plain(again),
    }
    if saved is not None:
        data["saved"] = {"folder": str(saved.folder), "entries": saved.entries, "torn": list(saved.torn)}
    return Document("check", data, blocks)


def _saved(saved: Saved) -> list[Line | Listing]:
    return [
        Line(f"The {saved.entries} entries that can still be read were saved as a logbook of its own."),
        Listing("Of these tables some entries are lost:", list(saved.torn)),
        Line(f"See it with: finishlab --logbook {shlex.quote(str(saved.folder))} board list"),
        *([Line(f"What fits to nothing any more lies in its {ASIDE}/.")] if saved.loose else []),
        Line("A backup may hold more. The damaged logbook is as it was."),
    ]


def _conclusion(left: Sequence[Finding], *, repair: bool, mended: int) -> str:
    if left and not repair:
        return "Nothing was changed. What can be mended is moved aside, never deleted, by: finishlab check --repair"
    if left:
        return "What is left wants a backup: photos can be put back by adding them again, the rest from a copy."
    return f"What was moved aside lies in the logbook's folder {ASIDE}/." if mended else "The logbook is sound."
