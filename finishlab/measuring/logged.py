"""Measured photos held against the logbook and logged, all or nothing; logged photos measured again."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, cast

import numpy as np

from finishlab.board import BoardRecord, FloorSpotRecord, Surface
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import delta_e_interval
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.errors import FinishlabError, LogbookError, QualityError
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import FLOOR_IN_DOUBT, DirectPair, StoredBoard, StoredMeasurement, StoredSpot
from finishlab.matching.scatter import USUAL_PHOTO
from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect
from finishlab.measure.results import FieldMeasurement, Measurement
from finishlab.measuring import MeasureOptions, PhotoResult, called, measure_photos
from finishlab.photos import photo_facts
from finishlab.quality import doubt
from finishlab.record import DAYLIGHT, Light, today
from finishlab.stair.records import StoredPart

if TYPE_CHECKING:
    from finishlab.imaging.strip import FieldName
    from finishlab.measure.results import SurfaceKind


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
        What `finishlab.measuring.measure_photos` gave, all of them measured.
    dated
        False to take the day the first photo says it was taken instead of the record's.
    with_floor
        Keep the direct pair of each photo that shows the floor too.

    Raises
    ------
    LogbookError
        ``photo-logged-twice``, ``photo-changed``, and what the logbook can raise; nothing is logged then.
    """
    measured = _kept(log, results, "B")
    if not dated:
        record = replace(record, date=photo_day(results[0].path) or record.date)
    return log.add_board(record, measured, _pairs(measured, with_floor=with_floor))


def log_board_photos(
    log: Logbook, number: str, results: Sequence[PhotoResult], *, light: str | None = None, with_floor: bool = False
) -> StoredBoard:
    """Log further photos of a board, in another light or as repeats; see `log_board`."""
    measured = _kept(log, results, "B")
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
    measured = _kept(log, results, "F")
    if not dated:
        record = replace(record, date=photo_day(results[0].path) or record.date)
    groups = [measured] if record.spot is not None else [[each] for each in measured]
    return log.add_floor_spots(record, groups)


def photo_day(path: str | Path) -> dt.date | None:
    """Return the day a photo says it was taken; None if it says none, or one that cannot be."""
    taken = photo_facts(Path(path)).taken
    return taken.date() if taken is not None and taken.date() <= today() else None


def _pairs(measured: Sequence[Measurement], *, with_floor: bool) -> list[DirectPair]:
    pairs = [DirectPair.of(each) for each in measured] if with_floor else []
    return [pair for pair in pairs if pair is not None]


def keep_photos(log: Logbook, results: Sequence[PhotoResult]) -> None:
    """Keep the photos' bytes, after seeing that they are still those that were measured."""
    for result in results:
        keep_original(log, result.path, result.measured.photo_id)


def keep_original(log: Logbook, path: str, photo_id: str) -> None:
    """Keep a photo's bytes.

    Raises
    ------
    LogbookError
        ``photo-changed`` if they are not those that were measured.
    """
    facts = photo_facts(Path(path))
    if facts.photo_id != photo_id:
        raise LogbookError(
            "photo-changed",
            f"The photo {path} is not the one that was measured.",
            "Measure it again when nothing changes it.",
        )
    log.keep_photo(Path(path), replace(facts, file_name=called(Path(path), facts.file_name)))


def _kept(log: Logbook, results: Sequence[PhotoResult], letter: Literal["B", "F"]) -> list[Measurement]:
    """Return what was measured, its photos kept.

    A photo that counts already is refused: logged twice it would pass for a repeat and halve the doubt.
    """
    measured = [each.measured for each in results]
    known = log.owners_of_photos("board" if letter == "B" else "spot", [each.photo_id for each in measured])
    seen = {photo: f"one that is logged as {letter}{number} already" for photo, number in known.items()}
    for result in results:
        owner = seen.get(result.measured.photo_id)
        if owner is not None:
            raise LogbookError(
                "photo-logged-twice",
                f"The photo {result.path} is the same as {owner}.",
                "Leave it out, or take another photo.",
            )
        seen[result.measured.photo_id] = f"{result.path}, named before it"
    keep_photos(log, results)
    return measured


_ONE_SURFACE: Final = 2.0
"""dE00 by which places of one board may differ beyond what their photos' errors explain. This tool's own; near the 2
units of CIE 1976 that one wood surface spans (Buchelt, Wagenfuehr, Eur. J. Wood Prod. 70 (2012) 377)."""
_ONE_FLOOR: Final = 6.0
"""dE00 from the nearest place of the floor from which on, beyond what the photos' errors explain, a surface is asked
about; a floor whose own places differ by more has that as its limit. This tool's own: planks of one printed floor
differ by 2 to 4 (common practice, no source)."""
_GRAINED: Final[frozenset[Surface]] = frozenset({"vinyl", "laminate", "wood"})
"""Floors that are wood or look like it."""
_NO_GRAIN: Final = 0.35
"""Standard deviation of L* between 0.5 and 8 mm below which a surface is plain. This tool's own: wood and printed wood
show 1 to 2 in rendered photos, a plain sheet 0.2."""
_WOOD_HUES: Final = (15.0, 115.0)
"""Hue angle of wood and of its prints, degrees, where they have colour at all (common practice, no source)."""
_COLOURLESS: Final = 10.0
"""Chroma below which a surface is grey, as grey floors are, and its hue says nothing."""
_LIGHTEST: Final = 93.0
"""L* that no floor of wood or like wood reaches: white paper (common practice, no source)."""
_WARMER: Final = 0.18
"""Natural logarithm of red over blue by which a photo is warmer than others of its light, from which on it looks as if
taken by a lamp. This tool's own: phones take out most of a lamp's warmth, in the rendered photos all but 0.25 to 0.28,
and daylight stays within 0.12."""


def refuse_mixed(results: Sequence[PhotoResult]) -> None:
    """Refuse photos as repeats of one board whose colours differ by more than errors and one board's wood explain.

    Raises
    ------
    QualityError
        ``"photos-disagree"``, with the two that differ most and their colours.
    """
    scatter = np.diag(np.square(USUAL_PHOTO)) * 2.0
    worst = None
    for one, two in combinations(results, 2):
        found = [_field(each.measured, "board").estimate for each in (one, two)]
        apart = delta_e_interval(found[0], found[1], scatter)
        if apart.low > _ONE_SURFACE and (worst is None or apart.value > worst[0].value):
            worst = apart, (one.path, found[0].lab), (two.path, found[1].lab)
    if worst is None:
        return
    apart, *shown = worst
    told = ", ".join("{} L* {:.1f} a* {:.1f} b* {:.1f}".format(path, *lab) for path, lab in shown)
    raise QualityError(
        "photos-disagree",
        f"These photos do not show one board: {told}, dE00 {apart.value:.1f} apart ({apart.low:.1f} to "
        f"{apart.high:.1f}).",
        "If they are different boards, log one a photo with --each; if it is one, photograph it again in even light.",
    )


@dataclass(frozen=True, slots=True)
class FloorSeen:
    """What is known of a floor that a photo can be held against."""

    spots: Sequence[tuple[str, LabEstimate]]
    """Name and colour of each photo of a place: of those in the photo's light, or of all where there is none."""
    surface: Surface = "vinyl"

    def with_these(self, results: Sequence[PhotoResult]) -> FloorSeen:
        """Return the same with photos of the floor that are about to be logged."""
        found = [(each.path, _field(each.measured, "floor").estimate) for each in results]
        return replace(self, spots=[*self.spots, *found])

    def strange(self, found: FieldMeasurement) -> str | None:
        """Return why a surface may not be this floor, to go on after its name; None where it may well be."""
        apart = self._apart(found)
        if apart is not None:
            return apart
        return _unlike(found) if self.surface in _GRAINED else None

    def _apart(self, found: FieldMeasurement) -> str | None:
        if not self.spots:
            return None
        scatter = np.diag(np.square(USUAL_PHOTO)) * 2.0
        off = [(delta_e_interval(found.estimate, spot, scatter), name) for name, spot in self.spots]
        nearest, name = min(off, key=lambda each: each[0].value)
        labs = np.array([spot.lab for _, spot in self.spots])
        own = float(delta_e_00(labs[:, None, :], labs[None, :, :]).max())
        if nearest.low <= max(_ONE_FLOOR, own):
            return None
        lab = "L* {:.0f} a* {:.0f} b* {:.0f}".format(*(round(v) + 0.0 for v in found.estimate.lab))
        return f"({lab}) is dE00 {nearest.value:.0f} from the nearest place of the floor, {name}"


def _unlike(found: FieldMeasurement) -> str | None:
    """Return why a surface can be no floor that is wood or looks like it."""
    lightness, a, b = found.estimate.lab
    chroma, hue = math.hypot(a, b), math.degrees(math.atan2(b, a)) % 360.0
    low, high = _WOOD_HUES
    if chroma > _COLOURLESS and not low <= hue <= high:
        return f"has a colour (hue {hue:.0f} degrees) that no wood has"
    if lightness > _LIGHTEST:
        return f"is as light (L* {lightness:.0f}) as paper"
    if found.texture is not None and found.texture.contrast < _NO_GRAIN:
        return "shows no grain, as a bench or a sheet of paper would"
    return None


def floor_seen(log: Logbook, light: Light, surface: Surface | None = None) -> FloorSeen:
    """Return what a logbook knows of the floor; without a `surface` it is that of the first place logged."""
    spots = log.floor_spots()
    measured = [(spot, found) for spot in spots for found in spot.measurements]
    lit = [each for each in measured if each[1].light == light] or measured
    kind: Surface = surface or (spots[0].record.surface if spots else "vinyl")
    return FloorSeen([(spot.number, found.field.estimate) for spot, found in lit], kind)


def _field(measurement: Measurement, name: FieldName) -> FieldMeasurement:
    """Return a field of a photo; by hand the one surface measured is reported as the board field."""
    return measurement.fields.get(name) or measurement.fields["board"]


def floor_slips(results: Sequence[PhotoResult], floor: FloorSeen) -> list[str]:
    """Return, a sentence each, which photos of the floor may show something else: a bench, or a board.

    Each is held against the places that are logged; where none is, against the others of these photos.
    """
    shown = [(each.path, _field(each.measured, "floor")) for each in results]
    told = []
    for path, found in shown:
        others = [(other, field.estimate) for other, field in shown if other != path]
        reason = (floor if floor.spots else replace(floor, spots=others)).strange(found)
        if reason is not None:
            told.append(f"What {path} shows {reason}.")
    return told


def doubt_floor(results: Sequence[PhotoResult], floor: FloorSeen) -> list[PhotoResult]:
    """Return photos of boards with a doubt at each field beside them that may not be the floor."""
    told = []
    for result in results:
        beside = result.measured.fields.get("floor")
        reason = None if beside is None else floor.strange(beside)
        told.append(result if reason is None else _with_doubt(result, ("floor",), FLOOR_IN_DOUBT, reason=reason))
    return told


def doubt_light(log: Logbook, results: Sequence[PhotoResult], light: Light) -> list[PhotoResult]:
    """Return photos with a doubt at each that is as warm as by lamp light beside those logged in the same light.

    Daylight of which no photo is logged is taken as even; of another light nothing is known then.
    """
    logged = [math.log(red / blue) for red, _, blue in log.casts_logged(light)]
    usual = float(np.median(logged)) if logged else 0.0 if light == DAYLIGHT else None
    told = []
    for result in results:
        greys = result.measured.correction.get("cast")  # a photo of before it was noted has none
        warmer = 0.0 if usual is None or greys is None else math.log(greys[0] / greys[2]) - usual
        if warmer <= _WARMER:
            told.append(result)
            continue
        percent = round(100.0 * (math.exp(warmer) - 1.0))
        told.append(_with_doubt(result, ("board", "floor"), "light-in-doubt", percent=percent, light=light))
    return told


def _with_doubt(result: PhotoResult, at: Sequence[FieldName], code: str, **figures: float | str) -> PhotoResult:
    made, fields = doubt(code, **figures), result.measured.fields
    doubted = {name: replace(fields[name], doubts=(*fields[name].doubts, made)) for name in at if name in fields}
    return replace(result, measurement=replace(result.measured, fields={**fields, **doubted}))


_Subject = StoredBoard | StoredSpot | StoredPart
SAME: Final = 0.005
"""CIEDE2000 up to which a colour counts as the same: two decimals are shown."""
_NUMBER: Final = re.compile(r"[BbFf][0-9]{1,9}")


@dataclass(frozen=True, slots=True)
class Remeasured:
    """What came of one board or floor spot."""

    number: str
    before: tuple[StoredMeasurement, ...]
    after: tuple[StoredMeasurement, ...]
    """Empty where a photo failed: the subject was then left as it was."""
    errors: tuple[FinishlabError, ...] = ()


def why_moved(old: StoredMeasurement, settings: Mapping[str, Any], version: str) -> tuple[str, ...]:
    """Return what is otherwise in how a photo was measured and how it is measured now; empty if nothing is.

    Parameters
    ----------
    old
        The logged colour.
    settings, version
        Of the new measurement.
    """
    reasons = [
        *_print_moved(old.settings.get("print") or {}, settings.get("print") or {}),
        *_profile_moved(old, old.profile, settings.get("camera_profile")),
    ]
    if _fields(old.settings) != _fields(settings):
        reasons.append("measured by itself now, or with what lies beside it")
    if old.version != version:
        reasons.append(f"finishlab {old.version} measured it, now {version} does")
    return tuple(reasons)


def _fields(settings: Mapping[str, Any]) -> list[str]:
    return [] if settings.get("area") else sorted(settings.get("fields") or ())


def _print_moved(was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    if was.get("key", "nominal") != now.get("key", "nominal"):
        if now.get("learned"):
            anew = "anew " if was.get("learned") else ""
            yield f"the print of strip {now.get('number')} was learned {anew}on {str(now['learned'])[:10]}"
        elif was.get("learned"):
            yield f"what was learned of the print of strip {was.get('number')} holds no more"
        else:
            yield "a print nobody learned is taken for another than it was"
    elif was.get("photos") != now.get("photos") and (now.get("photos") or was.get("photos")):
        before = "nobody noted how many" if was.get("photos") is None else str(was["photos"])
        yield f"{now.get('photos')} logged photos say how its strip was printed, before {before}"


def _profile_moved(
    old: StoredMeasurement, was: Mapping[str, Any] | None, now: Mapping[str, Any] | None
) -> Iterator[str]:
    if was == now:
        return
    if was is not None and was.get("light") != old.light:
        yield f"its light is called {old.light} now, and not {was.get('light')}"
    if now is None:
        yield f"no profile of the camera is known for {old.light}"
    else:
        yield f"the camera's profile for {now['light']} was learned on {now.get('date')}"


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
    paired = {pair.photo for pair in subject.pairs} if isinstance(subject, StoredBoard) else set()
    measured: list[Measurement] = []
    errors: list[FinishlabError] = []
    for found in logged:
        try:
            measured.append(measured_again(log, found, pair=found.photo in paired))
        except FinishlabError as error:
            errors.append(error)
    if errors or not measured:
        return Remeasured(name, logged, (), tuple(errors))
    if isinstance(subject, StoredPart):
        log.remeasure_part(subject.ident, measured)
        return Remeasured(name, logged, _logged(log, subject))
    log.remeasure(subject.number, measured)
    now = log.floor_spot(subject.number) if isinstance(subject, StoredSpot) else log.board(subject.number)
    return Remeasured(name, logged, now.measurements)


def measured_again(log: Logbook, found: StoredMeasurement, *, pair: bool = False) -> Measurement:
    """Measure the kept photo of a logged colour again, in the way it was measured; nothing is logged.

    Raises
    ------
    LogbookError
        ``unknown-photo`` or ``photo-missing``.
    FinishlabError
        Why it gives no colour.
    """
    (result,) = measure_photos([log.photo_path(found.photo)], _how(log, found, pair=pair))
    return result.measured


def _logged(log: Logbook, subject: _Subject) -> tuple[StoredMeasurement, ...]:
    return log.part_measurements(subject.ident) if isinstance(subject, StoredPart) else subject.measurements


def _how(log: Logbook, found: StoredMeasurement, *, pair: bool) -> MeasureOptions:
    """Return how a photo was measured, with what is known of strips and cameras today."""
    settings = found.settings
    if settings.get("area"):
        areas = tuple(GreyArea.parse(str(text)) for text in settings["greys"])
        # By hand the one surface is reported as the board field; a floor's kind is kept by calling it the floor.
        text = str(settings["area"])
        # A rectangle is four figures, a polygon six or more.
        area = PixelRect.parse(text) if text.count(",") == 3 else PixelPolygon.parse(text)
        how = MeasureOptions(("floor",), found.field.kind, areas, area)
        return how.with_calibration(log, found.light)
    floor_is = cast("SurfaceKind", settings.get("floor_is", "print"))
    if found.field.name == "floor":
        floor_is = found.field.kind
    fields: tuple[FieldName, ...] = ("board", "floor") if pair else (found.field.name,)
    return MeasureOptions(fields, floor_is).with_calibration(log, found.light)


@dataclass(frozen=True, slots=True)
class Again:
    """A logged colour beside what its photo gives today."""

    number: str
    photo: str
    version: str
    """finishlab's version when it was logged."""
    delta_e00: float | None
    """CIEDE2000 between the two; None if the photo gives no colour."""
    error: FinishlabError | None = None
    why: tuple[str, ...] = ()
    """What is otherwise in how it is measured."""


def measure_sample(log: Logbook, size: int) -> list[Again]:
    """Measure some logged photos again, spread evenly over floor, boards and stair; nothing is logged."""
    things: list[StoredBoard | StoredSpot] = [*log.floor_spots(), *log.boards()]
    logged: list[tuple[str, StoredMeasurement]] = [
        (each.number, found) for each in things for found in each.measurements
    ]
    logged += [(part.code, found) for part in log.stair_parts() for found in log.part_measurements(part.ident)]
    step = max(1, -(-len(logged) // size)) if size else 0
    return [_again(log, number, found) for number, found in logged[::step]] if step else []


def _again(log: Logbook, number: str, found: StoredMeasurement) -> Again:
    try:
        measured = measured_again(log, found)
    except FinishlabError as error:
        return Again(number, found.photo[:16], found.version, None, error)
    now = measured.fields.get(found.field.name)
    if now is None:
        return Again(number, found.photo[:16], found.version, None)
    off = float(delta_e_00(found.field.estimate.lab, now.estimate.lab))
    why = why_moved(found, measured.settings, measured.version)
    return Again(number, found.photo[:16], found.version, round(off, 4), why=why)
