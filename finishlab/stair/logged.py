"""What the logbook gives back of the stair: flights, parts, what was done to them and their colours, all frozen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from finishlab.records import Batch, Light, Recipe
from finishlab.stair.names import PartName, level_title, listed
from finishlab.stair.records import CoatStep, EventKind, Flight, Part, PartEvent

__all__ = ["StoredColour", "StoredEvent", "StoredFlight", "StoredPart", "StoredStair"]


@dataclass(frozen=True, slots=True)
class StoredFlight:
    """A logged flight or landing."""

    number: int
    """Its place in the order of the stair, as parts name it."""
    level: int
    """What it is called by, see `finishlab.stair.names.level_of`; as `number`, unless it came out of an archive
    into a stair that had one of that number."""
    record: Flight
    created: dt.datetime
    """UTC."""

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
    created: dt.datetime
    """UTC."""

    @property
    def code(self) -> str:
        """``"2.T7"``; the history calls it so."""
        return self.name.code


@dataclass(frozen=True, slots=True)
class StoredEvent:
    """One thing that was done to a part."""

    ident: int
    """Number 12 is shown as E12."""
    part: int
    """`StoredPart.ident`."""
    kind: EventKind
    date: dt.date
    step: CoatStep | None
    coat: int | None
    recipe_number: int | None
    batch_number: int | None
    faces: str | None
    deviation: str | None
    note: str | None
    created: dt.datetime
    """UTC."""

    @property
    def record(self) -> PartEvent:
        """The event as it was written down."""
        return PartEvent(
            self.kind,
            self.date,
            self.step,
            self.coat,
            self.recipe_number,
            self.batch_number,
            self.faces,
            self.deviation,
            self.note,
            latest=dt.date.max,
        )


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
    cans: Mapping[int, Batch]
    """By number, removed ones too."""

    def part(self, ident: int) -> StoredPart:
        """Return a part; KeyError if there is none."""
        return next(part for part in self.parts if part.ident == ident)

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
