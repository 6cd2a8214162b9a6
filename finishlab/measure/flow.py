"""The way from a decoded photo to a `Measurement`: find, read, fit, correct, find the surface, sample, judge.

Of a photo that gave no figure, what can still be seen, for the picture that shows why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.colorimetry.delta_e import PALETTE_SIZE, equal_shares
from finishlab.colorimetry.difference import delta_e_interval
from finishlab.colorimetry.estimate import LabEstimate, triple
from finishlab.colorimetry.spaces import rgb_to_lab
from finishlab.errors import FinishlabError
from finishlab.imaging.correction import Correction, FitPriors, PatchReadings, fit_correction
from finishlab.imaging.finder import StripFit, find_strip
from finishlab.imaging.greys import USUAL, GreysOf, StripGreys
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import LocalTone, local_tone
from finishlab.imaging.rectify import CorrectedImage, blur_mm, correct, flatten, read_patches
from finishlab.imaging.sampling import BlackClipping, Sample, black_clipping, dequantize_chroma, sample
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.imaging.surface import Surface, find_surface
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, SurfaceKind, Texture
from finishlab.measure.uncertainty_budget import (
    PhotoFit,
    estimate_colours,
    field_texture,
    grain_doubts,
    judge_field,
    judge_light,
    judge_local_tone,
    judge_strip,
)
from finishlab.quality import Doubt
from finishlab.version import __version__

PX_PER_MM: Final = 4.0
"""Resolution at which fields are laid flat; finer than the pores matter, coarse enough to be quick."""


@dataclass(frozen=True, eq=False, slots=True)
class FieldView:
    """A field as it was seen: for pictures, not for the record."""

    image: CorrectedImage
    surface: Surface
    sample: Sample
    lost: BlackClipping | None = None
    """What was cut off at the dark end; None where a surface is taken as it is."""


@dataclass(frozen=True, eq=False, slots=True)
class Inspection:
    """A measurement together with the pictures it came from."""

    measurement: Measurement
    fit: StripFit
    correction: Correction
    views: Mapping[FieldName, FieldView]
    readings: PatchReadings
    greys: np.ndarray
    """Shape (N,): the reflectance each reading was found to be of."""


def measure(
    image: LinearImage,
    fields: Sequence[FieldName] = ("board",),
    floor_is: SurfaceKind = "print",
    fit: StripFit | None = None,
    greys: StripGreys | GreysOf | None = None,
    profile: CameraProfile | None = None,
) -> Inspection:
    """Measure the surfaces beside the strip in one photo.

    Parameters
    ----------
    image
        The photo.
    fields
        Which fields to measure.
    floor_is
        Whether the floor is printed or wood: cameras tell print from wood less well, so the interval is wider.
    fit
        Where the strip lies in this image, when it has been looked for already.
    greys
        What is known of the strip's own greys, or what looks it up by the strip's number; without it, or where nothing
        was learned, they are those of the usual print.
    profile
        The camera's learned profile for this light; without it the usual boost of saturation is taken out.

    Returns
    -------
    Inspection

    Raises
    ------
    NoStripError
        If the strip is not found.
    QualityError
        If light, sharpness or surface do not allow a figure.
    """
    fit = fit or find_strip(image)
    view = flatten(image, fit, Rect(0.0, 0.0, STRIP.width, STRIP.height), PX_PER_MM, image.decode)
    readings = read_patches(view, fit.roles_seen)
    blur = blur_mm(view)
    printed = greys_known(greys, fit.number)
    strip_doubts = judge_strip(fit, readings, blur, image)
    priors = FitPriors.for_linear() if image.info.linear else None
    known = printed.patches()
    correction = fit_correction(readings, known, priors)
    strip_doubts += judge_light(readings, correction)
    evened = local_tone(image, fit, readings, correction, correction.greys_of(known))
    strip_doubts += judge_local_tone(evened)
    photo_fit = PhotoFit.build(
        image,
        readings,
        correction,
        known,
        strip_scope=f"strip:{_strip_name(fit, image)}{printed.scope_ending}",
        priors=priors,
        profile=profile,
    )
    views = {name: _view_field(image, fit, correction, name) for name in fields}
    kinds: dict[FieldName, SurfaceKind] = {name: "wood" if name == "board" else floor_is for name in fields}
    estimates = estimate_colours({name: v.sample for name, v in views.items()}, kinds, photo_fit)
    shared = (*image.info.doubts, *strip_doubts)
    results = {
        name: field_result(
            name,
            kinds[name],
            estimates[name],
            view,
            correction=correction,
            shared=shared,
            texture=field_texture(view.image, view.surface.mask, fit),
            lost_beside=_lost_beside(views, name),
        )
        for name, view in views.items()
    }
    crossed = tuple(grain_doubts(results))
    results = {name: replace(found, doubts=(*found.doubts, *crossed)) for name, found in results.items()}
    pair = delta_e_interval(estimates["board"], estimates["floor"]) if len(results) == 2 else None
    measurement = Measurement(
        photo_id=image.info.photo_id,
        strip=_reading(fit, image),
        fields=results,
        pair=pair,
        correction=_figures(correction, blur, evened) | _print_seen(printed, photo_fit.plain),
        settings=_settings(printed, fields, floor_is) | profile_setting(profile),
        version=__version__,
    )
    return Inspection(measurement, fit, correction, views, readings, correction.greys_of(known))


def greys_known(greys: StripGreys | GreysOf | None, number: int | None) -> StripGreys:
    """Return what is known of the greys of the strip that was found."""
    if callable(greys):
        greys = None if number is None else greys(number)
    return greys or USUAL


def _strip_name(fit: StripFit, image: LinearImage) -> str:
    """Return what tells this strip from others; one without a number is known in its photo alone."""
    return f"photo {image.info.photo_id}" if fit.number is None else str(fit.number)


def _view_field(image: LinearImage, fit: StripFit, correction: Correction, name: FieldName) -> FieldView:
    corrected = correct(image, fit, correction, STRIP.fields[name], PX_PER_MM)
    surface = find_surface(corrected, name)
    found = sample(corrected, surface)
    found = dequantize_chroma(found, image, correction, fit.to_pixels @ corrected.to_mm(), surface.mask)
    return FieldView(corrected, surface, found, black_clipping(image, fit.pixels(corrected.places(surface.mask))))


def _lost_beside(views: Mapping[FieldName, FieldView], name: FieldName) -> float:
    """Return the share of a channel lost by the surface at the strip's other edge, 0 where none was measured."""
    return sum(view.lost.share for other, view in views.items() if other != name and view.lost is not None)


def field_result(
    name: FieldName,
    kind: SurfaceKind,
    estimate: LabEstimate,
    view: FieldView,
    *,
    correction: Correction,
    shared: tuple[Doubt, ...],
    texture: Texture | None = None,
    lost_beside: float = 0.0,
) -> FieldMeasurement:
    """Return what is recorded of a sampled field; `shared` are the doubts that hold for the whole photo.

    Raises
    ------
    QualityError
        See `finishlab.measure.uncertainty_budget.judge_field`.
    """
    doubts = judge_field(name, view.image, view.surface, estimate, correction, view.lost, lost_beside)
    fine = rgb_to_lab(np.maximum(view.sample.fine, 1e-4))
    blocks = rgb_to_lab(np.maximum(view.sample.blocks, 1e-4))
    covariance = np.cov(blocks.T) if len(blocks) > 1 else np.zeros((3, 3))
    low, high = np.quantile(fine[:, 0], [0.1, 0.9])
    rows = tuple(triple(row) for row in covariance)
    return FieldMeasurement(
        name=name,
        kind=kind,
        estimate=estimate,
        spread=Spread(float(low), float(high), rows),
        used_share=view.surface.used_share,
        glare_share=view.surface.glare_share,
        left_out=view.surface.left_out,
        doubts=(*shared, *doubts),
        texture=texture,
        colours=_colours(fine),
    )


def _colours(fine: np.ndarray) -> tuple[tuple[float, float, float], ...] | None:
    if len(fine) < PALETTE_SIZE:
        return None
    rounded = np.round(equal_shares(fine), 2) + 0.0  # a hundredth of a unit is finer than any of it is known
    return tuple(triple(each) for each in rounded)


def _reading(fit: StripFit, image: LinearImage) -> StripReading:
    full = 1 / image.scale
    corners = (fit.pixels(Rect(0.0, 0.0, STRIP.width, STRIP.height).corners()) + 0.5) * full - 0.5
    return StripReading(
        number=fit.number,
        tags_seen=fit.tags_seen,
        corners=tuple((round(float(x), 1), round(float(y), 1)) for x, y in corners),
        px_per_mm=fit.px_per_mm * full,
        tilt_deg=fit.tilt_deg,
        rotation_deg=fit.rotation_deg,
        residual_mm=fit.residual_mm,
    )


def fit_figures(correction: Correction) -> dict[str, Any]:
    """Return what a measurement's record says of every fit."""
    return {
        "residual_percent": round(100 * correction.residual, 3),
        "misfit": round(correction.misfit, 3),
        "veiling_glare": [round(float(g), 4) for g in correction.glare],
    }


def _figures(correction: Correction, blur: float, evened: LocalTone | None) -> dict[str, Any]:
    return fit_figures(correction) | {
        "cast": [round(float(c), 4) for c in correction.cast],
        "blur_mm": round(blur, 3) if np.isfinite(blur) else None,
        "local_tone": None
        if evened is None
        else {
            "strength": round(evened.strength, 4),
            "standard_error": round(evened.standard_error, 4),
            "reach_mm": evened.reach_mm,
        },
    }


def _print_seen(printed: StripGreys, plain: Correction) -> dict[str, Any]:
    """Return what the photo by itself says of a print nobody learned, for other photos of that strip."""
    return {"print": [round(float(z), 6) for z in plain.alone]} if printed.source == "usual" else {}


def profile_setting(profile: CameraProfile | None) -> dict[str, Any]:
    """Return what a measurement's settings say of the camera's profile; nothing without one."""
    return {} if profile is None else {"camera_profile": profile.summary()}


def _settings(printed: StripGreys, fields: Sequence[FieldName], floor_is: SurfaceKind) -> dict[str, Any]:
    return {
        "fields": list(fields),
        "floor_is": floor_is,
        "px_per_mm": PX_PER_MM,
        "print": printed.settings(),
    }


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
