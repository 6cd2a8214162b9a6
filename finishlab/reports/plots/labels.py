"""Names beside points, where they hide as little as can be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from finishlab.reports.plots.drawing import FONT_SIZE, INK, SOFT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["place_labels"]

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
