"""The table of coatings: one entry is all that a new kind takes."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from pathlib import Path
from typing import Final

import pytest
from conftest import Run

from finishlab.coatings import (
    COATINGS,
    FOLLOWS,
    WOODS,
    can_kinds,
    coating,
    follow,
    of_step,
    stain_bases,
    topcoat_kinds,
    wood_in,
)

NEW_KIND: Final = """
import json, sys
from click.testing import CliRunner
from finishlab.coatings import COATINGS, Coating, Usual
top = Usual((18, 24), (8, 12), 24, (2, 3), (10, 14), coats=4)
COATINGS["floor wax oil"] = Coating("floor wax oil", "topcoat", top, oily=True)
COATINGS["milk stain"] = Coating("milk stain", "stain", Usual((6, 9), (2, 3), 5, (1, 1), (1, 2)), base="milk")
from finishlab.cli import finishlab
said = [CliRunner().invoke(finishlab, ["--logbook", sys.argv[1], *words]) for words in json.load(sys.stdin)]
print(json.dumps([(each.exit_code, each.stdout, each.stderr) for each in said]))
"""
"""The command with two kinds more in the table before it is loaded, as two more entries would put them there."""


def new_kinds(folder: Path, *commands: tuple[str, ...]) -> list[str]:
    """Run commands that know two kinds more, in a process of their own, and return what each printed."""
    words = [sys.executable, "-c", NEW_KIND, str(folder / "log")]
    done = subprocess.run(words, input=json.dumps(commands), capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert [code for code, _, _ in said] == [0] * len(commands), said
    return [out + err for _, out, err in said]


def test_a_new_kind_is_one_entry(tmp_path: Path) -> None:
    """One entry each, and recipe, can, quantities, schedule and calendar know the new topcoat and the new stain."""
    schedule = tmp_path / "schedule.pdf"
    _, clear, _, _, quantities, _, calendar = new_kinds(
        tmp_path,
        ("stairs", "add", "4", "--tread", "914x292x27", "--no-risers", "--no-top-nosing"),
        ("can", "add", "clear", "--kind", "floor wax oil"),
        ("can", "add", "grey", "--kind", "milk stain"),
        ("recipe", "add", "new", "--step", "milk; colour=grey", "--top", "floor wax oil; can=C1"),
        ("plan", "quantities", "--json"),
        ("schedule", "R1", "--output", str(schedule)),
        ("plan", "calendar", "--json"),
    )
    assert "catch fire" in clear
    stain, top = json.loads(quantities)["products"]
    assert (stain["coverage_m2_per_l"], top["coverage_m2_per_l"]) == ([6, 9], [18, 24])
    assert top["coats"]["top"] == 4
    assert schedule.read_bytes().startswith(b"%PDF")
    events = json.loads(calendar)["events"]
    coats = [each for each in events if each["kind"] == "coat"][:5]
    assert [each["what"] for each in coats] == ["coat 1 of 5, grey", *(f"coat {n} of 5, clear" for n in (2, 3, 4, 5))]
    ends, starts = ([dt.datetime.fromisoformat(each[at]) for each in coats] for at in ("end", "start"))
    waits = [(later - end).total_seconds() / 3600 for end, later in zip(ends, starts[1:], strict=False)]
    assert waits[0] >= 3
    assert min(waits[1:]) >= 12


def test_every_name_leads_to_its_kind() -> None:
    """Each name is one coating's only, found in any case and spacing."""
    names = [name for each in COATINGS.values() for name in (each.kind, *each.also, *each.sold_as)]
    assert len(set(names)) == len(names)
    for each in COATINGS.values():
        for name in (each.kind, *each.also, *each.sold_as):
            assert coating(f"  {name.upper()} ") is each


@pytest.mark.parametrize("base", stain_bases())
def test_every_base_of_a_stain_has_usual_figures(base: str) -> None:
    """A colour step of any base can be planned, and is no last coat of a tread."""
    found = of_step("step", base)
    assert found is not None
    assert found.usual is not None
    assert not found.is_film


@pytest.mark.parametrize("kind", topcoat_kinds()[:-1])
def test_every_topcoat_has_usual_figures_and_its_can(kind: str) -> None:
    """A topcoat of any listed kind can be planned, and a can may hold it."""
    found = of_step("topcoat", kind)
    assert found is not None
    assert found.usual is not None
    assert kind in can_kinds()


@pytest.mark.parametrize(
    ("section", "words", "kind"),
    [
        ("step", "Acme walnut OIL STAIN", "oil stain"),
        ("step", "gel stain over oil stain", "oil stain"),
        ("step", "walnut", None),
        ("step", "hardwax oil", None),
        ("topcoat", "Clear water polyurethane", "water polyurethane"),
        ("topcoat", "Danish oil", "penetrating oil"),
        ("topcoat", "oil stain", None),
    ],
)
def test_a_kind_is_read_from_the_words_of_a_finish(section: str, words: str, kind: str | None) -> None:
    """Where no kind is written down it is the one the section's own words name, of that section's role; else none."""
    found = of_step(section, None, words)
    assert (None if found is None else found.kind) == kind
    assert of_step("topcoat", "other", "water polyurethane") is None, "a kind that is written down is not read over"


PAIRS: Final = (
    ("oil polyurethane", "oil stain", "does not hold"),
    ("hardwax oil", "water polyurethane", "does not hold"),
    ("hardwax oil", "oil polyurethane", "does not hold"),
    ("oil stain", "wax", "does not hold"),
    ("oil polyurethane", "wax", "does not hold"),
    ("oil stain", "water polyurethane", "wait"),
    ("gel stain", "hardwax oil", "does not hold"),
    ("oil stain", "oil polyurethane", "holds"),
    ("hardwax oil", "hardwax oil", "holds"),
    ("oil polyurethane", "oil polyurethane", "holds"),
)


@pytest.mark.parametrize(("below", "above", "verdict"), PAIRS)
def test_which_follows_which(below: str, above: str, verdict: str) -> None:
    """The pairs a finisher knows (common practice, no source): stain over film, film over wax, water over fresh oil."""
    found = follow(below, above)
    assert found.verdict == verdict
    assert found.reason
    assert found.source


def test_every_pair_is_of_kinds_there_are() -> None:
    """A rule names only kinds of the table, and every two kinds with figures have a verdict and a reason."""
    for each in FOLLOWS:
        assert {*each.below, *each.above} <= set(COATINGS)
    kinds = [each.kind for each in COATINGS.values() if each.usual is not None]
    assert all(follow(below, above).reason for below in kinds for above in kinds)


@pytest.mark.parametrize(
    ("step", "top", "says"),
    [
        ("oil; next=6", "water polyurethane 1-part", "wait 24 to 72 h"),
        ("gel", "hardwax oil", "Hardwax oil over gel stain does not hold"),
        ("oil", "wax", "Wax over oil stain does not hold: wax makes a tread slippery"),
    ],
)
def test_a_recipe_is_told_what_does_not_follow(run: Run, step: str, top: str, says: str) -> None:
    """A recipe whose coats may not hold on one another is told so with the reason, as is its plan; the label wins."""
    said = run("recipe", "add", "new", "--step", step, "--top", top).stderr
    assert says in said
    assert "the label wins" in said
    plan = run("plan", "calendar", "--treads", 3, "--liquid", "gel stain", "--liquid", "hardwax oil")
    assert "Hardwax oil over gel stain does not hold" in plan.stderr
    fine = run("plan", "calendar", "--treads", 3, "--liquid", "oil stain", "--liquid", "water polyurethane")
    assert "Worth a thought" not in fine.stderr, "the plan waits the 72 h"


def test_a_recipe_that_holds_is_told_nothing(run: Run) -> None:
    """Oil stain under oil polyurethane is what is usual: nothing is said."""
    assert "over" not in run("recipe", "add", "fine", "--step", "oil; next=24", "--top", "oil polyurethane").stderr


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Red Oak", "red oak"),
        ("hard maple", "maple"),
        ("Eiche, gebürstet", "oak"),
        ("pecan", "hickory"),
        ("larch", None),
    ],
)
def test_a_wood_is_found_in_what_people_write(text: str, name: str | None) -> None:
    """The longest name that stands in the text says the wood; a wood that is not in the table is none."""
    found = wood_in(text)
    assert (None if found is None else found.name) == name


@pytest.mark.parametrize("wood", ["pine", "cherry", "maple", "birch"])
def test_blotching_woods_want_a_conditioner(wood: str) -> None:
    """Pine, cherry, maple and birch blotch (common practice, no source); oak does not."""
    assert WOODS[wood].blotches
    assert not WOODS["red oak"].blotches


def test_approving_names_each_wood_of_the_treads_and_what_was_not_measured(run: Run, tmp_path: Path) -> None:
    """A cherry board for treads 1-3 of red oak and 4-5 of maple: both woods are named with their treads.

    Before, treads of two woods were compared with none, and a board without a photo was called measured in one light.
    It is also told that cherry sanded to 240 takes less stain (finer than its 220), and that it blotches.
    """
    run("stairs", "add", 6, "--tread", "914x292x27", "--no-risers", "--no-top-nosing")
    run("stairs", "edit", "treads 1-3", "--species", "red oak")
    run("stairs", "edit", "treads 4-5", "--species", "maple")
    table = tmp_path / "boards.csv"
    head, row = "species,state,preparation.grits,steps.1.kind,topcoat.kind", "cherry,cured,80-120-240,oil,hardwax oil"
    table.write_text(f"{head}\n{row}\n", encoding="utf-8")
    assert run("board", "import", table).exit_code == 0
    done = run("approve", "B1")
    assert done.exit_code == 0
    assert "The board is cherry, the treads are red oak (treads 1-3)." in done.stderr
    assert "The board is cherry, the treads are maple (treads 4-5)." in done.stderr
    assert "The board was not measured;" in done.stderr
    assert "one light" not in done.stderr
    assert "cherry sanded finer than 220 takes less stain" in done.stderr
    assert "Cherry takes a penetrating stain in blotches" in done.stderr
    assert "Hardwax oil over oil stain" in done.stderr
