"""``finishlab strip learn`` and its like: the own greys of printed strips, kept in the logbook."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from finishlab.cli.common import grey_option, json_option, open_logbook, out, print_document, say
from finishlab.cli.failures import show_error
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import LogbookError, UsageError

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys
    from finishlab.logbook import Logbook
    from finishlab.measure import GreyArea
    from finishlab.quality import Doubt

_BLACK: Final = 0
_PAPER: Final = 7
_NUMBER: Final = click.IntRange(1, 1600)
Reading = tuple[int, float]
Command = TypeVar("Command", bound=Callable[..., Any])


def _readings(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> tuple[Reading, ...]:
    del ctx, param
    return tuple(_reading(text) for text in value)


def _reading(
    text: str, example: str = "3:55.2", hint: str = "Write the level, 0 to 7, and its L*, for example"
) -> Reading:
    first, _, second = text.partition(":")
    try:
        return int(first), float(second)
    except ValueError:
        raise UsageError("bad-reading", f"“{text}” is no reading.", f"{hint} {example}.") from None


def _steps(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> tuple[Reading, ...]:
    del ctx, param
    return tuple(_reading(text, "3:7", "Write the row of the page and its step, for example") for text in value)


def picture_option(command: Command) -> Command:
    """Add --save-picture."""
    return click.option(
        "--save-picture",
        type=click.Path(),
        metavar="OUT.svg|png",
        help="A picture of the print's greys with their doubt beside usual prints.",
    )(command)


@click.command(
    cls=ExampleCommand,
    short_help="Learn the greys of one printed strip.",
    examples=(
        "finishlab strip learn stepped-back.jpg --save-picture print.svg",
        "finishlab strip learn strip-and-card.jpg --grey 1210,480,160,120:50",
        "finishlab strip learn --number 412 --black 24.1 --lightness 3:55.2 --lightness 5:74.9 --paper 93.5",
        "finishlab strip learn --number 412 --seen 1:6 --seen 2:5 --seen 3:8",
    ),
)
@click.argument("photos", nargs=-1, type=click.Path(), metavar="[PHOTO]...")
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
@click.option(
    "--seen",
    metavar="ROW:STEP",
    callback=_steps,
    multiple=True,
    help="On the page of strip --eye-page, looked at from 3 m: the step of a row that vanishes among its lines.",
)
@grey_option("In the photo: pixels of a grey of known lightness L* beside the strip; several tell more.")
@picture_option
@json_option
def learn(
    *,
    photos: tuple[str, ...],
    number: int | None,
    readings: tuple[Reading, ...],
    paper: float | None,
    black: float | None,
    seen: tuple[Reading, ...],
    greys: tuple[GreyArea, ...],
    save_picture: str | None,
    as_json: bool,
) -> int:
    """Learn the greys of one printed strip; photos measured from now on use them.

    Photograph the strip from two or three steps back, in even light and a little askew, until it is about a tenth of
    the photo's width: its fine lines then tell how the printer makes greys, whatever the phone does to them. Several
    photos tell more, and a camera raw file does without the lines. Or photograph it beside a grey card, read its greys
    with an instrument, or match them by eye. Photos that are logged already keep their figures until re-measured.
    """
    from finishlab.workflow.strip_picture import check_curve_name, save_curve

    ends = ((_PAPER, paper), (_BLACK, black))
    typed = (*readings, *((level, value) for level, value in ends if value is not None))
    _check(photos, number, typed, seen, greys)
    check_curve_name(save_picture)
    with open_logbook(make=True) as log:
        if photos and not greys:
            found, doubts, code = _learned_from_far(log, photos, number)
        else:
            (found, doubts), code = _learned(log, photos, number, typed, seen, greys), 0
    if found is None:
        return code
    if save_picture is not None:
        save_curve(save_picture, found)
    _show([found], as_json=as_json)
    say(f"The greys of strip {found.number:04d} are learned; photos measured from now on use them.")
    for each in doubts:
        say(each.message)
    return code


def _learned_from_far(
    log: Logbook, photos: tuple[str, ...], number: int | None
) -> tuple[StripGreys | None, tuple[Doubt, ...], int]:
    """Learn from those photos that can be used; say what is wrong with the others, and return the worst code."""
    from finishlab.workflow.learning import learn_from_far

    far, errors = learn_from_far(log, photos, number=number)
    for error in errors:
        show_error(error)
    code = max((int(error.exit_code) for error in errors), default=0)
    return (None, (), code) if far is None else (far.greys, far.doubts, code)


def _learned(
    log: Logbook,
    photos: tuple[str, ...],
    number: int | None,
    typed: tuple[Reading, ...],
    seen: tuple[Reading, ...],
    greys: tuple[GreyArea, ...],
) -> tuple[StripGreys, tuple[Doubt, ...]]:
    """Learn from known greys in a photo, from what an eye saw or from what was typed."""
    from finishlab.workflow.learning import learn_from_eye, learn_from_photo, learn_from_readings

    if photos:
        found = learn_from_photo(log, photos[0], greys, number=number)
        off = ", ".join(f"{before:+.1f}" for before in found.misfit_before)
        say(f"As a usual print would have it the known greys come out {off} L* from what they are.")
        return found.greys, found.doubts
    if seen:
        return learn_from_eye(log, int(number or 0), dict(seen)), ()
    by_level: dict[int, list[float]] = {}
    for level, value in typed:
        by_level.setdefault(level, []).append(value)
    return learn_from_readings(log, int(number or 0), by_level), ()


def _check(
    photos: tuple[str, ...],
    number: int | None,
    typed: tuple[Reading, ...],
    seen: tuple[Reading, ...],
    greys: tuple[GreyArea, ...],
) -> None:
    """Check that one way of learning is named, and all that it needs."""
    ways = [bool(photos), bool(typed), bool(seen)]
    if sum(ways) > 1:
        raise UsageError("photo-or-readings", "Photos, typed readings and --seen are three ways.", "Name one of them.")
    if greys and len(photos) != 1:
        raise UsageError("grey-and-photo", "Known greys lie in one photo.", "Name both: PHOTO --grey X,Y,W,H:L.")
    if not any(ways):
        raise UsageError(
            "nothing-to-learn", "Neither a photo nor readings are named.", "See finishlab strip learn --help."
        )
    if not photos and number is None:
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
    examples=("finishlab strip show 412", "finishlab strip show 412 --save-picture print.svg"),
)
@click.argument("number", type=_NUMBER, metavar="N")
@picture_option
@json_option
def show(*, number: int, save_picture: str | None, as_json: bool) -> None:
    """Show what is known of a strip's greys beside usual prints, and what was learned of it before."""
    from finishlab.reports.strip_greys import greys_document, greys_in_force, print_greys, print_in_words
    from finishlab.workflow.strip_picture import check_curve_name, save_curve

    check_curve_name(save_picture)
    with open_logbook() as log:
        learned = log.strip_greys_history(number)
        changes = log.strip_history(number)
    from finishlab.workflow.rows import change_entry, change_line

    now = [each.greys for each in learned if each.ended is None]
    if save_picture is not None:
        if not now:
            raise LogbookError(
                "strip-not-learned", f"Nothing holds of strip {number:04d} today.", "Learn it: finishlab strip learn."
            )
        save_curve(save_picture, now[0])
    if as_json:
        past = [each.greys for each in learned if each.ended is not None]
        words = [sentence for each in now for sentence in print_in_words(each)]
        history = [change_entry(change) for change in changes]
        print_document({**greys_document(now, past), **greys_in_force(now), "in_words": words, "history": history})
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
