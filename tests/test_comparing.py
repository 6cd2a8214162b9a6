"""Logged boards compared with the logged floor: pairs, lights, aims and recipes; invented figures, no photo decoded."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.cli.lazy import finishlab
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.finish import Finish, Preparation, Topcoat
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.matching.aims import Aim
from finishlab.measure.results import Measurement
from finishlab.rank.comparing import compare, rank_boards
from finishlab.recipe import Recipe

FLOOR = np.array([56.0, 8.0, 22.0])
LAMP = "lamp 2700 k"
DONE = BoardRecord("ash", "walnut brown", 1, "water PU, matte", date=DAY)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    """Open an empty logbook."""
    with Logbook.open(tmp_path / "log", who="tester") as opened:
        yield opened


def seen(log: Logbook, folder: Path, name: str, **labs: np.ndarray) -> Measurement:
    """A measurement of fields with these colours, in a photo of its own."""
    photo = keep(log, folder, f"{name}.jpg")
    made = measurement(photo, *labs)  # type: ignore[arg-type] # names of fields
    fit = (SharedEffect("fit-1", f"photo:{photo.photo_id}", (0.5, 0.1, 0.2)),)
    fields = {}
    for field, lab in labs.items():
        found = made.fields[field]  # type: ignore[index] # names of fields
        colours = tuple((float(lab[0] + i - 15.5), float(lab[1]), float(lab[2])) for i in range(32))
        estimate = LabEstimate.build(lab, np.eye(3) * 0.04, fit)
        fields[field] = replace(found, estimate=estimate, colours=colours, doubts=(), texture=None)
    return replace(made, fields=fields)  # type: ignore[arg-type] # names of fields


def add_floor(log: Logbook, folder: Path, light: str = "daylight", shift: float = 0.0, count: int = 5) -> None:
    """Log spots of the floor in a light."""
    for i in range(count):
        lab = FLOOR + np.array([shift + 0.4 * (i - 2), 0.1 * (i % 2), 0.2 * (i % 3)])
        record = FloorSpotRecord(f"plank {i}", light=light, date=DAY)
        log.add_floor_spots(record, [[seen(log, folder, f"floor {light} {i}", floor=lab)]])


def add_board(log: Logbook, folder: Path, name: str, step: tuple[float, ...], record: BoardRecord = DONE) -> str:
    """Log a board that differs from the floor by a step."""
    return log.add_board(record, [seen(log, folder, name, board=FLOOR + np.array(step))]).number


def add_pair(log: Logbook, folder: Path, number: str, name: str, step: tuple[float, ...]) -> None:
    """Log a photo of a board with the floor beside it."""
    found = seen(log, folder, name, board=FLOOR + np.array(step), floor=FLOOR)
    pair = DirectPair.of(found)
    assert pair is not None
    log.add_board_photos(number, [found], [pair])


def codes(ranking: Any, board: str) -> set[str]:
    """Codes of a board's doubts."""
    return {d.code for b in ranking.boards if b.board == board for d in b.doubts}


def test_a_pair_is_one_photo_more_and_narrows_the_interval(log: Logbook, tmp_path: Path) -> None:
    """After a photo of board and floor together the board counts two photos, one pair, and its interval is narrower."""
    add_floor(log, tmp_path)
    number = add_board(log, tmp_path, "alone", (3, 0, 0))
    before = rank_boards(log).boards[0]
    add_pair(log, tmp_path, number, "together", (3, 0, 0))
    after = rank_boards(log).boards[0]
    assert (before.photos, before.pairs, after.photos, after.pairs) == (1, 0, 2, 1)
    assert after.delta_e00.high - after.delta_e00.low < before.delta_e00.high - before.delta_e00.low
    assert rank_boards(log).floor.photos == 6


def test_two_lights_are_compared(log: Logbook, tmp_path: Path) -> None:
    """A board near by day and off by lamp is doubted; both lights are told; there is no doubt of one light only."""
    add_floor(log, tmp_path)
    add_floor(log, tmp_path, LAMP, 1.0)
    moving = add_board(log, tmp_path, "moving", (0.5, 0, 0))
    steady = add_board(log, tmp_path, "steady", (2.5, 0, 0))
    log.add_board_photos(moving, [seen(log, tmp_path, "moving lamp", board=FLOOR + np.array([7.0, 0, 0]))], light=LAMP)
    log.add_board_photos(steady, [seen(log, tmp_path, "steady lamp", board=FLOOR + np.array([3.5, 0, 0]))], light=LAMP)
    found = compare(log)
    assert found.light == "daylight"
    assert found.lights is not None
    assert [light.text for light in found.lights.lights] == ["daylight", LAMP]
    assert [b.board for b in found.lights.boards] == [steady, moving]
    assert "moves-between-lights" in codes(found.ranking, moving)
    assert "moves-between-lights" not in codes(found.ranking, steady)
    assert "order-flips" in {d.code for d in found.ranking.floor.doubts}
    assert "one-light" not in {d.code for d in found.ranking.floor.doubts}
    assert found.lights.missing == ()


def test_floor_lighter_than_the_clear_only_board_is_not_reachable_by_stain(log: Logbook, tmp_path: Path) -> None:
    """Boards of the wood whose clear-only board is darker than the floor are doubted; another wood's are not."""
    add_floor(log, tmp_path)
    clear = replace(DONE, stain=None, coats=None, purpose="clear-only control")
    add_board(log, tmp_path, "clear", (-6, 0, 0), clear)
    add_board(log, tmp_path, "stained", (-9, 0, 0))
    add_board(log, tmp_path, "birch", (-2, 0, 0), replace(DONE, species="birch"))
    ranking = rank_boards(log)
    assert "not-reachable" in codes(ranking, "B2")
    assert "not-reachable" not in codes(ranking, "B3")
    assert "not-reachable" not in codes(rank_boards(log, aim=Aim("contrast", -12.0)), "B2")
    assert "not-reachable" in codes(rank_boards(log, aim=Aim("contrast", 8.0)), "B2")


def test_a_verdict_rests_on_finished_boards_only(log: Logbook, tmp_path: Path) -> None:
    """Raw, uncoated and wet boards are not final, and each says why."""
    add_floor(log, tmp_path)
    add_board(log, tmp_path, "done", (1, 0, 0))
    add_board(log, tmp_path, "raw", (2, 0, 0), BoardRecord("ash", purpose="raw", date=DAY))
    add_board(log, tmp_path, "bare", (3, 0, 0), BoardRecord("ash", "brown", 1, date=DAY))
    add_board(log, tmp_path, "wet", (4, 0, 0), replace(DONE, note="still damp"))
    ranking = rank_boards(log)
    assert [b.final for b in ranking.boards] == [True, False, False, False]
    assert ["board-bare" in codes(ranking, "B2"), "not-topcoated" in codes(ranking, "B3")] == [True, True]
    assert "board-wet" in codes(ranking, "B4")


def test_sampled_colours_are_paired_with_the_floors(log: Logbook, tmp_path: Path) -> None:
    """With colours kept of floor and boards the ranking says how far they lie colour by colour."""
    add_floor(log, tmp_path)
    add_board(log, tmp_path, "one", (2, 0, 0))
    ranking = rank_boards(log)
    (board,) = ranking.boards
    assert board.colours_e00 == pytest.approx(board.delta_e00.value, abs=0.4)
    assert board.figure_e00 is not None
    assert board.figure_e00 < 0.6
    assert ranking.floor.colours_e00 is not None


def test_boards_in_doubt_get_a_next_photo(log: Logbook, tmp_path: Path) -> None:
    """When the first place is open, the photos that may settle it are weighed; when it is settled, none is."""
    add_floor(log, tmp_path)
    add_board(log, tmp_path, "one", (2, 0, 0))
    add_board(log, tmp_path, "two", (-2, 0.2, 0))
    open_one = rank_boards(log)
    assert {photo.board for photo in open_one.next_photos} == {"B1", "B2", None}
    assert open_one.boards[0].inseparable == ("B2",) or open_one.boards[0].inseparable == ("B1",)
    log.remove("B2")
    assert rank_boards(log).next_photos == ()


def test_the_best_under_each_aim_and_its_cost(log: Logbook, tmp_path: Path) -> None:
    """Match and contrast name their boards; each costs under the other what the other's best is nearer."""
    add_floor(log, tmp_path)
    add_board(log, tmp_path, "near", (1, 0, 0))
    add_board(log, tmp_path, "dark", (-12, -1, -3))
    match, contrast = compare(log, other=Aim("contrast", -12.0)).choices
    assert (match.board, contrast.board) == ("B1", "B2")
    assert match.cost > 5.0
    assert contrast.cost > 5.0


def run(log: Logbook, *words: str) -> Any:
    """Run the command on the logbook's folder."""
    return CliRunner().invoke(finishlab, ["--logbook", str(log.folder), "rank", *words])


def test_rank_command_serves_aims_limits_and_formulas(log: Logbook, tmp_path: Path) -> None:
    """Aim, limits and formula reach the document; the contract's keys stay, and every board is in it whatever --top."""
    add_floor(log, tmp_path)
    add_board(log, tmp_path, "near", (1, 2, 0))
    add_board(log, tmp_path, "dark", (-12, -1, -3))
    for words, first, formula in (
        ((), "B1", "CIEDE2000"),
        (("--aim", "contrast", "--darker", "12"), "B2", "CIEDE2000(1:2:1)"),
        (("--no-redder",), "B2", "CIEDE2000"),
        (("--texture",), "B1", "CIEDE2000(2:1:1)"),
        (("--cmc",), "B1", "CMC(2:1)"),
        (("--most", "1"), "B1", "CIEDE2000"),
    ):
        done = run(log, *words, "--json")
        assert done.exit_code == 0, done.output
        found = json.loads(done.stdout)
        assert found["format"] == "finishlab/ranking/1"
        assert found["ranking"][0]["board"] == first
        assert found["aim"]["formula"] == formula
        assert len(found["ranking"]) == 2
        assert {c["aim"]["name"] for c in found["choices"]} == {"match", "contrast"}
        assert run(log, *words).exit_code == 0
    assert "and 1 more" in run(log, "--full", "--most", "1").stdout


@pytest.mark.parametrize(
    "words",
    [("--darker", "12"), ("--aim", "contrast", "--darker", "12", "--lighter", "3"), ("--texture", "--cmc"),
     ("--hue-within", "5"), ("--aim", "contrast", "--darker", "0")],
)  # fmt: skip
def test_options_that_do_not_go_together_are_usage_errors(log: Logbook, words: tuple[str, ...]) -> None:
    """A step without a contrast, two steps, two formulas: exit code 2 before anything is compared."""
    assert run(log, *words).exit_code == 2


def test_the_record_of_a_board_speaks_in_the_ranking(log: Logbook, tmp_path: Path) -> None:
    """State, grit and sheen of the finish record raise their doubts; a cured board like the treads has none of them."""
    add_floor(log, tmp_path)
    floor = log.floor_spots()[0]
    log.edit_floor_spot(floor.number, note="sheen: matte")
    good = Finish(Preparation(grits=(80, 100, 120)), topcoat=Topcoat("water polyurethane 1-part", gloss_gu=15.0))
    fine = Finish(Preparation(grits=(80, 120, 180)), topcoat=Topcoat("water polyurethane 1-part", gloss_gu=75.0))
    add_board(log, tmp_path, "good", (0.5, 0.0, 0.0), replace(DONE, finish=good, state="cured"))
    add_board(log, tmp_path, "fine", (0.6, 0.0, 0.0), replace(DONE, finish=fine, state="stain dry"))
    log.approve("B1", reason="closest")
    found = {board.board: board for board in compare(log).ranking.boards}
    codes = {name: {doubt.code for doubt in board.doubts} for name, board in found.items()}
    assert not codes["B1"] & {"grit-differs", "sheen-differs", "not-topcoated", "board-wet", "board-bare"}
    assert codes["B2"] >= {"grit-differs", "sheen-differs", "not-topcoated"}
    assert found["B1"].final
    assert not found["B2"].final


def test_boards_of_one_recipe_are_pooled_by_their_records(log: Logbook, tmp_path: Path) -> None:
    """Two boards under one recipe stand as one among the recipes, by their mean, with the number people read."""
    add_floor(log, tmp_path)
    for name, step in (("a", 4.0), ("b", 6.0), ("c", 9.0)):
        add_board(log, tmp_path, name, (step, 0.0, 0.0))
    assert compare(log).recipes is None
    made = log.add_recipe(Recipe("walnut"))
    for number in ("B1", "B2"):
        log.edit_board(number, recipe_number=int(made.number[1:]))
    pooled = compare(log).recipes
    assert pooled is not None
    assert [each.board for each in pooled.boards] == ["R1", "B3"]
    assert pooled.boards[0].difference.dL == pytest.approx(5.0, abs=0.7)
    assert pooled.boards[0].photos == 2


def test_the_floor_is_shown_at_the_mean_of_its_photos(log: Logbook, tmp_path: Path) -> None:
    """Photos that share a camera and a print leave the floor at the plain mean of its spots, within a hundredth."""
    add_floor(log, tmp_path)
    add_board(log, tmp_path, "a", (1.0, 0.0, 0.0))
    spots = np.mean([spot.measurements[0].field.estimate.lab for spot in log.floor_spots()], axis=0)
    ranking = compare(log).ranking
    np.testing.assert_allclose(ranking.floor.lab, spots, atol=0.01)
    board = ranking.boards[0]
    signed = board.difference
    np.testing.assert_allclose(np.array(board.lab) - ranking.floor.lab, [signed.dL, signed.da, signed.db])
