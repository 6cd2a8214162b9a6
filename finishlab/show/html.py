"""Pages as one HTML file that holds all it shows; blocks of a document as an HTML fragment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from finishlab.show.document import Block, Cell, Colour, Column, Interval, Lab, Share, Table
from finishlab.show.pages import PICTURE_BAR_MM, Chart, Pages

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

__all__ = ["Reader", "blocks_html", "pages_html"]


def pages_html(pages: Pages) -> str:
    """Return pages as HTML text."""
    return _environment().get_template("page.html.j2").render(pages=pages, bar_mm=PICTURE_BAR_MM)


@cache
def _environment() -> Environment:
    """Return what renders the templates; they are compiled once."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates", encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "kind": lambda block: type(block).__name__,
        "svg": _svg,
        "hex": _hex,
        "figures": _figures,
        "point": lambda interval: f"{interval.value:.{interval.decimals}f}",
        "bounds": _bounds,
        "look": _look,
    }
    return environment


def _svg(chart: Chart) -> Markup:
    from markupsafe import Markup

    # The drawing escapes what it is given; it is markup of this package's own.
    return Markup(chart.drawing.svg(chart.ident))  # noqa: S704


@dataclass(frozen=True, slots=True)
class Reader:
    """How the words of a document reach somebody who reads a page."""

    prose: Callable[[str], str] = str
    """A sentence as it is to be read: in another language, or as markup with links, which is then a `Markup`. Whatever
    else it returns is escaped."""
    word: Callable[[str], str] = str
    """The same of a name, a head or a cell."""
    label: Callable[[str], str] = str
    """A name as plain text, where no eye sees it."""
    address: Callable[[str], str | None] = lambda _text: None
    """Where more is told of what a cell names, such as board ``"B3"``; None where there is nothing."""


def blocks_html(blocks: Sequence[Block], reader: Reader | None = None, *, level: int = 2) -> Markup:
    """Return blocks of a document as an HTML fragment without a style, a script or a word of its own.

    Parameters
    ----------
    blocks
        What there is to say.
    reader
        How its words are put; as they are unless told.
    level
        Of the headings.
    """
    from markupsafe import Markup

    read = reader or Reader()
    template = _environment().get_template("blocks.html.j2")

    def name(table: Table) -> str:
        return read.label(table.title) or ", ".join(read.label(column.name) for column in table.columns)

    # All that is not markup of the template was escaped by it.
    return Markup(template.render(blocks=blocks, read=read, level=level, name=name, cells=partial(_cells, read)))  # noqa: S704


@dataclass(frozen=True, slots=True)
class _Cells:
    """How the cells of a column begin and end: made once for the column, for a table may have thousands of rows."""

    begin: Markup
    some: Markup
    """Attributes of a cell in which something stands."""
    none: Markup
    """The same of an empty one."""
    end: str


def _cells(read: Reader, table: Table) -> list[_Cells]:
    """Return how the cells of each column are marked: the first of a row is its head."""
    from markupsafe import Markup

    found = []
    for place, column in enumerate(table.columns):
        begin = Markup('td role="cell"') if place else Markup('th role="rowheader" scope="row"')
        label = Markup(' data-label="{}"').format(read.label(column.name))
        found.append(_Cells(begin, _look(column) + label, _look(column, None) + label, "td" if place else "th"))
    return found


@lru_cache(4096)
def _hex(lab: Lab) -> str:
    from finishlab.colorimetry.spaces import hex_colour

    return hex_colour(lab)


def _figures(cell: Colour | Share) -> str:
    if isinstance(cell, Share):
        return f"{100 * cell.value:.0f}\u00a0%"
    return " ".join(f"{round(v, cell.decimals) + 0.0:.{cell.decimals}f}" for v in cell.lab or ())


def _bounds(cell: Interval) -> str:
    return " to ".join(f"{each:.{cell.decimals}f}" for each in (cell.low, cell.high))


def _look(column: Column, cell: Cell = "") -> Markup:
    """Return the classes of a column's cell."""
    from markupsafe import Markup

    known = {"right": column.right, "roomy": column.room > 0, "none": cell is None}
    names = " ".join(name for name, holds in known.items() if holds)
    return Markup(' class="{}"').format(names) if names else Markup("")
