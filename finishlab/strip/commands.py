"""``finishlab strip``: the page to print, what the greys of a printed strip really are; ``trial``: trials at home."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

import click
from click.core import ParameterSource

from finishlab.cli.common import (
    grey_option,
    json_option,
    measure_all,
    open_logbook,
    options,
    parsed,
    photos_argument,
    print_document,
    print_removed,
    print_results,
    report_failures,
    say,
    show_document,
)
from finishlab.cli.failures import show_error
from finishlab.cli.lazy import ExampleCommand, LazyGroup, logged
from finishlab.errors import LogbookError, UsageError
from finishlab.files import write_atomically
from finishlab.measuring import MeasureOptions
from finishlab.record import Number, gathered
from finishlab.show import jsons
from finishlab.show.document import Document, Field, Line, Listed, Listing

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys
    from finishlab.imaging.strip import Paper
    from finishlab.logbook.store import Logbook
    from finishlab.matching.trials import Trust
    from finishlab.measure.areas import GreyArea
    from finishlab.quality import Doubt
    from finishlab.strip import TrialKind
    from finishlab.strip.trials import Tried


class _StripGroup(LazyGroup, ExampleCommand):
    """Writes the strip when it is called alone; its commands are about a strip that is printed."""

    def collect_usage_pieces(self, ctx: click.Context) -> list[str]:
        """Return the usage of the command alone: the commands below have their own help."""
        del ctx
        return ["[OPTIONS]", "[COMMAND]"]


@click.group(
    cls=_StripGroup,
    invoke_without_command=True,
    short_help="Write the grey strip to print, as a PDF.",
    examples=(
        "finishlab strip --output strip.pdf --paper letter",
        "finishlab strip learn --number 412 --lightness 0:24.1 --lightness 3:55.2 --lightness 7:93.5",
    ),
)
@click.option(
    "--output", "-o", type=click.Path(), default="strip.pdf", show_default=True, metavar="FILE", help="The PDF."
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the page.")
@click.option(
    "--eye-page",
    type=click.Path(),
    metavar="FILE",
    help="Also write a page to match the print's greys by eye, as a PDF.",
)
@click.option("--layout", type=click.Path(), metavar="FILE", help="Also write where strip and fields lie, as JSON.")
@click.option(
    "--number",
    type=click.IntRange(1, 1600),
    metavar="N",
    help="The strip's number, 1 to 1600, to print the same strip again. [default: a new one]",
)
@json_option
@click.pass_context
def strip(
    ctx: click.Context,
    *,
    output: str,
    paper: str,
    eye_page: str | None,
    layout: str | None,
    number: int | None,
    as_json: bool,
) -> None:
    """Write the grey strip to print, as a PDF.

    Print it at 100 %, in black ink only, on plain matt paper. One strip serves one project, floor and boards alike. The
    commands below tell finishlab what the greys of a printed strip really are.
    """
    if ctx.invoked_subcommand is not None:
        _refuse_options(ctx, ctx.invoked_subcommand)
        return
    from finishlab.imaging.strip import STRIP, new_strip_number
    from finishlab.strip.page import eye_page_pdf, strip_layout, strip_pdf

    _check_files(output, eye_page, layout)
    page = cast("Paper", paper)
    chosen = new_strip_number() if number is None else number
    write_atomically(output, strip_pdf(paper=page, number=chosen))
    if eye_page is not None:
        write_atomically(eye_page, eye_page_pdf(paper=page, number=chosen))
    if layout is not None:
        write_atomically(layout, strip_layout(page))
    if as_json:
        print_document({**STRIP.layout(page), "number": chosen, "output": output})
    else:
        print_results(output)
    say(f"Strip {chosen:04d} on {paper} paper. Print it at 100 %, black ink only, and check the ruler.")


def _check_files(output: str, eye_page: str | None, layout: str | None) -> None:
    """Refuse names that would replace something else than an earlier strip, page or layout."""
    also = ((eye_page, ".pdf", "page for the eye"), (layout, ".json", "layout"))
    wanted = [(output, ".pdf", "strip"), *((name, *rest) for name, *rest in also if name is not None)]
    for name, suffix, what in wanted:
        if Path(name).exists() and Path(name).suffix.lower() != suffix:
            raise UsageError(
                "file-exists", f"The {what} would replace {name}, which is something else.", f"Name a {suffix} file."
            )
    for name, _, what in wanted[1:]:
        if Path(output).resolve() == Path(name).resolve():
            raise UsageError("one-file-twice", f"Strip and {what} cannot both be {output}.", "Name two files.")
    if Path(output).exists():
        say(f"{output} is replaced; photos beside an earlier print of it cannot be compared with the new strip's.")


def _refuse_options(ctx: click.Context, command: str) -> None:
    """Refuse options of the page to print before a command that prints none: they would be lost."""
    given: list[Any] = [
        each.opts[0]
        for each in ctx.command.params
        if each.name is not None and ctx.get_parameter_source(each.name) is ParameterSource.COMMANDLINE
    ]
    if given:
        raise UsageError(
            "option-before-command",
            f"{given[0]} belongs to the page to print, not to “{command}”.",
            f"Write options after it: finishlab strip {command} --help",
        )


_BLACK: Final = 0
_PAPER: Final = 7
_NUMBER: Final = click.IntRange(1, 1600)
Reading = tuple[int, float]
Command = TypeVar("Command", bound=Callable[..., Any])


def _reading(
    text: str, example: str = "3:55.2", hint: str = "Write the level, 0 to 7, and its L*, for example"
) -> Reading:
    first, _, second = text.partition(":")
    try:
        return int(first), float(second)
    except ValueError:
        raise UsageError("bad-reading", f"“{text}” is no reading.", f"{hint} {example}.") from None


def _step(text: str) -> Reading:
    return _reading(text, "3:7", "Write the row of the page and its step, for example")


def picture_option(command: Command) -> Command:
    """Add --save-picture."""
    return click.option(
        "--save-picture",
        type=click.Path(),
        metavar="OUT.svg|png",
        help="A picture of the print's greys with their doubt beside usual prints.",
    )(command)


@strip.has(
    "learn",
    "Learn the greys of one printed strip.",
    "finishlab strip learn stepped-back.jpg --save-picture print.svg",
    "finishlab strip learn stepped-back.jpg --white 93.5",
    "finishlab strip learn strip-and-card.jpg --grey 1210,480,160,120:50",
    "finishlab strip learn --number 412 --black 24.1 --lightness 3:55.2 --lightness 5:74.9 --white 93.5",
    "finishlab strip learn --number 412 --seen 1:6 --seen 2:5 --seen 3:8",
)
@click.argument("photos", nargs=-1, type=click.Path(readable=False), metavar="[PHOTO]...")
@click.option("--number", type=_NUMBER, metavar="N", help="The strip's number; a photo shows it by itself.")
@click.option(
    "--lightness",
    "readings",
    metavar="LEVEL:L",
    callback=parsed(_reading),
    multiple=True,
    help="L* of a grey as an instrument reads it; 0 is black, 7 bare paper. Repeat readings are averaged.",
)
@click.option("--white", type=float, metavar="L", help="Bare paper: the same as --lightness 7:L.")
@click.option("--black", type=float, metavar="L", help="The same as --lightness 0:L.")
@click.option(
    "--seen",
    metavar="ROW:STEP",
    callback=parsed(_step),
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
    white: float | None,
    black: float | None,
    seen: tuple[Reading, ...],
    greys: tuple[GreyArea, ...],
    save_picture: str | None,
    as_json: bool,
) -> int:
    """Learn the greys of one printed strip; photos measured from now on use them.

    Photograph the strip from two or three steps back, in even light and a little askew, until it is about a tenth of
    the photo's width: its fine lines then tell how the printer makes greys, whatever the phone does to them. Several
    photos tell more, and a camera raw file does without the lines. How light the paper itself is no photo can tell:
    where you know its L*, say it with --white. Or photograph the strip beside a grey card, read its greys with an
    instrument, or match them by eye. Photos that are logged already keep their figures until re-measured.
    """
    from finishlab.strip.greys import check_curve_name, greys_document, save_curve

    ends = ((_PAPER, white), (_BLACK, black))
    typed = (*readings, *((level, value) for level, value in ends if value is not None))
    _check(photos, number, typed, seen, greys)
    check_curve_name(save_picture)
    with open_logbook(make=True) as log:
        if photos and not greys:
            found, doubts, code = _learned_from_far(log, photos, number, typed)
        else:
            (found, doubts), code = _learned(log, photos, number, typed, seen, greys), 0
    if found is None:
        return code
    if save_picture is not None:
        save_curve(save_picture, found)
    show_document(greys_document([found]), as_json=as_json)
    say(f"The greys of strip {found.number:04d} are learned; photos measured from now on use them.")
    for each in doubts:
        say(each.message)
    return code


def _learned_from_far(
    log: Logbook, photos: tuple[str, ...], number: int | None, typed: tuple[Reading, ...]
) -> tuple[StripGreys | None, tuple[Doubt, ...], int]:
    """Learn from those photos that can be used; say what is wrong with the others, and return the worst code."""
    from finishlab.strip.greys import learn_from_far

    far, errors = learn_from_far(log, photos, number=number, readings=gathered(typed))
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
    from finishlab.strip.greys import learn_from_eye, learn_from_photo, learn_from_readings

    if photos:
        found = learn_from_photo(log, photos[0], greys, number=number)
        off = ", ".join(f"{before:+.1f}" for before in found.misfit_before)
        say(f"As a usual print would have it the known greys come out {off} L* from what they are.")
        return found.greys, found.doubts
    if seen:
        return learn_from_eye(log, int(number or 0), dict(seen)), ()
    return learn_from_readings(log, int(number or 0), gathered(typed)), ()


def _check(
    photos: tuple[str, ...],
    number: int | None,
    typed: tuple[Reading, ...],
    seen: tuple[Reading, ...],
    greys: tuple[GreyArea, ...],
) -> None:
    """Check that one way of learning is named, and all that it needs."""
    if (seen and (photos or typed)) or (greys and typed):
        raise UsageError(
            "photo-or-readings",
            "--seen is a way of its own, and so are known greys in a photo.",
            "Name one way; typed readings go with photos from a few steps back only.",
        )
    if greys and len(photos) != 1:
        raise UsageError("grey-and-photo", "Known greys lie in one photo.", "Name both: PHOTO --grey X,Y,W,H:L.")
    if not (photos or typed or seen):
        raise UsageError(
            "nothing-to-learn", "Neither a photo nor readings are named.", "See finishlab strip learn --help."
        )
    if not photos and number is None:
        raise UsageError("no-strip-number", "The strip has no number.", "It is printed on the strip: --number 412.")


@strip.has("list", "List the strips whose greys were learned.", "finishlab strip list")
@json_option
def list_strips(*, as_json: bool) -> None:
    """List the strips whose greys were learned."""
    from finishlab.strip.greys import greys_document

    with open_logbook() as log:
        found = log.learned_greys()
    if not found and not as_json:
        say("No strip's greys were learned yet. Learn them: finishlab strip learn --help")
        return
    show_document(greys_document(found), as_json=as_json)


@strip.has(
    "show",
    "Show what is known of a strip's greys.",
    "finishlab strip show 412",
    "finishlab strip show 412 --save-picture print.svg",
)
@click.argument("number", type=_NUMBER, metavar="N", shell_complete=logged("strip"))
@picture_option
@json_option
def show(*, number: int, save_picture: str | None, as_json: bool) -> None:
    """Show what is known of a strip's greys beside usual prints, and what was learned of it before."""
    from finishlab.strip.greys import check_curve_name, save_curve, strip_document

    check_curve_name(save_picture)
    with open_logbook() as log:
        photographed = next((each for each in log.photographed_greys() if each.number == number), None)
        learned = log.strip_greys_history(number, needed=photographed is None)
        changes = log.history(f"strip {number}") if learned else ()
    now = [each.greys for each in learned if each.ended is None]
    if save_picture is not None:
        if not now:
            raise LogbookError(
                "strip-not-learned", f"Nothing holds of strip {number:04d} today.", "Learn it: finishlab strip learn."
            )
        save_curve(save_picture, now[0])
    show_document(strip_document(learned, changes, photographed), as_json=as_json)


@strip.has("forget", "Take a strip for a usual print again.", "finishlab strip forget 412")
@click.argument("number", type=_NUMBER, metavar="N", shell_complete=logged("strip"))
@json_option
def forget(*, number: int, as_json: bool) -> None:
    """Take a strip for a usual print again; what was learned stays in its history."""
    with open_logbook() as log:
        log.forget_strip(number)
    if as_json:
        print_document({"format": "finishlab/strip-forgotten/1", "strip": number})
    say(f"Strip {number:04d} is taken for a usual print again; what was learned stays in its history.")


_KINDS: Final = {
    "same": "one board at both edges",
    "swap": "board and floor changed over",
    "repeat": "one board again",
}

TRIALS: Listed[Tried] = Listed(
    format="trials",
    fields=(
        Field(lambda each: each.number, key="trial", head="trial"),
        Field(lambda each: each.record.kind, key="kind", head="what", cell=lambda e: _KINDS[e.record.kind], fold=True),
        Field(lambda each: each.record.light, key="light", head="light", fold=True),
        Field(lambda each: each.record.date, key="date", head="date"),
        Field(lambda each: each.record.note, key="note"),
        Field(lambda each: list(dict.fromkeys(str(side["file"]) for side in each.record.sides)), key="photos"),
        Field(lambda each: round(each.outcome.seen, 3), "seen_e00", "seen", lambda e: f"{e.outcome.seen:.2f}"),
        Field(
            lambda each: round(each.outcome.expected, 3),
            key="expected_e00",
            head="expected",
            cell=lambda each: f"{each.outcome.expected:.2f}",
        ),
        Field(lambda each: round(each.outcome.ratio, 3), "ratio", "ratio", lambda e: f"{e.outcome.ratio:.1f}"),
        Field(lambda each: round(each.outcome.freedom, 2), key="degrees_of_freedom"),
        Field(lambda each: jsons.doubts(each.doubts), key="doubts"),
    ),
    none="No trial is logged yet. Make one: finishlab trial same PHOTO",
)


def _document(trials: Sequence[Tried], trust: Trust, told: Trust) -> Document:
    """Return how each trial came out, and what they say together: `trust` in JSON, `told` to people."""
    from finishlab.strip.trials import trust_entry, trust_lines

    lines = [Line(line) for line in trust_lines(told)]
    blocks = [
        *TRIALS.listing(trials),
        Line("seen: dE00 where there should be none; expected: what the stated errors make of it"),
        *([Line(), *lines] if lines else []),
        Listing("Doubts", [f"{each.number}: {found.message}" for each in trials for found in each.doubts]),
    ]
    return TRIALS.document(trials, blocks, trust=trust_entry(trust))


@click.group(cls=LazyGroup)
def trial() -> None:
    """Try your own phone, print and room against a truth that needs no instrument.

    Ten trials or so say whether the stated intervals hold with what you have; rank, measure and report then widen or
    trust them by it. Take each photo as you take those of the job: same phone, same print, same lights.
    """


_options = options(
    photos_argument,
    click.option("--light", metavar="TEXT", help="The light the photos were taken in. [default: daylight]"),
    click.option("--note", metavar="TEXT", help="Anything else."),
    json_option,
)


def _offer(kind: TrialKind, line: str, example: str, words: str) -> None:
    """Give the group the command of a kind of trial."""

    def command(**given: Any) -> int:  # noqa: ANN401 - the options above
        return _log(kind, **given)

    trial.has(kind, line, f"finishlab trial {kind} {example}", words=words)(_options(command))


_offer(
    "same",
    "One board at both edges of the strip: it differs from itself by nothing.",
    "board-both-edges-1.jpg board-both-edges-2.jpg",
    "Lay the strip across the middle of one even board, so that it shows at both edges; each photo is a trial.\n\n"
    "The two fields are the same board, so their true difference is nothing but its grain.",
)
_offer(
    "swap",
    "Board and floor changed over: the same difference both ways.",
    "board-then-floor.jpg floor-then-board.jpg",
    "Photograph board and floor at their edges of the strip, then changed over; the two photos are one trial.\n\n"
    "Both photos show the same two surfaces, so they must give the same difference.",
)
_offer(
    "repeat",
    "One board photographed again, turned, in other light: the same colour.",
    "window.jpg turned.jpg cloudy.jpg",
    "Photograph one board at the board edge again: turned, elsewhere in the room, at another hour; all are one trial."
    "\n\nThe colour must repeat. Lay it down anew for each photo; two shots of one view try nothing.",
)


def _log(kind: TrialKind, *, photos: tuple[str, ...], light: str | None, note: str | None, as_json: bool) -> int:
    from finishlab.matching.trials import trust_of
    from finishlab.strip.trials import FIELDS_OF, check_count, log_trials, trust_in

    check_count(kind, len(photos))
    with open_logbook(make=True) as log:
        results = measure_all(photos, MeasureOptions(FIELDS_OF[kind], "wood").with_calibration(log, light))
        code = report_failures(results)
        if code:
            say("No trial was logged.")
            return code
        made = log_trials(log, kind, results, light=light, note=note)
        trust = trust_in(log)
    show_document(_document(made, trust, trust_of(())), as_json=as_json)
    say(f"{', '.join(each.number for each in made)} logged. What all trials say: finishlab trial show")
    return 0


@trial.has("show", "Show what the trials achieve beside the stated intervals.", "finishlab trial show")
@json_option
def show_trials(*, as_json: bool) -> None:
    """Show how the trials came out, and what they say of the stated intervals."""
    from finishlab.matching.trials import trust_of
    from finishlab.strip.trials import tried

    with open_logbook() as log:
        found = tried(log)
    trust = trust_of(each.outcome for each in found)
    if found or as_json:
        show_document(_document(found, trust, trust), as_json=as_json)
    else:
        say(TRIALS.none)


@trial.has("remove", "Count trials no longer; their history stays.", "finishlab trial remove H2")
@click.argument("numbers", metavar="H2...", nargs=-1, required=True)
@json_option
def remove(*, numbers: tuple[str, ...], as_json: bool) -> None:
    """Count trials no longer; their history stays, and undo brings them back."""
    named = [Number.read("H", number) for number in numbers]
    with open_logbook() as log:
        log.remove(*named)
    if as_json:
        print_removed(named)
    say(f"{', '.join(named)} removed.")
