"""What is written of a board and its finish, as rows of a label and a value in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

from finishlab.finish.finish import Finish
from finishlab.finish.wording import Row, finish_fields, finish_rows
from finishlab.records import BoardRecord

__all__ = ["Fact", "board_details", "field_rows", "label_facts"]

Fact = tuple[str, str | int | dt.date | None]
"""A label and what is written there."""

_TOPCOAT: Final = "topcoat"
"""What the row of the topcoat is called, in short or in full."""
_BOARD: Final = (
    ("species", "wood"),
    ("purpose", "made as"),
    ("state", "state"),
    ("maker", "made by"),
    ("recipe", "recipe"),
    ("stain", "stain"),
    ("coats", "stain coats"),
    ("topcoat", "topcoat"),
    ("light", "first light"),
    ("date", "date"),
    ("note", "note"),
)


def board_details(record: BoardRecord) -> tuple[Row, ...]:
    """Return what a board's record says, one row a field; what was not written down has no row."""
    short = {} if record.finish is None else record.finish.in_short()
    bare = "none" if record.purpose in {"raw", "clear-only control"} else None
    stain = record.stain or short.get("stain") or bare
    coats = record.coats if record.coats is not None else short.get("coats")
    rows: list[Fact] = [
        ("wood", record.species),
        ("stain", stain),
        ("stain coats", None if stain == bare else coats),
        ("recipe", record.recipe),
        *_finish(record, "none on record"),
        ("state", record.state),
        ("made as", None if record.purpose == "candidate" else record.purpose),
        ("made by", record.maker),
        ("date", record.date.isoformat()),
        ("note", record.note),
    ]
    return tuple((label, str(value)) for label, value in rows if value is not None)


def _finish(record: BoardRecord, without: str | None) -> list[Fact]:
    """Return the rows of a finish with one of the topcoat: in full where it is written so, else as said in short."""
    rows: list[Fact] = list(finish_rows(record.finish))
    written = dict(rows)
    said = record.topcoat
    if _TOPCOAT not in written:
        place = next((n for n, (label, _) in enumerate(rows) if label == "lay"), len(rows))
        return [*rows[:place], (_TOPCOAT, said or without), *rows[place:]]
    derived = None if record.finish is None else record.finish.in_short().get("topcoat")
    if said is not None and said != derived:
        rows = [(label, f"{said}; {value}" if label == _TOPCOAT else value) for label, value in rows]
    return rows


def label_facts(record: BoardRecord) -> list[Fact]:
    """Return what a board's label says, from the wood up to the last coat."""
    return [
        ("species", record.species),
        ("recipe", record.recipe),
        ("stain", record.stain),
        ("coats", record.coats),
        *_finish(record, None),
        ("state", record.state),
        ("purpose", record.purpose),
        ("maker", record.maker),
        ("date", record.date),
        ("note", record.note),
    ]


def field_rows(record: BoardRecord) -> Iterator[tuple[str, str, str, Any]]:
    """Give every field that is written: its JSON name, the name people read, its value in words and as JSON.

    The JSON name of a finish's field is its path, such as ``finish.steps.1.wipe_min``.
    """
    plain = record.as_dict()
    for name, label in _BOARD:
        value = getattr(record, name)
        if value is not None:
            yield name, label, str(value), value if name == "recipe" else plain[name]
    yield from finish_fields(record.finish or Finish())
