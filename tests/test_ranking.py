"""The floor's pool and the ranking, in simulated worlds whose truth is known."""

from __future__ import annotations

import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from observed import BoardColour, draw_differences, gather, rank_apart

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import delta_e_interval, joint_covariance
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect, draw, pool_estimates
from finishlab.errors import ExitCode, LogbookError
from finishlab.matching.ranking import RankedBoard, Ranking
from finishlab.matching.scatter import FEW_SPOTS, FloorPool, FloorSpot, pool_floor
from finishlab.quality import doubt

FLOOR = np.array([56.0, 8.0, 22.0])
SATURATION = SharedEffect("saturation", "camera:x", (0.1, 0.5, 1.0))
PRINT = (
    SharedEffect("camera-print-L", "common", (0.3, 0.0, 0.0)),
    SharedEffect("camera-print-a", "common", (0.0, 0.5, 0.0)),
    SharedEffect("camera-print-b", "common", (0.0, 0.0, 0.6)),
)


def shifted(*step: float) -> np.ndarray:
    """The floor's colour moved by a step in L*, a*, b*."""
    return np.asarray(FLOOR + np.array(step))


def estimate(lab: np.ndarray, sigma: float = 0.2, *shared: SharedEffect) -> LabEstimate:
    """A colour with the same own error along each axis."""
    return LabEstimate.build(np.asarray(lab, dtype=float), np.eye(3) * sigma**2, shared)


def board(name: str, lab: np.ndarray, sigma: float = 0.2, *shared: SharedEffect) -> BoardColour:
    """A board measured once."""
    return BoardColour(name, (estimate(lab, sigma, *shared),))


def floor_of(*labs: np.ndarray, sigma: float = 0.2, shared: tuple[SharedEffect, ...] = ()) -> FloorPool:
    """A floor of spots measured once each."""
    return pool_floor([FloorSpot(f"F{i}", (estimate(lab, sigma, *shared),)) for i, lab in enumerate(labs, 1)])


# The floor


def test_one_spot_is_the_floor() -> None:
    """One spot gives its own colour and error, no spread, and the doubt that spots are few."""
    floor = floor_of(FLOOR)
    assert floor.estimate == estimate(FLOOR)
    assert floor.lab == tuple(FLOOR)
    assert (floor.spots, floor.spread_e00) == (1, None)
    assert [d.code for d in floor.doubts] == ["few-spots"]


def test_spread_is_the_root_mean_square_from_the_mean() -> None:
    """The spread divides by n - 1: two spots 2 L* apart have that of each from the middle, times the root of two."""
    floor = floor_of(shifted(1, 0, 0), shifted(-1, 0, 0))
    each = delta_e_00([shifted(1, 0, 0), shifted(-1, 0, 0)], FLOOR)
    assert floor.spread_e00 == pytest.approx(float(np.sqrt(np.sum(each**2))))


def test_enough_spots_leave_no_doubt_of_their_number() -> None:
    """From five spots on their number is not in doubt; doubts of the photos are carried along once each."""
    glare = doubt("glare", percent=4)
    spots = [FloorSpot(f"F{i}", (estimate(FLOOR),), (glare,)) for i in range(FEW_SPOTS)]
    assert pool_floor(spots).doubts == (glare,)


def test_each_spot_counts_once() -> None:
    """A spot photographed three times weighs no more than one photographed once."""
    spots = [
        FloorSpot("F1", (estimate(FLOOR),) * 3),
        FloorSpot("F2", (estimate(shifted(4, 0, 0)),)),
    ]
    assert pool_floor(spots).lab[0] == pytest.approx(FLOOR[0] + 2)


def test_repeats_that_agree_average_their_own_error_only() -> None:
    """Four photos that agree halve the own error; what all share stays whole, what one alone has counts a quarter."""
    photos = [estimate(FLOOR, 0.4, SATURATION, SharedEffect("fit", f"photo:{i}", (0.0, 0.4, 0.0))) for i in range(4)]
    pooled = pool_estimates(photos)
    np.testing.assert_allclose(pooled.standard_error, 0.2)
    shared = {(e.name, e.scope): e.vector for e in pooled.shared}
    assert shared["saturation", "camera:x"] == pytest.approx(SATURATION.vector)
    assert shared["fit", "photo:2"] == pytest.approx((0.0, 0.1, 0.0))


def test_scatter_beyond_the_errors_widens_the_floor() -> None:
    """Planks that differ by more than their errors make the floor's mean less sure than the errors alone."""
    rng = np.random.default_rng(3)
    floor = floor_of(*(FLOOR + rng.normal(0, (2.0, 0.5, 1.0)) for _ in range(6)), sigma=0.1)
    assert floor.estimate.standard_error[0] > 0.5


def test_scatter_that_shared_effects_explain_is_not_counted_twice() -> None:
    """Two photos that differ by an unknown of their own, named as such, carry it once: as that shared effect."""
    vector = (2.0, 0.0, 0.0)
    photos = [
        estimate(shifted(1.0, 0, 0), 0.1, SharedEffect("light", "photo:1", vector)),
        estimate(FLOOR - (1.0, 0, 0), 0.1, SharedEffect("light", "photo:2", vector)),
    ]
    np.testing.assert_allclose(pool_estimates(photos).standard_error, 0.1 / np.sqrt(2), rtol=1e-6)


@pytest.mark.parametrize("spots", [2, 3, 5, 8])
def test_interval_from_a_floor_of_few_planks_holds_the_truth(spots: int) -> None:
    """Planks scatter, boards have errors: the interval from the pooled floor holds the truth in 92-99.5 %."""
    rng = np.random.default_rng(spots)
    true_board = shifted(-3.0, 1.0, 2.0)
    truth = float(delta_e_00(true_board, FLOOR))
    held = 0
    worlds = 400
    for _ in range(worlds):
        planks = FLOOR + rng.normal(0, (1.2, 0.5, 0.8), (spots, 3)) + rng.normal(0, 0.3, (spots, 3))
        seen = estimate(true_board + rng.normal(0, 0.2, 3), 0.2)
        found = delta_e_interval(seen, floor_of(*planks, sigma=0.3).estimate)
        held += found.low <= truth <= found.high
    assert 0.92 <= held / worlds <= 0.995


def test_floor_and_boards_must_be_there() -> None:
    """Without a floor there is one sentence, the command to run and the logbook's exit code."""
    with pytest.raises(LogbookError) as no_floor:
        pool_floor([])
    assert no_floor.value.code == "no-floor"
    assert "finishlab floor add" in no_floor.value.hint
    assert no_floor.value.exit_code == ExitCode.LOGBOOK


def test_nothing_measured_is_refused() -> None:
    """A spot without a measurement, a pool of nothing and a ranking without draws cannot be made."""
    with pytest.raises(ValueError, match="at least one"):
        FloorSpot("F1", ())
    with pytest.raises(ValueError, match="nothing"):
        pool_estimates([])
    with pytest.raises(ValueError, match="spread"):
        FloorPool(estimate(FLOOR), 1, 0.5)
    with pytest.raises(ValueError, match="draw"):
        rank_apart(floor_of(FLOOR), [board("B1", FLOOR)], count=0)


# The ranking


def places(ranking: Ranking) -> list[str]:
    """Board numbers from the closest on."""
    return [b.board for b in ranking.boards]


def by_name(ranking: Ranking, name: str) -> RankedBoard:
    """One board of a ranking."""
    return next(b for b in ranking.boards if b.board == name)


def test_a_clear_case() -> None:
    """Boards far apart stand in their order, no tie among them, the closest with certainty, in words that say why."""
    floor = floor_of(*(shifted(d, 0, 0) for d in (-1, -0.5, 0, 0.5, 1)))
    far, near = board("B1", shifted(-8, 0, 0)), board("B2", shifted(1.5, 0, 0))
    middle = BoardColour("B3", (estimate(shifted(0, 5, 0)),), doubts=(doubt("glare", percent=4),))
    ranking = rank_apart(floor, [far, near, middle])
    assert places(ranking) == ["B2", "B3", "B1"]
    assert [b.place for b in ranking.boards] == [1, 2, 3]
    assert not any(b.tied for b in ranking.boards)
    assert ranking.leaders == ranking.boards[:1]
    first, second, third = ranking.boards
    assert first.probability_closest > 0.99
    assert first.in_words == "very close, a touch lighter than the floor"
    assert "pinker" in second.in_words
    assert second.doubts == (doubt("glare", percent=4),)
    assert third.difference.dL == pytest.approx(-8)
    assert first.lab == pytest.approx(tuple(shifted(1.5, 0, 0)))
    assert first.ratio_to_floor_spread == pytest.approx(first.delta_e00.value / (floor.spread_e00 or np.nan))


def test_one_spot_gives_no_ratio() -> None:
    """Without a spread of the floor there is no ratio to it."""
    assert rank_apart(floor_of(FLOOR), [board("B1", FLOOR)]).boards[0].ratio_to_floor_spread is None


def test_error_shared_by_all_cancels_in_the_order_but_not_in_the_interval() -> None:
    """An error shared by all widens each interval past the gap of two boards, yet their order stays sure."""
    boards = [board("B1", shifted(-3, 0, 0), 0.05), board("B2", shifted(-3.8, 0, 0), 0.05)]
    clean = rank_apart(floor_of(FLOOR, sigma=0.05), boards)
    printed = rank_apart(floor_of(FLOOR, sigma=0.05, shared=PRINT), boards)
    for before, after in zip(clean.boards, printed.boards, strict=True):
        assert after.delta_e00.high - after.delta_e00.low > 3 * (before.delta_e00.high - before.delta_e00.low)
    first, second = printed.boards
    assert first.delta_e00.high > second.delta_e00.low
    assert first.probability_closest > 0.97
    assert not first.tied
    lumped = [board(b.board, np.array(b.estimates[0].lab), 0.6) for b in boards]
    assert rank_apart(floor_of(FLOOR, sigma=0.05), lumped).boards[0].tied


def test_equal_boards_tie() -> None:
    """Two boards no measurement can tell apart share a mark; a third far off does not."""
    boards = [board("B1", shifted(2, 0, 0), 0.4), board("B2", shifted(2.1, 0, 0), 0.4), board("B3", shifted(9, 0, 0))]
    ranking = rank_apart(floor_of(FLOOR), boards)
    assert [b.tied for b in ranking.boards] == [True, True, False]
    assert ranking.leaders == ranking.boards[:2]
    assert by_name(ranking, "B1").probability_closest == pytest.approx(0.55, abs=0.15)


def test_ties_do_not_chain() -> None:
    """A row of boards, each close to the next, is not one tie: neighbours share a mark, the ends do not."""
    boards = [board(f"B{i}", shifted(2 + 0.5 * i, 0, 0), 0.3) for i in range(8)]
    ranked = rank_apart(floor_of(FLOOR, sigma=0.01), boards).boards
    assert all(one.tied_with(two) for one, two in pairwise(ranked))
    assert not ranked[0].tied_with(ranked[-1])
    marks = [b.ties for b in ranked]
    assert all(one.start <= two.start and one.stop <= two.stop for one, two in pairwise(marks))
    assert marks[0].start == 1


@given(st.permutations(range(6)))
@settings(max_examples=20)
def test_input_order_changes_nothing_that_is_measured(order: list[int]) -> None:
    """In whatever order the boards are given, places, figures and words are the same."""
    labs = [shifted(0.7 * i - 3, 0.4 * i, (i % 3) - 1) for i in range(6)]
    floor = floor_of(FLOOR, shifted(1, 0, 0), shared=(SATURATION,))
    ranking = rank_apart(floor, [board(f"B{i}", labs[i], 0.2, SATURATION) for i in order], count=200)
    sorted_in = rank_apart(floor, [board(f"B{i}", labs[i], 0.2, SATURATION) for i in range(6)], count=200)
    assert places(ranking) == places(sorted_in)
    for one, two in zip(ranking.boards, sorted_in.boards, strict=True):
        assert one.delta_e00.as_dict() == pytest.approx(two.delta_e00.as_dict())
        assert one.in_words == two.in_words


def test_same_photos_same_ranking() -> None:
    """Ranking twice gives the same figures to the last digit; the probabilities share out one."""
    boards = [board(f"B{i}", shifted(i, 0, 0), 0.5) for i in range(4)]
    floor = floor_of(FLOOR, shifted(0.5, 0, 0))
    assert rank_apart(floor, boards) == rank_apart(floor, boards)
    assert sum(b.probability_closest for b in rank_apart(floor, boards).boards) == pytest.approx(1.0)


def test_probability_of_being_closest_is_calibrated() -> None:
    """Over many worlds, with an error shared by all, boards given a chance p are the closest in about p of them."""
    rng = np.random.default_rng(21)
    chances, came_true = [], []
    for _ in range(500):
        truth = FLOOR + rng.uniform(-4, 4, (5, 3))
        floor_seen = FLOOR + rng.normal(0, 0.2, 3) + rng.normal(0, (0.3, 0.5, 0.6))
        seen = truth + rng.normal(0, 0.8, truth.shape)
        boards = [board(str(i), lab, 0.8) for i, lab in enumerate(seen)]
        ranking = rank_apart(floor_of(floor_seen, shared=PRINT), boards, count=300)
        closest = str(int(np.argmin(delta_e_00(truth, FLOOR))))
        chances += [b.probability_closest for b in ranking.boards]
        came_true += [b.board == closest for b in ranking.boards]
    chance, true = np.array(chances), np.array(came_true, dtype=float)
    for low, high in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        of_these = (chance >= low) & (chance < high)
        error = np.sqrt(np.mean(chance[of_these] * (1 - chance[of_these])) / of_these.sum())
        assert abs(true[of_these].mean() - chance[of_these].mean()) < 3.5 * error + 0.02


def test_settled_orders_are_rarely_wrong() -> None:
    """Of neighbours whose order is called settled, fewer than 5 % truly stand the other way round."""
    rng = np.random.default_rng(22)
    settled, wrong = 0, 0
    for _ in range(300):
        truth = {str(i): FLOOR + rng.uniform(-5, 5, 3) for i in range(6)}
        boards = [board(name, lab + rng.normal(0, 0.4, 3), 0.4) for name, lab in truth.items()]
        ranking = rank_apart(floor_of(FLOOR, sigma=0.0), boards, count=300)
        for one, two in pairwise(ranking.boards):
            if not one.tied_with(two):
                settled += 1
                wrong += bool(delta_e_00(truth[one.board], FLOOR) > delta_e_00(truth[two.board], FLOOR))
    assert settled > 200
    assert wrong / settled < 0.05


def test_drawing_many_agrees_with_drawing_each() -> None:
    """The fast draws have the quantiles of the plain ones, for own, shared, half-shared and lone effects."""
    lone = SharedEffect("fit", "photo:7", (0.3, 0.2, 0.0))
    floor = estimate(FLOOR, 0.3, SATURATION, *PRINT)
    boards = [
        estimate(shifted(2, 1, -1), 0.2, SATURATION, lone),
        estimate(shifted(-1, 3, 2), 0.4, SharedEffect("ink", "strip:1", (0.5, 0, 0))),
        estimate(shifted(0, 0, 5), 0.1, SharedEffect("ink", "strip:1", (0.7, 0, 0)), PRINT[0]),
    ]
    fast = draw_differences(gather(boards, floor), 60_000, np.random.default_rng(0))
    plain = draw([floor, *boards], 60_000, np.random.default_rng(1))
    slow = delta_e_00(plain[1:], plain[0])
    levels = [0.05, 0.25, 0.5, 0.75, 0.95]
    np.testing.assert_allclose(np.quantile(fast, levels, axis=1), np.quantile(slow, levels, axis=1), atol=0.04)
    np.testing.assert_allclose(np.corrcoef(fast), np.corrcoef(slow), atol=0.02)
    joint = gather(boards, floor).joint_with_floor()
    np.testing.assert_allclose(joint, [joint_covariance(b, floor) for b in boards], atol=1e-12)


def test_interval_in_a_ranking_is_that_of_the_pair() -> None:
    """Ranked or compared alone, a board has one and the same interval."""
    floor = floor_of(FLOOR, shifted(1, 0, 0), shared=(SATURATION, *PRINT))
    boards = [board(f"B{i}", shifted(i, 1, -i), 0.3, SATURATION) for i in range(4)]
    for ranked in rank_apart(floor, boards).boards:
        alone = delta_e_interval(boards[int(ranked.board[1:])].estimates[0], floor.estimate)
        assert ranked.delta_e00.as_dict() == pytest.approx(alone.as_dict())


def test_a_shop_full_of_boards_fits_in_memory() -> None:
    """5,000 boards, each with an effect of its own photo, are ranked in under 150 MB."""
    rng = np.random.default_rng(9)
    boards = [
        board(f"B{i}", FLOOR + rng.normal(0, 6, 3), 0.3, SATURATION, SharedEffect("fit", f"photo:{i}", (0.1, 0.1, 0.0)))
        for i in range(5000)
    ]
    tracemalloc.start()
    ranking = rank_apart(floor_of(FLOOR, shared=(SATURATION,)), boards)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(ranking.boards) == 5000
    assert peak < 150e6
    assert all(one.delta_e00.value <= two.delta_e00.value for one, two in pairwise(ranking.boards))
