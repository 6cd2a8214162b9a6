"""Aims, choices, the next photo, recipes and words, in simulated worlds whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module
from itertools import pairwise

import numpy as np
import pytest
import report_samples as samples
from conftest import amount
from hypothesis import given, settings
from hypothesis import strategies as st
from observed import BoardSeen, PlankSeen, Seen, gather, observations_of, solve_seen

from finishlab.board import BoardRecord
from finishlab.colorimetry.delta_e import CIEDE2000_TEXTURE, CMC_2_1, delta_e_00
from finishlab.colorimetry.difference import DeltaE, SignedDifference, describe, signed_difference
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.matching.aims import CONTRAST, LIMITS, MATCH, STEP, Aim, within
from finishlab.matching.alternatives import compare_aims
from finishlab.matching.costs import NextPhoto, next_photos
from finishlab.matching.gls import Solution
from finishlab.matching.joint import pool_recipes
from finishlab.matching.ranking import RANGES, Ranking, lay_sentence, range_words, rank_colours
from finishlab.matching.scatter import Components, FloorSpot, pool_floor
from finishlab.rank.documents import answer, answer_detail, next_steps, own_line, ranking_data

FLOOR = np.array([56.0, 8.0, 22.0])
CALM = Components.usual()


def estimate(lab: np.ndarray, sigma: float, photo: str) -> LabEstimate:
    """A colour with errors of its own, of its photo and of its camera."""
    shared = (
        SharedEffect("fit-1", f"photo:{photo}", (sigma, 0.0, 0.3 * sigma)),
        SharedEffect("saturation", "camera:x", (0.0, 0.3, 0.6)),
    )
    return LabEstimate.build(np.asarray(lab, dtype=float), np.eye(3) * sigma**2, shared)


def board(name: str, lab: np.ndarray, sigma: float = 0.15) -> BoardSeen:
    """A board photographed once."""
    return BoardSeen(name, (Seen(estimate(lab, sigma, name), name),))


def planks(count: int = 5, sigma: float = 0.15) -> list[PlankSeen]:
    """Planks of one colour, photographed once each."""
    return [PlankSeen(f"F{i}", (Seen(estimate(FLOOR, sigma, f"f{i}"), f"f{i}"),)) for i in range(count)]


def rank(boards: list[BoardSeen], aim: Aim = MATCH, count: int = 1000, floor: list[PlankSeen] | None = None) -> Ranking:
    """Weigh and rank."""
    spots = floor or planks()
    weighed = solve_seen(boards, spots, CALM)
    pool = pool_floor([FloorSpot(p.spot, tuple(look.estimate for look in p.photos)) for p in spots])
    return rank_colours(pool, weighed.colours, [b.board for b in boards], aim=aim, count=count)


def at(*step: float) -> np.ndarray:
    """The floor's colour moved by a step."""
    return np.asarray(FLOOR + np.array(step))


# Aims


@pytest.mark.parametrize("seed", range(5))
def test_contrast_finds_the_right_board(seed: int) -> None:
    """Of 30 boards around a floor the one truly nearest to 12 L* darker with the undertone kept leads, or ties."""
    rng = np.random.default_rng(seed)
    truth = {f"B{i}": FLOOR + rng.normal(0, (10, 3, 4)) for i in range(30)}
    aim = Aim("contrast", -12.0)
    ranking = rank([board(n, lab + rng.normal(0, 0.15, 3)) for n, lab in truth.items()], aim)
    allowed = {n: lab for n, lab in truth.items() if bool(within(aim, lab, FLOOR))}
    best = min(allowed, key=lambda n: float(delta_e_00(allowed[n], at(-12, 0, 0), 1.0, 2.0)))
    assert best in {b.board for b in ranking.leaders}
    leader = ranking.boards[0]
    assert leader.within_limits is not None
    assert leader.within_limits > 0.5
    assert leader.score is not None
    assert leader.score.value < leader.delta_e00.value


def test_contrast_keeps_the_undertone() -> None:
    """A board of the right lightness but of another hue stands behind one a little off in lightness."""
    right, pink = at(-10, -1.5, -4), at(-12, 7, -6)
    ranking = rank([board("pink", pink), board("right", right)], Aim("contrast", -12.0))
    assert [b.board for b in ranking.boards] == ["right", "pink"]
    assert (ranking.boards[1].within_limits or 0.0) < 0.05


def test_contrast_without_a_direction_takes_the_nearer_one() -> None:
    """Lighter and darker boards are both held against a step of 12 L* on their own side."""
    ranking = rank(
        [board("light", at(12.5, 0, 0)), board("dark", at(-9, 0, 0)), board("same", at(0.5, 0, 0))], CONTRAST
    )
    assert [b.board for b in ranking.boards] == ["light", "dark", "same"]
    assert ranking.boards[0].score is not None
    assert ranking.boards[0].score.value < 1.0
    assert STEP == 12.0


def test_the_board_for_a_contrast_is_one() -> None:
    """In worlds known exactly the winner for 8 L* darker is 4 darker or more, or it is said that no board is."""
    rng = np.random.default_rng(21)
    aim = Aim("contrast", -8.0)
    told, worlds = 0, amount(100, 400)
    for _ in range(worlds):
        truth = FLOOR + rng.normal(0, (5, 1, 2), (4, 3))
        together = gather([estimate_of(lab) for lab in truth], estimate_of(FLOOR))
        pool = pool_floor([FloorSpot("F1", (estimate_of(FLOOR),))])
        ranking = rank_colours(pool, together, [f"B{i}" for i in range(4)], aim=aim, count=20)
        darker = FLOOR[0] - truth[:, 0]
        right = np.array([bool(within(aim, lab, FLOOR)) for lab in truth])
        best = truth[int(ranking.boards[0].board[1:])]
        if ranking.no_contrast:
            told += 1
            assert not right.any()
        else:
            assert FLOOR[0] - best[0] >= 4.0
            assert darker.max() >= 4.0
    assert 0.05 < told / worlds < 0.75


def estimate_of(lab: np.ndarray) -> LabEstimate:
    """A colour known exactly."""
    return LabEstimate.build(np.asarray(lab, dtype=float), np.eye(3) * 1e-8)


def test_no_contrast_is_said_and_what_comes_nearest() -> None:
    """Where no board stands off by half the step the answer, the choice and the next step say so, and no board wins."""
    ranking = rank([board("B1", at(2, 0, 0)), board("B2", at(-3, 0, 0))], Aim("contrast", -12.0))
    assert ranking.no_contrast
    assert answer(ranking) == "No board makes this contrast: 12 L* darker than the floor, same undertone."
    logged = {number: samples.logged_board(number, BoardRecord("ash")) for number in ("B1", "B2")}
    assert answer_detail(ranking, logged).startswith(
        "Nearest to it comes B2 (ash; no stain; no topcoat), which is 3.0 L* darker than the floor."
    )
    assert next_steps(ranking, logged)[0].startswith("Make a board for it")
    assert ranking_data(ranking)["contrast_made"] is False
    match = rank([board("B1", at(2, 0, 0)), board("B2", at(-3, 0, 0))])
    assert not match.no_contrast
    assert ranking_data(match)["contrast_made"] is None
    assert compare_aims([match, ranking])[1].in_words.startswith("No board makes a contrast")


# How much nearer


@pytest.mark.parametrize(("off", "spread"), [((0, 0, 0), 1.0), ((0, 0, 0), 5.0), ((4, 2, 3), 1.5)])
def test_the_margin_holds_the_truth(off: tuple[float, ...], spread: float) -> None:
    """Shortlists tight, spread out and off the floor: 92-98 % of the intervals hold by how much the first is nearer."""
    rng = np.random.default_rng(4)
    pool = pool_floor([FloorSpot("F1", (estimate_of(FLOOR),))])
    print_error = np.diag((0.3, 0.5, 0.6))
    shared = tuple(SharedEffect(f"print-{i}", "camera:x", tuple(v)) for i, v in enumerate(print_error.tolist()))
    held, worlds = 0, amount(150, 400)
    for _ in range(worlds):
        truth = FLOOR + np.array(off) + rng.normal(0, spread, (6, 3)) * (1.2, 0.7, 1.2)
        moved = truth + rng.normal(0, (0.3, 0.5, 0.6)) + rng.normal(0, 0.3, (6, 3))
        seen = [LabEstimate.build(lab, np.eye(3) * 0.09, shared) for lab in moved]
        subjects = [f"B{i}" for i in range(6)]
        ranking = rank_colours(pool, gather(seen, estimate_of(FLOOR)), subjects, count=600)
        assert ranking.margin is not None
        first, after = (truth[int(name[1:])] for name in (ranking.margin.first, ranking.margin.next))
        by = float(delta_e_00(after, FLOOR) - delta_e_00(first, FLOOR))
        held += ranking.margin.by.low <= by <= ranking.margin.by.high
    assert 0.92 <= held / worlds <= 0.98


def test_what_is_common_to_all_boards_is_told_apart() -> None:
    """An error of all boards widens each interval but not a board's own part, nor by how much the first is nearer."""
    common = (SharedEffect("print-L", "camera:x", (1.2, 0.0, 0.0)),)
    pool = pool_floor([FloorSpot("F1", (estimate_of(FLOOR),))])
    found = []
    for shared in ((), common):
        seen = [LabEstimate.build(at(-6.0 - 3 * i, 0, 0), np.eye(3) * 0.04, shared) for i in range(3)]
        subjects = [f"B{i}" for i in range(3)]
        ranking = rank_colours(pool, gather(seen, estimate_of(FLOOR)), subjects)
        first, margin = ranking.boards[0], ranking.margin
        assert first.own is not None
        assert margin is not None
        found.append((first.delta_e00.high - first.delta_e00.low, first.own.high - first.own.low, margin.by))
        assert first.delta_e00.low <= first.own.low <= first.delta_e00.value <= first.own.high <= first.delta_e00.high
        assert ranking_data(ranking)["margin"]["board"] == "B0"
    (plain, own, by), (whole, still, by_then) = found
    assert whole > 4.0 * plain
    assert still == pytest.approx(own, abs=0.25)
    assert (by_then.low, by_then.high) == pytest.approx((by.low, by.high), abs=0.25)
    assert f"nearer than B1, the next, by {by_then.value:.1f} ({by_then.low:.1f} to {by_then.high:.1f})" in answer(
        ranking
    )
    assert "is its own; the rest is common to all boards" in own_line(ranking)


@pytest.mark.parametrize("limit", LIMITS)
def test_a_limit_puts_boards_that_break_it_behind(limit: str) -> None:
    """A nearer board that is redder (or what the limit names) comes after a farther one that is not."""
    axis, sign = {"redder": (1, 1), "greener": (1, -1), "yellower": (2, 1), "bluer": (2, -1), "lighter": (0, 1),
                  "darker": (0, -1)}[limit]  # fmt: skip
    step = np.zeros(3)
    step[axis] = sign * 2.5
    boards = [board("breaks", FLOOR + step), board("keeps", FLOOR - 2.5 * step)]
    assert rank(boards).boards[0].board == "breaks"
    ranking = rank(boards, Aim(limits=(limit,)))  # type: ignore[arg-type] # one of the limits
    assert [b.board for b in ranking.boards] == ["keeps", "breaks"]
    assert ranking.boards[0].probability_closest > 0.9
    assert (ranking.boards[1].within_limits or 0.0) < 0.2
    assert rank(boards).boards[0].within_limits is None


def test_probability_of_keeping_a_limit_is_calibrated() -> None:
    """Of boards said to be no redder with a chance p, p are, within five points; boards scatter as test boards do."""
    rng = np.random.default_rng(3)
    aim = Aim(limits=("redder",))
    said, true = [], []
    for _ in range(amount(400, 600)):
        truth = FLOOR + rng.normal(0, (4, 2.5, 4), (12, 3))
        camera = rng.normal()
        boards = []
        for i, lab in enumerate(truth):
            photo = rng.normal() * np.array([0.4, 0, 0.12]) + rng.normal(0, (0.25, 0.12, 0.18))
            seen = lab + rng.normal(0, 0.4, 3) + photo + camera * np.array([0, 0.3, 0.6])
            boards.append(board(f"{i}", seen, 0.4))
        spots = []
        for i in range(5):
            photo = rng.normal() * np.array([0.15, 0, 0.045]) + rng.normal(0, (0.25, 0.12, 0.18))
            seen = FLOOR + rng.normal(0, (1.2, 0.5, 0.8)) + rng.normal(0, 0.15, 3) + photo
            seen = seen + camera * np.array([0, 0.3, 0.6])
            spots.append(PlankSeen(f"F{i}", (Seen(estimate(seen, 0.15, f"f{i}"), f"f{i}"),)))
        for found in rank(boards, aim, 10, spots).boards:
            said.append(found.within_limits or 0.0)
            true.append(truth[int(found.board), 1] - FLOOR[1] <= 0.5)
    chance, came = np.array(said), np.array(true, dtype=float)
    for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
        these = (chance >= low) & (chance < high)
        assert abs(came[these].mean() - chance[these].mean()) < 0.05


def test_a_place_does_not_hang_on_the_draws() -> None:
    """A board that keeps a limit with 52 % stands before one that does with 48 %, whatever the seed."""
    root = 0.5
    shift = 0.05 * root  # of the slack of 0.5: 52 and 48 % by the normal distribution
    seen = [LabEstimate.build(at(0, 0.5 + s, 0), np.eye(3) * root**2) for s in (shift, -shift)]
    pool = pool_floor([FloorSpot("F1", (estimate_of(FLOOR),))])
    together = gather(seen, estimate_of(FLOOR))
    for seed in range(20):
        subjects = ["breaks", "keeps"]
        found = rank_colours(pool, together, subjects, aim=Aim(limits=("redder",)), count=20, seed=seed).boards
        assert [b.board for b in found] == ["keeps", "breaks"]
        chances = [b.within_limits or 0.0 for b in found]
        assert chances == pytest.approx([0.51994, 0.48006], abs=0.015)


@pytest.mark.parametrize(("formula", "name"), [(CIEDE2000_TEXTURE, "CIEDE2000(2:1:1)"), (CMC_2_1, "CMC(2:1)")])
def test_other_formulas_rank_by_their_own_score(formula: object, name: str) -> None:
    """By kL = 2 and by CMC(2:1) a lightness difference weighs half, so the order turns; dE00 stays what it is."""
    boards = [board("lighter", at(3.2, 0, 0)), board("pinker", at(0, 2.6, 0))]
    plain = rank(boards)
    ranking = rank(boards, Aim(formula=formula))  # type: ignore[arg-type] # a formula
    assert [b.board for b in plain.boards] == ["pinker", "lighter"]
    assert [b.board for b in ranking.boards] == ["lighter", "pinker"]
    assert ranking.aim.scored_by.name == name
    of_plain = {b.board: b.delta_e00 for b in plain.boards}
    assert all(b.delta_e00 == of_plain[b.board] for b in ranking.boards)


@pytest.mark.parametrize(
    "wrong", [{"step": 5.0}, {"name": "contrast", "step": 0.0}, {"name": "contrast", "hue_within": 0.0}]
)
def test_aims_that_cannot_be_meant_are_refused(wrong: dict[str, object]) -> None:
    """A match with a step, a contrast of nothing and no tolerance of hue are refused."""
    with pytest.raises(ValueError, match=r"contrast|tolerance"):
        Aim(**wrong)  # type: ignore[arg-type] # wrong on purpose


def test_each_choice_says_what_it_costs() -> None:
    """The best match is far from the contrast and the other way round; a board good for both costs nothing."""
    boards = [board("match", at(1, 0, 0)), board("contrast", at(-12, 0, 0))]
    one, two = compare_aims([rank(boards), rank(boards, Aim("contrast", -12.0))])
    assert (one.board, two.board) == ("match", "contrast")
    assert one.cost == pytest.approx(one.other_score.value - two.score.value)
    assert two.cost > 8.0
    assert "match" in two.in_words
    both = compare_aims([rank(boards[:1]), rank(boards[:1], Aim("contrast", -12.0))])
    assert both[0].cost == 0.0
    assert "as good as the best" in both[0].in_words


# The next photo


def next_of(
    boards: list[BoardSeen],
    spots: list[PlankSeen],
    scatter: Components = CALM,
    *,
    now: float | None = None,
    seed: int = 0,
) -> tuple[NextPhoto, ...]:
    """What one more photo would bring."""
    names = [b.board for b in boards]
    return next_photos(observations_of(boards, spots), names, scatter, MATCH, now=now, seed=seed)


def test_next_photo_is_of_a_board_in_doubt() -> None:
    """Between a well-known and a poorly known board of nearly one difference, photographing the latter gains most."""
    boards = [board("sure", at(2.4, 0, 0), 0.1), board("unsure", at(-2.2, 0.2, 0), 1.2)]
    photos = next_of(boards, planks(8))
    assert photos[0].board == "unsure"
    assert photos[0].gain > photos[-1].gain
    assert "with the floor beside it" in photos[0].in_words


def test_a_photo_of_the_board_alone_is_weighed_too() -> None:
    """Each board's photo is weighed with the floor and without; of equals the one without comes first."""
    boards = [board("B1", at(2.4, 0, 0), 0.1), board("B2", at(-2.2, 0.2, 0), 1.2)]
    photos = next_of(boards, planks(12), now=0.6)
    assert {(p.what, p.board) for p in photos} == {
        ("board", "B1"), ("board", "B2"), ("board with floor", "B1"), ("board with floor", "B2"), ("floor", None),
    }  # fmt: skip
    of = {(p.what, p.board): p for p in photos}
    assert of["board", "B2"].gain > 0.5 * of["board with floor", "B2"].gain > 0.0
    assert all(p.now == 0.6 for p in photos)
    assert "B2 alone" in of["board", "B2"].in_words


def test_a_photo_never_lowers_the_chance_on_average() -> None:
    """Whatever the photo, the expected chance of picking the right board does not fall."""
    rng = np.random.default_rng(1)
    for seed in range(8):
        boards = [board(f"B{i}", FLOOR + rng.normal(0, 2, 3), 0.5) for i in range(4)]
        assert all(photo.gain >= 0.0 for photo in next_of(boards, planks(3), seed=seed))


def test_expected_chance_comes_true() -> None:
    """Taking the photo in many worlds, the right board is then picked as often as was expected, within five points."""
    rng = np.random.default_rng(9)
    spots = planks(6, 0.05)
    quiet = Components(tuple(map(tuple, np.eye(3) * 1e-4)), tuple(map(tuple, np.eye(3) * 1e-4)))
    expected, picked = [], []
    for _ in range(amount(100, 300)):
        truth = FLOOR + rng.normal(0, 1.2, (2, 3)) + [[3, 0, 0], [-3, 0, 0]]

        def see(number: int, photo: str, truth: np.ndarray = truth) -> Seen:
            shared = rng.normal() * np.array([0.7, 0, 0.21])
            lab = truth[number] + rng.normal(0, 0.7, 3) + shared
            colour = LabEstimate.build(
                lab, np.eye(3) * 0.49, (SharedEffect("fit-1", f"photo:{photo}", (0.7, 0.0, 0.21)),)
            )
            floor = LabEstimate.build(FLOOR + rng.normal(0, 0.05, 3) + shared, np.eye(3) * 0.0025, colour.shared)
            return Seen(colour, photo, floor)

        boards = [BoardSeen(f"{i}", (see(i, f"p{i}"),)) for i in range(2)]
        photo = next(p for p in next_of(boards, spots, quiet) if p.board == "0")
        expected.append(photo.then)
        boards[0] = replace(boards[0], photos=(*boards[0].photos, see(0, "new")))
        after = solve_seen(boards, spots, quiet).colours
        pick = int(np.argmin(delta_e_00(after.labs, after.floor_lab)))
        picked.append(pick == int(np.argmin(delta_e_00(truth, FLOOR))))
    assert abs(np.mean(expected) - np.mean(picked)) < 0.05


def test_one_board_needs_no_photo_to_be_told_apart() -> None:
    """With one board there is nothing to settle."""
    assert next_photos(observations_of([board("B1", FLOOR)], planks()), ["B1"], CALM, MATCH) == ()


# Recipes


def weighed_boards(
    rng: np.random.Generator, recipes: np.ndarray, each: int
) -> tuple[Solution, list[str], dict[str, str]]:
    """Boards of recipes with true board-to-board scatter."""
    boards, groups = [], {}
    for r, recipe in enumerate(recipes):
        for i in range(each):
            name = f"B{r}.{i}"
            groups[name] = f"R{r}"
            true = recipe + rng.normal(0, (1.0, 0.4, 0.8))
            shared = rng.normal() * np.array([0.2, 0, 0.06]) + rng.normal(0, (0.25, 0.12, 0.18))
            boards.append(board(name, true + rng.normal(0, 0.2, 3) + shared, 0.2))
    return solve_seen(boards, planks(), CALM), [b.board for b in boards], groups


def test_recipes_are_pooled_over_their_boards() -> None:
    """A recipe's colour is near the mean of its boards and surer than any; 95 % of intervals hold its true one."""
    held, total = 0, 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        recipes = FLOOR + rng.normal(0, 4, (3, 3))
        weighed, names, groups = weighed_boards(rng, recipes, 3)
        pooled = pool_recipes(weighed.colours, names, groups)
        assert pooled is not None
        assert pooled.names == ("R0", "R1", "R2")
        own = pooled.colours.own
        off = pooled.colours.labs - recipes
        held += int((np.einsum("ni,nij,nj->n", off, np.linalg.inv(own), off) < 7.815).sum())  # chi squared, 3, 95 %
        total += 3
        assert (np.linalg.eigvalsh(pooled.board_to_board) > 0).all()
    assert 0.90 <= held / total <= 0.995


def test_board_to_board_scatter_is_found_from_many_boards() -> None:
    """From 40 recipes of four boards the scatter from board to board comes out within a fifth."""
    rng = np.random.default_rng(2)
    weighed, names, groups = weighed_boards(rng, FLOOR + rng.normal(0, 4, (40, 3)), 4)
    pooled = pool_recipes(weighed.colours, names, groups)
    assert pooled is not None
    np.testing.assert_allclose(np.sqrt(np.diag(pooled.board_to_board)), (1.0, 0.4, 0.8), rtol=0.2)


def test_nothing_is_pooled_without_a_recipe_of_two_boards() -> None:
    """Boards that each stand alone give no ranking of recipes."""
    weighed = solve_seen([board("B1", FLOOR), board("B2", FLOOR)], planks(), CALM)
    assert pool_recipes(weighed.colours, ["B1", "B2"], {"B1": "R1"}) is None


# Words


@given(
    st.tuples(st.floats(20, 90), st.floats(-4, 4), st.floats(-4, 4)),
    st.tuples(*(st.floats(-4, 4),) * 3),
)
@settings(max_examples=60)
def test_the_larger_direction_is_named_first(floor: tuple[float, ...], step: tuple[float, ...]) -> None:
    """On any grey floor words come in the order in which scikit-image's CIEDE2000 finds the directions large."""
    skimage_color = import_module("skimage.color")
    difference = signed_difference(np.add(floor, step), floor)
    said = describe(difference)
    middle = np.add(floor, np.array(step) / 2)
    sizes = {}
    for axis, words in enumerate((("darker", "lighter"), ("greener", "pinker"), ("bluer", "more golden"))):
        half = np.eye(3)[axis] * step[axis] / 2
        sizes[words[step[axis] > 0]] = float(skimage_color.deltaE_ciede2000(middle - half, middle + half))
    named = sorted((word for word in sizes if word in said), key=said.index)
    assert all(sizes[one] >= sizes[two] - 1e-6 for one, two in pairwise(named))
    assert all(size < 0.5 + 1e-6 for word, size in sizes.items() if word not in named)


@given(st.floats(0, 0.79), st.floats(0.02, 20))
def test_what_is_hardly_told_is_not_called_far(value: float, ratio: float) -> None:
    """No sentence calls a difference hardly to be told and many times as far off at once."""
    for difference in (signed_difference(at(0.1, 0, 0), FLOOR), signed_difference(at(0.7, 0, 0), FLOOR)):
        said = lay_sentence(difference, DeltaE(value, 0.0, 3.0), ratio)
        assert not any(words in said for words in ("times as far", "far outside", "farther off"))


def test_sentence_names_direction_and_the_floors_own_range() -> None:
    """A touch darker and pinker, and as far off as planks are: said in one sentence, figures left out."""
    difference = signed_difference(at(-1.2, 1.3, 0), FLOOR)
    said = lay_sentence(difference, DeltaE(1.6, 1.1, 2.0), 1.0)
    assert said == "A touch pinker and darker than the floor, about as far off as its own planks are."


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (0.2, "well inside"),
        (1.0, "about as far off"),
        (1.6, "a little farther"),
        (2.6, "about 3 times"),
        (9, "far outside"),
    ],
)
def test_words_of_the_ratio(ratio: float, words: str) -> None:
    """Each band of the ratio has its words."""
    assert range_words(ratio).startswith(words)


@given(st.floats(0, 60), st.floats(0.001, 20))
@settings(max_examples=60)
def test_sentences_are_whole(value: float, ratio: float) -> None:
    """Whatever the figures, the sentence starts with a capital, ends with one full stop and holds no empty place."""
    said = lay_sentence(SignedDifference(value, 0, 0, 0, 0), DeltaE(value, value / 2, value * 2), ratio)
    assert said[0].isupper()
    assert said.endswith(".")
    assert not said.endswith("..")
    assert "{" not in said
    assert RANGES[-1][0] == float("inf")


def test_an_even_floor_sets_no_ratio() -> None:
    """Beside planks all but equal no multiple is named; an open difference is said to be open."""
    assert "all but equal" in lay_sentence(signed_difference(at(2, 0, 0), FLOOR), DeltaE(1.8, 1.0, 2.5), 20.0)
    assert "leave open" in lay_sentence(signed_difference(at(2, 0, 0), FLOOR), DeltaE(1.8, 0.0, 2.5))
    assert lay_sentence(signed_difference(FLOOR, FLOOR), DeltaE(0.1, 0.0, 0.5)).startswith("Hardly to be told")
