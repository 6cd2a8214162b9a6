"""Taking changes back, and bringing them back again: each time as a new change, so that nothing is lost.

Each kind of change has one way back. An entry ``undo`` or ``redo`` says in ``after["undone"]`` which change it is
about, of which kind that was, and as which kind it counts itself, so that the same ways lead back from it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, fields
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.cameras import unforget_camera, unlearn_camera
from finishlab.logbook.histories import subject_of
from finishlab.logbook.reading import change_of
from finishlab.logbook.recipes import STANDARD, set_standard
from finishlab.logbook.renewing import swap_figures
from finishlab.logbook.stored import Change
from finishlab.logbook.strips import set_greys
from finishlab.logbook.subjects import AnyRow, check_named, find, put, read_record, remove, subject_name, table_of
from finishlab.logbook.tables import Base, BoardRow, ChangeRow, FloorSpotRow, MeasurementRow, PairRow
from finishlab.logbook.undo.entries import Entry, entries_to_redo, entries_to_undo
from finishlab.logbook.undo.stair import FLIGHT_WAYS, PART_WAYS
from finishlab.logbook.undo.task import UNDONE, Steps, Task, Way
from finishlab.records import Approval

__all__ = ["UndoShelf", "Undone"]


@dataclass(frozen=True, slots=True)
class Undone:
    """A change that was taken back, or brought back."""

    subject: str
    change: Change
    """The change."""
    entry: Change
    """The entry of the history that did it."""


class UndoShelf:
    """The part of a logbook that takes changes back; `finishlab.logbook.store.Logbook` is one."""

    _who: str

    def _write(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def undo(self, subject: str | None = None) -> tuple[Undone, ...]:
        """Take back what the last write changed, of a subject or of the whole logbook; the next goes a step further.

        Returns
        -------
        tuple
            What was taken back, the last change first.

        Raises
        ------
        LogbookError
            ``"nothing-to-undo"``; ``"cannot-undo"`` if that kind of change has no way back; ``"photo-logged-twice"``,
            ``"recipe-in-use"``, ``"unknown-recipe"`` ... if something since stands in the way. Nothing is changed then.
        """
        with self._write() as session:
            named = None if subject is None else subject_of(session, subject)
            return _take_back(session, entries_to_undo(session, named), "undo", self._who)

    def redo(self, subject: str | None = None) -> tuple[Undone, ...]:
        """Bring back what the last `undo` took back, while nothing new was done since; the next goes a step further.

        Raises
        ------
        LogbookError
            ``"nothing-to-redo"``, and what `undo` raises.
        """
        with self._write() as session:
            named = None if subject is None else subject_of(session, subject)
            return _take_back(session, entries_to_redo(session, named), "redo", self._who)


def _take_back(session: Session, entries: Iterable[Entry], step: Steps, who: str) -> tuple[Undone, ...]:
    done = []
    for each in entries:
        change, root = (change_of(session.get_one(ChangeRow, number)) for number in (each.number, each.root))
        last = _newest(session).id
        _way(change, root)(_task(session, change, root, step, who))
        session.flush()
        entry = _newest(session)
        if entry.id > last:
            done.append(Undone(change.subject, root, change_of(entry)))
    return tuple(done)


def _newest(session: Session) -> ChangeRow:
    return session.scalars(select(ChangeRow).order_by(ChangeRow.id.desc()).limit(1)).one()


def _effect(change: Change) -> str:
    """Return the kind a change counts as; an ``undo`` says so itself."""
    if change.what not in {"undo", "redo"}:
        return change.what
    return str(((change.after or {}).get(UNDONE) or {}).get("as", ""))


def _way(change: Change, root: Change) -> Way:
    way = _WAYS.get(_kind(change.subject), {}).get(_effect(change))
    if root.what == "import":
        raise LogbookError(
            "cannot-undo",
            "The last change took in an archive; undo does not step back over that.",
            "Name what to take back, such as: finishlab undo B3",
        )
    if way is None:
        raise LogbookError(
            "cannot-undo",
            f"The last change, “{root.what}” of {change.subject}, cannot be taken back.",
            "Change it with its own command; its history stays.",
        )
    return way


def _kind(subject: str) -> str:
    if table_of(subject) is not None:
        return "numbered"
    first = subject.partition(" ")[0]
    if first in {"strip", "camera", STANDARD}:
        return first
    return "flight" if first in {"flight", "landing"} else "part"


def _task(session: Session, change: Change, root: Change, step: Steps, who: str) -> Task:
    before = {name: value for name, value in (change.before or {}).items() if name != UNDONE}
    after = {name: value for name, value in (change.after or {}).items() if name != UNDONE}
    return Task(session, change.subject, before, after, who, change.number, root.number, root.what, step)


def _row(task: Task) -> AnyRow:
    table = table_of(task.subject)
    if table is None:
        raise LogbookError("cannot-undo", f"A change of {task.subject} cannot be taken back.", "")
    row: AnyRow = find(task.session, table, task.subject, removed=True, lock=True)
    return row


def _unadd(task: Task) -> None:
    remove(task.session, _row(task), task.who, what=task.step, undone=task.mark("remove"))


def _restore(task: Task) -> None:
    row = _row(task)
    check_named(task.session, read_record(row))
    _refuse_moved_photos(task.session, row)
    row.removed = None
    task.note("add", None, read_record(row).as_dict())


def _refuse_moved_photos(session: Session, row: AnyRow) -> None:
    """See that no photo of what comes back was logged elsewhere since."""
    if not isinstance(row, BoardRow | FloorSpotRow):
        return
    subject = "board" if isinstance(row, BoardRow) else "spot"
    owner = getattr(MeasurementRow, f"{subject}_number")
    for photo in session.scalars(select(MeasurementRow.photo_sha256).where(owner == row.number)):
        rows.refuse_twice(session, MeasurementRow, subject, row.number, photo)


def _unedit(task: Task) -> None:
    row = _row(task)
    now = read_record(row)
    known = {f.name for f in fields(now)}
    values = now.as_dict() | {name: value for name, value in task.before.items() if name in known}
    put(
        task.session, row, now, type(now).from_dict(values), task.who,
        what=task.step, undone=task.mark("edit"), photos=task.after.get("photos"),
    )  # fmt: skip


def _take_photos(task: Task) -> None:
    """Take photos out again that were added to a board or spot; what was measured in them goes into the history."""
    row = _row(task)
    owner = "board" if isinstance(row, BoardRow) else "spot"
    taken: dict[str, Any] = {}
    for name, table in (("measurements", MeasurementRow), ("pairs", PairRow)):
        column = getattr(table, f"{owner}_number", None)
        photos = task.after.get("photos" if name == "measurements" else "pairs") or ()
        found = (
            []
            if column is None
            else task.session.scalars(select(table).where(column == row.number, table.photo_sha256.in_(photos))).all()
        )
        taken[name] = [_as_json(each) for each in found]
        for each in found:
            task.session.delete(each)
    task.session.flush()
    task.note("take-photos", taken, {"photos": [], "light": task.after.get("light")})


def _put_photos(task: Task) -> None:
    """Put photos back that were taken out."""
    row = _row(task)
    owner = "board" if isinstance(row, BoardRow) else "spot"
    back: dict[str, list[str]] = {}
    for name, table in (("measurements", MeasurementRow), ("pairs", PairRow)):
        back["photos" if name == "measurements" else name] = photos = []
        for values in task.before.get(name) or ():
            rows.refuse_twice(task.session, table, owner, row.number, values["photo_sha256"])
            task.session.add(table(**_from_json(values)))
            task.session.flush()
            photos.append(values["photo_sha256"])
    task.note("add-photos", None, {**back, "light": task.after.get("light")})


def _unremeasure(task: Task) -> None:
    row = _row(task)
    if not isinstance(row, BoardRow | FloorSpotRow):
        raise LogbookError("cannot-undo", f"{subject_name(row)} has no measurements.", "")
    before = swap_figures(task.session, type(row), row.number, task.before)
    task.note("remeasure", before, {"photos": [each["photo_sha256"] for each in before["measurements"]]})


def _ungreys(task: Task) -> None:
    number = int(task.subject.removeprefix("strip "))
    before = set_greys(task.session, number, dict(task.before) or None)
    task.note("learn", before, dict(task.before) or None)


def _unapprove(task: Task) -> None:
    approval = Approval.from_dict(task.before) if task.before else None
    before = set_standard(task.session, approval)
    task.note("approve", before, None if approval is None else approval.as_dict())


def _as_json(row: Base) -> dict[str, Any]:
    values = {column.key: getattr(row, column.key) for column in row.__table__.columns if column.key != "id"}
    return {name: value.isoformat() if isinstance(value, dt.datetime) else value for name, value in values.items()}


def _from_json(values: Mapping[str, Any]) -> dict[str, Any]:
    return {**values, "created": dt.datetime.fromisoformat(values["created"])}


_WAYS: Final[Mapping[str, Mapping[str, Way]]] = {
    "numbered": {
        "add": _unadd,
        "remove": _restore,
        "edit": _unedit,
        "add-photos": _take_photos,
        "take-photos": _put_photos,
        "remeasure": _unremeasure,
    },
    "strip": {"learn": _ungreys, "forget": _ungreys},
    "camera": {"learn": unlearn_camera, "forget": unforget_camera},
    STANDARD: {"approve": _unapprove},
    "flight": FLIGHT_WAYS,
    "part": PART_WAYS,
}
"""Kind of subject -> kind of change -> its way back."""
