"""A place of the floor that was photographed."""

from __future__ import annotations

import datetime as dt
from dataclasses import InitVar, dataclass, field
from typing import Final, Literal, get_args

from finishlab.record import (
    DAYLIGHT,
    DatedRecord,
    Light,
    check_choice,
    checked_date,
    line,
    normalise_light,
    normalize,
    note_text,
    today,
)

__all__ = ["SURFACES", "FloorSpotRecord", "Surface"]

Surface = Literal["vinyl", "laminate", "wood", "tile", "other"]
SURFACES: Final[tuple[Surface, ...]] = get_args(Surface)
"""What a floor can be made of."""


@dataclass(frozen=True, slots=True)
class FloorSpotRecord(DatedRecord):
    """One place of the floor that was photographed.

    Raises
    ------
    UsageError
        If a value cannot be meant: ``"unknown-surface"``, ``"bad-date"``, ``"future-date"``, ``"text-too-long"``.
    """

    spot: str | None = None
    """Where on the floor, in the user's words."""
    surface: Surface = "vinyl"
    light: Light = DAYLIGHT
    note: str | None = None
    date: dt.date = field(default_factory=today)
    """Day of the photo; an ISO 8601 text is taken too and turned into a date."""
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; none means the present day. What was stored once is read back with ``date.max``, so that a
    clock set back does not lock a logbook."""

    def __post_init__(self, latest: dt.date | None) -> None:
        normalize(
            self,
            spot=line("spot", self.spot),
            note=note_text(self.note),
            light=normalise_light(self.light),
            date=checked_date(self.date, latest),
        )
        check_choice("surface", self.surface, SURFACES)
