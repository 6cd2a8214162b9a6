"""What is told of a kind of thing, said once: the columns of its list, the entries of its JSON, the page of one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from finishlab.show import jsons
from finishlab.show.document import Block, Cell, Colour, Column, Document, Line, Table

if TYPE_CHECKING:
    from finishlab.logbook import Logbook

__all__ = ["Field", "Kind", "Listed", "Numbered"]

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
        data = {**self.before, self.listed_as or self.format: [self.entry(row) for row in rows], **beside}
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
