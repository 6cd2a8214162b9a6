"""The mean colour of a surface in linear light, how well that mean is known, and how the surface looks beyond it.

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

**No light left.** Under a warm lamp, or with white taken wrong, the blue of a wood can fall to the lowest codes. What
is cut off there cannot be found again: the mean comes out too light in that channel, though nothing looks burnt out.
docs/decisions/0015-order-of-boards.md records what it is worth.

**Texture.** How strong the grain is, which way it runs, how blotchy the rest is. Lightness is taken over
half-millimetre squares, since pores are finer and a camera's noise lives there. What differs within eight millimetres
is grain; what differs from one place to another beyond that is blotch. The direction is that of the structure tensor:
the mean of the gradient's outer products (J. Bigun, G. H. Granlund, Proc. 1st ICCV (1987) 433-438), whose weaker
eigenvector runs along the grain.

Whether the photo is blurred all over is told from its own strongest edges, strip or not. A sharp photo has a sharp edge
somewhere: a board's side, a tag, grain. In a blurred one even the strongest edges take many pixels. A photo without
strong edges, of a bare wall or a soft shadow, says nothing either way and is not called blurred. In a very noisy photo
the noise passes for sharp edges, and it is not called blurred either.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import QualityError
from finishlab.imaging.correction import Correction
from finishlab.imaging.finder import apply_homography
from finishlab.imaging.opencv import cv2, grey_of, shrink, warp
from finishlab.imaging.pixels import ChromaBlocks, LinearImage
from finishlab.imaging.processing import LUMA
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.surface import Surface

_BOTTOM: Final = 0.00061
"""Linear value up to which a channel holds nothing: code 2 of 255 by the curve of sRGB (IEC 61966-2-1)."""
_LIT: Final = 0.02
"""Linear value that another channel must reach: in a black pore nothing is cut off that would count."""
_NAMES: Final[tuple[Literal["red", "green", "blue"], ...]] = ("red", "green", "blue")


@dataclass(frozen=True, slots=True)
class BlackClipping:
    """The channel of which a surface has lost most, and how much of the surface that is, 0..1."""

    share: float
    name: Literal["red", "green", "blue"]


def black_clipping(image: LinearImage, pixels: np.ndarray) -> BlackClipping:
    """Return which channel holds nothing at most of the places.

    Parameters
    ----------
    image
        The photo.
    pixels
        Shape (N, 2), x and y in decoded pixels: where the surface was sampled. The nearest pixel's own codes are
        looked at, since a mean of neighbours hides which of them hold nothing.
    """
    if not len(pixels):
        return BlackClipping(0.0, "blue")
    width, height = image.size
    places = np.rint(pixels).astype(int)
    x, y = np.clip(places[:, 0], 0, width - 1), np.clip(places[:, 1], 0, height - 1)
    values = image.decode[image.encoded[y, x]]
    lost = ((values <= _BOTTOM) & (values.max(axis=1, keepdims=True) >= _LIT)).mean(axis=0)
    worst = int(lost.argmax())
    return BlackClipping(float(lost[worst]), _NAMES[worst])


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


_FINE_MM: Final = 0.5
_COARSE_MM: Final = 8.0
"""Squares whose means bound the grain; both common practice, no source."""
_FILLED: Final = 0.7
"""Share of a square that must be surface for it to count."""
_CLEAR: Final = 0.30
"""Coherence from which grain is said to have a direction; texture without any stays below, see the tests."""
_LEAST_CONTRAST: Final = 0.35
"""Grain in L* below which noise and JPEG blocks may have a direction of their own."""
_LEAST_CELLS: Final = 200


@dataclass(frozen=True, slots=True)
class TextureFigures:
    """Texture of the sampled part of a field."""

    contrast: float
    """Standard deviation of L* between 0.5 and 8 mm."""
    blotch: float
    """Standard deviation of L* beyond 8 mm."""
    coherence: float
    """How much the texture runs one way: 0 none, 1 lines."""
    direction_deg: float | None
    """Angle of the grain from the grid's x axis, clockwise, above -90 up to 90; None without a clear direction."""


def texture_of(image: CorrectedImage, mask: np.ndarray) -> TextureFigures | None:
    """Return the texture of the part of a corrected field that a mask holds, None if it is too small to tell.

    Parameters
    ----------
    image
        The corrected field.
    mask
        Shape (h, w), bool: what is surface.
    """
    step = max(1, round(_FINE_MM * image.px_per_mm))
    size = (mask.shape[1] // step, mask.shape[0] // step)
    if min(size) < 8:
        return None
    grey = cv2.transform(image.rgb, LUMA.astype(np.float32)[None])
    solid = mask.astype(np.float32)
    share = _squares(solid, size, step)
    mean = _squares(grey * solid, size, step) / np.maximum(share, 1e-6)
    there = share > _FILLED
    if there.sum() < _LEAST_CELLS:
        return None
    lightness = np.where(there, lightness_of_reflectance(np.maximum(mean, 0.0)), 0.0).astype(np.float32)
    weight = there.astype(np.float32)
    wide = max(3, round(_COARSE_MM * image.px_per_mm / step))
    filled = cv2.blur(weight, (wide, wide), borderType=cv2.BORDER_REFLECT)
    low = cv2.blur(lightness, (wide, wide), borderType=cv2.BORDER_REFLECT) / np.maximum(filled, 1e-3)
    grain = (lightness - low) * weight
    contrast, blotch = float(grain[there].std()), float(low[there].std())
    coherence, direction = _direction(grain, there)
    clear = coherence >= _CLEAR and contrast >= _LEAST_CONTRAST
    return TextureFigures(contrast, blotch, coherence, direction if clear else None)


def _squares(values: np.ndarray, size: tuple[int, int], step: int) -> np.ndarray:
    """Return the means of `step` x `step` pixels; what is left over at the right and below is dropped."""
    whole = values[: size[1] * step, : size[0] * step]
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA))


def _direction(grain: np.ndarray, there: np.ndarray) -> tuple[float, float]:
    """Return coherence and the angle of the grain in degrees, above -90 up to 90."""
    # Smoothing before the gradient: single squares hold the noise and the steps of JPEG.
    smooth = cv2.GaussianBlur(grain, (0, 0), 1.0)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    # The border of what is sampled is no grain.
    inner = cv2.erode(there.astype(np.uint8), np.ones((7, 7), np.uint8), borderType=cv2.BORDER_REPLICATE) > 0
    if inner.sum() < _LEAST_CELLS:
        return 0.0, 0.0
    # Plain sums: a library that starts threads for a dot product takes longer than the sum.
    x, y = gx[inner].astype(float), gy[inner].astype(float)
    xx, yy, xy = (float((one * other).sum()) for one, other in ((x, x), (y, y), (x, y)))
    if xx + yy <= 0:
        return 0.0, 0.0
    coherence = float(np.hypot(xx - yy, 2 * xy)) / (xx + yy)
    across = np.rad2deg(0.5 * np.arctan2(2 * xy, xx - yy))
    return coherence, float(across - 90 if across > 0 else across + 90)


_LONG_SIDE: Final = 1200
"""Size at which edges are looked at: that at which the strip's tags are looked for first."""
_REACH: Final = 16
"""Pixels about an edge in which no stronger one may lie, and over which its contrast is taken."""
_CONTRAST: Final = (20, 40)
"""Least contrast, in codes of 255, of an edge that can show the photo to be sharp, and of one to judge by."""
_EDGES: Final = 12
"""Edges that are enough to judge by."""
_SHARPEST: Final = 0.05
"""Share of the edges that may be sharp by chance, as noise or a fleck makes them."""
_BLURRED: Final = 6.0
"""Rise from 10 to 90 %, in pixels, above which tags are not found any more."""
_BOTH_WAYS: Final = 0.1
"""Least share of edges across the main direction: one soft shadow has edges one way only."""


def looks_blurred(image: LinearImage) -> bool:
    """Return whether even the strongest edges of a photo are wide; False where it has too few to tell."""
    grey = grey_of(image.encoded)
    # A little smoothing keeps noise from passing for sharp edges.
    grey = cv2.GaussianBlur(shrink(grey, max(grey.shape) / _LONG_SIDE).astype(np.float32), (0, 0), 1.0)
    across, down = (cv2.Sobel(grey, cv2.CV_32F, dx, 1 - dx, ksize=3, scale=1 / 8) for dx in (1, 0))
    slope = np.hypot(across, down)
    around = np.ones((2 * _REACH + 1, 2 * _REACH + 1), np.uint8)
    contrast = cv2.dilate(grey, around) - cv2.erode(grey, around)
    strongest = (slope >= cv2.dilate(slope, around)) & (contrast >= _CONTRAST[0])
    inside = np.zeros_like(strongest)
    inside[_REACH:-_REACH, _REACH:-_REACH] = True
    rows, columns = np.nonzero(strongest & inside)
    strong = contrast[rows, columns] >= _CONTRAST[1]
    if strong.sum() < _EDGES:
        return False
    width = 0.8 * contrast[rows, columns] / slope[rows, columns]
    rows, columns = rows[strong], columns[strong]
    steep = slope[rows, columns]
    direction = np.stack([across[rows, columns], down[rows, columns]]) / steep
    if np.linalg.eigvalsh(direction @ direction.T / len(rows))[0] < _BOTH_WAYS:
        return False
    return bool(np.quantile(width, _SHARPEST) > _BLURRED)
