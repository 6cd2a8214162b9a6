"""``finishlab floor``: the floor's places."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import click

from finishlab.cli.common import (
    area_options,
    changes_given,
    json_option,
    measure_all,
    open_logbook,
    out,
    photos_argument,
    print_document,
    print_removed,
    report_failures,
    say,
)
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.cli.summary import doubt_lines, spot_summary, untouched
from finishlab.records import DAYLIGHT, SURFACES, FloorSpotRecord, Surface, parse_date, today

if TYPE_CHECKING:
    from collections.abc import Mapping

    from finishlab.measure import GreyArea, SurfaceArea

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.things.floor:add", "Measure photos of the floor and log them."),
    "list": ("finishlab.things.floor:list_spots", "List the floor's spots and their pool."),
    "show": ("finishlab.things.floor:show", "Show all that is logged of a spot."),
    "edit": ("finishlab.things.floor:edit", "Change what is written of a spot."),
    "remove": ("finishlab.things.floor:remove", "Leave spots out from now on; their history stays."),
}


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Log and look up places of the floor.")
def floor() -> None:
    """Log and look up places of the floor.

    Photograph five planks or more, the floor against the strip's floor edge.
    """


@click.command(
    cls=ExampleCommand,
    short_help="Measure photos of the floor and log them.",
    examples=(
        "finishlab floor add plank1.jpg plank2.jpg plank3.jpg",
        'finishlab floor add lamp.jpg --spot "by the stair" --light "evening lamp" --surface laminate',
    ),
)
@photos_argument
@click.option("--spot", metavar="TEXT", help="Where on the floor; several photos of one spot are repeats.")
@click.option("--light", metavar="TEXT", default=DAYLIGHT, show_default=True, help="The light it was taken in.")
@click.option(
    "--surface", type=click.Choice(SURFACES), default="vinyl", show_default=True, help="What the floor is made of."
)
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="Day of the photo, e.g. 2024-05-31. [default: as the photo says]")
@area_options
@json_option
def add(
    *,
    photos: tuple[str, ...],
    spot: str | None,
    light: str,
    surface: str,
    note: str | None,
    date: str | None,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    as_json: bool,
) -> int:
    """Measure photos of the floor and log them.

    Without --spot each photo is a spot of its own. Unless every photo is good, none is logged.
    """
    from finishlab.reports.documents import floor_document
    from finishlab.workflow.batch import How
    from finishlab.things.sameness import lights_logged, near_light
    from finishlab.workflow.learned import as_learned
    from finishlab.workflow.recording import log_floor_spots
    from finishlab.workflow.rows import spot_row

    day = today() if date is None else parse_date(date)
    record = FloorSpotRecord(spot, cast("Surface", surface), light, note, day)
    how = How(("floor",), "wood" if surface == "wood" else "print", greys, area)
    with open_logbook(make=True) as log:
        results = measure_all(photos, as_learned(how, log, record.light))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        slip = near_light(record.light, lights_logged(log))
        spots = log_floor_spots(log, record, results, dated=date is not None)
    if as_json:
        print_document(floor_document([spot_row(each) for each in spots]))
    else:
        for each in spots:
            click.echo(each.number)
    for each in spots:
        say(spot_summary(each))
    for line in doubt_lines(results):
        say(line)
    if slip is not None:
        say(f"{slip} If it is one of these: finishlab undo, and log it again.")
    return 0


@click.command(
    "list",
    cls=ExampleCommand,
    short_help="List the floor's spots and their pool.",
    examples=("finishlab floor list",),
)
@click.option("--light", metavar="TEXT", help="Only what was taken in this light.")
@json_option
def list_spots(*, light: str | None, as_json: bool) -> None:
    """List the floor's spots and their pool."""
    from finishlab.reports.documents import floor_document
    from finishlab.reports.terminal import print_floor
    from finishlab.workflow.comparing import pool_spots
    from finishlab.workflow.rows import spot_row

    with open_logbook() as log:
        spots = log.floor_spots(light)
    pooled = pool_spots(spots)
    rows, pool = [spot_row(spot) for spot in spots], None if pooled is None else pooled[1]
    if as_json:
        document = floor_document(rows, pool)
        print_document({**document, "light": None if pooled is None else pooled[0]})
        return
    print_floor(out(), rows, pool)
    if pooled is not None and len({m.light for spot in spots for m in spot.measurements}) > 1:
        say(f"Pooled from what was taken in {pooled[0]}; name another with --light.")


@click.command(
    cls=ExampleCommand,
    short_help="Show all that is logged of a spot.",
    examples=("finishlab floor show F1",),
)
@click.argument("number", metavar="F1")
@json_option
def show(*, number: str, as_json: bool) -> None:
    """Show all that is logged of a spot."""
    from finishlab.reports.documents import floor_document
    from finishlab.reports.terminal import print_spot
    from finishlab.workflow.rows import photo_namer, spot_row

    with open_logbook() as log:
        spot = log.floor_spot(number)
        if as_json:
            print_document(floor_document([spot_row(spot)]))
            return
        row = spot_row(spot, name=photo_namer(log), history=log.history(spot.number))
    print_spot(out(), row)


@click.command(
    cls=ExampleCommand,
    short_help="Change what is written of a spot.",
    examples=('finishlab floor edit F1 --spot "by the stair" --note ""',),
)
@click.argument("number", metavar="F1")
@click.option("--spot", metavar="TEXT", help="Where on the floor.")
@click.option("--light", metavar="TEXT", help="The light it was taken in; its photos move with it.")
@click.option("--surface", type=click.Choice(SURFACES), help="What the floor is made of.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="Day of the photo.")
@json_option
def edit(*, number: str, as_json: bool, **values: str | None) -> None:
    """Change what is written of a spot; what it was stays in its history.

    An empty text takes a field out.
    """
    from finishlab.reports.documents import floor_document
    from finishlab.workflow.rows import spot_row

    changes = changes_given(**values)
    with open_logbook() as log:
        spot = log.edit_floor_spot(number, **changes)
    if as_json:
        print_document(floor_document([spot_row(spot)]))
    say(spot_summary(spot, "changed"))


@click.command(
    cls=ExampleCommand,
    short_help="Leave spots out from now on; their history stays.",
    examples=("finishlab floor remove F3",),
)
@click.argument("numbers", metavar="F1...", nargs=-1, required=True)
@json_option
def remove(numbers: tuple[str, ...], *, as_json: bool) -> None:
    """Leave spots out from now on; their photos and history stay."""
    with open_logbook() as log:
        found = [log.floor_spot(number).number for number in dict.fromkeys(numbers)]
        for number in dict.fromkeys(found):
            log.remove_floor_spot(number)
            say(f"{number} is removed; its photos and history stay.")
    if as_json:
        print_removed(list(dict.fromkeys(found)))
