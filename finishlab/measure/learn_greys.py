"""Learn a strip's own greys from a photo that shows the strip and greys of known lightness.

The photo's own fit to the strip is the tone model. Were the print other than assumed, the known greys would come out
wrong: paper, black and gamma of the print (`PrintModel`) are moved, held by what is believed of a nominal print, until
they come out right. What the known greys do not decide stays as uncertain as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, rgb_to_xyz
from finishlab.errors import QualityError, UsageError
from finishlab.imaging.correction import Correction, PatchReadings
from finishlab.imaging.finder import StripFit, apply_homography, find_strip
from finishlab.imaging.greys import PRINT_DOUBT, StripGreys, greys_of_print
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.readings import blur_mm, read_patches
from finishlab.imaging.rectify import flatten
from finishlab.imaging.resample import apply_table
from finishlab.imaging.strip import STRIP, PrintModel, Rect
from finishlab.measure.areas import GreyArea
from finishlab.measure.flow import PX_PER_MM, fit_greys
from finishlab.measure.judgement import judge_light, judge_strip
from finishlab.quality import Doubt

__all__ = ["KnownPatches", "LearnedGreys", "greys_beside", "learn_greys"]

_FIGURES: Final = ("paper", "black", "gamma")
_NOMINAL: Final = np.array([PrintModel().paper, PrintModel().black, PrintModel().gamma])
_SIGMA: Final = np.array([PRINT_DOUBT[name] for name in _FIGURES])
_STEP: Final = 0.3
"""Step of the numeric derivative, in standard deviations."""
_KNOWN: Final = 0.5
"""Error of a known grey's lightness, L*: cards are sold to about half a unit (common practice, no source)."""
_STEPS: Final = 3
_LEAST_PIXELS: Final = 16
_MOST_PIXELS: Final = 200
"""Pixels of a known grey that are read along each side; more would say no more."""
_CLIPPED: Final = 0.05
_FAR_MM: Final = 100.0
"""How far beyond the strip a known grey may lie: the light found along the strip is only followed so far."""
_DISAGREE: Final = 4.0
"""Misfit of a known grey, in standard deviations, above which it cannot be what was said."""


@dataclass(frozen=True, slots=True)
class LearnedGreys:
    """What a photo told of its strip's greys."""

    greys: StripGreys
    misfit: tuple[float, ...]
    """Of each known grey: L* in the photo less L* as said, with the greys as learned."""
    misfit_before: tuple[float, ...]
    """The same with the greys of a nominal print."""
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
    first = fit_greys(readings, PrintModel().reflectance(np.asarray(STRIP.greys)))
    doubts += judge_light(readings, first)
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
    first = fit_greys(readings, PrintModel().reflectance(np.asarray(STRIP.greys)))
    shot = _shot(image, strip, readings, known)
    at, covariance, noise = _fit_print(shot, first)
    final = _fit_at(shot, at, first)
    misfit = shot.seen(final) - shot.known
    _check_agreement(known.names, misfit, noise)
    basis = (f"photo {image.info.photo_id}", *known.names)
    model = PrintModel(*(float(value) for value in at))
    greys = greys_of_print(model, _axes(covariance), source="photo", number=number, learned=learned, basis=basis)
    return LearnedGreys(greys, _floats(misfit), _floats(shot.seen(first) - shot.known), ())


def _fit_print(shot: _Shot, first: Correction) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the print's figures, their covariance in nominal standard deviations, and the known greys' covariance.

    Gauss-Newton on figures in nominal standard deviations, whose prior is then the unit Gaussian.
    """
    move = np.zeros(3)
    count = shot.known.size
    for _ in range(_STEPS):
        here = _fit_at(shot, _figures(move), first)
        base = shot.seen(here)
        slope = np.empty((count, 3))
        for k in range(3):
            step = move.copy()
            step[k] += _STEP
            slope[:, k] = (shot.seen(_fit_at(shot, _figures(step), here)) - base) / _STEP
        noise = _noise(shot, here)
        weighted = slope.T @ np.linalg.inv(noise)
        covariance = np.linalg.inv(weighted @ slope + np.eye(3))
        move = np.clip(covariance @ (weighted @ (shot.known - base + slope @ move)), -6.0, 6.0)
    return _figures(move), covariance, noise


def _figures(move: np.ndarray) -> np.ndarray:
    return np.asarray(np.maximum(_NOMINAL + move * _SIGMA, [0.3, 0.004, 0.3]))


def _fit_at(shot: _Shot, figures: np.ndarray, start: Correction) -> Correction:
    model = PrintModel(*(float(value) for value in figures))
    return fit_greys(shot.readings, model.reflectance(np.asarray(STRIP.greys)), start)


def _noise(shot: _Shot, correction: Correction) -> np.ndarray:
    """Return the covariance of the known greys' L* errors: their own, and the photo's fit as it bears on them."""
    back = np.linalg.inv(shot.to_srgb)
    rows = []
    for rgb, place in zip(shot.colours(correction), shot.places, strict=True):
        file_rgb = np.maximum(back @ rgb, 1e-4)
        jacobian = correction.reflectance_jacobian(file_rgb, place)
        slope = np.array([(_lightness(rgb + d) - _lightness(rgb - d)) / 2e-4 for d in 1e-4 * np.eye(3)])
        rows.append(slope @ shot.to_srgb @ jacobian)
    stacked = np.stack(rows)
    return np.asarray(stacked @ correction.covariance @ stacked.T + _KNOWN**2 * np.eye(len(rows)))


def _axes(covariance: np.ndarray) -> dict[str, dict[str, float]]:
    """Return the figures' covariance as independent effects on them, the largest first."""
    sizes, axes = np.linalg.eigh(covariance)
    out = {}
    for rank, index in enumerate(np.argsort(sizes)[::-1], start=1):
        step = axes[:, index] * np.sqrt(sizes[index]) * _SIGMA
        out[f"print-{rank}"] = {name: float(part) for name, part in zip(_FIGURES, step, strict=True)}
    return out


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


def _check_agreement(names: tuple[str, ...], misfit: np.ndarray, noise: np.ndarray) -> None:
    sigma = np.sqrt(np.diag(noise))
    odd = [name for name, off in zip(names, np.abs(misfit) / sigma, strict=True) if off > _DISAGREE]
    if odd:
        raise QualityError(
            "greys-disagree",
            f"The known grey {' and '.join(odd)} cannot be as light as said beside any likely print of the strip.",
            "Check each rectangle and its lightness, and that no shadow or shine lies on it.",
        )
