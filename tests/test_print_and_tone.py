"""What is believed of prints and tone curves beforehand, and how the fit shares the blame between them.

The published ramps are read where Debian's packages are installed; charts only where FINISHLAB_CHARTS names a folder of
photos with a ``charts.json`` (the four corner patches of each).
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from PIL import Image
from published_ramps import ramps

from finishlab.colorimetry.spaces import chart_lab, lab_to_rgb, lightness_of_reflectance, rgb_to_xyz, srgb_to_linear
from finishlab.imaging.correction import Correction, PatchReadings, TonePrior, fit_correction, phone_tone
from finishlab.imaging.greys import USUAL, StripGreys, greys_found
from finishlab.imaging.processing import LUMA
from finishlab.imaging.strip import STRIP

PLACES: Final = np.array([patch.sample.centre for patch in STRIP.patches])
LEVELS: Final = [patch.level for patch in STRIP.patches]
GREY: Final = np.asarray(STRIP.greys)
CHARTS: Final = os.environ.get("FINISHLAB_CHARTS", "")
CODES: Final = (-3.0, -2.0, -1.2, -0.6)
"""Logs of linear values at which slopes are compared."""


def pressed(light: np.ndarray) -> np.ndarray:
    """Return linear values of a camera that presses highlights together: Naka and Rushton's response, as sRGB codes."""
    bent = (0.75 * light) ** 1.33
    return np.asarray(1.45 * bent / (bent + 0.45))


def half_tone(gain: float, black: float = 0.03, paper: float = 0.84) -> np.ndarray:
    """Return the levels' reflectances in a half-tone print: Murray and Davies, J. Franklin Inst. 221 (1936) 721."""
    ink = (1.0 - GREY) ** (np.log(0.5 + gain) / np.log(0.5))
    return np.asarray(paper - ink * (paper - black))


def managed(exponent: float, black: float = 0.03, paper: float = 0.84) -> np.ndarray:
    """Return the levels' reflectances in a print that takes a grey as sRGB."""
    return np.asarray(black + (paper - black) * srgb_to_linear(GREY) ** exponent)


PRINTS: Final = {
    "sRGB": managed(1.0),
    "lighter": managed(0.8),
    "darker": managed(1.2),
    "gain 17 %": half_tone(0.17),
    "gain 26 %": half_tone(0.26),
    "toner saved": 0.84 - 0.88 * (0.84 - managed(1.0)),
}


def fit_of(levels: np.ndarray, greys: StripGreys = USUAL) -> Correction:
    """Fit the strip printed so, as the camera that presses highlights reads it."""
    values = np.repeat(pressed(levels[LEVELS] + 0.006)[:, None], 3, axis=1)
    return fit_correction(PatchReadings(PLACES, values, np.ones(len(LEVELS), dtype=bool)), greys.patches())


def slope_spread(prior: TonePrior, at: Sequence[float]) -> np.ndarray:
    """Return the relative standard deviation of the slope at logs of linear values, shape (len(at),)."""
    slopes = np.gradient(prior.modes, prior.grid, axis=0)
    usual = np.gradient(prior.mean, prior.grid)
    return np.asarray(np.interp(at, prior.grid, np.sqrt((slopes**2).sum(axis=1)) / usual))


def contrast(fit: Correction) -> float:
    """Return what the fit makes of two woods, 0.30 and 0.15, in logs over the truth: 1 where it is right."""
    values = [pressed(np.full(3, wood + 0.006)) for wood in (0.30, 0.15)]
    light, dark = (fit.reflectance(value, PLACES.mean(axis=0))[1] for value in values)
    return float(np.log(light / dark) / np.log(2.0))


# -- what is believed beforehand


@pytest.mark.parametrize(("name", "ramp"), list(ramps(GREY)))
def test_published_prints_are_likely(name: str, ramp: np.ndarray) -> None:
    """Every published black ramp lies within two and a half deviations of the usual print at every level."""
    assert name
    assert (np.abs(ramp - np.array(USUAL.lightness)) < 2.5 * np.array(USUAL.standard_error)).all()


def test_prints_are_believed_to_differ_more_than_cameras() -> None:
    """From level 0.28 to 0.75 prints differ by a quarter in their contrast (logs), tone curves by a seventh at most."""
    patches = np.array([change for _, change in USUAL.effects]) / np.array(USUAL.values)
    log = np.log(np.array(USUAL.values))
    spread = np.sqrt(((patches[:, 5] - patches[:, 1]) ** 2).sum()) / (log[5] - log[1])
    assert 0.2 < spread < 0.35
    assert slope_spread(phone_tone(), CODES).max() < 1 / 7


def test_phones_steepen_shadows_and_press_highlights() -> None:
    """The usual tone curve rises with the code: below one in the shadows, above one in the highlights."""
    slopes = np.gradient(phone_tone().mean, phone_tone().grid)
    assert (np.diff(slopes[phone_tone().grid > -3.0]) > -1e-9).all()
    shadows, highlights = np.interp([-2.5, -0.4], phone_tone().grid, slopes)
    assert shadows < 0.9
    assert highlights > 1.3


def _chart_slopes(folder: Path, chart: dict[str, Any]) -> np.ndarray:
    """Return the slope of log light against log code at `CODES`, light's fall taken out as a plane."""
    corners = np.array([chart["patch_centres"][name] for name in ("dark_skin", "bluish_green", "white", "black")])
    down, across = (each.ravel() / n for each, n in zip(np.mgrid[0:4, 0:6], (3, 5), strict=True))
    weights = np.stack([(1 - across) * (1 - down), across * (1 - down), (1 - across) * down, across * down], axis=1)
    places, half = weights @ corners, chart["patch_pitch_px"] * 0.2
    pixels = np.asarray(Image.open(folder / chart["file"]).convert("RGB"))
    luminance = np.array(
        [
            (srgb_to_linear(pixels[int(y - half) : int(y + half), int(x - half) : int(x + half)] / 255) @ LUMA).mean()
            for x, y in places
        ]
    )
    known = np.log(rgb_to_xyz(lab_to_rgb(np.array(list(chart_lab("from November 2014").values()))))[:, 1])
    u = np.log(luminance)
    design = np.column_stack([np.ones(24), u, u**2, u**3, places - places.mean(axis=0)])
    held = np.diag([0, 0, 0, 0, 500.0**2, 500.0**2]) * 0.1
    weight = np.where(np.arange(24) < 18, 1.0, 9.0)[:, None]
    found = np.linalg.solve(design.T @ (weight * design) + held, design.T @ (weight[:, 0] * known))
    return np.array([found[1] + 2 * found[2] * c + 3 * found[3] * c**2 for c in CODES])


@pytest.mark.skipif(not CHARTS, reason="FINISHLAB_CHARTS names no folder of photographed charts")
def test_photographed_charts_are_likely() -> None:
    """Phones that photographed a chart have the usual tone curve: slopes within 2.5 deviations, on average 1.3."""
    folder = Path(CHARTS)
    found = np.array(
        [_chart_slopes(folder, each) for each in json.loads((folder / "charts.json").read_text())["charts"]]
    )
    usual = np.interp(CODES, phone_tone().grid, np.gradient(phone_tone().mean, phone_tone().grid))
    away = (found / usual - 1) / slope_spread(phone_tone(), CODES)
    assert np.abs(away).max() < 2.5
    assert np.abs(away.mean(axis=0)).max() < 1.3


# -- how the blame is shared


@pytest.mark.parametrize("name", PRINTS)
def test_contrast_hangs_little_on_the_print(name: str) -> None:
    """Whatever printed the strip, woods keep their contrast within 8 % of what it is; 18 % where toner was saved."""
    assert contrast(fit_of(PRINTS[name])) == pytest.approx(1.0, abs=0.18 if "toner" in name else 0.08)


def test_the_print_taken_for_granted_would_mislead() -> None:
    """Held to an sRGB print that it is not, the fit takes a half-tone's contrast for the woods'."""
    held = StripGreys(tuple(PRINTS["sRGB"]), (), "typed", 1)
    assert abs(contrast(fit_of(PRINTS["gain 26 %"], held)) - 1) > 0.25


@pytest.mark.parametrize("name", PRINTS)
def test_the_print_found_is_within_its_doubt(name: str) -> None:
    """What the fit says of the print is within 2.5 of its stated errors, which are less than the usual print's."""
    found = greys_found(USUAL, fit_of(PRINTS[name]), number=1)
    off = np.array(found.lightness) - lightness_of_reflectance(PRINTS[name])
    assert (np.abs(off) < 2.5 * np.array(found.standard_error)).all()
    # Of paper's own lightness one photo tells nothing.
    assert (np.array(found.standard_error) < np.array(USUAL.standard_error))[:7].all()


def test_known_greys_leave_the_print_no_blame() -> None:
    """Where the greys are known, nothing is laid to the print, and woods keep their contrast within 1 %."""
    fit = fit_of(PRINTS["gain 26 %"], StripGreys(tuple(PRINTS["gain 26 %"]), (), "typed", 1))
    assert fit.layout.print.start == fit.layout.print.stop
    assert contrast(fit) == pytest.approx(1.0, abs=0.01)


def test_causes_make_up_the_doubt() -> None:
    """What each belief's own error does, squared and summed, is the fit's covariance less that of reading noise."""
    fit = fit_of(PRINTS["sRGB"])
    causes = fit.believed @ fit.believed.T
    left = np.linalg.eigvalsh(fit.covariance - causes)
    assert left.min() > -1e-6 * np.abs(fit.covariance).max()
    print_and_tone = [*range(fit.layout.tone.start, fit.layout.tone.stop), fit.layout.print.start]
    assert (np.diag(causes)[print_and_tone] <= np.diag(fit.covariance)[print_and_tone] + 1e-9).all()
    assert (np.diag(causes)[fit.layout.tone.start] / np.diag(fit.covariance)[fit.layout.tone.start]) > 0.9


def test_photos_of_one_print_settle_on_it() -> None:
    """Beside what other photos said of the print, a photo settles on the mean of all; alone it says what it said."""
    alone = fit_of(PRINTS["gain 17 %"])
    others = tuple(alone.alone - 0.15)
    together = fit_of(PRINTS["gain 17 %"], replace(USUAL, number=1, photos=2, said=others))
    np.testing.assert_allclose(together.alone, alone.alone, atol=1e-6)
    np.testing.assert_allclose(together.parameters[together.layout.print], alone.alone - 0.1, atol=1e-6)
    np.testing.assert_array_equal(together.covariance, alone.covariance)
    assert contrast(together) != pytest.approx(contrast(alone), abs=1e-4)
    same = fit_of(PRINTS["gain 17 %"], replace(USUAL, number=1, photos=2, said=tuple(alone.alone)))
    assert contrast(same) == pytest.approx(contrast(alone), abs=3e-3)


def test_a_strange_camera_is_told() -> None:
    """Usual cameras are within two deviations of what is believed; one whose curve is turned about is beyond four."""
    assert fit_of(PRINTS["sRGB"]).strangeness < 2.0
    levels = PRINTS["sRGB"]
    values = np.repeat((levels[LEVELS] ** 1.9)[:, None], 3, axis=1)
    readings = PatchReadings(PLACES, values, np.ones(len(LEVELS), dtype=bool))
    known = StripGreys(tuple(levels), (), "typed", 1)
    assert fit_correction(readings, known.patches()).strangeness > 4.0
