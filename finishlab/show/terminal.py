"""A document on a terminal: swatches where it has colours, tables that wrap, plain text where it is piped."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, Final

from finishlab.reports.console import Head, as_text, blank, print_list, print_rows, say
from finishlab.show.document import (
    Bar,
    Block,
    Cell,
    Colour,
    Column,
    Document,
    Interval,
    Line,
    Listing,
    Paragraph,
    Share,
    Table,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.text import Text

__all__ = ["render"]

_WIDEST: Final = 100
"""Longer lines of a paragraph are hard to read."""
_WITH_UNIT: Final = re.compile(r"(\d) ((?:mm|in|ft2|m2|qt|L)\b|%)")
_PLAIN: Final = str.maketrans({"┌": "+", "─": "-", "┘": "'"})
"""What stands for lines where a terminal cannot spell them."""


def render(console: Console, document: Document) -> None:
    """Print the blocks of a document, in order."""
    for block in document.blocks:
        _render(console, block)


def _render(console: Console, block: Block) -> None:
    if isinstance(block, Line):
        console.print(as_text(block.text), highlight=False, soft_wrap=block.whole)
    elif isinstance(block, Paragraph):
        _paragraph(console, block)
    elif isinstance(block, Bar):
        _bar(console, block)
    elif isinstance(block, Listing):
        print_list(console, block.title, block.lines, numbered=block.numbered)
    elif isinstance(block, Table):
        if block.rows:
            _table(console, block)
    else:
        from finishlab.reports.terminal import print_facts  # loads NumPy, which words need not

        print_facts(console, block.title, [(name, _words(cell)) for name, cell in block.rows])


def _bar(console: Console, block: Bar) -> None:
    from finishlab.reports.terminal import shows_colour, swatch

    if shows_colour(console):
        console.print(swatch(block.labs, width=14), as_text(f" {block.words}"), sep="", highlight=False)


def _paragraph(console: Console, block: Paragraph) -> None:
    after = block.indent + 2 if block.hanging is None else block.hanging
    kept = _WITH_UNIT.sub("\\1\u00a0\\2", block.text)
    lines = textwrap.wrap(
        kept,
        min(console.width, _WIDEST),
        initial_indent=" " * block.indent,
        subsequent_indent=" " * after,
        break_long_words=False,
        break_on_hyphens=False,
        replace_whitespace=False,
    )
    console.print("\n".join(lines).replace("\u00a0", " "), markup=False, highlight=False, soft_wrap=True)


def _table(console: Console, block: Table) -> None:
    if block.title:
        blank(console)
        say(console, block.title)
    names = [_names(console, column, [row[i] for row in block.rows]) for i, column in enumerate(block.columns)]
    heads: list[Head] = []
    for column, each in zip(block.columns, names, strict=True):
        heads += [Head(name, column.fold and each == [column.name], column.right, column.least) for name in each]
    rows = [
        [part for cell, each in zip(row, names, strict=True) for part in _cells(console, cell, len(each))]
        for row in block.rows
    ]
    print_rows(console, heads, rows, ruled=block.ruled)


def _names(console: Console, column: Column, cells: Sequence[Cell]) -> list[str]:
    """Return the heads of the columns that one takes on this terminal: none, one, or two of a colour."""
    if console.width < column.room:
        return []
    coloured = [type(cell) for cell in cells if isinstance(cell, Bar | Colour)]
    if not coloured:
        return [column.name]
    from finishlab.reports.terminal import colour_heads, shows_colour

    if Bar in coloured:
        return [column.name] if shows_colour(console) else []
    return colour_heads(console)


def _cells(console: Console, cell: Cell, count: int) -> list[str | Text]:
    """Return what a cell takes in a table, in so many columns: a colour its swatch and its figures."""
    if not count:
        return []
    if isinstance(cell, Bar):
        from finishlab.reports.terminal import swatch

        return [swatch(cell.labs, lines=2)]
    if isinstance(cell, Colour):
        from finishlab.reports.terminal import colour_cells

        return colour_cells(console, cell.lab, cell.decimals)
    words = _words(cell)
    text = "-" if words is None else words
    spelt = text if console.encoding.lower().startswith("utf") else text.translate(_PLAIN)
    return [spelt, *[""] * (count - 1)]


def _words(cell: Cell) -> str | None:
    """Return a cell as text; None where nothing is known."""
    if isinstance(cell, Bar):
        return cell.words
    if isinstance(cell, Colour):
        return (
            None
            if cell.lab is None
            else " ".join(f"{round(v, cell.decimals) + 0.0:.{cell.decimals}f}" for v in cell.lab)
        )
    if isinstance(cell, Interval):
        low, high = (f"{v:.{cell.decimals}f}" for v in (cell.low, cell.high))
        return f"{cell.value:.{cell.decimals}f} ({low} to {high})"
    if isinstance(cell, Share):
        return f"{100 * cell.value:.0f} %"
    return None if cell is None else str(cell)
