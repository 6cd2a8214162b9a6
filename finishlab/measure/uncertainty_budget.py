"""What is not known about a sampled colour, effect by effect, carried into CIELAB.

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
from finishlab.colorimetry.estimate import PRINT_AGAINST_WOOD, WOOD_ALONE, LabEstimate, SharedEffect, matrix_effects
from finishlab.colorimetry.spaces import lab_to_rgb, linear_to_srgb, rgb_to_lab, srgb_to_linear
from finishlab.imaging.colours import (
    RAW_SATURATION,
    SATURATION_BOOST,
    unboosted,
    unboosted_readings,
    white_matrix,
)
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.sampling import CHROMA_TO_RGB, Sample
from finishlab.imaging.strip import FieldName
from finishlab.measure.results import SurfaceKind

__all__ = ["PhotoFit", "estimate_colours"]

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
    return SharedEffect(name, scope, (float(vector[0]), float(vector[1]), float(vector[2])))


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
    values, vectors = np.linalg.eigh(PRINT_AGAINST_WOOD)
    axes = vectors * np.sqrt(np.clip(values, 0.0, None))
    return [_effect(f"camera-print-{i + 1}", fit.camera_scope, axes[:, i]) for i in range(3)]
