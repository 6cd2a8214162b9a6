"""The colours of the stair's parts as they are now, and each part as it stands: flights and parts in words."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

from finishlab.record import DAYLIGHT
from finishlab.stair.deviations import Deviation, deviations
from finishlab.stair.names import PartName, listed
from finishlab.stair.progress import Progress, progress_of, recipe_of, state_words, wanted
from finishlab.stair.records import COAT_STEPS, CoatStep, Flight, Part, PartSizes, StoredColour, StoredStair
from finishlab.units import inches_text

__all__ = [
    "FlightShown",
    "Lab",
    "PartShown",
    "back_words",
    "coats_words",
    "colours_now",
    "flight_heading",
    "flights_shown",
    "grouped",
    "parts_shown",
    "recipe_changes",
    "size_words",
    "stair_notes",
]

Lab = tuple[float, float, float]

FEWEST: Final = 4
"""Parts of one kind and state that must be measured before one can stand apart."""
_LEAST: Final = 2.0
"""CIEDE2000 below which no part stands apart: wood varies as much within one surface. The tool's own."""
_TIMES: Final = 3.0
"""How many times the others' usual distance from their middle is far. The tool's own."""


@dataclass(frozen=True, slots=True)
class Coloured:
    """The colour of a part since its last coat."""

    lab: Lab
    light: str
    note: str = ""
    """What is odd about it."""


def colours_now(stair: StoredStair, progress: Mapping[int, Progress]) -> dict[int, Coloured]:
    """Return each part's colour as it is now: the mean of what was measured in one light since its last coat.

    Daylight where there is any, else the light measured last. Kinds of one state whose colour stands apart from the
    others measured in that light are told.
    """
    by_part: dict[int, list[StoredColour]] = defaultdict(list)
    for colour in stair.colours:
        known = progress[colour.part]
        if known.order[colour.event] > known.coloured_after:
            by_part[colour.part].append(colour)
    found = {ident: _mean(colours) for ident, colours in by_part.items()}
    if len(found) >= FEWEST:
        _tell_apart(stair, progress, found)
    return found


def _mean(colours: Sequence[StoredColour]) -> Coloured:
    lights = [colour.light for colour in colours]
    light = DAYLIGHT if DAYLIGHT in lights else lights[-1]
    labs = [colour.lab for colour in colours if colour.light == light]
    mean = tuple(sum(values) / len(labs) for values in zip(*labs, strict=True))
    return Coloured((mean[0], mean[1], mean[2]), light)


def _tell_apart(stair: StoredStair, progress: Mapping[int, Progress], found: dict[int, Coloured]) -> None:
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for part in stair.parts:
        if part.ident in found:
            known = progress[part.ident]
            state = tuple(known.count(step) for step in ("stain", "seal", "topcoat"))
            alike[part.record.kind, state, found[part.ident].light].append(part.ident)
    for idents in alike.values():
        if len(idents) >= FEWEST:
            for ident in idents:
                note = _apart(found[ident].lab, [found[other].lab for other in idents if other != ident])
                if note:
                    found[ident] = replace(found[ident], note=note)


def _apart(lab: Lab, others: Sequence[Lab]) -> str:
    """Return how a colour differs from the middle of others if it lies far out, else nothing."""
    from finishlab.colorimetry.delta_e import delta_e_00

    middle = tuple(median(values) for values in zip(*others, strict=True))
    usual = median(float(delta_e_00(other, middle)) for other in others)
    far = float(delta_e_00(lab, middle))
    if far <= max(_LEAST, _TIMES * usual):
        return ""
    change = lab[0] - middle[0]
    how = "lighter" if change > 1 else "darker" if change < -1 else "of another hue"
    return f"{how} than the others by dE00 {far:.1f}"


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
    deviations: tuple[str, ...] = ()
    """What was done to it otherwise than planned, since its wood was last sanded."""
    recipe_number: int | None = None
    changed: str = ""
    """What is to be said of its recipe where that was edited since it was approved."""


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
    odd: dict[int, list[Deviation]] = defaultdict(list)
    for each in deviations(stair):
        odd[each.part].append(each)
    shown = {}
    for part in stair.parts:
        known, colour = progress.get(part.ident, Progress()), colours.get(part.ident)
        want, recipe = wanted(stair, part, known, given), recipe_of(stair, part, known)
        shown[part.ident] = PartShown(
            name=part.name,
            words=stair.words(part),
            record=part.record,
            recipe=None if recipe is None else recipe.words,
            state=state_words(known, want),
            coats={step: known.count(step) for step in COAT_STEPS if known.count(step)},
            wanted={step: want[step] for step in COAT_STEPS if want.get(step)},
            fitted="fitted" in known.done,
            last=None if known.last is None else known.last.date,
            lab=None if colour is None else colour.lab,
            light=None if colour is None else colour.light,
            note="" if colour is None else colour.note,
            deviations=tuple(each.sentence for each in odd[part.ident] if known.order[each.event] > known.sanded_at),
            recipe_number=None if recipe is None else recipe.number,
            changed="" if recipe is None else recipe.changed,
        )
    return shown


def recipe_changes(before: StoredStair, after: StoredStair) -> list[str]:
    """Return what an approval changes for which parts, and which it leaves as they are."""
    told: dict[str, list[PartName]] = {}
    progress = progress_of(after.events)
    for part in after.parts:
        was, now = (recipe_of(stair, part, progress.get(part.ident)) for stair in (before, after))
        if now is None:
            continue
        words = now.words
        if was is None or was.number != now.number:
            words = f"now to get {now.words}" + (f" (before: {was.words})" if was is not None else "")
        elif was.finish != now.finish:
            words = f"{now.words} as approved now"
        elif now.why == "own":
            words = f"keep their own recipe, {now.words}" if now.approved is None else f"{now.words}, as before"
        elif now.why == "begun":
            words = f"begun with {now.words}, and stay with it"
        else:
            words = f"{now.words}, as before"
        told.setdefault(words, []).append(part.name)
    return [f"{after.listed(names)}: {words}." for words, names in told.items()]


def flight_heading(flight: FlightShown) -> str:
    """Return what a flight is: ``"Flight 2 (to the attic): 7 risers, R1 honey"``."""
    name = f" ({flight.record.name})" if flight.record.name else ""
    risers = flight.record.risers
    facts = [] if risers is None else [f"{risers} riser{'' if risers == 1 else 's'}"]
    recipes = {part.recipe for part in flight.parts if part.recipe}
    facts += [next(iter(recipes))] if len(recipes) == 1 else []
    return f"{flight.title.capitalize()}{name}{': ' if facts else ''}{', '.join(facts)}"


def stair_notes(flights: Sequence[FlightShown]) -> list[str]:
    """Return what is odd about the parts' colours, about the flights, about recipes, and what was done otherwise."""
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
    shown = [part for flight in flights for part in flight.parts]
    notes += dict.fromkeys(part.changed for part in shown if part.changed)
    odd = [part for part in shown if part.deviations]
    notes += [f"{part.words.capitalize()}: {sentence}" for part in odd for sentence in part.deviations]
    return notes


def grouped(parts: Iterable[PartShown]) -> list[tuple[str, list[PartShown]]]:
    """Return parts that are in one state together, with their names; a measured part stands alone."""
    groups: dict[tuple[object, ...], list[PartShown]] = {}
    for part in parts:
        own = part.name if part.lab is not None else None
        groups.setdefault((part.record.kind, part.name.side, part.state, bool(part.deviations), own), []).append(part)
    return [(listed([each.name for each in alike], with_level=False), alike) for alike in groups.values()]


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
