"""A document's figures as JSON: finite numbers, rounded to what they can bear.

CIELAB and CIEDE2000 have three decimals, shares and probabilities four.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE, SignedDifference
    from finishlab.measure.results import Texture
    from finishlab.quality import Doubt


def dump(document: Mapping[str, Any]) -> str:
    """Return a document as text with a line break at its end.

    Raises
    ------
    ValueError
        If a number in it is not finite; JSON has no such numbers.
    """
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def rounded(value: float | None, decimals: int = 3) -> float | None:
    """Round a figure; one that is not a finite number is said to be unknown, never written as NaN."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0  # the sum turns -0.0 into 0.0


def lab(values: Iterable[float] | None) -> list[float | None] | None:
    """Return a colour, or its standard errors; None while it is not measured."""
    return None if values is None else [rounded(value) for value in values]


def difference(found: DeltaE | SignedDifference) -> dict[str, float | None]:
    """Return a difference of two colours, figure by figure."""
    return {name: rounded(value) for name, value in found.as_dict().items()}


def doubts(found: Iterable[Doubt]) -> list[dict[str, Any]]:
    """Return doubts, each its code and its sentence."""
    return [{"code": doubt.code, "message": doubt.message} for doubt in found]


def texture(found: Texture | None) -> dict[str, Any] | None:
    """Return the JSON form of a texture."""
    return None if found is None else {name: rounded(value) for name, value in asdict(found).items()}
