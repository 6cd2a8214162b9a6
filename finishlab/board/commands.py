"""The commands ``finishlab board`` and ``floor``: what is told of them, their lists and pages, what changes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, cast

import click

from finishlab.board import SURFACES, FloorSpotRecord, Surface
from finishlab.board.files import import_boards as imported
from finishlab.board.files import rows_words
from finishlab.board.shown import (
    colour_blocks,
    colour_document,
    comparison_document,
    label_facts,
    lights,
    pairs_beside,
    past,
    photo_namer,
    pooled_lab,
    pooled_light,
    what_it_is,
)
from finishlab.cli.common import (
    area_options,
    changes_given,
    checked_light,
    colour_words,
    confirm_floor_option,
    doubt_lines,
    json_option,
    light_option,
    measure_all,
    new_light_option,
    offer_list,
    offer_remove,
    offer_show,
    on_terminal,
    open_logbook,
    photos_argument,
    photos_words,
    print_logged,
    print_results,
    report_failures,
    say,
    say_cautions,
    say_undo,
    show_document,
    untouched,
)
from finishlab.cli.lazy import LazyGroup
from finishlab.errors import UsageError
from finishlab.finish import Finish
from finishlab.finish.commands import CLEARABLE, ask_missing, draft_options, record_options, say_warnings, typed
from finishlab.finish.entering import draft_like, draft_of, new_warnings, products_of
from finishlab.measuring import MeasureOptions
from finishlab.record import DAYLIGHT, Number, counted, first_of, parse_date, today
from finishlab.show import jsons
from finishlab.show.document import Block, Colour, Document, Facts, Field, Kind, Line, Listing

if TYPE_CHECKING:
    from finishlab.board import BoardRecord
    from finishlab.finish.entering import FinishTexts
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredSpot
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.measuring import PhotoResult
    from finishlab.measuring.logged import FloorSeen


def _page(log: Logbook, board: StoredBoard) -> list[Block]:
    from finishlab.rank.documents import interval

    pairs = [f"dE00 {pair.value:.1f} ({interval(pair)})" for pair in pairs_beside(board)]
    doubted = pairs_beside(board, in_doubt=True)
    pairs += [f"dE00 {pair.value:.1f}: not counted, it may not be the floor" for pair in doubted]
    return [
        Facts(f"Board {board.number}", label_facts(board.record)),
        *colour_blocks(board.measurements, photo_namer(log)),
        Listing("Measured with the floor in the same photo", pairs),
        past(log, board.number),
    ]


def _kind(light: str | None = None) -> Kind[StoredBoard, StoredBoard]:
    """Return what is told of a board, its colour that in a light, or in its own."""
    return Kind(
        command="board",
        letter="B",
        format="boards",
        fields=(
            Field(lambda board: board.number, key="board", head="board"),
            Field(lambda board: board.record.as_dict(), key="record"),
            Field(lambda board: Colour(pooled_lab(board, light)), key="lab", head="L* a* b*"),
            Field(lambda board: pooled_light(board, light), key="light"),
            Field(lambda board: what_it_is(board.record), head="what it is", fold=True),
            Field(lambda board: board.record.purpose, head="purpose", fold=True),
            Field(lights, head="light", fold=True),
            Field(lambda board: board.record.date, head="date"),
            Field(lambda board: [colour_document(each) for each in board.measurements], key="measurements"),
            Field(lambda board: [jsons.difference(each) for each in pairs_beside(board, light)], key="direct_pairs"),
            Field(
                lambda board: [jsons.difference(each) for each in pairs_beside(board, light, in_doubt=True)],
                key="pairs_in_doubt",
            ),
        ),
        none="No test board is logged yet. Add one: finishlab board add PHOTO --species WOOD",
        page=_page,
        read=lambda log, lit: log.boards(lit),
        find=lambda log, number: log.board(number),
        row=lambda _, board: board,
    )


BOARD: Final = _kind()


def boards_document(boards: Sequence[StoredBoard], light: str | None = None) -> Document:
    """Return logged boards for JSON, their colours those in a light."""
    return _kind(light).document(boards)


def board_summary(board: StoredBoard, done: str = "logged") -> str:
    """Return a board in one line: what it is, its colour, its photos."""
    purpose = "" if board.record.purpose == "candidate" else f" ({board.record.purpose})"
    said = f"{what_it_is(board.record)}{purpose}{found_words(board) if done == 'logged' else _lit(board)}"
    return f"{board.number} {done}: {said}, {photos_words(board)}."


def found_words(board: StoredBoard) -> str:
    """Return, for the end of a line, a board's colour and how far it is from the floor beside it."""
    return f"{_lit(board)}{_beside(board)}"


def photos_summary(board: StoredBoard, added: int, light: str) -> str:
    """Return in one line what further photos of a board showed: its colour in their light, beside all it has."""
    count = counted(added, "photo")
    colour = colour_words(pooled_lab(board, light))
    return f"{board.number}: {count} added{colour} in {light}{_beside(board, light)}; now {photos_words(board)}."


def _beside(board: StoredBoard, light: str | None = None) -> str:
    """Return how far a board is from the floor in its last photo with both; nothing where that is in doubt."""
    return "".join(
        f", dE00 {pair.value:.1f} ({pair.low:.1f} to {pair.high:.1f}) from the floor beside it"
        for pair in pairs_beside(board, light)[-1:]
    )


def _lit(board: StoredBoard) -> str:
    """Return a colour, with its light where the board was measured in several."""
    several, light = len(board.lights) > 1, pooled_light(board)
    return colour_words(pooled_lab(board)) + (f" in {light}" if several and light is not None else "")


def product_words(log: Logbook, *records: BoardRecord) -> list[str]:
    """Return the words of boards' finishes, in short and in full, that say what was put on."""
    cans = {can.number.key: can.record for can in log.cans()}
    words = []
    for record in records:
        words += [text for text in (f"{record.stain} stain" if record.stain else None, record.topcoat) if text]
        words += products_of(record.finish or Finish(), cans)
    return words


@click.group(
    cls=LazyGroup, lazy={"add": ("finishlab.board.adding:add", "Measure photos of a test board and log them.")}
)
def board() -> None:
    """Log and look up test boards.

    Lay the board flush against the strip's board edge and photograph both from straight above.
    """


@board.has("import", "Log every row of a CSV file as a board.", "finishlab board import boards.csv")
@click.argument("file", metavar="FILE.csv", type=click.Path())
@json_option
def import_boards(*, file: str, as_json: bool) -> None:
    """Log every row of a CSV file as a board; print their numbers.

    The head names the fields: species, stain, coats, topcoat, purpose, state, date, note, and those of the finish such
    as preparation.grits or steps.1.kind. If one row is wrong, none is logged. Photos come afterwards: finishlab board
    add PHOTO --to B1
    """
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
            known = first_of(list(dict.fromkeys(done.seen.values())), 5)
            say(f"Worth a thought, {twice}: a board that says just the same was logged before: {known}.")
        say_cautions(log, product_words(log, *(board.record for board in done.boards)))


offer_list(board, BOARD, "List the test boards.", by_light=True)
offer_show(board, BOARD, "Show all that is logged of a board.")


@board.has("compare", "Show what differs between two boards, and their colours.", "finishlab board compare B2 B5")
@click.argument("first", metavar="B2")
@click.argument("second", metavar="B5")
@json_option
def compare(*, first: str, second: str, as_json: bool) -> None:
    """Show every field that differs between two boards, and how far apart their colours are in each light."""
    with open_logbook() as log:
        one, two = log.board(first), log.board(second)
    if one.number == two.number:
        raise UsageError("same-board", f"{one.number} is named twice.", "Name two boards.")
    show_document(comparison_document(one, two), as_json=as_json)


@board.has(
    "edit",
    "Change what is written of a board.",
    'finishlab board edit B2 --topcoat "satin water polyurethane"',
    'finishlab board edit B2 --state cured --step "2: wipe=5"',
    "finishlab board edit B2 --clear coats",
)
@click.argument("number", metavar="B1")
@record_options(new=False)
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
    draft = draft_of(before, logged=True)
    if texts.like is not None:
        draft = draft_like(log, texts.like, draft)
    draft = draft.with_said(log.recipe, typed(given, texts))
    draft = draft.without(clear)
    if texts.ask:
        draft = ask_missing(draft)
    draft.record(
        keep_date=draft.fields["date"] == before.date
    )  # a value that cannot be meant is told with its own hint
    return draft.changes(before)


offer_remove(
    board,
    BOARD,
    "Leave boards out from now on; their history stays.",
    example="B3",
    words="Leave boards out from now on; their photos and history stay, and no number is given twice.",
    kept="its photos and history stay",
)


@board.has("history", "Show what was done to a board, also a removed one.", "finishlab board history B1")
@click.argument("number", metavar="B1")
@json_option
def history(*, number: str, as_json: bool) -> None:
    """Show what was done to a board, also a removed one."""
    from finishlab.logbook.stored import change_entry, change_line

    board = Number.read("B", number)
    with open_logbook() as log:
        changes = log.history(board)
    data = {"board": board, "changes": [change_entry(change) for change in changes]}
    lines = [Line(change_line(change), whole=True) for change in changes]
    show_document(Document("history", data, lines), as_json=as_json)


MANY: Final = 3
"""From so many things logged at once it is said how to take all of them back."""


def _spot_page(log: Logbook, spot: StoredSpot) -> list[Block]:
    record = spot.record
    facts = [("where", record.spot), *((name, getattr(record, name)) for name in ("surface", "light", "date", "note"))]
    return [
        Facts(f"Floor spot {spot.number}", facts),
        *colour_blocks(spot.measurements, photo_namer(log)),
        past(log, spot.number),
    ]


FLOOR: Kind[StoredSpot, StoredSpot] = Kind(
    command="floor",
    letter="F",
    format="floor",
    listed_as="spots",
    before={"floor": None},
    fields=(
        Field(lambda spot: spot.number, key="spot", head="spot"),
        Field(lambda spot: spot.record.as_dict(), key="record"),
        Field(lambda spot: Colour(pooled_lab(spot)), key="lab", head="L* a* b*"),
        Field(lambda spot: spot.record.spot, head="where", fold=True),
        Field(lambda spot: spot.record.surface, head="surface", fold=True),
        Field(lights, head="light", fold=True),
        Field(lambda spot: spot.record.date, head="date"),
        Field(lambda spot: [colour_document(each) for each in spot.measurements], key="measurements"),
    ),
    none="No floor spot is logged yet. Add one: finishlab floor add PHOTO",
    page=_spot_page,
    read=lambda log, light: log.floor_spots(light),
    find=lambda log, number: log.floor_spot(number),
    row=lambda _, spot: spot,
)


def spot_summary(spot: StoredSpot, done: str = "logged") -> str:
    """Return a floor spot in one line."""
    where = f" ({spot.record.spot})" if spot.record.spot else ""
    return f"{spot.number} {done}: {spot.record.surface}{where}{place_words(spot)}, {photos_words(spot)}."


def place_words(spot: StoredSpot) -> str:
    """Return, for the end of a line, the colour of a place."""
    return colour_words(pooled_lab(spot))


@click.group(cls=LazyGroup)
def floor() -> None:
    """Log and look up places of the floor.

    Photograph five planks or more, the floor against the strip's floor edge.
    """


@floor.has(
    "add",
    "Measure photos of the floor and log them.",
    "finishlab floor add plank1.jpg plank2.jpg plank3.jpg",
    'finishlab floor add lamp.jpg --spot "by the stair" --light "evening lamp" --surface laminate',
)
@photos_argument
@click.option("--spot", metavar="TEXT", help="Where on the floor; several photos of one spot are repeats.")
@click.option("--light", metavar="TEXT", default=DAYLIGHT, show_default=True, help="The light it was taken in.")
@click.option(
    "--surface", type=click.Choice(SURFACES), default="vinyl", show_default=True, help="What the floor is made of."
)
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="Day of the photo, e.g. 2024-05-31. [default: as the photo says]")
@new_light_option
@confirm_floor_option
@area_options
@json_option
def add_spot(
    *,
    photos: tuple[str, ...],
    spot: str | None,
    light: str,
    surface: str,
    note: str | None,
    date: str | None,
    new_light: bool,
    confirm_floor: bool,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    as_json: bool,
) -> int:
    """Measure photos of the floor and log them.

    Without --spot each photo is a spot of its own. Unless every photo is good, none is logged.
    """
    from finishlab.measuring.logged import doubt_light, floor_seen, log_floor_spots

    day = today() if date is None else parse_date(date)
    record = FloorSpotRecord(spot, cast("Surface", surface), light, note, day)
    how = MeasureOptions(("floor",), "wood" if surface == "wood" else "print", greys, area)
    with open_logbook(make=True) as log:
        record = replace(record, light=checked_light(log, record.light, new=new_light))
        results = measure_all(photos, how.with_calibration(log, record.light))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        seen = floor_seen(log, record.light, record.surface)
        refuse_other_floor(results, seen, confirmed=confirm_floor)
        results = doubt_light(log, results, record.light)
        spots = log_floor_spots(log, record, results, dated=date is not None)
        print_logged(FLOOR, log, spots, as_json=as_json)
    for each in spots:
        say(spot_summary(each))
    for line in doubt_lines(results):
        say(line)
    if len(spots) >= MANY:
        say_undo()
    return 0


def refuse_other_floor(results: Sequence[PhotoResult], floor: FloorSeen, *, confirmed: bool) -> None:
    """See that photos of the floor show it; where they may not, ask.

    Raises
    ------
    UsageError
        ``"not-the-floor"`` where nobody can be asked, or the answer is no.
    """
    from finishlab.measuring.logged import floor_slips

    slips = [] if confirmed else floor_slips(results, floor)
    if not slips:
        return
    told = " ".join(slips)
    if on_terminal():
        say(told)
        if click.confirm("Is it the floor all the same", default=False, err=True):
            return
        told = "Nothing was logged."
    raise UsageError(
        "not-the-floor",
        told,
        "Photograph the floor against the strip's floor edge; if it is the floor: --confirm-floor",
    )


@floor.has("list", "List the floor's spots and their pool.", "finishlab floor list")
@light_option
@json_option
def list_spots(*, light: str | None, as_json: bool) -> None:
    """List the floor's spots and their pool."""
    from finishlab.rank.comparing import pool_spots
    from finishlab.rank.documents import floor_line, pool_document

    with open_logbook() as log:
        spots = log.floor_spots(light)
    pooled = pool_spots(spots)
    blocks = [*FLOOR.listing(spots)]
    if pooled is not None:
        blocks += [Line(floor_line(pooled[1])), Listing("Doubts", [doubt.message for doubt in pooled[1].doubts])]
    pool = None if pooled is None else pool_document(pooled[1])
    document = FLOOR.document(spots, blocks, floor=pool, light=None if pooled is None else pooled[0])
    show_document(document, as_json=as_json)
    if pooled is not None and not as_json and len({m.light for spot in spots for m in spot.measurements}) > 1:
        say(f"Pooled from what was taken in {pooled[0]}; name another with --light.")


offer_show(floor, FLOOR, "Show all that is logged of a spot.")


@floor.has("edit", "Change what is written of a spot.", 'finishlab floor edit F1 --spot "by the stair" --note ""')
@click.argument("number", metavar="F1")
@click.option("--spot", metavar="TEXT", help="Where on the floor.")
@click.option("--light", metavar="TEXT", help="The light it was taken in; its photos move with it.")
@click.option("--surface", type=click.Choice(SURFACES), help="What the floor is made of.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="Day of the photo.")
@json_option
def edit_spot(*, number: str, as_json: bool, **values: str | None) -> None:
    """Change what is written of a spot; what it was stays in its history.

    An empty text takes a field out.
    """
    changes = changes_given(**values)
    with open_logbook() as log:
        spot = log.edit_floor_spot(number, **changes)
        print_logged(FLOOR, log, [spot], as_json=as_json, changed=True)
    say(spot_summary(spot, "changed"))


offer_remove(
    floor,
    FLOOR,
    "Leave spots out from now on; their history stays.",
    example="F3",
    words="Leave spots out from now on; their photos and history stay.",
    kept="its photos and history stay",
)
