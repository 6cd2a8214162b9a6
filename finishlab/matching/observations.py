"""What was measured of boards and floor, as arrays, and how much each surface feels what its photos share.

A block is a board with the floors seen beside it, or a plank. No object is made for an observation, so that thousands
cost little.

Each measurement states its shared effects as worked out at its own reading, and they grow with the colour. Taken as
they stand, a reading that came out high by its own noise would feel the camera more than its fellows, so that least
squares would read their noise as evidence about the camera and draw all colours towards grey and black: Peelle's
pertinent puzzle (in Fröhner, Nucl. Sci. Eng. 126 (1997) 1, from memory). Its cure is to take relative errors from the
estimate and not from each reading. So each vector is carried from its reading to the mean colour of its surface, and
all observations of one surface that share an unknown get the mean of theirs. The floor is one surface: how its planks
differ is noise too as far as its mean is concerned.

How a vector changes with the colour is not stored. It is foretold from the vector itself, as kriging does from one
place (N. Cressie, Statistics for Spatial Data, 1993): of all errors a camera's matrix and boost, or a print's tone,
paper and black, could make, the likeliest that make this vector at the reading make the foretold one at the mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.estimate import ColourTable, LabEstimate, less_wood
from finishlab.colorimetry.spaces import lab_to_rgb, linear_to_srgb, rgb_to_lab, srgb_to_linear

FloatArray = NDArray[np.float64]
Ints = NDArray[np.intp]

_CONSTANT: Final = "camera-print-"
"""Effects so called are alike at all colours (`finishlab.colorimetry.camera_error.PRINT_AGAINST_WOOD`)."""
_LEAST: Final = 1e-4
"""Smallest linear light whose colour is taken."""
_STEP: Final = 0.1
"""Share of each error that is tried out: small enough to be of first order."""
_CELLS: Final = [(i, j) for i in range(3) for j in range(3) if i != j]
_CELL: Final = 0.05
"""Usual size of an error of a cell of a camera's matrix that keeps white."""
_BOOST: Final = 0.06
"""The same of its boost of saturation."""
_PRINT: Final = (0.05, 0.02, 0.008)
"""The same of a print's exponent, paper and black."""
_CHANNEL: Final = 0.2
"""Each channel's own as a share of these."""
_EXACT: Final = 1e-6
"""Added to variances so that a direction no error moves can be solved."""


@dataclass(frozen=True, slots=True)
class Observations:
    """All that was measured, block by block: first the boards, of each its own colours before the floors beside it."""

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
    """Whose wood's error it has beside its own, by number; -1 for none, shape (n,). All -1 until
    `with_surface_effects`."""
    at_surfaces: bool = False
    """Whether effects are the surfaces' rather than the readings' (`with_surface_effects`)."""

    def only(self, boards: Sequence[int]) -> Observations:
        """Return what was observed of some boards, in this order, and of the planks."""
        blocks = int(self.block.max(initial=self.boards - 1)) + 1
        new = np.full(blocks, -1)
        new[self.boards :] = np.arange(blocks - self.boards) + len(boards)
        new[list(boards)] = np.arange(len(boards))
        kept = np.flatnonzero(new[self.block] >= 0)
        kept = kept[np.argsort(new[self.block[kept]], kind="stable")]
        return replace(
            self,
            colours=self.colours.only(self.rows[kept]),
            rows=np.arange(len(kept)),
            block=new[self.block[kept]],
            photo=self.photo[kept],
            plank=self.plank[kept],
            wood=self.wood[kept],
            boards=len(boards),
        )

    def with_photo(self, block: int, colour: LabEstimate | None, floor: LabEstimate | None) -> Observations:
        """Return these and one more photo: of a board, of the floor beside it, or with a new `block` of a new plank."""
        colours = [each for each in (colour, floor) if each is not None]
        more = len(colours)
        new_plank = int(self.plank.max(initial=-1)) + 1
        planks = [new_plank if each is floor else -1 for each in colours]
        blocks = np.concatenate([self.block, np.full(more, block)])
        plank = np.concatenate([self.plank, planks])
        order = np.lexsort((plank >= 0, blocks))
        return replace(
            self,
            colours=self.colours.joined(ColourTable.of(colours)),
            rows=np.concatenate([self.rows, len(self.colours) + np.arange(more)])[order],
            block=blocks[order],
            photo=np.concatenate([self.photo, np.full(more, int(self.photo.max(initial=-1)) + 1)])[order],
            plank=plank[order],
            wood=np.concatenate([self.wood, np.full(more, -1)])[order],
        )


class ObservationsBuilder:
    """Numbers photos and planks while observations come in."""

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

    def build(self, colours: ColourTable, boards: int) -> Observations:
        """Return the observations; `colours` is the table the rows are of."""
        lists = (self._rows, self._block, self._photo, self._plank)
        rows, block, photo, plank = (np.array(each, dtype=np.intp) for each in lists)
        return Observations(colours, rows, block, photo, plank, boards, np.full(len(rows), -1, dtype=np.intp))


def beside(board: str, photo: str) -> str:
    """Return how the plank beside a board in a photo is called."""
    return f"beside {board}, photo {photo}"


def with_surface_effects(observed: Observations) -> Observations:
    """Return observations of which each feels what is shared as its surface does, and its own error without the wood's.

    Parameters
    ----------
    observed
        As measured; what this function returned comes back unchanged.

    Returns
    -------
    Observations
        Their colours in a table of their own, in order; `Observations.wood` says whose wood's error each has on top.
    """
    if observed.at_surfaces:
        return observed
    colours = observed.colours
    surface = np.where(observed.plank >= 0, observed.boards, observed.block)
    place, effects = colours.effects_of(observed.rows)
    own, wood = colours.own[observed.rows], colours.wood[observed.rows]
    own[wood] = less_wood(own[wood])
    scope = _scopes(colours, surface[place], effects)
    of_camera = _begins(colours.scopes, "camera:")[scope]
    by = np.full(len(surface), -1)
    by[place[of_camera]] = scope[of_camera]
    whose = np.full(len(surface), -1)
    whose[wood] = _numbered(surface[wood], by[wood])
    counts = colours.first[observed.rows + 1] - colours.first[observed.rows]
    table = ColourTable(
        colours.labs[observed.rows],
        own,
        np.concatenate([[0], np.cumsum(counts)]).astype(np.intp),
        colours.name[effects],
        scope,
        _means(_at_means(observed, surface, place, effects), _numbered(surface[place], scope, colours.name[effects])),
        colours.names,
        colours.scopes,
        np.zeros(len(surface), dtype=bool),
    )
    return replace(observed, colours=table, rows=np.arange(len(surface)), wood=whose, at_surfaces=True)


def _scopes(colours: ColourTable, surface: Ints, effects: Ints) -> NDArray[np.int32]:
    """Return each effect's scope; greys named by hand are one card's in all photos of a surface, as they likely are."""
    scope = colours.scope[effects]
    by_hand = np.flatnonzero(_begins(colours.scopes, "greys:")[scope])
    first = np.full(int(surface.max(initial=0)) + 1, len(colours.scopes), dtype=np.int32)
    np.minimum.at(first, surface[by_hand], scope[by_hand])
    scope[by_hand] = first[surface[by_hand]]
    return scope


def _at_means(observed: Observations, surface: Ints, place: Ints, effects: Ints) -> FloatArray:
    """Return each effect as it is at the mean colour of its surface, shape (m, 3)."""
    colours = observed.colours
    labs = colours.labs[observed.rows]
    middle = _means(labs, surface)
    vectors = colours.vectors[effects]
    constant = _begins(colours.names, _CONSTANT)[colours.name[effects]]
    moves = ~constant & (np.bincount(surface)[surface] > 1)[place]
    of_camera = _begins(colours.scopes, "camera:")[colours.scope[effects]]
    for camera in (True, False):
        these = np.flatnonzero(moves & (of_camera == camera))
        vectors[these] = carried(vectors[these], labs, middle, place[these], camera=camera)
    return vectors


def _begins(texts: Sequence[str], start: str) -> NDArray[np.bool_]:
    return np.array([each.startswith(start) for each in texts], dtype=bool)


def carried(vectors: FloatArray, labs: FloatArray, to: FloatArray, place: Ints, *, camera: bool) -> FloatArray:
    """Return what effects are at other colours than those they were worked out at.

    Parameters
    ----------
    vectors
        Effects, shape (m, 3).
    labs, to
        Readings and the colours to carry to, each shape (n, 3).
    place
        Which reading each effect is of, shape (m,).
    camera
        Whether they are a camera's; otherwise a print's or a fit's.
    """
    readings, which = np.unique(place, return_inverse=True)
    there = _errors(to[readings], camera=camera)
    here = _errors(labs[readings], camera=camera)
    turned = np.swapaxes(here, 1, 2)
    carry = there @ turned @ np.linalg.inv(here @ turned + _EXACT * np.eye(3))
    moved: FloatArray = np.einsum("nij,nj->ni", carry[which], vectors)
    return moved


def _errors(labs: FloatArray, *, camera: bool) -> FloatArray:
    """What errors of their usual size do to colours, to first order, shape (n, 3, errors)."""
    rgb = np.maximum(lab_to_rgb(labs), _LEAST)
    tried = _camera_errors(rgb) if camera else _print_errors(rgb)
    moved = rgb_to_lab(np.maximum(tried, _LEAST)) - labs
    return np.asarray(np.moveaxis(moved, 0, -1) / _STEP)


def _camera_errors(rgb: FloatArray) -> FloatArray:
    """Linear light with each cell of the matrix, and the boost of saturation, a little off, shape (7, n, 3)."""
    tried = np.repeat(rgb[None], len(_CELLS) + 1, axis=0)
    for k, (i, j) in enumerate(_CELLS):
        tried[k, :, i] += _STEP * _CELL * (rgb[:, j] - rgb[:, i])
    code = linear_to_srgb(rgb)
    boosted = code + _STEP * _BOOST * (code - code.mean(axis=1, keepdims=True))
    tried[-1] = srgb_to_linear(np.clip(boosted, 0.0, None))
    return tried


def _print_errors(rgb: FloatArray) -> FloatArray:
    """Linear light with tone, paper and black a little off, in common and in each channel, shape (12, n, 3)."""
    tried = []
    for channels in np.vstack([np.ones((1, 3)), _CHANNEL * np.eye(3)]):
        tone, paper, black = (_STEP * size * channels for size in _PRINT)
        tried += [rgb ** (1.0 + tone), rgb * (1.0 + paper), rgb + black * (1.0 - rgb)]
    return np.array(tried)


def _numbered(*things: NDArray[np.integer[Any]]) -> Ints:
    """Number the different combinations of what is given, shape (n,)."""
    key = np.zeros(len(things[0]), dtype=np.int64)
    for each in things:
        key = key * (int(each.max(initial=0)) + 2) + each + 1
    return np.unique(key, return_inverse=True)[1]


def _means(values: FloatArray, group: Ints) -> FloatArray:
    """Each row's mean over its group, shape (n, 3)."""
    count = np.bincount(group)
    sums = np.stack([np.bincount(group, column) for column in values.T], axis=1)
    means: FloatArray = (sums / count[:, None])[group]
    return means
