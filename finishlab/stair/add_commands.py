"""``finishlab stairs add`` and ``add-parts``: the stair into the logbook, many parts at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import json_option, open_logbook, print_document, say
from finishlab.cli.lazy import ExampleCommand
from finishlab.stair.size_options import lengths_in, size_options, sizes_given, three_sizes

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.stair.names import PartKind, Side
    from finishlab.stair.records import PartSizes

_SIDES = click.Choice(["left", "right", "both"])
_BOARD = ("front", "depth", "thickness")
_UPRIGHT = ("front", "height", "thickness")


@click.command(
    cls=ExampleCommand,
    short_help="Enter flights and landings with their parts.",
    examples=(
        "finishlab stairs add 7 landing 7 --tread 914x292x27 --riser 914x190x19 --landing-boards 6 --species 'red oak'",
        "finishlab stairs add 14 --tread '36x11.5x1 1/16in' --nosing 1in --returns left",
        "finishlab stairs add landing --above 1",
    ),
)
@click.argument("words", nargs=-1, required=True, metavar="RISERS|landing ...")
@click.option("--tread", metavar="WxDxT", help="Size of the treads: front width, depth, thickness.")
@click.option("--nosing", metavar="LENGTH", help="How far the treads stand out over the risers.")
@click.option("--riser", metavar="WxHxT", help="Size of the risers: width, height, thickness.")
@click.option("--no-risers", is_flag=True, help="Leave the risers out: open, or none of yours to finish.")
@click.option("--top-nosing", metavar="WxDxT", help="Size of the nosing at the top of each flight.")
@click.option("--no-top-nosing", is_flag=True, help="The flights have none.")
@click.option("--landing-boards", type=click.IntRange(0, 200), default=0, metavar="N", help="Boards on each landing.")
@click.option("--landing-board", metavar="WxDxT", help="Size of the landing boards.")
@click.option("--returns", type=_SIDES, help="Treads end in a mitred return, at which side.")
@click.option("--skirts", type=_SIDES, help="A skirt board along each flight, at which side.")
@click.option("--stringers", type=_SIDES, help="A stringer along each flight to be finished, at which side.")
@click.option("--species", metavar="WOOD", help="The wood of all these parts.")
@click.option("--recipe", metavar="R1", help="The recipe they are to be finished by.")
@click.option("--name", metavar="TEXT", help="What the one flight or landing is called, e.g. “to the attic”.")
@click.option("--above", type=click.IntRange(0, 99), metavar="N", help="A forgotten landing: the flight below it.")
@json_option
def add(*, words: tuple[str, ...], name: str | None, above: int | None, as_json: bool, **values: Any) -> None:  # noqa: ANN401
    """Enter flights by their risers, and landings between them, from the bottom up, with all their parts.

    A flight has one tread fewer than risers, since the floor above is the last step, and a nosing at its top.
    Sizes hold for all that are entered; change single ones with: finishlab stairs edit
    """
    from finishlab.stair.entering import new_flights

    sizes = _sizes(values)
    with open_logbook(make=True) as log:
        plan = _plan(log, sizes, values)
        stair = log.stair()
        entered = new_flights(stair, words, plan, name=name, above=above)
        log.add_flights(entered.flights, entered.parts)
        stair = log.stair()
    for flight in stair.flights:
        if flight.number in entered.flights:
            names = [part.name for part in stair.parts if part.record.flight_number == flight.number]
            _say_flight(flight.title, names)
    if as_json:
        _print_stair(stair)


def _sizes(values: dict[str, Any]) -> dict[PartKind, PartSizes]:
    """Return the sizes that were typed, by the kind of part."""
    from finishlab.stair.records import PartSizes

    sizes: dict[PartKind, PartSizes] = {}
    written: tuple[tuple[PartKind, str, tuple[str, str, str]], ...] = (
        ("tread", "tread", _BOARD),
        ("riser", "riser", _UPRIGHT),
        ("landing nosing", "top_nosing", _BOARD),
        ("landing board", "landing_board", _BOARD),
    )
    for kind, option, names in written:
        texts = {} if values[option] is None else three_sizes(values[option], names)
        if kind == "tread" and values["nosing"] is not None:
            texts["nosing"] = values["nosing"]
        if texts:
            sizes[kind] = PartSizes(**lengths_in(texts, kind))
    return sizes


def _plan(log: Logbook, sizes: dict[PartKind, PartSizes], values: dict[str, Any]) -> Any:  # noqa: ANN401 - the workflow's type, loaded late
    from finishlab.stair.entering import PartPlan
    from finishlab.stair.names import SIDES

    sided: dict[PartKind, tuple[Side, ...]] = {}
    options: tuple[tuple[PartKind, str], ...] = (("return", "returns"), ("skirt", "skirts"), ("stringer", "stringers"))
    for kind, option in options:
        if values[option] is not None:
            sided[kind] = SIDES if values[option] == "both" else (values[option],)
    return PartPlan(
        sizes,
        risers=not values["no_risers"],
        top_nosing=not values["no_top_nosing"],
        landing_boards=values["landing_boards"],
        sided=sided,
        species=values["species"],
        recipe_number=recipe_number(log, values["recipe"]),
    )


def recipe_number(log: Logbook, text: str | None) -> int | None:
    """Return the number of a recipe, named by number or name; LogbookError ``"unknown-recipe"``."""
    from finishlab.records.recipes import number_of

    return None if text is None else number_of("R", log.recipe(text).number)


def can_number(log: Logbook, text: str | None) -> int | None:
    """Return the number of a can; LogbookError ``"unknown-can"``."""
    from finishlab.records.recipes import number_of

    return None if text is None else number_of("C", log.can(text).number)


def _say_flight(title: str, names: list[Any]) -> None:
    from finishlab.stair.names import listed

    say(f"{title.capitalize()} entered: {listed(names, with_level=False) or 'no parts yet'}.")


def _print_stair(stair: Any) -> None:  # noqa: ANN401 - the logbook's type, loaded late
    from finishlab.stair.documents import stair_document
    from finishlab.stair.showing import flights_shown

    print_document(stair_document(flights_shown(stair)))


@click.command(
    "add-parts",
    cls=ExampleCommand,
    short_help="Enter further parts: nosings, returns, boards, skirts.",
    examples=(
        "finishlab stairs add-parts 2/returns 1-6 left --front 320 --depth 40 --thickness 27",
        "finishlab stairs add-parts landing 1 landing boards 1-5 --front 900 --depth 120 --thickness 20",
    ),
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS")
@size_options
@click.option("--species", metavar="WOOD", help="The wood.")
@click.option("--recipe", metavar="R1", help="The recipe they are to be finished by.")
@click.option("--fixing", metavar="TEXT", help="How they are fixed, adhesive named.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@json_option
def add_parts(*, parts: tuple[str, ...], recipe: str | None, as_json: bool, **values: Any) -> None:  # noqa: ANN401
    """Enter further parts of flights and landings that are there."""
    from finishlab.stair.entering import new_parts, size_remarks
    from finishlab.stair.names import listed
    from finishlab.stair.records import PartSizes

    sizes = PartSizes(**sizes_given(values))
    with open_logbook() as log:
        number = recipe_number(log, recipe)
        new = new_parts(log.stair(), " ".join(parts), sizes, recipe_number=number, **values)
        before = {part.ident for part in log.stair_parts()}
        log.add_parts(new)
        stair = log.stair()
    names = [part.name for part in stair.parts if part.ident not in before]
    say(f"Entered: {listed(names)}.")
    for line in size_remarks([(listed(names), sizes)]):
        say(line)
    if as_json:
        _print_stair(stair)
