"""``finishlab stairs log`` and ``measure``: what was done to parts, and their colour in photos."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from finishlab.cli.cautioning import say_cautions
from finishlab.cli.common import (
    area_options,
    json_option,
    measure_all,
    open_logbook,
    print_document,
    report_failures,
    say,
)
from finishlab.cli.lazy import ExampleCommand
from finishlab.cli.summary import doubt_lines, untouched
from finishlab.errors import LogbookError, UsageError
from finishlab.stair.add_commands import can_number, recipe_number

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from finishlab.cautions import Action
    from finishlab.logbook import Logbook
    from finishlab.measure import GreyArea, SurfaceArea
    from finishlab.reports.rows import PhotoResult
    from finishlab.stair.records import PartEvent, StoredPart, StoredStair

_ACTIONS: Mapping[str, set[Action]] = {
    "sanded": {"sand"},
    "rubbed out": {"sand"},
    "coat": {"apply", "wet stair"},
    "touched up": {"apply"},
    "dry-fitted": {"fit"},
    "fitted": {"fit"},
}
"""What an event means for the cautions."""


@click.command(
    "log",
    cls=ExampleCommand,
    short_help="Log what was done to parts.",
    examples=(
        "finishlab stairs log all treads sanded --note 80-100-120",
        "finishlab stairs log odd treads stain --recipe R1 --can C1 --faces 'both faces and edges'",
        "finishlab stairs log 2/treads 1-6 topcoat 2 --can C2 --date 2024-05-31",
        "finishlab stairs log tread 7 fitted --note 'polyurethane adhesive'",
    ),
)
@click.argument("words", nargs=-1, required=True, metavar="PARTS EVENT")
@click.option("--recipe", metavar="R1", help="The recipe, by number or name. [default: the part's own]")
@click.option("--can", metavar="C1", help="The can it came from.")
@click.option("--faces", metavar="TEXT", help="What was coated, e.g. “top and edges”.")
@click.option("--deviation", metavar="TEXT", help="What was done otherwise than the recipe says.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--date", metavar="DATE", help="The day it was done, e.g. 2024-05-31. [default: today]")
@json_option
def log_event(
    *, words: tuple[str, ...], recipe: str | None, can: str | None, date: str | None, as_json: bool, **texts: str | None
) -> None:
    """Log what was done to parts: first the parts, then what was done.

    That is one of: dry-fitted, sanded, stain, seal, topcoat, rubbed-out, fitted, touched-up, note. A coat counts on by
    itself: "topcoat" is the next one of each part, "topcoat 2" the second. Sanding is that of the wood before any
    colour: with it, the coats that were on a part before count no longer.
    """
    from finishlab.stair.events import next_events, remarks, split_words
    from finishlab.stair.showing import named_parts

    text, done = split_words(words)
    given = {name: value for name, value in texts.items() if value is not None}
    if date is not None:
        given["date"] = date
    with open_logbook() as log:
        numbers = {"recipe_number": recipe_number(log, recipe), "batch_number": can_number(log, can)}
        named = {name: value for name, value in numbers.items() if value is not None}
        stair = log.stair()
        parts = named_parts(stair, text)
        events = next_events(stair, parts, done, **given, **named)
        noted = remarks(stair, events)
        idents = log.log_events(events)
        _tell(stair, parts, events, idents, noted, as_json=as_json)
        _caution(log, stair, [event for _, event in events])


def _tell(
    stair: StoredStair,
    parts: Sequence[StoredPart],
    events: Sequence[tuple[int, PartEvent]],
    idents: Sequence[int],
    noted: Sequence[str],
    *,
    as_json: bool,
) -> None:
    """Say what was logged, the same for many parts in one line."""
    if as_json:
        from finishlab.stair.documents import events_document

        logged = [(f"E{ident}", part.code) for ident, part in zip(idents, parts, strict=True)]
        print_document(events_document(logged, noted))
    groups: dict[str, list[StoredPart]] = {}
    for part, (_, event) in zip(parts, events, strict=True):
        what = f"{event.step} {event.coat}" if event.kind == "coat" else event.kind
        recipe = f" of R{event.recipe_number}" if event.recipe_number is not None else ""
        can = f" from C{event.batch_number}" if event.batch_number is not None else ""
        groups.setdefault(f"{what}{recipe}{can} on {event.date}", []).append(part)
    for what, alike in groups.items():
        say(f"{stair.listed(part.name for part in alike)}: {what}.")
    for line in noted:
        say(f"  - {line}")


def _caution(log: Logbook, stair: StoredStair, events: Sequence[PartEvent]) -> None:
    """Say what matters now: the one place where the stair's commands do."""
    products: list[str | None] = []
    actions: set[Action] = set()
    for event in events:
        actions |= _ACTIONS.get(event.kind, set())
        if event.kind in {"coat", "touched up"}:
            can = None if event.batch_number is None else stair.cans.get(event.batch_number)
            recipe = None if event.recipe_number is None else stair.recipes.get(event.recipe_number)
            if can is not None:
                products += [can.kind, can.product]
            elif recipe is not None:
                finish = recipe.finish
                products += [f"{step.kind} stain" for step in finish.steps if step.kind and event.step == "stain"]
                if finish.topcoat is not None and event.step == "topcoat":
                    products.append(finish.topcoat.kind)
    say_cautions(log, dict.fromkeys(products), sorted(actions))


@click.command(
    "measure",
    cls=ExampleCommand,
    short_help="Measure parts in photos and log their colour.",
    examples=(
        "finishlab stairs measure tread 7 tread7.jpg",
        "finishlab stairs measure treads 1-3 t1.jpg t2.jpg t3.jpg --light 'evening lamp'",
    ),
)
@click.argument("words", nargs=-1, required=True, metavar="PARTS PHOTO...")
@click.option("--light", metavar="TEXT", help="The light it was taken in. [default: daylight]")
@click.option("--note", metavar="TEXT", help="Anything else. [default: the photo's name]")
@click.option("--date", metavar="DATE", help="Day of the photo. [default: as the photo says]")
@area_options
@json_option
def measure_parts(
    *,
    words: tuple[str, ...],
    light: str | None,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    date: str | None,
    as_json: bool,
    note: str | None,
) -> int:
    """Measure parts lying at the strip's board edge, and log it as their colour.

    One part with all its photos, which are repeats; or a photo for each part, in the order from the bottom up. Unless
    every photo is good, nothing is logged.
    """
    from finishlab.records import parse_date, today
    from finishlab.stair.records import PartEvent
    from finishlab.stair.showing import flights_shown, named_parts
    from finishlab.workflow.batch import How
    from finishlab.workflow.learned import as_learned
    from finishlab.workflow.recording import photo_day

    text, photos = _parts_and_photos(words)
    with open_logbook() as log:
        parts = named_parts(log.stair(), text)
        results = measure_all(photos, as_learned(How(("board",), "wood", greys, area), log, light))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        day = parse_date(date) if date is not None else photo_day(results[0].path) or today()
        event = PartEvent("measured", day, note=note)
        _log_colours(log, parts, results, light=light, event=event)
        flights = flights_shown(log.stair())
    mine = {part.code for part in parts}
    measured = [part for flight in flights for part in flight.parts if part.name.code in mine]
    if as_json:
        from finishlab.stair.documents import stair_document

        chosen = [replace(flight, parts=tuple(p for p in flight.parts if p in measured)) for flight in flights]
        print_document(stair_document(chosen))
    for part in measured:
        figures = "" if part.lab is None else "L* {:.1f} a* {:.1f} b* {:.1f}".format(*part.lab)
        colour = f", {figures} in {part.light}" if figures else ""
        say(f"{part.words}: measured{colour} ({part.state}).")
        if part.lab is None:
            say(
                f"  - On {event.date} it was not yet as it is now, so this is not its colour now; "
                "if the photo's own date is wrong, log it again with --date."
            )
        if part.note:
            say(f"  - It is {part.note}: set it aside, or put it where it is not noticed.")
    for line in doubt_lines(results):
        say(line)
    return 0


def _parts_and_photos(words: Sequence[str]) -> tuple[str, list[str]]:
    """Return the parts' words and the photos after them, from the first word on that is a file or called like one."""
    for start, word in enumerate(words):
        if start and _is_photo(word):
            return " ".join(words[:start]), list(words[start:])
    raise UsageError("no-photo", "No photo is named.", "Name the parts, then their photos: tread 7 tread7.jpg")


def _is_photo(word: str) -> bool:
    from finishlab.workflow.finding import PHOTO_SUFFIXES

    path = Path(word)
    return path.suffix.lower() in PHOTO_SUFFIXES or (not word.isdigit() and path.exists())


def _log_colours(
    log: Logbook, parts: Sequence[StoredPart], results: Sequence[PhotoResult], *, light: str | None, event: PartEvent
) -> list[int]:
    """Log the colour of parts: all photos of one part, or a photo a part in the same order; return the events' numbers.

    Raises
    ------
    UsageError
        ``"photos-and-parts"`` if the numbers of both do not go together.
    LogbookError
        ``"photo-logged-twice"``, ``"photo-changed"``, and what the logbook can raise.
    """
    from finishlab.workflow.recording import keep_photos, measured_of

    if len(parts) > 1 and len(parts) != len(results):
        raise UsageError(
            "photos-and-parts",
            f"{len(results)} photos cannot be shared out among {len(parts)} parts.",
            "Name one part with all its photos, or a photo for each part, in the order from the bottom up.",
        )
    measured = measured_of(results)
    if len({each.photo_id for each in measured}) < len(measured):
        raise LogbookError("photo-logged-twice", "One photo is named twice.", "Name each photo once.")
    keep_photos(log, results)
    groups = [measured] if len(parts) == 1 else [[each] for each in measured]
    named = [result.path.rsplit("/", 1)[-1] for result in results]
    notes = [", ".join(named)] if len(parts) == 1 else named
    entries = [
        (part.ident, group, replace(event, note=event.note or note, latest=dt.date.max))
        for part, group, note in zip(parts, groups, notes, strict=True)
    ]
    return log.add_part_measurements(entries, light=light)
