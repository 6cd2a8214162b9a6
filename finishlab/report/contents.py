"""All that a report shows, gathered from a logbook, with crops of boards and floor from its photos, at one scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.errors import FinishlabError
from finishlab.matching.aims import MATCH, Aim
from finishlab.measuring import MeasureOptions
from finishlab.rank.comparing import Comparison, compare
from finishlab.rank.sentences import answer
from finishlab.show.pages import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from finishlab.imaging.strip import FieldName
    from finishlab.logbook import Logbook, StoredBoard, StoredMeasurement, StoredSpot
    from finishlab.matching.ranking import RankedBoard, Ranking
    from finishlab.measure.flow import Inspection

MOST_PICTURED: Final = 20
"""Boards that are drawn: more would hide each other."""
MOST_TOLD: Final = 60
"""Boards that are listed; of the rest their number is said."""
_TITLE: Final = "Stair finish and floor"
_RENDERED: Final = "Rendered"
"""How a rendered photo's camera is named, so that no report passes it for a photograph."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportContent(Comparison):
    """Everything a report shows: a comparison, with pictures and what it is called."""

    title: str
    """Name of the project or logbook."""
    made: str
    """Date the report was made, ISO 8601."""
    version: str
    """finishlab's version."""
    spots: tuple[StoredSpot, ...] = ()
    crops: Mapping[str, Picture] = field(default_factory=dict)
    """Pictures by board number."""
    rendered: bool = False
    """The photos are computed pictures of surfaces that do not exist; the report says so."""
    extra: Mapping[str, str] = field(default_factory=dict)
    """Further lines for the method: name -> text (strip number, camera, settings)."""

    @property
    def pictured(self) -> tuple[RankedBoard, ...]:
        """The boards that are drawn, the nearest first."""
        return tuple(self.ranking.boards[:MOST_PICTURED])

    @property
    def told(self) -> Ranking:
        """The ranking of the boards that are listed, the nearest first."""
        return replace(self.ranking, boards=self.ranking.boards[:MOST_TOLD])


def gather_report(
    log: Logbook, *, title: str | None = None, light: str | None = None, aim: Aim = MATCH, other: Aim | None = None
) -> ReportContent:
    """Rank a logbook's boards and gather all that a report shows of them.

    Parameters
    ----------
    log
        An open logbook.
    title
        What the report is headed by.
    light, aim, other
        As `finishlab.rank.comparing.compare` takes them.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards`` if there is nothing to compare.
    """
    from finishlab.record import today
    from finishlab.version import __version__

    found = compare(log, light=light, aim=aim, other=other).as_measured()
    ranking = found.ranking
    shown = [log.board(board.board) for board in ranking.boards[:MOST_PICTURED]]
    spots = [spot for spot in log.floor_spots() if any(m.light == found.light for m in spot.measurements)]
    return ReportContent(
        **{each.name: getattr(found, each.name) for each in fields(found)},
        title=title or _TITLE,
        made=today().isoformat(),
        version=__version__,
        spots=tuple(spots),
        crops=crops_of(log, shown, found.light, ranking.floor.lab),
        rendered=_is_rendered(log, shown, found.light),
        extra=_extra(log, found),
    )


def report_document(content: ReportContent, *, page: Path, pdf: Path | None) -> dict[str, object]:
    """Return ``finishlab/report/1``: where a report was written, and what it says first."""
    return {
        "format": "finishlab/report/1",
        "page": str(page),
        "pdf": None if pdf is None else str(pdf),
        "title": content.title,
        "light": content.light,
        "answer": answer(content.ranking),
        "rendered": content.rendered,
        "boards": list(content.ranking.numbers),
        "crops": list(content.crops),
    }


def _is_rendered(log: Logbook, boards: Sequence[StoredBoard], light: str) -> bool:
    """Return whether a photo of a board was computed, as the demo's are."""
    from finishlab.errors import LogbookError

    for photo in {measured.photo for board in boards for measured in board.measurements if measured.light == light}:
        try:
            camera = log.photo(photo).camera_model or ""
        except LogbookError:  # its file is gone
            continue
        if camera.startswith(_RENDERED):
            return True
    return False


def _extra(log: Logbook, found: Comparison) -> dict[str, str]:
    from finishlab.strip.trials import trust_line

    strips = log.strips()
    named = ", ".join(f"{number:04d}" for number in strips)
    extra = {"Strip" if len(strips) == 1 else "Strips": named} if strips else {}
    tried = trust_line(found.trust)
    return extra | ({"Trials": tried} if tried else {})


CROP_MM: Final = (120.0, 36.0)
"""Width and height of every crop in millimetres: within a field, and the width of a phone's column."""
_QUALITY: Final = 90
"""From here on colour is kept at full resolution, which the edge between board and floor needs."""
_STEP_MM: Final = 1.0


@dataclass(frozen=True, slots=True)
class _Source:
    """Where a surface is to be seen."""

    photo: str
    field: FieldName
    name: str


def crops_of(log: Logbook, boards: Sequence[StoredBoard], light: str, floor_lab: Sequence[float]) -> dict[str, Picture]:
    """Return for each board its crop above the floor's, as far as its photo allows one.

    The floor beside a board comes from the same photo where there is one of both, and else from the place of the floor
    whose colour is nearest to the floor's mean.

    Parameters
    ----------
    log
        An open logbook.
    boards
        The boards; only their photos are opened.
    light
        The light whose photos are used.
    floor_lab
        Mean CIELAB of the floor.
    """
    cutter = _Cutter(log, light)
    usual = _usual_floor(log.floor_spots(light), light, floor_lab)
    out: dict[str, Picture] = {}
    for board in boards:
        photo, pair = _photo_of(board, light)
        upper = None if photo is None else cutter.cut(_Source(photo, "board", board.number))
        source = _Source(photo, "floor", "the floor in the same photo") if pair and photo is not None else usual
        lower = None if source is None else cutter.cut(source)
        if upper is not None:
            beside = None if lower is None or source is None else source.name
            out[board.number] = _crop(upper, lower, board.number, beside)
    return out


class _Cutter:
    """Cuts, and remembers what it has cut: many boards may stand beside one floor."""

    def __init__(self, log: Logbook, light: str) -> None:
        self._log = log
        self._options = MeasureOptions().with_calibration(log, light)
        self._cut: dict[_Source, np.ndarray | None] = {}

    def cut(self, source: _Source) -> np.ndarray | None:
        """Return the crop, None where the photo gives none: it was measured by hand, or its file is gone."""
        if source not in self._cut:
            self._cut[source] = self._try(source)
        return self._cut[source]

    def _try(self, source: _Source) -> np.ndarray | None:
        from finishlab.measure.by_hand import HandInspection
        from finishlab.measuring import inspect_photo

        try:
            path = self._log.photo_path(source.photo)
            inspection, image = inspect_photo(path, replace(self._options, fields=(source.field,)))
        except FinishlabError:
            return None
        if isinstance(inspection, HandInspection):
            return None
        return corrected_crop(inspection, source.field, linear=image.info.linear)


def corrected_crop(inspection: Inspection, field: FieldName, *, linear: bool = False) -> np.ndarray:
    """Return the part of a field that shows most of its surface, in sRGB as its colour was measured.

    Parameters
    ----------
    inspection
        What was found in the photo.
    field
        Which field.
    linear
        The photo is a camera raw file: no boost of saturation is taken out.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        `CROP_MM` at the resolution fields are laid flat.
    """
    from finishlab.colorimetry.spaces import lab_to_rgb, linear_to_srgb
    from finishlab.imaging.processing import RAW_SATURATION, SATURATION_BOOST, unboosted

    view = inspection.views[field]
    rows, columns = _window(view.surface.mask, view.image.px_per_mm)
    boost = (RAW_SATURATION if linear else SATURATION_BOOST)[0]
    # The measured colour is that of the mean; the same small step is taken with every pixel.
    mean = lab_to_rgb(np.asarray(inspection.measurement.fields[field].estimate.lab))
    gain = mean / unboosted(np.maximum(view.sample.rgb, 0.0), boost)
    rgb = unboosted(np.maximum(view.image.rgb[rows, columns], 0.0), boost) * gain
    return np.asarray(np.rint(linear_to_srgb(np.clip(rgb, 0.0, 1.0)) * 255.0), dtype=np.uint8)


def _window(mask: np.ndarray, px_per_mm: float) -> tuple[slice, slice]:
    """Return the window of `CROP_MM` that holds most of a mask; of equal ones the one nearest the middle."""
    height, width = mask.shape
    w, h = (min(side, round(mm * px_per_mm)) for side, mm in zip((width, height), CROP_MM, strict=True))
    total = np.zeros((height + 1, width + 1))
    total[1:, 1:] = mask.cumsum(axis=0).cumsum(axis=1)
    step = max(1, round(_STEP_MM * px_per_mm))
    tops, lefts = np.arange(0, height - h + 1, step), np.arange(0, width - w + 1, step)
    y, x = np.meshgrid(tops, lefts, indexing="ij")
    held = total[y + h, x + w] - total[y, x + w] - total[y + h, x] + total[y, x]
    # A pixel of surface counts more than any distance from the middle.
    away = np.hypot(y + h / 2 - height / 2, x + w / 2 - width / 2) / (height + width)
    best = np.unravel_index(np.argmax(held - away), held.shape)
    top, left = int(y[best]), int(x[best])
    return slice(top, top + h), slice(left, left + w)


def _photo_of(board: StoredBoard, light: str) -> tuple[str | None, bool]:
    """Return the photo to show a board from, and whether the floor is in it; one of both is preferred."""
    for pair in board.pairs:
        if pair.light == light:
            return pair.photo, True
    for found in board.measurements:
        if found.light == light and _by_strip(found):
            return found.photo, False
    return None, False


def _by_strip(found: StoredMeasurement) -> bool:
    settings: Mapping[str, object] = found.settings
    return not settings.get("area")


def _usual_floor(spots: Sequence[StoredSpot], light: str, floor_lab: Sequence[float]) -> _Source | None:
    """Return the measured place of the floor that looks most like all of it."""
    found = [(m, spot) for spot in spots for m in spot.measurements if m.light == light and _by_strip(m)]
    if not found:
        return None
    best, spot = min(found, key=lambda each: float(delta_e_00(each[0].field.estimate.lab, floor_lab)))
    where = f", {spot.record.spot}" if spot.record.spot else ""
    return _Source(best.photo, "floor", f"the floor at {spot.number}{where}")


def _crop(upper: np.ndarray, lower: np.ndarray | None, number: str, floor: str | None) -> Picture:
    from finishlab.photos import write_jpeg

    both = upper if lower is None else np.concatenate([upper, lower])
    beside = "" if floor is None else f" above {floor}"
    return Picture(
        jpeg=write_jpeg(both, quality=_QUALITY),
        width_mm=CROP_MM[0],
        caption=f"Board {number}{beside}",
        alt=f"Board {number}{beside}, cut from the photo and corrected",
    )
