"""From what was typed to what is logged: a stair of a few words, and what was done to its parts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, cast

from finishlab.errors import UsageError
from finishlab.stair.names import MOST_PLACES, SIDED, SIDES, PartKind, Side, Wanted, level_of, parse_parts
from finishlab.stair.progress import Progress, progress_of, recipe_of
from finishlab.stair.records import (
    CoatStep,
    EventKind,
    Flight,
    Part,
    PartEvent,
    PartSizes,
    StoredFlight,
    StoredPart,
    StoredStair,
)
from finishlab.units import length_text

__all__ = [
    "Done",
    "PartPlan",
    "new_flights",
    "new_parts",
    "next_events",
    "read_event",
    "size_remarks",
    "split_words",
]

_HINT: Final = "Write the risers of each flight from the bottom up, and landing between them: 7 landing 7."
_APART_MM: Final = 2.0
"""Millimetres from which a measured back edge contradicts the angles. The tool's own."""
_SQUARE_DEGREES: Final = 10.0
"""Degrees from square from which an angle is told; winders have them, treads seldom. The tool's own."""


@dataclass(frozen=True, slots=True)
class PartPlan:
    """What parts a new flight or landing is made of, and their sizes by kind."""

    sizes: Mapping[PartKind, PartSizes] = field(default_factory=dict)
    risers: bool = True
    top_nosing: bool = True
    landing_boards: int = 0
    """On each landing."""
    sided: Mapping[PartKind, tuple[Side, ...]] = field(default_factory=dict)
    """Returns at each tread's end, a skirt or stringer along each flight: at which sides."""
    species: str | None = None
    recipe_number: int | None = None


def new_flights(
    stair: StoredStair, words: Sequence[str], plan: PartPlan, *, name: str | None = None, above: int | None = None
) -> tuple[dict[int, Flight], list[Part]]:
    """Return the flights and landings that words such as ``7 landing 7`` add on top of the stair, and their parts.

    Flights come by their numbers in the order of the stair.

    Parameters
    ----------
    stair
        What there is.
    words
        Risers of a flight, or ``landing``, from the bottom up.
    plan
        What they are made of.
    name
        Of the one flight or landing that is added.
    above
        Number of the flight above which a landing was forgotten.

    Raises
    ------
    UsageError
        ``"bad-stair"``, ``"risers-out-of-range"``, ``"name-for-one"``.
    """
    last = _last(stair.flights) if above is None else above
    flights: dict[int, Flight] = {}
    for word in " ".join(words).casefold().replace(",", " ").split():
        if word in {"riser", "risers", "flight", "and", "+"}:
            continue
        if word == "landing":
            number = level_of("landing", last)
            if number in flights:
                raise UsageError("bad-stair", "Two landings follow one another.", "Count their boards as one landing.")
            flights[number] = Flight("landing", name)
        elif word.isascii() and word.isdigit() and len(word) < 5:
            last += 1
            flights[level_of("flight", last)] = Flight("flight", name, int(word))
        else:
            raise UsageError("bad-stair", f"“{word}” is neither a number of risers nor a landing.", _HINT)
    if not flights:
        raise UsageError("bad-stair", "No flight and no landing is named.", _HINT)
    if name is not None and len(flights) > 1:
        raise UsageError("name-for-one", "One name cannot be given to several.", "Add them one by one, or edit later.")
    parts = [part for number, flight in flights.items() for part in _parts_of(number, flight, plan)]
    return flights, parts


def _last(flights: Iterable[StoredFlight]) -> int:
    return max(((max(flight.number, flight.level) + 1) // 2 for flight in flights), default=0)


def _parts_of(number: int, flight: Flight, plan: PartPlan) -> Iterable[Part]:
    counts: list[tuple[PartKind, int]] = []
    sided: dict[PartKind, int] = {}
    if flight.kind == "landing":
        counts = [("landing board", plan.landing_boards)]
    else:
        risers, treads = flight.risers or 1, flight.treads or 0
        counts = [("tread", treads), ("riser", risers if plan.risers else 0), ("landing nosing", int(plan.top_nosing))]
        sided = {"return": treads, "stringer": 1, "skirt": 1}
    for kind, count in counts:
        yield from (_part(number, kind, place, None, plan) for place in range(1, count + 1))
    for kind, count in sided.items():
        for side in plan.sided.get(kind, ()):
            yield from (_part(number, kind, place, side, plan) for place in range(1, count + 1))


def _part(number: int, kind: PartKind, place: int, side: Side | None, plan: PartPlan) -> Part:
    sizes = plan.sizes.get(kind, PartSizes())
    return Part(number, kind, place, side, sizes, plan.species, plan.recipe_number)


def new_parts(stair: StoredStair, text: str, sizes: PartSizes, **written: object) -> list[Part]:
    """Return the parts that a text such as ``2/returns 1-6 left`` names, to be added.

    Without a side, parts that stand at both sides are added without one.

    Raises
    ------
    UsageError
        ``"bad-parts"``, ``"which-flight"``, ``"flight-missing"``.
    """
    out = []
    for wanted in parse_parts(text):
        flight = _flight_of(stair, wanted)
        if wanted.kind is None:
            raise UsageError(
                "bad-parts", f"“{wanted.text}” does not say which parts.", "Write e.g. “returns 1-6 left”."
            )
        places = wanted.places or ((1,) if wanted.one else _all_places(flight, wanted))
        if wanted.parity is not None:
            places = tuple(place for place in places if place % 2 == wanted.parity)
        sides = SIDES if wanted.kind in SIDED and wanted.side is None and "both" in text else (wanted.side,)
        out += [
            Part(flight.number, wanted.kind, place, side, sizes, **written)  # type: ignore[arg-type]  # Part checks them
            for side in sides
            for place in places
        ]
    return out


def _all_places(flight: StoredFlight, wanted: Wanted) -> tuple[int, ...]:
    treads, risers = flight.record.treads, flight.record.risers
    count = risers if wanted.kind == "riser" else treads if wanted.kind in {"tread", "return", "nosing"} else None
    if not count or count > MOST_PLACES:
        raise UsageError(
            "bad-parts", f"“{wanted.text}” does not say how many.", "Write for example “landing boards 1-5”."
        )
    return tuple(range(1, count + 1))


def _flight_of(stair: StoredStair, wanted: Wanted) -> StoredFlight:
    if not stair.flights:
        raise UsageError("flight-missing", "No flight is entered yet.", "Enter one first: finishlab stairs add 14")
    fits = [flight for flight in stair.flights if wanted.level in {None, flight.level}]
    if wanted.level is None:
        kind = "landing" if wanted.kind == "landing board" else "flight"
        fits = [flight for flight in fits if flight.record.kind == kind]
    if len(fits) == 1:
        return fits[0]
    there = ", ".join(flight.title for flight in stair.flights)
    if not fits:
        raise UsageError("flight-missing", f"“{wanted.text}” is on no flight of this stair.", f"There are: {there}.")
    raise UsageError(
        "which-flight", f"“{wanted.text}” can be in {there}.", f"Say which, for example “2/{wanted.text}”."
    )


def size_remarks(parts: Iterable[tuple[str, PartSizes]]) -> list[str]:
    """Return what is odd about sizes, by the parts' names; what was entered stands."""
    out = []
    for name, sizes in parts:
        by_angles = sizes.back_by_angles
        if sizes.back is not None and by_angles is not None and abs(sizes.back - by_angles) > _APART_MM:
            out.append(
                f"{name}: the angles give a back edge of {length_text(by_angles, us='front' in sizes.inches)}, and "
                f"{sizes.words('back')} was measured; "
                "measure again before cutting."
            )
        for side, angle in (("left", sizes.left_angle), ("right", sizes.right_angle)):
            if angle is not None and abs(angle - 90.0) > _SQUARE_DEGREES:
                out.append(f"{name}: the {side} angle of {angle:g} degrees is far from square; is it the one inside?")
    return out


EVENT_HINT: Final = (
    "Say what was done: dry-fitted, sanded, stain, seal, topcoat (each with the number of its coat if you like), "
    "rubbed-out, fitted, touched-up or note."
)
_EVENTS: Final = re.compile(
    r"(?P<kind>dry[- ]fitted|sanded|rubbed[- ]out|fitted|touched[- ]up|note)"
    r"|(?:(?P<step>stain|seal|topcoat)(?: coat)?|coat)(?: (?P<coat>[0-9]+))?(?: (?:of )?(?P<of>stain|seal|topcoat))?"
)


@dataclass(frozen=True, slots=True)
class Done:
    """What was done, as it was typed."""

    kind: EventKind
    step: CoatStep | None = None
    coat: int | None = None
    """None for the next one of each part."""


def split_words(words: Sequence[str]) -> tuple[str, Done]:
    """Return the parts and what was done to them, which comes last: ``treads 3-9 topcoat 2``.

    Raises
    ------
    UsageError
        ``"no-event"``, ``"coat-without-step"``, ``"bad-parts"``.
    """
    tokens = " ".join(words).split()
    for start in range(1, len(tokens) + 1):
        done = read_event(" ".join(tokens[start:]))
        if done is not None:
            return " ".join(tokens[:start]), done
    raise UsageError("no-event", f"“{' '.join(tokens)}” does not say what was done.", EVENT_HINT)


def read_event(text: str) -> Done | None:
    """Return what was done, None if the text says something else; raises ``"coat-without-step"``."""
    match = _EVENTS.fullmatch(text.casefold())
    if match is None:
        return None
    if match["kind"]:
        return Done(cast("EventKind", match["kind"].replace("-", " ").replace("dry fitted", "dry-fitted")))
    step = match["step"] or match["of"]
    if step is None:
        raise UsageError("coat-without-step", "The coat does not say what it is of.", "Say stain, seal or topcoat.")
    return Done("coat", cast("CoatStep", step), None if match["coat"] is None else int(match["coat"]))


def next_events(
    stair: StoredStair, parts: Sequence[StoredPart], done: Done, **written: object
) -> list[tuple[int, PartEvent]]:
    """Return an event for each part: the next coat where none was named, of the part's own recipe.

    Parameters
    ----------
    stair, parts, done
        The stair, the parts, and what was done to them.
    written
        Further fields of `PartEvent`.

    Raises
    ------
    UsageError
        What `PartEvent` raises.
    """
    progress = progress_of(stair.events)
    out = []
    for part in parts:
        fields = dict(written)
        if done.kind == "coat" and done.step is not None:
            known = progress.get(part.ident, Progress())
            fields["step"] = done.step
            fields["coat"] = done.coat or known.next_coat(done.step)
            recipe = recipe_of(stair, part, known)
            if fields.get("recipe_number") is None and recipe is not None:
                fields["recipe_number"] = recipe.number
        out.append((part.ident, PartEvent(done.kind, **fields)))  # type: ignore[arg-type]  # checked by it
    return out
