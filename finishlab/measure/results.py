"""One photo's result: the colours found in its fields, and how they were found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.imaging.strip import FieldName
from finishlab.quality import Doubt

SurfaceKind = Literal["wood", "print"]


@dataclass(frozen=True, slots=True)
class Spread:
    """How much one surface varies in itself (grain and figure, not the error of its mean)."""

    L10: float
    L90: float
    covariance: tuple[tuple[float, float, float], ...]
    """Covariance of (L*, a*, b*) over the surface at the scale of one block, shape (3, 3)."""


@dataclass(frozen=True, slots=True)
class Texture:
    """How one surface looks beyond its mean; see `finishlab.imaging.sampling`."""

    contrast: float
    """Grain: standard deviation of L* between 0.5 and 8 mm."""
    blotch: float
    """Standard deviation of L* beyond 8 mm; slopes of light that the strip did not show are in it too."""
    coherence: float
    """How much the grain runs one way: 0 none, 1 lines."""
    to_strip_deg: float | None
    """Angle of the grain from the strip's long edge, clockwise, above -90 up to 90; None if no direction is clear."""
    in_photo_deg: float | None
    """Angle of the grain from the photo's x axis, the same way."""


@dataclass(frozen=True, slots=True)
class FieldMeasurement:
    """The colour of the surface in one field."""

    name: FieldName
    kind: SurfaceKind
    estimate: LabEstimate
    spread: Spread
    used_share: float
    """Share of the field whose pixels made the mean, 0..1."""
    glare_share: float
    left_out: Mapping[str, float] = field(default_factory=dict)
    """Why the rest was left out: reason -> share of the field (``"glare"``, ``"other-surface"``, ``"seam"`` ...)."""
    doubts: tuple[Doubt, ...] = ()
    texture: Texture | None = None
    """None where it was not measured: without the strip nothing says how long a millimetre is."""
    colours: tuple[tuple[float, float, float], ...] | None = None
    """CIELAB of equal shares of the surface (`finishlab.colorimetry.delta_e`); None in measurements of before they were
    kept, and on too small a surface."""


@dataclass(frozen=True, slots=True)
class StripReading:
    """Where the strip lies in the upright, full-size photo."""

    number: int | None
    tags_seen: int
    corners: tuple[tuple[float, float], ...]
    """Board-edge left, board-edge right, floor-edge right, floor-edge left, in pixels."""
    px_per_mm: float
    tilt_deg: float
    rotation_deg: float
    residual_mm: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """Everything measured in one photo."""

    photo_id: str
    """First 16 hex digits of the SHA-256 of the photo's bytes."""
    strip: StripReading | None
    fields: Mapping[FieldName, FieldMeasurement]
    pair: DeltaE | None
    """CIEDE2000 from floor to board with its 95 % interval, when both fields were measured."""
    correction: Mapping[str, Any] = field(default_factory=dict)
    """Figures of the tone and light fit, for the record."""
    settings: Mapping[str, Any] = field(default_factory=dict)
    """The choices that led here, so that the figure can be made again."""
    version: str = ""
    """finishlab's version."""
