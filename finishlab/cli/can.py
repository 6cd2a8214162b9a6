"""``finishlab can``: the cans of stain and finish, their lots, and where the rest is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from finishlab.cli.cautioning import say_cautions
from finishlab.cli.common import changes_given, json_option, open_logbook, out, print_document, print_removed, say
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.records import CAN_KINDS

Command = TypeVar("Command", bound=Callable[..., Any])

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.cli.can:add", "Log a can with its lot."),
    "list": ("finishlab.cli.can:list_cans", "List the cans, what is left and where."),
    "show": ("finishlab.cli.can:show", "Show a can and what it went on."),
    "edit": ("finishlab.cli.can:edit", "Change what is written of a can."),
    "remove": ("finishlab.cli.can:remove", "Leave cans out from now on; their history stays."),
}
_FIELDS = (
    click.option("--maker", metavar="TEXT", help="Who made it."),
    click.option("--lot", metavar="TEXT", help="Lot or batch number on the can."),
    click.option("--size", metavar="VOLUME", help="When full: 1L, 750ml, 1qt; without a unit litres."),
    click.option("--left", metavar="VOLUME", help="What is left in it."),
    click.option("--place", metavar="TEXT", help="Where the rest is kept."),
    click.option("--opened", metavar="DATE", help="Day it was opened, e.g. 2024-05-31."),
    click.option(
        "--label",
        metavar="FIELDS",
        help='What its label says: "coverage=10; coverage-to=12; recoat=4; recoat-within=24; recoat-other=72; '
        'walk-on=24; pot-life=4; price=34".',
    ),
    click.option("--note", metavar="TEXT", help="Anything else."),
)


def _field_options(command: Command) -> Command:
    for option in reversed(_FIELDS):
        command = option(command)
    return command


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Log cans of stain and finish, and where the rest is.")
def can() -> None:
    """Log cans of stain and finish: lot, what the label says, how much is left and where."""


@click.command(
    cls=ExampleCommand,
    short_help="Log a can with its lot.",
    examples=(
        'finishlab can add "walnut brown" --kind "water stain" --lot W-204 --size 1L --place "cellar, left shelf"',
        'finishlab can add "floor finish" --kind "hardwax oil" --lot 77 --size 2.5L --label "coverage=24; recoat=12"',
    ),
)
@click.argument("product", metavar="PRODUCT")
@click.option("--kind", type=click.Choice(CAN_KINDS), required=True, help="What is in it.")
@_field_options
@json_option
def add(*, product: str, kind: str, as_json: bool, **values: Any) -> None:  # noqa: ANN401 - the can's fields
    """Log a can; print its number."""
    from finishlab.records import Batch
    from finishlab.reports.recipe_text import cans_document
    from finishlab.workflow.recipes import can_rows

    record = Batch(kind, product, **_typed(values))
    with open_logbook(make=True) as log:
        made = log.add_can(record)
        if as_json:
            print_document(cans_document([row for row in can_rows(log) if row.number == made.number]))
        else:
            click.echo(made.number)
        say(f"{made.number} logged: {_words(made.record)}.")
        say_cautions(log, [record.kind, record.product])


@click.command(
    "list",
    cls=ExampleCommand,
    short_help="List the cans, what is left and where.",
    examples=("finishlab can list",),
)
@json_option
def list_cans(*, as_json: bool) -> None:
    """List the cans, what is left and where."""
    from finishlab.reports.recipe_text import cans_document, print_cans
    from finishlab.workflow.recipes import can_rows

    with open_logbook() as log:
        rows = can_rows(log)
    if as_json:
        print_document(cans_document(rows))
    else:
        print_cans(out(), rows)


@click.command(cls=ExampleCommand, short_help="Show a can and what it went on.", examples=("finishlab can show C1",))
@click.argument("number", metavar="C1")
@json_option
def show(*, number: str, as_json: bool) -> None:
    """Show a can and what it went on."""
    from finishlab.reports.recipe_text import cans_document, print_can
    from finishlab.workflow.recipes import can_rows

    with open_logbook() as log:
        wanted = log.can(number).number
        (row,) = (each for each in can_rows(log) if each.number == wanted)
    if as_json:
        print_document(cans_document([row]))
    else:
        print_can(out(), row)


@click.command(
    cls=ExampleCommand,
    short_help="Change what is written of a can.",
    examples=('finishlab can edit C1 --left 0.3L --place "attic"',),
)
@click.argument("number", metavar="C1")
@click.option("--product", metavar="TEXT", help="What is in it, as its label says.")
@click.option("--kind", type=click.Choice(CAN_KINDS), help="What kind it is.")
@_field_options
@json_option
def edit(*, number: str, as_json: bool, **values: Any) -> None:  # noqa: ANN401 - the can's fields
    """Change what is written of a can; what it was stays in its history.

    Of the label only the figures that are named change; an empty one (``price=``) is taken out.
    """
    from finishlab.reports.recipe_text import cans_document
    from finishlab.workflow.recipes import can_rows

    given = changes_given(**values)
    with open_logbook() as log:
        before = log.can(number).record
        changed = log.edit_can(number, **_typed(given, before.label))
        if as_json:
            print_document(cans_document([row for row in can_rows(log) if row.number == changed.number]))
        say(f"{changed.number} changed: {_words(changed.record)}.")
        record = changed.record
        if (record.kind, record.product) != (before.kind, before.product):
            say_cautions(log, [record.kind, record.product])


@click.command(
    cls=ExampleCommand,
    short_help="Leave cans out from now on; their history stays.",
    examples=("finishlab can remove C2",),
)
@click.argument("numbers", metavar="C1...", nargs=-1, required=True)
@json_option
def remove(numbers: tuple[str, ...], *, as_json: bool) -> None:
    """Leave cans out from now on; their history stays, and no number is given twice."""
    with open_logbook() as log:
        products = []
        found = {each.number: each for each in [log.can(number) for number in numbers]}
        for each in found.values():
            log.remove_can(each.number)
            products += [each.record.kind, each.record.product]
            say(f"{each.number} is removed; its history stays.")
        if as_json:
            print_removed(list(found))
        say_cautions(log, products, ["dispose"])


def _typed(values: Mapping[str, Any], label: Any = None) -> dict[str, Any]:  # noqa: ANN401 - a label or none
    """Return the options as the record keeps them."""
    from finishlab.records import Label
    from finishlab.records.finish_text import changed, parse_fields

    out_: dict[str, Any] = {name: value for name, value in values.items() if value is not None}
    for name in ("size", "left"):
        if name in out_:
            out_[f"{name}_l"] = _litres(out_.pop(name))
    if "opened" in out_:
        from finishlab.records import parse_date

        out_["opened"] = parse_date(out_["opened"])
    if "label" in out_:
        out_["label"] = changed(Label, label, parse_fields(Label, out_["label"]))
    return out_


def _litres(text: str) -> float:
    from finishlab.units import parse_volume

    try:
        return float(text)
    except ValueError:
        pass
    try:
        return parse_volume(text)
    except UsageError:
        raise
    except ValueError as error:
        raise UsageError("bad-volume", f"“{text}” is no volume.", "Write it as 1L, 750ml or 1qt.") from error


def _words(record: Any) -> str:  # noqa: ANN401 - the record's type loads late
    product = " ".join(word for word in (record.maker, record.product) if word)
    lot = f", lot {record.lot}" if record.lot else ""
    return f"{product} ({record.kind}){lot}"
