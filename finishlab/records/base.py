"""What all records have in common: their JSON form, and the way back from it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, Self, cast

__all__ = ["DatedRecord", "Record"]


class Record:
    """Base of what is logged, for frozen dataclasses that check and tidy their values when built."""

    __slots__ = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, one entry a field; dates as ISO 8601, sections in their own JSON form."""
        return {f.name: _json(getattr(self, f.name)) for f in fields(cast("Any", self))}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a record from `as_dict`; raises what building it raises."""
        return cls(**data)


class DatedRecord(Record):
    """Base of records with a date that must not lie in the future when it is entered."""

    __slots__ = ()

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a record from `as_dict`; its date is not held against today, for the clock may have been set back."""
        return cls(**data, latest=dt.date.max)  # type: ignore[call-arg]  # every dated record takes it


def _json(value: Any) -> Any:  # noqa: ANN401 - fields of every type
    if isinstance(value, dt.date):
        return value.isoformat()
    return value.as_dict() if hasattr(value, "as_dict") else value
