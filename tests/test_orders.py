"""Distances, orders and ties of very many boards."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from observed import gather

from finishlab.colorimetry.delta_e import CMC_2_1
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.matching.aims import CONTRAST, MATCH, Aim
from finishlab.matching.joint import JointColours
from finishlab.matching.ranking import Orders, distances_of, rank_colours, ties_of
from finishlab.matching.scatter import FloorSpot, pool_floor

FLOOR = np.array([56.0, 8.0, 22.0])
AIMS = (MATCH, CONTRAST, Aim(limits=("redder",)), Aim(formula=CMC_2_1))


def many(count: int, seed: int = 0) -> JointColours:
    """Boards about a floor, all measured with one camera."""
    rng = np.random.default_rng(seed)

    def colour(lab: np.ndarray) -> LabEstimate:
        shared = SharedEffect("saturation", "camera:x", (0.1, 0.4, 0.8))
        return LabEstimate.build(lab, np.eye(3) * 0.09, [shared])

    return gather([colour(FLOOR + rng.normal(0, 4, 3)) for _ in range(count)], colour(FLOOR))


@pytest.mark.parametrize("aim", AIMS)
def test_figures_of_some_boards_are_those_of_all_at_once(aim: Aim) -> None:
    """Scores, intervals and covariances of boards do not depend on which others they are computed with."""
    colours, some = many(300), np.array([259, 0, 17])
    whole, part = distances_of(colours, aim), distances_of(colours.only(some), aim)
    np.testing.assert_allclose(part.delta_e00, whole.delta_e00[:, some], rtol=1e-12)
    np.testing.assert_allclose(part.score, whole.score[:, some], rtol=1e-12)
    np.testing.assert_allclose(part.covariance, whole.covariance[some], rtol=1e-12)


@given(st.integers(2, 60), st.integers(0, 5), st.sampled_from(AIMS))
def test_neighbours_whose_order_stays_open_share_a_mark(count: int, seed: int, aim: Aim) -> None:
    """Marks go up from the front without a gap, and neighbours of which the first is not surely nearer share one."""
    colours = many(count, seed)
    orders = Orders.of(colours, aim, distances_of(colours, aim), 50, 0)
    ties, order = ties_of(orders), orders.order.tolist()
    used = [mark for each in ties for mark in each]
    assert sorted(set(used)) == list(range(1, max(used, default=0) + 1))
    for one, two in pairwise(range(count)):
        assert ties[one].start <= ties[two].start
        if not orders.surely_before(order[one], order[two]):
            assert set(ties[one]) & set(ties[two])


def test_leaders_are_the_first_boards_that_share_a_tie() -> None:
    """The leaders are the first board and those that share a mark with it."""
    spots = [FloorSpot(f"F{i}", (LabEstimate.build(FLOOR + i, np.eye(3) * 0.01),)) for i in range(2)]
    ranking = rank_colours(pool_floor(spots), many(400), [f"B{i}" for i in range(400)])
    first = ranking.boards[0]
    assert len(ranking.leaders) > 1
    assert ranking.leaders == (first, *(b for b in ranking.boards[1:] if b.tied_with(first)))
    assert ranking.by_number[ranking.numbers[200]] is ranking.boards[200]
