"""Whose word counts where an archive and a logbook both know a thing: the side that knows more of its history.

Every row belongs to a thing with a history of its own: a board with its measurements and pairs, a flight, a part of the
stair, an event with what was measured in it, the standard, a strip, a camera in a light. The images of rows tell which
changes were made of it. The side whose history of the thing goes on where the other's ends has the newer state,
removals and all.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from finishlab.logbook.exchange.dump import Row, Tables
from finishlab.logbook.images import LASTING, thing_of

__all__ = ["Side", "Word"]

Word = Literal["same", "theirs", "ours", "both"]


@dataclass(frozen=True, slots=True)
class Side:
    """What one of the two knows; rows, changes and things by their own names, which are the same on both sides."""

    changes: Mapping[str, Mapping[str, int]]
    """Thing -> the changes made of it, with their keys in the history."""
    taken_out: frozenset[str]
    """Rows that once were taken out."""
    names: Mapping[str, Mapping[Any, str]]
    """Table -> key -> name."""
    events: Mapping[tuple[int, dt.datetime], str]
    """By part and moment the event in which a part was measured."""

    @classmethod
    def of(cls, tables: Tables) -> Side:
        """Read what a side's tables say of it."""
        names = {table: {row.get("number", row.get("id")): row["uuid"] for row in tables[table]} for table in LASTING}
        marks = {row["id"]: row["uuid"] for row in tables["changes"]}
        changes: dict[str, dict[str, int]] = {}
        for image in tables["row_images"]:
            changes.setdefault(image["thing"], {})[marks[image["change_id"]]] = image["change_id"]
        return cls(
            changes,
            frozenset(i["row_uuid"] for i in tables["row_images"] if i["before"] is not None and i["after"] is None),
            names,
            {(row["part_id"], row["created"]): row["uuid"] for row in tables["part_events"]},
        )

    def thing_of(self, table: str, row: Row) -> str | None:
        """Return what a row belongs to; None for what is never changed, such as a photo."""
        if table not in LASTING:
            return None
        return thing_of(
            table,
            row,
            lambda other, key: self.names[other].get(key),
            lambda part, made: self.events.get((part, made)),
        )

    def word_against(self, thing: str, theirs: Side) -> Word:
        """Return whose state of a thing is the newer one; ``"both"`` where each side changed it since they parted."""
        mine, others = self.changes.get(thing, {}).keys(), theirs.changes.get(thing, {}).keys()
        if mine == others:
            return "same"
        if mine < others:
            return "theirs"
        return "ours" if others < mine else "both"
