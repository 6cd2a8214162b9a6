"""The mean colour of a surface in linear light, and how well that mean is known.

The mean is taken of light, as an instrument takes it; CIELAB comes after. Neighbouring pixels along the grain are not
independent, so the error of the mean comes from blocks: squares of several sizes, whole rows and whole columns are tried,
and the division that finds the largest error is believed. With grain along the strip the rows differ most, across it the
columns do; squares larger than the figure catch the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.errors import QualityError
from finishlab.imaging.corrected import CorrectedImage
from finishlab.imaging.surface import Surface

__all__ = ["Sample", "sample"]

_BLOCKS_MM: Final = ((5.0, 5.0), (8.0, 8.0), (12.0, 12.0), (18.0, 14.0), (np.inf, 3.0), (np.inf, 6.0), (5.0, np.inf), (10.0, np.inf))
"""Widths and heights of the blocks tried; inf runs through the field."""
_LEAST_FILL: Final = 0.4
"""A block counts when at least this share of it is surface."""
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


def sample(image: CorrectedImage, surface: Surface) -> Sample:
    """Average a surface.

    Raises
    ------
    QualityError
        ``surface-too-small`` if less than about 2.5 square centimetres are left.
    """
    mask = surface.mask
    count = int(mask.sum())
    if count / image.px_per_mm**2 < _LEAST_AREA_MM2:
        raise QualityError(
            "surface-too-small",
            f"Only {count / image.px_per_mm**2 / 100:.1f} square centimetres of surface are left to measure.",
            "Clear the field, turn the work out of the glare, or use a larger board.",
        )
    flat = image.rgb[mask].astype(np.float64)
    mean = flat.mean(axis=0)
    weights = mask.astype(np.float64)
    sums = np.concatenate([image.rgb * weights[..., None], weights[..., None]], axis=-1, dtype=np.float64)
    covariance = np.zeros((3, 3))
    for width, height in _BLOCKS_MM:
        blocks, share = _block_means(sums, width * image.px_per_mm, height * image.px_per_mm)
        found = _covariance_of_mean(blocks, share)
        if found is not None and np.trace(found) > np.trace(covariance):
            covariance = found
    if not covariance.any():
        # Too few blocks for any division: the pixels' own scatter over a handful of independent places.
        covariance = np.cov(flat.T) / 4
    ys, xs = np.nonzero(mask)
    place = (
        image.rect.x + (float(xs.mean()) + 0.5) / image.px_per_mm,
        image.rect.y + (float(ys.mean()) + 0.5) / image.px_per_mm,
    )
    squares, _ = _block_means(sums, 5.0 * image.px_per_mm, 5.0 * image.px_per_mm)
    return Sample(mean, covariance, squares if len(squares) > 2 else flat[:: max(1, count // 50)], flat[:: max(1, count // 1000)], place)


def _block_means(sums: np.ndarray, width: float, height: float) -> tuple[np.ndarray, np.ndarray]:
    """Return means and weights of the blocks filled well enough: shapes (n, 3) and (n,)."""
    h, w = sums.shape[:2]
    columns = max(1, round(w / width)) if np.isfinite(width) else 1
    rows = max(1, round(h / height)) if np.isfinite(height) else 1
    y = np.linspace(0, h, rows + 1).astype(int)[:-1]
    x = np.linspace(0, w, columns + 1).astype(int)[:-1]
    total = np.add.reduceat(np.add.reduceat(sums, y, axis=0), x, axis=1).reshape(-1, 4)
    area = h * w / (rows * columns)
    # A block through the whole field may hold a board that fills only part of it.
    full = np.isinf(width) or np.isinf(height)
    least = _LEAST_FILL * (float(total[:, 3].max()) if full else area)
    kept = total[total[:, 3] >= max(least, 1.0)]
    return kept[:, :3] / kept[:, 3:], kept[:, 3]


def _covariance_of_mean(blocks: np.ndarray, weights: np.ndarray) -> np.ndarray | None:
    """Return the covariance of the weighted mean of blocks taken as independent, or None below five blocks."""
    n = len(blocks)
    if n < 5:
        return None
    share = weights / weights.sum()
    off = blocks - share @ blocks
    scatter = np.einsum("n,ni,nj->ij", share**2, off, off) / max(1e-9, 1 - float((share**2).sum()))
    # Few blocks know their own scatter badly: widen as Student's t with n - 1 degrees of freedom does.
    return np.asarray(scatter * (n - 1) / (n - 3))
