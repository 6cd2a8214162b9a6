"""The stair on the command line, as a new user would enter, work and look it up; colours are of rendered photos."""

from __future__ import annotations

import json
import shlex
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any, Final

import pytest
from click.testing import Result
from conftest import Photos, Run

ENTERED: Final = (
    "add 7 landing 7 --tread 914x292x27 --riser 914x190x19 --landing-boards 6 --species 'red oak'",
    "edit 1/tread 3 --front 920 --back 908 --left-angle 91.2",
    "edit 2/tread 1 --front 36in --depth 10.5in --left-angle 89 --right-angle 90.5",
    "edit 2/tread 5 --front 900 --right-angle 88",
)
"""A stair of two flights, 14 risers, a landing and three out-of-square treads."""
SVG: Final = "{http://www.w3.org/2000/svg}"


def stairs(run: Run, line: str, code: int = 0) -> Result:
    """Run a stairs command and see how it ends."""
    done = run("stairs", *shlex.split(line), columns=80)
    assert done.exit_code == code, done.output
    return done


def shown(run: Run, line: str, kind: str) -> dict[str, Any]:
    """Return the JSON document of a command."""
    found: dict[str, Any] = json.loads(stairs(run, f"{line} --json").stdout)
    assert found["format"] == f"finishlab/{kind}/1"
    assert found["colour_space"] == "CIELAB D65 2deg"
    return found


@pytest.fixture(scope="module")
def stair_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The logbook that `stair` copies."""
    run = Run(tmp_path_factory.mktemp("stair") / "logbook")
    for line in ENTERED:
        stairs(run, line)
    from finishlab.finish import ColourStep, Finish, Topcoat
    from finishlab.logbook.store import Logbook
    from finishlab.recipe import Can, Label, Recipe

    with Logbook.open(run.logbook) as log:
        log.add_can(Can("oil stain", "honey", maker="Acme", lot="A1", place="cellar", label=Label(recoat_h=24)))
        log.add_can(Can("water polyurethane 1-part", "satin", lot="77"))
        steps = (ColourStep(kind="oil", colour="honey"),)
        topcoat = Topcoat(kind="water polyurethane 1-part", coats=3)
        log.add_recipe(Recipe("Honey", Finish(steps=steps, topcoat=topcoat)))
    stairs(run, "edit all treads --recipe R1")
    return run.logbook


@pytest.fixture
def stair(run: Run, stair_once: Path) -> Run:
    """The command with a stair, a recipe of one stain and three topcoats, and cans."""
    shutil.copytree(stair_once, run.logbook)
    return run


def test_a_stair_is_entered_in_under_ten_commands(run: Run) -> None:
    """Two flights of 14 risers, a landing and three out-of-square treads take four commands."""
    assert len(ENTERED) < 10
    for line in ENTERED:
        stairs(run, line)
    flights = shown(run, "show", "stair")["flights"]
    assert [flight["flight"] for flight in flights] == ["flight 1", "landing 1", "flight 2"]
    parts = [part for flight in flights for part in flight["parts"]]
    kinds = [part["record"]["kind"] for part in parts]
    assert {kind: kinds.count(kind) for kind in set(kinds)} == {
        "tread": 12,
        "riser": 14,
        "landing nosing": 2,
        "landing board": 6,
    }
    sizes = {part["part"]: part["record"]["sizes"] for part in parts}
    assert sizes["1.T3"] == {"front": 920, "back": 908, "depth": 292, "left_angle": 91.2, "thickness": 27}
    odd = {"front": 914.4, "depth": 266.7, "left_angle": 89, "right_angle": 90.5, "thickness": 27}
    assert sizes["2.T1"] == odd | {"inches": ["front", "depth"]}
    assert sizes["2.R4"] == {"front": 914, "height": 190, "thickness": 19}
    assert {part["record"]["species"] for part in parts} == {"red oak"}


def test_which_finish_is_on_tread_and_from_which_can_is_one_command(stair: Run) -> None:
    """`stairs part` answers with recipe, steps, days, cans and where the rest is."""
    stairs(stair, "log 2/odd treads stain --can C1 --faces 'both faces' --date 2024-05-30")
    text = stairs(stair, "part 2/tread 3").stdout
    assert text.startswith("On 2/tread 3: R1 Honey.\nStain: 1 coat on 2024-05-30 from C1 Acme honey (lot A1)")
    (part,) = shown(stair, "part 2.T3", "stair-parts")["parts"]
    assert part["events"][0] | {"event": ""} == {
        "event": "",
        "date": "2024-05-30",
        "what": "stain 1",
        "recipe": "R1",
        "can": "C1 Acme honey (lot A1)",
        "remarks": "both faces",
        "conditions": None,
    }


def test_which_parts_are_short_of_a_coat_is_one_command(stair: Run) -> None:
    """`stairs due` names the parts, what they lack and what comes next."""
    stairs(stair, "log 1/treads 1-6 stain --can C1 --date 2024-05-30")
    due = shown(stair, "due all treads", "stair-due")["due"]
    assert [(row["words"], row["short_of"], row["next"], row["not_before"]) for row in due] == [
        ("1/treads 1-6", "3 topcoats", "topcoat 1", "2024-05-31"),
        ("2/treads 1-6", "1 stain coat, 3 topcoats", "stain 1", None),
    ]
    assert "1/treads 1-6" in stairs(stair, "due").stdout
    assert "No part is short of a coat." in stairs(stair, "due all risers").stdout


def test_the_stair_is_drawn_in_the_terminal(stair: Run) -> None:
    """Each flight is drawn as steps, the top first, each line no wider than the terminal."""
    stairs(stair, "log 1/tread 1 stain --can C1")
    lines = stairs(stair, "show").stdout.splitlines()
    assert all(len(line) <= 80 for line in lines)
    assert lines[0] == "Flight 2: 7 risers, R1 Honey"
    steps = [line for line in lines if "tread" in line]
    assert len(steps) == 12
    assert [line.index("┌") for line in steps] == [15, 12, 9, 6, 3, 0] * 2
    assert steps[-1].startswith("┌──┘")
    assert "tread 1" in steps[-1]
    assert steps[-1].rstrip().endswith("stained")


def test_the_stair_is_drawn_as_svg(stair: Run, tmp_path: Path) -> None:
    """The drawing is well-formed, shows each part that is stepped on or upright, and says each one's state."""
    stairs(stair, "edit flight 2 --name 'to <the> attic & back'")
    stairs(stair, "log 1/tread 1 stain")
    stairs(stair, f"show --svg {shlex.quote(str(tmp_path / 'stair.svg'))}")
    root = ET.fromstring((tmp_path / "stair.svg").read_text(encoding="utf-8"))
    words = [text.text for text in root.iter(f"{SVG}text")]
    outlines = [each for each in root.iter(f"{SVG}polygon") if each.get("fill") == "#ffffff"]
    assert len(outlines) == 12 + 14 + 2 + 6
    assert "Flight 2 (to <the> attic & back): 7 risers, R1 Honey" in words
    assert "tread 1: stained" in words
    assert "tread 3: nothing done yet (front 920 mm, back 908 mm)" in words


def test_an_empty_stair_says_how_to_begin(run: Run) -> None:
    """Without a stair the commands say how one is entered."""
    run("recipe", "add", "Honey")
    assert "stairs add 7 landing 7" in stairs(run, "show").stdout
    assert "stairs add 7 landing 7" in stairs(run, "due").stderr
    assert "stairs add" in stairs(run, "part tread 7", code=6).stderr


def test_what_is_logged_is_told_with_what_is_worth_a_second_look(stair: Run) -> None:
    """A log says each part, and warns softly; an oil product brings its caution."""
    done = stairs(stair, "log 1/treads 1-2 stain --can C1 --date 2024-05-30")
    assert "treads 1-2: stain 1 of R1 from C1 on 2024-05-30." in done.stderr
    assert "rags" in done.stderr
    done = stairs(stair, "log 1/tread 1 topcoat --can C2 --date 2024-05-30")
    assert "too soon after stain 1" in done.stderr
    assert "rags" not in done.stderr
    document = shown(stair, "log 1/tread 1 fitted", "stair-events")
    assert document["events"][0]["part"] == "1.T1"
    assert "fewer than 3 topcoats" in document["notes"][0]


@pytest.mark.parametrize(
    ("line", "code", "told"),
    [
        ("log tread 3 sanded", 2, "2/tread 3"),
        ("log 1/tread 9 sanded", 6, "Flight 1 has no tread 9."),
        ("log 1/tread 3 painted", 2, "does not say what was done"),
        ("log 1/tread 3 stain --can C9", 6, "C9"),
        ("log 1/tread 3 stain --recipe R9", 6, "R9"),
        ("log 1/tread 3 stain 9", 2, "There is no stain coat 9."),
        ("log 1/tread 3 sanded --date 2999-01-01", 2, "in the future"),
        ("edit 1/tread 3", 2, "No change is named"),
        ("edit 1/tread 3 --front 0", 2, "front"),
        ("edit 1/tread 3 --left-angle 200", 2, "left angle"),
        ("edit 1/tread 3 --front 900 --clear front", 2, "set and taken out"),
        ("edit flight 2 --species ash", 2, "A flight has no species"),
        ("edit flight 9 --name x", 6, "no flight 9"),
        ("edit-event 12 --coat 2", 2, "E12"),
        ("edit-event E12 --coat 2", 6, "E12"),
        ("remove flight 9", 6, "no flight 9"),
        ("add seven", 2, "neither a number of risers nor a landing"),
        ("add 7 --tread 914", 2, "914"),
        ("add-parts returns 1 left", 2, "flight 1"),
        ("measure 1/tread 3", 2, "No photo is named"),
    ],
)
def test_what_cannot_be_done_is_said_and_changes_nothing(stair: Run, line: str, code: int, told: str) -> None:
    """A command that cannot be meant ends with its exit code and a sentence, and the stair stays as it was."""
    before = stairs(stair, "show --json").stdout
    assert told in stairs(stair, line, code).stderr
    assert stairs(stair, "show --json").stdout == before


def test_a_can_and_a_recipe_tell_their_parts_in_one_line(stair: Run) -> None:
    """Parts that got the same from one can on one day, and those a recipe is for, are told together."""
    stairs(stair, "log 1/treads 1-3 stain --can C1 --date 2024-05-30")
    can = " ".join(stair("can", "show", "C1").stdout.split())
    assert "- 1/treads 1-3: stain 1, 2024-05-30" in can
    (shown_can,) = json.loads(stair("can", "show", "C1", "--json").stdout)["cans"]
    assert shown_can["went_on"] == [f"1/tread {n}: stain 1, 2024-05-30" for n in (1, 2, 3)]


def test_mistakes_are_put_right(stair: Run) -> None:
    """An event is changed and taken back, a part removed, a flight named, sizes cleared; all of it is told."""
    stairs(stair, "log 1/tread 1 stain --can C2 --date 2024-05-30")
    assert "E1 changed" in stairs(stair, "edit-event E1 --can C1 --note 'wrong can logged'").stderr
    assert "C1 Acme honey" in stairs(stair, "part 1.T1").stdout
    stairs(stair, "remove E1")
    assert "No finish is on 1/tread 1 yet. It is to get R1 Honey." in stairs(stair, "part 1.T1").stdout
    stairs(stair, "edit 1/tread 3 --clear back --clear left-angle")
    assert shown(stair, "part 1.T3", "stair-parts")["parts"][0]["record"]["sizes"]["front"] == 920
    assert "Removed: 1/tread 4;" in stairs(stair, "remove 1/tread 4").stderr
    assert stair("undo").exit_code == 0
    stairs(stair, "remove 1/riser 7, landing boards 5-6")
    stairs(stair, "add-parts 1/returns 1-2 left --front 320 --note mitred")
    names = [part["words"] for flight in shown(stair, "show", "stair")["flights"] for part in flight["parts"]]
    assert "1/riser 7" not in names
    assert "landing board 6" not in names
    assert "return 2 left" in names
    assert "changed." in stairs(stair, "edit flight 1 --name hall --risers 8").stderr
    assert "Flight 1 has 6 treads; 8 risers want 7." in stairs(stair, "show").stdout.replace("\n", " ")
    stairs(stair, "remove flight 2")
    assert "Flight 2" not in stairs(stair, "show").stdout


def test_a_tread_is_measured_beside_the_strip(stair: Run, photos: Photos) -> None:
    """A photo of a tread gives its colour; before its last coat it is not its colour now; no photo counts twice."""
    photo = photos("dark_board")
    done = stairs(stair, f"measure 1/tread 2 {photo} --date 2024-05-30")
    assert "1/tread 2: measured, L*" in done.stderr
    (part,) = shown(stair, "part 1.T2", "stair-parts")["parts"]
    assert len(part["lab"]) == 3
    assert part["measurements"][0]["light"] == "daylight"
    stairs(stair, "log 1/tread 2 stain --date 2024-05-31")
    assert shown(stair, "part 1.T2", "stair-parts")["parts"][0]["lab"] is None
    assert "another part of the stair" in stairs(stair, f"measure 1/tread 3 {photo}", code=6).stderr
    assert "cannot be shared out" in stairs(stair, f"measure 1/treads 1-3 {photo} {photos('light_board')}", 2).stderr
    light = photos("light_board")
    failed = stairs(stair, f"measure 2/treads 1-2 {light} {photos('no_strip')}", code=4)
    assert "Nothing was logged, because 1 of 2 photos failed" in failed.stderr
    told = stairs(stair, f"measure 2/treads 1-2 {light} {photos('pair')} --date 2024-05-30 --light lamp").stderr
    assert "2/tread 1: measured, L*" in told
    assert "2/tread 2: measured, L*" in told
