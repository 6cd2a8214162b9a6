"""Values of the tables' columns as JSON can hold them, and back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Table
from sqlalchemy.types import JSON, Date, DateTime, Float, String, Text, TypeEngine

from finishlab.logbook.tables import UtcDateTime

__all__ = ["column_value", "plain_value", "row_values"]


def plain_value(value: object) -> object:
    """Return a value of any column as JSON can hold it."""
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, dt.date) else value


def row_values(of: Table, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of `plain_value` as the database takes them; errors as in `column_value`."""
    return {name: column_value(of.columns[name].type, value) for name, value in values.items()}


def column_value(kind: TypeEngine[Any], value: Any) -> Any:  # noqa: ANN401 - a value of any column
    """Return a value of `plain_value` as a column of this type takes it.

    Raises
    ------
    TypeError, ValueError
        If it cannot be one of that column.
    """
    if value is None or isinstance(kind, JSON):
        return value
    if isinstance(kind, UtcDateTime | DateTime):
        moment = dt.datetime.fromisoformat(value)
        if moment.tzinfo is None:
            raise ValueError("a moment needs a time zone")
        return moment
    if isinstance(kind, Date):
        return dt.date.fromisoformat(value)
    wanted = str if isinstance(kind, String | Text) else (int, float) if isinstance(kind, Float) else int
    if isinstance(value, bool) or not isinstance(value, wanted):
        raise TypeError("another kind of value")
    return value
