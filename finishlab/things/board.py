"""``finishlab board``: the test boards."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, out, print_document, print_removed, say
from finishlab.cli.lazy import ExampleCommand, LazyGroup

if TYPE_CHECKING:
    from collections.abc import Mapping

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.things.board_add:add", "Measure photos of a test board and log them."),
    "import": ("finishlab.things.board_import:import_boards", "Log every row of a CSV file as a board."),
    "list": ("finishlab.things.board:list_boards", "List the test boards."),
    "show": ("finishlab.things.board:show", "Show all that is logged of a board."),
    "compare": ("finishlab.things.board_compare:compare", "Show what differs between two boards, and their colours."),
    "edit": ("finishlab.things.board_edit:edit", "Change what is written of a board."),
    "remove": ("finishlab.things.board:remove", "Leave boards out from now on; their history stays."),
    "history": ("finishlab.things.board:history", "Show what was done to a board, also a removed one."),
}


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Log and look up test boards.")
def board() -> None:
    """Log and look up test boards.

    Lay the board flush against the strip's board edge and photograph both from straight above.
    """


@click.command(
    "list",
    cls=ExampleCommand,
    short_help="List the test boards.",
    examples=("finishlab board list --light daylight",),
)
@click.option("--light", metavar="TEXT", help="Only what was taken in this light.")
@json_option
def list_boards(*, light: str | None, as_json: bool) -> None:
    """List the test boards."""
    from finishlab.reports.documents import boards_document
    from finishlab.reports.terminal import print_boards
    from finishlab.workflow.rows import board_row

    with open_logbook() as log:
        rows = [board_row(each) for each in log.boards(light)]
    if as_json:
        print_document(boards_document(rows))
    else:
        print_boards(out(), rows)


@click.command(
    cls=ExampleCommand,
    short_help="Show all that is logged of a board.",
    examples=("finishlab board show B1",),
)
@click.argument("number", metavar="B1")
@json_option
def show(*, number: str, as_json: bool) -> None:
    """Show all that is logged of a board."""
    from finishlab.reports.documents import boards_document
    from finishlab.reports.terminal import print_board
    from finishlab.workflow.rows import board_row, photo_namer

    with open_logbook() as log:
        found = log.board(number)
        if as_json:
            print_document(boards_document([board_row(found)]))
            return
        row = board_row(found, name=photo_namer(log), history=log.history(found.number))
    print_board(out(), row)


@click.command(
    cls=ExampleCommand,
    short_help="Leave boards out from now on; their history stays.",
    examples=("finishlab board remove B3",),
)
@click.argument("numbers", metavar="B1...", nargs=-1, required=True)
@json_option
def remove(numbers: tuple[str, ...], *, as_json: bool) -> None:
    """Leave boards out from now on; their photos and history stay, and no number is given twice."""
    with open_logbook() as log:
        found = [log.board(number).number for number in numbers]
        for number in dict.fromkeys(found):
            log.remove_board(number)
            say(f"{number} is removed; its photos and history stay.")
    if as_json:
        print_removed(list(dict.fromkeys(found)))


@click.command(
    cls=ExampleCommand,
    short_help="Show what was done to a board, also a removed one.",
    examples=("finishlab board history B1",),
)
@click.argument("number", metavar="B1")
@json_option
def history(*, number: str, as_json: bool) -> None:
    """Show what was done to a board, also a removed one."""
    from finishlab.colorimetry.estimate import COLOUR_SPACE
    from finishlab.workflow.rows import change_entry, change_line

    with open_logbook() as log:
        changes = log.history(number)
    if as_json:
        entries = [change_entry(change) for change in changes]
        head = {"format": "finishlab/history/1", "colour_space": COLOUR_SPACE, "board": number.strip().upper()}
        print_document({**head, "changes": entries})
        return
    for change in changes:
        click.echo(change_line(change))
