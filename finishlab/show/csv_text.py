"""Tables as CSV that a spreadsheet can open without running anything in it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Final

__all__ = ["Cell", "csv_text", "guarded"]

Cell = str | int | float | None
_STARTS_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: an apostrophe before what begins like one.

    The characters are those the Open Worldwide Application Security Project names under CSV injection.
    """
    return f"'{text}" if text.startswith(_STARTS_A_FORMULA) else text


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]], *, figures: int | None = 10) -> str:
    """Return a table as CSV (RFC 4180: commas, quotes where needed, CRLF).

    Numbers stay numbers, also negative ones; None is an empty cell; texts are guarded. A fraction has at most so many
    significant `figures`; None writes it so that it is read again as the same number.
    """
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow([guarded(name) for name in header])
    for row in rows:
        writer.writerow([_cell(cell, figures) for cell in row])
    return stream.getvalue()


def _cell(cell: Cell, figures: int | None) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return guarded(cell)
    return f"{cell:.{figures}g}" if isinstance(cell, float) and figures is not None else str(cell)
