"""Pairs at the least cost, against a public library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from finishlab.colorimetry.delta_e import cheapest_pairs, delta_e_00


@given(st.integers(1, 12), st.integers(0, 2**32 - 1), st.booleans())
def test_costs_as_little_as_a_public_library_finds(size: int, seed: int, whole: bool) -> None:
    """On costs of any size, also with many ties and below 0, rows and columns pair one to one at SciPy's least cost."""
    cost = np.random.default_rng(seed).normal(0, 3, (size, size))
    cost = np.round(cost) if whole else cost
    found = cheapest_pairs(cost)
    assert sorted(found.tolist()) == list(range(size))
    assert cost[np.arange(size), found].sum() == pytest.approx(cost[linear_sum_assignment(cost)].sum(), abs=1e-9)


@pytest.mark.parametrize("size", [32, 64])
def test_colours_of_surfaces_pair_as_a_public_library_pairs_them(size: int) -> None:
    """So they do for CIEDE2000 between two woods' colours, one side split in equal shares."""
    rng = np.random.default_rng(size)
    for _ in range(10):
        one = np.repeat(rng.normal((56, 8, 22), 2.0, (size // 2, 3)), 2, axis=0)
        cost = delta_e_00(one[:, None], rng.normal((58, 8, 24), 3.0, (size, 3))[None])
        found = cost[np.arange(size), cheapest_pairs(cost)].sum()
        assert found == pytest.approx(cost[linear_sum_assignment(cost)].sum(), abs=1e-9)
