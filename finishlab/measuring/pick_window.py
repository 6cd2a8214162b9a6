"""The window of ``finishlab pick``: shows the photo, takes clicks, draws what was chosen. It decides nothing itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast, get_args

from finishlab.errors import MissingLibraryError, UsageError
from finishlab.measure.areas import PixelPolygon
from finishlab.measuring.picking import KNOWN_GREYS, Picking, Tool, preview

if TYPE_CHECKING:
    import tkinter as tk
    from tkinter import ttk

__all__ = ["PickWindow", "open_screen"]

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
                bar, text=_LABELS[tool], value=tool, variable=self.tool, command=lambda: self.attempt(self._choose)
            )
            button.pack(side="left", padx=4)
            self.buttons[tool] = button
        ttk.Label(bar, text="L*").pack(side="left", padx=(12, 2))
        ttk.Combobox(bar, textvariable=self.lightness, values=list(KNOWN_GREYS), width=18).pack(side="left")
        for name, action in (("Undo", self.picking.undo), ("Measure", self._measure)):
            button_ = ttk.Button(bar, text=name, command=self._attempting(action))
            button_.pack(side="left", padx=4)
            self.buttons[name] = button_
        ttk.Label(self.root, textvariable=self.says, padding=6, wraplength=width).grid(row=2, column=0, sticky="w")

    def _attempting(self, action: Callable[[], None]) -> Callable[[], None]:
        return lambda: self.attempt(action)

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
