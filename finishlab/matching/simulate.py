"""What the differences of many boards from one floor may truly be, drawn together.

An effect that several of them share is drawn once, so that it moves them together: it cancels in their order as it does
in the world.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.matching.prior import Prior, Scatter

__all__ = ["Together", "draw_colours", "draw_differences", "gather"]

FloatArray = NDArray[np.float64]
_AT_ONCE: Final = 16
"""Boards drawn at once."""
_EXACT: Final = 1e-10
"""Added to each variance, so that what one board may be can be weighed against how boards scatter."""


@dataclass(frozen=True, slots=True)
class Together:
    """Boards and their floor with the effects they share laid open, ready for arithmetic on all at once.

    An effect that only one board has is part of that board's own covariance here: nobody else can feel it.
    """

    labs: FloatArray
    """Means of the boards, shape (n, 3)."""
    own: FloatArray
    """What each board shares with nobody, shape (n, 3, 3)."""
    moves: FloatArray
    """What one standard deviation of each shared unknown does to each board, shape (n, k, 3)."""
    floor_lab: FloatArray
    floor_own: FloatArray
    floor_vectors: FloatArray
    """What each unknown does to the floor, shape (k, 3)."""
    prior: Prior | None = None
    """How all boards scatter, for drawing; None leaves each wide open."""

    def only(self, picks: NDArray[np.intp]) -> Together:
        """Return some of the boards, by number, with the same floor."""
        return replace(self, labs=self.labs[picks], own=self.own[picks], moves=self.moves[picks])

    def joint_with_floor(self) -> FloatArray:
        """Covariance of each board together with the floor, shape (n, 6, 6)."""
        joint = np.empty((len(self.labs), 6, 6))
        moved = np.swapaxes(self.moves, 1, 2)
        across = moved @ self.floor_vectors
        joint[:, :3, :3] = self.own + moved @ self.moves
        joint[:, :3, 3:], joint[:, 3:, :3] = across, np.swapaxes(across, 1, 2)
        joint[:, 3:, 3:] = self.floor_own + self.floor_vectors.T @ self.floor_vectors
        return joint


def gather(boards: Sequence[LabEstimate], floor: LabEstimate) -> Together:
    """Lay boards and floor out for arithmetic on all at once."""
    users = Counter(key for board in boards for key in {(e.name, e.scope) for e in board.shared})
    index = {key: i for i, key in enumerate(dict.fromkeys((e.name, e.scope) for e in floor.shared))}
    own = np.array([board.own for board in boards], dtype=np.float64).reshape(-1, 3, 3)
    shared: list[tuple[int, int, tuple[float, float, float]]] = []
    for i, board in enumerate(boards):
        for effect in board.shared:
            key = (effect.name, effect.scope)
            if users[key] == 1 and key not in index:
                own[i] += np.outer(effect.vector, effect.vector)
            else:
                shared.append((i, index.setdefault(key, len(index)), effect.vector))
    moves = np.zeros((len(boards), len(index), 3))
    for i, column, vector in shared:
        moves[i, column] += vector
    floor_vectors = np.zeros((len(index), 3))
    for effect in floor.shared:
        floor_vectors[index[(effect.name, effect.scope)]] += effect.vector
    return Together(
        labs=np.array([board.lab for board in boards], dtype=np.float64).reshape(-1, 3),
        own=own,
        moves=moves,
        floor_lab=np.array(floor.lab),
        floor_own=np.array(floor.own),
        floor_vectors=floor_vectors,
    )


def draw_colours(
    together: Together, picks: NDArray[np.intp], count: int, rng: np.random.Generator
) -> tuple[Iterator[FloatArray], FloatArray]:
    """Draw what the true colours of some boards and of the floor may be.

    Parameters
    ----------
    together
        Boards and floor.
    picks
        Numbers of the boards to draw, shape (k,).
    count
        Number of draws.
    rng
        Source of randomness; it is drawn from until the last board was given.

    Returns
    -------
    boards : iterator of ndarray, shape (count, 3)
        One for each board. The same place in all of them, and in the floor's, is one way the world may be.
    floor : ndarray, shape (count, 3)
    """
    unknowns = rng.standard_normal((count, len(together.floor_vectors)))
    scatter = None
    if together.prior is not None:
        unknowns, scatter = together.prior.draw(unknowns, rng)
    floor = together.floor_lab + unknowns @ together.floor_vectors
    if scatter is not None:
        scatter = replace(scatter, middles=scatter.middles + floor)
    floor = floor + rng.standard_normal((count, 3)) @ _root(together.floor_own).T
    return _drawn(together, picks, unknowns, scatter, rng), floor


def _drawn(
    together: Together,
    picks: NDArray[np.intp],
    unknowns: FloatArray,
    scatter: Scatter | None,
    rng: np.random.Generator,
) -> Iterator[FloatArray]:
    count = len(unknowns)
    for first in range(0, len(picks), _AT_ONCE):
        part = picks[first : first + _AT_ONCE]
        moves = unknowns @ np.moveaxis(together.moves[part], 0, 1).reshape(-1, 3 * len(part))
        roots = _root(together.own[part] + _EXACT * np.eye(3))
        for k, board in enumerate(part):
            measured = together.labs[board] + moves[:, 3 * k : 3 * k + 3]
            if scatter is None:
                yield measured + rng.standard_normal((count, 3)) @ roots[k].T
            else:
                yield scatter.believed(measured, roots[k], rng)


def draw_differences(together: Together, count: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """Draw the CIEDE2000 of all boards from the floor, shape (n, count); see `draw_colours`."""
    boards, floor = draw_colours(together, np.arange(len(together.labs)), count, rng)
    return np.stack([np.asarray(delta_e_00(board, floor), dtype=np.float32) for board in boards])


def _root(covariance: FloatArray) -> FloatArray:
    """A square root of covariances, shape (..., 3, 3); unlike Cholesky's it bears a direction without doubt."""
    values, axes = np.linalg.eigh(covariance)
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))[..., None, :]
    return root
