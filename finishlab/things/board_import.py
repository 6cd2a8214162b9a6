"""``finishlab board import``: many boards from one CSV file."""

from __future__ import annotations

from collections.abc import Mapping

import click

from finishlab.cli.cautions import say_cautions
from finishlab.cli.common import json_option, open_logbook, say, show_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.things.board import boards_document, product_words


@click.command(
    "import",
    cls=ExampleCommand,
    examples=("finishlab board import boards.csv",),
)
@click.argument("file", metavar="FILE.csv", type=click.Path())
@json_option
def import_boards(*, file: str, as_json: bool) -> None:
    """Log every row of a CSV file as a board; print their numbers.

    The head names the fields: species, stain, coats, topcoat, purpose, state, date, note, and those of the finish such
    as preparation.grits or steps.1.kind. If one row is wrong, none is logged. Photos come afterwards: finishlab board
    add PHOTO --to B1
    """
    from finishlab.things.board_rows import import_boards as imported
    from finishlab.things.board_rows import rows_words

    with open_logbook(make=True) as log:
        done = imported(log, file)
        if as_json:
            show_document(boards_document(done.boards), as_json=True)
        else:
            click.echo("\n".join(board.number for board in done.boards))
        first, last = done.boards[0].number, done.boards[-1].number
        span = first if first == last else f"{first} to {last}"
        what = "1 board" if first == last else f"{len(done.boards)} boards"
        say(f"{what} logged: {span}. Add a photo with: finishlab board add PHOTO --to {first}")
        for message, rows in done.warnings.items():
            say(f"Worth a thought, {rows_words(rows)}: {message}")
        if done.seen:
            twice = rows_words(list(done.seen))
            say(f"Worth a thought, {twice}: a board that says just the same was logged before: {_named(done.seen)}.")
        say_cautions(log, product_words(log, *(board.record for board in done.boards)))


def _named(seen: Mapping[int, str]) -> str:
    numbers = list(dict.fromkeys(seen.values()))
    return ", ".join(numbers[:5]) + (f" and {len(numbers) - 5} more" if len(numbers) > 5 else "")
