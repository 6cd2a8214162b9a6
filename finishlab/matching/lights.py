"""What a light written in the user's own words is: daylight, a lamp of some colour temperature, or something else."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

__all__ = ["LampColour", "LightKind", "NamedLight", "named_light"]

LightKind = Literal["daylight", "lamp", "other"]
LampColour = Literal["warm", "neutral", "cool"]

_KELVIN: Final = re.compile(r"\b(\d{1,2}[ .,]?\d{3})\s?(?:k|kelvin)\b")
_DAY: Final = re.compile(
    r"\b(?:day|daylight|overcast|cloudy|sky|sun|sunlight|sunny|noon|morning|window|d50|d55|d65|d75)\b"
)
_LAMP: Final = re.compile(
    r"\b(?:lamps?|leds?|bulbs?|halogen|incandescent|tungsten|fluorescent|tubes?|spots?|spotlights?|evening|night|"
    r"ceiling|downlights?|chandelier|candle)\b"
)
_LEAST_KELVIN: Final = 1500
_MOST_KELVIN: Final = 12_000
_WARM: Final = 3300
_COOL: Final = 5300
"""Ends of warm and of neutral white, kelvin: the colour appearance groups of EN 12464-1 (from memory)."""


@dataclass(frozen=True, slots=True)
class NamedLight:
    """A light and what its name says of it."""

    text: str
    """As the user wrote it, spelt as the logbook spells it."""
    kind: LightKind
    kelvin: int | None = None
    """Colour temperature, when the name holds one."""

    @property
    def lamp_colour(self) -> LampColour | None:
        """Warm, neutral or cool white; None when no colour temperature is named."""
        if self.kelvin is None:
            return None
        return "warm" if self.kelvin < _WARM else "neutral" if self.kelvin <= _COOL else "cool"

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form."""
        return {"light": self.text, "kind": self.kind, "kelvin": self.kelvin}


def named_light(text: str) -> NamedLight:
    """Read a light's name: ``"lamp 2700 K"`` is a lamp of 2700 K, ``"north window"`` daylight, ``"flash"`` other.

    A lamp's word wins over daylight's, since ``"daylight LED"`` is a lamp. A colour temperature alone makes a lamp.
    """
    words = text.casefold()
    found = _KELVIN.search(words)
    kelvin = int(re.sub(r"[ .,]", "", found.group(1))) if found else None
    if kelvin is not None and not _LEAST_KELVIN <= kelvin <= _MOST_KELVIN:
        kelvin = None
    if _LAMP.search(words):
        return NamedLight(text, "lamp", kelvin)
    if _DAY.search(words):
        return NamedLight(text, "daylight", kelvin)
    return NamedLight(text, "other" if kelvin is None else "lamp", kelvin)
