"""What is printed, as plain data: labels, the schedule for the bench, the house file.

These types know nothing of the logbook; `finishlab.workflow.printing.labels` and its neighbours fill them. Empty fields
are left out on paper.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Drawing",
    "DrawnShape",
    "DrawnText",
    "HouseCan",
    "HousePhoto",
    "HouseSection",
    "HouseView",
    "LabelView",
    "SchedulePart",
    "ScheduleStep",
    "ScheduleView",
    "Swatch",
]


@dataclass(frozen=True, slots=True)
class LabelView:
    """One label, for the back of a board or the underside of a tread."""

    number: str
    """As people call it: ``"B3"``, ``"tread 7"``."""
    address: str
    """Of its record, see `finishlab.records.addresses`."""
    recipe: str | None = None
    place: str | None = None
    """``"flight 1"``; for a board the wood."""
    date: dt.date | None = None
    text: str | None = None
    """A few more words."""
    edge: str = "front edge"
    """The edge the upward arrow points to; ``"top edge"`` of what stands upright."""
    left_points: Literal["left", "right"] = "left"
    """Where the left end lies as the label is read: see `finishlab.reports.print.labels`."""


@dataclass(frozen=True, slots=True)
class ScheduleStep:
    """One step of the work, in order."""

    title: str
    detail: str = ""
    time: str = ""
    """How long, or how long until the next step."""


@dataclass(frozen=True, slots=True)
class SchedulePart:
    """One row of the table to tick."""

    name: str
    done: Mapping[str, str]
    """Column -> day it was done; what is not done is missing."""


@dataclass(frozen=True, slots=True)
class ScheduleView:
    """The schedule of one recipe."""

    title: str
    subtitle: str
    steps: tuple[ScheduleStep, ...]
    columns: tuple[str, ...]
    """What is ticked, in order: ``"sanded"``, ``"stain 1"`` ..."""
    parts: tuple[SchedulePart, ...]
    cautions: tuple[str, ...]
    """Each in a sentence or two."""
    defers: str
    """What wins over all of it."""
    date: dt.date | None = None
    """Day it was printed."""
    usual: str = ""
    """What usual hours hold for, where some are shown."""


@dataclass(frozen=True, slots=True)
class Swatch:
    """A measured colour."""

    name: str
    caption: str
    colour: str
    """``"#rrggbb"`` in sRGB."""


@dataclass(frozen=True, slots=True)
class HousePhoto:
    """A small picture without anything of the camera's file but its pixels."""

    caption: str
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class HouseSection:
    """A heading with lines: a name and what is to be said of it; a name may be empty."""

    title: str
    lines: tuple[tuple[str, str], ...]
    note: str | None = None
    """A sentence below the heading."""


@dataclass(frozen=True, slots=True)
class HouseCan:
    """One can in the table of what was used and where the rest is."""

    number: str
    what: str
    lot: str = ""
    left: str = ""
    place: str = ""
    opened: str = ""
    used_on: str = ""


@dataclass(frozen=True, slots=True)
class DrawnShape:
    """A closed outline."""

    points: tuple[tuple[float, float], ...]
    fill: str | None = None
    """``"#rrggbb"``."""
    line: float = 0.25
    """Width of the outline in the drawing's own units; 0 for none."""


@dataclass(frozen=True, slots=True)
class DrawnText:
    """A line of text in a drawing."""

    x: float
    y: float
    """Of the baseline."""
    words: str
    cap: float
    align: Literal["left", "centre", "right"] = "left"
    bold: bool = False
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture of shapes and words, in units of its own, y down; it is scaled to the page."""

    width: float
    height: float
    shapes: tuple[DrawnShape, ...] = ()
    texts: tuple[DrawnText, ...] = ()


@dataclass(frozen=True, slots=True)
class HouseView:
    """All that belongs into the drawer."""

    title: str
    subtitle: str
    date: dt.date
    sections: tuple[HouseSection, ...] = ()
    """The standard first, then each recipe."""
    cans: tuple[HouseCan, ...] = ()
    stair: Drawing | None = None
    stair_text: tuple[HouseSection, ...] = ()
    """In words, part by part; printed with the drawing."""
    swatches: tuple[Swatch, ...] = ()
    photos: tuple[HousePhoto, ...] = ()
    stair_photos: tuple[HousePhoto, ...] = ()
    photos_note: str = ""
    """Which photos are not shown."""
    care: HouseSection | None = None
    cautions: tuple[tuple[str, str], ...] = ()
    defers: str = ""
    reading: HouseSection | None = None
    """How to read the file."""
