"""The liquids of a stair: what they cover and how long they take, where a label does not say.

The coverages gather what makers' labels give, and they conflict up to threefold, so every figure is a range. The times
are for about 21 C and 50 % relative humidity. No standard or study stands behind either: **common practice, no
source**, unless marked. A label always wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError

__all__ = ["COMMON", "LIQUIDS", "Liquid", "liquid"]

COMMON: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Liquid:
    """A kind of liquid.

    Parameters
    ----------
    kind
        Its name in the trade's words.
    coverage
        Least and most one litre covers in one coat, m2/L.
    recoat_h
        Hours to the next coat of the same, least and most that sources give.
    socks_h
        Hours until it is walked on in socks.
    use_d, cure_d
        Days until it is used with care, and until it is cured, least and most.
    under_other_h
        Hours until another liquid may go over it, where that takes longer; None where it does not.
    oily
        Whether its rags can catch fire by themselves.
    is_film
        Whether it can be the last coat of a tread; a stain cannot.
    source
        Where the figures come from.
    """

    kind: str
    coverage: tuple[float, float]
    recoat_h: tuple[float, float]
    socks_h: float
    use_d: tuple[float, float]
    cure_d: tuple[float, float]
    under_other_h: tuple[float, float] | None = None
    oily: bool = False
    is_film: bool = True
    source: str = COMMON


_ALL: Final = (
    Liquid("oil stain", (5, 15), (6, 24), 24, (1, 3), (1, 3), (24, 72), oily=True, is_film=False),
    Liquid("water stain", (4, 15), (1, 4), 4, (1, 1), (1, 1), is_film=False),
    Liquid("gel stain", (7, 10), (12, 24), 24, (1, 3), (1, 3), (24, 72), oily=True, is_film=False),
    Liquid("sealer", (10, 15), (2, 4), 24, (1, 3), (7, 30)),
    Liquid("oil polyurethane", (7, 12), (6, 24), 24, (3, 4), (30, 30), oily=True),
    Liquid("water polyurethane", (9, 15), (2, 4), 24, (2, 3), (7, 30)),
    Liquid("hardwax oil", (20, 30), (4, 24), 24, (3, 5), (7, 14), oily=True),
    Liquid("riser paint", (9, 10), (4, 16), 24, (1, 2), (14, 30)),
)
LIQUIDS: Final[dict[str, Liquid]] = {each.kind: each for each in _ALL}
"""Kind -> liquid. Times of sealer, gel stain and riser paint are guesses on the side of waiting."""

_ALSO: Final = {
    "oil pu": "oil polyurethane",
    "water pu": "water polyurethane",
    "water polyurethane 1-part": "water polyurethane",
    "water polyurethane 2-part": "water polyurethane",
    "paint": "riser paint",
}


def liquid(kind: str) -> Liquid:
    """Return the liquid of a kind.

    Raises
    ------
    UsageError
        ``"unknown-liquid"``.
    """
    name = " ".join(kind.lower().split())
    name = _ALSO.get(name, name)
    if name not in LIQUIDS:
        raise UsageError(
            "unknown-liquid", f"“{kind}” is not a kind of liquid.", f"Choose one of: {', '.join(LIQUIDS)}."
        )
    return LIQUIDS[name]
