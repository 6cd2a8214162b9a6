"""``finishlab start`` and ``finishlab status``: the first hour step by step, and later how far the job is."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from finishlab.cli.common import json_option, on_terminal, open_logbook, say, show_document
from finishlab.cli.failures import exit_code_of
from finishlab.cli.lazy import ExampleCommand, logbook_folder

if TYPE_CHECKING:
    from finishlab.guide.steps import Guide

__all__ = ["start", "status"]

Words = tuple[str, ...]


@click.command(cls=ExampleCommand, examples=("finishlab status", "finishlab status --json"))
@json_option
def status(*, as_json: bool) -> None:
    """Say how far the job is, what is missing, which doubt to mend first, and the next command."""
    from finishlab.guide.steps import read_guide, status_document

    with open_logbook() as log:
        guide = read_guide(log, Path.cwd())
    show_document(status_document(guide), as_json=as_json)


@click.command(cls=ExampleCommand, examples=("finishlab start", "finishlab start --json"))
@json_option
def start(*, as_json: bool) -> None:
    """Go through the first hour: print the strip, photograph it, the floor and the boards, and read the answer.

    On a terminal it asks, logs and goes on; what is left open with Enter can be done later. Elsewhere it says how far
    the job is and the next command.
    """
    from finishlab.guide.steps import status_document

    if as_json or not on_terminal():
        show_document(status_document(_guide()), as_json=as_json)
        return
    say("Enter leaves a step for later; Ctrl-C ends. Where you leave off, finishlab start goes on.")
    _walk()


def _guide() -> Guide:
    """Return how far the job is; no logbook is made where there is none."""
    from finishlab.guide.steps import read_guide
    from finishlab.logbook.store import Logbook

    log = Logbook.open_existing(logbook_folder())
    if log is None:
        return read_guide(None, Path.cwd())
    with log:
        return read_guide(log, Path.cwd())


def _walk() -> None:
    """Ask and run, step by step, until the answer is shown or all that is open was left for later."""
    from finishlab.guide.steps import FIRST_HOUR

    for number, name in enumerate(FIRST_HOUR, start=1):
        step = _guide().step(name)
        say(f"\n{number}. {step.title}: {step.found.rstrip('.')}.")
        if name == "answer":
            if step.state == "done":
                _run(("rank",))
                say("\nHow far the job is, and what is next: finishlab status")
            else:
                say(f"{step.missing} finishlab start goes on from here.")
            return
        if step.state == "done" or name not in _ASKED:
            say(step.missing) if step.missing else None
            continue
        say(step.missing)
        while not all(_run(words) == 0 for words in _ASKED[name]()):
            say("That did not work; answer again, or leave it with Enter.")


def _ask_print() -> Iterator[Words]:
    from finishlab.guide.steps import STRIP_FILE

    paper = click.prompt("Paper", type=click.Choice(["a4", "letter"]), default="a4", err=True)
    yield ("strip", "--output", STRIP_FILE, "--paper", paper)
    click.prompt("Print it, check its ruler, cut it out, and press Enter", default="", show_default=False, err=True)


def _ask_learn() -> Iterator[Words]:
    photos = _photos("Photo of the strip from a few steps back")
    if photos:
        yield ("strip", "learn", *photos)


def _ask_floor() -> Iterator[Words]:
    from finishlab.board.records import SURFACES

    photos = _photos("Photos of the floor, or their folder")
    if photos:
        surface = click.prompt("What the floor is", type=click.Choice(SURFACES), default=SURFACES[0], err=True)
        yield ("floor", "add", *photos, "--surface", surface)


def _ask_boards() -> Iterator[Words]:
    """Ask for one board after another: its photos, what it is, and whether the floor is in the photo too.

    Of a folder `board add` reads from names or a table what each photo shows, and asks for the rest itself.
    """
    wood = ""
    while photos := _photos("Photos of one board, or the folder with all of them"):
        wood = _text("Its wood", wood)
        words = ["board", "add", *photos, "--species", wood]
        folder = any(Path(photo).is_dir() for photo in photos)
        stain = "" if folder else _text("Stain (Enter for none)")
        if stain:
            words += ["--stain", stain, "--coats", str(click.prompt("Coats of it", type=int, default=1, err=True))]
        topcoat = _text("Topcoat and sheen (Enter for none, or where names or a table say it)")
        words += ["--topcoat", topcoat] if topcoat else []
        if not folder and click.confirm("Does the floor lie at the strip's floor edge in the photo", err=True):
            words.append("--with-floor")
        yield tuple(words)


_ASKED: Final[Mapping[str, Callable[[], Iterator[Words]]]] = {
    "print": _ask_print,
    "learn": _ask_learn,
    "floor": _ask_floor,
    "boards": _ask_boards,
}
"""Step -> what asks for it and gives the commands to run; none when it is left for later."""


def _text(question: str, default: str = "") -> str:
    said: str = click.prompt(question, default=default, show_default=bool(default), err=True)
    return said.strip()


def _photos(question: str) -> Words:
    """Ask for files, as a shell takes them; none when Enter is pressed."""
    text = _text(question)
    try:
        words = shlex.split(text, posix=os.name != "nt")
    except ValueError:  # a quote that is not closed: the whole line is a name
        words = [text]
    return tuple(str(Path(word).expanduser()) for word in words)


def _run(words: Sequence[str]) -> int:
    """Run a command line as it would be typed, and return its exit code."""
    from finishlab.cli.root import finishlab

    say(f"$ finishlab {shlex.join(words)}")
    return exit_code_of(lambda: finishlab.main(["--logbook", str(logbook_folder()), *words], standalone_mode=False))
