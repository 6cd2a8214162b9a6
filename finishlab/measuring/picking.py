"""From clicks on a shown photo to the greys and the surface that `measure --grey ... --area ...` would name.

No window here: this is what a window works on, so that it can be tested without one.
"""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from finishlab.errors import UsageError
from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect, SurfaceArea

if TYPE_CHECKING:
    import numpy as np

__all__ = ["KNOWN_GREYS", "Picking", "Tool", "preview"]

Tool = Literal["grey", "area", "polygon"]

KNOWN_GREYS: Final[dict[str, float]] = {
    "18 % grey card": 49.5,
    "90 % white card": 96.0,
    "Munsell N 8": 80.5,
    "Munsell N 6.5": 66.0,
    "Munsell N 5": 51.0,
    "Munsell N 3.5": 35.6,
    "white office paper": 94.0,
}
"""Name -> L*. Cards by CIE 1976 lightness of their reflectance; Munsell values by the polynomial of ASTM D1535 (from
memory); office paper is common practice, no source."""


class Picking:
    """Greys and a surface, clicked one after the other.

    Parameters
    ----------
    full_size
        Width and height of the upright, full-size photo.
    shown_size
        Width and height at which it is shown.
    """

    def __init__(self, full_size: tuple[int, int], shown_size: tuple[int, int]) -> None:
        self.full_size = full_size
        self.shown_size = shown_size
        self.tool: Tool = "grey"
        self.greys: list[GreyArea] = []
        self.area: SurfaceArea | None = None
        self.corners: list[tuple[int, int]] = []
        """Clicked corners of what is not complete yet, in pixels of the full-size photo."""
        self._done: list[tuple[str, SurfaceArea | None]] = []

    def choose(self, tool: Tool) -> None:
        """Take another tool; what was begun with the one before is dropped."""
        self.tool = tool
        self.corners = []

    def to_full(self, x: float, y: float) -> tuple[int, int]:
        """Return the pixel of the full-size photo under a pixel of the shown one."""
        (width, height), (shown_width, shown_height) = self.full_size, self.shown_size
        full_x = round((x + 0.5) * width / shown_width - 0.5)
        full_y = round((y + 0.5) * height / shown_height - 0.5)
        return min(max(full_x, 0), width - 1), min(max(full_y, 0), height - 1)

    def to_shown(self, x: float, y: float) -> tuple[float, float]:
        """Return where a pixel of the full-size photo is shown."""
        (width, height), (shown_width, shown_height) = self.full_size, self.shown_size
        return (x + 0.5) * shown_width / width - 0.5, (y + 0.5) * shown_height / height - 0.5

    def click(self, x: float, y: float, lightness: float) -> None:
        """Take a click at a pixel of the shown photo; the second corner completes a rectangle.

        Parameters
        ----------
        x, y
            Where.
        lightness
            L* of the grey, for the grey tool.

        Raises
        ------
        UsageError
            ``bad-grey`` if no grey has that lightness; the corners are then kept as they were before.
        """
        point = self.to_full(x, y)
        if self.tool == "polygon":
            self.corners.append(point)
            return
        if not self.corners:
            self.corners = [point]
            return
        (x0, y0), (x1, y1) = self.corners[0], point
        rect = PixelRect(min(x0, x1), min(y0, y1), abs(x1 - x0) + 1, abs(y1 - y0) + 1)
        if self.tool == "grey":
            self.greys.append(GreyArea(rect, lightness))
            self._done.append(("grey", None))
            self.corners = []
        else:
            self._take(rect)

    def close(self) -> None:
        """Complete the polygon.

        Raises
        ------
        UsageError
            ``bad-polygon`` if it has too few corners or crosses itself.
        """
        self._take(PixelPolygon(tuple(self.corners)))

    def _take(self, area: SurfaceArea) -> None:
        self._done.append(("area", self.area))
        self.area = area
        self.corners = []

    def undo(self) -> None:
        """Take back the last corner, or the last grey or surface."""
        if self.corners:
            self.corners.pop()
        elif self._done:
            kind, before = self._done.pop()
            if kind == "grey":
                self.greys.pop()
            else:
                self.area = before

    @property
    def missing(self) -> str:
        """What is still to be clicked, or an empty string."""
        if not self.greys:
            return "a grey of known lightness"
        return "" if self.area is not None else "the surface to measure"

    def chosen(self) -> tuple[tuple[GreyArea, ...], SurfaceArea]:
        """Return greys and surface.

        Raises
        ------
        UsageError
            ``nothing-picked`` if one of them is missing.
        """
        if self.missing or self.area is None:
            raise UsageError(
                "nothing-picked", f"Still to be clicked: {self.missing}.", "Click its corners in the photo."
            )
        return tuple(self.greys), self.area

    def command(self, photo: str | Path) -> str:
        """Return the line that measures the same without a window."""
        greys, area = self.chosen()
        words = ["finishlab", "measure", str(photo)]
        for grey in greys:
            words += ["--grey", str(grey)]
        words += ["--polygon" if isinstance(area, PixelPolygon) else "--area", str(area)]
        return shlex.join(words)


def preview(path: Path, room: tuple[int, int]) -> tuple[np.ndarray, tuple[int, int]]:
    """Return a photo in sRGB as large as fits, shape (H, W, 3), uint8, and its full size.

    Parameters
    ----------
    path
        The photo.
    room
        Width and height there is room for.

    Raises
    ------
    PhotoError
        If it cannot be read.
    """
    from dataclasses import replace

    from finishlab.imaging.opencv import shrink
    from finishlab.photos import read_photo, srgb_pixels

    photo = read_photo(path, long_side=max(room))
    factor = max(photo.size[0] / room[0], photo.size[1] / room[1], 1.0)
    return srgb_pixels(replace(photo, encoded=shrink(photo.encoded, factor))), photo.info.full_size
