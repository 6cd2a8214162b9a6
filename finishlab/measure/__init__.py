"""From a decoded photo to a `Measurement`: the whole way, a step at a time.

Names are loaded when they are used, so that reading logged results does not load OpenCV.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect, SurfaceArea
    from finishlab.measure.by_hand import HandInspection, measure_by_hand
    from finishlab.measure.flow import FieldView, Inspection, measure
    from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, SurfaceKind, Texture

__all__ = [
    "FieldMeasurement",
    "FieldView",
    "GreyArea",
    "HandInspection",
    "Inspection",
    "Measurement",
    "PixelPolygon",
    "PixelRect",
    "Spread",
    "StripReading",
    "SurfaceArea",
    "SurfaceKind",
    "Texture",
    "measure",
    "measure_by_hand",
]

_HOME: Final = {
    "FieldMeasurement": "results",
    "FieldView": "flow",
    "GreyArea": "areas",
    "HandInspection": "by_hand",
    "Inspection": "flow",
    "Measurement": "results",
    "PixelPolygon": "areas",
    "PixelRect": "areas",
    "Spread": "results",
    "StripReading": "results",
    "SurfaceArea": "areas",
    "SurfaceKind": "results",
    "Texture": "results",
    "measure": "flow",
    "measure_by_hand": "by_hand",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever the name stands for
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
