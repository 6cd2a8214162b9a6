"""How light a print's greys came out, with their doubt, beside those of usual prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

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

__all__ = ["GreyCurve", "print_curve"]

_LEFT, _RIGHT, _TOP, _BASE = 44.0, 12.0, 12.0, 40.0
_HEIGHT: Final = 260.0
_LEGEND: Final = 34.0
_SURE: Final = 1.96


@dataclass(frozen=True, slots=True)
class GreyCurve:
    """L* of the greys of a strip, black to paper, with one standard deviation of each.

    Raises
    ------
    ValueError
        If the two are not as many.
    """

    lightness: tuple[float, ...]
    doubt: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.lightness) != len(self.doubt):
            raise ValueError("each grey has its doubt")

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the lower and upper ends of what holds 95 %."""
        middle, half = np.array(self.lightness), _SURE * np.array(self.doubt)
        return middle - half, middle + half


def print_curve(name: str, greys: Sequence[float], found: GreyCurve, usual: GreyCurve) -> Drawing:
    """Draw what a printer made of the strip's greys.

    Parameters
    ----------
    name
        Which strip: the title.
    greys
        DeviceGray value of each level, 0 black to 1 paper.
    found, usual
        This print's greys, and those of prints at large.
    """
    with drawing_rules():
        figure = figure_of(_HEIGHT)
        high = _HEIGHT - _TOP - _BASE - _LEGEND
        axes = plain_axes(figure, (_LEFT, _TOP + _LEGEND, WIDTH - _LEFT - _RIGHT, high))
        low, top = usual.ends()
        axes.fill_between(greys, low, top, **BAND)
        axes.plot(greys, usual.lightness, color=SOFT, linewidth=1.2, linestyle=(0, (5, 2)))
        reach = _SURE * np.array(found.doubt)
        axes.errorbar(greys, found.lightness, yerr=reach, color=INK, fmt="o-", markersize=5, linewidth=1.2, capsize=3)
        axes.set_xlim(-0.03, 1.03)
        axes.set_ylim(max(0.0, min(low.min(), (np.array(found.lightness) - reach).min()) - 3), 100.0)
        axes.set_xlabel("grey in the file: 0 black, 1 bare paper")
        axes.set_ylabel("L*", rotation=0)
        axes.yaxis.set_label_coords(-34.0 / (WIDTH - _LEFT - _RIGHT), 0.5)
        for line, words in enumerate(
            ("dots: this print, bars hold 95 %", "hatched: 95 % of prints; dashed: their middle")
        ):
            y = 1.0 - (_TOP + FONT_SIZE + line * 1.4 * FONT_SIZE) / _HEIGHT
            figure.text(_LEFT / WIDTH, y, words, va="bottom")
    told = ", ".join(f"{value:.1f} +- {doubt:.1f}" for value, doubt in zip(found.lightness, found.doubt, strict=True))
    at = ", ".join(f"{value:.1f}" for value in usual.lightness)
    return Drawing(figure, name, f"L* from black to paper: {told}. In a usual print: {at}.")
