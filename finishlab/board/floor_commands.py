"""``finishlab floor``: the floor's places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final, cast

import click

from finishlab.board.records import SURFACES, FloorSpotRecord, Surface
from finishlab.board.shown import colours, lights, measured, past
from finishlab.cli.common import (
    area_options,
    changes_given,
    checked_light,
    colour_words,
    confirm_floor_option,
    doubt_lines,
    json_option,
    measure_all,
    new_light_option,
    on_terminal,
    open_logbook,
    photos_argument,
    photos_words,
    report_failures,
    say,
    say_undo,
    show_document,
    untouched,
)
from finishlab.cli.kinds import light_option, print_logged, remove_command, show_command
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.record import DAYLIGHT, parse_date, today
from finishlab.show.document import Block, Colour, Facts, Line, Listing
from finishlab.show.kind import Field, Kind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from finishlab.board.checks import FloorSeen
    from finishlab.board.shown import SpotRow
    from finishlab.logbook import Logbook, StoredSpot
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.measuring.photos import PhotoResult

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "add": ("finishlab.board.floor_commands:add", "Measure photos of the floor and log them."),
    "list": ("finishlab.board.floor_commands:list_spots", "List the floor's spots and their pool."),
    "show": ("finishlab.board.floor_commands:show", "Show all that is logged of a spot."),
    "edit": ("finishlab.board.floor_commands:edit", "Change what is written of a spot."),
    "remove": ("finishlab.board.floor_commands:remove", "Leave spots out from now on; their history stays."),
}


MANY: Final = 3
"""From so many things logged at once it is said how to take all of them back."""


def _row(spot: StoredSpot) -> SpotRow:
    from finishlab.board.shown import spot_row

    return spot_row(spot)


def _page(log: Logbook, spot: SpotRow) -> list[Block]:
    record = spot.record
    facts = (
        ("where", record.spot),
        ("surface", record.surface),
        ("light", record.light),
        ("date", record.date),
        ("note", record.note),
    )
    return [Facts(f"Floor spot {spot.number}", facts), *measured(log, spot.colours), past(log, spot.number)]


FLOOR: Kind[StoredSpot, SpotRow] = Kind(
    command="floor",
    letter="F",
    format="floor",
    listed_as="spots",
    before={"floor": None},
    fields=(
        Field(lambda spot: spot.number, key="spot", head="spot"),
        Field(lambda spot: spot.record.as_dict(), key="record"),
        Field(lambda spot: Colour(spot.lab), key="lab", head="L* a* b*"),
        Field(lambda spot: spot.record.spot, head="where", fold=True),
        Field(lambda spot: spot.record.surface, head="surface", fold=True),
        Field(lights, head="light", fold=True),
        Field(lambda spot: spot.record.date, head="date"),
        Field(colours, key="measurements"),
    ),
    none="No floor spot is logged yet. Add one: finishlab floor add PHOTO",
    page=_page,
    read=lambda log, light: [_row(each) for each in log.floor_spots(light)],
    find=lambda log, number: log.floor_spot(number),
    row=lambda _, spot: _row(spot),
)


def spot_summary(spot: StoredSpot, done: str = "logged") -> str:
    """Return a floor spot in one line."""
    where = f" ({spot.record.spot})" if spot.record.spot else ""
    return f"{spot.number} {done}: {spot.record.surface}{where}{place_words(spot)}, {photos_words(spot)}."


def place_words(spot: StoredSpot) -> str:
    """Return, for the end of a line, the colour of a place."""
    return colour_words(_row(spot).lab)


@click.group(cls=LazyGroup, lazy=_COMMANDS)
def floor() -> None:
    """Log and look up places of the floor.

    Photograph five planks or more, the floor against the strip's floor edge.
    """


@click.command(
    cls=ExampleCommand,
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
@new_light_option
@confirm_floor_option
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
    new_light: bool,
    confirm_floor: bool,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    as_json: bool,
) -> int:
    """Measure photos of the floor and log them.

    Without --spot each photo is a spot of its own. Unless every photo is good, none is logged.
    """
    from finishlab.board.checks import doubt_light, floor_seen
    from finishlab.measuring.logged import log_floor_spots
    from finishlab.measuring.photos import MeasureOptions

    day = today() if date is None else parse_date(date)
    record = FloorSpotRecord(spot, cast("Surface", surface), light, note, day)
    how = MeasureOptions(("floor",), "wood" if surface == "wood" else "print", greys, area)
    with open_logbook(make=True) as log:
        record = replace(record, light=checked_light(log, record.light, new=new_light))
        results = measure_all(photos, how.with_calibration(log, record.light))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        seen = floor_seen(log, record.light, record.surface)
        refuse_other_floor(results, seen, confirmed=confirm_floor)
        results = doubt_light(log, results, record.light)
        spots = log_floor_spots(log, record, results, dated=date is not None)
        print_logged(FLOOR, log, spots, as_json=as_json)
    for each in spots:
        say(spot_summary(each))
    for line in doubt_lines(results):
        say(line)
    if len(spots) >= MANY:
        say_undo()
    return 0


def refuse_other_floor(results: Sequence[PhotoResult], floor: FloorSeen, *, confirmed: bool) -> None:
    """See that photos of the floor show it; where they may not, ask.

    Raises
    ------
    UsageError
        ``"not-the-floor"`` where nobody can be asked, or the answer is no.
    """
    from finishlab.board.checks import floor_slips

    slips = [] if confirmed else floor_slips(results, floor)
    if not slips:
        return
    told = " ".join(slips)
    if on_terminal():
        say(told)
        if click.confirm("Is it the floor all the same", default=False, err=True):
            return
        told = "Nothing was logged."
    raise UsageError(
        "not-the-floor",
        told,
        "Photograph the floor against the strip's floor edge; if it is the floor: --confirm-floor",
    )


@click.command("list", cls=ExampleCommand, examples=("finishlab floor list",))
@light_option
@json_option
def list_spots(*, light: str | None, as_json: bool) -> None:
    """List the floor's spots and their pool."""
    from finishlab.board.shown import spot_row
    from finishlab.rank.comparing import pool_spots
    from finishlab.rank.documents import pool_document
    from finishlab.rank.sentences import floor_line

    with open_logbook() as log:
        spots = log.floor_spots(light)
    pooled = pool_spots(spots)
    rows = [spot_row(spot) for spot in spots]
    blocks = [*FLOOR.listing(rows)]
    if pooled is not None:
        blocks += [Line(floor_line(pooled[1])), Listing("Doubts", [doubt.message for doubt in pooled[1].doubts])]
    pool = None if pooled is None else pool_document(pooled[1])
    document = FLOOR.document(rows, blocks, floor=pool, light=None if pooled is None else pooled[0])
    show_document(document, as_json=as_json)
    if pooled is not None and not as_json and len({m.light for spot in spots for m in spot.measurements}) > 1:
        say(f"Pooled from what was taken in {pooled[0]}; name another with --light.")


@click.command(
    cls=ExampleCommand,
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
    changes = changes_given(**values)
    with open_logbook() as log:
        spot = log.edit_floor_spot(number, **changes)
        print_logged(FLOOR, log, [spot], as_json=as_json, changed=True)
    say(spot_summary(spot, "changed"))


show = show_command(FLOOR, "Show all that is logged of a spot.")
remove = remove_command(
    FLOOR,
    "Leave spots out from now on; their photos and history stay.",
    "F3",
    kept="its photos and history stay",
)
