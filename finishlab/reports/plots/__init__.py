"""Pictures a person can judge: swatches, planes of colour, intervals, coats. The doorway to Matplotlib.

Each function takes names and figures, no logbook, and gives a `Drawing`, which becomes SVG text for a page or a PNG.
Colours are sRGB, true as far as a screen goes; whatever a colour says is also said by a mark, a pattern or a word.
"""

from __future__ import annotations

from finishlab.reports.plots.coats import coats_plot
from finishlab.reports.plots.colours import PlottedBoard, PlottedFloor, clipping
from finishlab.reports.plots.costs import costs_plot
from finishlab.reports.plots.intervals import interval_plot
from finishlab.reports.plots.planes import plane_plot
from finishlab.reports.plots.swatches import swatch_plot
from finishlab.show.drawing import Drawing

__all__ = [
    "Drawing",
    "PlottedBoard",
    "PlottedFloor",
    "clipping",
    "coats_plot",
    "costs_plot",
    "interval_plot",
    "plane_plot",
    "swatch_plot",
]
