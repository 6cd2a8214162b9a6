"""The learned greys of printed strips, as a table and as a document."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from finishlab.colorimetry.estimate import COLOUR_SPACE, LabEstimate
from finishlab.errors import FinishlabError

if TYPE_CHECKING:
    from rich.console import Console

    from finishlab.imaging.greys import StripGreys

__all__ = ["greys_document", "greys_in_force", "print_greys", "remeasured_document"]

_FROM = {"typed": "readings of an instrument", "photo": "a photo with known greys", "nominal": "a usual print"}


def greys_document(now: Iterable[StripGreys], before: Iterable[StripGreys] = ()) -> dict[str, Any]:
    """Return ``finishlab/strip-greys/1``: what holds of each strip, and what held before where it is asked for."""
    return {
        "format": "finishlab/strip-greys/1",
        "colour_space": COLOUR_SPACE,
        "strips": [_entry(greys) for greys in now],
        "before": [_entry(greys) for greys in before],
    }


def greys_in_force(found: Sequence[StripGreys]) -> dict[str, Any]:
    """Return a strip's greys as they hold today, level by level; None where it is taken for a usual print."""
    entry = _entry(found[-1]) if found else {}
    return {name: entry.get(name) for name in ("lightness", "standard_error")}


def _entry(greys: StripGreys) -> dict[str, Any]:
    return {
        "number": greys.number,
        "source": greys.source,
        "learned": greys.learned,
        "key": greys.key,
        "lightness": [round(value, 3) for value in greys.lightness],
        "standard_error": [round(value, 3) for value in greys.standard_error],
        "basis": list(greys.basis),
    }


Before = tuple[str, Sequence[LabEstimate], Sequence[LabEstimate], Sequence[FinishlabError]]


def remeasured_document(found: Iterable[Before]) -> dict[str, Any]:
    """Return ``finishlab/remeasured/1``: number, colours before and after, and failures of each board and spot."""
    return {
        "format": "finishlab/remeasured/1",
        "colour_space": COLOUR_SPACE,
        "subjects": [
            {
                "number": number,
                "ok": not errors,
                "before": [[round(value, 3) for value in each.lab] for each in before],
                "after": [[round(value, 3) for value in each.lab] for each in after],
                "errors": [error.as_dict() for error in errors],
            }
            for number, before, after, errors in found
        ],
    }


def print_greys(console: Console, found: Sequence[StripGreys], history: Sequence[str] = ()) -> None:
    """Print what is known of each strip's greys, a strip at a time."""
    for greys in found:
        _line(console, f"Strip {greys.number:04d}, from {_FROM[greys.source]}, learned {greys.learned}")
        _line(console, f"  {'level':<8}" + " ".join(f"{level:>6}" for level in range(len(greys.values))))
        _line(console, f"  {'L*':<8}" + " ".join(f"{value:6.1f}" for value in greys.lightness))
        _line(console, f"  {'+-':<8}" + " ".join(f"{value:6.1f}" for value in greys.standard_error))
        if greys.basis:
            _line(console, f"  rests on {', '.join(greys.basis)}")
    if not found:
        _line(console, "Nothing holds of this strip today: it is taken for a usual print.")
    for entry in history:
        _line(console, f"- {entry}")


def _line(console: Console, text: str) -> None:
    console.print(text, markup=False, highlight=False, soft_wrap=True)
