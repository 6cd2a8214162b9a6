"""The mean colour of a surface in linear light, and how well that mean is known.

The mean is taken of light, as an instrument takes it; CIELAB comes after. Neighbouring pixels along the grain are not
independent, so the error of the mean comes from blocks: squares of several sizes, whole rows and whole columns are
tried, and the division that finds the largest error is believed. With grain along the strip the rows differ most,
across it the columns do; squares larger than the figure catch the rest.

Of a coarse JPEG the mean chroma is where it must have lain for its blocks to be rounded as they were. A block's mean
chroma is known to lie between two values. Over an even surface most blocks fall between the same two. Which few do
not, and how dark these are, says how far from the middle the mean must be. The chroma of blocks is taken as normal
about a line in their luma; the posterior's mean over line and scatter is returned, with its error. Where all blocks
are rounded alike that is the middle, as before, but without the decoder's rounding to whole codes.

docs/decisions/0016-rounded-chroma.md records the trial.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.errors import QualityError
from finishlab.imaging.correction import Correction
from finishlab.imaging.finder import apply_homography
from finishlab.imaging.opencv import shrink, warp
from finishlab.imaging.pixels import ChromaBlocks, LinearImage
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.surface import Surface

__all__ = [
    "CHROMA_TO_RGB",
    "ChromaMove",
    "Sample",
    "chroma_move",
    "dequantize_chroma",
    "mean_before_rounding",
    "sample",
]

_BLOCKS_MM: Final = (
    (5.0, 5.0), (8.0, 8.0), (12.0, 12.0), (18.0, 14.0), (np.inf, 3.0), (np.inf, 6.0), (5.0, np.inf), (10.0, np.inf),
)  # fmt: skip
"""Widths and heights of the blocks tried; inf runs through the field."""
_LEAST_FILL: Final = 0.4
"""A block counts when at least this share of it is surface."""
_MOST_SHARED: Final = 0.75
"""Largest correlation of neighbouring blocks that is reckoned with."""
_LEAST_AREA_MM2: Final = 250.0


@dataclass(frozen=True, eq=False, slots=True)
class Sample:
    """What was sampled."""

    rgb: np.ndarray
    """Shape (3,): mean reflectance factor, linear RGB of sRGB's primaries, saturation as taken."""
    covariance: np.ndarray
    """Shape (3, 3): of the mean, from block to block."""
    blocks: np.ndarray
    """Shape (n, 3): means of 5 mm squares: how the surface varies."""
    fine: np.ndarray
    """Shape (m, 3): about a thousand pixels drawn evenly, for the spread of lightness."""
    place: tuple[float, float]
    """Centre of what was sampled, millimetres of the strip frame."""
    chroma_error: tuple[float, float] | None = None
    """Standard deviation of Cb and Cr, in codes, that a coarse JPEG leaves (`dequantize_chroma`); None where it was not
    worked out."""


def sample(image: CorrectedImage, surface: Surface, least_area_mm2: float = _LEAST_AREA_MM2) -> Sample:
    """Average a surface of at least so many square millimetres.

    Raises
    ------
    QualityError
        ``surface-too-small`` if less than about 2.5 square centimetres are left.
    """
    mask = surface.mask
    count = int(mask.sum())
    if not count or count / image.px_per_mm**2 < least_area_mm2:
        raise QualityError(
            "surface-too-small",
            f"Only {count / image.px_per_mm**2 / 100:.1f} square centimetres of surface are left to measure.",
            "Clear the field, turn the work out of the glare, or use a larger board.",
        )
    sums, per_mm = _cell_sums(image, mask)
    mean = sums[..., :3].sum(axis=(0, 1)) / sums[..., 3].sum()
    covariance = np.zeros((3, 3))
    for width, height in _BLOCKS_MM:
        blocks, share = _block_means(sums, width * per_mm, height * per_mm, image.px_per_mm / per_mm)
        found = _covariance_of_mean(blocks, share, in_a_row=bool(np.isinf(width) or np.isinf(height)))
        if found is not None and np.trace(found) > np.trace(covariance):
            covariance = found
    places = np.flatnonzero(mask)
    fine = image.rgb.reshape(-1, 3)[places[:: max(1, count // 1000)]].astype(np.float64)
    if not covariance.any():
        # Too few blocks for any division: the pixels' own scatter over a handful of independent places.
        covariance = np.cov(fine.T) / 4
    squares, _ = _block_means(sums, 5.0 * per_mm, 5.0 * per_mm, image.px_per_mm / per_mm)
    if len(squares) < 3:
        squares = fine[:: max(1, len(fine) // 50)]
    return Sample(mean, covariance, squares, fine, _centre(image, sums))


def _cell_sums(image: CorrectedImage, mask: np.ndarray) -> tuple[np.ndarray, float]:
    """Return sums of r, g, b and pixels over cells of about a millimetre, shape (h, w, 4), and the cells per mm."""
    size = max(1, round(image.px_per_mm))
    h, w = (n // size for n in mask.shape)
    weights = mask[: h * size, : w * size].astype(np.float32)
    rgb = image.rgb[: h * size, : w * size] * weights[..., None]
    cells = np.empty((h, w, 4))
    cells[..., :3] = shrink(rgb, size) * size**2
    cells[..., 3] = shrink(weights, size) * size**2
    return cells, image.px_per_mm / size


def _centre(image: CorrectedImage, sums: np.ndarray) -> tuple[float, float]:
    """Return the centre of what was sampled, in millimetres of the strip frame."""
    h, w = sums.shape[:2]
    weights = sums[..., 3] / sums[..., 3].sum()
    x = float(weights.sum(axis=0) @ (np.arange(w) + 0.5)) / w
    y = float(weights.sum(axis=1) @ (np.arange(h) + 0.5)) / h
    return image.rect.x + x * image.rect.width, image.rect.y + y * image.rect.height


def _block_means(sums: np.ndarray, width: float, height: float, cell: float) -> tuple[np.ndarray, np.ndarray]:
    """Return means and weights of the blocks filled well enough: shapes (n, 3) and (n,).

    `width` and `height` are in cells, `cell` is a cell's side in pixels.
    """
    h, w = sums.shape[:2]
    columns = max(1, round(w / width)) if np.isfinite(width) else 1
    rows = max(1, round(h / height)) if np.isfinite(height) else 1
    y = np.linspace(0, h, rows + 1).astype(int)[:-1]
    x = np.linspace(0, w, columns + 1).astype(int)[:-1]
    total = np.add.reduceat(np.add.reduceat(sums, y, axis=0), x, axis=1).reshape(-1, 4)
    area = h * w / (rows * columns) * cell**2
    # A block through the whole field may hold a board that fills only part of it.
    full = np.isinf(width) or np.isinf(height)
    least = _LEAST_FILL * (float(total[:, 3].max()) if full else area)
    kept = total[total[:, 3] >= max(least, 1.0)]
    return kept[:, :3] / kept[:, 3:], kept[:, 3]


def _covariance_of_mean(blocks: np.ndarray, weights: np.ndarray, *, in_a_row: bool) -> np.ndarray | None:
    """Return the covariance of the weighted mean of blocks, or None below five blocks.

    Blocks that follow one another across the field may still share a band of the figure. What neighbours have in common
    makes fewer of them independent, by (1 - r) / (1 + r) for a correlation r from one to the next (G. V. Bayley,
    J. M. Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) 184-197, first-order case).
    """
    n = len(blocks)
    if n < 5:
        return None
    share = weights / weights.sum()
    off = blocks - share @ blocks
    scatter = np.einsum("n,ni,nj->ij", share**2, off, off) / max(1e-9, 1 - float((share**2).sum()))
    if in_a_row:
        shared = float((off[1:] * off[:-1]).sum() / max(1e-12, float((off**2).sum())))
        # Chance alone gives a short series about 1 / sqrt(n); a real correlation is understated by it.
        shared = min(shared + (1 + 3 * shared) / (2 * n), _MOST_SHARED) if shared > n**-0.5 else 0.0
        scatter = scatter * (1 + shared) / (1 - shared)
    # Few blocks know their own scatter badly: widen as Student's t with n - 1 degrees of freedom does.
    return np.asarray(scatter * (n - 1) / (n - 3))


CHROMA_TO_RGB: Final = np.array([[0.0, 1.402], [-0.344136, -0.714136], [1.772, 0.0]])
"""What a code of Cb and of Cr does to R, G and B, shape (3, 2) (JFIF, ITU-T T.871)."""
_LUMA: Final = np.array([0.299, 0.587, 0.114])
"""Weights of R, G and B in luma (the same)."""
_COVERED: Final = 0.9
"""Share of a block that must be surface."""
_FEWEST: Final = 12
"""Blocks below which nothing is said."""
_SLOPE: Final = (0.4, 0.3)
"""Mean and standard deviation of how chroma goes with luma within a surface, 1 in proportion. On rendered woods and
prints -0.1 to 1: a phone's tone curve makes what is darker more colourful."""
_SCATTER: Final = (0.18, 0.7)
"""Scatter of blocks about that line, in codes: middle, and standard deviation of its logarithm. On rendered woods and
prints 0.1 to 0.4, to 1.5 with noise."""
_SCATTERS: Final = np.exp(np.linspace(np.log(0.06), np.log(2.0), 9))
_SPREAD: Final = np.linspace(-2.0, 2.0, 7)
"""Places of the slope's prior that are tried, in its standard deviations."""
_GRID: Final = 41
_STRAY: Final = 1e-5
"""Chance of a block that follows no line."""
_LEAST_ERROR: Final = 0.05
"""Standard deviation, in codes, of what blocks at the rim and the encoder's own sums leave."""
_FINE: Final = 64
"""Parts of a code in which limits are told apart."""
_DARKEST: Final = 1e-4
_WIDE: Final = 1.5
"""Scatter of blocks, over the width of what they are rounded to, from which a plain mean is as good."""


@dataclass(frozen=True, slots=True)
class ChromaMove:
    """What is to be added to a surface's mean (Cb, Cr) as decoded, in codes, and the standard deviation left."""

    move: tuple[float, float]
    error: tuple[float, float]


def chroma_move(image: LinearImage, to_pixels: np.ndarray, mask: np.ndarray) -> ChromaMove | None:
    """Return how far the mean chroma of a surface was rounded off.

    Parameters
    ----------
    image
        The photo.
    to_pixels
        Shape (3, 3): pixels of the mask -> decoded pixels of the photo.
    mask
        Shape (h, w), bool: the surface.

    Returns
    -------
    ChromaMove or None
        None where the file is not rounded coarsely, or too few blocks are surface.
    """
    blocks = image.chroma
    if blocks is None or image.encoded.dtype != np.uint8:
        return None
    rows, columns = _blocks_about(blocks, to_pixels, mask)
    if rows.stop <= rows.start or columns.stop <= columns.start:
        return None
    (width, height), (left, top) = blocks.side, blocks.first
    left, top = left + columns.start * width, top + rows.start * height
    count = (rows.stop - rows.start, columns.stop - columns.start)
    size = (count[1] * width, count[0] * height)
    shift = np.array([[1.0, 0.0, -left], [0.0, 1.0, -top], [0.0, 0.0, 1.0]])
    share = warp(mask.astype(np.float32), np.linalg.inv(shift @ to_pixels), size)
    covered = share.reshape(count[0], height, count[1], width).mean(axis=(1, 3)) >= _COVERED
    if covered.sum() < _FEWEST:
        return None
    codes = image.encoded[top : top + size[1], left : left + size[0]]
    rgb = codes.reshape(count[0], height, count[1], width, 3).mean(axis=(1, 3))[covered]
    luma = rgb @ _LUMA
    seen = ((rgb[:, 2] - luma) / CHROMA_TO_RGB[2, 0], (rgb[:, 0] - luma) / CHROMA_TO_RGB[0, 1])
    low, high = blocks.low[rows, columns][covered], blocks.high[rows, columns][covered]
    found = [mean_before_rounding(low[:, k], high[:, k], luma) for k in range(2)]
    return ChromaMove(
        move=(found[0][0] - float(seen[0].mean()), found[1][0] - float(seen[1].mean())),
        error=(found[0][1], found[1][1]),
    )


def _blocks_about(blocks: ChromaBlocks, to_pixels: np.ndarray, mask: np.ndarray) -> tuple[slice, slice]:
    """Return the rows and columns of blocks that hold the mask's rectangle."""
    h, w = mask.shape
    corners = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]])
    at = (apply_homography(to_pixels, corners) + 0.5 - blocks.first) / blocks.side
    low = np.maximum(np.floor(at.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(at.max(axis=0)).astype(int), blocks.low.shape[1::-1])
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))


def mean_before_rounding(low: np.ndarray, high: np.ndarray, luma: np.ndarray) -> tuple[float, float]:
    """Return the mean of values known only between limits, and its standard deviation.

    The posterior mean of a regression on interval-censored data, on a grid over mean, slope and scatter.

    Parameters
    ----------
    low, high
        Shape (N,): between what each value lies.
    luma
        Shape (N,): what they go with.
    """
    from scipy.special import ndtr

    middle, width = (low + high) / 2, float((high - low).max())
    about, n = float(middle.mean()), len(middle)
    if middle.std() > _WIDE * width:
        return about, float(np.hypot(middle.std() / np.sqrt(n), _LEAST_ERROR))
    off = luma - luma.mean()
    slopes = (_SLOPE[0] + _SLOPE[1] * _SPREAD) * about / max(float(luma.mean()), 1.0)
    prior = -0.5 * _SPREAD[:, None] ** 2 - 0.5 * ((np.log(_SCATTERS) - np.log(_SCATTER[0])) / _SCATTER[1]) ** 2
    low, high, off, count = _grouped(low, high, off)
    reach, mean, error = 1.2 * width, about, 0.0
    for _ in range(2):  # the second time closer in
        tried = np.linspace(mean - reach, mean + reach, _GRID)
        line = tried[:, None, None, None] + slopes[:, None, None] * off
        scatter = _SCATTERS[:, None]
        chance = ndtr((high - line) / scatter) - ndtr((low - line) / scatter)
        log = np.log(chance + _STRAY) @ count + prior
        weight = np.exp(log - log.max()).sum(axis=(1, 2))
        weight /= weight.sum()
        mean = float(weight @ tried)
        error = float(np.sqrt(weight @ (tried - mean) ** 2))
        reach = max(5.0 * error, 3.0 * float(tried[1] - tried[0]))
    return mean, float(np.hypot(error, _LEAST_ERROR))


def _grouped(
    low: np.ndarray, high: np.ndarray, off: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return blocks of like limits and like luma as one, and how many each stands for."""
    step = max(0.25, float(off.std()) / 4)
    # one whole number for each kind of block: sorting rows of floats takes many times as long
    key = np.rint(low * _FINE) * 2**24 + np.rint((high - low) * _FINE) * 2**10 + np.clip(np.rint(off / step), -511, 511)
    _, group, count = np.unique(key.astype(np.int64), return_inverse=True, return_counts=True)
    means = (np.bincount(group.ravel(), values) / count for values in (low, high, off))
    first, second, third = means
    return first, second, third, count.astype(float)


def dequantize_chroma(
    found: Sample, image: LinearImage, correction: Correction, to_pixels: np.ndarray, mask: np.ndarray
) -> Sample:
    """Return a sample with its mean chroma put right, as it is where there is nothing to be put right.

    Parameters
    ----------
    found
        What was sampled.
    image, correction
        The photo, and what the sample was corrected by.
    to_pixels, mask
        See `chroma_move`.
    """
    by = chroma_move(image, to_pixels, mask)
    if by is None:
        return found
    place, codes = np.asarray(found.place), np.arange(len(image.decode), dtype=float)
    value = correction.value_of(np.linalg.inv(image.to_srgb) @ found.rgb, place)
    code = np.interp(value, image.decode, codes) + CHROMA_TO_RGB @ by.move
    rgb = image.to_srgb @ correction.reflectance(np.interp(code, codes, image.decode), place)
    factor = rgb / np.where(np.abs(found.rgb) > _DARKEST, found.rgb, 1.0)
    factor = np.where((factor > 0.5) & (factor < 2.0), factor, 1.0)
    return replace(found, rgb=rgb, blocks=found.blocks * factor, fine=found.fine * factor, chroma_error=by.error)
