"""The printed strip as a rendered object: a raster of how much paper shows, and the spectra of paper and ink."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from finishlab.colorimetry.spaces import srgb_to_linear
from finishlab.colorimetry.spectra import WAVELENGTHS
from finishlab.demo.encode import letter_mask
from finishlab.imaging.strip import STRIP, PrintModel, Rect
from finishlab.imaging.tags import tag_modules

__all__ = ["PrintedStrip", "paper_share"]


@dataclass(frozen=True, slots=True)
class PrintedStrip:
    """One print of the strip: its number, and what paper and ink are like.

    The reflectance of a grey g is that of `PrintModel`; over wavelength it is tilted by a slight cast.
    """

    number: int = 7
    model: PrintModel = field(default_factory=PrintModel)
    paper_cast: float = -0.02
    """Relative slope of the paper's reflectance from 400 to 700 nm; negative is bluish."""
    ink_cast: float = 0.03
    """The same for black ink; positive is brownish."""

    def spectra(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the reflectance factors of paper and of black ink, each shape (61,)."""
        slope = (WAVELENGTHS - 555.0) / 300.0
        paper = self.model.paper * (1.0 + self.paper_cast * slope)
        ink = self.model.black * (1.0 + self.ink_cast * slope)
        return np.clip(paper, 0.0, 1.0), np.clip(ink, 0.0, 1.0)


@lru_cache(maxsize=8)
def _grey_raster(number: int, per_mm: int) -> np.ndarray:
    """Rasterise the DeviceGray values of the strip, cells of 1/per_mm mm, shape (46 per_mm, 190 per_mm) float32."""
    grey = np.ones((round(STRIP.height * per_mm), round(STRIP.width * per_mm)), dtype=np.float32)

    def box(rect: Rect) -> tuple[slice, slice]:
        return (
            slice(round(rect.y * per_mm), round(rect.bottom * per_mm)),
            slice(round(rect.x * per_mm), round(rect.right * per_mm)),
        )

    for patch in STRIP.patches:
        grey[box(patch.rect)] = STRIP.greys[patch.level]
    for tag, tag_id in zip(STRIP.tags, STRIP.tag_ids(number), strict=True):
        rows, columns = box(tag.rect)
        cells = tag_modules(tag_id)
        side = cells.shape[0]
        row = np.arange(rows.stop - rows.start) * side // (rows.stop - rows.start)
        column = np.arange(columns.stop - columns.start) * side // (columns.stop - columns.start)
        grey[rows, columns] = cells[np.ix_(row, column)]
    for screen in STRIP.screens:
        for line in screen.lines():
            grey[box(line)] = 0.0
    rows, columns = box(STRIP.number_text)
    ink = letter_mask(
        f"strip {number}   board edge above, floor edge below",
        grey[rows, columns].shape[0],
        grey[rows, columns].shape[1],
    )
    grey[rows, columns] *= 1.0 - ink
    return grey


def paper_share(number: int, gamma: float, px_per_mm: float) -> tuple[np.ndarray, float]:
    """Return how much paper, rather than ink, shows over the strip, averaged to about the photo's scale.

    Parameters
    ----------
    number
        Strip number.
    gamma
        As in `PrintModel`.
    px_per_mm
        Scale of the photo.

    Returns
    -------
    share, per_mm
        Shape (H, W) float32 in 0..1, linear in reflectance; and its cells per millimetre.
    """
    from scipy.ndimage import gaussian_filter

    per_mm = 10
    share = np.asarray(srgb_to_linear(_grey_raster(number, per_mm)) ** gamma, dtype=np.float32)
    if px_per_mm < per_mm:
        share = gaussian_filter(share, 0.4 * per_mm / px_per_mm, mode="nearest")
    return share, float(per_mm)
