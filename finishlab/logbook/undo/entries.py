"""Which entries of the history an ``undo`` or ``redo`` is about.

All entries of one write bear one moment and are taken back together, the last first. What was taken back is passed over
by the next ``undo``, so that one goes back step by step; ``redo`` goes forward again until something new is done.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook.tables import ChangeRow
from finishlab.stair.names import level_code, parse_level

__all__ = ["STEPS", "UNDONE", "Entry", "Step", "entries_to_redo", "entries_to_undo"]

Step = Literal["undo", "redo"]
STEPS: Final = frozenset({"undo", "redo"})
UNDONE: Final = "undone"
"""Key under which an entry ``undo`` or ``redo`` says which change it is about."""
_IMPORT: Final = "import"


@dataclass(frozen=True, slots=True)
class Entry:
    """What the search must know of an entry."""

    number: int
    made: dt.datetime
    what: str
    subject: str
    root: int
    """The change it is about: its own number, or for an ``undo`` or ``redo`` that of the change."""
    void: bool
    """Whether it is a change of an archive that was not taken, since the logbook's own was kept."""


def entries_to_undo(session: Session, subject: str | None) -> list[Entry]:
    """Return the changes of the last write that were not taken back, the last first.

    Parameters
    ----------
    session
        The transaction.
    subject
        As the history names it: only its own entries of the write, a flight's with those of its parts. None for all.

    Raises
    ------
    LogbookError
        ``"nothing-to-undo"``.
    """
    entries = _read(session)
    taken = {key for key, last in _last_steps(entries).items() if last.what == "undo"}
    # What an import says of one thing is no step of its history; what it did to the whole logbook is.
    passed = STEPS if subject is None else STEPS | {_IMPORT}
    live = [
        each
        for each in entries
        if each.what not in passed and not each.void and (each.number, each.subject) not in taken
    ]
    last = next((each for each in reversed(live) if subject in {None, each.subject}), None)
    if last is None:
        of = "" if subject is None else f" of {subject}"
        raise LogbookError("nothing-to-undo", f"There is no change{of} to undo.", "Look at: finishlab history")
    return _same_write(live, last, _within(subject))


def entries_to_redo(session: Session, subject: str | None) -> list[Entry]:
    """Return the entries ``undo`` of the last write that took something back and were not followed by a new change.

    Raises
    ------
    LogbookError
        ``"nothing-to-redo"``.
    """
    entries = _read(session)
    live = [each for each in _last_steps(entries).values() if each.what == "undo"]
    live.sort(key=lambda each: each.number)
    last = next((each for each in reversed(live) if subject in {None, each.subject}), None)
    newest = next((e for e in reversed(entries) if e.what not in STEPS and subject in {None, e.subject}), None)
    if last is None or (newest is not None and newest.number > last.number):
        of = "" if subject is None else f" of {subject}"
        why = "Nothing was taken back" if last is None else "Something new was done since the last undo"
        raise LogbookError("nothing-to-redo", f"{why}{of}.", "Look at: finishlab history")
    return _same_write(live, last, _within(subject))


def _read(session: Session) -> list[Entry]:
    rows = session.execute(
        select(ChangeRow.id, ChangeRow.made, ChangeRow.what, ChangeRow.subject).order_by(ChangeRow.id)
    )
    asked = select(ChangeRow.id, ChangeRow.after).where(ChangeRow.what.in_((*STEPS, _IMPORT)))
    roots: dict[int, int] = {}
    void: set[int] = set()
    for number, after in session.execute(asked):
        roots[number] = ((after or {}).get(UNDONE) or {}).get("entry", number)
        void.update((after or {}).get("entries") or ())
    return [
        Entry(number, made, what, subject, roots.get(number, number), number in void)
        for number, made, what, subject in rows
    ]


def _last_steps(entries: Iterable[Entry]) -> dict[tuple[int, str], Entry]:
    """Return, for each change and subject it was taken back or brought back of, the last entry that did."""
    return {(each.root, each.subject): each for each in entries if each.what in STEPS}


def _same_write(entries: Sequence[Entry], last: Entry, within: Callable[[str], bool]) -> list[Entry]:
    return [each for each in reversed(entries) if each.made == last.made and within(each.subject)]


def _within(subject: str | None) -> Callable[[str], bool]:
    """Return what says whether a subject goes with another: a flight takes its parts along."""
    if subject is None:
        return lambda _: True
    if subject.partition(" ")[0] in {"flight", "landing"}:
        start = f"{level_code(parse_level(subject))}."
        return lambda name: name == subject or name.startswith(start)
    return lambda name: name == subject
