"""Archives of one logbook taken into another that has followed it so far, or has gone on by itself since."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord
from finishlab.errors import LogbookError
from finishlab.imaging.greys import greys_of_readings
from finishlab.logbook.archive import upgraded
from finishlab.logbook.merge import MergeResult, checked
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair, change_line
from finishlab.recipe import Can
from finishlab.stair.records import Flight, Part, PartEvent

FIRST_COAT = PartEvent("coat", DAY, "stain", 1, None, 1)


def _begin(log: Logbook, folder: Path) -> None:
    """Log one of each: a board with a pair, a can, a stair with a measured tread, a strip, a standard."""
    both = measurement(keep(log, folder, "board.jpg"), "board", "floor")
    pair = DirectPair.of(both)
    assert pair is not None
    log.add_board(BoardRecord("ash", stain="walnut", date=DAY), [both], [pair])
    log.add_can(Can("oil stain", "walnut", date=DAY))
    log.add_flights({1: Flight(risers=3), 2: Flight("landing")}, [Part(1, "tread", place) for place in (1, 2)])
    log.log_events([(1, PartEvent("sanded", DAY)), (1, FIRST_COAT)])
    seen = measurement(keep(log, folder, "tread.jpg"), strip=None)
    log.add_part_measurements([(1, [seen], PartEvent("measured", DAY))])
    log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
    log.approve("B1")


@pytest.fixture(scope="module")
def begun_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `begun` copies."""
    folder = tmp_path_factory.mktemp("begun")
    with Logbook.open(folder / "a") as log, Logbook.open(folder / "b") as other:
        _begin(log, folder)
        _follow(log, other)
    return folder


@pytest.fixture
def begun(begun_once: Path, tmp_path: Path) -> Path:
    """A folder with a logbook ``a`` that has one of each, and ``b`` that has followed it so far."""
    shutil.copytree(begun_once, tmp_path, dirs_exist_ok=True)
    return tmp_path


def _follow(log: Logbook, other: Logbook) -> MergeResult:
    return other.merge(checked(upgraded(log.dump())))


def _state(log: Logbook) -> dict[str, Any]:
    """Return all that is logged, without numbers that nobody sees; of the history what this logbook did not add."""
    tables = {name: [dict(row) for row in rows] for name, rows in log.dump()["tables"].items()}
    unseen = {"measurements", "pairs", "approvals", "strip_greys", "changes", "row_images"}
    for name in unseen:
        rows = (
            {column: value for column, value in row.items() if column not in {"id", "change_id"}}
            for row in tables[name]
        )
        tables[name] = sorted(rows, key=repr)
    history = [row for row in tables["changes"] if row["what"] != "import"]
    for row in history:
        if (row["after"] or {}).get("undone"):
            row["after"] = row["after"] | {"undone": {**row["after"]["undone"], "entry": None}}
    return tables | {"changes": sorted(history, key=repr)}


def _holding(state: dict[str, Any]) -> dict[str, Any]:
    """Return what holds, without the history."""
    history = {"changes", "row_images"}
    return {name: [r for r in rows if not r.get("ended")] for name, rows in state.items() if name not in history}


def _events(log: Logbook, kind: str) -> list[int]:
    return [each.ident for each in log.stair().events if each.kind == kind]


def _first_board(log: Logbook) -> str:
    return next(iter(log.boards())).number


_serial = itertools.count(1)


def _another_photo(log: Logbook, folder: Path) -> Any:
    name = f"{next(_serial)}.jpg"
    return measurement(keep(log, folder / name, name), strip=None, lightness=40.0 + next(_serial) % 30)


Change = Callable[[Logbook, Path], object]
CHANGES: dict[str, Change] = {
    "edit a board": lambda log, _: log.edit_board(_first_board(log), stain=f"stain {next(_serial)}"),
    "add a board": lambda log, folder: log.add_board(BoardRecord("oak", date=DAY), [_another_photo(log, folder)]),
    "add a photo": lambda log, folder: log.add_board_photos(_first_board(log), [_another_photo(log, folder)]),
    "remove a board": lambda log, _: log.remove(log.boards()[-1].number),
    "measure again": lambda log, folder: log.remeasure(
        "B1", [measurement(keep(log, folder, "board.jpg"), "board", "floor", lightness=50.0 + next(_serial) % 20)]
    ),
    "edit a can": lambda log, _: log.edit_can("C1", place=f"shelf {next(_serial)}"),
    "approve": lambda log, _: log.approve(_first_board(log), reason=f"reason {next(_serial)}"),
    "learn a strip": lambda log, _: log.learn_strip(greys_of_readings({7: [90.0 + next(_serial) % 5]}, number=412)),
    "forget a strip": lambda log, _: log.forget_strip(412),
    "edit a tread": lambda log, _: log.edit_parts([log.stair_parts()[0].ident], note=f"creaks {next(_serial)}"),
    "edit a flight": lambda log, _: log.edit_flight(1, note=f"note {next(_serial)}"),
    "add a tread": lambda log, _: log.add_parts([Part(1, "tread", 3 + next(_serial) % 100)]),
    "remove a tread": lambda log, _: log.remove_parts([log.stair_parts()[-1].ident]),
    "sand all": lambda log, _: log.log_events([(p.ident, PartEvent("sanded", DAY)) for p in log.stair_parts()]),
    "edit an event": lambda log, _: log.edit_events(_events(log, "sanded")[:1], deviation=f"slip {next(_serial)}"),
    "take an event back": lambda log, _: log.remove_events(_events(log, "sanded")[-1:]),
    "take a colour back": lambda log, _: log.remove_events(_events(log, "measured")[:1]),
    "measure a tread": lambda log, folder: log.add_part_measurements(
        [(log.stair_parts()[0].ident, [_another_photo(log, folder)], PartEvent("measured", DAY))]
    ),
    "remove the flight": lambda log, _: log.remove_flight(1),
    "undo": lambda log, _: log.undo(),
    "undo the board": lambda log, _: log.undo("B1"),
    "undo the tread": lambda log, _: log.undo("1.T1"),
    "redo": lambda log, _: log.redo(),
}


STEPS = {"undo", "undo the board", "undo the tread", "redo"}


def _try(log: Logbook, folder: Path, what: str) -> None:
    """Make a change; one that this logbook refuses changes nothing."""
    before = _state(log)
    try:
        CHANGES[what](log, folder)
    except (LogbookError, StopIteration, IndexError):
        assert _state(log) == before


@given(rounds=st.lists(st.lists(st.sampled_from(sorted(CHANGES)), min_size=1, max_size=4), min_size=1, max_size=4))
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_logbook_that_follows_another_by_archives_stays_the_same(
    tmp_path_factory: pytest.TempPathFactory, begun_once: Path, rounds: list[list[str]]
) -> None:
    """After every import all is as in the first logbook: what was changed, removed, taken back or brought back."""
    folder = tmp_path_factory.mktemp("two")
    shutil.copytree(begun_once, folder, dirs_exist_ok=True)
    with Logbook.open(folder / "a") as log, Logbook.open(folder / "b") as other:
        for changes in rounds:
            for what in changes:
                _try(log, folder, what)
            done = _follow(log, other)
            assert _state(other) == _state(log)
            assert done.kept == []
            assert done.renumbered == []
        assert _follow(log, other) == MergeResult()


def _seen(log: Logbook) -> tuple[object, ...]:
    """Return all that is shown."""
    measured = [log.part_measurements(part.ident) for part in log.stair_parts()]
    stair = log.stair()
    # A standard that was taken back stays among those that were.
    shown = replace(stair, standards=() if stair.standard is None else (stair.standard,))
    return log.boards(), log.cans(), log.recipes(), shown, measured, log.standard(), log.learned_greys()


@given(changes=st.lists(st.sampled_from(sorted(set(CHANGES) - STEPS)), min_size=1, max_size=6))
@example(changes=["measure a tread", "take a colour back"])
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_changes_are_taken_back_one_by_one_and_brought_back(
    tmp_path_factory: pytest.TempPathFactory, begun_once: Path, changes: list[str]
) -> None:
    """Undo passes backward through all that was shown between the changes, whatever they are, and redo forward."""
    folder = tmp_path_factory.mktemp("one")
    shutil.copytree(begun_once, folder, dirs_exist_ok=True)
    with Logbook.open(folder / "a") as log:
        seen = [_seen(log)]
        for what in changes:
            entries = len(log.history())
            _try(log, folder, what)
            if len(log.history()) > entries:
                seen.append(_seen(log))
        for expected in reversed(seen[:-1]):
            log.undo()
            assert _seen(log) == expected
        for expected in seen[1:]:
            log.redo()
            assert _seen(log) == expected


@pytest.mark.parametrize(
    ("theirs", "ours", "label"),
    [
        ("edit a board", "measure again", "B1"),
        ("edit a tread", "edit a tread", "1.T1"),
        ("edit an event", "edit an event", "1.T1"),
        ("edit a flight", "edit a flight", "flight 1"),
        ("edit a can", "edit a can", "C1"),
        ("learn a strip", "forget a strip", "strip 0412"),
        ("approve", "approve", "standard"),
    ],
)
def test_what_both_sides_changed_stays_as_it_is_here(begun: Path, theirs: str, ours: str, label: str) -> None:
    """The logbook's own state stays and is told, the other stands in its history; undo never takes that back."""
    with Logbook.open(begun / "a") as log, Logbook.open(begun / "b") as other:
        before = _state(other)
        CHANGES[theirs](log, begun)
        CHANGES[ours](other, begun)
        mine = _state(other)
        assert _follow(log, other).kept == [label]
        after = _state(other)
        assert _holding(after) == _holding(mine)
        assert len(after["changes"]) == len(mine["changes"]) + 1
        assert _follow(log, other) == MergeResult()
        other.undo(label)
        undone = _state(other)
        for name in ("boards", "batches", "flights", "parts", "part_events"):
            assert undone[name] == before[name]


def test_photos_added_on_both_sides_are_all_there(begun: Path) -> None:
    """A photo each side added to one board: the logbook has both afterwards, and one it took out stays out."""
    with Logbook.open(begun / "a") as log, Logbook.open(begun / "b") as other:
        for one in (log, other):
            one.add_board_photos("B1", [_another_photo(one, begun)])
        _follow(log, other)
        assert len(other.board("B1").measurements) == 3
        other.add_board_photos("B1", [_another_photo(other, begun)])
        _follow(other, log)
        assert len(log.board("B1").measurements) == 4
        other.undo("B1")
        assert len(other.board("B1").measurements) == 3
        log.edit_board("B1", coats=3)
        _follow(log, other)
        assert len(other.board("B1").measurements) == 3


def test_undo_does_not_step_back_over_an_import(begun: Path) -> None:
    """Undo without a name stops at an import into a used logbook; by name it takes back what was brought up to date."""
    with Logbook.open(begun / "a") as log, Logbook.open(begun / "b") as other:
        log.edit_board("B1", stain="cherry")
        assert _follow(log, other).renewed == ["B1"]
        with pytest.raises(LogbookError) as caught:
            other.undo()
        assert caught.value.code == "cannot-undo"
        other.undo("B1")
        assert other.board("B1").record.stain == "walnut"


def test_the_history_says_what_an_import_did(begun: Path) -> None:
    """What was kept against the archive, what got another number, and the import itself, each in words."""
    with Logbook.open(begun / "a") as log, Logbook.open(begun / "b") as other:
        CHANGES["edit a can"](log, begun)
        CHANGES["edit a can"](other, begun)
        _follow(log, other)
        told = {change.subject: change_line(change).partition(": ")[2] for change in other.history()[-2:]}
        assert told == {
            "C1": "it was changed in the archive too; what was here stayed",
            "logbook": "an archive",
        }
        with Logbook.open(begun / "c") as third:
            third.add_can(Can("oil stain", "teak", date=DAY))
            _follow(log, third)
            assert change_line(third.history("C2")[-1]).endswith(": C1 of an archive")
