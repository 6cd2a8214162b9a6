"""What the pictures are given: colours with their doubt; and what of them a screen cannot show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.spaces import lab_to_rgb, rgb_to_lab

__all__ = ["Covariance", "Kind", "Lab", "PlottedBoard", "PlottedFloor", "chroma_covariance", "clipping"]

Lab = tuple[float, float, float]
"""CIELAB D65 2 degrees."""
Covariance = tuple[tuple[float, ...], ...]
"""Of (L*, a*, b*), shape (3, 3), CIELAB units squared."""
Kind = Literal["leading", "candidate", "other"]
"""What a board is to the reader: among the nearest, another candidate, or one made for comparison (raw, clear only)."""

_SMALL: Final = 1e-6


@dataclass(frozen=True, slots=True)
class PlottedBoard:
    """A board to be drawn.

    Raises
    ------
    ValueError
        If it has no name, its colour is not finite, or its number of coats is below 0.
    """

    name: str
    lab: Lab
    covariance: Covariance | None = None
    """What is unsure of board against floor; None draws no interval."""
    kind: Kind = "candidate"
    note: str = ""
    """A few words beneath its name, such as its difference."""
    score: DeltaE | None = None
    """What it is ranked by, with its interval."""
    own: tuple[float, float] | None = None
    """The part of the interval that is the board's own, drawn thick; the rest is common to all boards."""
    mark: str = ""
    """Letters of its ties."""
    coats: int = 0
    """Stain coats; 0 is the topcoat alone."""

    def __post_init__(self) -> None:
        if not self.name.strip() or not np.isfinite(self.lab).all():
            raise ValueError("a colour to be drawn needs a name and finite figures")
        if self.coats < 0:
            raise ValueError("a board has 0 coats or more")


@dataclass(frozen=True, slots=True)
class PlottedFloor:
    """The floor to draw boards against."""

    lab: Lab
    spread: Covariance | None = None
    """How its planks scatter; None draws no ellipse."""
    planks: tuple[tuple[str, Lab], ...] = ()
    """Name and colour of each place that was measured."""


def clipping(lab: Sequence[float]) -> float:
    """Return how far the colour a screen shows is from the one measured, CIEDE2000; 0 inside sRGB."""
    shown = rgb_to_lab(np.clip(lab_to_rgb(lab), 0.0, 1.0))
    return float(delta_e_00(lab, shown))


def chroma_covariance(lab: Lab, covariance: Covariance) -> NDArray[np.float64]:
    """Carry a covariance of (L*, a*, b*) to (C*, L*), shape (2, 2), to first order (JCGM 100:2008, 5.2)."""
    chroma = max(float(np.hypot(lab[1], lab[2])), _SMALL)
    jacobian = np.array([[0.0, lab[1] / chroma, lab[2] / chroma], [1.0, 0.0, 0.0]])
    return np.asarray(jacobian @ np.asarray(covariance) @ jacobian.T)
