"""A field's texture in the terms of the photo and the strip, and what it makes doubtful."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from finishlab.imaging.corrected import CorrectedImage
from finishlab.imaging.finder import StripFit
from finishlab.imaging.strip import FieldName
from finishlab.imaging.texture import texture_of
from finishlab.measure.results import FieldMeasurement, Texture
from finishlab.quality import Doubt, doubt

__all__ = ["grain_doubts", "look_at"]

_CROSSED_DEG: Final = 30.0
"""Angle between two grains from which wood may look lighter or darker by it (common practice, no source)."""


def look_at(image: CorrectedImage, mask: np.ndarray, fit: StripFit) -> Texture | None:
    """Return the texture of what was sampled in a field, None if that is too small to tell."""
    found = texture_of(image, mask)
    if found is None:
        return None
    angle = found.direction_deg
    in_photo = None
    if angle is not None:
        turn = np.deg2rad(angle)
        middle = np.array(image.rect.centre)
        ends = fit.pixels(middle + np.array([[-5.0], [5.0]]) * [np.cos(turn), np.sin(turn)])
        in_photo = _as_axis(float(np.rad2deg(np.arctan2(*(ends[1] - ends[0])[::-1]))))
    return Texture(found.contrast, found.blotch, found.coherence, angle, in_photo)


def grain_doubts(fields: Mapping[FieldName, FieldMeasurement]) -> list[Doubt]:
    """Return the doubt that floor and board lie with their grain crossed, if both have a clear direction."""
    angles = [f.texture.to_strip_deg for f in fields.values() if f.texture and f.texture.to_strip_deg is not None]
    if len(angles) < 2:
        return []
    apart = abs(_as_axis(angles[0] - angles[1]))
    return [doubt("grain-directions-differ", angle=round(apart))] if apart > _CROSSED_DEG else []


def _as_axis(degrees: float) -> float:
    """Return the angle of a line without ends, above -90 up to 90."""
    return 90.0 - (90.0 - degrees) % 180.0
