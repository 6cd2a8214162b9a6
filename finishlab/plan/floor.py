"""How many boxes of floor: area, waste, boxes rounded up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError

__all__ = ["FLOOR_WASTE", "FloorPurchase", "floor_purchase"]

FLOOR_WASTE: Final = 0.10
"""Share of boards lost in cutting: 5 to 10 % is usual (common practice, no source)."""
_TOLERANCE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class FloorPurchase:
    """What to buy of a floor: areas in m2, the share lost in cutting, boxes, and the cost where a price was given."""

    area: float
    waste: float
    box_area: float
    boxes: int
    cost: float | None

    @property
    def with_waste(self) -> float:
        """The area with what cutting loses, m2."""
        return self.area * (1 + self.waste)

    @property
    def bought(self) -> float:
        """What the boxes hold, m2."""
        return self.boxes * self.box_area


def floor_purchase(
    areas: Sequence[float], box_area: float, waste: float = FLOOR_WASTE, box_price: float | None = None
) -> FloorPurchase:
    """Return how many boxes a floor takes.

    Parameters
    ----------
    areas
        Of the rooms, m2.
    box_area
        What one box holds, m2.
    waste
        Share lost in cutting.
    box_price
        Of one box; None if unknown.

    Raises
    ------
    UsageError
        ``"no-area"``, ``"bad-area"``, ``"bad-waste"``, ``"bad-price"``.
    """
    if not areas:
        raise UsageError("no-area", "No room is given.", "Give each room, for example --room 12ftx14ft or --room 15m2.")
    if not all(0 < area < math.inf for area in (*areas, box_area)):
        raise UsageError("bad-area", "Rooms and boxes are larger than nothing.", "Give areas above 0.")
    if not 0 <= waste < 1:
        raise UsageError("bad-waste", f"{waste * 100:g} % waste cannot be meant.", "5 to 10 % is usual.")
    if box_price is not None and not 0 <= box_price < 1e9:
        raise UsageError("bad-price", f"A box does not cost {box_price:g}.", "Give the price of one box.")
    area = sum(areas)
    boxes = math.ceil(area * (1 + waste) / box_area - _TOLERANCE)
    return FloorPurchase(area, waste, box_area, boxes, None if box_price is None else boxes * box_price)
