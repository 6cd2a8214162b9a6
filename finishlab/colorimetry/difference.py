"""CIEDE2000, signed differences, and their words. (Formulas to come.)"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DeltaE"]


@dataclass(frozen=True, slots=True)
class DeltaE:
    """A CIEDE2000 difference with its 95 % interval."""

    value: float
    low: float
    high: float

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form."""
        return {"value": self.value, "low": self.low, "high": self.high}
