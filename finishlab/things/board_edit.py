"""``finishlab board edit``: what is written of a board."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.cautions import say_cautions
from finishlab.cli.common import BeginningChoice, json_option, open_logbook, say, show_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError
from finishlab.finish.commands import CLEARABLE, draft_options, say_warnings, typed
from finishlab.records import MAX_COATS, PURPOSES
from finishlab.things.board import board_summary, boards_document, product_words

if TYPE_CHECKING:
    from finishlab.finish.entering import FinishTexts
    from finishlab.logbook import Logbook
    from finishlab.records import BoardRecord


@click.command(
    cls=ExampleCommand,
    examples=(
        'finishlab board edit B2 --topcoat "satin water polyurethane"',
        'finishlab board edit B2 --state cured --step "2: wipe=5"',
        "finishlab board edit B2 --clear coats",
    ),
)
@click.argument("number", metavar="B1")
@click.option("--species", metavar="WOOD", help="The wood.")
@click.option("--stain", metavar="TEXT", help="Stain, or stains mixed.")
@click.option("--coats", type=click.IntRange(0, MAX_COATS), metavar="N", help="Coats of stain.")
@click.option("--topcoat", metavar="TEXT", help="Topcoat and sheen.")
@click.option("--purpose", type=BeginningChoice(PURPOSES), help="What the board is for.")
@click.option("--light", metavar="TEXT", help="The light of its first photos; they move with it.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="Day of its first photos.")
@draft_options
@click.option(
    "--clear",
    type=click.Choice(CLEARABLE),
    multiple=True,
    help="Take a field or a section out; may be given more than once.",
)
@json_option
def edit(
    *,
    number: str,
    clear: tuple[str, ...],
    as_json: bool,
    finish_texts: FinishTexts,
    **values: str | int | None,
) -> None:
    """Change what is written of a board; what it was stays in its history."""
    from finishlab.finish.entering import new_warnings

    given = {name: value for name, value in values.items() if value is not None}
    _check(given, finish_texts, clear)
    with open_logbook() as log:
        before = log.board(number).record
        changes = _changes(log, before, given, finish_texts, clear)
        found = log.edit_board(number, **changes)
        if as_json:
            show_document(boards_document([found]), as_json=True)
        say(board_summary(found, "changed"))
        say_warnings(new_warnings(log, found, before))
        known = product_words(log, before)
        say_cautions(log, [word for word in product_words(log, found.record) if word not in known])


def _check(given: dict[str, Any], texts: FinishTexts, clear: tuple[str, ...]) -> None:
    """Refuse a change that says nothing, or that sets and takes out at once."""
    named = {*given, *("steps" if name == "step" else name for name in texts.given())}
    for name in clear:
        if name in named:
            raise UsageError("set-and-cleared", f"The {name} cannot be set and taken out at once.", "Name one of both.")
    if not named and not clear:
        raise UsageError("nothing-to-change", "No change is named.", "Name at least one field, see --help.")


def _changes(
    log: Logbook, before: BoardRecord, given: dict[str, Any], texts: FinishTexts, clear: tuple[str, ...]
) -> dict[str, Any]:
    """Return the record's fields that change, after asking for what is missing where that is wanted."""
    from finishlab.finish.entering import draft_like, draft_of

    draft = draft_of(before, logged=True)
    if texts.like is not None:
        draft = draft_like(log, texts.like, draft)
    draft = draft.with_said(log, typed(given, texts))
    draft = draft.without(clear)
    if texts.ask:
        from finishlab.finish.commands import ask_missing

        draft = ask_missing(draft)
    draft.record(
        keep_date=draft.fields["date"] == before.date
    )  # a value that cannot be meant is told with its own hint
    return draft.changes(before)
