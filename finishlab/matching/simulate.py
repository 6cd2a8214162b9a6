"""What the differences of many boards from one floor may truly be, drawn together.

An effect that several of them share is drawn once, so that it moves them together: it cancels in their order as it does
in the world.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.ciede2000 import delta_e_00
from finishlab.colorimetry.estimate import LabEstimate

__all__ = ["Together", "draw_colours", "draw_differences", "gather"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Together:
    """Boards and their floor with the effects they share laid open, ready for arithmetic on all at once.

    An effect that only one board has is part of that board's own covariance here: nobody else can feel it.
    """

    labs: FloatArray
    """Means of the boards, shape (n, 3)."""
    own: FloatArray
    """What each board shares with nobody, shape (n, 3, 3)."""
    effect_board: NDArray[np.intp]
    """For each shared effect of each board the board's index, ascending, shape (m,)."""
    effect_key: NDArray[np.intp]
    """The index of its unknown, shape (m,)."""
    effect_vector: FloatArray
    """What one standard deviation of it does, shape (m, 3)."""
    floor_lab: FloatArray
    floor_own: FloatArray
    floor_vectors: FloatArray
    """What each unknown does to the floor, shape (k, 3)."""

    def only(self, picks: NDArray[np.intp]) -> Together:
        """Return some of the boards, by number, with the same floor."""
        row = np.full(len(self.labs), -1)
        row[picks] = np.arange(len(picks))
        of_board = row[self.effect_board]
        order = np.argsort(of_board, kind="stable")
        mine = order[of_board[order] >= 0]
        return replace(
            self,
            labs=self.labs[picks],
            own=self.own[picks],
            effect_board=of_board[mine],
            effect_key=self.effect_key[mine],
            effect_vector=self.effect_vector[mine],
        )

    def joint_with_floor(self) -> FloatArray:
        """Covariance of each board together with the floor, shape (n, 6, 6)."""
        n = len(self.labs)
        joint = np.zeros((n, 6, 6))
        board = self.own.copy()
        across = np.zeros((n, 3, 3))
        vectors, floor = self.effect_vector, self.floor_vectors[self.effect_key]
        np.add.at(board, self.effect_board, vectors[:, :, None] * vectors[:, None, :])
        np.add.at(across, self.effect_board, vectors[:, :, None] * floor[:, None, :])
        joint[:, :3, :3], joint[:, :3, 3:], joint[:, 3:, :3] = board, across, np.swapaxes(across, 1, 2)
        joint[:, 3:, 3:] = self.floor_own + self.floor_vectors.T @ self.floor_vectors
        return joint


def gather(boards: Sequence[LabEstimate], floor: LabEstimate) -> Together:
    """Lay boards and floor out for arithmetic on all at once."""
    users = Counter(key for board in boards for key in {(e.name, e.scope) for e in board.shared})
    index = {key: i for i, key in enumerate(dict.fromkeys((e.name, e.scope) for e in floor.shared))}
    own = np.array([board.own for board in boards], dtype=np.float64).reshape(-1, 3, 3)
    where: list[int] = []
    keys: list[int] = []
    vectors: list[tuple[float, float, float]] = []
    alone: list[tuple[int, tuple[float, float, float]]] = []
    for i, board in enumerate(boards):
        for effect in board.shared:
            key = (effect.name, effect.scope)
            if users[key] == 1 and key not in index:
                alone.append((i, effect.vector))
                continue
            where.append(i)
            keys.append(index.setdefault(key, len(index)))
            vectors.append(effect.vector)
    if alone:
        lone = np.array([vector for _, vector in alone])
        np.add.at(own, [i for i, _ in alone], lone[:, :, None] * lone[:, None, :])
    floor_vectors = np.zeros((len(index), 3))
    for effect in floor.shared:
        floor_vectors[index[(effect.name, effect.scope)]] += effect.vector
    return Together(
        labs=np.array([board.lab for board in boards], dtype=np.float64).reshape(-1, 3),
        own=own,
        effect_board=np.array(where, dtype=np.intp),
        effect_key=np.array(keys, dtype=np.intp),
        effect_vector=np.array(vectors, dtype=np.float64).reshape(-1, 3),
        floor_lab=np.array(floor.lab),
        floor_own=np.array(floor.own),
        floor_vectors=floor_vectors,
    )


def draw_colours(
    together: Together, picks: NDArray[np.intp], count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Draw what the true colours of some boards and of the floor may be.

    Parameters
    ----------
    together
        Boards and floor.
    picks
        Numbers of the boards to draw, ascending, shape (k,).
    count
        Number of draws.
    rng
        Source of randomness.

    Returns
    -------
    boards, floor : ndarray, shapes (k, count, 3) and (count, 3)
        One column is one way the world may be.
    """
    unknowns = rng.standard_normal((count, len(together.floor_vectors)))
    floor = together.floor_lab + unknowns @ together.floor_vectors
    floor = floor + rng.standard_normal((count, 3)) @ _root(together.floor_own).T
    moves = _shared_moves(together, picks, unknowns)
    roots = _root(together.own[picks])
    alone = rng.standard_normal((len(picks), count, 3)) @ np.swapaxes(roots, 1, 2)
    return together.labs[picks, None, :] + moves + alone, floor


def draw_differences(together: Together, count: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """Draw the CIEDE2000 of all boards from the floor, shape (n, count); see `draw_colours`."""
    boards, floor = draw_colours(together, np.arange(len(together.labs)), count, rng)
    return np.asarray(delta_e_00(boards, floor), dtype=np.float32)


def _shared_moves(together: Together, picks: NDArray[np.intp], unknowns: FloatArray) -> FloatArray:
    """How the shared unknowns move some boards, shape (k, count, 3)."""
    row = np.full(len(together.labs), -1)
    row[picks] = np.arange(len(picks))
    of_board = row[together.effect_board]
    mine = of_board >= 0
    keys, column = np.unique(together.effect_key[mine], return_inverse=True)
    vectors = np.zeros((len(picks), len(keys), 3))
    np.add.at(vectors, (of_board[mine], column), together.effect_vector[mine])
    moves: FloatArray = unknowns[:, keys] @ vectors
    return moves


def _root(covariance: FloatArray) -> FloatArray:
    """A square root of covariances, shape (..., 3, 3); unlike Cholesky's it bears a direction without doubt."""
    values, axes = np.linalg.eigh(covariance)
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))[..., None, :]
    return root
