"""The stair's parts as plans see them: shapes and areas, and the way up over them.

A part is a board seen from above: a front edge, a back edge parallel to it, a depth between them, a thickness. Where
it is not square its sides lean, and two interior angles at the front edge say how. Lengths are in millimetres, areas of
faces in square metres.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Final, Literal

from finishlab.errors import UsageError
from finishlab.stair.names import PartKind, PartName
from finishlab.units import likely_length

WALKED_ON: Final[tuple[PartKind, ...]] = ("tread", "landing nosing", "landing board")
"""Parts a person steps on, on the way up."""

Edge = Literal["square", "half-round"]
_STEEPEST: Final = 20.0
"""Least interior angle that can be meant, degrees; the greatest is 180 less this (common practice, no source)."""
_TAPE_MM: Final = 2.0
_GAUGE_DEGREES: Final = 0.5
"""What a tape and an angle gauge leave open of one reading (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Shape:
    """A board: what it measures, seen from below the stair, left and right as one climbs.

    Parameters
    ----------
    front
        Width of the front edge, mm; the length of a riser, skirt or nosing.
    depth
        Perpendicular distance from front to back edge, mm; the height of a riser.
    thickness
        Millimetres.
    back
        Width of the back edge, mm, where it was measured; None where the angles say it, or where it is the front's.
    left, right
        Interior angles at the front edge, degrees, where they were measured; 90 is square.
    edge
        The front edge: ``square``, or ``half-round``.

    Raises
    ------
    UsageError
        ``"bad-size"``, ``"bad-angle"``, ``"sides-cross"``, ``"back-contradicts-angles"``.
    """

    front: float
    depth: float
    thickness: float
    back: float | None = None
    left: float | None = None
    right: float | None = None
    edge: Edge = "square"

    def __post_init__(self) -> None:
        for name in ("front", "depth", "thickness", "back"):
            value = getattr(self, name)
            if value is not None and not 0 < value < math.inf:
                raise UsageError("bad-size", f"The {name} of a part cannot be {value:g} mm.", "Measure it again.")
        for side, angle in (("left", self.left), ("right", self.right)):
            if angle is not None and not _STEEPEST <= angle <= 180 - _STEEPEST:
                raise UsageError(
                    "bad-angle",
                    f"The {side} angle of a part cannot be {angle:g} degrees.",
                    "Give the angle inside the tread, between front edge and side; 90 is square.",
                )
        for side, angle in zip(("left", "right"), self.angles, strict=True):
            if not _STEEPEST <= angle <= 180 - _STEEPEST:
                raise UsageError(
                    "back-contradicts-angles",
                    f"With this back width the {side} angle would be {angle:.0f} degrees.",
                    "Measure front, back, depth and the other angle again.",
                )
        if self.back is not None and None in (self.left, self.right):
            return
        leaning = back_width(self.front, self.depth, self.left or 90.0, self.right or 90.0)
        open_mm = _TAPE_MM + 2 * self.depth * math.tan(math.radians(_GAUGE_DEGREES))
        if self.back is not None and abs(leaning - self.back) > open_mm:
            raise UsageError(
                "back-contradicts-angles",
                f"With these angles the back is {leaning:.0f} mm wide, not {self.back:.0f} mm.",
                "Measure again, or give the back with one of the angles.",
            )

    @property
    def back_mm(self) -> float:
        """Width of the back edge, mm: as measured, else as the angles have it."""
        return back_width(self.front, self.depth, *self.angles) if self.back is None else self.back

    @property
    def angles(self) -> tuple[float, float]:
        """Left and right angle, degrees: as measured, or worked out so that a measured back width is kept.

        Front, depth, back and one angle leave one solution: cot right = (front - back) / depth - cot left. Of both
        angles and the back, which a tape tells better, each angle takes half of what is left over. With a back alone
        both sides are taken to lean alike, see `lean_known`; with neither the missing angle is square.
        """
        if self.back is None:
            return self.left or 90.0, self.right or 90.0
        both = (self.front - self.back) / self.depth
        left, right = (None if angle is None else _cot(angle) for angle in (self.left, self.right))
        if left is None or right is None:
            known = both / 2 if left is None and right is None else (left or 0.0) + (right or 0.0)
            left, right = (both - known if left is None else left), (both - known if right is None else right)
        over = (both - left - right) / 2
        return _angle(left + over), _angle(right + over)

    @property
    def lean_known(self) -> bool:
        """Whether it is said which side leans, where front and back differ."""
        told = self.left is not None or self.right is not None
        return told or self.back is None or abs(self.back - self.front) <= _TAPE_MM

    @property
    def solved(self) -> tuple[str, ...]:
        """Which angles were worked out from a measured back width: ``left``, ``right``."""
        sides = (("left", self.left), ("right", self.right))
        return () if self.back is None or self.is_square else tuple(side for side, angle in sides if angle is None)

    @property
    def is_square(self) -> bool:
        """Whether front and back are of one width and the sides stand square, to a tenth of a millimetre."""
        return abs(self.back_mm - self.front) < 0.1 and all(abs(angle - 90) < 0.005 for angle in self.angles)


@dataclass(frozen=True, slots=True)
class FaceAreas:
    """Areas of a part's faces, m2."""

    top: float
    underside: float
    front: float
    back: float
    ends: float

    @property
    def edges(self) -> float:
        """Front, back and both ends."""
        return self.front + self.back + self.ends


@dataclass(frozen=True, slots=True)
class Corners:
    """Where a part's corners lie, mm: x along the front edge from its left corner, y towards the back."""

    front_left: tuple[float, float]
    front_right: tuple[float, float]
    back_left: tuple[float, float]
    back_right: tuple[float, float]

    @property
    def blank(self) -> float:
        """Length of the rectangle it is cut from, along the front edge, mm."""
        xs = [corner[0] for corner in (self.front_left, self.front_right, self.back_left, self.back_right)]
        return max(xs) - min(xs)

    @property
    def diagonals(self) -> tuple[float, float]:
        """Front left to back right, and front right to back left, mm: what a tape checks."""
        return math.dist(self.front_left, self.back_right), math.dist(self.front_right, self.back_left)

    @property
    def sides(self) -> tuple[float, float]:
        """Lengths of the left and the right side, mm."""
        return math.dist(self.front_left, self.back_left), math.dist(self.front_right, self.back_right)


def back_width(front: float, depth: float, left: float, right: float) -> float:
    """Return the width of the back edge: B = F - D (cot left + cot right), plane geometry.

    Parameters
    ----------
    front, depth
        Width of the front edge and perpendicular depth, in one unit.
    left, right
        Interior angles at the front edge, degrees.

    Raises
    ------
    UsageError
        ``"sides-cross"`` if the sides meet before they reach the back.
    """
    back = front - depth * (_cot(left) + _cot(right))
    if back <= 0:
        raise UsageError(
            "sides-cross", "The sides meet before they reach the back edge.", "Measure depth and angles again."
        )
    return back


def corners(shape: Shape) -> Corners:
    """Return where the corners lie."""
    lean_left = shape.depth * _cot(shape.angles[0])
    return Corners((0.0, 0.0), (shape.front, 0.0), (lean_left, shape.depth), (lean_left + shape.back_mm, shape.depth))


def face_areas(shape: Shape) -> FaceAreas:
    """Return the areas of the faces, m2.

    Top and underside are (front + back) / 2 times the perpendicular depth; an edge is its length times the thickness; a
    half-round front is pi/2 times that, its curve laid flat. That the half-round takes a little of top and underside
    away is left out, which errs on the side of enough.
    """
    flat = (shape.front + shape.back_mm) / 2 * shape.depth
    curve = math.pi / 2 if shape.edge == "half-round" else 1.0
    return FaceAreas(
        top=flat / 1e6,
        underside=flat / 1e6,
        front=shape.front * shape.thickness * curve / 1e6,
        back=shape.back_mm * shape.thickness / 1e6,
        ends=sum(corners(shape).sides) * shape.thickness / 1e6,
    )


def _cot(degrees: float) -> float:
    return 0.0 if degrees == 90.0 else 1 / math.tan(math.radians(degrees))


def _angle(cot: float) -> float:
    return 90.0 if cot == 0.0 else math.degrees(math.atan2(1.0, cot))


def unlikely_sizes(sizes: Iterable[tuple[PartKind, Shape]]) -> tuple[str, ...]:
    """Return a sentence for each size that treads and risers hardly have; see `finishlab.units.LIKELY`."""
    found: dict[str, None] = {}
    for kind, shape in sizes:
        if kind not in {"tread", "riser"}:
            continue
        for name in ("front", "depth", "thickness"):
            value, likely = getattr(shape, name), likely_length(kind, name)
            if likely is not None and not likely[0] <= value <= likely[1]:
                what = "height" if name == "depth" and kind == "riser" else name
                found[f"A {kind} with a {what} of {value:g} mm is unusual."] = None
    return tuple(found)


_ORDER = {"tread": 0, "landing nosing": 1, "landing board": 2}
Climb = Literal["single", "double", "none"]
"""How one gets up: step by step, over closed steps one at a time, or not at all."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to step on, on the way up: a tread, a top nosing, half a landing, or a landing of one piece.

    Parameters
    ----------
    parts
        What it is made of; several boards only for half a landing.
    blocks
        Whether it cannot be stepped over, and nothing beside it can be stepped on: a landing of one piece.
    """

    parts: tuple[PartName, ...]
    blocks: bool = False


def way_up(parts: Iterable[PartName]) -> tuple[Step, ...]:
    """Return what one steps on from the bottom up.

    In each flight the treads come first, then a top nosing, then landing boards. A landing of two boards
    or more is two steps, half of its boards each, so that the other half can be walked on.
    """
    walked = sorted(
        (part for part in parts if part.kind in WALKED_ON), key=lambda part: (part.level, _ORDER[part.kind], part.place)
    )
    steps: list[Step] = []
    for (_, kind), group in itertools.groupby(walked, key=lambda part: (part.level, part.kind)):
        each = tuple(group)
        if kind != "landing board":
            steps += [Step((part,)) for part in each]
        elif len(each) == 1:
            steps.append(Step(each, blocks=True))
        else:
            half = len(each) // 2
            steps += [Step(each[:half]), Step(each[half:])]
    return tuple(steps)


def alternating(steps: Sequence[Step]) -> tuple[tuple[Step, ...], ...]:
    """Return groups to work on one after the other, none of which holds two neighbours.

    First every second step, then those between, then each landing that nothing leads past.
    """
    groups: tuple[list[Step], list[Step]] = ([], [])
    open_steps = [step for step in steps if not step.blocks]
    for number, step in enumerate(open_steps):
        groups[number % 2].append(step)
    alone = [[step] for step in steps if step.blocks]
    return tuple(tuple(group) for group in (*groups, *alone) if group)


def parted(
    steps: Sequence[Step], shut: AbstractSet[PartName]
) -> tuple[tuple[PartName, ...], tuple[PartName, ...], Climb]:
    """Return what is closed and what is open of the way up, and how one gets up."""
    walked = [part for step in steps for part in step.parts]
    barred = [any(part in shut for part in step.parts) for step in steps]
    alone = any(step.blocks and closed for step, closed in zip(steps, barred, strict=True))
    stuck = alone or any(map(all, itertools.pairwise(barred)))
    climb: Climb = "none" if stuck else "double" if any(barred) else "single"
    return tuple(part for part in walked if part in shut), tuple(part for part in walked if part not in shut), climb
