"""Whose word counts where an archive and a logbook both know a thing: the side that knows more of its history.

Every row belongs to a thing with a history of its own: a board with its measurements and pairs, a flight, a part of the
stair, an event with what was measured in it, the standard, a strip, a camera in a light. The side whose history of the
thing goes on where the other's ends has the newer state, removals and all.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from finishlab.logbook.exchange.dump import Row

__all__ = ["BY_LETTER", "CAMERA", "LABEL", "LETTERS", "Side", "Thing", "Word", "word_on"]

LETTERS: Final[Mapping[str, str]] = {"boards": "B", "floor_spots": "F", "recipes": "R", "batches": "C", "trials": "H"}
"""Tables whose rows people call by a letter and a number."""
Thing = tuple[str, Any]
"""A table and the key of the row in it; for what has no row of its own, what tells it from others."""
Mark = tuple[dt.datetime, str]
"""A change of a thing: its moment and kind."""
Word = Literal["same", "theirs", "ours", "both"]

BY_LETTER: Final = {letter: table for table, letter in LETTERS.items()}
LABEL: Final = re.compile(r"([BFRCH])([0-9]{1,9})")
"""Subject of the history of such a row."""
CAMERA: Final = re.compile(r"camera ([0-9]{1,9})")
"""Subject of the history of a camera's profile, by its key."""
_STRIP: Final = re.compile(r"strip ([0-9]{1,9})")
_OWN: Final = frozenset({*LETTERS, "flights", "parts", "part_events"})
STANDARD: Final[Thing] = ("approvals", "standard")


@dataclass(slots=True)
class Side:
    """What one of the two knows, in its own keys."""

    changes: dict[Thing, dict[Mark, list[int]]] = field(default_factory=dict)
    """What was changed of each thing, with the numbers of the history's entries."""
    taken_out: dict[Thing, set[str]] = field(default_factory=dict)
    """Hashes of photos whose measurements once were taken out of a thing."""
    _events: dict[tuple[int, dt.datetime], int] = field(default_factory=dict)
    """By part and moment: a measurement of a part and its event know each other by these."""

    @classmethod
    def of(cls, changes: Iterable[Row], events: Iterable[Row], cameras: Iterable[Row]) -> Side:
        """Read the history, the events of the stair's parts, and the cameras' profiles."""
        side = cls(_events={(row["part_id"], row["created"]): row["id"] for row in events})
        profiles = {row["id"]: (row["camera"], row["light"]) for row in cameras}
        for row in changes:
            if row["what"] == "import":
                continue  # said of a row, not done to it
            mark = (row["made"], row["what"])
            for thing in _things(row, profiles):
                side.changes.setdefault(thing, {}).setdefault(mark, []).append(row["id"])
                gone = (row["before"] or {}).get("measurements") or ()
                side.taken_out.setdefault(thing, set()).update(each["photo_sha256"] for each in gone)
        return side

    def marks(self, thing: Thing) -> AbstractSet[Mark]:
        """Return what was changed of a thing."""
        return self.changes.get(thing, {}).keys()

    def thing_of(self, table: str, row: Row) -> Thing | None:
        """Return what a row belongs to; None for what is never changed, such as a photo."""
        if table in _OWN:
            return table, row["id" if "id" in row else "number"]
        if table == "measurements" and row["part_id"] is not None:
            event = self._events.get((row["part_id"], row["created"]))
            return ("parts", row["part_id"]) if event is None else ("part_events", event)
        if table in {"measurements", "pairs"}:
            spot = row.get("spot_number")
            return ("boards", row["board_number"]) if spot is None else ("floor_spots", spot)
        if table == "approvals":
            return STANDARD
        if table == "strip_greys":
            return "strips", row["strip_number"]
        return (table, (row["camera"], row["light"])) if table == "camera_profiles" else None


def word_on(theirs: AbstractSet[Mark], ours: AbstractSet[Mark]) -> Word:
    """Return whose state of a thing is the newer one; ``"both"`` where each side changed it since they parted."""
    if theirs == ours:
        return "same"
    if ours < theirs:
        return "theirs"
    return "ours" if theirs < ours else "both"


def _things(change: Row, profiles: Mapping[int, tuple[str, str]]) -> list[Thing]:
    """Return what a change is about; a measurement of a part can be about several events."""
    subject = change["subject"]
    if label := LABEL.fullmatch(subject):
        return [(BY_LETTER[label[1]], int(label[2]))]
    if strip := _STRIP.fullmatch(subject):
        return [("strips", int(strip[1]))]
    if camera := CAMERA.fullmatch(subject):
        return [("camera_profiles", profiles.get(int(camera[1])))]
    return [STANDARD] if subject == STANDARD[1] else _of_stair((change["before"] or {}) | (change["after"] or {}))


def _of_stair(said: Mapping[str, Any]) -> list[Thing]:
    if "events" in said or "event" in said:
        return [("part_events", number) for number in said.get("events") or [said.get("event")]]
    for name, table in (("part", "parts"), ("flight", "flights")):
        if name in said:
            return [(table, said[name])]
    return []
