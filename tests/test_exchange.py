"""Archives and backups: all of a logbook goes out and comes in again, nothing twice and nothing lost."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from logbook_makers import DAY, measurement, trial
from PIL import ExifTags, Image

from finishlab.board import BoardRecord, FloorSpotRecord, PhotoRecord
from finishlab.cli.lazy import finishlab
from finishlab.errors import LogbookError, OutputError
from finishlab.files import LOGBOOK_FILE
from finishlab.finish import ColourStep, Finish
from finishlab.imaging.greys import greys_of_readings
from finishlab.logbook.archive import export_logbook, import_logbook, json_schema, upgraded
from finishlab.logbook.audit import TABLES
from finishlab.logbook.merge import checked
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.recipe import Can
from finishlab.stair.records import Flight, Part, PartEvent, PartSizes, StoredStair


def _real_photo(folder: Path, name: str, *, place: bool = True) -> tuple[Path, PhotoRecord]:
    """Write a small JPEG that names the place it was taken at, and return it with its record."""
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Acme"
    if place:
        exif[ExifTags.IFD.GPSInfo] = {1: "N", 2: (48.0, 51.0, 29.6), 3: "E", 4: (2.0, 17.0, 40.2)}
    folder.mkdir(parents=True, exist_ok=True)
    pixels = np.random.default_rng(list(name.encode())).integers(0, 255, (30, 40, 3), dtype=np.uint8)
    path = folder / name
    Image.fromarray(pixels).save(path, "JPEG", exif=exif)
    return path, PhotoRecord(hashlib.sha256(path.read_bytes()).hexdigest(), name, 40, 30, suffix=".jpg")


def _kept(log: Logbook, folder: Path, name: str) -> PhotoRecord:
    path, photo = _real_photo(folder, name)
    log.keep_photo(path, photo)
    return photo


def _fill(log: Logbook, folder: Path) -> None:
    """Log boards with repeats and a pair, floor spots, edits, a removal, a learned strip."""
    for i, lightness in enumerate((50.0, 55.0, 60.0)):
        path, photo = _real_photo(folder, f"board{i}.jpg", place=i != 1)
        log.keep_photo(path, photo)
        both = measurement(photo, "board", "floor", lightness=lightness)
        pair = DirectPair.of(both)
        assert pair is not None
        log.add_board(BoardRecord("ash", note="=1+1", date=DAY), [both], [pair])
    log.edit_board("B2", stain="walnut", coats=2)
    log.remove("B3")
    log.add_floor_spots(FloorSpotRecord("door", date=DAY), [[measurement(_kept(log, folder, "floor.jpg"), "floor")]])
    log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
    log.add_trials([trial("a" * 16), trial("b" * 16)])
    log.remove("H2")


def _fill_stair(log: Logbook, folder: Path) -> None:
    """Log a can, an approved recipe, a flight with a landing, coats, a deviation and a measured tread."""
    log.add_can(Can("water stain", "walnut", lot="W-204", size_l=1.0, left_l=0.3, place="cellar", date=DAY))
    log.edit_board("B1", finish=Finish(steps=(ColourStep("water", colour="walnut", can_number=1),)))
    log.approve("B1", reason="closest", date=DAY)
    treads = [Part(1, "tread", place, sizes=PartSizes(front=914, depth=292), recipe_number=1) for place in (1, 2)]
    landing = Part(2, "landing board", 1, species="ash")
    log.add_flights({1: Flight(risers=3), 2: Flight("landing")}, [*treads, landing])
    first, second, _ = (part.ident for part in log.stair_parts())
    coat = PartEvent("coat", DAY, "stain", 1, 1, 1, deviation="wiped late")
    log.log_events([(first, PartEvent("sanded", DAY)), (first, coat), (second, coat)])
    seen = measurement(_kept(log, folder, "tread.jpg"))
    log.add_part_measurements([(first, [seen], PartEvent("measured", DAY))])


def _sanded_flight(log: Logbook) -> None:
    """Log a flight of four sanded treads, whose keys those of `_fill_stair` meet."""
    log.add_flights({1: Flight(risers=5)}, [Part(1, "tread", place) for place in range(1, 5)])
    log.log_events([(part.ident, PartEvent("sanded", DAY)) for part in log.stair_parts()])


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that `filled` copies: a logbook beside the photos of its camera."""
    folder = tmp_path_factory.mktemp("filled")
    with Logbook.open(folder / "log", who="ada") as log:
        _fill(log, folder / "camera")
        _fill_stair(log, folder / "camera")
    return folder


@pytest.fixture
def filled(tmp_path: Path, filled_once: Path) -> Path:
    """Return the folder of a logbook with something of everything that measuring logs."""
    shutil.copytree(filled_once, tmp_path, dirs_exist_ok=True)
    return tmp_path / "log"


def _tables(archive: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(archive) as file:
        return {name: file.read(name) for name in file.namelist()}


def test_out_in_and_out_again_is_the_same_archive(filled: Path, tmp_path: Path) -> None:
    """An archive taken into an empty logbook and written again is the same, byte for byte, photos too."""
    with Logbook.open(filled) as log:
        export_logbook(log, tmp_path / "one.zip")
    with Logbook.open(tmp_path / "other") as other:
        import_logbook(other, tmp_path / "one.zip")
        export_logbook(other, tmp_path / "two.zip")
    assert _tables(tmp_path / "one.zip") == _tables(tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_what_was_taken_in_is_what_was_logged(filled: Path, tmp_path: Path) -> None:
    """Boards, spots, measurements, pairs, greys and history read the same after the way through an archive."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        export_logbook(log, tmp_path / "a.zip")
        import_logbook(other, tmp_path / "a.zip")
        assert other.boards() == log.boards()
        assert other.floor_spots() == log.floor_spots()
        assert other.learned_greys() == log.learned_greys()
        assert other.stair() == log.stair()
        assert other.recipes() == log.recipes()
        assert other.cans() == log.cans()
        assert other.trials() == log.trials()
        assert other.standards() == log.standards()
        for number in ("B1", "B2", "B3", "F1", "R1", "C1", "H2", "standard"):
            assert [c.what for c in other.history(number)] == [c.what for c in log.history(number)]
            assert [c.after for c in other.history(number)] == [c.after for c in log.history(number)]


def test_taken_in_twice_nothing_is_double(filled: Path, tmp_path: Path) -> None:
    """The second time all is known again; the archive written afterwards is the same."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        export_logbook(log, tmp_path / "a.zip")
        first = import_logbook(other, tmp_path / "a.zip")
        second = import_logbook(other, tmp_path / "a.zip")
        own = import_logbook(log, tmp_path / "a.zip")
        export_logbook(other, tmp_path / "b.zip")
    assert first.added["boards"] == 3
    assert second.added == own.added == {}
    assert [*second.renumbered, *second.kept, *second.renewed] == []
    assert _tables(tmp_path / "a.zip") == _tables(tmp_path / "b.zip")


def test_a_used_logbook_keeps_its_own_and_gets_the_rest(filled: Path, tmp_path: Path) -> None:
    """Numbers that are taken are given anew and told; the history of a renumbered board follows it."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        path, photo = _real_photo(tmp_path / "more", "own.jpg")
        other.keep_photo(path, photo)
        mine = other.add_board(BoardRecord("oak", date=DAY), [measurement(photo)])
        other.add_trials([trial("c" * 16)])
        export_logbook(log, tmp_path / "a.zip")
        done = import_logbook(other, tmp_path / "a.zip")
        given = [("B1", "B2"), ("B2", "B3"), ("B3", "B4"), ("H1", "H2"), ("H2", "H3")]
        assert sorted(done.renumbered) == given
        assert [each.record.photos for each in other.trials()] == [("c" * 16,), ("a" * 16,)]
        assert [c.what for c in other.history("H3")] == ["add", "remove", "import"]
        assert other.board("B1") == mine
        assert [b.number for b in other.boards()] == ["B1", "B2", "B3"]
        assert other.board("B3").record == log.board("B2").record
        assert other.board("B3").measurements == log.board("B2").measurements
        assert other.board("B3").pairs == log.board("B2").pairs
        assert [c.what for c in other.history("B3")] == ["add", "edit", "import"]
        _, next_photo = _real_photo(tmp_path / "more", "later.jpg")
        other.keep_photo(tmp_path / "more" / "later.jpg", next_photo)
        assert other.add_board(BoardRecord("elm", date=DAY), [measurement(next_photo)]).number == "B5"


def test_a_second_stair_gets_numbers_of_its_own(filled: Path, tmp_path: Path) -> None:
    """A flight and a landing whose numbers are taken get the next ones, and their parts' history goes with them."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        other.add_flights({1: Flight(risers=2)}, [Part(1, "tread", 1)])
        other.add_can(Can("oil stain", "teak", date=DAY))
        export_logbook(log, tmp_path / "a.zip")
        done = import_logbook(other, tmp_path / "a.zip")
        assert ("flight 1", "flight 2") in done.renumbered
        assert ("C1", "C2") in done.renumbered
        assert [part.code for part in other.stair_parts()] == ["1.T1", "L1.LB1", "2.T1", "2.T2"]
        assert [c.what for c in other.history("2.T1")] == [c.what for c in log.history("1.T1")]
        events = [each for each in other.stair().events if each.kind == "coat"]
        assert {each.batch_number for each in events} == {2}
        finish = other.board("B1").record.finish
        assert finish is not None
        assert finish.cans() == (2,)
        assert import_logbook(other, tmp_path / "a.zip").added == {}


@pytest.mark.parametrize(
    ("change", "back"),
    [
        ("edit", lambda stair: {part.code: part.record.note for part in stair.parts}),
        ("edit-event", lambda stair: sorted((each.kind, each.deviation or "") for each in stair.events)),
        ("log", lambda stair: sorted((each.kind, each.coat or 0) for each in stair.events)),
        ("remove-event", lambda stair: sorted((each.kind, each.date) for each in stair.events)),
        ("remove", lambda stair: [part.code for part in stair.parts]),
    ],
)
def test_undo_after_an_import_touches_the_part_it_names(
    filled: Path, tmp_path: Path, change: str, back: Callable[[StoredStair], object]
) -> None:
    """A change of a renumbered tread is taken back on that tread; the stair that was here first stays as it was."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        _sanded_flight(other)
        export_logbook(log, tmp_path / "before.zip")
        tread = log.stair_parts()[0].ident
        coat, measured = (next(e for e in log.stair().events if e.kind == kind) for kind in ("coat", "measured"))
        if change == "edit":
            log.edit_parts([tread], note="creaks")
        elif change == "edit-event":
            log.edit_events([coat.ident], deviation="thinned")
        elif change == "log":
            log.log_events([(tread, PartEvent("fitted", DAY))])
        elif change == "remove-event":
            log.remove_events([measured.ident])
        else:
            log.remove_parts([tread])
        export_logbook(log, tmp_path / "after.zip")
        with Logbook.open(tmp_path / "third") as third:
            _sanded_flight(third)
            import_logbook(third, tmp_path / "before.zip")
            wanted = back(third.stair())
        import_logbook(other, tmp_path / "after.zip")
        here = [part for part in other.stair_parts() if part.code.startswith("1.")]
        assert back(other.stair()) != wanted
        assert [c.what for c in other.history("2.T1")][-1] == change
        other.undo("2.T1")
        assert back(other.stair()) == wanted
        assert [part for part in other.stair_parts() if part.code.startswith("1.")] == here


def test_what_one_side_changed_is_brought_up_to_date(filled: Path, tmp_path: Path) -> None:
    """A change made on one side goes over; one that only the logbook has stays; both at once are told and kept."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        export_logbook(log, tmp_path / "a.zip")
        import_logbook(other, tmp_path / "a.zip")
        log.edit_board("B1", stain="cherry")
        other.edit_board("B2", stain="teak")
        export_logbook(log, tmp_path / "b.zip")
        done = import_logbook(other, tmp_path / "b.zip")
        assert done.renewed == ["B1"]
        assert done.kept == []
        assert other.board("B1").record.stain == "cherry"
        assert other.board("B2").record.stain == "teak"
        log.edit_board("B2", stain="ebony")
        export_logbook(log, tmp_path / "c.zip")
        assert import_logbook(other, tmp_path / "c.zip").kept == ["B2"]
        assert other.board("B2").record.stain == "teak"
        last = other.history("B2")[-1]
        assert any(c.after is not None and c.after.get("stain") == "ebony" for c in other.history("B2"))
        assert last.what in ("edit", "import")


def test_photos_leave_without_their_place_and_the_originals_stay(filled: Path, tmp_path: Path) -> None:
    """No photo of an archive holds GPS tags; the logbook's own files are not touched, and copies are known again."""
    with Logbook.open(filled) as log:
        before = {p: p.read_bytes() for p in filled.rglob("*.jpg")}
        export_logbook(log, tmp_path / "a.zip")
    assert {p: p.read_bytes() for p in filled.rglob("*.jpg")} == before
    with zipfile.ZipFile(tmp_path / "a.zip") as file:
        photos = [name for name in file.namelist() if name.startswith("photos/")]
        assert len(photos) == 5
        for name in photos:
            content = file.read(name)
            if content.startswith(b"\xff\xd8"):
                exif = Image.open(io.BytesIO(content)).getexif()
                assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
                assert exif[ExifTags.Base.Make] == "Acme"
    with Logbook.open(tmp_path / "other") as other:
        import_logbook(other, tmp_path / "a.zip")
        kept = other.photo_path(next(iter(other.boards()[0].measurements)).photo)
        assert b"GPS" not in kept.read_bytes()
        # The very photo logged again is the same one, and its original takes the copy's place.
        path = tmp_path / "camera" / "board0.jpg"
        _, record = _real_photo(tmp_path / "again", "board0.jpg")
        assert other.keep_photo(path, record) == kept
        assert kept.read_bytes() == path.read_bytes()


def test_the_tables_follow_the_published_schema(filled: Path, tmp_path: Path) -> None:
    """The JSON of an archive passes its JSON Schema, in the archive and in the documentation, which are one."""
    with Logbook.open(filled) as log:
        export_logbook(log, tmp_path / "a.zip")
    inside = _tables(tmp_path / "a.zip")
    schema = json.loads(inside["logbook.schema.json"])
    assert schema == json_schema()
    assert (
        json.loads((Path(__file__).parents[1] / "docs" / "logbook.schema.json").read_text(encoding="utf-8")) == schema
    )
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(json.loads(inside["logbook.json"]), schema, jsonschema.Draft202012Validator)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"format": "finishlab/logbook/1", "tables_at": "?", "tables": {}}, schema)


def test_every_table_can_be_known_again() -> None:
    """A new table cannot be forgotten: its rows have a name of their own, or it is one of the few joined otherwise."""
    others = {"photos", "strips", "counters", "cautions", "row_images"}
    assert {each.name for each in TABLES.values() if "uuid" not in each.columns} == others


def test_csv_tables_hold_the_same_and_start_no_formula(filled: Path, tmp_path: Path) -> None:
    """The CSV of boards has a line a board; a note that looks like a formula is marked as text."""
    with Logbook.open(filled) as log:
        export_logbook(log, tmp_path / "a.zip")
    text = _tables(tmp_path / "a.zip")["tables/boards.csv"].decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["number"] for row in rows] == ["1", "2", "3"]
    assert rows[1]["stain"] == "walnut"
    assert rows[0]["note"] == "'=1+1"


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (lambda d: d["tables"]["boards"][0].update(created="yesterday"), "archive-damaged"),
        (lambda d: d["tables"]["boards"][0].update(number="one"), "archive-damaged"),
        (lambda d: d["tables"]["boards"][0].update(price=3), "archive-damaged"),
        (lambda d: d["tables"]["boards"][0].pop("species"), "archive-damaged"),
        (lambda d: d["tables"]["photos"][0].update(sha256="../../../etc/passwd"), "archive-damaged"),
        (lambda d: d["tables"]["photos"][0].update(suffix="/../x"), "archive-damaged"),
        (lambda d: d["tables"]["photos"].clear(), "archive-damaged"),
        (lambda d: d["tables"]["boards"][0].update(uuid=None), "archive-damaged"),
        (lambda d: d["tables"]["row_images"][0].update(table_name="shelves"), "archive-damaged"),
        (lambda d: d["tables"]["row_images"][0].update(after={"price": 3}), "archive-damaged"),
        (lambda d: d["tables"]["row_images"][0].update(change_id=99), "archive-damaged"),
        (lambda d: d.update(tables_at="9999_later"), "archive-newer"),
        (lambda d: d.update(tables=[1]), "archive-damaged"),
        (lambda d: d["tables"].update(boards={"0": {}}), "archive-damaged"),
        (lambda d: d["tables"].update(boards=[7]), "archive-damaged"),
        (lambda d: d.update(format="another"), "archive-damaged"),
    ],
)
def test_an_archive_that_was_spoilt_changes_nothing(filled: Path, tmp_path: Path, spoil: Any, code: str) -> None:
    """What does not fit the tables is refused in a sentence, and the logbook is as it was."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        document = json.loads(json.dumps(log.dump()))
        spoil(document)
        before = other.dump()
        with pytest.raises(LogbookError) as caught:
            other.merge(checked(upgraded(document)))
        assert caught.value.code == code
        assert other.dump() == before


def test_a_caution_shown_on_either_side_is_shown(tmp_path: Path) -> None:
    """Taken in from another logbook, the later day on which a caution was shown holds, whichever side it stood on."""
    later, early = DAY, DAY - dt.timedelta(days=3)
    with Logbook.open(tmp_path / "one") as one, Logbook.open(tmp_path / "two") as two:
        one.cautions_due(["rags"], later)
        one.cautions_due(["dust"], early)
        two.cautions_due(["rags"], early)
        two.cautions_due(["dust"], later)
        two.merge(checked(upgraded(one.dump())))
        assert two.cautions_due(["rags", "dust"], later) == ()


def test_what_may_be_empty_may_be_left_out(filled: Path, tmp_path: Path) -> None:
    """An archive whose rows leave out what is empty, as another program may write it, comes in as it is."""
    with Logbook.open(filled) as log, Logbook.open(tmp_path / "other") as other:
        document = log.dump()
        for rows in document["tables"].values():
            rows[:] = [{name: value for name, value in row.items() if value is not None} for row in rows]
        other.merge(checked(upgraded(document)))
        assert other.dump() == log.dump()


def test_a_photo_that_was_changed_in_the_archive_is_refused(filled: Path, tmp_path: Path) -> None:
    """A photo whose bytes are not those its entry names does not get into a logbook."""
    with Logbook.open(filled) as log:
        export_logbook(log, tmp_path / "a.zip")
    inside = _tables(tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as file:
        for name, content in inside.items():
            file.writestr(name, content + b"x" if name.startswith("photos/") else content)
    with Logbook.open(tmp_path / "other") as other:
        with pytest.raises(LogbookError) as caught:
            import_logbook(other, tmp_path / "b.zip")
        assert caught.value.code == "photo-changed"
        assert other.boards() == []


def test_an_archive_of_an_older_logbook_is_taken_in(tmp_path: Path) -> None:
    """Tables as an older program wrote them, without today's columns and tables, come in with all they hold."""
    with Logbook.open(tmp_path / "log", who="ada") as log, Logbook.open(tmp_path / "other") as other:
        _fill(log, tmp_path / "camera")
        document = json.loads(json.dumps(log.dump()))
        old = {
            "boards": ("state", "maker", "recipe_number", "finish"),
            "photos": ("kept_sha256",),
            "measurements": ("part_id",),
        }
        for table, columns in old.items():
            for row in document["tables"][table]:
                for column in columns:
                    del row[column]
        first = {
            "boards",
            "floor_spots",
            "photos",
            "strips",
            "measurements",
            "pairs",
            "changes",
            "counters",
            "strip_greys",
        }
        document["tables"] = {name: rows for name, rows in document["tables"].items() if name in first}
        document["tables"]["counters"] = [
            c for c in document["tables"]["counters"] if c["name"] in ("boards", "floor_spots")
        ]
        for rows in document["tables"].values():
            for row in rows:
                row.pop("uuid", None)
        document["tables_at"] = "0002_strip_greys"
        other.merge(checked(upgraded(document)))
        assert other.boards() == log.boards()
        assert other.floor_spots() == log.floor_spots()
        assert other.history("B2") == log.history("B2")


def test_a_backup_is_a_logbook_while_the_first_is_in_use(filled: Path, tmp_path: Path) -> None:
    """A backup made amid an open transaction holds what was logged before; naming it again brings it up to date."""
    with Logbook.open(filled) as log:
        busy = sqlite3.connect(filled / LOGBOOK_FILE, isolation_level=None)
        busy.execute("BEGIN IMMEDIATE")
        busy.execute("UPDATE boards SET species = 'unfinished'")
        log.backup(tmp_path / "copy")
        busy.execute("ROLLBACK")
        busy.close()
        with Logbook.open(tmp_path / "copy") as copy:
            assert copy.boards() == log.boards()
            assert copy.photo_path(log.boards()[0].measurements[0].photo).is_file()
        log.edit_board("B1", note="later")
        log.backup(tmp_path / "copy")
        with Logbook.open(tmp_path / "copy") as copy:
            assert copy.boards() == log.boards()


def test_a_backup_never_takes_the_place_of_something_else(filled: Path, tmp_path: Path) -> None:
    """A folder with other files, another logbook, or the logbook's own folder is refused and left as it is."""
    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "letter.txt").write_text("dear")
    path, photo = _real_photo(tmp_path / "more", "own.jpg")
    with Logbook.open(tmp_path / "another") as another:
        another.keep_photo(path, photo)
        another.add_board(BoardRecord("oak", date=DAY), [measurement(photo)])
    with Logbook.open(filled) as log:
        for folder in (tmp_path / "files", tmp_path / "another", filled / "inside", filled):
            with pytest.raises(OutputError) as caught:
                log.backup(folder)
            assert caught.value.code == "backup-elsewhere"
    with Logbook.open(tmp_path / "another") as another:
        assert [b.record.species for b in another.boards()] == ["oak"]


def test_a_photo_nobody_can_clean_stays_and_is_named(filled: Path, tmp_path: Path) -> None:
    """A kept file that is no whole photo is not given away, one that was overwritten is not taken for the photo."""
    kept = sorted(filled.rglob("*.jpg"))
    kept[0].write_text("a shopping list")
    with Logbook.open(filled) as log:
        log.keep_photo(*_textual(tmp_path))
        log.edit_board("B1", note="written with it")
        done = export_logbook(log, tmp_path / "a.zip")
    assert len(done.missing) == 1
    assert done.kept_back == ("odd.jpg",)
    with zipfile.ZipFile(tmp_path / "a.zip") as file:
        assert b"a shopping list" not in b"".join(file.read(name) for name in file.namelist() if "photos/" in name)


def _textual(folder: Path) -> tuple[Path, PhotoRecord]:
    path = folder / "odd.jpg"
    path.write_text("no photo at all")
    return path, PhotoRecord(hashlib.sha256(path.read_bytes()).hexdigest(), path.name, 40, 30, suffix=".jpg")


def test_the_commands_say_what_they_did(filled: Path, tmp_path: Path) -> None:
    """Export, import and backup work from the command line and tell counts; a wrong file is told with exit code 6."""
    run = CliRunner().invoke
    archive, other = str(tmp_path / "a.zip"), str(tmp_path / "other")
    done = run(finishlab, ["--logbook", str(filled), "export", archive])
    assert done.exit_code == 0
    assert "2 boards, 1 floor spot and 5 photos" in done.stderr
    done = run(finishlab, ["--logbook", other, "import", archive])
    assert "3 boards, 1 floor spot" in done.stderr
    done = run(finishlab, ["--logbook", other, "import", archive, "--json"])
    assert json.loads(done.stdout) == {
        "format": "finishlab/import/1",
        "colour_space": "CIELAB D65 2deg",
        "added": {},
        "renewed": [],
        "kept": [],
        "renumbered": [],
    }
    done = run(finishlab, ["--logbook", other, "backup", str(tmp_path / "copy")])
    assert "5 photos" in done.stderr
    with Logbook.open(tmp_path / "copy") as copy:
        assert copy.dump()["tables"]["boards"][0]["created"] <= dt.datetime.now(tz=dt.UTC).isoformat()
    (tmp_path / "text.zip").write_text("no archive")
    done = run(finishlab, ["--logbook", other, "import", str(tmp_path / "text.zip")])
    assert done.exit_code == 6
    assert "is no archive of a logbook" in done.stderr
