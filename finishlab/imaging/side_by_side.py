"""Two very different surfaces side by side at the strip: nothing says which of them is meant, so none is measured.

The surface is the one at the middle of the strip's edge. A border there that runs straight away from the strip, with
an even colour on either side, means two boards (or a board and a bench) share that middle.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from finishlab.colorimetry.ciede2000 import delta_e_00
from finishlab.errors import QualityError
from finishlab.imaging.strip import FieldName

__all__ = ["refuse_two_surfaces"]

_MIDDLE: Final = (0.35, 0.65)
"""Part of the strip's edge that decides the surface."""
_BANDS: Final = 6
_APART: Final = 8.0
"""CIEDE2000 between the sides: more than the planks of one floor or the figure of one board differ."""
_EVEN: Final = 0.85
"""Share of a side's cells that must be nearer to its own side's colour than to the other's, by far."""
_LEAST_SHARE: Final = 0.25
_STRAIGHT: Final = 1.5
"""Cells by which a border may stray from a straight line."""
_STEEPEST: Final = 0.6
"""Cells the border may move along the strip for each cell away from it: about 30 degrees off upright."""


def refuse_two_surfaces(lab: np.ndarray, valid: np.ndarray, field: FieldName, cell_mm: float) -> None:
    """Refuse a field whose middle holds the border between two surfaces.

    Parameters
    ----------
    lab
        Shape (rows, columns, 3): CIELAB of the field's cells; the last row lies at the strip.
    valid
        Shape (rows, columns), bool: the cell lies in the photo.
    field
        For the sentence.
    cell_mm
        Size of a cell.

    Raises
    ------
    QualityError
        ``two-surfaces``.
    """
    rows, columns = valid.shape
    if rows < _BANDS or columns < 20:
        return
    # Medians over bands along the strip: grain and pores go, an upright border stays.
    bands = np.array_split(np.arange(rows), _BANDS)
    profile = np.stack([np.median(lab[band], axis=0) for band in bands])
    splits = [_split(line) for line in profile]
    line = _straight_line(np.array(splits, dtype=float), _STEEPEST * rows / _BANDS)
    if line is None:
        return
    middle = np.array([band.mean() for band in bands])
    border = np.polyval(np.polyfit(middle, line, 1), np.arange(rows))
    at = np.arange(columns)[None, :]
    left, right = ((at < border[:, None] - 1.0) & valid, (at > border[:, None] + 1.0) & valid)
    place = float(np.median(line))
    if not (_MIDDLE[0] * columns < place < _MIDDLE[1] * columns) or min(left.mean(), right.mean()) < _LEAST_SHARE:
        return
    colours = np.median(lab[left], axis=0), np.median(lab[right], axis=0)
    apart = float(delta_e_00(*colours))
    if apart > _APART and _even(lab[left], *colours) and _even(lab[right], *colours[::-1]):
        raise QualityError(
            "two-surfaces",
            f"Two different surfaces lie side by side in the {field} field, dE00 {apart:.0f} apart, with their border "
            f"{place * cell_mm:.0f} mm from the field's left end.",
            f"Lay the strip so that one {field} alone fills the middle of its {field} edge, and photograph again.",
        )


def _split(profile: np.ndarray) -> int:
    """Return the column that splits a row of colours into two parts with the least scatter."""
    n = len(profile)
    at = np.arange(2, n - 2)
    total = np.cumsum(profile, axis=0)
    left = total[at - 1] / at[:, None]
    right = (total[-1] - total[at - 1]) / (n - at)[:, None]
    between = (at * (n - at))[:, None] * (left - right) ** 2
    return int(at[between.sum(axis=1).argmax()])


def _straight_line(places: np.ndarray, steepest: float) -> np.ndarray | None:
    """Return the places on a straight line if all but one of the bands agree on a steep one, else None."""
    index = np.arange(len(places), dtype=float)
    slopes = [(places[j] - places[i]) / (j - i) for i in range(len(places)) for j in range(i)]
    slope = float(np.median(slopes))
    offset = float(np.median(places - slope * index))
    off = np.abs(places - slope * index - offset)
    if np.sort(off)[-2] > _STRAIGHT or abs(slope) > steepest:
        return None
    return np.asarray(slope * index + offset)


def _even(cells: np.ndarray, own: np.ndarray, other: np.ndarray) -> bool:
    """Return whether nearly all cells are on their own side of the way from one colour to the other."""
    way = other - own
    along = (cells - own) @ way / float(way @ way)
    return bool((np.abs(along) < 0.4).mean() > _EVEN)
