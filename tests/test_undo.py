"""History of everything, and taking the last change back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from logbook_makers import DAY, keep, measurement, trial

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.errors import LogbookError
from finishlab.finish import ColourStep, Finish
from finishlab.imaging.greys import USUAL
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.recipe import Can, Recipe

OIL = Finish(steps=(ColourStep("oil", colour="honey"),))


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook.open(tmp_path / "log", who="Kim") as opened:
        yield opened


def _board(log: Logbook, folder: Path, name: str = "1.jpg", **values: Any) -> str:
    record = BoardRecord("ash", date=DAY, **values)
    return log.add_board(record, [measurement(keep(log, folder / name, name), strip=None)]).number


def test_an_edit_is_taken_back_and_put_back(log: Logbook, tmp_path: Path) -> None:
    """Undo restores the record as it was; redo restores the edit; every step stands in the history."""
    number = _board(log, tmp_path, stain="walnut")
    edited = log.edit_board(number, stain="honey", finish=OIL).record
    (done,) = log.undo(number)
    assert (done.subject, done.change.what, done.entry.what) == ("B1", "edit", "undo")
    assert log.board(number).record.stain == "walnut"
    assert log.board(number).record.finish is None
    log.redo()
    assert log.board(number).record == edited
    assert [change.what for change in log.history(number)] == ["add", "edit", "undo", "redo"]
    assert {change.who for change in log.history()} == {"Kim"}


def test_a_light_taken_back_moves_only_the_photos_that_went_with_it(log: Logbook, tmp_path: Path) -> None:
    """A photo that was in the other light already stays there when the correction of the light is undone."""
    number = _board(log, tmp_path, light="lamp")
    log.add_board_photos(number, [measurement(keep(log, tmp_path / "b", "2.jpg"), strip=None)], light="daylight")
    log.edit_board(number, light="daylight")
    assert {m.light for m in log.board(number).measurements} == {"daylight"}
    log.undo(number)
    assert [m.light for m in log.board(number).measurements] == ["lamp", "daylight"]
    log.redo(number)
    assert {m.light for m in log.board(number).measurements} == {"daylight"}


def test_adding_and_removing_are_taken_back(log: Logbook, tmp_path: Path) -> None:
    """Undo of an add hides what was added, undo of a remove shows it again; redo brings back what either took."""
    log.add_floor_spots(FloorSpotRecord(date=DAY), [[measurement(keep(log, tmp_path), "floor")]])
    log.undo("F1")
    assert log.floor_spots() == []
    log.redo("F1")
    assert [spot.number for spot in log.floor_spots()] == ["F1"]
    log.remove("F1")
    log.undo()
    assert [spot.number for spot in log.floor_spots()] == ["F1"]
    log.redo()
    assert log.floor_spots() == []


def test_photos_added_by_mistake_are_taken_out_and_put_back_whole(log: Logbook, tmp_path: Path) -> None:
    """The figures of a photo that is taken out stand in the history's images, and come back the same."""
    number = _board(log, tmp_path)
    second = measurement(keep(log, tmp_path / "b", "2.jpg"), "board", "floor", lightness=61.0)
    pair = DirectPair.of(second)
    assert pair is not None
    before = log.board(number)
    both = log.add_board_photos(number, [second], [pair])
    log.undo(number)
    assert log.board(number) == before
    taken = [image["before"] for image in log.dump()["tables"]["row_images"] if image["after"] is None]
    assert [each["lab_l"] for each in taken if "lab_l" in each] == [61.0]
    log.redo(number)
    assert log.board(number) == both
    log.undo(number)
    assert log.board(number) == before


def test_a_photo_that_found_another_board_stays_there(log: Logbook, tmp_path: Path) -> None:
    """What was removed cannot come back while one of its photos is logged elsewhere; nothing is changed then."""
    photo = measurement(keep(log, tmp_path), strip=None)
    log.add_board(BoardRecord("ash", date=DAY), [photo])
    log.remove("B1")
    log.add_board(BoardRecord("oak", date=DAY), [photo])
    with pytest.raises(LogbookError) as caught:
        log.undo("B1")
    assert caught.value.code == "photo-logged-twice"
    assert [board.number for board in log.boards()] == ["B2"]
    assert [change.what for change in log.history("B1")] == ["add", "remove"]


def test_measuring_again_is_taken_back(log: Logbook, tmp_path: Path) -> None:
    """The old figures come back whole, the new ones go into the history, and back again."""
    record = keep(log, tmp_path)
    old = log.add_board(BoardRecord("ash", date=DAY), [measurement(record, strip=None)])
    log.remeasure("B1", [measurement(record, lightness=70.0, strip=None)])
    new = log.board("B1")
    log.undo("B1")
    back = log.board("B1").measurements[0]
    assert back == old.measurements[0]
    log.redo("B1")
    assert log.board("B1").measurements[0].field == new.measurements[0].field


def test_greys_of_a_strip_are_taken_back(log: Logbook) -> None:
    """Undo of learning a strip's greys lets what held before hold again."""
    learned = [replace(USUAL, source="typed", number=7, learned=f"2024-05-0{day}") for day in (1, 2)]
    for greys in learned:
        log.learn_strip(greys)
    log.undo("strip 7")
    assert log.learned_greys() == (learned[0],)
    log.redo("s0007")
    assert log.learned_greys() == (learned[1],)
    log.forget_strip(7)
    log.undo()
    assert log.learned_greys() == (learned[1],)


def test_a_standard_is_taken_back(log: Logbook, tmp_path: Path) -> None:
    """Undo of an approval lets the standard before hold again, and none if there was none."""
    for name in ("1.jpg", "2.jpg"):
        _board(log, tmp_path / name, name, stain=f"stain of {name}")
    first, second = log.approve("B1"), log.approve("B2", reason="closer by lamp")
    assert log.standard() == second
    log.undo()
    found = log.standard()
    assert found is not None
    assert found.approval == first.approval
    log.redo("standard")
    assert (now := log.standard()) is not None
    assert now.approval == second.approval
    assert log.standards() == (replace(first, ended=log.standards()[0].ended), second)


def test_a_recipe_in_use_cannot_be_taken_back(log: Logbook, tmp_path: Path) -> None:
    """Undo of adding a recipe is refused while a board has it; the recipe stays."""
    log.add_recipe(Recipe("honey", OIL))
    _board(log, tmp_path, recipe_number=1)
    with pytest.raises(LogbookError) as caught:
        log.undo("R1")
    assert caught.value.code == "recipe-in-use"
    assert log.recipe("R1").record.name == "honey"


def test_a_trial_is_taken_back_and_put_back(log: Logbook) -> None:
    """A trial that was logged or removed goes and comes again, under its number."""
    (made,) = log.add_trials([trial()])
    log.undo()
    assert log.trials() == []
    log.redo()
    assert log.trials() == [made]
    log.remove("h1")
    assert log.trials() == []
    log.undo("H1")
    assert log.trials() == [made]
    assert [change.what for change in log.history("H1")] == ["add", "undo", "redo", "remove", "undo"]


def test_an_empty_history_has_nothing_to_take_back(log: Logbook) -> None:
    """Undo in a new logbook is refused in a sentence."""
    with pytest.raises(LogbookError) as caught:
        log.undo()
    assert caught.value.code == "nothing-to-undo"
    assert caught.value.hint


def test_a_change_without_images_is_refused(log: Logbook, tmp_path: Path) -> None:
    """A change of before images of rows were kept is named, and left alone."""
    from sqlalchemy import text

    _board(log, tmp_path)
    with log._write() as session:  # noqa: SLF001 - what an older finishlab left
        session.execute(text('update row_images set "before" = null, "after" = null'))
    for subject in (None, "B1"):
        with pytest.raises(LogbookError, match="“add” of B1") as caught:
            log.undo(subject)
        assert caught.value.code == "cannot-undo"
    assert [board.number for board in log.boards()] == ["B1"]


def test_a_row_that_is_not_as_the_change_left_it_is_left_alone(log: Logbook, tmp_path: Path) -> None:
    """What undo would overwrite, though the history has no change of it, stays: the sentence says it is in the way."""
    from sqlalchemy import text

    number = _board(log, tmp_path, stain="walnut")
    log.edit_board(number, stain="honey")
    with log._write() as session:  # noqa: SLF001 - another program's hand
        session.execute(text("update boards set stain = 'teak'"))
    with pytest.raises(LogbookError, match="stands in the way") as caught:
        log.undo()
    assert caught.value.code == "cannot-undo"
    assert log.board(number).record.stain == "teak"


def test_nothing_is_changed_without_an_entry(log: Logbook, tmp_path: Path) -> None:
    """A write that changes a row and says nothing in the history is refused as a whole: undo could not know of it."""
    from sqlalchemy import update

    from finishlab.logbook.tables import BoardRow

    number = _board(log, tmp_path, stain="walnut")
    with pytest.raises(RuntimeError, match="boards"), log._write() as session:  # noqa: SLF001 - a write gone wrong
        session.get_one(BoardRow, 1).stain = "honey"
    with pytest.raises(RuntimeError, match="boards"), log._write() as session:  # noqa: SLF001 - as above
        session.execute(update(BoardRow).values(stain="honey"))
    assert log.board(number).record.stain == "walnut"


@pytest.mark.parametrize("name", ["b1", " B1 ", "c1", "R1", "standard", "Strip 7", "s7"])
def test_the_history_of_everything_is_asked_by_its_name(log: Logbook, tmp_path: Path, name: str) -> None:
    """Boards, cans, recipes, strips and the standard have a history, in any spelling; removed ones too."""
    _board(log, tmp_path)
    log.add_can(Can("oil stain", "honey", date=DAY))
    log.remove("C1")
    log.approve("B1")
    log.learn_strip(replace(USUAL, source="typed", number=7))
    assert log.history(name)
    assert len({each.made for each in log.history(last=2)}) == 2


def test_the_history_of_nothing_is_refused(log: Logbook) -> None:
    """A name no change has is refused, and the hint says what there is to name."""
    with pytest.raises(LogbookError) as caught:
        log.history("the moon")
    assert caught.value.code == "unknown-subject"
    assert "R1" in caught.value.hint


def test_a_caution_is_due_once_a_day(log: Logbook) -> None:
    """Each caution is due the first time on a day, and again the next day."""
    assert log.cautions_due(["rags", "dust", "rags"], DAY) == ("rags", "dust")
    assert log.cautions_due(["rags", "vapour"], DAY) == ("vapour",)
    assert log.cautions_due(["rags"], DAY.replace(day=30)) == ("rags",)


def test_undo_goes_back_step_by_step_and_redo_forward(log: Logbook, tmp_path: Path) -> None:
    """Each undo takes back the change before, passing over what was taken back; each redo brings back the next."""
    number = _board(log, tmp_path, stain="ash")
    for stain in ("honey", "walnut", "oak"):
        log.edit_board(number, stain=stain)
    for expected in ("walnut", "honey", "ash"):
        log.undo()
        assert log.board(number).record.stain == expected
    for expected in ("honey", "walnut"):
        log.redo()
        assert log.board(number).record.stain == expected
    log.undo()
    log.edit_board(number, stain="teak")
    with pytest.raises(LogbookError) as caught:
        log.redo()
    assert caught.value.code == "nothing-to-redo"
    for expected in ("honey", "ash"):
        log.undo(number)
        assert log.board(number).record.stain == expected
    log.undo(number)
    assert log.boards() == []
    with pytest.raises(LogbookError) as caught:
        log.undo(number)
    assert caught.value.code == "nothing-to-undo"


def test_what_one_command_changed_is_taken_back_at_once(log: Logbook, tmp_path: Path) -> None:
    """An approval that made a recipe and gave it to the board is one step back, and one step forward again."""
    number = _board(log, tmp_path, stain="honey")
    before = log.board(number).record
    log.approve(number)
    after = log.board(number).record
    done = log.undo()
    assert [each.subject for each in done] == ["standard", "B1", "R1"]
    assert (log.standard(), log.recipes(), log.board(number).record) == (None, [], before)
    assert [each.subject for each in log.redo()] == ["R1", "B1", "standard"]
    assert log.board(number).record == after
    assert (standard := log.standard()) is not None
    assert standard.approval.board_number == 1


def test_nothing_is_taken_back_where_one_change_of_a_command_cannot_be(log: Logbook, tmp_path: Path) -> None:
    """A recipe that another board took up since keeps the whole approval: all changes of a command, or none."""
    _board(log, tmp_path, stain="honey")
    log.approve("B1")
    _board(log, tmp_path / "b", "2.jpg", recipe_number=1)
    history = log.history()
    with pytest.raises(LogbookError) as caught:
        log.undo("R1")
    assert caught.value.code == "recipe-in-use"
    assert log.history() == history


def test_a_photo_of_what_was_removed_too_stands_in_nobodys_way(log: Logbook, tmp_path: Path) -> None:
    """A removed board comes back although its photo was logged for another since, if that one was removed as well."""
    photo = measurement(keep(log, tmp_path), strip=None)
    for species in ("ash", "oak"):
        number = log.add_board(BoardRecord(species, date=DAY), [photo]).number
        log.remove(number)
    log.undo("B1")
    assert [board.number for board in log.boards()] == ["B1"]


def test_a_photo_measured_twice_in_one_go_is_taken_back_whole(log: Logbook, tmp_path: Path) -> None:
    """The last figures hold, undo brings back those before the whole command, and redo the last ones again."""
    record = keep(log, tmp_path)
    log.add_board(BoardRecord("ash", date=DAY), [measurement(record, strip=None)])
    log.remeasure("B1", [measurement(record, lightness=value, strip=None) for value in (60.0, 70.0)])
    for step, wanted in ((None, 70.0), (log.undo, 50.0), (log.redo, 70.0)):
        if step is not None:
            step("B1")
        assert log.board("B1").measurements[0].field.estimate.lab[0] == wanted
