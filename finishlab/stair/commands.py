"""``finishlab stairs``: the stair shown, and what is done to its parts logged and measured."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from finishlab.cli.common import (
    area_options,
    doubt_lines,
    json_option,
    measure_all,
    open_logbook,
    report_failures,
    say,
    say_cautions,
    show_document,
    untouched,
)
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import LogbookError, UsageError

if TYPE_CHECKING:
    from finishlab.cautions import Action
    from finishlab.logbook import Logbook
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.measuring.photos import PhotoResult
    from finishlab.stair.documents import PartShown
    from finishlab.stair.records import CoatStep, PartEvent, StoredPart, StoredStair

_COMMANDS: Final[Mapping[str, tuple[str, str]]] = {
    "add": ("finishlab.stair.enter_commands:add", "Enter flights and landings with their parts."),
    "add-parts": (
        "finishlab.stair.enter_commands:add_parts",
        "Enter further parts: nosings, returns, boards, skirts.",
    ),
    "show": ("finishlab.stair.commands:show", "Draw the stair: each part's state and colour."),
    "log": ("finishlab.stair.commands:log_event", "Log what was done to parts."),
    "measure": ("finishlab.stair.commands:measure_parts", "Measure parts in photos and log their colour."),
    "part": ("finishlab.stair.commands:part", "Say which finish is on a part, and from which can."),
    "due": ("finishlab.stair.commands:due", "Say which parts are still short of a coat."),
    "walk": ("finishlab.stair.commands:walk", "Say which steps can be walked on now, and from when the others."),
    "deviations": ("finishlab.stair.commands:list_deviations", "List what was done otherwise than planned."),
    "edit": ("finishlab.stair.enter_commands:edit", "Change sizes, wood, recipe or notes of parts; or a flight."),
    "edit-event": ("finishlab.stair.enter_commands:edit_event", "Change what was logged of a part."),
    "remove": ("finishlab.stair.enter_commands:remove", "Leave parts, flights or events out from now on."),
}
_ACTIONS: Final[Mapping[str, set[Action]]] = {
    "sanded": {"sand"},
    "rubbed out": {"sand"},
    "coat": {"apply", "wet stair"},
    "touched up": {"apply"},
    "dry-fitted": {"fit"},
    "fitted": {"fit"},
}
"""What an event means for the cautions."""
_OLD: Final = ("riser", "stringer", "skirt")
"""Parts that mostly stay when treads are new, with their old paint."""


Command = TypeVar("Command", bound=Callable[..., Any])
CONDITIONS: Final = ("time", "air_c", "rh_percent", "applicator", "wipe_min", "mixed")


@click.group(cls=LazyGroup, lazy=_COMMANDS)
def stairs() -> None:
    """Enter the stair, log what is done to its parts, and look it up.

    Everything is counted from the bottom up; left and right are seen from below. Parts are named as people say them:
    "tread 7", "2/tread 7" or "flight 2 tread 7" where there are several flights, "treads 3-9", "odd treads",
    "all risers", "treads 1,3,5", "left stringer", "landing 1"; or in short T7, 2.T7. Groups are set apart by commas.
    """


@click.command(cls=ExampleCommand, examples=("finishlab stairs show", "finishlab stairs show --svg stair.svg"))
@click.option("--svg", metavar="FILE", help="Draw it into an SVG file too, seen from below.")
@json_option
def show(*, svg: str | None, as_json: bool) -> None:
    """Draw the stair: each part with its state in words and its measured colour."""
    from finishlab.board.shown import recipe_colours
    from finishlab.stair.documents import flights_shown, stair_document, stair_notes

    with open_logbook() as log:
        flights = flights_shown(log.stair())
        colours = recipe_colours(log) if svg is not None else {}
    if svg is not None:
        from finishlab.files import write_atomically
        from finishlab.stair.drawing import stair_svg

        write_atomically(svg, stair_svg(flights, colours).encode())
        say(f"The stair is drawn in {svg}.")
    if as_json or svg is None:
        show_document(stair_document(flights, stair_notes(flights)), as_json=as_json)


@click.command(
    cls=ExampleCommand,
    examples=("finishlab stairs part tread 7", "finishlab stairs part 2.T7", "finishlab stairs part treads 1-3 --json"),
)
@click.argument("parts", nargs=-1, required=True, metavar="PART")
@json_option
def part(*, parts: tuple[str, ...], as_json: bool) -> None:
    """Say which finish is on a part, from which can, and all else that is known of it."""
    from finishlab.stair.documents import parts_document

    with open_logbook() as log:
        document = parts_document(log, " ".join(parts))
    show_document(document, as_json=as_json)


_WANTED: Final[Mapping[CoatStep, str]] = {"stain": "stain_coats", "seal": "seal_coats", "topcoat": "topcoats"}
"""What a coat can be of -> the option that says how many are wanted."""


@click.command(
    cls=ExampleCommand,
    examples=("finishlab stairs due", "finishlab stairs due all treads --stain-coats 1 --topcoats 4"),
)
@click.argument("parts", nargs=-1, metavar="[PARTS]")
@click.option(
    "--stain-coats", type=click.IntRange(0, 8), metavar="N", help="Stain coats wanted. [default: the recipe's]"
)
@click.option(
    "--seal-coats", type=click.IntRange(0, 8), metavar="N", help="Sealer coats wanted. [default: the recipe's]"
)
@click.option("--topcoats", type=click.IntRange(0, 8), metavar="N", help="Topcoats wanted. [default: the recipe's]")
@json_option
def due(*, parts: tuple[str, ...], as_json: bool, **coats: int | None) -> None:
    """Say which parts are still short of a coat, which coat is next, and from when on its label allows it.

    How many coats a part is to have says its recipe, or the options.
    """
    from finishlab.stair.documents import due_document

    told = {step: coats[name] for step, name in _WANTED.items()}
    with open_logbook() as log:
        stair = log.stair()
    document = due_document(stair, " ".join(parts), {step: n for step, n in told.items() if n is not None})
    if stair.parts or as_json:
        show_document(document, as_json=as_json)
    else:
        say("No stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")


@click.command(cls=ExampleCommand, examples=("finishlab stairs walk",))
@json_option
def walk(*, as_json: bool) -> None:
    """Say which steps can be walked on now and in the hours to come, and from when those that are not dry.

    The hours are those of the cans' labels, else usual ones.
    """
    from finishlab.plan.walking import walking_document

    with open_logbook() as log:
        document = walking_document(log)
    show_document(document, as_json=as_json)


@click.command(
    "deviations",
    cls=ExampleCommand,
    examples=("finishlab stairs deviations", "finishlab stairs deviations tread 7"),
)
@click.argument("parts", nargs=-1, metavar="[PARTS]")
@json_option
def list_deviations(*, parts: tuple[str, ...], as_json: bool) -> None:
    """List what was logged that differs from what was planned: a wrong can, recipe or order, a coat more, a late one.

    It is worked out of what is logged, so what was only logged wrong goes away once it is changed.
    """
    from finishlab.stair.documents import deviations_document

    with open_logbook() as log:
        document = deviations_document(log.stair(), " ".join(parts))
    show_document(document, as_json=as_json)


def condition_options(command: Command) -> Command:
    """Add how a coat was given: hour, air, humidity, applicator, wiping and mixing."""
    for option in reversed(
        (
            click.option("--time", metavar="HH:MM", help="The hour it was done, e.g. 14:30."),
            click.option("--air", "air_c", type=float, metavar="C", help="Temperature of the air."),
            click.option("--humidity", "rh_percent", type=float, metavar="PERCENT", help="Relative humidity."),
            click.option("--applicator", metavar="TEXT", help="Rag, brush, foam, pad ..."),
            click.option("--wipe", "wipe_min", type=float, metavar="MIN", help="Minutes before it was wiped off."),
            click.option(
                "--mixed", metavar="HH:MM", help="When a two-part product was mixed: held against its pot life."
            ),
        )
    ):
        command = option(command)
    return command


def conditions_given(values: dict[str, Any]) -> dict[str, Any]:
    """Take how a coat was given out of the options that were given."""
    taken = {name: values.pop(name) for name in CONDITIONS if name in values}
    return {name: value for name, value in taken.items() if value is not None}


@click.command(
    "log",
    cls=ExampleCommand,
    examples=(
        "finishlab stairs log all treads sanded --note 80-100-120",
        "finishlab stairs log odd treads stain --recipe R1 --can C1 --faces 'both faces and edges'",
        "finishlab stairs log 2/treads 1-6 topcoat 2 --can C2 --date 2024-05-31",
        "finishlab stairs log treads 1-3 topcoat --can C2 --time 14:30 --air 19 --humidity 55",
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
@condition_options
@json_option
def log_event(
    *,
    words: tuple[str, ...],
    recipe: str | None,
    can: str | None,
    as_json: bool,
    **values: Any,  # noqa: ANN401 - texts and figures
) -> None:
    """Log what was done to parts: first the parts, then what was done.

    That is one of: dry-fitted, sanded, stain, seal, topcoat, rubbed-out, fitted, touched-up, note. A coat counts on by
    itself: "topcoat" is the next one of each part, "topcoat 2" the second. Sanding is that of the wood before any
    colour: with it, the coats that were on a part before count no longer. What differs from what was planned is told;
    it is listed again by: finishlab stairs deviations
    """
    from finishlab.stair.deviations import remarks
    from finishlab.stair.entering import next_events, split_words

    text, done = split_words(words)
    conditions = conditions_given(values)
    given = {name: value for name, value in values.items() if value is not None}
    with open_logbook() as log:
        named = numbers_named(log, recipe, can)
        stair = log.stair()
        parts = stair.named(text)
        events = next_events(stair, parts, done, **given, **named, conditions=conditions)
        noted = remarks(stair, events)
        idents = log.log_events(events)
        if as_json:
            from finishlab.stair.documents import events_document

            logged = [(f"E{ident}", part.code) for ident, part in zip(idents, parts, strict=True)]
            show_document(events_document(logged, noted), as_json=True)
        _tell(stair, parts, events)
        for line in noted:
            say(f"  - {line}")
        products, actions = called_for(stair, events)
        say_cautions(log, products, actions, at_coat=bool(products))


def numbers_named(log: Logbook, recipe: str | None = None, can: str | None = None) -> dict[str, int]:
    """Return the numbers of the recipe (by number or name) and the can that are named, by the field they go into.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"``, ``"unknown-can"``.
    """
    named = {} if recipe is None else {"recipe_number": log.recipe(recipe).number.key}
    return named if can is None else named | {"batch_number": log.can_number(can)}


def _tell(stair: StoredStair, parts: Sequence[StoredPart], events: Sequence[tuple[int, PartEvent]]) -> None:
    """Say what was logged, the same for many parts in one line."""
    groups: dict[str, list[StoredPart]] = {}
    for part, (_, event) in zip(parts, events, strict=True):
        what = f"{event.step} {event.coat}" if event.kind == "coat" else event.kind
        recipe = f" of R{event.recipe_number}" if event.recipe_number is not None else ""
        can = f" from C{event.batch_number}" if event.batch_number is not None else ""
        groups.setdefault(f"{what}{recipe}{can} on {event.date}", []).append(part)
    for what, alike in groups.items():
        say(f"{stair.listed(part.name for part in alike)}: {what}.")


def called_for(
    stair: StoredStair, events: Sequence[tuple[int, PartEvent]]
) -> tuple[tuple[str | None, ...], tuple[Action, ...]]:
    """Return the products and the work of what is done to parts, as the cautions want them."""
    kinds = {part.ident: part.record.kind for part in stair.parts}
    actions = {action for _, event in events for action in _ACTIONS.get(event.kind, ())}
    if any(event.kind == "sanded" and kinds[ident] in _OLD for ident, event in events):
        actions.add("strip")
    products: dict[str | None, None] = {}
    for _, event in events:
        if event.kind in {"coat", "touched up"}:
            products |= dict.fromkeys(_products(stair, event))
    return tuple(products), tuple(sorted(actions))


def _products(stair: StoredStair, event: PartEvent) -> list[str | None]:
    """Return the names of what was put on: as its can says, else as the recipe does."""
    can = stair.cans.get(event.batch_number or 0)
    if can is not None:
        return [f"{can.kind} {can.product}"]
    recipe = stair.recipes.get(event.recipe_number or 0)
    if recipe is None:
        return [_UNSAID.get(event.step or "")]
    finish = recipe.finish
    if event.step == "stain":
        return [f"{step.kind or step.name or ''} stain" for step in finish.steps] or [_UNSAID["stain"]]
    if event.step == "topcoat":
        top = finish.topcoat
        return [_UNSAID["topcoat"] if top is None else top.kind or top.product or _UNSAID["topcoat"]]
    return []


_UNSAID: Final = {"stain": "stain", "topcoat": "varnish"}
"""What a coat of nobody knows what is taken for: unknown stains and varnishes count as oil (common practice)."""


@click.command(
    "measure",
    cls=ExampleCommand,
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
    from finishlab.measuring.logged import photo_day
    from finishlab.measuring.photos import MeasureOptions
    from finishlab.record import parse_date, today
    from finishlab.stair.documents import flights_shown
    from finishlab.stair.records import PartEvent

    text, photos = _parts_and_photos(words)
    with open_logbook() as log:
        parts = log.stair().named(text)
        results = measure_all(photos, MeasureOptions(("board",), "wood", greys, area).with_calibration(log, light))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        day = parse_date(date) if date is not None else photo_day(results[0].path) or today()
        _log_colours(log, parts, results, light=light, event=PartEvent("measured", day, note=note))
        flights = flights_shown(log.stair())
    mine = {part.code for part in parts}
    chosen = [replace(flight, parts=tuple(p for p in flight.parts if p.name.code in mine)) for flight in flights]
    if as_json:
        from finishlab.stair.documents import stair_document

        show_document(stair_document(chosen), as_json=True)
    for flight in chosen:
        for measured in flight.parts:
            _tell_colour(measured, day)
    for line in doubt_lines(results):
        say(line)
    return 0


def _log_colours(
    log: Logbook, parts: Sequence[StoredPart], results: Sequence[PhotoResult], *, light: str | None, event: PartEvent
) -> None:
    """Log the colour of parts: all photos of one part, or a photo a part in the same order.

    Raises
    ------
    UsageError
        ``"photos-and-parts"`` if the numbers of both do not go together.
    LogbookError
        ``"photo-logged-twice"``, ``"photo-changed"``, and what the logbook can raise.
    """
    from finishlab.measuring.logged import keep_photos, measured_of

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
    log.add_part_measurements(entries, light=light)


def _tell_colour(part: PartShown, day: dt.date) -> None:
    """Say what was measured of a part, and what is odd about it."""
    colour = "" if part.lab is None else ", L* {:.1f} a* {:.1f} b* {:.1f}".format(*part.lab) + f" in {part.light}"
    say(f"{part.words}: measured{colour} ({part.state}).")
    if part.lab is None:
        say(
            f"  - On {day} it was not yet as it is now, so this is not its colour now; "
            "if the photo's own date is wrong, log it again with --date."
        )
    if part.note:
        say(f"  - It is {part.note}: set it aside, or put it where it is not noticed.")


def _parts_and_photos(words: Sequence[str]) -> tuple[str, list[str]]:
    """Return the parts' words and the photos after them, from the first word on that is a file or called like one."""
    for start, word in enumerate(words):
        if start and _is_photo(word):
            return " ".join(words[:start]), list(words[start:])
    raise UsageError("no-photo", "No photo is named.", "Name the parts, then their photos: tread 7 tread7.jpg")


def _is_photo(word: str) -> bool:
    from finishlab.measuring.photos import PHOTO_SUFFIXES

    path = Path(word)
    return path.suffix.lower() in PHOTO_SUFFIXES or (not word.isdigit() and path.exists())
