"""Working hours: when somebody is there to give a coat or to fit a tread."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

from finishlab.errors import UsageError

__all__ = ["DAYS", "STEP", "WorkHours", "parse_days", "parse_hours"]

DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
STEP: Final = dt.timedelta(minutes=30)
"""Work starts on the hour or the half hour."""
_LONGEST_SEARCH: Final = 400
"""Days ahead in which a working day must come."""


@dataclass(frozen=True, slots=True)
class WorkHours:
    """Hours of the day, days of the week, and days off.

    Parameters
    ----------
    first, last
        Hours from midnight between which work is done, e.g. 8.0 and 18.0; on the half hour.
    days
        Days of the week, 0 for Monday.
    off
        Days on which nothing is done.

    Raises
    ------
    UsageError
        ``"bad-hours"``, ``"no-working-day"``.
    """

    first: float = 8.0
    last: float = 18.0
    days: frozenset[int] = field(default_factory=lambda: frozenset(range(7)))
    off: frozenset[dt.date] = frozenset()

    def __post_init__(self) -> None:
        if not 0 <= self.first < self.last <= 24 or (self.first * 2) % 1 or (self.last * 2) % 1:
            raise UsageError(
                "bad-hours",
                f"Nobody works from {self.first:g} to {self.last:g} o'clock.",
                "Give hours or half hours of one day, for example 8-18.",
            )
        if not self.days or not self.days <= set(range(7)):
            raise UsageError("no-working-day", "No day of the week is left to work on.", "Name at least one, e.g. sat.")

    def window(self, day: dt.date) -> tuple[dt.datetime, dt.datetime] | None:
        """Return from when to when work is done on a day; None if it is not."""
        if day.weekday() not in self.days or day in self.off:
            return None
        midnight = dt.datetime.combine(day, dt.time())
        return midnight + dt.timedelta(hours=self.first), midnight + dt.timedelta(hours=self.last)

    def starts(self, ready: dt.datetime, length: dt.timedelta, until: dt.datetime) -> Iterator[dt.datetime]:
        """Give every moment from `ready` to `until` at which work of this length starts and ends in one working day."""
        day = ready.date()
        while dt.datetime.combine(day, dt.time()) <= until:
            hours = self.window(day)
            if hours is not None:
                start = max(hours[0], _on_step(ready))
                while start + length <= hours[1] and start <= until:
                    yield start
                    start += STEP
            day += dt.timedelta(days=1)

    def next_start(self, ready: dt.datetime, length: dt.timedelta) -> dt.datetime:
        """Return the first such moment.

        Raises
        ------
        UsageError
            ``"day-too-short"`` if the work is longer than a working day; ``"no-working-day"`` if all days are off.
        """
        if length > dt.timedelta(hours=self.last - self.first):
            raise UsageError(
                "day-too-short",
                f"Work of {length / dt.timedelta(hours=1):g} h does not fit from {self.first:g} to {self.last:g}.",
                "Give longer working hours, or less time for the work.",
            )
        for start in self.starts(ready, length, ready + dt.timedelta(days=_LONGEST_SEARCH)):
            return start
        raise UsageError("no-working-day", "No working day comes within a year.", "Take days off the list of days off.")


def parse_hours(text: str) -> tuple[float, float]:
    """Return the hours a text such as ``8-18`` or ``7:30-17:00`` names.

    Raises
    ------
    UsageError
        ``"bad-hours"``.
    """
    match = re.fullmatch(r"\s*(\d{1,2})(?::([03]0))?\s*(?:-|to)\s*(\d{1,2})(?::([03]0))?\s*", text)
    if match is None:
        raise UsageError("bad-hours", f"“{text}” are no working hours.", "Write for example 8-18 or 7:30-17:00.")
    hour, half, end, end_half = match.groups()
    return int(hour) + (0.5 if half == "30" else 0.0), int(end) + (0.5 if end_half == "30" else 0.0)


def parse_days(texts: Iterable[str]) -> frozenset[int]:
    """Return the days of the week named, each alone (``sat``) or as a span (``mon-fri``).

    Raises
    ------
    UsageError
        ``"bad-day"``.
    """
    found: set[int] = set()
    for text in texts:
        for piece in text.lower().replace(",", " ").split():
            ends = [_day(each) for each in piece.split("-")]
            if len(ends) > 2 or None in ends:
                raise UsageError("bad-day", f"“{piece}” is no day of the week.", "Write for example mon-fri or sat.")
            first, last = (each for each in (ends[0], ends[-1]) if each is not None)
            found |= {number % 7 for number in range(first, last + (7 if last < first else 0) + 1)}
    return frozenset(found)


def _day(text: str) -> int | None:
    return DAYS.index(text[:3]) if text[:3] in DAYS else None


def _on_step(moment: dt.datetime) -> dt.datetime:
    """Return the moment, or the next half hour after it."""
    midnight = dt.datetime.combine(moment.date(), dt.time())
    return midnight + -(-(moment - midnight) // STEP) * STEP
