"""An archive's rows into a logbook that may hold some of them already: nothing twice, nothing lost.

A row is known again by its own name, a photo by its hash and a strip by its number. New rows keep their numbers where
these are free. Of what both sides know the one counts that knows more of it (see `finishlab.logbook.exchange.sides`);
where both sides changed a thing since, the logbook's own stays and the other goes into the history.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import Table, delete, select, update
from sqlalchemy.orm import Session

from finishlab.logbook.columns import plain_value
from finishlab.logbook.exchange.dump import TABLES, Row, Tables, damaged
from finishlab.logbook.exchange.renaming import LETTERS, renamed, renamed_subject
from finishlab.logbook.exchange.sides import Side, Word
from finishlab.logbook.images import HOLDERS
from finishlab.logbook.tables import ChangeRow, CounterRow, ImageRow
from finishlab.logbook.writing import note_change, now
from finishlab.stair.names import level_title

__all__ = ["TakenIn", "take_in"]

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
class TakenIn:
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
    result: TakenIn = field(default_factory=TakenIn)
    keys: dict[str, dict[Any, Any]] = field(default_factory=dict)
    """Table -> the archive's key -> the logbook's."""
    fresh: set[str] = field(default_factory=set)
    """Names of the rows that are new here."""
    renewed: dict[str, None] = field(default_factory=dict)
    """Things whose state was taken over."""
    kept: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    """Things both sides changed -> the archive's rows that were not taken."""

    def word(self, thing: str) -> Word:
        """Return whose state of a thing counts."""
        return "theirs" if thing in self.fresh else self.mine.word_against(thing, self.theirs)


def take_in(session: Session, dump: Tables, who: str) -> TakenIn:
    """Join a dump with the logbook of this transaction.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``; the transaction must then be given up.
    """
    known = {each.name: _read(session, each) for each in TABLES}
    merge = _Merge(session, Side.of(known), Side.of(dump))
    tables = [each for each in TABLES if each.name not in _HISTORY]
    # What was measured in an event comes after it, though no column says so.
    for each in sorted(tables, key=lambda table: table.name in _DELETED):
        if each.name in _LARGEST:
            _join_largest(session, each, dump[each.name])
        else:
            _join(merge, each, known[each.name], dump[each.name])
    _join_history(merge, known, dump)
    _raise_counters(session)
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


def _add(merge: _Merge, into: Table, row: Row, old: Any, taken: set[Any]) -> None:  # noqa: ANN401 - a key of any table
    """Insert a new row, under another key where its own is taken."""
    (key,) = into.primary_key.columns.keys()
    if into.name != "photos" and old in taken:
        _renumber(merge, into, row, key, taken)
    merge.keys[into.name][old] = row[key]
    taken.add(row[key])
    merge.session.execute(into.insert(), [row])
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
    word = merge.word(thing)
    if word == "theirs":
        (key,) = into.primary_key.columns
        merge.session.execute(update(into).where(key == mine[key.name]).values(**row))
        merge.renewed[thing] = None
    elif word == "both":
        merge.kept.setdefault(thing, []).append({into.name: _shown(into, row)})


def _wanted(merge: _Merge, into: Table, row: Row, thing: str | None) -> bool:
    """Say whether a row that is not here is to come in: not where the logbook itself took it out."""
    if thing is None or thing == row["uuid"]:
        return True
    word = merge.word(thing)
    if word == "both":
        if into.name in HOLDERS:
            ended = "ended" if "ended" in row else "removed"
            row[ended] = row[ended] or now()
            merge.kept.setdefault(thing, []).append({into.name: _shown(into, row)})
        return row["uuid"] not in merge.mine.taken_out
    if word == "theirs" and thing not in merge.fresh and thing in merge.mine.changes:
        merge.renewed[thing] = None
    return word != "ours"


def _take_out(merge: _Merge, into: Table, mine_rows: list[Row], known: set[str]) -> None:
    """Take out rows that the archive knows of and holds no longer; its history has their figures."""
    for row in mine_rows:
        thing = merge.mine.thing_of(into.name, row)
        if row["uuid"] not in known and thing is not None and merge.word(thing) == "theirs":
            merge.session.execute(delete(into).where(into.columns.uuid == row["uuid"]))
            merge.renewed[thing] = None


def _shown(into: Table, row: Row) -> dict[str, Any]:
    left_out = {"uuid", *into.primary_key.columns.keys()}
    return {name: plain_value(value) for name, value in row.items() if name not in left_out}


def _join_history(merge: _Merge, known: Tables, dump: Tables) -> None:
    """Join the changes, and the images of those that are new."""
    changes, images = (next(each for each in TABLES if each.name == name) for name in _HISTORY)
    subjects = [row | {"subject": renamed_subject(row["subject"], merge.keys)} for row in dump["changes"]]
    _join(merge, changes, known["changes"], subjects)
    names = {row["id"]: row["uuid"] for row in subjects}
    tables = {each.name: each for each in TABLES}
    taken = {row["id"] for row in known["row_images"]}
    for raw in dump["row_images"]:
        if names[raw["change_id"]] not in merge.fresh:
            continue
        row = _led_on(merge, images, raw)
        for side in ("before", "after"):
            if row[side] is not None:
                row[side] = renamed(_led_on(merge, tables[row["table_name"]], row[side]), merge.keys)
        merge.keys.setdefault(images.name, {})
        _add(merge, images, row, raw["id"], taken)


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


def _raise_counters(session: Session) -> None:
    """Let no number be given again."""
    for each in TABLES:
        if each.name in LETTERS:
            numbers = [each.columns.number]
            last = max(session.execute(select(*numbers)).scalars(), default=0)
            where = (CounterRow.name == each.name, CounterRow.last < last)
            session.execute(update(CounterRow).where(*where).values(last=last))
