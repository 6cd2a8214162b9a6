"""Laying a photo flat keeps its light: means are means of linear light, nothing outside the photo is made up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render.view import homography
from rendered import DECODE, photo_of, places_of, straight_fit, view_of

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import lightness_of_reflectance, rgb_to_lab, srgb_to_linear
from finishlab.imaging.finder import StripFit
from finishlab.imaging.opencv import (
    any_channel_at_least,
    apply_table,
    channel_mean,
    decode_16bit,
    grey_of,
    recolour,
    shrink,
    turn_upright,
    warp,
)
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import flatten
from finishlab.imaging.strip import Rect

FIELD = Rect(10.0, 5.0, 60.0, 30.0)
DEEP = np.asarray(srgb_to_linear(np.arange(65536) / 65535), dtype=np.float32)


def tilted_fit() -> StripFit:
    """Return a fit seen at a slant, with the whole strip in an 800 x 600 photo."""
    return StripFit(homography(view_of(800, 600, 0.6, tilt=30.0, rotation=25.0)), 1, frozenset(range(6)), 0.0)


@given(st.tuples(*[st.integers(0, 252)] * 3), st.floats(1.0, 6.0))
@settings(max_examples=15)
def test_uniform_patch_returns_itself(code: tuple[int, int, int], px_per_mm: float) -> None:
    """A photo of one colour laid flat, at any resolution and slant, is that colour within 0.05 CIEDE2000 everywhere."""
    image = photo_of(np.broadcast_to(np.array(code, dtype=np.uint8), (600, 800, 3)))
    view = flatten(image, tilted_fit(), FIELD, px_per_mm, DECODE)
    assert view.inside.all()
    true = rgb_to_lab(srgb_to_linear(np.array(code) / 255))
    assert float(np.max(delta_e_00(rgb_to_lab(view.values.astype(float)), true))) < 0.05
    assert not view.clipped.any()


@pytest.mark.parametrize("pattern", ["checker", "stripes", "fine stripes"])
@pytest.mark.parametrize("px_per_mm", [1.0, 2.0, 3.0])
def test_mean_is_a_mean_of_light(pattern: str, px_per_mm: float) -> None:
    """The mean over a pattern of two codes is the mean of their light within 0.02 L*, not the mean of the codes."""
    y, x = np.mgrid[0:300, 0:600]
    dark = {"checker": (x + y) % 2, "stripes": (x // 4) % 2, "fine stripes": x % 2}[pattern] == 0
    codes = np.where(dark, 40, 210).astype(np.uint8)
    view = flatten(photo_of(np.repeat(codes[..., None], 3, axis=2)), straight_fit(6.0), FIELD, px_per_mm, DECODE)
    true = (float(DECODE[40]) + float(DECODE[210])) / 2
    found = float(view.values.mean(dtype=float))
    assert float(lightness_of_reflectance(found)) == pytest.approx(float(lightness_of_reflectance(true)), abs=0.02)
    assert abs(lightness_of_reflectance(found) - lightness_of_reflectance(float(DECODE[125]))) > 5.0


def test_means_are_those_of_whole_blocks() -> None:
    """Where an output pixel is exactly 3 x 3 photo pixels it is their mean in linear light, tall photos too.

    The photo is taller than one band of the banded conversion, so bands leave no trace.
    """
    codes = np.random.default_rng(5).integers(0, 250, (1500, 90, 3), dtype=np.uint8)
    rect = Rect(0.0, 0.0, 30.0, 500.0)
    view = flatten(photo_of(codes), straight_fit(3.0), rect, 1.0, DECODE)
    expected = DECODE[codes].reshape(500, 3, 30, 3, 3).mean(axis=(1, 3))
    inner = (slice(1, -1), slice(1, -1))
    np.testing.assert_allclose(view.values[inner], expected[inner], atol=2e-6)


def test_sixteen_bit_equals_its_eight_bit_twin() -> None:
    """A 16 bit photo of the same values gives the same light, within the rounding of single precision."""
    codes = np.random.default_rng(6).integers(0, 256, (240, 320, 3), dtype=np.uint8)
    deep = photo_of(codes.astype(np.uint16) * 257, decode=DEEP)
    rect, fit = Rect(5.0, 5.0, 50.0, 30.0), straight_fit(4.0)
    one, two = (flatten(image, fit, rect, 2.0, image.decode) for image in (photo_of(codes), deep))
    np.testing.assert_allclose(one.values, two.values, atol=1e-6)


def test_table_for_each_channel() -> None:
    """A table may have a column for each channel, for 8 and 16 bit codes alike."""
    codes = np.random.default_rng(7).integers(0, 256, (9, 11, 3), dtype=np.uint8)
    table = np.stack([DECODE, DECODE * 2, DECODE + 1], axis=1)
    deep = np.stack([DEEP, DEEP * 2, DEEP + 1], axis=1)
    expected = np.stack([DECODE[codes[..., 0]], 2 * DECODE[codes[..., 1]], DECODE[codes[..., 2]] + 1], axis=-1)
    np.testing.assert_allclose(apply_table(codes, table), expected, rtol=1e-6)
    np.testing.assert_allclose(apply_table(codes.astype(np.uint16) * 257, deep), expected, rtol=1e-5, atol=1e-7)


def test_outside_the_photo_is_marked() -> None:
    """What lies beyond the photo is marked as outside, to the pixel, and never as clipped."""
    image = photo_of(np.full((200, 300, 3), 255, dtype=np.uint8))
    view = flatten(image, straight_fit(4.0, left=-40.0), Rect(0.0, 0.0, 50.0, 40.0), 4.0, DECODE)
    columns = np.flatnonzero(view.inside.any(axis=0))
    assert columns[0] == pytest.approx(40, abs=1)
    assert view.inside[1:-1, 42:].all()
    assert view.clipped[view.inside].all()
    assert not view.clipped[~view.inside].any()


def test_wholly_outside_the_photo() -> None:
    """A rectangle nowhere in the photo comes back empty, at its proper size."""
    image = photo_of(np.full((100, 100, 3), 90, dtype=np.uint8))
    view = flatten(image, straight_fit(4.0), Rect(500.0, 500.0, 20.0, 10.0), 2.0, DECODE)
    assert view.values.shape == (20, 40, 3)
    assert not view.inside.any()
    assert not view.clipped.any()


@pytest.mark.parametrize(("code", "clipped"), [(255, True), (253, True), (250, False)])
def test_clipped_is_the_top_of_the_range(code: int, clipped: bool) -> None:
    """A channel at the top codes is clipped, one a few codes lower is not."""
    codes = np.full((60, 80, 3), 100, dtype=np.uint8)
    codes[..., 2] = code
    view = flatten(photo_of(codes), straight_fit(4.0), Rect(2.0, 2.0, 10.0, 8.0), 4.0, DECODE)
    assert view.clipped.all() == clipped
    assert view.clipped.any() == clipped


def test_window_and_places_agree() -> None:
    """A window holds exactly the pixels whose centres lie in its rectangle."""
    image = photo_of(np.full((300, 400, 3), 90, dtype=np.uint8))
    view = flatten(image, straight_fit(4.0), FIELD, 2.0, DECODE)
    part = Rect(20.0, 10.0, 7.0, 4.0)
    inside = np.zeros(view.inside.shape, dtype=bool)
    inside[view.window(part)] = True
    x, y = np.moveaxis(places_of(view), -1, 0)
    expected = (x > part.x) & (x < part.right) & (y > part.y) & (y < part.bottom)
    np.testing.assert_array_equal(inside, expected)
    rows, columns = view.window(Rect(-100.0, -100.0, 20.0, 20.0))
    assert rows.start == rows.stop
    assert columns.start == columns.stop


def test_places_follow_the_perspective() -> None:
    """A gradient photo seen at a slant shows at each place the light the homography says is there."""
    x = np.arange(800) / 800
    linear = np.broadcast_to(0.1 + 0.6 * x, (600, 800))
    table = np.linspace(0, 1, 65536, dtype=np.float32)
    codes = np.rint(np.repeat(linear[..., None], 3, axis=2) * 65535).astype(np.uint16)
    fit = tilted_fit()
    view = flatten(photo_of(codes, decode=table), fit, FIELD, 2.0, table)
    expected = 0.1 + 0.6 * fit.pixels(places_of(view))[..., 0] / 800
    np.testing.assert_allclose(view.values[..., 0], expected, atol=3e-4)


def test_small_steps() -> None:
    """Shrinking by one is no change; grey, mean, matrix and limits do what they say on known pixels."""
    rgb = np.random.default_rng(8).random((6, 8, 3)).astype(np.float32)
    assert shrink(rgb, 1.0) is rgb
    assert shrink(rgb, 2.0).shape == (3, 4, 3)
    np.testing.assert_allclose(channel_mean(rgb), rgb.mean(axis=-1), rtol=1e-5)
    matrix = np.array([[0.9, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, -0.1, 1.1]])
    np.testing.assert_allclose(recolour(rgb, matrix), rgb @ matrix.T, atol=1e-6)
    limits = np.array([0.9, 2.0, 0.5])
    np.testing.assert_array_equal(any_channel_at_least(rgb, limits), (rgb >= limits).any(axis=-1))
    np.testing.assert_array_equal(any_channel_at_least(rgb, np.array(0.8)), (rgb >= 0.8).any(axis=-1))
    grey = np.full((4, 4, 3), 77, dtype=np.uint8)
    assert (grey_of(grey) == 77).all()
    assert (grey_of(grey.astype(np.uint16) * 256) == 77).all()
    moved = warp(rgb[..., 0], np.array([[1.0, 0.0, 100.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), (8, 6), outside=0.25)
    assert (moved == 0.25).all()


def test_photo_gives_linear_windows() -> None:
    """A window of a photo in linear light is the decoded codes, and its scale is decoded over full width."""
    codes = np.random.default_rng(9).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    image = photo_of(codes, full_size=(120, 80))
    np.testing.assert_array_equal(image.linear(10, 5, 30, 25), DECODE[codes[5:25, 10:30]])
    assert image.size == (60, 40)
    assert image.scale == 0.5


@pytest.mark.parametrize(
    ("encoded", "decode", "matrix"),
    [
        (np.zeros((4, 4, 3)), DECODE, np.eye(3)),
        (np.zeros((4, 4), np.uint8), DECODE, np.eye(3)),
        (np.zeros((4, 4, 4), np.uint8), DECODE, np.eye(3)),
        (np.zeros((4, 4, 3), np.uint8), DEEP, np.eye(3)),
        (np.zeros((4, 4, 3), np.uint8), DECODE.astype(float), np.eye(3)),
        (np.zeros((4, 4, 3), np.uint8), DECODE, np.eye(4)),
    ],
)
def test_photos_that_do_not_fit(encoded: np.ndarray, decode: np.ndarray, matrix: np.ndarray) -> None:
    """A photo whose pixels, table or matrix do not fit each other is refused when it is built."""
    with pytest.raises(ValueError, match=r"photo|table|matrix"):
        LinearImage(encoded, decode, matrix, photo_of(np.zeros((2, 2, 3), np.uint8)).info)


@pytest.mark.parametrize("orientation", range(10))
def test_orientation_table(orientation: int) -> None:
    """Each EXIF orientation (CIPA DC-008, tag 274) turns stored rows and columns into upright ones."""
    stored = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
    upright = {
        2: stored[:, ::-1],
        3: stored[::-1, ::-1],
        4: stored[::-1],
        5: stored.transpose(1, 0, 2),
        6: stored[::-1].transpose(1, 0, 2),
        7: stored[::-1, ::-1].transpose(1, 0, 2),
        8: stored[:, ::-1].transpose(1, 0, 2),
    }.get(orientation, stored)
    turned = turn_upright(stored, orientation)
    np.testing.assert_array_equal(turned, upright)
    assert turned.flags.c_contiguous


@pytest.mark.parametrize("data", [b"no picture at all", b""])
def test_what_is_no_picture_decodes_to_nothing(data: bytes) -> None:
    """Bytes that are no picture come back as None, without a word on stderr."""
    assert decode_16bit(data) is None
