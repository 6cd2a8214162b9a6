"""A document on a terminal: swatches where it has colours, tables that wrap, plain text where it is piped.

Whatever users wrote is printed as it is, never read as markup.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from finishlab.record import harmless
from finishlab.show.document import (
    Bar,
    Block,
    Cell,
    Colour,
    Column,
    Document,
    Interval,
    Lab,
    Line,
    Listing,
    Paragraph,
    Share,
    Table,
    lab_words,
)

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text


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
        if shows_colour(console):
            console.print(swatch(block.labs, width=14), as_text(f" {block.words}"), sep="", highlight=False)
    elif isinstance(block, Listing):
        marks = (f"{index}." if block.numbered else "-" for index in range(1, len(block.lines) + 1))
        _pairs(console, block.title, zip(marks, block.lines, strict=True), marked=True)
    elif isinstance(block, Table):
        if block.rows:
            _table(console, block)
    else:
        _pairs(console, block.title, ((f"  {name}", _words(cell)) for name, cell in block.rows))


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
        console.print()
        bold(console, block.title)
    names = [_names(console, column, [row[i] for row in block.rows]) for i, column in enumerate(block.columns)]
    heads: list[Column] = []
    for column, each in zip(block.columns, names, strict=True):
        heads += [replace(column, name=name, fold=column.fold and each == [column.name]) for name in each]
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
    if Bar in coloured:
        return [column.name] if shows_colour(console) else []
    if not coloured:
        return [column.name]
    return ["colour", "L* a* b*"] if shows_colour(console) else ["L* a* b*"]


def _cells(console: Console, cell: Cell, count: int) -> list[str | Text]:
    """Return what a cell takes in a table, in so many columns: a colour its swatch and its figures."""
    if not count:
        return []
    if isinstance(cell, Bar):
        return [swatch(cell.labs, lines=2)]
    if isinstance(cell, Colour):
        both = swatch([] if cell.lab is None else [cell.lab]), lab_words(cell.lab, cell.decimals)
        return list(both[-count:])
    words = _words(cell)
    text = "-" if words is None else words
    spelt = text if console.encoding.lower().startswith("utf") else text.translate(_PLAIN)
    return [spelt, *[""] * (count - 1)]


def _words(cell: Cell) -> str | None:
    """Return a cell as text; None where nothing is known."""
    if isinstance(cell, Bar):
        return cell.words
    if isinstance(cell, Colour):
        return None if cell.lab is None else lab_words(cell.lab, cell.decimals)
    if isinstance(cell, Interval):
        low, high = (f"{v:.{cell.decimals}f}" for v in (cell.low, cell.high))
        return f"{cell.value:.{cell.decimals}f} ({low} to {high})"
    if isinstance(cell, Share):
        return f"{100 * cell.value:.0f} %"
    return None if cell is None else str(cell)


def _pairs(console: Console, title: str, pairs: Iterable[tuple[str, str | None]], *, marked: bool = False) -> None:
    """Print names and values under a title, what is not known left out; or lines with their marks, if there are any."""
    from rich.table import Table as Grid

    grid = Grid.grid(padding=(0, 1 if marked else 2))
    grid.add_column(no_wrap=True, justify="right" if marked else "left")
    grid.add_column(overflow="fold")
    for name, value in pairs:
        if value is not None:
            grid.add_row(name, as_text(value))
    if marked:
        if not grid.row_count:
            return
        console.print()
    bold(console, title)
    console.print(grid)


def shows_colour(console: Console) -> bool:
    """Return whether the console shows any colour as it is."""
    # With fewer colours a swatch would show another colour than the one measured.
    return console.is_terminal and not console.no_color and console.color_system == "truecolor"


def swatch(labs: Sequence[Lab], *, width: int = 5, lines: int = 1) -> Text:
    """Return blocks of colour, edge to edge."""
    from rich.text import Text

    from finishlab.colorimetry.spaces import hex_colour

    shown = Text()
    for line in range(lines):
        shown.append("\n" if line else "")
        for lab in labs:
            shown.append(" " * width, style=f"on {hex_colour(lab)}")
    return shown


_NARROW: Final = 12
"""Least width of a column that folds, characters."""


def bold(console: Console, line: str) -> None:
    """Print what stands above something: in bold where the terminal can, for the console leaves it out of a file."""
    text = as_text(line)
    text.stylize("bold")
    console.print(text, highlight=False)


def print_rows(
    console: Console, heads: Sequence[Column], rows: Sequence[Sequence[str | Text]], *, ruled: bool = True
) -> None:
    """Print a table.

    Parameters
    ----------
    console
        Where to.
    heads
        The columns.
    rows
        Cells, a row of them a line.
    ruled
        Whether it has its heads and a line below them; else the cells only stand in columns.
    """
    from rich.box import SIMPLE_HEAD
    from rich.table import Table as Grid

    room = console.width
    widths = _widths(room - (2 if ruled else 1) * len(heads), heads, rows)
    table = Grid.grid(padding=(0, 1, 0, 0))
    if ruled:
        table = Grid(box=SIMPLE_HEAD, header_style="bold", pad_edge=False, padding=(0, 1, 0, 0), highlight=False)
    for head, width in zip(heads, widths, strict=True):
        table.add_column(
            as_text(head.name), overflow="fold", justify="right" if head.right else "left", width=width, max_width=width
        )
    for row in rows:
        # A plain string would be read as markup, and users may write brackets.
        table.add_row(*(as_text(cell) if isinstance(cell, str) else cell for cell in row))
    console.print(table)


def _widths(room: int, heads: Sequence[Column], rows: Sequence[Sequence[str | Text]]) -> list[int]:
    """Return the columns' widths: all that stands in them, or so much that words stay whole, or so much as there is.

    Where there is no room, the widest column that folds gives way first, down to its longest word; then the widest that
    folds, and at last the others: a letter goes on in the next line before it is lost.
    """
    columns = [[head.name, *(_plain_text(row[index]) for row in rows)] for index, head in enumerate(heads)]
    widths = [max(head.least or 1, _width(column)) for head, column in zip(heads, columns, strict=True)]
    words = [_width(word for cell in column for word in cell.split()) for column in columns]
    folds = [head.fold for head in heads]
    steps = (
        [
            max(word, head.least or 1) if head.fold else width
            for word, width, head in zip(words, widths, heads, strict=True)
        ],
        [min(width, _NARROW) if fold else width for width, fold in zip(widths, folds, strict=True)],
        [1] * len(widths),
    )
    for least in steps:
        while sum(widths) > room:
            able = [index for index, width in enumerate(widths) if width > least[index]]
            if not able:
                break
            widths[max(able, key=lambda index: widths[index])] -= 1
    return widths


def _plain_text(cell: str | Text) -> str:
    return harmless(cell) if isinstance(cell, str) else cell.plain


def _width(texts: Iterable[str]) -> int:
    from rich.cells import cell_len

    return max(
        (len(line) if line.isascii() else cell_len(line) for text in texts for line in text.split("\n")), default=0
    )


def as_text(line: str) -> Text:
    """Return a line that is never read as markup."""
    from rich.text import Text

    return Text(harmless(line))
