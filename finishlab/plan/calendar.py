"""The stair's calendar: which part gets what on which day, so that the stair can be climbed all the while.

What is walked on is worked on by every second step: nothing is begun on a step before its neighbours can be stepped on
again. Parts finished away from the stair close a step only while it is fitted, and no step stays open over night.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, Literal

from finishlab.errors import UsageError
from finishlab.plan.drying import Coat, PlannedCoat, WorkHours, plan_coats
from finishlab.plan.geometry import WALKED_ON, Part
from finishlab.stair.names import PART_KINDS, PartKind, level_title

__all__ = [
    "Calendar",
    "Closed",
    "Event",
    "EventKind",
    "Fitting",
    "Job",
    "Night",
    "Step",
    "alternating",
    "full_name",
    "named",
    "need_flight",
    "nights",
    "plan_calendar",
    "way_up",
]

STACK_HOURS: Final = 48.0
"""Hours after the last coat before finished treads are stacked, carried and fitted (trade advice)."""
EventKind = Literal["rub-out", "coat", "recoat", "fit", "walk-on", "use", "cure"]
_LAST_YEAR: Final = 2200


@dataclass(frozen=True, slots=True)
class Fitting:
    """How parts finished away from the stair are fitted.

    Parameters
    ----------
    hours_each
        To take the old part out and fit the new one, in one go.
    set_hours
        Until one may step on it again: what the adhesive asks; 0 for screws.
    ready_after
        Hours after the last coat before a part is handled.
    """

    hours_each: float = 1.0
    set_hours: float = 0.0
    ready_after: float = STACK_HOURS

    def __post_init__(self) -> None:
        for name in ("hours_each", "set_hours", "ready_after"):
            if not 0 <= getattr(self, name) <= 10_000:
                raise UsageError("bad-times", "Hours of fitting are not below 0.", "Give hours, for example 1.")
        if self.hours_each <= 0:
            raise UsageError("bad-times", "Fitting a part takes some time.", "Give hours, for example 1.")


@dataclass(frozen=True, slots=True)
class Job:
    """Kinds of part that get the same coats in the same place.

    Parameters
    ----------
    kinds
        The kinds of part.
    coats
        In their order.
    away
        Whether the parts are finished away from the stair, on points or racks, and fitted afterwards.
    at_once
        How many parts are coated at a time away from the stair; None: all.
    """

    kinds: tuple[PartKind, ...]
    coats: tuple[Coat, ...]
    away: bool = False
    at_once: int | None = None

    def __post_init__(self) -> None:
        unknown = [kind for kind in self.kinds if kind not in PART_KINDS]
        if unknown:
            raise UsageError("unknown-part", f"“{unknown[0]}” is not a part.", f"Choose of: {', '.join(PART_KINDS)}.")
        if self.at_once is not None and self.at_once < 1:
            raise UsageError("bad-count", "At least one part is coated at a time.", "Give a number from 1.")


@dataclass(frozen=True, slots=True)
class Event:
    """One thing on the calendar. Work has a start and an end; a moment (walk-on, use, cure) has the same for both.

    A ``recoat`` event is the window in which the next coat may go on; its end is None when the window has none.
    """

    kind: EventKind
    start: dt.datetime
    end: dt.datetime | None
    parts: tuple[Part, ...]
    what: str
    coat: int = 0
    """Number of the coat that is given, rubbed out for, or may go on; 0 for what concerns none."""
    product: str = ""
    """Of a coat."""

    @property
    def is_work(self) -> bool:
        """Whether somebody is at work."""
        return self.kind in ("rub-out", "coat", "fit")


@dataclass(frozen=True, slots=True)
class Closed:
    """Parts nobody may step on from one moment to another; `open_step` while a tread is missing."""

    parts: tuple[Part, ...]
    start: dt.datetime
    end: dt.datetime
    open_step: bool = False


@dataclass(frozen=True, slots=True)
class Night:
    """What may be stepped on in the night after a day."""

    day: dt.date
    closed: tuple[Part, ...]
    open: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Calendar:
    """The events in their order, what is closed when, and what is to be known of it."""

    events: tuple[Event, ...]
    closed: tuple[Closed, ...]
    steps: tuple[Step, ...]
    notes: tuple[str, ...]

    def of(self, part: Part) -> tuple[Event, ...]:
        """Return the events of one part."""
        return tuple(event for event in self.events if part in event.parts)


@dataclass(slots=True)
class _Planner:
    """Collects events while groups are planned one after the other."""

    hours: WorkHours
    coat_h: float
    rub_h: float
    fitting: Fitting
    now: dt.datetime
    events: list[Event] = field(default_factory=list)
    closed: list[Closed] = field(default_factory=list)

    def coat(self, parts: Sequence[Part], coats: Sequence[Coat], *, walked: bool) -> dt.datetime:
        """Coat parts; return when the last coat ends. Parts that are walked on are closed until they can be."""
        group = tuple(parts)
        planned = plan_coats(coats, self.now, self.hours, self.coat_h, self.rub_h)
        for before, each in zip((None, *planned), planned, strict=False):
            self._coat_events(group, before, each, len(planned))
        last = planned[-1]
        times = last.coat.times
        opens = last.end + dt.timedelta(hours=times.socks)
        if walked:
            self.closed.append(Closed(group, planned[0].start, opens))
            self._moment("walk-on", opens, group, "walk on in socks")
        if group[0].kind in WALKED_ON:
            self._moment("use", last.end + dt.timedelta(hours=max(times.use, times.socks)), group, "use with care")
        self._moment("cure", last.end + dt.timedelta(hours=max(times.cure, times.use, times.socks)), group, "cured")
        self.now = opens if walked else last.end
        return last.end

    def fit(self, groups: Sequence[Sequence[Step]], steps: Sequence[Step]) -> None:
        """Fit steps one at a time, group by group, each within one working day.

        A step waits until its neighbours on the way up can be stepped on; one that nothing leads past waits for all.
        """
        length = dt.timedelta(hours=self.fitting.hours_each)
        opens: dict[int, dt.datetime] = {}
        for step in (step for group in groups for step in group):
            here = steps.index(step)
            beside = list(opens.values()) if step.blocks else [opens[n] for n in (here - 1, here + 1) if n in opens]
            for part in step.parts:
                start = self.hours.next_start(max([self.now, *beside]), length)
                self.now = start + length
                self.events.append(Event("fit", start, self.now, (part,), "take the old out, fit the new"))
                self.closed.append(Closed((part,), start, self.now, open_step=True))
                walk_on = self.now + dt.timedelta(hours=self.fitting.set_hours)
                if walk_on > self.now:
                    self.closed.append(Closed((part,), self.now, walk_on))
                self._moment("walk-on", walk_on, (part,), "step on it")
                opens[here] = walk_on
        self.now = max([self.now, *opens.values()])

    def _coat_events(self, parts: tuple[Part, ...], before: PlannedCoat | None, each: PlannedCoat, count: int) -> None:
        if before is not None and each.gap is not None:
            opens = before.end + dt.timedelta(hours=each.gap.least)
            closes = None if each.gap.most is None else before.end + dt.timedelta(hours=each.gap.most)
            what = f"coat {each.number} may go on" + (
                " after a rub-out (the usual window is missed)" if each.gap.late else ""
            )
            self.events.append(Event("recoat", opens, closes, parts, what, each.number))
        if each.rub_from is not None:
            what = f"rub out before coat {each.number}"
            self.events.append(Event("rub-out", each.rub_from, each.start, parts, what, each.number))
        product = each.coat.product
        what = f"coat {each.number} of {count}, {product}"
        self.events.append(Event("coat", each.start, each.end, parts, what, each.number, product))

    def _moment(self, kind: EventKind, when: dt.datetime, parts: tuple[Part, ...], what: str) -> None:
        self.events.append(Event(kind, when, when, parts, what))


def plan_calendar(
    parts: Sequence[Part],
    jobs: Sequence[Job],
    start: dt.date,
    *,
    hours: WorkHours | None = None,
    coat_h: float = 1.0,
    rub_h: float = 1.0,
    fitting: Fitting | None = None,
) -> Calendar:
    """Return the calendar of a stair.

    What is not walked on comes first, then the jobs in their order; a return is coated with its tread where both get
    the same coats in the same place. The same figures give the same calendar.

    Parameters
    ----------
    parts
        All the parts of the stair.
    jobs
        Which kinds get which coats, and where; a kind belongs to one job.
    start
        First day.
    hours
        When somebody works.
    coat_h, rub_h
        Hours that one coat, and one rubbing out, of a group takes (common practice, no source).
    fitting
        How parts finished away are fitted.

    Raises
    ------
    UsageError
        ``"nothing-to-do"``, ``"kind-twice"``, ``"bad-date"``, ``"bad-times"``, and what `plan_coats` raises.
    """
    _check(jobs, start, coat_h, rub_h)
    hours = hours or WorkHours()
    planner = _Planner(hours, coat_h, rub_h, fitting or Fitting(), dt.datetime.combine(start, dt.time()))
    steps = way_up(parts)
    beside = _returns_of(parts, jobs)
    with_treads = {each for group in beside.values() for each in group}
    for job in jobs:
        still = [part for part in parts if part.kind in job.kinds and part.kind not in WALKED_ON]
        still = [part for part in still if part not in with_treads]
        if still:
            planner.coat(still, job.coats, walked=False)
            if job.away:
                planner.now += dt.timedelta(hours=planner.fitting.ready_after)
                _fit_unwalked(planner, still)
    for job in jobs:
        # The way up is alternated as a whole, so that parts of two jobs side by side are never closed together.
        mine = [step for step in steps if step.parts[0].kind in job.kinds]
        groups = [[step for step in group if step in mine] for group in alternating(steps)]
        groups = [group for group in groups if group]
        if groups and job.away:
            _finish_away(planner, job, groups, steps, beside)
        else:
            for group in groups:
                walked = [part for step in group for part in step.parts]
                planner.coat([*walked, *_beside(walked, beside)], job.coats, walked=True)
    if not planner.events:
        raise UsageError(
            "nothing-to-do", "No part of the stair gets a coat.", "Name parts and coats that belong together."
        )
    order = {"walk-on": 0, "use": 1, "cure": 2, "recoat": 3, "rub-out": 4, "coat": 5, "fit": 6}
    events = sorted(planner.events, key=lambda event: (event.start, order[event.kind]))
    return Calendar(tuple(events), tuple(planner.closed), steps, _notes(jobs, steps, planner))


def nights(calendar: Calendar) -> tuple[Night, ...]:
    """Return what may be stepped on in each night in which something is closed at midnight."""
    if not calendar.closed:
        return ()
    day, last = min(each.start for each in calendar.closed).date(), max(each.end for each in calendar.closed).date()
    walked = [part for step in calendar.steps for part in step.parts]
    found = []
    while day < last:
        midnight = dt.datetime.combine(day + dt.timedelta(days=1), dt.time())
        shut = {part for each in calendar.closed if each.start < midnight < each.end for part in each.parts}
        if shut:
            found.append(Night(day, tuple(p for p in walked if p in shut), tuple(p for p in walked if p not in shut)))
        day += dt.timedelta(days=1)
    return tuple(found)


def _returns_of(parts: Sequence[Part], jobs: Sequence[Job]) -> dict[Part, tuple[Part, ...]]:
    """Return the treads that have returns of the same job, each with its returns."""
    together = any({"tread", "return"} <= set(job.kinds) for job in jobs)
    found: dict[Part, tuple[Part, ...]] = {}
    returns = [part for part in parts if part.kind == "return"]
    for tread in (part for part in parts if part.kind == "tread" and together):
        own = tuple(each for each in returns if (each.level, each.place) == (tread.level, tread.place))
        if own:
            found[tread] = own
    return found


def _beside(treads: Sequence[Part], returns: Mapping[Part, tuple[Part, ...]]) -> list[Part]:
    return [each for tread in treads for each in returns.get(tread, ())]


def _finish_away(
    planner: _Planner,
    job: Job,
    groups: Sequence[Sequence[Step]],
    steps: Sequence[Step],
    beside: Mapping[Part, tuple[Part, ...]],
) -> None:
    """Coat all parts away from the stair, rack by rack, then fit them."""
    waiting = sorted(
        (part for group in groups for step in group for part in step.parts), key=lambda part: (part.level, part.place)
    )
    size = job.at_once or len(waiting)
    for first in range(0, len(waiting), size):
        rack = waiting[first : first + size]
        ended = planner.coat([*rack, *_beside(rack, beside)], job.coats, walked=False)
        times = job.coats[-1].times
        planner.now = ended + dt.timedelta(hours=max(planner.fitting.ready_after, times.socks))
    planner.fit(groups, steps)


def _fit_unwalked(planner: _Planner, parts: Sequence[Part]) -> None:
    length = dt.timedelta(hours=planner.fitting.hours_each)
    for part in parts:
        start = planner.hours.next_start(planner.now, length)
        planner.now = start + length
        planner.events.append(Event("fit", start, planner.now, (part,), "fit"))


def _check(jobs: Sequence[Job], start: dt.date, coat_h: float, rub_h: float) -> None:
    kinds = [kind for job in jobs for kind in job.kinds]
    if len(kinds) != len(set(kinds)):
        twice = next(kind for kind in kinds if kinds.count(kind) > 1)
        raise UsageError("kind-twice", f"Two jobs speak of the {twice}.", "Give each kind of part one list of coats.")
    if not 1900 <= start.year <= _LAST_YEAR:
        raise UsageError("bad-date", f"The plan cannot start on {start}.", "Give a day such as 2026-05-31.")
    if not (0 < coat_h <= 24 and 0 <= rub_h <= 24):
        raise UsageError("bad-times", "A coat takes some hours of one day.", "Give hours, for example 1.")


def _notes(jobs: Sequence[Job], steps: Sequence[Step], planner: _Planner) -> tuple[str, ...]:
    landings = [step.parts for step in steps if step.blocks]
    found = [
        f"{level_title(each.parts[0].level).capitalize()} is one piece, and nothing leads past it from "
        f"{each.start:%d %b %H:%M} to {each.end:%d %b %H:%M}: stay on one floor, or coat it in two halves."
        for each in planner.closed
        if each.parts in landings and not each.open_step
    ]
    walked = {step.parts[0].kind for step in steps}
    stained = [job.coats[-1].product for job in jobs if walked & set(job.kinds) and not job.coats[-1].is_film]
    found += dict.fromkeys(
        f"The label of {before.product} ends the wait for the next coat before the {wait:g} h that are usual under "
        f"another product, so {after.product} is planned as the label says; ask its maker whether it may go on so soon."
        for job in jobs
        for before, after in pairwise(job.coats)
        if before.product != after.product and (wait := before.times.passed_over) is not None
    )
    found += [f"The last coat named is {name}: bare stain wears off a tread; add a topcoat." for name in stained]
    return tuple(found)


_ORDER = {"tread": 0, "landing nosing": 1, "landing board": 2}


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to step on, on the way up: a tread, a top nosing, half a landing, or a landing of one piece.

    Parameters
    ----------
    parts
        What it is made of; several boards only for half a landing.
    blocks
        Whether it cannot be stepped over, and nothing beside it can be stepped on: a landing of one piece.
    """

    parts: tuple[Part, ...]
    blocks: bool = False


def way_up(parts: Iterable[Part]) -> tuple[Step, ...]:
    """Return what one steps on from the bottom up.

    In each flight the treads come first, then a top nosing, then landing boards. A landing of two boards
    or more is two steps, half of its boards each, so that the other half can be walked on.
    """
    walked = sorted(
        (part for part in parts if part.kind in WALKED_ON), key=lambda part: (part.level, _ORDER[part.kind], part.place)
    )
    steps: list[Step] = []
    for (_, kind), group in itertools.groupby(walked, key=lambda part: (part.level, part.kind)):
        each = tuple(group)
        if kind != "landing board":
            steps += [Step((part,)) for part in each]
        elif len(each) == 1:
            steps.append(Step(each, blocks=True))
        else:
            half = len(each) // 2
            steps += [Step(each[:half]), Step(each[half:])]
    return tuple(steps)


def alternating(steps: Sequence[Step]) -> tuple[tuple[Step, ...], ...]:
    """Return groups to work on one after the other, none of which holds two neighbours.

    First every second step, then those between, then each landing that nothing leads past.
    """
    groups: tuple[list[Step], list[Step]] = ([], [])
    open_steps = [step for step in steps if not step.blocks]
    for number, step in enumerate(open_steps):
        groups[number % 2].append(step)
    alone = [[step] for step in steps if step.blocks]
    return tuple(tuple(group) for group in (*groups, *alone) if group)


def need_flight(parts: Iterable[Part]) -> bool:
    """Return whether some kind of part is on more than one level, so that names need their flight."""
    levels: dict[str, set[int]] = {}
    for part in parts:
        levels.setdefault(part.kind, set()).add(part.level)
    return any(len(each) > 1 for each in levels.values())


def full_name(part: Part, *, several: bool) -> str:
    """Return a part's name, its flight before it where there are several: ``flight 2 tread 7``."""
    return f"{level_title(part.level)} {part.name}" if several else part.name


def named(parts: Sequence[Part], *, several: bool) -> str:
    """Return parts in words, the numbers of a kind together: ``treads 1, 3 and 5``, ``flight 1 treads 1 and 3``."""
    groups: dict[tuple[int, str], list[Part]] = {}
    for part in parts:
        groups.setdefault((part.level if several else 0, part.kind), []).append(part)
    words, last = [], 0
    for (level, kind), group in groups.items():
        title = level_title(level) if level else ""
        # "landing 1 boards 1 to 3", not "landing 1 landing boards".
        said = kind.removeprefix("landing ") if title.startswith("landing") and level != last else kind
        where = f"{title} " if level and level != last else ""
        last = level
        words.append(where + _numbered(said, group))
    return "; ".join(words)


def _numbered(kind: str, group: Sequence[Part]) -> str:
    sides: dict[str, list[int]] = {}
    for part in sorted(group, key=lambda part: (part.place, part.side or "")):
        sides.setdefault(part.side or "", []).append(part.place)
    numbers = []
    for side, places in sides.items():
        runs = _runs(places)
        numbers += [*runs[:-1], f"{runs[-1]} {side}".strip()]
    if len(group) == 1:
        return f"{kind} {numbers[0]}"
    several = "skirt boards" if kind == "skirt" else f"{kind}s"
    return f"{several} {', '.join(numbers[:-1])} and {numbers[-1]}" if len(numbers) > 1 else f"{several} {numbers[0]}"


def _runs(places: Sequence[int]) -> list[str]:
    """Return numbers as texts, three and more in a row as ``4 to 7``."""
    found: list[list[int]] = []
    for place in places:
        if found and place == found[-1][-1] + 1:
            found[-1].append(place)
        else:
            found.append([place])
    return [
        text
        for run in found
        for text in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(place) for place in run])
    ]
