"""The woods of treads as one table: how evenly they take stain, their tannin, their oil, how fine they are sanded.

A new wood is one entry. All of it is common practice, no source, unless marked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from finishlab.coatings import COMMON

__all__ = ["FINEST", "WOODS", "Wood", "wood_in"]

FINEST: Final = 220
"""Finest grit before a stain on a wood that is not in the table (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Wood:
    """A wood as a finisher sees it."""

    name: str
    also: tuple[str, ...] = ()
    """Other names, in other languages too."""
    blotches: bool = False
    """Whether a penetrating stain goes on unevenly: it wants a conditioner, a gel, or a test."""
    tannin: Literal["little", "much"] = "little"
    """Much tannin turns grey to black with water and iron, and darkens with anything alkaline."""
    oily: bool = False
    """Whether its own oil keeps a film from drying or holding."""
    finest: int = 180
    """Finest grit before a stain; finer takes less colour."""
    source: str = COMMON


_ALL: Final = (
    Wood("red oak", ("roteiche",), tannin="much"),
    Wood("white oak", ("weißeiche", "weisseiche"), tannin="much"),
    Wood("oak", ("eiche", "chêne", "roble", "quercia", "eik", "ek"), tannin="much"),
    Wood("ash", ("esche", "frêne", "fresno")),
    Wood("hickory", ("pecan",)),
    Wood("walnut", ("nussbaum", "noyer", "nogal"), tannin="much"),
    Wood("chestnut", ("kastanie", "châtaignier"), tannin="much"),
    Wood("maple", ("ahorn", "érable", "arce"), blotches=True, finest=220),
    Wood("birch", ("birke", "bouleau", "abedul"), blotches=True, finest=220),
    Wood("cherry", ("kirsche", "kirschbaum", "merisier", "cerezo"), blotches=True, tannin="much", finest=220),
    Wood("beech", ("buche", "hêtre", "haya"), blotches=True, finest=220),
    Wood("alder", ("erle", "aulne"), blotches=True, finest=220),
    Wood("poplar", ("aspen", "pappel", "peuplier"), blotches=True, finest=220),
    Wood("pine", ("kiefer", "pin", "pino", "furu"), blotches=True),
    Wood("fir", ("spruce", "hemlock", "douglasie", "fichte", "tanne", "épicéa"), blotches=True),
    Wood("mahogany", ("sapele", "mahagoni", "acajou"), tannin="much"),
    Wood("teak", ("iroko", "teck"), oily=True),
    Wood("rosewood", ("palisander", "cumaru", "ipe"), oily=True),
    Wood("bamboo", ("bambus", "bambou"), blotches=True, finest=220),
)
WOODS: Final[dict[str, Wood]] = {each.name: each for each in _ALL}
"""Name -> wood."""


def wood_in(text: str | None) -> Wood | None:
    """Return the wood that a text names, the longest name first: ``hard maple`` is maple; None where none is named."""
    words = (text or "").casefold()
    found = [
        (name, each)
        for each in WOODS.values()
        for name in (each.name, *each.also)
        if re.search(rf"\b{re.escape(name)}\b", words)
    ]
    return max(found, key=lambda pair: len(pair[0]))[1] if found else None
