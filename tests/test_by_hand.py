"""Measuring without the strip: polygons, reduced photos, and how near greys named by hand come; on rendered photos."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from conftest import SCENES, STRIP_NUMBER, Photos, Run
from hypothesis import given
from hypothesis import strategies as st
from photo_samples import jpeg_photo
from render.photo import render_scene
from render.printers import Printer
from rendered import greys_of_print
from test_workflow import greys_of, pixels_of

from finishlab import GreyArea, PixelPolygon, PixelRect, UsageError, measure_photo
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.imaging.strip import STRIP
from finishlab.measure.areas import check_inside
from finishlab.measure.by_hand import measure_by_hand
from finishlab.measuring import MeasureOptions, inspect_photo
from finishlab.measuring.shown import picture_of
from finishlab.photos import read_photo

RECTANGLE = PixelRect(330, 210, 480, 130)
KNOWN = greys_of_print(Printer(), STRIP_NUMBER)
"""The greys of the strip in the rendered photos: what is compared is the way, not how well they are known."""
AS_POLYGON = PixelPolygon(((330, 210), (809, 210), (809, 339), (330, 339)))

# -- polygons


@pytest.mark.parametrize(
    "text",
    ["", "1,2", "1,2,3,4", "1,2,3,4,5", "a,b,c,d,e,f", "1.5,2,3,4,9,9", "-1,2,3,4,9,0", "1,1,5,1,9,1", "1,1,1,1,5,5"],
)
def test_a_malformed_polygon_is_named(text: str) -> None:
    """Too few corners, an odd number, no numbers, no area or a corner named twice: a usage error that says so."""
    with pytest.raises(UsageError) as caught:
        PixelPolygon.parse(text)
    assert caught.value.code == "bad-polygon"
    assert text in caught.value.message


@pytest.mark.parametrize(
    "text", ["0,0,9,9,9,0,0,9", "0,0,9,0,9,9,4,0,0,9", "0,0,9,0,4,0,4,9", "0,0,8,0,8,8,0,8,8,4,0,6"]
)
def test_a_polygon_that_crosses_or_touches_itself_is_refused(text: str) -> None:
    """A bow tie, a corner on another side and a side that runs back are no surface."""
    with pytest.raises(UsageError, match="cross or touch"):
        PixelPolygon.parse(text)


def test_polygons_read_back_as_written_and_know_their_box() -> None:
    """A polygon prints as it is typed; its box holds every corner."""
    polygon = PixelPolygon.parse("900,400, 1300,420,1280,700,910,690")
    assert str(polygon) == "900,400,1300,420,1280,700,910,690"
    assert polygon.box == PixelRect(900, 400, 401, 301)
    with pytest.raises(UsageError, match="1000 x 800 pixels"):
        check_inside(polygon, (1000, 800))


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=3, max_size=7, unique=True))
def test_what_a_polygon_holds_is_its_area(corners: list[tuple[int, int]]) -> None:
    """Sampled finely, the share of the plane inside is the area by the surveyor's formula, for every simple polygon."""
    try:
        polygon = PixelPolygon(tuple(corners))
    except UsageError:
        return
    fine = np.arange(-0.5, 41.5, 0.05) + 0.025
    area = abs(sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(corners, corners[1:] + corners[:1], strict=True))) / 2
    sides = sum(np.hypot(a[0] - b[0], a[1] - b[1]) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))
    assert polygon.holds(fine, fine).sum() * 0.05**2 == pytest.approx(area, abs=0.05 * sides + 0.05)


def test_a_rectangle_named_by_its_corners_measures_as_the_rectangle(photos: Photos) -> None:
    """The same surface as --area and as --polygon gives one colour within 0.05 dE00 and is used to the same share."""
    greys = greys_of(photos, "straight")
    by_area, by_polygon = (
        measure_photo(photos("straight"), greys=greys, area=area).fields["board"] for area in (RECTANGLE, AS_POLYGON)
    )
    assert delta_e_00(by_area.estimate.lab, by_polygon.estimate.lab) < 0.05
    assert by_polygon.used_share == pytest.approx(by_area.used_share, abs=0.02)


def test_nothing_outside_a_polygon_counts(photos: Photos) -> None:
    """Painting green what lies in a thin polygon's box but outside it changes nothing, and little is not doubted."""
    image = read_photo(photos("straight"))
    greys = greys_of(photos, "straight")
    polygon = PixelPolygon.parse("330,210,420,210,809,330,809,339,700,339,330,230")
    painted = image.encoded.copy()
    outside = ~polygon.holds(np.arange(1200.0), np.arange(900.0))
    grown = (
        outside & np.roll(outside, 6, 0) & np.roll(outside, -6, 0) & np.roll(outside, 6, 1) & np.roll(outside, -6, 1)
    )
    grown[370:] = False  # the strip stays
    painted[grown] = (0, 255, 0)
    plain = measure_by_hand(image, greys, polygon).measurement.fields["board"]
    green = measure_by_hand(replace(image, encoded=painted), greys, polygon).measurement.fields["board"]
    assert green.estimate.lab == pytest.approx(plain.estimate.lab, abs=0.1)
    assert plain.used_share > 0.9
    assert "surface-small" not in [d.code for d in plain.doubts]


def test_the_command_takes_a_polygon_and_records_it(run: Run, photos: Photos) -> None:
    """`--polygon` measures, as `--area` does; outside the photo it is a usage error of that photo."""
    greys = [word for grey in greys_of(photos, "straight")[:8] for word in ("--grey", str(grey))]
    good = run("measure", photos("straight"), *greys, "--polygon", str(AS_POLYGON), "--json")
    assert good.exit_code == 0, good.stderr
    assert json.loads(good.stdout)["photos"][0]["fields"]["board"]["used_share"] > 0.9
    far = run("measure", photos("straight"), *greys, "--polygon", "0,0,5000,0,0,50")
    assert far.exit_code == 2
    assert "does not lie inside the photo, which is 1200 x 900 pixels" in far.stderr


def test_the_picture_shows_the_polygon(photos: Photos) -> None:
    """The checking picture draws the polygon's edge and leaves what lies outside it as it was."""
    polygon = PixelPolygon.parse("330,210,809,210,809,339")
    inspection, image = inspect_photo(
        photos("straight"), MeasureOptions(greys=tuple(greys_of(photos, "straight")[:8]), area=polygon)
    )
    changed = (picture_of(inspection, image).astype(int) - image.encoded).any(axis=-1)
    assert changed[210:212, 500:800].all()
    assert not changed[320:336, 340:500].any()


# -- how near


def test_a_photo_decoded_at_half_size_gives_the_same_colour(photos: Photos) -> None:
    """Areas are named in full-size pixels whatever was decoded: half the size moves the colour by less than 0.3."""
    greys = greys_of(photos, "straight")
    full, half = (
        measure_by_hand(read_photo(photos("straight"), long_side=side), greys, RECTANGLE).measurement.fields["board"]
        for side in (None, 600)
    )
    assert delta_e_00(full.estimate.lab, half.estimate.lab) < 0.3


def test_an_18_percent_card_alone_is_within_3_of_the_strip(photos: Photos) -> None:
    """A card of L* 49.5 laid over the photo and named as the only grey gives the strip's colour within 3 dE00.

    The strip's greys are known; one card leaves the camera's tone curve the usual one. The card is rendered: the
    strip's grey nearest to 18 % stands in for it, by its true lightness.
    """
    reflectance = 0.18
    card = min(greys_of(photos, "straight"), key=lambda g: abs(g.lightness - lightness_of_reflectance(reflectance)))
    area = pixels_of(STRIP.fields["board"], photos.truth("straight").homography)
    by_strip = measure_photo(photos("straight"), strip_greys=[KNOWN]).fields["board"].estimate.lab
    one = measure_photo(photos("straight"), greys=[card], area=area).fields["board"]
    assert delta_e_00(one.estimate.lab, by_strip) < 3.0


@pytest.mark.parametrize("name", ["light_board", "dark_board"])
def test_greys_by_hand_agree_with_the_strip_on_light_and_dark_boards(photos: Photos, name: str) -> None:
    """The strip's greys named by hand give the strip's colour within 0.5 dE00, on a light and on a dark board."""
    straight = replace(SCENES[name], view=SCENES["straight"].view)
    path = photos.folder / f"straight_{name}.jpg"
    path.write_bytes(jpeg_photo(render_scene(straight).pixels))
    homography = photos.truth("straight").homography
    by_strip = measure_photo(path, strip_greys=[KNOWN]).fields["board"].estimate.lab
    area = pixels_of(STRIP.fields["board"].inset(20.0, 6.0), homography)
    greys: list[GreyArea] = greys_of(photos, "straight")
    by_hand = measure_photo(path, greys=greys, area=area).fields["board"].estimate.lab
    assert delta_e_00(by_hand, by_strip) < 0.5
