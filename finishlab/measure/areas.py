"""Areas named by hand, in pixels of the upright, full-size photo: known greys and the surface to measure."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Self

from finishlab.errors import UsageError

if TYPE_CHECKING:
    import numpy as np

_WHOLE: Final = re.compile(r"\s*[+-]?[0-9]{1,9}\s*")
_HINT_RECT: Final = (
    "Write X,Y,W,H in whole pixels of the upright, full-size photo: left, top, width, height; "
    "for example 900,400,300,200."
)
_HINT_POLYGON: Final = (
    "Write X,Y,X,Y,X,Y... in whole pixels of the upright, full-size photo: three corners or more, in order around the "
    "surface; for example 900,400,1300,420,1280,700,910,690."
)
_HINT_COLOUR: Final = (
    "Write X,Y,W,H:L,A,B with the patch's CIELAB (D65, 2 degrees), for example 900,400,60,60:65.7,18.1,17.8."
)
_HINT_GREY: Final = "Write X,Y,W,H:L with the grey's lightness L* from above 0 to 100, for example 120,80,60,40:50."


@dataclass(frozen=True, slots=True)
class PixelRect:
    """A rectangle in pixels of the upright, full-size photo.

    Raises
    ------
    UsageError
        ``"bad-rectangle"`` if it starts outside any photo or has no area.
    """

    x: int
    """Left-most pixel column."""
    y: int
    """Top-most pixel row."""
    width: int
    height: int

    def __post_init__(self) -> None:
        if self.x < 0 or self.y < 0 or self.width < 1 or self.height < 1:
            raise UsageError("bad-rectangle", f"“{self}” is no rectangle inside a photo.", _HINT_RECT)

    def __str__(self) -> str:
        return f"{self.x},{self.y},{self.width},{self.height}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the rectangle that ``"X,Y,W,H"`` names.

        Raises
        ------
        UsageError
            ``"bad-rectangle"``.
        """
        parts = text.split(",")
        if len(parts) != 4 or not all(_WHOLE.fullmatch(part) for part in parts):
            raise UsageError("bad-rectangle", f"“{text}” is not a rectangle.", _HINT_RECT)
        x, y, width, height = (int(part) for part in parts)
        return cls(x, y, width, height)

    @property
    def box(self) -> PixelRect:
        """The rectangle itself: every area has a box."""
        return self

    def holds(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return where a grid lies inside, shape (len(y), len(x)), bool; `x` and `y` in pixels."""
        import numpy as np

        across = (x > self.x - 0.5) & (x < self.x + self.width - 0.5)
        return np.asarray(across & ((y > self.y - 0.5) & (y < self.y + self.height - 0.5))[:, None])


@dataclass(frozen=True, slots=True)
class KnownColour:
    """A rectangle on something of known colour.

    Raises
    ------
    UsageError
        ``"bad-colour"`` if it is no colour a surface can have.
    """

    rect: PixelRect
    lab: tuple[float, float, float]
    """CIELAB D65 2 degrees."""

    def __post_init__(self) -> None:
        if not (all(math.isfinite(value) for value in self.lab) and 0.0 < self.lab[0] <= 100.0):
            raise UsageError("bad-colour", f"“{self}” names no colour a surface can have.", _HINT_COLOUR)

    def __str__(self) -> str:
        return f"{self.rect}:{','.join(f'{value:g}' for value in self.lab)}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the patch that ``"X,Y,W,H:L,A,B"`` names.

        Raises
        ------
        UsageError
            ``"bad-colour"`` or ``"bad-rectangle"``.
        """
        rect, _, colour = text.partition(":")
        try:
            lightness, a, b = (float(part) for part in colour.split(","))
        except ValueError:
            raise UsageError("bad-colour", f"“{text}” is not a patch of known colour.", _HINT_COLOUR) from None
        return cls(PixelRect.parse(rect), (lightness, a, b))


@dataclass(frozen=True, slots=True)
class PixelPolygon:
    """A polygon whose corners are pixel centres of the upright, full-size photo, in order around it.

    Raises
    ------
    UsageError
        ``"bad-polygon"`` if it has fewer than three corners, no area, or sides that cross or touch.
    """

    points: tuple[tuple[int, int], ...]

    def __post_init__(self) -> None:
        if len(self.points) < 3 or min(min(p) for p in self.points) < 0:
            raise UsageError("bad-polygon", f"“{self}” is no polygon inside a photo.", _HINT_POLYGON)
        doubled_area = sum(a[0] * b[1] - a[1] * b[0] for a, b in _sides(self.points))
        if _crosses_itself(self.points) or doubled_area == 0:
            raise UsageError("bad-polygon", f"The sides of the polygon {self} cross or touch.", _HINT_POLYGON)

    def __str__(self) -> str:
        return ",".join(f"{x},{y}" for x, y in self.points)

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the polygon that ``"X,Y,X,Y,X,Y..."`` names.

        Raises
        ------
        UsageError
            ``"bad-polygon"``.
        """
        parts = text.split(",")
        if len(parts) < 6 or len(parts) % 2 or not all(_WHOLE.fullmatch(part) for part in parts):
            raise UsageError("bad-polygon", f"“{text}” is not a polygon.", _HINT_POLYGON)
        numbers = [int(part) for part in parts]
        return cls(tuple(zip(numbers[::2], numbers[1::2], strict=True)))

    @property
    def box(self) -> PixelRect:
        """The smallest rectangle of pixels that holds it."""
        x, y = zip(*self.points, strict=True)
        return PixelRect(min(x), min(y), max(x) - min(x) + 1, max(y) - min(y) + 1)

    def holds(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return where a grid lies inside, by the parity of the sides crossed, shape (len(y), len(x)), bool."""
        import numpy as np

        inside = np.zeros((len(y), len(x)), dtype=bool)
        for (x0, y0), (x1, y1) in _sides(self.points):
            rows = np.flatnonzero((y >= min(y0, y1)) & (y < max(y0, y1)))
            crossing = x0 + (y[rows] - y0) * (x1 - x0) / (y1 - y0 or 1)
            inside[rows] ^= x[None, :] >= crossing[:, None]
        return inside


SurfaceArea = PixelRect | PixelPolygon
"""What a surface to measure may be named by."""


def check_inside(area: SurfaceArea, size: tuple[int, int]) -> None:
    """Check that an area lies in a photo of this width and height.

    Raises
    ------
    UsageError
        ``"rectangle-outside-photo"`` or ``"polygon-outside-photo"``.
    """
    kind, hint = ("rectangle", _HINT_RECT) if isinstance(area, PixelRect) else ("polygon", _HINT_POLYGON)
    if area.box.x + area.box.width > size[0] or area.box.y + area.box.height > size[1]:
        raise UsageError(
            f"{kind}-outside-photo",
            f"The {kind} {area} does not lie inside the photo, which is {size[0]} x {size[1]} pixels.",
            hint,
        )


_Point = tuple[int, int]


def _sides(points: tuple[_Point, ...]) -> list[tuple[_Point, _Point]]:
    return list(zip(points, points[1:] + points[:1], strict=True))


def _turn(a: _Point, b: _Point, c: _Point) -> int:
    """Return which way the path a, b, c turns: 1, -1, or 0 for straight."""
    cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return (cross > 0) - (cross < 0)


def _between(a: _Point, b: _Point, c: _Point) -> bool:
    """Say whether c, on the line through a and b, lies between them."""
    return min(a[0], b[0]) <= c[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= c[1] <= max(a[1], b[1])


def _meet(a: _Point, b: _Point, c: _Point, d: _Point) -> bool:
    """Say whether the side ab meets the side cd."""
    turns = _turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b)
    if turns[0] != turns[1] and turns[2] != turns[3]:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(turn == 0 and _between(*end) for turn, end in zip(turns, ends, strict=True))


def _crosses_itself(points: tuple[_Point, ...]) -> bool:
    sides = _sides(points)
    for i, (a, b) in enumerate(sides):
        if a == b:
            return True
        c = sides[(i + 1) % len(sides)][1]
        if _turn(a, b, c) == 0 and (_between(a, b, c) or _between(b, c, a)):
            return True  # the next side runs back over this one
        for j in range(i + 2, len(sides) - (i == 0)):
            if _meet(a, b, *sides[j]):
                return True
    return False


@dataclass(frozen=True, slots=True)
class GreyArea:
    """A rectangle that shows a grey of known lightness.

    Raises
    ------
    UsageError
        ``"bad-grey"`` if the lightness is not above 0 and at most 100.
    """

    rect: PixelRect
    lightness: float
    """CIELAB L* (D65, 2 degrees)."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.lightness) and 0.0 < self.lightness <= 100.0):
            raise UsageError("bad-grey", f"“{self}” has no lightness a grey can have.", _HINT_GREY)

    def __str__(self) -> str:
        return f"{self.rect}:{self.lightness:g}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the grey that ``"X,Y,W,H:L"`` names.

        Raises
        ------
        UsageError
            ``"bad-grey"`` or ``"bad-rectangle"``.
        """
        rect, _, lightness = text.partition(":")
        try:
            value = float(lightness)
        except ValueError:
            raise UsageError("bad-grey", f"“{text}” is not a grey area.", _HINT_GREY) from None
        return cls(PixelRect.parse(rect), value)
