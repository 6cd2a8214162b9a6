"""The doorway to the commands: what may be asked, and that answers of two visitors never mix."""

from __future__ import annotations

import threading
import unicodedata
from pathlib import Path

import pytest
from conftest import Run
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from finishlab.cli import finishlab
from finishlab.errors import UsageError
from finishlab.logbook.store import Logbook
from finishlab.page.asking import MAY_ASK, Asked, RefusedError, ask


def test_an_answer_is_the_commands_own_document(logbook: Path, run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """What comes back is what the command line shows, as a value; nothing goes to the streams."""
    run("recipe", "add", "plain")
    asked = ask(logbook, "recipe list")
    assert [document.kind for document in asked.documents] == ["recipes"]
    assert "plain" in str(asked.document.data)
    assert capsys.readouterr() == ("", "")


def test_a_failure_comes_with_its_sentence_and_code(logbook: Path, run: Run) -> None:
    """A command that fails gives what the command line prints, and its exit code."""
    run("recipe", "add", "plain")
    with pytest.raises(RefusedError) as failed:
        ask(logbook, "recipe show", "R9")
    assert failed.value.asked.exit_code == run("recipe", "show", "R9").exit_code == 6
    assert failed.value.asked.errors[0].message in run("recipe", "show", "R9").stderr


def _answer(logbook: Path, command: str, *arguments: str, note: str | None = None) -> Asked:
    """Return what a command says, be it that it fails."""
    try:
        return ask(logbook, command, *arguments, note=note)
    except RefusedError as refused:
        return refused.asked


def test_every_command_of_the_list_is_there() -> None:
    """The list of what the page may ask names commands that exist."""
    import click

    for path in MAY_ASK:
        found: click.Command = finishlab
        for word in path.split():
            assert isinstance(found, click.Group)
            child = found.get_command(click.Context(found), word)
            assert child is not None, path
            found = child


@pytest.mark.parametrize("command", ["export", "import", "backup", "check", "demo", "page", "start", "trial", "board"])
def test_other_commands_are_not_run(logbook: Path, command: str) -> None:
    """Commands that read or write elsewhere, or that ask, are not for the page."""
    with pytest.raises(UsageError, match="does not run"):
        ask(logbook, command)
    assert not logbook.exists()


def test_a_text_names_no_file(logbook: Path, run: Run, tmp_path: Path) -> None:
    """Where a command takes a file, only a path made here will do, never a text that may have come over the network."""
    run("recipe", "add", "plain")
    wanted = tmp_path / "labels.pdf"
    with pytest.raises(UsageError, match="does not name files"):
        ask(logbook, "labels", output=str(wanted))
    with pytest.raises(UsageError, match="does not name files"):
        ask(logbook, "board add", "/etc/passwd", species="oak")
    with pytest.raises(UsageError, match="does not name files"):
        ask(logbook, "stairs measure", "tread 1", "/etc/passwd")
    with pytest.raises(UsageError, match="does not name files"):
        ask(logbook, "strip learn", save_picture=str(wanted))
    assert not wanted.exists()


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a logbook with a recipe."""
    folder = tmp_path_factory.mktemp("plain")
    Run(folder)("recipe", "add", "plain")
    return folder


@settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(
    text=st.sampled_from(["--help", "--json", "-h", "--logbook=/tmp/x", "--", "-"])
    | st.text(st.characters(exclude_categories=["C"]), min_size=1)
)
@example("\uf900")
def test_no_value_becomes_an_option(plain: Path, text: str) -> None:
    """Whatever stands in a field stays that field's value: logged as typed (in Unicode's NFC), or refused in words."""
    asked = _answer(plain, "recipe edit", "R1", note=text)
    assert asked.exit_code == 0 or not text.isascii(), asked.errors
    if asked.exit_code == 0:
        with Logbook.open(plain) as log:
            assert (log.recipe("R1").record.note or "").split() == unicodedata.normalize("NFC", text).split()
    else:
        assert asked.errors
    assert _answer(plain, "recipe show", text).exit_code in {0, 2, 6}


@pytest.mark.parametrize(
    ("typed", "shown"), [("36x11 1/2x1", "36 x 11 1/2 x 1 in"), ("914x292x9mm", "914 x 292 x 9 mm")]
)
def test_a_bare_length_is_in_the_visitors_unit(logbook: Path, run: Run, typed: str, shown: str) -> None:
    """Where a visitor chose inches, a length without a unit is in inches; one with a unit stays as it was typed."""
    ask(logbook, "stairs add", "2", inches=True, tread=typed)
    assert shown in run("stairs", "part", "tread 1").stdout


def test_lengths_that_may_be_given_several_times_are_told_each_by_itself(logbook: Path) -> None:
    """Of several heights each takes its own unit, a change that is less than nothing too."""
    riser, added = ["7 1/2", "190mm"], "-3/4"
    bare = ask(logbook, "plan risers", inches=True, riser=riser, tread_added=added)
    told = ask(logbook, "plan risers", riser=["7 1/2in", "190mm"], tread_added="-3/4in")
    assert bare.documents == told.documents


def test_answers_of_two_threads_do_not_mix(tmp_path: Path) -> None:
    """Two logbooks asked at the same time by two threads: each thread gets its own logbook's documents, every time."""
    found: dict[str, set[str]] = {"ash": set(), "oak": set()}
    for name in found:
        Run(tmp_path / name)("recipe", "add", name)

    def look(name: str) -> None:
        for _ in range(10):
            (document,) = ask(tmp_path / name, "recipe list").documents
            found[name].add(str(document.data))

    threads = [threading.Thread(target=look, args=(name,)) for name in found]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    for name, texts in found.items():
        assert len(texts) == 1
        assert f"'{name}'" in texts.pop()
