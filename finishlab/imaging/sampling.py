"""The mean colour of a surface in linear light, and how well that mean is known.

The mean is taken of light, as an instrument takes it; CIELAB comes after. Neighbouring pixels along the grain are not
independent, so the error of the mean comes from blocks: squares of several sizes, whole rows and whole columns are
tried, and the division that finds the largest error is believed. With grain along the strip the rows differ most,
across it the columns do; squares larger than the figure catch the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.errors import QualityError
from finishlab.imaging.corrected import CorrectedImage
from finishlab.imaging.resample import shrink
from finishlab.imaging.surface import Surface

__all__ = ["Sample", "sample"]

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
    """Standard deviation of Cb and Cr, in codes, that a coarse JPEG leaves (`finishlab.imaging.chroma`); None where it
    was not worked out."""


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
