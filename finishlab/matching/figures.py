"""How far boards are from floor and aim, with intervals: figured for a board when somebody asks for it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import CIEDE2000
from finishlab.colorimetry.difference import DeltaE, difference_intervals
from finishlab.matching.aims import Aim
from finishlab.matching.simulate import Together

__all__ = ["AT_ONCE", "Figures"]

FloatArray = NDArray[np.float64]

AT_ONCE: Final = 256
"""Boards figured together: one by one would take far longer."""


class Figures:
    """Differences of boards.

    Parameters
    ----------
    together
        Boards and floor.
    aim
        What the boards are for.
    """

    def __init__(self, together: Together, aim: Aim) -> None:
        self._together = together
        self._aim = aim
        self._targets = aim.targets(together.labs, together.floor_lab)
        self.plain_aim = aim.name == "match" and aim.formula == CIEDE2000
        self.value: FloatArray = aim.scored_by.difference(self._targets, together.labs)
        """Score of each board by the aim's formula, shape (n,)."""
        count = len(together.labs)
        # an array that is only reserved takes no memory where nothing is written
        self._known = np.zeros(count, dtype=bool)
        self._plain, self._scored = np.empty((3, count)), np.empty((3, count))
        self._apart = np.empty((count, 3, 3))

    def need(self, boards: NDArray[np.intp]) -> None:
        """Figure boards that were not yet."""
        picks = boards[~self._known[boards]]
        if not len(picks):
            return
        part = self._together.only(picks)
        joint = part.joint_with_floor()
        self._plain[:, picks] = difference_intervals(part.labs, part.floor_lab, joint)
        self._scored[:, picks] = (
            self._plain[:, picks]
            if self.plain_aim
            else difference_intervals(part.labs, self._targets[picks], joint, self._aim.scored_by)
        )
        self._apart[picks] = joint[:, :3, :3] + joint[:, 3:, 3:] - joint[:, :3, 3:] - joint[:, 3:, :3]
        self._known[picks] = True

    def scores(self, boards: NDArray[np.intp]) -> FloatArray:
        """Return scores with the ends of their intervals, shape (3, k)."""
        self.need(boards)
        return self._scored[:, boards]

    def score(self, board: int) -> DeltaE:
        """Return one board's score."""
        self.need(np.array([board]))
        return _interval(self._scored[:, board])

    def delta_e00(self, board: int) -> DeltaE:
        """Return one board's CIEDE2000 from the floor."""
        self.need(np.array([board]))
        return _interval(self._plain[:, board])

    def apart(self, board: int) -> FloatArray:
        """Return the covariance of board minus floor, shape (3, 3)."""
        self.need(np.array([board]))
        return np.asarray(self._apart[board])


def _interval(figures: FloatArray) -> DeltaE:
    return DeltaE(float(figures[0]), float(figures[1]), float(figures[2]))
