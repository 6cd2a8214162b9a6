"""The learned greys of printed strips, as a table and as a document."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from finishlab.colorimetry.estimate import COLOUR_SPACE, LabEstimate
from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import FinishlabError
from finishlab.imaging.print_prior import usual_print
from finishlab.imaging.strip import STRIP
from finishlab.reports.plots.print_curve import GreyCurve, print_curve

if TYPE_CHECKING:
    from rich.console import Console

    from finishlab.imaging.greys import StripGreys
    from finishlab.show.drawing import Drawing

__all__ = [
    "curve_drawing",
    "greys_document",
    "greys_in_force",
    "print_greys",
    "print_in_words",
    "remeasured_document",
    "usual_curve",
]

_FROM = {
    "typed": "readings of an instrument",
    "photo": "a photo with known greys",
    "screens": "its line screens, photographed from a few steps back",
    "raw": "a camera raw file",
    "seen": "what an eye saw vanish",
    "usual": "a usual print",
}
_FAR: Final = 1.0
"""How many standard deviations among prints make one lighter or darker than usual."""
_PALE_BLACK: Final = 36.0
"""L* above which black is paler than printers make it unless they save toner; the blackest papers stay below 34."""


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


def print_in_words(greys: StripGreys) -> list[str]:
    """Return what is to be said of a print whose greys are known, a sentence each."""
    usual = usual_curve()
    inner = slice(1, len(usual.lightness) - 1)
    off = np.array(greys.lightness)[inner] - np.array(usual.lightness)[inner]
    far = float(np.mean(off / np.array(usual.doubt)[inner]))
    way = "about as light as usual" if abs(far) < _FAR else "lighter than usual" if far > 0 else "darker than usual"
    middle = len(usual.lightness) // 2 - 1
    here, there = greys.lightness[middle], usual.lightness[middle]
    sure, spread = 2 * greys.standard_error[middle], 2 * usual.doubt[middle]
    said = [
        (
            f"This print comes out {way}: grey {middle} is L* {here:.0f}, give or take {sure:.1f}; "
            f"in most prints it is {there - spread:.0f} to {there + spread:.0f}."
        )
    ]
    if greys.lightness[0] > _PALE_BLACK:
        said.append(
            f"Its black is pale (L* {greys.lightness[0]:.0f}): the printer saves ink or toner. Printed anew without "
            "that, dark finishes are told better."
        )
    return said


def curve_drawing(greys: StripGreys) -> Drawing:
    """Return the picture of a print's greys beside usual ones."""
    found = GreyCurve(greys.lightness, greys.standard_error)
    return print_curve(f"Greys of strip {greys.number:04d}", STRIP.greys, found, usual_curve())


def usual_curve() -> GreyCurve:
    """Return the greys of usual prints, and how far those spread."""
    log, departures = usual_print()
    lightness = lightness_of_reflectance(np.exp(log))
    spread = (lightness + 16.0) / 3.0 * np.sqrt((departures**2).sum(axis=0))
    return GreyCurve(tuple(float(v) for v in lightness), tuple(float(v) for v in spread))


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
        for sentence in print_in_words(greys):
            _line(console, f"  {sentence}")
    if not found:
        _line(console, "Nothing holds of this strip today: it is taken for a usual print.")
    for entry in history:
        _line(console, f"- {entry}")


def _line(console: Console, text: str) -> None:
    console.print(text, markup=False, highlight=False, soft_wrap=True)
