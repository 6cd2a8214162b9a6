"""Lines, lists and tables on a terminal: whatever users wrote is printed as it is, never read as markup."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from textwrap import wrap
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

__all__ = [
    "Head",
    "add_row",
    "as_text",
    "blank",
    "new_table",
    "plain",
    "print_list",
    "print_rows",
    "print_table",
    "say",
]

_MANY: Final = 100
"""From so many rows on a table is laid out here."""
_NARROW: Final = 12
"""Least width of a column that folds, characters."""


def say(console: Console, line: str) -> None:
    """Print a line as it is."""
    console.print(as_text(line), highlight=False)


def blank(console: Console) -> None:
    """Print an empty line."""
    console.print()


def print_list(console: Console, title: str, lines: Sequence[str], *, numbered: bool = False) -> None:
    """Print lines under a title; nothing without lines."""
    from rich.table import Table

    if not lines:
        return
    blank(console)
    say(console, title)
    grid = Table.grid(padding=(0, 1))
    grid.add_column(justify="right", no_wrap=True)
    grid.add_column(overflow="fold")
    for index, line in enumerate(lines, start=1):
        grid.add_row(f"{index}." if numbered else "-", as_text(line))
    console.print(grid)


def new_table() -> Table:
    """Return an empty table in the house's style."""
    from rich import box
    from rich.table import Table

    return Table(box=box.SIMPLE_HEAD, header_style="none", pad_edge=False, padding=(0, 1, 0, 0), highlight=False)


def add_row(table: Table, cells: Iterable[str | Text]) -> None:
    """Add a row; whatever users wrote in it is shown as it is."""
    # A plain string would be read as markup, and users may write brackets.
    table.add_row(*(as_text(cell) if isinstance(cell, str) else cell for cell in cells))


def print_table(console: Console, title: str, content: tuple[list[str], list[list[str]]]) -> None:
    """Print head and rows under a title."""
    head, rows = content
    blank(console)
    say(console, title)
    table = new_table()
    for name in head:
        table.add_column(as_text(name), overflow="fold")
    for row in rows:
        add_row(table, row)
    console.print(table)


@dataclass(frozen=True, slots=True)
class Head:
    """The head of a column."""

    name: str
    fold: bool = True
    """Whether its text goes on in the next line where there is no room."""
    right: bool = False
    least: int | None = None
    """Least width, characters."""


def print_rows(
    console: Console, heads: Sequence[Head], rows: Sequence[Sequence[str | Text]], *, ruled: bool = True
) -> None:
    """Print a table that may have a thousand rows.

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
    from rich.table import Table

    plain_rows = [[plain(cell) for cell in row if isinstance(cell, str)] for row in rows] if len(rows) >= _MANY else []
    widths = _widths(console.width, heads, plain_rows)
    simple = ruled and not any(head.right for head in heads)
    if widths is not None and simple and all(len(row) == len(heads) for row in plain_rows):
        # The same lines as below; measuring and wrapping every cell would take longer than reading the logbook.
        console.file.write("\n".join(["", *_lines([head.name for head in heads], plain_rows, widths), "", ""]))
        return
    table = new_table() if ruled else Table.grid(padding=(0, 1, 0, 0))
    for head in heads:
        table.add_column(
            as_text(head.name),
            overflow="fold" if head.fold else "ellipsis",
            no_wrap=not head.fold,
            justify="right" if head.right else "left",
            min_width=head.least,
        )
    for row in rows:
        add_row(table, row)
    console.print(table)


def _widths(room: int, heads: Sequence[Head], rows: Sequence[Sequence[str]]) -> list[int] | None:
    """Return the columns' widths, None if plain text cannot be laid out: few rows, wide letters, no room."""
    from rich.cells import cell_len

    if not rows or not all(cell.isascii() or cell_len(cell) == len(cell) for row in rows for cell in row):
        return None
    folds = [index for index, head in enumerate(heads) if head.fold]
    widths = [max(map(len, column)) for column in zip([head.name for head in heads], *rows, strict=False)]
    while sum(widths) + 2 * len(widths) > room:
        widest = max(folds, key=lambda index: widths[index], default=None)
        if widest is None or widths[widest] <= _NARROW:
            return None
        widths[widest] -= 1
    return widths


def _lines(head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[int]) -> Iterator[str]:
    yield _line(head, widths)
    yield " " + "\u2500" * (sum(widths) + 2 * len(widths) - 2)
    for row in rows:
        if all(len(cell) <= width for cell, width in zip(row, widths, strict=True)):
            yield _line(row, widths)
            continue
        folded = [wrap(cell, width, break_on_hyphens=False) for cell, width in zip(row, widths, strict=True)]
        for cells in zip_longest(*folded, fillvalue=""):
            yield _line(cells, widths)


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return " " + "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def as_text(line: str) -> Text:
    """Return a line that is never read as markup."""
    from rich.text import Text

    return Text(plain(line))


def plain(text: str) -> str:
    """Take out what a terminal would obey instead of show."""
    return "".join(c if c.isprintable() or c == "\n" else "?" for c in text)
