"""The 24-patch chart in rendered photos: found, turned the right way, read."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from render.camera import Tone
from render.chart import ChartCard
from render.scene import Scene
from render.view import homography, project
from rendered import photo_of, rendered, scene_with, view_of

from finishlab.colorimetry.spaces import chart_lab, lab_to_rgb
from finishlab.errors import NoStripError, QualityError
from finishlab.imaging.chart import ChartFit, chart_from_corners, find_chart, read_chart
from finishlab.imaging.strip import Rect

COLOURS = lab_to_rgb(np.array(list(chart_lab("mean of 30").values())))


def scene(width_mm: float = 102.0, angle: float = 0.0, *, alone: bool = False, **changes: Any) -> Scene:
    """Return a chart above the strip, or alone on the bench."""
    view = {"share": 0.6, "aim": (95.0, -12.0)} | changes.pop("view", {})
    card = ChartCard(Rect(95 - width_mm / 2, -5 - 0.7 * width_mm, width_mm, 0.7 * width_mm), angle)
    bare = {"strip": None, "floor": None} if alone else {}
    return scene_with(board=None, chart=card, view=view_of(1400, 1050, **view), **bare, **changes)


def true_corners(made: Scene) -> np.ndarray:
    """Return the outer corners of the corner patches in the photo."""
    assert made.chart is not None
    return project(homography(made.view), made.chart.corners())


SCENES = {
    "beside the strip": scene(),
    "turned by 90": scene(angle=90.0),
    "upside down": scene(view={"rotation": 180.0}),
    "askew": scene(view={"rotation": 37.0}),
    "tilted": scene(view={"tilt": 30.0, "tilt_azimuth": 20.0}),
    "small": scene(width_mm=62.0),
    "alone": scene(alone=True),
    "alone, far": scene(alone=True, view={"share": 0.35}),
    "lamp and contrast": scene(lamp="A", tone=Tone(contrast=0.45, gamma=0.9), saturation=1.2, sharpen=0.5),
}


@pytest.mark.parametrize("name", SCENES)
def test_the_chart_is_found_and_turned_the_right_way(name: str) -> None:
    """Turned, tilted, small or alone, every corner is found to a fifth of a patch, dark skin first."""
    made = SCENES[name]
    fit = find_chart(photo_of(rendered(made).pixels), COLOURS)
    true = true_corners(made)
    pitch = float(np.linalg.norm(true[1] - true[0])) / 6
    assert np.abs(fit.corners - true).max() < 0.2 * pitch


def test_corners_given_from_another_patch_are_turned_by_the_colours() -> None:
    """Corners begun at the white patch, and a little off, give the same chart as the right ones."""
    made = SCENES["beside the strip"]
    image, true = photo_of(rendered(made).pixels), true_corners(made)
    right = chart_from_corners(image, true, COLOURS)
    other = chart_from_corners(image, np.roll(true, 1, axis=0) + 3.0, COLOURS)
    np.testing.assert_allclose(other.middles, right.middles, atol=2.0)


def test_corners_around_something_else_are_refused() -> None:
    """A rectangle of floor is not taken for a chart."""
    image = photo_of(rendered(SCENES["beside the strip"]).pixels)
    with pytest.raises(QualityError) as caught:
        chart_from_corners(image, np.array([[400, 800], [900, 800], [900, 1000], [400, 1000]]), COLOURS)
    assert caught.value.code == "not-a-chart"


def test_a_photo_without_a_chart_is_refused() -> None:
    """Board, floor and the strip's own squares do not pass for a chart."""
    with pytest.raises(NoStripError) as caught:
        find_chart(photo_of(rendered(scene_with()).pixels), COLOURS)
    assert caught.value.code == "no-chart"


def test_the_patches_read_as_they_were_rendered() -> None:
    """Linear, noise-free and even, each reading is the rendered value within one per cent of white."""
    made = scene(tone=Tone(), saturation=1.0, veil=0.0, full_well=float("inf"), jpeg_quality=None, blur_px=0.0)
    image = photo_of(rendered(made).pixels)
    readings = read_chart(image, find_chart(image, COLOURS))
    assert readings.usable.all()
    values = readings.values / readings.values[18].mean() * COLOURS[18].mean()
    seen = np.median(np.abs(values - COLOURS), axis=0)
    assert seen.max() < 0.02


def test_a_chart_cut_by_the_photo_is_refused() -> None:
    """A patch beyond the photo's edge is told."""
    made = SCENES["beside the strip"]
    image = photo_of(rendered(made).pixels)
    beyond = find_chart(image, COLOURS)
    moved = ChartFit(np.array([[1.0, 0.0, 900.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]) @ beyond.to_pixels)
    with pytest.raises(QualityError) as caught:
        read_chart(image, moved)
    assert caught.value.code == "chart-outside"
