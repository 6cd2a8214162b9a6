"""``finishlab board add``: photos of test boards into the logbook, held first against what is there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import click

from finishlab.board.commands import board_summary, boards_document, photos_summary, product_words
from finishlab.board.records import CLEAR_ONLY, MAX_COATS, PURPOSES
from finishlab.cli.cautions import due_cautions
from finishlab.cli.common import (
    BeginningChoice,
    area_options,
    doubt_lines,
    json_option,
    measure_all,
    open_logbook,
    photos_argument,
    report_failures,
    say,
    show_document,
    untouched,
)
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError
from finishlab.finish.commands import draft_options, say_warnings, typed
from finishlab.record import DAYLIGHT, normalise_light

if TYPE_CHECKING:
    from finishlab.board.records import BoardRecord
    from finishlab.finish.entering import Draft, FinishTexts
    from finishlab.logbook import Logbook, StoredBoard
    from finishlab.measure import GreyArea, SurfaceArea, SurfaceKind
    from finishlab.measuring.photos import PhotoResult

_RECORD = ("species", "stain", "coats", "topcoat", "purpose", "note", "date", "state", "maker")


@click.command(
    cls=ExampleCommand,
    examples=(
        'finishlab board add board.jpg --species ash --stain walnut --coats 2 --topcoat "satin polyurethane"',
        "finishlab board add both.jpg --species ash --stain walnut --with-floor",
        'finishlab board add next.jpg --like B1 --step "oil; colour=walnut; wipe=10" --state topcoated',
        "finishlab board add board.jpg --from board.toml --ask",
        "finishlab board add one.jpg two.jpg --each --species ash --stain walnut",
        'finishlab board add lamp.jpg --to B1 --light "evening lamp"',
    ),
)
@photos_argument
@click.option("--species", metavar="WOOD", help="The wood; needed for a new board.")
@click.option("--stain", metavar="TEXT", help="Stain, or stains mixed.")
@click.option("--coats", type=click.IntRange(0, MAX_COATS), metavar="N", help="Coats of stain.")
@click.option("--topcoat", metavar="TEXT", help="Topcoat and sheen; left out, the board counts as not topcoated.")
@click.option("--purpose", type=BeginningChoice(PURPOSES), help="What the board is for. [default: candidate]")
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
@click.option("--each", is_flag=True, help="Each photo is a board of its own: log as many alike.")
@click.option("--to", "number", metavar="B1", help="Add the photos to a logged board: another light, or repeats.")
@area_options
@json_option
def add(
    *,
    photos: tuple[str, ...],
    light: str | None,
    with_floor: bool,
    floor_is: str,
    each: bool,
    number: str | None,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    as_json: bool,
    finish_texts: FinishTexts,
    **written: Any,  # noqa: ANN401 - the record's fields, each of its own type
) -> int:
    """Measure photos of a test board and log them; print the board's number.

    Several photos are repeats of one board; with --each they are as many boards of one record. Unless every photo is
    good, nothing is logged. A board with a topcoat and no stain is the clear-only control unless told otherwise.
    """
    from finishlab.board.checks import lights_logged, near_light, refuse_mixed
    from finishlab.measuring.photos import MeasureOptions

    given = {name: written[name] for name in _RECORD if written[name] is not None}
    _check_given(number, given, finish_texts, each=each, paired_by_hand=with_floor and bool(greys or area))
    how = MeasureOptions(("board", "floor") if with_floor else ("board",), cast("SurfaceKind", floor_is), greys, area)
    with open_logbook(make=number is None) as log:
        # Unknown boards, and what cannot be meant, are told before anything is measured.
        logged_light = log.board(number).record.light if number is not None else None
        draft = None if number is not None else _draft(log, given, light, finish_texts)
        record = None if draft is None else draft.record()
        lit = normalise_light(record.light if record is not None else light or logged_light or DAYLIGHT)
        results = measure_all(photos, how.with_calibration(log, lit))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        if not each:
            refuse_mixed(results)
        slip = near_light(lit, lights_logged(log))
        logged = _logged(log, results, number, record, each=each, light=light, with_floor=with_floor, dated=draft)
        _tell(log, logged, results, None if number is None else lit, as_json=as_json)
    if record is not None and record.purpose == CLEAR_ONLY and "purpose" not in given:
        say("It has a topcoat and no stain, so it is the clear-only control; another purpose with --purpose.")
    if slip is not None:
        say(f"{slip} If it is one of these: finishlab undo, and log it again.")
    return 0


def _logged(
    log: Logbook,
    results: list[PhotoResult],
    number: str | None,
    record: BoardRecord | None,
    *,
    each: bool,
    light: str | None,
    with_floor: bool,
    dated: Draft | None,
) -> list[StoredBoard]:
    """Log what was measured: further photos of a board, a new board, or with `each` a board a photo."""
    from finishlab.measuring.logged import log_board, log_board_photos, refuse_known

    if record is None or dated is None:
        return [log_board_photos(log, str(number), results, light=light, with_floor=with_floor)]
    refuse_known(log, results)
    groups = [[result] for result in results] if each else [results]
    return [log_board(log, record, group, dated="date" in dated.fields, with_floor=with_floor) for group in groups]


def _tell(
    log: Logbook, logged: list[StoredBoard], results: list[PhotoResult], added_in: str | None, *, as_json: bool
) -> None:
    """Print the numbers, and say what was logged, what is doubtful, and what can hurt somebody."""
    from finishlab.finish.entering import new_warnings

    if as_json:
        show_document(boards_document(logged, added_in), as_json=True)
    else:
        click.echo("\n".join(board.number for board in logged))
    for board in logged:
        say(board_summary(board) if added_in is None else photos_summary(board, len(results), added_in))
    _say_pairs(results)
    for line in doubt_lines(results):
        say(line)
    if added_in is None:
        say_warnings(dict.fromkeys(slip for board in logged for slip in new_warnings(log, board)))
    for line in due_cautions(log, product_words(log, logged[0].record)):
        say(line)


def _check_given(
    number: str | None, given: dict[str, Any], texts: FinishTexts, *, each: bool, paired_by_hand: bool
) -> None:
    """Refuse what cannot go together, such as a record for a board that has one."""
    if paired_by_hand:
        raise UsageError(
            "with-floor-needs-strip", "A pair with the floor needs the strip.", "Leave out --with-floor, or the areas."
        )
    if each and number is not None:
        raise UsageError("each-of-one-board", f"The photos cannot be boards and {number}.", "Leave out --each or --to.")
    named = [*given, *texts.given()]
    if number is not None and named:
        raise UsageError(
            "record-of-logged-board",
            f"With --to the board's record stays as it is, so --{named[0]} has no place.",
            f"Change the record with: finishlab board edit {number}",
        )


def _draft(log: Logbook, given: dict[str, Any], light: str | None, texts: FinishTexts) -> Draft:
    """Return the new board's record from whatever says something of it, after asking where that is wanted."""
    from finishlab.finish.entering import Draft, draft_like

    draft = Draft() if texts.like is None else draft_like(log, texts.like)
    draft = draft.with_said(log, typed(given if light is None else given | {"light": light}, texts))
    if texts.ask:
        from finishlab.finish.commands import ask_missing

        draft = ask_missing(draft)
    return draft


def _say_pairs(results: list[PhotoResult]) -> None:
    for result in results:
        pair = None if result.measurement is None else result.measurement.pair
        if pair is not None:
            say(f"Beside the floor in {result.path}: dE00 {pair.value:.1f} ({pair.low:.1f} to {pair.high:.1f}).")
