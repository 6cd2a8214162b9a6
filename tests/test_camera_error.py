"""What a camera that does not see as eyes do does to a colour's doubt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishlab.colorimetry.estimate import MATRIX_ERRORS, PRINT_AGAINST_WOOD, WOOD_ALONE, matrix_effects
from finishlab.colorimetry.spaces import lab_to_rgb, rgb_to_lab

WOOD = np.array([56.0, 7.0, 18.0])


@given(st.floats(0.01, 0.95))
@settings(max_examples=25)
def test_no_error_of_the_matrix_moves_a_grey(level: float) -> None:
    """The errors keep white: each row of each sums to 0, and greys of any lightness stay."""
    np.testing.assert_allclose(MATRIX_ERRORS.sum(axis=2), 0.0, atol=1e-12)
    np.testing.assert_allclose(matrix_effects(np.full(3, level)), 0.0, atol=1e-6)


def test_effects_are_derivatives() -> None:
    """The effect of an error is the change of CIELAB per unit of it, within 1 %."""
    rgb = lab_to_rgb(WOOD)
    moved = [(rgb_to_lab(rgb + 1e-4 * error @ rgb) - WOOD) / 1e-4 for error in MATRIX_ERRORS]
    np.testing.assert_allclose(matrix_effects(rgb), moved, rtol=0.01, atol=0.01)


def test_a_more_colourful_wood_is_moved_more() -> None:
    """Twice the chroma at one lightness and hue is moved 1.5 to 2.5 times as far, so only like colours cancel."""
    pale, rich = (np.linalg.norm(matrix_effects(lab_to_rgb(WOOD * [1, by, by]))) for by in (1, 2))
    assert 1.5 < rich / pale < 2.5


@pytest.mark.parametrize("covariance", [WOOD_ALONE, PRINT_AGAINST_WOOD], ids=["wood", "print"])
def test_what_is_left_is_a_covariance(covariance: np.ndarray) -> None:
    """What the matrix leaves is symmetric, positive definite, least in lightness; a print has more than a wood."""
    np.testing.assert_array_equal(covariance, covariance.T)
    assert np.linalg.eigvalsh(covariance).min() > 0
    assert covariance[0, 0] < 0.1 * covariance[1, 1]
    assert (np.linalg.eigvalsh(PRINT_AGAINST_WOOD - WOOD_ALONE) > 0).all()
