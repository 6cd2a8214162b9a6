"""The command line: what scripts may rely on, tried on rendered photos."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import click
import pytest
from click.testing import CliRunner
from conftest import STRIP_NUMBER, Photos, Run
from PIL import Image

from finishlab.cli import finishlab
from finishlab.cli.common import say_cautions
from finishlab.cli.failures import exit_code_of
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import PhotoError
from finishlab.logbook.store import Logbook
from finishlab.version import __version__

COMMAND: Final = (sys.executable, "-W", "error", "-m", "finishlab.cli")


def commands(group: click.Command, path: str = "finishlab") -> list[tuple[str, click.Command]]:
    """Return every command below a group, the demo excepted, which is tested on its own."""
    if not isinstance(group, LazyGroup):
        return [(path, group)]
    below = [(name, group.get_command(click.Context(group), name)) for name in group.lazy if name != "demo"]
    return [each for name, found in below if found is not None for each in commands(found, f"{path} {name}")]


def groups() -> list[LazyGroup]:
    """Return the command and its groups."""
    found = [finishlab.get_command(click.Context(finishlab), name) for name in ("board", "floor", "stairs")]
    return [finishlab, *(each for each in found if isinstance(each, LazyGroup))]


def document(text: str, kind: str) -> dict[str, Any]:
    """Return a JSON document after checking that it is the only thing printed and says what it is."""
    found: dict[str, Any] = json.loads(text)
    assert found["format"] == f"finishlab/{kind}/1"
    assert found["colour_space"] == "CIELAB D65 2deg"
    return found


def call(*args: str | Path, logbook: Path, **env: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own, with every warning an error."""
    environment = os.environ | {"FINISHLAB_LOGBOOK": str(logbook)} | env
    return subprocess.run(
        [*COMMAND, *(str(arg) for arg in args)], capture_output=True, text=True, check=False, env=environment
    )


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory, photos: Photos) -> Path:
    """The logbook that `filled` copies."""
    run = Run(tmp_path_factory.mktemp("filled") / "logbook")
    assert run("floor", "add", photos("floor1"), photos("floor2"), "--surface", "vinyl").exit_code == 0
    assert run("board", "add", photos("light_board"), "--species", "ash", "--topcoat", "satin").exit_code == 0
    dark = ("--species", "ash", "--stain", "walnut", "--coats", 2)
    assert run("board", "add", photos("dark_board"), *dark).exit_code == 0
    return run.logbook


@pytest.fixture
def filled(run: Run, filled_once: Path) -> Run:
    """The command with a logbook that holds two floor spots and two boards."""
    shutil.copytree(filled_once, run.logbook)
    return run


# -- help


def test_every_command_has_an_example_that_is_its_own() -> None:
    """Each command's help ends with an example, and every word of each example is one the command takes."""
    for path, command in commands(finishlab):
        assert isinstance(command, ExampleCommand), path
        for example in command.examples:
            assert example.startswith(path)
            words = shlex.split(example.removeprefix(path))
            command.make_context(path, words, ignore_unknown_options=False)
        text = CliRunner().invoke(finishlab, [*path.split()[1:], "--help"])
        assert text.exit_code == 0, path
        assert command.examples[0] in text.stdout


def test_every_command_can_answer_in_json() -> None:
    """Each command takes ``--json``, but for the one whose answer is a file to change and keep."""
    for path, command in commands(finishlab):
        assert any("--json" in option.opts for option in command.params) == (path != "finishlab plan example"), path


@pytest.mark.parametrize(
    ("words", "removed"),
    [
        (("board", "remove", "B2", "B1", "B2"), ["B2", "B1"]),
        (("floor", "remove", "F1"), ["F1"]),
        (("recipe", "remove", "R1"), ["R1"]),
        (("can", "remove", "C1"), ["C1"]),
        (("stairs", "remove", "E1"), ["E1"]),
        (("stairs", "remove", "treads 2-3"), ["1.T2", "1.T3"]),
        (("stairs", "remove", "flight 1"), ["1.T1", "1.T2", "1.T3", "1.LN1"]),
    ],
)
def test_what_is_removed_is_named_in_json(filled: Run, words: tuple[str, ...], removed: list[str]) -> None:
    """Every command that leaves something out says in its document what that was."""
    assert filled("recipe", "add", "clear", "--top", "oil pu").exit_code == 0
    assert filled("can", "add", "clear", "--kind", "oil polyurethane").exit_code == 0
    assert filled("stairs", "add", "4", "--no-risers").exit_code == 0
    assert filled("stairs", "log", "tread 1", "sanded").exit_code == 0
    found = document(filled(*words, "--json").stdout, "removed")
    assert sorted(found["removed"]) == sorted(removed)


def test_what_else_is_changed_is_said_in_json(filled: Run, tmp_path: Path) -> None:
    """A changed event, and a backup with its photos, are documents too."""
    assert filled("stairs", "add", "4", "--no-risers").exit_code == 0
    assert filled("stairs", "log", "tread 1", "sanded").exit_code == 0
    changed = document(filled("stairs", "edit-event", "e1", "--note", "by hand", "--json").stdout, "stair-events")
    assert changed["events"] == [{"event": "E1", "part": "1.T1"}]
    copied = document(filled("backup", tmp_path / "copy", "--json").stdout, "backup")
    assert copied["photos"] == 4
    assert copied["folder"] == str(tmp_path / "copy")


@pytest.mark.parametrize("group", groups(), ids=lambda group: str(group.name))
def test_the_help_of_a_group_says_what_its_commands_say(group: LazyGroup) -> None:
    """The lines shown without loading the commands are the commands' own."""
    for name, (_, line) in group.lazy.items():
        if name != "demo":
            command = group.get_command(click.Context(group), name)
            assert command is not None
            assert command.short_help == line
            assert command.name == name


def test_version_and_help_are_results() -> None:
    """The version is told on stdout, as is the help, with exit code 0."""
    for flag in ("--version", "--help", "-h"):
        done = CliRunner().invoke(finishlab, [flag])
        assert done.exit_code == 0
        assert done.stderr == ""
    assert CliRunner().invoke(finishlab, ["--version"]).stdout == f"finishlab {__version__}\n"


# -- the strip


def test_the_strip_is_written_with_its_layout(run: Run, tmp_path: Path) -> None:
    """The PDF and the layout file are written, and its JSON is the contract's with the strip's number."""
    pdf, layout = tmp_path / "s.pdf", tmp_path / "l.json"
    done = run("strip", "--output", pdf, "--paper", "letter", "--layout", layout, "--number", 7, "--json")
    assert done.exit_code == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    written = json.loads(layout.read_text())
    assert written["format"] == "finishlab/strip/1"
    assert written["page"] == [215.9, 279.4]
    assert json.loads(done.stdout) == {
        **written,
        "colour_space": "CIELAB D65 2deg",
        "number": 7,
        "output": str(pdf),
    }
    assert "0007" in done.stderr


def test_a_strip_gets_a_number_of_its_own(run: Run, tmp_path: Path) -> None:
    """Without a number one is drawn; stdout names the file."""
    done = run("strip", "--output", tmp_path / "s.pdf")
    assert done.stdout == f"{tmp_path / 's.pdf'}\n"


# -- measuring


def test_measure_prints_the_contracts_document(run: Run, photos: Photos, logbook: Path) -> None:
    """``measure --json`` has every key of the contract, and logs nothing."""
    done = run("measure", photos("pair"), "--field", "both", "--json")
    assert done.exit_code == 0
    assert done.stderr == ""
    (photo,) = document(done.stdout, "measurement")["photos"]
    assert photo["ok"] is True
    assert photo["error"] is None
    assert photo["strip"]["found"] is True
    assert photo["strip"]["number"] == STRIP_NUMBER
    for field in ("board", "floor"):
        found = photo["fields"][field]
        assert set(found) >= {"lab", "standard_error", "spread", "used_share", "glare_share", "doubts"}
        assert set(found["spread"]) == {"L10", "L90"}
    assert set(photo["delta_e00"]) == {"value", "low", "high"}
    assert not logbook.exists()


def test_measure_reports_the_board_unless_told(run: Run, photos: Photos) -> None:
    """The default field is the board; one field has no difference."""
    (photo,) = json.loads(run("measure", photos("pair"), "--json").stdout)["photos"]
    assert set(photo["fields"]) == {"board"}
    assert photo["delta_e00"] is None


def test_a_wooden_floor_narrows_the_interval(run: Run, photos: Photos) -> None:
    """The interval of a pair is wider for print against wood than for wood against wood."""
    width = {}
    for kind in ("print", "wood"):
        (photo,) = json.loads(run("measure", photos("pair"), "--field", "both", "--floor-is", kind, "--json").stdout)[
            "photos"
        ]
        width[kind] = photo["delta_e00"]["high"] - photo["delta_e00"]["low"]
    assert width["wood"] < width["print"]


def test_measure_by_hand_has_no_strip(run: Run, photos: Photos, tmp_path: Path) -> None:
    """With a grey and an area a photo without strip is measured, ``strip`` is null, and the picture is written."""
    picture = tmp_path / "check.png"
    areas = ("--grey", "100,100,60,40:60", "--area", "450,100,300,160")
    done = run("measure", photos("no_strip"), *areas, "--save-picture", picture, "--json")
    assert done.exit_code == 0, done.stderr
    (photo,) = document(done.stdout, "measurement")["photos"]
    assert photo["strip"] is None
    assert set(photo["fields"]) == {"board"}
    with Image.open(picture) as drawn:
        assert drawn.width == 1200
        assert drawn.height > 900  # the photo, and below it the panel that says why


def test_the_checking_picture_is_the_photo_with_drawings(run: Run, photos: Photos, tmp_path: Path) -> None:
    """``--save-picture`` writes a PNG of the photo; with several photos each has its own."""
    done = run("measure", photos("pair"), photos("straight"), "--field", "both", "--save-picture", tmp_path / "c.png")
    assert done.exit_code == 0
    for name in ("pair", "straight"):
        with Image.open(tmp_path / f"c-{name}.png") as drawn:
            assert drawn.format == "PNG"
            assert drawn.width == 1200
            assert drawn.height > 900  # the photo, and below it the panel that says why


def test_measure_prints_a_table_without_json(run: Run, photos: Photos) -> None:
    """People get a table on stdout, with the photo and both fields in it."""
    done = run("measure", photos("pair"), "--field", "both")
    assert done.exit_code == 0
    assert "board" in done.stdout
    assert "floor" in done.stdout
    assert "dE00" in done.stdout


# -- logging


def test_board_add_prints_the_number_and_nothing_else(run: Run, photos: Photos) -> None:
    """Boards are numbered B1, B2 ..., on stdout; what was logged is said on stderr."""
    first = run("board", "add", photos("light_board"), "--species", "ash", "--topcoat", "satin")
    second = run("board", "add", photos("dark_board"), "--species", "oak", "--purpose", "raw", "--note", "from tread 3")
    assert (first.stdout, second.stdout) == ("B1\n", "B2\n")
    assert "B2 logged: oak" in second.stderr
    assert run("floor", "add", photos("floor1"), "--spot", "by the stair").stdout == "F1\n"


def test_the_whole_record_is_logged_and_listed(run: Run, photos: Photos) -> None:
    """Every field of the record given on the line is in the list's JSON, with the measurement's trail."""
    record = {
        "species": "ash", "stain": "walnut", "coats": 2, "topcoat": "satin", "light": "evening lamp",
        "note": "sanded to 120", "date": "2024-05-20", "purpose": "approved standard",
    }  # fmt: skip
    options = [word for name, value in record.items() for word in (f"--{name}", str(value))]
    added = run("board", "add", photos("light_board"), *options, "--json")
    assert added.exit_code == 0, added.stderr
    listed = run("board", "list", "--json")
    assert document(added.stdout, "boards") == document(listed.stdout, "boards")
    (board,) = json.loads(listed.stdout)["boards"]
    assert board["board"] == "B1"
    assert board["record"] == record | dict.fromkeys(("state", "maker", "recipe_number", "finish"))
    (found,) = board["measurements"]
    assert found["strip"] == STRIP_NUMBER
    assert found["light"] == "evening lamp"
    assert found["version"] == __version__


def test_with_floor_keeps_the_direct_pair(run: Run, photos: Photos) -> None:
    """``--with-floor`` logs the pair of the photo, as measuring it gives, and ranks without floor spots."""
    done = run("board", "add", photos("pair"), "--species", "ash", "--with-floor", "--json")
    assert done.exit_code == 0, done.stderr
    assert "from the floor beside it" in done.stderr
    (board,) = json.loads(done.stdout)["boards"]
    (photo,) = json.loads(run("measure", photos("pair"), "--field", "both", "--json").stdout)["photos"]
    assert board["direct_pairs"] == [photo["delta_e00"]]
    assert run("rank").exit_code == 0


def test_photos_are_added_to_a_logged_board(run: Run, photos: Photos) -> None:
    """``--to`` adds a photo in another light and leaves the record alone."""
    run("board", "add", photos("light_board"), "--species", "ash")
    done = run("board", "add", photos("pair"), "--to", "b1", "--light", "Evening  lamp")
    assert (done.exit_code, done.stdout) == (0, "B1\n")
    (board,) = json.loads(run("board", "list", "--json").stdout)["boards"]
    assert [m["light"] for m in board["measurements"]] == ["daylight", "evening lamp"]
    first, second = (m["lab"] for m in board["measurements"])
    assert (board["lab"], board["light"]) == (first, "daylight")
    shown = "L* {:.1f} a* {:.1f} b* {:.1f} in evening lamp".format(*second)
    assert f"B1: 1 photo added, {shown}; now 2 photos in daylight, evening lamp." in done.stderr
    edited = run("board", "edit", "B1", "--note", "by the door").stderr
    assert "L* {:.1f} a* {:.1f} b* {:.1f} in daylight, 2 photos".format(*first) in edited
    again = run("board", "add", photos("straight"), "--to", "B1", "--light", "evening lamp", "--json")
    (told,) = json.loads(again.stdout)["boards"]
    assert told["light"] == "evening lamp"
    assert told["lab"] != first
    refused = run("board", "add", photos("dark_board"), "--to", "B1", "--stain", "walnut")
    assert refused.exit_code == 2
    assert "--stain" in refused.stderr


@pytest.mark.parametrize("words", [("Danish oil",), (None, "hardwax OIL")])
def test_oil_brings_the_caution_about_rags_once_a_day(
    words: tuple[str | None, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A finish with oil in its name brings the caution about rags, the first time that day; another brings none."""
    with Logbook.open(tmp_path) as log:
        say_cautions(log, ["water stain", None])
        assert capsys.readouterr().err == ""
        say_cautions(log, words)
        said = capsys.readouterr()
        assert said.err.count("rags with oil") == 1
        assert said.out == ""
        say_cautions(log, words)
        assert capsys.readouterr().err == ""


# -- looking up and changing


def test_a_board_is_shown_changed_and_removed_with_its_history(filled: Run) -> None:
    """What was changed and removed stays in the history, and a removed board is no longer listed or shown."""
    run = filled
    assert "walnut" in run("board", "show", "B2").stdout
    changed = run("board", "edit", "B2", "--stain", "honey", "--clear", "coats", "--json")
    assert changed.exit_code == 0
    assert json.loads(changed.stdout)["boards"][0]["record"]["stain"] == "honey"
    assert run("board", "remove", "B2").exit_code == 0
    assert run("board", "show", "B2").exit_code == 6
    assert [b["board"] for b in json.loads(run("board", "list", "--json").stdout)["boards"]] == ["B1"]
    entries = document(run("board", "history", "B2", "--json").stdout, "history")["changes"]
    assert [entry["what"] for entry in entries] == ["add", "edit", "remove"]
    lines = run("board", "history", "B2").stdout.splitlines()
    assert len(lines) == 3
    assert "“walnut” -> “honey”" in lines[1]


def test_removing_boards_is_all_or_none(filled: Run) -> None:
    """When one of several numbers is unknown, none is removed."""
    assert filled("board", "remove", "B1", "B9").exit_code == 6
    assert filled("board", "show", "B1").exit_code == 0


def test_a_floor_spot_is_shown_changed_and_removed(filled: Run) -> None:
    """Floor spots can be looked up and corrected as boards can."""
    run = filled
    assert "Floor spot F1" in run("floor", "show", "F1").stdout
    changed = run("floor", "edit", "F1", "--spot", "by the stair", "--json")
    assert document(changed.stdout, "floor")["spots"][0]["record"]["spot"] == "by the stair"
    listed = document(run("floor", "list", "--json").stdout, "floor")
    assert listed["floor"]["spots"] == 2
    assert listed["light"] == "daylight"
    assert "by the stair" in run("floor", "list").stdout
    assert run("floor", "remove", "F1").exit_code == 0
    assert len(json.loads(run("floor", "list", "--json").stdout)["spots"]) == 1


@pytest.mark.parametrize("words", [("board", "edit", "B1"), ("floor", "edit", "F1")])
def test_an_edit_of_nothing_is_a_usage_error(filled: Run, words: tuple[str, ...]) -> None:
    """Naming no change is told apart from changing nothing by mistake."""
    assert filled(*words).exit_code == 2


# -- ranking


def test_rank_prints_the_contracts_document(filled: Run) -> None:
    """``rank --json`` has every key of the contract; places count from 1."""
    found = document(filled("rank", "--json").stdout, "ranking")
    assert set(found["floor"]) >= {"lab", "spots", "spread_e00"}
    assert found["floor"]["spots"] == 2
    assert [entry["place"] for entry in found["ranking"]] == [1, 2]
    for entry in found["ranking"]:
        assert entry["board"] in {"B1", "B2"}
        assert set(entry["delta_e00"]) == {"value", "low", "high"}
        assert set(entry["difference"]) == {"dL", "da", "db", "dC", "dH"}
        assert {"probability_closest", "ratio_to_floor_spread", "in_words", "doubts", "ties"} <= set(entry)
    assert sum(entry["probability_closest"] for entry in found["ranking"]) == pytest.approx(1.0, abs=2e-4)


def test_rank_answers_in_a_sentence_and_a_table(filled: Run) -> None:
    """People read the answer at a glance and, with --full, the table, the light, and what to do next."""
    glance = filled("rank")
    assert glance.exit_code == 0
    assert glance.stdout.startswith("Closest to the floor: ")
    assert len(glance.stdout.splitlines()) <= 15
    done = filled("rank", "--full")
    assert done.exit_code == 0
    assert "closest to the floor" in done.stdout
    assert "Light: daylight." in done.stdout


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_tables_keep_to_the_width_of_the_terminal(filled: Run, columns: int) -> None:
    """No line of a table is longer than the terminal is wide."""
    for words in (("rank",), ("board", "list"), ("floor", "list"), ("board", "show", "B2")):
        done = filled(*words, columns=columns)
        assert done.exit_code == 0
        assert max(map(len, done.stdout.splitlines())) <= columns


# -- the process


def test_the_command_measures_with_workers_and_strict_warnings(photos: Photos, logbook: Path, tmp_path: Path) -> None:
    """In a process of its own, photos measured by workers, with warnings as errors, print one document only."""
    names = [photos("pair"), photos("no_strip"), photos("straight"), *(tmp_path / f"{n}.jpg" for n in range(3))]
    done = call("measure", *names, "--json", logbook=logbook, PYTHONWARNINGS="error")
    assert done.returncode == 4
    found = document(done.stdout, "measurement")
    assert [photo["ok"] for photo in found["photos"]] == [True, False, True, False, False, False]
    assert str(photos("no_strip")) in done.stderr
    assert "Traceback" not in done.stderr


def test_a_closed_pipe_ends_quietly(run: Run, logbook: Path) -> None:
    """When nobody reads the output any more, nothing is said about it."""
    run("recipe", "add", "plain")
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [*COMMAND, "board", "list", "--json"],
        stdout=writer,
        stderr=subprocess.PIPE,
        check=False,
        env=os.environ | {"FINISHLAB_LOGBOOK": str(logbook)},
    )
    os.close(writer)
    assert done.stderr == b""
    assert done.returncode == 1


FULL: Final = Path("/dev/full")


@pytest.mark.skipif(not FULL.is_char_device(), reason="no device that is always full")
@pytest.mark.parametrize("line", ["can list", "can list --json", "--help", "plan example", "floor list"])
def test_output_that_cannot_be_written_is_one_sentence(run: Run, logbook: Path, line: str) -> None:
    """On a full disk a command ends with exit code 1 and says so in one sentence, without a traceback."""
    run("recipe", "add", "plain")
    with FULL.open("wb") as full:
        done = subprocess.run(
            [*COMMAND, *line.split()],
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
            text=True,
            env=os.environ | {"FINISHLAB_LOGBOOK": str(logbook)},
        )
    assert done.returncode == 1
    first, second = done.stderr.splitlines()
    assert first == "Error: The output cannot be written: no space left on device."
    assert second.startswith("  Make room or send it elsewhere.")


@pytest.mark.skipif(not FULL.is_char_device(), reason="no device that is always full")
def test_talk_nobody_can_hear_stops_nothing(logbook: Path) -> None:
    """Where stderr cannot be written, the work is done and the exit code tells the truth."""
    for words, code in ((("can", "add", "honey", "--kind", "oil stain"), 0), (("can", "show", "C9"), 6)):
        with FULL.open("wb") as full:
            done = subprocess.run(
                [*COMMAND, *words], stdout=subprocess.PIPE, stderr=full, check=False, text=True,
                env=os.environ | {"FINISHLAB_LOGBOOK": str(logbook)},
            )  # fmt: skip
        assert done.returncode == code
    with Logbook.open(logbook) as log:
        assert [can.record.product for can in log.cans()] == ["honey"]


@pytest.mark.skipif(not FULL.is_char_device(), reason="no device that is always full")
def test_a_device_is_written_to_and_never_replaced(run: Run) -> None:
    """A table sent to what is no file goes there; where that fails it is said, and the device stays one."""
    sizes = ("--treads", 3, "--front", 914, "--depth", 292, "--thickness", 27, "--liquid", "oil stain")
    refused = run("plan", "quantities", *sizes, "--csv", FULL)
    assert refused.exit_code == 1
    assert "/dev/full cannot be written: no space left on device" in str(refused.stderr)
    assert FULL.is_char_device()


def raising(error: BaseException) -> Any:
    """Return a command that is stopped by an error."""

    def command() -> None:
        raise error

    return command


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (PhotoError("x", "No photo.", "Take one."), 3, "Error: No photo.\n  Take one.\n"),
        (KeyboardInterrupt(), 130, "Interrupted; nothing more was done.\n"),
        (click.Abort(), 130, "Interrupted; nothing more was done.\n"),
        (click.UsageError("Not so."), 2, "Error: Not so.\n  See: finishlab --help\n"),
    ],
)
def test_whatever_stops_a_command_becomes_a_sentence(
    error: BaseException, code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each failure has its exit code and its sentence on stderr."""
    assert exit_code_of(raising(error)) == code
    assert capsys.readouterr().err == said


def test_a_bug_is_one_sentence_unless_debugging(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A programming error gives exit code 1 and a sentence; FINISHLAB_DEBUG shows where it happened."""
    monkeypatch.delenv("FINISHLAB_DEBUG", raising=False)
    assert exit_code_of(raising(ZeroDivisionError("by nothing"))) == 1
    said = capsys.readouterr().err
    assert "ZeroDivisionError: by nothing" in said
    assert "Traceback" not in said
    monkeypatch.setenv("FINISHLAB_DEBUG", "1")
    assert exit_code_of(raising(ZeroDivisionError("by nothing"))) == 1
    assert "Traceback" in capsys.readouterr().err
