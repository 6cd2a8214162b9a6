"""The JSON documents of the command-line contract: each says its format and its colour space, and holds finite numbers.

Figures are rounded to what they can bear: CIELAB and CIEDE2000 to three decimals, shares and probabilities to four.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from finishlab.show import jsons

if TYPE_CHECKING:
    from finishlab.matching.scatter import FloorPool

__all__ = [
    "pool_document",
]

Document = dict[str, Any]


def pool_document(floor: FloorPool) -> Document:
    """Return the JSON form of the floor's spots together."""
    return {
        "lab": jsons.lab(floor.lab),
        "spots": floor.spots,
        "spread_e00": jsons.rounded(floor.spread_e00),
        "colours_e00": jsons.rounded(floor.colours_e00),
        "doubts": jsons.doubts(floor.doubts),
    }
