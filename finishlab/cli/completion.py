"""What a shell completes out of the logbook: boards, floor, recipes, cans, trials, parts, strips, cameras, lights.

What an argument or option takes is read off the word that stands for it in the help: ``B3`` is a board, ``PARTS`` are
parts of the stair. A new command that says ``R1`` there is completed like the others.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from finishlab.errors import FinishlabError

if TYPE_CHECKING:
    from pathlib import Path

    from finishlab.logbook import Logbook

__all__ = ["Logged", "logged", "with_completion"]

Source = Literal["B", "F", "R", "C", "H", "PART", "strip", "camera", "light"]

Words = Iterable[tuple[str, str | None]]
"""What can be typed, each with a word on it."""


def _boards(log: Logbook) -> Words:
    from finishlab.board.shown import what_it_is

    return ((each.number, what_it_is(each.record)) for each in log.boards(brief=True))


def _parts(log: Logbook) -> Words:
    stair = log.stair()
    alone = len({part.name.level for part in stair.parts}) == 1  # then a part is known without its flight
    return ((part.code.partition(".")[2] if alone else part.code, stair.words(part)) for part in stair.parts)


def _lights(log: Logbook) -> Words:
    measured = [each.measurements for each in log.boards(brief=True)]
    measured += [each.measurements for each in log.floor_spots()]
    return ((one.light, None) for several in measured for one in several)


_LOGGED: Final[Mapping[Source, Callable[[Logbook], Words]]] = {
    "B": _boards,
    "F": lambda log: ((each.number, each.record.spot) for each in log.floor_spots()),
    "R": lambda log: ((each.number, each.record.name) for each in log.recipes()),
    "C": lambda log: ((each.number, each.record.product) for each in log.cans()),
    "H": lambda log: ((each.number, each.record.kind) for each in log.trials()),
    "PART": _parts,
    "strip": lambda log: ((str(number), None) for number in log.strips()),
    "camera": lambda log: ((each.camera, each.light) for each in log.camera_profiles()),
    "light": _lights,
}


@add_completion_class
class QuotedBash(BashComplete):
    """Completion for bash that quotes what has spaces, such as the kinds of a can; click's own takes it apart."""

    name = "bash"

    def format_completion(self, item: CompletionItem) -> str:
        """Return a line of the answer."""
        return f"{item.type},{shlex.quote(item.value) if item.type == 'plain' else item.value}"


class Logged(click.ParamType[str]):
    """A text that names something that was logged, which a shell can complete."""

    name = "text"

    def __init__(self, *what: Source) -> None:
        self.what = what

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:  # noqa: ANN401
        """Return the text as it was typed."""
        del param, ctx
        return str(value)

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return what is logged and begins so."""
        del param
        return _begun(ctx, self.what, incomplete)


def logged(*what: Source) -> Callable[[click.Context, click.Parameter, str], list[CompletionItem]]:
    """Return what completes a parameter that is no plain text, for click's ``shell_complete``."""
    return lambda ctx, _, incomplete: _begun(ctx, what, incomplete)


def _begun(ctx: click.Context, what: Iterable[Source], incomplete: str) -> list[CompletionItem]:
    """Return what is logged of some kinds and begins as was typed; nothing where no logbook can be read."""
    from finishlab.cli.lazy import logbook_folder

    with ctx.scope(cleanup=False):
        folder = logbook_folder()
    try:
        found = _read(folder, what)
    except (FinishlabError, OSError):  # completing is no place to say what is wrong
        return []
    begun = incomplete.casefold()
    return [CompletionItem(word, help=said or None) for word, said in found if word.casefold().startswith(begun)]


def _read(folder: Path, what: Iterable[Source]) -> list[tuple[str, str | None]]:
    from finishlab.logbook.store import Logbook

    log_or_none = Logbook.open_existing(folder)
    if log_or_none is None:
        return []
    with log_or_none as log:
        return list(dict.fromkeys(pair for each in what for pair in _LOGGED[each](log)))


def with_completion(param: click.Parameter) -> None:
    """Let a shell complete a parameter whose word in the help names something that is logged."""
    found = re.findall(r"\b[BFRCH](?=\d)|PART|\bT(?=\d)", param.metavar or "")
    what: list[Any] = ["PART" if each == "T" else each for each in dict.fromkeys(found)]
    if "--light" in param.opts:
        what.append("light")
    if what and param.type is click.STRING:
        param.type = Logged(*what)
