"""Read the strip's greys off a photo: one robust mean a patch, and what says not to trust it."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import numpy as np

from finishlab.imaging.correction import PatchReadings
from finishlab.imaging.rectify import FlatView
from finishlab.imaging.resample import channel_mean
from finishlab.imaging.strip import STRIP, StripGeometry, Tag

__all__ = ["blur_mm", "read_patches"]

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
    return float(np.ptp([part.mean() for part in np.array_split(profile, 3)]))


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
