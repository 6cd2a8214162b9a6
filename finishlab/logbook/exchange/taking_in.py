"""An archive's rows into a logbook that may hold some of them already: nothing twice, nothing lost.

A row is known again by the moment it was made, to a millionth of a second, and by what it belongs to. New rows keep
their numbers where these are free. Of what both sides know the one counts that knows more of it (see
`finishlab.logbook.exchange.sides`); where both sides changed a thing since, the logbook's own stays and the other goes
into the history.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import Table, delete, select, update
from sqlalchemy.orm import Session

from finishlab.logbook.exchange.dump import TABLES, CheckedDump, Row, damaged, plain_value
from finishlab.logbook.exchange.renaming import renamed, renamed_subject
from finishlab.logbook.exchange.sides import LETTERS, Side, Thing, Word, word_on
from finishlab.logbook.tables import CounterRow, PartEventRow
from finishlab.logbook.writing import note_change, now
from finishlab.stair.names import level_title
from finishlab.stair.reading import part_code, stair_levels

__all__ = ["IDENTITY", "LETTERS", "TakenIn", "take_in"]

IDENTITY: Final[Mapping[str, tuple[str, ...]]] = {
    "photos": ("sha256",),
    "strips": ("number",),
    "strip_greys": ("strip_number", "created"),
    "camera_profiles": ("camera", "light", "created"),
    "recipes": ("created",),
    "batches": ("created",),
    "trials": ("created",),
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
_LARGEST: Final[Mapping[str, tuple[str, str]]] = {"counters": ("name", "last"), "cautions": ("code", "shown")}
_ONE_HOLDS: Final[Mapping[str, str]] = {"approvals": "ended", "strip_greys": "ended", "camera_profiles": "removed"}
"""Tables of which one row holds at a time, and the column that says since when a row holds no longer."""
_DELETED: Final = frozenset({"measurements", "pairs"})
"""Tables whose rows are taken out; of all others a row is marked as removed."""
_TELLING: Final = ("changes", "part_events", "camera_profiles")
"""Tables that say what each side knows of things."""
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
    known: Mapping[str, list[Row]]
    """The logbook's rows of `_TELLING`, as they were before."""
    mine: Side
    theirs: Side
    result: TakenIn = field(default_factory=TakenIn)
    keys: dict[str, dict[Any, Any]] = field(default_factory=dict)
    """Table -> the archive's key -> the logbook's."""
    fresh: set[Thing] = field(default_factory=set)
    """What is new here, with all that belongs to it."""
    renewed: dict[Thing, None] = field(default_factory=dict)
    kept: dict[Thing, list[dict[str, Any]]] = field(default_factory=dict)
    """Things in the logbook's keys; of those both sides changed, the archive's rows that were not taken."""
    parted: dict[Thing, Thing] = field(default_factory=dict)
    """Things both sides changed, in the logbook's keys -> in the archive's."""

    def here(self, thing: Thing) -> Thing:
        """Return an archive's thing in the logbook's keys."""
        table, key = thing
        return (table, self.keys[table].get(key, key)) if table in self.keys and not isinstance(key, tuple) else thing

    def word(self, thing: Thing) -> Word:
        """Return whose state of an archive's thing counts."""
        here = self.here(thing)
        if here in self.fresh:
            return "theirs"
        word = word_on(self.theirs.marks(thing), self.mine.marks(here))
        if word == "both":
            self.parted[here] = thing
        return word


def take_in(session: Session, dump: CheckedDump, who: str) -> TakenIn:
    """Join a dump with the logbook of this transaction.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``; the transaction must then be given up.
    """
    known = {name: _read(session, name) for name in _TELLING}
    mine, theirs = (Side.of(*(tables[name] for name in _TELLING)) for tables in (known, dump.tables))
    merge = _Merge(session, known, mine, theirs)
    changes = _table("changes")
    # What was measured in an event comes after it, though no column says so.
    for each in sorted(TABLES, key=lambda table: table.name in _DELETED):
        if each.name in _LARGEST:
            _join_largest(session, each, dump.tables[each.name])
        elif each is not changes:
            _join(merge, each, dump.tables[each.name])
    subjects = [row | {"subject": renamed_subject(row["subject"], merge.keys)} for row in dump.tables["changes"]]
    _join(merge, changes, subjects)
    _raise_counters(session)
    _note(merge, who, used=bool(known["changes"]))
    return merge.result


def _table(name: str) -> Table:
    return next(each for each in TABLES if each.name == name)


def _read(session: Session, name: str) -> list[Row]:
    of = _table(name)
    return [dict(row) for row in session.execute(select(of).order_by(*of.primary_key.columns)).mappings()]


def _join(merge: _Merge, into: Table, rows: list[Row]) -> None:
    """Join one table; the tables it names are joined already."""
    (key,) = [column.name for column in into.primary_key.columns]
    mine_rows = merge.known[into.name] if into.name in merge.known else _read(merge.session, into.name)
    there = dict(zip(_identities(into, mine_rows), mine_rows, strict=True))
    taken = {row[key] for row in mine_rows}
    keys = merge.keys.setdefault(into.name, {})
    led = [_led_on(merge, into, theirs) for theirs in rows]
    identities = _identities(into, led)
    if into.name in _DELETED:
        _take_out(merge, into, there, set(identities))
    for identity, raw, given in zip(identities, rows, led, strict=True):
        row = renamed(given, merge.keys)
        mine = there.get(identity)
        if mine is not None:
            keys[raw[key]] = row[key] = mine[key]
            _settle(merge, into, mine, row, merge.theirs.thing_of(into.name, raw))
        elif _wanted(merge, into, row, merge.theirs.thing_of(into.name, raw)):
            if into.name != "photos" and row[key] in taken:
                _renumber(merge, into, row, key, taken)
            keys[raw[key]] = row[key]
            taken.add(row[key])
            merge.fresh.add((into.name, row[key]))
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


def _settle(merge: _Merge, into: Table, mine: Row, row: Row, thing: Thing | None) -> None:
    """Decide between two versions of one row."""
    if thing is None or mine == row:
        return
    word = merge.word(thing)
    if word == "theirs":
        (key,) = into.primary_key.columns
        merge.session.execute(update(into).where(key == mine[key.name]).values(**row))
        merge.renewed[merge.here(thing)] = None
    elif word == "both":
        merge.kept.setdefault(merge.here(thing), []).append({into.name: _shown(into, row)})


def _wanted(merge: _Merge, into: Table, row: Row, thing: Thing | None) -> bool:
    """Say whether a row that is not here is to come in: not where the logbook itself took it out."""
    if thing is None:
        return True
    if thing[0] == into.name and into.name not in _ONE_HOLDS:
        return True
    word, here = merge.word(thing), merge.here(thing)
    if word == "both":
        if into.name in _ONE_HOLDS:
            row[_ONE_HOLDS[into.name]] = row[_ONE_HOLDS[into.name]] or now()
            merge.kept.setdefault(here, []).append({into.name: _shown(into, row)})
        return row.get("photo_sha256") not in merge.mine.taken_out.get(here, set())
    if word == "theirs" and here not in merge.fresh:
        merge.renewed[here] = None
    return word != "ours"


def _take_out(merge: _Merge, into: Table, there: Mapping[tuple[Any, ...], Row], known: set[tuple[Any, ...]]) -> None:
    """Take out rows that the archive knows of and holds no longer; its history has their figures."""
    (key,) = into.primary_key.columns
    back = {(table, new): old for table, keys in merge.keys.items() for old, new in keys.items()}
    for identity, row in there.items():
        here = merge.mine.thing_of(into.name, row)
        if identity in known or here is None or here not in back:
            continue
        if merge.word((here[0], back[here])) == "theirs":
            merge.session.execute(delete(into).where(key == row[key.name]))
            merge.renewed[here] = None


def _shown(into: Table, row: Row) -> dict[str, Any]:
    (key,) = into.primary_key.columns.keys()
    return {name: plain_value(value) for name, value in row.items() if name != key}


def _note(merge: _Merge, who: str, *, used: bool) -> None:
    """Say in the history what came of it, and tell it."""
    session, result = merge.session, merge.result
    for old, new in result.renumbered:
        note_change(session, who, "import", new, after={"number_in_archive": old})
    for thing, rows in merge.kept.items():
        label = _label(session, thing)
        known = merge.mine.marks(thing)
        told = merge.theirs.changes.get(merge.parted[thing], {})
        unknown = sorted(number for mark, numbers in told.items() if mark not in known for number in numbers)
        entries = [merge.keys["changes"][number] for number in unknown]
        note_change(session, who, "import", label, after={"not_taken": rows, "entries": entries})
        result.kept.append(label)
    result.renewed = list(dict.fromkeys(_label(session, thing) for thing in merge.renewed))
    if used and (result.added or result.renewed or result.kept):
        # What an archive brought is no change of this logbook that `undo` could step back over.
        note_change(session, who, "import", _LOGBOOK, after={"added": result.added})


def _label(session: Session, thing: Thing) -> str:
    """Return what people call a thing."""
    table, key = thing
    if table in LETTERS:
        return f"{LETTERS[table]}{key}"
    if table == "flights":
        return level_title(stair_levels(session)[key])
    if table in {"parts", "part_events"}:
        return part_code(session, key if table == "parts" else session.get_one(PartEventRow, key).part_id)
    if table == "strips":
        return f"strip {key:04d}"
    return "camera" if table == "camera_profiles" else str(key)


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
