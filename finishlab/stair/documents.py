"""The JSON documents of the stair: flights and parts, one part in full, what is short of a coat, what was logged."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from finishlab.colorimetry.estimate import COLOUR_SPACE
from finishlab.reports.documents import colour_document
from finishlab.stair.rows import DueRow, FlightShown, PartDetail, PartShown

__all__ = ["due_document", "events_document", "parts_document", "stair_document"]

Document = dict[str, Any]


def stair_document(flights: Iterable[FlightShown], notes: Sequence[str] = ()) -> Document:
    """Return ``finishlab/stair/1``: flights from the bottom up, their parts, states and colours."""
    return _document(
        "stair",
        flights=[
            {"flight": flight.title, "record": flight.record.as_dict(), "parts": [_part(part) for part in flight.parts]}
            for flight in flights
        ],
        notes=list(notes),
    )


def parts_document(details: Iterable[PartDetail]) -> Document:
    """Return ``finishlab/stair-parts/1``: parts with all that was done to them and measured of them."""
    return _document(
        "stair-parts",
        parts=[
            {
                **_part(detail.part),
                "finish": list(detail.finish),
                "events": [
                    {
                        "event": event.number,
                        "date": event.date.isoformat(),
                        "what": event.what,
                        "recipe": event.recipe,
                        "can": event.can,
                        "remarks": event.remarks,
                    }
                    for event in detail.events
                ],
                "measurements": [colour_document(colour) for colour in detail.colours],
                "history": list(detail.history),
            }
            for detail in details
        ],
    )


def due_document(rows: Iterable[DueRow]) -> Document:
    """Return ``finishlab/stair-due/1``: the parts that are short of a coat."""
    return _document(
        "stair-due",
        due=[
            {
                "parts": [part.name.code for part in row.parts],
                "words": row.words,
                "short_of": row.short,
                "next": row.next,
                "not_before": None if row.not_before is None else row.not_before.isoformat(),
                "can": row.can,
            }
            for row in rows
        ],
    )


def events_document(events: Iterable[tuple[str, str]], notes: Sequence[str]) -> Document:
    """Return ``finishlab/stair-events/1``: numbers and parts of what was logged, and what is worth a second look."""
    logged = [{"event": number, "part": part} for number, part in events]
    return _document("stair-events", events=logged, notes=list(notes))


def _part(part: PartShown) -> Document:
    return {
        "part": part.name.code,
        "words": part.words,
        "record": part.record.as_dict(),
        "recipe": part.recipe,
        "state": part.state,
        "coats": dict(part.coats),
        "wanted": dict(part.wanted),
        "fitted": part.fitted,
        "last": None if part.last is None else part.last.isoformat(),
        "lab": None if part.lab is None else [round(value, 3) + 0.0 for value in part.lab],
        "light": part.light,
        "note": part.note or None,
    }


def _document(kind: str, **content: object) -> Document:
    return {"format": f"finishlab/{kind}/1", "colour_space": COLOUR_SPACE, **content}
