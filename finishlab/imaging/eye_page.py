"""The second page, for eyes: rows of black lines with a ladder of greys among them, to be looked at from three metres.

From there an eye cannot tell the lines apart, and the light that geometry lets through them matches one grey of the
ladder: that step vanishes. It needs no camera.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.strip import Rect, Screen

__all__ = ["EYE_ROWS", "EyeRow"]

_DOT: Final = 25.4 / 300
_STEPS: Final = 13
_HEIGHT: Final = 34.0
_WIDTH: Final = 2112 * _DOT
"""Whole lines at each pitch, 178.8 mm."""
_PATCH: Final = (9.0, 12.0)


@dataclass(frozen=True, slots=True)
class EyeRow:
    """One row: lines all over, and greys of a ladder standing in them."""

    screen: Screen
    """In millimetres from the row's top left."""
    greys: tuple[float, ...]
    """DeviceGray value of each step, dark to light; step 1 is the first."""

    def patches(self) -> tuple[Rect, ...]:
        """Return where the steps stand, in millimetres from the row's top left."""
        every = self.screen.rect.width / len(self.greys)
        wide, high = _PATCH
        top = (self.screen.rect.height - high) / 2
        return tuple(Rect((i + 0.5) * every - wide / 2, top, wide, high) for i in range(len(self.greys)))

    def grey_at(self, step: float) -> float:
        """Return the DeviceGray value of a step, halves between two.

        Raises
        ------
        ValueError
            If the row has no such step.
        """
        if not 1.0 <= step <= len(self.greys):
            raise ValueError(f"steps run from 1 to {len(self.greys)}")
        return float(np.interp(step, np.arange(1, len(self.greys) + 1), self.greys))


def _row(line: int, pitch: int, first: float, last: float) -> EyeRow:
    rect = Rect(0.0, 0.0, _WIDTH, _HEIGHT)
    greys = tuple(round(float(g), 3) for g in np.linspace(first, last, _STEPS))
    return EyeRow(Screen(line / pitch, pitch * _DOT, rect, rect), greys)


EYE_ROWS: Final = (
    _row(4, 16, 0.55, 0.91),
    _row(8, 16, 0.36, 0.80),
    _row(4, 8, 0.32, 0.76),
    _row(12, 16, 0.16, 0.64),
    _row(13, 16, 0.10, 0.58),
)
"""The rows of the page; row 1 is the first. Their ladders reach from the palest to the darkest print that is usual."""
