"""Trials at home in the logbook; number 3 is shown as H3."""

from __future__ import annotations

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.reading import read_numbered
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.stored import StoredTrial
from finishlab.logbook.subjects import find, remove
from finishlab.logbook.tables import TrialRow
from finishlab.strip.records import TrialRecord

__all__ = ["TrialShelf"]


class TrialShelf(Shelf):
    """The part of a logbook that keeps trials; `finishlab.logbook.store.Logbook` is one."""

    def add_trials(self, trials: list[TrialRecord]) -> list[StoredTrial]:
        """Log trials and give them their numbers.

        Raises
        ------
        LogbookError
            ``"photo-tried-already"`` if one of the photos is part of a trial: counted twice it would count for two.
        """
        with self._write() as session:
            known: dict[str, str] = {
                photo: each.number
                for each in read_numbered(session, TrialRow, TrialRecord)
                for photo in each.record.photos
            }
            for record in trials:
                for photo in record.photos:
                    if photo in known:
                        name = next(str(side["file"]) for side in record.sides if side["photo"] == photo)
                        raise LogbookError(
                            "photo-tried-already",
                            f"The photo {name} is part of the trial {known[photo]} already.",
                            "Take another photo for each trial.",
                        )
                    known[photo] = "before it"
            numbers = []
            for record in trials:
                numbers.append(f"H{rows.add_row(session, TrialRow, record)}")
                rows.note_change(session, self._who, "add", numbers[-1], after=record.as_dict())
            return [each for each in read_numbered(session, TrialRow, TrialRecord) if each.number in numbers]

    def trials(self) -> list[StoredTrial]:
        """Return the trials by number."""
        with self._read() as session:
            return read_numbered(session, TrialRow, TrialRecord)

    def remove_trial(self, number: str) -> None:
        """Count a trial no longer; its history stays.

        Raises
        ------
        LogbookError
            ``"unknown-trial"``.
        """
        with self._write() as session:
            remove(session, find(session, TrialRow, number, lock=True), self._who)
