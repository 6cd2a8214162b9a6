"""From a decoded photo to a `Measurement`: the whole way, a step at a time."""

from __future__ import annotations

from finishlab.measure.flow import Inspection, measure
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, SurfaceKind

__all__ = ["FieldMeasurement", "Inspection", "Measurement", "Spread", "StripReading", "SurfaceKind", "measure"]
