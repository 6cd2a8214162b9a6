"""What a finish is chosen for: to match the floor, or to stand off from it on purpose, and what it must not be.

A contrast is aimed at as a colour of its own: the floor's, moved in lightness by a chosen amount. Boards are then
ranked by their difference from that colour, with chroma counted half (parametric factor kC = 2, this tool's own
choice), since a deliberate step bears more or less colour as long as the undertone, the hue, stays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import CIEDE2000, Formula

FloatArray = NDArray[np.float64]

AimName = Literal["match", "contrast"]
Limit = Literal["redder", "greener", "yellower", "bluer", "lighter", "darker"]
LIMITS: Final[tuple[Limit, ...]] = get_args(Limit)

STEP: Final = 12.0
"""L* of a contrast when no amount is named: plainly on purpose, where smaller steps look like a match that failed.
Common practice, no source."""
HUE_WITHIN: Final = 8.0
"""Degrees of hue angle within which an undertone counts as the same; this tool's own."""
LEAST_STEP: Final = 0.5
"""Share of the step from the floor's lightness that a board must make to be a contrast at all; this tool's own."""
_SLACK: Final = 0.5
"""CIELAB units by which a limit may be passed: less is not noticed. This tool's own."""
_AXIS: Final[dict[Limit, tuple[int, float]]] = {
    "redder": (1, 1.0),
    "greener": (1, -1.0),
    "yellower": (2, 1.0),
    "bluer": (2, -1.0),
    "lighter": (0, 1.0),
    "darker": (0, -1.0),
}


@dataclass(frozen=True, slots=True)
class Aim:
    """What the boards are ranked for.

    Raises
    ------
    ValueError
        If a figure cannot be meant.
    """

    name: AimName = "match"
    step: float | None = None
    """L* by which a contrast shall be lighter (above 0) or darker (below 0) than the floor; None: `STEP` either way,
    whichever a board is nearer to."""
    hue_within: float = HUE_WITHIN
    """Degrees; a contrast's undertone."""
    limits: tuple[Limit, ...] = ()
    """What the board must not be, compared with the floor."""
    formula: Formula = CIEDE2000
    """The difference formula of the aim to match."""

    def __post_init__(self) -> None:
        if self.step is not None and not 0.0 < abs(self.step) <= 100.0:
            raise ValueError("a contrast is lighter or darker by 1 to 100 L*")
        if not 0.0 < self.hue_within <= 180.0 or not math.isfinite(self.hue_within):
            raise ValueError("a tolerance of hue is above 0 and at most 180 degrees")
        if self.name == "match" and self.step is not None:
            raise ValueError("only a contrast has a step")

    @property
    def scored_by(self) -> Formula:
        """The formula the score is computed with."""
        if self.name == "match":
            return self.formula
        kind = self.formula
        return Formula(kind.kind, kind.lightness, 2.0 * kind.chroma, kind.hue)

    @property
    def in_words(self) -> str:
        """The aim in a few words: ``"match the floor"``, ``"12 L* darker than the floor, same undertone"``."""
        if self.name == "match":
            told = "match the floor"
        elif self.step is None:
            told = f"{STEP:g} L* lighter or darker than the floor, same undertone"
        else:
            told = f"{abs(self.step):g} L* {'lighter' if self.step > 0 else 'darker'} than the floor, same undertone"
        return told + (f", no {', no '.join(self.limits)}" if self.limits else "")

    def targets(self, boards: FloatArray, floor: FloatArray) -> FloatArray:
        """Return the colour each board is held against.

        Parameters
        ----------
        boards, floor
            CIELAB, shapes (..., 3), broadcast against each other.

        Returns
        -------
        ndarray, shape (..., 3)
        """
        boards, floor = np.broadcast_arrays(boards, floor)
        if self.name == "match":
            return np.asarray(floor)
        if self.step is None:
            step = np.where(boards[..., 0] >= floor[..., 0], STEP, -STEP)
        else:
            step = np.full(floor.shape[:-1], self.step)
        moved = floor.copy()
        moved[..., 0] = np.clip(floor[..., 0] + step, 0.0, 100.0)
        return moved

    def is_made_by(self, lightness: FloatArray) -> NDArray[np.bool_]:
        """Return whether boards stand off from the floor on the right side, by half the step or more.

        Parameters
        ----------
        lightness
            L* of boards less that of the floor, shape (...).
        """
        if self.name == "match":
            return np.ones(np.shape(lightness), dtype=bool)
        along = np.abs(lightness) if self.step is None else np.asarray(lightness) * math.copysign(1.0, self.step)
        return np.asarray(along >= LEAST_STEP * abs(self.step or STEP))

    def score(self, boards: FloatArray, floor: FloatArray) -> FloatArray:
        """Return how far boards are from the aim, shape (...): the smaller the better."""
        return self.scored_by.difference(self.targets(boards, floor), boards)

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form."""
        return {
            "name": self.name,
            "step": self.step,
            "hue_within_deg": self.hue_within if self.name == "contrast" else None,
            "limits": list(self.limits),
            "formula": self.scored_by.name,
            "in_words": self.in_words,
        }


MATCH: Final = Aim()
CONTRAST: Final = Aim("contrast")


def within(aim: Aim, boards: FloatArray, floor: FloatArray) -> NDArray[np.bool_]:
    """Return whether boards keep all of an aim's limits, shape (...); CIELAB of shapes (..., 3), broadcast.

    A contrast has two of its own: its undertone, and that it is one, see `Aim.is_made_by`.
    """
    difference = np.asarray(boards) - np.asarray(floor)
    kept = np.ones(difference.shape[:-1], dtype=bool)
    for limit in aim.limits:
        axis, sign = _AXIS[limit]
        kept &= sign * difference[..., axis] <= _SLACK
    if aim.name == "contrast":
        one, two = np.broadcast_arrays(np.asarray(boards), np.asarray(floor))
        across = two[..., 1] * one[..., 2] - two[..., 2] * one[..., 1]
        along = two[..., 1] * one[..., 1] + two[..., 2] * one[..., 2]
        kept &= np.abs(np.degrees(np.arctan2(across, along))) <= aim.hue_within
        kept &= aim.is_made_by(difference[..., 0])
    return kept
