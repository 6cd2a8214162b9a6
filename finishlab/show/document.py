"""What a command has to say, as one value: facts, tables, lists and sentences, and the figures of its JSON document.

Those who fill a document know of boards, cans and treads; those who render it (`finishlab.show.terminal`,
`finishlab.show.html`) know of cells only. A cell is a text, a number, a day, a colour, an interval or a share; each
renderer shows each kind its own way. What is told of a kind of thing is said once, by its `Kind`: the columns of its
list, the entries of its JSON, the page of one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from finishlab.cautions import DEFERS, Caution
from finishlab.record import plain
from finishlab.show import jsons

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook


Lab = tuple[float, float, float]


def lab_words(lab: Lab | None, decimals: int = 0) -> str:
    """Return the figures of a colour, or of its errors."""
    return "-" if lab is None else " ".join(f"{round(v, decimals) + 0.0:.{decimals}f}" for v in lab)


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
    made: Mapping[str, Any] | Callable[[], Mapping[str, Any]]
    """`data`, or what makes it once somebody asks: people who read a long list do not."""
    blocks: Sequence[Block] = field(default=())
    """The same for people."""
    version: int = 1

    @property
    def data(self) -> Mapping[str, Any]:
        """Values that JSON can hold."""
        return self.made() if callable(self.made) else self.made

    def json_form(self) -> dict[str, Any]:
        """Return the JSON form."""
        from finishlab.colorimetry.estimate import COLOUR_SPACE  # loads NumPy, which help need not

        return {"format": f"finishlab/{self.kind}/{self.version}", "colour_space": COLOUR_SPACE, **self.data}


Row = TypeVar("Row")
Stored = TypeVar("Stored", bound="Numbered")


class Numbered(Protocol):
    """Whatever is known by a number such as ``"B3"``."""

    @property
    def number(self) -> str:
        """The number as people write it."""


@dataclass(frozen=True, slots=True)
class Field(Generic[Row]):
    """One thing that is told of each: as a column of the list, as an entry in JSON, or as both."""

    value: Callable[[Row], Any]
    """What it is; colours, days and tuples are put into JSON's words there."""
    key: str = ""
    """Name in JSON; without one it is not in there."""
    head: str = ""
    """Name of the column; without one it has none."""
    cell: Callable[[Row], Cell] | None = None
    """What stands in the column, where that is not the value."""
    fold: bool = False
    """Whether the column's text goes on in the next line where there is no room."""

    def shown(self, row: Row) -> Cell:
        """Return what stands in the column."""
        return (self.cell or self.value)(row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed(Generic[Row]):
    """Things of one kind in a list and in JSON.

    A field more in `fields` is a column more in the list, an entry more in JSON, or both; nothing else needs to know.
    """

    format: str
    """Kind of its JSON document: ``"cans"``."""
    fields: tuple[Field[Row], ...]
    none: str
    """What is said where there is none."""
    listed_as: str = ""
    """Name of the list in JSON; without it that of the document."""
    before: Mapping[str, Any] = field(default_factory=dict)
    """What stands before the list in JSON."""

    def document(self, rows: Sequence[Row], blocks: Sequence[Block] = (), **beside: object) -> Document:
        """Return things as a document; what stands `beside` the list in JSON wins over `before`."""

        @cache
        def data() -> dict[str, Any]:
            return {**self.before, self.listed_as or self.format: [self.entry(row) for row in rows], **beside}

        return Document(self.format, data, blocks)

    def listing(self, rows: Sequence[Row]) -> tuple[Block, ...]:
        """Return the list, one a line."""
        if not rows:
            return (Line(self.none),)
        columns = [each for each in self.fields if each.head]
        heads = [Column(each.head, fold=each.fold) for each in columns]
        return (Table(heads, [[each.shown(row) for each in columns] for row in rows]),)

    def entry(self, row: Row) -> dict[str, Any]:
        """Return the JSON form of one."""
        return {each.key: _plain(each.value(row)) for each in self.fields if each.key}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind(Listed[Row], Generic[Stored, Row]):
    """A kind of thing that the logbook numbers: what its commands list, show and remove need to know of it."""

    command: str
    """Group of its commands: ``"can"``."""
    letter: str
    """Before its numbers: ``"C"``."""
    page: Callable[[Logbook, Row], Sequence[Block]]
    """All that is told of one."""
    read: Callable[[Logbook, str | None], Sequence[Row]]
    """What is told of all, or of those in a light."""
    find: Callable[[Logbook, str], Stored]
    """The one of a number as it is stored; `LogbookError` if there is none."""
    row: Callable[[Logbook, Stored], Row]
    """What is told of a stored one."""


def _plain(value: object) -> object:
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Colour):
        return jsons.lab(value.lab)
    return list(value) if isinstance(value, tuple) else value


def cautions_document(cautions: Iterable[Caution]) -> Document:
    """Return ``finishlab/cautions/1``: cautions with their sources."""
    told = tuple(cautions)
    return Document("cautions", caution_data(told), tuple(caution_blocks(told, sources=True)))


def caution_data(cautions: Iterable[Caution]) -> dict[str, Any]:
    """Return what a document's JSON form says of cautions."""
    return {"cautions": plain(list(cautions)), "defers": DEFERS}


def caution_blocks(cautions: Iterable[Caution], *, sources: bool = False) -> Iterator[Block]:
    """Give the same for people."""
    yield Paragraph("Cautions")
    for caution in cautions:
        yield Paragraph(f"{caution.title}. {caution.long}", 2, 4)
        if sources:
            yield Paragraph(f"Source: {caution.source}.", 4)
    yield Paragraph(DEFERS, 2, 2)
