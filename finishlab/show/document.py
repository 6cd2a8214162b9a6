"""What a command has to say, as one value: facts, tables, lists and sentences, and the figures of its JSON document.

Those who fill a document know of boards, cans and treads; those who render it (`finishlab.show.terminal`,
`finishlab.show.jsons`) know of cells only. A cell is a text, a number, a day, a colour, an interval or a share; each
renderer shows each kind its own way.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

__all__ = [
    "Bar",
    "Block",
    "Cell",
    "Colour",
    "Column",
    "Document",
    "Facts",
    "Interval",
    "Line",
    "Listing",
    "Paragraph",
    "Share",
    "Table",
]

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour, CIELAB D65 2 degrees; None while it is not measured."""

    lab: Lab | None
    decimals: int = 0
    """Of the figures."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure with its 95 % interval."""

    value: float
    low: float
    high: float
    decimals: int = 1


@dataclass(frozen=True, slots=True)
class Share:
    """A share or probability, 0..1."""

    value: float


@dataclass(frozen=True, slots=True)
class Bar:
    """Colours edge to edge, CIELAB D65 2 degrees; nothing where a terminal has none, so words say it too."""

    labs: tuple[Lab, ...]
    words: str = ""
    """What they are, beside them."""


Cell = str | int | float | dt.date | Colour | Bar | Interval | Share | None
"""None is shown as nothing known: ``-`` in a table, no line in facts. An empty text stays empty."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table."""

    name: str
    fold: bool = True
    """Whether its text goes on in the next line where there is no room."""
    right: bool = False
    least: int | None = None
    """Least width, characters."""
    share: float = 0.0
    """Of the width of a sheet of paper; 0 in all columns for equal ones."""
    room: int = 0
    """Width of a terminal, characters, from which on it is shown."""


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence; empty for a blank line."""

    text: str = ""
    whole: bool = False
    """Whether it stays one line where there is no room, as programs read it."""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Text that is wrapped at words; a figure and its unit stay on one line."""

    text: str
    indent: int = 0
    """Columns its first line is set in."""
    hanging: int | None = None
    """Columns its other lines are set in; 2 more than the first unless told."""


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values under a title; what is not known has no line."""

    title: str
    rows: Sequence[tuple[str, Cell]]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under column heads; nothing without rows."""

    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    title: str = ""
    note: str = ""
    """What it shows; on pages only."""
    ruled: bool = True
    """Whether it has its heads and a line below them; else the cells only stand in columns."""


@dataclass(frozen=True, slots=True)
class Listing:
    """Lines under a title; nothing without lines."""

    title: str
    lines: Sequence[str]
    numbered: bool = False


Block = Line | Bar | Paragraph | Facts | Table | Listing


@dataclass(frozen=True, slots=True)
class Document:
    """All that a command has to say.

    Its JSON form is ``{"format": "finishlab/<kind>/1", "colour_space": ..., **data}``.
    """

    kind: str
    data: Mapping[str, Any]
    """Values that JSON can hold."""
    blocks: Sequence[Block] = field(default=())
    """The same for people."""
    version: int = 1
