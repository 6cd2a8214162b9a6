"""Measure without the strip: greys of known lightness and the surface are named by hand.

The same steps as beside the strip, with less to go by. Nobody says how large things are, so places are put on a scale
on which the photo's long side is `_SPAN_MM`: light is smooth on that scale, and the sizes that glare and grain are
looked for at are about right. What the greys cannot decide is left to priors, and the doubt about it goes into the
estimate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from finishlab.colorimetry.camera_profile import CameraProfile, Colours
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.spaces import reflectance_of_lightness
from finishlab.errors import QualityError, UsageError
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction
from finishlab.imaging.finder import apply_homography
from finishlab.imaging.opencv import any_channel_at_least, apply_table, recolour, shrink
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import plain_colours
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.sampling import black_clipping, dequantize_chroma, sample
from finishlab.imaging.strip import STRIP, Rect
from finishlab.imaging.surface import Surface, glare_mask
from finishlab.measure.areas import GreyArea, PixelRect, SurfaceArea, check_inside
from finishlab.measure.flow import PX_PER_MM, FieldView, field_result, fit_figures, profile_setting
from finishlab.measure.results import Measurement, SurfaceKind
from finishlab.measure.uncertainty_budget import LITTLE, PhotoFit, estimate_colours, judge_black_clipping
from finishlab.quality import doubt
from finishlab.version import __version__

_SPAN_MM: Final = 380.0
"""What the photo's long side is taken to be: a phone held over two sheets of paper (common practice, no source)."""
_LIGHT: Final = 0.06
"""Prior of the light's slope over 90 of these millimetres, natural log."""
_BEND: Final = 0.015
_CELLS: Final = 4
"""Each grey is read in so many parts along each side: one grey is one grey, so how it falls off inside is the light."""
_READING: Final = 0.03
"""Relative error of one part of a grey, of all channels and of each: neighbours, a phone's own evening out."""
_OWN_STEP: Final = 1.0
"""One standard deviation of what a grey's lightness may be wrong by itself, L*: print, dirt, light from neighbours."""
_LIGHTNESS_STEP: Final = 1.0
"""One standard deviation of what all the greys' lightnesses may be wrong by together, L*."""
_LEAST_PIXELS: Final = 16
_CLIPPED: Final = 0.05
BELIEVED: Final = 0.1
"""Least weight the fit may give a grey that somebody named."""
ASTRAY: Final = 4.0
"""Error of such a grey, in standard deviations, above which it cannot be what was said."""
_RESIDUAL: Final = 0.20
"""Largest relative residual of all of them."""


@dataclass(frozen=True, eq=False, slots=True)
class HandInspection:
    """A measurement by hand together with the pictures it came from."""

    measurement: Measurement
    correction: Correction
    view: FieldView
    area: SurfaceArea
    greys: tuple[GreyArea, ...]


def measure_by_hand(
    image: LinearImage,
    greys: Sequence[GreyArea],
    area: SurfaceArea,
    kind: SurfaceKind = "wood",
    profile: CameraProfile | None = None,
) -> HandInspection:
    """Measure a rectangle or polygon of a photo against greys of known lightness.

    Parameters
    ----------
    image
        The photo; at full size, or reduced when it is very large.
    greys
        One or more areas of known lightness; several of different lightness make a ramp.
    area
        The surface to measure; it is reported as the board field.
    kind
        Whether the surface is wood or a print.
    profile
        The camera's learned profile for this light.

    Raises
    ------
    UsageError
        ``no-grey``, ``rectangle-too-small``, ``rectangle-outside-photo`` or ``polygon-outside-photo``.
    QualityError
        ``grey-clipped``, ``greys-disagree``, and what judging a surface can raise.
    """
    greys = tuple(greys)
    readings, known, priors, correction = _fitted(image, greys, area)
    corrected = _correct(image, correction, area)
    view = _even_view(corrected)
    to_pixels = _to_pixels(image) @ corrected.to_mm()
    view = replace(view, sample=dequantize_chroma(view.sample, image, correction, to_pixels, view.surface.mask))
    fit = PhotoFit.build(
        image,
        readings,
        correction,
        known,
        strip_scope=f"greys:{image.info.photo_id}",
        priors=priors,
        profile=profile,
    )
    estimate = estimate_colours({"board": view.sample}, {"board": kind}, fit)["board"]
    measurement = _measurement(image, greys, area, kind=kind, estimate=estimate, view=view, correction=correction)
    measurement = replace(measurement, settings={**measurement.settings, **profile_setting(profile)})
    return HandInspection(measurement, correction, view, area, greys)


def colours_by_hand(image: LinearImage, greys: Sequence[GreyArea], areas: Sequence[SurfaceArea]) -> Colours:
    """Return what gives the areas' corrected linear RGB, shape (areas, 3), with a boost of saturation taken out.

    The same steps as `measure_by_hand`, which also says what is raised: for learning a camera from areas of known
    colour.
    """
    readings, known, priors, correction = _fitted(image, tuple(greys), *areas)
    seen = [_even_view(_correct(image, correction, area)).sample for area in areas]
    places = np.array([found.place for found in seen])
    back = np.linalg.inv(image.to_srgb)
    values = np.array([correction.value_of(back @ found.rgb, np.asarray(found.place)) for found in seen])
    return partial(plain_colours, values, places, readings, known, correction, image.to_srgb, priors)


def _fitted(
    image: LinearImage, greys: tuple[GreyArea, ...], *areas: SurfaceArea
) -> tuple[PatchReadings, KnownGreys, FitPriors, Correction]:
    """Return the greys as read, what is believed of them and of the photo, and the fit."""
    check_areas(image, greys, *areas)
    readings = _read_greys(image, greys)
    known, priors = _known(greys), _priors(linear=image.info.linear)
    correction = fit_correction(readings, known, priors)
    _check_agreement(greys, correction)
    return readings, known, priors, correction


def _known(greys: tuple[GreyArea, ...]) -> KnownGreys:
    """Return what is believed of each part of greys of known L*: that all may be wrong together, and each by itself."""
    lightness = np.array([grey.lightness for grey in greys])
    values, lighter = (reflectance_of_lightness(lightness + step) for step in (0.0, _LIGHTNESS_STEP))
    common = np.log(lighter / values)
    departures = np.column_stack([common, np.diag(common * _OWN_STEP / _LIGHTNESS_STEP)])
    names = ("grey-lightness", *(f"grey-{i + 1}" for i in range(len(greys))))
    parts = np.repeat(np.arange(len(greys)), _CELLS**2)
    return KnownGreys(values[parts], departures[parts], names)


def _even_view(corrected: CorrectedImage) -> FieldView:
    glare = glare_mask(corrected.rgb, corrected.inside & ~corrected.clipped, corrected.px_per_mm) & corrected.inside
    return _view(corrected, glare)


def refuse_clipped(grey: GreyArea, linear: np.ndarray, image: LinearImage) -> None:
    """Refuse a grey, shape (h, w, 3) in linear light, that the photo cannot hold."""
    if float((linear >= image.top).any(axis=-1).mean()) > _CLIPPED:
        raise QualityError(
            "grey-clipped",
            f"The grey area {grey} is too bright for the photo to hold.",
            "Expose less and photograph again, or name a darker grey.",
        )


def check_areas(image: LinearImage, greys: Sequence[GreyArea], *surfaces: SurfaceArea) -> None:
    """Refuse areas that lie outside the photo or hold next to nothing of it, and none at all."""
    if not greys:
        raise UsageError("no-grey", "No grey area is named.", "Name at least one with --grey X,Y,W,H:L.")
    for named in (*(grey.rect for grey in greys), *surfaces):
        check_inside(named, image.info.full_size)
        rect = _decoded(image, named.box)
        if rect.width * rect.height < _LEAST_PIXELS:
            raise UsageError(
                "rectangle-too-small",
                f"The area {named} holds fewer than {_LEAST_PIXELS} pixels.",
                "Name a larger part of the grey or surface.",
            )


def _decoded(image: LinearImage, rect: PixelRect) -> PixelRect:
    """Return a rectangle of the full-size photo in the pixels that were decoded."""
    scale = image.scale
    if scale == 1.0:
        return rect
    x, y = round(rect.x * scale), round(rect.y * scale)
    x, y = min(x, image.size[0] - 1), min(y, image.size[1] - 1)
    right, bottom = round((rect.x + rect.width) * scale), round((rect.y + rect.height) * scale)
    return PixelRect(x, y, max(1, min(right, image.size[0]) - x), max(1, min(bottom, image.size[1]) - y))


def _read_greys(image: LinearImage, greys: tuple[GreyArea, ...]) -> PatchReadings:
    """Return the linear-light mean of each part of each grey, `_CELLS` along each side."""
    values, places = [], []
    for grey in greys:
        r = _decoded(image, grey.rect)
        linear = image.linear(r.x, r.y, r.x + r.width, r.y + r.height)
        refuse_clipped(grey, linear, image)
        if float(linear.mean(axis=(0, 1)).min()) <= 0.0:
            raise QualityError(
                "grey-black",
                f"The grey area {grey} is black in the photo.",
                "Use more light and photograph again, or name a lighter grey.",
            )
        for rows in np.array_split(np.arange(r.height), _CELLS):
            for columns in np.array_split(np.arange(r.width), _CELLS):
                part = linear[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
                values.append(part.reshape(-1, 3).mean(axis=0, dtype=np.float64))
                places.append(_place(image, np.array([r.x + columns.mean(), r.y + rows.mean()])))
    return PatchReadings(np.array(places), np.array(values), np.ones(len(values), dtype=bool))


def _check_agreement(greys: tuple[GreyArea, ...], correction: Correction) -> None:
    weights = correction.weights.reshape(len(greys), -1).mean(axis=1)
    # The fit can make any lightness true: what it took for that says whether the greys were what somebody said.
    common, *errors = np.abs(correction.parameters[correction.layout.print])
    each = zip(greys, weights, errors, strict=True)
    odd = [str(grey) for grey, weight, error in each if weight < BELIEVED or error > ASTRAY]
    if odd or common > ASTRAY or correction.residual > _RESIDUAL:
        which = f"{' and '.join(odd)} of them" if 0 < len(odd) < 4 else "several of them"
        raise QualityError(
            "greys-disagree",
            f"The {len(greys)} grey areas disagree: {which} cannot be as light as said beside the others.",
            "Check each rectangle and its lightness, and that no shadow lies on them.",
        )


def _mm_per_px(image: LinearImage) -> float:
    return _SPAN_MM / max(image.size)


def _place(image: LinearImage, pixels: np.ndarray) -> np.ndarray:
    """Return places in stand-in millimetres, with the photo's centre where the strip's would be, shape (..., 2)."""
    middle = (np.array(image.size, dtype=float) - 1) / 2
    return np.asarray((pixels - middle) * _mm_per_px(image) + np.array([STRIP.width / 2, STRIP.height / 2]))


def _to_pixels(image: LinearImage) -> np.ndarray:
    """Return the homography from stand-in millimetres to decoded pixels, shape (3, 3): the inverse of `_place`."""
    per_mm = 1 / _mm_per_px(image)
    x, y = ((n - 1) / 2 - side / 2 * per_mm for n, side in zip(image.size, (STRIP.width, STRIP.height), strict=True))
    return np.array([[per_mm, 0.0, x], [0.0, per_mm, y], [0.0, 0.0, 1.0]])


def _priors(*, linear: bool) -> FitPriors:
    """Return what is believed of a photo in which only greys are known."""
    priors = FitPriors(
        light_plane=_LIGHT,
        light_bend=_BEND,
        reading=_READING,
        channel_reading=_READING,
    )
    return FitPriors.for_linear(priors) if linear else priors


def _correct(image: LinearImage, correction: Correction, named: SurfaceArea) -> CorrectedImage:
    """Cut the area's box out and undo tone, white balance, light and glare, as beside the strip."""
    area = _decoded(image, named.box)
    table = correction.exposure_table(image.decode)
    per_px = _mm_per_px(image)
    step = max(1, min(int(1 / per_px / PX_PER_MM), area.width, area.height))
    width, height = area.width // step * step, area.height // step * step
    codes = image.encoded[area.y : area.y + height, area.x : area.x + width]
    values = shrink(apply_table(codes, table), step)
    h, w = values.shape[:2]
    x0, y0 = _place(image, np.array([area.x - 0.5, area.y - 0.5]))
    rect = Rect(float(x0), float(y0), width * per_px, height * per_px)
    x = rect.x + (np.arange(w) + 0.5) * step * per_px
    y = rect.y + (np.arange(h) + 0.5) * step * per_px
    light = correction.light(np.stack(np.meshgrid(x, y), axis=-1)).astype(np.float32)
    rgb = recolour((values - correction.glare.astype(np.float32)) / light, image.to_srgb)
    clipped = any_channel_at_least(values, table[-1 - max(1, len(table) // 128)])
    full_x, full_y = (
        (start + (np.arange(n) + 0.5) * step) / image.scale - 0.5 for start, n in ((area.x, w), (area.y, h))
    )
    # A rectangle is held as it is: rounding to decoded pixels must not cost its edge.
    inside = np.ones((h, w), dtype=bool) if isinstance(named, PixelRect) else named.holds(full_x, full_y)
    return CorrectedImage(rgb, inside, clipped, rect, 1 / (per_px * step), light.mean(axis=-1))


def _view(corrected: CorrectedImage, glare: np.ndarray) -> FieldView:
    """Take the whole area as the surface, less what mirrors the light or is clipped."""
    inside = corrected.inside
    mask = inside & ~glare & ~corrected.clipped
    parts = {"glare": glare, "clipped": inside & corrected.clipped & ~glare}
    left_out = {name: float(part.sum() / max(1, inside.sum())) for name, part in parts.items()}
    surface = Surface(mask, corrected.inside, glare, {k: round(v, 4) for k, v in left_out.items() if v > 0.0005})
    return FieldView(corrected, surface, sample(corrected, surface, least_area_mm2=0.0))


def _measurement(
    image: LinearImage,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea,
    *,
    kind: SurfaceKind,
    estimate: LabEstimate,
    view: FieldView,
    correction: Correction,
) -> Measurement:
    lost = black_clipping(image, apply_homography(_to_pixels(image), view.image.places(view.surface.mask)))
    shared = (*image.info.doubts, doubt("no-strip-used", greys=len(greys)), *judge_black_clipping(lost))
    if len(greys) == 1:
        shared = (*shared, doubt("one-grey"))
    found = field_result("board", kind, estimate, view, correction=correction, shared=shared)
    used = float(view.surface.mask.sum() / max(1, view.surface.outline.sum()))
    needless = {"surface-small"} if used >= LITTLE else set()  # of a polygon's box little may be surface
    if len(greys) == 1:
        # Beside one grey every colour is outside it; the doubt about one grey says it better.
        needless.add("outside-greys")
    found = replace(found, used_share=used, doubts=tuple(d for d in found.doubts if d.code not in needless))
    return Measurement(
        photo_id=image.info.photo_id,
        strip=None,
        fields={"board": found},
        pair=None,
        correction=fit_figures(correction),
        settings={"greys": [str(grey) for grey in greys], "area": str(area), "surface": kind},
        version=__version__,
    )
