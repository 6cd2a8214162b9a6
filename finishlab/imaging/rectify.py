"""The strip and its two fields laid flat: a grid of millimetres cut out of the photo, in linear light.

Off the strip its greys are read: one robust mean a patch, and what says not to trust it. A field has light, tone and
white put right: the only thing a surface may be sampled from.

**Screens.** The mean light of a screen is fixed by geometry (A. Murray, J. Franklin Inst. 221 (1936) 721-744), but for
ink that runs beyond a line's edges and for light that enters the paper between lines and is caught under them (J. A. C.
Yule, W. J. Nielsen, TAGA Proc. 3 (1951) 65-76). Both darken by so much an edge, hence more the finer the pitch.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.correction import Correction, PatchReadings
from finishlab.imaging.finder import StripFit, apply_homography
from finishlab.imaging.opencv import any_channel_at_least, apply_table, channel_mean, enlarge, recolour, shrink, warp
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP, GreyPatch, Rect, Screen, StripGeometry, Tag

_BAND_ROWS: Final = 512
"""Rows made linear at a time, so that a 100 megapixel photo stays within memory."""


@dataclass(frozen=True, eq=False, slots=True)
class FlatView:
    """A rectangle of the strip frame on an even grid."""

    values: np.ndarray
    """Shape (h, w, 3), float32; what they mean is the caller's table: file-linear values or scene exposure."""
    inside: np.ndarray
    """Shape (h, w), bool: the pixel lies in the photo."""
    clipped: np.ndarray
    """Shape (h, w), bool: a channel is at the top of its range."""
    rect: Rect
    px_per_mm: float

    def window(self, rect: Rect) -> tuple[slice, slice]:
        """Return the rows and columns whose pixel centres lie in a rectangle of the strip frame."""
        p = self.px_per_mm
        h, w = self.inside.shape
        x0, x1 = (min(max(round((x - self.rect.x) * p), 0), w) for x in (rect.x, rect.right))
        y0, y1 = (min(max(round((y - self.rect.y) * p), 0), h) for y in (rect.y, rect.bottom))
        return slice(y0, y1), slice(x0, x1)


def flatten(image: LinearImage, fit: StripFit, rect: Rect, px_per_mm: float, table: np.ndarray) -> FlatView:
    """Cut a rectangle of the strip frame out of the photo.

    Parameters
    ----------
    image
        The photo.
    fit
        Where the strip lies in it.
    rect
        What to cut out, in millimetres.
    px_per_mm
        Resolution of the result.
    table
        Value of each code, shape (codes,) or (codes, 3), float32. Averaging happens on these values, so the table
        decides in which light the mean is taken.

    Returns
    -------
    FlatView
    """
    size = (round(rect.width * px_per_mm), round(rect.height * px_per_mm))
    to_source = fit.to_pixels @ grid_to_mm(rect, px_per_mm)
    left, top, right, bottom = _bounds(to_source, size, image.size)
    if right - left < 2 or bottom - top < 2:
        empty = np.zeros((size[1], size[0]), dtype=bool)
        return FlatView(np.zeros((size[1], size[0], 3), np.float32), empty, empty.copy(), rect, px_per_mm)
    step = max(1, int(fit.px_per_mm / px_per_mm))
    crop = _linear_crop(image.encoded[top:bottom, left:right], table, step)
    to_crop = np.array([[1 / step, 0, (0.5 - left) / step - 0.5], [0, 1 / step, (0.5 - top) / step - 0.5], [0, 0, 1]])
    values = warp(crop, to_crop @ to_source, size)
    grid = np.array([[-0.5, -0.5], [size[0] - 0.5, -0.5], [size[0] - 0.5, size[1] - 0.5], [-0.5, size[1] - 0.5]])
    corners = apply_homography(to_source, grid)
    w, h = image.size
    if corners.min() > 0.5 and corners[:, 0].max() < w - 1.5 and corners[:, 1].max() < h - 1.5:
        inside = np.ones((size[1], size[0]), dtype=bool)
    else:
        x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
        p = apply_homography(to_source, np.stack([x, y], axis=-1))
        inside = (p[..., 0] >= 0.5) & (p[..., 1] >= 0.5) & (p[..., 0] <= w - 1.5) & (p[..., 1] <= h - 1.5)
    top_value = table[-1 - max(1, len(table) // 128)]
    clipped = any_channel_at_least(values, top_value) & inside
    return FlatView(values, inside, clipped, rect, px_per_mm)


def _bounds(to_source: np.ndarray, size: tuple[int, int], photo: tuple[int, int]) -> tuple[int, int, int, int]:
    """Return the photo window (left, top, right, bottom) that the output needs, clipped to the photo."""
    grid = np.array([[-1.0, -1.0], [size[0], -1.0], [size[0], size[1]], [-1.0, size[1]]])
    corners = apply_homography(to_source, grid)
    left, top = np.floor(corners.min(axis=0)).astype(int) - 2
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 3
    return max(0, int(left)), max(0, int(top)), min(photo[0], int(right)), min(photo[1], int(bottom))


def _linear_crop(codes: np.ndarray, table: np.ndarray, step: int) -> np.ndarray:
    """Return codes as table values, averaged over `step` x `step` pixels, a band of rows at a time."""
    if step == 1:
        return apply_table(codes, table)
    h, w = (codes.shape[0] // step) * step, (codes.shape[1] // step) * step
    rows = max(step, _BAND_ROWS // step * step)
    return np.concatenate(
        [shrink(apply_table(codes[y : min(y + rows, h), :w], table), step) for y in range(0, h, rows)]
    )


_PLENTY: Final = 5000
"""Places of a mask that are enough for a share."""


def grid_to_mm(rect: Rect, px_per_mm: float) -> np.ndarray:
    """Return the homography from pixels of a rectangle laid flat to millimetres of the strip frame, shape (3, 3)."""
    p = px_per_mm
    return np.array([[1 / p, 0, rect.x + 0.5 / p], [0, 1 / p, rect.y + 0.5 / p], [0, 0, 1]])


@dataclass(frozen=True, eq=False, slots=True)
class CorrectedImage:
    """Reflectance factors over a rectangle of the strip frame."""

    rgb: np.ndarray
    """Shape (h, w, 3), float32, linear RGB of sRGB's primaries, 1.0 a perfect white diffuser; saturation as taken."""
    inside: np.ndarray
    clipped: np.ndarray
    rect: Rect
    px_per_mm: float
    light: np.ndarray
    """Shape (h, w), float32: the light taken out, relative to the strip's centre."""

    def to_mm(self) -> np.ndarray:
        """Return the homography from pixels of this picture to millimetres of the strip frame, shape (3, 3)."""
        return grid_to_mm(self.rect, self.px_per_mm)

    def places(self, mask: np.ndarray) -> np.ndarray:
        """Return centres of pixels in a mask, millimetres of the strip frame, shape (N, 2): some thousands, evenly."""
        chosen = np.flatnonzero(mask)
        rows, columns = np.divmod(chosen[:: max(1, len(chosen) // _PLENTY)], mask.shape[1])
        centres = np.stack([columns, rows], axis=-1) + 0.5
        return np.asarray(centres / self.px_per_mm + np.array([self.rect.x, self.rect.y]))


def correct(image: LinearImage, fit: StripFit, correction: Correction, rect: Rect, px_per_mm: float) -> CorrectedImage:
    """Cut a rectangle out of the photo and undo tone, white balance, light and glare.

    The tone curve is undone code by code before anything is averaged, so that every mean is a mean of light.
    """
    table = correction.exposure_table(image.decode)
    view = flatten(image, fit, rect, px_per_mm, table)
    # The light is smooth: a coarse grid blown up is exact enough and costs nothing.
    coarse = _coarse_light(correction, view)
    glare = correction.glare.astype(np.float32)
    file_rgb = (view.values - glare) / coarse
    rgb = recolour(file_rgb, image.to_srgb)
    return CorrectedImage(rgb, view.inside, view.clipped, rect, px_per_mm, channel_mean(coarse))


def _coarse_light(correction: Correction, view: FlatView) -> np.ndarray:
    """Return the light at every pixel, shape (h, w, 3), from a grid of a few millimetres."""
    h, w = view.inside.shape
    columns, rows = 48, 16
    x = view.rect.x + (np.arange(columns) + 0.5) * view.rect.width / columns
    y = view.rect.y + (np.arange(rows) + 0.5) * view.rect.height / rows
    light = correction.light(np.stack(np.meshgrid(x, y), axis=-1)).astype(np.float32)
    return enlarge(light, (w, h))


_TRIM: Final = 0.1
"""Share of a patch's pixels left out at each end of its brightness, against dust and flecks."""
_ENOUGH: Final = 12
"""Places between seen tags that are enough to start a fit from."""
_UNEVEN: Final = 0.10
"""Relative spread inside a patch above which something lies across it, once noise is allowed for."""


def read_patches(
    view: FlatView, roles_seen: Collection[int] | None = None, geometry: StripGeometry = STRIP
) -> PatchReadings:
    """Read every grey patch.

    Parameters
    ----------
    view
        The strip laid flat, in file-linear values.
    roles_seen
        Which tags were seen: a patch nearest to a tag that was not may be hidden too, and is not trusted at first.
    geometry
        The strip.

    Returns
    -------
    PatchReadings
    """
    places = np.array([patch.sample.centre for patch in geometry.patches])
    levels = np.array([patch.level for patch in geometry.patches])
    brightness = channel_mean(view.values)
    values, spread, whole = np.zeros((len(levels), 3)), np.full(len(levels), np.inf), np.zeros(len(levels), dtype=bool)
    for i, patch in enumerate(geometry.patches):
        where = view.window(patch.sample)
        here = brightness[where]
        if here.size < 9 or not view.inside[where].all():
            continue
        whole[i] = view.clipped[where].mean() <= 0.05
        ranked = np.partition(here.ravel(), cut := [int(_TRIM * here.size), int((1 - _TRIM) * here.size)])
        kept = (here >= ranked[cut[0]]) & (here <= ranked[cut[1]])
        values[i] = view.values[where].reshape(-1, 3)[kept.ravel()].mean(axis=0)
        # Thirds along the patch: noise averages out of them, an edge lying across the patch does not.
        spread[i] = max(_range_of_thirds(here.mean(axis=0)), _range_of_thirds(here.mean(axis=1)))
    # A dark patch's spread is judged against a tenth of the paper too, or noise would condemn it.
    scale = values.mean(axis=1) + 0.1 * float(np.median(values.max(axis=0)))
    even = spread < _UNEVEN * np.maximum(scale, 1e-6)
    usable = whole & even & (values.min(axis=1) > 0)
    return PatchReadings(places, values, usable, _uncovered(places, roles_seen, geometry))


def _uncovered(places: np.ndarray, roles_seen: Collection[int] | None, geometry: StripGeometry) -> np.ndarray:
    """Return which places lie between two tags of their row that were seen: nothing can lie over them.

    Where too few do, the places nearest to a tag that was seen must serve.
    """
    if roles_seen is None:
        return np.ones(len(places), dtype=bool)
    between = np.zeros(len(places), dtype=bool)
    for i, (x, y) in enumerate(places):
        row = [tag for tag in geometry.tags if abs(tag.rect.centre[1] - y) < geometry.height / 3]
        left = [tag for tag in row if tag.rect.centre[0] <= x]
        right = [tag for tag in row if tag.rect.centre[0] >= x]
        sides = [max(left, key=_across), min(right, key=_across)] if left and right else []
        between[i] = bool(sides) and all(tag.role in roles_seen for tag in sides)
    if between.sum() >= _ENOUGH:
        return between
    centres = np.array([tag.rect.centre for tag in geometry.tags])
    nearest = np.linalg.norm(places[:, None] - centres, axis=-1).argmin(axis=1)
    seen = np.array([tag.role in roles_seen for tag in geometry.tags])
    return np.asarray(seen[nearest])


def _across(tag: Tag) -> float:
    return tag.rect.centre[0]


def _range_of_thirds(profile: np.ndarray) -> float:
    sizes = (len(profile) + np.array([2, 1, 0])) // 3
    return float(np.ptp(np.add.reduceat(profile, np.cumsum(sizes) - sizes) / sizes))


def blur_mm(view: FlatView, geometry: StripGeometry = STRIP) -> float:
    """Return the 10-90 % rise of the tags' outer edges in millimetres: how blurred the photo is at the strip."""
    widths = []
    for tag in geometry.tags:
        middle = tag.rect.y + tag.rect.height / 2
        for edge, outward in ((tag.rect.x, -1), (tag.rect.right, 1)):
            rows = view.window(type(tag.rect)(tag.rect.x, middle - 4, tag.rect.width, 8))[0]
            columns = view.window(type(tag.rect)(edge - 1.9, tag.rect.y, 3.8, tag.rect.height))[1]
            if not view.inside[rows, columns].all() or rows.stop - rows.start < 2:
                continue
            profile = view.values[rows, columns].mean(axis=(0, 2))[::-outward]
            span = np.ptp(profile)
            if span < 0.02 or profile.size < 4:
                continue
            slope = np.abs(np.diff(profile)).max()
            widths.append(0.8 * span / slope / view.px_per_mm)
    return float(np.median(widths)) if widths else float("nan")


GROWTH: Final = (0.03, 0.02)
"""How far ink runs beyond an edge, mm: mean and standard deviation among prints (common practice, no source)."""
SPREAD: Final = (0.055, 0.025)
"""The same of how far light spreads in paper along one direction, mm (common practice, no source)."""
_NEIGHBOURS: Final = 12
"""Lines on either side whose shade is counted."""
_LEAST_GAP: Final = 0.02
"""Gaps do not close further, mm: a fit must be able to find its way back."""
_TAPER: Final = 16 * 25.4 / 300
"""Over how many millimetres a pixel's weight falls off towards the rim of an area: whole lines at each pitch, or the
window would beat with them."""
_LEAST: Final = 12.0
"""Fewest pixels, by weight, that make an area usable."""
_CLIPPED: Final = 0.02
_BLUR: Final = 0.6
"""Deviation of a usual lens in pixels (common practice, no source)."""
_HARMONICS: Final = np.arange(1, 4)


def screen_reflectance(screen: Screen, paper: float, black: float, growth: float, spread: float) -> float:
    """Return the mean reflectance factor of a screen.

    Paper of transmittance 1 and ink of transmittance ``t = sqrt(black / paper)`` are passed twice, at places a little
    apart: ``R = paper * mean(T * (T spread))``. Light spreads by a two-sided exponential along x.

    Parameters
    ----------
    screen
        The screen as drawn.
    paper, black
        Reflectance factors of bare paper and solid black.
    growth
        How far ink runs beyond an edge, mm.
    spread
        Mean distance along x between where light enters the paper and where it leaves, mm, above 0.
    """
    pitch = screen.pitch
    line = min(screen.coverage * pitch + 2.0 * growth, pitch - _LEAST_GAP)
    k = np.arange(-_NEIGHBOURS, _NEIGHBOURS + 1) * pitch

    def twice(x: np.ndarray) -> np.ndarray:
        return np.asarray(np.maximum(x, 0.0) + spread / 2 * np.exp(-np.abs(x) / spread))

    both = float((twice(k + line) - 2.0 * twice(k) + twice(k - line)).sum()) / pitch
    stopped = 1.0 - float(np.sqrt(black / paper))
    return paper * (1.0 - 2.0 * stopped * line / pitch + stopped**2 * both)


@dataclass(frozen=True, eq=False, slots=True)
class AreaMeans:
    """The mean of each area, two ways; they part where a pattern shows."""

    light: np.ndarray
    """Shape (N, 3): file-linear value whose light is the mean light, by the tone curve it was read with."""
    codes: np.ndarray
    """Shape (N, 3): file-linear value of the mean code."""
    beats: np.ndarray
    """Shape (N,): how far the pixel grid may beat with the lines of a screen, as a share of paper's light."""
    usable: np.ndarray
    """Shape (N,), bool: False where an area is outside the photo, too small or clipped."""


def read_areas(
    image: LinearImage,
    fit: StripFit,
    areas: Sequence[GreyPatch | Screen],
    curve: tuple[np.ndarray, np.ndarray],
) -> AreaMeans:
    """Read greys and screens from the photo's own pixels, none interpolated.

    Parameters
    ----------
    image, fit
        The photo, and where its strip lies.
    areas
        What to read.
    curve
        Rising tables (log of a file-linear value, log of light): pixels are averaged in light by them.
    """
    light, codes, beats = np.zeros((len(areas), 3)), np.zeros((len(areas), 3)), np.zeros(len(areas))
    usable = np.zeros(len(areas), dtype=bool)
    log_light = np.interp(np.log(np.maximum(image.decode, 1e-5)), *curve)
    table = np.exp(log_light).astype(np.float32)
    step = np.arange(len(image.decode), dtype=float)
    for i, area in enumerate(areas):
        found = _pixels(image, fit, area.sample)
        if found is None:
            continue
        window, places, weight = found
        mean_light = np.einsum("hw,hwk->k", weight, apply_table(window, table))
        light[i] = np.exp(np.interp(np.log(np.maximum(mean_light, 1e-9)), curve[1], curve[0]))
        codes[i] = np.interp(np.einsum("hw,hwk->k", weight, window.astype(float)), step, image.decode)
        clipped = float((weight * (window >= len(table) - 1).any(axis=-1)).sum())
        usable[i] = bool((codes[i] > 1e-4).all()) and clipped < _CLIPPED
        if isinstance(area, Screen):
            beats[i] = _beat(area, places[..., 0], weight, fit.px_per_mm)
    return AreaMeans(light, codes, beats, usable)


def _pixels(image: LinearImage, fit: StripFit, area: Rect) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Return the codes about an area, their places in mm and their weights, which sum to 1; None if it is not whole."""
    corners = fit.pixels(area.corners())
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
    if left < 0 or top < 0 or right > image.size[0] or bottom > image.size[1]:
        return None
    x, y = np.meshgrid(np.arange(left, right), np.arange(top, bottom))
    places = apply_homography(np.linalg.inv(fit.to_pixels), np.stack([x, y], axis=-1))
    along = np.minimum(places[..., 0] - area.x, area.right - places[..., 0])
    across = np.minimum(places[..., 1] - area.y, area.bottom - places[..., 1])
    weight = np.clip(along / _TAPER, 0.0, 1.0) * np.clip(across / _TAPER, 0.0, 1.0)
    if weight.sum() < _LEAST:
        return None
    return image.encoded[top:bottom, left:right], places, weight / weight.sum()


def _beat(screen: Screen, x: np.ndarray, weight: np.ndarray, px_per_mm: float) -> float:
    """Return the deviation of a screen's mean from its lines' phase against the pixel grid, as a share of paper."""
    strength = 2.0 * np.sin(np.pi * _HARMONICS * screen.coverage) / (np.pi * _HARMONICS)
    waves = _HARMONICS / (screen.pitch * px_per_mm)
    seen = np.sinc(waves) * np.exp(-2.0 * (np.pi * _BLUR * waves) ** 2)
    left = [abs((weight * np.exp(2j * np.pi * k * x / screen.pitch)).sum()) for k in _HARMONICS]
    return float(np.sqrt(0.5 * ((strength * seen * np.array(left)) ** 2).sum()))
