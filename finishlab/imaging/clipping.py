"""Pixels that do not show the surface: mirrored light, and channels with no light left.

**Mirrored light** is found by what it does to colour, not by brightness alone. A highlight adds the light's own colour
to the surface's (S. A. Shafer's dichromatic model, Color Research and Application 10 (1985) 210-218). After correction
the light is neutral, so each pixel is taken as ``k * surface + s * white``: grain changes k, glare raises s.

**No light left.** Under a warm lamp, or with white taken wrong, the blue of a wood can fall to the lowest codes. What
is cut off there cannot be found again: the mean comes out too light in that channel, though nothing looks burnt out.
docs/decisions/0015-order-of-boards.md records what it is worth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from finishlab.imaging.opencv import channel_mean, cv2
from finishlab.imaging.pixels import LinearImage

__all__ = ["BlackClipping", "black_clipping", "glare_mask"]

_SPECK: Final = (0.7, 0.05, 5.0)
"""Fine scale: smoothing (mm), least added white as reflectance, least excess in robust deviations."""
_LOBE: Final = (5.0, 0.010, 3.5)
"""Broad scale: the same; wide smoothing averages the grain out, so faint broad highlights are seen."""


_SHEEN: Final = 0.03
"""Added white over the field's least, as reflectance, above which it is glare whatever the rest does."""
_EVERY: Final = 7
"""Every so many pixels are enough for a median."""


def added_white(rgb: np.ndarray, surface: np.ndarray) -> np.ndarray:
    """Return the white added to each pixel over `surface`, as reflectance, shape (...).

    Least squares of ``rgb = k * surface + s * white``. For a grey surface the two cannot be told apart and 0 is given.
    """
    white = np.ones(3)
    basis = np.stack([surface, white], axis=1)
    if np.linalg.cond(basis / np.linalg.norm(basis, axis=0)) > 60:
        return np.zeros(rgb.shape[:-1], dtype=np.float32)
    row = np.linalg.pinv(basis)[1].astype(np.float32)
    return np.asarray(rgb @ row)


def glare_mask(rgb: np.ndarray, on_surface: np.ndarray, px_per_mm: float) -> np.ndarray:
    """Return where light is mirrored.

    Parameters
    ----------
    rgb
        Shape (h, w, 3), corrected reflectance.
    on_surface
        Shape (h, w), bool: where to take the surface's own colour from.
    px_per_mm
        Resolution.

    Returns
    -------
    ndarray, shape (h, w), bool
    """
    if not on_surface.any():
        return np.zeros(on_surface.shape, dtype=bool)
    places = np.flatnonzero(on_surface)[::_EVERY]
    surface = np.median(rgb.reshape(-1, 3)[places], axis=0)
    white = added_white(rgb, surface)
    brightness = channel_mean(rgb)
    white = np.clip(white, -1.0, 1.0)
    usual = float(np.median(brightness.ravel()[places]))
    mask: np.ndarray = np.zeros(on_surface.shape, dtype=bool)
    on = on_surface.astype(np.float32)
    for sigma_mm, least, deviations in (_SPECK, _LOBE):
        # A wide blur is the same on a coarser grid, and far cheaper. What lies beside the surface must not bleed in,
        # so sums over the surface are blurred and divided by its blurred share.
        step = max(1, round(sigma_mm * px_per_mm / 2))
        there = _blur(_coarse(on, step), sigma_mm * px_per_mm / step)
        smooth, bright = (
            _blur(_coarse(a * on, step), sigma_mm * px_per_mm / step) / np.maximum(there, 1e-3)
            for a in (white, brightness)
        )
        here = smooth[there > 0.5]
        if not here.size:
            continue
        # Highlights only ever add: the lower half of the distribution shows how the surface itself scatters. A sheen
        # over most of the field is scatter itself, so no more than `_SHEEN` over the least is believed to be wood.
        least_here, low, middle = np.quantile(here, [0.05, 0.16, 0.45])
        limit = middle + max(least, deviations * float(middle - low))
        if sigma_mm >= _LOBE[0]:
            limit = min(limit, least_here + _SHEEN)
        found = (smooth > limit) & (bright > 0.97 * usual)
        size = (mask.shape[1], mask.shape[0])
        mask |= np.asarray(cv2.resize(found.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)) > 0
    mask |= brightness > max(2.2 * usual, usual + 0.25)
    grow = max(1, round(1.0 * px_per_mm))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((2 * grow + 1, 2 * grow + 1), np.uint8)) > 0)


def _coarse(image: np.ndarray, step: int) -> np.ndarray:
    size = (max(1, image.shape[1] // step), max(1, image.shape[0] // step))
    return np.asarray(cv2.resize(np.ascontiguousarray(image), size, interpolation=cv2.INTER_AREA))


def _blur(image: np.ndarray, sigma: float) -> np.ndarray:
    return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(image, dtype=np.float32), (0, 0), max(sigma, 0.3)))


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
