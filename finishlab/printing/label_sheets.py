"""Sheets of labels by their measures, and plain paper to cut.

Sizes are those sheets are commonly sold in (common practice, no source; the arithmetic of each is checked when it is
built). All of them lie centred on their page. Whose sheet differs can check it by printing outlines on plain paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from finishlab.imaging.strip import PAGES, Paper, Rect

__all__ = ["SHEETS", "LabelSheet"]

_EPSILON: Final = 1e-6


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """Where the labels lie on a page; millimetres.

    Raises
    ------
    ValueError
        If labels overlap or lie outside the page.
    """

    name: str
    page: Paper
    columns: int
    rows: int
    width: float
    height: float
    pitch_x: float
    """From one label's left edge to the next one's."""
    pitch_y: float
    cut_lines: bool = False
    """Plain paper: lines to cut along."""

    def __post_init__(self) -> None:
        if min(self.columns, self.rows) < 1 or min(self.width, self.height) <= 0:
            raise ValueError(f"{self.name}: a sheet has labels of some size")
        if self.pitch_x < self.width - _EPSILON or self.pitch_y < self.height - _EPSILON:
            raise ValueError(f"{self.name}: labels overlap")
        if min(self.left, self.top) < 0:
            raise ValueError(f"{self.name}: labels do not fit the page")

    @property
    def page_size(self) -> tuple[float, float]:
        """Width and height of the page."""
        return PAGES[self.page]

    @property
    def left(self) -> float:
        """Left margin."""
        return (self.page_size[0] - (self.columns - 1) * self.pitch_x - self.width) / 2

    @property
    def top(self) -> float:
        """Top margin."""
        return (self.page_size[1] - (self.rows - 1) * self.pitch_y - self.height) / 2

    @property
    def labels(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows

    def place(self, index: int) -> Rect:
        """Return where label `index` (from 0, row by row from the top left) lies on its page."""
        row, column = divmod(index % self.labels, self.columns)
        return Rect(self.left + column * self.pitch_x, self.top + row * self.pitch_y, self.width, self.height)

    def places(self) -> Iterator[Rect]:
        """Return the places of one page."""
        return (self.place(index) for index in range(self.labels))

    def describe(self) -> str:
        """Return what the sheet is, in a few words."""
        page = "A4" if self.page == "a4" else "Letter"
        kind = "plain paper to cut" if self.cut_lines else "label sheet"
        size = f"{round(self.width, 1):g} x {round(self.height, 1):g} mm"
        return f"{page} {kind}, {self.columns} x {self.rows} labels of {size}"


SHEETS: Final = {
    sheet.name: sheet
    for sheet in (
        LabelSheet("a4-plain", "a4", 2, 5, 90.0, 52.0, 90.0, 52.0, cut_lines=True),
        LabelSheet("letter-plain", "letter", 2, 5, 90.0, 50.0, 90.0, 50.0, cut_lines=True),
        LabelSheet("a4-3x7", "a4", 3, 7, 63.5, 38.1, 66.04, 38.1),
        LabelSheet("a4-2x4", "a4", 2, 4, 99.1, 67.7, 101.64, 67.7),
        LabelSheet("letter-3x10", "letter", 3, 10, 66.675, 25.4, 69.85, 25.4),
        LabelSheet("letter-2x5", "letter", 2, 5, 101.6, 50.8, 106.3625, 50.8),
    )
}
"""Name -> sheet; ``columns x rows`` stand in the name."""
