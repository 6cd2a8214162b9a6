"""The pictures of a report: crops from its photos at one scale, and drawings of its ranking with the words beneath."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.board.shown import pooled_lab
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.errors import FinishlabError
from finishlab.matching.costs import costs_line
from finishlab.measuring import MeasureOptions
from finishlab.rank.documents import tie_marks
from finishlab.report.plots import (
    CLIPPED,
    Covariance,
    Kind,
    Lab,
    PlottedBoard,
    PlottedFloor,
    chroma_covariance,
    clipping,
    coats_plot,
    costs_plot,
    interval_plot,
    marked,
    place_labels,
    swatch_plot,
)
from finishlab.show.drawing import FONT_SIZE, INK, SOFT, WIDTH, Drawing, drawing_rules, figure_of, plain_axes
from finishlab.show.pages import Chart, Picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from finishlab.imaging.strip import FieldName
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredMeasurement, StoredSpot
    from finishlab.matching.ranking import RankedBoard
    from finishlab.measure.flow import Inspection
    from finishlab.rank.comparing import Comparison


Plane = Literal["a*b*", "L*C*"]

HOLDS: Final = math.sqrt(-2.0 * math.log(0.05))
"""Radius, in standard deviations, that holds 95 % of a normal distribution in the plane (chi squared, 2 degrees)."""

_LEFT, _RIGHT, _TOP, _BASE = 44.0, 10.0, 12.0, 40.0
_LEGEND: Final = 46.0
_INNER: Final = WIDTH - _LEFT - _RIGHT
_MARKS: Final[dict[Kind, tuple[str, float]]] = {"leading": ("D", 8.5), "candidate": ("o", 8.0), "other": ("^", 8.0)}
_HATCHED: Final[dict[str, Any]] = {"facecolor": "#e4e4e4", "edgecolor": "#6a6a6a", "hatch": "////"}
_MIDDLE_EDGE: Final = 1.1
_LEAST_HALF: Final = 3.0
"""Least half width of a plane, CIELAB units: a board as good as the floor must not look far off."""


_Placed = tuple[PlottedBoard, NDArray[np.float64], NDArray[np.float64] | None]
"""A board, where it lies in a plane, and its covariance as the plane shows it."""


def plane_plot(boards: Sequence[PlottedBoard], floor: PlottedFloor, plane: Plane) -> Drawing:
    """Draw boards and floor in a plane of CIELAB, both axes to one scale.

    Parameters
    ----------
    boards
        The boards.
    floor
        The floor; its spread is an ellipse that holds 95 % of planks.
    plane
        ``"a*b*"`` or ``"L*C*"``.
    """
    placed: list[_Placed] = [
        (board, _at(board.lab, plane), _seen(board.lab, board.covariance, plane)) for board in boards
    ]
    centre = _at(floor.lab, plane)
    spread = _seen(floor.lab, floor.spread, plane)
    with drawing_rules():
        figure = figure_of(_TOP + _INNER + _BASE + _LEGEND)
        axes = plain_axes(figure, (_LEFT, _TOP, _INNER, _INNER))
        middle, half = _window([*((at, seen) for _, at, seen in placed), (centre, spread)])
        axes.set_xlim(middle[0] - half, middle[0] + half)
        axes.set_ylim(middle[1] - half, middle[1] + half)
        _floor(axes, floor, centre, spread, plane)
        for each in placed:
            _board(axes, *each)
        lighter = [
            f" {board.lab[0] - floor.lab[0]:+.0f}".replace("-0", "+0") if plane == "a*b*" else "" for board in boards
        ]
        named = [(b.name + lift, at, b.kind == "leading") for (b, at, _), lift in zip(placed, lighter, strict=True)]
        place_labels(axes, [*named, ("floor", centre, True)], unit=2 * half / _INNER)
        _name_axes(axes, plane)
        _legend(axes, boards, spread is not None, bool(floor.planks))
    told = [f"{board.name} at {at[0]:.1f}, {at[1]:.1f}" for board, at, _ in placed]
    names = "a* and b*" if plane == "a*b*" else "C* and L*"
    words = f"{names}: floor at {centre[0]:.1f}, {centre[1]:.1f}; {'; '.join(told)}."
    title = "Redder or greener, yellower or bluer" if plane == "a*b*" else "Lighter or darker, fuller or duller"
    return Drawing(figure, f"{title}: boards and floor ({plane})", words)


def _at(lab: Lab, plane: Plane) -> NDArray[np.float64]:
    if plane == "a*b*":
        return np.array([lab[1], lab[2]])
    return np.array([math.hypot(lab[1], lab[2]), lab[0]])


def _seen(lab: Lab, covariance: Covariance | None, plane: Plane) -> NDArray[np.float64] | None:
    """Return a covariance as the plane shows it, shape (2, 2)."""
    if covariance is None:
        return None
    whole = np.asarray(covariance, dtype=np.float64)
    if plane == "a*b*":
        return np.asarray(whole[1:, 1:])
    return chroma_covariance(lab, tuple(tuple(row) for row in whole.tolist()))


def _window(
    placed: Sequence[tuple[NDArray[np.float64], NDArray[np.float64] | None]],
) -> tuple[NDArray[np.float64], float]:
    """Return the middle and half the width of the square that holds everything with its ellipses."""
    ends = []
    for at, covariance in placed:
        reach = 0.0 if covariance is None else HOLDS * np.sqrt(np.clip(np.diag(covariance), 0.0, None))
        ends += [at - reach, at + reach]
    low, high = np.min(ends, axis=0), np.max(ends, axis=0)
    half = max(float((high - low).max()) / 2 * _MIDDLE_EDGE, _LEAST_HALF)
    return (low + high) / 2, half


def _ellipse(at: NDArray[np.float64], covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the outline that holds 95 %, shape (n, 2)."""
    values, axes = np.linalg.eigh(covariance)
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    return np.asarray(at + (axes * (HOLDS * np.sqrt(np.clip(values, 0.0, None))) @ circle).T)


def _floor(
    axes: Axes, floor: PlottedFloor, centre: NDArray[np.float64], spread: NDArray[np.float64] | None, plane: Plane
) -> None:
    from matplotlib.patches import Polygon

    if spread is not None:
        axes.add_patch(Polygon(_ellipse(centre, spread), closed=True, linewidth=1.2, zorder=1.5, **_HATCHED))
    for _, lab in floor.planks:
        x, y = _at(lab, plane)
        axes.plot([x], [y], "+", color=INK, markersize=7, markeredgewidth=1.2, zorder=3)
    axes.plot(*centre, marker="s", markersize=13, zorder=4, **marked(floor.lab, 1.8))


def _board(axes: Axes, board: PlottedBoard, at: NDArray[np.float64], seen: NDArray[np.float64] | None) -> None:
    if seen is not None:
        x, y = _ellipse(at, seen).T
        look = (SOFT, 1.1, "-") if board.kind == "leading" else ("#8a8a8a", 0.7, "--")
        axes.plot(x, y, color=look[0], linewidth=look[1], linestyle=look[2], zorder=2)
    mark, size = _MARKS[board.kind]
    axes.plot(*at, marker=mark, markersize=size, zorder=5, **marked(board.lab))


def _name_axes(axes: Axes, plane: Plane) -> None:
    left, right = "\N{LEFTWARDS ARROW}", "\N{RIGHTWARDS ARROW}"
    if plane == "a*b*":
        axes.set_xlabel(f"{left} greener  \N{MIDDLE DOT}  a*  \N{MIDDLE DOT}  redder {right}")
        axes.set_ylabel(f"{left} bluer  \N{MIDDLE DOT}  b*  \N{MIDDLE DOT}  yellower {right}")
    else:
        axes.set_xlabel(f"{left} duller  \N{MIDDLE DOT}  C*  \N{MIDDLE DOT}  fuller {right}")
        axes.set_ylabel(f"{left} darker  \N{MIDDLE DOT}  L*  \N{MIDDLE DOT}  lighter {right}")
    axes.yaxis.set_label_coords(-31.0 / _INNER, 0.5)
    axes.xaxis.set_label_coords(0.5, -24.0 / _INNER)
    step = next(s for s in (1, 2, 5, 10, 20, 50) if np.ptp(axes.get_xlim()) / s <= 8)
    for set_ticks, ends in ((axes.set_xticks, axes.get_xlim()), (axes.set_yticks, axes.get_ylim())):
        low, high = math.ceil(ends[0] / step), math.floor(ends[1] / step)
        set_ticks([i * step for i in range(low, high + 1)])


def _legend(axes: Axes, boards: Sequence[PlottedBoard], spread: bool, planks: bool) -> None:  # noqa: FBT001 - what is drawn
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    said: dict[Kind, str] = {
        "leading": "may be nearest",
        "candidate": "board",
        "other": "raw or clear only",
    }
    kinds = [kind for kind in said if any(board.kind == kind for board in boards)]
    plain: dict[str, Any] = {"linestyle": "none", "markerfacecolor": "white", "markeredgecolor": INK}
    handles: list[object] = [Line2D([], [], marker=_MARKS[k][0], markersize=7, label=said[k], **plain) for k in kinds]
    if spread:
        handles.append(Patch(label="planks, 95 %", **_HATCHED))
    if planks:
        handles.append(Line2D([], [], marker="+", markersize=7, linestyle="none", color=INK, label="plank"))
    if any(board.covariance is not None for board in boards):
        handles.append(Line2D([], [], color=SOFT, linewidth=0.9, linestyle="--", label="board, 95 %"))
    axes.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(-_LEFT / _INNER, -_BASE / _INNER),
        bbox_transform=axes.transAxes,
        borderaxespad=0.0,
        ncols=3,
        frameon=False,
        handletextpad=0.4,
        columnspacing=0.8,
        fontsize=FONT_SIZE - 0.5,
        handlelength=1.5,
    )


MOST_PICTURED: Final = 20
"""Boards that are drawn: more would hide each other."""
_MOST_PATHS: Final = 4
_MOST_ALIKE: Final = 3
"""Boards of one number of coats that a path shows."""
_FOR_COMPARISON: Final = {"raw", "clear-only control", "step", "witness"}


def charts(found: Comparison, spots: Sequence[StoredSpot], *, columns: int = 2) -> list[Chart]:
    """Return what is drawn of a report, in the order it is shown; nothing without boards.

    Parameters
    ----------
    found, spots
        The comparison, with colours as measured, and the floor's spots.
    columns
        Swatches side by side: 2 for a phone, 4 for a sheet of paper.
    """
    ranked = found.ranking.boards[:MOST_PICTURED]
    if not ranked:
        return []
    floor = _plotted_floor(found, spots)
    leaders = {board.board for board in found.ranking.leaders}
    boards = [_plotted(board, found, leaders) for board in ranked]
    return [
        Chart("intervals", "How far from the floor", _interval_note(found), _intervals(found, boards)),
        *_costs(found),
        Chart(
            "ab",
            "Redder or greener, yellower or bluer",
            _plane_note(floor),
            plane_plot(boards, floor, "a*b*"),
        ),
        Chart(
            "swatches",
            "Each board set into the floor",
            _swatch_note(boards, found),
            swatch_plot(boards, floor, columns=columns),
        ),
        Chart(
            "lc",
            "Lighter or darker, fuller or duller",
            "The same boards, by lightness and by how much colour they have.",
            plane_plot(boards, floor, "L*C*"),
        ),
        *_paths(found, floor, leaders),
    ]


def _plotted_floor(found: Comparison, spots: Sequence[StoredSpot]) -> PlottedFloor:
    pool = found.ranking.floor
    planks = pool.planks or tuple((spot.number, lab) for spot in spots if (lab := pooled_lab(spot)) is not None)
    return PlottedFloor(pool.lab, pool.plank_covariance, planks)


def _plotted(board: RankedBoard, found: Comparison, leaders: set[str], coats: int = 0) -> PlottedBoard:
    row = found.boards.get(board.board)
    kind: Kind = "candidate"
    if board.board in leaders:
        kind = "leading"
    elif row is not None and row.record.purpose in _FOR_COMPARISON:
        kind = "other"
    score = board.delta_e00 if found.ranking.aim.name == "match" or board.score is None else board.score
    own = board.own if board.score in (None, score) else None
    return PlottedBoard(
        name=board.board,
        lab=board.lab,
        covariance=board.covariance,
        kind=kind,
        note=f"dE00 {board.delta_e00.value:.1f}",
        score=score,
        own=None if own is None else (own.low, own.high),
        mark="".join(tie_marks(board)),
        coats=coats,
    )


def _intervals(found: Comparison, boards: Sequence[PlottedBoard]) -> Drawing:
    ranking = found.ranking
    if ranking.aim.name == "match":
        return interval_plot(boards, floor_spread=ranking.floor.spread_e00)
    return interval_plot(boards, floor_spread=None, what=f"distance from the aim ({ranking.aim.scored_by.name})")


def _swatch_note(boards: Sequence[PlottedBoard], found: Comparison) -> str:
    told = (
        "Mean colours, without grain or gloss: the floor around, the board within; the ticks say where its edges are. "
        "Screens and printers differ, so judge the boards themselves."
    )
    clipped = [board.name for board in boards if clipping(board.lab) >= CLIPPED]
    if clipped:
        told += f" More colourful than a screen can show, so shown as near as it goes (*): {', '.join(clipped)}."
    rest = len(found.ranking.boards) - len(boards)
    return told + (f" The {len(boards)} nearest of {len(boards) + rest} boards are drawn." if rest else "")


def _interval_note(found: Comparison) -> str:
    told = "The line holds the true difference in 95 of 100 cases; diamonds are boards that may be the nearest."
    if any(board.own is not None for board in found.ranking.boards[:MOST_PICTURED]):
        told += " Only its thick part sets a board against the others: the thin one moves them all alike."
    tied = any(board.tied for board in found.ranking.boards)
    return told + (" Boards that share a letter at the left may change places." if tied else "")


def _costs(found: Comparison) -> list[Chart]:
    """Return what the first boards' intervals are made of."""
    if not found.costs:
        return []
    bars = [(each.board or "", each.shares) for each in found.costs]
    note = costs_line(found.costs[0])
    return [Chart("costs", "What makes the line so long", note, costs_plot(bars))]


def _plane_note(floor: PlottedFloor) -> str:
    told = (
        "The nearer to the floor, the more alike in hue; the figure beside a name is how much lighter (+) or darker "
        "(-) the board is, in L*. An outline holds the board in 95 of 100 cases."
    )
    if floor.spread is not None:
        told += " Like one more plank looks only what lies inside the hatched ellipse and is as light as the floor."
    return told


def _paths(found: Comparison, floor: PlottedFloor, leaders: set[str]) -> list[Chart]:
    """Return the coats of each stain that was tried in more than one number of coats; the leading boards' first."""
    groups: dict[tuple[str, str, str], list[PlottedBoard]] = {}
    clear: dict[tuple[str, str], list[PlottedBoard]] = {}
    for board in found.ranking.boards:
        row = found.boards.get(board.board)
        if row is None:
            continue
        record, topcoat = row.record, row.record.topcoat or ""
        wood = record.species.casefold()
        if record.stain and record.coats:
            step = _plotted(board, found, leaders, record.coats)
            _add(groups.setdefault((wood, record.stain, topcoat), []), step)
        elif topcoat and not record.stain:
            _add(clear.setdefault((wood, topcoat), []), _plotted(board, found, leaders))
    paths = []
    for (wood, stain, topcoat), stained in groups.items():
        steps = [*clear.get((wood, topcoat), ()), *stained]
        if len({step.coats for step in steps}) > 1:
            paths.append((not any(step.name in leaders for step in steps), wood, stain, topcoat, steps))
    paths.sort(key=lambda each: each[0])
    return [
        Chart(
            f"coats{i}",
            f"Coat by coat: {stain}",
            _path_note(wood, topcoat),
            coats_plot(stain, steps, floor),
        )
        for i, (_, wood, stain, topcoat, steps) in enumerate(paths[:_MOST_PATHS], start=1)
    ]


def _add(steps: list[PlottedBoard], step: PlottedBoard) -> None:
    """Add a board to a path unless nearer ones of the same number of coats fill its place."""
    if sum(other.coats == step.coats for other in steps) < _MOST_ALIKE:
        steps.append(step)


def _path_note(wood: str, topcoat: str) -> str:
    under = f"under {topcoat}" if topcoat else "without topcoat"
    return f"On {wood}, {under}. What each further coat does to lightness (L*), red (a*) and yellow (b*)."


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
    options = MeasureOptions().with_calibration(log, light)
    cut = cache(partial(_cut, log, options))  # many boards may stand beside one floor
    usual = _usual_floor(log.floor_spots(light), light, floor_lab)
    out: dict[str, Picture] = {}
    for board in boards:
        photo, pair = _photo_of(board, light)
        upper = None if photo is None else cut(_Source(photo, "board", board.number))
        source = _Source(photo, "floor", "the floor in the same photo") if pair and photo is not None else usual
        lower = None if source is None else cut(source)
        if upper is not None:
            beside = None if lower is None or source is None else source.name
            out[board.number] = _crop(upper, lower, board.number, beside)
    return out


def _cut(log: Logbook, options: MeasureOptions, source: _Source) -> np.ndarray | None:
    """Return a crop, None where the photo gives none: it was measured by hand, or its file is gone."""
    from finishlab.measure.by_hand import HandInspection
    from finishlab.measuring import inspect_photo

    try:
        path = log.photo_path(source.photo)
        inspection, image = inspect_photo(path, replace(options, fields=(source.field,)))
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
    rows, columns = _crop_window(view.surface.mask, view.image.px_per_mm)
    boost = (RAW_SATURATION if linear else SATURATION_BOOST)[0]
    # The measured colour is that of the mean; the same small step is taken with every pixel.
    mean = lab_to_rgb(np.asarray(inspection.measurement.fields[field].estimate.lab))
    gain = mean / unboosted(np.maximum(view.sample.rgb, 0.0), boost)
    rgb = unboosted(np.maximum(view.image.rgb[rows, columns], 0.0), boost) * gain
    return np.asarray(np.rint(linear_to_srgb(np.clip(rgb, 0.0, 1.0)) * 255.0), dtype=np.uint8)


def _crop_window(mask: np.ndarray, px_per_mm: float) -> tuple[slice, slice]:
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
