"""The stair in the logbook: what is entered comes back, each change has its entry, nothing is overwritten."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest
from logbook_makers import DAY, keep, measurement
from sqlalchemy import Engine, event

from finishlab.errors import FinishlabError
from finishlab.finish import Finish
from finishlab.logbook.store import Logbook
from finishlab.logbook.tables import FlightRow, PartEventRow, PartRow
from finishlab.recipe import Can, Recipe
from finishlab.stair.records import Flight, Part, PartEvent, PartSizes

NEXT = DAY + dt.timedelta(days=1)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook with a flight of three treads."""
    with Logbook.open(tmp_path / "log", who="me") as opened:
        treads = [Part(1, "tread", place, sizes=PartSizes(front=914, depth=292)) for place in (1, 2, 3)]
        opened.add_flights({1: Flight(risers=4)}, treads)
        yield opened


def idents(log: Logbook) -> list[int]:
    """Return the parts' keys from the bottom up."""
    return [part.ident for part in log.stair_parts()]


def whats(log: Logbook, code: str) -> list[str]:
    """Return the kinds of change the history has of a part."""
    return [change.what for change in log.history(code)]


def refused(log: Logbook, call: str, *args: object, **extra: object) -> str:
    """Return the code with which a call is refused, after checking that it changed nothing."""
    before = log.stair()
    with pytest.raises(FinishlabError) as error:
        getattr(log, call)(*args, **extra)
    assert log.stair() == before
    return error.value.code


@pytest.mark.parametrize(("record", "row"), [(Flight, FlightRow), (Part, PartRow), (PartEvent, PartEventRow)])
def test_every_field_of_a_record_has_its_column(record: type, row: type) -> None:
    """A field added to a record of the stair cannot be forgotten in the tables."""
    assert {f.name for f in fields(record)} <= {column.name for column in row.__table__.columns}  # type: ignore[attr-defined]  # a table's class


def test_a_stair_comes_back_as_it_was_entered(log: Logbook) -> None:
    """Flights and parts come back from the bottom up, also a landing that was entered late."""
    log.add_flights({3: Flight(risers=2, name="attic")}, [Part(3, "tread", 1)])
    log.add_flights({2: Flight("landing")}, [Part(2, "landing board", 1, species="ash")])
    stair = log.stair()
    assert [flight.title for flight in stair.flights] == ["flight 1", "landing 1", "flight 2"]
    assert [stair.words(part) for part in stair.parts][-3:] == ["1/tread 3", "landing board 1", "2/tread 1"]
    assert stair.parts[0].record.sizes == PartSizes(front=914, depth=292)
    assert whats(log, "landing 1") == whats(log, "L1.LB1") == ["add"]


def test_sizes_are_changed_one_by_one(log: Logbook) -> None:
    """An edit changes the sizes it names, keeps the others, and the history holds both records."""
    first = idents(log)[0]
    assert log.edit_parts([first], sizes={"front": 920.0, "left_angle": 91.0}) == 1
    assert log.stair().parts[0].record.sizes == PartSizes(front=920, depth=292, left_angle=91)
    log.edit_parts([first], sizes={"left_angle": None})
    assert log.stair().parts[0].record.sizes == PartSizes(front=920, depth=292)
    assert log.edit_parts([first], species=None) == 0
    assert whats(log, "1.T1") == ["add", "edit", "edit"]
    change = log.history("1.T1")[1]
    assert change.before is not None
    assert change.before["sizes"] == {"front": 914.0, "depth": 292.0}


def test_events_come_back_by_day(log: Logbook) -> None:
    """What was done is given by day, and of one day in the order it was logged."""
    first = idents(log)[0]
    log.log_events([(first, PartEvent("coat", NEXT, "stain", 1, faces="top")), (first, PartEvent("sanded", DAY))])
    events = log.stair().events
    assert [each.kind for each in events] == ["sanded", "coat"]
    assert events[1].record == PartEvent("coat", NEXT, "stain", 1, faces="top")
    assert whats(log, "1.T1") == ["add", "log", "log"]


def test_an_event_is_changed_and_taken_back(log: Logbook) -> None:
    """A correction keeps what was logged before, and what is taken back is no longer shown."""
    first = idents(log)[0]
    (number,) = log.log_events([(first, PartEvent("coat", DAY, "stain", 1))])
    log.edit_events([number], coat=2, date=NEXT)
    assert log.stair().events[0].record == PartEvent("coat", NEXT, "stain", 2)
    log.remove_events([number])
    assert log.stair().events == ()
    assert whats(log, "1.T1") == ["add", "log", "edit-event", "remove-event"]
    assert refused(log, "remove_events", [number]) == "unknown-event"


def test_a_coat_is_logged_once(log: Logbook) -> None:
    """The same coat cannot be logged twice; after sanding to the wood it can."""
    first, second, _ = idents(log)
    coat = PartEvent("coat", DAY, "stain", 1)
    log.log_events([(first, coat)])
    assert refused(log, "log_events", [(second, coat), (first, coat)]) == "coat-logged-twice"
    log.log_events([(first, PartEvent("sanded", DAY)), (first, coat)])
    assert len([each for each in log.stair().events if each.part == first]) == 3


@pytest.mark.parametrize(
    ("call", "args", "code"),
    [
        ("add_flights", ({1: Flight(risers=2)},), "flight-there"),
        ("add_parts", ([Part(1, "tread", 2)],), "part-there"),
        ("add_parts", ([Part(1, "riser", 1), Part(5, "tread", 1)],), "unknown-flight"),
        ("add_parts", ([Part(1, "riser", 1, recipe_number=4)],), "unknown-recipe"),
        ("edit_parts", ([99],), "unknown-part"),
        ("edit_flight", (3,), "unknown-flight"),
        ("remove_flight", (3,), "unknown-flight"),
        ("remove_parts", ([1, 99],), "unknown-part"),
        ("log_events", ([(1, PartEvent("sanded")), (99, PartEvent("sanded"))],), "unknown-part"),
        ("log_events", ([(1, PartEvent("coat", step="stain", coat=1, batch_number=7))],), "unknown-can"),
        ("log_events", ([(1, PartEvent("coat", step="stain", coat=1, recipe_number=7))],), "unknown-recipe"),
        ("edit_events", ([7],), "unknown-event"),
        ("add_part_measurements", ([(1, [], PartEvent("measured"))],), "no-measurement"),
    ],
)
def test_what_cannot_be_is_refused_whole(log: Logbook, call: str, args: tuple[object, ...], code: str) -> None:
    """A call that cannot be done wholly changes nothing."""
    assert refused(log, call, *args) == code


def test_a_part_keeps_its_name(log: Logbook) -> None:
    """Flight, kind, place and side are what a part is called by, and stay."""
    assert refused(log, "edit_parts", [idents(log)[0]], place=9) == "part-name-fixed"


def test_what_is_removed_can_be_entered_again(log: Logbook) -> None:
    """A removed part's place is free; a removed flight takes up its number, without its old parts."""
    first, second, _ = idents(log)
    log.log_events([(first, PartEvent("sanded", DAY))])
    log.remove_parts([first])
    log.add_parts([Part(1, "tread", 1)])
    assert [part.code for part in log.stair_parts()] == ["1.T1", "1.T2", "1.T3"]
    assert log.stair().events == ()
    assert whats(log, "1.T1") == ["add", "log", "remove", "add"]
    log.remove_flight(1)
    assert log.stair().flights == ()
    assert log.stair().parts == ()
    log.add_flights({1: Flight(risers=9)})
    assert [flight.record.risers for flight in log.stair().flights] == [9]
    assert log.stair().parts == ()
    assert whats(log, "flight 1") == ["add", "remove", "add"]
    assert second not in idents(log)


def test_a_flight_is_renamed(log: Logbook) -> None:
    """A flight's name and risers change with an entry of the history."""
    log.edit_flight(1, name="cellar", risers=5)
    assert log.stair().flights[0].record == Flight(name="cellar", risers=5)
    assert whats(log, "flight 1") == ["add", "edit"]


def test_recipes_and_cans_come_with_the_stair(log: Logbook) -> None:
    """What parts name by number is given with the stair, and must be there."""
    log.add_recipe(Recipe("honey", Finish()))
    log.add_can(Can("oil stain", "honey", lot="A1"))
    first = idents(log)[0]
    log.edit_parts([first], recipe_number=1)
    log.log_events([(first, PartEvent("coat", DAY, "stain", 1, recipe_number=1, batch_number=1))])
    stair = log.stair()
    assert stair.recipes[1].name == "honey"
    assert stair.cans[1].lot == "A1"


def test_a_parts_colour_is_logged_with_its_event(log: Logbook, tmp_path: Path) -> None:
    """A measurement belongs to its event: both come back, and the photo counts for no second part."""
    first, second, _ = idents(log)
    photo = measurement(keep(log, tmp_path), lightness=44.0)
    entry = (first, [photo], PartEvent("measured", DAY))
    (number,) = log.add_part_measurements([entry], light="Evening lamp")
    (colour,) = log.stair().colours
    assert (colour.part, colour.event, colour.lab[0], colour.light) == (first, number, 44.0, "evening lamp")
    assert log.part_measurements(first)[0].field == photo.fields["board"]
    assert (
        refused(log, "add_part_measurements", [(second, [photo], PartEvent("measured", DAY))]) == "photo-logged-twice"
    )


def test_a_measurement_taken_back_frees_its_photo(log: Logbook, tmp_path: Path) -> None:
    """With its event a measurement goes into the images whole, and the photo can be logged for the right part."""
    first, second, _ = idents(log)
    photo = measurement(keep(log, tmp_path))
    (number,) = log.add_part_measurements([(first, [photo], PartEvent("measured", DAY))])
    log.remove_events([number])
    assert log.stair().colours == ()
    taken = log.history("1.T1")[-1].before
    assert taken is not None
    assert taken["photos"] == [log.photo(photo.photo_id).sha256]
    images = [image["before"] for image in log.dump()["tables"]["row_images"] if image["after"] is None]
    assert [each["lab_l"] for each in images] == [50.0]
    log.add_part_measurements([(second, [photo], PartEvent("measured", DAY))])
    assert [colour.part for colour in log.stair().colours] == [second]


def test_the_stair_is_read_in_the_same_queries_however_large(log: Logbook) -> None:
    """A stair with many parts and events takes as many queries as a small one: eight."""
    asked: list[str] = []

    def note(*args: object) -> None:
        asked.append(str(args[2]))

    event.listen(Engine, "before_cursor_execute", note)
    try:
        log.stair()
        small = len(asked)
        log.add_parts([Part(1, "riser", place) for place in range(1, 30)])
        log.log_events([(ident, PartEvent("sanded", DAY)) for ident in idents(log)])
        asked.clear()
        log.stair()
        assert len(asked) == small
        assert sum(text.startswith("SELECT") for text in asked) == 8
    finally:
        event.remove(Engine, "before_cursor_execute", note)


def test_a_flight_from_an_archive_gets_a_free_name(log: Logbook) -> None:
    """A flight taken in under a number that is a landing's is called by the next name that is free."""
    log.add_flights({2: Flight("landing"), 3: Flight(risers=3)})
    # As an import leaves it where its own number was taken.
    log.add_flights({4: Flight(risers=2)}, [Part(4, "tread", 1)])
    assert [flight.title for flight in log.stair().flights] == ["flight 1", "landing 1", "flight 2", "flight 3"]
    assert log.stair_parts()[-1].code == "3.T1"
