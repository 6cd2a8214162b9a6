"""Trials at home for a terminal, a document and a report: how each came out, and what they say of the intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from finishlab.matching.trials import LEAST, PRIOR, TRIED

if TYPE_CHECKING:
    from finishlab.matching.trials import Trust

__all__ = ["trust_entry", "trust_line", "trust_lines"]

_HARDLY: Final = 0.02
"""How far from 1 a factor is not worth a word."""


def trust_entry(trust: Trust) -> dict[str, Any] | None:
    """Return what trials say of the stated errors for a document; None without trials."""
    if trust.ratio is None or trust.low is None or trust.high is None:
        return None
    return {
        "trials": trust.trials,
        "ratio": {"value": round(trust.ratio, 3), "low": round(trust.low, 3), "high": round(trust.high, 3)},
        "factors": {"lightness": round(trust.lightness, 3), "colour": round(trust.colour, 3)},
        "applies_to": list(TRIED),
    }


def trust_lines(trust: Trust) -> list[str]:
    """Say what trials achieve beside the stated errors, and what comes of it."""
    if trust.ratio is None or trust.low is None or trust.high is None:
        return []
    ends = f"95 %: {trust.low:.2f} to {trust.high:.2f}; 1 is as stated"
    lines = [f"{_counted(trust)}: {trust.ratio:.2f} times as far off as expected ({ends})."]
    if _as_stated(trust):
        lines.append("Intervals stay as they are stated.")
    else:
        lines.append(f"From now on errors of light, fit and grain count {_times(trust)} what is stated.")
    if min(trust.lightness, trust.colour) <= LEAST:
        lines.append(f"Trials never make them smaller than {LEAST:.2f} times what is stated.")
    if trust.trials < PRIOR:
        lines.append(f"What is stated counts as {PRIOR:.0f} trials, so few trials change little; make more.")
    lines.append(
        "No such trial can see the tone of the print or the boost of the camera, which scale all differences alike: "
        "they keep their stated size. A strip that is learned (finishlab strip learn) makes the print's smaller."
    )
    return lines


def trust_line(trust: Trust) -> str:
    """Say beside an interval that trials changed it; empty where they did not."""
    if _as_stated(trust):
        return ""
    return f"{_counted(trust)} at home: errors of light, fit and grain count {_times(trust)} what is stated."


def _as_stated(trust: Trust) -> bool:
    return max(abs(trust.lightness - 1.0), abs(trust.colour - 1.0)) < _HARDLY


def _times(trust: Trust) -> str:
    return f"{trust.lightness:.2f} times (lightness) and {trust.colour:.2f} times (colour)"


def _counted(trust: Trust) -> str:
    return f"{trust.trials} trial{'' if trust.trials == 1 else 's'}"
