"""``finishlab history`` and ``undo``: what was done, and taking the last of it back."""

from __future__ import annotations

import click

from finishlab.cli.common import json_option, open_logbook, print_document, say
from finishlab.cli.lazy import ExampleCommand

_NEWEST = 20


@click.command(
    cls=ExampleCommand,
    short_help="Show what was changed: who, when, what.",
    examples=("finishlab history", "finishlab history B3", "finishlab history standard", "finishlab history 2.T7"),
)
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@click.option("--last", type=click.IntRange(1), metavar="N", help=f"Only the newest. [without a subject: {_NEWEST}]")
@json_option
def history(*, subject: str | None, last: int | None, as_json: bool) -> None:
    """Show what was changed, first to last: who, when, what; also of what is removed.

    Without a subject, the newest changes of the whole logbook.
    """
    from finishlab.workflow.rows import change_entry, change_line

    newest = last if last is not None or subject is not None else _NEWEST
    with open_logbook() as log:
        changes = log.history(subject, last=newest)
    if as_json:
        entries = [{"subject": change.subject, **change_entry(change)} for change in changes]
        print_document({"format": "finishlab/history/1", "changes": entries})
        return
    if not changes:
        say("Nothing is logged yet.")
    for change in changes:
        click.echo(change_line(change) if subject is not None else f"{change.subject}: {change_line(change)}")


@click.command(
    cls=ExampleCommand,
    short_help="Take the last change back, as a change of its own.",
    examples=("finishlab undo", "finishlab undo B3", "finishlab undo 2.T7"),
)
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@json_option
def undo(*, subject: str | None, as_json: bool) -> None:
    """Take the last change back, of one subject or of the whole logbook.

    That is a change of its own: nothing is lost, and doing it again brings the change back.
    """
    from finishlab.workflow.rows import change_entry, change_line

    with open_logbook() as log:
        done = log.undo(subject)
    if as_json:
        print_document(
            {
                "format": "finishlab/undo/1",
                "subject": done.subject,
                "undone": change_entry(done.change),
                "entry": change_entry(done.entry),
            }
        )
    say(f"Taken back, of {done.subject}: {change_line(done.change)}.")
