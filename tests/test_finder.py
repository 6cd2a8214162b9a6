"""The strip is found wherever it lies in a rendered photo, and nothing else passes for it."""

from __future__ import annotations

import numpy as np
import pytest
from render.paper import PrintedStrip
from render.photo import RenderedPhoto
from render.view import project
from rendered import photo_of, rendered, scene_with, straight_fit, view_of
from strip_photo import PRINTS, Shot, pixels_of

from finishlab.errors import ExitCode, NoStripError
from finishlab.imaging.finder import StripFit, apply_homography, find_strip
from finishlab.imaging.strip import STRIP, Rect

CORNERS = Rect(0.0, 0.0, STRIP.width, STRIP.height).corners()
SKIN = np.array([196, 150, 126], dtype=np.uint8)


def corner_error_mm(fit: StripFit, photo: RenderedPhoto) -> float:
    """Return how far the strip's corners are from the truth, mm."""
    true = project(photo.truth.homography, CORNERS)
    return float(np.linalg.norm(fit.pixels(CORNERS) - true, axis=1).max() / fit.px_per_mm)


def covered(photo: RenderedPhoto, *rects: Rect) -> np.ndarray:
    """Return the photo's pixels with a skin colour laid over rectangles of the scene (straight views only)."""
    pixels = photo.pixels.copy()
    for rect in rects:
        (left, top), (right, bottom) = np.rint(project(photo.truth.homography, rect.corners()[[0, 2]])).astype(int)
        pixels[max(top, 0) : bottom, max(left, 0) : right] = SKIN
    return pixels


def straight() -> RenderedPhoto:
    """Return a photo straight from above."""
    return rendered(scene_with(view=view_of(1000, 750)))


@pytest.mark.parametrize("turn", range(8))
def test_found_at_any_rotation(turn: int) -> None:
    """The strip is found at any rotation and at tilts up to 40 degrees, every corner within 0.35 mm of the truth."""
    rotation, tilt = 45.0 * turn, (0.0, 12.0, 25.0, 40.0)[turn % 4]
    view = view_of(1000, 1000, 0.58, rotation=rotation, tilt=tilt, tilt_azimuth=60.0 + 37.0 * turn)
    photo = rendered(scene_with(view=view, board=None, floor=None))
    fit = find_strip(photo_of(photo.pixels))
    assert fit.number == 7
    assert fit.tags_seen == 6
    assert corner_error_mm(fit, photo) < 0.35
    off = (fit.rotation_deg - rotation + 180.0) % 360.0 - 180.0
    assert abs(off) < 1.0 + 0.25 * tilt, "tilt alone turns the long edge a little"
    assert fit.tilt_deg == pytest.approx(tilt, abs=3.0 if tilt > 15.0 else 8.0)


@pytest.mark.parametrize("azimuth", [0.0, 60.0, 200.0])
@pytest.mark.parametrize("tilt", [20.0, 40.0])
def test_scale_and_tilt_are_read_back(tilt: float, azimuth: float) -> None:
    """Pixels per millimetre at the strip's centre are within 1 % of the truth, the tilt within 1.5 degrees."""
    view = view_of(1200, 900, 0.6, tilt=tilt, tilt_azimuth=azimuth)
    photo = rendered(scene_with(view=view, board=None, floor=None))
    fit = find_strip(photo_of(photo.pixels))
    true = StripFit(photo.truth.homography, None, frozenset(), 0.0)
    assert fit.px_per_mm == pytest.approx(true.px_per_mm, rel=0.01)
    assert fit.tilt_deg == pytest.approx(tilt, abs=1.5)
    assert corner_error_mm(fit, photo) < 0.3


@pytest.mark.parametrize(("width", "rotation", "tilt"), [(2000, 0.0, 0.0), (2000, 77.0, 35.0), (1600, 200.0, 20.0)])
def test_found_at_a_sixth_of_the_width(width: int, rotation: float, tilt: float) -> None:
    """A strip a sixth of the photo's width long is found and its number read, corners within a pixel and a half."""
    view = view_of(width, width * 3 // 4, 1 / 6, rotation=rotation, tilt=tilt)
    photo = rendered(scene_with(view=view, board=None))
    fit = find_strip(photo_of(photo.pixels))
    assert fit.number == 7
    assert fit.tags_seen >= 4
    assert corner_error_mm(fit, photo) * fit.px_per_mm < 1.5


@pytest.mark.parametrize(
    ("hidden", "seen"),
    [
        (Rect(-10.0, -10.0, 94.0, 66.0), {1, 2, 4, 5}),
        (Rect(106.0, -10.0, 100.0, 66.0), {0, 1, 3, 4}),
        (Rect(-10.0, -10.0, 210.0, 30.0), {3, 4, 5}),
        (Rect(-10.0, 27.0, 210.0, 30.0), {0, 1, 2}),
    ],
    ids=["left half", "right half", "board half", "floor half"],
)
def test_half_hidden(hidden: Rect, seen: set[int]) -> None:
    """With a half of the strip covered it is still found, and its number read."""
    fit = find_strip(photo_of(covered(straight(), hidden)))
    assert fit.roles_seen == seen
    assert fit.number == 7


@pytest.mark.parametrize(
    "hidden",
    [
        (Rect(-10.0, -10.0, 175.0, 66.0), Rect(160.0, 25.0, 40.0, 30.0)),
        (Rect(-10.0, -10.0, 118.0, 66.0),),
        (Rect(82.0, -10.0, 120.0, 66.0),),
    ],
    ids=["one tag left", "right end left", "left end left"],
)
def test_too_much_hidden(hidden: tuple[Rect, ...]) -> None:
    """With one tag or one end left in view the finder says that the strip is hidden, not that there is none."""
    with pytest.raises(NoStripError, match="Too little of the grey strip can be seen") as caught:
        find_strip(photo_of(covered(straight(), *hidden)))
    assert caught.value.code == "strip-hidden"
    assert caught.value.hint
    assert caught.value.exit_code == ExitCode.NO_STRIP


@pytest.mark.parametrize("seed", range(2))
def test_no_strip(seed: int) -> None:
    """Wood, floor and bench without a strip are refused with no-strip and the contract's exit code."""
    with pytest.raises(NoStripError) as caught:
        find_strip(photo_of(rendered(scene_with(strip=None, seed=seed)).pixels))
    assert caught.value.code == "no-strip"
    assert caught.value.exit_code == ExitCode.NO_STRIP


def test_number_unread_from_one_digit() -> None:
    """Tags that all carry the same digit give the place, but no number."""
    # Left in view: the two outer tags at the board edge, both with the high digit.
    pixels = covered(straight(), Rect(85.0, -2.0, 20.0, 22.0), Rect(-5.0, 26.0, 200.0, 25.0))
    fit = find_strip(photo_of(pixels))
    assert fit.roles_seen == {0, 2}
    assert fit.number is None


def test_two_strips_are_not_mixed() -> None:
    """Of two different strips in one photo one is found whole, with its own number and its own corners."""
    other = rendered(scene_with(view=view_of(1000, 750), strip=PrintedStrip(number=1203)))
    fit = find_strip(photo_of(np.concatenate([straight().pixels, other.pixels])))
    true = project(straight().truth.homography, CORNERS)
    shift = 0.0 if fit.number == 7 else 750.0
    assert fit.number in {7, 1203}
    assert fit.tags_seen == 6
    assert np.abs(fit.pixels(CORNERS) - true - [0.0, shift]).max() < 0.35 * fit.px_per_mm


def test_sixteen_bit_photo() -> None:
    """A 16 bit photo gives the same place as its 8 bit twin."""
    pixels = straight().pixels
    decode = np.linspace(0, 1, 65536, dtype=np.float32)
    deep = find_strip(photo_of(pixels.astype(np.uint16) * 257, decode=decode))
    np.testing.assert_array_equal(deep.to_pixels, find_strip(photo_of(pixels)).to_pixels)


def test_bent_strip_is_noticed() -> None:
    """A tag moved by 1 mm, as a curled corner does, leaves a larger residual and the other tags' place."""
    photo = straight()
    flat = find_strip(photo_of(photo.pixels))
    tag = STRIP.tags[5].rect
    pad = Rect(tag.x - 1.5, tag.y - 1.5, tag.width + 3.0, tag.height + 3.0)
    (left, top), (right, bottom) = np.rint(project(photo.truth.homography, pad.corners()[[0, 2]])).astype(int)
    pixels = photo.pixels.copy()
    step = round(flat.px_per_mm)
    pixels[top + step : bottom + step, left:right] = photo.pixels[top:bottom, left:right]
    bent = find_strip(photo_of(pixels))
    assert bent.residual_mm > flat.residual_mm + 0.05
    assert corner_error_mm(bent, photo) < 1.5


def test_homography_of_a_straight_fit() -> None:
    """Millimetres map to pixel centres at integers: the middle of the first pixel is half a pixel in."""
    fit = straight_fit(4.0)
    assert fit.pixels(np.array([[0.125, 0.125], [1.125, 0.125]])).tolist() == [[0.0, 0.0], [4.0, 0.0]]
    assert (fit.px_per_mm, fit.tilt_deg, fit.rotation_deg) == pytest.approx((4.0, 0.0, 0.0), abs=1e-6)
    back = apply_homography(np.linalg.inv(fit.to_pixels), fit.pixels(CORNERS))
    np.testing.assert_allclose(back, CORNERS, atol=1e-9)


@pytest.mark.parametrize(("scale", "rotation", "tilt"), [(1.6, 4.0, 25.0), (1.7, 120.0, 10.0), (2.4, -30.0, 25.0)])
def test_a_strip_of_300_pixels_is_found_in_a_large_photo(scale: float, rotation: float, tilt: float) -> None:
    """Told that the strip may be small, it is found at 300 to 450 pixels of 4000, number and all, tilted as well."""
    strip = pixels_of(PRINTS[0], Shot(px_per_mm=scale, rotation=rotation, tilt=tilt))
    picture = np.full((3000, 4000, 3), 120, dtype=np.uint8)
    picture[1300 : 1300 + strip.shape[0], 1700 : 1700 + strip.shape[1]] = strip
    fit = find_strip(photo_of(picture), small=True)
    assert fit.number == 412
    assert fit.tags_seen >= 4
    assert fit.px_per_mm == pytest.approx(scale, rel=0.12), "tilt shortens it"
