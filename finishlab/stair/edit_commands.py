"""``finishlab stairs edit``, ``edit-event`` and ``remove``: what is written of the stair, changed; all of it stays."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import changes_given, json_option, open_logbook, print_document, print_removed, say
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import LogbookError, UsageError
from finishlab.stair.add_commands import can_number, recipe_number
from finishlab.stair.records import COAT_STEPS
from finishlab.stair.size_options import ANGLES, LENGTHS, size_options, sizes_given

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.stair.records import StoredStair

_CLEARED = (*LENGTHS, *ANGLES, "species", "recipe", "fixing", "note")
_FLIGHT = re.compile(r"(?:flight|landing) ?[0-9]{1,2}|l[0-9]{1,2}", re.IGNORECASE)
_EVENT = re.compile(r"[eE]([0-9]{1,9})")


@click.command(
    cls=ExampleCommand,
    short_help="Change sizes, wood, recipe or notes of parts; or a flight.",
    examples=(
        "finishlab stairs edit 2/tread 3 --front 920 --back 908 --left 91.5",
        "finishlab stairs edit all treads --recipe R1",
        "finishlab stairs edit flight 2 --name 'to the attic'",
    ),
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS|FLIGHT")
@size_options
@click.option("--species", metavar="WOOD", help="The wood.")
@click.option("--recipe", metavar="R1", help="The recipe it is to be finished by.")
@click.option("--fixing", metavar="TEXT", help="How it is fixed, adhesive named.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--name", metavar="TEXT", help="Of a flight: what it is called.")
@click.option("--risers", type=click.IntRange(1, 200), metavar="N", help="Of a flight: its risers.")
@click.option("--clear", type=click.Choice(_CLEARED), multiple=True, help="Take a field out; may be given again.")
@json_option
def edit(*, parts: tuple[str, ...], clear: tuple[str, ...], as_json: bool, **values: Any) -> None:  # noqa: ANN401
    """Change what is written of parts, many at once or one; or of a flight or landing.

    Sizes that are not named stay as they are, and what was written before stays in the history.
    """
    text = " ".join(parts)
    sizes = sizes_given(values, _kind(text))
    given = {name: value for name, value in values.items() if value is not None}
    for name in clear:
        field = f"{name}_angle" if name in ANGLES else name
        if field in given or field in sizes:
            raise UsageError("set-and-cleared", f"The {name} cannot be set and taken out at once.", "Name one of both.")
        target: dict[str, Any] = sizes if name in {**LENGTHS, **ANGLES} else given
        target[field] = None
    with open_logbook() as log:
        if {"name", "risers"} & set(given) or _FLIGHT.fullmatch(" ".join(text.split())):
            _edit_flight(log, text, given, sizes)
        else:
            _edit_parts(log, text, given, sizes)
        stair = log.stair()
    if as_json:
        from finishlab.stair.documents import stair_document
        from finishlab.stair.showing import flights_shown

        print_document(stair_document(flights_shown(stair)))


def _kind(text: str) -> str:
    """Return of what kind the parts are that somebody means, for what their sizes can be; “part” for others."""
    return next((kind for kind in ("tread", "riser") if re.search(rf"\b{kind}s?\b", text.casefold())), "part")


def _edit_flight(log: Logbook, text: str, given: dict[str, Any], sizes: dict[str, Any]) -> None:
    from finishlab.stair.names import parse_level

    odd = [*sizes, *(name for name in given if name not in {"name", "risers", "note"})]
    if odd:
        raise UsageError(
            "flight-field",
            f"A flight has no {odd[0].replace('_', ' ')}.",
            f"For all its parts write: all of “{text}/all”.",
        )
    level = parse_level(text)
    flight = next((each for each in log.stair().flights if each.level == level), None)
    if flight is None:
        raise LogbookError("unknown-flight", f"The stair has no {text}.", "See: finishlab stairs show")
    log.edit_flight(flight.number, **(given or changes_given()))
    say(f"{flight.title.capitalize()} changed.")


def _edit_parts(log: Logbook, text: str, given: dict[str, Any], sizes: dict[str, Any]) -> None:
    from finishlab.stair.entering import size_remarks
    from finishlab.stair.showing import named_parts

    changes = dict(given)
    if "recipe" in changes:
        changes["recipe_number"] = recipe_number(log, changes.pop("recipe"))
    if sizes:
        changes["sizes"] = sizes
    if not changes:
        changes_given()
    found = named_parts(log.stair(), text)
    count = log.edit_parts([part.ident for part in found], **changes)
    stair = log.stair()
    names = stair.listed(part.name for part in found)
    if count in {0, len(found)}:
        say(f"{names}: {'changed' if count else 'nothing to change'}.")
    else:
        say(f"{names}: {count} of {len(found)} changed.")
    if sizes:
        idents = {part.ident for part in found}
        changed = [(stair.words(part), part.record.sizes) for part in stair.parts if part.ident in idents]
        for line in size_remarks(changed):
            say(line)


@click.command(
    "edit-event",
    cls=ExampleCommand,
    short_help="Change what was logged of a part.",
    examples=("finishlab stairs edit-event E12 --can C2 --date 2024-05-30",),
)
@click.argument("number", metavar="E12")
@click.option("--date", metavar="DATE", help="The day it was done.")
@click.option("--step", type=click.Choice(COAT_STEPS), help="Of a coat: what of.")
@click.option("--coat", type=click.IntRange(1, 8), metavar="N", help="Of a coat: which one.")
@click.option("--recipe", metavar="R1", help="The recipe.")
@click.option("--can", metavar="C1", help="The can.")
@click.option("--faces", metavar="TEXT", help="What was coated.")
@click.option("--deviation", metavar="TEXT", help="What was done otherwise than the recipe says.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@json_option
def edit_event(
    *,
    number: str,
    recipe: str | None,
    can: str | None,
    as_json: bool,
    **values: Any,  # noqa: ANN401 - each field has its own type
) -> None:
    """Change what was logged of a part; what it was stays in the part's history. An empty text takes a field out."""
    with open_logbook() as log:
        named = {"recipe_number": recipe_number(log, recipe), "batch_number": can_number(log, can)}
        log.edit_event(_event_number(number), **changes_given(**values, **named))
        part = log.stair().part(log.event_part(_event_number(number)))
    if as_json:
        from finishlab.stair.documents import events_document

        print_document(events_document([(number.strip().upper(), part.code)], []))
    say(f"{number.strip().upper()} changed.")


@click.command(
    cls=ExampleCommand,
    short_help="Leave parts, flights or events out from now on.",
    examples=("finishlab stairs remove 2/riser 3", "finishlab stairs remove flight 2", "finishlab stairs remove E12"),
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS|FLIGHT|E12 ...")
@json_option
def remove(*, parts: tuple[str, ...], as_json: bool) -> None:
    """Leave parts, a flight with all its parts, or events out from now on; their history stays."""
    from finishlab.stair.showing import named_parts

    text = " ".join(" ".join(parts).split())
    with open_logbook() as log:
        stair = log.stair()
        if all(_EVENT.fullmatch(word) for word in text.split()):
            gone = [f"E{_event_number(word)}" for word in text.split()]
            log.remove_events([_event_number(word) for word in gone])
            say(f"Taken back: {', '.join(gone)}.")
        elif _FLIGHT.fullmatch(text):
            gone = _remove_flight(log, stair, text)
        else:
            found = named_parts(stair, text)
            gone = [part.code for part in found]
            log.remove_parts([part.ident for part in found])
            names = stair.listed(part.name for part in found)
            say(f"Removed: {names}; what was done to them stays in the logbook.")
    if as_json:
        print_removed(gone)


def _remove_flight(log: Logbook, stair: StoredStair, text: str) -> list[str]:
    """Remove a flight or landing with its parts; return their codes."""
    from finishlab.stair.names import parse_level

    level = parse_level(text)
    flight = next((each for each in stair.flights if each.level == level), None)
    if flight is None:
        raise LogbookError("unknown-flight", f"The stair has no {text}.", "See: finishlab stairs show")
    log.remove_flight(flight.number)
    say(f"Removed: {flight.title} with its parts; their history stays.")
    return [part.code for part in stair.parts if part.name.level == level]


def _event_number(text: str) -> int:
    match = _EVENT.fullmatch(text.strip())
    if match is None:
        raise UsageError("bad-event", f"“{text}” is no event.", "Write its number as stairs part shows it: E12.")
    return int(match[1])
