"""Every photo at its weight: boards and floor from all their photos, by generalised least squares.

A measured colour is the true one plus its own error, plus what it shares with others: unknowns of the camera, the strip
and the photo, named as `SharedEffect`. Two more are added here. Each photo has a scatter of its own that no error tells
of (light, the phone's processing), felt alike by all that lies in it; and each plank of the floor differs from the
floor's mean. So a board and the floor in one photo weigh more than the same two in two photos, the floor beside a board
is one plank more and no more than that, and what is shared stays shared.

The true colours are the unknowns of one least-squares problem with all of this as its covariance (Aitken, Proc. R. Soc.
Edinb. 55 (1936) 42). With the covariance held, a further photo of any kind can only add information: the variance of no
difference grows.

Boards are independent of one another once the unknowns they share are known. So each board is solved by itself, with
what only it knows of, and the few shared unknowns are solved from what the boards and planks say of them together
(block elimination; the Woodbury identity). Time and memory grow with the number of photos and no faster.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.matching.components import Components
from finishlab.matching.layout import Chunk, Layout, Looks, chunks_of, looks_of
from finishlab.matching.prior import learn_prior
from finishlab.matching.sensitivities import even
from finishlab.matching.simulate import Together

__all__ = ["BoardLooks", "Look", "PlankLooks", "Weighed", "weigh", "weigh_looks"]

FloatArray = NDArray[np.float64]

_AT_ONCE: Final = 1024
"""Boards moved at once."""


@dataclass(frozen=True, slots=True)
class Look:
    """One colour measured in one photo."""

    estimate: LabEstimate
    photo: str
    """What tells photos apart."""
    floor: LabEstimate | None = None
    """Of a board: the floor at the strip's other edge in the same photo."""
    spot: str | None = None
    """The spot of the floor that this floor is, if it is known; otherwise it counts as a plank of its own."""


@dataclass(frozen=True, slots=True)
class BoardLooks:
    """A board in all its photos.

    Raises
    ------
    ValueError
        If there is none.
    """

    board: str
    looks: tuple[Look, ...]

    def __post_init__(self) -> None:
        if not self.looks:
            raise ValueError("a board needs at least one photo")


@dataclass(frozen=True, slots=True)
class PlankLooks:
    """A spot of the floor in all its photos.

    Raises
    ------
    ValueError
        If there is none.
    """

    spot: str
    looks: tuple[Look, ...]

    def __post_init__(self) -> None:
        if not self.looks:
            raise ValueError("a floor spot needs at least one photo")


@dataclass(frozen=True, slots=True)
class Weighed:
    """The true colours that all photos speak for, and how sure they are together."""

    together: Together
    """Boards in the order given, and the floor's mean; the shared unknowns as they are known after all photos."""
    floor: LabEstimate
    """The floor's mean with its whole uncertainty."""
    components: Components

    def difference_covariance(self) -> FloatArray:
        """Covariance of board minus floor, shape (n, 3, 3)."""
        joint = self.together.joint_with_floor()
        across = joint[:, :3, 3:]
        covariance: FloatArray = joint[:, :3, :3] + joint[:, 3:, 3:] - across - np.swapaxes(across, 1, 2)
        return covariance


def weigh(boards: Sequence[BoardLooks], planks: Sequence[PlankLooks], components: Components) -> Weighed:
    """Find boards and floor from all their photos.

    Parameters
    ----------
    boards
        The boards; the floor seen beside them is used too.
    planks
        The floor's spots. Either they or the floors beside boards must be there.
    components
        How planks and photos scatter (`finishlab.matching.components.estimate_components`).

    Raises
    ------
    ValueError
        If the floor was seen nowhere.

    Notes
    -----
    What is not known beforehand is left wide open: each board's colour and the floor's mean have no prior.
    """
    return weigh_looks(looks_of(boards, planks), components)


def weigh_looks(looks: Looks, components: Components) -> Weighed:
    """Find boards and floor as `weigh` does, from looks laid out in arrays.

    Raises
    ------
    ValueError
        If the floor was seen nowhere.
    """
    if not np.any(looks.plank >= 0):
        raise ValueError("the floor was seen in no photo")
    looks = even(looks)
    layout = Layout.of(looks, components)
    information = np.zeros((layout.unknowns, layout.unknowns))
    information[np.arange(3, layout.unknowns), np.arange(3, layout.unknowns)] = 1.0
    pull = np.zeros(layout.unknowns)
    boards = _Boards(looks.boards, layout.unknowns)
    for chunk in chunks_of(looks):
        _solve(layout, chunk, boards, information, pull)
    scale = np.linalg.inv(np.linalg.cholesky(information)).T  # unknowns = mean + scale z, z standard normal
    mean = scale @ (scale.T @ pull)
    return boards.weighed(mean, scale, components)


class _Boards:
    """Boards as functions of the shared unknowns u: ``at - by.T @ u`` with covariance ``own``."""

    def __init__(self, count: int, unknowns: int) -> None:
        self.at = np.empty((count, 3))
        self.by = np.empty((count, unknowns, 3))
        self.own = np.empty((count, 3, 3))

    def weighed(self, mean: FloatArray, scale: FloatArray, components: Components) -> Weighed:
        """Return the boards once the unknowns are known: ``mean + scale z``, z standard normal.

        They take the place of the functions, part by part, so that no second array of their size is needed.
        """
        for first in range(0, len(self.at), _AT_ONCE):
            part = slice(first, first + _AT_ONCE)
            by = np.swapaxes(self.by[part], 1, 2)
            self.at[part] -= by @ mean
            self.by[part] = -np.swapaxes(by @ scale, 1, 2)
        floor_vectors = np.ascontiguousarray(scale[:3].T)
        prior = learn_prior(self.at, self.own, self.by, mean[:3], floor_vectors)
        together = Together(self.at, self.own, self.by, mean[:3].copy(), np.zeros((3, 3)), floor_vectors, prior)
        return Weighed(together, LabEstimate.build(mean[:3], floor_vectors.T @ floor_vectors), components)


def _solve(layout: Layout, chunk: Chunk, boards: _Boards, information: FloatArray, pull: FloatArray) -> None:
    """Add what blocks say of the shared unknowns to `information` and `pull`, and of boards to `boards`."""
    measured, covariance, moved = layout.arrays(chunk)
    inverse = np.linalg.inv(covariance)
    weighted = inverse @ moved
    if chunk.blocks[0] >= len(boards.at):
        information += np.einsum("nij,nik->jk", moved, weighted)
        pull += np.einsum("nij,ni->j", weighted, measured)
        return
    picks = np.vstack([np.eye(3) if of_board else np.zeros((3, 3)) for of_board in chunk.of_board])
    own = np.asarray(np.linalg.inv(picks.T @ inverse @ picks), dtype=np.float64)
    average = own @ (picks.T @ inverse)
    at = np.einsum("nij,nj->ni", average, measured)
    by = average @ moved
    if len(chunk.of_board) > 1:
        # What is left of the measured once the board is fitted speaks of the shared unknowns; of one look nothing is.
        left = moved - picks @ by
        weighted_left = inverse @ left
        information += np.einsum("nij,nik->jk", left, weighted_left)
        pull += np.einsum("nij,ni->j", weighted_left, measured - at @ picks.T)
    boards.at[chunk.blocks], boards.own[chunk.blocks] = at, own
    boards.by[chunk.blocks] = np.swapaxes(by, 1, 2)
