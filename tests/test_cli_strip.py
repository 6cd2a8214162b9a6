"""``finishlab strip`` and its commands, and ``finishlab remeasure``, as a user types them. Photos are rendered."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from conftest import STRIP_NUMBER, Photos, Run
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord
from finishlab.logbook.store import Logbook
from finishlab.measuring.logged import why_moved

TYPED = ("--black", "24.1", "--lightness", "3:55.2", "--lightness", "5:73.0", "--white", "92.0")


def document(text: str) -> dict[str, Any]:
    """Return the JSON document on stdout."""
    found: dict[str, Any] = json.loads(text)
    return found


def learned(run: Run, number: int = STRIP_NUMBER) -> dict[str, Any]:
    """Learn a strip from typed readings; return its entry."""
    done = run("strip", "learn", "--number", number, *TYPED, "--json")
    assert done.exit_code == 0, done.stderr
    (entry,) = document(done.stdout)["strips"]
    assert isinstance(entry, dict)
    return entry


def test_typed_greys_are_kept_listed_shown_and_forgotten(run: Run) -> None:
    """Typed readings are learned, and each command says them; forgotten, they stay in the history."""
    entry = learned(run)
    assert entry["number"] == STRIP_NUMBER
    assert entry["source"] == "typed"
    assert entry["lightness"][3] == pytest.approx(55.2, abs=0.3)
    assert len(entry["standard_error"]) == 8
    listed = document(run("strip", "list", "--json").stdout)
    assert listed["format"] == "finishlab/strip-greys/1"
    assert listed["strips"] == [entry]
    assert "0412" in run("strip", "list").stdout
    shown = run("strip", "show", STRIP_NUMBER)
    assert "readings of an instrument" in shown.stdout
    assert "greys learned by" in shown.stdout
    forgotten = json.loads(run("strip", "forget", STRIP_NUMBER, "--json").stdout)
    assert (forgotten["format"], forgotten["strip"]) == ("finishlab/strip-forgotten/1", STRIP_NUMBER)
    after = document(run("strip", "show", STRIP_NUMBER, "--json").stdout)
    assert after["strips"] == []
    assert after["before"] == [entry]
    assert [each["what"] for each in after["history"]] == ["learn", "forget"]
    assert run("strip", "show", 7).exit_code == 6
    assert "No strip" in run("strip", "list").stderr


def test_the_page_to_print_is_still_written(run: Run, tmp_path: Path) -> None:
    """Called alone the command writes the PDF with its options, as ever; help names both uses."""
    done = run("strip", "--output", tmp_path / "s.pdf", "--paper", "letter", "--number", 9)
    assert done.exit_code == 0
    assert done.stdout == f"{tmp_path / 's.pdf'}\n"
    assert (tmp_path / "s.pdf").read_bytes().startswith(b"%PDF")
    told = run("strip", "--help").stdout
    for word in ("--output", "--layout", "learn", "forget", "Examples"):
        assert word in told


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("learn",), "Neither a photo nor readings"),
        (("learn", "--white", "93"), "has no number"),
        (("learn", "--number", "4", "--lightness", "three:5"), "no reading"),
        (("learn", "--number", "4", "--lightness", "8:50"), "no grey 8"),
        (("learn", "p.jpg", "--grey", "1,1,9,9:50", "--white", "93"), "a way of its own"),
        (("learn", "--number", "4", "--seen", "1:4", "--white", "93"), "a way of its own"),
        (("learn", "--seen", "1:4"), "has no number"),
        (("learn", "--number", "4", "--seen", "one"), "row of the page"),
        (("learn", "--number", "4", "--seen", "9:4"), "rows run from 1"),
        (("learn", "a.jpg", "b.jpg", "--grey", "1,1,9,9:50"), "one photo"),
        (("learn", "--number", "4", "--grey", "1,1,9,9:50"), "one photo"),
        (("learn", "--number", "4", "--white", "93", "--save-picture", "x.gif"), ".svg or .png"),
        (("learn", "--number", "2000", "--white", "93"), "1<=x<=1600"),
        (("--paper", "letter", "list"), "belongs to the page to print"),
        (("wash",), "wash"),
    ],
)
def test_what_cannot_be_meant_is_refused(run: Run, logbook: Path, words: tuple[str, ...], part: str) -> None:
    """A wrong call is a sentence, exit code 2, and nothing learned."""
    done = run("strip", *words)
    assert done.exit_code == 2
    assert part in done.stderr
    assert not done.stdout
    if logbook.exists():
        assert "Nothing is logged" in run("strip", "list").stderr


def test_a_photo_teaches_the_strip(run: Run, photos: Photos) -> None:
    """A grey named in a photo of the strip is learned under the strip's own number, and the talk says how far off."""
    plain = document(run("measure", photos("straight"), "--json").stdout)["photos"][0]
    corners = plain["strip"]["corners"]
    scale = plain["strip"]["px_per_mm"]
    # Bare paper of the strip itself serves as the known grey: the space between the middle tags.
    x, y = corners[0][0] + 90 * scale, corners[0][1] + 21.5 * scale
    area = f"{int(x)},{int(y)},{int(9 * scale)},{int(3.5 * scale)}:94.7"
    done = run("strip", "learn", photos("straight"), "--grey", area, "--json")
    assert done.exit_code == 0, done.stderr
    (entry,) = document(done.stdout)["strips"]
    assert entry["number"] == STRIP_NUMBER
    assert entry["source"] == "photo"
    assert entry["lightness"][7] == pytest.approx(94.7, abs=0.6)
    assert "known greys come out" in done.stderr


def test_what_photos_say_of_a_strip_is_shown(run: Run, photos: Photos) -> None:
    """Of a strip nobody learned ``strip show`` tells how many logged photos say something of it, and what."""
    assert run("strip", "show", STRIP_NUMBER).exit_code != 0
    assert run("floor", "add", photos("floor1"), photos("pair")).exit_code == 0
    shown = document(run("strip", "show", STRIP_NUMBER, "--json").stdout)
    assert shown["strips"] == []
    assert shown["photographed"]["photos"] == 2
    assert shown["photographed"]["lightness"] == sorted(shown["photographed"]["lightness"])
    told = run("strip", "show", STRIP_NUMBER).stdout
    assert "2 photos logged beside it say that grey 3 is" in told
    assert "finishlab strip learn PHOTO" in told
    assert "finishlab remeasure" in told
    learned(run)
    assert document(run("strip", "show", STRIP_NUMBER, "--json").stdout)["photographed"] is None


def test_measuring_uses_what_was_learned(run: Run, photos: Photos, logbook: Path) -> None:
    """``measure`` makes no logbook; where there is one, the strip's learned greys move the colour."""
    before = document(run("measure", photos("straight"), "--json").stdout)["photos"][0]
    assert not logbook.exists()
    learned(run)
    after = document(run("measure", photos("straight"), "--json").stdout)["photos"][0]
    assert after["fields"]["board"]["lab"] != before["fields"]["board"]["lab"]
    run("strip", "forget", STRIP_NUMBER)
    again = document(run("measure", photos("straight"), "--json").stdout)["photos"][0]
    assert again == before


def test_measuring_beside_a_broken_logbook_is_told(run: Run, photos: Photos, logbook: Path) -> None:
    """A logbook that cannot be read does not stop ``measure``; that its greys are not used is said."""
    logbook.mkdir()
    (logbook / "logbook.db").write_bytes(b"not a database, but long enough to be taken for a file of one" * 40)
    done = run("measure", photos("straight"), "--json")
    assert done.exit_code == 0
    assert "are not used" in done.stderr


def test_remeasuring_uses_todays_knowledge(run: Run, photos: Photos) -> None:
    """After learning, ranking doubts until the older photos are measured again; the old figures stay in the history."""
    assert run("floor", "add", photos("floor1")).exit_code == 0
    learned(run)
    assert run("board", "add", photos("pair"), "--species", "ash", "--with-floor").exit_code == 0
    ranked = document(run("rank", "--json").stdout)["ranking"][0]
    assert "greys-differ" in {each["code"] for each in ranked["doubts"]}
    old = document(run("floor", "show", "F1", "--json").stdout)["spots"][0]["lab"]
    done = run("remeasure", "F1")
    assert done.exit_code == 0, done.stderr
    assert done.stdout.startswith("F1: L* a* b* moved by ")
    assert f"\n  the print of strip {STRIP_NUMBER} was learned on " in done.stdout
    assert document(run("floor", "show", "F1", "--json").stdout)["spots"][0]["lab"] != old
    ranked = document(run("rank", "--json").stdout)["ranking"][0]
    assert "greys-differ" not in {each["code"] for each in ranked["doubts"]}
    assert "measured again by" in run("floor", "show", "F1").stdout
    everything = document(run("remeasure", "--json").stdout)
    assert [each["number"] for each in everything["subjects"]] == ["F1", "B1"]
    assert all(each["ok"] and each["before"] == each["after"] for each in everything["subjects"])
    assert [each["why"] for each in everything["subjects"]] == [[[]], [[]]]
    assert run("remeasure", "F1").stdout == "F1: as it was\n"


LEARNED = {"key": "1", "source": "typed", "number": 412, "learned": "2024-05-31T10:00:00+00:00"}
PROFILE = {"camera": "Acme", "light": "daylight", "date": "2024-05-31"}


@pytest.mark.parametrize(
    ("was", "now", "why"),
    [
        ({}, {"print": LEARNED}, "the print of strip 412 was learned on 2024-05-31"),
        (
            {"print": LEARNED | {"key": "2"}},
            {"print": LEARNED},
            "the print of strip 412 was learned anew on 2024-05-31",
        ),
        ({"print": LEARNED}, {"print": {"key": "usual"}}, "what was learned of the print of strip 412 holds no more"),
        ({}, {"print": {"key": "usual"}}, "a print nobody learned is taken for another than it was"),
        (
            {"print": {"key": "usual", "photos": 2}},
            {"print": {"key": "usual", "photos": 5}},
            "5 logged photos say how its strip was printed, before 2",
        ),
        ({}, {"camera_profile": PROFILE}, "the camera's profile for daylight was learned on 2024-05-31"),
        ({"camera_profile": PROFILE}, {}, "no profile of the camera is known for daylight"),
        (
            {"camera_profile": PROFILE | {"light": "evening"}},
            {"camera_profile": PROFILE},
            "its light is called daylight now, and not evening",
        ),
        ({"fields": ["board"]}, {"fields": ["board", "floor"]}, "measured by itself now, or with what lies beside it"),
        ({"greys": ["0,0,9,9:50"], "area": "0,0,9,9"}, {"greys": ["0,0,9,9:50"], "area": "0,0,9,9"}, None),
    ],
)
def test_why_a_colour_moved_is_told(
    was: dict[str, object], now: dict[str, object], why: str | None, tmp_path: Path
) -> None:
    """What a stored measurement knows of how it was made is held against how it is made now; the version too."""
    with Logbook.open(tmp_path / "log") as log:
        found = replace(measurement(keep(log, tmp_path)), settings=was)
        (old,) = log.add_board(BoardRecord("ash", date=DAY), [found]).measurements
    told = why_moved(old, now, old.version)
    assert (told[0] if told else None) == why
    assert why_moved(old, was, "9.0") == (f"finishlab {old.version} measured it, now 9.0 does",)


def test_a_subject_whose_photo_is_gone_is_left_as_it_was(run: Run, photos: Photos, logbook: Path) -> None:
    """Without its kept photo a board keeps its figures, the failure is told, and the others are still done."""
    for name in ("light_board", "dark_board"):
        assert run("board", "add", photos(name), "--species", "ash").exit_code == 0
    before = document(run("board", "show", "B1", "--json").stdout)
    kept = document(run("board", "show", "B1", "--json").stdout)["boards"][0]["measurements"][0]["photo"]
    for path in logbook.glob(f"photos/*/{kept}*"):
        path.unlink()
    done = run("remeasure")
    assert done.exit_code == 6
    assert "B1 is left as it was" in done.stderr
    assert done.stdout.startswith("B2: ")
    assert document(run("board", "show", "B1", "--json").stdout) == before
    assert run("remeasure", "B9").exit_code == 6


def _labs(shown: object) -> list[list[float]]:
    """Return every colour that stands somewhere in a document."""
    if isinstance(shown, dict):
        own = [[round(value, 3) for value in shown["lab"]]] if shown.get("lab") else []
        return own + [lab for inner in shown.values() for lab in _labs(inner)]
    return [lab for inner in shown for lab in _labs(inner)] if isinstance(shown, list) else []


def test_a_stair_part_is_measured_again_and_stays_with_its_event(run: Run, photos: Photos) -> None:
    """A measured tread is renewed by name or with all the rest; the event it belongs to keeps its colour."""
    assert run("stairs", "add", "4").exit_code == 0
    done = run("stairs", "measure", "tread", "2", photos("straight"))
    assert done.exit_code == 0, done.stderr
    before = document(run("stairs", "part", "tread", "2", "--json").stdout)
    (found,) = document(run("remeasure", "tread 2", "--json").stdout)["subjects"]
    assert found["number"] == "1.T2"
    assert found["ok"] is True
    # Its own print was believed from the first photo on; fitting it again moves the last digit.
    assert found["after"] == [pytest.approx(each, abs=0.01) for each in found["before"]]
    learned(run)
    (found,) = document(run("remeasure", "--json").stdout)["subjects"]
    assert found["before"] != found["after"]
    after = document(run("stairs", "part", "tread", "2", "--json").stdout)
    (old,), (new,) = (each["parts"][0]["measurements"] for each in (before, after))
    assert new["lab"] != old["lab"]
    shown = document(run("stairs", "show", "--json").stdout)
    assert [round(value, 3) for value in new["lab"]] in _labs(shown)
    assert "measured again by" in run("history", "1.T2").stdout


@pytest.mark.parametrize("area", [("--area", "500,200,200,150"), ("--polygon", "500,200,700,200,700,350,500,350")])
def test_remeasuring_by_hand_goes_by_the_same_areas(run: Run, photos: Photos, area: tuple[str, str]) -> None:
    """A photo measured by hand is measured again by the same rectangle or polygon, with the same result."""
    areas = ("--grey", "100,100,60,60:60", *area)
    done = run("board", "add", photos("no_strip"), "--species", "ash", *areas)
    if done.exit_code:
        pytest.fail(done.stderr)
    (found,) = document(run("remeasure", "B1", "--json").stdout)["subjects"]
    assert found["ok"] is True
    assert found["before"] == found["after"]
