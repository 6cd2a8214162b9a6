"""``finishlab history``, ``undo`` and ``redo``: what was done, and taking it back step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, print_document, say
from finishlab.cli.lazy import ExampleCommand

if TYPE_CHECKING:
    from collections.abc import Sequence

    from finishlab.logbook import Undone

_NEWEST = 20
_NAMED = 12


@click.command(
    cls=ExampleCommand,
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
    examples=("finishlab undo", "finishlab undo B3", "finishlab undo 2.T7", 'finishlab undo "flight 1"'),
)
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@json_option
def undo(*, subject: str | None, as_json: bool) -> None:
    """Take back what the last command changed, in the whole logbook or of one subject; again for the one before.

    Nothing is lost: it is a change of its own, and redo brings back what was taken back.
    """
    with open_logbook() as log:
        _tell("Taken back", "undo", log.undo(subject), as_json=as_json)


@click.command(
    cls=ExampleCommand,
    examples=("finishlab redo", "finishlab redo B3"),
)
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@json_option
def redo(*, subject: str | None, as_json: bool) -> None:
    """Bring back what the last undo took back; again for the one before, until something new is logged."""
    with open_logbook() as log:
        _tell("Brought back", "redo", log.redo(subject), as_json=as_json)


def _tell(said: str, step: str, done: Sequence[Undone], *, as_json: bool) -> None:
    from finishlab.workflow.rows import change_entry, change_line

    if as_json:
        changes = [
            {"subject": each.subject, "change": change_entry(each.change), "entry": change_entry(each.entry)}
            for each in done
        ]
        print_document({"format": f"finishlab/{step}/1", "changes": changes})
        return
    subjects: dict[str, list[str]] = {}
    for each in done:
        subjects.setdefault(change_line(each.change), []).append(each.subject)
    for line, names in subjects.items():
        more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
        say(f"{said}, of {', '.join(names[:_NAMED])}{more}: {line}.")
