"""``finishlab trial``: what the user's own phone, print and room achieve."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from finishlab.cli.common import (
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

if TYPE_CHECKING:
    from finishlab.records import TrialKind

Command = TypeVar("Command", bound=Callable[..., Any])

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "same": ("finishlab.cli.trial:same", "One board at both edges of the strip: it differs from itself by nothing."),
    "swap": ("finishlab.cli.trial:swap", "Board and floor changed over: the same difference both ways."),
    "repeat": ("finishlab.cli.trial:repeat", "One board photographed again, turned, in other light: the same colour."),
    "show": ("finishlab.cli.trial:show", "Show what the trials achieve beside the stated intervals."),
    "remove": ("finishlab.cli.trial:remove", "Count trials no longer; their history stays."),
}


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Try your own phone, print and room against a known truth.")
def trial() -> None:
    """Try your own phone, print and room against a truth that needs no instrument.

    Ten trials or so say whether the stated intervals hold with what you have; rank, measure and report then widen or
    trust them by it. Take each photo as you take those of the job: same phone, same print, same lights.
    """


def _options(command: Command) -> Command:
    note = click.option("--note", metavar="TEXT", help="Anything else.")
    light = click.option("--light", metavar="TEXT", help="The light the photos were taken in. [default: daylight]")
    return photos_argument(light(note(json_option(command))))


@click.command(
    cls=ExampleCommand,
    short_help="One board at both edges of the strip: it differs from itself by nothing.",
    examples=("finishlab trial same board-both-edges-1.jpg board-both-edges-2.jpg",),
)
@_options
def same(**given: Any) -> int:  # noqa: ANN401 - the options above
    """Lay the strip across the middle of one even board, so that it shows at both edges; each photo is a trial.

    The two fields are the same board, so their true difference is nothing but its grain.
    """
    return _log("same", **given)


@click.command(
    cls=ExampleCommand,
    short_help="Board and floor changed over: the same difference both ways.",
    examples=("finishlab trial swap board-then-floor.jpg floor-then-board.jpg",),
)
@_options
def swap(**given: Any) -> int:  # noqa: ANN401 - the options above
    """Photograph board and floor at their edges of the strip, then changed over; the two photos are one trial.

    Both photos show the same two surfaces, so they must give the same difference.
    """
    return _log("swap", **given)


@click.command(
    cls=ExampleCommand,
    short_help="One board photographed again, turned, in other light: the same colour.",
    examples=("finishlab trial repeat window.jpg turned.jpg cloudy.jpg",),
)
@_options
def repeat(**given: Any) -> int:  # noqa: ANN401 - the options above
    """Photograph one board at the board edge again: turned, elsewhere in the room, at another hour; all are one trial.

    The colour must repeat. Lay it down anew for each photo; two shots of one view try nothing.
    """
    return _log("repeat", **given)


def _log(kind: TrialKind, *, photos: tuple[str, ...], light: str | None, note: str | None, as_json: bool) -> int:
    from finishlab.matching.trials import trust_of
    from finishlab.reports.trials import print_trials, trials_document
    from finishlab.workflow.batch import How
    from finishlab.workflow.learned import as_learned
    from finishlab.workflow.trials import FIELDS_OF, check_count, log_trials, trust_in

    check_count(kind, len(photos))
    with open_logbook(make=True) as log:
        results = measure_all(photos, as_learned(How(FIELDS_OF[kind], "wood"), log, light))
        code = report_failures(results)
        if code:
            say("No trial was logged.")
            return code
        made = log_trials(log, kind, results, light=light, note=note)
        trust = trust_in(log)
    if as_json:
        print_document(trials_document(made, trust))
    else:
        print_trials(out(), made, trust_of(()))
    say(f"{', '.join(each.number for each in made)} logged. What all trials say: finishlab trial show")
    return 0


@click.command(
    cls=ExampleCommand,
    short_help="Show what the trials achieve beside the stated intervals.",
    examples=("finishlab trial show",),
)
@json_option
def show(*, as_json: bool) -> None:
    """Show how the trials came out, and what they say of the stated intervals."""
    from finishlab.matching.trials import trust_of
    from finishlab.reports.trials import print_trials, trials_document
    from finishlab.workflow.trials import tried

    with open_logbook() as log:
        found = tried(log)
    trust = trust_of(each.outcome for each in found)
    if as_json:
        print_document(trials_document(found, trust))
    elif found:
        print_trials(out(), found, trust)
    else:
        say("No trial is logged yet. Make one: finishlab trial same PHOTO")


@click.command(
    cls=ExampleCommand,
    short_help="Count trials no longer; their history stays.",
    examples=("finishlab trial remove H2",),
)
@click.argument("numbers", metavar="H2...", nargs=-1, required=True)
@json_option
def remove(*, numbers: tuple[str, ...], as_json: bool) -> None:
    """Count trials no longer; their history stays, and undo brings them back."""
    with open_logbook() as log:
        for number in numbers:
            log.remove_trial(number)
    named = [number.strip().upper() for number in numbers]
    if as_json:
        print_removed(named)
    say(f"{', '.join(named)} removed.")
