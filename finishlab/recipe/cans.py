"""``finishlab can``: the cans of stain and finish, their lots, and where the rest is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import (
    changes_given,
    json_option,
    list_command,
    open_logbook,
    options,
    print_logged,
    remove_command,
    say,
    say_cautions,
    show_command,
)
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.recipe.records import CAN_KINDS, Can, Label
from finishlab.record import parse_date
from finishlab.show.document import Block, Facts, Listing
from finishlab.show.kind import Field, Kind
from finishlab.units import left_text

if TYPE_CHECKING:
    from finishlab.logbook import Logbook, StoredCan
    from finishlab.stair.records import StoredPart

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.recipe.cans:add", "Log a can with its lot."),
    "list": ("finishlab.recipe.cans:list_cans", "List the cans, what is left and where."),
    "show": ("finishlab.recipe.cans:show", "Show a can and what it went on."),
    "edit": ("finishlab.recipe.cans:edit", "Change what is written of a can."),
    "remove": ("finishlab.recipe.cans:remove", "Leave cans out from now on; their history stays."),
}
_field_options = options(
    click.option("--maker", metavar="NAME", help="Who made it."),
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


@dataclass(frozen=True, slots=True)
class CanRow:
    """A can and what it went on."""

    number: str
    record: Can
    went_on: tuple[str, ...]
    """Each coat from it, one a line."""
    told: tuple[str, ...]
    """The same in few lines, parts that got the same together."""


def _rows(log: Logbook, light: str | None = None) -> list[CanRow]:
    """Return every can with the coats that came from it, by number."""
    del light
    stair = log.stair()
    names = {part.ident: stair.words(part) for part in stair.parts}
    went_on: dict[int, list[str]] = {}
    alike: dict[int, dict[str, list[StoredPart]]] = {}
    for event in stair.events:
        record = event.record
        if record.batch_number is not None:
            what = f"{record.step} {record.coat}" if record.kind == "coat" else record.kind
            went_on.setdefault(record.batch_number, []).append(f"{names[event.part]}: {what}, {record.date}")
            coats = alike.setdefault(record.batch_number, {})
            coats.setdefault(f"{what}, {record.date}", []).append(stair.part(event.part))
    boards: dict[int, list[str]] = {}
    for board in log.boards(brief=True):
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


def _page(log: Logbook, can: CanRow) -> tuple[Block, ...]:
    del log
    record = can.record
    label = (
        None
        if record.label is None
        else "; ".join(f"{each.label} {words}" for each, words, _ in record.label.written())
    )
    facts = (
        ("product", _product(record)),
        ("kind", record.kind),
        ("lot", record.lot),
        ("left", left_text(record.left_l, record.size_l)),
        ("where", record.place),
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
        Field(lambda can: _product(can.record), head="product", fold=True),
        Field(lambda can: can.record.kind, head="kind", fold=True),
        Field(lambda can: can.record.lot, head="lot", fold=True),
        Field(lambda can: left_text(can.record.left_l, can.record.size_l), head="left", fold=True),
        Field(lambda can: can.record.place, head="where", fold=True),
    ),
    none="No can is logged yet. Add one: finishlab can add PRODUCT --kind KIND --lot LOT",
    page=_page,
    read=_rows,
    find=lambda log, number: log.can(number),
    row=lambda log, can: next(row for row in _rows(log) if row.number == can.number),
)


@click.group(cls=LazyGroup, lazy=_COMMANDS)
def can() -> None:
    """Log cans of stain and finish: lot, what the label says, how much is left and where."""


@click.command(
    cls=ExampleCommand,
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
    record = Can(kind, product, **_typed(values))
    with open_logbook(make=True) as log:
        made = log.add_can(record)
        print_logged(CAN, log, [made], as_json=as_json)
        say(f"{made.number} logged: {_words(made.record)}.")
        say_cautions(log, [f"{record.kind} {record.product}"])


@click.command(
    cls=ExampleCommand,
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
    from finishlab.finish.fields import changed, parse_fields

    out_: dict[str, Any] = {name: value for name, value in values.items() if value is not None}
    for name in ("size", "left"):
        if name in out_:
            out_[f"{name}_l"] = _litres(out_.pop(name))
    if "opened" in out_:
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


def _words(record: Can) -> str:
    lot = f", lot {record.lot}" if record.lot else ""
    return f"{_product(record)} ({record.kind}){lot}"


def _say_disposal(log: Logbook, cans: Sequence[StoredCan]) -> None:
    say_cautions(log, [f"{can.record.kind} {can.record.product}" for can in cans], ["dispose"])


list_cans = list_command(CAN, "List the cans, what is left and where.")
show = show_command(CAN, "Show a can and what it went on.")
remove = remove_command(
    CAN, "Leave cans out from now on; their history stays, and no number is given twice.", "C2", then=_say_disposal
)
