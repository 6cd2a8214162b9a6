"""``finishlab board``: the test boards."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from finishlab.cli.common import colour_words, json_option, open_logbook, photos_words, show_document
from finishlab.cli.kinds import list_command, remove_command, show_command
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.show import jsons
from finishlab.show.document import Block, Colour, Document, Facts, Line, Listing
from finishlab.show.kind import Field, Kind
from finishlab.things.measured import colours, lights, measured, past

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from finishlab.logbook import Logbook, StoredBoard
    from finishlab.records import BoardRecord
    from finishlab.reports.rows import BoardRow

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


def _row(board: StoredBoard, light: str | None = None) -> BoardRow:
    from finishlab.workflow.rows import board_row

    return board_row(board, light)


def _what(record: BoardRecord) -> str:
    from finishlab.reports.rows import what_it_is

    return what_it_is(record)


def _page(log: Logbook, board: BoardRow) -> list[Block]:
    from finishlab.reports.details import label_facts
    from finishlab.reports.sentences import interval

    pairs = [f"dE00 {pair.value:.1f} ({interval(pair)})" for pair in board.pairs]
    return [
        Facts(f"Board {board.number}", label_facts(board.record)),
        *measured(log, board.colours),
        Listing("Measured with the floor in the same photo", pairs),
        past(log, board.number),
    ]


BOARD: Kind[StoredBoard, BoardRow] = Kind(
    command="board",
    letter="B",
    format="boards",
    fields=(
        Field(lambda board: board.number, key="board", head="board"),
        Field(lambda board: board.record.as_dict(), key="record"),
        Field(lambda board: Colour(board.lab), key="lab", head="L* a* b*"),
        Field(lambda board: board.light, key="light"),
        Field(lambda board: _what(board.record), head="what it is", fold=True),
        Field(lambda board: board.record.purpose, head="purpose", fold=True),
        Field(lights, head="light", fold=True),
        Field(lambda board: board.record.date, head="date"),
        Field(colours, key="measurements"),
        Field(lambda board: [jsons.difference(pair) for pair in board.pairs], key="direct_pairs"),
    ),
    none="No test board is logged yet. Add one: finishlab board add PHOTO --species WOOD",
    page=_page,
    read=lambda log, light: [_row(each) for each in log.boards(light)],
    find=lambda log, number: log.board(number),
    row=lambda _, board: _row(board),
    remove=lambda log, number: log.remove_board(number),
)


def boards_document(boards: Sequence[StoredBoard], light: str | None = None) -> Document:
    """Return logged boards for JSON, their colours those in a light."""
    return BOARD.document([_row(board, light) for board in boards])


def board_summary(board: StoredBoard, done: str = "logged") -> str:
    """Return a board in one line: what it is, its colour, its photos."""
    return f"{board.number} {done}: {_what(board.record)}{_lit(_row(board))}, {photos_words(board)}."


def photos_summary(board: StoredBoard, added: int, light: str) -> str:
    """Return in one line what further photos of a board showed: its colour in their light, beside all it has."""
    count = f"{added} photo{'' if added == 1 else 's'}"
    colour = colour_words(_row(board, light).lab)
    return f"{board.number}: {count} added{colour} in {light}; now {photos_words(board)}."


def _lit(row: BoardRow) -> str:
    """Return a colour, with its light where the board was measured in several."""
    several = len({colour.light for colour in row.colours}) > 1
    return colour_words(row.lab) + (f" in {row.light}" if several and row.light is not None else "")


def product_words(log: Logbook, *records: BoardRecord) -> list[str]:
    """Return the words of boards' finishes, in short and in full, that say what was put on."""
    from finishlab.finish.finish import Finish
    from finishlab.recipe.records import products_of

    cans = {can.number.key: can.record for can in log.cans()}
    words = []
    for record in records:
        words += [text for text in (f"{record.stain} stain" if record.stain else None, record.topcoat) if text]
        words += products_of(record.finish or Finish(), cans)
    return words


@click.group(cls=LazyGroup, lazy=_COMMANDS)
def board() -> None:
    """Log and look up test boards.

    Lay the board flush against the strip's board edge and photograph both from straight above.
    """


@click.command(
    cls=ExampleCommand,
    examples=("finishlab board history B1",),
)
@click.argument("number", metavar="B1")
@json_option
def history(*, number: str, as_json: bool) -> None:
    """Show what was done to a board, also a removed one."""
    from finishlab.workflow.rows import change_entry, change_line

    with open_logbook() as log:
        changes = log.history(number)
    data = {"board": number.strip().upper(), "changes": [change_entry(change) for change in changes]}
    lines = [Line(change_line(change), whole=True) for change in changes]
    show_document(Document("history", data, lines), as_json=as_json)


list_boards = list_command(BOARD, "List the test boards.", by_light=True)
show = show_command(BOARD, "Show all that is logged of a board.")
remove = remove_command(
    BOARD,
    "Leave boards out from now on; their photos and history stay, and no number is given twice.",
    "B3",
    kept="its photos and history stay",
)
