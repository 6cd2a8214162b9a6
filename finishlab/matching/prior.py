"""What is believed of boards before they are measured: that they scatter about a middle, learned from themselves.

A board that looks the nearest of many looks so partly by luck. With each colour left wide open, that luck would be
taken at its word. So boards are believed to scatter normally about a common middle, and the middle about the floor,
since boards are made to meet it (empirical Bayes in the full form: B. P. Carlin, T. A. Louis, Bayes and Empirical Bayes
Methods for Data Analysis, 2nd ed., 2000, chapter 3). Middle, size and shape of that scatter come from all boards; how
unsure the sizes and the middle are is drawn too, so that few boards, or boards far apart, are hardly drawn together. It
serves the chances alone: shown colours and intervals are as measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Prior", "Scatter", "learn_prior"]

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
        Boards and floor as `finishlab.matching.simulate.Together` holds them.

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
    values, axes = np.linalg.eigh(np.cov(labs.T) - own.mean(axis=0))
    between = (axes * np.clip(values, 0.0, None)) @ axes.T
    size = np.trace(between) / np.trace(_USUAL_SHAPE)
    if size <= 0.0:
        return _USUAL_SHAPE
    shape: FloatArray = (_SHAPE_WEIGHT * _USUAL_SHAPE + (n - 1) * between / size) / (_SHAPE_WEIGHT + n - 1)
    return shape
