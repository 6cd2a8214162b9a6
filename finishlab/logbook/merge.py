"""An archive's rows into a logbook that may hold some of them already: nothing twice, nothing lost.

A row is known again by its own name, a photo by its hash and a strip by its number. New rows keep their numbers where
these are free. Every row belongs to a thing with a history of its own: a board with its measurements and pairs, a
flight, a part of the stair, an event with what was measured in it, the standard, a strip, a camera in a light. The
images of rows tell which changes were made of it. The side whose history of the thing goes on where the other's ends
has the newer state, removals and all; where both sides changed a thing since, the logbook's own stays and the other
goes into the history.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from sqlalchemy import Connection, Table, delete, select, update
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook.audit import TABLES, check_row, restore_counters
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.tables import (
    DAMAGED,
    KINDS,
    ChangeRow,
    ImageRow,
    column_value,
    plain_value,
    why,
)
from finishlab.logbook.writing import HOLDERS, LASTING, note_change, now, thing_of
from finishlab.stair.names import level_code, level_title, parse_level

FORMAT: Final = "finishlab/logbook/1"
Row = dict[str, Any]
Tables = Mapping[str, list[Row]]
"""All tables, the values as the database takes them."""


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


def damaged(why: str) -> LogbookError:
    """Return the error of an archive that cannot be taken in."""
    return LogbookError("archive-damaged", f"The archive is damaged: {why}.", "Make it again with: finishlab export")


Dump = Mapping[str, Any]
"""All rows of a logbook, in the order of their keys, as its JSON document has them: ``format``, ``tables_at``, which is
the step the tables are at (see `finishlab.logbook.migrations`), and ``tables``."""


def refuse_other_form(document: Mapping[str, Any]) -> None:
    """See that a JSON document is a `Dump`; raises `LogbookError` ``"archive-damaged"``."""
    tables = document.get("tables")
    if document.get("format") != FORMAT or not isinstance(tables, Mapping):
        raise damaged("its list of tables is not one")
    if not all(isinstance(rows, list) and all(isinstance(row, dict) for row in rows) for rows in tables.values()):
        raise damaged("its list of tables is not one")


def read_dump(connection: Connection) -> Dump:
    """Read all tables, at one moment."""
    tables = {}
    for each in TABLES.values():
        found = connection.execute(select(each).order_by(*each.primary_key.columns)).mappings()
        tables[each.name] = [{name: plain_value(value) for name, value in row.items()} for row in found]
    return {"format": FORMAT, "tables_at": HEAD, "tables": tables}


def checked(dump: Dump) -> Tables:
    """Return the tables; rows that no command can have written are refused.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``.
    """
    tables: dict[str, list[Row]] = {
        each.name: [
            dict.fromkeys(each.columns.keys()) | decoded_row(each, row) for row in dump["tables"].get(each.name, [])
        ]
        for each in TABLES.values()
    }
    for name, rows in tables.items():
        for row in rows:
            if row.get("uuid", "") is None:
                raise damaged(f"the table {name} lacks uuid")
            try:
                check_row(name, row)
            except DAMAGED as error:
                raise damaged(f"an entry of its table {name} cannot be meant ({why(error)})") from error
        _check_once(name, rows)
    if not {row["change_id"] for row in tables["row_images"]} <= {row["id"] for row in tables["changes"]}:
        raise damaged("an image is of no change")
    return tables


def _check_once(name: str, rows: list[Row]) -> None:
    """See that no two rows bear one key, or one name."""
    for column in (*TABLES[name].primary_key.columns.keys(), "uuid"):
        known = [row[column] for row in rows if column in row]
        if len(set(known)) < len(known):
            raise damaged(f"two entries of its table {name} are one")


def decoded_row(into: Table, row: Mapping[str, Any]) -> Row:
    """Return a row's values as the database takes them.

    Raises
    ------
    LogbookError
        ``"archive-damaged"`` if a value cannot be one of its column.
    """
    out: Row = {}
    for name, value in row.items():
        if name not in into.columns:
            raise damaged(f"the table {into.name} has no column {name}")
        try:
            out[name] = column_value(into.columns[name].type, value)
        except (TypeError, ValueError, OverflowError) as error:
            raise damaged(f"{into.name}.{name} cannot be {str(value)[:60]!r}") from error
    return out


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


Winner = Literal["same", "theirs", "ours", "both"]


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

    def winner_against(self, thing: str, theirs: Side) -> Winner:
        """Return whose state of a thing is the newer one; ``"both"`` where each side changed it since they parted."""
        mine, others = self.changes.get(thing, {}).keys(), theirs.changes.get(thing, {}).keys()
        if mine == others:
            return "same"
        if mine < others:
            return "theirs"
        return "ours" if others < mine else "both"


_KNOWN_BY: Final[Mapping[str, str]] = {"photos": "sha256", "strips": "number"}
"""Column by which a table's rows are known again, where that is not their own name."""
_LARGEST: Final[Mapping[str, tuple[str, str]]] = {"counters": ("name", "last"), "cautions": ("code", "shown")}
"""Tables that are joined by their largest value."""
_DELETED: Final = frozenset({"measurements", "pairs"})
"""Tables whose rows are taken out; of all others a row is marked as removed."""
_HISTORY: Final = ("changes", "row_images")
_LOGBOOK: Final = "logbook"
"""The history's name for the whole logbook."""


@dataclass(slots=True)
class MergeResult:
    """What came of an archive."""

    added: dict[str, int] = field(default_factory=dict)
    """Table -> rows that are new."""
    renewed: list[str] = field(default_factory=list)
    """What the archive knew more of, by the logbook's names."""
    kept: list[str] = field(default_factory=list)
    """What both sides had changed: the logbook's own stays, the archive's stands in the history."""
    renumbered: list[tuple[str, str]] = field(default_factory=list)
    """Numbers in the archive and in the logbook, where they differ."""


@dataclass(slots=True)
class _Merge:
    session: Session
    mine: Side
    theirs: Side
    result: MergeResult = field(default_factory=MergeResult)
    keys: dict[str, dict[Any, Any]] = field(default_factory=dict)
    """Table -> the archive's key -> the logbook's."""
    pending: list[Row] = field(default_factory=list)
    """New rows of the table that is being joined, which are written all at once."""
    fresh: set[str] = field(default_factory=set)
    """Names of the rows that are new here."""
    renewed: dict[str, None] = field(default_factory=dict)
    """Things whose state was taken over."""
    kept: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    """Things both sides changed -> the archive's rows that were not taken."""

    def write(self, into: Table) -> None:
        """Write the new rows of a table."""
        if self.pending:
            self.session.execute(into.insert(), self.pending)
            self.pending.clear()

    def winner(self, thing: str) -> Winner:
        """Return whose state of a thing counts."""
        return "theirs" if thing in self.fresh else self.mine.winner_against(thing, self.theirs)


def merge(session: Session, dump: Tables, who: str) -> MergeResult:
    """Join a dump with the logbook of this transaction.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``; the transaction must then be given up.
    """
    known = {name: _read(session, each) for name, each in TABLES.items()}
    merge = _Merge(session, Side.of(known), Side.of(dump))
    tables = [each for each in TABLES.values() if each.name not in _HISTORY]
    # What was measured in an event comes after it, though no column says so.
    for each in sorted(tables, key=lambda table: table.name in _DELETED):
        if each.name in _LARGEST:
            _join_largest(session, each, dump[each.name])
        else:
            _join(merge, each, known[each.name], dump[each.name])
    _join_history(merge, known, dump)
    restore_counters(session)
    _note(merge, who, used=bool(known["changes"]))
    return merge.result


def _read(session: Session, of: Table) -> list[Row]:
    return [dict(row) for row in session.execute(select(of).order_by(*of.primary_key.columns)).mappings()]


def _join(merge: _Merge, into: Table, mine_rows: list[Row], rows: list[Row]) -> None:
    """Join one table; the tables it names are joined already."""
    (key,) = into.primary_key.columns.keys()
    name = _KNOWN_BY.get(into.name, "uuid")
    there = {row[name]: row for row in mine_rows}
    taken = {row[key] for row in mine_rows}
    keys = merge.keys.setdefault(into.name, {})
    if into.name in _DELETED:
        _take_out(merge, into, mine_rows, {row[name] for row in rows})
    for raw in rows:
        row = renamed(_led_on(merge, into, raw), merge.keys)
        mine, thing = there.get(row[name]), merge.theirs.thing_of(into.name, raw)
        if mine is not None:
            keys[raw[key]] = row[key] = mine[key]
            _settle(merge, into, mine, row, thing)
        elif _wanted(merge, into, row, thing):
            _add(merge, into, row, raw[key], taken)
            merge.fresh.add(row[name])
    merge.write(into)


def _add(merge: _Merge, into: Table, row: Row, old: Any, taken: set[Any]) -> None:  # noqa: ANN401 - a key of any table
    """Insert a new row, under another key where its own is taken."""
    (key,) = into.primary_key.columns.keys()
    if into.name != "photos" and old in taken:
        _renumber(merge, into, row, key, taken)
    merge.keys[into.name][old] = row[key]
    taken.add(row[key])
    merge.pending.append(row)
    merge.result.added[into.name] = merge.result.added.get(into.name, 0) + 1


def _led_on(merge: _Merge, into: Table, row: Mapping[str, Any]) -> Row:
    """Return a row, or some columns of one, whose references are the logbook's keys."""
    out = dict(row)
    for reference in into.foreign_keys:
        name, target = reference.parent.name, reference.column.table.name
        if out.get(name) is not None:
            try:
                out[name] = merge.keys[target][out[name]]
            except KeyError:
                raise damaged(f"{into.name} names {target} {out[name]!r}, which is not there") from None
    return out


def _renumber(merge: _Merge, into: Table, row: Row, key: str, taken: set[Any]) -> None:
    """Give a new row another number, since its own is taken."""
    old = row[key]
    row[key] = max(k for k in taken if isinstance(k, int)) + 1
    if into.name == "flights":
        # Flights have odd numbers and landings even ones: a new number is of the same sort.
        row[key] += (row[key] - old) % 2
        merge.result.renumbered.append((level_title(old), level_title(row[key])))
    elif into.name in LETTERS:
        letter = LETTERS[into.name]
        merge.result.renumbered.append((f"{letter}{old}", f"{letter}{row[key]}"))


def _settle(merge: _Merge, into: Table, mine: Row, row: Row, thing: str | None) -> None:
    """Decide between two versions of one row."""
    if thing is None or mine == row:
        return
    winner = merge.winner(thing)
    if winner == "theirs":
        (key,) = into.primary_key.columns
        merge.session.execute(update(into).where(key == mine[key.name]).values(**row))
        merge.renewed[thing] = None
    elif winner == "both":
        merge.kept.setdefault(thing, []).append({into.name: _shown(into, row)})


def _wanted(merge: _Merge, into: Table, row: Row, thing: str | None) -> bool:
    """Say whether a row that is not here is to come in: not where the logbook itself took it out."""
    if thing is None or thing == row["uuid"]:
        return True
    winner = merge.winner(thing)
    if winner == "both":
        if into.name in HOLDERS:
            ended = "ended" if "ended" in row else "removed"
            row[ended] = row[ended] or now()
            merge.kept.setdefault(thing, []).append({into.name: _shown(into, row)})
        return row["uuid"] not in merge.mine.taken_out
    if winner == "theirs" and thing not in merge.fresh and thing in merge.mine.changes:
        merge.renewed[thing] = None
    return winner != "ours"


def _take_out(merge: _Merge, into: Table, mine_rows: list[Row], known: set[str]) -> None:
    """Take out rows that the archive knows of and holds no longer; its history has their figures."""
    for row in mine_rows:
        thing = merge.mine.thing_of(into.name, row)
        if row["uuid"] not in known and thing is not None and merge.winner(thing) == "theirs":
            merge.session.execute(delete(into).where(into.columns.uuid == row["uuid"]))
            merge.renewed[thing] = None


def _shown(into: Table, row: Row) -> dict[str, Any]:
    left_out = {"uuid", *into.primary_key.columns.keys()}
    return {name: plain_value(value) for name, value in row.items() if name not in left_out}


def _join_history(merge: _Merge, known: Tables, dump: Tables) -> None:
    """Join the changes, and the images of those that are new."""
    changes, images = (TABLES[name] for name in _HISTORY)
    subjects = [row | {"subject": renamed_subject(row["subject"], merge.keys)} for row in dump["changes"]]
    _join(merge, changes, known["changes"], subjects)
    names = {row["id"]: row["uuid"] for row in subjects}

    taken = {row["id"] for row in known["row_images"]}
    for raw in dump["row_images"]:
        if names[raw["change_id"]] not in merge.fresh:
            continue
        row = _led_on(merge, images, raw)
        for side in ("before", "after"):
            if row[side] is not None:
                row[side] = renamed(_led_on(merge, TABLES[row["table_name"]], row[side]), merge.keys)
        merge.keys.setdefault(images.name, {})
        _add(merge, images, row, raw["id"], taken)
    merge.write(images)


def _note(merge: _Merge, who: str, *, used: bool) -> None:
    """Say in the history what came of it, and tell it."""
    session, result = merge.session, merge.result
    for old, new in result.renumbered:
        note_change(session, who, "import", new, after={"number_in_archive": old})
    labels = {thing: _label(session, thing) for thing in (*merge.kept, *merge.renewed)}
    for thing, rows in merge.kept.items():
        known = merge.mine.changes.get(thing, {})
        unknown = sorted(key for name, key in merge.theirs.changes[thing].items() if name not in known)
        entries = [merge.keys["changes"][number] for number in unknown]
        note_change(session, who, "import", labels[thing], after={"not_taken": rows, "entries": entries})
        result.kept.append(labels[thing])
    result.renewed = list(dict.fromkeys(labels[thing] for thing in merge.renewed))
    if used and (result.added or result.renewed or result.kept):
        # What an archive brought is no change of this logbook that `undo` could step back over.
        note_change(session, who, "import", _LOGBOOK, after={"added": result.added})


def _label(session: Session, thing: str) -> str:
    """Return what the history calls a thing."""
    told = select(ChangeRow.subject).join(ImageRow, ImageRow.change_id == ChangeRow.id).where(ImageRow.thing == thing)
    return session.scalars(told.order_by(ChangeRow.id.desc()).limit(1)).one()


def _join_largest(session: Session, into: Table, rows: list[Row]) -> None:
    key, largest = _LARGEST[into.name]
    for row in rows:
        here = into.columns[key] == row[key]
        mine = session.execute(select(into.columns[largest]).where(here)).scalar()
        if mine is None:
            session.execute(into.insert(), [row])
        elif row[largest] > mine:
            session.execute(update(into).where(here).values(**{largest: row[largest]}))
