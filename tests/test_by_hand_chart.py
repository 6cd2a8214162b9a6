"""Six greys of a 24-patch chart named by hand, held to its other patches and to a plain ramp, on rendered charts."""

from __future__ import annotations

from functools import cache

import numpy as np
from by_hand_trial import COLOURED, REFERENCE, Medians, Photo, chart_scene, medians, photograph, photos
from render.camera import CAMERAS

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import rgb_to_lab
from finishlab.imaging.processing import SATURATION_BOOST
from finishlab.measure.by_hand import colours_by_hand, measure_by_hand

FILTERED = tuple(camera for camera in CAMERAS if not camera.startswith("Sigma"))
"""The cameras with a colour filter array; the one without is not reached by greys (`by_hand_trial`)."""


@cache
def found() -> tuple[Medians, ...]:
    """Return six cameras in daylight, lamp A and an LED."""
    return tuple(medians(photo) for photo in photos(FILTERED, ("D65", "A", "LED-B3")))


@cache
def chart() -> Photo:
    """Return one photo of a chart."""
    return photograph(chart_scene(3, CAMERAS[3], "D65"))


def test_the_other_patches_come_within_four() -> None:
    """In every rendered photo the median over the 18 patches is at most 4 CIEDE2000 from the reference."""
    assert len(found()) == 18
    assert max(each.ours for each in found()) <= 4.0


def test_greys_bring_out_what_the_camera_sees_no_worse_than_a_ramp() -> None:
    """Beside an ideal camera, boost out, no rendered photo is worse by 0.25 than a ramp; on average it is better."""
    for each in found():
        assert each.ours_from_ideal <= each.ramp_from_ideal + 0.25
    assert np.mean([e.ours_from_ideal for e in found()]) < np.mean([e.ramp_from_ideal for e in found()])


def test_the_patches_come_nearer_than_by_a_ramp() -> None:
    """Against the reference it is better by a thirtieth on average.

    Beside a ramp with the same boost taken out it is as good on average, and worse by 0.5 at most: in some patches the
    errors of ramp and camera cancel.
    """
    ours, ramp, like = (np.array([getattr(e, name) for e in found()]) for name in ("ours", "ramp", "ramp_unboosted"))
    assert ours.mean() < 29 / 30 * ramp.mean()
    assert ours.mean() < like.mean() + 0.05
    assert (ours - like).max() < 0.5


def test_a_patch_measured_by_hand_is_the_colour_that_was_judged() -> None:
    """What `measure_by_hand` returns of a patch is what the figures above are of."""
    photo = chart()
    colours = colours_by_hand(photo.image, photo.greys, photo.patches)(SATURATION_BOOST[0])
    for i in (0, 10, 14):
        lab = measure_by_hand(photo.image, photo.greys, photo.patches[i]).measurement.fields["board"].estimate.lab
        assert delta_e_00(np.array(lab), rgb_to_lab(np.maximum(colours[i], 1e-4))) < 0.05


def test_the_chart_is_named_as_its_edition_has_it() -> None:
    """The six greys go from white to black, nearly neutral (the white is a little yellow); 18 patches are left."""
    photo = chart()
    assert [grey.lightness for grey in photo.greys] == sorted((float(v) for v in REFERENCE[COLOURED:, 0]), reverse=True)
    assert np.abs(REFERENCE[COLOURED:, 1:]).max() < 3.0
    assert len(photo.patches) == COLOURED
