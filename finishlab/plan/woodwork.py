"""What a carpenter reckons: what to cut each tread to, whether the risers still fit, and boxes of floor.

A tread is cut from a rectangle as long as its longest reach and as wide as its depth. Where a board is wide enough two
rectangles or more lie side by side; where it is narrower than a tread, strips are glued up. The layout is a good one
(the longest piece first, into the first board that takes it), not proven to be the least.

After a new floor and new treads only the first and the last riser change: the new floor raises where one stands, the
new treads raise where one steps. The figures of the model code are those of the International Residential Code, 2018
edition, section R311.7, as they are often quoted. **The local code and the inspector decide; editions and amendments
differ.**
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError
from finishlab.plan.parts import Shape, corners
from finishlab.stair.names import PartName, full_name, need_flight
from finishlab.units import MM_PER_INCH, length_text

KERF: Final = 3.2
"""Width of a saw cut, mm (1/8 in; common practice, no source)."""
ALLOWANCE: Final = 25.0
"""Length added to each rectangle for cutting to fit, mm (common practice, no source)."""
SPARES: Final = 1
"""Treads more than are needed (common practice, no source)."""
_TOLERANCE: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Stock:
    """A board on sale: millimetres, and its price where it is known.

    Raises
    ------
    UsageError
        ``"bad-stock"``.
    """

    length: float
    width: float
    price: float | None = None

    def __post_init__(self) -> None:
        if not (0 < self.length < math.inf and 0 < self.width < math.inf):
            raise UsageError("bad-stock", "A board has a length and a width.", "Write for example 96inx12in.")
        if self.price is not None and not 0 <= self.price < 1e9:
            raise UsageError("bad-price", f"A board does not cost {self.price:g}.", "Give the price of one board.")


@dataclass(frozen=True, slots=True)
class Piece:
    """One rectangle to cut.

    Parameters
    ----------
    name
        The part, or ``spare``.
    length, width
        Of the rectangle, mm, the allowance included in the length.
    strips
        Across how many strips it is glued up; 1 for a whole board.
    part, shape
        The part to cut from it and what it measures; None for a spare.
    """

    name: str
    length: float
    width: float
    strips: int
    part: PartName | None
    shape: Shape | None = None

    @property
    def strip_width(self) -> float:
        """How wide each strip is once its edges are clean, mm: all alike, since a narrow one shows."""
        return self.width / self.strips

    @property
    def outline(self) -> tuple[float, ...]:
        """Front, back, depth, left and right side, and both diagonals of the finished part, mm; none for a spare."""
        if self.shape is None:
            return ()
        shape, found = self.shape, corners(self.shape)
        return (shape.front, shape.back_mm, shape.depth, *found.sides, *found.diagonals)


@dataclass(frozen=True, slots=True)
class CutBoard:
    """One board and what is cut from it: lanes side by side, each with the names of its pieces in order."""

    stock: Stock
    lanes: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """Pieces and boards."""

    pieces: tuple[Piece, ...]
    boards: tuple[CutBoard, ...]
    kerf: float
    allowance: float

    @property
    def cost(self) -> float | None:
        """What the boards cost; None where a price is not known."""
        prices = [board.stock.price for board in self.boards]
        return None if None in prices else sum(price for price in prices if price is not None)

    @property
    def used_share(self) -> float:
        """Area of the pieces over the area of the boards."""
        pieces = sum(piece.length * piece.width for piece in self.pieces)
        return pieces / sum(board.stock.length * board.stock.width for board in self.boards)


def plan_cutting(
    parts: Mapping[PartName, Shape],
    stock: Sequence[Stock],
    *,
    kerf: float = KERF,
    allowance: float = ALLOWANCE,
    spares: int = SPARES,
    us: bool = False,
) -> CuttingPlan:
    """Return what to cut, and from which boards.

    Parameters
    ----------
    parts
        Treads, or other parts cut from the same boards, and what they measure.
    stock
        Boards on sale, all of one width.
    kerf, allowance
        Millimetres.
    spares
        Pieces more, as large as the largest (common practice, no source).
    us
        Whether what is refused is told in inches too.

    Raises
    ------
    UsageError
        ``"nothing-to-cut"``, ``"no-stock"``, ``"stock-widths-differ"``, ``"stock-too-short"``, ``"bad-allowance"``,
        ``"which-side-leans"`` for a tread whose back was measured and none of its angles.
    """
    if not parts:
        raise UsageError("nothing-to-cut", "No tread is given.", "Give the treads, for example --treads 13.")
    if not stock:
        raise UsageError("no-stock", "No board is given.", "Give what the shop sells, for example --stock 96inx12in.")
    width = stock[0].width
    if any(abs(each.width - width) > _TOLERANCE for each in stock):
        raise UsageError("stock-widths-differ", "The boards differ in width.", "Plan each width on its own.")
    if kerf < 0 or allowance < 0 or not 0 <= spares <= 100:
        raise UsageError(
            "bad-allowance", "Saw cut, allowance and spares are not below 0.", "Leave them out, or give 0."
        )
    _need_leans(parts, us=us)
    pieces = _pieces(parts, width, kerf, allowance, spares)
    longest = max(each.length for each in stock)
    if pieces[0].length > longest + _TOLERANCE:
        raise UsageError(
            "stock-too-short",
            f"{pieces[0].name.capitalize()} needs {pieces[0].length:.0f} mm; the longest board has {longest:.0f} mm.",
            "Give longer boards, or a smaller --allowance.",
        )
    layouts = [_lay_out(pieces, stock, each.length, width, kerf) for each in _long_enough(stock, pieces[0].length)]
    boards = min(layouts, key=lambda each: (_cost(each), len(each)))
    return CuttingPlan(tuple(sorted(pieces, key=_order)), tuple(boards), kerf, allowance)


def _need_leans(parts: Mapping[PartName, Shape], *, us: bool) -> None:
    """Refuse a part of which nobody says which side leans."""
    for part, shape in parts.items():
        if shape.lean_known:
            continue
        name = full_name(part, several=need_flight(parts))
        front, back = (length_text(each, us=us) for each in (shape.front, shape.back_mm))
        raise UsageError(
            "which-side-leans",
            f"{name.capitalize()} is {front} wide in front and {back} at the back, and no angle says which side leans.",
            "Measure one angle at the front edge, 90 where that side is square: finishlab stairs edit "
            f"{name} --left-angle 90, or --odd {part.place}:left=90,... of a stair by options.",
        )


def _pieces(parts: Mapping[PartName, Shape], width: float, kerf: float, allowance: float, spares: int) -> list[Piece]:
    """Return the rectangles, the longest first."""
    several = need_flight(parts)
    found = []
    for part, shape in parts.items():
        name, strips = full_name(part, several=several), _strips(shape.depth, width, kerf)
        found.append(Piece(name, corners(shape).blank + allowance, shape.depth, strips, part, shape))
    longest, deepest = max(piece.length for piece in found), max(piece.width for piece in found)
    for number in range(1, spares + 1):
        name = "spare" if spares == 1 else f"spare {number}"
        found.append(Piece(name, longest, deepest, _strips(deepest, width, kerf), None))
    return sorted(found, key=lambda piece: -piece.length)


def _order(piece: Piece) -> tuple[int, int, str, int, str]:
    part = piece.part
    return (1, 0, "", 0, piece.name) if part is None else (0, part.level, part.kind, part.place, "")


def _strips(depth: float, width: float, kerf: float) -> int:
    """Return across how many strips a depth is glued up; each joint costs one saw cut for its clean edge."""
    if depth <= width + _TOLERANCE:
        return 1
    return math.ceil((depth - _TOLERANCE) / max(width - kerf, _TOLERANCE))


def _long_enough(stock: Sequence[Stock], length: float) -> list[Stock]:
    return [each for each in stock if each.length >= length - _TOLERANCE]


def _cost(boards: Sequence[CutBoard]) -> float:
    """Return what counts: the price where it is known, else the length bought."""
    priced = all(board.stock.price is not None for board in boards)
    return sum((board.stock.price or 0.0) if priced else board.stock.length for board in boards)


def _lay_out(
    pieces: Sequence[Piece], stock: Sequence[Stock], limit: float, width: float, kerf: float
) -> list[CutBoard]:
    """Fill lanes no longer than `limit`, put lanes of one length side by side, take the cheapest board for each."""
    lanes: list[list[tuple[float, str]]] = []
    used: list[float] = []
    for piece in pieces:
        for _ in range(piece.strips):
            # The last cut of a lane falls off the board's end, so n pieces take n - 1 cuts.
            place = next((n for n, end in enumerate(used) if end + kerf + piece.length <= limit + _TOLERANCE), None)
            if place is None:
                lanes.append([(piece.length, piece.name)])
                used.append(piece.length)
            else:
                lanes[place].append((piece.length, piece.name))
                used[place] += kerf + piece.length
    deepest = max(piece.width for piece in pieces)
    side_by_side = max(1, math.floor((width + kerf) / (deepest + kerf) + _TOLERANCE))
    filled = sorted(zip(used, lanes, strict=True), key=lambda lane: -lane[0])
    boards = []
    for start in range(0, len(filled), side_by_side):
        group = filled[start : start + side_by_side]
        fits = _long_enough(stock, group[0][0])
        priced = all(each.price is not None for each in stock)
        board = min(fits, key=lambda each: ((each.price or 0.0) if priced else 0.0, each.length))
        boards.append(CutBoard(board, tuple(tuple(name for _, name in lane) for _, lane in group)))
    return boards


CODE: Final = "International Residential Code (US model code), 2018 edition, section R311.7"
WHO_DECIDES: Final = "The local code and the inspector decide; editions and amendments differ."

_MOST_RISER: Final = 7.75 * MM_PER_INCH
_MOST_VARIATION: Final = 0.375 * MM_PER_INCH
"""Between the largest and the smallest riser of a flight, mm."""
_LEAST_TREAD: Final = 10 * MM_PER_INCH
NOSING: Final = (0.75 * MM_PER_INCH, 1.25 * MM_PER_INCH)
NO_NOSING_FROM: Final = 11 * MM_PER_INCH
"""From this tread depth on no nosing is asked for, mm (R311.7.5.3, exception; from memory)."""
_ROUNDING: Final = 0.01
"""Millimetres: what rounding of inches does."""


@dataclass(frozen=True, slots=True)
class CodeFigure:
    """One figure held against the model code: mm; a limit that is not set is None."""

    what: str
    value: float
    least: float | None = None
    most: float | None = None

    @property
    def holds(self) -> bool:
        """Whether it is within the limits, to a hundredth of a millimetre."""
        above = self.least is None or self.value >= self.least - _ROUNDING
        return above and (self.most is None or self.value <= self.most + _ROUNDING)


@dataclass(frozen=True, slots=True)
class RiserCheck:
    """Risers of one flight before and after, mm, from the bottom up, and the figures held against the model code.

    ``tread_allowed`` is from which to which thickness added to each tread the risers would hold, None if no thickness
    does.
    """

    before: tuple[float, ...]
    after: tuple[float, ...]
    figures: tuple[CodeFigure, ...]
    tread_allowed: tuple[float, float] | None
    tread_now: float | None = None
    """Thickness of the treads that are taken out, mm; None where new ones lie on them, or nobody says."""
    tread_added: float = 0.0
    """By how much each tread becomes higher, mm."""
    nosing_open: bool = False
    """Whether the treads are so shallow that a nosing is asked for, and none was measured."""

    @property
    def thickness_allowed(self) -> tuple[float, float] | None:
        """The thinnest and the thickest new tread with which the risers hold, mm, where the old ones are taken out."""
        if self.tread_now is None or self.tread_allowed is None:
            return None
        low, high = (self.tread_now + added for added in self.tread_allowed)
        return (max(low, 0.0), high) if high > 0 else None

    @property
    def variation(self) -> float:
        """Largest less smallest riser afterwards, mm."""
        return max(self.after) - min(self.after)

    @property
    def holds(self) -> bool:
        """Whether every figure is within the model code's."""
        return all(figure.holds for figure in self.figures)


def check_risers(
    risers: Sequence[float],
    *,
    tread_added: float = 0.0,
    lower_added: float = 0.0,
    upper_added: float = 0.0,
    tread_depth: float | None = None,
    nosing: float | None = None,
    tread_now: float | None = None,
) -> RiserCheck:
    """Return the risers of a flight after new coverings, held against the model code.

    The first riser becomes r1 + tread added - lower floor added, the last rN + upper floor added - tread added, those
    between stay (arithmetic). A single riser stands between both floors and has no tread.

    Parameters
    ----------
    risers
        Heights now, mm, from the bottom up, floor to tread to floor.
    tread_added
        By how much each tread becomes higher, mm: new tread less what is taken away; may be negative.
    lower_added, upper_added
        By how much the floor below and above becomes higher, mm.
    tread_depth
        Nosing to nosing, mm, if it is to be checked.
    nosing
        How far a tread stands out over its riser, mm, if it is to be checked. Treads of 11 in and more need none; one
        that is there is still held against the most.
    tread_now
        Thickness of the treads that are taken out, mm: then the thinnest and thickest new one are known too.

    Raises
    ------
    UsageError
        ``"no-risers"``; ``"bad-riser"`` if a riser is or becomes no height at all.
    """
    if not risers:
        raise UsageError("no-risers", "No riser is given.", "Measure each riser, from the bottom up.")
    after = _after(risers, tread_added, lower_added, upper_added)
    for number, (old, new) in enumerate(zip(risers, after, strict=True), start=1):
        if not 0 < old < 1000 or new <= 0:
            raise UsageError("bad-riser", f"Riser {number} cannot be {min(old, new):.1f} mm.", "Measure it again.")
    figures = [
        CodeFigure("highest riser", max(after), most=_MOST_RISER),
        CodeFigure("risers differ by", max(after) - min(after), most=_MOST_VARIATION),
    ]
    if tread_depth is not None:
        figures.append(CodeFigure("tread, nosing to nosing", tread_depth, least=_LEAST_TREAD))
    asked = tread_depth is None or tread_depth < NO_NOSING_FROM - _ROUNDING
    if nosing is not None:
        figures.append(CodeFigure("nosing", nosing, least=NOSING[0] if asked else None, most=NOSING[1]))
    allowed = _tread_allowed(risers, lower_added, upper_added)
    nosing_open = tread_depth is not None and asked and nosing is None
    return RiserCheck(tuple(risers), after, tuple(figures), allowed, tread_now, tread_added, nosing_open)


def _after(risers: Sequence[float], tread: float, lower: float, upper: float) -> tuple[float, ...]:
    new = list(risers)
    if len(new) == 1:
        tread = 0.0
    new[0] += tread - lower
    new[-1] += upper - tread
    return tuple(new)


def _tread_allowed(risers: Sequence[float], lower: float, upper: float) -> tuple[float, float] | None:
    """Return between which thicknesses added all risers hold; each rule is linear in the thickness."""
    if len(risers) == 1:
        return None
    first, last, between = risers[0] - lower, risers[-1] + upper, risers[1:-1]
    least, most = [last - _MOST_RISER], [_MOST_RISER - first]
    for each in (max(between), min(between)) if between else ():
        least += [each - _MOST_VARIATION - first, last - each - _MOST_VARIATION]
        most += [each + _MOST_VARIATION - first, last - each + _MOST_VARIATION]
    least.append((last - first - _MOST_VARIATION) / 2)
    most.append((last - first + _MOST_VARIATION) / 2)
    if between and (max(between) > _MOST_RISER or max(between) - min(between) > _MOST_VARIATION):
        return None
    low, high = max(least), min(most)
    return (low, high) if low <= high + _ROUNDING else None


FLOOR_WASTE: Final = 0.10
"""Share of boards lost in cutting: 5 to 10 % is usual (common practice, no source)."""


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
