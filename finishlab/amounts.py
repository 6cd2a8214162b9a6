"""Figures with their units as people type them, ``36in``, ``1 1/16 in``, ``946 ml``, ``70 F``; and likely lengths.

The factors are those of `finishlab.units`. A length without a unit is in millimetres, and what makes no sense as such
is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError
from finishlab.units import FT2_PER_GAL, LENGTHS, VOLUMES, has_unit, is_us, parse_length

__all__ = [
    "COMMON_PRACTICE",
    "LIKELY",
    "UNITS",
    "LikelyLength",
    "check_likely",
    "in_inches",
    "likely_length",
    "read_figure",
    "read_length",
    "read_lengths",
]

COMMON_PRACTICE: Final = "common practice, no source"

UNITS: Final[Mapping[str, Mapping[str, float]]] = {
    "mm": LENGTHS,
    "h": {"h": 1.0, "hours": 1.0, "hour": 1.0, "min": 1 / 60, "d": 24.0, "days": 24.0, "day": 24.0},
    "min": {"min": 1.0, "minutes": 1.0, "minute": 1.0, "h": 60.0, "s": 1 / 60},
    "days": {"d": 1.0, "days": 1.0, "day": 1.0, "h": 1 / 24, "weeks": 7.0, "week": 7.0},
    "L": VOLUMES,
    "m2/L": {"m2/l": 1.0, "ft2/gal": FT2_PER_GAL, "ft2/qt": 4 * FT2_PER_GAL},
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


@dataclass(frozen=True, slots=True)
class LikelyLength:
    """What a length can be in a house, widely: one typed without its unit must lie within, as millimetres."""

    kind: str
    """What has the length: a part of the stair, a board, a cut."""
    field: str
    low: float
    high: float
    """Both in mm."""
    source: str = COMMON_PRACTICE


LIKELY: Final[tuple[LikelyLength, ...]] = (
    LikelyLength("board", "length", 40, 3000),
    LikelyLength("board", "width", 40, 3000),
    LikelyLength("board", "thickness", 2.5, 120),
    LikelyLength("tread", "front", 300, 3000),
    LikelyLength("tread", "back", 60, 3000),
    LikelyLength("tread", "depth", 120, 1500),
    LikelyLength("tread", "thickness", 10, 100),
    LikelyLength("tread", "nosing", 5, 80),
    LikelyLength("riser", "front", 300, 3000),
    LikelyLength("riser", "depth", 80, 300),
    LikelyLength("riser", "height", 80, 300),
    LikelyLength("riser", "thickness", 3, 60),
    LikelyLength("part", "front", 50, 12000),
    LikelyLength("part", "back", 50, 12000),
    LikelyLength("part", "depth", 14, 3000),
    LikelyLength("part", "height", 14, 3000),
    LikelyLength("part", "thickness", 3, 150),
    LikelyLength("part", "nosing", 5, 80),
    LikelyLength("added", "thickness", 1.5, 200),
    LikelyLength("saw cut", "width", 0.5, 10),
    LikelyLength("cutting", "allowance", 2, 300),
    LikelyLength("stock", "length", 300, 12000),
    LikelyLength("stock", "width", 40, 2000),
    LikelyLength("room", "side", 500, 60000),
    LikelyLength("room", "other side", 500, 60000),
)
"""Lengths by what has them; “part” is any part of the stair that has no row of its own."""


def likely_length(kind: str, field: str) -> LikelyLength | None:
    """Return what a length can be, None where nothing is known of it."""
    rows = {(row.kind, row.field): row for row in LIKELY}
    return rows.get((kind, field)) or rows.get(("part", field))


_MEANT: Final[Mapping[str, tuple[str, float]]] = {
    "in": ("inches", 25.4),
    "cm": ("centimetres", 10.0),
    "ft": ("feet", 304.8),
    "m": ("metres", 1000.0),
}
"""What may have been meant, the likeliest first."""


def read_length(text: str, kind: str, field: str) -> float:
    """Return one typed length in mm; see `read_lengths`."""
    return read_lengths({field: text}, kind)[field]


def read_lengths(texts: Mapping[str, str], kind: str) -> dict[str, float]:
    """Return typed lengths in mm.

    Parameters
    ----------
    texts
        By what they are of, such as ``"depth"``, in the order in which they were typed.
    kind
        What has them, such as ``"tread"``; see `finishlab.amounts.LIKELY`.

    Raises
    ------
    UsageError
        ``"bad-length"``, ``"unit-missing"``.
    """
    found = {field: parse_length(text, f"{kind} {field}") for field, text in texts.items()}
    check_likely(texts, found, kind)
    return found


def check_likely(texts: Mapping[str, str], found: Mapping[str, float], kind: str) -> None:
    """Refuse lengths that were typed without a unit and make no sense in millimetres, with what was likely meant.

    Raises
    ------
    UsageError
        ``"unit-missing"``.
    """
    bare = {field: found[field] for field, text in texts.items() if not has_unit(text)}
    odd = [field for field, value in bare.items() if not _fits(kind, field, value)]
    if not odd:
        return
    # All that named no unit were likely typed in one; else it was forgotten where it does not fit.
    meant = _meant(texts, bare, kind) or _meant(texts, {field: bare[field] for field in odd}, kind)
    asked = f"Did you mean {', or '.join(meant[:2])}?" if meant else "Give it with its unit, such as 36in or 914mm."
    raise UsageError(
        "unit-missing",
        f"{kind.capitalize()} {odd[0]}: {bare[odd[0]]:g} mm makes no sense; without a unit a length is in millimetres.",
        asked if not meant else f"{asked} If it really is so, write {texts[odd[0]].strip()}mm.",
    )


def _meant(texts: Mapping[str, str], values: Mapping[str, float], kind: str) -> list[str]:
    """Return the units in which all values would fit, each with what had to be typed."""
    return [
        f"{name}: {'x'.join(texts[field].strip() + unit for field in values)}"
        for unit, (name, factor) in _MEANT.items()
        if all(_fits(kind, field, value * factor) for field, value in values.items())
    ]


def _fits(kind: str, field: str, mm: float) -> bool:
    row = likely_length(kind, field)
    # What no length can be is refused by the hard limits, in their words.
    return row is None or mm <= 0 or row.low <= mm <= row.high


def in_inches(texts: Mapping[str, str]) -> tuple[str, ...]:
    """Return which of typed lengths were typed in inches or feet, and are shown so."""
    return tuple(field for field, text in texts.items() if is_us(text))
