"""The printed strip as a rendered object: a raster of how much paper shows, and the spectra of paper and ink.

Solid black (tags, lettering, screens of lines, the black patches) is drawn on cells of 1/40 mm with the share of
each cell that ink covers; there the ink's edges grow and light spreads in the paper. Everything is then averaged, in
linear light, to cells of at most a quarter of a pixel: what a lens cannot resolve it mixes so, before any tone curve.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import WAVELENGTHS
from finishlab.imaging.finder import tag_modules
from finishlab.imaging.strip import STRIP, Rect
from render.encode import letter_mask
from render.fields import averaged, gaussian
from render.printers import Printer

__all__ = ["CAST_CELLS", "PrintedStrip", "cast_raster", "paper_share", "solid_share"]

_FINE: Final = 40
"""Cells of 1 mm in which solid black is drawn."""
_SCALES: Final = (5, 8, 10, 20, 40)
"""Cells of 1 mm to which it is averaged."""
_REACH: Final = 0.5
"""How far ink and light spread at most, mm."""
CAST_CELLS: Final = 2
"""Cells of 1 mm for casts, which only whole patches have."""
_GROUND: Final = Rect(0.0, 0.0, STRIP.width, STRIP.height)


@dataclass(frozen=True, slots=True)
class PrintedStrip:
    """One print of the strip: its number, the printer that made it, and the casts of its paper and black."""

    number: int = 7
    printer: Printer = field(default_factory=Printer)
    paper_cast: float = -0.02
    """Relative slope of the paper's reflectance from 400 to 700 nm; negative is bluish."""
    ink_cast: float = 0.03
    """The same for black ink; positive is brownish."""

    def spectra(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the reflectance factors of paper and of solid black, each shape (61,)."""
        slope = (WAVELENGTHS - 555.0) / 300.0
        paper = self.printer.paper * (1.0 + self.paper_cast * slope)
        ink = self.printer.black * (1.0 + self.ink_cast * slope)
        return np.clip(paper, 0.0, 1.0), np.clip(ink, 0.0, 1.0)

    def cast_spectra(self) -> tuple[np.ndarray, np.ndarray]:
        """Return what a slope and a bump of 1 add to the spectrum of a grey as light as paper, each shape (61,)."""
        bump = np.exp(-0.5 * ((WAVELENGTHS - 550.0) / 40.0) ** 2)
        return self.printer.paper * (WAVELENGTHS - 555.0) / 300.0, self.printer.paper * (bump - bump.mean())


def _cover(start: float, stop: float, count: int, per_mm: float) -> np.ndarray:
    """Return the share of each of `count` cells of 1/per_mm mm that lies between two places (mm)."""
    edges = np.arange(count + 1) / per_mm
    covered = np.minimum(edges[1:], stop) - np.maximum(edges[:-1], start)
    return np.asarray(np.maximum(covered, 0.0) * per_mm)


def _ink(black: list[Rect], frame: Rect, edge: float) -> np.ndarray:
    """Return the share of each fine cell of a frame that solid black covers, its edges grown."""
    out = np.zeros((round(frame.height * _FINE), round(frame.width * _FINE)), dtype=np.float32)
    for rect in black:
        rows = _cover(rect.y - edge - frame.y, rect.bottom + edge - frame.y, out.shape[0], _FINE)
        cols = _cover(rect.x - edge - frame.x, rect.right + edge - frame.x, out.shape[1], _FINE)
        r, c = np.flatnonzero(rows), np.flatnonzero(cols)
        if r.size and c.size:
            part = out[r[0] : r[-1] + 1, c[0] : c[-1] + 1]
            np.maximum(part, np.outer(rows[r], cols[c]).astype(np.float32), out=part)
    return out


def _black_shapes(number: int) -> Iterator[tuple[Rect, list[Rect]]]:
    """Yield frame and rectangles of each thing printed in solid black, lettering left out."""
    for patch in STRIP.patches:
        if STRIP.greys[patch.level] == 0.0:
            yield patch.rect, [patch.rect]
    for tag, tag_id in zip(STRIP.tags, STRIP.tag_ids(number), strict=True):
        cells = tag_modules(tag_id)
        side = tag.rect.width / len(cells)
        x, y = tag.rect.x, tag.rect.y
        yield tag.rect, [Rect(x + c * side, y + r * side, side, side) for r, c in np.argwhere(~cells)]
    for screen in STRIP.screens:
        yield screen.rect, list(screen.lines())


def solid_share(ink: np.ndarray, solid: float, spread: float, per_mm: float = _FINE) -> np.ndarray:
    """Return the reflectance, over bare paper's, of solid black on paper in which light spreads.

    ``t * (t spread)``: what the ink lets in at a place, spread, has to come out through the ink again (Yule, Nielsen
    1951). Without spread that is Murray's and Davies's mean of ink and paper by area.

    Parameters
    ----------
    ink
        Share of each cell that ink covers, shape (H, W).
    solid
        Reflectance of solid black over paper's.
    spread
        Deviation of the spread, mm.
    per_mm
        Cells of 1 mm.
    """
    if spread <= 0.0:
        return np.asarray(1.0 - (1.0 - solid) * ink)
    through = 1.0 - np.float32(1.0 - np.sqrt(solid)) * ink
    return np.asarray(through * gaussian(through, spread * per_mm, rim="nearest", reach=3.5))


def _padded(rect: Rect) -> Rect:
    """Return a frame on whole millimetres of the strip that holds a rectangle and what spreads from it."""
    left, top = np.floor(rect.x - _REACH), np.floor(rect.y - _REACH)
    right, bottom = np.ceil(rect.right + _REACH), np.ceil(rect.bottom + _REACH)
    left, top = max(left, 0.0), max(top, 0.0)
    return Rect(left, top, min(right, STRIP.width) - left, min(bottom, STRIP.height) - top)


def _box(rect: Rect, per_mm: int) -> tuple[slice, slice]:
    return (
        slice(round(rect.y * per_mm), round(rect.bottom * per_mm)),
        slice(round(rect.x * per_mm), round(rect.right * per_mm)),
    )


def _bands(printer: Printer, per_mm: int) -> np.ndarray:
    """Return the factor on ink density over the strip, broadcast from (H, 1) and (1, W)."""
    y, x = np.arange(round(STRIP.height * per_mm)) / per_mm, np.arange(round(STRIP.width * per_mm)) / per_mm
    slow = printer.bands[0] * np.sin(2 * np.pi * (x / printer.band_mm[0] + printer.paper))
    fast = printer.bands[1] * np.sin(2 * np.pi * (y / printer.band_mm[1] + printer.ink))
    return np.asarray(1.0 + fast[:, None] + slow[None, :], dtype=np.float32)


@lru_cache(maxsize=3)
def _raster(number: int, printer: Printer, per_mm: int) -> np.ndarray:
    """Return the luminous reflectance over the strip, over bare paper's, shape (46 per_mm, 190 per_mm) float32."""
    out = np.ones((round(STRIP.height * per_mm), round(STRIP.width * per_mm)), dtype=np.float32)
    solid = printer.black / printer.paper
    for patch in STRIP.patches:
        grey = STRIP.greys[patch.level]
        if 0.0 < grey < 1.0:
            out[_box(patch.rect, per_mm)] = float(printer.reflectance(np.array(grey))) / printer.paper
    many = _FINE // per_mm
    for rect, black in _black_shapes(number):
        frame = _padded(rect)
        fine = solid_share(_ink(black, frame, printer.edge), solid, printer.spread)
        out[_box(frame, per_mm)] *= averaged(fine, many)
    rows_, cols_ = _box(STRIP.number_text, per_mm)
    words = f"strip {number}"
    out[rows_, cols_] *= 1.0 - (1.0 - solid) * letter_mask(words, *out[rows_, cols_].shape)
    if any(printer.bands):
        # Density is minus the logarithm, so a change of density is an exponent.
        np.maximum(out, solid, out=out)
        out **= _bands(printer, per_mm)
    out.setflags(write=False)
    return out


def paper_share(strip: PrintedStrip, px_per_mm: float) -> tuple[np.ndarray, float]:
    """Return how much paper, rather than solid black, shows over the strip, averaged below the photo's scale.

    Parameters
    ----------
    strip
        The print.
    px_per_mm
        Largest scale of the strip in the photo.

    Returns
    -------
    share, per_mm
        Shape (H, W) float32, 0 solid black to 1 paper, linear in reflectance; and its cells per millimetre.
    """
    printer = strip.printer
    per_mm = next((each for each in _SCALES if each >= 4.0 * px_per_mm), _FINE)
    solid = printer.black / printer.paper
    return (_raster(strip.number, printer, per_mm) - np.float32(solid)) / np.float32(1.0 - solid), float(per_mm)


def cast_raster(strip: PrintedStrip) -> np.ndarray | None:
    """Return slope and bump of the composite ink's cast times lightness over the strip, or None if it has none.

    Shape (2, 46 `CAST_CELLS`, 190 `CAST_CELLS`) float32, as factors on `PrintedStrip.cast_spectra`.
    """
    printer = strip.printer
    if not any(printer.casts):
        return None
    out = np.zeros((2, round(STRIP.height * CAST_CELLS), round(STRIP.width * CAST_CELLS)), dtype=np.float32)
    for patch in STRIP.patches:
        grey = np.array(STRIP.greys[patch.level])
        share = float(printer.reflectance(grey)) / printer.paper
        out[(slice(None), *_box(patch.rect, CAST_CELLS))] = share * np.array(printer.cast(grey))[:, None, None]
    return out
