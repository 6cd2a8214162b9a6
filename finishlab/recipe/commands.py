"""``finishlab recipe``, ``approve``, ``standard``, ``can``: finishes that boards and parts share, and their cans."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import click

from finishlab.cli.common import (
    changes_given,
    json_option,
    offer_list,
    offer_remove,
    offer_show,
    open_logbook,
    options,
    parsed,
    print_logged,
    say,
    say_cautions,
    show_document,
)
from finishlab.cli.lazy import LazyGroup, command
from finishlab.finish import Finish, finish_rows
from finishlab.finish.commands import part_options, say_warnings
from finishlab.finish.entering import FinishTexts, entered_texts, finish_context, products_of
from finishlab.finish.fields import changed, parse_fields
from finishlab.finish.warnings import WarningContext, board_warnings, warnings
from finishlab.recipe import CAN_KINDS, Can, Label, Recipe
from finishlab.record import parse_date
from finishlab.show.document import Block, Document, Facts, Field, Kind, Line, Listing
from finishlab.stair.progress import recipe_changes, resolved
from finishlab.units import left_text, parse_volume

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredCan, StoredRecipe, StoredStandard
    from finishlab.stair.records import StoredPart


_note_option = click.option("--note", metavar="TEXT", help="Anything else.")


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """A recipe and what is finished by it."""

    number: str
    record: Recipe
    standard_since: dt.date | None
    """Day it was made the standard, None if it is not today's."""
    boards: tuple[str, ...]
    parts: tuple[str, ...]
    """Stair parts as people name them."""
    parts_listed: str
    """The same in one line."""


def _rows(log: Logbook, light: str | None = None) -> list[RecipeRow]:
    """Return every recipe with what is finished by it, by number."""
    del light
    standard = log.standard()
    boards: dict[str, list[str]] = {}
    for board in log.boards():
        boards.setdefault(board.record.recipe or "", []).append(board.number)
    stair = log.stair()
    parts: dict[int | None, list[StoredPart]] = {}
    for part in stair.parts:
        parts.setdefault(part.record.recipe_number, []).append(part)
    rows = []
    for found in log.recipes():
        current = standard is not None and standard.approval.recipe == found.number
        mine = parts.get(found.number.key, [])
        rows.append(
            RecipeRow(
                found.number,
                found.record,
                standard.approval.date if standard is not None and current else None,
                tuple(boards.get(found.number, ())),
                tuple(stair.words(part) for part in mine),
                stair.listed(part.name for part in mine) if mine else "",
            )
        )
    return rows


def _page(log: Logbook, row: RecipeRow) -> tuple[Block, ...]:
    """Return a recipe as it is to be done, step by step."""
    del log
    facts = (
        ("name", row.record.name),
        *finish_rows(row.record.finish),
        ("standard since", row.standard_since),
        ("boards", ", ".join(row.boards) or None),
        ("note", row.record.note),
    )
    parts = [row.parts_listed] if row.parts_listed else []
    return Facts(f"Recipe {row.number}", facts), Listing("Stair parts to be finished by it", parts)


RECIPE: Kind[StoredRecipe, RecipeRow] = Kind(
    command="recipe",
    letter="R",
    format="recipes",
    fields=(
        Field(lambda row: row.number, key="recipe", head="recipe"),
        Field(lambda row: row.record.as_dict(), key="record"),
        Field(lambda row: row.record.name, head="name", fold=True),
        Field(lambda row: row.standard_since, key="standard_since"),
        Field(lambda row: row.boards, key="boards", head="boards", cell=lambda row: ", ".join(row.boards), fold=True),
        Field(lambda row: row.parts, key="parts", head="parts", cell=lambda row: len(row.parts) or None, fold=True),
        Field(lambda row: row.standard_since, head="standard since", fold=True),
    ),
    none="No recipe is written down yet. Add one: finishlab recipe add NAME, or approve a board.",
    page=_page,
    read=_rows,
    find=lambda log, number: log.recipe(number),
    row=lambda log, recipe: next(row for row in _rows(log) if row.number == recipe.number),
)


@click.group(cls=LazyGroup)
def recipe() -> None:
    """Write down finishes that boards and treads share.

    A recipe is what is to be done; a board's own record is what was done on it. Boards of one recipe are pooled in the
    ranking.
    """


@recipe.has(
    "add",
    "Write down a recipe.",
    'finishlab recipe add "walnut, satin" --step "water; colour=walnut; coats=2" --top "water pu; coats=3"',
    'finishlab recipe add "as on B3" --from-board B3',
)
@click.argument("name", metavar="NAME")
@click.option("--from-board", "board", metavar="B3", help="As this board was finished; whatever else is said wins.")
@part_options(own=False)
@_note_option
@json_option
def add(*, name: str, board: str | None, note: str | None, parts: dict[str, Any], as_json: bool) -> None:
    """Write down a recipe; print its number."""
    with open_logbook(make=True) as log:
        start = Finish() if board is None else log.board(board).record.whole_finish
        made = log.add_recipe(Recipe(name, _changed(start, parts), note))
        if board is not None and log.board(board).record.recipe_number is None:
            log.edit_board(board, recipe_number=made.number.key)
        print_logged(RECIPE, log, [made], as_json=as_json)
        _say_done(log, made, "logged")


offer_list(recipe, RECIPE, "List the recipes.", words="List the recipes, and which is the standard.")
offer_show(
    recipe,
    RECIPE,
    "Show a recipe and what is finished by it.",
    words="Show a recipe, its steps in order, and the boards and stair parts that are finished by it.",
)


@recipe.has(
    "edit",
    "Change a recipe; what it was stays in its history.",
    'finishlab recipe edit R1 --top "coats=4"',
    'finishlab recipe edit R1 --step "1: wipe=5"',
)
@click.argument("number", metavar="R1")
@click.option("--name", metavar="TEXT", help="Another name.")
@part_options(own=False)
@_note_option
@json_option
def edit(*, number: str, name: str | None, note: str | None, parts: dict[str, Any], as_json: bool) -> None:
    """Change a recipe; what it was stays in its history, and a standard stays as it was approved.

    A field that is named changes, an empty one (``recoat=``) is taken out, the others stay.
    """
    with open_logbook() as log:
        changes = changes_given(name=name, note=note, finish=parts or None)
        if parts:
            changes["finish"] = _changed(log.recipe(number).record.finish, parts)
        made = log.edit_recipe(number, **changes)
        print_logged(RECIPE, log, [made], as_json=as_json, changed=True)
        _say_done(log, made, "changed")


offer_remove(
    recipe,
    RECIPE,
    "Leave recipes out from now on; their history stays.",
    example="R2",
    words="Leave recipes out from now on; their history stays, and no number is given twice.",
)


def _changed(finish: Finish, parts: dict[str, Any]) -> Finish:
    """Return a finish with what the options say."""
    return entered_texts({}, FinishTexts(parts)).on(finish)


def _say_changed(log: Logbook, number: int) -> None:
    """Say that a recipe is the standard and was edited since it was approved, where it is so."""
    changed = resolved(log.stair(), number).changed
    if changed:
        say(changed)


def _say_done(log: Logbook, made: StoredRecipe, word: str) -> None:
    say(f"{made.number} {word}: {made.record.name}.")
    _say_changed(log, made.number.key)
    cans = {each.number.key: each.record for each in log.cans()}
    labels = {number: can.label for number, can in cans.items() if can.label is not None}
    slips = warnings(made.record.finish, WarningContext(labels=labels))
    say_warnings(slip for slip in slips if slip.code != "stock-lot-unknown")  # a recipe is of no one piece of wood
    say_cautions(log, products_of(made.record.finish, cans))


def _standards(log: Logbook, *, earlier: bool = False) -> Document:
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


def _facts(standard: StoredStandard, name: str | None) -> Facts:
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


@command('finishlab approve B10 --reason "closest by day and by lamp"')
@click.argument("number", metavar="B3")
@click.option("--reason", metavar="TEXT", help="Why this one.")
@click.option("--date", metavar="DATE", help="Day of the decision, e.g. 2024-05-31. [default: today]")
@json_option
def approve(*, number: str, reason: str | None, date: str | None, as_json: bool) -> None:
    """Make a board's recipe the standard for the treads; the standard before stays on record.

    A board without a recipe gets one, made from what is written of it. Keep the board itself: it is what later coats
    are held against.
    """
    with open_logbook() as log:
        before = log.stair()
        made = log.approve(number, reason=reason, date=None if date is None else parse_date(date))
        board = log.board(number)
        context = replace(finish_context(log, board, deciding=True), on_tread=True)
        finish = board.record.finish
        if board.record.topcoat is None and (finish is None or finish.topcoat is None):
            context = replace(context, state=board.record.state or "stain dry")
        whole = replace(board.record, finish=board.record.whole_finish, latest=board.record.date)
        slips = board_warnings(whole, context)
        document, chosen = _standards(log), made.approval
        name = log.recipe(chosen.recipe).record.name
        changes = recipe_changes(before, log.stair())
    if as_json:
        show_document(document, as_json=True)
    say(f"{chosen.recipe} ({name}) is the standard, by board {chosen.board}, from {chosen.date} on.")
    for change in changes:
        say(f"  {change}")
    say_warnings(slips)
    say("Prove it on one whole tread first (common practice, no source), and keep the board.")


@command("finishlab standard", "finishlab standard --all")
@click.option("--all", "earlier", is_flag=True, help="Earlier standards too, the newest first.")
@json_option
def standard(*, earlier: bool, as_json: bool) -> None:
    """Show the approved standard: recipe, board, day, reason, and the finish as it was approved."""
    with open_logbook() as log:
        document = _standards(log, earlier=earlier)
        now = log.standard()
        if now is not None:
            _say_changed(log, now.approval.recipe_number)
    show_document(document, as_json=as_json)


def _litres(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return parse_volume(text)


_field_options = options(
    click.option("--maker", metavar="NAME", help="Who made it."),
    click.option("--lot", metavar="TEXT", help="Lot or batch number on the can."),
    click.option(
        "--size",
        "size_l",
        metavar="VOLUME",
        callback=parsed(_litres),
        help="When full: 1L, 750ml, 1qt; without a unit litres.",
    ),
    click.option("--left", "left_l", metavar="VOLUME", callback=parsed(_litres), help="What is left in it."),
    click.option("--place", metavar="TEXT", help="Where the rest is kept."),
    click.option("--opened", metavar="DATE", callback=parsed(parse_date), help="Day it was opened, e.g. 2024-05-31."),
    click.option(
        "--label",
        metavar="FIELDS",
        help='What its label says: "coverage=10; coverage-to=12; recoat=4; recoat-within=24; recoat-other=72; '
        'walk-on=24; pot-life=4; price=34".',
    ),
    click.option("--note", metavar="TEXT", help="Anything else."),
)


@dataclass(frozen=True, slots=True)
class CanRow:
    """A can and what it went on."""

    number: str
    record: Can
    went_on: tuple[str, ...]
    """Each coat from it, one a line."""
    told: tuple[str, ...]
    """The same in few lines, parts that got the same together."""


def _can_rows(log: Logbook, light: str | None = None) -> list[CanRow]:
    """Return every can with the coats that came from it, by number."""
    del light
    stair = log.stair()
    names = {part.ident: stair.words(part) for part in stair.parts}
    went_on: dict[int, list[str]] = {}
    alike: dict[int, dict[str, list[StoredPart]]] = {}
    for event in stair.events:
        if event.batch_number is not None:
            went_on.setdefault(event.batch_number, []).append(f"{names[event.part]}: {event.what}, {event.date}")
            coats = alike.setdefault(event.batch_number, {})
            coats.setdefault(f"{event.what}, {event.date}", []).append(stair.part(event.part))
    boards: dict[int, list[str]] = {}
    for board in log.boards():
        for number in board.record.finish.cans() if board.record.finish is not None else ():
            went_on.setdefault(number, []).append(f"board {board.number}")
            boards.setdefault(number, []).append(board.number)
    rows = []
    for can in log.cans():
        number = can.number.key
        told = [f"{stair.listed(part.name for part in parts)}: {what}" for what, parts in alike.get(number, {}).items()]
        told += [f"boards: {', '.join(dict.fromkeys(boards[number]))}"] if number in boards else []
        rows.append(CanRow(can.number, can.record, tuple(went_on.get(number, ())), tuple(told)))
    return rows


def _product(record: Can) -> str:
    return " ".join(word for word in (record.maker, record.product) if word)


_SHOWN: Final[tuple[Field[CanRow], ...]] = (
    Field(lambda can: _product(can.record), head="product", fold=True),
    Field(lambda can: can.record.kind, head="kind", fold=True),
    Field(lambda can: can.record.lot, head="lot", fold=True),
    Field(lambda can: left_text(can.record.left_l, can.record.size_l), head="left", fold=True),
    Field(lambda can: can.record.place, head="where", fold=True),
)
"""What the list of the cans and the page of one begin with."""


def _can_page(log: Logbook, can: CanRow) -> tuple[Block, ...]:
    del log
    record = can.record
    label = (
        None
        if record.label is None
        else "; ".join(f"{each.label} {words}" for each, words, _ in record.label.written())
    )
    facts = (
        *((each.head, each.shown(can)) for each in _SHOWN),
        ("opened", record.opened),
        ("logged", record.date),
        ("note", record.note),
        ("label", label),
    )
    return Facts(f"Can {can.number}", facts), Listing("Went on", can.told)


CAN: Kind[StoredCan, CanRow] = Kind(
    command="can",
    letter="C",
    format="cans",
    fields=(
        Field(lambda can: can.number, key="can", head="can"),
        Field(lambda can: can.record.as_dict(), key="record"),
        Field(lambda can: can.went_on, key="went_on"),
        *_SHOWN,
    ),
    none="No can is logged yet. Add one: finishlab can add PRODUCT --kind KIND --lot LOT",
    page=_can_page,
    read=_can_rows,
    find=lambda log, number: log.can(number),
    row=lambda log, can: next(row for row in _can_rows(log) if row.number == can.number),
)


@click.group(cls=LazyGroup)
def can() -> None:
    """Log cans of stain and finish: lot, what the label says, how much is left and where."""


@can.has(
    "add",
    "Log a can with its lot.",
    'finishlab can add "walnut brown" --kind "water stain" --lot W-204 --size 1L --place "cellar, left shelf"',
    'finishlab can add "floor finish" --kind "hardwax oil" --lot 77 --size 2.5L --label "coverage=24; recoat=12"',
)
@click.argument("product", metavar="PRODUCT")
@click.option("--kind", type=click.Choice(CAN_KINDS), required=True, help="What is in it.")
@_field_options
@json_option
def add_can(*, product: str, kind: str, as_json: bool, **values: Any) -> None:  # noqa: ANN401 - the can's fields
    """Log a can; print its number."""
    record = Can(kind, product, **_typed(values))
    with open_logbook(make=True) as log:
        made = log.add_can(record)
        print_logged(CAN, log, [made], as_json=as_json)
        say(f"{made.number} logged: {_words(made.record)}.")
        say_cautions(log, [f"{record.kind} {record.product}"])


offer_list(can, CAN, "List the cans, what is left and where.")
offer_show(can, CAN, "Show a can and what it went on.")


@can.has("edit", "Change what is written of a can.", 'finishlab can edit C1 --left 0.3L --place "attic"')
@click.argument("number", metavar="C1")
@click.option("--product", metavar="TEXT", help="What is in it, as its label says.")
@click.option("--kind", type=click.Choice(CAN_KINDS), help="What kind it is.")
@_field_options
@json_option
def edit_can(*, number: str, as_json: bool, **values: Any) -> None:  # noqa: ANN401 - the can's fields
    """Change what is written of a can; what it was stays in its history.

    Of the label only the figures that are named change; an empty one (``price=``) is taken out.
    """
    given = changes_given(**values)
    with open_logbook() as log:
        before = log.can(number).record
        changed = log.edit_can(number, **_typed(given, before.label))
        print_logged(CAN, log, [changed], as_json=as_json, changed=True)
        say(f"{changed.number} changed: {_words(changed.record)}.")
        record = changed.record
        if (record.kind, record.product) != (before.kind, before.product):
            say_cautions(log, [f"{record.kind} {record.product}"])


def _typed(values: Mapping[str, Any], label: Label | None = None) -> dict[str, Any]:
    """Return the options as the record keeps them."""
    given = {name: value for name, value in values.items() if value is not None}
    if "label" in given:
        given["label"] = changed(Label, label, parse_fields(Label, given["label"]))
    return given


def _words(record: Can) -> str:
    lot = f", lot {record.lot}" if record.lot else ""
    return f"{_product(record)} ({record.kind}){lot}"


def _say_disposal(log: Logbook, cans: Sequence[StoredCan]) -> None:
    say_cautions(log, [f"{can.record.kind} {can.record.product}" for can in cans], ["dispose"])


offer_remove(
    can,
    CAN,
    "Leave cans out from now on; their history stays.",
    example="C2",
    words="Leave cans out from now on; their history stays, and no number is given twice.",
    then=_say_disposal,
)
