"""What is to be logged, held against what is there: does a photo show what it is said to, is a light new."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from finishlab.board import Surface
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import delta_e_interval
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.errors import QualityError
from finishlab.imaging.strip import FieldName
from finishlab.logbook import Logbook
from finishlab.logbook.stored import FLOOR_IN_DOUBT
from finishlab.matching.scatter import USUAL_PHOTO
from finishlab.measure.results import FieldMeasurement, Measurement
from finishlab.measuring import PhotoResult
from finishlab.quality import doubt
from finishlab.record import DAYLIGHT, Light

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


def refuse_mixed(results: Sequence[PhotoResult], field: FieldName = "board") -> None:
    """Refuse photos as repeats of one board whose colours differ by more than errors and one board's wood explain.

    Raises
    ------
    QualityError
        ``"photos-disagree"``, with the two that differ most and their colours.
    """
    scatter = np.diag(np.square(USUAL_PHOTO)) * 2.0
    worst = None
    for one, two in combinations([each for each in results if each.measurement is not None], 2):
        found = [_field(each.measurement, field).estimate for each in (one, two) if each.measurement is not None]
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
        found = [(each.path, each.measurement) for each in results]
        return replace(self, spots=[*self.spots, *((path, _field(m, "floor").estimate) for path, m in found if m)])

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
    shown = [(each.path, _field(each.measurement, "floor")) for each in results if each.measurement is not None]
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
        beside = None if result.measurement is None else result.measurement.fields.get("floor")
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
        found = None if result.measurement is None else _warmth(result.measurement.correction.get("cast"))
        if usual is None or found is None or found - usual <= _WARMER:
            told.append(result)
            continue
        percent = round(100.0 * (math.exp(found - usual) - 1.0))
        told.append(_with_doubt(result, ("board", "floor"), "light-in-doubt", percent=percent, light=light))
    return told


def _warmth(cast: Sequence[float] | None) -> float | None:
    """Return red over blue of a photo's greys, natural logarithm; None of a photo of before it was noted."""
    return None if cast is None else math.log(cast[0] / cast[2])


def _with_doubt(result: PhotoResult, at: Sequence[FieldName], code: str, **figures: float | str) -> PhotoResult:
    if result.measurement is None:
        return result
    made = doubt(code, **figures)
    fields = {
        name: replace(found, doubts=(*found.doubts, made)) if name in at else found
        for name, found in result.measurement.fields.items()
    }
    return replace(result, measurement=replace(result.measurement, fields=fields))
