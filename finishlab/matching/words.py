"""One sentence a lay person understands: how far off, in which direction, and against what the floor itself does.

The bands are those of `finishlab.colorimetry.difference` and, for the floor's own range, the ones below; both are this
tool's own and stand beside the published thresholds in docs/bands.md.
"""

from __future__ import annotations

import math
from typing import Final

from finishlab.colorimetry.difference import BANDS, DeltaE, SignedDifference, describe

__all__ = ["RANGES", "lay_sentence", "range_words"]

RANGES: Final[tuple[tuple[float, str], ...]] = (
    (0.7, "well inside what its own planks differ by"),
    (1.3, "about as far off as its own planks are"),
    (2.0, "a little farther off than its own planks are"),
    (3.5, "about {times} times as far off as its own planks are"),
    (math.inf, "far outside what its own planks differ by"),
)
"""Upper end of the ratio (CIEDE2000 over the floor's own spread) and words of each band; this tool's own."""
_TOO_EVEN: Final = 0.3
"""Spread of a floor below which the ratio says nothing: its planks are as good as equal."""
_SAME: Final = BANDS[0][0]
_MORE_ALIKE: Final = ", though its own planks are more alike still"
"""Beside a difference that is hardly seen, in place of words that would make it large."""


def range_words(ratio: float, spread_e00: float | None = None) -> str:
    """Say how a difference stands to the floor's own plank-to-plank spread.

    Parameters
    ----------
    ratio
        CIEDE2000 of the board over the root mean square CIEDE2000 of the planks, both from the floor's mean.
    spread_e00
        That of the planks; below 0.3 an even floor is named in place of a ratio.
    """
    if spread_e00 is not None and spread_e00 < _TOO_EVEN:
        return "beside a floor whose planks are all but equal"
    words = next(words for end, words in RANGES if ratio < end)
    return words.format(times=round(ratio))


def lay_sentence(difference: SignedDifference, delta_e00: DeltaE, ratio: float | None = None) -> str:
    """Return one sentence about a board beside the floor.

    Parameters
    ----------
    difference
        Board minus floor.
    delta_e00
        CIEDE2000 of the same pair.
    ratio
        That over the floor's own spread; None where the floor was seen at one spot only.

    Returns
    -------
    str
        E.g. ``"A touch darker and pinker than the floor, about as far off as its own planks are."``
    """
    direction = describe(difference)
    if delta_e00.value < _SAME:
        direction = "hardly to be told from the floor" if direction.startswith("much like") else f"just {direction}"
    told = direction
    if ratio is not None and math.isfinite(ratio):
        if delta_e00.value < _SAME and ratio >= RANGES[1][0]:
            told += _MORE_ALIKE
        else:
            told += ", " + range_words(ratio, delta_e00.value / ratio if ratio > 0 else None)
    if delta_e00.low == 0.0 and delta_e00.value >= _SAME:
        told += "; the photos leave open whether there is a difference at all"
    return told[:1].upper() + told[1:] + "."
