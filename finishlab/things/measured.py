"""What boards and floor spots are both told by: their colours, their lights, what was done to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from finishlab.show.document import Block, Listing

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.reports.rows import BoardRow, ColourRow, SpotRow

__all__ = ["colours", "lights", "measured", "past"]


def colours(row: BoardRow | SpotRow) -> list[dict[str, Any]]:
    """Return what was measured, for JSON."""
    from finishlab.reports.documents import colour_document

    return [colour_document(colour) for colour in row.colours]


def lights(row: BoardRow | SpotRow) -> str:
    """Return the lights it was measured in; that of its record while it is not measured."""
    return ", ".join(dict.fromkeys(colour.light for colour in row.colours)) or row.record.light


def measured(log: Logbook, found: Sequence[ColourRow]) -> list[Block]:
    """Return what was measured, each photo by the name its file had."""
    from finishlab.measuring.documents import colour_blocks
    from finishlab.workflow.rows import photo_namer

    name = photo_namer(log)
    return colour_blocks([replace(colour, photo=name(colour.photo)) for colour in found])


def past(log: Logbook, number: str) -> Listing:
    """Return what was done to a thing."""
    from finishlab.workflow.rows import change_line

    return Listing("History", [change_line(change) for change in log.history(number)])
