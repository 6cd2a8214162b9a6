"""What a report holds, whether it becomes a page or a PDF: the answer, its pictures, its figures, its doubts."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from finishlab.reports.rows import BoardRow, SpotRow

if TYPE_CHECKING:
    from finishlab.matching.across import AcrossLights
    from finishlab.matching.choices import Choice
    from finishlab.matching.costs import Costs
    from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = ["MOST_PICTURED", "MOST_TOLD", "Crop", "ReportContent"]

MOST_PICTURED: Final = 20
"""Boards that are drawn: more would hide each other."""
MOST_TOLD: Final = 60
"""Boards that are listed; of the rest their number is said."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A board cut from its photo, with the floor edge to edge below it, all at one scale.

    Raises
    ------
    ValueError
        If the bytes are not a JPEG, or still carry an Exif segment, which may say where it was taken.
    """

    jpeg: bytes
    width: int
    """Pixels."""
    height: int
    width_mm: float
    """Millimetres of the board that its width shows."""
    caption: str
    alt: str
    """What it shows, for those who cannot see it."""

    def __post_init__(self) -> None:
        if not self.jpeg.startswith(b"\xff\xd8\xff"):
            raise ValueError("a picture of a report must be a JPEG")
        if b"Exif\x00\x00" in self.jpeg[:65536]:
            raise ValueError("a picture of a report must not carry camera or location data")
        if not self.alt.strip():
            raise ValueError("a picture of a report needs a text in its place")
        if not self.width_mm > 0:
            raise ValueError("a picture of a report needs a scale")

    @property
    def data_uri(self) -> str:
        """The picture as text within the page."""
        return f"data:image/jpeg;base64,{base64.b64encode(self.jpeg).decode()}"


@dataclass(frozen=True, slots=True)
class ReportContent:
    """Everything a report shows."""

    title: str
    """Name of the project or logbook."""
    made: str
    """Date the report was made, ISO 8601."""
    version: str
    """finishlab's version."""
    ranking: Ranking
    boards: Mapping[str, BoardRow]
    """What is logged of each board, by its number."""
    light: str = ""
    """The light the ranking is for."""
    spots: tuple[SpotRow, ...] = ()
    crops: Mapping[str, Crop] = field(default_factory=dict)
    """Pictures by board number."""
    rendered: bool = False
    """The photos are computed pictures of surfaces that do not exist; the report says so."""
    lights: AcrossLights | None = None
    """The same boards in every light."""
    choices: tuple[Choice, ...] = ()
    """The best board under each aim."""
    recipes: Ranking | None = None
    """Recipes in place of boards."""
    left_out: tuple[str, ...] = ()
    """Boards that were not photographed in this light."""
    costs: tuple[Costs, ...] = ()
    """What the intervals of the first boards are made of."""
    extra: Mapping[str, str] = field(default_factory=dict)
    """Further lines for the method: name -> text (strip number, camera, settings)."""

    @property
    def pictured(self) -> tuple[RankedBoard, ...]:
        """The boards that are drawn, the nearest first."""
        return tuple(self.ranking.boards[:MOST_PICTURED])

    @property
    def told(self) -> Ranking:
        """The ranking of the boards that are listed, the nearest first."""
        return replace(self.ranking, boards=self.ranking.boards[:MOST_TOLD])
