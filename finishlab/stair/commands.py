"""``finishlab stairs``: the stair, its parts and what was done to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, out, print_document, say
from finishlab.cli.lazy import ExampleCommand, LazyGroup

if TYPE_CHECKING:
    from collections.abc import Mapping

    from finishlab.stair.records import CoatStep

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.stair.add_commands:add", "Enter flights and landings with their parts."),
    "add-parts": ("finishlab.stair.add_commands:add_parts", "Enter further parts: nosings, returns, boards, skirts."),
    "show": ("finishlab.stair.commands:show", "Draw the stair: each part's state and colour."),
    "log": ("finishlab.stair.log_commands:log_event", "Log what was done to parts."),
    "measure": ("finishlab.stair.log_commands:measure_parts", "Measure parts in photos and log their colour."),
    "part": ("finishlab.stair.commands:part", "Say which finish is on a part, and from which can."),
    "due": ("finishlab.stair.commands:due", "Say which parts are still short of a coat."),
    "edit": ("finishlab.stair.edit_commands:edit", "Change sizes, wood, recipe or notes of parts; or a flight."),
    "edit-event": ("finishlab.stair.edit_commands:edit_event", "Change what was logged of a part."),
    "remove": ("finishlab.stair.edit_commands:remove", "Leave parts, flights or events out from now on."),
}


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Enter the stair, log and look up its parts.")
def stairs() -> None:
    """Enter the stair, log what is done to its parts, and look it up.

    Everything is counted from the bottom up; left and right are seen from below. Parts are named as people say them:
    "tread 7", "2/tread 7" or "flight 2 tread 7" where there are several flights, "treads 3-9", "odd treads",
    "all risers", "treads 1,3,5", "left stringer", "landing 1"; or in short T7, 2.T7. Groups are set apart by commas.
    """


@click.command(
    cls=ExampleCommand,
    short_help="Draw the stair: each part's state and colour.",
    examples=("finishlab stairs show", "finishlab stairs show --svg stair.svg"),
)
@click.option("--svg", metavar="FILE", help="Draw it into an SVG file too, seen from below.")
@json_option
def show(*, svg: str | None, as_json: bool) -> None:
    """Draw the stair: each part with its state in words and its measured colour."""
    from finishlab.stair.picture import print_stair, stair_notes
    from finishlab.stair.showing import flights_shown

    with open_logbook() as log:
        flights = flights_shown(log.stair())
    if svg is not None:
        from finishlab.files import write_atomically
        from finishlab.stair.svg import stair_svg

        write_atomically(svg, stair_svg(flights).encode())
        say(f"The stair is drawn in {svg}.")
    if as_json:
        from finishlab.stair.documents import stair_document

        print_document(stair_document(flights, stair_notes(flights)))
    elif svg is None:
        print_stair(out(), flights)


@click.command(
    cls=ExampleCommand,
    short_help="Say which finish is on a part, and from which can.",
    examples=("finishlab stairs part tread 7", "finishlab stairs part 2.T7", "finishlab stairs part treads 1-3 --json"),
)
@click.argument("parts", nargs=-1, required=True, metavar="PART")
@json_option
def part(*, parts: tuple[str, ...], as_json: bool) -> None:
    """Say which finish is on a part, from which can, and all else that is known of it."""
    from finishlab.stair.details import part_details

    with open_logbook() as log:
        details = part_details(log, " ".join(parts))
    if as_json:
        from finishlab.stair.documents import parts_document

        print_document(parts_document(details))
        return
    from finishlab.stair.text import print_part

    console = out()
    for number, detail in enumerate(details):
        if number:
            console.print()
        print_part(console, detail)


@click.command(
    cls=ExampleCommand,
    short_help="Say which parts are still short of a coat.",
    examples=("finishlab stairs due", "finishlab stairs due all treads --stain 1 --topcoats 4"),
)
@click.argument("parts", nargs=-1, metavar="[PARTS]")
@click.option("--stain", type=click.IntRange(0, 8), metavar="N", help="Stain coats wanted. [default: the recipe's]")
@click.option("--seal", type=click.IntRange(0, 8), metavar="N", help="Sealer coats wanted. [default: the recipe's]")
@click.option("--topcoats", type=click.IntRange(0, 8), metavar="N", help="Topcoats wanted. [default: the recipe's]")
@json_option
def due(*, parts: tuple[str, ...], stain: int | None, seal: int | None, topcoats: int | None, as_json: bool) -> None:
    """Say which parts are still short of a coat, which coat is next, and from when on its label allows it.

    How many coats a part is to have says its recipe, or the options.
    """
    from finishlab.stair.showing import due_rows

    told: dict[CoatStep, int | None] = {"stain": stain, "seal": seal, "topcoat": topcoats}
    given = {step: count for step, count in told.items() if count is not None}
    with open_logbook() as log:
        stair = log.stair()
    rows = due_rows(stair, " ".join(parts), given)
    if as_json:
        from finishlab.stair.documents import due_document

        print_document(due_document(rows))
        return
    from finishlab.stair.text import print_due

    if not stair.parts:
        say("No stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")
        return
    assumed = topcoats is None and any(row.recipe is None for each in rows for row in each.parts)
    print_due(out(), rows, assumed=assumed)
