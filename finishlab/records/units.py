"""Figures with their units as people type them: ``36in``, ``1 1/16 in``, ``946 ml``, ``1 qt``, ``30 min``, ``70 F``.

The factors are those of `finishlab.units`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Final

from finishlab.errors import UsageError
from finishlab.units import FT2_PER_GAL, LITRES_PER_GAL, LITRES_PER_QT, MM_PER_INCH

__all__ = ["UNITS", "read_figure"]

UNITS: Final[Mapping[str, Mapping[str, float]]] = {
    "mm": {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "in": MM_PER_INCH,
        '"': MM_PER_INCH,
        "ft": 12 * MM_PER_INCH,
        "'": 12 * MM_PER_INCH,
    },
    "h": {"h": 1.0, "hours": 1.0, "hour": 1.0, "min": 1 / 60, "d": 24.0, "days": 24.0, "day": 24.0},
    "min": {"min": 1.0, "minutes": 1.0, "minute": 1.0, "h": 60.0, "s": 1 / 60},
    "days": {"d": 1.0, "days": 1.0, "day": 1.0, "h": 1 / 24, "weeks": 7.0, "week": 7.0},
    "L": {"l": 1.0, "ml": 0.001, "cl": 0.01, "qt": LITRES_PER_QT, "gal": LITRES_PER_GAL, "pt": LITRES_PER_QT / 2},
    "m2/L": {
        "m2/l": 1.0,
        "ft2/gal": FT2_PER_GAL,
        "ft2/qt": 4 * FT2_PER_GAL,
    },
    "%": {"%": 1.0},
    "C": {"c": 1.0, "f": 1.0},
    "GU": {"gu": 1.0},
    "": {},
}
"""A field's unit -> units that may be typed -> how many of the field's one of them is."""

_DECIMALS: Final = 6
"""What a figure is kept to, so that 6 in are 152.4 mm and not a little less."""
_FIGURE: Final = re.compile(
    r"(?:(?P<whole>[+-]?[0-9]*[.,]?[0-9]+)(?:\s+(?P<over>[0-9]+)/(?P<under>[0-9]+))?|(?P<o>[0-9]+)/(?P<u>[0-9]+))"
    r"\s*(?P<unit>[^0-9\s/.,].*)?"
)


def read_figure(text: str, unit: str, what: str) -> float:
    """Return a typed figure in a field's unit; without a unit it is taken to be in that one.

    Parameters
    ----------
    text
        What was typed; a whole number may be followed by a fraction.
    unit
        The field's unit, a key of `UNITS`.
    what
        Name of the field, for the sentence.

    Raises
    ------
    UsageError
        ``"not-a-number"`` or ``"unknown-unit"``.
    """
    found = _FIGURE.fullmatch(text.strip())
    if found is None:
        raise UsageError("not-a-number", f"“{text.strip()}” is not a number ({what}).", "Give a number.")
    value = _value(found, text, what)
    named = (found["unit"] or "").strip().lower().replace("²", "2")
    known = UNITS[unit]
    if named and named not in known:
        hint = f"Use one of: {', '.join(known)}." if known else "Give a plain number."
        raise UsageError("unknown-unit", f"“{named}” is not a unit for this ({what}).", hint)
    if unit == "C" and named == "f":
        return round((value - 32) / 1.8, _DECIMALS)
    return round(value * known.get(named, 1.0), _DECIMALS)


def _value(found: re.Match[str], text: str, what: str) -> float:
    whole = float((found["whole"] or "0").replace(",", "."))
    over, under = int(found["over"] or found["o"] or 0), int(found["under"] or found["u"] or 1)
    if under == 0 or (over and whole % 1):
        raise UsageError("not-a-number", f"“{text.strip()}” is not a number ({what}).", "Give a number.")
    return whole + math.copysign(over / under, whole)
