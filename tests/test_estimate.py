"""Colours with their doubt: what is their own and what they share."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.colorimetry.estimate import LabEstimate, SharedEffect, draw

WOOD = np.array([58.0, 8.0, 24.0])
number = st.floats(-3, 3, allow_nan=False)
vectors = st.tuples(number, number, number)
effects = st.builds(
    SharedEffect, st.sampled_from(["ink", "saturation"]), st.sampled_from(["strip:1", "camera:x"]), vectors
)


@given(vectors, vectors, st.lists(effects, max_size=4))
def test_stored_form_comes_back(one: tuple[float, ...], two: tuple[float, ...], shared: list[SharedEffect]) -> None:
    """An estimate written as JSON and read again is the same estimate."""
    estimate = LabEstimate.build(WOOD, np.outer(one, one) + np.outer(two, two), shared)
    assert LabEstimate.from_dict(json.loads(json.dumps(estimate.as_dict()))) == estimate


def test_total_covariance_adds_what_is_shared() -> None:
    """The doubt of the absolute colour is its own plus the shared effects'; the standard error leaves them out."""
    estimate = LabEstimate.build(WOOD, np.diag([0.04, 0.09, 0.16]), [SharedEffect("ink", "strip:1", (1.0, 0.5, 0.0))])
    assert estimate.standard_error == pytest.approx((0.2, 0.3, 0.4))
    expected = [[1.04, 0.5, 0.0], [0.5, 0.34, 0.0], [0.0, 0.0, 0.16]]
    np.testing.assert_allclose(estimate.total_covariance(), expected)


@pytest.mark.parametrize(
    ("lab", "own"),
    [
        ((math.nan, 0.0, 0.0), np.eye(3)),
        ((50.0, 0.0, 0.0), np.diag([1.0, math.inf, 1.0])),
        ((50.0, 0.0, 0.0), np.diag([1.0, -0.5, 1.0])),
    ],
)
def test_what_is_no_estimate_is_refused(lab: tuple[float, ...], own: np.ndarray) -> None:
    """A colour that is no number, or a covariance with a negative variance, cannot be built."""
    with pytest.raises(ValueError, match="must be"):
        LabEstimate.build(np.array(lab), own)


def test_covariance_must_be_symmetric() -> None:
    """A covariance given row by row is refused when its halves disagree."""
    with pytest.raises(ValueError, match="symmetric"):
        LabEstimate((50.0, 0.0, 0.0), ((1.0, 0.5, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))


def test_draws_have_the_stated_spread() -> None:
    """Drawn colours have the mean and the total covariance of their estimate, within sampling error."""
    own = np.array([[0.5, 0.2, 0.0], [0.2, 0.3, 0.1], [0.0, 0.1, 0.4]])
    estimate = LabEstimate.build(WOOD, own, [SharedEffect("saturation", "camera:x", (0.0, 0.8, 1.2))])
    drawn = draw([estimate], 100_000, np.random.default_rng(0))[0]
    np.testing.assert_allclose(drawn.mean(axis=0), WOOD, atol=0.02)
    np.testing.assert_allclose(np.cov(drawn.T), estimate.total_covariance(), atol=0.03)


def test_shared_unknowns_are_drawn_once() -> None:
    """With the same name and scope two colours move as one; with another scope they move apart."""
    nothing = np.zeros((3, 3))
    same = SharedEffect("ink", "strip:1", (1.0, 0.0, 0.0))
    other = SharedEffect("ink", "strip:2", (1.0, 0.0, 0.0))
    estimates = [LabEstimate.build(WOOD, nothing, [effect]) for effect in (same, same, other)]
    one, two, apart = draw(estimates, 5000, np.random.default_rng(0))
    np.testing.assert_array_equal(one, two)
    assert abs(np.corrcoef(one[:, 0], apart[:, 0])[0, 1]) < 0.05


def test_a_colour_is_no_woods_unless_said() -> None:
    """Only what is measured of a wood has a wood's own error: a colour made without a word is of print or paint."""
    assert not LabEstimate((50.0, 0.0, 0.0), ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))).wood
