"""What a phone does to a picture: local tone mapping is told; sharpening, lens, subsampling and mixed light do little.

All photos here are rendered, and their local tone mapping and mixed light are synthetic; the trial over many scenes is
`processing_trial.py`, its figures stand in docs/decisions/0008-photo-processing.md.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from render.local_tone import even_out
from render.scene import Scene, truth_of
from render.spectral import grey_material
from render.view import Light, View, homography, project, world_grid
from rendered import photo_of, rendered, scene_with, view_of

from finishlab.imaging.processing import LocalTone
from finishlab.measure.flow import measure
from finishlab.measure.results import Measurement
from finishlab.measure.uncertainty_budget import judge_local_tone

VIEW = view_of(1200, 900, 0.6, tilt=6.0)


@cache
def measured(**changes: Any) -> Measurement:
    """Return both fields of the usual scene, changed, measured."""
    scene = scene_with(**{"view": VIEW, "bench": grey_material(0.08), **changes})
    return measure(photo_of(rendered(scene).pixels), ("board", "floor")).measurement


def pair(found: Measurement) -> float:
    """Return the pair's CIEDE2000."""
    assert found.pair is not None
    return found.pair.value


def codes(found: Measurement) -> set[str]:
    """Return the codes of all doubts."""
    return {doubt.code for field in found.fields.values() for doubt in field.doubts}


def evened(found: Measurement) -> LocalTone:
    """Return what the greys say of local tone mapping."""
    return LocalTone(**found.correction["local_tone"])


@pytest.mark.parametrize("strength", [0.3, 0.5])
def test_local_tone_mapping_is_told(strength: float) -> None:
    """A phone that takes out 30 % and more of the surroundings' contrast is doubted in both fields, in plain words."""
    found = measured(local_tone=strength)
    assert evened(found).significance > 1.5
    for field in found.fields.values():
        sentence = next(d.message for d in field.doubts if d.code == "local-tone")
        assert "come out too small" in sentence
        assert sentence.endswith(".")


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"sharpen": 1.0},
        {"jpeg_quality": 60},
        {"subsampling": "4:2:0"},
        {"light": Light(gradient=0.25, direction=90.0, curve=-0.04)},
        {"light": Light(tint_gradient=0.2)},
        {"veil": 0.02},
        {"exposure": 0.4},
        {"bench": grey_material(0.8)},
    ],
    ids=lambda c: ", ".join(c) or "plain",
)
def test_nothing_else_passes_for_local_tone_mapping(changes: dict[str, Any]) -> None:
    """Sharpening, coarse JPEG, sloping or coloured light, veiling glare, a dark photo or a white bench are not told."""
    found = measured(**changes)
    assert "local-tone" not in codes(found)
    assert abs(evened(found).significance) < 1.5


def test_strength_grows_with_the_mapping() -> None:
    """The strength told grows with the strength rendered and starts near 0.

    Beyond a quarter or so it stays: print and light, both unknown, take up the rest.
    """
    told = [evened(measured(local_tone=s)).strength for s in (0.0, 0.1, 0.25)]
    assert abs(told[0]) < 0.05
    assert told[0] < told[1] < told[2]


def test_threshold_of_the_doubt() -> None:
    """Neither an insignificant strength, nor a tiny one, nor a raised contrast, nor too few greys give the doubt."""
    assert judge_local_tone(None) == []
    assert judge_local_tone(LocalTone(0.2, 0.2, 8.0)) == []
    assert judge_local_tone(LocalTone(0.01, 0.001, 8.0)) == []
    assert judge_local_tone(LocalTone(-0.3, 0.05, 8.0)) == []
    (told,) = judge_local_tone(LocalTone(0.2, 0.05, 8.0))
    assert told.figures == {"percent": 20}


@pytest.mark.parametrize(
    ("changes", "most"),
    [
        ({"sharpen": 1.0}, 0.15),
        ({"subsampling": "4:2:0"}, 0.15),
        ({"view": replace(VIEW, distortion=0.01)}, 0.15),
        ({"light": Light(tint_gradient=0.1)}, 0.3),
    ],
    ids=["sharpening", "subsampling", "distortion", "tint"],
)
def test_the_pair_stays(changes: dict[str, Any], most: float) -> None:
    """Halos, chroma subsampling, 1 % of distortion and light that is 10 % warmer at one end hardly move the pair."""
    plain = measured(subsampling="4:4:4")
    assert pair(measured(**{"subsampling": "4:4:4", **changes})) == pytest.approx(pair(plain), abs=most)


# -- the renderer's own ----------------------------------------------------------------------------------------------


def test_even_out_leaves_an_even_picture() -> None:
    """An even picture has nothing to even out, whatever the strength."""
    flat = np.full((60, 80, 3), 0.3, dtype=np.float32)
    np.testing.assert_allclose(even_out(flat, 0.8), flat, rtol=1e-5)


def test_even_out_compresses_broad_contrast_and_keeps_detail() -> None:
    """Far from a border the log contrast of two halves shrinks by the strength; fine stripes keep theirs."""
    x = np.arange(600)
    light = np.where(x < 300, 0.1, 0.4) * np.where(x % 4 < 2, 1.0, 1.1)
    picture = np.broadcast_to(light[None, :, None], (400, 600, 3)).astype(np.float32)
    out = even_out(picture, 0.5, reach=0.02)[200, :, 0]
    halves = out[40:200].mean(), out[400:560].mean()
    assert np.log(halves[1] / halves[0]) == pytest.approx(0.5 * np.log(4.0), rel=0.03)
    assert out[102] / out[100] == pytest.approx(1.1, rel=0.01)


def test_tint_of_the_light() -> None:
    """Red over blue changes by the gradient from one end of the longer side to the other; green and the aim stay."""
    view = view_of()
    half = view.width / view.px_per_mm / 2
    light = Light(tint_gradient=0.1, direction=0.0)
    x = np.array([view.aim[0] - half, view.aim[0], view.aim[0] + half])
    tint = light.tint(x, np.full(3, view.aim[1]), view)
    np.testing.assert_allclose(np.log(tint[2, 0] / tint[2, 2]) - np.log(tint[0, 0] / tint[0, 2]), 0.1, atol=1e-5)
    np.testing.assert_allclose(tint[:, 1], 1.0)
    np.testing.assert_allclose(tint[1], 1.0, atol=1e-6)


def test_distortion_draws_the_corners_in() -> None:
    """With 1 % of barrel distortion a corner shows what a true lens shows 1 % farther out; the centre stays."""
    view = View(width=401, height=301, strip_share=0.6, tilt=0.0)
    x, y, _ = world_grid(replace(view, distortion=0.01))
    seen = project(homography(view), np.array([[x[0, 0], y[0, 0]], [x[150, 200], y[150, 200]]]))
    np.testing.assert_allclose(seen[0], [200 - 202.0, 150 - 151.5], atol=0.02)
    np.testing.assert_allclose(seen[1], [200, 150], atol=0.01)


def test_senseless_settings_are_refused() -> None:
    """A strength of 1 and a lens that bends by a quarter are refused; the rare settings are on record when used."""
    with pytest.raises(ValueError, match="local tone"):
        Scene(local_tone=1.0)
    with pytest.raises(ValueError, match="lens"):
        View(distortion=0.25)
    assert truth_of(Scene(local_tone=0.2)).settings["local_tone"] == 0.2
    assert "local_tone" not in truth_of(Scene()).settings
