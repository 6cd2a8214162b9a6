"""What each interval is made of: a bar a board, a pattern a source."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from finishlab.colorimetry.table import SOURCES, Source
from finishlab.show.drawing import INK, SOFT, WIDTH, Drawing, drawing_rules, figure_of, plain_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["costs_plot"]

_ROW: Final = 24.0
_KEY_ROW: Final = 16.0
_LEFT, _RIGHT, _TOP, _BASE = 72.0, 14.0, 8.0, 40.0
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

    Raises
    ------
    ValueError
        If there is no row.
    """
    if not bars:
        raise ValueError("no chart without a row")
    inner, key = _ROW * len(bars), _KEY_ROW * len(SOURCES)
    with drawing_rules():
        figure = figure_of(_TOP + inner + _BASE + key)
        axes = plain_axes(figure, (_LEFT, _TOP, WIDTH - _LEFT - _RIGHT, inner))
        axes.grid(visible=False)
        axes.set_xlim(0.0, 100.0)
        axes.set_ylim(len(bars) - 0.5, -0.5)
        axes.set_yticks(range(len(bars)), [name for name, _ in bars])
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("part of the interval (% of its variance)")
        for row, (_, shares) in enumerate(bars):
            _row(axes, row, shares)
        keys = plain_axes(figure, (_LEFT, _TOP + inner + _BASE, WIDTH - _LEFT - _RIGHT, key))
        _key(keys)
    told = "; ".join(
        f"{name}: " + ", ".join(f"{SOURCES[source]} {100 * share:.0f} %" for source, share in shares.items())
        for name, shares in bars
    )
    return Drawing(figure, "Of each interval the part that each source of error causes", f"{told}.")


def _row(axes: Axes, row: int, shares: Mapping[Source, float]) -> None:
    start = 0.0
    for source in SOURCES:
        wide = 100.0 * shares[source]
        axes.barh(row, wide, left=start, height=0.6, edgecolor=INK, linewidth=0.8, **_FILLS[source])
        start += wide


def _key(axes: Axes) -> None:
    axes.set_axis_off()
    axes.set_xlim(0.0, WIDTH - _LEFT - _RIGHT)
    axes.set_ylim(len(SOURCES) - 0.5, -0.5)
    for row, (source, words) in enumerate(SOURCES.items()):
        axes.barh(row, 18.0, left=0.0, height=0.6, edgecolor=SOFT, linewidth=0.8, **_FILLS[source])
        axes.text(26.0, row, words, va="center")
