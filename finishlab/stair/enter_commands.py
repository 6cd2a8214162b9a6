"""``finishlab stairs add``, ``edit``, ``remove`` and their like: what is written of the stair, and its corrections."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from finishlab.cli.common import changes_given, json_option, open_logbook, print_removed, say, say_undo, show_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import LogbookError, UsageError
from finishlab.stair.commands import CONDITIONS, condition_options, conditions_given, numbers_named
from finishlab.stair.names import SIDES, PartKind, parse_level
from finishlab.stair.records import COAT_STEPS, PartSizes, StoredFlight, StoredStair

if TYPE_CHECKING:
    from finishlab.logbook import Logbook

Command = TypeVar("Command", bound=Callable[..., Any])

_LENGTHS: Final = {
    "front": "Width along the front edge; the length of a riser, nosing, skirt or stringer.",
    "back": "Width along the back edge.",
    "depth": "From front to back, square to the front edge.",
    "thickness": "Thickness.",
    "nosing": "How far the front edge stands out over the riser.",
    "height": "Height of a riser, skirt or stringer.",
}
_ANGLES: Final = {
    "left-angle": "Angle inside the part between its front edge and left end, degrees.",
    "right-angle": "The same at the right end.",
}
_CLEARED: Final = (*_LENGTHS, *_ANGLES, "species", "recipe", "fixing", "note")
_SIZED: Final[Mapping[PartKind, tuple[str, str]]] = {
    "tread": ("tread", "depth"),
    "riser": ("riser", "height"),
    "landing nosing": ("top_nosing", "depth"),
    "landing board": ("landing_board", "depth"),
}
"""Kind of part -> the option its size is given by, and what the second of its three figures is."""
_BOTH_SIDES: Final[Mapping[PartKind, str]] = {"return": "returns", "skirt": "skirts", "stringer": "stringers"}
"""Kind of part -> the option that says at which sides of the flight it is."""
_SIDES: Final = click.Choice(["left", "right", "both"])
_EVENT_CLEARED: Final = (
    "recipe", "can", "faces", "deviation", "note", "time", "air", "humidity", "applicator", "wipe", "mixed",
)  # fmt: skip
_CLEARED_AS: Final = {
    "recipe": "recipe_number", "can": "batch_number", "air": "air_c", "humidity": "rh_percent", "wipe": "wipe_min",
}  # fmt: skip
"""What the options call otherwise than the record."""
_FLIGHT: Final = re.compile(r"(?:flight|landing) ?[0-9]{1,2}|l[0-9]{1,2}", re.IGNORECASE)
_EVENT: Final = re.compile(r"[eE]([0-9]{1,9})")


def _part_options(kept: str) -> Callable[[Command], Command]:
    """Return what adds the sizes of a part, each by its own name, and what else is written of one."""
    named = [click.option(f"--{name}", metavar="LENGTH", help=text) for name, text in _LENGTHS.items()]
    named += [click.option(f"--{name}", type=float, metavar="DEG", help=text) for name, text in _ANGLES.items()]
    named += [
        click.option("--species", metavar="WOOD", help="The wood."),
        click.option("--recipe", metavar="R1", help=f"The recipe {kept} to be finished by."),
        click.option("--fixing", metavar="TEXT", help=f"How {kept} fixed, adhesive named."),
        click.option("--note", metavar="TEXT", help="Anything else."),
    ]

    def add(command: Command) -> Command:
        for option in reversed(named):
            command = option(command)
        return command

    return add


@click.command(
    cls=ExampleCommand,
    examples=(
        "finishlab stairs add 7 landing 7 --tread 914x292x27 --riser 914x190x19 --landing-boards 6 --species 'red oak'",
        "finishlab stairs add 14 --tread '36x11.5x1 1/16in' --nosing 1in --returns left",
        "finishlab stairs add landing --above 1",
    ),
)
@click.argument("words", nargs=-1, required=True, metavar="RISERS|landing ...")
@click.option("--tread", metavar="WxDxT", help="Size of the treads: front width, depth, thickness.")
@click.option("--nosing", metavar="LENGTH", help="How far the treads stand out over the risers.")
@click.option("--riser", metavar="WxHxT", help="Size of the risers: width, height, thickness.")
@click.option("--no-risers", is_flag=True, help="Leave the risers out: open, or none of yours to finish.")
@click.option("--top-nosing", metavar="WxDxT", help="Size of the nosing at the top of each flight.")
@click.option("--no-top-nosing", is_flag=True, help="The flights have none.")
@click.option("--landing-boards", type=click.IntRange(0, 200), default=0, metavar="N", help="Boards on each landing.")
@click.option("--landing-board", metavar="WxDxT", help="Size of the landing boards.")
@click.option("--returns", type=_SIDES, help="Treads end in a mitred return, at which side.")
@click.option("--skirts", type=_SIDES, help="A skirt board along each flight, at which side.")
@click.option("--stringers", type=_SIDES, help="A stringer along each flight to be finished, at which side.")
@click.option("--species", metavar="WOOD", help="The wood of all these parts.")
@click.option("--recipe", metavar="R1", help="The recipe they are to be finished by.")
@click.option("--name", metavar="TEXT", help="What the one flight or landing is called, e.g. “to the attic”.")
@click.option("--above", type=click.IntRange(0, 99), metavar="N", help="A forgotten landing: the flight below it.")
@json_option
def add(
    *,
    words: tuple[str, ...],
    recipe: str | None,
    name: str | None,
    above: int | None,
    as_json: bool,
    **values: Any,  # noqa: ANN401
) -> None:
    """Enter flights by their risers, and landings between them, from the bottom up, with all their parts.

    A flight has one tread fewer than risers, since the floor above is the last step, and a nosing at its top.
    Sizes hold for all that are entered; change single ones with: finishlab stairs edit
    """
    from finishlab.stair.entering import PartPlan, new_flights
    from finishlab.stair.names import listed

    sizes = _sizes_by_kind(values)
    sides = {kind: values[option] for kind, option in _BOTH_SIDES.items() if values[option] is not None}
    with open_logbook(make=True) as log:
        plan = PartPlan(
            sizes,
            risers=not values["no_risers"],
            top_nosing=not values["no_top_nosing"],
            landing_boards=values["landing_boards"],
            sided={kind: SIDES if side == "both" else (side,) for kind, side in sides.items()},
            species=values["species"],
            **numbers_named(log, recipe),
        )
        flights, parts = new_flights(log.stair(), words, plan, name=name, above=above)
        log.add_flights(flights, parts)
        stair = log.stair()
    for flight in stair.flights:
        if flight.number in flights:
            names = [part.name for part in stair.parts if part.record.flight_number == flight.number]
            say(f"{flight.title.capitalize()} entered: {listed(names, with_level=False) or 'no parts yet'}.")
    if as_json:
        _print_stair(stair)


def _sizes_by_kind(values: dict[str, Any]) -> dict[PartKind, PartSizes]:
    """Return the sizes that were typed, by the kind of part."""
    sizes: dict[PartKind, PartSizes] = {}
    for kind, (option, second) in _SIZED.items():
        texts = {} if values[option] is None else _three_sizes(values[option], ("front", second, "thickness"))
        if kind == "tread" and values["nosing"] is not None:
            texts["nosing"] = values["nosing"]
        if texts:
            sizes[kind] = PartSizes(**_lengths(texts, kind))
    return sizes


def _three_sizes(text: str, names: tuple[str, str, str]) -> dict[str, str]:
    """Return sizes written as one, by their names: ``914x292x27``, ``36x11.5x1 1/16in``; UsageError ``"bad-size"``."""
    from finishlab.units import split_sizes

    pieces = split_sizes(text)
    if not 2 <= len(pieces) <= len(names) or not all(pieces):
        raise UsageError(
            "bad-size",
            f"“{text}” is no size.",
            f"Write {' x '.join(names)}, for example 914x292x27 or “36x11.5x1 1/16in”.",
        )
    return dict(zip(names, pieces, strict=False))


def _lengths(texts: Mapping[str, str], kind: str) -> dict[str, Any]:
    """Return typed lengths as `PartSizes` keeps them: in mm, with those that were typed in inches named."""
    from finishlab.units import in_inches, read_lengths

    return {**read_lengths(texts, kind), "inches": in_inches(texts)} if texts else {}


def _sizes_given(values: dict[str, Any], kind: str = "part") -> dict[str, Any]:
    """Take the sizes out of the options that were given; raises ``"bad-length"``, ``"unit-missing"``."""
    sizes = _lengths({name: text for name in _LENGTHS if (text := values.pop(name)) is not None}, kind)
    angles = {field: values.pop(field) for field in (name.replace("-", "_") for name in _ANGLES)}
    return sizes | {name: value for name, value in angles.items() if value is not None}


def _print_stair(stair: StoredStair) -> None:
    from finishlab.stair.documents import flights_shown, stair_document

    show_document(stair_document(flights_shown(stair)), as_json=True)


@click.command(
    "add-parts",
    cls=ExampleCommand,
    examples=(
        "finishlab stairs add-parts 2/returns 1-6 left --front 320 --depth 40 --thickness 27",
        "finishlab stairs add-parts landing 1 landing boards 1-5 --front 900 --depth 120 --thickness 20",
    ),
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS")
@_part_options("they are")
@json_option
def add_parts(*, parts: tuple[str, ...], recipe: str | None, as_json: bool, **values: Any) -> None:  # noqa: ANN401
    """Enter further parts of flights and landings that are there."""
    from finishlab.stair.entering import new_parts, size_remarks
    from finishlab.stair.names import listed

    sizes = PartSizes(**_sizes_given(values))
    with open_logbook() as log:
        named = numbers_named(log, recipe)
        before = log.stair()
        log.add_parts(new_parts(before, " ".join(parts), sizes, **named, **values))
        stair = log.stair()
    old = {part.ident for part in before.parts}
    names = listed([part.name for part in stair.parts if part.ident not in old])
    say(f"Entered: {names}.")
    for line in size_remarks([(names, sizes)]):
        say(line)
    if as_json:
        _print_stair(stair)


@click.command(
    cls=ExampleCommand,
    examples=(
        "finishlab stairs edit 2/tread 3 --front 920 --back 908 --left-angle 91.5",
        "finishlab stairs edit all treads --recipe R1",
        "finishlab stairs edit flight 2 --name 'to the attic'",
    ),
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS|FLIGHT")
@_part_options("it is")
@click.option("--name", metavar="TEXT", help="Of a flight: what it is called.")
@click.option("--risers", type=click.IntRange(1, 200), metavar="N", help="Of a flight: its risers.")
@click.option("--clear", type=click.Choice(_CLEARED), multiple=True, help="Take a field out; may be given again.")
@json_option
def edit(*, parts: tuple[str, ...], clear: tuple[str, ...], as_json: bool, **values: Any) -> None:  # noqa: ANN401
    """Change what is written of parts, many at once or one; or of a flight or landing.

    Sizes that are not named stay as they are, and what was written before stays in the history.
    """
    text = " ".join(parts)
    sizes = _sizes_given(values, _kind(text))
    given = {name: value for name, value in values.items() if value is not None}
    for name in clear:
        field = name.replace("-", "_")
        if field in given or field in sizes:
            raise UsageError(
                "set-and-cleared",
                f"The {name.replace('-', ' ')} cannot be set and taken out at once.",
                "Name one of both.",
            )
        target: dict[str, Any] = sizes if name in {**_LENGTHS, **_ANGLES} else given
        target[field] = None
    with open_logbook() as log:
        if {"name", "risers"} & set(given) or _FLIGHT.fullmatch(" ".join(text.split())):
            _edit_flight(log, text, given, sizes)
        else:
            _edit_parts(log, text, given, sizes)
        if as_json:
            _print_stair(log.stair())


def _kind(text: str) -> str:
    """Return of what kind the parts are that somebody means, for what their sizes can be; “part” for others."""
    return next((kind for kind in ("tread", "riser") if re.search(rf"\b{kind}s?\b", text.casefold())), "part")


def _edit_flight(log: Logbook, text: str, given: dict[str, Any], sizes: dict[str, Any]) -> None:
    odd = [*sizes, *(name for name in given if name not in {"name", "risers", "note"})]
    if odd:
        raise UsageError(
            "flight-field",
            f"A flight has no {odd[0].replace('_', ' ')}.",
            f"For all its parts write: all of “{text}/all”.",
        )
    flight = _flight(log.stair(), text)
    log.edit_flight(flight.number, **(given or changes_given()))
    say(f"{flight.title.capitalize()} changed.")


def _flight(stair: StoredStair, text: str) -> StoredFlight:
    """Return the flight or landing somebody means; LogbookError ``"unknown-flight"``."""
    level = parse_level(text)
    flight = next((each for each in stair.flights if each.level == level), None)
    if flight is None:
        raise LogbookError("unknown-flight", f"The stair has no {text}.", "See: finishlab stairs show")
    return flight


def _edit_parts(log: Logbook, text: str, given: dict[str, Any], sizes: dict[str, Any]) -> None:
    from finishlab.stair.entering import size_remarks

    changes = dict(given)
    if "recipe" in changes:
        changes["recipe_number"] = numbers_named(log, changes.pop("recipe")).get("recipe_number")
    if sizes:
        changes["sizes"] = sizes
    if not changes:
        changes_given()
    stair = log.stair()
    found = stair.named(text)
    idents = [part.ident for part in found]
    count = log.edit_parts(idents, **changes)
    told = f"{count} of {len(found)} changed" if 0 < count < len(found) else "changed" if count else "nothing to change"
    say(f"{stair.listed(part.name for part in found)}: {told}.")
    if sizes:
        after = log.stair()
        for line in size_remarks((after.words(p), p.record.sizes) for p in after.parts if p.ident in idents):
            say(line)


@click.command(
    "edit-event",
    cls=ExampleCommand,
    examples=(
        "finishlab stairs edit-event E12 --can C2 --date 2024-05-30",
        "finishlab stairs edit-event E12 E13 --air 18 --clear recipe",
    ),
)
@click.argument("numbers", nargs=-1, required=True, metavar="E12 ...")
@click.option("--date", metavar="DATE", help="The day it was done.")
@click.option("--of", "step", type=click.Choice(COAT_STEPS), help="Of a coat: what of.")
@click.option("--coat", type=click.IntRange(1, 8), metavar="N", help="Of a coat: which one.")
@click.option("--recipe", metavar="R1", help="The recipe.")
@click.option("--can", metavar="C1", help="The can.")
@click.option("--faces", metavar="TEXT", help="What was coated.")
@click.option("--deviation", metavar="TEXT", help="What was done otherwise than the recipe says.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@condition_options
@click.option("--clear", type=click.Choice(_EVENT_CLEARED), multiple=True, help="Take a field out; may be given again.")
@json_option
def edit_event(
    *,
    numbers: tuple[str, ...],
    recipe: str | None,
    can: str | None,
    clear: tuple[str, ...],
    as_json: bool,
    **values: Any,  # noqa: ANN401 - texts and figures
) -> None:
    """Change what was logged of parts, many events at once or one; what it was stays in the parts' history.

    An empty text takes a field out, and so does --clear.
    """
    conditions = conditions_given(values)
    conditions |= {_CLEARED_AS.get(name, name): None for name in clear if _CLEARED_AS.get(name, name) in CONDITIONS}
    cleared = {_CLEARED_AS.get(name, name): None for name in clear if _CLEARED_AS.get(name, name) not in CONDITIONS}
    codes = [number.strip().upper() for number in numbers]
    with open_logbook() as log:
        given = {name: value for name, value in values.items() if value is not None}
        given |= numbers_named(log, recipe, can) | cleared
        if not given and not conditions:
            changes_given()
        idents = [_event_number(number) for number in numbers]
        mine = [log.event_part(ident) for ident in idents]
        events = {event.ident: event for event in log.stair().events}
        for ident in idents:
            known = events[ident].conditions.as_dict() if ident in events else {}
            changed = {"conditions": {**known, **conditions}} if conditions else {}
            log.edit_event(ident, **given, **changed)
        stair = log.stair()
        parts = [stair.part(ident) for ident in mine]
    if as_json:
        from finishlab.stair.documents import events_document

        logged = [(code, part.code) for code, part in zip(codes, parts, strict=True)]
        show_document(events_document(logged, []), as_json=True)
    say(f"{', '.join(codes)} changed.")


@click.command(
    cls=ExampleCommand,
    examples=("finishlab stairs remove 2/riser 3", "finishlab stairs remove flight 2", "finishlab stairs remove E12"),
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS|FLIGHT|E12 ...")
@json_option
def remove(*, parts: tuple[str, ...], as_json: bool) -> None:
    """Leave parts, a flight with all its parts, or events out from now on; their history stays."""
    text = " ".join(" ".join(parts).split())
    with open_logbook() as log:
        stair = log.stair()
        if all(_EVENT.fullmatch(word) for word in text.split()):
            numbers = [_event_number(word) for word in text.split()]
            gone = [f"E{number}" for number in numbers]
            log.remove_events(numbers)
            say(f"Taken back: {', '.join(gone)}.")
        elif _FLIGHT.fullmatch(text):
            flight = _flight(stair, text)
            gone = [part.code for part in stair.parts if part.name.level == flight.level]
            log.remove_flight(flight.number)
            say(f"Removed: {flight.title} with its parts; their history stays.")
        else:
            found = stair.named(text)
            gone = [part.code for part in found]
            log.remove_parts([part.ident for part in found])
            names = stair.listed(part.name for part in found)
            say(f"Removed: {names}; what was done to them stays in the logbook.")
        say_undo()
    if as_json:
        print_removed(gone)


def _event_number(text: str) -> int:
    match = _EVENT.fullmatch(text.strip())
    if match is None:
        raise UsageError("bad-event", f"“{text}” is no event.", "Write its number as stairs part shows it: E12.")
    return int(match[1])
