"""What the reports are given to show of the stair: plain rows, filled by the workflow from the logbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from finishlab.reports.rows import ColourRow, Lab
from finishlab.stair.names import PartName
from finishlab.stair.records import Flight, Part

__all__ = ["DueRow", "EventRow", "FlightShown", "PartDetail", "PartShown", "coats_words"]


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
    coats: Mapping[str, int]
    """Step -> coats it has."""
    wanted: Mapping[str, int]
    """Step -> coats it is to have."""
    fitted: bool
    last: dt.date | None
    """Day of the last thing done."""
    lab: Lab | None = None
    """Its colour as it is now; None while it was not measured since the last coat."""
    light: str | None = None
    note: str = ""
    """What is odd about its colour."""


@dataclass(frozen=True, slots=True)
class FlightShown:
    """A flight or landing with its parts from the bottom up."""

    title: str
    record: Flight
    parts: tuple[PartShown, ...]


@dataclass(frozen=True, slots=True)
class EventRow:
    """One thing done to a part."""

    number: str
    """``"E12"``."""
    date: dt.date
    what: str
    recipe: str | None
    can: str | None
    """Number, product and lot."""
    remarks: str
    """Faces, deviation and note."""


@dataclass(frozen=True, slots=True)
class PartDetail:
    """All that is known of one part."""

    part: PartShown
    finish: tuple[str, ...]
    """Which finish is on it and from which cans, in sentences."""
    events: tuple[EventRow, ...]
    colours: tuple[ColourRow, ...]
    history: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DueRow:
    """Parts that are short of the same coats."""

    parts: tuple[PartShown, ...]
    words: str
    short: str
    """What they are short of."""
    next: str
    """The coat that comes next."""
    not_before: dt.date | None
    """By the label of the last coat's can; None where it says nothing."""
    can: str | None
    """The can that step was done from on other parts, or that the recipe names."""


def coats_words(step: str, count: int) -> str:
    """Return coats in words: ``"1 stain coat"``, ``"3 topcoats"``."""
    one = step if step == "topcoat" else f"{step} coat"
    return f"{count} {one}{'' if count == 1 else 's'}"
