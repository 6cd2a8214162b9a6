"""The history of everything in a logbook, and which cautions were said today."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from typing import Final

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook.kinds import subject_name
from finishlab.logbook.reading import read_history
from finishlab.logbook.recipes import STANDARD
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.stored import Change
from finishlab.logbook.subjects import find, table_of
from finishlab.logbook.tables import CautionRow, ChangeRow
from finishlab.records import today

__all__ = ["HistoryShelf", "subject_of"]

_PART: Final = re.compile(r"[A-Z]{1,3}[0-9]{1,4}[LR]?", re.IGNORECASE)
_STRIP: Final = re.compile(r"s(?:trip)?\s*0*([0-9]{1,9})", re.IGNORECASE)


class HistoryShelf(Shelf):
    """The part of a logbook that tells its history; `finishlab.logbook.store.Logbook` is one."""

    def history(self, subject: str | None = None, *, last: int | None = None) -> tuple[Change, ...]:
        """Return what was done, first to last, also to what is removed.

        Parameters
        ----------
        subject
            ``"B3"``, ``"F2"``, ``"R1"``, ``"C2"``, ``"1.T7"`` (``"T7"`` where only one flight has it),
            ``"strip 412"``, ``"standard"``, or another name the history has; without it the whole logbook's history.
        last
            Only so many of the newest.

        Raises
        ------
        LogbookError
            ``"unknown-board"``, ``"unknown-spot"``, ``"unknown-recipe"``, ``"unknown-can"``, ``"unknown-subject"``,
            ``"which-flight"``.
        """
        with self._read() as session:
            named = None if subject is None else subject_of(session, subject)
            return read_history(session, named, last=last)

    def is_empty(self) -> bool:
        """Return whether nothing was ever logged, learned or taken in."""
        with self._read() as session:
            return session.scalars(select(ChangeRow.id).limit(1)).first() is None

    def cautions_due(self, codes: Iterable[str], day: dt.date | None = None) -> tuple[str, ...]:
        """Return those of the cautions that were not shown today, and note that they are shown now.

        Parameters
        ----------
        codes
            The cautions that have a place now.
        day
            The present day unless given.
        """
        shown = day or today()
        with self._write() as session:
            due = []
            for code in dict.fromkeys(codes):
                row = session.get(CautionRow, code)
                if row is None:
                    session.add(CautionRow(code=code, shown=shown))
                elif row.shown != shown:
                    row.shown = shown
                else:
                    continue
                due.append(code)
            return tuple(due)


def subject_of(session: Session, text: str) -> str:
    """Return the name of a subject as the history has it.

    Raises
    ------
    LogbookError
        As `HistoryShelf.history`.
    """
    name = " ".join(text.split())
    table = table_of(name)
    if table is not None:
        return subject_name(find(session, table, name, removed=True))
    strip = _STRIP.fullmatch(name)
    if strip is not None:
        name = f"strip {int(strip[1]):04d}"
    subjects = select(ChangeRow.subject).distinct()
    found = session.scalars(subjects.where(func.lower(ChangeRow.subject) == name.lower())).first()
    if found is not None or name.lower() == STANDARD:
        return found or STANDARD
    if _PART.fullmatch(name):
        flights = session.scalars(subjects.where(ChangeRow.subject.like(f"%.{name.upper()}")).limit(3)).all()
        if len(flights) == 1:
            return flights[0]
        if flights:
            raise LogbookError(
                "which-flight", f"Several flights have a part {name.upper()}.", f"Name one, such as {flights[0]}."
            )
    raise LogbookError(
        "unknown-subject",
        f"The history has nothing of “{name}”.",
        "Name a board (B1), a floor spot (F1), a recipe (R1), a can (C1), a trial (H1), a part of the stair (1.T7), "
        "a strip (strip 412) or the standard.",
    )
