"""Recipes, cans, the standard, history and undo through the real command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.cli.lazy import finishlab
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair


class Desk:
    """A logbook with two boards, and the command on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "log"
        with Logbook.open(self.folder, who="ada") as log:
            log.add_board(
                BoardRecord("ash", stain="walnut", coats=2, topcoat="satin", date=DAY, state="cured"),
                [measurement(keep(log, folder, "one.jpg"))],
            )
            log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, folder, "two.jpg"))])

    def __call__(self, *words: str) -> Result:
        """Run a command line."""
        return CliRunner().invoke(finishlab, ["--logbook", str(self.folder), *words])


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """Return the desk."""
    return Desk(tmp_path)


STEP = "water; maker=Acme; colour=walnut; wipe=5; coats=2"
TOP = "water pu; sheen=satin; gloss=30; coats=3; recoat=4"


def test_a_recipe_is_written_down_shown_and_changed(desk: Desk) -> None:
    """Every section given comes back in words and in JSON; one field of one step can be changed alone."""
    added = desk("recipe", "add", "walnut, satin", "--preparation", "grits=80-100-120", "--step", STEP, "--top", TOP)
    assert added.exit_code == 0, added.stderr
    assert added.stdout == "R1\n"
    shown = " ".join(desk("recipe", "show", "R1").stdout.split())
    for words in ("walnut, satin", "80-100-120", "Acme walnut", "sheen satin", "30 GU, 3 coats"):
        assert words in shown
    assert desk("recipe", "edit", "R1", "--step", "1: wipe=9", "--top", "coats=4").exit_code == 0
    (entry,) = json.loads(desk("recipe", "show", "R1", "--json").stdout)["recipes"]
    finish = entry["record"]["finish"]
    assert [step["wipe_min"] for step in finish["steps"]] == [9, 5]
    assert finish["topcoat"]["coats"] == 4
    assert finish["topcoat"]["gloss_gu"] == 30
    assert desk("recipe", "edit", "R1").exit_code == 2
    assert "walnut, satin" in desk("recipe", "list").stdout
    assert desk("recipe", "remove", "R1").exit_code == 0
    emptied = json.loads(desk("recipe", "list", "--json").stdout)
    assert (emptied["format"], emptied["recipes"]) == ("finishlab/recipes/1", [])


@pytest.mark.parametrize(
    "wrong",
    [
        ("--top", "water pu; coats=9"),
        ("--top", "water pu; gloss=101"),
        ("--step", "oil; wipe=61"),
        ("--step", "oil; thinner=51"),
        ("--preparation", "grits=120-80"),
        ("--preparation", "moisture=31"),
        ("--seal", "shellac; coats=3"),
        ("--step", "oil; colour"),
        ("--top", "water pu; shine=3"),
    ],
)
def test_what_passes_a_hard_limit_is_refused_and_the_recipe_stays(desk: Desk, wrong: tuple[str, str]) -> None:
    """A sentence, exit code 2, and the recipe as it was."""
    assert desk("recipe", "add", "plain", "--step", STEP).exit_code == 0
    before = desk("recipe", "show", "R1", "--json").stdout
    refused = desk("recipe", "edit", "R1", *wrong)
    assert refused.exit_code == 2
    assert refused.stderr.startswith("Error: ")
    assert desk("recipe", "show", "R1", "--json").stdout == before
    assert desk("recipe", "add", "other", *wrong).exit_code == 2
    assert len(json.loads(desk("recipe", "list", "--json").stdout)["recipes"]) == 1


def test_a_can_is_logged_with_lot_label_and_place(desk: Desk) -> None:
    """Sizes with units are litres on record; the label's figures come back; what is left can be changed alone."""
    added = desk(
        "can", "add", "walnut", "--kind", "oil stain", "--lot", "W-204", "--size", "1qt", "--left", "0.5",
        "--place", "cellar", "--label", "coverage=10; coverage-to=12; recoat=6", "--opened", "2024-05-01",
    )  # fmt: skip
    assert added.exit_code == 0, added.stderr
    assert added.stdout == "C1\n"
    assert "Caution: " in added.stderr
    assert "rags" in added.stderr
    assert desk("can", "edit", "C1", "--left", "300ml", "--label", "price=34").exit_code == 0
    (entry,) = json.loads(desk("can", "show", "C1", "--json").stdout)["cans"]
    assert entry["record"]["size_l"] == pytest.approx(0.946353, abs=1e-6)  # US quart, NIST Handbook 44 appendix C
    assert entry["record"]["left_l"] == pytest.approx(0.3)
    assert entry["record"]["label"]["price"] == 34
    assert entry["record"]["label"]["recoat_h"] == 6
    shown = desk("can", "show", "C1").stdout
    assert "W-204" in shown
    assert "cellar" in shown
    assert "cellar" in desk("can", "list").stdout


def test_a_caution_is_said_once_a_day(desk: Desk) -> None:
    """The second oily can of the day is logged without saying again what was said."""
    first = desk("can", "add", "walnut", "--kind", "oil stain")
    second = desk("can", "add", "honey", "--kind", "oil stain")
    assert first.stderr.count("Caution: ") >= 2
    assert "Caution: " not in second.stderr
    assert "hardener" in desk("can", "add", "finish", "--kind", "water polyurethane 2-part").stderr.casefold()


def test_a_can_that_turns_out_to_be_another_kind_calls_for_its_cautions(desk: Desk) -> None:
    """A corrected kind or name is used like a new can; what is left or where says nothing new."""
    assert "Caution: " not in desk("can", "add", "walnut", "--kind", "water stain").stderr
    assert "Caution: " not in desk("can", "edit", "C1", "--place", "attic").stderr
    assert "rags" in desk("can", "edit", "C1", "--kind", "oil stain").stderr


@pytest.mark.parametrize(
    "wrong",
    [
        ("--size", "-1"),
        ("--size", "a lot"),
        ("--left", "3L", "--size", "1L"),
        ("--label", "coverage=12; coverage-to=10"),
        ("--label", "recoat=24; recoat-within=4"),
        ("--opened", "yesterday"),
        ("--opened", "2999-01-01"),
    ],
)
def test_a_can_that_cannot_be_is_refused(desk: Desk, wrong: tuple[str, ...]) -> None:
    """A sentence, exit code 2, and no can."""
    refused = desk("can", "add", "walnut", "--kind", "oil stain", *wrong)
    assert refused.exit_code == 2
    assert refused.stderr.startswith("Error: ")
    assert json.loads(desk("can", "list", "--json").stdout)["cans"] == []


def test_a_board_is_approved_and_the_standard_before_is_kept(desk: Desk) -> None:
    """The board's finish becomes a recipe and the standard; a second approval ends the first, which stays on record."""
    done = desk("approve", "B1", "--reason", "closest by day", "--date", "2024-06-01")
    assert done.exit_code == 0, done.stderr
    assert "R1" in done.stderr
    assert "topcoated and dry" not in done.stderr
    assert json.loads(desk("board", "show", "B1", "--json").stdout)["boards"][0]["record"]["recipe_number"] == 1
    shown = desk("standard").stdout
    for words in ("R1", "B1", "2024-06-01 by", "closest by day"):
        assert words in shown
    second = desk("approve", "B2")
    assert "stain dry" in second.stderr, "a board without a topcoat gets no silent approval"
    both = json.loads(desk("standard", "--all", "--json").stdout)
    assert both["format"] == "finishlab/standard/1"
    assert [each["board"] for each in both["standards"]] == ["B2", "B1"]
    assert both["standards"][0]["ended"] is None
    assert both["standards"][1]["ended"] is not None
    assert desk("approve", "B9").exit_code == 6


def test_places_of_the_floor_are_counted_whatever_they_are_called(desk: Desk, tmp_path: Path) -> None:
    """Spots of one name are one place; the floor in a board's photo is another, unless it was logged as a spot."""
    with Logbook.open(desk.folder) as log:
        for name, spot in (("f1.jpg", "hall"), ("f2.jpg", "Hall"), ("f3.jpg", None)):
            log.add_floor_spots(
                FloorSpotRecord(spot=spot, date=DAY), [[measurement(keep(log, tmp_path, name), "floor")]]
            )
        for number, name in enumerate(("b1.jpg", "b2.jpg"), start=1):
            both = measurement(keep(log, tmp_path, name), "board", "floor")
            log.add_board_photos(f"B{number}", [both], [pair] if (pair := DirectPair.of(both)) else [])
            if number == 2:
                log.add_floor_spots(FloorSpotRecord(date=DAY), [[both]])
    told = desk("approve", "B1", "--reason", "ours").stderr
    # Hall, the unnamed spot, the floor beside B1 and the spot logged from B2's photo.
    assert "The floor was measured at 4 of the 5 places wanted" in told


def test_without_a_standard_the_next_step_is_named(desk: Desk) -> None:
    """No standard is no failure; what to do is said."""
    none = desk("standard")
    assert none.exit_code == 0
    assert "finishlab approve" in none.stdout


def test_history_tells_and_undo_takes_back(desk: Desk) -> None:
    """The change taken back is named; redo brings it back; both stand in the history."""
    assert desk("board", "edit", "B1", "--stain", "honey").exit_code == 0
    told = desk("history", "B1").stdout
    assert "stain “walnut” -> “honey”" in told
    done = desk("undo")
    assert done.exit_code == 0
    assert "of B1" in done.stderr
    assert "stain “walnut” -> “honey”" in done.stderr
    record = json.loads(desk("board", "show", "B1", "--json").stdout)["boards"][0]["record"]
    assert record["stain"] == "walnut"
    again = json.loads(desk("redo", "B1", "--json").stdout)
    assert again["format"] == "finishlab/redo/1"
    assert [each["subject"] for each in again["changes"]] == ["B1"]
    assert desk("redo").exit_code == 6
    record = json.loads(desk("board", "show", "B1", "--json").stdout)["boards"][0]["record"]
    assert record["stain"] == "honey"
    last = desk("history", "B1").stdout.splitlines()[-1]
    assert "brought back" in last
    assert "stain “walnut” -> “honey”" in last
    whole = json.loads(desk("history", "--json").stdout)["changes"]
    assert [each["what"] for each in whole if each["subject"] == "B1"] == ["add", "edit", "undo", "redo"]
    assert len(json.loads(desk("history", "--last", "2", "--json").stdout)["changes"]) == 2
    assert desk("history", "B9").exit_code == 6


def test_history_names_what_people_call_a_field(desk: Desk) -> None:
    """A recipe, a can's label and what is left in it are told in words, figure by figure, never as they are stored."""
    assert desk("recipe", "add", "plain", "--top", "oil pu").exit_code == 0
    assert desk("board", "edit", "B1", "--recipe", "R1").exit_code == 0
    assert "recipe none -> “R1”" in desk("history", "B1").stdout
    assert desk("can", "add", "honey", "--kind", "oil stain", "--label", "price=18; recoat=4").exit_code == 0
    assert desk("can", "edit", "C1", "--label", "price=20", "--left", "0.5L").exit_code == 0
    told = desk("history", "C1").stdout
    assert "label, price of the can “18” -> “20”" in told
    assert "left none -> “0.5 L”" in told
    assert "recoat" not in told
    assert "{" not in told


def test_a_recipe_from_a_board_is_the_boards_own(desk: Desk) -> None:
    """``--from-board`` takes what is written of the board and puts the board under the recipe."""
    assert desk("recipe", "add", "as on B1", "--from-board", "B1").exit_code == 0
    (entry,) = json.loads(desk("recipe", "list", "--json").stdout)["recipes"]
    assert entry["boards"] == ["B1"]
    assert entry["record"]["finish"]["steps"][0]["colour"] == "walnut"


def test_a_topcoat_far_glossier_than_the_floor_is_told(desk: Desk, tmp_path: Path) -> None:
    """Where a note says that the floor is matte, a gloss of 75 GU on the board is worth a thought."""
    with Logbook.open(desk.folder) as log:
        floor = FloorSpotRecord("door", note="matte vinyl", date=DAY)
        log.add_floor_spots(floor, [[measurement(keep(log, tmp_path, "floor.jpg"), "floor")]])
    done = desk("board", "edit", "B1", "--top", "water pu; gloss=75; coats=3")
    assert done.exit_code == 0, done.stderr
    assert "75 GU" in done.stderr
    assert "different colours" in done.stderr
