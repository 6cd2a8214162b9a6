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

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.matching.components import Components
from finishlab.matching.simulate import Together

__all__ = ["BoardLooks", "Look", "PlankLooks", "Weighed", "weigh"]

FloatArray = NDArray[np.float64]

_AT_ONCE: Final = 2048
"""Blocks solved together, so that memory stays bounded."""
_JITTER: Final = 1e-8
"""Added to each variance so that colours said to be exact can be solved: a ten-thousandth of a unit."""


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

    def at_level(self, lab: Sequence[float]) -> Weighed:
        """Return the same differences with the floor's mean at `lab`, shape (3,).

        Least squares finds differences well and the level of all colours badly: errors that all photos share, and that
        grow with the colour itself, pull the common mean below every single measurement (Peelle's pertinent puzzle, in
        Fröhner, Nucl. Sci. Eng. 126 (1997) 1, from memory). The plain mean of the floor's photos is the better level.
        """
        shift = np.asarray(lab, dtype=float) - self.together.floor_lab
        together = replace(self.together, labs=self.together.labs + shift, floor_lab=self.together.floor_lab + shift)
        level = (float(lab[0]), float(lab[1]), float(lab[2]))
        return replace(self, together=together, floor=replace(self.floor, lab=level))


@dataclass(frozen=True, slots=True)
class _Seen:
    """One colour of a block: whether it is floor, and of which plank."""

    estimate: LabEstimate
    photo: str
    plank: str | None
    """None for a board."""


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
    blocks = [_board_block(each) for each in boards]
    blocks += [[_Seen(look.estimate, look.photo, plank.spot) for look in plank.looks] for plank in planks]
    if not any(seen.plank is not None for block in blocks for seen in block):
        raise ValueError("the floor was seen in no photo")
    layout = _Layout.of(blocks, components)
    information = np.zeros((layout.unknowns, layout.unknowns))
    information[np.arange(3, layout.unknowns), np.arange(3, layout.unknowns)] = 1.0
    pull = np.zeros(layout.unknowns)
    solved = [_solve(layout, chunk, information, pull) for chunk in _alike(blocks, len(boards))]
    scale = np.linalg.inv(np.linalg.cholesky(information)).T  # unknowns = mean + scale z, z standard normal
    mean = scale @ (scale.T @ pull)
    return _weighed(solved, len(boards), mean, scale, components)


def _board_block(board: BoardLooks) -> list[_Seen]:
    block = [_Seen(look.estimate, look.photo, None) for look in board.looks]
    return block + [
        _Seen(look.floor, look.photo, look.spot or f"beside {board.board}, photo {look.photo}")
        for look in board.looks
        if look.floor is not None
    ]


def _alike(blocks: Sequence[list[_Seen]], boards: int) -> Iterable[tuple[list[int], list[list[_Seen]], bool]]:
    """Sort blocks by their shape: how many colours, which of them boards; planks have no board."""
    shapes: dict[tuple[int, int, bool], list[int]] = {}
    for i, block in enumerate(blocks):
        of_board = i < boards
        own = sum(seen.plank is None for seen in block)
        shapes.setdefault((len(block), own, of_board), []).append(i)
    for (_, _, of_board), members in shapes.items():
        for first in range(0, len(members), _AT_ONCE):
            part = members[first : first + _AT_ONCE]
            yield part, [blocks[i] for i in part], of_board


@dataclass(frozen=True, slots=True)
class _Layout:
    """Which unknowns are shared between blocks."""

    shared: dict[tuple[str, str], int]
    """Name and scope -> column; the first three columns are the floor's mean."""
    unknowns: int
    plank_root: FloatArray
    photo_root: FloatArray

    @classmethod
    def of(cls, blocks: Sequence[list[_Seen]], components: Components) -> _Layout:
        scopes = Counter(scope for block in blocks for scope in {e.scope for s in block for e in s.estimate.shared})
        photos = Counter(photo for block in blocks for photo in {seen.photo for seen in block})
        plank_names = Counter(name for block in blocks for name in {s.plank for s in block if s.plank is not None})
        keys: dict[tuple[str, str], int] = {}
        for block in blocks:
            for seen in block:
                for e in seen.estimate.shared:
                    if scopes[e.scope] > 1:
                        keys.setdefault((e.name, e.scope), 3 + len(keys))
        for prefix, counted in (("scatter of photo", photos), ("plank", plank_names)):
            for name, users in counted.items():
                if users > 1:
                    for k in range(3):
                        keys.setdefault((f"{prefix} {k}", name), 3 + len(keys))
        return cls(keys, 3 + len(keys), _root(components.plank), _root(components.photo))

    def effects(self, seen: _Seen) -> Iterable[tuple[tuple[str, str], tuple[float, float, float] | FloatArray]]:
        """All unknowns that move one colour, by name and scope."""
        for effect in seen.estimate.shared:
            yield (effect.name, effect.scope), effect.vector
        for k in range(3):
            yield (f"scatter of photo {k}", seen.photo), self.photo_root[:, k]
        if seen.plank is not None:
            for k in range(3):
                yield (f"plank {k}", seen.plank), self.plank_root[:, k]


@dataclass(frozen=True, slots=True)
class _Solved:
    """Boards of one shape as functions of the shared unknowns u: ``at - by @ u`` with covariance ``own``."""

    members: list[int]
    at: FloatArray
    by: FloatArray
    own: FloatArray


def _solve(
    layout: _Layout,
    chunk: tuple[list[int], list[list[_Seen]], bool],
    information: FloatArray,
    pull: FloatArray,
) -> _Solved | None:
    """Add what blocks say of the shared unknowns to `information` and `pull`; return their boards."""
    members, blocks, of_board = chunk
    measured, covariance, moved = _arrays(layout, blocks)
    inverse = np.linalg.inv(covariance)
    weighted = inverse @ moved
    if not of_board:
        information += np.einsum("nij,nik->jk", moved, weighted)
        pull += np.einsum("nij,ni->j", weighted, measured)
        return None
    picks = np.vstack([np.eye(3) if seen.plank is None else np.zeros((3, 3)) for seen in blocks[0]])
    own = np.asarray(np.linalg.inv(picks.T @ inverse @ picks), dtype=np.float64)
    average = own @ (picks.T @ inverse)
    at = np.einsum("nij,nj->ni", average, measured)
    by = average @ moved
    if len(blocks[0]) > 1:
        # What is left of the measured once the board is fitted speaks of the shared unknowns; of one look nothing is.
        left = moved - picks @ by
        weighted_left = inverse @ left
        information += np.einsum("nij,nik->jk", left, weighted_left)
        pull += np.einsum("nij,ni->j", weighted_left, measured - at @ picks.T)
    return _Solved(members, at, by, own)


def _arrays(layout: _Layout, blocks: Sequence[list[_Seen]]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Measured values (n, 3m), covariance of what only each block feels (n, 3m, 3m), moves by shared unknowns."""
    n, m = len(blocks), len(blocks[0])
    measured = np.array([[seen.estimate.lab for seen in block] for block in blocks]).reshape(n, 3 * m)
    own = np.array([[seen.estimate.own for seen in block] for block in blocks])
    covariance = np.zeros((n, m, 3, m, 3))
    slots = np.arange(m)
    covariance[:, slots, :, slots, :] = np.swapaxes(own, 0, 1)
    moved = np.zeros((n, m, 3, layout.unknowns))
    private: list[tuple[int, int, int]] = []
    vectors: list[tuple[float, float, float] | FloatArray] = []
    shared: list[tuple[int, int, int]] = []
    shared_vectors: list[tuple[float, float, float] | FloatArray] = []
    for i, block in enumerate(blocks):
        known: dict[tuple[str, str], int] = {}
        for j, seen in enumerate(block):
            for key, vector in layout.effects(seen):
                column = layout.shared.get(key)
                if column is None:
                    private.append((i, known.setdefault(key, len(known)), j))
                    vectors.append(vector)
                else:
                    shared.append((i, j, column))
                    shared_vectors.append(vector)
    if private:
        where = np.array(private)
        factors = np.zeros((n, int(where[:, 1].max()) + 1, m, 3))
        np.add.at(factors, tuple(where.T), np.array(vectors))
        flat = factors.reshape(n, -1, 3 * m)
        covariance += (np.swapaxes(flat, 1, 2) @ flat).reshape(covariance.shape)
    if shared:
        i, j, column = np.array(shared).T
        np.add.at(moved.transpose(0, 1, 3, 2), (i, j, column), np.array(shared_vectors))
    for j, seen in enumerate(blocks[0]):
        if seen.plank is not None:
            moved[:, j, :, :3] += np.eye(3)
    return (
        measured,
        covariance.reshape(n, 3 * m, 3 * m) + _JITTER * np.eye(3 * m),
        moved.reshape(n, 3 * m, layout.unknowns),
    )


def _weighed(
    solved: Sequence[_Solved | None], boards: int, mean: FloatArray, scale: FloatArray, components: Components
) -> Weighed:
    unknowns = len(mean)
    labs, own = np.zeros((boards, 3)), np.zeros((boards, 3, 3))
    vectors = np.zeros((boards, unknowns, 3))
    for part in solved:
        if part is not None:
            labs[part.members] = part.at - part.by @ mean
            own[part.members] = part.own
            vectors[part.members] = -np.swapaxes(part.by @ scale, 1, 2)
    floor_vectors = np.ascontiguousarray(scale[:3].T)
    together = Together(
        labs=labs,
        own=own,
        effect_board=np.repeat(np.arange(boards), unknowns),
        effect_key=np.tile(np.arange(unknowns), boards),
        effect_vector=vectors.reshape(-1, 3),
        floor_lab=mean[:3].copy(),
        floor_own=np.zeros((3, 3)),
        floor_vectors=floor_vectors,
    )
    return Weighed(together, LabEstimate.build(mean[:3], floor_vectors.T @ floor_vectors), components)


def _root(covariance: Sequence[Sequence[float]]) -> FloatArray:
    values, axes = np.linalg.eigh(np.asarray(covariance, dtype=np.float64))
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))
    return root
