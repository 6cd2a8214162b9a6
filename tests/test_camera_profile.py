"""Camera profiles: the fit, what it keeps, and what it is worth on rendered scenes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from render.camera import balanced_raw, colour_matrix
from render.chance import random_scene
from render.chart import ChartCard
from render.paper import PrintedStrip
from render.printers import Printer
from render.scene import Scene
from render.view import homography, project
from rendered import greys_of_print, photo_of, rendered, scene_with, view_of

from finishlab.colorimetry.camera_profile import CameraProfile, ProfileKind, fit_profile
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import (
    CHART_EDITIONS,
    DEFAULT_EDITION,
    chart_lab,
    chart_reflectances,
    lab_to_rgb,
    lightness_of_reflectance,
    linear_to_srgb,
    rgb_to_lab,
    srgb_to_linear,
)
from finishlab.errors import UsageError
from finishlab.imaging.chart import chart_from_corners
from finishlab.imaging.greys import greys_of_readings
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import unboosted
from finishlab.imaging.strip import STRIP, Rect
from finishlab.measure.areas import GreyArea, KnownColour, PixelRect
from finishlab.measure.by_hand import measure_by_hand
from finishlab.measure.camera_learning import learn_from_patches, learn_profile
from finishlab.measure.flow import measure

DAY = dt.date(2024, 5, 11)
EDITION = "mean of 30"
REFERENCE = np.array(list(chart_lab(EDITION).values()))
KINDS: tuple[ProfileKind, ...] = ("matrix", "root-polynomial")


def seen_by(camera: str, light: str) -> np.ndarray:
    """Return the chart as an ideal camera balanced on a perfect white sees it, shape (24, 3)."""
    chart = np.stack(list(chart_reflectances(EDITION).values()))
    return np.asarray(balanced_raw(chart, camera, light) @ colour_matrix(camera, light).T)


RGB = seen_by("Canon PowerShot S90", "LED-B3")
PROFILES = {kind: fit_profile(RGB, REFERENCE, kind) for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS)
@given(level=st.floats(0.001, 2.0))
def test_a_grey_stays_what_it_is(kind: ProfileKind, level: float) -> None:
    """A neutral of any level goes through either form unchanged."""
    out = PROFILES[kind].apply(np.full(3, level))
    np.testing.assert_allclose(out, level, rtol=1e-9)


@pytest.mark.parametrize("kind", KINDS)
@given(factor=st.floats(0.05, 5.0))
def test_exposure_does_not_matter(kind: ProfileKind, factor: float) -> None:
    """More light by a factor gives colours lighter by that factor and else the same (Finlayson et al. 2015)."""
    profile = PROFILES[kind]
    np.testing.assert_allclose(profile.apply(factor * RGB), factor * profile.apply(RGB), rtol=1e-9, atol=1e-12)


def test_a_camera_that_sees_right_is_left_alone() -> None:
    """From true colours the fit is the identity, and the simpler form is kept."""
    profile = fit_profile(lab_to_rgb(REFERENCE), REFERENCE)
    assert profile.kind == "matrix"
    np.testing.assert_allclose(profile.coefficients, np.eye(3), atol=1e-6)
    assert profile.left_out.max < 1e-4


def test_a_known_matrix_is_found() -> None:
    """Colours mixed by a white-preserving matrix are unmixed to a hundredth of a CIELAB unit."""
    mix = np.array([[0.8, 0.15, 0.05], [0.1, 0.85, 0.05], [0.02, 0.13, 0.85]])
    profile = fit_profile(lab_to_rgb(REFERENCE) @ mix.T, REFERENCE, "matrix")
    np.testing.assert_allclose(profile.coefficients, np.linalg.inv(mix), atol=0.01)


def test_left_out_patches_are_farther_off_than_fitted_ones() -> None:
    """The error on unseen patches is the larger, and is far below the camera's without a profile."""
    profile = fit_profile(RGB, REFERENCE)
    raw = float(np.mean(delta_e_00(rgb_to_lab(RGB), REFERENCE)))
    assert profile.fitted.mean < profile.left_out.mean < raw


def test_boost_and_matrix_are_found_together() -> None:
    """From colours mixed and boosted by 1.2 the boost comes out within two of its stated errors, and the colours."""
    mix = np.array([[0.9, 0.08, 0.02], [0.04, 0.93, 0.03], [0.01, 0.07, 0.92]])
    taken = unboosted(np.maximum(lab_to_rgb(REFERENCE) @ mix.T, 0.0), 1 / 1.2)
    profile = fit_profile(lambda boost: unboosted(taken, boost), REFERENCE, saturation=(1.10, 0.06))
    boost, sigma = profile.saturation
    assert abs(boost - 1.2) < 2 * sigma
    assert sigma < 0.06
    assert profile.left_out.mean < 1.0


def test_the_doubts_move_greys_nowhere() -> None:
    """Every variant of a profile keeps a neutral, and together they say no more of the boost than the prior did."""
    profile = fit_profile(lambda boost: unboosted(RGB, boost), REFERENCE, saturation=(1.0, 0.06))
    moves = [variant.saturation[0] - profile.saturation[0] for variant in profile.variants()]
    for variant in profile.variants():
        np.testing.assert_allclose(variant.apply(np.full(3, 0.4)), 0.4, rtol=1e-9)
    assert np.sqrt(np.sum(np.square(moves))) == pytest.approx(profile.saturation[1], rel=1e-6)
    assert profile.saturation[1] < 0.06


def test_too_few_patches_are_refused() -> None:
    """Seven patches do not make a profile; half a chart does."""
    with pytest.raises(ValueError, match="at least 8"):
        fit_profile(RGB[:7], REFERENCE[:7])
    assert fit_profile(RGB[::2], REFERENCE[::2]).kind in KINDS


def test_coefficients_that_tint_greys_are_refused() -> None:
    """A profile whose rows do not sum to one cannot be built."""
    profile = fit_profile(RGB, REFERENCE, "matrix")
    with pytest.raises(ValueError, match="sums to one"):
        replace(profile, coefficients=((1.1, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))


def test_a_profile_comes_back_from_its_stored_form() -> None:
    """as_dict and from_dict are each other's inverse, to the last digit."""
    profile = fit_profile(RGB, REFERENCE).named("Acme One", "daylight", EDITION, date=DAY, photo_id="0" * 16)
    assert CameraProfile.from_dict(profile.as_dict()) == profile


def test_editions_differ_as_the_docs_say() -> None:
    """The two published values of one maker, before and after 2014, differ by 0.8 on average and 2.0 at most."""
    old, new = (np.array(list(chart_lab(name).values())) for name in (CHART_EDITIONS[1], DEFAULT_EDITION))
    off = delta_e_00(old, new)
    assert float(np.mean(off)) == pytest.approx(0.8, abs=0.05)
    assert float(np.max(off)) == pytest.approx(2.0, abs=0.05)


@pytest.mark.parametrize("edition", CHART_EDITIONS)
def test_every_edition_lists_the_patches_alike(edition: str) -> None:
    """All editions hold the 24 patches in one order, from dark skin to black."""
    assert list(chart_lab(edition)) == list(chart_lab(DEFAULT_EDITION))
    assert len(chart_lab(edition)) == 24


def chart_scene(**changes: Any) -> Scene:
    """Return a photo of the chart above the strip."""
    view = view_of(1400, 1050, share=0.6, aim=(95.0, -12.0))
    return scene_with(board=None, view=view, chart=ChartCard(Rect(44.0, -75.0, 102.0, 70.0)), **changes)


@pytest.mark.parametrize("strip", [True, False], ids=["beside the strip", "alone"])
def test_a_profile_learned_from_a_rendered_chart_mends_colours(strip: bool) -> None:
    """Under a lamp, with a saturated phone, board and floor come closer to the truth with the profile than without.

    The pair's interval gets no wider by it: print beside wood makes most of it, and no profile mends that. The strip's
    greys are known: a profile tells a camera's colours, not a print.
    """
    same = {"lamp": "A", "camera": "synthetic phone 2", "saturation": 1.18}
    chart = chart_scene(**same) if strip else chart_scene(**same, strip=None, floor=None)
    learned = learn_profile(photo_of(rendered(chart).pixels), light="lamp", edition=EDITION, date=DAY)
    assert (learned.strip is not None) is strip
    scene = scene_with(**same)
    shot, image = rendered(scene), photo_of(rendered(scene).pixels)
    greys = greys_of_print(Printer())
    plain = measure(image, ("board", "floor"), greys=greys).measurement
    mended = measure(image, ("board", "floor"), greys=greys, profile=learned.profile).measurement
    truth = {"board": shot.truth.board_lab, "floor": shot.truth.floor_lab}
    off = [
        np.mean([float(delta_e_00(m.fields[f].estimate.lab, np.array(truth[f]))) for f in ("board", "floor")])
        for m in (plain, mended)
    ]
    assert off[1] < off[0]
    assert off[1] < 2.5
    assert learned.profile.saturation[0] == pytest.approx(1.18, abs=3 * learned.profile.saturation[1])
    assert mended.pair is not None
    assert plain.pair is not None
    assert mended.pair.high - mended.pair.low < 1.01 * (plain.pair.high - plain.pair.low)


def test_a_profile_stands_in_settings_and_replaces_the_saturation_prior() -> None:
    """With a profile the result names it; saturation and the unknown matrix are no longer among its effects."""
    profile = fit_profile(RGB, REFERENCE).named("Camera", "daylight", EDITION, date=DAY, photo_id="ab" * 8)
    image = photo_of(rendered(scene_with()).pixels)
    plain = measure(image, ("floor",)).measurement
    mended = measure(image, ("floor",), profile=profile).measurement
    assert "camera_profile" not in plain.settings
    assert mended.settings["camera_profile"]["chart"] == EDITION
    names = [{e.name.rstrip("0123456789-") for e in m.fields["floor"].estimate.shared} for m in (plain, mended)]
    assert {"saturation", "camera", "camera-print"} <= names[0]
    assert {"profile", "camera-print"} <= names[1]
    assert not names[1] & {"saturation", "camera"}


def test_the_chart_teaches_the_strips_greys_too() -> None:
    """Beside a chart a strip printed lighter and softer than usual is known to 0.6 L*; an instrument's word stays."""
    print_of = Printer(paper=0.80, ink=0.058, gamma=1.06)
    image = photo_of(rendered(chart_scene(strip=PrintedStrip(number=412, printer=print_of))).pixels)
    learned = learn_profile(image, light="daylight", edition=EDITION, date=DAY)
    assert learned.greys is not None
    assert learned.greys.greys.number == 412
    true = lightness_of_reflectance(print_of.reflectance(np.asarray(STRIP.greys)))
    assert np.abs(np.array(learned.greys.greys.lightness) - true).max() < 0.6
    typed = greys_of_readings({level: [float(value)] for level, value in enumerate(true)}, number=412)
    again = learn_profile(image, light="daylight", edition=EDITION, date=DAY, greys=typed)
    assert again.greys is None


def test_a_profile_and_the_strips_greys_bring_a_pair_closer() -> None:
    """Over four rendered scenes of one saturated camera the pair's error falls by a third or more (rendered only)."""
    print_of = Printer(paper=0.82, ink=0.055, gamma=0.96)
    same: dict[str, Any] = {"lamp": "A", "camera": "synthetic phone 1", "saturation": 1.18}
    strip = PrintedStrip(number=412, printer=print_of)
    learned = learn_profile(
        photo_of(rendered(chart_scene(**same, strip=strip)).pixels), light="lamp", edition=EDITION, date=DAY
    )
    assert learned.greys is not None
    off = []
    for seed in range(4):
        drawn = random_scene(np.random.default_rng(seed), glare=False, size=(1400, 1050))
        shot = rendered(replace(drawn, strip=strip, **same))
        image, ideal = photo_of(shot.pixels), shot.truth.ideal_delta_e00
        plain = measure(image, ("board", "floor")).measurement.pair
        mended = measure(image, ("board", "floor"), greys=learned.greys.greys, profile=learned.profile).measurement.pair
        assert plain is not None
        assert mended is not None
        assert ideal is not None
        off.append((abs(plain.value - ideal), abs(mended.value - ideal)))
    assert np.mean(off, axis=0)[1] < 0.67 * np.mean(off, axis=0)[0]


def by_hand(
    scene: Scene, mode: Callable[[np.ndarray], np.ndarray] = np.asarray
) -> tuple[LinearImage, tuple[GreyArea, ...], list[KnownColour]]:
    """Return a photo of a chart, its greys as somebody names them, and its patches."""
    assert scene.chart is not None
    image = photo_of(mode(rendered(scene).pixels))
    fit = chart_from_corners(image, project(homography(scene.view), scene.chart.corners()), lab_to_rgb(REFERENCE))
    rects = [PixelRect(int(x) - 9, int(y) - 9, 18, 18) for x, y in fit.middles]
    labs = [(float(lab[0]), float(lab[1]), float(lab[2])) for lab in REFERENCE]
    patches = [KnownColour(rect, lab) for rect, lab in zip(rects, labs, strict=True)]
    return image, tuple(GreyArea(patch.rect, patch.lab[0]) for patch in patches[18:]), patches


def with_picture_mode(pixels: np.ndarray) -> np.ndarray:
    """Return a photo whose channels a picture mode mixes: what real phones do more of than rendered ones."""
    mix = np.array([[1.10, -0.14, 0.04], [-0.05, 0.97, 0.08], [-0.03, 0.16, 0.87]])
    mixed = np.clip(srgb_to_linear(pixels / 255.0) @ mix.T, 0.0, 1.0)
    return np.asarray(np.rint(linear_to_srgb(mixed) * 255.0), dtype=np.uint8)


@pytest.mark.parametrize(("lamp", "camera"), [("D50", "Sony ILCE-7RM2"), ("D65", "synthetic phone 1")])
def test_half_the_patches_named_by_hand_mend_the_others(lamp: str, camera: str) -> None:
    """A profile from half a chart brings the other half's patches a third closer or more.

    Rendered photos put through a picture mode that mixes channels. With the greys by hand alone the median over the 24
    patches is at most 4 dE00.
    """
    scene = chart_scene(strip=None, floor=None, lamp=lamp, camera=camera, saturation=1.15)
    image, greys, patches = by_hand(scene, with_picture_mode)

    def errors(of: list[KnownColour], profile: CameraProfile | None = None) -> np.ndarray:
        found = [measure_by_hand(image, greys, patch.rect, profile=profile) for patch in of]
        labs = np.array([each.measurement.fields["board"].estimate.lab for each in found])
        return delta_e_00(labs, np.array([patch.lab for patch in of]))

    plain = errors(patches)
    assert np.median(plain) <= 4.0
    fitted, others = patches[0:18:2] + patches[18:], patches[1:18:2]
    profile = learn_from_patches(image, greys, fitted, light="lamp", chart="half a chart", date=DAY)
    assert np.mean(errors(others, profile)) <= 2 / 3 * np.mean(plain[1:18:2])


def test_too_few_patches_by_hand_are_refused() -> None:
    """Seven patches named by hand are refused with a sentence."""
    image, greys, patches = by_hand(chart_scene(strip=None, floor=None))
    with pytest.raises(UsageError) as caught:
        learn_from_patches(image, greys, patches[:7], light="daylight", chart="few", date=DAY)
    assert caught.value.code == "few-patches"


def test_a_photo_that_names_no_camera_teaches_nothing() -> None:
    """Without a camera's name no later photo could be matched, so learning is refused with a sentence."""
    image = photo_of(rendered(chart_scene()).pixels, camera="")
    with pytest.raises(UsageError) as caught:
        learn_profile(image, light="daylight", edition=EDITION, date=DAY)
    assert caught.value.code == "no-camera-name"


def test_an_unknown_edition_is_refused_with_the_known_ones() -> None:
    """A misspelt edition is answered with the list of those that are known."""
    with pytest.raises(UsageError) as caught:
        learn_profile(photo_of(rendered(chart_scene()).pixels), light="daylight", edition="none such", date=DAY)
    assert DEFAULT_EDITION in caught.value.hint


@pytest.mark.parametrize("worse", [1.0, 30.0], ids=["as fitted", "a chart that says next to nothing"])
def test_a_profile_never_makes_a_colour_less_certain(worse: float) -> None:
    """What a profile leaves open of a colour is no more than what is unknown of a camera without one."""
    profile = fit_profile(RGB, REFERENCE, saturation=(1.1, 0.05))
    doubts = tuple(tuple(worse * value for value in doubt) for doubt in profile.doubts)
    profile = replace(profile, doubts=doubts).named("Camera", "daylight", EDITION, date=DAY, photo_id="ab" * 8)
    image = photo_of(rendered(scene_with()).pixels)
    sizes = []
    for known in (None, profile):
        found = measure(image, ("board",), profile=known).measurement.fields["board"].estimate.shared
        usual = [e.vector for e in found if e.name == "saturation" or e.name.startswith(("camera-", "profile-"))]
        sizes.append(float(np.linalg.norm(usual)))
    assert 0.0 < sizes[1] <= 1.1 * sizes[0]  # the two colours differ a little, and so does what a matrix does to them
