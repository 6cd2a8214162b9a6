"""Learn a camera's profile from a photo of a 24-patch chart, beside the strip or alone.

Beside the strip its joint fit undoes tone and light first, and the chart's own greys teach what the strip's greys
are, which is kept for that strip. Alone, the chart's greys have to tell the tone curve too; they stand in one row,
where a slope of light and a tone curve look alike. A slope is therefore found from the lightness of all 24 patches.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from finishlab.colorimetry.camera_profile import LEAST_PATCHES, CameraProfile, Colours, fit_profile
from finishlab.colorimetry.spaces import (
    CHART_EDITIONS,
    DEFAULT_EDITION,
    chart_lab,
    edition_named,
    lab_to_rgb,
    rgb_to_xyz,
)
from finishlab.errors import NoStripError, QualityError, UsageError
from finishlab.imaging.chart import ChartFit, ChartReadings, chart_from_corners, find_chart, read_chart
from finishlab.imaging.correction import FitPriors, PatchReadings, fit_correction
from finishlab.imaging.finder import StripFit, apply_homography, find_strip
from finishlab.imaging.greys import GreysOf, StripGreys
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import RAW_SATURATION, SATURATION_BOOST, local_tone, plain_colours
from finishlab.imaging.rectify import blur_mm, flatten, read_patches
from finishlab.imaging.strip import STRIP, Rect
from finishlab.measure.areas import GreyArea, KnownColour
from finishlab.measure.by_hand import colours_by_hand
from finishlab.measure.flow import PX_PER_MM, greys_known
from finishlab.measure.learn_print import KnownPatches, LearnedGreys, greys_beside
from finishlab.measure.uncertainty_budget import judge_light, judge_local_tone, judge_strip
from finishlab.quality import Doubt

_NEUTRALS: Final = slice(18, 24)
_GREYS: Final = ("white", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black")
_TURNS: Final = 3
_ALONE: Final = FitPriors(
    light_plane=1e-4,
    light_bend=1e-4,
    tint_plane=1e-4,
    reading=0.01,
    channel_reading=0.01,
)
"""Light is looked for by itself here, and a chart's greys are even."""
_SLOPE: Final = (0.04, 0.15)
"""Prior of the light's slope over half the chart's length, natural log: after the strip's fit, and alone."""
_PATCH: Final = 0.04
"""How far one patch's luminance is off by its spectrum alone, natural log."""
_WORST: Final = 9.0
"""Mean CIEDE2000 on left-out patches above which the photo, or the edition, cannot be right."""
_LEAST_GREYS: Final = 5
_LEAST_PATCHES: Final = 16


@dataclass(frozen=True, eq=False, slots=True)
class LearnedProfile:
    """A profile together with what it came from."""

    profile: CameraProfile
    chart: ChartFit | None = None
    """Where the chart lies; None where patches were named by hand."""
    strip: StripFit | None = None
    rgb: np.ndarray | None = None
    """Shape (24, 3): the patches corrected, the boost of saturation out; not a number where one could not be read."""
    slope: tuple[float, float] = (0.0, 0.0)
    """Change of light over half the chart's length, along its rows and down, natural log, taken out."""
    greys: LearnedGreys | None = None
    """What the chart's greys told of the strip's, where the strip has a number and nothing better was known."""
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class _Undone:
    """The patches with tone, light and white undone."""

    colours: Colours
    """Of all 24 patches."""
    slope: np.ndarray
    greys: LearnedGreys | None = None
    doubts: tuple[Doubt, ...] = ()


def learn_profile(
    image: LinearImage,
    *,
    light: str,
    edition: str = DEFAULT_EDITION,
    corners: Sequence[tuple[float, float]] | None = None,
    date: dt.date,
    greys: StripGreys | GreysOf | None = None,
    learned: str = "",
) -> LearnedProfile:
    """Learn a camera's profile from a photo of a chart.

    Parameters
    ----------
    image
        The photo.
    light
        Name of the light.
    edition
        Which of `CHART_EDITIONS` the chart is; the reference values are taken from it.
    corners
        Outer corners of the chart's corner patches in pixels of the upright, full-size photo, clockwise from the dark
        skin patch; without them the chart is looked for.
    date
        Day to keep with the profile.
    greys
        What is known of the strip's greys. Read with an instrument they stay; else the chart's greys tell them.
    learned
        Kept with the strip's greys, see `StripGreys`.

    Raises
    ------
    UsageError
        ``"unknown-edition"`` or ``"no-camera-name"``.
    NoStripError
        ``"no-chart"``.
    QualityError
        ``"chart-clipped"``, ``"chart-odd"``, and what reading the chart or judging the strip can raise.
    """
    named = edition_named(edition)
    if named is None:
        raise UsageError(
            "unknown-edition", f"No chart edition “{edition}” is known.", f"Known: {'; '.join(CHART_EDITIONS)}."
        )
    check_camera_named(image)
    reference = np.array(list(chart_lab(named).values()))
    colours = lab_to_rgb(reference)
    if corners is None:
        chart = find_chart(image, colours)
    else:
        chart = chart_from_corners(image, np.asarray(corners, dtype=float), colours)
    readings = read_chart(image, chart)
    used = readings.usable
    if used[_NEUTRALS].sum() < _LEAST_GREYS or used.sum() < _LEAST_PATCHES:
        raise QualityError(
            "chart-clipped",
            f"{24 - int(used.sum())} of the chart's 24 patches are too bright or too dark in the photo.",
            "Tap the chart on the screen so that its white patch keeps detail, and photograph again.",
        )
    strip = _strip_of(image)
    if strip is None:
        undone = _alone(image, readings, reference)
    else:
        undone = _beside(image, strip, readings, reference, greys=greys, learned=learned)
    profile = fit_profile(lambda boost: undone.colours(boost)[used], reference[used], saturation=_boost_of(image))
    if profile.left_out.mean > _WORST:
        raise QualityError(
            "chart-odd",
            f"The chart's colours cannot be matched: they are off by {profile.left_out.mean:.1f} dE00 on average.",
            "Check the edition, and that no shadow, glare or edited picture mode is at work.",
        )
    seen = np.where(used[:, None], undone.colours(profile.saturation[0]), np.nan)
    return LearnedProfile(
        profile.named(image.info.seen_by, light, named, date=date, photo_id=image.info.photo_id),
        chart,
        strip,
        seen,
        (float(undone.slope[0]), float(undone.slope[1])),
        undone.greys,
        undone.doubts,
    )


def learn_from_patches(
    image: LinearImage,
    greys: Sequence[GreyArea],
    patches: Sequence[KnownColour],
    *,
    light: str,
    chart: str,
    date: dt.date,
) -> CameraProfile:
    """Learn a camera from patches of known colour named by hand, with greys that tell tone and white.

    Parameters
    ----------
    image
        The photo.
    greys
        Areas of known lightness, as for `finishlab.measure.by_hand.measure_by_hand`.
    patches
        Eight or more areas of known colour; the greys may be among them.
    light, date
        As in `learn_profile`.
    chart
        What the patches are, in words.

    Raises
    ------
    UsageError
        ``"few-patches"``, and what naming areas by hand can raise.
    QualityError
        What measuring by hand can raise.
    """
    if len(patches) < LEAST_PATCHES:
        raise UsageError(
            "few-patches", f"{len(patches)} patches do not tell a camera.", f"Name {LEAST_PATCHES} patches or more."
        )
    colours = colours_by_hand(image, greys, [patch.rect for patch in patches])
    profile = fit_profile(colours, np.array([patch.lab for patch in patches]), saturation=_boost_of(image))
    return profile.named(image.info.seen_by, light, chart, date=date, photo_id=image.info.photo_id)


def check_camera_named(image: LinearImage) -> None:
    """Check that a photo says which camera made it.

    Raises
    ------
    UsageError
        ``"no-camera-name"``.
    """
    if not image.info.camera:
        raise UsageError(
            "no-camera-name",
            "The photo does not say which camera made it, so no later photo could be told to be of the same camera.",
            "Give the photo as the camera saved it, not a forwarded copy or a screenshot.",
        )


def _boost_of(image: LinearImage) -> tuple[float, float]:
    return RAW_SATURATION if image.info.linear else SATURATION_BOOST


def _strip_of(image: LinearImage) -> StripFit | None:
    try:
        return find_strip(image)
    except NoStripError:
        return None


def _beside(
    image: LinearImage,
    strip: StripFit,
    readings: ChartReadings,
    reference: np.ndarray,
    *,
    greys: StripGreys | GreysOf | None,
    learned: str,
) -> _Undone:
    """Undo what the strip's greys tell, after the chart's greys have told what those are."""
    view = flatten(image, strip, Rect(0.0, 0.0, STRIP.width, STRIP.height), PX_PER_MM, image.decode)
    patches = read_patches(view, strip.roles_seen)
    doubts = judge_strip(strip, patches, blur_mm(view), image)
    known, taught = greys_known(greys, strip.number), None
    if known.source != "typed":
        taught = _taught(image, strip, patches, readings, reference, learned=learned)
        known = known if taught is None else taught.greys
    priors = FitPriors.for_linear() if image.info.linear else None
    levels = known.patches()
    correction = fit_correction(patches, levels, priors)
    doubts += judge_light(patches, correction)
    doubts += judge_local_tone(local_tone(image, strip, patches, correction, correction.greys_of(levels)))
    places = apply_homography(np.linalg.inv(strip.to_pixels), readings.middles)
    seen = partial(plain_colours, readings.values, places, patches, levels, correction, image.to_srgb, priors)
    factor, slope = _level(seen(_boost_of(image)[0]), readings, reference, _SLOPE[0])
    numbered = taught if strip.number is not None else None
    return _Undone(lambda boost: seen(boost) / factor, slope, numbered, tuple(doubts))


def _taught(
    image: LinearImage,
    strip: StripFit,
    patches: PatchReadings,
    readings: ChartReadings,
    reference: np.ndarray,
    *,
    learned: str,
) -> LearnedGreys | None:
    """Return what the chart's greys tell of the strip's; None where they lie too far or cannot be."""
    seen = [i for i in range(24)[_NEUTRALS] if readings.usable[i]]
    known = KnownPatches(
        tuple(readings.codes[i] for i in seen),
        readings.middles[seen],
        reference[seen, 0],
        tuple(f"chart {_GREYS[i - _NEUTRALS.start]}:{reference[i, 0]:.2f}" for i in seen),
    )
    try:
        return greys_beside(image, strip, patches, known, number=strip.number or 1, learned=learned)
    except QualityError:
        return None


def _level(
    rgb: np.ndarray, readings: ChartReadings, reference: np.ndarray, prior: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return what to divide the patches by, shape (24, 3), to have the chart's greys right; and the slope of light."""
    colours = lab_to_rgb(reference)
    greys = np.arange(24)[_NEUTRALS][readings.usable[_NEUTRALS]]
    slope = np.zeros(2)
    for _ in range(_TURNS):
        light = np.exp(readings.places @ slope)[:, None]
        gain = np.exp(np.median(np.log(np.maximum(rgb[greys] / light[greys], 1e-4) / colours[greys]), axis=0))
        slope = slope + _slope_left(rgb / light / gain, readings, colours, slope, prior)
    return np.exp(readings.places @ slope)[:, None] * gain, slope


def _slope_left(
    rgb: np.ndarray, readings: ChartReadings, colours: np.ndarray, slope: np.ndarray, prior: float
) -> np.ndarray:
    """Return what is left of the light's slope, from how light the patches are once their colours are matched."""
    used = readings.usable
    luminance = rgb_to_xyz(colours[used])[:, 1]
    weight = 1.0 / (luminance[:, None] + 0.02)
    matrix = np.linalg.lstsq(rgb[used] * weight, colours[used] * weight, rcond=None)[0]
    off = np.log(np.maximum(rgb_to_xyz(rgb[used] @ matrix)[:, 1], 1e-4) / luminance)
    design = np.column_stack([readings.places[used], np.ones(int(used.sum()))])
    normal = design.T @ design / _PATCH**2 + np.diag([prior**-2, prior**-2, 1e-6])
    right = design.T @ off / _PATCH**2 - np.append(slope / prior**2, 0.0)
    return np.asarray(np.linalg.solve(normal, right)[:2])


def _alone(image: LinearImage, readings: ChartReadings, reference: np.ndarray) -> _Undone:
    """Undo what the chart's own greys tell."""
    colours = lab_to_rgb(reference)
    luminance = rgb_to_xyz(colours)[:, 1]
    greys = np.arange(24)[_NEUTRALS][readings.usable[_NEUTRALS]]
    # The greys are not quite neutral: what each channel should read of them is put on one level first.
    in_file = colours[greys] @ np.linalg.inv(image.to_srgb).T
    middle = np.full((24, 2), [STRIP.width / 2, STRIP.height / 2])
    seen = PatchReadings(
        middle[greys],
        np.maximum(readings.values[greys], 1e-5) * luminance[greys, None] / in_file,
        np.ones(len(greys), dtype=bool),
    )
    priors = FitPriors.for_linear(_ALONE) if image.info.linear else _ALONE
    slope = np.zeros(2)

    def colours_at(boost: float) -> np.ndarray:
        light = np.exp(readings.places @ slope)
        lit = luminance[greys] * light[greys]
        tone = fit_correction(seen, lit, priors)
        found = plain_colours(readings.values, middle, seen, lit, tone, image.to_srgb, priors, boost)
        return np.asarray(found / light[:, None])

    for _ in range(_TURNS):
        slope = slope + _slope_left(colours_at(_boost_of(image)[0]), readings, colours, slope, _SLOPE[1])
    return _Undone(colours_at, slope)
