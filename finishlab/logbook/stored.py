"""What the logbook gives back: boards, spots, their measurements, recipes, cans and their history, all frozen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from finishlab.colorimetry.difference import DeltaE
from finishlab.measure import FieldMeasurement, Measurement, StripReading
from finishlab.quality import Doubt
from finishlab.records import Approval, Batch, BoardRecord, FloorSpotRecord, Light, Recipe
from finishlab.records.base import Record
from finishlab.records.numbers import Number
from finishlab.strip.records import TrialRecord

__all__ = [
    "Change",
    "DirectPair",
    "Stored",
    "StoredApproval",
    "StoredBoard",
    "StoredCan",
    "StoredMeasurement",
    "StoredPair",
    "StoredRecipe",
    "StoredSpot",
    "StoredTrial",
]

R = TypeVar("R", bound=Record)


@dataclass(frozen=True, slots=True)
class DirectPair:
    """Board and floor side by side in one photo, as it comes from measuring."""

    photo_id: str
    """`Measurement.photo_id` of the photo."""
    board: FieldMeasurement
    floor: FieldMeasurement
    delta_e00: DeltaE
    """CIEDE2000 from floor to board."""

    @classmethod
    def of(cls, measurement: Measurement) -> DirectPair | None:
        """Return the pair a measurement holds, or None if it has only one field."""
        board, floor = measurement.fields.get("board"), measurement.fields.get("floor")
        if board is None or floor is None or measurement.pair is None:
            return None
        return cls(measurement.photo_id, board, floor, measurement.pair)


@dataclass(frozen=True, slots=True)
class StoredMeasurement:
    """A logged colour, with all that is needed to trace it to its photo and make it again."""

    photo: str
    """SHA-256 of the photo."""
    field: FieldMeasurement
    light: Light
    strip_number: int | None
    strip: StripReading | None
    version: str
    """finishlab's version when it was measured."""
    settings: Mapping[str, Any]
    correction: Mapping[str, Any]
    created: dt.datetime
    """UTC."""

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What makes the colour doubtful."""
        return self.field.doubts

    @property
    def grain_deg(self) -> float | None:
        """Angle of the grain to the strip."""
        return None if self.field.texture is None else self.field.texture.to_strip_deg

    @property
    def greys_key(self) -> str:
        """How the greys of its strip were known; what was measured before greys could be learned took the nominal."""
        return str((self.settings.get("print") or {}).get("key", "nominal"))

    @property
    def profile(self) -> Mapping[str, Any] | None:
        """What was said of the camera profile it was measured with."""
        return self.settings.get("camera_profile")


@dataclass(frozen=True, slots=True)
class StoredPair:
    """A logged direct pair."""

    photo: str
    """SHA-256 of the photo."""
    board: FieldMeasurement
    floor: FieldMeasurement
    delta_e00: DeltaE
    light: Light
    created: dt.datetime
    """UTC."""


@dataclass(frozen=True, slots=True)
class StoredBoard:
    """A logged test board."""

    number: Number
    """``"B1"``, ``"B2"`` ..."""
    record: BoardRecord
    measurements: tuple[StoredMeasurement, ...]
    """In the order they were logged; several in one light are repeats."""
    pairs: tuple[StoredPair, ...]
    created: dt.datetime
    """UTC."""


@dataclass(frozen=True, slots=True)
class StoredSpot:
    """A logged place of the floor."""

    number: Number
    """``"F1"``, ``"F2"`` ..."""
    record: FloorSpotRecord
    measurements: tuple[StoredMeasurement, ...]
    created: dt.datetime
    """UTC."""


@dataclass(frozen=True, slots=True)
class Stored(Generic[R]):
    """A logged recipe, can or trial at home."""

    number: Number
    """``"R1"``, ``"C2"``, ``"H3"`` ..."""
    record: R
    created: dt.datetime
    """UTC."""
    removed: dt.datetime | None = None


StoredRecipe = Stored[Recipe]
StoredCan = Stored[Batch]
StoredTrial = Stored[TrialRecord]


@dataclass(frozen=True, slots=True)
class StoredApproval:
    """A standard, today's or one that was."""

    approval: Approval
    created: dt.datetime
    """UTC."""
    ended: dt.datetime | None
    """UTC; when another took its place. None for today's."""


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the history."""

    made: dt.datetime
    """UTC."""
    who: str
    what: str
    """``"add"``, ``"edit"``, ``"remove"``, ``"undo"``, ``"redo"``; of boards and spots ``"add-photos"``,
    ``"remeasure"``; of parts ``"log"``, ``"edit-event"``, ``"remove-event"``; of a strip ``"learn"``, ``"forget"``; of
    the standard ``"approve"``."""
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None
    subject: str = ""
    """``"B3"``, ``"F3"``, ``"R3"``, ``"C3"``, ``"H3"``, ``"strip 0412"``, ``"standard"`` ..."""
    number: int = 0
    """Place in the whole history."""
