"""Rectangles named by hand, in pixels of the upright, full-size photo: known greys and the surface to measure."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, Self

from finishlab.errors import UsageError

__all__ = ["GreyArea", "PixelRect"]

_WHOLE: Final = re.compile(r"\s*[+-]?[0-9]{1,9}\s*")
_HINT_RECT: Final = (
    "Write X,Y,W,H in whole pixels of the upright, full-size photo: left, top, width, height; "
    "for example 900,400,300,200."
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

    def check_inside(self, size: tuple[int, int]) -> None:
        """Check that the rectangle lies in a photo of this width and height.

        Raises
        ------
        UsageError
            ``"rectangle-outside-photo"``.
        """
        if self.x + self.width > size[0] or self.y + self.height > size[1]:
            raise UsageError(
                "rectangle-outside-photo",
                f"The rectangle {self} does not lie inside the photo, which is {size[0]} x {size[1]} pixels.",
                _HINT_RECT,
            )


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
