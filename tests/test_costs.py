"""What an interval is made of: against drawn errors, against other ways to the figures, for every effect there is."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike
from observed import BoardSeen, PlankSeen, Seen, observations_of

from finishlab.colorimetry.camera_profile import fit_profile
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import DeltaE, delta_e_interval
from finishlab.colorimetry.estimate import (
    SOURCES,
    ColourTable,
    LabEstimate,
    SharedEffect,
    Source,
    draw,
    listed,
    print_open,
    scaled,
    scaled_table,
    source_of,
)
from finishlab.colorimetry.spaces import chart_lab, lab_to_rgb
from finishlab.imaging.greys import USUAL, greys_of_readings
from finishlab.matching.costs import (
    LEARNED_LIGHTNESS,
    MATTERS,
    Costs,
    board_costs,
    costs_entry,
    costs_line,
    pair_costs,
    part_words,
    print_doubt,
)
from finishlab.matching.gls import solve
from finishlab.matching.ranking import rank_colours
from finishlab.matching.scatter import Components, FloorPool
from finishlab.measuring import measure_photo

if TYPE_CHECKING:
    from conftest import Photos

BOARD, FLOOR = (44.0, 9.0, 24.0), (58.0, 7.0, 21.0)
EFFECTS: tuple[tuple[str, str, float], ...] = (
    ("print-1", "strip:412:usual", 0.9),
    ("camera-1", "camera:Test One", 0.5),
    ("fit-1", "photo:1", 0.4),
)


def pair(seed: int, *, only: str | None = None, strip: str = "strip:412:usual") -> tuple[LabEstimate, LabEstimate]:
    """Return two colours with grain and one effect of each kind; or with one source's errors alone."""
    rng = np.random.default_rng(seed)
    vectors = [
        (name, strip if scope.startswith("strip:") else scope, rng.normal(0, size, (2, 3)))
        for name, scope, size in EFFECTS
    ]
    out = []
    for i, lab in enumerate((BOARD, FLOOR)):
        root = rng.normal(0, 0.3, (3, 3))
        own = root @ root.T if only in {None, "grain"} else np.zeros((3, 3))
        shared = [
            SharedEffect(name, scope, tuple(moves[i].tolist()))
            for name, scope, moves in vectors
            if only is None or source_of(name) == only
        ]
        out.append(LabEstimate.build(np.array(lab), own, shared))
    return out[0], out[1]


@pytest.mark.parametrize("seed", range(4))
def test_a_share_is_the_part_of_the_scatter_that_source_makes_alone(seed: int) -> None:
    """Drawn with one source's errors only, the difference scatters by that source's share of its whole variance."""
    whole = np.var(delta_e_00(*draw(pair(seed), 40_000, np.random.default_rng(1))))
    shares = pair_costs(*pair(seed)).shares
    for source in ("print", "camera", "light", "grain"):
        alone = draw(pair(seed, only=source), 40_000, np.random.default_rng(2))
        assert shares[source] == pytest.approx(np.var(delta_e_00(*alone)) / whole, abs=0.05)


@settings(max_examples=25)
@given(seed=st.integers(0, 10_000))
def test_the_shares_are_the_whole(seed: int) -> None:
    """The shares sum to one, and the interval is the pair's own."""
    one, two = pair(seed)
    costs = pair_costs(one, two)
    assert sum(costs.shares.values()) == pytest.approx(1.0)
    assert all(share >= 0.0 for share in costs.shares.values())
    assert costs.interval.as_dict() == pytest.approx(delta_e_interval(one, two).as_dict())


def test_what_all_share_alike_costs_nothing() -> None:
    """An effect that moves both colours alike cancels in a small difference, and has hardly a share of it."""
    moved = SharedEffect("print-black", "strip:412", (1.0, 0.0, 0.0))
    own = np.eye(3) * 0.04
    one, two = (LabEstimate.build(np.array([50.0 + i, 8.0, 22.0]), own, [moved]) for i in (0.0, 0.5))
    assert pair_costs(one, two).shares["print"] < 0.01


def test_learning_narrows_what_the_print_widens() -> None:
    """A print that was not learned could narrow the interval; of a learned one nothing is left to learn."""
    for seed in range(3):
        still_open = pair_costs(*pair(seed))
        assert still_open.open_print == pytest.approx(still_open.shares["print"])
        assert still_open.learned.high - still_open.learned.low < still_open.interval.high - still_open.interval.low
        known = pair_costs(*pair(seed, strip="strip:412:0123456789ab"))
        assert known.open_print == 0.0
        assert known.learned == known.interval == still_open.interval
        assert known.shares["print"] == pytest.approx(still_open.shares["print"])


@pytest.mark.parametrize(("of_print", "of_tone"), [(9.0, 1.0), (1.0, 4.0), (4.0, 0.0)])
def test_learning_leaves_what_print_and_tone_weighed_together_leave(of_print: float, of_tone: float) -> None:
    """Two unknowns of one sum, P and T, leave P T / (P + T); with P smaller both parts shrink as in that formula."""
    smaller = LEARNED_LIGHTNESS**2 / float(np.mean(np.square(USUAL.standard_error)))

    def pair_of(print_variance: float) -> tuple[LabEstimate, LabEstimate]:
        whole = print_variance + of_tone
        tone = print_variance * np.sqrt(of_tone) / whole
        moves = [
            ("print-1", "strip:1:usual", (of_tone or whole) * np.sqrt(print_variance) / whole),
            ("tone-1", "c", tone),
        ]
        shared = [SharedEffect(name, scope, (float(size), 0.0, 0.0)) for name, scope, size in moves]
        own = np.eye(3) * 0.01
        return LabEstimate.build(np.array(BOARD), own, shared), LabEstimate.build(np.array(FLOOR), own)

    now, then = pair_costs(*pair_of(of_print)), pair_costs(*pair_of(smaller * of_print))
    assert now.learned.as_dict() == pytest.approx(then.interval.as_dict(), abs=1e-6)


def job() -> tuple[list[BoardSeen], list[PlankSeen], Components]:
    """Return two boards and a plank, each alone in one photo."""
    boards = [BoardSeen(f"B{i}", (Seen(pair(i)[0], f"{i}"),)) for i in (1, 2)]
    return boards, [PlankSeen("hall", (Seen(pair(3)[1], "3"),))], Components.usual()


def costs_of(boards: list[BoardSeen], planks: list[PlankSeen], usual: Components) -> tuple[Costs, ...]:
    """Solve, rank, and tell of all boards."""
    observed = observations_of(boards, planks)
    solved, names = solve(observed, usual), [board.board for board in boards]
    ranking = rank_colours(FloorPool(solved.floor, 1, None), solved.colours, names, count=10)
    return board_costs(observed, solved, {number: names.index(number) for number in ranking.numbers[:5]})


def test_a_ranked_board_costs_what_the_same_pair_does() -> None:
    """Of a board and one plank, each in one photo, least squares is the plain difference: so are its parts."""
    boards, planks, usual = job()
    by_number = {board.board: board for board in boards}
    for costs in costs_of(boards, planks, usual):
        board = by_number[costs.board or ""]
        one, two = board.photos[0].estimate, planks[0].photos[0].estimate
        # each photo's scatter is an effect of that photo, and the plank's an effect of the floor alone
        photo, plank = np.sqrt(np.diag(usual.photo)), np.sqrt(np.diag(usual.plank))
        one, two = (
            LabEstimate.build(
                np.array(each.lab),
                np.array(each.own),
                [
                    *each.shared,
                    *(
                        SharedEffect(f"fit-photo-{i}", f"photo:{name}", tuple(np.eye(3)[i] * photo[i]))
                        for i in range(3)
                    ),
                    *(
                        SharedEffect(f"x-{i}", "planks", tuple(np.eye(3)[i] * plank[i]))
                        for i in range(3)
                        if name == "3"
                    ),
                ],
            )
            for name, each in ((board.photos[0].photo, one), ("3", two))
        )
        expected = pair_costs(one, two)
        assert costs.interval.as_dict() == pytest.approx(expected.interval.as_dict(), abs=1e-3)
        assert costs.learned.as_dict() == pytest.approx(expected.learned.as_dict(), abs=1e-3)
        assert costs.open_print == pytest.approx(expected.open_print, abs=1e-3)
        assert costs.shares["planks"] + costs.shares["light"] == pytest.approx(expected.shares["light"], abs=1e-3)
        for source in ("print", "camera", "grain"):
            assert costs.shares[source] == pytest.approx(expected.shares[source], abs=1e-3)
        assert costs.shares["planks"] > 0.1


def test_a_ranked_boards_shares_are_the_whole() -> None:
    """With repeats and the floor beside a board the weights are no plain means, and the shares still sum to one."""
    boards, planks, usual = job()
    both = Seen(pair(7)[0], "7", pair(7)[1])
    for costs in costs_of([*boards, BoardSeen("B3", (both, Seen(pair(8)[0], "8")))], planks, usual):
        assert sum(costs.shares.values()) == pytest.approx(1.0, abs=2e-3)


def test_some_of_many_boards_are_picked_with_the_floor() -> None:
    """Some boards picked out of the observations are solved as if no other had been logged."""
    boards, planks, usual = job()
    few, alone = observations_of(boards, planks).only([1]), observations_of(boards[1:], planks)
    assert few.boards == 1
    one, two = (solve(observed, usual).colours for observed in (few, alone))
    np.testing.assert_allclose(one.labs, two.labs)
    np.testing.assert_allclose(one.joint_with_floor(), two.joint_with_floor())


@settings(max_examples=20)
@given(seed=st.integers(0, 1000), factor=st.floats(0.2, 5.0))
def test_one_colour_and_a_table_are_scaled_alike(seed: int, factor: float) -> None:
    """A source's errors grow by the factor, in one colour as in a table, and nothing else changes."""
    one, two = pair(seed)
    factors: dict[Source, ArrayLike] = {"grain": factor, "light": (factor, 1.0, 1.0)}
    table = scaled_table(ColourTable.of([one, two]), factors)
    for row, estimate in enumerate((one, two)):
        alone = scaled(estimate, factors)
        np.testing.assert_allclose(table.estimate(row).total_covariance(), alone.total_covariance())
        assert alone.lab == estimate.lab
        kept = [e for e in alone.shared if source_of(e.name) != "light"]
        assert kept == [e for e in estimate.shared if source_of(e.name) != "light"]


def test_every_effect_of_a_measurement_has_its_source(photos: Photos) -> None:
    """What measuring names, with and without learned greys and a learned camera, stands in the table of sources."""
    reference = np.array(list(chart_lab().values()))
    profile = fit_profile(lab_to_rgb(reference), reference, "matrix").named(
        "Test One", "daylight", "a chart", date=dt.date(2024, 5, 11), photo_id="0" * 16
    )
    greys = greys_of_readings({0: [25.0], 3: [55.0], 7: [93.0]}, number=412)
    ways = [measure_photo(photos("pair"), fields=("board", "floor"))]
    ways += [measure_photo(photos("pair"), fields=("board", "floor"), strip_greys=[greys], profiles=[profile])]
    names = {e.name for way in ways for found in way.fields.values() for e in found.estimate.shared}
    assert {listed(name) for name in names} == {"print", "camera", "light"}
    opened = [
        [print_open(e.name, e.scope) for e in way.fields["board"].estimate.shared if source_of(e.name) == "print"]
        for way in ways
    ]
    assert all(opened[0])
    assert not any(opened[1])


def test_a_name_that_is_not_listed_is_said_to_be_none() -> None:
    """The table tells a name it has from one it has not, and does not take a longer word for a shorter."""
    assert listed("print") == listed("print-3") == "print"
    assert listed("printer") is None
    assert listed("fitness") is None
    assert source_of("of-a-later-version") == "light"
    assert set(SOURCES) >= {source_of(name) for name, _, _ in EFFECTS}


def test_the_doubt_comes_when_the_print_matters() -> None:
    """A print that was not learned is a doubt from the share on where it matters, and never once it is learned."""
    shares = dict.fromkeys(SOURCES, 0.2)
    interval = DeltaE(2.0, 1.0, 3.0)
    below, above = (Costs(shares, interval, MATTERS + by, interval) for by in (-0.01, 0.01))
    assert print_doubt([]) is None
    assert print_doubt([below]) is None
    found = print_doubt([below, above])
    assert found is not None
    assert found.code == "print-not-learned"
    assert "finishlab strip learn PHOTO" in found.message
    assert "21 %" in found.message
    assert print_doubt([pair_costs(*pair(1, strip="strip:412:0123456789ab"))]) is None


def test_costs_are_said_from_the_largest_down() -> None:
    """The line names shares in words, the largest first, and what learning would make of the interval."""
    shares: dict[Source, float] = {"print": 0.34, "camera": 0.45, "light": 0.16, "grain": 0.05, "planks": 0.0}
    costs = Costs(shares, DeltaE(2.0, 1.0, 3.0), 0.34, DeltaE(2.0, 1.2, 2.8), "B3")
    assert costs_line(costs) == (
        "Of B3's interval (1.0 to 3.0) about half comes from the camera, about a third from the print of the strip, "
        "about a fifth from light and fit of the photo; with the strip's print learned it would be about 1.2 to 2.8."
    )
    assert costs_entry(costs)["delta_e00_if_learned"] == {"value": 2.0, "low": 1.2, "high": 2.8}
    known = Costs(shares, DeltaE(2.0, 1.0, 3.0), 0.0, DeltaE(2.0, 1.0, 3.0))
    assert costs_entry(known)["delta_e00_if_learned"] is None
    assert "learned" not in costs_line(known)
    assert part_words(1 / 3) == "about a third"
