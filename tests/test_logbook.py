"""The logbook: what is logged comes back, nothing is lost, nothing is overwritten silently."""

from __future__ import annotations

import datetime as dt
import multiprocessing
import os
import signal
import sqlite3
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from logbook_makers import DAY, keep, make_photo, measurement
from sqlalchemy import Engine, event

from finishlab.board import BoardRecord, FloorSpotRecord, PhotoRecord
from finishlab.errors import ExitCode, LogbookError, PhotoError, UsageError
from finishlab.files import LOGBOOK_FILE
from finishlab.logbook.photo_files import kept_files
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.recipe import Can
from finishlab.record import plain

ASH = BoardRecord("ash", "walnut brown", 2, "water PU", note="first try", date=DAY)
SPOT = FloorSpotRecord("by the stair", date=DAY)
SPAWN = multiprocessing.get_context("spawn")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    """Open an empty logbook."""
    with Logbook.open(tmp_path / "log", who="tester") as opened:
        yield opened


def _add(log: Logbook, folder: Path, name: str, record: BoardRecord = ASH) -> str:
    return log.add_board(record, [measurement(keep(log, folder, name))]).number


# Boards and spots


def test_a_board_comes_back_as_it_was_measured(log: Logbook, tmp_path: Path) -> None:
    """Record, field, settings and version read back equal to what was logged, floats to the last bit."""
    measured = measurement(keep(log, tmp_path), lightness=0.1 + 0.2)
    added = log.add_board(ASH, [measured])
    board = log.board("B1")
    assert added == board
    assert (board.number, board.record, board.pairs) == ("B1", ASH, ())
    (stored,) = board.measurements
    assert stored.field == measured.fields["board"]
    assert (stored.strip_number, stored.version, stored.light) == (412, "0.1.0", "daylight")
    assert stored.settings == {"field": "board"}
    (row,) = log.dump()["tables"]["measurements"]
    assert row["strip_reading"] == plain(measured.strip)
    assert row["correction"] == {"gamma": [2.2, 2.1, 2.0]}
    assert stored.photo.startswith(measured.photo_id)
    assert stored.created.tzinfo == dt.UTC


def test_several_photos_are_repeats_of_one_board(log: Logbook, tmp_path: Path) -> None:
    """One call logs all photos of a board, in their order, under one number."""
    photos = [keep(log, tmp_path, f"{i}.jpg") for i in range(3)]
    board = log.add_board(ASH, [measurement(p, lightness=40.0 + i) for i, p in enumerate(photos)])
    assert [m.photo for m in board.measurements] == [p.sha256 for p in photos]
    assert [m.field.estimate.lab[0] for m in board.measurements] == [40.0, 41.0, 42.0]


def test_a_direct_pair_is_kept(log: Logbook, tmp_path: Path) -> None:
    """A photo with board and floor keeps both fields and their difference."""
    measured = measurement(keep(log, tmp_path), "board", "floor")
    pair = DirectPair.of(measured)
    assert pair is not None
    (stored,) = log.add_board(ASH, [measured], [pair]).pairs
    assert (stored.board, stored.floor) == (measured.fields["board"], measured.fields["floor"])
    assert stored.delta_e00 == measured.pair
    assert stored.light == "daylight"
    assert log.board("B1").pairs == (stored,)


def test_a_photo_of_one_field_is_no_pair(log: Logbook, tmp_path: Path) -> None:
    """Without the floor in the same photo there is no direct pair."""
    assert DirectPair.of(measurement(keep(log, tmp_path))) is None


def test_a_floor_spot_comes_back(log: Logbook, tmp_path: Path) -> None:
    """A spot holds the floor field of its photos, also when the board field was measured too."""
    measured = measurement(keep(log, tmp_path), "board", "floor")
    spot = log.add_floor_spots(SPOT, [[measured]])[0]
    assert spot == log.floor_spot("f1") == log.floor_spots()[0]
    assert spot.number == "F1"
    assert spot.record == SPOT
    assert spot.measurements[0].field == measured.fields["floor"]


def test_without_a_strip_the_one_surface_is_the_floor(log: Logbook, tmp_path: Path) -> None:
    """A surface measured from a grey area is reported as the board field; logged as floor it is the floor."""
    spot = log.add_floor_spots(SPOT, [[replace(measurement(keep(log, tmp_path)), strip=None)]])[0]
    assert spot.measurements[0].field.name == "board"
    assert spot.measurements[0].strip_number is None
    assert log.strips() == ()


def test_the_wrong_field_is_refused(log: Logbook, tmp_path: Path) -> None:
    """With a strip in the photo, its board field is never taken for the floor."""
    with pytest.raises(UsageError) as caught:
        log.add_floor_spots(SPOT, [[measurement(keep(log, tmp_path), "board")]])
    assert caught.value.code == "field-not-measured"
    assert log.floor_spots() == []


def test_boards_by_light(log: Logbook, tmp_path: Path) -> None:
    """A light gives the boards measured in it, however it is spelt, with only what was measured in it."""
    _add(log, tmp_path, "1.jpg")
    _add(log, tmp_path, "2.jpg")
    both = measurement(keep(log, tmp_path, "3.jpg"), "board", "floor", strip=413)
    pair = DirectPair.of(both)
    assert pair is not None
    whole = log.add_board_photos("B2", [both], [pair], light="Evening  lamp")
    assert [m.light for m in whole.measurements] == ["daylight", "evening lamp"]
    (evening,) = log.boards(light="EVENING lamp")
    assert evening.number == "B2"
    assert [m.light for m in evening.measurements] == ["evening lamp"]
    assert len(evening.pairs) == 1
    daylight = log.boards(light="daylight")
    assert [b.number for b in daylight] == ["B1", "B2"]
    assert [b.pairs for b in daylight] == [(), ()]
    assert log.boards(light="candle") == []
    assert log.strips() == (412, 413)


def test_further_photos_take_the_boards_light(log: Logbook, tmp_path: Path) -> None:
    """Photos added without a light are repeats in the board's own."""
    log.add_board(BoardRecord("ash", light="lamp", date=DAY), [measurement(keep(log, tmp_path, "1.jpg"))])
    log.add_board_photos("B1", [measurement(keep(log, tmp_path, "2.jpg"))])
    assert [m.light for m in log.board("B1").measurements] == ["lamp", "lamp"]


def test_spots_by_light(log: Logbook, tmp_path: Path) -> None:
    """Floor spots are picked by light as boards are."""
    log.add_floor_spots(SPOT, [[measurement(keep(log, tmp_path, "1.jpg"), "floor")]])
    lamp = FloorSpotRecord(light="Lamp", date=DAY)
    log.add_floor_spots(lamp, [[measurement(keep(log, tmp_path, "2.jpg"), "floor")]])
    assert [s.number for s in log.floor_spots(light="lamp")] == ["F2"]
    assert [s.number for s in log.floor_spots()] == ["F1", "F2"]


def test_reading_boards_takes_the_same_queries_however_many(log: Logbook, tmp_path: Path) -> None:
    """Twelve boards are read in as many queries as one: three."""
    asked: list[str] = []

    def note(*args: object) -> None:
        asked.append(str(args[2]))

    event.listen(Engine, "before_cursor_execute", note)
    counts = []
    for upto in (1, 12):
        while len(log.boards()) < upto:
            _add(log, tmp_path, f"{len(log.boards())}.jpg")
        asked.clear()
        log.boards()
        counts.append(len([line for line in asked if line.startswith("SELECT")]))
    event.remove(Engine, "before_cursor_execute", note)
    assert counts == [3, 3]


# Failures


def test_an_unknown_board_names_those_there_are(log: Logbook, tmp_path: Path) -> None:
    """The sentence names what was asked for, the hint what is logged; runs are drawn together."""
    with pytest.raises(LogbookError) as caught:
        log.board("B1")
    assert caught.value.code == "unknown-board"
    assert caught.value.exit_code == ExitCode.LOGBOOK
    assert "finishlab board add" in caught.value.hint
    for i in range(6):
        _add(log, tmp_path, f"{i}.jpg")
    log.remove("B5")
    for name in ("B9", "b99999999999", "F1", "9", ""):
        with pytest.raises(LogbookError) as caught:
            log.board(name)
        assert caught.value.hint == "Logged: B1 to B4, B6."


def test_a_long_list_of_boards_is_cut(log: Logbook, tmp_path: Path) -> None:
    """With many separate runs the hint names the first and says there are more."""
    for i in range(30):
        _add(log, tmp_path, f"{i}.jpg")
    for i in range(2, 31, 2):
        log.remove(f"B{i}")
    with pytest.raises(LogbookError) as caught:
        log.edit_board("B99", stain="x")
    assert caught.value.hint.endswith("B23 and more.")


def test_an_unknown_spot_is_said_so(log: Logbook) -> None:
    """Floor spots have their own code."""
    for ask in (log.floor_spot, log.remove, log.edit_floor_spot, log.history):
        with pytest.raises(LogbookError) as caught:
            ask("F7")
        assert caught.value.code == "unknown-spot"
        assert "F7" in caught.value.message


def test_nothing_measured_is_nothing_logged(log: Logbook, tmp_path: Path) -> None:
    """A board, spot or addition without a photo is refused."""
    with pytest.raises(UsageError):
        log.add_board(ASH, [])
    with pytest.raises(UsageError):
        log.add_floor_spots(SPOT, [[]])
    _add(log, tmp_path, "1.jpg")
    with pytest.raises(UsageError):
        log.add_board_photos("B1", [])


def test_a_measurement_needs_its_photo_kept(log: Logbook, tmp_path: Path) -> None:
    """A figure that could not be traced to its photo is refused, and the whole board with it."""
    kept = keep(log, tmp_path, "1.jpg")
    _, unkept = make_photo(tmp_path, "2.jpg")
    with pytest.raises(LogbookError) as caught:
        log.add_board(ASH, [measurement(kept), measurement(unkept)])
    assert caught.value.code == "photo-not-kept"
    assert log.boards() == []
    assert log.add_board(ASH, [measurement(kept)]).number == "B1"


def test_one_photo_is_no_repeat_of_itself(log: Logbook, tmp_path: Path) -> None:
    """The same photo twice for one board, or one pair twice, is refused, and nothing of that call is kept."""
    measured = measurement(keep(log, tmp_path, "1.jpg"), "board", "floor")
    pair = DirectPair.of(measured)
    assert pair is not None
    for pairs in ([], [pair, pair]):
        with pytest.raises(LogbookError) as caught:
            log.add_board(ASH, [measured] if pairs else [measured, measured], pairs)
        assert caught.value.code == "photo-logged-twice"
    assert log.boards() == []
    log.add_board(ASH, [measured])
    with pytest.raises(LogbookError, match=r"1\.jpg"):
        log.add_board_photos("B1", [measured], light="lamp")
    assert len(log.history("B1")) == 1


# Changes


def test_one_photo_is_not_two_boards(log: Logbook, tmp_path: Path) -> None:
    """A photo logged for one board is refused for another, inside the writing transaction; a removed board frees it."""
    path, photo = make_photo(tmp_path)
    log.keep_photo(path, photo)
    log.add_board(ASH, [measurement(photo)])
    with pytest.raises(LogbookError, match="logged as B1 already") as refused:
        log.add_board(BoardRecord("oak"), [measurement(photo)])
    assert refused.value.code == "photo-logged-twice"
    assert len(log.boards()) == 1
    log.remove("B1")
    assert log.add_board(BoardRecord("oak"), [measurement(photo)]).record.species == "oak"


def test_several_spots_are_logged_all_or_none(log: Logbook, tmp_path: Path) -> None:
    """When the second of three spots cannot be logged, the first is not either."""
    photos = [make_photo(tmp_path, f"{n}.jpg") for n in range(3)]
    for path, photo in photos[::2]:
        log.keep_photo(path, photo)
    groups = [[measurement(photo, "floor")] for _, photo in photos]
    with pytest.raises(LogbookError, match="not kept"):
        log.add_floor_spots(FloorSpotRecord(), groups)
    assert log.floor_spots() == []
    log.keep_photo(*photos[1])
    assert len(log.add_floor_spots(FloorSpotRecord(), groups)) == 3


def test_an_edit_is_kept_in_the_history(log: Logbook, tmp_path: Path) -> None:
    """The changed fields are changed, the others not, and the history holds the values before and after."""
    _add(log, tmp_path, "1.jpg")
    edited = log.edit_board("b1", stain="Smoke", coats=1, note=None)
    assert edited.record == BoardRecord("ash", "Smoke", 1, "water PU", date=DAY)
    assert log.board("B1") == edited
    added, change = log.history("B1")
    assert (added.what, added.before, added.who) == ("add", None, "tester")
    assert added.after is not None
    assert len(added.after["photos"]) == 1
    assert change.what == "edit"
    assert change.before == ASH.as_dict()
    assert change.after == edited.record.as_dict()
    assert added.made <= change.made


def test_an_edit_that_changes_nothing_leaves_no_trace(log: Logbook, tmp_path: Path) -> None:
    """Writing the same values again is no change."""
    _add(log, tmp_path, "1.jpg")
    log.edit_board("B1", stain=" walnut  brown ")
    assert len(log.history("B1")) == 1


def test_a_bad_edit_changes_nothing(log: Logbook, tmp_path: Path) -> None:
    """An edit is checked as a new record is; a field that does not exist is said so."""
    _add(log, tmp_path, "1.jpg")
    for changes, code in (
        ({"coats": 9}, "coats-out-of-range"),
        ({"colour": "x"}, "unknown-field"),
        ({"species": ""}, "no-species"),
    ):
        with pytest.raises(UsageError) as caught:
            log.edit_board("B1", **changes)
        assert caught.value.code == code
    assert log.board("B1").record == ASH
    assert len(log.history("B1")) == 1


def test_a_corrected_light_moves_the_photos_of_that_light(log: Logbook, tmp_path: Path) -> None:
    """A light named wrongly on logging is put right for its photos too, others keep theirs; the history says which."""
    measured = measurement(keep(log, tmp_path, "1.jpg"), "board", "floor")
    pair = DirectPair.of(measured)
    assert pair is not None
    log.add_board(ASH, [measured], [pair])
    log.add_board_photos("B1", [measurement(keep(log, tmp_path, "2.jpg"))], light="candle")
    board = log.edit_board("B1", light="lamp")
    assert [m.light for m in board.measurements] == ["lamp", "candle"]
    assert board.pairs[0].light == "lamp"
    after = log.history("B1")[-1].after
    assert after is not None
    assert after["photos"] == [board.measurements[0].photo]
    log.add_floor_spots(SPOT, [[measurement(keep(log, tmp_path, "3.jpg"), "floor")]])
    assert log.edit_floor_spot("F1", light="lamp").measurements[0].light == "lamp"


def test_a_clock_set_back_locks_nothing(log: Logbook, tmp_path: Path) -> None:
    """A board dated later than today is read, listed and edited; only a new date is judged."""
    later = dt.date(2999, 1, 1)
    _add(log, tmp_path, "1.jpg", BoardRecord("ash", date=later, latest=dt.date.max))
    assert log.boards()[0].record.date == later
    assert log.edit_board("B1", note="seen").record.date == later
    with pytest.raises(UsageError, match="future"):
        log.edit_board("B1", date=later + dt.timedelta(days=1))


def test_what_is_removed_is_hidden_not_lost(log: Logbook, tmp_path: Path) -> None:
    """A removed board is no longer listed, its history and photo stay, and its number is not given again."""
    photo = keep(log, tmp_path, "1.jpg")
    log.add_board(ASH, [measurement(photo)])
    log.remove("B1")
    assert log.boards() == []
    with pytest.raises(LogbookError, match="was removed on 20"):
        log.remove("B1")
    assert [c.what for c in log.history("B1")] == ["add", "remove"]
    assert log.history("B1")[-1].before == ASH.as_dict()
    assert log.photo_path(photo.sha256).is_file()
    other = sqlite3.connect(log.folder / LOGBOOK_FILE)
    assert other.execute("SELECT count(*) FROM measurements WHERE board_number = 1").fetchone() == (1,)
    other.close()
    assert log.add_board(ASH, [measurement(photo)]).number == "B2"


def test_removed_spots_too(log: Logbook, tmp_path: Path) -> None:
    """Floor spots are removed and edited as boards are."""
    log.add_floor_spots(SPOT, [[measurement(keep(log, tmp_path, "1.jpg"), "floor")]])
    assert log.edit_floor_spot("F1", surface="wood").record.surface == "wood"
    log.remove("F1")
    assert log.floor_spots() == []
    assert [c.what for c in log.history(" f1 ")] == ["add", "edit", "remove"]


# Photos


def test_a_photo_is_kept_unchanged_under_its_hash(log: Logbook, tmp_path: Path) -> None:
    """The kept bytes are the user's, in photos/<first two digits>/<hash><suffix>; the original stays."""
    path, record = make_photo(tmp_path, taken=dt.datetime(2024, 5, 31, 9, 8))  # noqa: DTZ001 - a camera without a zone
    place = log.keep_photo(path, record)
    assert place == log.folder / "photos" / record.sha256[:2] / f"{record.sha256}.jpg"
    assert place.read_bytes() == path.read_bytes()
    assert log.photo_path(record.sha256) == log.photo_path(record.photo_id) == place
    assert log.photo(record.photo_id) == record
    assert [each.name[:5] for each in (log.folder / "photos" / ".incoming").iterdir()] == ["kept."]
    log.add_board(ASH, [measurement(record)])
    assert list((log.folder / "photos" / ".incoming").iterdir()) == []


def test_a_photo_is_kept_once(log: Logbook, tmp_path: Path) -> None:
    """The same bytes under another name are the same photo; the first name stays on record."""
    record = keep(log, tmp_path, "1.jpg")
    twin = tmp_path / "twin.jpeg"
    twin.write_bytes((tmp_path / "1.jpg").read_bytes())
    log.keep_photo(twin, PhotoRecord(record.sha256, "twin.jpeg", 4000, 3000, suffix=".jpeg"))
    assert log.photo(record.sha256).file_name == "1.jpg"
    log.add_board(ASH, [measurement(record)])
    assert log.photo(record.sha256).file_name == "1.jpg"
    assert len([p for p in (log.folder / "photos").rglob("*") if p.is_file()]) == 1


def test_a_lost_or_spoilt_photo_is_put_back_by_keeping_it_again(log: Logbook, tmp_path: Path) -> None:
    """A kept file that is gone is said so; keeping the same photo again restores it, and a spoilt one too."""
    path, record = make_photo(tmp_path)
    place = log.keep_photo(path, record)
    place.unlink()
    with pytest.raises(LogbookError) as caught:
        log.photo_path(record.sha256)
    assert caught.value.code == "photo-missing"
    log.keep_photo(path, record)
    assert log.photo_path(record.sha256).read_bytes() == path.read_bytes()
    place.write_bytes(b"x" * path.stat().st_size)
    log.keep_photo(path, record)
    assert place.read_bytes() == path.read_bytes()


def test_bytes_that_are_not_the_measured_ones_are_refused(log: Logbook, tmp_path: Path) -> None:
    """A file that changed after it was measured is not kept under the old hash, and no half copy is left."""
    path, record = make_photo(tmp_path)
    path.write_bytes(b"something else")
    with pytest.raises(LogbookError) as caught:
        log.keep_photo(path, record)
    assert caught.value.code == "photo-changed"
    assert [p for p in (log.folder / "photos").rglob("*") if p.is_file()] == []
    path.unlink()
    with pytest.raises(PhotoError) as gone:
        log.keep_photo(path, record)
    assert gone.value.code == "photo-gone"


def test_an_unknown_photo_is_said_so(log: Logbook) -> None:
    """A hash that was never kept, or is no hash, names no photo."""
    for name in ("0" * 64, "../../etc/passwd", "abc"):
        with pytest.raises(LogbookError) as caught:
            log.photo_path(name)
        assert caught.value.code == "unknown-photo"


def test_old_half_copies_are_cleared(log: Logbook, tmp_path: Path) -> None:
    """What a killed program left half copied is deleted after a day, a fresh one is not."""
    incoming = log.folder / "photos" / ".incoming"
    incoming.mkdir()
    for name, age in (("old", 2 * 86400), ("fresh", 60)):
        (incoming / name).write_bytes(b"half")
        os.utime(incoming / name, (time.time() - age,) * 2)
    (incoming / "folder").mkdir()
    os.utime(incoming / "folder", (0, 0))
    log.add_board(ASH, [measurement(keep(log, tmp_path))])
    assert sorted(p.name for p in incoming.iterdir()) == ["folder", "fresh"]


def test_a_full_disk_is_said_so(log: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fills while a photo is copied gives a sentence, and leaves no photo on record."""
    path, record = make_photo(tmp_path)

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LogbookError) as caught:
        log.keep_photo(path, record)
    assert caught.value.code == "logbook-full"
    monkeypatch.undo()
    with pytest.raises(LogbookError):
        log.photo_path(record.sha256)


# Opening


def test_first_use_makes_the_folder(tmp_path: Path) -> None:
    """Folder, database and photos/ are made, also below folders that do not exist yet."""
    folder = tmp_path / "a" / "b 100%"
    with Logbook.open(folder):
        assert (folder / LOGBOOK_FILE).is_file()
        assert (folder / "photos").is_dir()


def test_a_logbook_can_be_moved(tmp_path: Path) -> None:
    """Closed, the folder is all there is: moved elsewhere it reads the same, and no side files are left."""
    with Logbook.open(tmp_path / "here") as log:
        record = keep(log, tmp_path)
        board = log.add_board(ASH, [measurement(record)])
    assert sorted(p.name for p in (tmp_path / "here").iterdir()) == [LOGBOOK_FILE, "photos"]
    (tmp_path / "here").rename(tmp_path / "there")
    with Logbook.open(tmp_path / "there") as log:
        assert log.board("B1") == board
        assert log.photo_path(record.sha256).is_file()


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    """A file named as the logbook, or lying on the way to it, gives a sentence and is left as it is."""
    file = tmp_path / "file"
    file.write_text("mine")
    for folder, code in ((file, "logbook-not-a-folder"), (file / "below", "logbook-unwritable")):
        with pytest.raises(LogbookError) as caught:
            Logbook.open(folder)
        assert caught.value.code == code
        assert caught.value.hint
    assert file.read_text() == "mine"


def test_an_unwritable_folder_is_said_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder or database without write permission is read all the same; what would change it gives a sentence."""
    folder = tmp_path / "log"
    with Logbook.open(folder) as log:
        log.add_can(Can("oil stain", "walnut", date=DAY))
    real = os.access
    for closed in (folder, folder / LOGBOOK_FILE):
        monkeypatch.setattr(os, "access", lambda path, mode, closed=closed: Path(path) != closed and real(path, mode))
        with Logbook.open(folder) as log:
            assert [can.number for can in log.cans()] == ["C1"]
            assert log.cautions_due(["rags"]) == log.cautions_due(["rags"]) == ("rags",)
            for change in (lambda log=log: log.remove("C1"), lambda log=log: keep(log, tmp_path)):
                with pytest.raises(LogbookError) as caught:
                    change()
                assert caught.value.code == "logbook-unwritable"
                assert str(folder) in caught.value.message
            assert [can.number for can in log.cans()] == ["C1"]


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder in which not even root can write")
def test_a_folder_the_system_refuses_is_said_so() -> None:
    """Where the system makes no folders, the sentence says so."""
    with pytest.raises(LogbookError) as caught:
        Logbook.open(Path("/proc/self/finishlab"))
    assert caught.value.code == "logbook-unwritable"


def test_a_damaged_database_is_said_so(tmp_path: Path) -> None:
    """A file that is no database, one cut short, and a folder in its place are refused and left as they are."""
    folder = tmp_path / "log"
    with Logbook.open(folder) as log:
        _add(log, tmp_path, "1.jpg")
    whole = (folder / LOGBOOK_FILE).read_bytes()
    for spoilt in (b"this is no database" * 100, whole[:5000]):
        (folder / LOGBOOK_FILE).write_bytes(spoilt)
        with pytest.raises(LogbookError) as caught:
            Logbook.open(folder).boards()
        assert caught.value.code == "logbook-damaged"
        assert caught.value.hint
        assert (folder / LOGBOOK_FILE).read_bytes() == spoilt
    (folder / LOGBOOK_FILE).unlink()
    (folder / LOGBOOK_FILE).mkdir()
    with pytest.raises(LogbookError) as caught:
        Logbook.open(folder)
    assert caught.value.code == "logbook-unwritable"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE measurements SET result = '{}'",
        "UPDATE measurements SET result = 'no json'",
        "UPDATE measurements SET result = json_set(result, '$.name', 'ceiling')",
        "UPDATE measurements SET result = json_set(result, '$.kind', 'stone')",
        "UPDATE measurements SET result = json_set(result, '$.doubts[0].code', 'unheard-of')",
        "UPDATE boards SET purpose = 'toy'",
    ],
)
def test_a_damaged_entry_is_said_so(
    log: Logbook, tmp_path: Path, statement: str, caplog: pytest.LogCaptureFixture
) -> None:
    """An entry spoilt by another program gives a sentence when it is asked for; a list leaves it out, with a word."""
    _add(log, tmp_path, "1.jpg")
    with sqlite3.connect(log.folder / LOGBOOK_FILE) as other:
        other.execute(statement)
    other.close()
    with pytest.raises(LogbookError) as caught:
        log.board("B1")
    assert caught.value.code == "logbook-damaged"
    caplog.clear()
    log.boards()
    assert "of board B1 in the logbook cannot be read" in caplog.text


def test_an_address_that_cannot_be_is_said_so(tmp_path: Path) -> None:
    """A malformed address, or one of a database without a driver, gives a sentence."""
    for address in ("no address", "nosuchbase://host/name"):
        with pytest.raises(LogbookError) as caught:
            Logbook.open(tmp_path / "log", address=address)
        assert caught.value.code == "logbook-address"


def test_an_address_places_the_database_elsewhere(tmp_path: Path) -> None:
    """With an address the folder holds the photos only."""
    with Logbook.open(tmp_path / "log", address=f"sqlite:///{tmp_path / 'elsewhere.db'}") as log:
        _add(log, tmp_path, "1.jpg")
    assert not (tmp_path / "log" / LOGBOOK_FILE).exists()
    with Logbook.open(tmp_path / "log", address=f"sqlite:///{tmp_path / 'elsewhere.db'}") as log:
        assert [b.number for b in log.boards()] == ["B1"]


def test_a_logbook_held_by_another_is_said_so(log: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When another program writes and does not end, the wait ends with a sentence."""
    monkeypatch.setattr("finishlab.logbook.database.BUSY_SECONDS", 0.05)
    log.close()  # its connections are as patient as ever
    other = sqlite3.connect(log.folder / LOGBOOK_FILE, isolation_level=None)
    with Logbook.open(log.folder) as impatient:
        photo = keep(impatient, tmp_path, "1.jpg")
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LogbookError) as caught:
            impatient.add_board(ASH, [measurement(photo)])
        assert caught.value.code == "logbook-busy"
        assert impatient.boards() == []
        other.execute("ROLLBACK")
        assert impatient.add_board(ASH, [measurement(photo)]).number == "B1"
    other.close()


def test_someone_without_a_login_name_can_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system knows no user name, the history says unknown."""

    def nobody() -> str:
        raise KeyError("uid")

    monkeypatch.setattr("getpass.getuser", nobody)
    with Logbook.open(tmp_path / "log") as log:
        _add(log, tmp_path, "1.jpg")
        assert log.history("B1")[0].who == "unknown"


# Several programs at once, and programs that are killed


def _add_some(folder: Path, name: str, count: int) -> list[str]:
    with Logbook.open(folder / "log") as log:
        return [_add(log, folder / name, f"{name}{i}.jpg") for i in range(count)]


def test_programs_at_once_get_distinct_numbers(tmp_path: Path) -> None:
    """Two programs that make one new logbook and add boards at once get every number once, without gaps."""
    with ProcessPoolExecutor(2, mp_context=SPAWN) as pool:
        running = [pool.submit(_add_some, tmp_path, name, 8) for name in ("a", "b")]
        numbers = [number for job in running for number in job.result(timeout=120)]
    assert sorted(numbers, key=lambda n: int(n[1:])) == [f"B{i}" for i in range(1, 17)]
    with Logbook.open(tmp_path / "log") as log:
        assert [b.number for b in log.boards()] == [f"B{i}" for i in range(1, 17)]


def _die_before_the_end(folder: Path, moment: str) -> None:
    with Logbook.open(folder / "log") as log:
        photo = keep(log, folder, "killed.jpg")
        if moment == "commit":
            event.listen(Engine, "commit", lambda _connection: os.kill(os.getpid(), signal.SIGKILL))
            log.add_board(ASH, [measurement(photo)])
        os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
@pytest.mark.parametrize("moment", ["after the photo", "commit"])
def test_a_killed_program_leaves_a_whole_log(tmp_path: Path, moment: str) -> None:
    """Killed between photo and commit: the board is not there, all before is; the next write clears the photo."""
    with Logbook.open(tmp_path / "log") as log:
        _add(log, tmp_path, "before.jpg")
    killed = SPAWN.Process(target=_die_before_the_end, args=(tmp_path, moment))
    killed.start()
    killed.join(timeout=60)
    assert killed.exitcode == -signal.SIGKILL
    _, record = make_photo(tmp_path, "killed.jpg")
    with Logbook.open(tmp_path / "log") as log:
        assert [b.number for b in log.boards()] == ["B1"]
        assert len(list(kept_files(log.folder))) == 2
        log.edit_board("B1", note="next")
        assert [path.stem for path in kept_files(log.folder)] == [log.board("B1").measurements[0].photo]
        with pytest.raises(LogbookError):
            log.history("B2")
        keep(log, tmp_path, "killed.jpg")
        assert log.add_board(ASH, [measurement(record)]).number == "B2"
        assert list((log.folder / "photos" / ".incoming").iterdir()) == []


def test_photos_and_kinds_are_looked_up(log: Logbook, tmp_path: Path) -> None:
    """Whose a photo is, what other boards are for and which lie beside the floor is told without reading boards."""
    first = keep(log, tmp_path, "one.jpg")
    second = keep(log, tmp_path, "two.jpg")
    log.add_board(BoardRecord("ash", stain="honey", date=DAY), [measurement(first)])
    log.add_board(BoardRecord("oak", purpose="clear-only control", date=DAY), [measurement(second)])
    asked = [first.sha256[:16], second.sha256[:16], "0" * 16]
    assert log.owners_of_photos("board", asked) == {first.sha256[:16]: 1, second.sha256[:16]: 2}
    assert log.owners_of_photos("spot", asked) == {}
    assert log.owners_of_photos("board", []) == {}
    assert log.kinds_of_boards("B2") == {("candidate", True)}
    assert log.kinds_of_boards("B9") == {("candidate", True), ("clear-only control", False)}
    assert log.boards_beside_floor() == frozenset()
    log.remove("B1")
    assert log.owners_of_photos("board", asked) == {second.sha256[:16]: 2}
    assert log.kinds_of_boards("B2") == frozenset()
    log.undo()
    log.remove("B2")
    assert log.owners_of_photos("board", asked) == {first.sha256[:16]: 1}


def test_measuring_again_renews_the_photo_it_names(log: Logbook, tmp_path: Path) -> None:
    """Of a board in two photos, the one that is measured again has new figures and the other keeps its own."""
    one, two = keep(log, tmp_path, "one.jpg"), keep(log, tmp_path, "two.jpg")
    number = log.add_board(ASH, [measurement(one), measurement(two, lightness=51.0)]).number
    log.remeasure(number, [measurement(two, lightness=70.0)])
    found = [each.field.estimate.lab[0] for each in log.board(number).measurements]
    assert found == [50.0, 70.0]
    assert log.history(number)[-1].after == {"photos": [two.sha256]}


def test_measuring_again_renews_the_pair_of_that_photo(log: Logbook, tmp_path: Path) -> None:
    """Of two photos with the floor beside the board, only the direct pair of the one measured again changes."""
    seen = [measurement(keep(log, tmp_path, name), "board", "floor") for name in ("one.jpg", "two.jpg")]
    pairs = [pair for pair in map(DirectPair.of, seen) if pair is not None]
    before = log.add_board(ASH, seen, pairs).pairs
    again = measurement(keep(log, tmp_path, "two.jpg"), "board", "floor", lightness=70.0)
    log.remeasure("B1", [again])
    after = log.board("B1").pairs
    assert after[0] == before[0]
    assert after[1].board.estimate.lab[0] == 70.0


def test_a_corrected_light_moves_the_pairs_of_that_light(log: Logbook, tmp_path: Path) -> None:
    """Of a board beside the floor in two lights, only the pair in the light that was wrong goes to the new one."""
    for name, light in (("one.jpg", "lamp"), ("two.jpg", "daylight")):
        seen = measurement(keep(log, tmp_path, name), "board", "floor")
        pair = DirectPair.of(seen)
        assert pair is not None
        if light == "lamp":
            log.add_board(replace(ASH, light=light), [seen], [pair])
        else:
            log.add_board_photos("B1", [seen], [pair], light=light)
    log.edit_board("B1", light="evening")
    assert [row["light"] for row in log.dump()["tables"]["pairs"]] == ["evening", "daylight"]
    log.edit_board("B1", light="lamp")
    assert [row["light"] for row in log.dump()["tables"]["pairs"]] == ["lamp", "daylight"]


def test_a_removed_board_lies_beside_no_floor(log: Logbook, tmp_path: Path) -> None:
    """Which boards lie beside the floor in a photo is told of those that are shown, each with its own photo."""
    for name in ("one.jpg", "two.jpg"):
        seen = measurement(keep(log, tmp_path, name), "board", "floor")
        pair = DirectPair.of(seen)
        assert pair is not None
        log.add_board(ASH, [seen], [pair])
    one, two = (log.board(number).measurements[0].photo for number in ("B1", "B2"))
    assert log.boards_beside_floor() == {("B1", one), ("B2", two)}
    log.remove("B1")
    assert log.boards_beside_floor() == {("B2", two)}


def test_a_floor_spots_light_moves_no_board_of_that_number(log: Logbook, tmp_path: Path) -> None:
    """Correcting the light of F1 leaves the measurements and pairs of B1 in theirs."""
    seen = measurement(keep(log, tmp_path, "one.jpg"), "board", "floor")
    pair = DirectPair.of(seen)
    assert pair is not None
    log.add_board(ASH, [seen], [pair])
    log.add_floor_spots(SPOT, [[measurement(keep(log, tmp_path, "two.jpg"), "floor")]])
    log.edit_floor_spot("F1", light="lamp")
    tables = log.dump()["tables"]
    assert [row["light"] for row in tables["pairs"]] == ["daylight"]
    assert [row["light"] for row in tables["measurements"]] == ["daylight", "lamp"]
