"""Colours on a terminal: swatches where it can show any colour; elsewhere figures and words say it alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from finishlab.reports.console import as_text, say
from finishlab.reports.rows import Lab
from finishlab.reports.swatch import hex_colour

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

__all__ = ["colour_cells", "colour_heads", "print_facts", "shows_colour", "swatch"]


def print_facts(console: Console, title: str, facts: Sequence[tuple[str, object]]) -> None:
    """Print names and values under a title."""
    from rich.table import Table

    say(console, title)
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for name, value in facts:
        if value is not None:
            grid.add_row(f"  {name}", as_text(str(value)))
    console.print(grid)


def colour_heads(console: Console) -> list[str]:
    """Return the heads for `colour_cells`."""
    return ["colour", "L* a* b*"] if shows_colour(console) else ["L* a* b*"]


def colour_cells(console: Console, lab: Lab | None, decimals: int = 0) -> list[str | Text]:
    """Return a colour's cells: a swatch where colours can be shown, and the figures."""
    figures = _figures(lab, decimals)
    return [swatch([] if lab is None else [lab]), figures] if shows_colour(console) else [figures]


def _figures(lab: Lab | None, decimals: int = 0) -> str:
    return "-" if lab is None else " ".join(f"{round(v, decimals) + 0.0:.{decimals}f}" for v in lab)


def shows_colour(console: Console) -> bool:
    """Return whether a terminal can show any colour."""
    # With fewer colours a swatch would show another colour than the one measured.
    return console.is_terminal and not console.no_color and console.color_system == "truecolor"


def swatch(labs: Sequence[Lab], *, width: int = 5, lines: int = 1) -> Text:
    """Return blocks of colour, edge to edge."""
    from rich.text import Text

    blocks = Text()
    for line in range(lines):
        blocks.append("\n" if line else "")
        for lab in labs:
            blocks.append(" " * width, style=f"on {hex_colour(lab)}")
    return blocks
