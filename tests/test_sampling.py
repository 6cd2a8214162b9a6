"""The mean of a surface, and whether its standard error tells the truth about it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rendered import corrected_field, streaks, window_of

from finishlab.colorimetry.spaces import lab_to_rgb
from finishlab.errors import ExitCode, QualityError
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.sampling import sample
from finishlab.imaging.strip import Rect
from finishlab.imaging.surface import Surface

WOOD = (55.0, 9.0, 22.0)
LIGHT = np.asarray(lab_to_rgb(np.array(WOOD)))


def surface_of(mask: np.ndarray) -> Surface:
    """Return a surface that is sampled where the mask is set."""
    return Surface(mask, mask, np.zeros_like(mask), {})


def whole(image: CorrectedImage) -> Surface:
    """Return the whole field as the surface."""
    return surface_of(np.ones(image.inside.shape, dtype=bool))


@pytest.mark.parametrize("px_per_mm", [1.0, 2.0, 3.3, 5.0])
def test_uniform_surface(px_per_mm: float) -> None:
    """A surface of one colour is that colour exactly, with no doubt about it, sampled about the field's middle."""
    image = corrected_field(WOOD, px_per_mm=px_per_mm)
    found = sample(image, whole(image))
    np.testing.assert_allclose(found.rgb, LIGHT, rtol=1e-6)
    assert np.abs(found.covariance).max() < 1e-12
    assert found.place == pytest.approx(image.rect.centre, abs=0.6)
    np.testing.assert_allclose(found.blocks, np.broadcast_to(LIGHT, found.blocks.shape), rtol=1e-5)
    assert 800 <= len(found.fine) <= 2100


def test_mean_is_that_of_the_mask() -> None:
    """Only what the mask holds counts: the other half may be any colour, and the place is the mask's centre."""
    image = corrected_field(WOOD)
    mask = np.zeros(image.inside.shape, dtype=bool)
    mask[window_of(image, Rect(40.0, -30.0, 60.0, 20.0))] = True
    rgb = np.where(mask[..., None], image.rgb, np.float32(0.9))
    found = sample(replace(image, rgb=rgb), surface_of(mask))
    np.testing.assert_allclose(found.rgb, LIGHT, rtol=1e-6)
    assert found.place == pytest.approx((70.0, -20.0), abs=0.6)


def test_mean_is_a_mean_of_light() -> None:
    """A surface half light and half dark has the mean of their light."""
    image = corrected_field(WOOD)
    rgb = image.rgb.copy()
    rgb[:, ::2] *= 0.4
    found = sample(replace(image, rgb=rgb), whole(image))
    np.testing.assert_allclose(found.rgb, 0.7 * LIGHT, rtol=1e-5)


@pytest.mark.parametrize("upright", [False, True], ids=["along", "across"])
@pytest.mark.parametrize(("along", "across"), [(10.0, 1.0), (25.0, 1.0), (40.0, 0.8)])
def test_standard_error_is_honest(along: float, across: float, upright: bool) -> None:
    """Over 126 streaky fields of known mean, error over standard error has a deviation of 0.7 to 1.3, and no bias.

    Streaks are 2 to 3 mm wide and run along the strip or across it; pixels are far from independent in such fields.
    """
    scores = []
    for light in streaks(11, along, across, depth=0.12, upright=upright, px_per_mm=2.0, fields=(18, 7)):
        image = corrected_field(WOOD, px_per_mm=2.0, grain=light)
        found = sample(image, whole(image))
        scores.append((found.rgb[1] - LIGHT[1]) / np.sqrt(found.covariance[1, 1]))
    assert 0.7 < float(np.std(scores)) < 1.3
    assert abs(float(np.mean(scores))) < 0.35


def test_noise_alone_hardly_matters() -> None:
    """Independent noise of 5 % from pixel to pixel leaves the mean known to 0.1 %."""
    image = corrected_field(WOOD, noise=0.05 * LIGHT[1])
    found = sample(image, whole(image))
    assert np.sqrt(np.diag(found.covariance)).max() < 1e-3 * LIGHT[1]
    assert np.abs(found.rgb - LIGHT).max() < 4e-3 * LIGHT[1]


def test_covariance_is_one() -> None:
    """The covariance is symmetric and positive semi-definite, and streaks of light move the channels together."""
    image = corrected_field(WOOD, grain=streaks(4, 30.0, 1.2)[0])
    covariance = sample(image, whole(image)).covariance
    np.testing.assert_allclose(covariance, covariance.T)
    assert np.linalg.eigvalsh(covariance).min() > -1e-12
    assert covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]) > 0.99


def test_small_surface_is_less_sure() -> None:
    """Of the same streaks a 30 x 20 mm piece gives a wider standard error than the whole field."""
    image = corrected_field(WOOD, grain=streaks(5, 30.0, 1.2)[0])
    mask = np.zeros(image.inside.shape, dtype=bool)
    mask[window_of(image, Rect(80.0, -30.0, 30.0, 20.0))] = True
    part, all_of_it = sample(image, surface_of(mask)), sample(image, whole(image))
    assert part.covariance[1, 1] > 1.5 * all_of_it.covariance[1, 1]
    assert len(part.blocks) >= 3


def test_scattered_rest_still_has_a_doubt() -> None:
    """Where no block is full enough to count, the pixels' own scatter stands in, and it is not small."""
    image = corrected_field(WOOD, grain=streaks(6, 30.0, 1.2)[0])
    mask = np.zeros(image.inside.shape, dtype=bool)
    mask[::2, ::4] = True
    found = sample(image, surface_of(mask))
    assert np.sqrt(found.covariance[1, 1]) > 0.01 * LIGHT[1]
    assert len(found.blocks) >= 3


def test_too_little_is_refused() -> None:
    """Less than two and a half square centimetres is no surface to measure, and that ends with exit code 5."""
    image = corrected_field(WOOD)
    mask = np.zeros(image.inside.shape, dtype=bool)
    mask[window_of(image, Rect(80.0, -30.0, 15.0, 15.0))] = True
    with pytest.raises(QualityError, match=r"2\.2 square centimetres|2\.3 square centimetres") as caught:
        sample(image, surface_of(mask))
    assert caught.value.code == "surface-too-small"
    assert caught.value.exit_code == ExitCode.QUALITY
