"""``finishlab remeasure``: logged photos measured again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import json_option, open_logbook, print_document, say
from finishlab.cli.failures import show_error
from finishlab.cli.lazy import ExampleCommand

if TYPE_CHECKING:
    from finishlab.workflow.remeasuring import Remeasured


@click.command(
    cls=ExampleCommand,
    examples=("finishlab remeasure", "finishlab remeasure F1 F2 B3", "finishlab remeasure 'tread 7'"),
)
@click.argument("numbers", nargs=-1, metavar="[B1|F1|PART]...")
@json_option
def remeasure(numbers: tuple[str, ...], *, as_json: bool) -> int:
    """Measure logged photos again, with today's version and what is known today of strips and cameras.

    Without a number, all of them. Each photo is measured in the way it was; the old figures stay in the history. A
    board, spot or stair part with a photo that fails is left as it was.
    """
    from finishlab.workflow.remeasuring import remeasure as measure_again

    with open_logbook() as log:
        found = measure_again(log, numbers)
    if as_json:
        print_document({"format": "finishlab/remeasured/1", "subjects": [_entry(each) for each in found]})
    for each in found:
        if each.errors:
            say(f"{each.number} is left as it was:")
            for error in each.errors:
                show_error(error)
        elif not each.before:
            say(f"{each.number} has no photo to measure again.")
        elif not as_json:
            moves = (_moved(old.lab, new.lab) for old, new in zip(each.before, each.after, strict=True))
            click.echo(f"{each.number}: L* a* b* moved by {'; '.join(moves)}")
    if not found:
        say("Nothing is logged yet.")
    return max((int(error.exit_code) for each in found for error in each.errors), default=0)


def _entry(found: Remeasured) -> dict[str, Any]:
    """Return number, colours before and after, and failures of a board, a spot or a part."""
    return {
        "number": found.number,
        "ok": not found.errors,
        "before": [[round(value, 3) for value in each.lab] for each in found.before],
        "after": [[round(value, 3) for value in each.lab] for each in found.after],
        "errors": [error.as_dict() for error in found.errors],
    }


def _moved(old: tuple[float, float, float], new: tuple[float, float, float]) -> str:
    return " ".join(f"{after - before:+.2f}" for before, after in zip(old, new, strict=True))
