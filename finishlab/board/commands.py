"""The commands ``finishlab board``: what is told of a board, its list and page; edit, compare, import."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import click

from finishlab.board.records import MAX_COATS, PURPOSES
from finishlab.board.shown import colours, lights, measured, past
from finishlab.cli.cautions import say_cautions
from finishlab.cli.common import (
    BeginningChoice,
    colour_words,
    confirm_floor_option,
    json_option,
    open_logbook,
    photos_words,
    print_results,
    say,
    say_undo,
    show_document,
)
from finishlab.cli.kinds import list_command, remove_command, show_command
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.finish.commands import CLEARABLE, draft_options, say_warnings, typed
from finishlab.record import Number
from finishlab.show import jsons
from finishlab.show.document import Block, Cell, Colour, Column, Document, Facts, Interval, Line, Listing, Table
from finishlab.show.kind import Field, Kind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from finishlab.board.records import BoardRecord
    from finishlab.board.shown import BoardRow
    from finishlab.colorimetry.difference import DeltaE, SignedDifference
    from finishlab.colorimetry.estimate import LabEstimate
    from finishlab.finish.entering import FinishTexts
    from finishlab.logbook import Logbook, StoredBoard

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.board.adding:add", "Measure photos of a test board and log them."),
    "import": ("finishlab.board.commands:import_boards", "Log every row of a CSV file as a board."),
    "list": ("finishlab.board.commands:list_boards", "List the test boards."),
    "show": ("finishlab.board.commands:show", "Show all that is logged of a board."),
    "compare": ("finishlab.board.commands:compare", "Show what differs between two boards, and their colours."),
    "edit": ("finishlab.board.commands:edit", "Change what is written of a board."),
    "remove": ("finishlab.board.commands:remove", "Leave boards out from now on; their history stays."),
    "history": ("finishlab.board.commands:history", "Show what was done to a board, also a removed one."),
}


def _row(board: StoredBoard, light: str | None = None) -> BoardRow:
    from finishlab.board.shown import board_row

    return board_row(board, light)


def _what(record: BoardRecord) -> str:
    from finishlab.board.shown import what_it_is

    return what_it_is(record)


def _page(log: Logbook, board: BoardRow) -> list[Block]:
    from finishlab.board.shown import label_facts
    from finishlab.rank.sentences import interval

    pairs = [f"dE00 {pair.value:.1f} ({interval(pair)})" for pair in board.pairs]
    pairs += [f"dE00 {pair.value:.1f}: not counted, it may not be the floor" for pair in board.in_doubt]
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
        Field(lambda board: [jsons.difference(pair) for pair in board.in_doubt], key="pairs_in_doubt"),
    ),
    none="No test board is logged yet. Add one: finishlab board add PHOTO --species WOOD",
    page=_page,
    read=lambda log, light: [_row(each) for each in log.boards(light)],
    find=lambda log, number: log.board(number),
    row=lambda _, board: _row(board),
)


def boards_document(boards: Sequence[StoredBoard], light: str | None = None) -> Document:
    """Return logged boards for JSON, their colours those in a light."""
    return BOARD.document([_row(board, light) for board in boards])


def board_summary(board: StoredBoard, done: str = "logged") -> str:
    """Return a board in one line: what it is, its colour, its photos."""
    purpose = "" if board.record.purpose == "candidate" else f" ({board.record.purpose})"
    said = f"{_what(board.record)}{purpose}{found_words(board) if done == 'logged' else _lit(_row(board))}"
    return f"{board.number} {done}: {said}, {photos_words(board)}."


def found_words(board: StoredBoard) -> str:
    """Return, for the end of a line, a board's colour and how far it is from the floor beside it."""
    return f"{_lit(_row(board))}{_beside(board)}"


def photos_summary(board: StoredBoard, added: int, light: str) -> str:
    """Return in one line what further photos of a board showed: its colour in their light, beside all it has."""
    count = f"{added} photo{'' if added == 1 else 's'}"
    colour = colour_words(_row(board, light).lab)
    return f"{board.number}: {count} added{colour} in {light}{_beside(board, light)}; now {photos_words(board)}."


def _beside(board: StoredBoard, light: str | None = None) -> str:
    """Return how far a board is from the floor in its last photo with both; nothing where that is in doubt."""
    pairs = [pair.delta_e00 for pair in board.pairs if not pair.in_doubt and light in {None, pair.light}]
    return (
        ", dE00 {:.1f} ({:.1f} to {:.1f}) from the floor beside it".format(*pairs[-1].as_dict().values())
        if pairs
        else ""
    )


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
    from finishlab.logbook.wording import change_entry, change_line

    board = Number.read("B", number)
    with open_logbook() as log:
        changes = log.history(board)
    data = {"board": board, "changes": [change_entry(change) for change in changes]}
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


Value = TypeVar("Value")

_PARTS = ("preparation", "steps", "seal", "topcoat", "looking")


@dataclass(frozen=True, slots=True)
class _Fields:
    """One field that both boards, or one of them, have."""

    name: str
    """Path in the record's JSON."""
    label: str
    words: tuple[str | None, str | None]
    """In words; None where a board does not say it."""
    values: tuple[Any, Any]
    """As in the record's JSON."""


@dataclass(frozen=True, slots=True)
class _Colours:
    """The two boards' colours in one light, each from all its photos in it."""

    light: str
    labs: tuple[tuple[float, float, float], tuple[float, float, float]]
    photos: tuple[int, int]
    delta_e00: DeltaE
    difference: SignedDifference
    """The second board minus the first."""
    in_words: str


@click.command(cls=ExampleCommand, examples=("finishlab board compare B2 B5",))
@click.argument("first", metavar="B2")
@click.argument("second", metavar="B5")
@json_option
def compare(*, first: str, second: str, as_json: bool) -> None:
    """Show every field that differs between two boards, and how far apart their colours are in each light."""
    with open_logbook() as log:
        one, two = log.board(first), log.board(second)
    if one.number == two.number:
        raise UsageError("same-board", f"{one.number} is named twice.", "Name two boards.")
    show_document(_document(one, two), as_json=as_json)


def _document(one: StoredBoard, two: StoredBoard) -> Document:
    """Hold two boards against each other."""
    from finishlab.show import jsons

    numbers = (one.number, two.number)
    fields = _fields(one, two)
    differ = [each for each in fields if each.values[0] != each.values[1]]
    lights = [list(dict.fromkeys(m.light for m in board.measurements)) for board in (one, two)]
    colours = [_colours(one, two, light) for light in lights[0] if light in lights[1]]
    alone = [[light for light in mine if light not in other] for mine, other in (lights, lights[::-1])]
    only = {number: found for number, found in zip(numbers, alone, strict=True) if found}

    def by(values: Sequence[Value]) -> dict[str, Value]:
        return dict(zip(numbers, values, strict=True))

    data = {
        "boards": list(numbers),
        "fields": [{"field": f.name, "label": f.label, **by(f.values)} for f in differ],
        "fields_alike": len(fields) - len(differ),
        "colours": [
            {
                "light": each.light,
                "lab": by([jsons.lab(lab) for lab in each.labs]),
                "photos": by(each.photos),
                "delta_e00": jsons.difference(each.delta_e00),
                "difference": jsons.difference(each.difference),
                "in_words": each.in_words,
            }
            for each in colours
        ],
        "one_board_only": only,
    }
    blocks = [Line(f"{one.number} beside {two.number}"), *_field_blocks(numbers, differ, len(fields) - len(differ))]
    blocks += _colour_blocks(numbers, colours)
    notes = [f"{number} alone was measured in {', '.join(lights)}." for number, lights in only.items()]
    return Document("board-comparison", data, [*blocks, Listing("Notes", notes)])


def _field_blocks(numbers: tuple[str, str], differ: Sequence[_Fields], alike: int) -> list[Block]:
    """Return the fields that differ, side by side."""
    table = Table([Column("field", fold=False), *map(Column, numbers)], [(each.label, *each.words) for each in differ])
    same = [Line(f"{alike} other field{'' if alike == 1 else 's'} the same")] if alike else []
    return [table if differ else Line("No field of their records differs."), *same]


def _colour_blocks(numbers: tuple[str, str], colours: Sequence[_Colours]) -> list[Block]:
    """Return the colours, a light a line."""
    if not colours:
        return [Line("Their colours cannot be compared: no light in which both were measured.")]
    heads = [Column(name) for name in ("light", *numbers, "dE00 (95 %)", f"{numbers[1]} is")]
    rows: list[Sequence[Cell]] = [
        (
            each.light,
            *(" ".join(f"{round(v, 1) + 0.0:.1f}" for v in lab) for lab in each.labs),
            Interval(each.delta_e00.value, each.delta_e00.low, each.delta_e00.high),
            each.in_words,
        )
        for each in colours
    ]
    return [Table(heads, rows, title="Colours, L* a* b*")]


def _fields(one: StoredBoard, two: StoredBoard) -> list[_Fields]:
    """Return every field of their records, in the order of a record, steps after steps."""
    from finishlab.board.shown import field_rows

    mine, other = (
        {name: (label, words, value) for name, label, words, value in field_rows(b.record)} for b in (one, two)
    )
    none = ("", None, None)

    def place(name: str) -> tuple[int, int, int]:
        path = name.split(".")
        section = 1 + _PARTS.index(path[1]) if path[0] == "finish" else 0
        step = int(path[2]) if len(path) > 3 else 0
        return section, step, [*(mine if name in mine else other)].index(name)

    found = []
    for name in sorted(dict.fromkeys((*mine, *other)), key=place):
        here, there = mine.get(name, none), other.get(name, none)
        found.append(_Fields(name, here[0] or there[0], (here[1], there[1]), (here[2], there[2])))
    return found


def _colours(one: StoredBoard, two: StoredBoard, light: str) -> _Colours:
    """Return two boards' colours in a light.

    The interval of their difference counts what moves both photos alike, such as one strip's greys, only once.
    """
    import numpy as np

    from finishlab.colorimetry.difference import delta_e_interval, describe, signed_difference
    from finishlab.matching.scatter import estimate_components, pool_estimates

    seen: list[list[LabEstimate]] = [
        [m.field.estimate for m in board.measurements if m.light == light] for board in (one, two)
    ]
    a, b = (pool_estimates(each) for each in seen)
    # Where there are repeats their scatter is in the mean already; one photo says nothing of it.
    photo = np.asarray(estimate_components((), seen).photo)
    single = sum(len(each) == 1 for each in seen)
    delta, signed = delta_e_interval(a, b, photo * single), signed_difference(b.lab, a.lab)
    counts = (len(seen[0]), len(seen[1]))
    return _Colours(light, (a.lab, b.lab), counts, delta, signed, describe(signed, delta, one.number))


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
@confirm_floor_option
@json_option
def edit(
    *,
    number: str,
    clear: tuple[str, ...],
    confirm_floor: bool,
    as_json: bool,
    finish_texts: FinishTexts,
    **values: str | int | None,
) -> None:
    """Change what is written of a board; what it was stays in its history."""
    from finishlab.finish.entering import new_warnings

    given = {name: value for name, value in values.items() if value is not None}
    _check(given, finish_texts, clear, also=confirm_floor)
    with open_logbook() as log, log.at_once():
        before = log.board(number).record
        changes = _changes(log, before, given, finish_texts, clear)
        if confirm_floor:
            log.confirm_floor(number)
        found = log.edit_board(number, **changes)
        if as_json:
            show_document(boards_document([found]), as_json=True)
        say(board_summary(found, "changed"))
        say_warnings(new_warnings(log, found, before))
        known = product_words(log, before)
        say_cautions(log, [word for word in product_words(log, found.record) if word not in known])


def _check(given: dict[str, Any], texts: FinishTexts, clear: tuple[str, ...], *, also: bool) -> None:
    """Refuse a change that says nothing, or that sets and takes out at once."""
    named = {*given, *("steps" if name == "step" else name for name in texts.given())}
    for name in clear:
        if name in named:
            raise UsageError("set-and-cleared", f"The {name} cannot be set and taken out at once.", "Name one of both.")
    if not named and not clear and not also:
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
    from finishlab.board.table import import_boards as imported
    from finishlab.board.table import rows_words

    with open_logbook(make=True) as log:
        done = imported(log, file)
        if as_json:
            show_document(boards_document(done.boards), as_json=True)
        else:
            print_results("\n".join(board.number for board in done.boards))
        first, last = done.boards[0].number, done.boards[-1].number
        span = first if first == last else f"{first} to {last}"
        what = "1 board" if first == last else f"{len(done.boards)} boards"
        say(f"{what} logged: {span}. Add a photo with: finishlab board add PHOTO --to {first}")
        if first != last:
            say_undo()
        for message, rows in done.warnings.items():
            say(f"Worth a thought, {rows_words(rows)}: {message}")
        if done.seen:
            twice = rows_words(list(done.seen))
            say(f"Worth a thought, {twice}: a board that says just the same was logged before: {_named(done.seen)}.")
        say_cautions(log, product_words(log, *(board.record for board in done.boards)))


def _named(seen: Mapping[int, str]) -> str:
    numbers = list(dict.fromkeys(seen.values()))
    return ", ".join(numbers[:5]) + (f" and {len(numbers) - 5} more" if len(numbers) > 5 else "")
