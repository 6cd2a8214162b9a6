"""Lines, lists and tables on a terminal: whatever users wrote is printed as it is, never read as markup."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

__all__ = ["add_row", "as_text", "blank", "new_table", "plain", "print_list", "print_table", "say"]


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


def as_text(line: str) -> Text:
    """Return a line that is never read as markup."""
    from rich.text import Text

    return Text(plain(line))


def plain(text: str) -> str:
    """Take out what a terminal would obey instead of show."""
    return "".join(c if c.isprintable() or c == "\n" else "?" for c in text)
