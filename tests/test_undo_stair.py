"""Taking back the last change of the stair and of learned cameras, and the words the history has for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from logbook_makers import DAY, keep, measurement

from finishlab.colorimetry.camera_profile import fit_profile
from finishlab.colorimetry.spaces import chart_lab, lab_to_rgb
from finishlab.errors import LogbookError
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import change_line
from finishlab.recipe import Can
from finishlab.stair.records import Flight, Part, PartEvent

COAT = PartEvent("coat", DAY, "stain", 1)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook.open(tmp_path / "log", who="Kim") as opened:
        opened.add_flights({1: Flight(risers=3), 2: Flight("landing")}, [Part(1, "tread", 1), Part(1, "tread", 2)])
        opened.log_events([(1, PartEvent("sanded", DAY))])
        yield opened


CHANGES: dict[str, tuple[str, Callable[[Logbook], Any]]] = {
    "a part added": ("1.R1", lambda log: log.add_parts([Part(1, "riser", 1)])),
    "a part changed": ("1.T1", lambda log: log.edit_parts([1], species="ash", sizes={"front": 900.0})),
    "a part removed": ("1.T2", lambda log: log.remove_parts([2])),
    "a flight changed": ("flight 1", lambda log: log.edit_flight(1, name="lower")),
    "a landing removed": ("landing 1", lambda log: log.remove_flight(2)),
    "a flight removed with its parts": ("flight 1", lambda log: log.remove_flight(1)),
    "a coat logged": ("1.T1", lambda log: log.log_events([(1, COAT)])),
    "an event changed": ("1.T1", lambda log: log.edit_events([1], note="by hand")),
    "an event taken back": ("1.T1", lambda log: log.remove_events([1])),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_of_the_stair_is_taken_back_and_put_back(log: Logbook, what: str) -> None:
    """Undo gives the stair as it was before the change, redo as it was after, and so on; all in the history."""
    subject, change = CHANGES[what]
    before = log.stair()
    change(log)
    after = log.stair()
    assert after != before
    entries = len(log.history(subject))
    for step, expected in ((log.undo, before), (log.redo, after)) * 2:
        assert subject in {done.subject for done in step(subject)}
        assert log.stair() == expected
    assert [each.what for each in log.history(subject)][entries:] == ["undo", "redo"] * 2


def test_a_measured_part_is_taken_back_whole(log: Logbook, tmp_path: Path) -> None:
    """Undo of measuring a part takes the event and its figures out, and brings both back the same."""
    photo = measurement(keep(log, tmp_path), strip=None)
    before = log.stair()
    log.add_part_measurements([(1, [photo], PartEvent("measured", DAY))])
    after, figures = log.stair(), log.part_measurements(1)
    log.undo()
    assert (log.stair(), log.part_measurements(1)) == (before, ())
    log.redo()
    assert (log.stair(), log.part_measurements(1)) == (after, figures)


def test_a_part_does_not_come_back_without_its_flight(log: Logbook) -> None:
    """A part of a removed flight is refused with the flight's name in the sentence; nothing is changed."""
    log.remove_flight(1)
    stair = log.stair()
    with pytest.raises(LogbookError, match="flight 1") as caught:
        log.undo("1.T1")
    assert caught.value.code == "unknown-flight"
    assert "flight 1" in caught.value.hint
    assert log.stair() == stair


def test_a_learned_camera_is_taken_back(log: Logbook, tmp_path: Path) -> None:
    """Undo of learning a camera lets the profile before hold again; of forgetting it, the one that was forgotten."""
    photo = keep(log, tmp_path)
    reference = np.array(list(chart_lab().values()))
    found = fit_profile(lab_to_rgb(reference), reference, "matrix")
    first, second = (
        found.named("Acme One", "daylight", f"chart {n}", date=DAY, photo_id=photo.photo_id) for n in (1, 2)
    )
    log.add_camera_profile(first)
    log.add_camera_profile(second)
    log.undo()
    assert log.camera_profiles() == [first]
    log.redo()
    assert log.camera_profiles() == [second]
    log.forget_camera_profile("Acme One", "daylight")
    log.undo()
    assert log.camera_profiles() == [second]
    log.redo()
    assert log.camera_profiles() == []


def test_a_part_is_named_without_its_flight_where_one_has_it(log: Logbook) -> None:
    """T1 is enough while one flight has a T1; else the sentence asks which, and the hint names one."""
    assert log.history("t1") == log.history("1.T1")
    log.add_flights({3: Flight(risers=2)}, [Part(3, "tread", 1)])
    with pytest.raises(LogbookError, match="T1") as caught:
        log.history("T1")
    assert caught.value.code == "which-flight"
    assert "1.T1" in caught.value.hint


def test_the_history_is_told_in_words(log: Logbook) -> None:
    """A coat says what and from which can, and an undo says what it took back, and when it brings it back."""
    log.add_can(Can("oil stain", "honey", date=DAY))
    log.log_events([(1, replace(COAT, batch_number=1))])
    log.undo()
    log.redo()
    logged, taken, again = (change_line(change).partition(" by Kim")[::2] for change in log.history("T1")[-3:])
    assert (logged[0][-6:], logged[1]) == ("logged", f": stain 1 from C1 on {DAY}")
    assert (taken[0][-10:], taken[1]) == ("taken back", f", “logged”: stain 1 from C1 on {DAY}")
    assert again == (again[0][:17] + "brought back", f", “logged”: stain 1 from C1 on {DAY}")
    log.edit_parts([1], species="ash")
    assert change_line(log.history("T1")[-1]).endswith("species none -> “ash”")


def test_coats_on_many_treads_are_one_step_and_each_tread_its_own(log: Logbook) -> None:
    """Undo of one tread leaves the others of the command; undo without a name takes the rest; redo brings all."""
    before = log.stair().events
    log.log_events([(part.ident, PartEvent("sanded", DAY)) for part in log.stair_parts()])
    after = log.stair().events
    log.undo("1.T1")
    assert len(log.stair().events) == len(after) - 1
    taken = log.undo()
    assert log.stair().events == before
    assert "1.T1" not in {each.subject for each in taken}
    log.redo()
    log.redo()
    assert log.stair().events == after


def test_a_new_flight_goes_with_its_parts_and_comes_back_with_them(log: Logbook) -> None:
    """Undo of a flight takes its treads along, also one that was added later; redo brings all of them back."""
    log.add_flights({3: Flight(risers=3)}, [Part(3, "tread", place) for place in (1, 2)])
    log.add_parts([Part(3, "riser", 1)])
    whole = log.stair()
    log.undo("flight 2")
    assert [part.code for part in log.stair_parts() if part.code.startswith("2.")] == []
    log.redo("flight 2")
    assert log.stair() == whole


def test_measuring_a_part_again_is_taken_back(log: Logbook, tmp_path: Path) -> None:
    """The old figures of a tread come back whole on undo, the new ones on redo; its event stays."""
    record = keep(log, tmp_path)
    log.add_part_measurements([(1, [measurement(record, strip=None)], PartEvent("measured", DAY))])
    old, events = log.part_measurements(1), log.stair().events
    log.remeasure_part(1, [measurement(record, lightness=70.0, strip=None)])
    new = log.part_measurements(1)
    assert old[0].field != new[0].field
    log.undo("1.T1")
    assert log.part_measurements(1) == old
    log.redo("1.T1")
    assert log.part_measurements(1) == new
    assert log.stair().events == events
    log.undo()
    log.undo()
    assert log.part_measurements(1) == ()


def test_parts_measured_at_one_moment_keep_what_is_theirs(log: Logbook, tmp_path: Path) -> None:
    """Two treads measured by one command: each measurement belongs to its own tread's event, and no earlier one."""
    seen = [measurement(keep(log, tmp_path, f"{n}.jpg"), strip=None) for n in (1, 2)]
    events = log.add_part_measurements([(n, [seen[n - 1]], PartEvent("measured", DAY)) for n in (1, 2)])
    tables = log.dump()["tables"]
    names = {row["id"]: row["uuid"] for row in tables["part_events"]}
    parts = {row["uuid"]: row["part_id"] for row in tables["measurements"]}
    images = [image for image in tables["row_images"] if image["table_name"] == "measurements"]
    assert {parts[i["row_uuid"]]: i["thing"] for i in images} == {1: names[events[0]], 2: names[events[1]]}
    log.remeasure_part(1, [measurement(keep(log, tmp_path, "1.jpg"), lightness=70.0, strip=None)])
    after = log.history("1.T1")[-1].after
    assert after is not None
    assert after["events"] == [events[0]]
    log.undo("1.T1")
    log.undo("1.T1")
    assert (log.part_measurements(1), len(log.part_measurements(2))) == ((), 1)
    assert [event.part for event in log.stair().events if event.kind == "measured"] == [2]


def test_undo_of_a_flight_takes_no_other_level_along(tmp_path: Path) -> None:
    """Of flights and a landing logged by one command, undo of flight 1 leaves landing 1, flight 2 and flight 10."""
    with Logbook.open(tmp_path / "log") as log:
        levels = {1: Flight(risers=3), 2: Flight("landing"), 3: Flight(risers=3), 19: Flight(risers=3)}
        log.add_flights(levels, [Part(level, "tread", 1) for level in (1, 3, 19)])
        before = [flight.title for flight in log.stair().flights]
        codes = [part.code for part in log.stair_parts()]
        log.undo("flight 1")
        assert [flight.title for flight in log.stair().flights] == before[1:]
        assert [part.code for part in log.stair_parts()] == codes[1:]
