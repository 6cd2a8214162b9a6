"""Plans of the logged stair, with the recipe's products and what the cans' labels say, through the real command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from finishlab.cli.lazy import finishlab
from finishlab.logbook.store import Logbook
from finishlab.plan.drying import gap_rules
from finishlab.plan.entered import read_plan
from finishlab.plan.logged import finish_products
from finishlab.plan.stair_plan import Product
from finishlab.stair.progress import resolved

SIZED = ("stairs", "add", "4", "--tread", "914x292x27")


class Stair:
    """A logbook with an entered stair, and the command on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "log"

    def __call__(self, *words: str) -> Result:
        """Run a command line."""
        return CliRunner().invoke(finishlab, ["--logbook", str(self.folder), *words])

    def enter(self) -> None:
        """Enter 13 treads of 914 x 292 x 27 mm, a can with its label and a recipe."""
        assert self("stairs", "add", "14", "--tread", "914x292x27", "--no-risers", "--no-top-nosing").exit_code == 0
        assert self("can", "add", "walnut", "--kind", "oil stain", "--label", "coverage=12; recoat=8").exit_code == 0
        steps = ("--step", "oil; colour=walnut; can=C1", "--top", "water pu; coats=3")
        assert self("recipe", "add", "walnut", *steps).exit_code == 0


def logged_products(log: Logbook) -> tuple[Product, ...]:
    """Return what the only recipe puts on."""
    cans = {each.number.key: each.record for each in log.cans()}
    recipe = resolved(log.stair(), log.recipes()[0].number.key)
    return tuple(made.product for made in finish_products(recipe, cans))


@pytest.fixture
def stair(tmp_path: Path) -> Stair:
    """Return an empty logbook's command."""
    return Stair(tmp_path)


def test_quantities_of_the_logged_stair_follow_the_label(stair: Stair) -> None:
    """Both faces and edges of 13 treads are 7.786 m2 (arithmetic); the label's 12 m2/L takes the range's place."""
    stair.enter()
    found = json.loads(stair("plan", "quantities", "--json").stdout)
    stain, top = found["products"]
    assert stain["coat_area_m2"] == pytest.approx(7.786, abs=0.001)
    assert stain["coverage_m2_per_l"] == [12, 12]
    assert top["coverage_m2_per_l"] == [9, 15]
    assert top["coats"]["top"] == 3


def test_quantities_take_size_and_price_of_the_logged_cans(stair: Stair) -> None:
    """The recipe's cans say what to buy of and for how much; each figure has its origin beside it."""
    stair.enter()
    assert stair("can", "edit", "C1", "--size", "1qt", "--left", "0.3L", "--label", "price=18.5").exit_code == 0
    label = ("--label", "coverage=10; coverage-to=12; price=34; currency=EUR")
    satin = ("satin", "--kind", "water polyurethane 1-part")
    assert stair("can", "add", *satin, "--size", "1L", *label).exit_code == 0
    assert stair("can", "add", *satin, "--size", "2.5L", "--label", "price=60; currency=EUR").exit_code == 0
    assert stair("recipe", "edit", "R1", "--top", "can=C2; product=satin").exit_code == 0
    text = " ".join(stair("plan", "quantities").stdout.replace("\n", " ").split())
    assert "1 coat on top and edges (R1), 1 on the underside" in text
    assert "one quart covers 122 ft2 (12 m2/L): as the label of C1 says" in text
    assert "Buy 1 x 1 qt for 18.50 (size and price of C1)" in text
    assert "still in hand, and not taken off: 0.32 qt (0.30 L) in C1" in text
    assert "Buy 1 x 2.5 L for 60.00 EUR (sizes and prices of C2 and C3)" in text
    stain, top = json.loads(stair("plan", "quantities", "--json").stdout)["products"]
    assert stain["buy"]["most"]["cost"] == 18.5
    assert stain["coats_from"] == "R1"
    assert stain["in_hand"] == [{"can": "C1", "litres": 0.3}]
    assert (top["coverage_from"], top["buy"]["most"]["currency"]) == ("the label of C2", "EUR")


def test_parts_without_sizes_are_named_and_still_have_their_days(stair: Stair) -> None:
    """Quantities name what they could not count; the calendar asks no sizes and leaves no part out."""
    stair.enter()
    assert stair("stairs", "add-parts", "1/landing nosing 1").exit_code == 0
    text = " ".join(stair("plan", "quantities").stdout.split())
    assert "Not counted, since their sizes are not written down: landing nosing 1." in text
    assert "landing nosing" in json.loads(stair("plan", "quantities", "--json").stdout)["not_counted"]
    days = stair("plan", "calendar", "--start", "2026-12-01").stdout
    assert "landing nosing 1" in days
    assert (
        stair("stairs", "edit", "landing nosing 1", "--front", "914", "--depth", "90", "--thickness", "19").exit_code
        == 0
    )
    assert "Not counted" not in stair("plan", "quantities").stdout


def test_a_product_without_a_name_is_called_as_on_its_can(stair: Stair) -> None:
    """Where the recipe names no product, the can's own name stands in the plan."""
    stair.enter()
    assert stair("can", "add", "satin floor", "--maker", "Acme", "--kind", "water polyurethane 1-part").exit_code == 0
    assert stair("recipe", "edit", "R1", "--top", "can=C2").exit_code == 0
    assert "Acme satin floor (water polyurethane 1-part)" in stair("plan", "quantities").stdout


def test_options_win_over_the_logged_cans(stair: Stair) -> None:
    """Size, price and coverage by option stand in the place of the can's, for the product that is named."""
    stair.enter()
    assert stair("can", "edit", "C1", "--size", "1qt", "--label", "price=18.5").exit_code == 0
    said = ("--product", "walnut", "--can-size", "1gal=60", "--coverage", "6 m2/L", "--coats", "2", "--waste", "10")
    done = stair("plan", "quantities", *said)
    text = " ".join(done.stdout.split())
    assert "2 coats on top and edges (by option)" in text
    assert "(6 m2/L): as --coverage says" in text
    assert "Buy 1 x 1gal for 60.00 (as --can-size says)" in text
    stain, top = json.loads(stair("plan", "quantities", *said, "--json").stdout)["products"]
    assert (stain["coverage_m2_per_l"], stain["waste"]) == ([6, 6], 0.1)
    assert top["coverage_m2_per_l"] == [9, 15]
    assert top["waste"] == 0.15
    both = json.loads(stair("plan", "quantities", "--waste", "10", "--json").stdout)["products"]
    assert [each["waste"] for each in both] == [0.1, 0.1]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--can-size", "1qt"), "Several products are planned"),
        (("--product", "ebony", "--can-size", "1qt"), "“ebony” is not planned"),
        (("--liquid", "oil stain", "--product", "walnut"), "--liquid is the product"),
    ],
)
def test_options_for_nobody_are_refused(stair: Stair, words: tuple[str, ...], says: str) -> None:
    """An option that could be meant for several products, or for none, is refused and names them."""
    stair.enter()
    done = stair("plan", "quantities", *words)
    assert done.exit_code == 2
    assert says in done.stderr


def test_a_can_without_a_size_says_so(stair: Stair) -> None:
    """Where the recipe's can has no size, the answer names the can and how to write it down."""
    stair.enter()
    assert "C1 has no size written down" in stair("plan", "quantities").stdout


def test_a_sealer_that_is_none_is_not_bought(stair: Stair) -> None:
    """A recipe that says there is no sealer plans none."""
    stair.enter()
    assert stair("recipe", "edit", "R1", "--seal", "none").exit_code == 0
    products = json.loads(stair("plan", "quantities", "--json").stdout)["products"]
    assert [each["kind"] for each in products] == ["oil stain", "water polyurethane 1-part"]


def test_calendar_of_the_logged_stair_waits_as_the_label_says(stair: Stair) -> None:
    """Alternate treads: the second half of the treads is begun only when the first can be walked on."""
    stair.enter()
    done = stair("plan", "calendar", "--start", "2026-12-01", "--json")
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["format"].startswith("finishlab/")
    text = stair("plan", "calendar", "--start", "2026-12-01").stdout
    assert "treads 1, 3, 5" in text
    assert "walnut" in text
    assert "Oily rags" in text


@pytest.mark.parametrize(
    ("label", "following", "hours"),
    [
        ("recoat=200", "", (200, None)),
        ("recoat=8", "", (72, None)),
        ("recoat=8", "; next=30", (30, None)),
        ("recoat=40", "; next=30", (40, None)),
        ("recoat=8; recoat-within=24", "", (8, 24)),
        ("recoat-within=48", "", (24, 48)),
        ("recoat=8; recoat-within=100", "", (72, 100)),
        ("recoat=24; recoat-within=72", "", (24, 72)),
        ("recoat=8; recoat-other=48", "", (48, None)),
        ("recoat=8; recoat-other=48", "; next=30", (48, None)),
        ("recoat=8; recoat-within=24; recoat-other=48", "", (48, None)),
        ("recoat=8; recoat-within=100; recoat-other=12", "", (12, 100)),
    ],
)
def test_topcoat_waits_for_the_stain_as_label_and_recipe_say(
    stair: Stair, label: str, following: str, hours: tuple[float, float | None]
) -> None:
    """Without its own figure a label can only lengthen the wait for another product; the recipe's own is the usual."""
    assert stair("can", "add", "walnut", "--kind", "oil stain", "--label", label).exit_code == 0
    step = f"oil; colour=walnut; can=C1{following}"
    assert stair("recipe", "add", "walnut", "--step", step, "--top", "water pu; coats=1").exit_code == 0
    with Logbook.open(stair.folder) as log:
        stain, top = logged_products(log)
    (gap,) = gap_rules(stain.coat, top.coat)
    assert (gap.least, gap.most) == hours


@pytest.mark.parametrize(
    ("can", "product"),
    [
        ("", ""),
        ("recoat=8", "recoat_h = 8"),
        ("recoat=200", "recoat_h = 200"),
        ("recoat=8; recoat-within=24", "recoat_h = [8, 24]"),
        ("recoat=8; recoat-within=100", "recoat_h = [8, 100]"),
        ("recoat=24; recoat-within=72", "recoat_h = [24, 72]"),
        ("recoat-other=12", "under_other_h = 12"),
        ("recoat=8; recoat-within=100; recoat-other=48", "recoat_h = [8, 100]\nunder_other_h = 48"),
        ("recoat=8; recoat-within=24; recoat-other=48", "recoat_h = [8, 24]\nunder_other_h = 48"),
    ],
)
def test_a_can_and_a_file_wait_by_one_rule(stair: Stair, tmp_path: Path, can: str, product: str) -> None:
    """The same label makes the same waits, on a logged can and in a plan's file."""
    label = ("--label", can) if can else ()
    assert stair("can", "add", "walnut", "--kind", "oil stain", *label).exit_code == 0
    steps = ("--step", "oil; colour=walnut; can=C1", "--top", "water pu; coats=1")
    assert stair("recipe", "add", "walnut", *steps).exit_code == 0
    file = tmp_path / "plan.toml"
    tread = 'front = "914mm", depth = "292mm", thickness = "27mm"'
    stain = f'[[product]]\nkind = "oil stain"\nname = "walnut"\n{product}\n'
    file.write_text(f"[[flight]]\ntreads = 4\ntread = {{ {tread} }}\n{stain}")
    with Logbook.open(stair.folder) as log:
        logged = logged_products(log)[0].coat.times
    (read,) = read_plan(file).products
    assert read.coat.times == logged


def test_calendar_says_that_a_window_ends_before_the_usual_wait(stair: Stair) -> None:
    """The label wins over the usual 72 h under another product, and the plan says that it is sooner than usual."""
    stair.enter()
    assert stair("can", "edit", "C1", "--label", "recoat=8; recoat-within=24").exit_code == 0
    text = " ".join(stair("plan", "calendar", "--start", "2026-12-01").stdout.split())
    assert "The label of walnut ends the wait for the next coat before the 72 h that are usual" in text
    assert stair("can", "edit", "C1", "--label", "recoat-other=12").exit_code == 0
    assert "that are usual under another" not in stair("plan", "calendar", "--start", "2026-12-01").stdout


def test_calendar_keeps_a_long_wait_of_the_label(stair: Stair) -> None:
    """200 hours from 09:00 on 1 December end at 17:00 on the 9th: not before then is the stain coated over."""
    stair.enter()
    assert stair("can", "edit", "C1", "--label", "recoat=200").exit_code == 0
    events = json.loads(stair("plan", "calendar", "--start", "2026-12-01", "--json").stdout)["events"]
    first = [event["start"] for event in events if event["what"].startswith("coat 2 of 4")]
    assert first[0] == "2026-12-09T17:00"


def test_cutting_of_the_logged_stair_needs_no_recipe(stair: Stair) -> None:
    """The cutting list is that of the entered treads, an out-of-square one with its own back width."""
    assert stair("stairs", "add", "4", "--tread", "914x292x27").exit_code == 0
    assert stair("stairs", "edit", "tread 2", "--left-angle", "89", "--right-angle", "90.5").exit_code == 0
    done = stair("plan", "cutting", "--stock", "2000x300")
    assert done.exit_code == 0, done.stderr
    assert "tread 2" in done.stdout


@pytest.mark.parametrize(
    ("before", "code", "says"),
    [
        ((), 6, "Nothing is logged"),
        ((("recipe", "add", "plain"),), 2, "stair is not described"),
        ((("stairs", "add", "4"),), 2, "its sizes"),
        ((("stairs", "add", "4", "--tread", "914x292x27"),), 6, "no recipe"),
        (
            (
                ("stairs", "add", "4", "--tread", "914x292x27"),
                ("recipe", "add", "plain", "--top", "other; product=wax"),
            ),
            2,
            "kind of topcoat",
        ),
        (
            (("stairs", "add", "4", "--tread", "914x292x27"), ("recipe", "add", "plain", "--step", "colour=honey")),
            2,
            "kind of stain",
        ),
    ],
)
def test_what_is_missing_for_a_plan_is_said(
    stair: Stair, before: tuple[tuple[str, ...], ...], code: int, says: str
) -> None:
    """Without a stair, sizes, a recipe or a kind one sentence says what to do, and nothing is planned."""
    for words in before:
        assert stair(*words).exit_code == 0
    done = stair("plan", "quantities")
    assert done.exit_code == code
    assert says in done.stderr
    assert done.stdout == ""


def test_a_recipe_has_no_place_beside_a_stair_by_options(stair: Stair) -> None:
    """``--recipe`` with ``--treads`` is a contradiction, and said so."""
    done = stair("plan", "calendar", "--recipe", "R1", "--treads", "5", "--liquid", "oil stain")
    assert done.exit_code == 2
    assert "--recipe" in done.stderr


@pytest.mark.parametrize(
    ("label", "following", "known"),
    [("recoat-within=10", "", "24 h is usual"), ("recoat-within=10", "; next=12", "the recipe waits 12 h")],
)
def test_a_label_with_only_its_latest_hour_is_asked_for_the_first(
    stair: Stair, label: str, following: str, known: str
) -> None:
    """A latest hour before the first hour known makes no window: the can is named, and what to enter."""
    stair.enter()
    assert stair("can", "edit", "C1", "--label", f"recoat=; {label}").exit_code == 0
    if following:
        assert stair("recipe", "edit", "R1", "--step", f"1: {following[2:]}").exit_code == 0
    done = stair("plan", "calendar", "--start", "2026-12-01")
    assert done.exit_code == 2
    assert "The label of C1 allows the next coat within 10 h, but says no first hour" in done.stderr
    assert known in done.stderr
    assert "finishlab can edit C1 --label “recoat=HOURS”" in " ".join(done.stderr.split())
    assert stair("can", "edit", "C1", "--label", "recoat=4").exit_code == 0
    assert stair("plan", "calendar", "--start", "2026-12-01").exit_code == 0
