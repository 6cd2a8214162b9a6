"""Options that say how a board was finished, for every command that writes a board's record."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

import click

from finishlab.cli.common import options, say
from finishlab.records import STATES

if TYPE_CHECKING:
    from finishlab.records.finish_warnings import FinishWarning
    from finishlab.things.entering import Entered, FinishTexts

__all__ = ["CLEARED", "draft_options", "say_warnings", "typed"]

Command = TypeVar("Command", bound=Callable[..., Any])

CLEARED: Final[Mapping[str, str]] = {
    "stain": "stain",
    "coats": "coats",
    "topcoat": "topcoat",
    "note": "note",
    "state": "state",
    "maker": "maker",
    "recipe": "recipe_number",
    "preparation": "preparation",
    "steps": "steps",
    "seal": "seal",
    "top": "top",
    "looking": "looking",
}
"""Name for ``--clear`` -> the record's field, or the section of its finish."""

_OPTIONS: Final = (
    click.option("--state", type=click.Choice(STATES), help="How far the finish has come."),
    click.option("--maker", metavar="NAME", help="Who made the board."),
    click.option("--recipe", metavar="R1", help="Its recipe, by number or name; its finish is the recipe's."),
    click.option("--preparation", metavar="FIELDS", help='The wood: "size=150x300x19; grits=80-100-120; raised=yes".'),
    click.option(
        "--step",
        "steps",
        metavar="FIELDS",
        multiple=True,
        help='A colour step, in order; repeatable: "oil; maker=Acme; colour=honey; lot=7; wipe=10; coats=2". '
        '"2: wipe=5" changes step 2 of a logged board, or adds it where there is one.',
    ),
    click.option("--seal", metavar="FIELDS", help='The sealer: "shellac; coats=1".'),
    click.option(
        "--top", metavar="FIELDS", help='The topcoat in full: "water pu; sheen=satin; gloss=30; coats=3; recoat=4".'
    ),
    click.option("--looking", metavar="FIELDS", help='How it lay: "place=on the floor; grain=parallel".'),
    click.option("--like", metavar="B3", help="As this board's record; whatever else is said wins."),
    click.option("--from", "file", metavar="FILE", type=click.Path(), help="The record from a TOML or CSV file."),
    click.option("--row", type=click.IntRange(1), metavar="N", help="With --from: the row of a CSV file with several."),
    click.option("--ask", is_flag=True, help="Ask for whatever is missing."),
)
_TEXTS: Final = ("preparation", "steps", "seal", "top", "looking")
_SOURCES: Final = ("recipe", "like", "file", "row", "ask")


def draft_options(command: Command) -> Command:
    """Add the options; the command is given them as one `finish_texts`."""

    @functools.wraps(command)
    def gathered(*args: object, **others: Any) -> object:  # noqa: ANN401 - click's own
        from finishlab.things.entering import FinishTexts

        texts = FinishTexts(**{name: others.pop(name) for name in (*_TEXTS, *_SOURCES)})
        return command(*args, finish_texts=texts, **others)

    return options(*_OPTIONS)(cast("Command", gathered))


def typed(fields: Mapping[str, Any], texts: FinishTexts) -> list[Entered]:
    """Return what a file and the options say, the stronger last."""
    from finishlab.things.entering import entered_texts
    from finishlab.things.record_file import read_record_file

    said = [] if texts.file is None else [read_record_file(texts.file, texts.row)]
    return [*said, entered_texts(fields, texts)]


def say_warnings(warnings: Iterable[FinishWarning]) -> None:
    """Say what is likely a slip in a record."""
    for warning in warnings:
        say(f"Worth a thought: {warning.message}")
