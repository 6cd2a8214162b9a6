"""What an interval is made of, in words and for a document."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from finishlab.colorimetry.table import SOURCES

if TYPE_CHECKING:
    from finishlab.matching.costs import Costs

__all__ = ["costs_entry", "costs_line", "part_words"]

_PARTS: Final[tuple[tuple[float, str], ...]] = (
    (0.07, "hardly any"),
    (0.15, "about a tenth"),
    (0.22, "about a fifth"),
    (0.29, "about a quarter"),
    (0.41, "about a third"),
    (0.58, "about half"),
    (0.71, "about two thirds"),
    (0.82, "about three quarters"),
    (0.93, "most"),
    (math.inf, "nearly all"),
)
"""Upper end of a share, and how it is said."""
_NAMED: Final = 0.07
"""Smallest share that is named."""
_NARROWER: Final = 0.05
"""Part of an interval's width from which its becoming narrower is worth a word."""


def part_words(share: float) -> str:
    """Return a share in words, e.g. ``"about a third"``."""
    return next(words for end, words in _PARTS if share < end)


def costs_entry(costs: Costs) -> dict[str, Any]:
    """Return one interval's costs for a document: shares of its variance, and the interval with the print learned."""
    board = {} if costs.board is None else {"board": costs.board}
    return {
        **board,
        "shares": {source: round(share, 4) for source, share in costs.shares.items()},
        "print_not_learned": round(costs.open_print, 4),
        "delta_e00": _figures(costs.interval.as_dict()),
        "delta_e00_if_learned": _figures(costs.learned.as_dict()) if costs.open_print > 0.0 else None,
        "in_words": costs_line(costs),
    }


def costs_line(costs: Costs) -> str:
    """Say what an interval is made of, the largest part first, and what learning the strip would make of it."""
    ordered = sorted(costs.shares.items(), key=lambda item: -item[1])
    named = [f"{part_words(share)} from {SOURCES[source]}" for source, share in ordered if share >= _NAMED]
    if not named:
        return ""
    whose = "the interval" if costs.board is None else f"{costs.board}'s interval"
    now, then = costs.interval, costs.learned
    told = f"Of {whose} ({now.low:.1f} to {now.high:.1f}) {named[0]}"
    verb = "come" if named[0].partition(" from ")[0].endswith("s") else "comes"
    told = told.replace(" from ", f" {verb} from ", 1) + "".join(f", {each}" for each in named[1:])
    if now.high - now.low - (then.high - then.low) > _NARROWER * (now.high - now.low):
        told += f"; with the strip's print learned it would be about {then.low:.1f} to {then.high:.1f}"
    return f"{told}."


def _figures(figures: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 3) for name, value in figures.items()}
