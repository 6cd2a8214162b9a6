"""Ranked boards that are made when they are looked at."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import report_samples as samples
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from finishlab.colorimetry.delta_e import CIEDE2000, CMC_2_1
from finishlab.colorimetry.difference import difference_intervals
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.matching.aims import CONTRAST, MATCH, Aim
from finishlab.matching.figures import AT_ONCE, Figures
from finishlab.matching.floor import FloorSpot, pool_floor
from finishlab.matching.orders import Orders, Ties
from finishlab.matching.places import Places, Subjects
from finishlab.matching.ranking import RankedBoard, Ranking, Subject, rank_together
from finishlab.matching.simulate import Together, gather
from finishlab.reports.terminal import print_ranking

FLOOR = np.array([56.0, 8.0, 22.0])
AIMS = (MATCH, CONTRAST, Aim(limits=("redder",)), Aim(formula=CMC_2_1))


def many(count: int, seed: int = 0) -> Together:
    """Boards about a floor, all measured with one camera."""
    rng = np.random.default_rng(seed)

    def colour(lab: np.ndarray) -> LabEstimate:
        shared = SharedEffect("saturation", "camera:x", (0.1, 0.4, 0.8))
        return LabEstimate.build(lab, np.eye(3) * 0.09, [shared])

    return gather([colour(FLOOR + rng.normal(0, 4, 3)) for _ in range(count)], colour(FLOOR))


def ranked(count: int, made: list[int] | None = None, aim: Aim = MATCH) -> Ranking:
    """Rank boards B0, B1 ...; which ones something was told of is noted in `made`."""

    def tell(index: int) -> Subject:
        if made is not None:
            made.append(index)
        return Subject(f"B{index}", photos=index)

    spots = [FloorSpot(f"F{i}", (LabEstimate.build(FLOOR + i, np.eye(3) * 0.01),)) for i in range(2)]
    subjects = Subjects([f"B{i}" for i in range(count)], tell)
    return rank_together(pool_floor(spots), many(count), subjects, aim=aim)


def test_only_what_is_looked_at_is_made() -> None:
    """Of a thousand boards ten are made when the first ten are shown, and no more when they are shown again."""
    made: list[int] = []
    ranking = ranked(1000, made)
    assert made == []
    first = ranking.boards[:10]
    assert ranking.boards[:10] == first
    assert len(made) == 10
    assert ranking.score_of(ranking.numbers[900]) == ranking.find(ranking.numbers[900]).score


def test_places_are_a_sequence() -> None:
    """Length, slices, negative and wrong indices, iteration and equality are those of a tuple of the same boards."""
    boards = ranked(300).boards
    whole = tuple(boards)
    assert (len(boards), boards[-1], boards[3:290:50]) == (300, whole[-1], whole[3:290:50])
    assert boards == whole
    assert boards != whole[:-1]
    other: object = list(whole)
    assert boards != other, "a list is no ranking"
    assert hash(boards) == hash(ranked(300).boards)
    with pytest.raises(IndexError):
        boards[300]
    with pytest.raises(KeyError):
        ranked(3).find("B7")


def test_changed_boards_are_changed_when_they_are_looked_at() -> None:
    """A change holds for each board, keeps the order, and is not made before a board is looked at."""
    seen: list[str] = []

    def change(board: RankedBoard) -> RankedBoard:
        seen.append(board.board)
        return replace(board, photos=99)

    ranking = ranked(5).changed(change)
    assert seen == []
    assert ranking.boards[1].photos == 99
    assert seen == [ranking.numbers[1]]
    plain = replace(ranking, boards=tuple(ranking.boards)).changed(lambda board: replace(board, photos=7))
    assert [board.photos for board in plain.boards] == [7] * 5
    assert plain.find(plain.numbers[2]) == plain.boards[2]
    assert plain.score_of(plain.numbers[2]) == plain.boards[2].score


@pytest.mark.parametrize("aim", AIMS)
def test_figures_asked_one_by_one_are_those_of_all_at_once(aim: Aim) -> None:
    """Scores and intervals of boards do not depend on which others they are figured with."""
    together = many(AT_ONCE + 20)
    figures = Figures(together, aim)
    joint = together.joint_with_floor()
    plain = difference_intervals(together.labs, together.floor_lab, joint)
    targets = aim.targets(together.labs, together.floor_lab)
    scored = difference_intervals(together.labs, targets, joint, aim.scored_by)
    for board in (AT_ONCE + 3, 0, 17):
        found = figures.delta_e00(board)
        np.testing.assert_allclose([found.value, found.low, found.high], [p[board] for p in plain], rtol=1e-12)
        score = figures.score(board)
        np.testing.assert_allclose([score.value, score.low, score.high], [s[board] for s in scored], rtol=1e-12)
    np.testing.assert_allclose(figures.value, scored[0])
    assert figures.plain_aim == (aim.name == "match" and aim.formula == CIEDE2000)


@given(st.integers(2, 60), st.integers(0, 5), st.sampled_from(AIMS))
def test_ties_do_not_depend_on_where_one_looks_first(count: int, seed: int, aim: Aim) -> None:
    """Marks asked for from the last place on are those asked for from the first."""
    together = many(count, seed)
    orders = Orders.of(together, aim, Figures(together, aim), 50, 0)
    forwards, backwards = Ties(orders), Ties(orders)
    assert [forwards.at(i) for i in range(count)] == [backwards.at(i) for i in reversed(range(count))][::-1]


def test_leaders_are_the_first_boards_that_share_a_tie() -> None:
    """The leaders are those that share a mark with the first board, found without looking at all."""
    made: list[int] = []
    ranking = ranked(400, made)
    leaders = ranking.leaders
    assert len(made) == len(leaders) + 1
    assert leaders == tuple(b for b in ranking.boards if b is ranking.boards[0] or b.tied_with(ranking.boards[0]))
    assert replace(ranking, boards=()).leaders == ()


def test_subjects_are_a_sequence() -> None:
    """What is told of boards can be indexed, sliced and picked from; made ones are taken as they are."""
    given_ones = [Subject(f"B{i}") for i in range(4)]
    subjects = Subjects.of(given_ones)
    assert Subjects.of(subjects) is subjects
    assert (len(subjects), subjects[-1], subjects[1:3]) == (4, given_ones[3], given_ones[1:3])
    assert list(subjects.only([2, 0])) == [given_ones[2], given_ones[0]]
    with pytest.raises(IndexError):
        subjects[4]


def test_the_terminal_tells_doubts_of_the_boards_it_shows() -> None:
    """With fewer boards shown than ranked, only their doubts are told, and the title says so; recipes are cut too."""
    whole = samples.ranking()
    out = io.StringIO()
    print_ranking(Console(file=out, width=100), whole, {}, recipes=whole, most=1)
    told = out.getvalue()
    assert "Doubts of the floor and of the first 1 boards" not in told
    assert "Doubts of the floor and of the first board" in told
    assert told.count(f"and {len(whole.boards) - 1} more; --most 0 shows all") == 2
    hidden = {d.message for board in whole.boards[1:] for d in board.doubts}
    shown = {d.message for d in (*whole.boards[0].doubts, *whole.floor.doubts)}
    flat = " ".join(told.split())
    assert hidden - shown
    assert not any(message in flat for message in hidden - shown)
    assert Places is type(ranked(2).boards)
