"""Looks at boards and planks as arrays: which colours belong together, and which unknowns they share.

A block is a board with the floors seen beside it, or a plank. Unknowns that only one block feels are taken into its
covariance; those of several blocks get columns. No object is made for a look, so that thousands cost little.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.estimate import WOOD_ALONE, LabEstimate
from finishlab.colorimetry.table import ColourTable

if TYPE_CHECKING:
    from finishlab.matching.components import Components
    from finishlab.matching.evidence import BoardLooks, PlankLooks

__all__ = ["Chunk", "Layout", "Looks", "LooksBuilder", "beside", "chunks_of", "looks_of"]

FloatArray = NDArray[np.float64]
Ints = NDArray[np.intp]

_AT_ONCE: Final = 1024
"""Blocks solved together, so that memory stays bounded."""
_JITTER: Final = 1e-8
"""Added to each variance so that colours said to be exact can be solved: a ten-thousandth of a unit."""
_AXES: Final = np.arange(3)


def _root(covariance: ArrayLike) -> FloatArray:
    values, axes = np.linalg.eigh(np.asarray(covariance, dtype=np.float64))
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))
    return root


_WOOD_ROOT: Final = _root(WOOD_ALONE)


@dataclass(frozen=True, slots=True)
class Looks:
    """All looks, block by block: first the boards', each board's own colours before the floors beside it."""

    colours: ColourTable
    rows: Ints
    """Row of each colour in the table, shape (n,)."""
    block: Ints
    """Its block, ascending, shape (n,)."""
    photo: Ints
    """Its photo, by number, shape (n,)."""
    plank: Ints
    """Its plank, by number; -1 for a board's colour, shape (n,)."""
    boards: int
    """How many of the blocks are boards."""
    wood: Ints
    """Whose wood's error it has beside its own, by number; -1 for none, shape (n,). All -1 until `even`."""
    even: bool = False
    """Whether effects are the surfaces' rather than the readings' (`finishlab.matching.sensitivities.even`)."""


class LooksBuilder:
    """Numbers photos and planks while looks come in."""

    def __init__(self) -> None:
        self._rows: list[int] = []
        self._block: list[int] = []
        self._photo: list[int] = []
        self._plank: list[int] = []
        self._photos: dict[str, int] = {}
        self._planks: dict[str, int] = {}

    def add(self, block: int, row: int, photo: str, plank: str | None = None) -> None:
        """Add a colour of a board, or of the plank that is named."""
        self._rows.append(row)
        self._block.append(block)
        self._photo.append(self._photos.setdefault(photo, len(self._photos)))
        self._plank.append(-1 if plank is None else self._planks.setdefault(plank, len(self._planks)))

    def build(self, colours: ColourTable, boards: int) -> Looks:
        """Return the looks; `colours` is the table the rows are of."""
        lists = (self._rows, self._block, self._photo, self._plank)
        rows, block, photo, plank = (np.array(each, dtype=np.intp) for each in lists)
        return Looks(colours, rows, block, photo, plank, boards, np.full(len(rows), -1, dtype=np.intp))


def looks_of(boards: Sequence[BoardLooks], planks: Sequence[PlankLooks]) -> Looks:
    """Lay out looks that come as objects."""
    builder = LooksBuilder()
    estimates: list[LabEstimate] = []
    for block, board in enumerate(boards):
        for look in board.looks:
            builder.add(block, len(estimates), look.photo)
            estimates.append(look.estimate)
        for look in board.looks:
            if look.floor is not None:
                builder.add(block, len(estimates), look.photo, look.spot or beside(board.board, look.photo))
                estimates.append(look.floor)
    for block, plank in enumerate(planks, start=len(boards)):
        for look in plank.looks:
            builder.add(block, len(estimates), look.photo, plank.spot)
            estimates.append(look.estimate)
    return builder.build(ColourTable.of(estimates), len(boards))


def beside(board: str, photo: str) -> str:
    """Return how the plank beside a board in a photo is called."""
    return f"beside {board}, photo {photo}"


@dataclass(frozen=True, slots=True)
class Chunk:
    """Blocks of one shape: as many colours, as many of them the board's own."""

    blocks: Ints
    """Shape (n,)."""
    looks: Ints
    """Numbers of their looks, shape (n, m)."""
    of_board: NDArray[np.bool_]
    """Which of a block's colours are the board's own, shape (m,)."""


def chunks_of(looks: Looks) -> Iterator[Chunk]:
    """Sort blocks by their shape; planks have no board."""
    _, start, size = np.unique(looks.block, return_index=True, return_counts=True)
    own = np.add.reduceat(looks.plank < 0, start) if len(start) else size
    shapes: dict[tuple[int, int, bool], list[int]] = {}
    for i, shape in enumerate(zip(size.tolist(), own.tolist(), strict=True)):
        shapes.setdefault((*shape, i < looks.boards), []).append(i)
    for (many, of_board, _), members in shapes.items():
        for first in range(0, len(members), _AT_ONCE):
            part = np.array(members[first : first + _AT_ONCE], dtype=np.intp)
            yield Chunk(part, start[part][:, None] + np.arange(many), np.arange(many) < of_board)


@dataclass(frozen=True, slots=True)
class Layout:
    """Which unknowns are shared between blocks: the first three columns are the floor's mean."""

    looks: Looks
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
    def of(cls, looks: Looks, components: Components) -> Layout:
        """Give columns to what several blocks share, in the order in which it is met."""
        colours = looks.colours
        place, effects = colours.effects_of(looks.rows)
        scope = colours.scope[effects].astype(np.intp)
        keys = scope * len(colours.names) + colours.name[effects]
        shared = _users(scope, looks.block[place], len(colours.scopes)) > 1
        key_column, end = _columns(keys[shared[scope]], len(colours.names) * len(colours.scopes), 3, 1)
        photo_column, end = _columns_of(looks.photo, looks.block, end)
        plank_column, end = _columns_of(looks.plank, looks.block, end)
        wood_column, end = _columns_of(looks.wood, looks.block, end)
        roots = _root(components.plank), _root(components.photo)
        return cls(looks, end, key_column, photo_column, plank_column, wood_column, *roots)

    def arrays(self, chunk: Chunk) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Measured values (n, 3m), covariance of what only each block feels (n, 3m, 3m), moves by shared unknowns."""
        looks = self.looks
        n, m = chunk.looks.shape
        rows = looks.rows[chunk.looks]
        measured, own = looks.colours.labs[rows], looks.colours.own[rows]
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

    def _effects(self, chunk: Chunk) -> Iterator[tuple[Ints, Ints, Ints, FloatArray]]:
        """All that moves a chunk's colours: which colour (block times m), which unknown, its column, and how."""
        looks = self.looks
        flat = chunk.looks.ravel()
        slot, effects = looks.colours.effects_of(looks.rows[flat])
        colours = looks.colours
        keys = colours.scope[effects].astype(np.intp) * len(colours.names) + colours.name[effects]
        yield slot, keys, self.key_column[keys], colours.vectors[effects]
        first = len(self.key_column)
        for things, columns, root in (
            (looks.photo, self.photo_column, self.photo_root),
            (looks.plank, self.plank_column, self.plank_root),
            (looks.wood, self.wood_column, _WOOD_ROOT),
        ):
            yield _scatter(things[flat], first, columns, root)
            first += 3 * len(columns)


def _scatter(things: Ints, first: int, columns: Ints, root: FloatArray) -> tuple[Ints, Ints, Ints, FloatArray]:
    """Return the three unknowns of each photo's, plank's or wood's own, as `Layout._effects` gives effects."""
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
