"""How far each part of the stair is, its colour as it is now, and flights and parts in words.

A part has had coats since its wood was last sanded, and is still to have others; its colour is what was measured since
its last coat.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import median
from typing import Final

from finishlab.finish.finish import Finish
from finishlab.recipe.records import Can
from finishlab.record import DAYLIGHT
from finishlab.stair.names import PartKind, PartName, listed
from finishlab.stair.records import (
    COAT_STEPS,
    CoatStep,
    Flight,
    Part,
    PartSizes,
    StoredColour,
    StoredEvent,
    StoredPart,
    StoredStair,
)
from finishlab.units import inches_text

__all__ = [
    "TOPCOATS",
    "WORN",
    "FlightShown",
    "Lab",
    "PartShown",
    "Progress",
    "back_words",
    "can_words",
    "coats_of",
    "coats_words",
    "colours_now",
    "flight_heading",
    "flights_shown",
    "grouped",
    "parts_shown",
    "progress_of",
    "recipe_of",
    "size_words",
    "stair_notes",
    "state_words",
    "wanted",
]

TOPCOATS: Final = 3
"""Topcoats a tread wants at least (general articles; four for hard use)."""
WORN: Final[tuple[PartKind, ...]] = ("tread", "nosing", "landing nosing", "return", "landing board")
"""Parts that feet and shoes wear; without a recipe they are taken to want a topcoat."""


@dataclass(slots=True)
class Progress:
    """What a part has had since its wood was last sanded."""

    coats: dict[CoatStep, list[StoredEvent]] = field(default_factory=dict)
    done: dict[str, dt.date] = field(default_factory=dict)
    """Kind of event -> the last day of it."""
    last: StoredEvent | None = None
    last_coat: StoredEvent | None = None
    order: dict[int, int] = field(default_factory=dict)
    """Event -> its place in the order of what was done."""
    coloured_after: int = -1
    """Place of the last event that changed the colour."""
    rubbed_out: bool = False
    """Whether it was rubbed out since its last coat."""

    def add(self, event: StoredEvent) -> None:
        """Take in the next thing done."""
        self.order[event.ident] = len(self.order)
        self.last = event
        if event.kind == "sanded":
            # Sanded wood has no finish left; being rubbed out between coats is another thing.
            self.coats.clear()
            self.last_coat, self.rubbed_out = None, False
            self.done.pop("touched up", None)
        elif event.kind == "coat" and event.step is not None:
            self.coats.setdefault(event.step, []).append(event)
            self.last_coat, self.rubbed_out = event, False
        elif event.kind == "rubbed out":
            self.rubbed_out = True
        self.done[event.kind] = event.date
        if event.kind in {"sanded", "coat", "rubbed out", "touched up"}:
            self.coloured_after = self.order[event.ident]

    def count(self, step: CoatStep) -> int:
        """Return how many coats of a step it has."""
        return len({event.coat for event in self.coats.get(step, ())})

    def next_coat(self, step: CoatStep) -> int:
        """Return the number of the next coat of a step."""
        return max((event.coat or 0 for event in self.coats.get(step, ())), default=0) + 1


def progress_of(events: Iterable[StoredEvent]) -> dict[int, Progress]:
    """Return how far each part is that something was done to; events by day, as the logbook gives them."""
    found: dict[int, Progress] = {}
    for event in events:
        found.setdefault(event.part, Progress()).add(event)
    return found


def coats_of(finish: Finish) -> dict[CoatStep, int]:
    """Return how many coats a finish has of each step it says something of."""
    out: dict[CoatStep, int] = {}
    if finish.steps:
        out["stain"] = max(len(finish.steps), *(step.coat or 0 for step in finish.steps))
    if finish.seal is not None:
        out["seal"] = (
            finish.seal.coats if finish.seal.coats is not None else int(finish.seal.kind not in {None, "none"})
        )
    if finish.topcoat is not None:
        out["topcoat"] = TOPCOATS if finish.topcoat.coats is None else finish.topcoat.coats
    return out


def recipe_of(part: StoredPart, progress: Progress | None) -> int | None:
    """Return the number of a part's recipe: the one it is to have, else that of its last coat."""
    if part.record.recipe_number is not None or progress is None or progress.last_coat is None:
        return part.record.recipe_number
    return progress.last_coat.recipe_number


def wanted(
    stair: StoredStair, part: StoredPart, progress: Progress, given: Mapping[CoatStep, int] | None = None
) -> dict[CoatStep, int]:
    """Return the coats a part is to have: as given, else as its recipe says, else the usual topcoats of a worn part.

    A part that nobody walks on and that has neither recipe nor coat is to have none.
    """
    number = recipe_of(part, progress)
    recipe = stair.recipes.get(number) if number is not None else None
    finished = part.record.kind in WORN or recipe is not None or bool(progress.coats)
    out = coats_of(recipe.finish) if recipe is not None else {}
    if part.record.kind in WORN and "topcoat" not in out:
        out["topcoat"] = TOPCOATS
    return out | dict(given or {}) if finished else {}


def state_words(progress: Progress, want: Mapping[CoatStep, int]) -> str:
    """Return how far a part is: ``"stained, topcoat 1 of 3, rubbed out"``."""
    begun = [step for step in COAT_STEPS if progress.count(step)]
    words = [_step_words(step, progress.count(step), want.get(step), last=step == begun[-1]) for step in begun]
    if not begun:
        words += [kind for kind in ("sanded", "dry-fitted") if kind in progress.done][:1]
    if progress.rubbed_out and begun:
        words.append("rubbed out")
    words += [kind for kind in ("fitted", "touched up") if kind in progress.done]
    if not words:
        words.append("measured" if "measured" in progress.done else "nothing done yet")
    return ", ".join(words)


_DONE: Final[dict[CoatStep, str]] = {"stain": "stained", "seal": "sealed", "topcoat": "topcoated"}


def _step_words(step: CoatStep, count: int, want: int | None, *, last: bool) -> str:
    if want is not None and count < want:
        return f"{step} {count} of {want}"
    if want is not None and (not last or want == 1):
        return _DONE[step]
    if want is not None:
        return f"{step} {count} of {want}"
    return _DONE[step] if count == 1 else f"{_DONE[step]}, {count} coats"


def can_words(number: int | None, cans: Mapping[int, Can]) -> str | None:
    """Return a can in words: ``"C1 Acme honey (lot 4711)"``."""
    if number is None:
        return None
    can = cans.get(number)
    if can is None:
        return f"C{number}"
    named = " ".join(word for word in (can.maker, can.product) if word)
    return f"C{number} {named}" + (f" (lot {can.lot})" if can.lot else "")


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
