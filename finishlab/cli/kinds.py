"""The commands that every kind of thing has: list, show and remove."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from finishlab.cli.common import (
    json_option,
    open_logbook,
    print_removed,
    print_results,
    say,
    say_undo,
    show_document,
)
from finishlab.cli.lazy import ExampleCommand
from finishlab.show.kind import Kind, Numbered

if TYPE_CHECKING:
    from finishlab.logbook import Logbook

__all__ = ["light_option", "list_command", "print_logged", "remove_command", "show_command"]

Stored = TypeVar("Stored", bound=Numbered)

light_option = click.option("--light", metavar="TEXT", help="Only what was taken in this light.")


def list_command(kind: Kind[Any, Any], words: str, *, by_light: bool = False) -> click.Command:
    """Return the command that lists a kind of thing; `by_light` for what was photographed."""

    def listed(*, as_json: bool, light: str | None = None) -> None:
        with open_logbook() as log:
            rows = kind.read(log, light)
        show_document(kind.document(rows, kind.listing(rows)), as_json=as_json)

    example = f"finishlab {kind.command} list{' --light daylight' if by_light else ''}"
    command = json_option(listed)
    return _command("list", light_option(command) if by_light else command, words, example)


def show_command(kind: Kind[Any, Any], words: str) -> click.Command:
    """Return the command that shows all that is told of one thing."""

    def show(*, number: str, as_json: bool) -> None:
        with open_logbook() as log:
            row = kind.row(log, kind.find(log, number))
            document = kind.document([row], kind.page(log, row))
        show_document(document, as_json=as_json)

    first = f"{kind.letter}1"
    command = click.argument("number", metavar=first)(json_option(show))
    return _command("show", command, words, f"finishlab {kind.command} show {first}")


def remove_command(
    kind: Kind[Any, Any],
    words: str,
    example: str,
    *,
    kept: str = "its history stays",
    then: Callable[[Logbook, Sequence[Any]], None] | None = None,
) -> click.Command:
    """Return the command that leaves things out from now on.

    Parameters
    ----------
    kind
        What is removed.
    words
        The help.
    example
        A number for the example.
    kept
        What is not lost.
    then
        What is to be said once they are removed, as they were stored.
    """

    def remove(*, numbers: tuple[str, ...], as_json: bool) -> None:
        with open_logbook() as log:
            found = {each.number: each for each in (kind.find(log, number) for number in numbers)}
            log.remove(*found)
            for number in found:
                say(f"{number} is removed; {kept}.")
            say_undo()
            if as_json:
                print_removed(list(found))
            if then is not None:
                then(log, list(found.values()))

    command = click.argument("numbers", metavar=f"{kind.letter}1...", nargs=-1, required=True)(json_option(remove))
    return _command("remove", command, words, f"finishlab {kind.command} remove {example}")


def print_logged(
    kind: Kind[Stored, Any], log: Logbook, stored: Sequence[Stored], *, as_json: bool, changed: bool = False
) -> None:
    """Print the numbers of what was just logged, nothing of what was only `changed`; with ``--json`` the things."""
    if as_json:
        show_document(kind.document([kind.row(log, each) for each in stored]), as_json=True)
    elif not changed:
        print_results("\n".join(each.number for each in stored))


def _command(name: str, callback: Callable[..., Any], words: str, example: str) -> click.Command:
    return click.command(name, cls=ExampleCommand, help=words, examples=(example,))(callback)
