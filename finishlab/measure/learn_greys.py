"""Learn a strip's own greys from a photo that shows the strip and greys of known lightness.

The known greys go into the photo's own fit beside the strip's: they tell the tone curve, so that what is left is the
print's. What they do not decide stays as uncertain as it was. A camera raw photo needs none: its tone curve is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness, rgb_to_xyz
from finishlab.errors import QualityError, UsageError
from finishlab.imaging.correction import Correction, FitPriors, KnownGreys, PatchReadings, fit_correction
from finishlab.imaging.finder import StripFit, apply_homography, find_strip
from finishlab.imaging.greys import USUAL, StripGreys, greys_found
from finishlab.imaging.opencv import apply_table
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import blur_mm, flatten, read_patches
from finishlab.imaging.strip import STRIP, Rect
from finishlab.measure.areas import GreyArea
from finishlab.measure.flow import PX_PER_MM
from finishlab.measure.uncertainty_budget import judge_light, judge_strip
from finishlab.quality import Doubt

_KNOWN: Final = 0.5
"""Error of a known grey's lightness, L*: cards are sold to about half a unit (common practice, no source)."""
_LEAST_PIXELS: Final = 16
_MOST_PIXELS: Final = 200
"""Pixels of a known grey that are read along each side; more would say no more."""
_CLIPPED: Final = 0.05
_FAR_MM: Final = 100.0
"""How far beyond the strip a known grey may lie: the light found along the strip is only followed so far."""
_DISAGREE: Final = 4.0
"""Error of a known grey, in standard deviations, above which it cannot be what was said."""
_BELIEVED: Final = 0.1
"""Least weight that the fit may give it."""


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
        return np.array([_lightness(rgb) for rgb in self.colours(correction)])

    def beside(self, correction: Correction) -> PatchReadings:
        """Return the strip's readings and, behind them, the known greys' as a neutral of their lightness would read.

        A card's cast must not pass for an error of its lightness.
        """
        light = [max(float(rgb_to_xyz(rgb)[1]), 1e-4) for rgb in self.colours(correction)]
        values = [correction.value_of(np.full(3, y), place) for y, place in zip(light, self.places, strict=True)]
        strip, cards = self.readings, np.ones(len(light), dtype=bool)
        return PatchReadings(
            np.concatenate([strip.places, self.places]),
            np.concatenate([strip.values, values]),
            np.concatenate([strip.usable, cards]),
            None if strip.trusted is None else np.concatenate([strip.trusted, cards]),
        )

    def colours(self, correction: Correction) -> list[np.ndarray]:
        """Return each known grey's corrected linear RGB, sRGB's primaries."""
        table = correction.exposure_table(self.decode)
        out = []
        for codes, place in zip(self.codes, self.places, strict=True):
            exposure = apply_table(codes, table).reshape(-1, 3).mean(axis=0, dtype=np.float64)
            out.append(self.to_srgb @ ((exposure - correction.glare) / correction.light(place)))
        return out


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
    known = tuple(known)
    _check(image, known)
    strip = find_strip(image)
    chosen = _number(strip, number)
    view = flatten(image, strip, Rect(0.0, 0.0, STRIP.width, STRIP.height), PX_PER_MM, image.decode)
    readings = read_patches(view, strip.roles_seen)
    doubts = judge_strip(strip, readings, blur_mm(view), image)
    doubts += judge_light(readings, fit_correction(readings, USUAL.patches(), _priors(image)))
    found = greys_beside(image, strip, readings, _patches(image, known), number=chosen, learned=learned)
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
    believed, priors = USUAL.patches(), _priors(image)
    alone = fit_correction(readings, believed, priors)
    shot = _shot(image, strip, readings, known)
    together = _together(believed, known)
    fit = fit_correction(shot.beside(alone), together, priors)
    _check_agreement(known.names, fit)
    basis = (f"photo {image.info.photo_id}", *known.names)
    greys = greys_found(USUAL, fit, number=number, learned=learned, basis=basis)
    return LearnedGreys(greys, _floats(shot.seen(fit) - shot.known), _floats(shot.seen(alone) - shot.known), ())


def _priors(image: LinearImage) -> FitPriors:
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


def _lightness(rgb: np.ndarray) -> float:
    return float(lightness_of_reflectance(max(float(rgb_to_xyz(rgb)[1]), 1e-4)))


def _floats(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _number(strip: StripFit, given: int | None) -> int:
    if strip.number is None and given is None:
        raise UsageError(
            "strip-number-needed",
            "The strip's number could not be read in the photo.",
            "Leave all its tags free, or name it with --number.",
        )
    if strip.number is not None and given is not None and strip.number != given:
        raise UsageError(
            "other-strip",
            f"The photo shows strip {strip.number:04d}, not {given:04d}.",
            "Leave --number out, or name a photo of that strip.",
        )
    number = strip.number if strip.number is not None else given
    return int(number or 0)


def _check(image: LinearImage, known: tuple[GreyArea, ...]) -> None:
    if not known:
        raise UsageError("no-grey", "No known grey is named.", "Name at least one with --grey X,Y,W,H:L.")
    for grey in known:
        grey.rect.check_inside(image.size)
        if grey.rect.width * grey.rect.height < _LEAST_PIXELS:
            raise UsageError(
                "rectangle-too-small",
                f"The rectangle {grey.rect} holds fewer than {_LEAST_PIXELS} pixels.",
                "Name a larger part of the grey.",
            )


def _patches(image: LinearImage, known: tuple[GreyArea, ...]) -> KnownPatches:
    top = float(image.decode[-1 - max(1, len(image.decode) // 128)])
    codes, centres = [], []
    for grey in known:
        r = grey.rect
        step = max(1, r.width // _MOST_PIXELS), max(1, r.height // _MOST_PIXELS)
        window = image.encoded[r.y : r.y + r.height : step[1], r.x : r.x + r.width : step[0]]
        if float((apply_table(window, image.decode) >= top).any(axis=-1).mean()) > _CLIPPED:
            raise QualityError(
                "grey-clipped",
                f"The grey area {grey} is too bright for the photo to hold.",
                "Expose less and photograph again, or name a darker grey.",
            )
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
    odd = [
        name for name, off, weight in zip(names, errors, weights, strict=True) if off > _DISAGREE or weight < _BELIEVED
    ]
    # A single grey bends print and camera to itself rather than be off; neither can be bent without end.
    strays = np.concatenate([fit.parameters[where.tone], fit.parameters[where.print]])
    odd = odd or (list(names) if np.abs(strays).max() > _DISAGREE else [])
    if odd:
        raise QualityError(
            "greys-disagree",
            f"The known grey {' and '.join(odd)} cannot be as light as said beside any likely print of the strip.",
            "Check each rectangle and its lightness, and that no shadow or shine lies on it.",
        )
