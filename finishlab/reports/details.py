"""What is written down of a board, as rows of a label and a value."""

from __future__ import annotations

import datetime as dt

from finishlab.records import BoardRecord
from finishlab.records.short_text import short_form
from finishlab.reports.finish_rows import TOPCOAT, Row, finish_rows

__all__ = ["Row", "board_details", "label_facts"]

Fact = tuple[str, str | int | dt.date | None]
"""A label and what is written there."""


def board_details(record: BoardRecord) -> tuple[Row, ...]:
    """Return what a board's record says, one row a field; what was not written down has no row."""
    short = {} if record.finish is None else short_form(record.finish)
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
    if TOPCOAT not in written:
        place = next((n for n, (label, _) in enumerate(rows) if label == "lay"), len(rows))
        return [*rows[:place], (TOPCOAT, said or without), *rows[place:]]
    derived = None if record.finish is None else short_form(record.finish).get("topcoat")
    if said is not None and said != derived:
        rows = [(label, f"{said}; {value}" if label == TOPCOAT else value) for label, value in rows]
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
