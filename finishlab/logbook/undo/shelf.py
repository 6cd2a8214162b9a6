"""Taking changes back, and bringing them back again: each time as a new change, so that nothing is lost.

An entry ``undo`` or ``redo`` is a change like any other, with images of its own; it says in ``after["undone"]`` which
change it is about, of which kind that was, and as which kind it counts itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.histories import subject_of
from finishlab.logbook.many import batches
from finishlab.logbook.reading import change_of
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.stored import Change
from finishlab.logbook.tables import ChangeRow, FlightRow, PartRow
from finishlab.logbook.undo.entries import STEPS, UNDONE, Entry, Step, entries_to_redo, entries_to_undo
from finishlab.logbook.undo.putting_back import PuttingBack
from finishlab.stair.reading import noted_part, part_name, part_record, stair_levels

__all__ = ["UndoShelf", "Undone"]

_BACK: Final[Mapping[str, str]] = {
    "add": "remove",
    "remove": "add",
    "add-photos": "take-photos",
    "take-photos": "add-photos",
    "log": "remove-event",
    "remove-event": "log",
    "learn": "forget",
    "forget": "learn",
}
"""Kind of a change -> the kind it counts as when it is taken back, where that is another."""
_LEVELS: Final = frozenset({"flight", "landing"})
"""First words of the names of what has parts."""


@dataclass(frozen=True, slots=True)
class Undone:
    """A change that was taken back, or brought back."""

    subject: str
    change: Change
    """The change."""
    entry: Change
    """The entry of the history that did it."""


class UndoShelf(Shelf):
    """The part of a logbook that takes changes back; `finishlab.logbook.store.Logbook` is one."""

    def undo(self, subject: str | None = None) -> tuple[Undone, ...]:
        """Take back what the last write changed, of a subject or of the whole logbook; the next goes a step further.

        Returns
        -------
        tuple
            What was taken back, the last change first.

        Raises
        ------
        LogbookError
            ``"nothing-to-undo"``; ``"cannot-undo"`` if the last change was an import, or made by a finishlab that kept
            no images, or if a row is not as it left it; ``"photo-logged-twice"``, ``"recipe-in-use"``,
            ``"unknown-recipe"`` ... if something since stands in the way. Nothing is changed then.
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


def _take_back(session: Session, entries: Sequence[Entry], step: Step, who: str) -> tuple[Undone, ...]:
    changes = _changes(session, {number for each in entries for number in (each.number, each.root)})
    images = PuttingBack(session, [each.number for each in entries])
    done = []
    for each in entries:
        change, root = changes[each.number], changes[each.root]
        _refuse_what_has_no_way(change, root, images.known(each.number))
        images.put_back(each.number, change.subject)
        before, after = _said(change)
        mark = {"entry": root.number, "what": root.what, "as": _BACK.get(_kind(change), _kind(change))}
        row = rows.note_change(session, who, step, change.subject, before=before, after={**after, UNDONE: mark})
        done.append((change.subject, root, row))
        _hide_parts(session, images, row, mark)
    session.flush()
    images.check()
    return tuple(Undone(subject, root, change_of(row)) for subject, root, row in done)


def _changes(session: Session, numbers: set[int]) -> dict[int, Change]:
    found: dict[int, Change] = {}
    for some in batches(numbers):
        asked = session.scalars(select(ChangeRow).where(ChangeRow.id.in_(some)))
        found |= {row.id: change_of(row) for row in asked}
    return found


def _refuse_what_has_no_way(change: Change, root: Change, known: str) -> None:
    if root.what == "import":
        raise LogbookError(
            "cannot-undo",
            "The last change took in an archive; undo does not step back over that.",
            "Name what to take back, such as: finishlab undo B3",
        )
    # A step that found nothing left to do is gone over again; of any other change the rows must be known.
    if known == "no values" or (known == "nothing" and change.what not in STEPS):
        raise LogbookError(
            "cannot-undo",
            f"The last change, “{root.what}” of {change.subject}, was made before finishlab kept what undo puts back.",
            "Change it with its own command; its history stays.",
        )


def _kind(change: Change) -> str:
    """Return the kind a change counts as; an ``undo`` says so itself."""
    return str((change.after or {}).get(UNDONE, {}).get("as", "")) if change.what in STEPS else change.what


def _said(change: Change) -> tuple[dict[str, Any] | None, dict[str, Any]]:
    """Return what the history says of a change taken back, before and after: the change's own, the other way round."""
    before, after = dict(change.before or {}), dict(change.after or {})
    after.pop(UNDONE, None)
    # Measured again and back, the photos are the same.
    return (None, after) if _kind(change) == "remeasure" else (after or None, before)


def _hide_parts(session: Session, images: PuttingBack, change: ChangeRow, mark: Mapping[str, Any]) -> None:
    """Let a flight that goes take along the parts it got since; each is noted."""
    gone = [row.number for row in images.rows() if isinstance(row, FlightRow) and row.removed is not None]
    if not gone or change.subject.partition(" ")[0] not in _LEVELS:
        return
    named = stair_levels(session)
    for part in session.scalars(select(PartRow).where(PartRow.flight_number.in_(gone), PartRow.removed.is_(None))):
        record = part_record(part)
        part.removed = rows.now()
        said = {UNDONE: {**mark, "as": "remove"}}
        code = part_name(record, named).code
        rows.note_change(session, change.who, change.what, code, before=noted_part(part, record), after=said)
