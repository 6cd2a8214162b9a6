"""What to cut each tread to, and how many boards that takes.

A tread is cut from a rectangle as long as its longest reach and as wide as its depth. Where a board is wide enough two
rectangles or more lie side by side; where it is narrower than a tread, strips are glued up. The layout is a good one
(the longest piece first, into the first board that takes it), not proven to be the least.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError
from finishlab.plan.geometry import Part, corners
from finishlab.plan.way_up import full_name, need_flight
from finishlab.units import length_text

__all__ = ["ALLOWANCE", "KERF", "SPARES", "CuttingPlan", "Piece", "Stock", "plan_cutting"]

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
    part
        The part to cut from it; None for a spare.
    """

    name: str
    length: float
    width: float
    strips: int
    part: Part | None

    @property
    def strip_width(self) -> float:
        """How wide each strip is once its edges are clean, mm: all alike, since a narrow one shows."""
        return self.width / self.strips

    @property
    def outline(self) -> tuple[float, ...]:
        """Front, back, depth, left and right side, and both diagonals of the finished part, mm; none for a spare."""
        if self.part is None:
            return ()
        shape, found = self.part.shape, corners(self.part.shape)
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
    parts: Sequence[Part],
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
        Treads, or other parts cut from the same boards.
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


def _need_leans(parts: Sequence[Part], *, us: bool) -> None:
    """Refuse a part of which nobody says which side leans."""
    for part in parts:
        if part.shape.lean_known:
            continue
        name = full_name(part, several=need_flight(parts))
        front, back = (length_text(each, us=us) for each in (part.shape.front, part.shape.back_mm))
        raise UsageError(
            "which-side-leans",
            f"{name.capitalize()} is {front} wide in front and {back} at the back, and no angle says which side leans.",
            "Measure one angle at the front edge, 90 where that side is square: finishlab stairs edit "
            f"{name} --left-angle 90, or --odd {part.place}:left=90,... of a stair by options.",
        )


def _pieces(parts: Sequence[Part], width: float, kerf: float, allowance: float, spares: int) -> list[Piece]:
    """Return the rectangles, the longest first."""
    several = need_flight(parts)
    found = []
    for part in parts:
        depth = part.shape.depth
        name = full_name(part, several=several)
        found.append(Piece(name, corners(part.shape).blank + allowance, depth, _strips(depth, width, kerf), part))
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
