"""Records: what people log, tidied and checked when built."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from dataclasses import FrozenInstanceError, fields, replace
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from finishlab import board, record
from finishlab.board import BoardRecord, FloorSpotRecord, PhotoRecord
from finishlab.errors import ExitCode, UsageError
from finishlab.record import normalise_light, parse_date

DAY = dt.date(2024, 5, 31)
SHA = "0123456789abcdef" * 4
ASH: dict[str, Any] = {"species": "ash", "date": DAY}
PHOTO: dict[str, Any] = {"sha256": SHA, "file_name": "a.jpg", "width": 4, "height": 3}
texts = st.text(max_size=record.SHORT_TEXT // 4)


@pytest.mark.parametrize(
    ("given_light", "kept"),
    [
        (None, "daylight"),
        ("", "daylight"),
        ("  ", "daylight"),
        ("Evening\t Lamp ", "evening lamp"),
        ("DAYLIGHT", "daylight"),
    ],
)
def test_a_light_has_one_spelling(given_light: str | None, kept: str) -> None:
    """Case and white space do not make two lights; none named is daylight."""
    assert normalise_light(given_light) == kept


@given(texts)
def test_normalising_a_light_twice_changes_nothing(text: str) -> None:
    """The normal form of a light is its own normal form, whatever was typed."""
    once = normalise_light(text)
    assert normalise_light(once) == once
    assert once == once.strip() != ""


def test_a_board_is_tidied() -> None:
    """White space is collapsed, blank text is None, a note keeps its lines, an ISO text becomes a date."""
    board = BoardRecord(
        " white  ash ",
        stain="",
        coats=2,
        topcoat=" water\nPU",
        light="Lamp",
        note=" one \n\n two\x00 ",
        date="2024-05-31",  # type: ignore[arg-type]  # what a caller without types may pass
    )
    assert (board.species, board.stain, board.topcoat, board.light) == ("white ash", None, "water PU", "lamp")
    assert board.note == "one\n\ntwo"
    assert board.date == DAY
    assert board.purpose == "candidate"


def test_a_board_logged_today_needs_no_date() -> None:
    """Without a date the record is of today."""
    before = record.today()
    made = BoardRecord("ash").date
    assert before <= made <= record.today()


@pytest.mark.parametrize("coats", [0, 1, board.MAX_COATS, None])
def test_coats_within_the_limits_are_kept(coats: int | None) -> None:
    """Zero to eight coats, or none named, are possible."""
    assert BoardRecord("ash", coats=coats, date=DAY).coats == coats


@pytest.mark.parametrize(
    ("values", "code", "says"),
    [
        ({"species": ""}, "no-species", "species"),
        ({"species": " \t"}, "no-species", "species"),
        ({"coats": -1}, "coats-out-of-range", "-1 coats"),
        ({"coats": 9}, "coats-out-of-range", "9 coats"),
        ({"coats": 1.5}, "coats-out-of-range", "1.5 coats"),
        ({"coats": True}, "coats-out-of-range", "True coats"),
        ({"purpose": "toy"}, "unknown-purpose", "toy"),
        ({"date": "yesterday"}, "bad-date", "yesterday"),
        ({"date": dt.date(2024, 6, 1), "latest": DAY}, "future-date", "2024-06-01"),
        ({"stain": "x" * 201}, "text-too-long", "201 characters"),
        ({"note": "x" * 4001}, "text-too-long", "4001 characters"),
        ({"light": "x" * 201}, "text-too-long", "light"),
    ],
)
def test_a_board_that_cannot_be_is_refused(values: dict[str, Any], code: str, says: str) -> None:
    """Each impossible value is refused as wrong usage, with a sentence that names it and a hint."""
    with pytest.raises(UsageError) as caught:
        BoardRecord(**ASH | values)
    assert caught.value.code == code
    assert says in caught.value.message
    assert caught.value.hint
    assert caught.value.exit_code == ExitCode.USAGE


def test_a_date_after_today_is_refused() -> None:
    """Without another limit, tomorrow is the future."""
    with pytest.raises(UsageError, match="future"):
        FloorSpotRecord(date=record.today() + dt.timedelta(days=1))


def test_a_moment_counts_as_its_day() -> None:
    """A date and time given for a date keeps its day only."""
    assert FloorSpotRecord(date=dt.datetime(2024, 5, 31, 12, tzinfo=dt.UTC)).date == DAY
    assert type(FloorSpotRecord(date=dt.datetime(2024, 5, 31, 12, tzinfo=dt.UTC)).date) is dt.date


def test_an_unknown_surface_is_refused() -> None:
    """A floor is one of the listed surfaces, and the hint lists them."""
    with pytest.raises(UsageError) as caught:
        FloorSpotRecord(surface="lava", date=DAY)  # type: ignore[arg-type]  # the mistake under test
    assert caught.value.code == "unknown-surface"
    assert all(name in caught.value.hint for name in board.SURFACES)


def test_records_cannot_be_changed() -> None:
    """A record is frozen; a changed copy is checked anew."""
    board = BoardRecord("ash", date=DAY)
    with pytest.raises(FrozenInstanceError):
        board.species = "oak"  # type: ignore[misc]  # the mistake under test
    with pytest.raises(UsageError):
        replace(board, coats=99, latest=None)


boards = st.builds(
    BoardRecord,
    species=texts.filter(lambda text: text.isprintable() and text.strip() != ""),
    stain=st.none() | texts,
    coats=st.none() | st.integers(0, board.MAX_COATS),
    topcoat=st.none() | texts,
    light=texts,
    note=st.none() | texts,
    date=st.dates(max_value=DAY),
    purpose=st.sampled_from(board.PURPOSES),
)
spots = st.builds(
    FloorSpotRecord,
    spot=st.none() | texts,
    surface=st.sampled_from(board.SURFACES),
    light=texts,
    note=st.none() | texts,
    date=st.dates(max_value=DAY),
)


@given(boards)
def test_a_board_record_round_trips(board: BoardRecord) -> None:
    """A board's JSON form reads back as the same record, with one entry a field."""
    assert BoardRecord.from_dict(board.as_dict()) == board
    assert list(board.as_dict()) == [f.name for f in fields(BoardRecord)]


@given(spots)
def test_a_spot_record_round_trips(spot: FloorSpotRecord) -> None:
    """A floor spot's JSON form reads back as the same record."""
    assert FloorSpotRecord.from_dict(spot.as_dict()) == spot


@given(st.text(st.characters(codec=None), max_size=40))
@example("\udcff a \x00 b")
def test_any_text_can_be_stored(text: str) -> None:
    """Whatever a terminal passes on (half surrogates, control characters), what is kept is UTF-8 without NUL."""
    spot = FloorSpotRecord(spot=text, note=text, date=DAY)
    for kept in (spot.spot or "", spot.note or ""):
        assert b"\x00" not in kept.encode("utf-8")


def test_a_stored_record_outlives_a_clock_set_back() -> None:
    """Reading back does not hold a date against today, so a wrong clock locks nothing."""
    later = record.today() + dt.timedelta(days=3)
    board = BoardRecord("ash", date=later, latest=dt.date.max)
    assert BoardRecord.from_dict(board.as_dict()).date == later


def test_a_photo_record_is_tidied_never_refused_for_its_names() -> None:
    """The folder is dropped from the file's name, blank camera names are None, overlong ones are cut."""
    photo = PhotoRecord(SHA, "C:\\photos\\IMG 1.JPG", 4, 3, camera_make=" ", camera_model="M" * 300, suffix=".JPG")
    assert (photo.file_name, photo.suffix, photo.camera_make) == ("IMG 1.JPG", ".jpg", None)
    assert photo.camera_model == "M" * 200
    assert PhotoRecord(SHA, "a/", 4, 3).file_name == "photo"
    assert photo.photo_id == SHA[:16]


def test_a_photos_time_is_iso_in_json() -> None:
    """The camera's time is written as ISO 8601, with a zone only if the camera named one."""
    assert PhotoRecord(SHA, "a.jpg", 4, 3, dt.datetime(2024, 5, 31, 9, 8)).as_dict()["taken"] == "2024-05-31T09:08:00"  # noqa: DTZ001 - a camera without a zone


@pytest.mark.parametrize(
    "values",
    [{"sha256": "AB"}, {"sha256": SHA.upper()}, {"width": 0}, {"height": -1}, {"suffix": "../x"}, {"suffix": "jpg"}],
)
def test_a_photo_that_cannot_be_is_refused(values: dict[str, Any]) -> None:
    """A hash, size or suffix that no photo has is refused: the suffix becomes part of a path."""
    with pytest.raises(ValueError, match=r"sha256|pixel|suffix"):
        PhotoRecord(**PHOTO | values)


def test_dates_are_iso() -> None:
    """A date is read from its ISO form, blanks around it left out."""
    assert parse_date(" 2024-05-31 ") == DAY
    with pytest.raises(UsageError, match="31/05/2024"):
        parse_date("31/05/2024")


def test_records_are_light() -> None:
    """Importing the records loads neither NumPy nor the database library."""
    code = "import sys, finishlab.board; print(sorted({'numpy', 'sqlalchemy', 'cv2'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
