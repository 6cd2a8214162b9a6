"""``finishlab trial``: what the user's own phone, print and room achieve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import click

from finishlab.cli.common import (
    json_option,
    measure_all,
    open_logbook,
    options,
    photos_argument,
    print_removed,
    report_failures,
    say,
    show_document,
)
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.record import Number
from finishlab.show import jsons
from finishlab.show.document import Document, Line, Listing
from finishlab.show.kind import Field, Listed

if TYPE_CHECKING:
    from finishlab.matching.trials import Trust
    from finishlab.strip.records import TrialKind
    from finishlab.strip.trials import Tried

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "same": (
        "finishlab.strip.trial_commands:same",
        "One board at both edges of the strip: it differs from itself by nothing.",
    ),
    "swap": ("finishlab.strip.trial_commands:swap", "Board and floor changed over: the same difference both ways."),
    "repeat": (
        "finishlab.strip.trial_commands:repeat",
        "One board photographed again, turned, in other light: the same colour.",
    ),
    "show": ("finishlab.strip.trial_commands:show", "Show what the trials achieve beside the stated intervals."),
    "remove": ("finishlab.strip.trial_commands:remove", "Count trials no longer; their history stays."),
}


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


@click.group(cls=LazyGroup, lazy=_COMMANDS)
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


@click.command(
    cls=ExampleCommand,
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
    from finishlab.measuring.photos import MeasureOptions
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


@click.command(
    cls=ExampleCommand,
    examples=("finishlab trial show",),
)
@json_option
def show(*, as_json: bool) -> None:
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


@click.command(
    cls=ExampleCommand,
    examples=("finishlab trial remove H2",),
)
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
