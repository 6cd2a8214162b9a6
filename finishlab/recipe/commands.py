"""``finishlab recipe``, ``approve`` and ``standard``: finishes that boards and parts share, and the chosen one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.cautions import say_cautions
from finishlab.cli.common import json_option, open_logbook, say, show_document
from finishlab.cli.kinds import list_command, print_logged, remove_command, show_command
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.finish.commands import part_options, say_warnings
from finishlab.show.document import Block, Document, Facts, Line, Listing
from finishlab.show.kind import Field, Kind

if TYPE_CHECKING:
    from finishlab.board.records import BoardRecord
    from finishlab.finish.finish import Finish
    from finishlab.logbook import Logbook, StoredApproval, StoredRecipe
    from finishlab.recipe.records import Recipe
    from finishlab.stair.records import StoredPart

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.recipe.commands:add", "Write down a recipe."),
    "list": ("finishlab.recipe.commands:list_recipes", "List the recipes."),
    "show": ("finishlab.recipe.commands:show", "Show a recipe and what is finished by it."),
    "edit": ("finishlab.recipe.commands:edit", "Change a recipe; what it was stays in its history."),
    "remove": ("finishlab.recipe.commands:remove", "Leave recipes out from now on; their history stays."),
}
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
    for board in log.boards(brief=True):
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
    from finishlab.finish.wording import finish_rows

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


@click.group(cls=LazyGroup, lazy=_COMMANDS)
def recipe() -> None:
    """Write down finishes that boards and treads share.

    A recipe is what is to be done; a board's own record is what was done on it. Boards of one recipe are pooled in the
    ranking.
    """


@click.command(
    cls=ExampleCommand,
    examples=(
        'finishlab recipe add "walnut, satin" --step "water; colour=walnut; coats=2" --top "water pu; coats=3"',
        'finishlab recipe add "as on B3" --from-board B3',
    ),
)
@click.argument("name", metavar="NAME")
@click.option("--from-board", "board", metavar="B3", help="As this board was finished; whatever else is said wins.")
@part_options(own=False)
@_note_option
@json_option
def add(*, name: str, board: str | None, note: str | None, parts: dict[str, Any], as_json: bool) -> None:
    """Write down a recipe; print its number."""
    from finishlab.finish.finish import Finish
    from finishlab.recipe.records import Recipe

    with open_logbook(make=True) as log:
        start = Finish() if board is None else log.board(board).record.whole_finish
        made = log.add_recipe(Recipe(name, _changed(start, parts), note))
        if board is not None and log.board(board).record.recipe_number is None:
            log.edit_board(board, recipe_number=made.number.key)
        print_logged(RECIPE, log, [made], as_json=as_json)
        _say_done(log, made, "logged")


@click.command(
    cls=ExampleCommand,
    examples=('finishlab recipe edit R1 --top "coats=4"', 'finishlab recipe edit R1 --step "1: wipe=5"'),
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
        changes: dict[str, Any] = {k: v for k, v in (("name", name), ("note", note)) if v is not None}
        if parts:
            changes["finish"] = _changed(log.recipe(number).record.finish, parts)
        if not changes:
            raise UsageError("nothing-to-change", "No change is named.", "Name at least one field, see --help.")
        made = log.edit_recipe(number, **changes)
        print_logged(RECIPE, log, [made], as_json=as_json, changed=True)
        _say_done(log, made, "changed")


def _changed(finish: Finish, parts: dict[str, Any]) -> Finish:
    """Return a finish with what the options say."""
    from finishlab.finish.entering import FinishTexts, entered_texts

    return entered_texts({}, FinishTexts(steps=parts.pop("steps", ()), parts=parts)).on(finish)


def _say_changed(log: Logbook, number: int) -> None:
    """Say that a recipe is the standard and was edited since it was approved, where it is so."""
    from finishlab.stair.progress import resolved

    changed = resolved(log.stair(), number).changed
    if changed:
        say(changed)


def _say_done(log: Logbook, made: StoredRecipe, word: str) -> None:
    from finishlab.finish.warnings import WarningContext, warnings
    from finishlab.recipe.records import products_of

    say(f"{made.number} {word}: {made.record.name}.")
    _say_changed(log, made.number.key)
    cans = {each.number.key: each.record for each in log.cans()}
    labels = {number: can.label for number, can in cans.items() if can.label is not None}
    slips = warnings(made.record.finish, WarningContext(labels=labels))
    say_warnings(slip for slip in slips if slip.code != "stock-lot-unknown")  # a recipe is of no one piece of wood
    say_cautions(log, products_of(made.record.finish, cans))


list_recipes = list_command(RECIPE, "List the recipes, and which is the standard.")
show = show_command(
    RECIPE, "Show a recipe, its steps in order, and the boards and stair parts that are finished by it."
)
remove = remove_command(
    RECIPE, "Leave recipes out from now on; their history stays, and no number is given twice.", "R2"
)


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


def _facts(standard: StoredApproval, name: str | None) -> Facts:
    from finishlab.finish.wording import finish_rows

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


@click.command(
    cls=ExampleCommand,
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
    from finishlab.finish.entering import finish_context
    from finishlab.finish.warnings import board_warnings
    from finishlab.record import parse_date
    from finishlab.stair.documents import recipe_changes

    with open_logbook() as log:
        before = log.stair()
        made = log.approve(number, reason=reason, date=None if date is None else parse_date(date))
        board = log.board(number)
        context = replace(finish_context(log, board, deciding=True), on_tread=True)
        if not _topcoated(board.record):
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


def _topcoated(record: BoardRecord) -> bool:
    return record.topcoat is not None or (record.finish is not None and record.finish.topcoat is not None)


@click.command(
    cls=ExampleCommand,
    examples=("finishlab standard", "finishlab standard --all"),
)
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
