"""How far each board is from the floor, with its interval and the floor's own spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from finishlab.reports.plots.drawing import FONT_SIZE, INK, SOFT, WIDTH, Drawing, drawing_rules, figure_of, plain_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["IntervalBar", "interval_plot"]

_ROW: Final = 24.0
_LEFT, _RIGHT, _TOP, _BASE = 72.0, 14.0, 26.0, 44.0
_LINE: Final = 16.0
_TICKS: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
_MOST_TICKS: Final = 7
_HATCHED: Final = "hatched: the floor\N{RIGHT SINGLE QUOTATION MARK}s own spread"
_THICK: Final = "thick: the board\N{RIGHT SINGLE QUOTATION MARK}s own; thin: common to all"


@dataclass(frozen=True, slots=True)
class IntervalBar:
    """One row of the chart.

    Raises
    ------
    ValueError
        If the interval does not hold finite figures in order.
    """

    label: str
    value: float
    low: float
    high: float
    colour: str
    """Fill of the point, ``"#rrggbb"``."""
    leading: bool = False
    """It is among the boards that may be the nearest."""
    mark: str = ""
    """Letters of its ties, set beside its label."""
    own: tuple[float, float] | None = None
    """The part of the interval that is the board's own, drawn thick; the rest is common to all boards."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.high) and self.low <= self.high and math.isfinite(self.value)):
            raise ValueError("an interval needs finite ends in order")


def interval_plot(
    bars: Sequence[IntervalBar], *, floor_spread: float | None, what: str = "difference to the floor (CIEDE2000)"
) -> Drawing:
    """Draw the intervals.

    Parameters
    ----------
    bars
        Rows from the top down.
    floor_spread
        How far the floor's own places lie from their middle, CIEDE2000; a hatched band from 0. None draws none.
    what
        What the axis shows.

    Raises
    ------
    ValueError
        If there is no row.
    """
    if not bars:
        raise ValueError("no chart without a row")
    top = max([bar.high for bar in bars] + [floor_spread or 0.0, 1.0])
    step = next((step for step in _TICKS if top / step <= _MOST_TICKS), 50.0)
    end = math.ceil(top / step) * step
    inner = _ROW * len(bars)
    told_of = [_HATCHED] if floor_spread is not None else []
    told_of += [_THICK] if any(bar.own is not None for bar in bars) else []
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
            band: dict[str, Any] = {"facecolor": "#e4e4e4", "edgecolor": "#9a9a9a", "hatch": "////", "linewidth": 0.0}
            axes.axvspan(0.0, floor_spread, zorder=0, **band)
        axes.text(0.0, -0.56, "\n".join(told_of), color=INK, va="bottom", linespacing=1.1)
        for row, bar in enumerate(bars):
            _row(axes, bar, row)
    told = "; ".join(_told(bar) for bar in bars)
    spread = "" if floor_spread is None else f" The floor's own spread: {floor_spread:.1f}."
    return Drawing(figure, f"Of each board the {what}, with its 95 % interval", f"{told}.{spread}")


def _told(bar: IntervalBar) -> str:
    own = "" if bar.own is None else ", its own part {:.1f} to {:.1f}".format(*bar.own)
    return f"{bar.label} {bar.value:.1f}, interval {bar.low:.1f} to {bar.high:.1f}{own}"


def _row(axes: Axes, bar: IntervalBar, row: int) -> None:
    if bar.own is not None:
        axes.plot(bar.own, (row, row), color=INK, linewidth=5.0, solid_capstyle="butt", zorder=2)
    axes.errorbar(
        bar.value,
        row,
        xerr=[[max(0.0, bar.value - bar.low)], [max(0.0, bar.high - bar.value)]],
        fmt="D" if bar.leading else "o",
        markersize=9 if bar.leading else 7.5,
        markerfacecolor=bar.colour,
        markeredgecolor=INK,
        markeredgewidth=1.4,
        ecolor=INK,
        elinewidth=2.0 if bar.leading else 1.3,
        capsize=4,
        capthick=1.3,
    )
    beside: dict[str, Any] = {"va": "center", "clip_on": False}
    place = axes.get_yaxis_transform()
    gap = 1.0 / (WIDTH - _LEFT - _RIGHT)
    weight = "bold" if bar.leading else "normal"
    axes.text(-8 * gap, row, bar.label, ha="right", weight=weight, transform=place, **beside)
    if bar.mark:
        small = FONT_SIZE - 0.5
        axes.text(-(_LEFT - 6) * gap, row, bar.mark, color=SOFT, fontsize=small, transform=place, **beside)
