"""Each part of the stair as it stands: its state and colour, and flights and parts in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from finishlab.stair.colours import Lab, colours_now
from finishlab.stair.names import PartName, listed
from finishlab.stair.progress import Progress, progress_of, recipe_of, state_words, wanted
from finishlab.stair.records import COAT_STEPS, CoatStep, Flight, Part, PartSizes, StoredPart, StoredStair
from finishlab.units import inches_text

__all__ = [
    "FlightShown",
    "PartShown",
    "back_words",
    "coats_words",
    "flight_heading",
    "flights_shown",
    "grouped",
    "parts_shown",
    "size_words",
    "stair_notes",
]


@dataclass(frozen=True, slots=True)
class PartShown:
    """One part of the stair and how far it is."""

    name: PartName
    words: str
    """``"tread 7"``, its flight before it where several have such parts."""
    record: Part
    recipe: str | None
    """Number and name of its recipe."""
    state: str
    """How far it is, in words."""
    coats: Mapping[CoatStep, int]
    """Step -> coats it has."""
    wanted: Mapping[CoatStep, int]
    """Step -> coats it is to have."""
    fitted: bool
    last: dt.date | None
    """Day of the last thing done."""
    lab: Lab | None = None
    """Its colour as it is now, CIELAB D65 2 degrees; None while it was not measured since the last coat."""
    light: str | None = None
    note: str = ""
    """What is odd about its colour."""


@dataclass(frozen=True, slots=True)
class FlightShown:
    """A flight or landing with its parts from the bottom up."""

    title: str
    record: Flight
    parts: tuple[PartShown, ...]


def flights_shown(stair: StoredStair) -> list[FlightShown]:
    """Return the flights from the bottom up with their parts."""
    shown = parts_shown(stair)
    flights = []
    for flight in stair.flights:
        parts = tuple(shown[part.ident] for part in stair.parts if part.record.flight_number == flight.number)
        flights.append(FlightShown(flight.title, flight.record, parts))
    return flights


def parts_shown(stair: StoredStair, given: Mapping[CoatStep, int] | None = None) -> dict[int, PartShown]:
    """Return each part with its state, by `StoredPart.ident`; `given` as in `finishlab.stair.progress.wanted`."""
    progress = progress_of(stair.events)
    colours = colours_now(stair, progress)
    shown = {}
    for part in stair.parts:
        known, colour = progress.get(part.ident, Progress()), colours.get(part.ident)
        want = wanted(stair, part, known, given)
        shown[part.ident] = PartShown(
            name=part.name,
            words=stair.words(part),
            record=part.record,
            recipe=_recipe_words(stair, part, known),
            state=state_words(known, want),
            coats={step: known.count(step) for step in COAT_STEPS if known.count(step)},
            wanted={step: want[step] for step in COAT_STEPS if want.get(step)},
            fitted="fitted" in known.done,
            last=None if known.last is None else known.last.date,
            lab=None if colour is None else colour.lab,
            light=None if colour is None else colour.light,
            note="" if colour is None else colour.note,
        )
    return shown


def _recipe_words(stair: StoredStair, part: StoredPart, progress: Progress) -> str | None:
    number = recipe_of(part, progress)
    if number is None:
        return None
    recipe = stair.recipes.get(number)
    return f"R{number}" if recipe is None else f"R{number} {recipe.name}"


def flight_heading(flight: FlightShown) -> str:
    """Return what a flight is: ``"Flight 2 (to the attic): 7 risers, R1 honey"``."""
    name = f" ({flight.record.name})" if flight.record.name else ""
    risers = flight.record.risers
    facts = [] if risers is None else [f"{risers} riser{'' if risers == 1 else 's'}"]
    recipes = {part.recipe for part in flight.parts if part.recipe}
    facts += [next(iter(recipes))] if len(recipes) == 1 else []
    return f"{flight.title.capitalize()}{name}{': ' if facts else ''}{', '.join(facts)}"


def stair_notes(flights: Iterable[FlightShown]) -> list[str]:
    """Return what is odd about the parts' colours, and about the flights."""
    notes = []
    for flight in flights:
        treads = sum(part.record.kind == "tread" for part in flight.parts)
        want = flight.record.treads
        if want is not None and treads and treads != want:
            notes.append(
                f"{flight.title.capitalize()} has {treads} tread{'' if treads == 1 else 's'}; "
                f"{flight.record.risers} risers want {want}."
            )
        notes += [f"{part.words.capitalize()} is {part.note} ({part.light})." for part in flight.parts if part.note]
    return notes


def grouped(parts: Iterable[PartShown]) -> list[tuple[str, PartShown]]:
    """Return parts that are in one state together, with their names; a measured part stands alone."""
    groups: dict[tuple[object, ...], list[PartShown]] = {}
    for part in parts:
        own = part.name if part.lab is not None else None
        groups.setdefault((part.record.kind, part.name.side, part.state, own), []).append(part)
    return [(listed([each.name for each in alike], with_level=False), alike[0]) for alike in groups.values()]


def coats_words(step: str, count: int) -> str:
    """Return coats in words: ``"1 stain coat"``, ``"3 topcoats"``."""
    one = step if step == "topcoat" else f"{step} coat"
    return f"{count} {one}{'' if count == 1 else 's'}"


def size_words(sizes: PartSizes) -> str | None:
    """Return sizes in one line: ``"914 x 292 x 27 mm, nosing 30; back 905; angles left 91, right 90"``."""
    main = [sizes.words(name) for name in ("front", "height" if sizes.depth is None else "depth", "thickness")]
    words = [_times(main)] if any(main) else []
    if sizes.nosing is not None:
        words.append(f"nosing {sizes.words('nosing')}")
    if sizes.out_of_square and sizes.back_width is not None:
        words.append(f"back {back_words(sizes)}{'' if sizes.back is not None else ' by the angles'}")
    angles = (("left", sizes.left_angle), ("right", sizes.right_angle))
    told = ", ".join(f"{name} {value:g}" for name, value in angles if value is not None)
    if told:
        words.append(f"angles {told} degrees")
    return "; ".join(words) or None


def back_words(sizes: PartSizes) -> str:
    """Return the back width, measured or by the angles, in the unit of the front."""
    if sizes.back is not None:
        return str(sizes.words("back"))
    width = sizes.back_width or 0.0
    return inches_text(width) if "front" in sizes.inches else f"{width:.0f} mm"


def _times(sides: Sequence[str | None]) -> str:
    """Return ``"36 x 11 1/2 x 1 in"``: the unit once where all have the same."""
    units = {side.rpartition(" ")[2] for side in sides if side is not None}
    if len(units) > 1:
        return " x ".join(side or "?" for side in sides)
    return f"{' x '.join('?' if side is None else side.rpartition(' ')[0] for side in sides)} {units.pop()}"
