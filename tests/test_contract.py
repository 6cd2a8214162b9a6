"""What scripts may rely on, sentence by sentence, through the real command.

Held elsewhere, because they need more than the command line: the strip's page in `test_strip_pdf` and `test_cli`, the
measurement's and the ranking's keys in `test_cli` (``..._prints_the_contracts_document``), the checking picture and the
direct pair in `test_cli`, measuring by hand in `test_by_hand`, bad photos of every kind in `test_bad_input`.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import click
import pytest
from click.testing import CliRunner, Result
from conftest import Photos, Run
from logbook_makers import DAY, keep, measurement

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.cli import finishlab
from finishlab.finish import commands as finish_commands
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair

READING: Final = (
    "board list", "board show B1", "board compare B1 B2", "board history B1", "floor list", "floor show F1",
    "recipe list", "recipe show R1", "can list", "can show C1", "camera list", "camera show any",
    "strip list", "strip show 4", "standard", "rank", "status", "stairs show", "stairs part tread 1", "stairs due",
    "stairs walk", "plan quantities", "plan cutting --stock 2000x300", "plan calendar", "labels -o out.pdf",
    "schedule -o out.pdf", "house-file -o out.pdf", "report -o out.html", "history", "export out.zip", "backup out",
)  # fmt: skip
"""Commands that only read the logbook."""
ADDING: Final = (
    "recipe add plain", "can add honey --kind 'oil stain'", "stairs add 4", "strip learn --number 4 --white 93",
)  # fmt: skip
NEEDS_WHAT_IS_THERE: Final = (
    "board edit B1 --stain walnut", "board remove B1", "floor edit F1 --note x", "floor remove F1", "approve B1",
    "undo", "redo", "remeasure", "recipe edit R1 --note x", "can edit C1 --left 1L", "stairs log tread 1 sanded",
    "stairs edit tread 1 --note x", "strip forget 4",
)  # fmt: skip
"""Commands that change what was logged before, and so have nothing to begin with either."""


def call(*words: str | Path, folder: Path | None = None) -> Result:
    """Run a command line with this logbook in the environment, or none."""
    env = {"FINISHLAB_LOGBOOK": None if folder is None else str(folder)}
    return CliRunner(env=env).invoke(finishlab, [str(word) for word in words])


def split(line: str) -> list[str]:
    """Return the words of a line; quotes hold together."""
    return [word.strip("'") for word in re.findall(r"'[^']*'|\S+", line)]


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files without a folder are written into an empty one."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")


@pytest.fixture(scope="module")
def one_of_everything(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a logbook that holds one of everything; the figures are invented."""
    tmp_path = tmp_path_factory.mktemp("once")
    folder = tmp_path / "filled"
    with Logbook.open(folder, who="ada") as log:
        for name, stain in (("one.jpg", "walnut"), ("two.jpg", None)):
            photo = keep(log, tmp_path, name)
            both = measurement(photo, "board", "floor")
            record = BoardRecord("ash", stain=stain, topcoat="satin", date=DAY, state="cured")
            log.add_board(record, [both], [pair for pair in [DirectPair.of(both)] if stain and pair])
        log.add_floor_spots(FloorSpotRecord("hall", date=DAY), [[measurement(keep(log, tmp_path, "f.jpg"), "floor")]])
    for line in (
        "recipe add plain --step oil --top 'oil pu; coats=3'",
        "can add honey --kind 'oil stain'",
        "stairs add 4 --tread 914x292x27",
        "strip learn --number 4 --white 93",
        "board edit B1 --recipe R1",
        "approve B1",
    ):
        assert call(*split(line), folder=folder).exit_code == 0, line
    return folder


@pytest.fixture
def filled(one_of_everything: Path, tmp_path: Path) -> Path:
    """Return a copy of that logbook, to do with as one likes."""
    return Path(shutil.copytree(one_of_everything, tmp_path / "filled"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a logbook that was made and holds nothing."""
    folder = tmp_path_factory.mktemp("made")
    with Logbook.open(folder):
        pass
    return folder


# -- the logbook's place


@pytest.mark.parametrize(
    "line", ["--logbook D recipe list", "recipe --logbook D list", "recipe list --logbook D", "recipe list --logbook=D"]
)
def test_the_logbook_is_named_before_or_after_the_command(line: str, filled: Path, tmp_path: Path) -> None:
    """``--logbook`` is accepted at every depth, and wins over the environment."""
    words = line.replace("D", str(filled)).split()
    done = call(*words, folder=tmp_path / "other")
    assert done.exit_code == 0
    assert "plain" in done.stdout
    assert not (tmp_path / "other").exists()


def every_command(group: click.Command, *path: str) -> Iterator[tuple[str, ...]]:
    """Give the words of every command."""
    context = click.Context(group)
    if not isinstance(group, click.Group):
        yield path
        return
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        assert found is not None
        yield from every_command(found, *path, name)


def test_every_command_takes_the_logbook(tmp_path: Path) -> None:
    """No command calls ``--logbook`` unknown; its help shows it once, before the command."""
    for words in every_command(finishlab):
        done = call(*words, "--logbook", tmp_path / "log", "--help")
        assert done.exit_code == 0, words
        assert "--logbook DIR" not in done.stdout, words
    assert call("--help").stdout.count("--logbook DIR") == 1


def test_two_different_logbooks_are_a_usage_error(filled: Path, tmp_path: Path) -> None:
    """Given twice the same it is one logbook; two are refused, wherever they stand."""
    assert call("--logbook", filled, "recipe", "list", "--logbook", filled).exit_code == 0
    for words in (("--logbook", filled, "recipe", "list"), ("recipe", "list", "--logbook", filled)):
        done = call(*words, "--logbook", tmp_path / "b")
        assert done.exit_code == 2
        assert "two folders" in done.stderr


def test_the_environment_names_the_logbook_else_the_users_data_folder(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``FINISHLAB_LOGBOOK``, and without it a folder in the user's data directory."""
    assert call("recipe", "list", folder=filled).exit_code == 0
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **__: str(tmp_path / "data"))
    assert call("recipe", "add", "plain").exit_code == 0
    assert (tmp_path / "data" / "logbook.db").exists()


@pytest.mark.parametrize("line", ADDING)
def test_the_logbook_is_made_on_first_use(line: str, tmp_path: Path) -> None:
    """What can be logged first makes the folder, and the folders above it."""
    folder = tmp_path / "a" / "b"
    assert call(*split(line), "--logbook", folder).exit_code == 0
    assert (folder / "logbook.db").is_file()


@pytest.mark.parametrize("line", [*READING, *NEEDS_WHAT_IS_THERE])
def test_a_mistyped_logbook_is_told_and_nothing_is_made(line: str, tmp_path: Path) -> None:
    """Exit code 6 and one sentence that names the folder; no folder and no file appears."""
    folder = tmp_path / "mistyped"
    done = call(*split(line), "--logbook", folder)
    assert done.exit_code == 6, done.stderr
    assert done.stderr.splitlines()[0] == f"Error: Nothing is logged in {folder} yet."
    assert done.stdout == ""
    assert not folder.exists()
    assert list((tmp_path / "here").iterdir()) == []


@pytest.mark.parametrize("line", [*READING, *NEEDS_WHAT_IS_THERE])
def test_an_empty_logbook_is_told_as_one_that_is_not_there(line: str, made: Path) -> None:
    """A database without an entry gets the same sentence and exit code, also for JSON."""
    done = call(*split(line), "--json", folder=made)
    assert done.exit_code == 6, done.stderr
    assert done.stderr.splitlines()[0] == f"Error: Nothing is logged in {made} yet."
    assert done.stdout == ""


@pytest.mark.parametrize("line", ["measure", "measure --json"])
def test_measuring_makes_no_logbook(line: str, photos: Photos, tmp_path: Path) -> None:
    """``measure`` logs nothing and makes no folder."""
    assert call(*line.split(), photos("pair"), "--logbook", tmp_path / "none").exit_code == 0
    assert not (tmp_path / "none").exists()


def test_the_folder_is_all_that_is_needed_to_move_a_logbook(filled: Path, tmp_path: Path) -> None:
    """Moved elsewhere it shows the same, its photos included."""
    before = call("board", "show", "B1", "--json", folder=filled).stdout
    moved = tmp_path / "moved"
    shutil.move(filled, moved)
    assert call("board", "show", "B1", "--json", folder=moved).stdout == before
    assert call("export", "all.zip", "--json", folder=moved).exit_code == 0
    assert json.loads(call("export", "again.zip", "--json", folder=moved).stdout)["missing"] == []


# -- documents and exit codes


@pytest.mark.parametrize(
    "line",
    [*(line for line in READING if not line.startswith("camera show")), "strip --output s.pdf", "cautions",
     "plan risers --riser 190", "plan floor --room 15m2 --box 2m2", "undo", "can remove C1",
     "floor edit F1 --note x", "board edit B2 --stain honey", "stairs log tread 1 sanded"],
)  # fmt: skip
def test_every_document_says_what_it_is_and_what_its_colours_are(line: str, filled: Path) -> None:
    """With ``--json`` stdout is one document: its format, CIELAB at D65 and the 2 degree observer, and nothing else."""
    done = call(*split(line), "--json", folder=filled)
    assert done.exit_code == 0, done.stderr
    document: dict[str, Any] = json.loads(done.stdout)
    assert re.fullmatch(r"finishlab/[a-z-]+/[0-9]+", document["format"])
    assert document["colour_space"] == "CIELAB D65 2deg"
    assert "Traceback" not in done.stderr
    assert "Warning" not in done.stderr


def test_a_strips_greys_are_shown_level_by_level(filled: Path) -> None:
    """``strip show N --json`` has the lightness of each level and its standard error."""
    document = json.loads(call("strip", "show", "4", "--json", folder=filled).stdout)
    assert document["format"].startswith("finishlab/strip-greys/")
    assert len(document["lightness"]) == len(document["standard_error"]) == 8
    assert document["lightness"] == sorted(document["lightness"])
    assert document["lightness"][-1] == pytest.approx(93.0, abs=0.5)


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("measure good.jpg", 0),
        ("measure good.jpg --save-picture no/such/folder/c.png", 1),
        ("measure", 2),
        ("measure text.jpg", 3),
        ("measure gone.jpg", 3),
        ("measure no_strip.jpg", 4),
        ("measure dark.jpg", 5),
        ("board show B1", 6),
        ("measure text.jpg good.jpg no_strip.jpg", 4),
        ("measure dark.jpg no_strip.jpg text.jpg", 5),
        ("board add dark.jpg text.jpg --species ash", 5),
        ("floor add no_strip.jpg text.jpg", 4),
    ],
)
def test_the_exit_code_says_what_went_wrong(line: str, code: int, photos: Photos, run: Run) -> None:
    """Codes 0 to 6; of several photos every one is tried, the worst code returned, and each bad file named."""
    here = Path.cwd()
    for name, of in (("good", "pair"), ("no_strip", "no_strip"), ("dark", "dark")):
        shutil.copy(photos(of), here / f"{name}.jpg")
    (here / "text.jpg").write_text("not a photo")
    done = run(*line.split())
    assert done.exit_code == code, done.stderr
    bad = [word for word in line.split() if word.endswith(".jpg") and word != "good.jpg"]
    for name in bad:
        assert name in done.stderr
    if "good.jpg" in line and bad:
        assert "good.jpg" in done.stdout


def test_dates_are_iso_8601(filled: Path) -> None:
    """A date is taken as year, month, day, and written so; another order is refused."""
    assert call("board", "edit", "B1", "--date", "2024-05-30", folder=filled).exit_code == 0
    document = json.loads(call("board", "show", "B1", "--json", folder=filled).stdout)
    assert document["boards"][0]["record"]["date"] == "2024-05-30"
    assert call("board", "edit", "B1", "--date", "30/05/2024", folder=filled).exit_code == 2


def test_talk_goes_to_stderr_and_results_to_stdout(filled: Path) -> None:
    """What is logged gives its number on stdout, and all that is said about it on stderr."""
    done = call("can", "add", "tung oil", "--kind", "hardwax oil", folder=filled)
    assert done.stdout == "C2\n"
    assert "logged" in done.stderr
    assert call("board", "edit", "B1", "--stain", "honey", folder=filled).stdout == ""


# -- numbers and words that are nearly right


@pytest.mark.parametrize(
    "line", ["board show 1", "floor show 1", "recipe show 1", "can show 1", "board compare 1 B2", "approve 1"]
)
def test_a_bare_number_is_enough_where_the_kind_is_known(line: str, filled: Path) -> None:
    """``board show 1`` means B1."""
    assert call(*line.split(), folder=filled).exit_code == 0


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("mesure x.jpg", "“measure”"),
        ("board shwo B1", "“show”"),
        ("rank --lihgt x", "--light"),
        ("strip lern", "“learn”"),
    ],
)
def test_a_mistyped_word_is_answered_with_the_one_meant(line: str, meant: str) -> None:
    """Commands and options that do not exist: exit code 2, and the nearest that do."""
    done = call(*line.split())
    assert done.exit_code == 2
    assert "Did you mean" in done.stderr
    assert meant in done.stderr


# -- lengths


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("stairs add 4 --tread 36x11.5x1", "inches: 36inx11.5inx1in"),
        ("stairs add 4 --tread 914x292x27 --nosing 1", "1in"),
        ("stairs add 4 --riser 36x7.5x0.75", "36inx7.5inx0.75in"),
        ("stairs add 4 --top-nosing 36x3.5x1", "36inx3.5inx1in"),
        ("stairs edit tread 1 --front 36", "36in"),
        ("stairs add-parts skirt left --front 140 --height 9.25 --thickness 0.75", "inches: 140inx0.75inx9.25in"),
        ("board edit B1 --preparation size=6x12x0.75", "inches: 6inx12inx0.75in"),
        ("plan risers --riser 7.5 --count 3", "7.5in"),
        ("plan risers --riser 190 --tread-added 0.75", "0.75in"),
        ("plan risers --riser 190 --tread-depth 10", "10in"),
        ("plan quantities --treads 3 --front 36 --depth 11 --thickness 1 --liquid sealer", "36inx11inx1in"),
        ("plan cutting --treads 3 --front 36in --depth 11in --thickness 1in --stock 96x12", "96inx12in"),
        ("plan cutting --treads 3 --front 36in --depth 11in --thickness 1in --stock 96inx12in --kerf 0.125", "0.125in"),
        ("plan cutting --treads 3 --front 36in --depth 11in --thickness 1in --odd 2:front=35", "35in"),
        ("plan floor --room 12x14 --box 2m2", "feet: 12ftx14ft"),
    ],
)  # fmt: skip
def test_a_size_that_makes_no_sense_in_millimetres_is_refused(line: str, meant: str, filled: Path) -> None:
    """Without a unit a length is in millimetres; where that cannot be, exit code 2 and what was likely meant."""
    before = call("stairs", "show", "--json", folder=filled).stdout
    done = call(*split(line), folder=filled)
    assert done.exit_code == 2
    assert "without a unit a length is in millimetres" in done.stderr
    assert meant in done.stderr
    assert call("stairs", "show", "--json", folder=filled).stdout == before


def test_sizes_in_files_are_held_to_the_same(filled: Path) -> None:
    """A plan in TOML, a board in TOML and rows of CSV are refused as options are."""
    stair = Path("stair.toml")
    stair.write_text("[[flight]]\ntreads = 3\ntread = { front = 36, depth = 11.5, thickness = 1 }\n")
    board = Path("board.toml")
    board.write_text("species = 'ash'\n[preparation]\nsize_mm = [6, 12, 0.75]\n")
    rows = Path("boards.csv")
    rows.write_text("species,preparation.size_mm\nash,6x12x0.75\n")
    for line in ("plan cutting --from stair.toml", "board edit B1 --from board.toml", "board import boards.csv"):
        done = call(*line.split(), folder=filled)
        assert done.exit_code == 2, line
        assert "Did you mean inches" in done.stderr
    rows.write_text("species,preparation.size_mm\nash,6x12x3/4in\n")
    assert call("board", "import", rows, folder=filled).exit_code == 0


def test_a_length_with_its_unit_is_taken_as_it_is(filled: Path) -> None:
    """What says its unit is meant: a tread of 36 mm is entered, and 914 needs no unit."""
    assert call("stairs", "edit", "tread", "1", "--front", "36mm", folder=filled).exit_code == 0
    assert call("stairs", "edit", "tread", "2", "--front", "920", folder=filled).exit_code == 0


INCHES: Final = "36 x 11 1/2 x 3/4 in"


def test_what_was_typed_in_inches_is_shown_in_inches(tmp_path: Path) -> None:
    """Part, drawing, labels, history, plan and JSON tell inches where they were typed, and millimetres elsewhere."""
    folder = tmp_path / "inches"
    for line in (
        "stairs add 4 --tread 36x11.5x3/4in --nosing 1in --riser 914x190x19",
        "stairs edit tread 2 --front 35.5in --back 35in --left-angle 90",
        "recipe add plain --step oil",
    ):
        assert call(*split(line), folder=folder).exit_code == 0
    told = call("stairs", "part", "treads", "1-2", folder=folder).stdout
    assert f"{INCHES}; nosing 1 in" in told
    assert "front “36 in” -> “35 1/2 in”" in " ".join(told.split())
    assert "mm" not in told
    assert "914 x 190 x 19 mm" in call("stairs", "part", "riser", "1", folder=folder).stdout
    assert "front “36 in” -> “35 1/2 in”" in call("history", "T2", folder=folder).stdout
    call("stairs", "show", "--svg", "stair.svg", folder=folder)
    assert "front 35 1/2 in, back 35 in" in Path("stair.svg").read_text(encoding="utf-8")
    labels = json.loads(call("history", "T1", "--json", folder=folder).stdout)["changes"]
    assert labels[0]["after"]["sizes"]["thickness"] == 19.05
    call("stairs", "edit", "tread 2", "--left-angle", "90", folder=folder)
    plan = call("plan", "cutting", "--stock", "2500mmx300mm", folder=folder).stdout
    assert "36 in (914 mm)" in plan or "37 in (940 mm)" in plan


def test_a_board_and_a_label_keep_the_unit_they_were_typed_in(filled: Path) -> None:
    """A board of 6 x 12 inches and a coverage in square feet a gallon are shown so, here and in the history."""
    for line in (
        "board edit B1 --preparation size=6x12x3/4in",
        "can add finish --kind 'hardwax oil' --label 'coverage=400 ft2/gal; coverage-to=500 ft2/gal'",
        "can edit C2 --label 'coverage-to=520 ft2/gal'",
    ):
        assert call(*split(line), folder=filled).exit_code == 0, line
    assert "6 x 12 x 3/4 in" in call("board", "show", "B1", folder=filled).stdout
    assert "none -> 6 x 12 x 3/4 in" in call("board", "history", "B1", folder=filled).stdout
    assert "covers at least 400 ft2/gal; covers at most 520 ft2/gal" in " ".join(
        call("can", "show", "C2", folder=filled).stdout.split()
    )
    assert "“500 ft2/gal” -> “520 ft2/gal”" in call("history", "C2", folder=filled).stdout
    assert call("board", "edit", "B1", "--preparation", "size=150x300x19", folder=filled).exit_code == 0
    assert "150x300x19 mm" in call("board", "show", "B1", folder=filled).stdout


def test_an_asked_size_is_held_to_the_same(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """``--ask`` tells a size without its unit, asks again, and keeps inches as inches."""
    monkeypatch.setattr(finish_commands, "on_terminal", lambda: True)
    words = ["board", "edit", "B2", "--maker", "Ann", "--preparation", "cut=plain; construction=solid", "--ask"]
    runner = CliRunner(env={"FINISHLAB_LOGBOOK": str(filled)})
    done = runner.invoke(finishlab, words, input="A\n7\n6x12x0.75\n6x12x0.75in\n.\n")
    assert done.exit_code == 0, done.stderr
    assert "Did you mean inches: 6inx12inx0.75in" in done.stderr
    assert "6 x 12 x 3/4 in" in call("board", "show", "B2", folder=filled).stdout
