"""How errors move colours and their differences, down to what each line of the figures does."""

from __future__ import annotations

import math
from dataclasses import replace

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.colorimetry.delta_e import Formula
from finishlab.colorimetry.difference import DeltaE, describe, difference_intervals, joint_covariance, signed_difference
from finishlab.colorimetry.estimate import (
    MATRIX_ERRORS,
    PRINT_AGAINST_WOOD,
    WOOD_ALONE,
    ColourTable,
    LabEstimate,
    SharedEffect,
    less_wood,
    scaled,
    scaled_table,
)

Triple = tuple[float, float, float]
WOODS = ((38.0, 12.0, 20.0), (52.0, 14.0, 30.0), (58.0, 8.0, 24.0), (70.0, 5.0, 22.0))


@pytest.mark.parametrize("constant", [MATRIX_ERRORS, WOOD_ALONE, PRINT_AGAINST_WOOD])
def test_what_is_believed_cannot_be_written_over(constant: np.ndarray) -> None:
    """The beliefs all measurements share are read-only."""
    with pytest.raises(ValueError, match="read-only"):
        constant[0] = 0.0


@pytest.mark.parametrize("constant", [WOOD_ALONE, PRINT_AGAINST_WOOD])
def test_a_believed_covariance_is_one(constant: np.ndarray) -> None:
    """What is believed of woods and prints is symmetric and positive: an error in every direction."""
    np.testing.assert_array_equal(constant, constant.T)
    assert np.linalg.eigvalsh(constant).min() > 0.0


FACTORS = st.tuples(*[st.floats(0.25, 4.0)] * 3)


@given(FACTORS, st.booleans())
def test_grain_is_stretched_as_its_directions_are(factors: tuple[float, float, float], wood: bool) -> None:
    """Grain times a factor a direction: each covariance times both factors; what a wood has alone stays as it is."""
    own = np.array([[0.4, 0.1, -0.05], [0.1, 0.3, 0.02], [-0.05, 0.02, 0.25]])
    whole = own + WOOD_ALONE if wood else own
    effect = SharedEffect("black-ink", "strip:7", (1.0, 0.5, -0.5))
    estimate = LabEstimate.build(np.array(WOODS[1]), whole, [effect], wood=wood)
    expected = own * np.outer(factors, factors) + (WOOD_ALONE if wood else 0.0)

    alone = scaled(estimate, {"grain": np.array(factors)})
    (together,) = scaled_table(ColourTable.of([estimate]), {"grain": np.array(factors)}).own

    np.testing.assert_allclose(np.asarray(alone.own), expected, atol=1e-9)
    np.testing.assert_allclose(together, expected, atol=1e-9)
    assert alone.shared == estimate.shared


def test_a_wood_alone_is_taken_off_and_nothing_below_none() -> None:
    """Taking a wood's own error off a covariance that has it leaves the rest; where there was less, nothing is left."""
    rest = np.diag([0.3, 0.2, 0.1])
    np.testing.assert_allclose(less_wood(rest + WOOD_ALONE), rest, atol=1e-12)
    assert np.linalg.eigvalsh(less_wood(0.5 * WOOD_ALONE)).min() >= -1e-12


@pytest.mark.parametrize(
    ("formula", "library"),
    [
        (Formula("CIEDE2000"), lambda one, two: colour.delta_E(one, two, method="CIE 2000")),
        (Formula("CMC", 2.0, 1.0), lambda one, two: colour.delta_E(one, two, method="CMC", l=2, c=1)),
    ],
)
def test_slopes_are_those_of_a_general_library(formula: Formula, library: object) -> None:
    """A difference moves with each of the six figures as colour-science's own formula does."""
    assert callable(library)
    one, two, step = np.array(WOODS[1]), np.array(WOODS[3]), 1e-4
    expected = [(library(one + e, two) - library(one - e, two)) / (2 * step) for e in np.eye(3) * step]
    expected += [(library(one, two + e) - library(one, two - e)) / (2 * step) for e in np.eye(3) * step]
    np.testing.assert_allclose(formula.slopes(one, two), expected, rtol=1e-3, atol=1e-4)


@pytest.mark.parametrize(
    ("one", "two"),
    [((50, 40, 40), (60, 25, 60)), ((40, 20, 30), (62, 8, 35)), ((60, 5, 50), (60, 30, 20))],
)
def test_a_large_difference_is_as_sure_as_drawing_says(one: tuple[float, ...], two: tuple[float, ...]) -> None:
    """Far apart, an interval is as wide as differences drawn at random and told by colour-science, to 3 %."""
    covariance = np.diag([0.25, 4.0, 4.0])
    estimates = [LabEstimate.build(np.array(lab, dtype=float), covariance, []) for lab in (one, two)]
    joint = joint_covariance(estimates[0], estimates[1], None)
    _, low, high = difference_intervals(estimates[0].lab, estimates[1].lab, joint)
    rng = np.random.default_rng(5)
    drawn = [rng.multivariate_normal(lab, covariance, 40_000) for lab in (one, two)]
    spread = colour.delta_E(drawn[0], drawn[1], method="CIE 2000").std()
    assert float(high - low) / (2 * 1.96) == pytest.approx(spread, rel=0.03)


def test_a_signed_difference_stands_at_the_middle() -> None:
    """Board minus floor in every direction, with the colour halfway between them, by hand."""
    found = signed_difference((50.0, 13.0, 34.0), (56.0, 5.0, 12.0))
    assert found.middle == (53.0, 9.0, 23.0)
    assert (found.dL, found.da, found.db) == (-6.0, 8.0, 22.0)
    assert found.dC == pytest.approx(math.hypot(13.0, 34.0) - 13.0)


@pytest.mark.parametrize(
    ("board", "words"),
    [
        ((57.2, 8.0, 24.0), "a touch darker than the floor"),
        ((58.8, 8.0, 24.0), "a touch lighter than the floor"),
        ((58.0, 7.0, 24.0), "a touch greener than the floor"),
        ((58.0, 9.0, 24.0), "a touch pinker than the floor"),
        ((58.0, 8.0, 22.5), "a touch bluer than the floor"),
        ((58.0, 8.0, 25.5), "a touch more golden than the floor"),
        ((58.0, 8.0, 24.2), "much like the floor"),
    ],
)
def test_a_small_difference_is_named_the_right_way(board: tuple[float, float, float], words: str) -> None:
    """Each direction alone, just large enough to be named, gets its own word and not its opposite."""
    assert describe(signed_difference(board, (58.0, 8.0, 24.0))) == words
    assert describe(signed_difference(board, (58.0, 8.0, 24.0)), DeltaE(0.7, 0.2, 1.2)).startswith("hardly any")


@pytest.mark.parametrize(
    "own",
    [
        ((10.0, 0.005, 0.0), (0.0, 10.0, 0.0), (0.0, 0.0, 10.0)),  # not symmetric, by more than rounding of its size
        ((1.0, 0.0, 0.5), (0.0, 1.0, 0.0), (0.5, 0.0, 0.2)),  # not positive, in the last pivot only
        ((1.0, 0.0, 0.0), (0.0, 1.0, 0.5), (0.0, 0.5, 0.2)),
        ((1.0, 1.1, 0.0), (1.1, 1.0, 0.0), (0.0, 0.0, 1.0)),
    ],
)
def test_what_is_no_covariance_is_refused(own: tuple[Triple, Triple, Triple]) -> None:
    """A covariance that fails in one pivot, or is uneven for its size, is refused."""
    with pytest.raises(ValueError, match="covariance"):
        replace(LabEstimate.build(np.array(WOODS[0]), np.eye(3)), own=own)


def test_each_effect_is_stretched_by_its_own_source() -> None:
    """Of effects of print and camera in one table, a factor of the print moves the print's alone, as one by one."""
    effects = [
        SharedEffect("black-ink", "strip:7", (1.0, 0.5, -0.5)),
        SharedEffect("saturation", "camera:x", (0.0, 0.5, 0.75)),
    ]
    estimate = LabEstimate.build(np.array(WOODS[1]), np.eye(3), effects)
    found = scaled_table(ColourTable.of([estimate]), {"print": 2.0}).estimate(0)
    assert found.shared == scaled(estimate, {"print": 2.0}).shared
    assert [effect.vector for effect in found.shared] == [(2.0, 1.0, -1.0), (0.0, 0.5, 0.75)]
