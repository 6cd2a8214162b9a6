"""How much liquid: areas times coats and waste over coverage, in cans, with the range the coverage leaves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError
from finishlab.plan.geometry import UPRIGHT, Part, face_areas

__all__ = ["DEFAULT_WASTE", "Can", "Coats", "Need", "Purchase", "coat_area", "need", "purchase"]

DEFAULT_WASTE: Final = 0.15
"""Share of a liquid lost in can, rag and brush: 10 to 20 % is usual (common practice, no source)."""
_MOST_COATS: Final = 8
_TOLERANCE: Final = 1e-9
"""What is exactly full is not rounded up to another can by the last binary digit."""
_MOST_MIXED: Final = 20
"""Of more than this many of the largest cans, the rest is not worth trying other mixtures for."""


@dataclass(frozen=True, slots=True)
class Coats:
    """How many coats which faces get.

    Parameters
    ----------
    top
        Coats on the face that shows.
    edges
        Coats on front, back and ends; None: as many as on the top.
    under
        Coats on the underside.

    Raises
    ------
    UsageError
        ``"coats-out-of-range"``.
    """

    top: int
    edges: int | None = None
    under: int = 0

    @property
    def on_edges(self) -> int:
        """Coats on front, back and ends."""
        return self.top if self.edges is None else self.edges

    def __post_init__(self) -> None:
        for count in (self.top, self.edges or 0, self.under):
            if not 0 <= count <= _MOST_COATS:
                raise UsageError(
                    "coats-out-of-range", f"{count} coats cannot be meant.", f"Give a number from 0 to {_MOST_COATS}."
                )


@dataclass(frozen=True, slots=True)
class Need:
    """What is needed of one liquid.

    Parameters
    ----------
    coat_area
        Area times coats, m2.
    waste
        Share added.
    coverage
        Least and most one litre covers, m2/L.
    """

    coat_area: float
    waste: float
    coverage: tuple[float, float]

    @property
    def litres(self) -> tuple[float, float]:
        """Least and most that is needed, waste included."""
        least, most = self.coverage
        whole = self.coat_area * (1 + self.waste)
        return whole / most, whole / least


@dataclass(frozen=True, slots=True)
class Can:
    """A can on sale.

    Raises
    ------
    UsageError
        ``"bad-volume"``, ``"bad-price"``.
    """

    litres: float
    price: float | None = None
    label: str = ""
    """How its size was written: ``1qt``."""
    currency: str = ""
    """Of its price, where that is written down."""

    def __post_init__(self) -> None:
        if not 0 < self.litres <= 1000:
            raise UsageError("bad-volume", f"A can does not hold {self.litres:g} L.", "Write for example 1qt or 2.5L.")
        if self.price is not None and not 0 <= self.price < 1e9:
            raise UsageError("bad-price", f"A can does not cost {self.price:g}.", "Write for example 1qt=18.50.")

    @property
    def name(self) -> str:
        """Its size as written, else in litres."""
        return self.label or f"{self.litres:g} L"


@dataclass(frozen=True, slots=True)
class Purchase:
    """Cans to buy, the largest first, each with how many."""

    cans: tuple[tuple[Can, int], ...]

    @property
    def litres(self) -> float:
        """What they hold together."""
        return sum(can.litres * count for can, count in self.cans)

    @property
    def words(self) -> str:
        """``"1 x 1gal and 2 x 1qt"``."""
        return " and ".join(f"{count} x {can.name}" for can, count in self.cans)

    @property
    def currency(self) -> str:
        """Currency of the cost; empty where none is written down, or not one for all."""
        named = {can.currency for can, _ in self.cans}
        return named.pop() if len(named) == 1 else ""

    @property
    def cost(self) -> float | None:
        """What they cost together; None where a price is not known, or not in one currency."""
        if len({can.currency for can, _ in self.cans}) > 1:
            return None
        total = 0.0
        for can, count in self.cans:
            if can.price is None:
                return None
            total += can.price * count
        return total


def coat_area(parts: Iterable[Part], coats: Coats) -> float:
    """Return the area of parts times the coats each face gets, m2; of what stands upright the face that shows alone."""
    total = 0.0
    for part in parts:
        areas = face_areas(part.shape)
        total += coats.top * areas.top
        if part.kind not in UPRIGHT:
            total += coats.on_edges * areas.edges + coats.under * areas.underside
    return total


def need(area: float, coverage: tuple[float, float], waste: float = DEFAULT_WASTE) -> Need:
    """Return what is needed for an area times coats.

    Raises
    ------
    UsageError
        ``"bad-waste"`` if the waste is not from 0 to below 1; ``"bad-coverage"`` if a coverage is not above 0.
    """
    if not 0 <= waste < 1:
        raise UsageError("bad-waste", f"{waste * 100:g} % waste cannot be meant.", "10 to 20 % is usual.")
    least, most = coverage
    if not 0 < least <= most:
        raise UsageError("bad-coverage", "A litre covers more than nothing.", "Copy the coverage from the label.")
    return Need(area, waste, (least, most))


def purchase(litres: float, cans: Sequence[Can]) -> Purchase:
    """Return which cans to buy so that they hold at least so much.

    The cheapest where every price is known, else what leaves least over; then the fewest cans.

    Raises
    ------
    UsageError
        ``"no-cans"`` if no size is given, ``"too-many-sizes"`` for more than four.
    """
    sizes = sorted(cans, key=lambda can: (-can.litres, can.price or 0.0, can.label))
    if not sizes:
        raise UsageError("no-cans", "No can size is given.", "Give what the shop sells, for example --can-size 1qt.")
    if len(sizes) > 4:
        raise UsageError("too-many-sizes", "More than four can sizes are given.", "Leave out those you will not buy.")
    if litres <= 0:
        return Purchase(())
    bulk = max(0, math.floor(litres / sizes[0].litres) - _MOST_MIXED)
    rest = litres - bulk * sizes[0].litres
    priced = all(can.price is not None for can in sizes) and len({can.currency for can in sizes}) == 1
    best: tuple[tuple[float, float, int], tuple[int, ...]] | None = None
    for counts in _mixtures(rest, sizes):
        held = sum(count * can.litres for count, can in zip(counts, sizes, strict=True))
        cost = sum(count * (can.price or 0.0) for count, can in zip(counts, sizes, strict=True)) if priced else 0.0
        rank = (round(cost, 6), round(held, 9), sum(counts))
        if best is None or rank < best[0]:
            best = (rank, counts)
    chosen = best[1] if best else ()
    bought = (
        (can, count + (bulk if number == 0 else 0))
        for number, (can, count) in enumerate(zip(sizes, chosen, strict=True))
    )
    return Purchase(tuple((can, count) for can, count in bought if count))


def _mixtures(litres: float, sizes: Sequence[Can]) -> Iterable[tuple[int, ...]]:
    """Give the mixtures worth trying: any number of the larger cans, filled up with the smallest."""
    *larger, smallest = sizes
    ranges = (range(min(_MOST_MIXED + 1, _enough(litres, can.litres)) + 1) for can in larger)
    for counts in itertools.product(*ranges):
        rest = litres - sum(count * can.litres for count, can in zip(counts, larger, strict=True))
        yield (*counts, max(0, _enough(rest, smallest.litres)))


def _enough(litres: float, size: float) -> int:
    return math.ceil(litres / size - _TOLERANCE)
