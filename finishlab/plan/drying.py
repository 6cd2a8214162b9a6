"""When somebody works, coats in their order and the hours between them, and when each coat can be given."""

from __future__ import annotations

import datetime as dt
import math
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from finishlab.coatings import COMMON, coating
from finishlab.errors import UsageError

DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
STEP: Final = dt.timedelta(minutes=30)
"""Work starts on the hour or the half hour."""
_LOCAL_TIME: Final = Path("/etc/localtime")
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
    zone
        Whose clock it is, so that waiting over a change of the clock is counted in real hours; None: a clock that is
        never changed.

    Raises
    ------
    UsageError
        ``"bad-hours"``, ``"no-working-day"``.
    """

    first: float = 8.0
    last: float = 18.0
    days: frozenset[int] = field(default_factory=lambda: frozenset(range(7)))
    off: frozenset[dt.date] = frozenset()
    zone: dt.tzinfo | None = None

    def later(self, moment: dt.datetime, hours: float) -> dt.datetime:
        """Return what the clock shows so many real hours after a moment.

        An hour that the clock shows twice is its first; one it leaves out is counted as the one before the change.
        """
        wait = dt.timedelta(hours=hours)
        if self.zone is None:
            return moment + wait
        real = moment.replace(tzinfo=self.zone).astimezone(dt.UTC) + wait
        shown = real.astimezone(self.zone)
        # Of an hour shown twice the later one is given as the full hour after it, so that nothing opens too early.
        late = shown.fold and not moment.fold
        return shown.replace(tzinfo=None, fold=0) + (dt.timedelta(hours=1) if late else dt.timedelta())

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


def parse_zone(text: str) -> dt.tzinfo:
    """Return the clock of a place by its name in the time zone database; UsageError ``"bad-zone"``."""
    try:
        return ZoneInfo(text.strip())
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageError(
            "bad-zone", f"“{text}” is no time zone this machine knows.", "Write for example Europe/Vienna."
        ) from error


def machine_zone() -> dt.tzinfo | None:
    """Return the clock of this machine with its changes; None where the machine does not say."""
    try:
        if os.environ.get("TZ"):
            return ZoneInfo(os.environ["TZ"].lstrip(":"))
        with _LOCAL_TIME.open("rb") as file:
            return ZoneInfo.from_file(file)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


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
            ends = [DAYS.index(each[:3]) if each[:3] in DAYS else None for each in piece.split("-")]
            if len(ends) > 2 or None in ends:
                raise UsageError("bad-day", f"“{piece}” is no day of the week.", "Write for example mon-fri or sat.")
            first, last = (each for each in (ends[0], ends[-1]) if each is not None)
            found |= {number % 7 for number in range(first, last + (7 if last < first else 0) + 1)}
    return frozenset(found)


def _on_step(moment: dt.datetime) -> dt.datetime:
    """Return the moment, or the next half hour after it."""
    midnight = dt.datetime.combine(moment.date(), dt.time())
    return midnight + -(-(moment - midnight) // STEP) * STEP


Window = tuple[float, float | None]
"""Hours from the end of a coat to the next: at least, and at most (None: no end)."""

_AHEAD: Final = dt.timedelta(days=8)
"""How much later than possible a coat is tried, if the coats after it cannot be given otherwise: the week repeats."""


@dataclass(frozen=True, slots=True)
class Times:
    """Hours of one product, from the label.

    Parameters
    ----------
    recoat
        Hours from the end of a coat to the next of the same: at least, and at most (None: no end).
    under_other
        The same before another product; None: as `recoat`.
    late
        Hours after which, the window missed, the next may go on once the coat is rubbed out; None: never.
    rub_out
        Whether the coat is rubbed out before the next.
    passed_over
        Hours before another product that are usual, where the label's window ends before them; None: kept.
    socks, use, cure
        Hours until it is walked on in socks, used with care, cured.
    said
        Who says a figure, by its field's name; of the others nobody does but common practice.

    Raises
    ------
    UsageError
        ``"bad-times"``.
    """

    recoat: Window
    socks: float
    use: float
    cure: float
    under_other: Window | None = None
    late: float | None = None
    rub_out: bool = False
    passed_over: float | None = None
    said: tuple[tuple[str, str], ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        for least, most in (self.recoat, self.under_other or self.recoat):
            if not 0 <= least <= 10_000 or (most is not None and not least <= most <= 100_000):
                raise UsageError(
                    "bad-times", "A recoat window ends after it begins.", "Copy both hours from the label."
                )
        others = (self.socks, self.use, self.cure, *([] if self.late is None else [self.late]))
        if not all(0 <= hours < math.inf and hours <= 10_000 for hours in others):
            raise UsageError("bad-times", "Hours are not below 0, nor above 10,000.", "Copy the hours from the label.")

    def who(self, name: str) -> str:
        """Return who says a figure, by its field's name."""
        return dict(self.said).get(name, COMMON)

    def with_said(self, by: str, **said: float | bool | None) -> Times:
        """Return the times with those that somebody says, by their names, in the place of the usual ones."""
        told = {name: value for name, value in said.items() if value is not None}
        return replace(self, said=(*self.said, *((name, by) for name in told)), **told)  # type: ignore[arg-type]  # each of its kind


@dataclass(frozen=True, slots=True)
class Coat:
    """One coat of a product."""

    product: str
    times: Times
    is_film: bool = True


@dataclass(frozen=True, slots=True)
class Gap:
    """One way from a coat to the next: hours at least and at most after its end, and whether it is rubbed out."""

    least: float
    most: float | None
    rub_out: bool
    late: bool = False


@dataclass(frozen=True, slots=True)
class Laid:
    """The coat that is on already when the plan begins."""

    coat: Coat
    ended: dt.datetime
    rubbed_out: bool = False
    """Whether it was rubbed out since."""
    below: tuple[Laid, ...] = ()
    """The coats under it, which may want longer."""

    @property
    def all(self) -> tuple[Laid, ...]:
        """It and those under it."""
        return self, *self.below


@dataclass(frozen=True, slots=True)
class PlannedCoat:
    """A coat and when it is given; the rubbing out before it begins at `rub_from`, None if there is none."""

    coat: Coat
    number: int
    start: dt.datetime
    end: dt.datetime
    rub_from: dt.datetime | None
    gap: Gap | None
    """How it follows the coat before; None for the first."""


def default_coat(kind: str, product: str | None = None) -> Coat:
    """Return a coat of a kind with the kind's times, the cautious end of each range; a label wins over them.

    Raises
    ------
    UsageError
        ``"unknown-liquid"``.
    """
    what = coating(kind)
    usual = what.figures
    times = Times(
        recoat=(usual.recoat_h[1], None),
        under_other=None if usual.under_other_h is None else (usual.under_other_h[1], None),
        socks=usual.walk_on_h,
        use=usual.use_d[1] * 24,
        cure=usual.cure_d[1] * 24,
        rub_out=usual.rub_out,
    )
    return Coat(product or what.kind, times, what.is_film)


def recoat_times(
    usual: Times,
    label: Window | None,
    *,
    other: Window | None = None,
    own: float | None = None,
    by: tuple[str, str] = ("the label", "the recipe"),
) -> Times:
    """Return times with what the label of the coat that lies below says of the next one; one rule for cans and files.

    The label's window holds for a coat of the same product. For another product its own figure for that holds; without
    one the longer of the label's first hour and the usual one, until the label's window ends. A window that ends before
    that wait is over is kept as it stands: the label wins.

    Parameters
    ----------
    usual
        What is usual.
    label, other
        The label's hours before a coat of the same, and of another product; None: not on it.
    own
        Hours the recipe waits: they stand in the place of usual ones.
    by
        What label and recipe are called where it is told who says an hour.

    Raises
    ------
    UsageError
        ``"bad-times"``.
    """
    recoat = label or (usual.recoat if own is None else (own, usual.recoat[1]))
    last = recoat[1]
    here = by[0] if label is not None else by[1] if own is not None else ""
    usual = replace(usual, said=(*usual.said, *([("recoat", here)] if here else [])))
    if other is not None:
        goes_on = last if other[1] is None and last is not None and last > other[0] else other[1]
        return _under_other(usual, recoat, (other[0], goes_on), by[0])
    if usual.under_other is None:
        return replace(usual, recoat=recoat)
    wait = usual.under_other[0] if own is None else own
    least = wait if label is None else max(wait, label[0])
    who = by[0] if least > wait else by[1] if own is not None else ""
    if last is None:
        return _under_other(usual, recoat, (least, usual.under_other[1]), who)
    if least < last:
        return _under_other(usual, recoat, (least, last), who)
    return replace(_under_other(usual, recoat, recoat, by[0]), passed_over=wait)


def _under_other(times: Times, recoat: Window, other: Window, by: str) -> Times:
    """Return times with both windows; `by` says the second, nobody where it is empty."""
    return replace(times, recoat=recoat, under_other=other, said=(*times.said, *([("under_other", by)] if by else [])))


def gap_rules(coat: Coat, following: Coat) -> tuple[Gap, ...]:
    """Return the ways from a coat to the one that follows, the usual one first."""
    same = coat.product == following.product
    least, most = coat.times.recoat if same or coat.times.under_other is None else coat.times.under_other
    usual = Gap(least, most, coat.times.rub_out)
    if most is None or coat.times.late is None:
        return (usual,)
    return usual, Gap(max(coat.times.late, most), None, rub_out=True, late=True)


def plan_coats(
    coats: Sequence[Coat],
    ready: dt.datetime,
    hours: WorkHours,
    coat_h: float,
    rub_h: float,
    after: Laid | None = None,
) -> tuple[PlannedCoat, ...]:
    """Return when each coat is given: the earliest in which every recoat window is kept.

    Parameters
    ----------
    coats
        In their order.
    ready
        From when the first can be given.
    hours
        When somebody works.
    coat_h, rub_h
        Hours one coat, and one rubbing out, of all the parts take.
    after
        The coat that is on already. Where its window is missed, the next goes on after a rub-out.

    Raises
    ------
    UsageError
        ``"no-coats"``; ``"no-recoat-slot"`` if some window always falls outside working hours; ``"day-too-short"``.
    """
    if not coats:
        raise UsageError("no-coats", "No coat is named.", "Name them in their order, for example --liquid “oil stain”.")
    rubbed = [*coats, *([] if after is None else [after.coat])]
    longest = coat_h + (rub_h if any(coat.times.rub_out or coat.times.late for coat in rubbed) else 0.0)
    hours.next_start(ready, dt.timedelta(hours=longest))
    found = _Search(coats, hours, dt.timedelta(hours=coat_h), dt.timedelta(hours=rub_h)).run(ready, after)
    if found is None:
        raise UsageError(
            "no-recoat-slot",
            "Some coat's recoat window always ends before somebody works again.",
            "Give longer working hours, or say after how many hours a late coat may follow a rub-out (late_h).",
        )
    return found


class _Search:
    """Tries starts in their order, and remembers from which ones the rest cannot be given."""

    def __init__(self, coats: Sequence[Coat], hours: WorkHours, coat: dt.timedelta, rub: dt.timedelta) -> None:
        self.coats = coats
        self.hours = hours
        self.coat = coat
        self.rub = rub
        self.hopeless: set[tuple[int, dt.datetime]] = set()

    def run(self, ready: dt.datetime, after: Laid | None) -> tuple[PlannedCoat, ...] | None:
        return self.first_whole(self.firsts(ready, after))

    def first_whole(self, options: Iterable[PlannedCoat]) -> tuple[PlannedCoat, ...] | None:
        """Return the first of several ways to give a coat after which all others can be given, with those."""
        for planned in options:
            rest = self.after(planned)
            if rest is not None:
                return (planned, *rest)
        return None

    def firsts(self, ready: dt.datetime, after: Laid | None) -> Iterator[PlannedCoat]:
        if after is not None:
            yield from self.candidates(PlannedCoat(after.coat, 0, after.ended, after.ended, None, None), ready, after)
            return
        first = self.hours.next_start(ready, self.coat)
        for start in self.hours.starts(first, self.coat, first + _AHEAD):
            yield PlannedCoat(self.coats[0], 1, start, start + self.coat, None, None)

    def after(self, planned: PlannedCoat) -> tuple[PlannedCoat, ...] | None:
        if planned.number == len(self.coats):
            return ()
        if (planned.number, planned.start) in self.hopeless:
            return None
        found = self.first_whole(self.candidates(planned))
        if found is None:
            self.hopeless.add((planned.number, planned.start))
        return found

    def candidates(
        self, planned: PlannedCoat, from_: dt.datetime | None = None, laid: Laid | None = None
    ) -> Iterator[PlannedCoat]:
        """Give what may follow, the earliest first; the rub-out is work of the same day, just before the coat."""
        coat = self.coats[planned.number]
        rules = gap_rules(planned.coat, coat)
        if laid is not None and rules[-1].most is not None:
            rules = (*rules, Gap(rules[-1].most, None, rub_out=True, late=True))
        for rule in rules:
            gap = replace(rule, rub_out=False) if laid is not None and laid.rubbed_out else rule
            rub = self.rub if gap.rub_out else dt.timedelta()
            ready = max(self.hours.later(planned.end, gap.least), from_ or planned.end)
            if gap.most is not None:
                until = self.hours.later(planned.end, gap.most) - rub
            else:
                until = self.hours.next_start(ready, rub + self.coat) + _AHEAD
            for start in self.hours.starts(ready, rub + self.coat, until):
                begins = start + rub
                rub_from = start if gap.rub_out else None
                yield PlannedCoat(coat, planned.number + 1, begins, begins + self.coat, rub_from, gap)
