"""``finishlab approve`` and ``standard``: which board was chosen, when and why."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, say, show_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.show.document import Document, Facts, Line

if TYPE_CHECKING:
    from finishlab.logbook import Logbook, StoredApproval
    from finishlab.records import BoardRecord


def _document(log: Logbook, *, earlier: bool = False) -> Document:
    """Return today's standard, or with `earlier` every one there was, the newest first."""
    names = {found.number: found.record.name for found in log.recipes()}
    shown = [each for each in reversed(log.standards()) if earlier or each.ended is None]
    data = [
        {
            "recipe": each.approval.recipe,
            "name": names.get(each.approval.recipe),
            "board": each.approval.board,
            "record": each.approval.as_dict(),
            "ended": None if each.ended is None else each.ended.date().isoformat(),
        }
        for each in shown
    ]
    none = Line("No standard is approved yet. Approve a board: finishlab approve B3 --reason TEXT")
    blocks = [_facts(each, names.get(each.approval.recipe)) for each in shown]
    return Document("standard", {"standards": data}, blocks or [none])


def _facts(standard: StoredApproval, name: str | None) -> Facts:
    from finishlab.reports.details import finish_rows

    approval, ended = standard.approval, standard.ended
    until = "" if ended is None else f", until {ended.date()}"
    return Facts(
        "The standard" if ended is None else "An earlier standard",
        (
            ("recipe", " ".join(word for word in (approval.recipe, name) if word)),
            ("board", approval.board),
            ("approved", f"{approval.date} by {approval.who}{until}"),
            ("reason", approval.reason),
            *finish_rows(approval.finish),
        ),
    )


@click.command(
    cls=ExampleCommand,
    examples=('finishlab approve B10 --reason "closest by day and by lamp"',),
)
@click.argument("number", metavar="B3")
@click.option("--reason", metavar="TEXT", help="Why this one.")
@click.option("--date", metavar="DATE", help="Day of the decision, e.g. 2024-05-31. [default: today]")
@json_option
def approve(*, number: str, reason: str | None, date: str | None, as_json: bool) -> None:
    """Make a board's recipe the standard for the treads; the standard before stays on record.

    A board without a recipe gets one, made from what is written of it. Keep the board itself: it is what later coats
    are held against.
    """
    from finishlab.records import parse_date
    from finishlab.records.finish_warnings import board_warnings
    from finishlab.records.short_text import long_form
    from finishlab.stair.shown import recipe_changes
    from finishlab.things.finish_context import finish_context

    with open_logbook() as log:
        before = log.stair()
        made = log.approve(number, reason=reason, date=None if date is None else parse_date(date))
        board = log.board(number)
        context = replace(finish_context(log, board, deciding=True), on_tread=True)
        if not _topcoated(board.record):
            context = replace(context, state=board.record.state or "stain dry")
        whole = replace(board.record, finish=long_form(board.record), latest=board.record.date)
        slips = board_warnings(whole, context)
        document, chosen = _document(log), made.approval
        name = log.recipe(chosen.recipe).record.name
        changes = recipe_changes(before, log.stair())
    if as_json:
        show_document(document, as_json=True)
    say(f"{chosen.recipe} ({name}) is the standard, by board {chosen.board}, from {chosen.date} on.")
    for change in changes:
        say(f"  {change}")
    for slip in slips:
        say(f"Worth a thought: {slip.message}")
    say("Prove it on one whole tread first (common practice, no source), and keep the board.")


def _topcoated(record: BoardRecord) -> bool:
    return record.topcoat is not None or (record.finish is not None and record.finish.topcoat is not None)


@click.command(
    cls=ExampleCommand,
    examples=("finishlab standard", "finishlab standard --all"),
)
@click.option("--all", "earlier", is_flag=True, help="Earlier standards too, the newest first.")
@json_option
def standard(*, earlier: bool, as_json: bool) -> None:
    """Show the approved standard: recipe, board, day, reason, and the finish as it was approved."""
    with open_logbook() as log:
        document = _document(log, earlier=earlier)
    show_document(document, as_json=as_json)
