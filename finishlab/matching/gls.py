"""Boards and floor from all their photos, each photo at its weight, by generalised least squares.

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

Unknowns that only one block (a board with the floors beside it, or a plank) feels are taken into its covariance; those
of several blocks get columns.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.difference import of_difference
from finishlab.colorimetry.estimate import WOOD_ALONE, LabEstimate, root_of
from finishlab.matching.joint import JointColours, learn_prior
from finishlab.matching.scatter import Components, Observations, with_surface_effects

FloatArray = NDArray[np.float64]
Ints = NDArray[np.intp]

_BATCH: Final = 1024
"""Blocks solved together, so that memory stays bounded."""
_JITTER: Final = 1e-8
"""Added to each variance so that colours said to be exact can be solved: a ten-thousandth of a unit."""
_AXES: Final = np.arange(3)


_WOOD_ROOT: Final = root_of(WOOD_ALONE)


@dataclass(frozen=True, slots=True)
class Solution:
    """The true colours that all photos speak for, and how sure they are together."""

    colours: JointColours
    """Boards in the order given, and the floor's mean; the shared unknowns as they are known after all photos."""
    floor: LabEstimate
    """The floor's mean with its whole uncertainty."""
    components: Components

    def difference_covariance(self) -> FloatArray:
        """Covariance of board minus floor, shape (n, 3, 3)."""
        return of_difference(self.colours.joint_with_floor())


def solve(observed: Observations, components: Components) -> Solution:
    """Find boards and floor from all their photos.

    Parameters
    ----------
    observed
        The boards and the floors beside them, and the planks; the floor must be seen somewhere.
    components
        How planks and photos scatter (`finishlab.matching.scatter.components_of`).

    Raises
    ------
    ValueError
        If the floor was seen nowhere.

    Notes
    -----
    What is not known beforehand is left wide open: each board's colour and the floor's mean have no prior.
    """
    if not np.any(observed.plank >= 0):
        raise ValueError("the floor was seen in no photo")
    observed = with_surface_effects(observed)
    layout = _Layout.of(observed, components)
    information = np.zeros((layout.unknowns, layout.unknowns))
    information[np.arange(3, layout.unknowns), np.arange(3, layout.unknowns)] = 1.0
    pull = np.zeros(layout.unknowns)
    boards = _Boards(observed.boards, layout.unknowns)
    for chunk in _chunks_of(observed):
        _add(layout, chunk, boards, information, pull)
    scale = np.linalg.inv(np.linalg.cholesky(information)).T  # unknowns = mean + scale z, z standard normal
    mean = scale @ (scale.T @ pull)
    return boards.solved(mean, scale, components)


class _Boards:
    """Boards as functions of the shared unknowns u: ``at - by.T @ u`` with covariance ``own``."""

    def __init__(self, count: int, unknowns: int) -> None:
        self.at = np.empty((count, 3))
        self.by = np.empty((count, unknowns, 3))
        self.own = np.empty((count, 3, 3))

    def solved(self, mean: FloatArray, scale: FloatArray, components: Components) -> Solution:
        """Return the boards once the unknowns are known: ``mean + scale z``, z standard normal.

        They take the place of the functions, part by part, so that no second array of their size is needed.
        """
        for first in range(0, len(self.at), _BATCH):
            part = slice(first, first + _BATCH)
            by = np.swapaxes(self.by[part], 1, 2)
            self.at[part] -= by @ mean
            self.by[part] = -np.swapaxes(by @ scale, 1, 2)
        floor_vectors = np.ascontiguousarray(scale[:3].T)
        prior = learn_prior(self.at, self.own, self.by, mean[:3], floor_vectors)
        colours = JointColours(self.at, self.own, self.by, mean[:3].copy(), np.zeros((3, 3)), floor_vectors, prior)
        return Solution(colours, LabEstimate.build(mean[:3], floor_vectors.T @ floor_vectors), components)


def _add(layout: _Layout, chunk: _Chunk, boards: _Boards, information: FloatArray, pull: FloatArray) -> None:
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


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Blocks of one shape: as many colours, as many of them the board's own."""

    blocks: Ints
    """Shape (n,)."""
    observed: Ints
    """Numbers of their observations, shape (n, m)."""
    of_board: NDArray[np.bool_]
    """Which of a block's colours are the board's own, shape (m,)."""


def _chunks_of(observed: Observations) -> Iterator[_Chunk]:
    """Sort blocks by their shape; planks have no board."""
    _, start, size = np.unique(observed.block, return_index=True, return_counts=True)
    own = np.add.reduceat(observed.plank < 0, start) if len(start) else size
    shapes: dict[tuple[int, int, bool], list[int]] = {}
    for i, shape in enumerate(zip(size.tolist(), own.tolist(), strict=True)):
        shapes.setdefault((*shape, i < observed.boards), []).append(i)
    for (many, of_board, _), members in shapes.items():
        for first in range(0, len(members), _BATCH):
            part = np.array(members[first : first + _BATCH], dtype=np.intp)
            yield _Chunk(part, start[part][:, None] + np.arange(many), np.arange(many) < of_board)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Which unknowns are shared between blocks: the first three columns are the floor's mean."""

    observed: Observations
    unknowns: int
    key_column: Ints
    """Column of each unknown, by scope times names plus name; -1 where only one block feels it."""
    photo_column: Ints
    """First of the three columns of each photo's scatter, or -1."""
    plank_column: Ints
    """First of the three columns of each plank, or -1."""
    wood_column: Ints
    """First of the three columns of each wood's own error, or -1."""
    plank_root: FloatArray
    photo_root: FloatArray

    @classmethod
    def of(cls, observed: Observations, components: Components) -> _Layout:
        """Give columns to what several blocks share, in the order in which it is met."""
        colours = observed.colours
        place, effects = colours.effects_of(observed.rows)
        scope = colours.scope[effects].astype(np.intp)
        keys = scope * len(colours.names) + colours.name[effects]
        shared = _users(scope, observed.block[place], len(colours.scopes)) > 1
        key_column, end = _columns(keys[shared[scope]], len(colours.names) * len(colours.scopes), 3, 1)
        photo_column, end = _columns_of(observed.photo, observed.block, end)
        plank_column, end = _columns_of(observed.plank, observed.block, end)
        wood_column, end = _columns_of(observed.wood, observed.block, end)
        roots = root_of(np.array(components.plank)), root_of(np.array(components.photo))
        return cls(observed, end, key_column, photo_column, plank_column, wood_column, *roots)

    def arrays(self, chunk: _Chunk) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Measured values (n, 3m), covariance of what only each block feels (n, 3m, 3m), moves by shared unknowns."""
        observed = self.observed
        n, m = chunk.observed.shape
        rows = observed.rows[chunk.observed]
        measured, own = observed.colours.labs[rows], observed.colours.own[rows]
        covariance = np.zeros((n, m, 3, m, 3))
        slots = np.arange(m)
        covariance[:, slots, :, slots, :] = np.swapaxes(own, 0, 1)
        moved = np.zeros((n, m, 3, self.unknowns))
        private = []
        for slot, key, column, vectors in self._effects(chunk):
            shared = column >= 0
            where = (slot[shared, None] * 3 + _AXES) * self.unknowns + column[shared, None]
            np.add.at(moved.reshape(-1), where.ravel(), vectors[shared].ravel())
            private.append((slot[~shared], key[~shared], vectors[~shared]))
        slot, key, vectors = (np.concatenate(each) for each in zip(*private, strict=True))
        covariance += _felt_alone(slot, key, vectors, n, m)
        moved[:, ~chunk.of_board, :, :3] += np.eye(3)
        return (
            measured.reshape(n, 3 * m),
            covariance.reshape(n, 3 * m, 3 * m) + _JITTER * np.eye(3 * m),
            moved.reshape(n, 3 * m, self.unknowns),
        )

    def _effects(self, chunk: _Chunk) -> Iterator[tuple[Ints, Ints, Ints, FloatArray]]:
        """All that moves a chunk's colours: which colour (block times m), which unknown, its column, and how."""
        observed = self.observed
        flat = chunk.observed.ravel()
        slot, effects = observed.colours.effects_of(observed.rows[flat])
        colours = observed.colours
        keys = colours.scope[effects].astype(np.intp) * len(colours.names) + colours.name[effects]
        yield slot, keys, self.key_column[keys], colours.vectors[effects]
        first = len(self.key_column)
        for things, columns, root in (
            (observed.photo, self.photo_column, self.photo_root),
            (observed.plank, self.plank_column, self.plank_root),
            (observed.wood, self.wood_column, _WOOD_ROOT),
        ):
            yield _scatter(things[flat], first, columns, root)
            first += 3 * len(columns)


def _scatter(things: Ints, first: int, columns: Ints, root: FloatArray) -> tuple[Ints, Ints, Ints, FloatArray]:
    """Return the three unknowns of each photo's, plank's or wood's own, as `_Layout._effects` gives effects."""
    slot = np.flatnonzero(things >= 0)
    thing = things[slot]
    column = columns[thing]
    each = np.where(column[:, None] >= 0, column[:, None] + _AXES, -1)
    keys = first + 3 * thing[:, None] + _AXES
    return np.repeat(slot, 3), keys.ravel(), each.ravel(), np.tile(root.T, (len(thing), 1))


def _felt_alone(slot: Ints, key: Ints, vectors: FloatArray, n: int, m: int) -> FloatArray:
    """Covariance by unknowns that one block feels, shape (n, m, 3, m, 3); those of one key move its colours as one."""
    block, colour = slot // m, slot % m
    most = int(key.max(initial=0)) + 1
    felt, which = np.unique(block * most + key, return_inverse=True)
    of_block = felt // most
    local = np.arange(len(felt)) - np.searchsorted(of_block, np.arange(n))[of_block]
    factors = np.zeros((n, int(local.max(initial=-1)) + 1, m, 3))
    np.add.at(factors, (block, local[which], colour), vectors)
    flat = factors.reshape(n, -1, 3 * m)
    covariance: FloatArray = (np.swapaxes(flat, 1, 2) @ flat).reshape(n, m, 3, m, 3)
    return covariance


def _users(things: Ints, block: Ints, count: int) -> Ints:
    """In how many blocks each thing is met, shape (count,)."""
    blocks = int(block.max(initial=0)) + 1
    return np.bincount(np.unique(things * blocks + block) // blocks, minlength=count)


def _columns_of(things: Ints, block: Ints, first: int) -> tuple[Ints, int]:
    """Three columns from `first` on for each thing several blocks feel, -1 for others; and the next free one."""
    known = things >= 0
    things, count = things[known], int(things.max(initial=-1)) + 1
    shared = _users(things, block[known], count) > 1
    return _columns(things[shared[things]], count, first, 3)


def _columns(met: Ints, count: int, first: int, width: int) -> tuple[Ints, int]:
    """Columns of things from `first` on, in the order they are met, -1 for the others; and the next free column."""
    columns = np.full(count, -1)
    things, at = np.unique(met, return_index=True)
    columns[things[np.argsort(at)]] = first + width * np.arange(len(things))
    return columns, first + width * len(things)
