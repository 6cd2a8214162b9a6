"""``finishlab recipe``: named finishes that boards and stair parts share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from finishlab.cli.cautioning import say_cautions
from finishlab.cli.common import json_option, open_logbook, out, print_document, print_removed, say
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.records import Finish

Command = TypeVar("Command", bound=Callable[..., Any])

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.cli.recipe:add", "Write down a recipe."),
    "list": ("finishlab.cli.recipe:list_recipes", "List the recipes."),
    "show": ("finishlab.cli.recipe:show", "Show a recipe and what is finished by it."),
    "edit": ("finishlab.cli.recipe:edit", "Change a recipe; what it was stays in its history."),
    "remove": ("finishlab.cli.recipe:remove", "Leave recipes out from now on; their history stays."),
}
_SECTIONS = (
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


def _section_options(command: Command) -> Command:
    for option in reversed(_SECTIONS):
        command = option(command)
    return command


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Write down finishes that boards and treads share.")
def recipe() -> None:
    """Write down finishes that boards and treads share.

    A recipe is what is to be done; a board's own record is what was done on it. Boards of one recipe are pooled in the
    ranking.
    """


@click.command(
    cls=ExampleCommand,
    short_help="Write down a recipe.",
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
            log.edit_board(board, recipe_number=int(made.number[1:]))
        _done(log, made, "logged", as_json=as_json)
        if not as_json:
            click.echo(made.number)


@click.command("list", cls=ExampleCommand, short_help="List the recipes.", examples=("finishlab recipe list",))
@json_option
def list_recipes(*, as_json: bool) -> None:
    """List the recipes, and which is the standard."""
    from finishlab.reports.recipe_text import print_recipes, recipes_document
    from finishlab.workflow.recipes import recipe_rows

    with open_logbook() as log:
        rows = recipe_rows(log)
    if as_json:
        print_document(recipes_document(rows))
    else:
        print_recipes(out(), rows)


@click.command(
    cls=ExampleCommand,
    short_help="Show a recipe and what is finished by it.",
    examples=("finishlab recipe show R1",),
)
@click.argument("number", metavar="R1")
@json_option
def show(*, number: str, as_json: bool) -> None:
    """Show a recipe, its steps in order, and the boards and stair parts that are finished by it."""
    from finishlab.reports.recipe_text import print_recipe, recipes_document
    from finishlab.workflow.recipes import recipe_rows

    with open_logbook() as log:
        wanted = log.recipe(number).number
        (row,) = (each for each in recipe_rows(log) if each.number == wanted)
    if as_json:
        print_document(recipes_document([row]))
    else:
        print_recipe(out(), row)


@click.command(
    cls=ExampleCommand,
    short_help="Change a recipe; what it was stays in its history.",
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
        _done(log, log.edit_recipe(number, **changes), "changed", as_json=as_json)


@click.command(
    cls=ExampleCommand,
    short_help="Leave recipes out from now on; their history stays.",
    examples=("finishlab recipe remove R2",),
)
@click.argument("numbers", metavar="R1...", nargs=-1, required=True)
@json_option
def remove(numbers: tuple[str, ...], *, as_json: bool) -> None:
    """Leave recipes out from now on; their history stays, and no number is given twice."""
    with open_logbook() as log:
        found = [log.recipe(number).number for number in numbers]
        for number in dict.fromkeys(found):
            log.remove_recipe(number)
            say(f"{number} is removed; its history stays.")
    if as_json:
        print_removed(list(dict.fromkeys(found)))


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


def _done(log: Any, made: Any, word: str, *, as_json: bool) -> None:  # noqa: ANN401 - the logbook's types load late
    from finishlab.printing.schedule import products_of
    from finishlab.records.finish_warnings import WarningContext, warnings
    from finishlab.reports.recipe_text import recipes_document
    from finishlab.workflow.recipes import recipe_rows

    if as_json:
        print_document(recipes_document([each for each in recipe_rows(log) if each.number == made.number]))
    say(f"{made.number} {word}: {made.record.name}.")
    labels = {int(each.number[1:]): each.record.label for each in log.cans() if each.record.label is not None}
    for warning in warnings(made.record.finish, WarningContext(labels=labels)):
        if warning.code != "stock-lot-unknown":  # a recipe is of no one piece of wood
            say(f"Worth a thought: {warning.message}")
    say_cautions(log, products_of(made.record.finish, {int(each.number[1:]): each.record for each in log.cans()}))
