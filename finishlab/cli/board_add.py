"""``finishlab board add``: photos of a test board into the logbook."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import click

from finishlab.cli.common import (
    area_options,
    json_option,
    measure_all,
    open_logbook,
    photos_argument,
    print_document,
    report_failures,
    say,
    say_oil_caution,
)
from finishlab.cli.lazy import ExampleCommand
from finishlab.cli.summary import board_summary, doubt_lines, untouched
from finishlab.errors import UsageError
from finishlab.records import MAX_COATS, PURPOSES, BoardRecord, parse_date, today

if TYPE_CHECKING:
    from finishlab.measure import GreyArea, SurfaceArea, SurfaceKind
    from finishlab.reports.rows import PhotoResult

_RECORD = ("species", "stain", "coats", "topcoat", "purpose", "note", "date")


@click.command(
    cls=ExampleCommand,
    short_help="Measure photos of a test board and log them.",
    examples=(
        'finishlab board add board.jpg --species ash --stain walnut --coats 2 --topcoat "satin polyurethane"',
        "finishlab board add both.jpg --species ash --stain walnut --with-floor",
        'finishlab board add lamp.jpg --to B1 --light "evening lamp"',
    ),
)
@photos_argument
@click.option("--species", metavar="WOOD", help="The wood; needed for a new board.")
@click.option("--stain", metavar="TEXT", help="Stain, or stains mixed.")
@click.option("--coats", type=click.IntRange(0, MAX_COATS), metavar="N", help="Coats of stain.")
@click.option("--topcoat", metavar="TEXT", help="Topcoat and sheen; left out, the board counts as not topcoated.")
@click.option("--purpose", type=click.Choice(PURPOSES), help="What the board is for. [default: candidate]")
@click.option("--light", metavar="TEXT", help="The light it was taken in. [default: daylight]")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="Day of the photo, e.g. 2024-05-31. [default: as the photo says]")
@click.option("--with-floor", is_flag=True, help="The floor lies at the strip's floor edge: keep that pair too.")
@click.option(
    "--floor-is",
    type=click.Choice(["print", "wood"]),
    default="print",
    show_default=True,
    help="With --with-floor: what the floor's face is made of.",
)
@click.option("--to", "number", metavar="B1", help="Add the photos to a logged board: another light, or repeats.")
@area_options
@json_option
def add(
    *,
    photos: tuple[str, ...],
    light: str | None,
    with_floor: bool,
    floor_is: str,
    number: str | None,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    as_json: bool,
    **written: Any,  # noqa: ANN401 - the record's fields, each of its own type
) -> int:
    """Measure photos of a test board and log them; print the board's number.

    Several photos are repeats of one board. Unless every photo is good, nothing is logged.
    """
    from finishlab.workflow.batch import How
    from finishlab.workflow.recording import log_board, log_board_photos

    if with_floor and (greys or area is not None):
        raise UsageError(
            "with-floor-needs-strip", "A pair with the floor needs the strip.", "Leave out --with-floor, or the areas."
        )
    record = _record(number, light, written)
    how = How(("board", "floor") if with_floor else ("board",), cast("SurfaceKind", floor_is), greys, area)
    with open_logbook() as log:
        if number is not None:
            log.board(number)  # unknown boards are told before anything is measured
        results = measure_all(photos, replace(how, strip_greys=log.learned_greys()))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        if record is None:
            logged = log_board_photos(log, str(number), results, light=light, with_floor=with_floor)
        else:
            dated = written["date"] is not None
            logged = log_board(log, record, results, dated=dated, with_floor=with_floor)
    if as_json:
        from finishlab.reports.documents import boards_document
        from finishlab.workflow.rows import board_row

        print_document(boards_document([board_row(logged)]))
    else:
        click.echo(logged.number)
    say(board_summary(logged))
    _say_pairs(results)
    for line in doubt_lines(results):
        say(line)
    say_oil_caution(logged.record.stain, logged.record.topcoat)
    return 0


def _record(number: str | None, light: str | None, written: dict[str, Any]) -> BoardRecord | None:
    """Return the new board's record, or None when the photos go to a board that is logged."""
    given = {name: written[name] for name in _RECORD if written[name] is not None}
    if number is not None:
        if given:
            raise UsageError(
                "record-of-logged-board",
                f"With --to the board's record stays as it is, so --{next(iter(given))} has no place.",
                f"Change the record with: finishlab board edit {number}",
            )
        return None
    if "species" not in given:
        raise UsageError("no-species", "The board has no species.", "Say which wood it is, e.g. --species ash.")
    given["date"] = parse_date(given["date"]) if "date" in given else today()
    if light is not None:
        given["light"] = light
    return BoardRecord(**given)


def _say_pairs(results: list[PhotoResult]) -> None:
    for result in results:
        pair = None if result.measurement is None else result.measurement.pair
        if pair is not None:
            say(f"Beside the floor in {result.path}: dE00 {pair.value:.1f} ({pair.low:.1f} to {pair.high:.1f}).")
