"""What each further coat of one stain does, beside the floor: whether it takes one coat or two."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from finishlab.colorimetry.spaces import hex_colour
from finishlab.reports.plots.colours import PlottedBoard, PlottedFloor
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
    from matplotlib.figure import Figure

__all__ = ["coats_plot"]

_LEFT, _RIGHT = 46.0, 12.0
_SWATCH_TOP, _SWATCH = 8.0, 62.0
_FLOOR_EDGE: Final = 14.0
_PANEL, _GAP, _BASE = 72.0, 12.0, 30.0
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

    Raises
    ------
    ValueError
        If the boards do not have at least two different numbers of coats.
    """
    steps = sorted(steps, key=lambda step: (step.coats, step.name))
    numbers = sorted({step.coats for step in steps})
    if len(numbers) < 2:
        raise ValueError("a path needs boards with two different numbers of coats")
    places = _places(steps)
    with drawing_rules():
        height = _SWATCH_TOP + _SWATCH + 22 + 3 * (_PANEL + _GAP) + _BASE
        figure = figure_of(height)
        ends = numbers[0] - 0.5, numbers[-1] + 0.5
        _swatches(figure, steps, floor, places, ends)
        for axis in range(3):
            top = _SWATCH_TOP + _SWATCH + 22 + axis * (_PANEL + _GAP)
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
    from matplotlib.patches import Rectangle

    axes = plain_axes(figure, (_LEFT, _SWATCH_TOP, WIDTH - _LEFT - _RIGHT, _SWATCH))
    axes.set_xlim(*ends)
    axes.set_ylim(_SWATCH, 0.0)
    axes.grid(visible=False)
    axes.set_xticks([])
    axes.set_yticks([])
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    plain: dict[str, Any] = {"linewidth": 0.0, "antialiased": False}
    axes.add_patch(Rectangle((ends[0], 0.0), ends[1] - ends[0], _SWATCH, facecolor=SURROUND, **plain))
    inner = 5.0
    unit = (ends[1] - ends[0]) / (WIDTH - _LEFT - _RIGHT)
    axes.add_patch(
        Rectangle(
            (ends[0] + inner * unit, inner),
            ends[1] - ends[0] - 2 * inner * unit,
            _SWATCH - 2 * inner,
            facecolor=hex_colour(floor.lab),
            **plain,
        )
    )
    least = min((b - a for a, b in zip(sorted(places), sorted(places)[1:], strict=False)), default=1.0)
    width = 0.78 * min(least, 1.0)
    for step, x in zip(steps, places, strict=True):
        axes.add_patch(
            Rectangle(
                (x - width / 2, _FLOOR_EDGE), width, _SWATCH - 2 * _FLOOR_EDGE, facecolor=hex_colour(step.lab), **plain
            )
        )
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
    axes = plain_axes(figure, (_LEFT, top, WIDTH - _LEFT - _RIGHT, _PANEL))
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
            markerfacecolor=hex_colour(step.lab),
            markeredgecolor=INK,
            markeredgewidth=1.2,
            ecolor=INK,
            capsize=3,
        )
    axes.set_ylabel(_AXES[axis], rotation=0)
    axes.yaxis.set_label_coords(-34.0 / (WIDTH - _LEFT - _RIGHT), 0.4)
    axes.yaxis.get_major_locator().set_params(nbins=4, integer=True)  # type: ignore[call-arg]
    last = axis == len(_AXES) - 1
    axes.set_xticks(numbers, [_coats(number) for number in numbers] if last else [""] * len(numbers))
    if last:
        axes.set_xlabel("dashed: the floor" + ("; hatched: 95 % of its planks" if half else ""))
