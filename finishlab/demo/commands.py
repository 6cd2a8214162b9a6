"""``finishlab demo``: the whole way on rendered photos, by the very commands a user would type."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import click

from finishlab.cli.common import json_option, print_document, say
from finishlab.cli.lazy import ExampleCommand

__all__ = ["demo"]

_LIGHTS: Final = ("daylight", "evening lamp")
_TITLE: Final = "Demo: stair treads of cherry for a smoked-larch floor"


@click.command(
    cls=ExampleCommand,
    examples=(
        "finishlab demo",
        "finishlab demo --into /tmp/stairs",
    ),
)
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    default=Path("finishlab-demo"),
    show_default=True,
    metavar="DIR",
    help="New or empty folder for the demo's logbook and report; an earlier demo in it is made anew.",
)
@json_option
def demo(*, into: Path, as_json: bool) -> int:
    """Try it all on rendered sample photos.

    A logbook is made by the very commands a user would type, then the boards are ranked and a report is written. Floor
    and boards are invented and their photos are computed; only the measuring is real.
    """
    from finishlab.demo.place import PAGE, PDF, prepare, samples_home
    from finishlab.demo.story import commands

    folder, home = into.expanduser().absolute(), samples_home()
    if prepare(folder, home):
        say(f"The earlier demo in {folder} is made anew.")
    say("The photos of this demo are rendered: computed, not taken. Floor, boards and stains are invented.\n")
    say(f"$ cd {_word(str(home))}\n$ export FINISHLAB_LOGBOOK={_word(str(folder))}")
    told: set[str] = set()
    with contextlib.chdir(home):
        for words in commands():
            code = _log(folder, words, told)
            if code:
                return code
        if not as_json:
            for light in _LIGHTS:
                _rank(folder, light)
        documents = _rankings(folder) if as_json else {}
        _report(folder)
    if as_json:
        print_document(
            {
                "format": "finishlab/demo/1",
                "colour_space": "CIELAB D65 2deg",
                "rendered": True,
                "logbook": str(folder),
                "page": str(folder / PAGE),
                "pdf": str(folder / PDF),
                "rankings": documents,
            }
        )
    else:
        click.echo(f"\nLogbook: {folder}\nPage: {folder / PAGE}\nPDF: {folder / PDF}")
    return 0


def _rankings(folder: Path) -> dict[str, Any]:
    """Return light -> its ranking as a ``finishlab/ranking/1`` document."""
    from finishlab.logbook import Logbook
    from finishlab.rank.comparing import rank_boards
    from finishlab.rank.documents import ranking_data
    from finishlab.show.document import Document
    from finishlab.show.jsons import json_form

    with Logbook.open(folder) as log:
        return {light: json_form(Document("ranking", ranking_data(rank_boards(log, light=light)))) for light in _LIGHTS}


def _report(folder: Path) -> None:
    """Write the report; what the command says of it is said by the demo itself."""
    from finishlab.demo.place import PAGE, PDF

    words = ("report", "--title", _TITLE, "--output", str(folder / PAGE), "--pdf", str(folder / PDF))
    say(f"\n$ finishlab {_line(words)}")
    with contextlib.redirect_stdout(io.StringIO()):
        _run(folder, words)


def _log(folder: Path, words: Sequence[str], told: set[str]) -> int:
    """Run one command that logs something; what it says goes to stderr, cautions only the first time."""
    say(f"\n$ finishlab {_line(words)}")
    talk = io.StringIO()
    try:
        with contextlib.redirect_stderr(talk), contextlib.redirect_stdout(talk):
            code = _run(folder, words)
    finally:
        for line in talk.getvalue().splitlines():
            if not (line.startswith("Caution:") and line in told):
                say(line)
            told.add(line)
    return code


def _rank(folder: Path, light: str) -> None:
    words = ("rank",) if light == _LIGHTS[0] else ("rank", "--light", light)
    say(f"\n$ finishlab {_line(words)}")
    sys.stderr.flush()
    _run(folder, words)
    click.echo()
    sys.stdout.flush()


def _run(folder: Path, words: Sequence[str]) -> int:
    """Run a command line as the shell would, but in this process; failures are raised."""
    from finishlab.cli.root import finishlab

    code = finishlab.main(["--logbook", str(folder), *words], standalone_mode=False)
    return code if isinstance(code, int) else 0


def _line(words: Sequence[str]) -> str:
    return " ".join(_word(word) for word in words)


def _word(word: str) -> str:
    return f'"{word}"' if " " in word or "," in word else word
