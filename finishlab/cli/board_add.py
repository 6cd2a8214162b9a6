"""``finishlab board add``: photos of a test board into the logbook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import click

from finishlab.cli.cautioning import due_cautions
from finishlab.cli.common import (
    area_options,
    json_option,
    measure_all,
    open_logbook,
    photos_argument,
    print_document,
    report_failures,
    say,
)
from finishlab.cli.finish_options import draft_options, say_warnings, typed
from finishlab.cli.lazy import ExampleCommand
from finishlab.cli.summary import board_summary, doubt_lines, photos_summary, product_words, untouched
from finishlab.errors import UsageError
from finishlab.records import DAYLIGHT, MAX_COATS, PURPOSES, normalise_light

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.measure import GreyArea, SurfaceArea, SurfaceKind
    from finishlab.records.finish_warnings import FinishWarning
    from finishlab.reports.rows import PhotoResult
    from finishlab.workflow.board.entering import Draft, FinishTexts

_RECORD = ("species", "stain", "coats", "topcoat", "purpose", "note", "date", "state", "maker")


@click.command(
    cls=ExampleCommand,
    short_help="Measure photos of a test board and log them.",
    examples=(
        'finishlab board add board.jpg --species ash --stain walnut --coats 2 --topcoat "satin polyurethane"',
        "finishlab board add both.jpg --species ash --stain walnut --with-floor",
        'finishlab board add next.jpg --like B1 --step "oil; colour=walnut; wipe=10" --state topcoated',
        "finishlab board add board.jpg --from board.toml --ask",
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
@draft_options
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
    finish_texts: FinishTexts,
    **written: Any,  # noqa: ANN401 - the record's fields, each of its own type
) -> int:
    """Measure photos of a test board and log them; print the board's number.

    Several photos are repeats of one board. Unless every photo is good, nothing is logged.
    """
    from finishlab.workflow.batch import How
    from finishlab.workflow.board.finish_context import new_warnings
    from finishlab.workflow.learned import as_learned
    from finishlab.workflow.recording import log_board, log_board_photos

    if with_floor and (greys or area is not None):
        raise UsageError(
            "with-floor-needs-strip", "A pair with the floor needs the strip.", "Leave out --with-floor, or the areas."
        )
    given = {name: written[name] for name in _RECORD if written[name] is not None}
    _check_given(number, given, finish_texts)
    how = How(("board", "floor") if with_floor else ("board",), cast("SurfaceKind", floor_is), greys, area)
    with open_logbook(make=number is None) as log:
        # Unknown boards, and what cannot be meant, are told before anything is measured.
        logged_light = log.board(number).record.light if number is not None else None
        draft = None if number is not None else _draft(log, given, light, finish_texts)
        record = None if draft is None else draft.record()
        lit = record.light if record is not None else light or logged_light or DAYLIGHT
        results = measure_all(photos, as_learned(how, log, lit))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        if draft is None or record is None:
            logged = log_board_photos(log, str(number), results, light=light, with_floor=with_floor)
            slips: tuple[FinishWarning, ...] = ()
        else:
            logged = log_board(log, record, results, dated="date" in draft.fields, with_floor=with_floor)
            slips = new_warnings(log, logged)
        cautions = due_cautions(log, product_words(logged.record))
    if as_json:
        from finishlab.reports.documents import boards_document
        from finishlab.workflow.rows import board_row

        print_document(boards_document([board_row(logged, None if number is None else normalise_light(lit))]))
    else:
        click.echo(logged.number)
    if number is None:
        say(board_summary(logged))
    else:
        say(photos_summary(logged, len(results), normalise_light(lit)))
    _say_pairs(results)
    for line in doubt_lines(results):
        say(line)
    say_warnings(slips)
    for line in cautions:
        say(line)
    return 0


def _check_given(number: str | None, given: dict[str, Any], texts: FinishTexts) -> None:
    """Refuse a record for a board that has one."""
    named = [*given, *texts.given()]
    if number is not None and named:
        raise UsageError(
            "record-of-logged-board",
            f"With --to the board's record stays as it is, so --{named[0]} has no place.",
            f"Change the record with: finishlab board edit {number}",
        )


def _draft(log: Logbook, given: dict[str, Any], light: str | None, texts: FinishTexts) -> Draft:
    """Return the new board's record from whatever says something of it, after asking where that is wanted."""
    from finishlab.workflow.board.entering import Draft, draft_like

    draft = Draft() if texts.like is None else draft_like(log, texts.like)
    draft = draft.with_said(log, typed(given if light is None else given | {"light": light}, texts))
    if texts.ask:
        from finishlab.cli.finish_ask import ask_missing

        draft = ask_missing(draft)
    return draft


def _say_pairs(results: list[PhotoResult]) -> None:
    for result in results:
        pair = None if result.measurement is None else result.measurement.pair
        if pair is not None:
            say(f"Beside the floor in {result.path}: dE00 {pair.value:.1f} ({pair.low:.1f} to {pair.high:.1f}).")
