"""The stair: flights and landings, their parts with sizes, what was done to each part on which day; as logged, too.

Everything is counted from the bottom up, and left and right are seen from below. Lengths are in millimetres, angles in
degrees.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import InitVar, dataclass, field, fields
from typing import Any, ClassVar, Final, Literal, get_args

from finishlab.errors import UsageError
from finishlab.finish.fields import Section, typed
from finishlab.recipe import Can, Label, Recipe, Standard
from finishlab.record import DatedRecord, Light, Record, check_choice, checked_date, line, normalize, note_text, today
from finishlab.stair.names import (
    FLIGHT_KINDS,
    MOST_PLACES,
    PART_KINDS,
    SIDED,
    SIDES,
    FlightKind,
    PartKind,
    PartName,
    Side,
    level_title,
    listed,
    parse_parts,
    select,
)
from finishlab.units import as_typed_text

EventKind = Literal["dry-fitted", "sanded", "coat", "rubbed out", "fitted", "touched up", "measured", "note"]
EVENT_KINDS: Final[tuple[EventKind, ...]] = get_args(EventKind)
"""What is done to a part; ``sanded`` is sanding of the wood, before any colour."""

CoatStep = Literal["stain", "seal", "topcoat"]
COAT_STEPS: Final[tuple[CoatStep, ...]] = get_args(CoatStep)
"""What a coat can be, in the order of the work."""

_MOST_PART_COATS: Final = 8
"""Most coats of one step on a part (common practice, no source)."""
_MOST_MM: Final = 10_000.0
_ANGLES: Final = (20.0, 160.0)
"""Angles between which a part's corner at the front edge can be (common practice, no source)."""
_FACES: Final = 100


@dataclass(frozen=True, slots=True)
class Flight(Record):
    """A flight of the stair, or a landing above one.

    Raises
    ------
    UsageError
        ``"unknown-flight-kind"``, ``"risers-out-of-range"``, ``"landing-with-risers"``, ``"text-too-long"``.
    """

    kind: FlightKind = "flight"
    name: str | None = None
    """What people call it, e.g. ``"to the attic"``."""
    risers: int | None = None
    """Of a flight; it has one tread fewer. None for a landing."""
    note: str | None = None

    def __post_init__(self) -> None:
        check_choice("flight-kind", self.kind, FLIGHT_KINDS, "flight or landing")
        normalize(self, name=line("name", self.name), note=note_text(self.note))
        if self.kind == "landing":
            if self.risers is not None:
                raise UsageError("landing-with-risers", "A landing has no risers.", "Give them to the flight below it.")
        else:
            _check_count("risers", f"A flight cannot have {self.risers} risers.", self.risers, MOST_PLACES)

    @property
    def treads(self) -> int | None:
        """Treads of a flight: one fewer than its risers, since the floor above is the last step."""
        return None if self.risers is None else self.risers - 1


@dataclass(frozen=True, slots=True)
class PartSizes(Record):
    """Sizes of a part as it is now; what was not measured is None.

    Raises
    ------
    UsageError
        ``"size-out-of-range"``, ``"angle-out-of-range"``, ``"no-back-width"`` if the angles leave no back edge.
    """

    SPARSE = True

    front: float | None = None
    """Along the front edge; of a nosing, return, stringer or skirt its length."""
    back: float | None = None
    """Along the back edge, where it was measured."""
    depth: float | None = None
    """From front to back, square to the front edge."""
    left_angle: float | None = None
    """Inside the part, between front edge and left end."""
    right_angle: float | None = None
    thickness: float | None = None
    nosing: float | None = None
    """How far the front edge stands out over the riser."""
    height: float | None = None
    """Of an upright part: riser, stringer, skirt."""
    inches: tuple[str, ...] = ()
    """Which of the lengths were typed in inches, and are shown so."""

    def __post_init__(self) -> None:
        for name in _SIZES:
            value = getattr(self, name)
            if value is not None:
                normalize(self, **{name: _size(name, value)})
        # What is not measured was not typed in inches either.
        normalize(
            self, inches=tuple(name for name in _SIZES if name in self.inches and getattr(self, name) is not None)
        )
        width = self.back_width
        if width is not None and width <= 0:
            raise UsageError(
                "no-back-width",
                f"With these angles the back edge would be {width:.0f} mm long.",
                "Measure front, depth and both angles again; an angle is the one inside the part.",
            )

    @property
    def back_width(self) -> float | None:
        """Width of the back edge: as measured, else from front, depth and angles, else as the front.

        ``front - depth (cot left + cot right)``, plane geometry.
        """
        if self.back is not None or self.front is None:
            return self.back
        return self.front if self.depth is None else self.front - self.depth * self._narrowing

    @property
    def _narrowing(self) -> float:
        corners = (angle for angle in (self.left_angle, self.right_angle) if angle is not None)
        return sum(1.0 / math.tan(math.radians(angle)) for angle in corners)

    @property
    def back_by_angles(self) -> float | None:
        """Width of the back edge that front, depth and both angles give; None unless all four are known."""
        if None in {self.front, self.depth, self.left_angle, self.right_angle}:
            return None
        return float(self.front or 0.0) - float(self.depth or 0.0) * self._narrowing

    @property
    def out_of_square(self) -> bool:
        """Whether the part is known not to be a rectangle."""
        slanted = any(angle not in {None, 90.0} for angle in (self.left_angle, self.right_angle))
        return slanted or (None not in {self.front, self.back} and self.front != self.back)

    def with_changes(self, changes: Mapping[str, Any]) -> PartSizes:
        """Return the sizes with some changed; those in ``changes["inches"]`` were typed in inches, the others not."""
        kept = tuple(name for name in self.inches if name not in changes)
        return PartSizes(**self.as_dict() | dict(changes) | {"inches": (*kept, *changes.get("inches", ()))})

    def words(self, name: str) -> str | None:
        """Return one size in words, a length in the unit it was typed in; None where it is not known."""
        value = getattr(self, name)
        if value is None or name.endswith("angle"):
            return None if value is None else f"{value:g} degrees"
        return as_typed_text(value, inches=name in self.inches)


_SIZES: Final = tuple(each.name for each in fields(PartSizes) if each.name != "inches")
SIZE_NAMES: Final = tuple(name.replace("_", " ") for name in _SIZES)
"""What the sizes are called, in order."""


def size_facts(sizes: PartSizes) -> dict[str, str]:
    """Return the sizes that are known, in words, by what they are called."""
    words = (sizes.words(name) for name in _SIZES)
    return {name: value for name, value in zip(SIZE_NAMES, words, strict=True) if value is not None}


@dataclass(frozen=True, slots=True)
class Part(Record):
    """One part of a flight or landing.

    Raises
    ------
    UsageError
        ``"unknown-part-kind"``, ``"place-out-of-range"``, ``"unknown-side"``, ``"part-without-side"``,
        ``"text-too-long"``, and what `PartSizes` raises.
    """

    flight_number: int
    """Of its flight or landing in the order of the stair; see `finishlab.stair.names`."""
    kind: PartKind
    place: int
    """Counted from the bottom up, from 1 on."""
    side: Side | None = None
    """Seen from below; only of parts that can stand at both sides."""
    sizes: PartSizes = PartSizes()
    """A mapping as `PartSizes.as_dict` gives it is taken too."""
    species: str | None = None
    recipe_number: int | None = None
    """The recipe it is to be finished by."""
    fixing: str | None = None
    """How it is or will be fixed, adhesive named."""
    note: str | None = None

    def __post_init__(self) -> None:
        check_choice("part-kind", self.kind, PART_KINDS, "part of a stair")
        _check_count("place", f"There is no {self.kind} {self.place}.", self.place, MOST_PLACES)
        if self.side is not None:
            check_choice("side", self.side, SIDES)
            if self.kind not in SIDED:
                raise UsageError(
                    "part-without-side", f"A {self.kind} is at no side.", f"Sides are for: {', '.join(SIDED)}."
                )
        sizes: object = self.sizes
        if not isinstance(sizes, PartSizes):
            sizes = PartSizes.from_dict(sizes if isinstance(sizes, Mapping) else {})
        normalize(
            self,
            sizes=sizes,
            species=line("species", self.species),
            fixing=line("fixing", self.fixing),
            note=note_text(self.note),
        )


_CONDITION_WORDS: Final = {
    "time": "at {}", "air_c": "{:g} C", "rh_percent": "{:g} %", "applicator": "by {}",
    "wipe_min": "wiped after {:g} min", "mixed": "mixed at {}",
}  # fmt: skip
_TIME: Final = re.compile(r"([01]?\d|2[0-3])[:.h]([0-5]\d)")


@dataclass(frozen=True, slots=True)
class Conditions(Section):
    """How a coat was given; all of it optional.

    Raises
    ------
    UsageError
        ``"bad-time"``, ``"air-c-out-of-range"``, ``"rh-percent-out-of-range"``, ``"wipe-min-out-of-range"``,
        ``"text-too-long"``.
    """

    SECTION: ClassVar[str] = "coat"
    SPARSE: ClassVar[bool] = True

    time: str | None = typed("time", "time")
    """Hour and minute it was done, ``"14:30"``."""
    mixed: str | None = typed("mixed", "time of mixing")
    """Hour and minute at which a two-part product was mixed, on the same day."""
    air_c: float | None = typed("air", "air", "C", low=-5, high=45)
    rh_percent: float | None = typed("humidity", "humidity", "%", low=0, high=100)
    applicator: str | None = typed("applicator", "applicator")
    wipe_min: float | None = typed("wipe", "time before wiping", "min", low=0, high=60)
    """Minutes before it was wiped off."""

    def __post_init__(self) -> None:
        Section.__post_init__(self)
        normalize(self, time=_time(self.time), mixed=_time(self.mixed))

    @property
    def in_words(self) -> str:
        """``"at 14:30, 21 C, 45 %, by rag, wiped after 5 min"``; nothing where nothing is known."""
        known = ((form, getattr(self, name)) for name, form in _CONDITION_WORDS.items())
        return ", ".join(form.format(value) for form, value in known if value is not None)


def _time(text: str | None) -> str | None:
    if text is None:
        return None
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise UsageError("bad-time", f"“{text}” is no time of the day.", "Write hour and minute, for example 14:30.")
    return f"{int(match[1]):02d}:{match[2]}"


@dataclass(frozen=True, slots=True)
class PartEvent(DatedRecord):
    """What was done to a part on a day.

    Raises
    ------
    UsageError
        ``"unknown-event-kind"``, ``"unknown-step"``, ``"coat-without-step"``, ``"coat-out-of-range"``,
        ``"event-without-coat"``, ``"empty-note"``, ``"bad-date"``, ``"future-date"``, ``"text-too-long"``.
    """

    kind: EventKind
    date: dt.date = field(default_factory=today)
    """An ISO 8601 text is taken too and turned into a date."""
    step: CoatStep | None = None
    """Of a coat: what it is a coat of."""
    coat: int | None = None
    """Of a coat: which one of its step, from 1 on."""
    recipe_number: int | None = None
    batch_number: int | None = None
    """The can it came from; number 3 is shown as C3."""
    faces: str | None = None
    """What was coated, e.g. ``"both faces and edges"``."""
    deviation: str | None = None
    """Where it was done otherwise than the recipe says."""
    note: str | None = None
    conditions: Conditions = Conditions()
    """A mapping as `Conditions.as_dict` gives it is taken too."""
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        check_choice("event-kind", self.kind, EVENT_KINDS, "thing done to a part")
        normalize(
            self,
            date=checked_date(self.date, latest, "it was done"),
            faces=_faces(self.faces),
            deviation=line("deviation", self.deviation),
            note=note_text(self.note),
            conditions=_conditions(self.conditions),
        )
        if self.kind == "note" and self.note is None:
            raise UsageError("empty-note", "The note is empty.", "Write it with --note.")
        if self.kind != "coat":
            if self.step is not None or self.coat is not None:
                raise UsageError("event-without-coat", f"“{self.kind}” is no coat.", "Leave out step and coat.")
            return
        if self.step is None or self.coat is None:
            raise UsageError("coat-without-step", "The coat does not say what it is of.", "Say stain, seal or topcoat.")
        check_choice("step", self.step, COAT_STEPS)
        _check_count("coat", f"There is no {self.step} coat {self.coat}.", self.coat, _MOST_PART_COATS)

    @property
    def what(self) -> str:
        """``"topcoat 2"``, ``"sanded"``."""
        return f"{self.step} {self.coat}" if self.kind == "coat" else self.kind

    @property
    def moment(self) -> dt.datetime:
        """When it was done, local time; without an hour noon, which is within half a day of it."""
        hour, minute = map(int, (self.conditions.time or "12:00").split(":"))
        return dt.datetime.combine(self.date, dt.time(hour, minute))


def _conditions(value: object) -> Conditions:
    if isinstance(value, Conditions):
        return value
    return Conditions(**value) if isinstance(value, Mapping) else Conditions()


@dataclass(frozen=True, slots=True)
class StoredFlight:
    """A logged flight or landing."""

    number: int
    """Its place in the order of the stair, as parts name it."""
    level: int
    """What it is called by, see `finishlab.stair.names.level_of`; as `number`, unless it came out of an archive
    into a stair that had one of that number."""
    record: Flight

    @property
    def title(self) -> str:
        """``"flight 2"`` or ``"landing 1"``."""
        return level_title(self.level)


@dataclass(frozen=True, slots=True)
class StoredPart:
    """A logged part of the stair."""

    ident: int
    """What its events and measurements name."""
    record: Part
    name: PartName

    @property
    def code(self) -> str:
        """``"2.T7"``; the history calls it so."""
        return self.name.code


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEvent(PartEvent):
    """A logged event."""

    ident: int
    """Number 12 is shown as E12."""
    part: int
    """`StoredPart.ident`."""
    created: dt.datetime
    """UTC."""

    def __post_init__(self, latest: dt.date | None) -> None:
        """Leave it as it is, for it was checked when it was logged, and there can be thousands."""
        if not isinstance(self.conditions, Conditions):
            object.__setattr__(self, "conditions", _conditions(self.conditions))

    @property
    def record(self) -> PartEvent:
        """The event as it was written down."""
        return PartEvent.from_dict({each.name: getattr(self, each.name) for each in fields(PartEvent)})


@dataclass(frozen=True, slots=True)
class StoredColour:
    """The measured colour of a part in one photo, without all that stands behind it."""

    part: int
    """`StoredPart.ident`."""
    event: int
    """`StoredEvent.ident` of when it was measured."""
    lab: tuple[float, float, float]
    """CIELAB D65 2 degrees."""
    light: Light
    photo: str
    """SHA-256."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A standard, today's or one that was."""

    approval: Standard
    until: dt.date | None
    """The day another took its place; None for today's."""
    edited: bool = False
    """Whether its recipe was edited since it was approved."""


@dataclass(frozen=True, slots=True)
class StoredStair:
    """The whole stair at one moment."""

    flights: tuple[StoredFlight, ...]
    """From the bottom up."""
    parts: tuple[StoredPart, ...]
    """From the bottom up, treads first in each flight."""
    events: tuple[StoredEvent, ...]
    """By day; of one day in the order they were logged."""
    colours: tuple[StoredColour, ...]
    """In the order they were logged."""
    recipes: Mapping[int, Recipe]
    """By number, removed ones too."""
    cans: Mapping[int, Can]
    """By number, removed ones too."""
    standards: tuple[Standing, ...] = ()
    """First to last."""

    @property
    def standard(self) -> Standing | None:
        """Today's standard, None while none is approved."""
        return next((each for each in reversed(self.standards) if each.until is None), None)

    def part(self, ident: int) -> StoredPart:
        """Return a part; KeyError if there is none."""
        return next(part for part in self.parts if part.ident == ident)

    def can_of(self, event: PartEvent | None) -> Can | None:
        """Return the can a coat came from; None where none is named, or it is not there."""
        return None if event is None else self.cans.get(event.batch_number or 0)

    def label_of(self, event: PartEvent | None) -> Label | None:
        """Return the label of that can, where it is written down."""
        can = self.can_of(event)
        return None if can is None else can.label

    def named(self, text: str) -> list[StoredPart]:
        """Return the parts somebody means, in the order of the stair.

        Raises
        ------
        UsageError
            ``"bad-parts"``, ``"which-flight"``, ``"which-part"``.
        LogbookError
            ``"unknown-part"``.
        """
        by_name = {part.name: part for part in self.parts}
        return [by_name[name] for name in select(parse_parts(text), list(by_name))]

    def words(self, part: StoredPart) -> str:
        """Return a part's name as people read it, its flight named where several have parts of that kind."""
        several = len({each.name.level for each in self.parts if each.name.kind == part.name.kind}) > 1
        return part.name.words(with_level=several)

    @property
    def several_flights(self) -> bool:
        """Whether there are treads on more than one flight, so that a part is told with its flight."""
        return len({part.name.level for part in self.parts if part.name.kind == "tread"}) > 1

    def listed(self, names: Iterable[PartName]) -> str:
        """Return parts of this stair in words, those in a row drawn together; nothing for none."""
        return listed(list(names), with_level=self.several_flights)


def _check_count(name: str, told: str, value: object, most: int) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
        raise UsageError(f"{name}-out-of-range", told, f"Give a whole number from 1 to {most}.")


def _size(name: str, value: object) -> float:
    words = name.replace("_", " ")
    angle = name.endswith("angle")
    low, high = _ANGLES if angle else (0.0, _MOST_MM)
    unit = "degrees" if angle else "mm"
    number = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    if not low < number < high:  # NaN is refused too
        code = "angle-out-of-range" if angle else "size-out-of-range"
        limits = f"between {low:g} and {high:g} degrees" if angle else f"of more than 0 and less than {high:g} mm"
        raise UsageError(code, f"The {words} cannot be {value} {unit}.", f"Give a number {limits}.")
    return number


def _faces(text: str | None) -> str | None:
    faces = line("faces", text)
    if faces is not None and len(faces) > _FACES:
        raise UsageError(
            "text-too-long",
            f"The faces have {len(faces)} characters, more than {_FACES}.",
            "Shorten it, and put the rest into the note.",
        )
    return faces
