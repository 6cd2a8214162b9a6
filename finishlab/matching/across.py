"""The same boards and floor in two lights: what holds in both, what moves, and by how much."""

from __future__ import annotations

from dataclasses import dataclass, field

from finishlab.colorimetry.difference import DeltaE
from finishlab.matching.lights import NamedLight
from finishlab.matching.ranking import Ranking
from finishlab.quality import Doubt

__all__ = ["AcrossLights", "BoardAcrossLights"]


@dataclass(frozen=True, slots=True)
class BoardAcrossLights:
    """One board against the floor in every light both were photographed in."""

    board: str
    by_light: dict[str, DeltaE]
    """Light -> CIEDE2000 from the floor in that light."""
    places: dict[str, int]
    """Light -> the board's place in that light."""
    worst: str
    """The light in which it is farthest from the floor."""
    worst_place: int
    """Its place when each board is judged by its worst light; 1 is the best."""
    move: float | None = None
    """Largest change of its CIEDE2000 between the first light and another; None in one light."""
    move_light: str | None = None
    """The other light of that change."""
    metamerism: DeltaE | None = None
    """Metamerism index: what is left in the other light once the difference in the first is taken out (the idea of
    ISO 18314-4, with its multiplicative correction), with its 95 % interval."""
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class AcrossLights:
    """All lights together."""

    lights: tuple[NamedLight, ...]
    """The first is the one the main ranking is for."""
    rankings: dict[str, Ranking] = field(default_factory=dict)
    """Light -> ranking in that light alone."""
    boards: tuple[BoardAcrossLights, ...] = ()
    """Boards seen in every light, from the best by worst light on."""
    doubts: tuple[Doubt, ...] = ()
    """Where the order flips; which photo is missing."""
    missing: tuple[str, ...] = ()
    """In words, which photos would let every board be judged in a second light."""
