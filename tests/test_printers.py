"""The rendered printers are those of published prints, and their ink and light spread as physics says."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps
from published_ramps import MEASURED, PROFILES, measured_ramp, profile_ramp
from render import paper
from render.camera import Film, Tone, balanced_raw, random_film
from render.chance import random_scene
from render.paper import PrintedStrip, paper_share, solid_share
from render.photo import render_linear
from render.printers import PRINTERS, Printer, random_printer, with_gain
from render.scene import Scene
from render.view import Light, View, homography, project
from scipy.optimize import minimize_scalar

from finishlab.colorimetry.spaces import lightness_of_reflectance as lightness
from finishlab.colorimetry.spaces import reflectance_of_lightness as luminance
from finishlab.colorimetry.spaces import srgb_to_linear
from finishlab.imaging.strip import STRIP, Rect, Screen

GREYS: Final = np.array(STRIP.greys)
PLACE: Final = Rect(60.0, 19.0, 14.0, 8.0)
"""Bare paper beside the middle tags, where a test may draw a screen."""
CHART: Final = (0.8807, 0.58997, 0.36487, 0.19062, 0.08817, 0.03151)
"""Luminance of the grey patches of a 24-patch chart, edition after November 2014 (colour-science)."""


def population(count: int = 400) -> np.ndarray:
    """Return L* of the strip's greys for drawn printers, shape (count, 8)."""
    rng = np.random.default_rng(3)
    return np.stack([lightness(random_printer(rng).reflectance(GREYS)) for _ in range(count)])


def check_ramp(ramp: np.ndarray | None, source: str) -> None:
    """Assert that a published ramp lies in the population's span and near one half-tone printer."""
    if ramp is None:
        pytest.skip(f"{source} is not installed")
    every = population()
    # krita-data's paper is 0.5 lighter and its black 0.3 darker than any printer here
    assert (ramp >= every.min(axis=0) - 0.6).all()
    assert (ramp <= every.max(axis=0) + 0.6).all()

    def off(gain: float) -> float:
        printer = Printer("", "half-tone", gain=gain, paper=float(luminance(ramp[-1])), ink=float(luminance(ramp[0])))
        return float(np.abs(lightness(printer.reflectance(GREYS)) - ramp).max())

    best = minimize_scalar(off, bounds=(0.0, 0.3), method="bounded")
    assert 0.06 <= best.x <= 0.28
    assert best.fun < 2.0


@pytest.mark.parametrize("package", PROFILES)
def test_published_profiles_lie_in_the_population(package: str) -> None:
    """The black ramp of a published print profile is one that a drawn printer could have, by gain within 2 L*."""
    check_ramp(profile_ramp(package, GREYS), package)


@pytest.mark.parametrize("name", MEASURED)
def test_measured_prints_lie_in_the_population(name: str) -> None:
    """So is the measured black ramp of offset prints on coated and uncoated papers."""
    check_ramp(measured_ramp(name, GREYS), "icc-profiles-free")


def test_population_is_as_wide_as_stated() -> None:
    """Drawn printers rise, and reach the bounds of paper, black, edges and spread that they are drawn within."""
    rng = np.random.default_rng(8)
    drawn = [random_printer(rng) for _ in range(300)]
    paper_, ink = lightness([p.paper for p in drawn]), lightness([p.ink for p in drawn])
    assert (paper_.min(), paper_.max()) == pytest.approx((88, 96), abs=0.3)
    assert (ink.min(), ink.max()) == pytest.approx((14, 34), abs=0.5)
    assert all(0.0 <= p.edge <= 0.06 and 0.03 <= p.spread <= 0.10 and 0.85 <= p.toner <= 1.0 for p in drawn)
    assert {p.kind for p in drawn} == {"managed", "half-tone"}
    assert any(any(p.casts) for p in drawn)
    pairs = [(p.reflectance(GREYS), replace(p, wiggles=()).reflectance(GREYS)) for p in drawn]
    wide = [np.abs(lightness(wavy) - lightness(plain)).max() for wavy, plain in pairs]
    assert 1.5 < max(wide) <= 2.0 + 1e-9


def test_murray_davies() -> None:
    """A half-tone of density 0.30 with a solid of 1.50 over paper covers 51.5 %: Murray, Davies 1936, by hand."""
    area = (1 - 10**-0.30) / (1 - 10**-1.50)
    assert area == pytest.approx(0.515, abs=5e-4)
    printer = Printer(kind="half-tone", paper=0.8, ink=0.8 * 10**-1.5)
    assert float(printer.reflectance(np.array(1 - area))) == pytest.approx(0.8 * 10**-0.30)


@given(st.floats(0.0, 0.4))
def test_gain_is_what_iso_12647_2_calls_it(gain: float) -> None:
    """Tone value increase is that at half tone; nothing and solid stay, and coverage keeps rising."""
    area = with_gain(np.linspace(0.0, 1.0, 51), gain)
    assert area[25] == pytest.approx(0.5 + gain, abs=1e-6)
    assert (area[0], area[-1]) == pytest.approx((0.0, 1.0))
    assert (np.diff(area) > 0).all()


@pytest.mark.parametrize("area", [0.25, 0.5, 0.75])
def test_yule_nielsen(area: float) -> None:
    """A screen finer than the spread reflects by Yule and Nielsen with n = 2; without spread by Murray and Davies."""
    solid, lines = 0.05, np.tile(np.repeat([0.0, 1.0], [int(20 * (1 - area)), int(20 * area)]), (1, 400))
    fine = float(solid_share(lines, solid, spread=60.0, per_mm=1.0).mean())
    coarse = float(solid_share(lines, solid, spread=0.0, per_mm=1.0).mean())
    assert coarse == pytest.approx(1 - area + area * solid, abs=1e-9)
    assert fine == pytest.approx((1 - area + area * solid**0.5) ** 2, abs=2e-3)


def test_light_that_spreads_darkens_by_edge_length() -> None:
    """As long as lines are wider than the spread, what it darkens goes as the number of edges, so as 1 over pitch."""
    base, loss = 0.0, []
    for pitch in (60, 120):  # cells of 1/40 mm: 1.5 and 3 mm
        lines = np.tile(np.repeat([0.0, 1.0], pitch // 2), (1, 960 // pitch))
        base = float(solid_share(lines, 0.05, 0.0).mean())
        loss.append(base - float(solid_share(lines, 0.05, 0.08).mean()))
    assert base == pytest.approx(0.525)
    assert loss[0] > 0.005
    assert loss[0] == pytest.approx(2 * loss[1], rel=0.08)  # the raster's own rim has no light beyond it


def screened(monkeypatch: pytest.MonkeyPatch, printer: Printer, share: float, **screen: float) -> float:
    """Return the reflectance, over white, of a photo's pixels within a screen drawn on the strip."""
    drawn = Screen(rect=PLACE, sample=PLACE.inset(2.0, 2.0), **screen)
    monkeypatch.setattr(paper, "STRIP", replace(STRIP, screens=(drawn,), number_text=Rect(20.0, 20.0, 30.0, 3.0)))
    paper._raster.cache_clear()  # noqa: SLF001 - drawn from a strip that is another for this test only
    strip = PrintedStrip(7, printer, paper_cast=0.0, ink_cast=0.0)
    view = View(1000, 750, share, rotation=3.0, tilt=4.0)
    scene = Scene(strip=strip, view=view, light=Light(vignette=0.0), veil=0.0, blur_px=0.8, exposure=1.0)
    picture = render_linear(scene)[..., 1]
    inner = drawn.sample
    corners = project(homography(view), inner.corners())
    (left, top), (right, bottom) = corners.min(axis=0).round().astype(int), corners.max(axis=0).round().astype(int)
    paper._raster.cache_clear()  # noqa: SLF001 - drawn from a strip that is another for this test only
    return float(picture[top : bottom + 1, left : right + 1].mean())


@pytest.mark.parametrize("pitch", [0.5, 1.0])
@pytest.mark.parametrize("coverage", [0.25, 0.5, 0.75])
def test_unresolved_screen_is_geometry(monkeypatch: pytest.MonkeyPatch, coverage: float, pitch: float) -> None:
    """Without growth and spread, a screen too fine for the photo is as light as its lines' share says, within 1 %."""
    found = screened(monkeypatch, Printer(), 0.4, coverage=coverage, pitch=pitch)
    white, black = (float(balanced_raw(np.full(61, r), "Nikon 5100 (NPL)", "D65")[1]) for r in (0.87, 0.045))
    assert found == pytest.approx(white - coverage * (white - black), abs=0.01 * white)


def test_grown_edges_darken_a_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Edges grown by e cover 2 e more of every pitch."""
    found = screened(monkeypatch, Printer(edge=0.03), 0.4, coverage=0.5, pitch=1.0)
    assert found == pytest.approx(0.87 - 0.56 * (0.87 - 0.045), abs=0.01)


def test_managed_print_follows_the_transfer_curve() -> None:
    """A perfect managed print of a grey reflects what IEC 61966-2-1 decodes it to.

    0.5 is 0.2140411, code 128 is L* 53.585, code 119 L* 50.034 (worked from the standard's formula and CIE 015:2018).
    """
    perfect = Printer(paper=1.0, ink=1e-9)
    assert perfect.reflectance(np.array(0.5)) == pytest.approx(0.2140411, abs=5e-8)
    codes = perfect.reflectance(np.array([128, 119]) / 255)
    assert lightness(codes) == pytest.approx([53.585, 50.034], abs=5e-4)
    assert perfect.reflectance(np.array([0.0, 0.02, 1.0])) == pytest.approx([0.0, 0.02 / 12.92, 1.0], abs=1e-8)


@given(st.floats(0.0, 1.0), st.floats(0.02, 0.08), st.floats(0.7, 0.95), st.floats(0.8, 1.2), st.floats(0.85, 1.0))
def test_a_print_runs_from_black_to_paper(grey: float, ink: float, paper: float, gamma: float, toner: float) -> None:
    """Whatever the print, a grey lies between its black and its paper, and the two ends are hit exactly."""
    printer = Printer(paper=paper, ink=ink, gamma=gamma, toner=toner)
    ends = printer.reflectance(np.array([0.0, 1.0]))
    assert ends == pytest.approx([paper - toner * (paper - ink), paper])
    assert ends[0] - 1e-12 <= float(printer.reflectance(np.array(grey))) <= ends[1] + 1e-12


def test_share_of_paper_runs_from_solid_black_to_paper() -> None:
    """What shows of the paper is nothing in solid black and all of it on bare paper."""
    share, _ = paper_share(PrintedStrip(printer=Printer(paper=0.83, ink=0.035)), 2.0)
    assert (share.min(), share.max()) == pytest.approx((0.0, 1.0), abs=1e-6)


def test_toner_saving_lifts_black() -> None:
    """A printer that saves toner is lighter wherever it prints, solid black included; paper stays."""
    full, saving = PRINTERS[0], PRINTERS[-1]
    assert saving.black > full.black
    assert (saving.reflectance(GREYS) >= full.reflectance(GREYS)).all()
    assert saving.reflectance(GREYS)[-1] == pytest.approx(full.reflectance(GREYS)[-1])


def test_falling_ramp_is_refused() -> None:
    """Wiggles that turn the ramp back are no printer."""
    with pytest.raises(ValueError, match="rise"):
        Printer(wiggles=(0.0, 0.0, 9.0))


def test_casts_and_bands_are_seen() -> None:
    """A composite cast tints greys and leaves paper and black; bands change greys by about their size, not paper."""
    view = View(900, 675, 0.8, tilt=0.0)
    scene = Scene(view=view, light=Light(vignette=0.0), veil=0.0, blur_px=0.0, exposure=1.0)

    def picture(printer: Printer) -> np.ndarray:
        return render_linear(replace(scene, strip=PrintedStrip(7, printer, paper_cast=0.0, ink_cast=0.0)))

    def at(pixels: np.ndarray, level: int) -> np.ndarray:
        patch = next(each for each in STRIP.patches if each.level == level)
        x, y = project(homography(view), np.array(patch.sample.centre)).round().astype(int)
        return np.asarray(pixels[y, x])

    plain, tinted = picture(Printer()), picture(Printer(casts=(0.1, 0.0, 0.0, 0.0)))
    moved = at(tinted, 3) / at(plain, 3)
    assert moved[0] > 1.01
    assert moved[2] < 0.99
    assert at(tinted, 0) == pytest.approx(at(plain, 0), rel=1e-5)
    banded = picture(Printer(bands=(0.01, 0.01))) / plain
    assert at(banded, 7) == pytest.approx(1.0, abs=1e-5)
    assert 0.002 < np.abs(banded - 1.0).max() < 0.07


def test_random_scenes_meet_the_population() -> None:
    """Scenes draw printers and both families of tone; the nominal flag keeps the rest of the scene."""
    drawn = [random_scene(np.random.default_rng(seed)) for seed in range(12)]
    assert {type(scene.tone) for scene in drawn} == {Tone, Film}
    assert all(scene.strip is not None and scene.strip.printer.name == "drawn" for scene in drawn)
    nominal = random_scene(np.random.default_rng(0), nominal=True)
    assert nominal.strip is not None
    assert drawn[0].strip is not None
    assert 0.95 <= nominal.strip.printer.gamma <= 1.05
    assert replace(drawn[0], strip=nominal.strip, tone=nominal.tone) == nominal


def chart_greys(folder: Path) -> Iterator[np.ndarray]:
    """Yield sRGB-decoded values of the six grey patches, white first, mean of the channels, photo by photo."""
    for chart in json.loads((folder / "charts.json").read_text(encoding="utf-8"))["charts"]:
        with Image.open(folder / chart["file"]) as file:
            pixels = srgb_to_linear(np.asarray(ImageOps.exif_transpose(file).convert("RGB")) / 255.0)
        white, black = (np.array(chart["patch_centres"][name]) for name in ("white", "black"))
        half = int(0.15 * chart["patch_pitch_px"])
        places = (np.rint(white + (black - white) * k / 5).astype(int) for k in range(6))
        yield np.array([pixels[y - half : y + half, x - half : x + half].mean() for x, y in places])


def bend_of(light: np.ndarray, code: np.ndarray) -> tuple[float, np.ndarray]:
    """Return slope and residuals of log code against log light."""
    slope, offset = np.polyfit(np.log(light), np.log(code), 1)
    return float(slope), np.log(code) - slope * np.log(light) - offset


def test_film_curves_bend_as_phones_do() -> None:
    """Drawn curves have the slope 1.11 +- 0.10 and the bend (0.13 root mean square) measured on chart greys."""
    rng, light = np.random.default_rng(2), np.array(CHART)
    found = [bend_of(light, srgb_to_linear(random_film(rng).apply(rng.uniform(0.62, 0.9) * light))) for _ in range(400)]
    slopes, bends = np.array([each[0] for each in found]), np.stack([each[1] for each in found])
    assert (slopes.mean(), slopes.std()) == pytest.approx((1.11, 0.10), abs=0.03)
    assert float(np.sqrt((bends**2).mean())) == pytest.approx(0.12, abs=0.02)
    assert bends.mean(axis=0) == pytest.approx([-0.19, -0.01, 0.14, 0.15, 0.04, -0.13], abs=0.05)


def test_real_phones_bend_so() -> None:
    """Greys of a chart in real phone photos have that slope and bend, where such photos are at hand.

    ``FINISHLAB_CHARTS`` names a folder of photos with the corner patches of a 24-patch chart in ``charts.json``.
    """
    folder = os.environ.get("FINISHLAB_CHARTS", "")
    if not folder or not (Path(folder) / "charts.json").is_file():
        pytest.skip("FINISHLAB_CHARTS names no chart photos")
    found = list(chart_greys(Path(folder)))
    slopes, bends = zip(*(bend_of(np.array(CHART), code) for code in found), strict=True)
    assert np.mean(slopes) == pytest.approx(1.11, abs=0.10)
    assert np.mean(bends, axis=0) == pytest.approx([-0.19, -0.01, 0.14, 0.15, 0.04, -0.13], abs=0.05)
