"""The interval of a difference follows the directions of the errors: coverage, and when there may be no difference."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from finishlab.colorimetry.delta_e import Formula, delta_e_00, metric_00
from finishlab.colorimetry.difference import difference_intervals

BASES = {"wood": (58.0, 8.0, 24.0), "grey": (60.0, 0.3, 0.5), "dark": (25.0, 6.0, 9.0)}
WORLDS = {"even": np.eye(3), "lightness": np.diag((2.5, 0.3, 0.3)) ** 2 / 2.14, "flat": np.diag((1.4, 1.4, 0.16))}
PAIRS = 1500


def at_distance(lab: np.ndarray, direction: np.ndarray, distance: float) -> np.ndarray:
    """Colours at a CIEDE2000 `distance` from `lab` along `direction`."""
    scale = np.full((len(lab), 1), 1.0 if distance else 0.0)
    for _ in range(30 if distance else 0):
        scale *= distance / delta_e_00(lab, lab + direction * scale)[:, None]
    return np.asarray(lab + direction * scale)


def held(base: str, world: str, along: str, true: float) -> tuple[float, float]:
    """Share of intervals that hold the truth, and their median width: errors normal, of the difference 0.9 a side."""
    rng = np.random.default_rng(13)
    one = np.tile(BASES[base], (PAIRS, 1))
    covariance = WORLDS[world] * 0.9**2
    root = np.linalg.cholesky(metric_00(BASES[base])).T
    axes = np.linalg.solve(root, np.linalg.eigh(root @ covariance @ root.T)[1])
    direction = rng.normal(size=(PAIRS, 3))
    if along != "any":
        direction = np.sign(direction[:, :1]) * axes[:, -1 if along == "widest" else 0]
    two = at_distance(one, direction, true)
    joint = np.kron(np.eye(2), covariance / 2)
    errors = rng.standard_normal((PAIRS, 6)) @ np.linalg.cholesky(joint).T
    _, low, high = difference_intervals(one + errors[:, :3], two + errors[:, 3:], joint)
    return float(np.mean((low <= true) & (true <= high))), float(np.median(high - low))


@pytest.mark.parametrize("along", ["any", "widest", "narrowest"])
@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("base", BASES)
def test_interval_holds_the_truth_in_every_direction(base: str, world: str, along: str) -> None:
    """With errors even or of one or two directions, truths along or across them, 93-97.5 % hold, near none up to 99."""
    for true in (0.0, 0.5, 2.0, 6.0):
        share, _ = held(base, world, along, true)
        assert 0.93 <= share <= (0.975 if world == "even" or true > 2.0 else 0.99), true


def test_a_difference_across_the_errors_is_known_as_well_as_it_is() -> None:
    """With errors of lightness alone a difference of 6 in hue is known to about 4 standard errors of that direction."""
    _, width = held("wood", "lightness", "narrowest", 6.0)
    _, even = held("wood", "even", "any", 6.0)
    assert width < 0.6 * even


@given(
    st.tuples(*(st.floats(-6, 6),) * 3),
    st.tuples(*(st.floats(0.05, 3),) * 3),
    st.sampled_from(list(BASES.values())),
)
def test_none_is_left_open_exactly_where_the_covariance_does(
    step: tuple[float, ...], errors: tuple[float, ...], base: tuple[float, ...]
) -> None:
    """The interval starts at 0 if and only if the 95 % ellipsoid of (L*, a*, b*), by SciPy's chi-square, holds 0."""
    joint = np.zeros((6, 6))
    joint[:3, :3] = np.diag(np.square(errors))
    distance2 = float(np.sum(np.square(np.divide(step, errors))))
    edge = float(chi2.ppf(0.95, 3))
    if abs(distance2 - edge) > 1e-3 * edge:
        _, low, _ = difference_intervals(np.add(base, step), base, joint)
        assert (float(low) == 0.0) == (distance2 < edge)


@given(
    st.tuples(*(st.floats(-6, 6),) * 3),
    st.tuples(*(st.floats(0.05, 3),) * 3),
    st.sampled_from([0.25, 2.0, 8.0]),
)
def test_an_interval_is_counted_in_the_formulas_own_units(
    step: tuple[float, ...], errors: tuple[float, ...], factor: float
) -> None:
    """With all three parametric factors so many times larger, value and both ends are as many times smaller."""
    joint = np.zeros((6, 6))
    joint[:3, :3] = np.diag(np.square(errors))
    one, two = np.add(BASES["wood"], step), np.array(BASES["wood"])
    plain = difference_intervals(one, two, joint)
    scaled = difference_intervals(one, two, joint, Formula(lightness=factor, chroma=factor, hue=factor))
    np.testing.assert_allclose(np.array(scaled) * factor, plain, rtol=1e-5, atol=1e-5)
