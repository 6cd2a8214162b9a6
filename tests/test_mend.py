"""When a coat went wrong: everyday words find the fault, the record of the part is told, and what must not be done."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any, Final, get_args

import pytest
from conftest import Run
from hypothesis import given
from hypothesis import strategies as st

from finishlab.cautions import Action
from finishlab.coatings import COATINGS, COMMON
from finishlab.errors import UsageError
from finishlab.mend.documents import FAULTS, TRY_FIRST, Ask, Fault, fault_of, look_alikes

DAY: Final = dt.datetime.now(tz=dt.UTC).astimezone().date() - dt.timedelta(days=8)
"""Eight days ago."""

WORDS: Final = (
    ("lap marks", "lap marks"), ("there are streaks in the stain", "lap marks"), ("overlaps", "lap marks"),
    ("dark bands across the tread", "lap marks"), ("blotchy pine", "blotches"), ("uneven stain", "blotches"),
    ("splotches", "blotches"), ("came out too dark", "too dark"), ("darker than the board", "too dark"),
    ("too brown", "too dark"), ("stain did not take", "too light"), ("it is too light", "too light"),
    ("pale", "too light"),
    ("it looks pink", "too red"), ("too orange", "too red"), ("reddish", "too red"), ("still tacky", "still tacky"),
    ("sticky after three days", "still tacky"), ("it won't dry", "still tacky"), ("stil taky", "still tacky"),
    ("the poly is peeling", "peeling"), ("flaking off", "peeling"), ("peelling", "peeling"), ("fisheyes", "fish eyes"),
    ("craters", "fish eyes"), ("fish eye", "fish eyes"), ("tiny bubbles", "bubbles"), ("pinholes", "bubbles"),
    ("bubles", "bubbles"), ("dust nibs", "dust"), ("gritty surface", "dust"), ("grain is fuzzy", "raised grain"),
    ("raised grain", "raised grain"), ("rough after water stain", "raised grain"), ("white haze", "white haze"),
    ("milky spots", "white haze"), ("blushing", "white haze"), ("water left white rings", "white haze"),
    ("dog scratches", "scratches"), ("sanding marks", "scratches"), ("scraches", "scratches"),
    ("worn nosing", "worn nosing"),
    ("worm nosing", "worn nosing"), ("worn through at the front", "worn nosing"), ("grey tread", "worn nosing"),
    ("one tread is darker", "a tread that differs"), ("does not match its neighbours", "a tread that differs"),
    ("a tread that differs", "a tread that differs"), ("one step looks different", "a tread that differs"),
)  # fmt: skip


@pytest.mark.parametrize(("text", "name"), WORDS, ids=[text for text, _ in WORDS])
def test_everyday_words_find_the_fault(text: str, name: str) -> None:
    """What people call it leads to the fault, a slip of a letter too."""
    assert fault_of(text).name == name


@pytest.mark.parametrize("text", ["purple rain", "the cat", "varnish", "stairs"])
def test_what_is_no_fault_is_refused_with_those_there_are(text: str) -> None:
    """A word that means none is not guessed at: it is refused, with what is near or all there are."""
    with pytest.raises(UsageError) as refused:
        fault_of(text)
    assert refused.value.code == "unknown-fault"
    assert refused.value.hint


@given(st.text())
def test_any_text_is_taken(text: str) -> None:
    """Whatever people write gives a fault or a clear refusal."""
    try:
        found = fault_of(text).name
    except UsageError:
        return
    assert found in FAULTS


@pytest.mark.parametrize("fault", FAULTS.values(), ids=lambda each: each.name)
def test_every_fault_says_all_that_is_needed(fault: Fault) -> None:
    """Each has its look, look-alikes that are faults too, a cause, what first, what never, and what to look up."""
    assert all((fault.look, fault.why, fault.finisher, fault.ask, fault.source))
    assert len(fault.first) >= 2
    assert fault.never
    assert look_alikes(fault)
    assert all(other is not fault for other, _ in look_alikes(fault))


@pytest.mark.parametrize("fault", FAULTS.values(), ids=lambda each: each.name)
def test_every_fault_asks_and_does_what_there_is(fault: Fault) -> None:
    """What a fault of the table asks of the record, does and looks like are questions, actions and faults there are."""
    assert set(fault.ask) <= set(get_args(Ask))
    assert set(fault.actions) <= set(get_args(Action))
    assert {name for name, _ in fault.unlike} <= set(FAULTS) - {fault.name}
    texts = [fault.name, fault.look, fault.why, fault.finisher, *fault.also, *fault.first, *fault.never]
    assert all(isinstance(text, str) and text == " ".join(text.split()) for text in texts)


def test_every_word_means_one_fault() -> None:
    """No word stands for two faults."""
    names = [name for each in FAULTS.values() for name in (each.name, *each.also)]
    assert len(names) == len(set(names))


def told(run: Run, *words: object) -> dict[str, Any]:
    """Return what is told of a fault."""
    done = run("mend", *words, "--json")
    assert done.exit_code == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.fixture
def stair(run: Run) -> Run:
    """A stair of five oak treads: the third is of another lot, and got its topcoat on the day of its stain."""
    tread = ("--tread", "914x292x27", "--no-risers", "--no-top-nosing")
    for words in (
        ("stairs", "add", 6, *tread),
        ("can", "add", "Honey", "--kind", "oil stain", "--lot", "4711", "--label", "recoat=24"),
        ("can", "add", "Honey", "--kind", "oil stain", "--lot", "4712", "--left", "0.2L", "--place", "attic"),
        ("can", "add", "Satin", "--kind", "water polyurethane 1-part"),
        ("recipe", "add", "std", "--step", "oil; colour=Honey; can=C1; air=14; rh=72", "--top", "water pu; can=C3"),
        ("stairs", "edit", "all treads", "--species", "red oak", "--recipe", "R1"),
        ("stairs", "log", "treads 1,2,4,5", "stain", "--can", "C1", "--date", DAY - dt.timedelta(days=2)),
        ("stairs", "log", "tread 3", "stain", "--can", "C2", "--date", DAY),
        ("stairs", "log", "all treads", "topcoat", "--can", "C3", "--date", DAY),
    ):  # fmt: skip
        assert run(*words).exit_code == 0, words
    return run


def test_the_record_of_the_part_is_told(stair: Run) -> None:
    """Still tacky on tread 3: which coats from which cans, when, how soon one came on the other, and how damp it was.

    By hand: stain and topcoat bear one date, so less than 24 h lie between; oil under another product usually waits 24
    to 72 h (common practice, no source), so it was too soon. On tread 2 two days lie between, which is 24 h or more.
    """
    (record,) = told(stair, "still", "tacky", "--part", "tread 3")["record"]
    text = "\n".join(record["says"])
    assert (
        "topcoat 1 came the same day as stain 1; usual (common practice, no source) are at least 24 h, so too soon"
        in text
    )
    assert "its recipe was made at 14 C and 72 % humidity" in text
    assert "water polyurethane wants 15 to 30 C and at most 70 % humidity" in text
    assert f"stain 1 (oil stain) on {DAY}, 8 days ago from C2 Honey (lot 4712)" in text
    (other,) = told(stair, "still", "tacky", "--part", "tread 2")["record"]
    assert "topcoat 1 came 2 d after stain 1; its label asks for at least 24 h" in other["says"]
    assert "too soon" not in "\n".join(other["says"])


def test_what_differs_from_its_neighbours_is_told(stair: Run) -> None:
    """A tread that differs: the record names the other lot and the other day, and says nothing of what is alike."""
    (record,) = told(stair, "one tread looks different", "--part", "tread 3")["record"]
    beside = [line for line in record["says"] if line.startswith("beside")]
    assert len(beside) == 2
    for line in beside:
        assert "C1 Honey (lot 4711) there, C2 Honey (lot 4712) here" in line
        assert "wood" not in line
    (plain,) = told(stair, "one tread looks different", "--part", "tread 5")["record"]
    assert any(line.startswith("nothing that is written down differs from tread 4") for line in plain["says"])


def test_the_kept_board_is_never_touched(stair: Run) -> None:
    """Every fault says to try on an offcut, never on the kept board; what never to do stands before what to do."""
    for name in FAULTS:
        assert told(stair, name)["try_first"] == TRY_FIRST
    text = stair("mend", "white haze").stdout
    assert text.index("Never") < text.index("First")
    assert "Call a finisher if" in text
    assert COMMON in text


def test_cautions_come_at_that_moment(stair: Run) -> None:
    """Mending with solvent brings vapour and gloves, sanding dust; a peeling coat brings lead before it is sanded."""
    codes = {
        name: {each["code"] for each in told(stair, name, "--part", "tread 3")["cautions"]}
        for name in ("lap marks", "peeling", "dust")
    }
    assert {"vapour", "gloves", "wood-dust"} <= codes["lap marks"]
    assert {"lead-paint", "wood-dust"} <= codes["peeling"]
    assert "lead-paint" not in codes["dust"]
    assert "oily-rags" not in codes["dust"], "its last coat is water"


def test_care_is_by_the_kind_that_lies_on_top(stair: Run) -> None:
    """Years on a film is not mended in spots, an oil is; what is left in which can, and where, is told."""
    care = told(stair, "care", "--part", "tread 3")
    assert [each["kind"] for each in care["kinds"]] == ["water polyurethane"]
    assert "cannot be mended in spots" in care["kinds"][0]["mends"]
    assert care["record"][0]["left"] == ["C2 Honey still holds 0.2 L, attic"]
    assert "it is not cured yet: 30 days (common practice, no source)" in care["record"][0]["says"]
    every = told(stair, "care")
    assert {each["kind"] for each in every["kinds"]} == {each.kind for each in COATINGS.values() if each.mends}
    assert "can be mended in spots" in next(each["mends"] for each in every["kinds"] if each["kind"] == "hardwax oil")


def test_without_a_fault_all_are_listed_and_no_logbook_is_needed(run: Run) -> None:
    """`mend` lists every fault; a fault without a part needs no logbook, a mistyped one ends with exit code 2."""
    assert [each["name"] for each in told(run)["faults"]] == list(FAULTS)
    assert told(run, "peeling")["record"] == []
    refused = run("mend", "purple rain")
    assert refused.exit_code == 2
    assert "not a fault" in refused.stderr
    assert not run.logbook.exists()


def test_hour_and_damp_of_each_coat_are_told(stair: Run) -> None:
    """White haze: coats 6 h apart where 24 are asked for, at 12 C and 80 %, are told as too soon, too cold, too damp.

    By hand: 8:00 to 14:00 is 6 h; the label of C1 asks for 24. Water polyurethane wants 15 C and at most 70 %.
    """
    air = ("--air", 12, "--humidity", 80)
    for words in (
        ("sanded",),
        ("stain", "--can", "C1", "--time", "8:00"),
        ("topcoat", "--can", "C3", "--time", "14:00", *air),
    ):
        assert stair("stairs", "log", "tread 1", *words, "--date", DAY).exit_code == 0, words
    (record,) = told(stair, "white haze", "--part", "tread 1")["record"]
    text = "\n".join(record["says"])
    assert "topcoat 1 came the same day as stain 1, 6 h; its label asks for at least 24 h, so too soon" in text
    assert "topcoat 1 went on at 12 C and 80 % humidity: too cold and too damp for water polyurethane" in text
    assert "not as planned: too soon" not in text, "it is said once"
    (other,) = told(stair, "scratches", "--part", "tread 1")["record"]
    assert any(line.startswith("not as planned: too soon") for line in other["says"])
