"""How far each part is, what it is short of, what is worth a second look: from an invented stair in a logbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from logbook_makers import DAY, keep, measurement

from finishlab.errors import UsageError
from finishlab.finish import ColourStep, Finish, Seal, Topcoat
from finishlab.logbook.store import Logbook
from finishlab.plan.logged import logged_stair
from finishlab.plan.parts import face_areas
from finishlab.recipe import Can, Label, Recipe
from finishlab.stair.documents import due_document, flights_shown, parts_document
from finishlab.stair.entering import (
    Done,
    PartPlan,
    new_flights,
    new_parts,
    next_events,
    read_event,
    size_remarks,
    split_words,
)
from finishlab.stair.progress import coats_of, remarks
from finishlab.stair.records import CoatStep, Flight, Part, PartEvent, PartSizes

TREAD = PartSizes(front=914, depth=292, thickness=27)
HONEY = Finish(steps=(ColourStep(kind="oil", colour="honey"),), topcoat=Topcoat(coats=3))


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook with a flight of six treads and risers, a recipe of one stain and three topcoats, and three cans."""
    with Logbook.open(tmp_path / "log", who="me") as opened:
        treads = [Part(1, "tread", place, sizes=TREAD) for place in range(1, 7)]
        opened.add_flights({1: Flight(risers=7)}, [*treads, Part(1, "riser", 1)])
        opened.add_can(Can("oil stain", "honey", maker="Acme", lot="A1", place="cellar", label=Label(recoat_h=24)))
        opened.add_can(Can("oil stain", "honey", maker="Acme", lot="B7"))
        opened.add_can(Can("water polyurethane 1-part", "satin", label=Label(recoat_h=3, recoat_within_h=24)))
        opened.add_recipe(Recipe("Honey", HONEY))
        yield opened


def do(log: Logbook, text: str, day: dt.date = DAY, **written: object) -> list[str]:
    """Log what a line says, as the command does; return what is worth a second look."""
    parts, done = split_words(text.split())
    stair = log.stair()
    events = next_events(stair, stair.named(parts), done, date=day, **written)
    told = remarks(stair, events)
    log.log_events(events)
    return told


def due(log: Logbook, text: str = "", given: dict[CoatStep, int] | None = None) -> list[dict[str, Any]]:
    """Return what the document says of the parts that are short of a coat."""
    found: list[dict[str, Any]] = due_document(log.stair(), text, given).data["due"]
    return found


def state(log: Logbook, name: str = "tread 1") -> str:
    """Return the state of a part in words."""
    return next(part.state for flight in flights_shown(log.stair()) for part in flight.parts if part.words == name)


def test_the_states_of_a_tread(log: Logbook) -> None:
    """From bare wood to a fitted tread, its state is said in the trade's words."""
    do(log, "all treads sanded")
    log.edit_parts([1, 2], recipe_number=1)
    seen = [state(log)]
    for line in ("stain", "topcoat", "rubbed-out", "topcoat", "topcoat", "fitted", "touched-up"):
        do(log, f"tread 1 {line}", batch_number=3 if line == "topcoat" else None)
        seen.append(state(log))
    assert seen == [
        "sanded",
        "stained",
        "stained, topcoat 1 of 3",
        "stained, topcoat 1 of 3, rubbed out",
        "stained, topcoat 2 of 3",
        "stained, topcoat 3 of 3",
        "stained, topcoat 3 of 3, fitted",
        "stained, topcoat 3 of 3, fitted, touched up",
    ]
    assert state(log, "riser 1") == "nothing done yet"
    do(log, "tread 1 sanded")
    assert state(log) == "sanded, fitted"


def test_coats_count_on_by_themselves(log: Logbook) -> None:
    """Without a number each part gets its own next coat."""
    do(log, "tread 1 topcoat")
    stair = log.stair()
    events = next_events(stair, stair.named("treads 1-2"), Done("coat", "topcoat"))
    assert [event.coat for _, event in events] == [2, 1]


def test_what_a_recipe_wants() -> None:
    """One coat a colour step, the seal's and the topcoat's; a topcoat of no number is three."""
    assert coats_of(HONEY) == {"stain": 1, "topcoat": 3}
    assert coats_of(Finish(seal=Seal(kind="shellac"), topcoat=Topcoat())) == {"seal": 1, "topcoat": 3}
    assert coats_of(Finish(steps=(ColourStep(coat=2),), seal=Seal(kind="none"))) == {"stain": 2, "seal": 0}


def test_which_parts_are_short_of_a_coat(log: Logbook) -> None:
    """Parts short of the same are told together, with the next coat, its first day by the label, and the can so far."""
    log.edit_parts([1, 2, 3], recipe_number=1)
    do(log, "treads 1-2 stain", batch_number=1)
    told = [tuple(row.values())[1:6] for row in due(log)]
    assert told == [
        ("treads 1-2", "3 topcoats", "topcoat 1", str(DAY + dt.timedelta(days=1)), None),
        ("tread 3", "1 stain coat, 3 topcoats", "stain 1", None, "C1 Acme honey (lot A1)"),
        ("treads 4-6", "3 topcoats", "topcoat 1", None, None),
    ]
    assert [row["short_of"] for row in due(log, "tread 4", {"stain": 2, "topcoat": 1})] == ["2 stain coats, 1 topcoat"]
    assert due(log, "riser 1") == []


def test_nothing_is_short_once_all_coats_are_on(log: Logbook) -> None:
    """A tread with its recipe's coats is no longer told."""
    log.edit_parts([1], recipe_number=1)
    do(log, "tread 1 stain")
    for _ in range(3):
        do(log, "tread 1 topcoat")
    assert due(log, "tread 1") == []


def test_which_finish_is_on_a_part_and_from_which_can(log: Logbook) -> None:
    """A part says its recipe, each step's coats with day and can, and where the rest is kept."""
    log.edit_parts([1], recipe_number=1)
    do(log, "tread 1 stain", batch_number=1)
    detail, bare = parts_document(log, "treads 1-2").data["parts"]
    assert detail["finish"] == [
        "On tread 1: R1 Honey.",
        "Stain: 1 coat on 2024-05-31 from C1 Acme honey (lot A1); the rest is kept in: cellar.",
    ]
    assert [event["what"] for event in detail["events"]] == ["stain 1"]
    assert detail["history"][1].endswith("changed by me: recipe none -> “R1”")
    assert bare["finish"] == ["No finish is on tread 2 yet."]


# -- second looks


@pytest.mark.parametrize(
    ("days", "told"),
    [(0, "too soon after stain 1"), (1, ""), (5, "")],
)
def test_a_coat_before_the_last_ones_time(log: Logbook, days: int, told: str) -> None:
    """A coat within the time that the label of the last can asks for is told; a day later it is not."""
    do(log, "tread 1 stain", batch_number=1)
    found = do(log, "tread 1 topcoat", DAY + dt.timedelta(days=days))
    assert (told in found[0]) if told else found == []


def test_a_label_has_its_own_time_before_another_product(log: Logbook) -> None:
    """A can that asks for 72 h before another product: two days are too soon for a topcoat, and due says from when."""
    log.edit_can("C1", label=Label(recoat_h=24, recoat_other_h=72))
    do(log, "tread 1 stain", batch_number=1)
    assert "asks for 72 h" in do(log, "tread 1 topcoat", DAY + dt.timedelta(days=2))[0]
    do(log, "tread 2 stain", batch_number=1)
    (row,) = due(log, "tread 2", {"stain": 1, "topcoat": 3})
    assert row["not_before"] == str(DAY + dt.timedelta(days=3))


def test_a_coat_that_is_perhaps_too_soon_or_too_late(log: Logbook) -> None:
    """Days, not hours, are on record: a short time on one day is told as perhaps, a closed window as too late."""
    do(log, "tread 1 topcoat", batch_number=3)
    assert "perhaps too soon after topcoat 1" in do(log, "tread 1 topcoat", batch_number=3)[0]
    assert "too late after topcoat 2" in do(log, "tread 1 topcoat", DAY + dt.timedelta(days=3))[0]


def test_a_can_of_another_lot(log: Logbook) -> None:
    """A can whose lot is not that of the other parts of the recipe is told, once for all parts it is used on."""
    assert do(log, "odd treads stain", batch_number=1) == []
    (told,) = do(log, "even treads stain", batch_number=2)
    assert told.startswith("Treads 2,4,6: C2 Acme honey (lot B7) is of another lot than the other parts' (A1)")


def test_a_tread_fitted_too_early(log: Logbook) -> None:
    """A tread fitted with fewer than three topcoats is told, and with none too; with three it is not."""
    assert "without any topcoat" in do(log, "tread 1 fitted")[0]
    for _ in range(2):
        do(log, "treads 2-3 topcoat")
    assert "fewer than 3 topcoats" in do(log, "tread 2 fitted")[0]
    do(log, "tread 3 topcoat")
    assert do(log, "tread 3 fitted") == []
    assert do(log, "riser 1 fitted") == []


def test_coats_out_of_order(log: Logbook) -> None:
    """A coat that leaves one out, stain on a topcoat, another recipe, and sanding a finish off are told."""
    log.add_recipe(Recipe("Walnut", Finish()))
    log.edit_parts([1], recipe_number=1)
    assert "not topcoat 1 before it" in do(log, "tread 1 topcoat 2")[0]
    assert "stain over topcoat" in do(log, "tread 1 stain")[0]
    assert "it is to get R1, and this is a coat of R2" in do(log, "tread 1 topcoat", recipe_number=2)[0]
    assert "takes the finish off" in do(log, "tread 1 sanded")[0]


# -- colours


def measured(log: Logbook, tmp_path: Path, lightness: dict[int, float], day: dt.date = DAY) -> None:
    """Log a colour of each tread, keyed by its place."""
    for place, value in lightness.items():
        photo = measurement(keep(log, tmp_path, f"{place}-{day}.jpg"), lightness=value)
        log.add_part_measurements([(place, [photo], PartEvent("measured", day))])


def test_a_tread_whose_colour_stands_apart(log: Logbook, tmp_path: Path) -> None:
    """Of five treads in one state and light, the one far from the others is told, and only that one."""
    measured(log, tmp_path, {1: 50.0, 2: 50.5, 3: 49.5, 4: 50.2, 5: 58.0})
    parts = {part.words: part for part in flights_shown(log.stair())[0].parts}
    assert parts["tread 5"].note.startswith("lighter than the others by dE00 7")
    assert [words for words, part in parts.items() if part.note] == ["tread 5"]


def test_few_treads_or_a_small_scatter_say_nothing(log: Logbook, tmp_path: Path) -> None:
    """Three treads cannot tell which is odd, and four within what wood varies by are alike."""
    measured(log, tmp_path, {1: 50.0, 2: 51.5, 3: 58.0})
    assert not any(part.note for part in flights_shown(log.stair())[0].parts)
    measured(log, tmp_path, {4: 50.5})
    log.remove_parts([3])
    measured(log, tmp_path, {5: 49.5})
    assert not any(part.note for part in flights_shown(log.stair())[0].parts)


def test_a_colour_before_the_last_coat_is_no_longer_the_parts(log: Logbook, tmp_path: Path) -> None:
    """A part's colour is what was measured since its last coat, whenever that was logged."""
    measured(log, tmp_path, {1: 60.0}, DAY)
    do(log, "tread 1 stain", DAY + dt.timedelta(days=1))
    assert flights_shown(log.stair())[0].parts[0].lab is None
    measured(log, tmp_path, {1: 45.0}, DAY + dt.timedelta(days=2))
    assert flights_shown(log.stair())[0].parts[0].lab == pytest.approx((45.0, 8.25, 1 / 3))


# -- entering


def test_a_stair_from_a_few_words(log: Logbook) -> None:
    """Risers and landings from the bottom up make flights on top of what there is, a tread fewer than risers."""
    plan = PartPlan({"tread": TREAD}, landing_boards=2, sided={"return": ("left",)}, species="oak")
    flights, parts = new_flights(log.stair(), ["landing", "3", "landing", "4 risers"], plan)
    assert {number: flight.risers for number, flight in flights.items()} == {2: None, 3: 3, 4: None, 5: 4}
    kinds = [(part.kind, part.place) for part in parts if part.flight_number == 3]
    assert kinds == [
        *(("tread", 1), ("tread", 2), ("riser", 1), ("riser", 2), ("riser", 3)),
        *(("landing nosing", 1), ("return", 1), ("return", 2)),
    ]
    assert {part.species for part in parts} == {"oak"}
    log.add_flights(flights, parts)
    assert len(log.stair().flights) == 5


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["seven"], "bad-stair"),
        (["landing", "landing"], "bad-stair"),
        (["risers"], "bad-stair"),
        (["0"], "risers-out-of-range"),
        (["201"], "risers-out-of-range"),
    ],
)
def test_words_that_make_no_stair(log: Logbook, words: list[str], code: str) -> None:
    """What names no flight is refused."""
    with pytest.raises(UsageError) as refused:
        new_flights(log.stair(), words, PartPlan())
    assert refused.value.code == code


def test_a_forgotten_landing(log: Logbook) -> None:
    """A landing can be put above a flight that has another above it."""
    log.add_flights({3: Flight(risers=5)})
    assert list(new_flights(log.stair(), ["landing"], PartPlan(), above=1)[0]) == [2]


def test_further_parts(log: Logbook) -> None:
    """Parts are named as they are looked up; their number and their flight must be clear."""
    sizes = PartSizes(front=300)
    made = new_parts(log.stair(), "returns 1-2 left, left skirt, odd nosings", sizes)
    told = [(part.kind, part.place, part.side) for part in made]
    assert told == [
        *(("return", 1, "left"), ("return", 2, "left"), ("skirt", 1, "left")),
        *(("nosing", 1, None), ("nosing", 3, None), ("nosing", 5, None)),
    ]
    for text, code in (("landing boards 1-3", "flight-missing"), ("skirts", "bad-parts"), ("all", "bad-parts")):
        with pytest.raises(UsageError) as refused:
            new_parts(log.stair(), text, sizes)
        assert refused.value.code == code
    log.add_flights({3: Flight(risers=5)})
    with pytest.raises(UsageError, match="flight 1, flight 2"):
        new_parts(log.stair(), "returns 1-2 left", sizes)


def test_sizes_that_contradict_one_another() -> None:
    """A back edge that the angles contradict by more than 2 mm, and an angle far from square, are told."""
    told = size_remarks([("tread 1", PartSizes(front=914, back=900, depth=292, left_angle=90, right_angle=90))])
    assert "give a back edge of 914 mm, and 900 mm was measured" in told[0]
    assert "far from square" in size_remarks([("tread 1", PartSizes(left_angle=75))])[0]
    assert size_remarks([("tread 1", PartSizes(front=914, back=913, depth=292, left_angle=90, right_angle=90))]) == []


def test_parts_for_the_plan_carry_their_sizes(log: Logbook) -> None:
    """The plan gets every part of known size: a tread of 914 x 292 mm has a top of 0.2669 m2 (arithmetic)."""
    log.add_parts([Part(1, "riser", 2, sizes=PartSizes(front=900, height=190, thickness=19))])
    planned = logged_stair(log).shapes
    assert [(part.kind, part.level, part.place) for part in planned] == [
        *(("tread", 1, place) for place in range(1, 7)),
        ("riser", 1, 2),
    ]
    first, *_, riser = planned.values()
    assert round(face_areas(first).top, 4) == 0.2669
    assert riser.depth == 190


@pytest.mark.parametrize(
    ("text", "done"),
    [
        ("sanded", Done("sanded")),
        ("dry fitted", Done("dry-fitted")),
        ("rubbed-out", Done("rubbed out")),
        ("stain", Done("coat", "stain")),
        ("topcoat 2", Done("coat", "topcoat", 2)),
        ("coat 2 of topcoat", Done("coat", "topcoat", 2)),
        ("painted", None),
    ],
)
def test_what_was_done_is_read(text: str, done: Done | None) -> None:
    """The words of the trade say what was done, with the number of the coat if it is named."""
    assert read_event(text) == done


def test_a_line_without_parts_or_without_what_was_done() -> None:
    """A line needs both, and a coat needs its step."""
    for words, code in (
        (["treads"], "no-event"),
        (["sanded"], "no-event"),
        (["tread", "1", "coat"], "coat-without-step"),
    ):
        with pytest.raises(UsageError) as refused:
            split_words(words)
        assert refused.value.code == code
