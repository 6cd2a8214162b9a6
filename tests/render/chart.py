"""A 24-patch chart as a rendered object: measured patch spectra on a dark card, in the strip's frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishlab.colorimetry.spaces import chart_reflectances
from finishlab.imaging.strip import Rect

__all__ = ["ChartCard"]

_BORDER = 0.06
"""Dark rim of the card over its width."""
_GAP = 0.15
"""Space between two patches over their pitch."""
_CARD = 0.035
"""Reflectance of the card between the patches."""


@dataclass(frozen=True, slots=True)
class ChartCard:
    """A chart lying in the scene.

    Raises
    ------
    ValueError
        If the rectangle is not lying: six patches stand along its longer side.
    """

    rect: Rect
    """The whole card, millimetres of the strip frame, before it is turned."""
    angle: float = 0.0
    """Turn about the card's centre, degrees clockwise; at 0 the dark skin patch is top left."""
    edition: str = "mean of 30"
    """One of `finishlab.colorimetry.spaces.CHARTS`."""

    def __post_init__(self) -> None:
        if self.rect.width <= self.rect.height:
            raise ValueError("a chart's card is wider than high; turn it with its angle")

    def patches(self) -> list[tuple[Rect, np.ndarray]]:
        """Return the patches before the turn, with their spectra, from dark skin on, row by row."""
        rim = _BORDER * self.rect.width
        pitch = min((self.rect.width - 2 * rim) / (6 - _GAP), (self.rect.height - 2 * rim) / (4 - _GAP))
        side = pitch * (1 - _GAP)
        left = self.rect.centre[0] - (5 * pitch + side) / 2
        top = self.rect.centre[1] - (3 * pitch + side) / 2
        spectra = chart_reflectances(self.edition).values()
        return [
            (Rect(left + (i % 6) * pitch, top + (i // 6) * pitch, side, side), spectrum)
            for i, spectrum in enumerate(spectra)
        ]

    def card_spectrum(self) -> np.ndarray:
        """Return the reflectance of the card itself."""
        return np.full(61, _CARD)

    def corners(self) -> np.ndarray:
        """Return the outer corners of the four corner patches in the scene, shape (4, 2), clockwise from dark skin."""
        first, last = self.patches()[0][0], self.patches()[-1][0]
        whole = Rect(first.x, first.y, last.right - first.x, last.bottom - first.y)
        turn = np.deg2rad(self.angle)
        matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        centre = np.array(self.rect.centre)
        return np.asarray((whole.corners() - centre) @ matrix.T + centre)
