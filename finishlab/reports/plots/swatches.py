"""Each board's mean colour set into the floor's, edge to edge, on neutral grey."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from finishlab.colorimetry.spaces import hex_colour
from finishlab.reports.plots.colours import PlottedBoard, PlottedFloor, clipping
from finishlab.show.drawing import FONT_SIZE, SURROUND, WIDTH, Drawing, drawing_rules, figure_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["CLIPPED", "swatch_plot"]

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

    Raises
    ------
    ValueError
        If there is no board, or no column.
    """
    if not boards or columns < 1:
        raise ValueError("no swatches without a board and a column")
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


def _tile(axes: Axes, board: PlottedBoard, floor: PlottedFloor, place: tuple[float, float, float]) -> None:
    from matplotlib.patches import Rectangle

    left, top, width = place
    inner_left, inner_width = left + 0.22 * width, 0.56 * width
    inner_top, inner_height = top + 0.2 * _TILE_HEIGHT, 0.6 * _TILE_HEIGHT
    plain: dict[str, Any] = {"linewidth": 0.0, "antialiased": False}
    axes.add_patch(Rectangle((left, top), width, _TILE_HEIGHT, facecolor=hex_colour(floor.lab), **plain))
    axes.add_patch(
        Rectangle((inner_left, inner_top), inner_width, inner_height, facecolor=hex_colour(board.lab), **plain)
    )
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
