"""A board's whole record on the command line: options, files, answers, limits, and two boards side by side."""

from __future__ import annotations

import json
import shutil
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import pytest
from build_reference import BOARD_LIMITS, section_limits
from click.testing import CliRunner, Result
from conftest import Photos, Run
from logbook_makers import keep, measurement

from finishlab.board import BoardRecord
from finishlab.cli import finishlab
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.finish import FINISH_PARTS, Finish, step_changes
from finishlab.finish import commands as finish_commands
from finishlab.finish.entering import finish_context, read_record_file
from finishlab.logbook.store import Logbook
from finishlab.recipe import Recipe
from finishlab.record import parse_date

DAY: Final = parse_date("2024-05-20")
STEP: Final = "oil; maker=Acme; colour=honey; lot=7; wipe=10"
WOOD: Final = "cut=plain; size=150x300x19; stock=A; moisture=8; grits=80-100-120; raised=yes; drying=3"
TOP: Final = "water pu; sheen=satin; gloss=30; coats=3; recoat=4"
HONEY: Final = {"kind": "oil", "maker": "Acme", "colour": "honey", "lot": "7", "wipe_min": 10.0}


@pytest.fixture(scope="module")
def logged_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The logbook that `logged` copies."""
    folder = tmp_path_factory.mktemp("logged")
    with Logbook.open(folder / "logbook") as log:
        for number, record in enumerate(
            (
                BoardRecord("red oak", stain="walnut", coats=1, date=DAY, note="first try"),
                BoardRecord("red oak", purpose="clear-only control", date=DAY),
            )
        ):
            photo = keep(log, folder, f"IMG_{number}.JPG")
            log.add_board(record, [measurement(photo, "board", lightness=50.0 + 10.0 * number)])
        log.add_recipe(Recipe("honey", step_changes(Finish(), ("gel; colour=honey",))))
    return folder / "logbook"


@pytest.fixture
def logged(run: Run, logged_once: Path) -> Run:
    """A logbook with a plain stained board B1, a clear-only one B2 and a recipe R1."""
    shutil.copytree(logged_once, run.logbook)
    return run


def record_of(run: Run, number: str = "B1") -> dict[str, Any]:
    """Return a board's record as its JSON says it."""
    (board,) = json.loads(run("board", "show", number, "--json").stdout)["boards"]
    found: dict[str, Any] = board["record"]
    return found


def history_of(run: Run, number: str = "B1") -> list[Any]:
    """Return what was done to a board."""
    found: list[Any] = json.loads(run("board", "history", number, "--json").stdout)["changes"]
    return found


def test_a_whole_finish_is_logged_by_options(run: Run, photos: Photos) -> None:
    """Every section given on the line is in the record; stain, coats and topcoat in short follow from it."""
    done = run(
        "board", "add", photos("light_board"), "--species", "red oak", "--state", "cured", "--maker", "Ann",
        "--preparation", WOOD, "--step", STEP, "--step", "gel; colour=walnut", "--seal", "shellac; coats=1",
        "--top", TOP, "--looking", "place=on a stair; grain=across",
    )  # fmt: skip
    assert (done.exit_code, done.stdout) == (0, "B1\n"), done.stderr
    record = record_of(run)
    assert (record["state"], record["maker"]) == ("cured", "Ann")
    assert (record["stain"], record["coats"]) == ("Acme honey, then walnut", 2)
    assert record["topcoat"] == "satin water polyurethane 1-part"
    assert record["finish"] == {
        "preparation": {
            "cut": "plain", "stock_lot": "A", "size_mm": [150.0, 300.0, 19.0], "moisture_percent": 8.0,
            "grits": [80, 100, 120], "grain_raised": True, "drying_h": 3.0,
        },
        "steps": [HONEY, {"kind": "gel", "colour": "walnut"}],
        "seal": {"kind": "shellac", "coats": 1},
        "topcoat": {
            "kind": "water polyurethane 1-part", "sheen": "satin", "gloss_gu": 30.0, "coats": 3, "recoat_h": 4.0,
        },
        "looking": {"place": "on a stair", "grain": "across"},
    }  # fmt: skip
    assert "oil and gel" in done.stderr
    assert "No clear-only board" in done.stderr
    assert "rags with oil" in done.stderr


def test_what_is_said_in_short_stands_beside_the_long_form(logged: Run) -> None:
    """A stain named in the user's own words is kept when its steps are given in the same breath."""
    assert logged("board", "edit", "B1", "--stain", "our honey", "--step", STEP).exit_code == 0
    assert record_of(logged)["stain"] == "our honey"
    assert logged("board", "edit", "B1", "--looking", "place=on a stair").exit_code == 0
    assert record_of(logged)["stain"] == "our honey"


def test_a_single_step_is_changed_and_taken_out(logged: Run) -> None:
    """A number before a step changes that one; ``--clear`` takes a section out, and the short words with it."""
    assert logged("board", "edit", "B1", "--step", f"{STEP}; coats=2", "--top", TOP).exit_code == 0
    assert logged("board", "edit", "B1", "--step", "2: wipe=5").exit_code == 0
    assert [step["wipe_min"] for step in record_of(logged)["finish"]["steps"]] == [10.0, 5.0]
    assert logged("board", "edit", "B1", "--clear", "steps", "--clear", "top").exit_code == 0
    record = record_of(logged)
    assert (record["finish"], record["stain"], record["coats"], record["topcoat"]) == (None, None, None, None)
    refused = logged("board", "edit", "B1", "--clear", "steps", "--step", STEP)
    assert refused.exit_code == 2
    assert logged("board", "edit", "B1").exit_code == 2


def test_a_board_like_another(run: Run, photos: Photos, logged: Run) -> None:
    """``--like`` copies the record but for day and light; options win over it."""
    logged("board", "edit", "B1", "--step", STEP, "--preparation", WOOD, "--light", "lamp")
    done = run("board", "add", photos("light_board"), "--like", "b1", "--step", "1: lot=8", "--coats", "1")
    assert done.exit_code == 0, done.stderr
    made, like = record_of(run, "B3"), record_of(run)
    assert made["finish"]["steps"] == [HONEY | {"lot": "8"}]
    assert made["finish"]["preparation"] == like["finish"]["preparation"]
    assert (made["light"], made["date"], made["note"]) == ("daylight", "2024-05-11", "first try")
    assert run("board", "add", photos("dark_board"), "--like", "B9").exit_code == 6


def test_a_logged_board_made_like_another_keeps_what_is_its_own(logged: Run) -> None:
    """Of a logged board the day, note, purpose and the piece of wood stay."""
    logged("board", "edit", "B1", "--step", STEP, "--preparation", WOOD)
    logged("board", "edit", "B2", "--preparation", "size=100x200x19")
    assert logged("board", "edit", "B2", "--like", "B1").exit_code == 0
    record = record_of(logged, "B2")
    assert record["purpose"] == "clear-only control"
    assert record["note"] is None
    assert record["finish"]["steps"] == [HONEY]
    assert record["finish"]["preparation"]["size_mm"] == [100.0, 200.0, 19.0]
    assert record["finish"]["preparation"]["grits"] == [80, 100, 120]


def test_a_recipe_gives_its_finish(logged: Run) -> None:
    """A board without a finish takes that of its recipe, by number or name; one with a finish keeps its own."""
    assert logged("board", "edit", "B1", "--recipe", "Honey").exit_code == 0
    record = record_of(logged)
    assert (record["recipe_number"], record["stain"]) == (1, "honey")
    assert record["finish"]["steps"] == [{"kind": "gel", "colour": "honey"}]
    logged("board", "edit", "B2", "--step", STEP)
    assert logged("board", "edit", "B2", "--recipe", "R1").exit_code == 0
    assert record_of(logged, "B2")["finish"]["steps"] == [HONEY]
    assert logged("board", "edit", "B2", "--recipe", "R7").exit_code == 6


# -- files

TOML: Final = """
species = "ash"
state = "topcoated"
date = 2024-05-10
[finish]
preparation = "grits=80-120; stock=A"
[[finish.steps]]
kind = "oil"
wipe_min = 10
mix = [{colour = "honey", parts = 2}, {colour = "walnut", parts = 1}]
[finish.topcoat]
kind = "oil pu"
coats = 3
recoat_h = "6 h"
"""
CSV: Final = (
    "species;state;coats;preparation.grits;steps.2.colour;steps.1.colour;finish.steps.1.wipe_min;topcoat.kind\n"
    "ash;cured;2;80-120;walnut;honey;7,5;hardwax oil\n"
    "elm;;;;;;;\n"
)


def test_a_record_comes_from_a_toml_file(run: Run, photos: Photos, tmp_path: Path) -> None:
    """The file's names are the record's; values may be as the record keeps them or as people type them."""
    file = tmp_path / "board.toml"
    file.write_text(TOML)
    done = run("board", "add", photos("light_board"), "--from", file, "--state", "cured")
    assert done.exit_code == 0, done.stderr
    record = record_of(run)
    assert (record["species"], record["state"], record["date"]) == ("ash", "cured", "2024-05-10")
    assert record["finish"] == {
        "preparation": {"stock_lot": "A", "grits": [80, 120]},
        "steps": [
            {"kind": "oil", "wipe_min": 10.0,
             "mix": [{"colour": "honey", "parts": 2.0}, {"colour": "walnut", "parts": 1.0}]}
        ],
        "topcoat": {"kind": "oil polyurethane", "coats": 3, "recoat_h": 6.0},
    }  # fmt: skip


def test_sections_of_a_toml_file_may_stand_at_the_top(tmp_path: Path) -> None:
    """``[topcoat]`` means what ``[finish.topcoat]`` means; a text `topcoat` stays the short text."""
    top, within = tmp_path / "top.toml", tmp_path / "within.toml"
    top.write_text('species = "ash"\n[topcoat]\ncoats = 3\n[[steps]]\nkind = "oil"\n')
    within.write_text('species = "ash"\n[finish.topcoat]\ncoats = 3\n[[finish.steps]]\nkind = "oil"\n')
    assert read_record_file(top) == read_record_file(within)
    top.write_text('topcoat = "satin"\n[preparation]\ngrits = [80]\n')
    assert read_record_file(top).fields == {"topcoat": "satin"}


def test_a_record_comes_from_a_row_of_a_csv_file(logged: Run, tmp_path: Path) -> None:
    """Of several rows one is named; columns may stand in any order, empty cells say nothing."""
    file = tmp_path / "boards.csv"
    file.write_text(CSV)
    assert logged("board", "edit", "B1", "--from", file).exit_code == 2
    assert logged("board", "edit", "B1", "--from", file, "--row", 1).exit_code == 0
    record = record_of(logged)
    assert (record["species"], record["state"], record["coats"]) == ("ash", "cured", 2)
    assert record["finish"]["steps"] == [{"colour": "honey", "wipe_min": 7.5}, {"colour": "walnut"}]
    assert logged("board", "edit", "B2", "--from", file, "--row", 2).exit_code == 0
    assert record_of(logged, "B2")["species"] == "elm"
    assert logged("board", "edit", "B2", "--from", file, "--row", 3).exit_code == 2


ROWS: Final = "species,stain,purpose,preparation.grits,steps.1.kind,recipe\n"


def test_every_row_of_a_csv_file_becomes_a_board(logged: Run, tmp_path: Path) -> None:
    """Rows are logged in their order, each with its finish, its recipe and a history; none has a photo yet."""
    file = tmp_path / "boards.csv"
    file.write_text(ROWS + "ash,,raw,80-100,,\noak,,,,gel,honey\n,,,,,\nelm,,,,,\n")
    done = logged("board", "import", file)
    assert (done.exit_code, done.stdout) == (0, "B3\nB4\nB5\n"), done.stderr
    assert "3 boards logged: B3 to B5" in done.stderr
    assert record_of(logged, "B3")["finish"]["preparation"] == {"grits": [80, 100]}
    assert record_of(logged, "B4")["recipe_number"] == 1
    assert record_of(logged, "B5")["purpose"] == "candidate"
    assert [entry["what"] for entry in history_of(logged, "B5")] == ["add"]
    assert "Not measured yet" in logged("board", "show", "B3").stdout
    assert "B3 has no photo to measure again" in logged("remeasure", "B3").stderr
    (board,) = json.loads(logged("board", "import", file, "--json").stdout)["boards"][:1]
    assert board["board"] == "B6"


def test_rows_that_were_logged_before_are_told(logged: Run, tmp_path: Path) -> None:
    """A file read twice makes its boards twice, and says which boards say just the same."""
    file = tmp_path / "boards.csv"
    file.write_text(ROWS + "ash,,raw,80-100,,\nelm,,,,,\n")
    assert "logged before" not in logged("board", "import", file).stderr
    again = logged("board", "import", file)
    assert "Worth a thought, rows 1 and 2: a board that says just the same was logged before: B3, B4." in again.stderr


@pytest.mark.parametrize(
    ("rows", "code", "says"),
    [
        ("ash,,,,,\nelm,,,120-80,,\n", 2, "boards.csv, row 2: "),
        ("ash,,,,,\n,walnut,,,,\n", 2, "row 2: The board has no species."),
        ("ash,,,,,\nelm,,,,,R9\n", 6, "row 2: The logbook has no recipe R9."),
        ("ash,,,,,\nelm,,,,,,x\n", 2, "row 2: it has more cells than the head."),
        ("ash,,nice,,,\nelm,,,,,\noak,,,,soup,\nfir,,nice,,,\n", 2, "row 1: "),
    ],
)
def test_one_wrong_row_keeps_the_whole_file_out(logged: Run, tmp_path: Path, rows: str, code: int, says: str) -> None:
    """The row is named with what is wrong in it, and no board of the file is logged."""
    file = tmp_path / "boards.csv"
    file.write_text(ROWS + rows)
    refused = logged("board", "import", file)
    assert (refused.exit_code, refused.stdout) == (code, "")
    assert says in refused.stderr
    assert "Nothing was logged." in refused.stderr
    if rows.count("nice") == 2:
        assert "Rows 3 and 4 are wrong too." in refused.stderr
    assert len(json.loads(logged("board", "list", "--json").stdout)["boards"]) == 2


def test_a_can_that_is_not_there_names_its_row(logged: Run, tmp_path: Path) -> None:
    """A row that names an unknown can is refused like any other."""
    file = tmp_path / "boards.csv"
    file.write_text("species,steps.1.kind,steps.1.can_number\nash,oil,7\n")
    refused = logged("board", "import", file)
    assert refused.exit_code == 6
    assert "boards.csv, row 1: There is no can C7." in refused.stderr


def test_only_a_csv_file_holds_many_boards(logged: Run, tmp_path: Path) -> None:
    """A TOML file is one board's, and said so."""
    (tmp_path / "a.toml").write_text('species = "ash"')
    refused = logged("board", "import", tmp_path / "a.toml")
    assert refused.exit_code == 2
    assert "a TOML file holds one board" in refused.stderr


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.toml", 'specis = "ash"', "Do you mean species?"),
        ("a.toml", "[finish.topcoat]\ncoat = 3", "Do you mean coats?"),
        ("a.toml", "[finish.topcoat]\ncoats = 9", "“coats” cannot be 9"),
        ("a.toml", "finish = 3", "a table belongs here"),
        ("a.toml", "[seal]\ncoats = 1\n[finish.seal]\ncoats = 2", "said in two ways"),
        ("a.toml", "[finish.preparation]\ngrits = 80", "a list or a text belongs here"),
        ("a.toml", "[[finish.steps]]\nmix = [1, 2]", "2 honey + 1 walnut"),
        ("a.toml", "[finish]\nsteps = [1]", "a list of tables belongs here"),
        ("a.toml", 'recipe_number = "x"', "no recipe RX"),
        ("a.toml", "species = ", "is no TOML"),
        ("a.csv", "species,stain\nash,honey,extra\n", "more cells than the head"),
        ("a.csv", "species\n", "no row below its head"),
        ("a.csv", "species,steps.x.colour\nash,honey\n", "steps.1.colour"),
        ("a.csv", "species,colour\nash,honey\n", "is not known"),
        ("a.csv", "coats,species\n1.5,ash\n", "is not whole"),
    ],
)
def test_a_file_that_cannot_be_meant_changes_nothing(
    logged: Run, tmp_path: Path, name: str, text: str, says: str
) -> None:
    """What a file says wrong is told with its place, exit code 2 (6 for what the logbook lacks); nothing changes."""
    before, changes = record_of(logged), len(history_of(logged))
    (tmp_path / name).write_text(text)
    refused = logged("board", "edit", "B1", "--from", tmp_path / name)
    assert refused.exit_code == (6 if "recipe" in text else 2)
    assert says in refused.stderr
    assert record_of(logged) == before
    assert len(history_of(logged)) == changes


def test_a_missing_file_is_named(logged: Run, tmp_path: Path) -> None:
    """A file that is not there is a usage error that names it."""
    refused = logged("board", "edit", "B1", "--from", tmp_path / "none.toml")
    assert refused.exit_code == 2
    assert "none.toml cannot be read" in refused.stderr


# -- limits

PAST: Final[dict[str, list[str]]] = {
    "moisture_percent": ["--preparation", "moisture=31"],
    "grits": ["--preparation", "grits=12-80"],
    "size_mm": ["--preparation", "size=0x300x19"],
    "drying_h": ["--preparation", "drying=73"],
    "thinner_percent": ["--step", "oil; thinner=51"],
    "wipe_min": ["--step", "oil; wipe=61"],
    "coat": ["--step", "oil; coat=5"],
    "air_c": ["--step", "oil; air=46"],
    "rh_percent": ["--step", "oil; rh=101"],
    "gloss_gu": ["--top", "oil pu; gloss=101"],
    "rubout_grit": ["--top", "oil pu; rubout=120"],
}


@pytest.mark.parametrize("field", PAST)
def test_a_hard_limit_leaves_record_and_history_alone(logged: Run, field: str) -> None:
    """Past a hard limit the command ends with 2 and a sentence; the record and its history are as before."""
    before, changes = record_of(logged), history_of(logged)
    refused = logged("board", "edit", "B1", *PAST[field])
    assert refused.exit_code == 2
    row = next(
        row
        for row in (*BOARD_LIMITS, *(r for part in FINISH_PARTS for r in section_limits(part.section)))
        if row.field == field
    )
    assert row.words in refused.stderr
    assert row.hint in refused.stderr
    assert refused.stdout == ""
    assert (record_of(logged), history_of(logged)) == (before, changes)


def test_a_new_board_past_a_limit_is_not_logged(run: Run, photos: Photos) -> None:
    """It is refused before its photo is measured, and no number is spent."""
    refused = run("board", "add", photos("light_board"), "--species", "ash", "--top", "oil pu; coats=9")
    assert refused.exit_code == 2
    assert "“coats” cannot be 9" in refused.stderr
    assert "Nothing is logged" in run("board", "list").stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--preparation", "moisture=13; stock=A"], "13 % moisture"),
        (["--preparation", "grits=60-180; stock=A"], "From grit 60 to 180"),
        (["--step", "gel; wipe=6"], "gel sets after about 5 min"),
        (["--step", "oil; air=10"], "10 C"),
    ],
)
def test_a_soft_limit_is_told_once(logged: Run, words: list[str], says: str) -> None:
    """A change past a soft limit is logged and told on stderr; a later change of something else does not repeat it."""
    done = logged("board", "edit", "B1", *words)
    assert done.exit_code == 0
    assert done.stderr.count(says) == 1
    assert says not in logged("board", "edit", "B1", "--maker", "Ann").stderr


def test_a_lot_other_than_the_approved_boards_is_told(logged: Run, logbook: Path) -> None:
    """Stain of another lot than the standard's is warned of."""
    logged("board", "edit", "B1", "--step", STEP)
    with Logbook.open(logbook) as log:
        log.approve("B1", reason="it is right")
    done = logged("board", "edit", "B2", "--step", STEP.replace("lot=7", "lot=8"))
    assert "lot 8, the approved board of 7" in done.stderr


def test_a_decision_is_held_against_more(logged: Run, logbook: Path) -> None:
    """A board that becomes the approved standard is asked for its state, a second light and enough of the floor."""
    logged("board", "edit", "B1", "--state", "stain dry", "--top", "oil pu; coats=2")
    done = logged("board", "edit", "B1", "--purpose", "approved standard")
    assert done.exit_code == 0
    for words in ("The board is stain dry", "one light only", "0 of the 5 places", "only 2 of the 3 coats"):
        assert done.stderr.count(words) == 1
    with Logbook.open(logbook) as log:
        log.remove("B2")
        board = log.board("B1")
        assert finish_context(log, board, deciding=True).clear_only is False
        assert finish_context(log, board).clear_only is False


def test_a_logged_boards_record_is_not_changed_by_its_photos(run: Run, photos: Photos) -> None:
    """With ``--to`` no option of the record has a place."""
    refused = run("board", "add", photos("light_board"), "--to", "B1", "--step", STEP)
    assert refused.exit_code == 2
    assert "--step has no place" in refused.stderr


# -- asking


def answer(run: Run, monkeypatch: pytest.MonkeyPatch, words: list[str], *lines: str) -> Result:
    """Run a command with these answers on its terminal."""
    monkeypatch.setattr(finish_commands, "on_terminal", lambda: True)
    env = {"FINISHLAB_LOGBOOK": str(run.logbook), "FINISHLAB_DEBUG": ""}
    return CliRunner(env=env).invoke(finishlab, words, input="".join(f"{line}\n" for line in lines))


def test_only_what_is_missing_is_asked(logged: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is on record is not asked for; a wrong answer is told and asked again; a full stop keeps what was said."""
    logged("board", "edit", "B1", "--maker", "Ann", "--preparation", "cut=plain; construction=solid; offcut=7")
    done = answer(
        logged, monkeypatch, ["board", "edit", "B1", "--ask"],
        "dry", "stain dry", "A", "150x300x19", "40", "8", "80-100-120", "no", "", "oil; colour=honey", "", "none", ".",
    )  # fmt: skip
    assert done.exit_code == 0, done.stderr
    assert "made by" not in done.stderr
    assert "cut [" not in done.stderr
    assert "drying after raising" not in done.stderr
    assert "Choose one of: bare" in done.stderr
    assert "Give 0 to 30 %." in done.stderr
    record = record_of(logged)
    assert record["state"] == "stain dry"
    assert record["finish"] == {
        "preparation": {
            "cut": "plain", "construction": "solid", "stock_lot": "A", "offcut_of": "7",
            "size_mm": [150.0, 300.0, 19.0], "moisture_percent": 8.0, "grits": [80, 100, 120], "grain_raised": False,
        },
        "steps": [{"kind": "oil", "colour": "honey"}],
        "seal": {"kind": "none"},
    }  # fmt: skip


def test_a_clear_only_board_is_not_asked_for_stain(logged: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Questions that make no sense for a board's purpose are left out."""
    done = answer(logged, monkeypatch, ["board", "edit", "B2", "--ask"], *[""] * 60)
    assert "colour steps" not in done.stderr
    assert "the topcoat" in done.stderr


def test_nobody_is_asked_without_a_terminal(logged: Run) -> None:
    """In a script ``--ask`` is a usage error, not a wait."""
    refused = logged("board", "edit", "B1", "--ask")
    assert refused.exit_code == 2
    assert "no terminal" in refused.stderr


# -- reading it back


def test_a_board_reads_like_a_label(logged: Run) -> None:
    """Recipe, state, wood, steps in order with lots, topcoat and date stand under each other."""
    logged("board", "edit", "B1", "--recipe", "R1", "--state", "cured", "--preparation", WOOD, "--top", TOP,
           "--step", STEP, "--step", "gel; colour=walnut; lot=12")  # fmt: skip
    shown = logged("board", "show", "B1", columns=160).stdout
    lines = [line.split(None, 1) for line in shown.splitlines()]
    heads = [line[0] for line in lines if line]
    for before, after in pairwise(("species", "recipe", "step", "state", "date", "note")):
        assert heads.index(before) < heads.index(after)
    for words in ("grits 80-100-120", "Acme honey, oil, lot 7, wiped after 10 min", "walnut, gel, lot 12", "R1",
                  "cured", "sheen satin, gloss at 60 degrees 30 GU, 3 coats", "2024-05-20"):  # fmt: skip
        assert words in shown
    assert shown.index("Acme honey, oil") < shown.index("walnut, gel")


def test_the_history_says_which_fields_of_a_finish_changed(logged: Run) -> None:
    """A changed finish is told field by field, in the words of the label."""
    logged("board", "edit", "B1", "--step", STEP, "--preparation", "grits=80-120")
    logged("board", "edit", "B1", "--step", "1: wipe=5; lot=", "--maker", "Ann")
    told = logged("board", "history", "B1").stdout.splitlines()
    assert "grits none -> 80-120" in told[1]
    assert told[2].endswith("maker none -> “Ann”; step 1: lot 7 -> none; step 1: wiped after 10 min -> 5 min")


def test_two_boards_are_set_side_by_side(logged: Run) -> None:
    """Each field that differs is listed with both values, those alike are counted, and the colours have an interval."""
    logged("board", "edit", "B1", "--clear", "note", "--step", STEP)
    logged("board", "edit", "B2", "--step", STEP.replace("wipe=10", "wipe=5"), "--purpose", "candidate")
    logged("board", "edit", "B2", "--state", "cured", "--maker", "[red]Ann")
    done = logged("board", "compare", "b1", "B2", "--json")
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["format"] == "finishlab/board-comparison/1"
    assert found["colour_space"] == "CIELAB D65 2deg"
    differ = {each["field"]: (each["B1"], each["B2"]) for each in found["fields"]}
    assert differ == {
        "state": (None, "cured"), "maker": (None, "[red]Ann"), "finish.steps.1.wipe_min": (10.0, 5.0),
    }  # fmt: skip
    one, two = (record_of(logged, number) for number in ("B1", "B2"))
    alike = [name for name in one if name != "finish" and one[name] is not None and one[name] == two[name]]
    assert found["fields_alike"] == len(alike) + 4  # and the step's kind, maker, colour and lot
    (colour,) = found["colours"]
    gap = colour["delta_e00"]
    assert gap["value"] == pytest.approx(float(delta_e_00(colour["lab"]["B1"], colour["lab"]["B2"])), abs=2e-3)
    assert gap["low"] < gap["value"] < gap["high"]
    assert colour["difference"]["dL"] == pytest.approx(10.0)
    assert "lighter" in colour["in_words"]
    shown = logged("board", "compare", "B1", "B2").stdout
    for words in ("step 1: wiped after", "10 min", "5 min", "[red]Ann", "lighter than B1"):
        assert words in shown


def test_boards_of_two_lights_have_no_difference(logged: Run) -> None:
    """Colours are compared only in a light both were measured in; a board is not compared with itself."""
    logged("board", "edit", "B2", "--light", "evening lamp")
    found = json.loads(logged("board", "compare", "B1", "B2", "--json").stdout)
    assert found["colours"] == []
    assert found["one_board_only"] == {"B1": ["daylight"], "B2": ["evening lamp"]}
    assert "no light in which both" in logged("board", "compare", "B1", "B2").stdout
    assert logged("board", "compare", "B1", "b1").exit_code == 2
    assert logged("board", "compare", "B1", "B9").exit_code == 6
