"""``finishlab demo`` from end to end: the commands it types, the logbook it leaves, the page it writes."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final

import pytest
from build_readme import QUESTIONS, TASKS, shape, shown_commands
from click.testing import CliRunner
from render.story import BOARDS, DAY, SPOTS, STAND_BACK, STRIP_NUMBER, photos

from finishlab.cli import finishlab
from finishlab.demo import EVENING, FOLDER, MARK, PAGE, PDF, commands, prepare, samples_home
from finishlab.errors import FinishlabError, OutputError, UsageError
from finishlab.logbook.store import Logbook

LOADS: Final = {"src", "href", "srcset", "data", "action", "poster"}
"""Attributes by which a page would ask for something."""


@dataclass(frozen=True)
class Demo:
    """A demo that was made by the real command, in a process of its own and from another folder."""

    folder: Path
    out: str
    talk: str


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """Make the demo once."""
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "finishlab.cli", "demo", "--into", "stairs"],
        cwd=elsewhere,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return Demo(elsewhere / "stairs", done.stdout, done.stderr)


class _Page(HTMLParser):
    """What a page holds: its words, and all it would load."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.loads: list[str] = []
        self.tags: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the element and what it asks for."""
        self.tags.append(tag)
        self.loads += [value or "" for name, value in attrs if name in LOADS]

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.words.append(data)


def test_it_types_the_commands_of_the_story(made: Demo) -> None:
    """Each command is shown as a user would type it: the story's in order, both rankings and the report."""
    shown = [shlex.split(line)[2:] for line in made.talk.splitlines() if line.startswith("$ finishlab ")]
    *before, report = shown
    assert before == [*map(list, commands()), ["rank"], ["rank", "--light", EVENING]]
    assert report[0] == "report"
    assert report[3:] == ["--output", str(made.folder / PAGE), "--pdf", str(made.folder / PDF)]
    assert f"$ cd {samples_home()}" in made.talk
    assert "rendered: computed, not taken" in made.talk


def test_talk_holds_no_failure(made: Demo) -> None:
    """Nothing goes wrong on the way: no error, no traceback, no library's warning, and each caution once."""
    for word in ("Error", "Traceback", "Warning"):
        assert word not in made.talk
    cautions = [line for line in made.talk.splitlines() if line.startswith("Caution:")]
    assert len(cautions) == len(set(cautions)) > 0


def test_both_rankings_are_printed(made: Demo) -> None:
    """On stdout stand the ranking by daylight, the one by the lamp, and where logbook and page are."""
    day, evening = made.out.index("Light: daylight"), made.out.index(f"Light: {EVENING}")
    assert day < evening
    assert made.out.startswith("Closest to the floor: two parts walnut brown to one part honey")
    assert f"Logbook: {made.folder}" in made.out
    assert f"Page: {made.folder / PAGE}" in made.out
    assert f"PDF: {made.folder / PDF}" in made.out


def test_logbook_holds_what_the_story_says(made: Demo) -> None:
    """The logbook has every board and spot with the recipe, light, day, strip and photo that the story gives it."""
    with Logbook.open(made.folder) as log:
        boards, spots, strips = log.boards(), log.floor_spots(), log.strips()
    assert strips == (STRIP_NUMBER,)
    assert [b.number for b in boards] == [b.number for b in BOARDS]
    for logged, told in zip(boards, BOARDS, strict=True):
        record = logged.record
        assert (record.stain, record.topcoat, record.note) == (told.stain, told.topcoat, told.note)
        assert record.coats == (told.coats or None)
        assert (record.species, record.purpose, record.date.isoformat()) == ("cherry", told.purpose, DAY)
        lights = ["daylight", EVENING] if told.evening else ["daylight"]
        assert [m.light for m in logged.measurements] == lights
        assert len(logged.pairs) == int(told.with_floor)
    evening = [s.where for s in SPOTS if s.evening is not None]
    assert [s.record.spot for s in spots] == [s.where for s in SPOTS] + evening
    assert {s.record.surface for s in spots} == {"vinyl"}


def test_logbook_keeps_the_very_photos(made: Demo) -> None:
    """Every sample photo that was logged is kept in the logbook's folder, byte for byte, and no other."""
    kept = {hashlib.sha256(p.read_bytes()).hexdigest() for p in (made.folder / "photos").rglob("*") if p.is_file()}
    samples = samples_home() / FOLDER
    assert kept == {
        hashlib.sha256((samples / p.file).read_bytes()).hexdigest() for p in photos() if p is not STAND_BACK
    }


def test_page_is_whole_in_itself(made: Demo) -> None:
    """The page loads nothing: all its pictures are inside, there is no script, no link and no form."""
    page = _Page((made.folder / PAGE).read_text(encoding="utf-8"))
    assert page.tags.count("img") == len(BOARDS)
    for load in page.loads:
        if load.startswith("#"):  # a mark of a drawing, drawn again
            continue
        kind, _, data = load.partition(",")
        assert kind == "data:image/jpeg;base64"
        assert base64.b64decode(data, validate=True).startswith(b"\xff\xd8\xff")
    assert not {"script", "link", "iframe", "form", "object"} & set(page.tags)
    assert (made.folder / PAGE).stat().st_size < 3e6
    assert (made.folder / PDF).read_bytes().startswith(b"%PDF-")


def test_page_tells_the_answer_and_that_it_is_rendered(made: Demo) -> None:
    """The page names the closest board, every board, the lamp's answer, and calls its photos rendered."""
    words = " ".join(" ".join(_Page((made.folder / PAGE).read_text(encoding="utf-8")).words).split())
    assert "Closest to the floor: two parts walnut brown to one part honey" in words
    assert "B10 is the closest of 10" in words
    assert "The photos behind this report are rendered" in words
    assert f"{EVENING}: Boards B10 and B7 come closest" in words
    assert f"Strip: {STRIP_NUMBER:04d}" in words
    for board in BOARDS:
        assert re.search(rf"\b{board.number}\b", words)


def test_it_is_made_anew_and_says_so(made: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the folder of an earlier demo a new one is made, with its rankings, and told in one JSON document.

    The story is cut short here: two places of the floor and three boards, one of each by the lamp too.
    """
    folder = tmp_path / "stairs"
    shutil.copytree(made.folder, folder)
    kept = {
        photo.file for each in (*SPOTS[:2], *BOARDS[:2], BOARDS[9]) for photo in (each.photo, each.evening) if photo
    }
    kept.add(STAND_BACK.file)
    short = [words for words in commands() if any(Path(word).name in kept for word in words)]
    short = [tuple("B3" if word == BOARDS[9].number else word for word in words) for words in short]
    monkeypatch.setattr("finishlab.demo.commands", lambda: iter(short))
    done = CliRunner().invoke(finishlab, ["demo", "--into", str(folder), "--json"])
    assert done.exit_code == 0, done.output
    document: dict[str, Any] = json.loads(done.stdout)
    assert document["format"] == "finishlab/demo/1"
    assert document["rendered"] is True
    assert (document["logbook"], document["page"]) == (str(folder), str(folder / PAGE))
    assert document["pdf"] == str(folder / PDF)
    assert document["rankings"].keys() == {"daylight", EVENING}
    assert document["rankings"]["daylight"]["ranking"][0]["board"] == "B3"
    assert "is made anew" in done.stderr
    with Logbook.open(folder) as log:
        assert [each.number for each in log.boards()] == ["B1", "B2", "B3"]


def test_the_tasks_print_what_their_page_shows(made: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """docs/tasks.md shows what its five commands print; if not, run ``python docs/build_readme.py``.

    Figures are left out, which another machine may round another way.
    """
    folder = tmp_path / "finishlab-demo"
    shutil.copytree(made.folder, folder)
    monkeypatch.chdir(tmp_path)
    runner = CliRunner(env={"FINISHLAB_LOGBOOK": str(folder), "COLUMNS": "80", "NO_COLOR": "1"})
    first = QUESTIONS.read_text(encoding="utf-8").split("\n## ")[0]
    for command, _ in shown_commands(first):
        assert runner.invoke(finishlab, shlex.split(command)[1:]).exit_code == 0, command
    for command, said in shown_commands(TASKS.read_text(encoding="utf-8")):
        done = runner.invoke(finishlab, shlex.split(command)[1:])
        assert done.exit_code == 0, done.output
        assert shape(said) == shape(done.output)


# Where it may be made


def refused(into: Path) -> tuple[int, str]:
    """Run the command where it must not; return exit code and what it says."""
    done = CliRunner().invoke(finishlab, ["demo", "--into", str(into)])
    assert done.stdout == ""
    return done.exit_code, done.stderr


def test_a_folder_of_something_else_is_left_alone(tmp_path: Path) -> None:
    """A folder with other files is refused with exit code 2, and stays as it was."""
    (tmp_path / "letter.txt").write_text("dear all", encoding="utf-8")
    code, said = refused(tmp_path)
    assert code == 2
    assert "holds no demo" in said
    assert "--into" in said
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    """A file in the folder's place is refused with exit code 2."""
    (tmp_path / "stairs").write_text("", encoding="utf-8")
    code, said = refused(tmp_path / "stairs")
    assert code == 2
    assert "is not a folder" in said


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """Where no folder can be made the command says so in one sentence, with exit code 1."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be made"):
        prepare(tmp_path / "file" / "stairs", samples_home())
    assert refused(tmp_path / "file" / "stairs")[0] == 1


@pytest.mark.parametrize("mark", ["", "[]", '{"format": "another/1", "photos": []}', '{"format": 1}'])
def test_a_foreign_mark_is_no_demo(tmp_path: Path, mark: str) -> None:
    """A file that only has the name of the demo's mark does not make a folder the demo's."""
    (tmp_path / MARK).write_text(mark, encoding="utf-8")
    with pytest.raises(UsageError, match="holds no demo"):
        prepare(tmp_path, samples_home())
    assert (tmp_path / MARK).read_text(encoding="utf-8") == mark


def test_photos_a_user_added_are_never_deleted(tmp_path: Path) -> None:
    """A demo in which the user logged photos of their own is not cleared."""
    assert prepare(tmp_path, samples_home()) is False
    own = tmp_path / "photos" / "ab" / "abc.jpg"
    own.parent.mkdir(parents=True)
    own.write_bytes(b"mine")
    with pytest.raises(UsageError, match="did not put there"):
        prepare(tmp_path, samples_home())
    assert own.read_bytes() == b"mine"


def test_clearing_deletes_only_what_a_demo_made(tmp_path: Path) -> None:
    """An earlier demo's database, page and photos go; a note the user put beside them stays."""
    prepare(tmp_path, samples_home())
    known = json.loads((tmp_path / MARK).read_text(encoding="utf-8"))["photos"][0]
    for name in ("logbook.db", PAGE, PDF, "ranking.html", f"photos/{known}.jpg", "my notes.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("x", encoding="utf-8")
    assert prepare(tmp_path, samples_home()) is True
    assert sorted(p.name for p in tmp_path.rglob("*") if p.is_file()) == [MARK, "my notes.txt"]


def test_missing_samples_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installation without the sample photos says so and what to do."""
    monkeypatch.setattr("finishlab.demo.__file__", str(tmp_path / "finishlab" / "demo.py"))
    with pytest.raises(FinishlabError, match="not all installed") as error:
        samples_home()
    assert error.value.code == "no-sample-photos"


def test_a_command_that_fails_ends_the_demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When one of the commands fails, its sentence is shown and its exit code is the demo's; no page is written."""
    words = ("board", "add", f"{FOLDER}/truth.json", "--species", "cherry")
    monkeypatch.setattr("finishlab.demo.commands", lambda: iter([words]))
    code, said = refused(tmp_path / "stairs")
    assert code == 3
    assert "Error: " in said
    assert not (tmp_path / "stairs" / PAGE).exists()
