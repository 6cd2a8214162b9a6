"""``finishlab strip learn`` and its like: the own greys of printed strips, kept in the logbook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import click

from finishlab.cli.common import grey_option, json_option, open_logbook, out, print_document, say
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys
    from finishlab.logbook import Logbook
    from finishlab.measure import GreyArea
    from finishlab.quality import Doubt

_BLACK: Final = 0
_PAPER: Final = 7
_NUMBER: Final = click.IntRange(1, 1600)
Reading = tuple[int, float]


def _readings(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> tuple[Reading, ...]:
    del ctx, param
    return tuple(_reading(text) for text in value)


def _reading(text: str) -> Reading:
    level, _, lightness = text.partition(":")
    try:
        return int(level), float(lightness)
    except ValueError:
        raise UsageError(
            "bad-reading", f"“{text}” is no reading.", "Write the level, 0 to 7, and its L*, for example 3:55.2."
        ) from None


@click.command(
    cls=ExampleCommand,
    short_help="Learn the greys of one printed strip.",
    examples=(
        "finishlab strip learn --number 412 --black 24.1 --lightness 3:55.2 --lightness 5:74.9 --paper 93.5",
        "finishlab strip learn strip-and-card.jpg --grey 1210,480,160,120:50",
    ),
)
@click.argument("photo", required=False, type=click.Path(), metavar="[PHOTO]")
@click.option("--number", type=_NUMBER, metavar="N", help="The strip's number; a photo shows it by itself.")
@click.option(
    "--lightness",
    "readings",
    metavar="LEVEL:L",
    callback=_readings,
    multiple=True,
    help="L* of a grey as an instrument reads it; 0 is black, 7 bare paper. Repeat readings are averaged.",
)
@click.option("--paper", type=float, metavar="L", help="The same as --lightness 7:L.")
@click.option("--black", type=float, metavar="L", help="The same as --lightness 0:L.")
@grey_option("In the photo: pixels of a grey of known lightness L* beside the strip; several tell more.")
@json_option
def learn(
    *,
    photo: str | None,
    number: int | None,
    readings: tuple[Reading, ...],
    paper: float | None,
    black: float | None,
    greys: tuple[GreyArea, ...],
    as_json: bool,
) -> None:
    """Learn the greys of one printed strip; photos measured from now on use them.

    Either read its greys with an instrument and type them, or photograph it beside a grey card. One grey tells how
    light the print is about there; its black, and paper and middle apart, need several. Photos that are logged already
    keep their figures until they are re-measured.
    """
    ends = ((_PAPER, paper), (_BLACK, black))
    typed = (*readings, *((level, value) for level, value in ends if value is not None))
    _check(photo, number, typed, greys)
    with open_logbook(make=True) as log:
        found, doubts = _learned(log, photo, number, typed, greys)
    _show([found], as_json=as_json)
    say(f"The greys of strip {found.number:04d} are learned; photos measured from now on use them.")
    for each in doubts:
        say(each.message)


def _learned(
    log: Logbook,
    photo: str | None,
    number: int | None,
    typed: tuple[Reading, ...],
    greys: tuple[GreyArea, ...],
) -> tuple[StripGreys, tuple[Doubt, ...]]:
    from finishlab.workflow.learning import learn_from_photo, learn_from_readings

    if photo is not None:
        found = learn_from_photo(log, photo, greys, number=number)
        off = ", ".join(f"{before:+.1f}" for before in found.misfit_before)
        say(f"As a usual print would have it the known greys come out {off} L* from what they are.")
        return found.greys, found.doubts
    by_level: dict[int, list[float]] = {}
    for level, value in typed:
        by_level.setdefault(level, []).append(value)
    return learn_from_readings(log, int(number or 0), by_level), ()


def _check(photo: str | None, number: int | None, typed: tuple[Reading, ...], greys: tuple[GreyArea, ...]) -> None:
    """Check that either readings or a photo with known greys is given."""
    if photo is not None and typed:
        raise UsageError("photo-or-readings", "A photo and typed readings are two ways.", "Name one of them.")
    if (photo is None) != (not greys):
        raise UsageError(
            "grey-and-photo", "A photo and its known grey belong together.", "Name both: PHOTO --grey X,Y,W,H:L."
        )
    if photo is None and not typed:
        raise UsageError(
            "nothing-to-learn", "Neither readings nor a photo are named.", "See finishlab strip learn --help."
        )
    if photo is None and number is None:
        raise UsageError("no-strip-number", "The strip has no number.", "It is printed on the strip: --number 412.")


@click.command(
    "list",
    cls=ExampleCommand,
    short_help="List the strips whose greys were learned.",
    examples=("finishlab strip list",),
)
@json_option
def list_strips(*, as_json: bool) -> None:
    """List the strips whose greys were learned."""
    with open_logbook() as log:
        found = log.learned_greys()
    if not found and not as_json:
        say("No strip's greys were learned yet. Learn them: finishlab strip learn --help")
        return
    _show(list(found), as_json=as_json)


@click.command(
    cls=ExampleCommand,
    short_help="Show what is known of a strip's greys.",
    examples=("finishlab strip show 412",),
)
@click.argument("number", type=_NUMBER, metavar="N")
@json_option
def show(*, number: int, as_json: bool) -> None:
    """Show what is known of a strip's greys, and what was learned of it before."""
    from finishlab.reports.strip_greys import greys_document, greys_in_force, print_greys

    with open_logbook() as log:
        learned = log.strip_greys_history(number)
        changes = log.strip_history(number)
    from finishlab.workflow.rows import change_entry, change_line

    now = [each.greys for each in learned if each.ended is None]
    if as_json:
        past = [each.greys for each in learned if each.ended is not None]
        history = [change_entry(change) for change in changes]
        print_document({**greys_document(now, past), **greys_in_force(now), "history": history})
        return
    print_greys(out(), now, [change_line(change) for change in changes])


@click.command(
    cls=ExampleCommand,
    short_help="Take a strip for a usual print again.",
    examples=("finishlab strip forget 412",),
)
@click.argument("number", type=_NUMBER, metavar="N")
@json_option
def forget(*, number: int, as_json: bool) -> None:
    """Take a strip for a usual print again; what was learned stays in its history."""
    with open_logbook() as log:
        log.forget_strip(number)
    if as_json:
        print_document({"format": "finishlab/strip-forgotten/1", "strip": number})
    say(f"Strip {number:04d} is taken for a usual print again; what was learned stays in its history.")


def _show(found: list[StripGreys], *, as_json: bool) -> None:
    from finishlab.reports.strip_greys import greys_document, print_greys

    if as_json:
        print_document(greys_document(found))
    else:
        print_greys(out(), found)
