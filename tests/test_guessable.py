"""What somebody who has not read the help would try: near names, bare numbers, Tab, a narrow window."""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Final

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st
from logbook_makers import DAY, keep, measurement
from rich.console import Console

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.cli import finishlab
from finishlab.logbook.store import Logbook
from finishlab.show.document import Column, Document, Table
from finishlab.show.terminal import render

TOP: Final = "satin water polyurethane with an anti-slip additive"
FINISHLAB: Final = (sys.executable, "-m", "finishlab.cli")


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with two boards, a floor spot, a recipe, a can, a short stair and a learned strip."""
    tmp_path = tmp_path_factory.mktemp("guessable")
    folder = tmp_path / "log"
    with Logbook.open(folder, who="ada") as log:
        for name in ("one.jpg", "two.jpg"):
            board = measurement(keep(log, tmp_path, name), "board")
            log.add_board(
                BoardRecord(
                    "ash", stain="walnut mixed with a little honey", coats=2, topcoat=TOP, date=DAY, light="lamp"
                ),
                [board],
            )
        spot = measurement(keep(log, tmp_path, "floor.jpg"), "floor")
        log.add_floor_spots(FloorSpotRecord("by the window of the upper hall", date=DAY, light="lamp"), [[spot]])
    for line in (
        ("recipe", "add", "plain, satin", "--step", "oil; colour=walnut"),
        ("can", "add", "honey", "--kind", "oil stain"),
        ("stairs", "add", "4"),
        ("strip", "learn", "--number", "412", "--white", "93"),
    ):
        assert call(folder, *line).exit_code == 0, line
    return folder


def call(folder: Path, *words: str) -> Result:
    """Run a command line with a logbook."""
    return CliRunner(env={"FINISHLAB_LOGBOOK": str(folder)}).invoke(finishlab, list(words))


def commands(group: click.Command = finishlab, *path: str) -> Iterator[tuple[str, click.Command]]:
    """Give every command with its words."""
    if not isinstance(group, click.Group):
        yield " ".join(path), group
        return
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        assert found is not None
        yield from commands(found, *path, name)


# -- near names, bare numbers, one word for one thing


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("bord", "board"),
        ("board ad", "add"),
        ("stairs shw", "show"),
        ("board add x.jpg --speces ash", "--species"),
        ("rank --lighte x", "--light"),
        ("can add x --knd dye", "--kind"),
    ],
)
def test_a_mistyped_name_is_answered_with_what_was_meant(line: str, meant: str, tmp_path: Path) -> None:
    """Of commands and of options the nearest is named; nothing is run."""
    done = call(tmp_path / "none", *line.split())
    assert done.exit_code == 2
    assert "Did you mean" in done.stderr
    assert meant in done.stderr
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    "line",
    [
        "board show 1", "board compare 1 2", "board history 1", "board edit 2 --note x", "recipe show 1", "can show 1",
        "recipe edit 1 --note x", "can edit 1 --note x", "approve 1", "board edit 2 --recipe 1",
        "board edit 2 --like 1", "can remove 1", "recipe add other --from-board 2",
        "stairs log tread 1 stain --can 1 --recipe 1",
    ],
)  # fmt: skip
def test_a_bare_number_is_enough_where_only_one_kind_can_be_meant(line: str, logged: Path, tmp_path: Path) -> None:
    """The letter before a number may be left out."""
    folder = shutil.copytree(logged, tmp_path / "log")
    done = call(folder, *line.split())
    assert done.exit_code == 0, done.stderr


@pytest.mark.parametrize(("typed", "kept"), [("clear-only", "clear-only control"), ("approved", "approved standard")])
def test_the_beginning_of_a_purpose_is_enough(typed: str, kept: str, logged: Path, tmp_path: Path) -> None:
    """``--purpose clear-only`` is the clear-only control."""
    folder = shutil.copytree(logged, tmp_path / "log")
    assert call(folder, "board", "edit", "B1", "--purpose", typed).exit_code == 0
    assert f'"purpose": "{kept}"' in call(folder, "board", "show", "B1", "--json").stdout


TWO_FORMS: Final = {
    "--clear": "each record has fields of its own",
    "--riser": "its whole size where the stair is entered, only its height where heights are checked",
    "--save-picture": "a curve can be drawn, a photo cannot",
}
"""Option that is typed in two forms -> why it is one thing all the same."""


def test_one_option_means_one_thing() -> None:
    """Whatever command an option stands in, what is typed after it is of one form; the exceptions have their reason."""
    forms: dict[str, set[str]] = defaultdict(set)
    for _, command in commands():
        for option in command.params:
            if isinstance(option, click.Option):
                form = "flag" if option.is_flag else option.metavar or str(getattr(option.type, "choices", option.type))
                for name in option.opts:
                    forms[name].add(form)
    assert {name for name, found in forms.items() if len(found) > 1} == set(TWO_FORMS)


def test_no_word_for_a_part_of_a_finish_is_taken_by_another_thing() -> None:
    """Stain, coats, topcoat, seal, step and the like are what a board's record calls them, in every command."""
    words = {"--stain": "TEXT", "--coats": "N", "--topcoat": "TEXT", "--seal": "FIELDS", "--step": "FIELDS"}
    for _, command in commands():
        for option in command.params:
            for name in option.opts:
                assert option.metavar == words.get(name, option.metavar)


def test_no_command_alone_makes_a_logbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is typed without anything to log, and with a mistyped folder, makes none; nothing fails unforeseen."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "mistyped"
    for words, _ in commands():
        if words not in {"demo", "start", "page"}:  # they have a folder of their own, or ask, or serve until Ctrl-C
            done = call(folder, *words.split())
            assert done.exit_code in {0, 2, 6}, f"{words}: {done.stderr}"
            assert not folder.exists(), words


# -- completion


def completed(folder: Path, line: str) -> list[str]:
    """Return what a shell is offered at the end of a line."""
    *words, incomplete = line.split(" ")
    run = ShellComplete(finishlab, {}, "finishlab", "_FINISHLAB_COMPLETE")
    return [item.value for item in run.get_completions(["--logbook", str(folder), *words], incomplete)]


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("appr", ["approve"]),
        ("board sh", ["show"]),
        ("board show ", ["B1", "B2"]),
        ("board show b2", ["B2"]),
        ("board edit B1 --recipe ", ["R1"]),
        ("board edit B1 --like B", ["B1", "B2"]),
        ("can show ", ["C1"]),
        ("stairs log x --can ", ["C1"]),
        ("strip show ", ["412"]),
        ("stairs part t", ["T1", "T2", "T3"]),
        ("history ", ["B1", "B2", "F1", "R1", "C1"]),
        ("undo T2", ["T2"]),
        ("labels B1 T3", ["T3"]),
        ("rank --light ", ["lamp"]),
        ("board edit B1 --purpose ra", ["raw"]),
        ("can add x --kind oil", ["oil stain", "oil polyurethane"]),
        ("board edit B1 --top", ["--topcoat", "--top"]),
    ],
)
def test_tab_offers_what_is_logged(line: str, offered: list[str], logged: Path) -> None:
    """Commands, options, choices, and boards, recipes, cans, strips, parts and lights of the logbook that is meant."""
    found = completed(logged, line)
    assert found[: len(offered)] == offered if line.startswith("history") else found == offered


@pytest.mark.parametrize("line", ["board show ", "stairs part ", "rank --light ", "strip show "])
def test_tab_without_a_logbook_offers_nothing_and_makes_none(line: str, tmp_path: Path) -> None:
    """Where nothing is logged there is nothing to offer; no folder appears, and a broken one is no failure."""
    assert completed(tmp_path / "none", line) == []
    assert not (tmp_path / "none").exists()
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "logbook.db").write_text("not a database")
    assert completed(tmp_path / "broken", line) == []


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_completes_as_documented(logged: Path, tmp_path: Path) -> None:
    """The documented line makes bash offer boards, and quotes what has spaces."""
    command = tmp_path / "finishlab"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m finishlab.cli "$@"\n')
    command.chmod(0o755)
    script = (
        'eval "$(_FINISHLAB_COMPLETE=bash_source finishlab)"\n'
        "COMP_WORDS=(finishlab board show ''); COMP_CWORD=3; _finishlab_completion finishlab; echo ${COMPREPLY[@]}\n"
        "COMPREPLY=(); COMP_WORDS=(finishlab can add x --kind wat); COMP_CWORD=5; _finishlab_completion finishlab\n"
        'printf "%s|" "${COMPREPLY[@]}"\n'
    )
    env = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}", "FINISHLAB_LOGBOOK": str(logged)}
    bash = str(shutil.which("bash"))
    done = subprocess.run([bash, "-c", script], capture_output=True, text=True, check=True, env=env)
    assert done.stdout.startswith("B1 B2\n'water stain'|"), done.stdout + done.stderr


@pytest.mark.parametrize(("shell", "words"), [("zsh", "#compdef finishlab"), ("fish", "complete --no-files")])
def test_other_shells_have_their_script(shell: str, words: str) -> None:
    """zsh and fish get theirs the same way."""
    done = CliRunner(env={"_FINISHLAB_COMPLETE": f"{shell}_source"}).invoke(finishlab, [])
    assert done.exit_code == 0
    assert words in done.stdout


# -- history


def test_one_command_is_one_entry_of_the_history(logged: Path, tmp_path: Path) -> None:
    """What a command did to many is one line, what it did to several things stands below its first line."""
    folder = shutil.copytree(logged, tmp_path / "log")
    call(folder, "stairs", "log", "all", "treads", "sanded")
    call(folder, "approve", "B1")
    lines = call(folder, "history").stdout.splitlines()
    assert [line for line in lines if "sanded" in line and line.startswith("1.T1, 1.T2, 1.T3: ")] != []
    (first,) = (n for n, line in enumerate(lines) if "plain" not in line and line.startswith("R2: "))
    assert [line[:11] for line in lines[first + 1 :]] == ["  B1: " + lines[first + 1][6:11], "  standard:"]
    assert len(call(folder, "history", "--last", "1").stdout.splitlines()) == 3


@pytest.mark.parametrize(
    "line", ["board remove B1 B2", "recipe remove R1", "can remove C1", "floor remove F1", "stairs remove flight 1"]
)
def test_what_is_hard_to_do_again_says_how_it_is_taken_back(line: str, logged: Path, tmp_path: Path) -> None:
    """After a removal ``finishlab undo`` is named, and one brings all of it back, however many were named."""
    folder = shutil.copytree(logged, tmp_path / "log")
    lists = ("board list", "recipe list", "can list", "floor list", "stairs show")
    before = [call(folder, *words.split(), "--json").stdout for words in lists]
    done = call(folder, *line.split())
    assert done.stderr.splitlines()[-1] == "Take it back with: finishlab undo", done.stderr
    assert before != [call(folder, *words.split(), "--json").stdout for words in lists]
    assert call(folder, "undo").exit_code == 0
    assert before == [call(folder, *words.split(), "--json").stdout for words in lists]


# -- on a terminal, in a pipe, in a narrow window


def on_terminal(folder: Path, *words: str, **env: str) -> str:
    """Return what a command writes to a terminal that knows all colours."""
    main, side = pty.openpty()
    plain = {name: value for name, value in os.environ.items() if name not in {"NO_COLOR", "FORCE_COLOR"}}
    known = {**plain, "FINISHLAB_LOGBOOK": str(folder), "TERM": "xterm-256color", "COLORTERM": "truecolor", **env}
    with subprocess.Popen((*FINISHLAB, *words), stdin=side, stdout=side, stderr=side, env=known) as process:
        os.close(side)
        found = b""
        try:
            while part := os.read(main, 65536):
                found += part
        except OSError:  # the other end is closed
            pass
        process.wait()
    os.close(main)
    return found.decode()


def test_a_terminal_gets_bold_and_colour_a_pipe_plain_text(logged: Path) -> None:
    """Heads are bold and colours drawn on a terminal; NO_COLOR leaves colours out; a pipe gets letters only."""
    shown = on_terminal(logged, "board", "list")
    assert "\x1b[1m" in shown
    assert "\x1b[48;2;" in shown
    without = on_terminal(logged, "board", "list", NO_COLOR="1")
    assert "\x1b[48;" not in without
    assert "\x1b[38;" not in without
    assert "\x1b" not in call(logged, "board", "list").stdout


def test_an_error_is_marked_on_a_terminal_and_plain_in_a_pipe(logged: Path) -> None:
    """“Error:” is red and bold where somebody looks; NO_COLOR leaves it bold; a pipe gets the word."""
    assert "\x1b[31m\x1b[1mError:\x1b[0m" in on_terminal(logged, "can", "show", "C9")
    assert "\x1b[31m" not in on_terminal(logged, "can", "show", "C9", NO_COLOR="1")
    assert call(logged, "can", "show", "C9").stderr.startswith("Error: ")


WORDS: Final = st.text("abcdefghijklmnopqrstuvwxyz", min_size=1, max_size=11)
CELLS: Final = st.lists(WORDS, min_size=0, max_size=6).map(" ".join)


@given(
    columns=st.lists(st.booleans(), min_size=2, max_size=6),
    data=st.data(),
    count=st.sampled_from([1, 3, 120]),
)
def test_a_table_at_80_columns_loses_no_letter_and_breaks_no_word(
    columns: list[bool], data: st.DataObject, count: int
) -> None:
    """Whatever stands in a table, each word is there whole while there is room for it, and no line is wider than 80."""
    row = data.draw(st.lists(CELLS, min_size=len(columns), max_size=len(columns)))
    rows = [row] * count
    heads = [Column(f"c{index}", fold=fold) for index, fold in enumerate(columns)]
    text = printed(Document("x", {}, [Table(heads, rows)]))
    assert all(len(line) <= 80 for line in text.splitlines())
    letters = "".join(text.split())
    assert sorted(letter for letter in letters if letter.islower()) == sorted(
        letter for letter in "".join(row * count + [head.name for head in heads]) if letter.islower()
    )
    least = (
        max(map(len, cell.split()), default=2) if fold else len(cell) for cell, fold in zip(row, columns, strict=True)
    )
    if sum(least) < 60:
        words = text.split()
        assert all(words.count(word) >= count for cell in row for word in cell.split())


def printed(document: Document) -> str:
    """Return a document as a pipe of 80 columns gets it."""
    file = StringIO()
    render(Console(file=file, width=80), document)
    return file.getvalue()


@pytest.mark.parametrize("line", ["board list", "recipe list", "can list", "floor list", "rank --full", "stairs due"])
def test_lists_are_not_cut_at_80_columns(line: str, logged: Path) -> None:
    """No list has an ellipsis for a word."""
    done = CliRunner(env={"FINISHLAB_LOGBOOK": str(logged), "COLUMNS": "80"}).invoke(finishlab, line.split())
    assert done.exit_code == 0, done.stderr
    assert "\N{HORIZONTAL ELLIPSIS}" not in done.stdout
    assert all(len(text) <= 80 for text in done.stdout.splitlines())
