"""True colours of boards and floor as they may be together: their joint distribution, its prior, drawing, and recipes.

An effect that several of them share is drawn once, so that it moves them together: it cancels in their order as it does
in the world.

A board that looks the nearest of many looks so partly by luck. With each colour left wide open, that luck would be
taken at its word. So boards are believed to scatter normally about a common middle, and the middle about the floor,
since boards are made to meet it (empirical Bayes in the full form: B. P. Carlin, T. A. Louis, Bayes and Empirical Bayes
Methods for Data Analysis, 2nd ed., 2000, chapter 3). Middle, size and shape of that scatter come from all boards; how
unsure the sizes and the middle are is drawn too, so that few boards, or boards far apart, are hardly drawn together. It
serves the chances alone: shown colours and intervals are as measured.

Recipes stand in place of boards, each pooled over the boards it was tried on. A board is its recipe's colour plus a
chance of its own (the wood, the wiping). How large that is, is found from all recipes with two boards or more; where
there are few it leans on what is usual. A recipe's colour is the mean of its boards, each at its weight; what the
boards share with others stays shared.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.estimate import positive_part, root_of

FloatArray = NDArray[np.float64]

_USUAL_SHAPE: Final = np.diag([1.0, 0.36, 0.64])
"""Covariance of (L*, a*, b*) of test boards, but for its size; this tool's own."""
_SHAPE_WEIGHT: Final = 5.0
"""Boards that the usual shape counts as."""
_SIZES: Final = np.geomspace(0.03, 20.0, 48)
"""Standard deviations of L* between boards that are thought possible."""
_OFF: Final = 0.5
"""How far the middle of all boards is usually off the floor, in the same units: boards are made to meet it. Half of a
Cauchy distribution, so that boards plainly made for another colour are left there."""
_MOST: Final = 200
"""Boards it is learned from: more would hardly change it."""
_BATCH: Final = 16
"""Boards drawn at once."""
_EXACT: Final = 1e-10
"""Added to each variance, so that what one board may be can be weighed against how boards scatter."""
USUAL_BOARD: Final = (1.0, 0.4, 0.8)
"""Standard deviation of L*, a*, b* from board to board of one recipe on one wood; this tool's own."""
_USUAL_BOARDS: Final = 3.0
"""Boards that the usual figure counts as."""


@dataclass(frozen=True, slots=True)
class Prior:
    """How boards scatter, for each size that is thought possible."""

    root: FloatArray
    """Of the scatter's covariance at size 1, shape (3, 3)."""
    chances: FloatArray
    """How likely each of `_SIZES` is as the boards' scatter about their middle, shape (g,)."""
    middles: FloatArray
    """Middle of the boards for each size, less the floor, shape (g, 3)."""
    unsure: FloatArray
    """Covariance of the middle, shape (g, 3, 3)."""
    off_chances: FloatArray
    """How likely each of `_SIZES` is for how far the middle is off the floor, shape (g,)."""
    apart: FloatArray
    """What each shared unknown does to the middle less what it does to the floor, shape (k, 3)."""

    def draw(self, unknowns: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, Scatter]:
        """Draw scatters for worlds whose shared unknowns are drawn, shape (count, k).

        Returns
        -------
        unknowns : ndarray, shape (count, k)
            As they are once it is believed that boards lie about the floor (conditioning by kriging: the drawn worlds
            are moved by what the belief makes of their distance).
        scatter : Scatter
            Its middles are less the floor of each world.
        """
        count = len(unknowns)
        which = rng.choice(len(_SIZES), count, p=self.chances)
        unsure = self.unsure[which]
        noise = np.einsum("nij,nj->ni", np.linalg.cholesky(unsure), rng.standard_normal((count, 3)))
        off = _SIZES[rng.choice(len(_SIZES), count, p=self.off_chances)]
        middles = self.middles[which] + noise + unknowns @ self.apart
        surprise = middles + off[:, None] * (rng.standard_normal((count, 3)) @ self.root.T)
        whole = unsure + self.apart.T @ self.apart + (off**2)[:, None, None] * (self.root @ self.root.T)
        pulled = np.linalg.solve(whole, surprise[..., None])[..., 0]
        moved = pulled @ self.apart.T
        middles = middles - np.einsum("nij,nj->ni", unsure, pulled) - moved @ self.apart
        return unknowns - moved, Scatter(self.root, _SIZES[which] ** 2, middles)


@dataclass(frozen=True, slots=True)
class Scatter:
    """How boards scatter in each of many worlds."""

    root: FloatArray
    squares: FloatArray
    """Square of its size, shape (count,)."""
    middles: FloatArray
    """Shape (count, 3)."""

    def believed(self, measured: FloatArray, own_root: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Draw what one board may be in each world, shape (count, 3).

        Parameters
        ----------
        measured
            Where its photos put it in each world, shape (count, 3).
        own_root
            Root of the covariance of its own error, shape (3, 3).
        rng
            Source of randomness.
        """
        back = np.linalg.inv(own_root)
        seen = back @ self.root
        ratios, axes = np.linalg.eigh(seen @ seen.T)
        signal = self.squares[:, None] * np.clip(ratios, 0.0, None)
        share = signal / (1.0 + signal)
        at = (measured - self.middles) @ back.T @ axes
        drawn = share * at + np.sqrt(share) * rng.standard_normal(at.shape)
        believed: FloatArray = self.middles + drawn @ (own_root @ axes).T
        return believed


def learn_prior(
    labs: FloatArray, own: FloatArray, moves: FloatArray, floor_lab: FloatArray, floor_vectors: FloatArray
) -> Prior | None:
    """Learn how boards scatter.

    Parameters
    ----------
    labs, own, moves, floor_lab, floor_vectors
        Boards and floor as `JointColours` holds them.

    Returns
    -------
    Prior or None
        None for a single board.

    Notes
    -----
    The likelihood of a size is that of the boards with their middle left open (restricted maximum likelihood; H. D.
    Patterson, R. Thompson, Biometrika 58 (1971) 545); all variances are as likely beforehand.
    """
    if len(labs) < 2:
        return None
    picks = np.unique(np.linspace(0, len(labs) - 1, _MOST).astype(np.intp))
    labs, own, moves = labs[picks], own[picks], moves[picks]
    shape = _shape(labs, own)
    weights = np.linalg.inv(own + _SIZES[:, None, None, None] ** 2 * shape)
    information = weights.sum(axis=1)
    unsure = np.linalg.inv(information)
    middles = np.einsum("gij,gnjk,nk->gi", unsure, weights, labs)
    off = labs - middles[:, None]
    likelihood = 0.5 * (
        np.linalg.slogdet(weights)[1].sum(axis=1)
        - np.linalg.slogdet(information)[1]
        - np.einsum("gni,gnij,gnj->g", off, weights, off)
    )
    chances = _shares(likelihood + np.log(_SIZES * np.gradient(_SIZES)))
    middles, apart = middles - floor_lab, np.asarray(moves.mean(axis=0) - floor_vectors, dtype=np.float64)
    doubt = np.einsum("g,gij->ij", chances, unsure) + apart.T @ apart
    root = np.asarray(np.linalg.cholesky(shape), dtype=np.float64)
    return Prior(root, chances, middles, unsure, _off(chances @ middles, doubt, shape), apart)


def _off(middle: FloatArray, doubt: FloatArray, shape: FloatArray) -> FloatArray:
    """How likely each size is for how far the middle is off the floor, having been found at `middle` with a `doubt`."""
    precise = np.linalg.inv(doubt + _SIZES[:, None, None] ** 2 * shape)
    likelihood = 0.5 * (np.linalg.slogdet(precise)[1] - np.einsum("i,gij,j->g", middle, precise, middle))
    return _shares(likelihood + np.log(np.gradient(_SIZES)) - np.log1p((_SIZES / _OFF) ** 2))


def _shares(logarithm: FloatArray) -> FloatArray:
    chances = np.exp(logarithm - logarithm.max())
    shares: FloatArray = chances / chances.sum()
    return shares


def _shape(labs: FloatArray, own: FloatArray) -> FloatArray:
    """Covariance between boards but for its size, leaning on the usual one."""
    n = len(labs)
    between = positive_part(np.cov(labs.T) - own.mean(axis=0))
    size = np.trace(between) / np.trace(_USUAL_SHAPE)
    if size <= 0.0:
        return _USUAL_SHAPE
    shape: FloatArray = (_SHAPE_WEIGHT * _USUAL_SHAPE + (n - 1) * between / size) / (_SHAPE_WEIGHT + n - 1)
    return shape


@dataclass(frozen=True, slots=True)
class JointColours:
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

    def only(self, picks: NDArray[np.intp]) -> JointColours:
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


def draw_colours(
    colours: JointColours, picks: NDArray[np.intp], count: int, rng: np.random.Generator
) -> tuple[Iterator[FloatArray], FloatArray]:
    """Draw what the true colours of some boards and of the floor may be.

    Parameters
    ----------
    colours
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
    unknowns = rng.standard_normal((count, len(colours.floor_vectors)))
    scatter = None
    if colours.prior is not None:
        unknowns, scatter = colours.prior.draw(unknowns, rng)
    floor = colours.floor_lab + unknowns @ colours.floor_vectors
    if scatter is not None:
        scatter = replace(scatter, middles=scatter.middles + floor)
    floor = floor + rng.standard_normal((count, 3)) @ root_of(colours.floor_own).T
    return _drawn(colours, picks, unknowns, scatter, rng), floor


def _drawn(
    colours: JointColours,
    picks: NDArray[np.intp],
    unknowns: FloatArray,
    scatter: Scatter | None,
    rng: np.random.Generator,
) -> Iterator[FloatArray]:
    count = len(unknowns)
    for first in range(0, len(picks), _BATCH):
        part = picks[first : first + _BATCH]
        moves = unknowns @ np.moveaxis(colours.moves[part], 0, 1).reshape(-1, 3 * len(part))
        roots = root_of(colours.own[part] + _EXACT * np.eye(3))
        for k, board in enumerate(part):
            measured = colours.labs[board] + moves[:, 3 * k : 3 * k + 3]
            if scatter is None:
                yield measured + rng.standard_normal((count, 3)) @ roots[k].T
            else:
                yield scatter.believed(measured, roots[k], rng)


@dataclass(frozen=True, slots=True)
class PooledRecipes:
    """Recipes, and the next board made by each."""

    names: tuple[str, ...]
    boards: tuple[tuple[int, ...], ...]
    """The boards of each recipe, by number."""
    colours: JointColours
    """The recipes' own colours with the floor."""
    board_to_board: FloatArray
    """Covariance of a board from its recipe, shape (3, 3)."""


def pool_recipes(colours: JointColours, names: Sequence[str], groups: Mapping[str, str]) -> PooledRecipes | None:
    """Pool boards by recipe.

    Parameters
    ----------
    colours
        The boards' colours with the floor.
    names
        The boards' numbers, in the same order.
    groups
        Board -> recipe; boards without one stand for themselves.

    Returns
    -------
    PooledRecipes or None
        None when no recipe has two boards: there is nothing to pool.
    """
    members: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        members.setdefault(groups.get(name, name), []).append(i)
    if all(len(boards) < 2 for boards in members.values()):
        return None
    between = _board_to_board(colours, list(members.values()))
    # most boards stand for themselves: of one board the mean is the board
    first = np.array([boards[0] for boards in members.values()])
    labs, own, moves = colours.labs[first], colours.own[first] + between, colours.moves[first]
    for i, boards in enumerate(members.values()):
        if len(boards) > 1:
            labs[i], own[i], moves[i] = _pool(colours, boards, between)
    pooled = replace(colours, labs=labs, own=own, moves=moves)
    return PooledRecipes(tuple(members), tuple(tuple(boards) for boards in members.values()), pooled, between)


def _pool(
    colours: JointColours, boards: Sequence[int], between: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, own covariance and shared moves of one recipe, each board weighed by its own error and the scatter."""
    weights = np.linalg.inv(colours.own[boards] + between)
    covariance = np.linalg.inv(weights.sum(axis=0))
    shares = covariance @ weights
    lab = np.einsum("nij,nj->i", shares, colours.labs[boards])
    moved = np.einsum("nij,nkj->ki", shares, colours.moves[boards])
    return lab, covariance, moved


def _board_to_board(colours: JointColours, recipes: Sequence[Sequence[int]]) -> FloatArray:
    """Covariance of a board from its recipe, errors taken out, leaning on the usual."""
    total, count = np.zeros((3, 3)), 0
    for boards in recipes:
        n = len(boards)
        if n < 2:
            continue
        of_unknowns = colours.moves[boards] - colours.moves[boards].mean(axis=0)
        explained = colours.own[boards].mean(axis=0) + np.einsum("nki,nkj->ij", of_unknowns, of_unknowns) / (n - 1)
        total += (n - 1) * (np.cov(colours.labs[boards].T) - explained)
        count += n - 1
    usual = _USUAL_BOARDS * np.diag(np.square(USUAL_BOARD))
    between: FloatArray = (usual + positive_part(total)) / (_USUAL_BOARDS + count)
    return between
