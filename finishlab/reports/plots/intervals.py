"""How far each board is from the floor, with its interval and the floor's own spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.spaces import hex_colour
from finishlab.reports.plots.colours import PlottedBoard
from finishlab.show.drawing import (
    BAND,
    FONT_SIZE,
    INK,
    SOFT,
    WIDTH,
    Drawing,
    drawing_rules,
    figure_of,
    plain_axes,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["interval_plot"]

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

    Raises
    ------
    ValueError
        If there is no row.
    """
    bars = [(board, board.score) for board in boards if board.score is not None]
    if not bars:
        raise ValueError("no chart without a row")
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
            _row(axes, board, score, row)
    told = "; ".join(_told(board, score) for board, score in bars)
    spread = "" if floor_spread is None else f" The floor's own spread: {floor_spread:.1f}."
    return Drawing(figure, f"Of each board the {what}, with its 95 % interval", f"{told}.{spread}")


def _told(board: PlottedBoard, score: DeltaE) -> str:
    own = "" if board.own is None else ", its own part {:.1f} to {:.1f}".format(*board.own)
    return f"{board.name} {score.value:.1f}, interval {score.low:.1f} to {score.high:.1f}{own}"


def _row(axes: Axes, board: PlottedBoard, score: DeltaE, row: int) -> None:
    leading = board.kind == "leading"
    if board.own is not None:
        axes.plot(board.own, (row, row), color=INK, linewidth=5.0, solid_capstyle="butt", zorder=2)
    axes.errorbar(
        score.value,
        row,
        xerr=[[max(0.0, score.value - score.low)], [max(0.0, score.high - score.value)]],
        fmt="D" if leading else "o",
        markersize=9 if leading else 7.5,
        markerfacecolor=hex_colour(board.lab),
        markeredgecolor=INK,
        markeredgewidth=1.4,
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
