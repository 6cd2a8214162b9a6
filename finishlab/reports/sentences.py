"""Words that several subjects' documents share: sentences, intervals, camera profiles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE

__all__ = ["as_sentence", "interval", "profile_line", "profile_name"]


def as_sentence(words: str) -> str:
    """Return words with a capital at the start and a full stop at the end."""
    words = words.strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".") if words else ""


def interval(difference: DeltaE) -> str:
    """Return a 95 % interval in words: ``"1.2 to 2.7"``."""
    return f"{difference.low:.1f} to {difference.high:.1f}"


def profile_name(profile: Mapping[str, Any] | None) -> str:
    """Return which camera profile a result was measured with, in a few words; the settings' entry or None."""
    if not profile:
        return "no profile"
    day = f", learned {profile['date']}" if profile.get("date") else ""
    return f"{profile['camera']} in {profile['light']}{day}"


def profile_line(profile: Mapping[str, Any]) -> str:
    """Return the sentence that stands beside a colour measured with a camera profile."""
    off = profile["left_out"]
    return (
        f"With the camera profile of {profile_name(profile)} ({profile['kind']}; chart: {profile['chart']}). Absolute "
        f"error, on chart colours it had not seen: {off['wood']:.1f} dE00 near wood's colours, {off['mean']:.1f} over "
        f"all, {off['max']:.1f} at most."
    )
