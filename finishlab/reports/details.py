"""What is written down of a board, as rows of a label and a value."""

from __future__ import annotations

from finishlab.records import BoardRecord

__all__ = ["Row", "board_details"]

Row = tuple[str, str]
"""A label and its value, both in words."""


def board_details(record: BoardRecord) -> tuple[Row, ...]:
    """Return what a board's record says, one row a field; what was not written down has no row."""
    stain = record.stain or ("none" if record.purpose in {"raw", "clear-only control"} else None)
    rows: list[tuple[str, object]] = [
        ("wood", record.species),
        ("stain", stain),
        ("stain coats", record.coats if record.stain else None),
        ("topcoat", record.topcoat or "none on record"),
        ("made as", None if record.purpose == "candidate" else record.purpose),
        ("date", record.date.isoformat()),
        ("note", record.note),
    ]
    return tuple((label, str(value)) for label, value in rows if value is not None)
