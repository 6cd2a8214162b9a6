"""Lengths as people type them: without a unit they are millimetres, and what makes no sense as such is refused."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from finishlab.errors import UsageError
from finishlab.records.limits import likely_length
from finishlab.units import has_unit, is_us, parse_length

__all__ = ["check_likely", "in_inches", "read_length", "read_lengths"]

_UNITS: Final[Mapping[str, tuple[str, float]]] = {
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
        What has them, such as ``"tread"``; see `finishlab.records.limits.LIKELY`.

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
        for unit, (name, factor) in _UNITS.items()
        if all(_fits(kind, field, value * factor) for field, value in values.items())
    ]


def _fits(kind: str, field: str, mm: float) -> bool:
    row = likely_length(kind, field)
    # What no length can be is refused by the hard limits, in their words.
    return row is None or mm <= 0 or row.low <= mm <= row.high


def in_inches(texts: Mapping[str, str]) -> tuple[str, ...]:
    """Return which of typed lengths were typed in inches or feet, and are shown so."""
    return tuple(field for field, text in texts.items() if is_us(text))
