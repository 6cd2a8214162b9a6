"""The phone's boost of saturation and its error of white, taken out of greys and surfaces."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render.camera import colour_matrix, saturate
from render.printers import Printer

from finishlab.colorimetry.spaces import linear_to_srgb, srgb_to_linear
from finishlab.imaging.correction import PatchReadings, fit_correction
from finishlab.imaging.processing import USUAL_MATRIX, unboosted, unboosted_readings, white_matrix
from finishlab.imaging.strip import STRIP
from finishlab.photos.profiles import named_encoding

PLACES = np.array([patch.sample.centre for patch in STRIP.patches])
GREYS = Printer().reflectance(np.array(STRIP.greys))[[patch.level for patch in STRIP.patches]]
WOODS = np.array([[0.30, 0.17, 0.09], [0.12, 0.07, 0.05], [0.55, 0.42, 0.28], [0.25, 0.24, 0.22]])
MIDDLE = np.array([STRIP.width / 2, STRIP.height / 2])
FILTER_ARRAYS = ("Nikon 5100 (NPL)", "Canon PowerShot S90", "Sony ILCE-7RM2")
TOO_RED = np.array([1.2, 1.0, 0.85])
"""What a camera may get wrong of white, on its own channels."""


def taken(reflectance: np.ndarray, white: np.ndarray, boost: float = 1.0) -> np.ndarray:
    """Return the linear values of a file by a camera with the usual matrix, which got white wrong."""
    raw = np.linalg.solve(USUAL_MATRIX, np.atleast_2d(reflectance).T).T
    rgb = 0.7 * (raw * white) @ USUAL_MATRIX.T
    return np.asarray(srgb_to_linear(saturate(linear_to_srgb(rgb), boost)))


def greys_taken(white: np.ndarray, boost: float = 1.0) -> PatchReadings:
    """Return the greys of a strip as that camera takes them."""
    values = taken(np.repeat(GREYS[:, None], 3, axis=1), white, boost)
    return PatchReadings(PLACES, values, np.ones(len(GREYS), dtype=bool))


@given(st.lists(st.floats(0.02, 0.8), min_size=3, max_size=3), st.floats(0.9, 1.25))
@settings(max_examples=50)
def test_a_boost_is_taken_out(values: list[float], boost: float) -> None:
    """Encoded values spread about their luma are drawn together again."""
    true = np.array(values)
    spread = saturate(linear_to_srgb(true), boost)
    if spread.min() > 0.01:
        np.testing.assert_allclose(unboosted(srgb_to_linear(spread), boost), true, rtol=1e-6)


@given(st.floats(0.001, 1.0), st.floats(0.8, 1.3))
@settings(max_examples=25)
def test_greys_keep_their_value(level: float, boost: float) -> None:
    """A grey without a cast keeps its value whatever the boost, and no boost changes no colour."""
    np.testing.assert_allclose(unboosted(np.full(3, level), boost), level, rtol=1e-3)
    np.testing.assert_allclose(unboosted(WOODS, 1.0), WOODS, rtol=1e-9)


def test_usual_matrix_is_the_mean_of_three_cameras() -> None:
    """The usual matrix is the mean of three measured cameras' under D65 and A within 0.001, and keeps white."""
    mean = np.mean([colour_matrix(camera, lamp) for camera in FILTER_ARRAYS for lamp in ("D65", "A")], axis=0)
    np.testing.assert_allclose(USUAL_MATRIX, mean, atol=1e-3)
    np.testing.assert_allclose(USUAL_MATRIX.sum(axis=1), 1.0, atol=1e-9)


@pytest.mark.parametrize("space", ["sRGB", "Display P3"])
def test_without_a_cast_only_the_primaries_change(space: str) -> None:
    """Greys without a cast leave the file's own matrix to sRGB's primaries; any cast keeps white white."""
    to_srgb = np.eye(3) if space == "sRGB" else named_encoding("Display P3").to_srgb
    plain = fit_correction(greys_taken(np.ones(3)), GREYS)
    np.testing.assert_allclose(white_matrix(plain, to_srgb), to_srgb, atol=2e-3)
    cast = fit_correction(greys_taken(TOO_RED), GREYS)
    np.testing.assert_allclose(white_matrix(cast, to_srgb).sum(axis=1), 1.0, atol=1e-6)


def test_white_got_wrong_on_the_sensor_is_put_right() -> None:
    """A usual camera 20 % off in white gives woods within 1 %; factors on the file's channels leave more than 4 %."""
    found, scaled = [], []
    correction = fit_correction(greys_taken(TOO_RED), GREYS)
    for wood in WOODS:
        reflectance = correction.reflectance(taken(wood, TOO_RED)[0], MIDDLE)
        found.append(white_matrix(correction, np.eye(3)) @ reflectance)
        scaled.append(reflectance)
    np.testing.assert_allclose(found, WOODS, rtol=0.01)
    assert np.abs(np.array(scaled) / WOODS - 1).max() > 0.04


def test_boost_and_cast_come_out_together() -> None:
    """A boost on codes that hold a cast is taken out of greys and surface before the fit: woods within 1 %."""
    boost = 1.15
    correction = fit_correction(unboosted_readings(greys_taken(TOO_RED, boost), boost), GREYS)
    for wood in WOODS:
        value = unboosted(taken(wood, TOO_RED, boost)[0], boost)
        found = white_matrix(correction, np.eye(3)) @ correction.reflectance(value, MIDDLE)
        np.testing.assert_allclose(found, wood, rtol=0.01)
