"""Measurement types to plain JSON values and back, exactly.

Floats go through as they are: JSON's shortest decimal form of a double reads back as the same double.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, cast, get_args

from finishlab.colorimetry.estimate import LabEstimate
from finishlab.imaging.strip import FIELD_NAMES, FieldName
from finishlab.measure import FieldMeasurement, Spread, StripReading, SurfaceKind, Texture
from finishlab.quality import Doubt

__all__ = ["field_from_dict", "field_to_dict", "plain", "strip_from_dict", "strip_to_dict"]


def field_to_dict(measured: FieldMeasurement) -> dict[str, Any]:
    """Return the stored form of one field's measurement."""
    return {
        "name": measured.name,
        "kind": measured.kind,
        "estimate": measured.estimate.as_dict(),
        "spread": {
            "L10": measured.spread.L10,
            "L90": measured.spread.L90,
            "covariance": [list(row) for row in measured.spread.covariance],
        },
        "used_share": measured.used_share,
        "glare_share": measured.glare_share,
        "left_out": dict(measured.left_out),
        "doubts": [doubt.as_dict() for doubt in measured.doubts],
        "texture": None if measured.texture is None else asdict(measured.texture),
        "colours": None if measured.colours is None else [list(colour) for colour in measured.colours],
    }


def field_from_dict(data: Mapping[str, Any]) -> FieldMeasurement:
    """Rebuild a field's measurement from `field_to_dict`.

    Raises
    ------
    KeyError, TypeError, ValueError
        If `data` is not what `field_to_dict` returns.
    """
    if data["name"] not in FIELD_NAMES:
        raise ValueError(f"unknown field {data['name']!r}")
    if data["kind"] not in get_args(SurfaceKind):
        raise ValueError(f"unknown kind of surface {data['kind']!r}")
    spread = data["spread"]
    # Measurements of before they were taken have no texture and no colours.
    texture, colours = data.get("texture"), data.get("colours")
    return FieldMeasurement(
        name=cast("FieldName", data["name"]),
        kind=cast("SurfaceKind", data["kind"]),
        estimate=LabEstimate.from_dict(data["estimate"], wood=data["kind"] == "wood"),
        spread=Spread(spread["L10"], spread["L90"], tuple(tuple(row) for row in spread["covariance"])),
        used_share=data["used_share"],
        glare_share=data["glare_share"],
        left_out=dict(data["left_out"]),
        doubts=tuple(Doubt.from_dict(entry) for entry in data["doubts"]),
        texture=None if texture is None else Texture(**texture),
        colours=None if colours is None else tuple([(c[0], c[1], c[2]) for c in colours]),
    )


def strip_to_dict(reading: StripReading) -> dict[str, Any]:
    """Return the stored form of where the strip lay."""
    return {
        "number": reading.number,
        "tags_seen": reading.tags_seen,
        "corners": [list(corner) for corner in reading.corners],
        "px_per_mm": reading.px_per_mm,
        "tilt_deg": reading.tilt_deg,
        "rotation_deg": reading.rotation_deg,
        "residual_mm": reading.residual_mm,
    }


def strip_from_dict(data: Mapping[str, Any]) -> StripReading:
    """Rebuild a strip reading from `strip_to_dict`.

    Raises
    ------
    KeyError, TypeError
        If `data` is not what `strip_to_dict` returns.
    """
    return StripReading(**{**data, "corners": tuple(tuple(corner) for corner in data["corners"])})


def plain(value: object) -> Any:  # noqa: ANN401 - JSON values have no narrower type
    """Return `value` in JSON's own types.

    Settings and fit figures come as free mappings: tuples and arrays become lists, NumPy scalars Python's, and a figure
    that is not finite becomes None, since JSON has no name for it.

    Raises
    ------
    TypeError
        If a value has no JSON form.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        entries = sorted(value, key=repr) if isinstance(value, set | frozenset) else value
        return [plain(entry) for entry in entries]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if value is None or isinstance(value, str | bool | int):
        return value
    if hasattr(value, "tolist"):  # NumPy arrays and scalars
        return plain(value.tolist())
    raise TypeError(f"{type(value).__name__} has no JSON form")
