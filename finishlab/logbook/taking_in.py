"""An archive's rows into a logbook that may hold some of them already: nothing twice, nothing lost.

A row is known again by the moment it was made, to a millionth of a second, and by what it belongs to. New rows keep
their numbers where these are free. Where both sides changed one thing since, the logbook's own stays and the other goes
into the history.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import Table, select, update
from sqlalchemy.orm import Session

from finishlab.logbook.dump import TABLES, Dump, Row, damaged, decoded
from finishlab.logbook.tables import CounterRow
from finishlab.logbook.writing import note_change
from finishlab.records.stair_names import level_code, level_title, parse_level

__all__ = ["IDENTITY", "LETTERS", "TakenIn", "take_in"]

IDENTITY: Final[Mapping[str, tuple[str, ...]]] = {
    "photos": ("sha256",),
    "strips": ("number",),
    "strip_greys": ("strip_number", "created"),
    "camera_profiles": ("camera", "light", "created"),
    "recipes": ("created",),
    "batches": ("created",),
    "boards": ("created",),
    "floor_spots": ("created",),
    "approvals": ("recipe_number", "created"),
    "flights": ("created",),
    "parts": ("flight_number", "created"),
    "part_events": ("part_id", "created"),
    "measurements": ("board_number", "spot_number", "part_id", "photo_sha256"),
    "pairs": ("board_number", "photo_sha256"),
    "changes": ("made", "what", "subject"),
}
"""By what a table's rows are known again: what no edit changes. Rows that agree in it are told apart by their order.
Counters and cautions are joined by their largest value instead."""
LETTERS: Final[Mapping[str, str]] = {"boards": "B", "floor_spots": "F", "recipes": "R", "batches": "C"}
"""Tables whose rows people call by a letter and a number."""
_LARGEST: Final[Mapping[str, tuple[str, str]]] = {"counters": ("name", "last"), "cautions": ("code", "shown")}
_LABEL: Final = re.compile(r"([BFRC])([0-9]{1,9})")
_FLIGHT: Final = re.compile(r"((?:flight|landing) [0-9]{1,9})")
_PART: Final = re.compile(r"(L?[0-9]{1,9})\.([A-Z]+[0-9]+[A-Z]?)")
_NAMING: Final[Mapping[str, str]] = {
    "can_number": "batches",
    "batch_number": "batches",
    "recipe_number": "recipes",
    "board_number": "boards",
    "spot_number": "floor_spots",
    "flight_number": "flights",
    "part_id": "parts",
    "part": "parts",
    "event": "part_events",
}
"""Keys of the JSON columns whose number is that of another row -> its table. An undo goes by those of the history."""


@dataclass(slots=True)
class TakenIn:
    """What came of an archive."""

    added: dict[str, int] = field(default_factory=dict)
    """Table -> rows that are new."""
    renewed: list[str] = field(default_factory=list)
    """What the archive knew more of, by the logbook's numbers."""
    kept: list[str] = field(default_factory=list)
    """What both sides had changed: the logbook's own stays, the archive's stands in the history."""
    renumbered: list[tuple[str, str]] = field(default_factory=list)
    """Numbers in the archive and in the logbook, where they differ."""


@dataclass(slots=True)
class _Merge:
    session: Session
    who: str
    result: TakenIn
    keys: dict[str, dict[Any, Any]] = field(default_factory=dict)
    """Table -> the archive's key -> the logbook's."""
    mine: dict[str, set[tuple[Any, ...]]] = field(default_factory=dict)
    theirs: dict[str, set[tuple[Any, ...]]] = field(default_factory=dict)
    """Label in the logbook -> the changes each side knows."""


def take_in(session: Session, dump: Dump, who: str) -> TakenIn:
    """Join a dump, at today's step, with the logbook of this transaction.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``; the transaction must then be given up.
    """
    merge = _Merge(session, who, TakenIn())
    rows = {each.name: [decoded(each, row) for row in dump.tables.get(each.name, [])] for each in TABLES}
    changes = next(each for each in TABLES if each.name == "changes")
    merge.mine = _changes_by_subject(dict(row) for row in session.execute(select(changes)).mappings())
    for each in TABLES:
        if each.name in _LARGEST:
            _join_largest(session, each, rows[each.name])
        elif each is not changes:
            _join(merge, each, rows[each.name], rows["changes"])
    _join(merge, changes, [_renamed_change(merge, row) for row in rows["changes"]], ())
    _raise_counters(session)
    for old, new in merge.result.renumbered:
        note_change(session, who, "import", new, after={"number_in_archive": old})
    return merge.result


def _join(merge: _Merge, into: Table, rows: list[Row], changes: Iterable[Row]) -> None:
    """Join one table; the tables it names are joined already."""
    (key,) = [column.name for column in into.primary_key.columns]
    mine_rows = [dict(row) for row in merge.session.execute(select(into).order_by(into.columns[key])).mappings()]
    there = dict(zip(_identities(into, mine_rows), mine_rows, strict=True))
    taken = {row[key] for row in there.values()}
    keys = merge.keys.setdefault(into.name, {})
    led = [_led_on(merge, into, theirs) for theirs in rows]
    for identity, row in zip(_identities(into, led), led, strict=True):
        old = row[key]
        mine = there.get(identity)
        if mine is not None:
            keys[old] = mine[key]
            _settle(merge, into, mine, row | {key: mine[key]}, changes)
            continue
        if into.name != "photos" and old in taken:
            row[key] = max((k for k in taken if isinstance(k, int)), default=0) + 1
            if into.name == "flights":
                # Flights have odd numbers and landings even ones: a new number is of the same sort.
                row[key] += (row[key] - old) % 2
                merge.result.renumbered.append((level_title(old), level_title(row[key])))
            elif into.name in LETTERS:
                letter = LETTERS[into.name]
                merge.result.renumbered.append((f"{letter}{old}", f"{letter}{row[key]}"))
        keys[old] = row[key]
        taken.add(row[key])
        merge.session.execute(into.insert(), [row])
        merge.result.added[into.name] = merge.result.added.get(into.name, 0) + 1


def _identities(of: Table, rows: Iterable[Row]) -> list[tuple[Any, ...]]:
    """Return by what each row is known again; of several that agree the first is 1, the next 2."""
    met: Counter[tuple[Any, ...]] = Counter()
    out = []
    for row in rows:
        identity = tuple(row[name] for name in IDENTITY[of.name])
        met[identity] += 1
        out.append((*identity, met[identity]))
    return out


def _led_on(merge: _Merge, into: Table, row: Row) -> Row:
    """Return a row whose references are the logbook's keys."""
    out = dict(row)
    for reference in into.foreign_keys:
        name, target = reference.parent.name, reference.column.table.name
        if out[name] is not None:
            try:
                out[name] = merge.keys[target][out[name]]
            except KeyError:
                raise damaged(f"{into.name} names {target} {out[name]!r}, which is not there") from None
    return {name: _renamed(merge, value) if isinstance(value, dict) else value for name, value in out.items()}


def _renamed(merge: _Merge, value: Any, key: str = "") -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose numbers of other rows are the logbook's."""
    if isinstance(value, dict):
        return {name: _renamed(merge, inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_renamed(merge, inner, key) for inner in value]
    return merge.keys.get(_NAMING[key], {}).get(value, value) if key in _NAMING and type(value) is int else value


def _label(merge: _Merge, name: str) -> str:
    """Return what a subject of the archive is called here: ``"B3"``, ``"flight 2"``, ``"2.T7"``."""
    flight = _FLIGHT.fullmatch(name)
    if flight is not None:
        level = parse_level(flight.group(1))
        return level_title(merge.keys.get("flights", {}).get(level, level))
    part = _PART.fullmatch(name)
    if part is not None:
        level = parse_level(part.group(1))
        return f"{level_code(merge.keys.get('flights', {}).get(level, level))}.{part.group(2)}"
    found = _LABEL.fullmatch(name)
    if found is None:
        return name
    table = next(each for each, letter in LETTERS.items() if letter == found.group(1))
    number = int(found.group(2))
    return f"{found.group(1)}{merge.keys.get(table, {}).get(number, number)}"


def _settle(merge: _Merge, into: Table, mine: Row, theirs: Row, changes: Iterable[Row]) -> None:
    """Decide between two versions of one row."""
    (key,) = [column.name for column in into.primary_key.columns]
    if mine == theirs or into.name in ("photos", "changes", "strips"):
        return
    if into.name not in LETTERS:
        if "created" in theirs and theirs["created"] > mine["created"]:
            merge.session.execute(update(into).where(into.columns[key] == mine[key]).values(**theirs))
        return
    label = f"{LETTERS[into.name]}{mine[key]}"
    if not merge.theirs:
        merge.theirs = _changes_by_subject(changes)
    old = f"{LETTERS[into.name]}{_old_key(merge, into, mine[key])}"
    ours, others = merge.mine.get(label, set()), merge.theirs.get(old, set())
    if ours < others:
        merge.session.execute(update(into).where(into.columns[key] == mine[key]).values(**theirs))
        merge.result.renewed.append(label)
    elif not others <= ours:
        after = {name: value for name, value in theirs.items() if isinstance(value, str | int | float | dict)}
        note_change(merge.session, merge.who, "import", label, after={"not_taken": after})
        merge.result.kept.append(label)


def _old_key(merge: _Merge, into: Table, new: Any) -> Any:  # noqa: ANN401 - a key of any table
    return next(old for old, each in merge.keys[into.name].items() if each == new)


def _changes_by_subject(changes: Iterable[Row]) -> dict[str, set[tuple[Any, ...]]]:
    out: dict[str, set[tuple[Any, ...]]] = {}
    for row in changes:
        out.setdefault(row["subject"], set()).add((row["made"], row["what"]))
    return out


def _renamed_change(merge: _Merge, row: Row) -> Row:
    return row | {"subject": _label(merge, row["subject"])}


def _join_largest(session: Session, into: Table, rows: list[Row]) -> None:
    key, largest = _LARGEST[into.name]
    for row in rows:
        here = into.columns[key] == row[key]
        mine = session.execute(select(into.columns[largest]).where(here)).scalar()
        if mine is None:
            session.execute(into.insert(), [row])
        elif row[largest] > mine:
            session.execute(update(into).where(here).values(**{largest: row[largest]}))


def _raise_counters(session: Session) -> None:
    """Let no number be given again."""
    for each in TABLES:
        if each.name in LETTERS:
            numbers = [each.columns.number]
            last = max(session.execute(select(*numbers)).scalars(), default=0)
            where = (CounterRow.name == each.name, CounterRow.last < last)
            session.execute(update(CounterRow).where(*where).values(last=last))
