"""``finishlab approve`` and ``standard``: which board was chosen, when and why."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, out, print_document, say
from finishlab.cli.lazy import ExampleCommand

if TYPE_CHECKING:
    from finishlab.records import BoardRecord


@click.command(
    cls=ExampleCommand,
    short_help="Make a board's recipe the standard for the treads.",
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
    from finishlab.reports.recipe_text import standards_document
    from finishlab.workflow.board.finish_context import finish_context
    from finishlab.workflow.recipes import standard_rows

    with open_logbook() as log:
        made = log.approve(number, reason=reason, date=None if date is None else parse_date(date))
        board = log.board(number)
        context = replace(finish_context(log, board, deciding=True), on_tread=True)
        if not _topcoated(board.record):
            context = replace(context, state=board.record.state or "stain dry")
        whole = replace(board.record, finish=long_form(board.record), latest=board.record.date)
        slips = board_warnings(whole, context)
        rows = standard_rows(log)
        name = next((found.record.name for found in log.recipes() if found.number == made.approval.recipe), "")
    if as_json:
        print_document(standards_document(rows))
    chosen = made.approval
    say(f"{chosen.recipe} ({name}) is the standard, by board {chosen.board}, from {chosen.date} on.")
    for slip in slips:
        say(f"Worth a thought: {slip.message}")
    say("Prove it on one whole tread first (common practice, no source), and keep the board.")


def _topcoated(record: BoardRecord) -> bool:
    return record.topcoat is not None or (record.finish is not None and record.finish.topcoat is not None)


@click.command(
    cls=ExampleCommand,
    short_help="Show the approved standard, and with --all the earlier ones.",
    examples=("finishlab standard", "finishlab standard --all"),
)
@click.option("--all", "earlier", is_flag=True, help="Earlier standards too, the newest first.")
@json_option
def standard(*, earlier: bool, as_json: bool) -> None:
    """Show the approved standard: recipe, board, day, reason, and the finish as it was approved."""
    from finishlab.reports.recipe_text import print_standards, standards_document
    from finishlab.workflow.recipes import standard_rows

    with open_logbook() as log:
        rows = standard_rows(log, earlier=earlier)
    if as_json:
        print_document(standards_document(rows))
    else:
        print_standards(out(), rows)
