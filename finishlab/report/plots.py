"""Pictures of boards and floor: swatches, differences with their intervals, what they are made of, coat by coat.

Each function takes names and figures, no logbook, and gives a `Drawing`, which becomes SVG text for a page or a PNG.
Colours are sRGB, true as far as a screen goes; whatever a colour says is also said by a mark, a pattern or a word.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import SOURCES, Source
from finishlab.colorimetry.spaces import hex_colour, lab_to_rgb, rgb_to_lab
from finishlab.show.drawing import (
    BAND,
    FONT_SIZE,
    INK,
    SOFT,
    SURROUND,
    WIDTH,
    Drawing,
    drawing_rules,
    figure_of,
    plain_axes,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Lab = tuple[float, float, float]
"""CIELAB D65 2 degrees."""
Covariance = tuple[tuple[float, ...], ...]
"""Of (L*, a*, b*), shape (3, 3), CIELAB units squared."""
Kind = Literal["leading", "candidate", "other"]
"""What a board is to the reader: among the nearest, another candidate, or one made for comparison (raw, clear only)."""

_SMALL: Final = 1e-6


@dataclass(frozen=True, slots=True)
class PlottedBoard:
    """A board to be drawn."""

    name: str
    lab: Lab
    covariance: Covariance | None = None
    """What is unsure of board against floor; None draws no interval."""
    kind: Kind = "candidate"
    note: str = ""
    """A few words beneath its name, such as its difference."""
    score: DeltaE | None = None
    """What it is ranked by, with its interval."""
    own: tuple[float, float] | None = None
    """The part of the interval that is the board's own, drawn thick; the rest is common to all boards."""
    mark: str = ""
    """Letters of its ties."""
    coats: int = 0
    """Stain coats; 0 is the topcoat alone."""


@dataclass(frozen=True, slots=True)
class PlottedFloor:
    """The floor to draw boards against."""

    lab: Lab
    spread: Covariance | None = None
    """How its planks scatter; None draws no ellipse."""
    planks: tuple[tuple[str, Lab], ...] = ()
    """Name and colour of each place that was measured."""


def clipping(lab: Sequence[float]) -> float:
    """Return how far the colour a screen shows is from the one measured, CIEDE2000; 0 inside sRGB."""
    shown = rgb_to_lab(np.clip(lab_to_rgb(lab), 0.0, 1.0))
    return float(delta_e_00(lab, shown))


def chroma_covariance(lab: Lab, covariance: Covariance) -> NDArray[np.float64]:
    """Carry a covariance of (L*, a*, b*) to (C*, L*), shape (2, 2), to first order (JCGM 100:2008, 5.2)."""
    chroma = max(float(np.hypot(lab[1], lab[2])), _SMALL)
    jacobian = np.array([[0.0, lab[1] / chroma, lab[2] / chroma], [1.0, 0.0, 0.0]])
    return np.asarray(jacobian @ np.asarray(covariance) @ jacobian.T)


CLIPPED: Final = 0.5
"""CIEDE2000 from which what a screen cannot show is told; this tool's own."""

_MARGIN, _GAP = 14.0, 16.0
_TILE_HEIGHT: Final = 84.0
_WORDS: Final = 30.0
_TICK: Final = 4.0


def swatch_plot(boards: Sequence[PlottedBoard], floor: PlottedFloor, *, columns: int = 2) -> Drawing:
    """Draw the swatches.

    Parameters
    ----------
    boards
        From the nearest on; `note` is set beneath the name.
    floor
        The floor.
    columns
        Swatches side by side; two are as wide as any other drawing.
    """
    rows = math.ceil(len(boards) / columns)
    across = WIDTH * columns / 2
    height = 2 * _MARGIN + rows * (_TILE_HEIGHT + _WORDS) + (rows - 1) * _GAP / 2 - 10.0
    with drawing_rules():
        figure = figure_of(height, across)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(0.0, across)
        axes.set_ylim(height, 0.0)
        axes.set_axis_off()
        figure.set_facecolor(SURROUND)
        width = (across - 2 * _MARGIN - (columns - 1) * _GAP) / columns
        for i, board in enumerate(boards):
            left = _MARGIN + (i % columns) * (width + _GAP)
            top = _MARGIN + (i // columns) * (_TILE_HEIGHT + _WORDS + _GAP / 2)
            _tile(axes, board, floor, (left, top, width))
    told = [f"{board.name}{f' ({board.note})' if board.note else ''}{_clipped(board)}" for board in boards]
    words = f"Swatches of the boards, each set into the floor's colour: {'; '.join(told)}."
    return Drawing(figure, "Each board's colour set into the floor's", words)


def marked(lab: Lab, edge: float = 1.2) -> dict[str, Any]:
    """Return how a mark of a measured colour is drawn: filled with it, with a dark edge."""
    return {"markerfacecolor": hex_colour(lab), "markeredgecolor": INK, "markeredgewidth": edge}


def _area(axes: Axes, place: tuple[float, float, float, float], colour: str) -> None:
    """Fill a rectangle: left, top, width and height."""
    from matplotlib.patches import Rectangle

    left, top, width, height = place
    axes.add_patch(Rectangle((left, top), width, height, facecolor=colour, linewidth=0.0, antialiased=False))


def _tile(axes: Axes, board: PlottedBoard, floor: PlottedFloor, place: tuple[float, float, float]) -> None:
    left, top, width = place
    inner_left, inner_width = left + 0.22 * width, 0.56 * width
    inner_top, inner_height = top + 0.2 * _TILE_HEIGHT, 0.6 * _TILE_HEIGHT
    _area(axes, (left, top, width, _TILE_HEIGHT), hex_colour(floor.lab))
    _area(axes, (inner_left, inner_top, inner_width, inner_height), hex_colour(board.lab))
    # Ticks in the surround say where the board lies, even where it cannot be told from the floor.
    for x in (inner_left, inner_left + inner_width):
        axes.plot([x, x], [top - _TICK - 1, top - 1], color="black", linewidth=0.9)
    for y in (inner_top, inner_top + inner_height):
        axes.plot([left - _TICK - 1, left - 1], [y, y], color="black", linewidth=0.9)
    base = top + _TILE_HEIGHT + 13.0
    axes.text(left, base, board.name, weight="bold", color="black", fontsize=FONT_SIZE + 1)
    note = f"{board.note}{' *' if clipping(board.lab) >= CLIPPED else ''}"
    axes.text(left + width, base, note, color="black", ha="right", fontsize=FONT_SIZE)


def _clipped(board: PlottedBoard) -> str:
    return ", shown as near as a screen can" if clipping(board.lab) >= CLIPPED else ""


_ROW: Final = 24.0
_LEFT, _RIGHT, _TOP, _BASE = 72.0, 14.0, 26.0, 44.0
_LINE: Final = 16.0
_TICKS: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
_MOST_TICKS: Final = 7
_HATCHED: Final = "hatched: the floor\N{RIGHT SINGLE QUOTATION MARK}s own spread"
_THICK: Final = "thick: the board\N{RIGHT SINGLE QUOTATION MARK}s own; thin: common to all"


def interval_plot(
    boards: Sequence[PlottedBoard], *, floor_spread: float | None, what: str = "difference to the floor (CIEDE2000)"
) -> Drawing:
    """Draw the intervals.

    Parameters
    ----------
    boards
        Rows from the top down; one without a score has none.
    floor_spread
        How far the floor's own places lie from their middle, CIEDE2000; a hatched band from 0. None draws none.
    what
        What the axis shows.
    """
    bars = [(board, board.score) for board in boards if board.score is not None]
    top = max([score.high for _, score in bars] + [floor_spread or 0.0, 1.0])
    step = next((step for step in _TICKS if top / step <= _MOST_TICKS), 50.0)
    end = math.ceil(top / step) * step
    inner = _ROW * len(bars)
    told_of = [_HATCHED] if floor_spread is not None else []
    told_of += [_THICK] if any(board.own is not None for board, _ in bars) else []
    above = _TOP + _LINE * max(0, len(told_of) - 1)
    with drawing_rules():
        figure = figure_of(above + inner + _BASE)
        axes = plain_axes(figure, (_LEFT, above, WIDTH - _LEFT - _RIGHT, inner))
        axes.grid(visible=False, axis="y")
        axes.set_xlim(0.0, end)
        axes.set_ylim(len(bars) - 0.5, -0.5)
        axes.set_xticks([i * step for i in range(round(end / step) + 1)])
        axes.set_yticks([])
        axes.spines["left"].set_color(SOFT)
        axes.set_xlabel(what)
        if floor_spread is not None:
            axes.axvspan(0.0, floor_spread, zorder=0, **BAND)
        axes.text(0.0, -0.56, "\n".join(told_of), color=INK, va="bottom", linespacing=1.1)
        for row, (board, score) in enumerate(bars):
            _interval_row(axes, board, score, row)
    told = "; ".join(_told(board, score) for board, score in bars)
    spread = "" if floor_spread is None else f" The floor's own spread: {floor_spread:.1f}."
    return Drawing(figure, f"Of each board the {what}, with its 95 % interval", f"{told}.{spread}")


def _told(board: PlottedBoard, score: DeltaE) -> str:
    own = "" if board.own is None else ", its own part {:.1f} to {:.1f}".format(*board.own)
    return f"{board.name} {score.value:.1f}, interval {score.low:.1f} to {score.high:.1f}{own}"


def _interval_row(axes: Axes, board: PlottedBoard, score: DeltaE, row: int) -> None:
    leading = board.kind == "leading"
    if board.own is not None:
        axes.plot(board.own, (row, row), color=INK, linewidth=5.0, solid_capstyle="butt", zorder=2)
    axes.errorbar(
        score.value,
        row,
        xerr=[[max(0.0, score.value - score.low)], [max(0.0, score.high - score.value)]],
        fmt="D" if leading else "o",
        markersize=9 if leading else 7.5,
        **marked(board.lab, 1.4),
        ecolor=INK,
        elinewidth=2.0 if leading else 1.3,
        capsize=4,
        capthick=1.3,
    )
    beside: dict[str, Any] = {"va": "center", "clip_on": False}
    place = axes.get_yaxis_transform()
    gap = 1.0 / (WIDTH - _LEFT - _RIGHT)
    weight = "bold" if leading else "normal"
    axes.text(-8 * gap, row, board.name, ha="right", weight=weight, transform=place, **beside)
    if board.mark:
        small = FONT_SIZE - 0.5
        axes.text(-(_LEFT - 6) * gap, row, board.mark, color=SOFT, fontsize=small, transform=place, **beside)


_COST_ROW: Final = 24.0
_KEY_ROW: Final = 16.0
_COST_LEFT, _COST_RIGHT, _COST_TOP, _COST_BASE = 72.0, 14.0, 8.0, 40.0
_FILLS: Final[Mapping[Source, dict[str, Any]]] = {
    "print": {"facecolor": "#1a1a1a"},
    "camera": {"facecolor": "#ffffff", "hatch": "////"},
    "light": {"facecolor": "#9a9a9a"},
    "grain": {"facecolor": "#ffffff", "hatch": "...."},
    "planks": {"facecolor": "#e4e4e4"},
}
"""Greys and patterns, so that no colour has to be told from another."""


def costs_plot(bars: Sequence[tuple[str, Mapping[Source, float]]]) -> Drawing:
    """Draw what intervals are made of.

    Parameters
    ----------
    bars
        From the top down: the row's name, and each source's share of the variance.
    """
    inner, key = _COST_ROW * len(bars), _KEY_ROW * len(SOURCES)
    with drawing_rules():
        figure = figure_of(_COST_TOP + inner + _COST_BASE + key)
        axes = plain_axes(figure, (_COST_LEFT, _COST_TOP, WIDTH - _COST_LEFT - _COST_RIGHT, inner))
        axes.grid(visible=False)
        axes.set_xlim(0.0, 100.0)
        axes.set_ylim(len(bars) - 0.5, -0.5)
        axes.set_yticks(range(len(bars)), [name for name, _ in bars])
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("part of the interval (% of its variance)")
        for row, (_, shares) in enumerate(bars):
            _cost_row(axes, row, shares)
        keys = plain_axes(figure, (_COST_LEFT, _COST_TOP + inner + _COST_BASE, WIDTH - _COST_LEFT - _COST_RIGHT, key))
        _key(keys)
    told = "; ".join(
        f"{name}: " + ", ".join(f"{SOURCES[source]} {100 * share:.0f} %" for source, share in shares.items())
        for name, shares in bars
    )
    return Drawing(figure, "Of each interval the part that each source of error causes", f"{told}.")


def _cost_row(axes: Axes, row: int, shares: Mapping[Source, float]) -> None:
    start = 0.0
    for source in SOURCES:
        wide = 100.0 * shares[source]
        axes.barh(row, wide, left=start, height=0.6, edgecolor=INK, linewidth=0.8, **_FILLS[source])
        start += wide


def _key(axes: Axes) -> None:
    axes.set_axis_off()
    axes.set_xlim(0.0, WIDTH - _COST_LEFT - _COST_RIGHT)
    axes.set_ylim(len(SOURCES) - 0.5, -0.5)
    for row, (source, words) in enumerate(SOURCES.items()):
        axes.barh(row, 18.0, left=0.0, height=0.6, edgecolor=SOFT, linewidth=0.8, **_FILLS[source])
        axes.text(26.0, row, words, va="center")


_COAT_LEFT, _COAT_RIGHT = 46.0, 12.0
_SWATCH_TOP, _SWATCH = 8.0, 62.0
_FLOOR_EDGE: Final = 14.0
_PANEL, _COAT_GAP, _COAT_BASE = 72.0, 12.0, 30.0
_SURE: Final = 1.96
_AXES: Final = ("L*", "a*", "b*")
_LEAST: Final = 4.0
"""Least height of a panel, CIELAB units, so that noise does not look like a change."""


def coats_plot(stain: str, steps: Sequence[PlottedBoard], floor: PlottedFloor) -> Drawing:
    """Draw the path of one stain's coats: swatches set into the floor, and L*, a*, b* beside the floor's.

    Parameters
    ----------
    stain
        What is put on, in the user's words: the title.
    steps
        Boards of one wood, stain and topcoat.
    floor
        The floor; a hatched band holds 95 % of its planks.
    """
    steps = sorted(steps, key=lambda step: (step.coats, step.name))
    numbers = sorted({step.coats for step in steps})
    places = _places(steps)
    with drawing_rules():
        height = _SWATCH_TOP + _SWATCH + 22 + 3 * (_PANEL + _COAT_GAP) + _COAT_BASE
        figure = figure_of(height)
        ends = numbers[0] - 0.5, numbers[-1] + 0.5
        _swatches(figure, steps, floor, places, ends)
        for axis in range(3):
            top = _SWATCH_TOP + _SWATCH + 22 + axis * (_PANEL + _COAT_GAP)
            _panel(figure, axis, steps, floor, places, (top, ends))
    told = "; ".join(
        f"{s.name}, {_coats(s.coats)}: L* {s.lab[0]:.1f}, a* {s.lab[1]:.1f}, b* {s.lab[2]:.1f}" for s in steps
    )
    at = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*floor.lab)
    return Drawing(figure, f"Coat by coat: {stain}", f"{told}. The floor: {at}.")


def _coats(number: int) -> str:
    return "clear only" if number == 0 else f"{number} coat{'' if number == 1 else 's'}"


def _places(steps: Sequence[PlottedBoard]) -> list[float]:
    """Return where each board stands on the axis of coats: several of one number side by side."""
    out = []
    for step in steps:
        same = [other for other in steps if other.coats == step.coats]
        share = 0.0 if len(same) == 1 else same.index(step) / (len(same) - 1) - 0.5
        out.append(step.coats + 0.44 * share)
    return out


def _swatches(
    figure: Figure,
    steps: Sequence[PlottedBoard],
    floor: PlottedFloor,
    places: Sequence[float],
    ends: tuple[float, float],
) -> None:
    axes = plain_axes(figure, (_COAT_LEFT, _SWATCH_TOP, WIDTH - _COAT_LEFT - _COAT_RIGHT, _SWATCH))
    axes.set_xlim(*ends)
    axes.set_ylim(_SWATCH, 0.0)
    axes.grid(visible=False)
    axes.set_xticks([])
    axes.set_yticks([])
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    wide, inner = ends[1] - ends[0], 5.0
    unit = wide / (WIDTH - _COAT_LEFT - _COAT_RIGHT)
    _area(axes, (ends[0], 0.0, wide, _SWATCH), SURROUND)
    within = (ends[0] + inner * unit, inner, wide - 2 * inner * unit, _SWATCH - 2 * inner)
    _area(axes, within, hex_colour(floor.lab))
    least = min((b - a for a, b in zip(sorted(places), sorted(places)[1:], strict=False)), default=1.0)
    width = 0.78 * min(least, 1.0)
    for step, x in zip(steps, places, strict=True):
        _area(axes, (x - width / 2, _FLOOR_EDGE, width, _SWATCH - 2 * _FLOOR_EDGE), hex_colour(step.lab))
        axes.text(x, _SWATCH + 14.0, step.name, ha="center", weight="bold", clip_on=False)
    axes.text(ends[0] - 6 * unit, _SWATCH / 2, "in the\nfloor", ha="right", va="center", fontsize=FONT_SIZE - 0.5)


def _panel(
    figure: Figure,
    axis: int,
    steps: Sequence[PlottedBoard],
    floor: PlottedFloor,
    places: Sequence[float],
    where: tuple[float, tuple[float, float]],
) -> None:
    top, ends = where
    axes = plain_axes(figure, (_COAT_LEFT, top, WIDTH - _COAT_LEFT - _COAT_RIGHT, _PANEL))
    values = np.array([step.lab[axis] for step in steps])
    errors = np.array([0.0 if s.covariance is None else _SURE * s.covariance[axis][axis] ** 0.5 for s in steps])
    level = floor.lab[axis]
    half = 0.0 if floor.spread is None else _SURE * float(floor.spread[axis][axis]) ** 0.5
    low = min(float((values - errors).min()), level - half)
    high = max(float((values + errors).max()), level + half)
    pad = max(0.08 * (high - low), (_LEAST - (high - low)) / 2)
    axes.set_xlim(*ends)
    axes.set_ylim(low - pad, high + pad)
    if half:
        axes.axhspan(level - half, level + half, **BAND)
    axes.axhline(level, color=INK, linewidth=1.2, linestyle=(0, (5, 2)))
    numbers = sorted({step.coats for step in steps})
    means = [float(values[[s.coats == number for s in steps]].mean()) for number in numbers]
    axes.plot(numbers, means, color=SOFT, linewidth=1.0)
    for x, step, value, error in zip(places, steps, values, errors, strict=True):
        axes.errorbar(
            x,
            value,
            yerr=error,
            fmt="o",
            markersize=7,
            **marked(step.lab),
            ecolor=INK,
            capsize=3,
        )
    axes.set_ylabel(_AXES[axis], rotation=0)
    axes.yaxis.set_label_coords(-34.0 / (WIDTH - _COAT_LEFT - _COAT_RIGHT), 0.4)
    axes.yaxis.get_major_locator().set_params(nbins=4, integer=True)  # type: ignore[call-arg]
    last = axis == len(_AXES) - 1
    axes.set_xticks(numbers, [_coats(number) for number in numbers] if last else [""] * len(numbers))
    if last:
        axes.set_xlabel("dashed: the floor" + ("; hatched: 95 % of its planks" if half else ""))


_WAYS: Final = 16
_REACHES: Final = (13.0, 21.0, 31.0, 43.0)
"""Points from the mark to the middle of the name's near side, nearest first."""
_LETTER, _HEIGHT = 0.66, 12.0
_LINE_FROM: Final = 20.0
"""From this far on a line leads from the mark to its name."""
_MARK: Final = 6.0


def place_labels(axes: Axes, named: Sequence[tuple[str, NDArray[np.float64], bool]], *, unit: float) -> None:
    """Write names into axes of one scale.

    Parameters
    ----------
    axes
        Where to; its limits are set already.
    named
        Name, place (x, y) and whether it is set bold.
    unit
        Axis units a point of the drawing stands for.
    """
    left, right = axes.get_xlim()
    low, high = axes.get_ylim()
    marks = [_box(at, np.array([_MARK, _MARK]) * unit) for _, at, _ in named]
    taken: list[tuple[float, float, float, float]] = []
    for i, (name, at, bold) in enumerate(named):
        size = np.array([_LETTER * FONT_SIZE * len(name) * (1.08 if bold else 1.0), _HEIGHT]) * unit / 2
        best, where, reach = math.inf, at, 0.0
        for step, turn, middle in _candidates(at, size, unit):
            box = _box(middle, size)
            outside = max(0.0, left - box[0], box[2] - right, low - box[1], box[3] - high)
            hidden = sum(_overlap(box, other) for k, other in enumerate(marks) if k != i)
            hidden += 1.6 * sum(_overlap(box, other) for other in taken)
            cost = hidden / float(4 * size[0] * size[1]) + 10 * outside / unit + 0.012 * step + 0.002 * turn
            if cost < best:
                best, where, reach = cost, middle, step
        if reach >= _LINE_FROM:
            axes.plot([at[0], where[0]], [at[1], where[1]], color=SOFT, linewidth=0.6, zorder=5.5)
        axes.text(
            float(where[0]),
            float(where[1]),
            name,
            ha="center",
            va="center",
            weight="bold" if bold else "normal",
            color=INK,
            zorder=7,
            bbox={"boxstyle": "square,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.72},
        )
        taken.append(_box(where, size))


def _candidates(
    at: NDArray[np.float64], size: NDArray[np.float64], unit: float
) -> list[tuple[float, int, NDArray[np.float64]]]:
    """Return reach, how far turned from the right, and the middle of each place a name may take."""
    found = []
    for reach in _REACHES:
        for i in range(_WAYS):
            angle = 2 * math.pi * i / _WAYS
            way = np.array([math.cos(angle), math.sin(angle)])
            middle = at + way * (reach * unit - _MARK * unit / 2) + way * size * 0.9
            found.append((reach, min(i, _WAYS - i), middle))
    return found


def _box(middle: NDArray[np.float64], half: NDArray[np.float64]) -> tuple[float, float, float, float]:
    low, high = middle - half, middle + half
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _overlap(one: tuple[float, float, float, float], two: tuple[float, float, float, float]) -> float:
    wide = min(one[2], two[2]) - max(one[0], two[0])
    high = min(one[3], two[3]) - max(one[1], two[1])
    return wide * high if wide > 0 and high > 0 else 0.0
