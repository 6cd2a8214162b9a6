"""What is not known about a sampled colour, effect by effect, and when a photo is doubtful or gives no figure.

Own: the grain (block to block), the rounding of a coarse JPEG, and what a camera gets wrong of one wood, which further
photos of that wood repeat (`LabEstimate.wood`; docs/decisions/0017-evidence.md says it of each term). Shared within the
photo: light, glare and noise as the fit leaves them. Shared beside one strip: how its greys came out, less where they
were learned. Shared by one camera: its tone curve for the most part, its saturation, and that it does not see as
eyes do.

Print and tone are found by one fit that cannot tell them apart. What it leaves of each is laid to its cause: the answer
is off by so much if the print truly strays by one standard deviation, and by so much if the tone curve does. So the
cause is shared by all photos it stands behind, whatever each of them made of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.colorimetry.estimate import (
    PRINT_AGAINST_WOOD,
    WOOD_ALONE,
    LabEstimate,
    SharedEffect,
    matrix_effects,
    root_of,
    triple,
)
from finishlab.colorimetry.spaces import (
    lab_to_rgb,
    lightness_of_reflectance,
    linear_to_srgb,
    rgb_to_lab,
    srgb_to_linear,
)
from finishlab.errors import NoStripError, QualityError
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction
from finishlab.imaging.finder import StripFit
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import (
    RAW_SATURATION,
    SATURATION_BOOST,
    LocalTone,
    unboosted,
    unboosted_readings,
    white_matrix,
)
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.sampling import CHROMA_TO_RGB, BlackClipping, Sample, texture_of
from finishlab.imaging.strip import STRIP, FieldName
from finishlab.imaging.surface import Surface
from finishlab.measure.results import FieldMeasurement, SurfaceKind, Texture
from finishlab.quality import Doubt, doubt

_SLIGHT: Final = 0.03
"""A cause that moves no field by more than this is left among the photo's own."""
_TONE_SHARED: Final = 0.95
"""Share of the tone curve's variance that is one phone's in all its photos; the rest is each photo's."""
_NOTHING: Final = 1e-6
"""Smallest variance that is kept as an effect of its own."""
_LEAST: Final = 1e-4
"""Smallest reflectance whose colour is taken."""


@dataclass(frozen=True, eq=False, slots=True)
class PhotoFit:
    """The fits of one photo: as it is, with its boost of saturation out, and what they would have been otherwise."""

    correction: Correction
    """Fit to the greys as the file has them: what the samples were taken with."""
    plain: Correction
    """Fit to the greys with the usual boost of saturation out."""
    boosted: Correction
    """`plain` with the boost of saturation one standard deviation up."""
    to_srgb: np.ndarray
    photo_id: str
    greys: KnownGreys
    """What the greys were believed to be."""
    strip_scope: str
    camera_scope: str
    tone_scope: str
    saturation: tuple[float, float] = SATURATION_BOOST
    """Mean and standard deviation of the camera's boost of saturation."""
    chroma_step: float = 0.0
    """See `PhotoInfo`."""
    profile: CameraProfile | None = None
    """The camera's learned profile: its boost takes the prior's place, its coefficients come last."""
    usual_boost: float = SATURATION_BOOST[1]
    """Standard deviation of the boost of a camera without a profile."""

    @classmethod
    def build(
        cls,
        image: LinearImage,
        readings: PatchReadings,
        correction: Correction,
        greys: KnownGreys,
        *,
        strip_scope: str,
        priors: FitPriors | None = None,
        profile: CameraProfile | None = None,
    ) -> PhotoFit:
        """Fit the greys again as the colours need it.

        Parameters
        ----------
        image, readings, correction
            The photo, its greys as read, and the fit to them as they are.
        greys
            What each reading is believed to be of.
        strip_scope
            With what other photos the greys' unknowns are shared.
        priors
            Those of `correction`.
        profile
            The camera's learned profile.
        """
        camera = tone = f"camera:{image.info.camera or 'unknown'}"
        usual = RAW_SATURATION if image.info.linear else SATURATION_BOOST
        saturation = usual
        if profile is not None:
            # Colours of another profile, or of none, share nothing with these.
            camera, saturation = f"{camera}, profile {profile.photo_id}", profile.saturation
        calmer = unboosted_readings(readings, saturation[0])
        plain = fit_correction(calmer, greys, priors, correction)
        return cls(
            correction=correction,
            plain=plain,
            boosted=fit_correction(unboosted_readings(readings, sum(saturation)), greys, priors, plain),
            to_srgb=image.to_srgb,
            photo_id=image.info.photo_id,
            greys=greys,
            strip_scope=strip_scope,
            camera_scope=camera,
            tone_scope=tone,
            saturation=saturation,
            chroma_step=image.info.chroma_step,
            profile=profile,
            usual_boost=usual[1],
        )


def estimate_colours(
    samples: Mapping[FieldName, Sample], kinds: Mapping[FieldName, SurfaceKind], fit: PhotoFit
) -> dict[FieldName, LabEstimate]:
    """Return CIELAB of each sample with its own and shared uncertainty.

    Parameters
    ----------
    samples
        What was sampled in each field.
    kinds
        Whether each surface is wood or a print.
    fit
        The photo's correction and its variants.
    """
    names = list(samples)
    out: dict[FieldName, LabEstimate] = {}
    fit_effects = _fit_effects(samples, fit)
    for name in names:
        found = samples[name]
        lab = _lab(found, fit)
        to_lab = _numeric_jacobian(partial(_lab_seen, found, fit), found.rgb)
        own = to_lab @ found.covariance @ to_lab.T + _rounding(found, lab, fit)
        if kinds[name] == "wood":
            own = own + WOOD_ALONE
        effects = list(fit_effects[name])
        effects += _camera_effects(found, lab, fit) if fit.profile is None else _profile_effects(found, lab, fit)
        if kinds[name] == "print":
            effects += _against_wood(fit)
        out[name] = LabEstimate.build(lab, own, effects, wood=kinds[name] == "wood")
    return out


def _value(found: Sample, fit: PhotoFit) -> np.ndarray:
    """Return a sample's linear value in the file: what it was, though a channel less its glare may be below 0."""
    return fit.correction.value_of(np.linalg.inv(fit.to_srgb) @ found.rgb, np.asarray(found.place))


def _reflectance(found: Sample, fit: PhotoFit, boost: float, correction: Correction) -> np.ndarray:
    """Return a sample's reflectance in the file's primaries, its boost of saturation out."""
    return correction.reflectance(unboosted(_value(found, fit), boost), np.asarray(found.place))


def _rounding(found: Sample, lab: np.ndarray, fit: PhotoFit) -> np.ndarray:
    """Return the covariance that the file's rounding of chroma leaves.

    Where it was not worked out from the blocks, an even surface is taken as rounded alike all over.
    """
    code = linear_to_srgb(_value(found, fit))
    errors = found.chroma_error or (fit.chroma_step / math.sqrt(12),) * 2
    moves = []
    for column, error in zip(CHROMA_TO_RGB.T, errors, strict=True):
        value = srgb_to_linear(code + column * error / 255)
        plain = fit.plain.reflectance(unboosted(value, fit.saturation[0]), np.asarray(found.place))
        moves.append(_lab_of(plain, fit, fit.plain) - lab)
    return np.asarray(np.stack(moves, axis=1) @ np.stack(moves))


def _lab_of(reflectance: np.ndarray, fit: PhotoFit, correction: Correction) -> np.ndarray:
    rgb = white_matrix(correction, fit.to_srgb) @ reflectance
    return np.asarray(rgb_to_lab(np.maximum(rgb if fit.profile is None else fit.profile.apply(rgb), _LEAST)))


def _lab_seen(found: Sample, fit: PhotoFit, rgb: np.ndarray) -> np.ndarray:
    return _lab(replace(found, rgb=rgb), fit)


def _lab(found: Sample, fit: PhotoFit, boost: float | None = None, correction: Correction | None = None) -> np.ndarray:
    correction = correction or fit.plain
    boost = fit.saturation[0] if boost is None else boost
    return _lab_of(_reflectance(found, fit, boost, correction), fit, correction)


def _numeric_jacobian(function: Callable[[np.ndarray], np.ndarray], at: np.ndarray) -> np.ndarray:
    """Return d(function)/d(at), shape (3, 3), by central differences."""
    columns = []
    for k in range(3):
        step = np.zeros(3)
        step[k] = max(1e-4, 0.01 * abs(float(at[k])))
        columns.append((function(at + step) - function(at - step)) / (2 * step[k]))
    return np.stack(columns, axis=1)


def _fit_effects(samples: Mapping[FieldName, Sample], fit: PhotoFit) -> dict[FieldName, list[SharedEffect]]:
    """Return the fit's uncertainty as effects: of the print, of the tone curve, and what is the photo's own.

    The joint covariance of all fields, less what print and camera cause, is split along its own axes; each axis is one
    unknown that moves every field.
    """
    rows = []
    for found in samples.values():
        reflectance = np.maximum(_reflectance(found, fit, fit.saturation[0], fit.plain), _LEAST)
        to_lab = _numeric_jacobian(lambda r: _lab_of(r, fit, fit.plain), reflectance)
        rows.append(to_lab @ fit.plain.reflectance_jacobian(reflectance, np.asarray(found.place)))
    stacked = np.concatenate(rows)
    causes = [cause for cause in _causes(fit) if np.abs(stacked @ cause.move).max() > _SLIGHT]
    moves = [(cause.name, cause.scope, stacked @ cause.move) for cause in causes]
    left = stacked @ fit.plain.covariance @ stacked.T
    for _, _, move in moves:
        left -= np.outer(move, move)
    values, vectors = np.linalg.eigh(left)
    axes = [axis for axis in np.argsort(values)[::-1] if values[axis] > _NOTHING]
    photo = f"photo:{fit.photo_id}"
    moves += [(f"fit-{i + 1}", photo, vectors[:, axis] * np.sqrt(values[axis])) for i, axis in enumerate(axes)]
    return {
        name: [_effect(what, scope, move[3 * i : 3 * i + 3]) for what, scope, move in moves]
        for i, name in enumerate(samples)
    }


@dataclass(frozen=True, eq=False, slots=True)
class _Cause:
    """One unknown that lies behind several photos."""

    name: str
    scope: str
    move: np.ndarray
    """Shape (parameters,): how far the fit is off for one standard deviation of it."""


def _causes(fit: PhotoFit) -> list[_Cause]:
    """Return what of print and camera lies behind the fit."""
    believed, where = fit.plain.believed, fit.plain.layout
    strays = np.arange(believed.shape[1])
    found = [
        _Cause(name, fit.strip_scope, believed[:, j])
        for name, j in zip(fit.greys.names, strays[where.print], strict=True)
    ]
    share = math.sqrt(_TONE_SHARED)
    kind = where.prior.name
    found += [
        _Cause(f"{kind}-{i + 1}", fit.tone_scope, share * believed[:, j]) for i, j in enumerate(strays[where.tone])
    ]
    return found


def _effect(name: str, scope: str, vector: np.ndarray) -> SharedEffect:
    return SharedEffect(name, scope, triple(vector))


def _saturation_effect(found: Sample, lab: np.ndarray, fit: PhotoFit) -> SharedEffect:
    change = _lab(found, fit, sum(fit.saturation), fit.boosted) - lab
    return _effect("saturation", fit.camera_scope, change)


def _camera_effects(found: Sample, lab: np.ndarray, fit: PhotoFit) -> list[SharedEffect]:
    """Return what an unknown camera does to any colour: its boost, and that it does not see as eyes do."""
    moves = matrix_effects(np.maximum(lab_to_rgb(lab), _LEAST))
    matrix = [_effect(f"camera-{i + 1}", fit.camera_scope, move) for i, move in enumerate(moves)]
    return [_saturation_effect(found, lab, fit), *matrix]


def _profile_effects(found: Sample, lab: np.ndarray, fit: PhotoFit) -> list[SharedEffect]:
    """Return what the chart left open of a learned camera: boost and coefficients together, to first order.

    A chart that fits badly must not make a colour less certain than no chart would: then all are drawn in alike.
    """
    profile = fit.profile
    if profile is None:
        return []
    boost, sigma = profile.saturation
    by_boost = np.array(_saturation_effect(found, lab, fit).vector) / max(sigma, _LEAST)
    reflectance = _reflectance(found, fit, boost, fit.plain)
    moved = [
        _lab_of(reflectance, replace(fit, profile=variant), fit.plain)
        - lab
        + (variant.saturation[0] - boost) * by_boost
        for variant in profile.variants()
    ]
    usual = np.vstack([matrix_effects(np.maximum(lab_to_rgb(lab), _LEAST)), fit.usual_boost * by_boost])
    size = float(np.linalg.norm(moved)) if moved else 0.0
    scale = min(1.0, float(np.linalg.norm(usual)) / size) if size > 0.0 else 1.0
    return [_effect(f"profile-{i + 1}", fit.camera_scope, scale * move) for i, move in enumerate(moved)]


def _against_wood(fit: PhotoFit) -> list[SharedEffect]:
    """Return what a camera gets wrong of prints beyond a matrix."""
    axes = root_of(PRINT_AGAINST_WOOD)
    return [_effect(f"camera-print-{i + 1}", fit.camera_scope, axes[:, i]) for i in range(3)]


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
