"""One recipe a part, everywhere: what is planned, due, printed and shown of a part is the same, through the command.

The stair of the figures has treads of 36 x 11.5 x 1 in and risers of 36 x 7.5 in. By hand: a tread's top is
0.9144 x 0.2921 = 0.26710 m2, its edges are 2 x (0.9144 + 0.2921) x 0.0254 = 0.06129 m2; one coat on both faces and the
edges is 2 x 0.26710 + 0.06129 = 0.59548 m2. A riser's face is 0.9144 x 0.1905 = 0.17419 m2.
"""

from __future__ import annotations

import datetime as dt
import json
import shlex
from pathlib import Path
from typing import Any

import pytest
from conftest import Run
from logbook_makers import keep, measurement

TOP, EDGES, RISER = 0.9144 * 0.2921, 2 * (0.9144 + 0.2921) * 0.0254, 0.9144 * 0.1905
STAIN = 2 * TOP + EDGES
"""One stain coat on both faces and the edges of a tread."""


def do(run: Run, *lines: str) -> str:
    """Run command lines that succeed; return what the last one printed and said, its words on one line."""
    out = ""
    for line in lines:
        done = run(*shlex.split(line))
        assert done.exit_code == 0, f"{line}\n{done.output}"
        out = " ".join(done.output.split())
    return out


def told(run: Run, line: str) -> dict[str, Any]:
    """Return the document of a command line."""
    return dict(json.loads(run(*shlex.split(f"{line} --json")).stdout))


def areas(run: Run, line: str = "plan quantities") -> dict[str, float]:
    """Return the area to coat by the kind of product, m2."""
    found: dict[str, float] = {}
    for product in told(run, line)["products"]:
        found[product["kind"]] = found.get(product["kind"], 0.0) + product["coat_area_m2"]
    return found


@pytest.fixture
def stair(run: Run) -> Run:
    """13 treads and 14 risers of known size, two recipes, a board of each, and nothing approved."""
    do(
        run,
        "stairs add 14 --tread 36x11.5x1in --riser 36x7.5x0.75in --no-top-nosing",
        "recipe add Honey --step 'oil; colour=honey' --top 'oil pu; coats=3'",
        "recipe add Walnut --step 'oil; colour=walnut' --top 'oil pu; coats=2'",
    )
    return run


def board(run: Run, recipe: str) -> str:
    """Log a board of a recipe without a photo's help, and return its number."""
    from finishlab.board import BoardRecord
    from finishlab.logbook.store import Logbook

    with Logbook.open(run.logbook) as log:
        photo = keep(log, run.logbook.parent / "photos", f"{recipe}.jpg")
        number = log.add_board(BoardRecord(species="red oak", recipe_number=int(recipe[1:])), [measurement(photo)])
    return number.number


# -- what is due


def test_due_goes_by_the_standard(stair: Run) -> None:
    """Treads without a recipe of their own are due what was approved: a stain coat and 2 topcoats of R2."""
    do(stair, f"approve {board(stair, 'R2')}")
    (row,) = told(stair, "stairs due all treads")["due"]
    assert (row["words"], row["short_of"], row["next"]) == ("treads 1-13", "1 stain coat, 2 topcoats", "stain 1")
    assert row["recipes"] == ["R2 Walnut"]


def test_an_edited_recipe_waits_for_its_approval_everywhere(stair: Run) -> None:
    """R1 approved with 3 topcoats and edited to 2: until approved again, 3 are due, shown, bought and scheduled.

    By hand: 13 treads x (3 x (top + edges) + 1 underside) = 13 x 1.25227 = 16.28 m2 with 3 coats, with 2
    13 x 0.92388 = 12.01 m2.
    """
    number = board(stair, "R1")
    do(stair, "stairs edit all treads --recipe R1", f"approve {number}", "recipe edit R1 --top coats=2")
    (row,) = told(stair, "stairs due all treads")["due"]
    assert row["short_of"] == "1 stain coat, 3 topcoats"
    assert areas(stair)["oil polyurethane"] == pytest.approx(13 * (3 * (TOP + EDGES) + TOP), abs=0.001)
    assert "changed since it was approved" in do(stair, "stairs due")
    assert "changed since it was approved" in do(stair, "stairs show")
    assert "changed since it was approved" in do(stair, "plan quantities")
    shown = told(stair, "stairs part tread 7")["parts"][0]
    assert shown["wanted"] == {"stain": 1, "topcoat": 3}
    assert shown["changed_since_approval"]
    again = do(stair, f"approve {number}")
    assert "treads 1-13: R1 Honey as approved now" in again
    (row,) = told(stair, "stairs due all treads")["due"]
    assert row["short_of"] == "1 stain coat, 2 topcoats"
    assert areas(stair)["oil polyurethane"] == pytest.approx(13 * (2 * (TOP + EDGES) + TOP), abs=0.001)
    assert "changed since" not in do(stair, "stairs due")


def test_the_schedule_has_the_columns_that_are_due(stair: Run) -> None:
    """The columns to tick are the approved coats, as many as due asks for, after the recipe was edited."""
    from finishlab.logbook.store import Logbook
    from finishlab.printing.schedule import schedule_view

    do(stair, f"approve {board(stair, 'R2')}", "recipe edit R2 --top coats=3")
    with Logbook.open(stair.logbook) as log:
        view = schedule_view(log, None)
    assert view.columns == ("sanded", "stain", "topcoat 1", "topcoat 2")
    assert [row.name for row in view.parts] == [f"tread {place}" for place in range(1, 14)]


# -- what is bought


def test_one_tread_of_another_recipe_is_bought_for_alone(stair: Run) -> None:
    """With tread 5 on R2, --recipe R2 needs one tread's stain, 0.60 m2 (0.59548), not the flight's 7.74."""
    do(stair, "stairs edit all --recipe R1", "stairs edit tread 5 --recipe R2")
    found = areas(stair, "plan quantities --recipe R2")
    assert found["oil stain"] == pytest.approx(STAIN, abs=0.001)
    assert found["oil stain"] == pytest.approx(0.60, abs=0.005)
    text = do(stair, "plan quantities --recipe R2")
    assert "Of another recipe, and not in this plan: treads 1-4,6-13, risers 1-14 (R1)." in text


def test_risers_that_have_the_recipe_are_bought_for(stair: Run) -> None:
    """R1 on 12 treads and 14 risers: stain 12 x 0.59548 + 14 x 0.17419 = 9.58 m2, and 22.34 m2 of topcoat.

    Topcoat by hand: 12 x 1.25227 + 3 x 14 x 0.17419 = 15.03 + 7.32.

    Before it was 7.74 and 16.28: the risers left out, and the tread of R2 counted in.
    """
    do(stair, "stairs edit all --recipe R1", "stairs edit tread 5 --recipe R2")
    found = areas(stair, "plan quantities --recipe R1")
    assert found["oil stain"] == pytest.approx(9.58, abs=0.005)
    assert found["oil polyurethane"] == pytest.approx(22.34, abs=0.01)
    assert found["oil polyurethane"] == pytest.approx(12 * (3 * (TOP + EDGES) + TOP) + 14 * 3 * RISER, abs=0.001)


def test_all_recipes_together_are_the_sum_of_each(stair: Run) -> None:
    """Without --recipe each part counts by its own: stain 9.58 + 0.60 = 10.18 m2; the shared topcoat is bought once."""
    do(stair, "stairs edit all --recipe R1", "stairs edit tread 5 --recipe R2")
    found = areas(stair)
    assert found["oil stain"] == pytest.approx(12 * STAIN + 14 * RISER + STAIN, abs=0.001)
    products = told(stair, "plan quantities")["products"]
    assert [each["kind"] for each in products] == ["oil stain", "oil polyurethane", "oil stain"]


def test_what_is_left_out_is_named(stair: Run) -> None:
    """Risers without a recipe are not bought for, and the answer says so."""
    do(stair, "stairs edit all treads --recipe R1")
    assert "Left out, since no recipe is theirs: risers 1-14." in do(stair, "plan quantities")
    assert any("risers 1-14" in note for note in told(stair, "plan quantities")["notes"])


def test_coats_that_are_on_are_not_bought_again(stair: Run) -> None:
    """13 stained treads, tread 1 with 1 of 3 topcoats: no stain; 12 x 1.25227 + 2 x 0.32839 = 15.68 m2 of topcoat.

    Tread 1 gets its two missing coats on top and edges, 2 x (0.26710 + 0.06129); its underside had one with the first.
    """
    do(
        stair, "stairs edit all treads --recipe R1", "stairs log all treads stain",
        "stairs log tread 1 topcoat --faces 'both faces and edges'",
    )  # fmt: skip
    found = areas(stair)
    assert "oil stain" not in found
    assert found["oil polyurethane"] == pytest.approx(12 * (3 * (TOP + EDGES) + TOP) + 2 * (TOP + EDGES), abs=0.001)
    assert "2 coats on top and edges of tread 1" in do(stair, "plan quantities")


def test_finished_parts_are_not_planned_again(stair: Run) -> None:
    """Treads with all coats stand in no calendar; a stair that is done has nothing to buy, and says so."""
    do(stair, "stairs edit all treads --recipe R2", "stairs log treads 1-12 stain", "stairs log all treads topcoat",
       "stairs log treads 1-12 topcoat")  # fmt: skip
    plan = told(stair, "plan calendar --start 2099-01-01")
    coated = {part["number"] for event in plan["events"] if event["kind"] == "coat" for part in event["parts"]}
    assert coated == {13}
    assert "Finished, and not planned again: treads 1-12." in plan["notes"]
    do(stair, "stairs log tread 13 topcoat")
    done = stair("plan", "quantities")
    assert done.exit_code == 2
    assert "No part is short of a coat" in done.stderr


def test_a_stain_that_was_passed_over_is_not_planned_under_its_topcoat(stair: Run) -> None:
    """A tread with a topcoat and no stain is due and planned topcoats alone; the missing stain is named."""
    do(stair, "stairs edit all treads --recipe R1", "stairs log tread 3 topcoat")
    rows = told(stair, "stairs due tread 3")
    assert rows["due"][0]["short_of"] == "2 topcoats"
    assert "tread 3: stain was passed over" in rows["notes"][0]
    assert "Not planned: stain on tread 3" in do(stair, "plan quantities")


# -- what is approved


def test_another_approval_leaves_treads_with_their_own_recipe_alone(stair: Run) -> None:
    """Treads 1-6 have R1, the others none: approving R2 changes the others, and the plan of treads 1-6 stays as it was.

    By hand: stain of R1 6 x 0.59548 = 3.57 m2 before and after; of R2 7 x 0.59548 = 4.17 m2.
    """
    do(stair, "stairs edit treads 1-6 --recipe R1", f"approve {board(stair, 'R1')}")
    told_of = do(stair, f"approve {board(stair, 'R2')}")
    assert "treads 7-13: now to get R2 Walnut (before: R1 Honey)." in told_of
    assert "treads 1-6: keep their own recipe, R1 Honey." in told_of
    by_name = {each["name"]: each["coat_area_m2"] for each in told(stair, "plan quantities")["products"]}
    assert by_name["honey"] == pytest.approx(6 * STAIN, abs=0.001)
    assert by_name["walnut"] == pytest.approx(7 * STAIN, abs=0.001)


def test_treads_that_were_begun_stay_with_what_they_have(stair: Run) -> None:
    """Treads stained by the standard before stay with it when another is approved, and approving says so."""
    do(stair, f"approve {board(stair, 'R1')}", "stairs log treads 1-2 stain")
    assert "treads 1-2: begun with R1 Honey, and stay with it." in do(stair, f"approve {board(stair, 'R2')}")
    due = {row["words"]: row["short_of"] for row in told(stair, "stairs due")["due"]}
    assert due == {"treads 1-2": "3 topcoats", "treads 3-13": "1 stain coat, 2 topcoats"}


def test_the_kind_a_recipe_lacked_can_be_said_after_it_was_approved(run: Run) -> None:
    """The plan asks for the kind of a stain; `recipe edit` as its hint says, once approved, makes the plan work."""
    do(
        run,
        "stairs add 4 --tread 36x11.5x1in --no-risers --no-top-nosing",
        "recipe add Old --step colour=amber --top 'oil pu; coats=2'",
    )
    do(run, f"approve {board(run, 'R1')}")
    refused = run("plan", "quantities")
    assert refused.exit_code == 2
    assert "does not say what kind of stain" in refused.stderr
    do(run, "recipe edit R1 --step '1: kind=oil'")
    assert areas(run)["oil stain"] == pytest.approx(3 * STAIN, abs=0.001)


def test_a_recipe_without_a_topcoat_is_told(stair: Run) -> None:
    """Treads on a recipe of stain alone: no topcoat is planned, and the plan says so, as due asks for three."""
    do(stair, "recipe add Bare --step 'oil; colour=grey'", "stairs edit all treads --recipe R3")
    assert "R3 Bare names no topcoat, so none is planned for treads 1-13" in do(stair, "plan quantities")
    assert told(stair, "stairs due all treads")["due"][0]["short_of"] == "1 stain coat, 3 topcoats"


def test_labels_and_house_file_name_the_same_recipe(stair: Run) -> None:
    """The label of a tread that inherits the standard names it, as `stairs part` does."""
    from finishlab.logbook.store import Logbook
    from finishlab.printing.labels import label_views, split_wish

    do(stair, f"approve {board(stair, 'R2')}")
    with Logbook.open(stair.logbook) as log:
        (label,) = label_views(log, split_wish(("tread 7",)))
    assert label.recipe == "R2 Walnut" == told(stair, "stairs part tread 7")["parts"][0]["recipe"]


# -- a log that notices


@pytest.fixture
def work(stair: Run) -> Run:
    """All treads on R1, a can of stain, one of topcoat with its label, one of another kind."""
    do(
        stair,
        "stairs edit all treads --recipe R1",
        "can add honey --kind 'oil stain'",
        "can add clear --kind 'oil polyurethane' --label 'recoat=12; recoat-within=48; pot-life=4'",
        "can add floor --kind 'water polyurethane 1-part'",
    )
    return stair


@pytest.mark.parametrize(
    ("before", "line", "code", "says"),
    [
        ((), "tread 1 topcoat --can C1", "wrong-can", "C1 holds oil stain, which is no topcoat."),
        ((), "tread 1 topcoat --can C3", "wrong-can", "C3 holds water polyurethane 1-part, and R1 asks for oil"),
        (("tread 1 topcoat",) * 3, "tread 1 topcoat", "extra-coat", "topcoat 4 of 3: R1 asks for no more."),
        (("tread 1 stain",), "tread 1 stain", "extra-coat", "stain 2 of 1: R1 asks for no more; each further coat"),
        (
            ("tread 1 stain --date 2024-05-10",),
            "tread 1 topcoat --date 2024-05-08", "before-the-coat-below", "its date lies before",
        ),
        ((), "tread 1 stain --recipe R2", "wrong-recipe", "it is to get R1, and this is a coat of R2."),
        ((), "tread 1 topcoat --can C2 --mixed 09:00 --time 15:00", "pot-life", "put on 6 h after it was mixed"),
        ((), "tread 1 stain --air 8", "air", "at 8 C a coat dries slowly"),
        ((), "tread 1 stain --humidity 85", "damp", "at 85 % humidity"),
        (
            ("tread 1 topcoat --can C2 --date 2024-05-10 --time 09:00",),
            "tread 1 topcoat --can C2 --date 2024-05-10 --time 17:00", "too-soon", "too soon after topcoat 1",
        ),
    ],
)  # fmt: skip
def test_the_log_notices(work: Run, before: tuple[str, ...], line: str, code: str, says: str) -> None:
    """What differs is told when it is logged, listed by `stairs deviations`, and marked where the part is shown."""
    do(work, *(f"stairs log {each}" for each in before))
    assert says in do(work, f"stairs log {line}")
    found = told(work, "stairs deviations")["deviations"]
    assert code in {each["code"] for each in found}
    assert says in do(work, "stairs show")
    assert "(!)" in do(work, "stairs show")
    part = told(work, "stairs part tread 1")["parts"][0]
    assert any(says in sentence for sentence in part["deviations"])


def test_a_wrong_guess_can_be_corrected(work: Run) -> None:
    """An hour, a can and a recipe that were logged wrong are changed, several at once, and the deviation is gone."""
    do(work, "stairs log treads 1-2 stain --recipe R2 --can C2 --time 8:15 --air 40")
    assert len(told(work, "stairs deviations")["deviations"]) >= 4
    do(work, "stairs edit-event E1 E2 --recipe R1 --can C1 --air 20 --clear time")
    assert told(work, "stairs deviations")["deviations"] == []
    event = told(work, "stairs part tread 1")["parts"][0]["events"][0]
    assert event["remarks"] == "20 C"


def test_how_a_coat_was_given_is_kept_for_several_parts_at_once(work: Run) -> None:
    """Hour, air, humidity, applicator, wiping: all optional, logged for all the parts that are named."""
    do(work, "stairs log treads 1-3 stain --time 14:30 --air 19 --humidity 55 --applicator rag --wipe 5")
    for place in (1, 2, 3):
        (event,) = told(work, f"stairs part tread {place}")["parts"][0]["events"]
        assert event["remarks"] == "at 14:30, 19 C, 55 %, by rag, wiped after 5 min"
        assert event["conditions"]["rh_percent"] == 55


def test_a_bad_hour_is_refused(work: Run) -> None:
    """An hour that no clock shows, and a humidity nobody means, are refused and nothing is logged."""
    assert work("stairs", "log", "tread 1", "stain", "--time", "25:00").exit_code == 2
    assert work("stairs", "log", "tread 1", "stain", "--humidity", "140").exit_code == 2
    assert told(work, "stairs part tread 1")["parts"][0]["events"] == []


def test_a_recoat_window_closes_visibly(work: Run) -> None:
    """A topcoat of 10 May with 48 h on its label: the window ended on 12 May; rubbed out, it is told no more."""
    do(
        work,
        "stairs log tread 1 stain --can C1 --date 2024-05-08",
        "stairs log tread 1 topcoat --can C2 --date 2024-05-10 --time 09:00",
    )
    (row,) = told(work, "stairs due tread 1")["due"]
    assert row["window_closed"] == "2024-05-12"
    assert "window closed on 2024-05-12, rub out first" in do(work, "stairs due tread 1")
    do(work, "stairs log tread 1 rubbed-out")
    (row,) = told(work, "stairs due tread 1")["due"]
    assert row["window_closed"] is None


def test_a_fresh_coat_closes_its_step_when_the_plan_begins(work: Run) -> None:
    """Tread 3 got its last coat today at 20 o'clock with 48 h to socks: tomorrow's plan keeps off it until then."""
    from finishlab.record import today

    do(
        work, "can edit C2 --label walk-on=48", "stairs edit tread 3 --recipe R2",
        "stairs log tread 3 stain --recipe R2", "stairs log tread 3 topcoat --can C2 --time 19:00",
        "stairs log tread 3 topcoat --can C2 --time 20:00",
    )  # fmt: skip
    tomorrow = today() + dt.timedelta(days=1)
    plan = told(work, f"plan calendar --start {tomorrow} --zone UTC")
    first = plan["ways"][0]
    assert [part["number"] for part in first["closed"]] == [3]
    assert (first["start"], first["end"]) == (f"{tomorrow}T00:00", f"{tomorrow}T08:00")
    opens = next(e for e in plan["events"] if e["kind"] == "walk-on" and [p["number"] for p in e["parts"]] == [3])
    assert opens["start"] == f"{today() + dt.timedelta(days=2)}T20:00"
    # Its neighbours wait until it can be walked on.
    for event in plan["events"]:
        if event["kind"] == "coat" and {2, 4} & {part["number"] for part in event["parts"]}:
            assert event["start"] >= opens["start"]


def test_what_has_all_its_coats_is_only_fitted(work: Run) -> None:
    """Treads finished away from the stair and not fitted yet are planned for fitting alone, fitted ones not at all."""
    do(work, "stairs edit all treads --recipe R2", "stairs log all treads stain --date 2024-05-01")
    do(
        work,
        *(["stairs log all treads topcoat --date 2024-05-02"] * 2),
        "stairs log treads 1-11 fitted --date 2024-05-09",
    )
    plan = told(work, "plan calendar --away --start 2099-01-01")
    assert {event["kind"] for event in plan["events"]} == {"fit", "walk-on", "use"}
    assert sorted(part["number"] for e in plan["events"] if e["kind"] == "fit" for part in e["parts"]) == [12, 13]


def test_a_sanded_tread_is_covered_until_its_turn(work: Run) -> None:
    """All treads are sanded: those whose turn comes second are walked on, and are kept covered until then."""
    do(work, "stairs log all treads sanded")
    plan = told(work, "plan calendar --start 2099-01-01")
    covers = [event for event in plan["events"] if event["kind"] == "cover"]
    assert sorted(part["number"] for event in covers for part in event["parts"]) == list(range(1, 14))
    for event in covers:
        for part in event["parts"]:
            first = min(e["start"] for e in plan["events"] if e["kind"] == "coat" and part in e["parts"])
            assert event["end"] == first
    assert "sand each part last" in do(work, "plan calendar --start 2099-01-01")


def test_a_missed_window_is_planned_after_a_rub_out(work: Run) -> None:
    """A coat of 2024 whose label allowed 48 h: the next is planned with a rub-out before it, never simply late."""
    do(
        work,
        "stairs log all treads stain --can C1 --date 2024-05-08",
        "stairs log tread 1 topcoat --can C2 --date 2024-05-10",
    )
    plan = told(work, "plan calendar --start 2099-01-01")
    mine = [e for e in plan["events"] if any(p["number"] == 1 and p["kind"] == "tread" for p in e["parts"])]
    assert [e["kind"] for e in mine if e["kind"] in {"rub-out", "coat"}][:2] == ["rub-out", "coat"]


def test_a_clock_change_is_counted_in_real_hours(run: Run) -> None:
    """24 h after 9 o'clock of the day before clocks go forward it is 10 (EU directive 2000/84/EC: 2026-03-29)."""
    do(run, "stairs add 2 --tread 36x11.5x1in --no-risers --no-top-nosing")
    line = "plan calendar --treads 1 --liquid 'oil polyurethane' --start 2026-03-28 --zone Europe/Vienna"
    walk = next(event for event in told(run, line)["events"] if event["kind"] == "walk-on")
    assert walk["start"] == "2026-03-29T10:00"
    utc = next(
        event for event in told(run, line.replace("Europe/Vienna", "UTC"))["events"] if event["kind"] == "walk-on"
    )
    assert utc["start"] == "2026-03-29T09:00"


def test_a_recipe_in_everyday_words_is_planned_and_warned_of(run: Run) -> None:
    """A stain and a topcoat named in words only are planned by the kinds the words name, and oil's rags are said."""
    words = ("--step", "colour=walnut oil stain", "--top", "product=oil polyurethane")
    assert run("recipe", "add", "Warm", *words).exit_code == 0
    assert run("stairs", "add", 3, "--tread", "914x292x27", "--recipe", "R1").exit_code == 0
    done = run("plan", "quantities")
    assert done.exit_code == 0, done.stderr
    assert "walnut oil stain (oil stain): 1 coat" in done.stdout
    assert "oil polyurethane: 3 coats" in done.stdout
    assert "by its words" in done.stdout
    assert "rags with oil" in run("stairs", "log", "tread 1", "stain").stderr


def test_a_coat_of_nobody_knows_what_counts_as_oil(run: Run) -> None:
    """Stain logged on a part without a recipe brings the caution of oily rags."""
    assert run("stairs", "add", 3, "--tread", "914x292x27").exit_code == 0
    assert "rags with oil" in run("stairs", "log", "tread 1", "stain").stderr


def test_a_kind_in_everyday_words_is_known_everywhere(run: Run, tmp_path: Path) -> None:
    """Schedule, mending, deviations and what follows on what know the kinds that a recipe's words name."""
    words = "--step 'colour=walnut oil stain' --top 'product=water polyurethane'"
    assert "water over fresh oil beads and peels" in do(run, f"recipe add Warm {words}")
    do(run, "stairs add 3 --tread 914x292x27 --recipe R1", "can add honey --kind 'gel stain'")
    assert (
        "usual: 24 to 72 h under another product"
        in told(run, f"schedule R1 --output {tmp_path / 's.pdf'}")["steps"][1]["time"]
    )
    assert "holds gel stain, and R1 asks for oil stain" in do(run, "stairs log tread 1 stain --can C1")
    do(run, "stairs log tread 2 stain", "stairs log tread 2 topcoat")
    assert "topcoat 1 (water polyurethane)" in do(run, "mend peeling --part 'tread 2'")
    assert "usual (common practice, no source) are at least 24 h, so too soon" in do(
        run, "mend peeling --part 'tread 2'"
    )


def test_a_topcoat_whose_words_say_nothing_counts_as_oil(run: Run) -> None:
    """Each coat of a topcoat of which neither kind nor words tell what it is brings the caution of oily rags."""
    do(run, "recipe add Odd --top 'product=Best'", "stairs add 3 --tread 914x292x27 --recipe R1")
    assert "rags with oil" in do(run, "stairs log tread 1 topcoat")
    do(run, "recipe edit R1 --top 'product=water polyurethane'")
    assert "rags with oil" not in do(run, "stairs log tread 1 topcoat")


def test_a_topcoat_over_too_little_stain_is_noticed(run: Run) -> None:
    """A topcoat logged where the recipe's stain is not all on is told at once and listed with its own event."""
    words = ("--step", "oil; colour=walnut; coats=2", "--top", "oil pu; coats=3")
    assert run("recipe", "add", "Dark", *words).exit_code == 0
    assert run("stairs", "add", 3, "--tread", "914x292x27", "--recipe", "R1").exit_code == 0
    assert run("stairs", "log", "tread 1", "stain", "--date", "2026-05-01").exit_code == 0
    assert "topcoat over stain 1 of 2" in run("stairs", "log", "tread 1", "topcoat", "--date", "2026-05-03").stderr
    done = run("stairs", "deviations", columns=200)
    assert "topcoat over stain 1 of 2" in done.stdout
    assert "edit-event E2 --help" in done.stdout
