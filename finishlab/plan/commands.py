"""``finishlab plan``: quantities, cutting, calendar, riser check and floor purchase."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import click

from finishlab.cli.common import json_option, out, print_document, say
from finishlab.cli.lazy import ExampleCommand, LazyGroup

_COMMANDS: Final[Mapping[str, tuple[str, str]]] = {
    "quantities": ("finishlab.plan.quantities_command:quantities", "Say how much stain and finish to buy."),
    "cutting": ("finishlab.plan.cutting_command:cutting", "Say what to cut the treads to, and how many boards to buy."),
    "calendar": (
        "finishlab.plan.calendar_command:calendar",
        "Plan the days so that the stair can be climbed all the while.",
    ),
    "risers": ("finishlab.plan.commands:risers", "Check the risers after a new floor and new treads."),
    "floor": ("finishlab.plan.commands:floor", "Say how many boxes of floor to buy."),
    "example": ("finishlab.plan.example_command:example", "Print a plan's file to change into your own."),
}


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Plan the stair: quantities, cutting, days, risers, floor.")
def plan() -> None:
    """Plan the stair: what to buy, what to cut, which day brings what.

    One flight and one product go by options; a whole stair comes from a file, see "finishlab plan example". Labels
    win over every usual figure.
    """


@click.command(
    cls=ExampleCommand,
    short_help="Check the risers after a new floor and new treads.",
    examples=(
        "finishlab plan risers --riser 7.5in --count 14 --tread-added 3/4in --lower-added 1/4in --upper-added 1/4in",
        "finishlab plan risers --riser 190mm --riser 188mm --riser 191mm --tread-added 20mm",
    ),
)
@click.option(
    "--riser", "risers", metavar="HEIGHT", multiple=True, required=True, help="Height now, from the bottom up; repeat."
)
@click.option("--count", type=click.IntRange(1, 200), metavar="N", help="With one --riser: how many risers are alike.")
@click.option("--tread-added", metavar="LENGTH", help="How much higher each tread becomes; less than 0 for thinner.")
@click.option("--lower-added", metavar="LENGTH", help="How much higher the floor below becomes.")
@click.option("--upper-added", metavar="LENGTH", help="How much higher the floor above becomes.")
@click.option("--tread-depth", metavar="LENGTH", help="Tread, nosing to nosing, to check it too.")
@click.option("--nosing", metavar="LENGTH", help="How far a tread stands out over its riser, to check it too.")
@json_option
def risers(
    *,
    risers: tuple[str, ...],
    count: int | None,
    tread_added: str | None,
    lower_added: str | None,
    upper_added: str | None,
    tread_depth: str | None,
    nosing: str | None,
    as_json: bool,
) -> None:
    """Check the risers of one flight after a new floor and new treads.

    Measure from floor to tread to floor as they are now, and give what is added. The figures are those of the US model
    code, by edition; the local code and the inspector decide.
    """
    from finishlab.cautions import cautions_for
    from finishlab.errors import UsageError
    from finishlab.plan.documents import risers_document
    from finishlab.plan.geometry import Part, Shape, unlikely_sizes
    from finishlab.plan.risers import check_risers
    from finishlab.plan.text import print_cautions, print_risers
    from finishlab.records.lengths import read_length
    from finishlab.units import is_us

    if count is not None and len(risers) > 1:
        raise UsageError("count-and-risers", "Several risers are measured and counted.", "Leave out --count.")
    added = (tread_added, lower_added, upper_added)
    heights = [read_length(text, "riser", "height") for text in risers] * (count or 1)
    for sentence in unlikely_sizes(Part("riser", Shape(900, height, 20)) for height in heights):
        say(sentence)
    found = check_risers(
        heights,
        tread_added=_added(tread_added),
        lower_added=_added(lower_added),
        upper_added=_added(upper_added),
        tread_depth=None if tread_depth is None else read_length(tread_depth, "tread", "depth"),
        nosing=None if nosing is None else read_length(nosing, "tread", "nosing"),
    )
    if as_json:
        print_document(risers_document(found))
        return
    us = any(is_us(text or "") for text in (*risers, *added, tread_depth, nosing))
    print_risers(out(), found, us=us)
    print_cautions(out(), cautions_for((), ("fit",)))


@click.command(
    cls=ExampleCommand,
    short_help="Say how many boxes of floor to buy.",
    examples=(
        "finishlab plan floor --room 12ftx14ft --room 40ft2 --box 20.5ft2 --price 54",
        "finishlab plan floor --room 15m2 --box 2.2m2 --waste 7",
    ),
)
@click.option("--room", "rooms", metavar="SIZE", multiple=True, required=True, help="12ftx14ft or 15m2; repeat.")
@click.option("--box", metavar="AREA", required=True, help="What one box holds.")
@click.option(
    "--waste", type=click.FloatRange(0, 99), default=10, show_default=True, metavar="PERCENT", help="Lost in cutting."
)
@click.option("--price", type=click.FloatRange(0), metavar="AMOUNT", help="Of one box.")
@json_option
def floor(*, rooms: tuple[str, ...], box: str, waste: float, price: float | None, as_json: bool) -> None:
    """Say how many boxes of floor to buy."""
    from finishlab.cautions import cautions_for
    from finishlab.plan.documents import floor_purchase_document
    from finishlab.plan.entered import parse_room
    from finishlab.plan.floor import floor_purchase
    from finishlab.plan.text import print_cautions, print_floor_purchase
    from finishlab.units import is_us, parse_area

    found = floor_purchase([parse_room(text) for text in rooms], parse_area(box, "area of a box"), waste / 100, price)
    if as_json:
        print_document(floor_purchase_document(found))
        return
    print_floor_purchase(out(), found, us=any(is_us(text) for text in (*rooms, box)))
    print_cautions(out(), cautions_for((), ("strip",)))


def _added(text: str | None) -> float:
    """Return a length added, mm; 0 and less than 0 are meant here."""
    from finishlab.records.lengths import read_length

    if text is None or text.strip() in {"0", "0mm", "0in"}:
        return 0.0
    if text.strip().startswith("-"):
        return -read_length(text.strip()[1:], "added", "thickness")
    return read_length(text, "added", "thickness")
