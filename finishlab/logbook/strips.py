"""What a logbook knows of single strips: their own greys as they were learned, and everything learned before."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.imaging.greys import USUAL, StripGreys
from finishlab.logbook import writing as rows
from finishlab.logbook.reading import read_history
from finishlab.logbook.stored import Change
from finishlab.logbook.tables import MeasurementRow, StripGreysRow, StripRow

__all__ = ["StoredGreys", "StripShelf", "set_greys"]


@dataclass(frozen=True, slots=True)
class StoredGreys:
    """What was learned of a strip at one time."""

    greys: StripGreys
    created: dt.datetime
    """UTC."""
    ended: dt.datetime | None
    """UTC; when it was forgotten or learned anew. None for what holds today."""


class StripShelf:
    """The part of a logbook that keeps strips' greys; `finishlab.logbook.store.Logbook` is one."""

    _who: str

    def _read(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def _write(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

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
            before = set_greys(session, greys.number, greys.as_dict())
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
        asked = select(MeasurementRow.strip_number, MeasurementRow.photo_sha256, MeasurementRow.correction)
        seen: dict[int, dict[str, tuple[float, ...]]] = {}
        with self._read() as session:
            for number, photo, correction in session.execute(asked.where(MeasurementRow.strip_number.is_not(None))):
                said = tuple(float(each) for each in correction.get("print", ()))
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


def _current(session: Session, number: int) -> Iterator[StripGreysRow]:
    yield from session.scalars(
        select(StripGreysRow).where(StripGreysRow.strip_number == number, StripGreysRow.ended.is_(None))
    )


def _end(session: Session, number: int) -> dict[str, Any] | None:
    """Let what is known of a strip end now; return it, None if there is nothing."""
    before = None
    for row in _current(session, number):
        row.ended, before = rows.now(), row.greys
    return before


def set_greys(session: Session, number: int, greys: dict[str, Any] | None) -> dict[str, Any] | None:
    """Let what is known of a strip end and something else, or nothing, hold; return what it was."""
    before = _end(session, number)
    if greys is not None:
        session.add(StripGreysRow(strip_number=number, greys=greys, created=rows.now()))
    return before


def _greys(row: StripGreysRow) -> StripGreys:
    try:
        return StripGreys.from_dict(row.greys)
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise LogbookError(
            "logbook-damaged",
            f"The greys of strip {row.strip_number:04d} in the logbook cannot be read ({error}).",
            "Update finishlab if a newer one wrote them, or restore the folder from a backup.",
        ) from error
