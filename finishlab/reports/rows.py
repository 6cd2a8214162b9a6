"""What the reports are given to show: plain rows, filled by the workflow from photos, measurements and the logbook."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from finishlab.colorimetry.difference import DeltaE
from finishlab.quality import Doubt
from finishlab.records import BoardRecord, FloorSpotRecord

if TYPE_CHECKING:
    from finishlab.measure import Texture  # measuring loads OpenCV; showing its results does not

__all__ = ["BoardRow", "BoardRows", "ColourRow", "Lab", "SpotRow", "what_it_is"]

Lab = tuple[float, float, float]
"""CIELAB D65 2 degrees."""


@dataclass(frozen=True, slots=True)
class ColourRow:
    """One measured colour of a board or a floor spot."""

    lab: Lab
    standard_error: Lab
    """One sigma of the mean, common errors left out."""
    light: str
    photo: str
    """By which name the photo can be found again."""
    strip_number: int | None = None
    spread_lightness: tuple[float, float] | None = None
    """10th and 90th percentile of L* over the surface."""
    version: str = ""
    """finishlab's version when it was measured."""
    doubts: tuple[Doubt, ...] = ()
    texture: Texture | None = None
    camera_profile: Mapping[str, Any] | None = None
    """What the result says of the camera profile it was made with; None without one."""


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One test board as the logbook knows it."""

    number: str
    """``"B1"``, ``"B2"`` ..."""
    record: BoardRecord
    lab: Lab | None = None
    """The board's colour, all its photos of one light together; none while it is not measured."""
    colours: tuple[ColourRow, ...] = ()
    pairs: tuple[DeltaE, ...] = ()
    """Differences measured with the floor in the same photo."""
    light: str | None = None
    """The light of the colour; None where it is of several."""


class BoardRows(Mapping[str, BoardRow]):
    """Boards as rows, by number, that are made when they are looked at."""

    @abstractmethod
    def purposes(self) -> frozenset[str]:
        """Return what the boards are for, without making their rows."""


@dataclass(frozen=True, slots=True)
class SpotRow:
    """One floor spot as the logbook knows it."""

    number: str
    """``"F1"``, ``"F2"`` ..."""
    record: FloorSpotRecord
    lab: Lab | None = None
    colours: tuple[ColourRow, ...] = ()


def what_it_is(record: BoardRecord) -> str:
    """Return a board's recipe in one line: wood, stain and coats, topcoat."""
    stain = record.stain or "no stain"
    if record.stain and record.coats is not None:
        stain += f", {record.coats} coat{'' if record.coats == 1 else 's'}"
    return f"{record.species}; {stain}; {record.topcoat or 'no topcoat'}"
