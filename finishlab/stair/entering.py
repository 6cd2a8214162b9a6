"""From what was typed to what is logged: a stair of a few words, and what was done to its parts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from finishlab.errors import LogbookError, UsageError
from finishlab.finish import product_words
from finishlab.stair.names import (
    MOST_PLACES,
    SIDED,
    SIDES,
    UPRIGHT,
    PartKind,
    Side,
    Wanted,
    level_of,
    parse_level,
    parse_parts,
)
from finishlab.stair.progress import progress_of, recipe_of, resolved
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
from finishlab.units import in_inches, length_text, read_lengths, split_sizes

if TYPE_CHECKING:
    from finishlab.cautions import Action
    from finishlab.logbook.store import Logbook
    from finishlab.measure.results import Measurement


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
    last = above
    if last is None:
        last = max(((max(flight.number, flight.level) + 1) // 2 for flight in stair.flights), default=0)
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


def _parts_of(number: int, flight: Flight, plan: PartPlan) -> Iterable[Part]:
    counts: list[tuple[PartKind, int]] = []
    sided: dict[PartKind, int] = {}
    if flight.kind == "landing":
        counts = [("landing board", plan.landing_boards)]
    else:
        risers, treads = flight.risers or 1, flight.treads or 0
        counts = [("tread", treads), ("riser", risers if plan.risers else 0), ("landing nosing", int(plan.top_nosing))]
        sided = {"return": treads, "stringer": 1, "skirt": 1}
    found: list[tuple[PartKind, int, Side | None]] = [(kind, count, None) for kind, count in counts]
    found += [(kind, count, side) for kind, count in sided.items() for side in plan.sided.get(kind, ())]
    for kind, count, side in found:
        sizes = plan.sizes.get(kind, PartSizes())
        for place in range(1, count + 1):
            yield Part(number, kind, place, side, sizes, plan.species, plan.recipe_number)


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


def three_sizes(text: str, names: tuple[str, str, str]) -> dict[str, str]:
    """Return sizes written as one, by their names: ``914x292x27``, ``36x11.5x1 1/16in``; UsageError ``"bad-size"``."""
    pieces = split_sizes(text)
    if not 2 <= len(pieces) <= len(names) or not all(pieces):
        raise UsageError(
            "bad-size",
            f"“{text}” is no size.",
            f"Write {' x '.join(names)}, for example 914x292x27 or “36x11.5x1 1/16in”.",
        )
    return dict(zip(names, pieces, strict=False))


def read_sizes(texts: Mapping[str, str], kind: str) -> dict[str, Any]:
    """Return typed lengths as `PartSizes` keeps them: in mm, with those that were typed in inches named.

    Raises
    ------
    UsageError
        ``"bad-length"``, ``"unit-missing"``.
    """
    return {**read_lengths(texts, kind), "inches": in_inches(texts)} if texts else {}


_EVENT_HINT: Final = (
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
    raise UsageError("no-event", f"“{' '.join(tokens)}” does not say what was done.", _EVENT_HINT)


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
            known = progress[part.ident]
            fields["step"] = done.step
            fields["coat"] = done.coat or known.next_coat(done.step)
            recipe = recipe_of(stair, part, known)
            if fields.get("recipe_number") is None and recipe is not None:
                fields["recipe_number"] = recipe.number
        out.append((part.ident, PartEvent(done.kind, **fields)))  # type: ignore[arg-type]  # checked by it
    return out


def logged_words(stair: StoredStair, parts: Sequence[StoredPart], events: Sequence[tuple[int, PartEvent]]) -> list[str]:
    """Return what was logged, the same for many parts in one line."""
    groups: dict[str, list[StoredPart]] = {}
    for part, (_, event) in zip(parts, events, strict=True):
        recipe = f" of R{event.recipe_number}" if event.recipe_number is not None else ""
        can = f" from C{event.batch_number}" if event.batch_number is not None else ""
        groups.setdefault(f"{event.what}{recipe}{can} on {event.date}", []).append(part)
    return [f"{stair.listed(part.name for part in alike)}: {what}." for what, alike in groups.items()]


_ACTIONS: Final[Mapping[EventKind, tuple[Action, ...]]] = {
    "sanded": ("sand",), "rubbed out": ("sand",), "coat": ("apply", "wet stair"), "touched up": ("apply",),
    "dry-fitted": ("fit",), "fitted": ("fit",),
}  # fmt: skip
"""What an event means for the cautions."""
_UNSAID: Final[Mapping[CoatStep, str]] = {"stain": "stain", "topcoat": "varnish"}
"""What a coat of nobody knows what is taken for: unknown stains and varnishes count as oil (common practice)."""


def work_done(stair: StoredStair, events: Sequence[tuple[int, PartEvent]]) -> tuple[list[str | None], list[Action]]:
    """Return what the cautions of the moment go by: the words of what was put on, and what was done."""
    kinds = {part.ident: part.record.kind for part in stair.parts}
    actions = {action for _, event in events for action in _ACTIONS.get(event.kind, ())}
    if any(event.kind == "sanded" and kinds[ident] in UPRIGHT for ident, event in events):
        actions.add("strip")  # what stands upright mostly stays when treads are new, with its old paint
    coats = [event for _, event in events if event.kind in {"coat", "touched up"}]
    return list(dict.fromkeys(words for event in coats for words in _put_on(stair, event))), sorted(actions)


def _put_on(stair: StoredStair, event: PartEvent) -> list[str | None]:
    """Return the words of what was put on: as its can says, else as the recipe does."""
    can, unsaid = stair.can_of(event), None if event.step is None else _UNSAID.get(event.step)
    if can is not None:
        return [f"{can.kind} {can.product}"]
    if event.recipe_number not in stair.recipes:
        return [unsaid]
    finish = resolved(stair, event.recipe_number or 0).finish
    said = {"stain": finish.steps, "seal": (finish.seal,), "topcoat": (finish.topcoat,)}.get(event.step or "", ())
    found: list[str | None] = []
    for section in said:
        words = "" if section is None else product_words(section)
        known = section is not None and section.coating is not None
        found.append(words if known or unsaid in words.split() else f"{words} {unsaid or ''}".strip())
    return found or [unsaid]


def parts_and_photos(words: Sequence[str], suffixes: Iterable[str]) -> tuple[str, list[str]]:
    """Return the parts' words and the photos after them, from the first word on that is a file or called like one.

    Raises
    ------
    UsageError
        ``"no-photo"``.
    """
    for start, word in enumerate(words):
        path = Path(word)
        if start and (path.suffix.lower() in suffixes or (not word.isdigit() and path.exists())):
            return " ".join(words[:start]), list(words[start:])
    raise UsageError("no-photo", "No photo is named.", "Name the parts, then their photos: tread 7 tread7.jpg")


def measured_entries(
    parts: Sequence[StoredPart], measured: Sequence[Measurement], names: Sequence[str], event: PartEvent
) -> list[tuple[int, Sequence[Measurement], PartEvent]]:
    """Return what is logged of parts' colour: all photos of one part, or a photo a part in the same order.

    Parameters
    ----------
    parts, measured
        The parts, and what was measured in each photo.
    names
        Of the photos' files: the note where there is none.
    event
        When and how they were measured.

    Raises
    ------
    UsageError
        ``"photos-and-parts"`` if the numbers of both do not go together.
    LogbookError
        ``"photo-logged-twice"``.
    """
    if len(parts) > 1 and len(parts) != len(measured):
        raise UsageError(
            "photos-and-parts",
            f"{len(measured)} photos cannot be shared out among {len(parts)} parts.",
            "Name one part with all its photos, or a photo for each part, in the order from the bottom up.",
        )
    if len({each.photo_id for each in measured}) < len(measured):
        raise LogbookError("photo-logged-twice", "One photo is named twice.", "Name each photo once.")
    groups = [measured] if len(parts) == 1 else [[each] for each in measured]
    notes = [", ".join(names)] if len(parts) == 1 else names
    return [
        (part.ident, group, replace(event, note=event.note or note, latest=event.date.max))
        for part, group, note in zip(parts, groups, notes, strict=True)
    ]


_FLIGHT: Final = re.compile(r"(?:flight|landing) ?[0-9]{1,2}|l[0-9]{1,2}", re.IGNORECASE)
_EVENT_NUMBER: Final = re.compile(r"[eE]([0-9]{1,9})")


def event_number(text: str) -> int:
    """Return the count of an event that is named ``E12``; UsageError ``"bad-event"``."""
    match = _EVENT_NUMBER.fullmatch(text.strip())
    if match is None:
        raise UsageError("bad-event", f"“{text}” is no event.", "Write its number as stairs part shows it: E12.")
    return int(match[1])


def kind_meant(text: str) -> str:
    """Return of what kind the parts are that somebody means, for what their sizes can be; “part” for others."""
    return next((kind for kind in ("tread", "riser") if re.search(rf"\b{kind}s?\b", text.casefold())), "part")


def _flight(stair: StoredStair, text: str) -> StoredFlight:
    """Return the flight or landing somebody means; LogbookError ``"unknown-flight"``."""
    level = parse_level(text)
    flight = next((each for each in stair.flights if each.level == level), None)
    if flight is None:
        raise LogbookError("unknown-flight", f"The stair has no {text}.", "See: finishlab stairs show")
    return flight


def edit_named(log: Logbook, text: str, given: Mapping[str, Any], sizes: Mapping[str, Any]) -> Iterator[str]:
    """Change a flight or landing, or parts, by what somebody calls them; say what became of it, and what is odd.

    Raises
    ------
    UsageError
        ``"flight-field"``, and what `StoredStair.named` and the records raise.
    LogbookError
        ``"unknown-flight"``, ``"unknown-part"``.
    """
    stair = log.stair()
    if {"name", "risers"} & set(given) or _FLIGHT.fullmatch(text):
        odd = [*sizes, *(name for name in given if name not in {"name", "risers", "note"})]
        if odd:
            raise UsageError(
                "flight-field",
                f"A flight has no {odd[0].removesuffix('_number').replace('_', ' ')}.",
                f"For all its parts write: all of “{text}/all”.",
            )
        flight = _flight(stair, text)
        log.edit_flight(flight.number, **given)
        yield f"{flight.title.capitalize()} changed."
        return
    found = stair.named(text)
    idents = [part.ident for part in found]
    count = log.edit_parts(idents, **given, **({"sizes": sizes} if sizes else {}))
    told = f"{count} of {len(found)} changed" if 0 < count < len(found) else "changed" if count else "nothing to change"
    yield f"{stair.listed(part.name for part in found)}: {told}."
    if sizes:
        after = log.stair()
        yield from size_remarks((after.words(p), p.record.sizes) for p in after.parts if p.ident in idents)


def remove_named(log: Logbook, text: str) -> tuple[list[str], str]:
    """Leave out events, a flight with its parts, or parts, by what somebody calls them; return their codes, and words.

    Raises
    ------
    UsageError
        What `StoredStair.named` raises.
    LogbookError
        ``"unknown-event"``, ``"unknown-flight"``, ``"unknown-part"``.
    """
    stair = log.stair()
    if all(_EVENT_NUMBER.fullmatch(word) for word in text.split()):
        numbers = [event_number(word) for word in text.split()]
        gone = [f"E{number}" for number in numbers]
        log.remove_events(numbers)
        return gone, f"Taken back: {', '.join(gone)}."
    if _FLIGHT.fullmatch(text):
        flight = _flight(stair, text)
        log.remove_flight(flight.number)
        gone = [part.code for part in stair.parts if part.name.level == flight.level]
        return gone, f"Removed: {flight.title} with its parts; their history stays."
    found = stair.named(text)
    log.remove_parts([part.ident for part in found])
    names = stair.listed(part.name for part in found)
    return [part.code for part in found], f"Removed: {names}; what was done to them stays in the logbook."
