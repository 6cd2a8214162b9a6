"""What was measured of boards and floor, as arrays, and how it scatters: planks, photos, and the pool of floor spots.

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

How planks differ, and photos of one thing beyond their stated errors, is found from the measurements where there are
enough of them; where there are few it leans on what is usual, by the weight of a few imagined measurements: the mean of
an inverse Wishart posterior, but for its constant (A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, section
3.6).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.estimate import (
    USUAL_PLANK,
    ColourTable,
    LabEstimate,
    SharedEffect,
    less_wood,
    moves_of,
    pool_estimates,
    positive_part,
    triple,
)
from finishlab.colorimetry.spaces import lab_to_rgb, linear_to_srgb, rgb_to_lab, srgb_to_linear
from finishlab.errors import LogbookError
from finishlab.quality import Doubt, doubt

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

    @classmethod
    def of(cls, seen: Iterable[tuple[int, LabEstimate, str, str | None]], boards: int) -> Observations:
        """Lay out what was seen, block by block: block, colour, photo and, of the floor's colours, the plank's name."""
        blocks, colours, photos, planks = zip(*seen, strict=True)
        rows = np.arange(len(blocks))
        wood = np.full(len(blocks), -1)
        return cls(ColourTable.of(colours), rows, np.array(blocks), _met(photos), _met(planks), boards, wood)

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


def _met(names: Iterable[str | None]) -> Ints:
    """Number names in the order they are met; none is -1."""
    numbers: dict[str | None, int] = {None: -1}
    return np.array([numbers.setdefault(name, len(numbers) - 1) for name in names])


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


Matrix = tuple[tuple[float, ...], ...]

USUAL_PHOTO: Final = (0.25, 0.12, 0.18)
"""Standard deviation of L*, a*, b* from photo to photo beyond the stated errors; this tool's own."""
_PLANK_WEIGHT: Final = 3.0
_PHOTO_WEIGHT: Final = 6.0
"""Measurements that the usual figures count as."""
MOST_OBSERVED: Final = 200
"""Things taken for each component: more would hardly change it."""
FEW_SPOTS: Final = 5
"""Fewer spots than this are called few (common practice, no source)."""
SPREAD_LIMIT: Final = 5.0
"""Scatter of the spots (CIEDE2000) above which one of them is hardly the same floor; this tool's own."""


@dataclass(frozen=True, slots=True)
class Components:
    """Covariances of (L*, a*, b*), each of shape (3, 3)."""

    plank: Matrix
    """Of a plank from the floor's mean, widened for how little is known of it."""
    photo: Matrix
    """Of a photo, felt by all that lies in it."""
    planks: int = 0
    """Planks it was found from."""
    plank_scatter: Matrix | None = None
    """The plank's covariance as it is likeliest, not widened: for pictures and as a yardstick."""

    @classmethod
    def usual(cls) -> Components:
        """What is taken where nothing was measured."""
        plank, photo = np.diag(np.square(USUAL_PLANK)), np.diag(np.square(USUAL_PHOTO))
        return cls(_rows(plank * _widened(_PLANK_WEIGHT)), _rows(photo), 0, _rows(plank))


def estimate_components(
    planks: Sequence[Sequence[LabEstimate]], others: Iterable[Sequence[LabEstimate]] = ()
) -> Components:
    """Find both scatters.

    Parameters
    ----------
    planks
        Each plank's measurements, one a photo.
    others
        Further things measured in several photos, e.g. boards.
    """
    planks = planks[:MOST_OBSERVED]
    repeats = [each for each in (*planks, *others) if len(each) > 1][:MOST_OBSERVED]
    within, count = _photo_scatter(repeats)
    photo = (_PHOTO_WEIGHT * np.diag(np.square(USUAL_PHOTO)) + within) / (_PHOTO_WEIGHT + count)
    between = _plank_scatter(planks, photo)
    freedom = _PLANK_WEIGHT + max(len(planks) - 1, 0)
    plank = (_PLANK_WEIGHT * np.diag(np.square(USUAL_PLANK)) + between) / freedom
    return Components(_rows(plank * _widened(freedom)), _rows(photo), len(planks), _rows(plank))


def components_of(observed: Observations, most_boards: int = 100) -> Components:
    """Find both scatters from what was observed; the floors beside the first boards count as planks."""
    observed = with_surface_effects(observed)
    of_boards = observed.plank < 0
    spots = observed.block >= observed.boards
    beside = ~of_boards & ~spots & (observed.block < most_boards)
    planks = [*_groups(observed, observed.block, spots), *_groups(observed, observed.plank, beside)]
    return estimate_components(planks, _groups(observed, observed.block, of_boards, least=2))


def _groups(
    observed: Observations, thing: NDArray[np.intp], picked: NDArray[np.bool_], least: int = 1
) -> list[list[LabEstimate]]:
    """The first things' colours, thing by thing, of those with `least` observations or more."""
    at = np.flatnonzero(picked)
    at = at[np.argsort(thing[at], kind="stable")]
    start, size = np.unique(thing[at], return_index=True, return_counts=True)[1:]
    enough = np.flatnonzero(size >= least)[:MOST_OBSERVED]
    rows = (observed.rows[at[start[i] : start[i] + size[i]]] for i in enough)
    return [[observed.colours.estimate(int(row)) for row in each] for each in rows]


def _photo_scatter(repeats: Sequence[Sequence[LabEstimate]]) -> tuple[FloatArray, int]:
    """Sum of squares within things that their errors do not explain, and its degrees of freedom."""
    total, count = np.zeros((3, 3)), 0
    for estimates in repeats:
        n = len(estimates)
        total += (n - 1) * (np.cov(np.array([e.lab for e in estimates]).T) - _explained(estimates))
        count += n - 1
    return positive_part(total), count


def _plank_scatter(planks: Sequence[Sequence[LabEstimate]], photo: FloatArray) -> FloatArray:
    """Sum of squares between planks that errors and photos do not explain."""
    n = len(planks)
    if n < 2:
        return np.zeros((3, 3))
    means = [_mean(each, photo) for each in planks]
    scatter = np.cov(np.array([m.lab for m in means]).T) - _explained(means)
    return positive_part(scatter) * (n - 1)


def _mean(estimates: Sequence[LabEstimate], photo: FloatArray) -> LabEstimate:
    """Plain mean of one plank's photos, its shared effects kept."""
    n = len(estimates)
    own = (np.mean([e.own_of_photo for e in estimates], axis=0) + photo) / n
    shared = [SharedEffect(*key, triple((moves / n).sum(axis=0))) for key, moves in moves_of(estimates).items()]
    return LabEstimate.build(np.mean([e.lab for e in estimates], axis=0), own, shared)


def _explained(estimates: Sequence[LabEstimate]) -> FloatArray:
    """Scatter (n - 1) that own errors and effects not shared by all must be expected to make."""
    expected: FloatArray = np.mean([e.own_of_photo for e in estimates], axis=0)
    for moves in moves_of(estimates).values():
        expected = expected + np.cov(moves.T)
    return expected


def _widened(freedom: float) -> float:
    """By how much to widen a covariance found with so many degrees of freedom, which is itself uncertain.

    Own formula: with it the 95 % interval of a difference held the truth in 94-99 % of simulated floors of 1 to 10
    planks (see the tests).
    """
    return (freedom + 2.0) / freedom


def _rows(matrix: FloatArray) -> Matrix:
    return tuple(tuple(float(v) for v in row) for row in matrix)


@dataclass(frozen=True, slots=True)
class FloorSpot:
    """One place of the floor with everything measured there.

    Raises
    ------
    ValueError
        If nothing was measured there.
    """

    name: str
    estimates: tuple[LabEstimate, ...]
    doubts: tuple[Doubt, ...] = ()

    def __post_init__(self) -> None:
        if not self.estimates:
            raise ValueError("a floor spot needs at least one measurement")


@dataclass(frozen=True, slots=True)
class FloorPool:
    """The floor's colour from all its spots.

    Raises
    ------
    ValueError
        If there is no spot, or the spread does not fit the number of spots.
    """

    estimate: LabEstimate
    """Mean of the spots, each spot counted once; its own covariance holds measuring error and spot-to-spot scatter."""
    spots: int
    spread_e00: float | None
    """Root mean square CIEDE2000 of the spots from their mean, with n - 1; measuring error included, so an upper bound
    of how much the floor varies from plank to plank. None for one spot, which cannot tell."""
    doubts: tuple[Doubt, ...] = ()
    planks: tuple[tuple[str, tuple[float, float, float]], ...] = ()
    """Name and CIELAB of each spot, its photos averaged."""
    photos: int = 0
    """Photos the floor is seen in, those beside boards included; 0 when not counted."""
    plank_covariance: tuple[tuple[float, float, float], ...] | None = None
    """How planks scatter in (L*, a*, b*), shape (3, 3), measuring errors taken out: the ellipse of one more plank.
    With few planks it leans on what floors usually do (`Components`)."""
    colours_e00: float | None = None
    """How far its planks' colours lie from those of the floor as a whole, on average: the yardstick of
    `RankedBoard.colours_e00` (`finishlab.colorimetry.delta_e`)."""

    def __post_init__(self) -> None:
        if self.spots < 1 or (self.spread_e00 is None) != (self.spots == 1):
            raise ValueError("a floor needs a spot, and a spread exactly when it has several")

    @property
    def lab(self) -> tuple[float, float, float]:
        """CIELAB of the mean."""
        return self.estimate.lab


def pool_floor(spots: Sequence[FloorSpot]) -> FloorPool:
    """Pool the floor's spots.

    Parameters
    ----------
    spots
        The spots, each with one measurement or more; repeats of one spot are averaged first.

    Raises
    ------
    LogbookError
        ``"no-floor"`` if there is no spot.
    """
    if not spots:
        raise LogbookError(
            "no-floor",
            "The floor has not been measured yet, so there is nothing to compare the boards with.",
            "Photograph the floor beside the strip and log it: finishlab floor add PHOTO...",
        )
    each = [pool_estimates(spot.estimates) for spot in spots]
    pooled = pool_estimates(each)
    spread = None
    if len(each) > 1:
        from_mean = delta_e_00([e.lab for e in each], pooled.lab)
        spread = math.sqrt(float(np.sum(from_mean**2)) / (len(each) - 1))
    doubts = dict.fromkeys((d.code, d.message) for spot in spots for d in spot.doubts)
    first = {(d.code, d.message): d for spot in reversed(spots) for d in reversed(spot.doubts)}
    own = [doubt("few-spots", spots=len(each))] if len(each) < FEW_SPOTS else []
    if spread is not None and spread > SPREAD_LIMIT:
        middle = np.median([e.lab for e in each], axis=0)
        farthest = spots[int(np.argmax(delta_e_00([e.lab for e in each], middle)))]
        own.append(doubt("spots-disagree", spread=round(spread, 1), spot=farthest.name))
    return FloorPool(pooled, len(each), spread, tuple(own) + tuple(first[key] for key in doubts))
