"""Learn how a printer made a strip: from photos of it, from greys of known lightness beside it, or by eye.

From a few steps back the camera cannot tell the strip's lines apart: its optics average them in linear light, before
any tone curve, so each screen is a grey that geometry fixes. Greys, screens, paper and black are weighed in one fit
with tone, light and glare, and what is usual of prints and phones stands in for what a photo cannot tell. Camera raw
files need no screens: their tone is known.

An eye does it without a camera: a row's lines are as light as the step that vanished in them.

Known greys beside the strip go into the photo's own fit: they tell the tone curve, so that what is left is the print's.
What they do not decide stays as uncertain as it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness, rgb_to_xyz
from finishlab.errors import QualityError, UsageError
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction
from finishlab.imaging.finder import StripFit, apply_homography, find_strip
from finishlab.imaging.greys import USUAL, GreysSource, StripGreys, axes_of, greys_found, greys_of_logs
from finishlab.imaging.opencv import apply_table
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import (
    GROWTH,
    SPREAD,
    AreaMeans,
    blur_mm,
    flatten,
    read_areas,
    read_patches,
    screen_reflectance,
)
from finishlab.imaging.strip import EYE_ROWS, STRIP, GreyPatch, Rect, Screen, usual_print
from finishlab.measure.areas import GreyArea
from finishlab.measure.by_hand import ASTRAY, BELIEVED, check_areas, refuse_clipped
from finishlab.measure.flow import PX_PER_MM
from finishlab.measure.uncertainty_budget import judge_light, judge_strip
from finishlab.quality import Doubt

_LEVELS: Final = np.array([patch.level for patch in STRIP.patches])
_PAPER: Final = len(STRIP.greys) - 1
_AREAS: Final[tuple[GreyPatch | Screen, ...]] = (*STRIP.patches, *STRIP.screens)
_PLACES: Final = np.array([each.sample.centre for each in _AREAS])
_IS_SCREEN: Final = np.arange(len(_AREAS)) >= len(_LEVELS)
_DARK: Final = np.array([screen.coverage > 0.7 for screen in STRIP.screens])

_SHOWN: Final = (0.85, 0.25)
"""How much of the modulation that shows was there before the camera sharpened it."""
_GLARE: Final = (0.008, 0.006)
"""Veiling glare, as a share of a perfect white's light (common practice, no source)."""
_TOP: Final = (0.04, 0.25)
"""How far a phone may press its highlights together more than usual: natural log at paper, and over how much of the log
of light that fades (common practice, no source)."""
_READING: Final = (0.008, 0.012)
"""Error of one reading, of a grey and of black."""
_CHANNELS: Final = np.array([0.15, 0.70, 0.15])
"""Weights of the channels: false colour leaves green alone, and pulls red and blue apart about equally."""
_ALIKE: Final = 3
"""Channels of the fit that hold the one grey that is read here."""
_ROUNDS: Final = 2
_STEPS: Final = 8
_STEP: Final = 0.05
_DONE: Final = 0.02
_STRIDE: Final = 1.5

_SCALE: Final = (1.3, 4.0)
"""Pixels a millimetre between which a photo is taken."""
_SHOWS: Final = 0.7
"""Largest correction for lines that show, in the log of light, that is believed."""
_NO_SCREENS: Final = 0.6
"""Light of the dark screens over paper's above which there are none: the tone curve apart they reflect a quarter."""
_MISFIT: Final = 4.0
_OF_SMALL: Final = ("strip-small", "strip-partly-hidden", "strip-not-flat")
"""Doubts that hold of any strip so small: its tags are blurred and some unread."""


@dataclass(frozen=True, eq=False, slots=True)
class PrintFit:
    """What one photo says of a print."""

    log_reflectance: np.ndarray
    """Shape (levels,): natural log of each level's reflectance factor."""
    common: np.ndarray
    """Shape (levels, levels): covariance of it that photos of one phone share, by what was believed beforehand."""
    own: np.ndarray
    """The rest of its covariance."""
    growth: float
    """How far ink runs beyond an edge, mm."""
    number: int | None
    """The strip's number, where it was read."""
    photo_id: str
    linear: bool
    """Whether it is a camera raw file."""
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class LearnedPrint:
    """What photos told of a print."""

    greys: StripGreys
    growth: float
    """How far ink runs beyond an edge, mm."""
    doubts: tuple[Doubt, ...]


def look_at_print(image: LinearImage) -> PrintFit:
    """Return what a photo taken from a few steps back, at full size, says of the print of its strip.

    Raises
    ------
    NoStripError
        If the strip is not found.
    QualityError
        ``no-screens``, ``lines-show``, ``strip-far``, ``print-unclear``, and what judging the strip and its light
        raises.
    """
    strip = find_strip(image, small=True)
    linear = image.info.linear
    _check_scale(strip, linear=linear)
    priors = _priors(linear=linear)
    curve = (priors.tone.grid, priors.tone.mean)
    model, theta = _Model(), np.zeros(0)
    for _ in range(_ROUNDS):
        means = read_areas(image, strip, _AREAS, curve)
        readings, shows = _readings(means, linear=linear)
        model = _Model(shows, means.beats)
        theta, correction = _solved(model, readings, priors, theta)
        curve = (correction.curves[1][0], correction.curves[1][1])
    greys = PatchReadings(*(each[~_IS_SCREEN] for each in (readings.places, readings.values, readings.usable)))
    doubts = [each for each in judge_strip(strip, greys, 0.0, image) if each.code not in _OF_SMALL]
    doubts += judge_light(greys, replace(correction, weights=correction.weights[~_IS_SCREEN]))
    if correction.misfit > _MISFIT:
        raise _unclear()
    growth = model.growth(theta)
    common, own = model.covariances(correction)
    return PrintFit(
        model.log_greys(theta), common, own, growth, strip.number, image.info.photo_id, linear, tuple(doubts)
    )


def learn_print(looks: Sequence[PrintFit], *, number: int | None = None, learned: str = "") -> LearnedPrint:
    """Learn the greys of a strip from one or more photos of it.

    Parameters
    ----------
    looks
        What each photo says.
    number
        The strip's number, where the photos do not show it.
    learned
        Kept with the greys, see `StripGreys`.

    Raises
    ------
    UsageError
        ``strip-number-needed`` or ``other-strip``.
    QualityError
        ``print-unclear``.
    """
    chosen = _number([look.number for look in looks], number)
    log, covariance = _pooled(looks)
    raw = all(look.linear for look in looks)
    basis = tuple(f"photo {look.photo_id}" for look in looks)
    try:
        source: GreysSource = "raw" if raw else "screens"
        greys = greys_of_logs(log, axes_of(covariance), source, number=chosen, learned=learned, basis=basis)
    except ValueError as error:
        raise _unclear() from error
    doubts = {each.code: each for look in looks for each in look.doubts}
    return LearnedPrint(greys, float(np.mean([look.growth for look in looks])), tuple(doubts.values()))


def _pooled(fits: Sequence[PrintFit]) -> tuple[np.ndarray, np.ndarray]:
    """Return the mean of photos' logs and its covariance: what they believe alike does not average out."""
    log = np.mean([each.log_reflectance for each in fits], axis=0)
    own = np.sum([each.own for each in fits], axis=0) / len(fits) ** 2
    return np.asarray(log), np.asarray(np.mean([each.common for each in fits], axis=0) + own)


def _priors(*, linear: bool) -> FitPriors:
    base = FitPriors.for_linear() if linear else FitPriors()
    # All three channels are one grey here; each has a glare of its own, as if they were three.
    return replace(
        base,
        reading=_READING[0],
        channel_reading=_READING[0],
        black_reading=_READING[1],
        glare=(_GLARE[0], _GLARE[1] * float(np.sqrt(_ALIKE))),
    )


def _readings(means: AreaMeans, *, linear: bool) -> tuple[PatchReadings, np.ndarray]:
    """Return areas as one grey channel, and by how much lines that show were corrected, natural log, shape (N,)."""
    papers = means.usable & np.concatenate([_LEVELS == _PAPER, np.zeros(_IS_SCREEN.sum(), dtype=bool)])
    if not papers.any():
        raise QualityError(
            "too-bright",
            "The photo is too bright, or the strip's paper does not lie in it.",
            "Expose less (tap the strip's paper on the screen before the photo) and photograph the whole strip again.",
        )
    paper = means.codes[papers].mean(axis=0)
    code, light = ((each / paper) @ _CHANNELS for each in (means.codes, means.light))
    shows = np.where(_IS_SCREEN & means.usable, np.log(np.maximum(light, 1e-6) / np.maximum(code, 1e-6)), 0.0)
    usable = means.usable.copy()
    if linear:  # its tone says more than lines could
        usable[_IS_SCREEN] = False
    elif np.median(code[_IS_SCREEN][_DARK]) > _NO_SCREENS:
        raise QualityError(
            "no-screens",
            "This print has no line screens to measure it by.",
            "Print the strip anew (finishlab strip), or name a grey of known lightness beside it with --grey.",
        )
    elif shows.max() > _SHOWS:
        raise _too_near()
    values = np.exp(np.log(np.maximum(code, 1e-6)) + _SHOWN[0] * shows) * paper.mean()
    return PatchReadings(_PLACES, np.repeat(values[:, None], _ALIKE, axis=1), usable), shows


def _lines(screens: Sequence[Screen], greys: np.ndarray, growth: float, spread: float) -> list[float]:
    """Return what screens reflect in a print of these greys; `spread` is the unknown of how far light spreads."""
    far = max(SPREAD[0] + SPREAD[1] * spread, 0.005)
    return [screen_reflectance(each, greys[-1], min(greys[0], 0.6 * greys[-1]), growth, far) for each in screens]


class _Model:
    """The log of what each area reflects by the unknowns of the print, each a unit Gaussian.

    Unknowns: the departures of `usual_print`, growth, spread, how much of what shows was there, pressed highlights,
    each screen's beat.
    """

    def __init__(self, shows: np.ndarray | None = None, beats: np.ndarray | None = None) -> None:
        self.usual, self.departures = usual_print()
        self.shows = np.zeros(len(_AREAS)) if shows is None else shows
        self.beats = np.zeros(len(_AREAS)) if beats is None else beats
        self.terms = len(self.departures)
        self.names = tuple(f"unknown-{i + 1}" for i in range(self.terms + 4 + len(STRIP.screens)))
        self.size = len(self.names)

    def log_greys(self, theta: np.ndarray) -> np.ndarray:
        return np.asarray(self.usual + theta[: self.terms] @ self.departures)

    def growth(self, theta: np.ndarray) -> float:
        return float(max(GROWTH[0] + GROWTH[1] * theta[self.terms], -0.02))

    def seen(self, theta: np.ndarray) -> np.ndarray:
        """Return the log of what each area reflects, shape (N,)."""
        greys = np.exp(self.log_greys(theta))
        paper = greys[-1]
        lines = _lines(STRIP.screens, greys, self.growth(theta), theta[self.terms + 1])
        beat = 1.0 + self.beats[_IS_SCREEN] * theta[self.terms + 4 :] * paper / np.array(lines)
        light = np.concatenate([greys[_LEVELS], lines * np.maximum(beat, 0.2)])
        pressed = _TOP[0] * np.exp((np.log(light) - np.log(paper)) / _TOP[1])
        unknown = theta[self.terms + 2 : self.terms + 4]
        return np.asarray(np.log(light) - _SHOWN[1] * unknown[0] * self.shows + unknown[1] * pressed)

    def slope(self, theta: np.ndarray) -> np.ndarray:
        """Return d(seen)/d(theta), shape (N, unknowns)."""
        steps = _STEP * np.eye(self.size)
        return np.stack([(self.seen(theta + s) - self.seen(theta - s)) / (2 * _STEP) for s in steps], axis=1)

    def covariances(self, correction: Correction) -> tuple[np.ndarray, np.ndarray]:
        """Return the covariance of the greys' logs that photos of one phone share, and the rest of it."""
        where = correction.layout
        rows = self.departures.T
        part = np.arange(where.print.start, where.print.start + self.terms)
        whole = rows @ correction.covariance[np.ix_(part, part)] @ rows.T
        # What photos of one print by one phone share: the print's and the camera's unknowns, and glare.
        print_too = slice(where.print.start, where.print.start + self.terms + 4)
        every = np.arange(where.size)
        alike = np.concatenate([every[where.tone], every[where.glare], every[print_too]])
        shared = rows @ correction.believed[np.ix_(part, alike)]
        common = shared @ shared.T
        return common, whole - common


def _solved(
    model: _Model, readings: PatchReadings, priors: FitPriors, start: np.ndarray
) -> tuple[np.ndarray, Correction]:
    """Return the unknowns of the print and the fit to the photo, by Gauss-Newton steps of the joint fit."""
    theta = start if start.size else np.zeros(model.size)
    for _ in range(_STEPS):
        slope = model.slope(theta)
        known = KnownGreys(np.exp(model.seen(theta) - slope @ theta), slope, model.names)
        correction = fit_correction(readings, known, priors)
        step = correction.parameters[correction.layout.print] - theta
        theta = theta + np.clip(step, -_STRIDE, _STRIDE)
        if np.abs(step).max() < _DONE:
            break
    return theta, correction


def _check_scale(strip: StripFit, *, linear: bool) -> None:
    if strip.px_per_mm < _SCALE[0]:
        raise QualityError(
            "strip-far",
            f"The strip is only {strip.px_per_mm * STRIP.width:.0f} pixels long in the photo.",
            "Step a little nearer, until it is about a tenth of the photo's width, and photograph again.",
        )
    if strip.px_per_mm > _SCALE[1] and not linear:
        raise _too_near()


def _too_near() -> QualityError:
    return QualityError(
        "lines-show",
        "The photo shows the strip's lines one by one: it was taken from too near.",
        "Take two or three steps back, until the strip is about a tenth of the photo's width, and photograph again.",
    )


def _unclear() -> QualityError:
    return QualityError(
        "print-unclear",
        "Greys and line screens in the photo do not fit together.",
        "Lay the strip flat in even light, nothing on it, and photograph it sharp from two or three steps back.",
    )


def _number(seen: Sequence[int | None], given: int | None) -> int:
    """Return the number of the one strip that all photos show."""
    read = {number for number in (*seen, given) if number is not None}
    if not read:
        raise UsageError(
            "strip-number-needed",
            "The strip's number could not be read in the photo.",
            "Leave all its tags free, or name it with --number.",
        )
    if len(read) > 1:
        named = " and ".join(f"{each:04d}" for each in sorted(read))
        raise UsageError(
            "other-strip", f"The photos, or --number, name different strips: {named}.", "Learn one strip at a time."
        )
    return read.pop()


_EYE: Final = 1.5
"""Standard deviation of a match, L*: half a step, and the eye (common practice, no source)."""
_EYE_STEPS: Final = 8
_EYE_STEP: Final = 0.02


def greys_seen(seen: Mapping[int, float], *, number: int, learned: str = "", basis: tuple[str, ...] = ()) -> StripGreys:
    """Return the greys of a print by the steps that vanished on its second page.

    Parameters
    ----------
    seen
        Row (1, 2 ...) -> step, halves allowed.
    number, learned, basis
        See `StripGreys`.

    Raises
    ------
    ValueError
        If a row or step does not exist, none is named, or the greys do not come out rising.
    """
    if not seen or not all(1 <= row <= len(EYE_ROWS) for row in seen):
        raise ValueError(f"rows run from 1 to {len(EYE_ROWS)}")
    rows = [EYE_ROWS[row - 1] for row in seen]
    places = np.array([row.grey_at(step) for row, step in zip(rows, seen.values(), strict=True)])
    usual, departures = usual_print()
    terms = len(departures)

    def apart(theta: np.ndarray) -> np.ndarray:
        """Return by how much L* of each vanished step is above that of its lines."""
        greys = np.exp(usual + theta[:terms] @ departures)
        lines = _lines([row.screen for row in rows], greys, GROWTH[0] + GROWTH[1] * theta[terms], theta[terms + 1])
        ladder = np.interp(places, STRIP.greys, lightness_of_reflectance(greys))
        return np.asarray(ladder - lightness_of_reflectance(np.array(lines)))

    theta = np.zeros(terms + 2)
    for _ in range(_EYE_STEPS):
        steps = _EYE_STEP * np.eye(theta.size)
        slope = np.stack([(apart(theta + s) - apart(theta - s)) / (2 * _EYE_STEP) for s in steps], axis=1)
        covariance = np.linalg.inv(slope.T @ slope / _EYE**2 + np.eye(theta.size))
        theta = covariance @ (slope.T @ (slope @ theta - apart(theta))) / _EYE**2
    left = departures.T @ covariance[:terms, :terms] @ departures
    found = usual + theta[:terms] @ departures
    return greys_of_logs(found, axes_of(left), "seen", number=number, learned=learned, basis=basis)


_KNOWN: Final = 0.5
"""Error of a known grey's lightness, L*: cards are sold to about half a unit (common practice, no source)."""
_MOST_PIXELS: Final = 200
"""Pixels of a known grey that are read along each side; more would say no more."""
_FAR_MM: Final = 100.0
"""How far beyond the strip a known grey may lie: the light found along the strip is only followed so far."""


@dataclass(frozen=True, slots=True)
class LearnedGreys:
    """What a photo told of its strip's greys."""

    greys: StripGreys
    misfit: tuple[float, ...]
    """Of each known grey: L* in the photo less L* as said, with the greys as learned."""
    misfit_before: tuple[float, ...]
    """The same with the greys of the usual print."""
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, eq=False, slots=True)
class KnownPatches:
    """Greys of known lightness as the photo shows them."""

    codes: tuple[np.ndarray, ...]
    """Of each grey: pixels of the photo as coded, shape (h, w, 3)."""
    middles: np.ndarray
    """Shape (N, 2): decoded pixels."""
    lightness: np.ndarray
    """Shape (N,): L* as known."""
    names: tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class _Shot:
    """The photo as the fit needs it: the strip's readings, and pixels, place and lightness of each known grey."""

    readings: PatchReadings
    decode: np.ndarray
    to_srgb: np.ndarray
    codes: tuple[np.ndarray, ...]
    places: np.ndarray
    known: np.ndarray

    def seen(self, correction: Correction) -> np.ndarray:
        """Return L* of each known grey under a correction."""
        return lightness_of_reflectance(self.luminance(correction))

    def beside(self, correction: Correction) -> PatchReadings:
        """Return the strip's readings and, behind them, the known greys' as a neutral of their lightness would read.

        A card's cast must not pass for an error of its lightness.
        """
        light = self.luminance(correction)
        values = [correction.value_of(np.full(3, y), place) for y, place in zip(light, self.places, strict=True)]
        strip, cards = self.readings, np.ones(len(light), dtype=bool)
        return PatchReadings(
            np.concatenate([strip.places, self.places]),
            np.concatenate([strip.values, values]),
            np.concatenate([strip.usable, cards]),
            None if strip.trusted is None else np.concatenate([strip.trusted, cards]),
        )

    def luminance(self, correction: Correction) -> np.ndarray:
        """Return the corrected luminance of each known grey, never nothing."""
        table = correction.exposure_table(self.decode)
        out = []
        for codes, place in zip(self.codes, self.places, strict=True):
            exposure = apply_table(codes, table).reshape(-1, 3).mean(axis=0, dtype=np.float64)
            rgb = self.to_srgb @ ((exposure - correction.glare) / correction.light(place))
            out.append(max(float(rgb_to_xyz(rgb)[1]), 1e-4))
        return np.array(out)


def learn_greys(
    image: LinearImage, known: Sequence[GreyArea], *, number: int | None = None, learned: str = ""
) -> LearnedGreys:
    """Learn the greys of the strip in a photo.

    Parameters
    ----------
    image
        The photo at full size.
    known
        Greys of known lightness that lie beside the strip, in its plane and its light.
    number
        The strip's number, where the photo does not show it.
    learned
        Kept with the greys, see `StripGreys`.

    Raises
    ------
    NoStripError
        If the strip is not found.
    UsageError
        ``no-grey``, ``rectangle-too-small``, ``rectangle-outside-photo``, ``strip-number-needed`` or
        ``other-strip``.
    QualityError
        ``grey-clipped``, ``grey-far``, ``greys-disagree``, and what judging the strip and its light raises.
    """
    if image.scale != 1.0:
        raise ValueError("rectangles are in pixels of the full-size photo")
    check_areas(image, known)
    strip = find_strip(image)
    chosen = _number([strip.number], number)
    view = flatten(image, strip, Rect(0.0, 0.0, STRIP.width, STRIP.height), PX_PER_MM, image.decode)
    readings = read_patches(view, strip.roles_seen)
    doubts = judge_strip(strip, readings, blur_mm(view), image)
    doubts += judge_light(readings, fit_correction(readings, USUAL.patches(), _usual_priors(image)))
    found = greys_beside(image, strip, readings, _patches(image, tuple(known)), number=chosen, learned=learned)
    return replace(found, doubts=tuple(doubts))


def greys_beside(
    image: LinearImage,
    strip: StripFit,
    readings: PatchReadings,
    known: KnownPatches,
    *,
    number: int,
    learned: str = "",
) -> LearnedGreys:
    """Learn a strip's greys from patches of known lightness beside it; the photo was judged before.

    Parameters
    ----------
    image, strip, readings
        The photo, where its strip lies, and the strip's greys as read.
    known
        The known greys.
    number, learned
        See `learn_greys`.

    Raises
    ------
    QualityError
        ``grey-far`` or ``greys-disagree``.
    """
    believed, priors = USUAL.patches(), _usual_priors(image)
    alone = fit_correction(readings, believed, priors)
    shot = _shot(image, strip, readings, known)
    together = _together(believed, known)
    fit = fit_correction(shot.beside(alone), together, priors)
    _check_agreement(known.names, fit)
    basis = (f"photo {image.info.photo_id}", *known.names)
    greys = greys_found(USUAL, fit, number=number, learned=learned, basis=basis)
    misfit, before = (tuple((shot.seen(each) - shot.known).tolist()) for each in (fit, alone))
    return LearnedGreys(greys, misfit, before, ())


def _usual_priors(image: LinearImage) -> FitPriors:
    return FitPriors.for_linear() if image.info.linear else FitPriors()


def _together(believed: KnownGreys, known: KnownPatches) -> KnownGreys:
    """Return what is believed of the strip's greys and of the known ones, each of which may be off by itself."""
    values, lighter = (reflectance_of_lightness(known.lightness + step) for step in (0.0, _KNOWN))
    strip, cards = believed.departures.shape[1], len(values)
    departures = np.zeros((len(believed.reflectance) + cards, strip + cards))
    departures[:-cards, :strip] = believed.departures
    departures[-cards:, strip:] = np.diag(np.log(lighter / values))
    names = (*believed.names, *known.names)
    return KnownGreys(np.concatenate([believed.reflectance, values]), departures, names)


def _patches(image: LinearImage, known: tuple[GreyArea, ...]) -> KnownPatches:
    codes, centres = [], []
    for grey in known:
        r = grey.rect
        step = max(1, r.width // _MOST_PIXELS), max(1, r.height // _MOST_PIXELS)
        window = image.encoded[r.y : r.y + r.height : step[1], r.x : r.x + r.width : step[0]]
        refuse_clipped(grey, apply_table(window, image.decode), image)
        codes.append(np.ascontiguousarray(window))
        centres.append([r.x + (r.width - 1) / 2, r.y + (r.height - 1) / 2])
    lightness = np.array([grey.lightness for grey in known])
    return KnownPatches(tuple(codes), np.array(centres), lightness, tuple(str(grey) for grey in known))


def _shot(image: LinearImage, strip: StripFit, readings: PatchReadings, known: KnownPatches) -> _Shot:
    places = apply_homography(np.linalg.inv(strip.to_pixels), known.middles)
    for name, (x, y) in zip(known.names, places, strict=True):
        away = float(np.hypot(max(-x, x - STRIP.width, 0.0), max(-y, y - STRIP.height, 0.0)))
        if not away <= _FAR_MM:
            raise QualityError(
                "grey-far",
                f"The grey area {name} lies {away:.0f} mm from the strip; its light is not known there.",
                "Lay the grey flat beside the strip, within a hand's breadth, and photograph again.",
            )
    return _Shot(readings, image.decode, image.to_srgb, known.codes, places, known.lightness)


def _check_agreement(names: tuple[str, ...], fit: Correction) -> None:
    cards, where = len(names), fit.layout
    errors, weights = np.abs(fit.parameters[-cards:]), fit.weights[-cards:]
    odd = [name for name, off, weight in zip(names, errors, weights, strict=True) if off > ASTRAY or weight < BELIEVED]
    # A single grey bends print and camera to itself rather than be off; neither can be bent without end.
    strays = np.concatenate([fit.parameters[where.tone], fit.parameters[where.print]])
    odd = odd or (list(names) if np.abs(strays).max() > ASTRAY else [])
    if odd:
        raise QualityError(
            "greys-disagree",
            f"The known grey {' and '.join(odd)} cannot be as light as said beside any likely print of the strip.",
            "Check each rectangle and its lightness, and that no shadow or shine lies on it.",
        )
