"""A document on a terminal: swatches where it has colours, tables that wrap, plain text where it is piped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from finishlab.reports.console import as_text, blank, print_list, print_rows, say
from finishlab.reports.terminal import colour_cells, colour_heads, print_facts
from finishlab.show.document import Block, Cell, Colour, Document, Facts, Interval, Line, Listing, Share, Table

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

__all__ = ["render"]


def render(console: Console, document: Document) -> None:
    """Print the blocks of a document, in order."""
    for block in document.blocks:
        _render(console, block)


def _render(console: Console, block: Block) -> None:
    if isinstance(block, Line):
        console.print(as_text(block.text), highlight=False, soft_wrap=block.whole)
    elif isinstance(block, Facts):
        print_facts(console, block.title, [(name, _words(cell)) for name, cell in block.rows])
    elif isinstance(block, Listing):
        print_list(console, block.title, block.lines, numbered=block.numbered)
    elif block.rows:
        _table(console, block)


def _table(console: Console, block: Table) -> None:
    if block.title:
        blank(console)
        say(console, block.title)
    coloured = [any(isinstance(row[index], Colour) for row in block.rows) for index in range(len(block.columns))]
    heads: list[str] = []
    folds, right, least = [], [], {}
    for column, colour in zip(block.columns, coloured, strict=True):
        last = len(heads)
        heads += colour_heads(console) if colour else [column.name]
        folds += [last] if column.fold and not colour else []
        right += [last] if column.right else []
        if column.least is not None:
            least[last] = column.least
    rows = [[part for cell in row for part in _cells(console, cell)] for row in block.rows]
    print_rows(console, heads, rows, folds, right=right, least=least)


def _cells(console: Console, cell: Cell) -> list[str | Text]:
    """Return what a cell takes in a table: a colour its swatch and its figures."""
    if isinstance(cell, Colour):
        return colour_cells(console, cell.lab, cell.decimals)
    return [_words(cell) or "-"]


def _words(cell: Cell) -> str | None:
    """Return a cell as text; None where nothing is known."""
    if isinstance(cell, Colour):
        return None if cell.lab is None else " ".join(f"{v + 0.0:.{cell.decimals}f}" for v in cell.lab)
    if isinstance(cell, Interval):
        low, high = (f"{v:.{cell.decimals}f}" for v in (cell.low, cell.high))
        return f"{cell.value:.{cell.decimals}f} ({low} to {high})"
    if isinstance(cell, Share):
        return f"{100 * cell.value:.0f} %"
    return None if cell is None else str(cell)
