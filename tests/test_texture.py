"""Grain, its direction and blotch are read off a field as they are, and crossed grain is doubted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render.texture import Texture as Look
from rendered import PLAIN, corrected_field, photo_of, rendered, scene_with, streaks, streaky, view_of, with_board

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.sampling import texture_of
from finishlab.imaging.strip import STRIP, FieldName
from finishlab.measure.flow import measure
from finishlab.measure.results import Measurement

GREY = 0.25


def field_of(light: np.ndarray, px_per_mm: float = 4.0) -> CorrectedImage:
    """Return a grey field of 25 % reflectance whose light is multiplied by `light`."""
    lightness = float(lightness_of_reflectance(GREY))
    return corrected_field((lightness, 0.0, 0.0), px_per_mm=px_per_mm, grain=light)


def grid(px_per_mm: float = 4.0) -> tuple[np.ndarray, np.ndarray]:
    """Return x and y in millimetres of a field's pixels."""
    rect = STRIP.fields["board"]
    rows, columns = np.mgrid[0 : round(rect.height * px_per_mm), 0 : round(rect.width * px_per_mm)]
    return (columns + 0.5) / px_per_mm, (rows + 0.5) / px_per_mm


def everywhere(image: CorrectedImage) -> np.ndarray:
    """Return a mask of the whole field."""
    return np.ones(image.inside.shape, dtype=bool)


def lines(angle: float, period: float, depth: float) -> np.ndarray:
    """Return straight lines at an angle (degrees clockwise from x), as light about 1."""
    x, y = grid()
    turn = np.deg2rad(angle)
    return np.asarray(1.0 + depth * np.sin(2 * np.pi * (-x * np.sin(turn) + y * np.cos(turn)) / period))


@settings(max_examples=25)
@given(angle=st.floats(-89.0, 90.0), period=st.floats(3.0, 7.0))
def test_direction_of_lines(angle: float, period: float) -> None:
    """Straight lines 3 mm or more apart are found within 2 degrees at any angle, and are nearly fully coherent."""
    image = field_of(lines(angle, period, 0.06))
    found = texture_of(image, everywhere(image))
    assert found is not None
    assert found.direction_deg is not None
    assert abs((found.direction_deg - angle + 90) % 180 - 90) < 2.0
    assert -90 < found.direction_deg <= 90
    assert found.coherence > 0.9


def test_contrast_of_lines() -> None:
    """Lines of 4 mm that swing reflectance by 6 % have the contrast that CIELAB's formula gives, within 6 %.

    dL* = 116/3 Y^(1/3) dY/Y for Y above 0.009 (ISO/CIE 11664-4); a sine's deviation is its amplitude over sqrt(2).
    Half-millimetre squares keep sinc(1/8) = 97.5 % of it.
    """
    image = field_of(lines(0.0, 4.0, 0.06))
    found = texture_of(image, everywhere(image))
    assert found is not None
    expected = 116 / 3 * GREY ** (1 / 3) * 0.06 / np.sqrt(2) * np.sinc(1 / 8)
    assert found.contrast == pytest.approx(expected, rel=0.06)
    assert found.blotch < 0.15 * found.contrast


def test_blotch_is_what_is_wider_than_eight_millimetres() -> None:
    """Waves of 60 mm are blotch and hardly grain: their deviation by the formula within 10 %."""
    image = field_of(lines(90.0, 60.0, 0.06))
    found = texture_of(image, everywhere(image))
    assert found is not None
    expected = 116 / 3 * GREY ** (1 / 3) * 0.06 / np.sqrt(2)
    assert found.blotch == pytest.approx(expected, rel=0.10)
    assert found.contrast < 0.2 * found.blotch


@pytest.mark.parametrize("seed", range(6))
def test_no_direction_without_grain(seed: int) -> None:
    """Even speckle has contrast but no direction, and plain noise as a camera makes it has neither."""
    shape = grid()[0].shape
    speckle = field_of(1.0 + 0.05 * streaky(shape, (4.0, 4.0), seed))
    found = texture_of(speckle, everywhere(speckle))
    assert found is not None
    assert found.direction_deg is None
    assert found.contrast > 0.5
    noisy = field_of(1.0 + 0.01 * np.random.default_rng(seed).standard_normal(shape))
    found = texture_of(noisy, everywhere(noisy))
    assert found is not None
    assert found.direction_deg is None
    assert found.contrast < 0.3


def test_only_the_mask_counts() -> None:
    """A dark block that is not in the mask changes neither contrast, blotch nor direction by much."""
    image = corrected_field((55.0, 9.0, 22.0), px_per_mm=4.0, grain=streaks(3, 40.0, 1.5, px_per_mm=4.0)[0])
    mask = everywhere(image)
    mask[:, 200:320] = False
    dark = replace(image, rgb=np.where(mask[..., None], image.rgb, np.float32(0.02)))
    clean, masked = texture_of(image, mask), texture_of(dark, mask)
    assert clean is not None
    assert clean == masked


def test_too_little_is_none() -> None:
    """Less than half a square centimetre has no texture to tell."""
    image = corrected_field((55.0, 9.0, 22.0), px_per_mm=4.0)
    mask = np.zeros(image.inside.shape, dtype=bool)
    mask[:28, :28] = True
    assert texture_of(image, mask) is None


def shot(board_angle: float, rotation: float = 0.0) -> Measurement:
    """Return a rendered pair: the board's grain at an angle, the floor's along the strip."""
    scene = with_board(
        scene_with(view=view_of(1200, 900, 0.6, rotation=rotation)),
        texture=Look(direction=board_angle, grain=0.3, ring_mm=4.0, cathedral=0.4),
    )
    return measure(photo_of(rendered(scene).pixels), ("board", "floor")).measurement


@pytest.mark.parametrize(("angle", "rotation"), [(0.0, 0.0), (90.0, 20.0), (20.0, 90.0), (-50.0, 0.0)])
def test_direction_in_a_rendered_photo(angle: float, rotation: float) -> None:
    """The grain's angle to the strip and in the photo are the rendered ones within 6 degrees."""
    texture = shot(angle, rotation).fields["board"].texture
    assert texture is not None
    assert texture.to_strip_deg is not None
    assert texture.in_photo_deg is not None
    assert abs((texture.to_strip_deg - angle + 90) % 180 - 90) < 6.0
    assert abs((texture.in_photo_deg - angle - rotation + 90) % 180 - 90) < 6.0


@pytest.mark.parametrize(("angle", "crossed"), [(0.0, False), (15.0, False), (60.0, True), (90.0, True)])
def test_crossed_grain_is_doubted(angle: float, crossed: bool) -> None:
    """Grain that runs more than 30 degrees apart is doubted at both fields, with the angle; less is not."""
    found = shot(angle)
    names: tuple[FieldName, FieldName] = ("board", "floor")
    for name in names:
        doubts = [d for d in found.fields[name].doubts if d.code == "grain-directions-differ"]
        assert bool(doubts) == crossed
        if crossed:
            assert float(doubts[0].figures["angle"]) == pytest.approx(angle, abs=8)


def test_a_plain_board_has_no_direction_to_cross() -> None:
    """Without grain on the board nothing is crossed, and its contrast is small."""
    scene = with_board(scene_with(view=view_of(1200, 900, 0.6)), texture=PLAIN)
    found = measure(photo_of(rendered(scene).pixels), ("board", "floor")).measurement.fields
    texture = found["board"].texture
    assert texture is not None
    assert texture.to_strip_deg is None
    assert texture.in_photo_deg is None
    assert texture.contrast < 0.5
    assert all(d.code != "grain-directions-differ" for f in found.values() for d in f.doubts)
