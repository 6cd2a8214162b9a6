"""When a photo is good enough, when it is doubtful, when no figure may be given; a field's texture and its doubts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import NoStripError, QualityError
from finishlab.imaging.clipping import BlackClipping
from finishlab.imaging.correction import Correction, PatchReadings
from finishlab.imaging.finder import StripFit
from finishlab.imaging.local_tone import LocalTone
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.strip import STRIP, FieldName
from finishlab.imaging.surface import Surface
from finishlab.imaging.texture import texture_of
from finishlab.measure.results import FieldMeasurement, Texture
from finishlab.quality import Doubt, doubt

__all__ = [
    "LITTLE",
    "field_texture",
    "grain_doubts",
    "judge_black_clipping",
    "judge_field",
    "judge_light",
    "judge_local_tone",
    "judge_strip",
]

_BLUR_MM: Final = (0.9, 2.2)
"""Rise of an edge above which a photo is doubtful, and refused."""
_PAPER: Final = (0.20, 0.04)
"""Linear value of the paper below which a photo is dark, and too dark: noise and the 8 bit steps take over."""
_SMALL_PX: Final = 300.0
_CLIPPED: Final = (0.002, 0.02)
_LOST: Final = (0.002, 0.40)
"""Share of the surface in which a channel holds nothing that is doubtful, and by how much it may exceed that of the
surface beside it before it is refused: what both have lost alike cancels in their difference. See decision 15."""
_GLARE: Final = (0.02, 0.40)
"""Shares of the surface that mirror the light: doubtful, and refused."""
_RESIDUAL: Final = (0.015, 0.10)
"""Relative residual of the greys: doubtful, and refused."""
_STRANGE: Final = 5.0
"""Strangeness of a tone curve, in standard deviations, that is not believed: of 320 rendered photos of all kinds of
printers, 99 % stayed below 2.6 with the spread that was believed then, a third wider than now."""
_DISAGREE: Final = (0.04, 0.15)
"""Share of the uncovered greys that smooth light cannot explain: doubtful, and refused."""
_LOCAL_TONE: Final = (1.5, 0.03)
"""Significance and strength from which local tone mapping is told; docs/decisions/0008-photo-processing.md."""
_TOO_UNEVEN: Final = 0.9
"""Change of the light along the strip, over its mean, above which the fit is not believed."""
_BELIEVED: Final = 12
"""Grey areas that must agree before a fit is believed."""
_UNEVEN: Final = 0.15
_STRAYS: Final = 2
"""Tags out of place that make another strip; one may be chance."""
_WOOD_CHROMA: Final = 4.0
_WOOD_HUE: Final = (20.0, 110.0)
"""Least chroma, and hues in degrees, that a finished wood is expected to have (common practice, no source)."""
LITTLE: Final = 0.35
"""Used share of a field below which little of the surface was seen."""


def judge_strip(fit: StripFit, readings: PatchReadings, blur: float, image: LinearImage) -> list[Doubt]:
    """Return the doubts that hold for everything in the photo.

    Raises
    ------
    QualityError
        ``too-dark``, ``too-bright``, ``strip-covered`` or ``blurred``.
    """
    levels = np.array([patch.level for patch in STRIP.patches])
    usable = readings.usable
    paper = readings.values[levels == levels.max()].max(axis=0).max() if len(levels) else 0.0
    if paper < _PAPER[1]:
        raise QualityError(
            "too-dark",
            f"The photo is too dark: the strip's paper reaches only {100 * paper:.1f} % of full brightness.",
            "Use more light, or expose longer (tap the strip on the screen before the photo).",
        )
    if usable.sum() < 10 or np.unique(levels[usable]).size < 5:
        clipped = readings.values[levels >= 4].max(axis=1) > 0.985
        if clipped.mean() > 0.5:
            raise QualityError(
                "too-bright",
                "The photo is too bright: the strip's light greys have no detail left.",
                "Expose less (tap the strip's paper on the screen before the photo) and photograph again.",
            )
        raise QualityError(
            "strip-covered",
            f"Only {int(usable.sum())} of the strip's {len(usable)} grey areas can be read.",
            "Lay the whole strip in view, flat, uncovered and out of hard shadows, and photograph again.",
        )
    if blur > _BLUR_MM[1]:
        raise QualityError(
            "blurred",
            f"The photo is blurred: edges on the strip are {blur:.1f} mm wide.",
            "Hold the phone still, tap the strip to focus, and photograph again.",
        )
    return _strip_doubts(fit, blur, image, float(paper))


def _strip_doubts(fit: StripFit, blur: float, image: LinearImage, paper: float) -> list[Doubt]:
    out = []
    length = fit.px_per_mm / image.scale * STRIP.width
    if fit.tags_seen < len(STRIP.tags):
        out.append(doubt("strip-partly-hidden", seen=fit.tags_seen, total=len(STRIP.tags)))
    if fit.strays >= _STRAYS:
        out.append(doubt("two-strips"))
    if fit.number is None:
        out.append(doubt("strip-number-unread"))
    if fit.residual_mm > 0.6:
        out.append(doubt("strip-not-flat", bend_mm=round(fit.residual_mm, 2)))
    if length < _SMALL_PX:
        out.append(doubt("strip-small", pixels=round(length)))
    if fit.tilt_deg > 42:
        out.append(doubt("steep-view", tilt=round(fit.tilt_deg)))
    if blur > _BLUR_MM[0]:
        out.append(doubt("blurred", blur_mm=round(blur, 2)))
    if paper < _PAPER[0]:
        out.append(doubt("dark-photo", percent=round(100 * paper, 1)))
    return out


def judge_light(readings: PatchReadings, correction: Correction) -> list[Doubt]:
    """Return the doubts about light and tone, by how well the strip's greys agree with smooth light.

    Greys between two tags that were seen are not covered by anything; if smooth light cannot explain many of them, a
    shadow lies across the strip or the phone has brightened parts of the picture.

    Raises
    ------
    NoStripError
        ``strip-hidden`` if too few greys agree to fit anything.
    QualityError
        ``light-not-smooth`` if smooth light cannot explain them, ``greys-unlikely`` if no usual camera can.
    """
    clear = readings.usable if readings.trusted is None else readings.usable & readings.trusted
    disagree = float((correction.weights[clear] < 0.3).mean()) if clear.any() else 0.0
    believed = int((correction.weights > 0.3).sum())
    if believed < _BELIEVED:
        raise NoStripError(
            "strip-hidden",
            f"Only {believed} of the strip's {len(readings.usable)} grey areas can be read; the rest is hidden.",
            "Lay the whole strip in view, flat and uncovered, and photograph again.",
        )
    if disagree > _DISAGREE[1] or correction.residual > _RESIDUAL[1] or _light_change(correction) > _TOO_UNEVEN:
        raise QualityError(
            "light-not-smooth",
            f"{100 * disagree:.0f} % of the strip's greys do not fit smooth light: "
            "a shadow or a bright edge lies across it.",
            "Find even light without hard shadows on strip and work, and photograph again.",
        )
    if correction.strangeness > _STRANGE:
        raise QualityError(
            "greys-unlikely",
            "The strip's greys come out as no usual camera shows them: "
            "the photo is nearly too bright, has a strong cast, or was edited.",
            "Expose less, use a whiter light and no filter, and photograph again.",
        )
    if disagree > _DISAGREE[0] or correction.residual > _RESIDUAL[0]:
        return [doubt("light-model-poor", percent=round(max(100 * correction.residual, 1.0), 1))]
    return []


def judge_local_tone(found: LocalTone | None) -> list[Doubt]:
    """Return the doubt that the phone has evened brightness out from place to place."""
    if found is None or found.significance < _LOCAL_TONE[0] or found.strength < _LOCAL_TONE[1]:
        return []
    return [doubt("local-tone", percent=max(1, round(100 * found.strength)))]


def _light_change(correction: Correction) -> float:
    """Return by how much the light changes over the strip, as a share of its mean."""
    ends = np.array([[x, y] for x in (0.0, STRIP.width) for y in (0.0, STRIP.height)])
    light = correction.light(ends)
    return float(np.ptp(light) / light.mean())


def judge_black_clipping(lost: BlackClipping) -> list[Doubt]:
    """Return the doubt that a channel is cut off at the dark end in parts of a surface."""
    if lost.share <= _LOST[0]:
        return []
    return [doubt("colour-lost", percent=round(100 * lost.share, 1), channel=lost.name)]


def judge_field(
    name: FieldName,
    image: CorrectedImage,
    surface: Surface,
    estimate: LabEstimate,
    correction: Correction,
    lost: BlackClipping | None,
    lost_beside: float = 0.0,
) -> list[Doubt]:
    """Return the doubts about one field; `lost_beside` is the share lost by the surface at the strip's other edge.

    Raises
    ------
    QualityError
        ``glare``, ``clipped`` or ``colour-lost``.
    """
    if surface.glare_share > _GLARE[1]:
        raise QualityError(
            "glare",
            f"{100 * surface.glare_share:.0f} % of the {name} mirrors the light.",
            "Turn the work or move the lamp until the surface no longer shines, and photograph again.",
        )
    clipped = float((image.clipped & surface.outline & ~surface.glare).sum() / max(1, surface.outline.sum()))
    if clipped > _CLIPPED[1]:
        raise QualityError(
            "clipped",
            f"{100 * clipped:.0f} % of the {name} is too bright for the photo to hold.",
            "Expose less and photograph again.",
        )
    if lost is not None and lost.share - lost_beside > _LOST[1]:
        raise QualityError(
            "colour-lost",
            f"In {100 * lost.share:.0f} % of the {name} the photo holds no {lost.name} at all, "
            "so its colour cannot be told.",
            "Use a whiter light or expose longer, and photograph again.",
        )
    out = []
    light = image.light[surface.outline]
    change = float(np.ptp(light) / light.mean()) if light.size else 0.0
    if change > _UNEVEN:
        out.append(doubt("uneven-light", percent=round(100 * change)))
    if surface.glare_share > _GLARE[0]:
        out.append(doubt("glare", percent=round(100 * surface.glare_share)))
    if clipped > _CLIPPED[0]:
        out.append(doubt("clipped", percent=round(100 * clipped, 1)))
    if lost is not None:
        out += judge_black_clipping(lost)
    low, high = (float(lightness_of_reflectance(r)) for r in correction.greys_seen)
    if not low - 1 <= estimate.lab[0] <= high + 1:
        out.append(doubt("outside-greys"))
    chroma = float(np.hypot(estimate.lab[1], estimate.lab[2]))
    hue = float(np.degrees(np.arctan2(estimate.lab[2], estimate.lab[1])))
    if name == "board" and (chroma < _WOOD_CHROMA or not _WOOD_HUE[0] < hue < _WOOD_HUE[1]):
        out.append(doubt("not-like-wood", chroma=round(chroma, 1), hue=round(hue % 360)))
    return out + _left_out_doubts(surface)


def _left_out_doubts(surface: Surface) -> list[Doubt]:
    left = surface.left_out
    out = []
    if left.get("outside-photo", 0) > 0.02:
        out.append(doubt("field-cut", percent=round(100 * left["outside-photo"])))
    for reason, least in (("knot", 0.005), ("shadow", 0.02), ("other-surface", 0.02)):
        if left.get(reason, 0) > least:
            out.append(doubt(reason, percent=round(100 * left[reason])))
    if left.get("seam", 0) > 0:
        out.append(doubt("seam"))
    if surface.used_share < LITTLE:
        out.append(doubt("surface-small", percent=round(100 * surface.used_share)))
    return out


_CROSSED_DEG: Final = 30.0
"""Angle between two grains from which wood may look lighter or darker by it (common practice, no source)."""


def field_texture(image: CorrectedImage, mask: np.ndarray, fit: StripFit) -> Texture | None:
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
