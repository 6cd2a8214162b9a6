"""``finishlab recipe``: named finishes that boards and stair parts share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.cautions import say_cautions
from finishlab.cli.common import json_option, open_logbook, options, say
from finishlab.cli.kinds import list_command, print_logged, remove_command, show_command
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.show.document import Block, Facts, Listing
from finishlab.show.kind import Field, Kind

if TYPE_CHECKING:
    from finishlab.logbook import Logbook, StoredRecipe
    from finishlab.records import Finish, Recipe
    from finishlab.stair.records import StoredPart

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.things.recipe:add", "Write down a recipe."),
    "list": ("finishlab.things.recipe:list_recipes", "List the recipes."),
    "show": ("finishlab.things.recipe:show", "Show a recipe and what is finished by it."),
    "edit": ("finishlab.things.recipe:edit", "Change a recipe; what it was stays in its history."),
    "remove": ("finishlab.things.recipe:remove", "Leave recipes out from now on; their history stays."),
}
_section_options = options(
    click.option("--preparation", metavar="FIELDS", help='The wood: "grits=80-100-120; raised=yes".'),
    click.option(
        "--step",
        "steps",
        metavar="FIELDS",
        multiple=True,
        help='A colour step, in order; repeatable: "oil; maker=Acme; colour=honey; wipe=10; coats=2". '
        '"2: wipe=5" changes step 2.',
    ),
    click.option("--seal", metavar="FIELDS", help='The sealer: "shellac; coats=1".'),
    click.option("--top", metavar="FIELDS", help='The topcoat: "water pu; sheen=satin; gloss=30; coats=3; recoat=4".'),
    click.option("--note", metavar="TEXT", help="Anything else."),
)


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
    from finishlab.reports.details import finish_rows

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
    remove=lambda log, number: log.remove_recipe(number),
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
@_section_options
@json_option
def add(*, name: str, board: str | None, note: str | None, as_json: bool, **sections: Any) -> None:  # noqa: ANN401 - texts of each section
    """Write down a recipe; print its number."""
    from finishlab.records import Finish, Recipe
    from finishlab.records.short_text import long_form

    with open_logbook(make=True) as log:
        start = Finish() if board is None else long_form(log.board(board).record)
        made = log.add_recipe(Recipe(name, _changed(start, sections), note))
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
@_section_options
@json_option
def edit(*, number: str, name: str | None, note: str | None, as_json: bool, **sections: Any) -> None:  # noqa: ANN401 - texts of each section
    """Change a recipe; what it was stays in its history, and a standard stays as it was approved.

    A field that is named changes, an empty one (``recoat=``) is taken out, the others stay.
    """
    with open_logbook() as log:
        changes: dict[str, Any] = {k: v for k, v in (("name", name), ("note", note)) if v is not None}
        if any(sections.values()):
            changes["finish"] = _changed(log.recipe(number).record.finish, sections)
        if not changes:
            raise UsageError("nothing-to-change", "No change is named.", "Name at least one field, see --help.")
        made = log.edit_recipe(number, **changes)
        print_logged(RECIPE, log, [made], as_json=as_json, changed=True)
        _say_done(log, made, "changed")


def _changed(finish: Finish, sections: Mapping[str, Any]) -> Finish:
    """Return a finish with what the options say."""
    from dataclasses import replace

    from finishlab.records.finish import Preparation, Seal, Topcoat
    from finishlab.records.finish_text import changed, parse_fields, step_changes

    if sections["preparation"] is not None:
        said = parse_fields(Preparation, sections["preparation"])
        finish = replace(finish, preparation=changed(Preparation, finish.preparation, said) or Preparation())
    if sections["steps"]:
        finish = step_changes(finish, sections["steps"])
    if sections["seal"] is not None:
        finish = replace(finish, seal=changed(Seal, finish.seal, parse_fields(Seal, sections["seal"])))
    if sections["top"] is not None:
        said = parse_fields(Topcoat, sections["top"])
        finish = replace(finish, topcoat=changed(Topcoat, finish.topcoat, said))
    return finish


def _say_done(log: Logbook, made: StoredRecipe, word: str) -> None:
    from finishlab.records.finish_warnings import WarningContext, warnings
    from finishlab.records.products import products_of

    say(f"{made.number} {word}: {made.record.name}.")
    cans = {each.number.key: each.record for each in log.cans()}
    labels = {number: can.label for number, can in cans.items() if can.label is not None}
    for warning in warnings(made.record.finish, WarningContext(labels=labels)):
        if warning.code != "stock-lot-unknown":  # a recipe is of no one piece of wood
            say(f"Worth a thought: {warning.message}")
    say_cautions(log, products_of(made.record.finish, cans))


list_recipes = list_command(RECIPE, "List the recipes, and which is the standard.")
show = show_command(
    RECIPE, "Show a recipe, its steps in order, and the boards and stair parts that are finished by it."
)
remove = remove_command(
    RECIPE, "Leave recipes out from now on; their history stays, and no number is given twice.", "R2"
)
