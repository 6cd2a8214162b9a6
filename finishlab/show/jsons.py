"""A document's figures as JSON: finite numbers, rounded to what they can bear.

CIELAB and CIEDE2000 have three decimals, shares and probabilities four.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from functools import cache
from typing import TYPE_CHECKING, Any

from finishlab.quality import Doubt

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE, SignedDifference
    from finishlab.matching.ranking import Spread
    from finishlab.measure.results import Texture


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


def difference(found: DeltaE | SignedDifference | Spread) -> dict[str, float | None]:
    """Return a difference of two colours, figure by figure."""
    return {name: rounded(value) for name, value in found.as_dict().items()}


def doubts(found: Iterable[Doubt]) -> list[dict[str, Any]]:
    """Return doubts, each its code and its sentence."""
    return [{"code": doubt.code, "message": doubt.message} for doubt in found]


def entry(thing: object, fields: str) -> dict[str, Any]:
    """Return fields of a thing, each in its JSON form by its type: figures rounded, doubts with their sentences.

    Parameters
    ----------
    thing
        What has them as attributes.
    fields
        Their names in order; ``chance:4`` is rounded to four decimals, ``photos=direct_pairs`` stands under the name
        that comes second.
    """
    return {name: _form(getattr(thing, field), decimals) for field, name, decimals in _read(fields)}


@cache
def _read(fields: str) -> tuple[tuple[str, str, int], ...]:
    """Read what `entry` takes: attribute, name and decimals of each field."""
    read = []
    for each in fields.split():
        said, _, decimals = each.partition(":")
        field, _, name = said.partition("=")
        read.append((field, name or field, int(decimals or 3)))
    return tuple(read)


def _form(value: Any, decimals: int) -> Any:  # noqa: ANN401 - whatever a document holds
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return rounded(value, decimals)
    if isinstance(value, Doubt):
        return {"code": value.code, "message": value.message}
    if isinstance(value, Mapping):
        return {name: _form(each, decimals) for name, each in value.items()}
    if isinstance(value, Iterable):
        return [_form(each, decimals) for each in value]
    return _form(value.as_dict(), decimals)


def texture(found: Texture | None) -> dict[str, Any] | None:
    """Return the JSON form of a texture."""
    return None if found is None else {name: rounded(value) for name, value in asdict(found).items()}
