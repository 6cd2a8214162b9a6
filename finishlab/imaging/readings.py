"""Read the strip's greys off a photo: one robust mean a patch, and what says not to trust it."""

from __future__ import annotations

from typing import Final

import numpy as np

from finishlab.imaging.correction import PatchReadings
from finishlab.imaging.rectify import FlatView
from finishlab.imaging.strip import STRIP, StripGeometry

__all__ = ["blur_mm", "read_patches"]

_TRIM: Final = 0.1
"""Share of a patch's pixels left out at each end of its brightness, against dust and flecks."""
_UNEVEN: Final = 0.10
"""Relative spread inside a patch above which something lies across it, once noise is allowed for."""


def read_patches(view: FlatView, geometry: StripGeometry = STRIP) -> PatchReadings:
    """Read every grey patch.

    Parameters
    ----------
    view
        The strip laid flat, in file-linear values.
    geometry
        The strip.

    Returns
    -------
    PatchReadings
    """
    places, levels, values, spread, whole = [], [], [], [], []
    for patch in geometry.patches:
        rows, columns = view.window(patch.sample)
        block = view.values[rows, columns].reshape(-1, 3)
        seen = view.inside[rows, columns]
        whole.append(block.size > 0 and bool(seen.all()) and not bool(view.clipped[rows, columns].mean() > 0.05))
        places.append(patch.sample.centre)
        levels.append(patch.level)
        if block.size == 0:
            values.append(np.full(3, np.nan))
            spread.append(np.nan)
            continue
        brightness = block.sum(axis=1)
        low, high = np.quantile(brightness, [_TRIM, 1 - _TRIM])
        kept = block[(brightness >= low) & (brightness <= high)]
        values.append(kept.mean(axis=0))
        # Thirds along the patch: noise averages out of them, an edge lying across the patch does not.
        thirds = [part.mean() for part in np.array_split(view.values[rows, columns].mean(axis=(0, 2)), 3)]
        lengths = [part.mean() for part in np.array_split(view.values[rows, columns].mean(axis=(1, 2)), 3)]
        spread.append(max(np.ptp(thirds), np.ptp(lengths)))
    value = np.nan_to_num(np.array(values))
    # A dark patch's spread is judged against a tenth of the paper too, or noise would condemn it.
    scale = value.mean(axis=1) + 0.1 * float(np.median(value.max(axis=0)))
    even = np.nan_to_num(np.array(spread), nan=np.inf) < _UNEVEN * np.maximum(scale, 1e-6)
    usable = np.array(whole) & even & (value.min(axis=1) > 0)
    return PatchReadings(np.array(places), value, _without_strays(value, np.array(levels), usable))


def _without_strays(values: np.ndarray, levels: np.ndarray, usable: np.ndarray) -> np.ndarray:
    """Return `usable` less the patches far from their level's others: hidden by a hand, or under a shadow."""
    kept = usable.copy()
    log = np.log(np.maximum(values.mean(axis=1), 1e-6))
    for level in np.unique(levels):
        same = np.flatnonzero(usable & (levels == level))
        if same.size >= 3:
            kept[same[np.abs(log[same] - np.median(log[same])) > 0.45]] = False
    return kept


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
            profile = view.values[rows, columns].mean(axis=(0, 2))[:: -outward]
            span = np.ptp(profile)
            if span < 0.02 or profile.size < 4:
                continue
            slope = np.abs(np.diff(profile)).max()
            widths.append(0.8 * span / slope / view.px_per_mm)
    return float(np.median(widths)) if widths else float("nan")
