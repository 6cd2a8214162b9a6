"""The plan on the command line and in files: a stair by options or from TOML; text, CSV, iCalendar, JSON."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from conftest import Run
from hypothesis import given
from hypothesis import strategies as st

import finishlab.plan
from finishlab.cautions import CAUTIONS
from finishlab.coatings import COMMON
from finishlab.errors import UsageError
from finishlab.files import csv_text
from finishlab.plan.days import Entry, icalendar_text
from finishlab.plan.entered import read_plan
from finishlab.plan.stair_plan import jobs_of

TREADS = ("--treads", 13, "--front", "36in", "--depth", "11.5in", "--thickness", "1 1/16in")
EXAMPLE = (Path(finishlab.plan.__file__).parent / "example.toml").read_text(encoding="utf-8")
STAIN = ("--liquid", "oil stain", "--coverage", "125 ft2/qt", "--can-size", "1qt=18.50")


@pytest.fixture
def file(tmp_path: Path) -> Callable[[str], Path]:
    """Write a plan's file."""

    def write(text: str) -> Path:
        path = tmp_path / "stair.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def document(text: str, kind: str) -> dict[str, Any]:
    """Return a JSON document after checking what it says it is."""
    found: dict[str, Any] = json.loads(text)
    assert found["format"] == f"finishlab/{kind}/1"
    return found


def words(text: str) -> str:
    """Return text without its line breaks."""
    return " ".join(text.split())


# -- quantities


def test_quantities_say_what_to_buy(run: Run) -> None:
    """13 treads at the label's 125 ft2/qt need 0.77 qt with 15 % waste: one quart, with the cautions."""
    done = run("plan", "quantities", *TREADS, *STAIN)
    assert done.exit_code == 0
    text = words(done.stdout)
    assert "83.9 ft2 (7.79 m2)" in text
    assert "0.77 qt (0.73 L)" in text
    assert "Buy 1 x 1qt for 18.50" in text
    assert "as the label says" in text
    assert "catch fire" in text
    assert "safety data sheet" in text


def test_quantities_without_a_label_are_a_range(run: Run) -> None:
    """Without a coverage the answer runs from the least to the most, and says that no source vouches for it."""
    done = run("plan", "quantities", *TREADS, "--liquid", "oil stain", "--can-size", "1qt")
    text = words(done.stdout)
    assert "Buy 1 x 1qt, or up to 2 x 1qt" in text
    assert "common practice, no source" in text


def test_quantities_as_json_and_csv(run: Run, tmp_path: Path) -> None:
    """The document and the table say the same litres and cans."""
    table = tmp_path / "q.csv"
    found = document(run("plan", "quantities", *TREADS, *STAIN, "--csv", table, "--json").stdout, "plan-quantities")
    (product,) = found["products"]
    can = {"size": "1qt", "litres": 0.9464, "count": 1}
    assert product["buy"]["most"] == {"cans": [can], "litres": 0.9464, "cost": 18.5}
    assert "oily-rags" in [caution["code"] for caution in found["cautions"]]
    (row,) = csv.DictReader(io.StringIO(table.read_text(encoding="utf-8")))
    assert float(row["litres most"]) == product["litres"][1]
    assert (product["coats_source"], product["waste_source"]) == (COMMON, COMMON)
    given_ = run("plan", "quantities", *TREADS, *STAIN, "--coats", 2, "--waste", 10, "--json")
    (said,) = document(given_.stdout, "plan-quantities")["products"]
    assert (said["coats_source"], said["waste_source"]) == ("as given", "as given")
    assert row["coverage source"] == "label"


# -- cutting


def test_cutting_gives_the_back_of_a_tread_that_is_not_square(run: Run) -> None:
    """Front 36, depth 10.5, angles 89.0 and 90.5: the back is 35 29/32 in (35.908), with both diagonals to check."""
    sizes = ("--treads", 13, "--front", "36in", "--depth", "10.5in", "--thickness", "1in")
    done = run("plan", "cutting", *sizes, "--odd", "3:left=89,right=90.5", "--stock", "96inx11.5in=62")
    assert done.exit_code == 0
    text = words(done.stdout)
    assert "Buy 7 boards" in text
    assert "back 35 29/32 in (912 mm)" in text
    assert "check: front left to back right" in text
    found = document(run("plan", "cutting", *sizes, "--stock", "2500x300", "--json").stdout, "plan-cutting")
    assert len(found["pieces"]) == 14
    assert found["pieces"][-1]["name"] == "spare"


# -- calendar


def test_the_calendar_of_a_few_treads(run: Run) -> None:
    """Day by day it says which treads get what, and what may be stepped on at night."""
    done = run("plan", "calendar", "--treads", 5, "--liquid", "water polyurethane", "--start", "2026-12-01")
    assert done.exit_code == 0
    text = words(done.stdout)
    assert "Tuesday 1 December 08:00-09:00 coat 1 of 1, water polyurethane: treads 1, 3 and 5" in text
    assert "night step only on treads 2 and 4" in text
    assert "Block the stair" in text
    assert "walk on in socks: treads 1, 3 and 5" in text


def test_the_calendar_part_by_part(run: Run) -> None:
    """With --by-part each part has its own list, from the first coat to cured."""
    done = run("plan", "calendar", "--treads", 2, "--liquid", "oil polyurethane", "--start", "2026-12-01", "--by-part")
    blocks = done.stdout.split("\n\n")
    assert blocks[0].startswith("Tread 1\n")
    assert "cured" in blocks[0]
    assert blocks[1].startswith("Tread 2\n")


def test_the_calendar_starts_tomorrow_unless_told(run: Run) -> None:
    """Without --start the first day is the one after today."""
    found = document(run("plan", "calendar", "--treads", 1, "--liquid", "sealer", "--json").stdout, "plan-calendar")
    today = dt.datetime.now(tz=dt.UTC).astimezone().date()
    assert dt.date.fromisoformat(found["start"]) - today in (dt.timedelta(days=1), dt.timedelta())


def test_the_calendar_of_a_file_goes_to_csv_and_ics(run: Run, file: Callable[[str], Path], tmp_path: Path) -> None:
    """The example's stair gives a table with a row for each part and event, and a calendar file, twice the same."""
    stair, table, calendar = file(EXAMPLE), tmp_path / "c.csv", tmp_path / "c.ics"
    assert run("plan", "calendar", "--from", stair, "--csv", table, "--ics", calendar).exit_code == 0
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8"))))
    plan = read_plan(stair)
    coated = {(row["flight"], row["part"], row["number"]) for row in rows if row["event"] == "coat"}
    assert len(coated) == len(plan.parts)
    first = calendar.read_bytes()
    assert run("plan", "calendar", "--from", stair, "--ics", calendar).exit_code == 0
    assert calendar.read_bytes() == first
    assert first.count(b"BEGIN:VEVENT") == first.count(b"END:VEVENT") > 20


def test_the_examples_jobs(file: Callable[[str], Path]) -> None:
    """The example reads as it says: 7 and 5 treads, 6 landing boards, risers painted, treads away, labels' figures."""
    plan = read_plan(file(EXAMPLE))
    kinds = [part.kind for part in plan.parts]
    assert (kinds.count("tread"), kinds.count("landing board"), kinds.count("riser")) == (12, 6, 8)
    odd = [part for part, shape in plan.shapes.items() if part.kind == "tread" and not shape.is_square]
    assert [(part.level, part.place) for part in odd] == [(1, 3)]
    risers, treads, landing = jobs_of(plan)
    assert (risers.kinds, [coat.product for coat in risers.coats]) == (("riser",), ["riser paint"] * 2)
    assert (treads.kinds, treads.away, len(treads.coats)) == (("tread",), True, 4)
    assert (set(landing.kinds), landing.away) == ({"landing board", "landing nosing"}, False)
    assert plan.products[1].coat.times.recoat == (24, 72)
    assert plan.products[2].coat.times.cure == 14 * 24
    assert plan.us


def test_every_hour_says_who_says_it(run: Run, file: Callable[[str], Path]) -> None:
    """Hours are common practice until a label, the recipe, a file or an option says them; in text and in JSON."""
    words_ = ("plan", "calendar", "--treads", 3, "--liquid", "oil stain", "--away", "--set", 12)
    found = document(run(*words_, "--json").stdout, "plan-calendar")
    assert set(found["products"][0]["sources"].values()) == {COMMON}
    assert found["work"] == {"coat_h": 1, "rub_out_h": 1, "fit_h": 1, "set_h": 12, "ready_h": 48}
    assert found["sources"] == dict.fromkeys(("coat_h", "rub_out_h", "fit_h", "ready_h"), COMMON) | {
        "set_h": "as given"
    }
    assert "glue holds after 12 h (as given)" in words(run(*words_).stdout)
    changed = EXAMPLE.replace("coat_h = 1", "coat_h = 2", 1)
    told = document(run("plan", "calendar", "--from", file(changed), "--json").stdout, "plan-calendar")
    assert (told["work"]["coat_h"], told["sources"]["coat_h"]) == (2, "the file")
    assert any("the file" in product["sources"].values() for product in told["products"])


def test_painting_old_risers_brings_lead(run: Run, file: Callable[[str], Path]) -> None:
    """A calendar that paints risers says lead before they are sanded; one of new treads alone does not."""
    said = []
    for stair in (("--from", file(EXAMPLE)), ("--treads", 3, "--liquid", "oil stain")):
        found = document(run("plan", "calendar", *stair, "--json").stdout, "plan-calendar")
        said.append("lead-paint" in {each["code"] for each in found["cautions"]})
    assert said == [True, False]


def test_hours_of_a_logged_can_are_its_labels(run: Run) -> None:
    """A label's recoat of 10 h is named with its can, the recipe's wait with the recipe, the rest as common practice.

    By hand: before the topcoat the recipe waits 30 h, longer than the label's 10 h, so the recipe's hours hold.
    """
    run("stairs", "add", "3", "--tread", "914x292x27", "--no-risers", "--no-top-nosing")
    run("can", "add", "honey", "--kind", "oil stain", "--label", "recoat=10; walk-on=20")
    run("recipe", "add", "new", "--step", "oil; colour=honey; can=C1; next=30", "--top", "oil pu")
    run("stairs", "edit", "all treads", "--recipe", "R1")
    found = document(run("plan", "calendar", "--json").stdout, "plan-calendar")
    stain, top = found["products"]
    assert stain["recoat_h"] == [10, None]
    assert stain["under_other_h"] == [30, None]
    sources = stain["sources"]
    who = [sources[name] for name in ("recoat_h", "under_other_h", "socks_h")]
    assert who == ["the label of C1", "R1", "the label of C1"]
    assert (sources["cure_h"], set(top["sources"].values())) == (COMMON, {COMMON})


# -- risers, floor, cautions


def test_the_riser_check_says_who_decides(run: Run) -> None:
    """Risers of 7.5 in, treads +3/4, floors +1/4: 8 and 7 in do not hold; edition and inspector are named."""
    added = ("--tread-added", "3/4in", "--lower-added", "1/4in", "--upper-added", "1/4in")
    done = run("plan", "risers", "--riser", "7.5in", "--count", 14, *added)
    text = words(done.stdout)
    assert "riser 1 (lowest) 7 1/2 in (190 mm), becomes 8 in (203 mm)" in text
    assert "DOES NOT HOLD" in text
    assert "2018 edition" in text
    assert "The local code and the inspector decide" in text
    thinner = run("plan", "risers", "--riser", "190mm", "--count", 3, "--tread-added=-5mm", "--json")
    assert document(thinner.stdout, "plan-risers")["after_mm"] == [185.0, 190.0, 195.0]


def test_floor_boxes(run: Run) -> None:
    """12 x 14 ft with 10 % waste in boxes of 20.5 ft2 at 54 each: 10 boxes for 540."""
    done = run("plan", "floor", "--room", "12ftx14ft", "--box", "20.5ft2", "--price", 54)
    assert "Buy 10 boxes for 540.00" in done.stdout
    found = document(run("plan", "floor", "--room", "15m2", "--box", "2.2m2", "--json").stdout, "plan-floor")
    assert found["boxes"] == 8


def test_cautions_are_printed_with_their_sources(run: Run) -> None:
    """Every caution comes with who says so, on the terminal and as JSON."""
    text = words(run("cautions").stdout)
    found = document(run("cautions", "--json").stdout, "cautions")
    assert len(found["cautions"]) == len(CAUTIONS) > 10
    for caution in found["cautions"]:
        assert caution["title"] in text
        assert caution["source"] in text


def test_unlikely_sizes_are_told(run: Run) -> None:
    """A tread of 36 x 11 x 1 is taken in millimetres where it says so, and each unlikely size is told once."""
    sizes = ("--front", "36mm", "--depth", "11mm", "--thickness", "1mm")
    done = run("plan", "quantities", "--treads", 3, *sizes, *STAIN)
    assert done.exit_code == 0
    told = done.stderr.splitlines()
    assert told[0] == "A tread with a front of 36 mm is unusual."
    assert len(told) == 3
    assert "height of 7.5 mm" in run("plan", "risers", "--riser", "7.5mm", "--count", 3).stderr
    assert run("plan", "quantities", *TREADS, *STAIN).stderr == ""


# -- what is refused


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("quantities", "--liquid", "oil stain"), "not described"),
        (("quantities", "--treads", 3, "--liquid", "oil stain"), "--front"),
        (("quantities", *TREADS), "No product"),
        (("quantities", *TREADS, "--liquid", "soup"), "soup"),
        (("quantities", *TREADS, "--liquid", "riser paint"), "no part of this stair"),
        (("quantities", *TREADS, "--liquid", "oil stain", "--can-size", "1qt=cheap"), "cheap"),
        (("cutting", *TREADS), "No board"),
        (("cutting", *TREADS, "--odd", "14:left=89", "--stock", "96inx12in"), "no tread 14"),
        (("cutting", *TREADS, "--odd", "3", "--stock", "96inx12in"), "does not describe"),
        (("calendar", "--treads", 3), "No coat"),
        (("calendar", "--liquid", "sealer"), "not described"),
        (("calendar", "--treads", 3, "--liquid", "sealer", "--hours", "18-8"), "Nobody works"),
        (("calendar", "--treads", 3, "--liquid", "sealer", "--start", "soon"), "not a date"),
        (("risers", "--riser", "7.5in", "--riser", "7in", "--count", 3), "measured and counted"),
        (("risers", "--riser", "tall"), "not a riser"),
        (("floor", "--room", "big", "--box", "2m2"), "big"),
    ],
)
def test_what_cannot_be_meant_is_refused(run: Run, args: tuple[object, ...], said: str) -> None:
    """Each ends with exit code 2, one sentence on stderr that names what is wrong, and nothing on stdout."""
    run("recipe", "add", "plain")
    done = run("plan", *args)
    assert done.exit_code == 2
    assert said in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("treads = ", "no TOML"),
        ("begin = 2026-12-01", "“begin” is not known"),
        ("[[flight]]\nname = 3", "neither treads nor risers"),
        ("[[flight]]\nrisers = 8\ntreads = 8\n", "8 risers have 7 treads"),
        ('[[flight]]\ntreads = 3\ntread = { front = "36in", depth = "11in" }', "thickness is missing"),
        ('[[flight]]\ntreads = 3\ntread = { front = "wide", depth = 290, thickness = 27 }', "flight 1, tread, front"),
        ("[[flight]]\ntreads = 3\ntread = { front = 914, depht = 290, thickness = 27 }", "depht"),
        ("[[product]]\nname = 'x'", "kind is missing"),
        ("[[product]]\nkind = 'oil stain'\nrecoat_h = [4, 2]", "product 1"),
        ("[[product]]\nkind = 'oil stain'\ncoats = 'two'", "a whole number belongs here"),
        ("[[product]]\nkind = 'oil stain'\nparts = ['lid']", "“lid” is not a part"),
        ("[work]\nhours = 8", "no working hours"),
        ("[work]\noff = ['Christmas']", "a date such as"),
        (
            "[[flight]]\ntreads = 2\ntread = {front = 914, depth = 290, thickness = 27}\nskirt = {side = 'up'}",
            "side is",
        ),
        ("flight = 3", "a list of tables belongs here"),
    ],
)
def test_a_file_with_a_mistake_is_refused(run: Run, file: Callable[[str], Path], text: str, said: str) -> None:
    """A mistake in the file is named with its place; nothing is guessed."""
    done = run("plan", "calendar", "--from", file(text))
    assert done.exit_code == 2
    assert said in words(done.stderr)


def test_a_missing_file_and_options_beside_a_file_are_refused(run: Run, file: Callable[[str], Path]) -> None:
    """A file that is not there, and sizes or coats given beside a file, are refused."""
    with pytest.raises(UsageError, match="cannot be read"):
        read_plan("no/such/file.toml")
    stair = file(EXAMPLE)
    assert run("plan", "quantities", "--from", stair, "--treads", 3).exit_code == 2
    assert run("plan", "calendar", "--from", stair, "--liquid", "sealer").exit_code == 2
    assert run("plan", "quantities", "--from", stair, "--liquid", "sealer").exit_code == 2


# -- CSV and iCalendar themselves

formulas = st.builds(lambda first, rest: first + rest, st.sampled_from("=+-@\t\r"), st.text())


@given(
    st.lists(st.one_of(formulas, st.text(), st.floats(-1e6, 1e6), st.integers(-9, 9), st.none()), min_size=1),
    st.sampled_from([10, None]),
)
def test_no_cell_of_text_begins_a_formula(cells: list[str | float | None], figures: int | None) -> None:
    """Whatever people wrote, Python's own reader gives it back and no cell begins with = + - @, a tab or a return."""
    _, found = csv.reader(io.StringIO(csv_text(["x"] * len(cells), [cells], figures=figures), newline=""))
    for cell, text in zip(cells, found, strict=True):
        if isinstance(cell, str):
            assert not text.startswith(("=", "+", "-", "@", "\t", "\r"))
            assert text.removeprefix("'").replace("\r\n", "\n") == cell.removeprefix("'").replace("\r\n", "\n")
        elif cell is None:
            assert text == ""
        else:
            assert float(text) == (cell if figures is None else pytest.approx(cell, rel=1e-9))


@given(st.lists(st.tuples(st.text(), st.text()), min_size=1, max_size=4))
def test_the_calendar_file_can_be_read_back(texts: list[tuple[str, str]]) -> None:
    """Lines are at most 75 octets and end in CRLF; unfolded and unescaped, each title is what was given (RFC 5545)."""
    moment = dt.datetime(2026, 12, 1, 8)  # noqa: DTZ001 - floating time is meant
    entries = [Entry(moment, None, title, text) for title, text in texts]
    content = icalendar_text("Stair", entries, dt.date(2026, 12, 1))
    lines = content.encode().split(b"\r\n")
    assert lines.pop() == b""
    assert all(len(line) <= 75 for line in lines)
    unfolded = content.replace("\r\n ", "").split("\r\n")
    titles = [line.removeprefix("SUMMARY:") for line in unfolded if line.startswith("SUMMARY:")]
    kept = ["".join(c for c in title.replace("\r\n", "\n") if c == "\n" or c.isprintable()) for title, _ in texts]
    assert [unescaped(title) for title in titles] == kept
    identifiers = [line for line in unfolded if line.startswith("UID:")]
    assert len(set(identifiers)) == len(texts)


def unescaped(text: str) -> str:
    """Return a TEXT value as it was."""
    found, rest = "", iter(text)
    for character in rest:
        if character == "\\":
            after = next(rest)
            found += "\n" if after == "n" else after
        else:
            found += character
    return found


def test_days_and_moments_of_the_calendar_file() -> None:
    """A moment is local and has no zone, a whole day is a date, and a title is escaped."""
    day, moment = dt.date(2026, 12, 24), dt.datetime(2026, 12, 24, 8, 30)  # noqa: DTZ001 - floating time is meant
    text = icalendar_text(
        "Stair",
        [Entry(moment, moment, "a; b, c"), Entry(day, day + dt.timedelta(days=1), "night", busy=False)],
        dt.date(2026, 12, 1),
    )
    assert "DTSTART:20261224T083000\r\nSUMMARY:a\\; b\\, c\r\n" in text
    assert "DTSTART;VALUE=DATE:20261224\r\nDTEND;VALUE=DATE:20261225\r\n" in text
    assert "DTSTAMP:20261201T000000Z\r\n" in text
