"""From clicks on a shown photo to the greys and the surface that `measure --grey ... --area ...` would name.

`Picking` is what the window works on: it can be tested without one.
"""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal, cast, get_args

from finishlab.errors import MissingLibraryError, UsageError
from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect, SurfaceArea

if TYPE_CHECKING:
    import tkinter as tk
    from tkinter import ttk

    import numpy as np


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
    from finishlab.imaging.opencv import shrink
    from finishlab.photos import read_photo, srgb_pixels

    photo = read_photo(path, long_side=max(room))
    factor = max(photo.size[0] / room[0], photo.size[1] / room[1], 1.0)
    return srgb_pixels(replace(photo, encoded=shrink(photo.encoded, factor))), photo.info.full_size


_HINT: Final = (
    "Read the pixels in any picture viewer, and give them: finishlab measure PHOTO --grey X,Y,W,H:L --area X,Y,W,H"
)
_LABELS: Final[dict[Tool, str]] = {"grey": "Grey", "area": "Surface: rectangle", "polygon": "Surface: polygon"}
_SAYS: Final[dict[Tool, str]] = {
    "grey": "Choose or type the grey's L*, then click two opposite corners inside it.",
    "area": "Click two opposite corners of the surface to measure.",
    "polygon": "Click the corners around the surface; Enter closes it.",
}
_MARGIN: Final = (40, 190)
"""Pixels of the screen left for the window's frame and controls."""


def open_screen() -> tk.Tk:
    """Return the root window.

    Raises
    ------
    MissingLibraryError
        ``no-screen`` where there is no display, ``no-tkinter`` where Python was built without windows.
    """
    try:
        import tkinter as tk
    except ImportError as error:
        raise MissingLibraryError(
            "no-tkinter", "This Python comes without tkinter, so no window opens.", _HINT
        ) from error
    try:
        return tk.Tk(className="finishlab")
    except tk.TclError as error:
        raise MissingLibraryError("no-screen", "Picking needs a screen, and there is none here.", _HINT) from error


class PickWindow:
    """The photo, the controls, and the picking they change.

    Parameters
    ----------
    root
        From `open_screen`.
    path
        The photo.

    Raises
    ------
    PhotoError
        If the photo cannot be read.
    """

    def __init__(self, root: tk.Tk, path: Path) -> None:
        import tkinter as tk

        self.root = root
        room = max(320, root.winfo_screenwidth() - _MARGIN[0]), max(240, root.winfo_screenheight() - _MARGIN[1])
        pixels, full_size = preview(path, room)
        height, width = pixels.shape[:2]
        self.picking = Picking(full_size, (width, height))
        self.confirmed = False
        root.title(f"finishlab pick {path.name}")
        # The canvas knows portable pixmaps; the picture is kept here, or it would vanish.
        self.picture = tk.PhotoImage(master=root, data=b"P6 %d %d 255\n" % (width, height) + pixels.tobytes())
        self.canvas = tk.Canvas(root, width=width, height=height, highlightthickness=0, cursor="crosshair")
        self.canvas.create_image(0, 0, image=self.picture, anchor="nw")
        self.canvas.grid(row=0, column=0, sticky="nw")
        self.canvas.bind("<Button-1>", lambda event: self.attempt(lambda: self._click(event.x, event.y)))
        self.tool = tk.StringVar(root, "grey")
        self.lightness = tk.StringVar(root, next(iter(KNOWN_GREYS)))
        self.says = tk.StringVar(root)
        self.buttons: dict[str, ttk.Widget] = {}
        self._controls(width)
        root.bind("<Return>", lambda _: self.attempt(self._enter))
        root.bind("<Escape>", lambda _: root.destroy())
        self.show()

    def _controls(self, width: int) -> None:
        from tkinter import ttk

        bar = ttk.Frame(self.root, padding=6)
        bar.grid(row=1, column=0, sticky="ew")
        for tool in get_args(Tool):
            button = ttk.Radiobutton(
                bar, text=_LABELS[tool], value=tool, variable=self.tool, command=partial(self.attempt, self._choose)
            )
            button.pack(side="left", padx=4)
            self.buttons[tool] = button
        ttk.Label(bar, text="L*").pack(side="left", padx=(12, 2))
        ttk.Combobox(bar, textvariable=self.lightness, values=list(KNOWN_GREYS), width=18).pack(side="left")
        for name, action in (("Undo", self.picking.undo), ("Measure", self._measure)):
            button_ = ttk.Button(bar, text=name, command=partial(self.attempt, action))
            button_.pack(side="left", padx=4)
            self.buttons[name] = button_
        ttk.Label(self.root, textvariable=self.says, padding=6, wraplength=width).grid(row=2, column=0, sticky="w")

    def attempt(self, action: Callable[[], None]) -> None:
        """Do something and show the result, or why it cannot be done."""
        try:
            action()
        except UsageError as error:
            self.says.set(f"{error.message} {error.hint}")
            return
        if not self.confirmed:
            self.show()

    def _click(self, x: int, y: int) -> None:
        text = self.lightness.get().strip()
        try:
            lightness = KNOWN_GREYS[text] if text in KNOWN_GREYS else float(text.replace(",", "."))
        except ValueError:
            lightness = math.nan  # told when a grey is completed
        self.picking.click(x, y, lightness)

    def _choose(self) -> None:
        self.picking.choose(cast("Tool", self.tool.get()))

    def _enter(self) -> None:
        if self.picking.tool == "polygon" and self.picking.corners:
            self.picking.close()
        else:
            self._measure()

    def _measure(self) -> None:
        self.picking.chosen()
        self.confirmed = True
        self.root.destroy()

    def show(self) -> None:
        """Draw greys, surface and corners over the photo, and say what comes next."""
        picking, canvas = self.picking, self.canvas
        canvas.delete("drawn")
        for grey in picking.greys:
            x, y = picking.to_shown(grey.rect.x, grey.rect.y)
            self._outline([grey.rect.x, grey.rect.y, grey.rect.width, grey.rect.height], "white")
            canvas.create_text(x + 4, y + 4, text=f"{grey.lightness:g}", anchor="nw", fill="red", tags="drawn")
        if isinstance(picking.area, PixelPolygon):
            flat = [c for point in picking.area.points for c in picking.to_shown(*point)]
            canvas.create_polygon(*flat, outline="cyan", fill="", width=2, tags="drawn")
        elif picking.area is not None:
            area = picking.area
            self._outline([area.x, area.y, area.width, area.height], "cyan")
        for corner in picking.corners:
            x, y = picking.to_shown(*corner)
            canvas.create_oval(x - 3, y - 3, x + 3, y + 3, outline="black", fill="yellow", tags="drawn")
        missing = picking.missing
        after = f" Still missing: {missing}." if missing else " Enter or “Measure” when all is named."
        self.says.set(_SAYS[picking.tool] + after)

    def _outline(self, rect: list[int], colour: str) -> None:
        x, y, width, height = rect
        left, top = self.picking.to_shown(x, y)
        right, bottom = self.picking.to_shown(x + width - 1, y + height - 1)
        self.canvas.create_rectangle(left, top, right, bottom, outline=colour, width=2, tags="drawn")

    def run(self) -> Picking | None:
        """Wait for the user; return what was picked, or None if the window was closed."""
        self.root.mainloop()
        return self.picking if self.confirmed else None
