"""An archive's numbers inside names and JSON values, as the numbers they have in the logbook."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from finishlab.logbook.exchange.dump import Row
from finishlab.logbook.kinds import KINDS
from finishlab.stair.names import level_code, level_title, parse_level

__all__ = ["LETTERS", "Keys", "renamed", "renamed_subject"]

LETTERS: Final[Mapping[str, str]] = {table.__tablename__: kind.letter for table, kind in KINDS.items()}
"""Tables whose rows people call by a letter and a number."""
Keys = Mapping[str, Mapping[Any, Any]]
"""Table -> the archive's key -> the logbook's."""

_BY_LETTER: Final = {letter: table for table, letter in LETTERS.items()}
_LABEL: Final = re.compile(f"([{''.join(_BY_LETTER)}])([0-9]{{1,9}})")
_CAMERA: Final = re.compile(r"camera ([0-9]{1,9})")
_LEVEL: Final = re.compile(r"(?:flight|landing) [0-9]{1,9}")
_PART: Final = re.compile(r"(L?[0-9]{1,9})\.([A-Z]+[0-9]+[A-Z]?)")
_NAMING: Final[Mapping[str, str]] = {
    "can_number": "batches",
    "batch_number": "batches",
    "recipe_number": "recipes",
    "board_number": "boards",
    "spot_number": "floor_spots",
    "flight_number": "flights",
    "flight": "flights",
    "part_id": "parts",
    "part": "parts",
    "event": "part_events",
    "events": "part_events",
    "entry": "changes",
    "entries": "changes",
}
"""Keys of the JSON columns whose number is that of another row -> its table. An undo goes by those of the history."""


def renamed(row: Row, keys: Keys) -> Row:
    """Return a row whose JSON values name other rows by the logbook's keys."""
    return {name: _renamed(value, keys) if isinstance(value, dict) else value for name, value in row.items()}


def _renamed(value: Any, keys: Keys, key: str = "") -> Any:  # noqa: ANN401 - any JSON value
    if isinstance(value, dict):
        return {name: _renamed(inner, keys, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_renamed(inner, keys, key) for inner in value]
    return keys.get(_NAMING[key], {}).get(value, value) if key in _NAMING and type(value) is int else value


def renamed_subject(name: str, keys: Keys) -> str:
    """Return what a subject of the archive's history is called here: ``"B3"``, ``"flight 2"``, ``"2.T7"``."""
    if _LEVEL.fullmatch(name):
        return level_title(_level(name, keys))
    if part := _PART.fullmatch(name):
        return f"{level_code(_level(part[1], keys))}.{part[2]}"
    if camera := _CAMERA.fullmatch(name):
        return f"camera {_key('camera_profiles', camera[1], keys)}"
    if label := _LABEL.fullmatch(name):
        return f"{label[1]}{_key(_BY_LETTER[label[1]], label[2], keys)}"
    return name


def _level(text: str, keys: Keys) -> int:
    level = parse_level(text)
    return int(keys.get("flights", {}).get(level, level))


def _key(table: str, digits: str, keys: Keys) -> int:
    return int(keys.get(table, {}).get(int(digits), int(digits)))
