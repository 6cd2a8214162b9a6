"""What a logbook knows of single strips: their own greys as they were learned, and everything learned before."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.imaging.greys import USUAL, StripGreys
from finishlab.logbook import writing as rows
from finishlab.logbook.reading import decoded, read_history
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.stored import Change
from finishlab.logbook.tables import MeasurementRow, StripGreysRow, StripRow

__all__ = ["StoredGreys", "StripShelf"]


@dataclass(frozen=True, slots=True)
class StoredGreys:
    """What was learned of a strip at one time."""

    greys: StripGreys
    created: dt.datetime
    """UTC."""
    ended: dt.datetime | None
    """UTC; when it was forgotten or learned anew. None for what holds today."""


class StripShelf(Shelf):
    """The part of a logbook that keeps strips' greys; `finishlab.logbook.store.Logbook` is one."""

    def learn_strip(self, greys: StripGreys) -> StripGreys:
        """Keep what was learned of a strip's greys; it holds from now on, and what held before stays in the history.

        Raises
        ------
        ValueError
            If the greys are a usual print's.
        """
        if greys.number is None:
            raise ValueError("a usual print's greys are no strip's own")
        with self._write() as session:
            rows.insert_if_missing(session, StripRow(number=greys.number, first_seen=rows.now()), greys.number)
            before = _end(session, greys.number)
            session.add(StripGreysRow(strip_number=greys.number, greys=greys.as_dict(), created=rows.now()))
            rows.note_change(session, self._who, "learn", _subject(greys.number), before=before, after=greys.as_dict())
        return greys

    def forget_strip(self, number: int) -> None:
        """Let a strip be a usual print again; what was learned stays in the history.

        Raises
        ------
        LogbookError
            ``"strip-not-learned"``.
        """
        with self._write() as session:
            before = _end(session, number)
            if before is None:
                raise _not_learned(number)
            rows.note_change(session, self._who, "forget", _subject(number), before=before)

    def learned_greys(self) -> tuple[StripGreys, ...]:
        """Return what holds today of every strip that was learned, by number."""
        with self._read() as session:
            holds = select(StripGreysRow).where(StripGreysRow.ended.is_(None)).order_by(StripGreysRow.strip_number)
            return tuple(_greys(row) for row in session.scalars(holds))

    def photographed_greys(self) -> tuple[StripGreys, ...]:
        """Return what logged photos said of every strip that was not learned, by number."""
        learned = {greys.number for greys in self.learned_greys()}
        print_said = MeasurementRow.correction["print"]  # the rest of a correction is not read
        asked = select(MeasurementRow.strip_number, MeasurementRow.photo_sha256, print_said)
        seen: dict[int, dict[str, tuple[float, ...]]] = {}
        with self._read() as session:
            for number, photo, found in session.execute(asked.where(MeasurementRow.strip_number.is_not(None))):
                said = tuple(float(each) for each in found or ())
                if number not in learned and len(said) == len(USUAL.effects):
                    seen.setdefault(number, {})[photo] = said
        return tuple(
            replace(USUAL, number=number, seen=tuple(seen[number][photo] for photo in sorted(seen[number])))
            for number in sorted(seen)
        )

    def strip_greys(self, number: int) -> StripGreys | None:
        """Return what holds today of a strip's greys, None if they were not learned."""
        return next((greys for greys in self.learned_greys() if greys.number == number), None)

    def strip_greys_history(self, number: int) -> tuple[StoredGreys, ...]:
        """Return all that was ever learned of a strip, first to last.

        Raises
        ------
        LogbookError
            ``"strip-not-learned"`` if nothing was.
        """
        with self._read() as session:
            found = select(StripGreysRow).where(StripGreysRow.strip_number == number).order_by(StripGreysRow.id)
            learned = tuple(StoredGreys(_greys(row), row.created, row.ended) for row in session.scalars(found))
        if not learned:
            raise _not_learned(number)
        return learned

    def strip_history(self, number: int) -> tuple[Change, ...]:
        """Return who learned and forgot a strip's greys, and when, first to last."""
        with self._read() as session:
            return read_history(session, _subject(number))


def _subject(number: int) -> str:
    return f"strip {number:04d}"


def _not_learned(number: int) -> LogbookError:
    return LogbookError(
        "strip-not-learned",
        f"The logbook has learned nothing of strip {number:04d}.",
        "Learn its greys with finishlab strip learn.",
    )


def _end(session: Session, number: int) -> dict[str, Any] | None:
    """Let what is known of a strip end now; return it, None if there is nothing."""
    before = None
    known = select(StripGreysRow).where(StripGreysRow.strip_number == number, StripGreysRow.ended.is_(None))
    for row in session.scalars(known):
        row.ended, before = rows.now(), row.greys
    return before


def _greys(row: StripGreysRow) -> StripGreys:
    return decoded(_subject(row.strip_number), StripGreys.from_dict, row.greys)
