"""What can still be seen in a photo that gave no figure: for the picture that shows why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from finishlab.errors import FinishlabError
from finishlab.imaging.corrected import correct
from finishlab.imaging.correction import Correction, PatchReadings, fit_correction
from finishlab.imaging.finder import StripFit
from finishlab.imaging.greys import USUAL
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.readings import read_patches
from finishlab.imaging.rectify import flatten
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.imaging.surface import Surface, find_surface
from finishlab.measure.flow import PX_PER_MM

__all__ = ["PartialInspection", "inspect_partly"]

_LEAST_GREYS = 6
"""Readable greys below which no tone curve is shown: it would be all prior."""


@dataclass(frozen=True, eq=False, slots=True)
class PartialInspection:
    """As far as the way from strip to surface could be gone."""

    fit: StripFit
    readings: PatchReadings
    greys: np.ndarray
    """Shape (N,): the reflectance of each reading, as found or as a usual print has it."""
    correction: Correction | None = None
    surfaces: Mapping[FieldName, Surface] = field(default_factory=dict)


def inspect_partly(image: LinearImage, fit: StripFit, fields: Sequence[FieldName]) -> PartialInspection:
    """Go the way of `finishlab.measure.flow.measure` as far as it leads, and judge nothing.

    Parameters
    ----------
    image
        The photo.
    fit
        Where the strip lies in it.
    fields
        Which fields to look for a surface in.

    Returns
    -------
    PartialInspection
        With what could be found; nothing is raised for what could not.
    """
    view = flatten(image, fit, Rect(0.0, 0.0, STRIP.width, STRIP.height), PX_PER_MM, image.decode)
    readings = read_patches(view, fit.roles_seen)
    known = USUAL.patches()
    if readings.usable.sum() < _LEAST_GREYS:
        return PartialInspection(fit, readings, known.reflectance)
    correction = fit_correction(readings, known)
    surfaces: dict[FieldName, Surface] = {}
    for name in fields:
        try:
            surfaces[name] = find_surface(correct(image, fit, correction, STRIP.fields[name], PX_PER_MM), name)
        except FinishlabError:
            continue  # that there is no surface is what the picture shows
    return PartialInspection(fit, readings, correction.greys_of(known), correction, surfaces)
