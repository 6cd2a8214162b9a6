"""The stair's calendar: which part gets what on which day, so that the stair can be climbed all the while.

What is walked on is worked on by every second step: nothing is begun on a step before its neighbours can be stepped on
again. Parts finished away from the stair close a step only while it is fitted, and no step stays open over night.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final, Literal

from finishlab.errors import UsageError
from finishlab.plan.drying import Coat, Laid, PlannedCoat, WorkHours, plan_coats
from finishlab.plan.parts import WALKED_ON, Climb, Step, alternating, parted, way_up
from finishlab.stair.names import PartKind, PartName, level_title, named

_STACK_HOURS: Final = 48.0
"""Hours after the last coat before finished treads are stacked, carried and fitted (trade advice)."""
EventKind = Literal["cover", "rub-out", "coat", "recoat", "fit", "walk-on", "use", "cure"]
_LAST_YEAR: Final = 2200
_BESIDE: Final[tuple[PartKind, ...]] = ("return", "nosing")
"""Parts that belong to a tread and are coated with it."""
DOUBLE: Final = (
    "Where a step is closed or missing one climbs two risers at once (a double step): hold the handrail, light the "
    "stair at night, carry nothing heavy; whoever cannot do so, children and pets too, stays on one floor."
)
SAND_LAST: Final = (
    "Sanding, repairs and masking come before the first coat and are not counted: sand each part last, just before its "
    "first coat; what is sanded earlier and still walked on is kept covered."
)


@dataclass(frozen=True, slots=True)
class Work:
    """How many hours work takes.

    Parameters
    ----------
    coat_h, rub_out_h
        One coat, and one rubbing out, of a group of parts (common practice, no source).
    fit_h
        To take an old part out and fit one that was finished away from the stair, in one go.
    set_h
        Until one may step on it again: what the adhesive asks; 0 for screws.
    ready_h
        After the last coat before a part is handled.

    Raises
    ------
    UsageError
        ``"bad-times"``.
    """

    coat_h: float = 1.0
    rub_out_h: float = 1.0
    fit_h: float = 1.0
    set_h: float = 0.0
    ready_h: float = _STACK_HOURS

    def __post_init__(self) -> None:
        if not (0 < self.coat_h <= 24 and 0 <= self.rub_out_h <= 24):
            raise UsageError("bad-times", "A coat takes some hours of one day.", "Give hours, for example 1.")
        if not all(0 <= hours <= 10_000 for hours in (self.fit_h, self.set_h, self.ready_h)):
            raise UsageError("bad-times", "Hours of fitting are not below 0.", "Give hours, for example 1.")
        if self.fit_h <= 0:
            raise UsageError("bad-times", "Fitting a part takes some time.", "Give hours, for example 1.")


@dataclass(frozen=True, slots=True)
class Job:
    """Parts that get the same coats in the same place.

    Parameters
    ----------
    parts
        The parts.
    coats
        In their order; none where parts have all of them and are only to be fitted.
    away
        Whether the parts are finished away from the stair, on points or racks, and fitted afterwards.
    at_once
        How many parts are coated at a time away from the stair; None: all.
    after
        The coat they have already.
    """

    parts: Sequence[PartName]
    coats: tuple[Coat, ...]
    away: bool = False
    at_once: int | None = None
    after: Laid | None = None

    def __post_init__(self) -> None:
        if self.at_once is not None and self.at_once < 1:
            raise UsageError("bad-count", "At least one part is coated at a time.", "Give a number from 1.")

    @property
    def kinds(self) -> tuple[PartKind, ...]:
        """The kinds of its parts."""
        return tuple(dict.fromkeys(part.kind for part in self.parts))

    def among(self, parts: Sequence[PartName]) -> list[PartName]:
        """Return its parts in the order of the stair."""
        mine = set(self.parts)
        return [part for part in parts if part in mine]


@dataclass(frozen=True, slots=True)
class Event:
    """One thing on the calendar. Work has a start and an end; a moment (walk-on, use, cure) has the same for both.

    A ``recoat`` event is the window in which the next coat may go on; its end is None when the window has none. A
    ``cover`` event is how long a sanded part is kept covered.
    """

    kind: EventKind
    start: dt.datetime
    end: dt.datetime | None
    parts: tuple[PartName, ...]
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

    parts: tuple[PartName, ...]
    start: dt.datetime
    end: dt.datetime
    open_step: bool = False


@dataclass(frozen=True, slots=True)
class Way:
    """How one gets up from one moment to another, as long as it does not change."""

    start: dt.datetime
    end: dt.datetime
    closed: tuple[PartName, ...]
    open: tuple[PartName, ...]
    climb: Climb


@dataclass(frozen=True, slots=True)
class Calendar:
    """The events in their order, what is closed when, and what is to be known of it."""

    events: tuple[Event, ...]
    closed: tuple[Closed, ...]
    steps: tuple[Step, ...]
    notes: tuple[str, ...]

    def of(self, part: PartName) -> tuple[Event, ...]:
        """Return the events of one part."""
        return tuple(event for event in self.events if part in event.parts)

    @property
    def ways(self) -> tuple[Way, ...]:
        """How one gets up, from the first moment something is closed to the last."""
        moments = sorted({moment for each in self.closed for moment in (each.start, each.end)})
        found: list[Way] = []
        for start, end in pairwise(moments):
            shut = {part for each in self.closed if each.start <= start < each.end for part in each.parts}
            way = Way(start, end, *parted(self.steps, shut))
            if found and found[-1].closed == way.closed:
                way, _ = replace(found[-1], end=end), found.pop()
            found.append(way)
        return tuple(found)


@dataclass(frozen=True, slots=True)
class _Hard:
    """From when on coats allow what: the latest of all that lie on one another, not of the last alone."""

    ended: dt.datetime
    walk: dt.datetime
    use: dt.datetime
    cure: dt.datetime


@dataclass(slots=True)
class _Planner:
    """Collects events while groups are planned one after the other."""

    hours: WorkHours
    work: Work
    now: dt.datetime
    steps: tuple[Step, ...]
    opens: dict[int, dt.datetime] = field(default_factory=dict)
    """Step, by its place on the way up -> when it can be stepped on again, of those closed when the plan begins."""
    fresh: dict[PartName, dt.datetime] = field(default_factory=dict)
    """The same of the parts themselves, until they are coated again."""
    events: list[Event] = field(default_factory=list)
    closed: list[Closed] = field(default_factory=list)

    def begun(self, laid: Mapping[PartName, Laid], off: AbstractSet[PartName]) -> None:
        """Close the steps on which a coat is too fresh to be stepped on; those away from the stair are not on it."""
        for place, parts in _units(self.steps, [part for part in laid if part not in off]).items():
            for part in parts:
                opens = max(self.hours.later(each.ended, each.coat.times.socks) for each in laid[part].all)
                if opens > self.now and part.kind != "return":
                    self.closed.append(Closed(tuple(_shut(self.steps[place], [part])), self.now, opens))
                    self.fresh[part] = opens
                    self.opens[place] = max(opens, self.opens.get(place, opens))

    def wait_beside(self, places: AbstractSet[int], *, ready: dt.datetime | None = None) -> dt.datetime:
        """Return from when on work may begin on steps, so that the steps beside them can be stepped on."""
        beside = {near for place in places for near in (place - 1, place + 1)} - places
        if any(self.steps[place].blocks for place in places):
            beside = set(self.opens) - places
        return max([ready or self.now, *(self.opens[near] for near in beside if near in self.opens)])

    def coat(self, parts: Sequence[PartName], job: Job, shut: Sequence[PartName] = ()) -> _Hard:
        """Coat parts; return from when on what is allowed. What is in `shut` is closed until it can be walked on."""
        group = tuple(parts)
        planned = plan_coats(job.coats, self.now, self.hours, self.work.coat_h, self.work.rub_out_h, job.after)
        first = None if job.after is None else PlannedCoat(job.after.coat, 0, self.now, job.after.ended, None, None)
        for before, each in zip((first, *planned), planned, strict=False):
            self._coat_events(group, before, each, len(planned))
        hard = self.hard([(each.coat, each.end) for each in planned], job.after)
        if shut:
            # A rub-out before the first coat is work on it already.
            self.closed.append(Closed(tuple(shut), planned[0].rub_from or planned[0].start, hard.walk))
            self.moment("walk-on", hard.walk, group, "walk on in socks")
        if not job.away and group[0].kind in WALKED_ON:
            self.moment("use", hard.use, group, "use with care")
        self.moment("cure", hard.cure, group, "cured")
        self.now = hard.walk if shut else hard.ended
        return hard

    def hard(self, coats: Sequence[tuple[Coat, dt.datetime]], after: Laid | None = None) -> _Hard:
        """Return from when on coats, each with when it ended, allow what."""
        on = [*coats, *((each.coat, each.ended) for each in (after.all if after is not None else ()))]
        walk = max(self.hours.later(end, coat.times.socks) for coat, end in on)
        use = max(walk, *(self.hours.later(end, coat.times.use) for coat, end in on))
        cure = max(use, *(self.hours.later(end, coat.times.cure) for coat, end in on))
        return _Hard(max(end for _, end in on), walk, use, cure)

    def away(self, parts: Sequence[PartName], job: Job) -> _Hard:
        """Coat parts away from the stair, if they still want it, and wait until they may be carried and fitted."""
        hard = self.coat(parts, job) if job.coats else self.hard([], job.after)
        self.now = max(self.now, hard.walk, self.hours.later(hard.ended, self.work.ready_h))
        return hard

    def fit(
        self,
        groups: Sequence[Sequence[Step]],
        units: Mapping[int, Sequence[PartName]],
        used: Mapping[PartName, dt.datetime],
    ) -> None:
        """Fit steps one at a time, group by group, each within one working day.

        A step waits until its neighbours on the way up can be stepped on; one that nothing leads past waits for all.
        `units` says which parts, by their step on the way up, and `used` from when on the coat of each allows its use.
        """
        length = dt.timedelta(hours=self.work.fit_h)
        opens = dict(self.opens)
        in_use: dict[dt.datetime, list[PartName]] = {}
        for step in (step for group in groups for step in group):
            here = self.steps.index(step)
            beside = list(opens.values()) if step.blocks else [opens[n] for n in (here - 1, here + 1) if n in opens]
            # What belongs to a tread is fitted with it.
            mine = [part for part in units[here] if part.kind in WALKED_ON] or units[here][:1]
            for part in mine:
                start = self.hours.next_start(max([self.now, *beside]), length)
                self.now = start + length
                self.events.append(Event("fit", start, self.now, (part,), "take the old out, fit the new"))
                shut = (part,) if part in step.parts else step.parts
                self.closed.append(Closed(shut, start, self.now, open_step=True))
                walk_on = self.hours.later(self.now, self.work.set_h)
                if walk_on > self.now:
                    self.closed.append(Closed(shut, self.now, walk_on))
                # A set adhesive does not make its coat harder: shoes wait for that.
                early = part in used and used[part] > walk_on
                self.moment("walk-on", walk_on, (part,), "step on it in socks" if early else "step on it")
                in_use.setdefault(max(walk_on, used.get(part, walk_on)), []).append(part)
                opens[here] = walk_on
        for when, parts in in_use.items():
            self.moment("use", when, tuple(parts), "use with care")
        self.now = max([self.now, *opens.values()])
        self.opens = opens

    def _coat_events(
        self, parts: tuple[PartName, ...], before: PlannedCoat | None, each: PlannedCoat, count: int
    ) -> None:
        if before is not None and each.gap is not None:
            opens = self.hours.later(before.end, each.gap.least)
            closes = None if each.gap.most is None else self.hours.later(before.end, each.gap.most)
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

    def moment(self, kind: EventKind, when: dt.datetime, parts: tuple[PartName, ...], what: str) -> None:
        """Add a moment."""
        self.events.append(Event(kind, when, when, parts, what))


def plan_calendar(
    parts: Sequence[PartName],
    jobs: Sequence[Job],
    start: dt.date,
    *,
    hours: WorkHours | None = None,
    work: Work | None = None,
    laid: Mapping[PartName, Laid] | None = None,
    sanded: AbstractSet[PartName] = frozenset(),
) -> Calendar:
    """Return the calendar of a stair.

    What is not walked on comes first, then the jobs in their order; a return or a nosing is coated with its tread where
    both get the same coats in the same place. The same figures give the same calendar.

    Parameters
    ----------
    parts
        All the parts of the stair.
    jobs
        Which parts get which coats, and where; a part belongs to one job.
    start
        First day.
    hours
        When somebody works.
    work
        How long work takes.
    laid
        The coat parts have already: while it is fresh, its part is closed.
    sanded
        Parts that are sanded and bare: they are kept covered while they are walked on.

    Raises
    ------
    UsageError
        ``"nothing-to-do"``, ``"bad-date"``, and what `plan_coats` raises.
    """
    if not 1900 <= start.year <= _LAST_YEAR:
        raise UsageError("bad-date", f"The plan cannot start on {start}.", "Give a day such as 2026-05-31.")
    first = dt.datetime.combine(start, dt.time())
    steps = way_up(parts)
    planner = _Planner(hours or WorkHours(), work or Work(), first, steps)
    off = {part for job in jobs if job.away for part in job.among(parts)}
    planner.begun(laid or {}, off)
    for job in jobs:
        _plan_still(planner, job, job.among(parts))
    for job in jobs:
        _plan_walked(planner, job, job.among(parts))
    if not any(event.is_work for event in planner.events):
        raise UsageError(
            "nothing-to-do", "No part of the stair gets a coat.", "Name parts and coats that belong together."
        )
    planner.events += _opened(planner)
    planner.events = [each for event in planner.events for each in _postponed(planner, event)]
    planner.events += _covered(planner, sanded - off, first)
    order = {"cover": 0, "walk-on": 1, "use": 2, "cure": 3, "recoat": 4, "rub-out": 5, "coat": 6, "fit": 7}
    events = sorted(planner.events, key=lambda event: (event.start, order[event.kind]))
    found = Calendar(tuple(events), tuple(planner.closed), steps, ())
    return replace(found, notes=_notes(jobs, found))


def nights(calendar: Calendar) -> dict[dt.date, Way]:
    """Return how one gets up at midnight of each night in which something is closed, by the day before it."""
    if not calendar.closed:
        return {}
    day, last = min(each.start for each in calendar.closed).date(), max(each.end for each in calendar.closed).date()
    found: dict[dt.date, Way] = {}
    while day < last:
        midnight = dt.datetime.combine(day + dt.timedelta(days=1), dt.time())
        shut = {part for each in calendar.closed if each.start <= midnight < each.end for part in each.parts}
        if shut:
            found[day] = Way(midnight, midnight, *parted(calendar.steps, shut))
        day += dt.timedelta(days=1)
    return found


def _units(steps: Sequence[Step], mine: Sequence[PartName]) -> dict[int, list[PartName]]:
    """Return what is coated together: by the step on the way up, its parts of a job with their nosings and returns.

    Returns alone close no step, for nobody steps on them; a nosing closes its tread.
    """
    on = {part: place for place, step in enumerate(steps) for part in step.parts}
    treads = {(part.level, part.place): place for part, place in on.items() if part.kind == "tread"}
    found: dict[int, list[PartName]] = {}
    for kinds in (WALKED_ON, *((kind,) for kind in reversed(_BESIDE))):
        named = sorted((part for part in mine if part.kind in kinds), key=lambda part: (part.place, part.side or ""))
        for part in named:
            place = on.get(part, treads.get((part.level, part.place)) if part.kind in _BESIDE else None)
            if place is not None and (part.kind != "return" or place in found):
                found.setdefault(place, []).append(part)
    return dict(sorted(found.items()))


def _plan_still(planner: _Planner, job: Job, mine: Sequence[PartName]) -> None:
    """Plan what nobody walks on."""
    with_steps = {part for parts in _units(planner.steps, mine).values() for part in parts}
    still = [part for part in mine if part not in with_steps]
    if not still:
        return
    if not job.away:
        planner.coat(still, job)
    else:
        planner.away(still, job)
        length = dt.timedelta(hours=planner.work.fit_h)
        for part in still:
            start = planner.hours.next_start(planner.now, length)
            planner.now = start + length
            planner.events.append(Event("fit", start, planner.now, (part,), "fit"))


def _plan_walked(planner: _Planner, job: Job, mine: Sequence[PartName]) -> None:
    """Plan what is walked on: by every second step, or away from the stair and fitted step by step.

    The way up is alternated as a whole, so that parts of two jobs side by side are never closed together.
    """
    units = _units(planner.steps, mine)
    groups = [[step for step in group if planner.steps.index(step) in units] for group in alternating(planner.steps)]
    groups = [group for group in groups if group]
    if groups and job.away:
        _finish_away(planner, job, groups, units)
        return
    for group in groups:
        places = {planner.steps.index(step) for step in group}
        parts = [part for place in sorted(places) for part in units[place] if part.kind not in _BESIDE]
        parts += [part for place in sorted(places) for part in units[place] if part.kind in _BESIDE]
        planner.now = planner.wait_beside(places)
        # A board of half a landing closes that board; a nosing closes the tread it is on.
        shut = [part for place in sorted(places) for part in _shut(planner.steps[place], units[place])]
        planner.coat(parts, job, shut)
        planner.opens |= dict.fromkeys(places, planner.now)


def _shut(step: Step, coated: Sequence[PartName]) -> list[PartName]:
    return (
        list(step.parts)
        if any(part.kind == "nosing" for part in coated)
        else [part for part in step.parts if part in coated]
    )


def _finish_away(
    planner: _Planner, job: Job, groups: Sequence[Sequence[Step]], units: Mapping[int, Sequence[PartName]]
) -> None:
    """Coat all parts away from the stair, rack by rack, then fit them."""
    places = sorted(planner.steps.index(step) for group in groups for step in group)
    waiting = sorted(
        (part for place in places for part in units[place] if part.kind not in _BESIDE),
        key=lambda part: (part.level, part.place),
    )
    waiting = waiting or [part for place in places for part in units[place]]
    beside = {part: [each for place in places if part in units[place] for each in units[place]] for part in waiting}
    used: dict[PartName, dt.datetime] = {}
    size = job.at_once or len(waiting)
    for first in range(0, len(waiting), size):
        rack = waiting[first : first + size]
        rack += [each for part in rack for each in beside[part] if each.kind in _BESIDE and each not in rack]
        used |= dict.fromkeys(rack, planner.away(rack, job).use)
    planner.fit(groups, units, used)


def _opened(planner: _Planner) -> Iterator[Event]:
    """Say when the parts that were fresh can be walked on, unless they are coated again before."""
    for part, opens in planner.fresh.items():
        again = (event.start for event in planner.events if event.kind in {"rub-out", "coat"} and part in event.parts)
        if min(again, default=opens) >= opens:
            yield Event("walk-on", opens, opens, (part,), "walk on in socks")


def _postponed(planner: _Planner, event: Event) -> Iterator[Event]:
    """Put off what a part's own coat allows while its step is closed for something else, such as its nosing's coat."""
    if event.kind not in {"walk-on", "use"}:
        yield event
        return
    when: dict[dt.datetime, list[PartName]] = {}
    for part in event.parts:
        moment = event.start
        spans = sorted((each.start, each.end) for each in planner.closed if part in each.parts)
        for start, end in spans:
            moment = end if start <= moment < end else moment
        when.setdefault(moment, []).append(part)
    for moment, parts in when.items():
        yield replace(event, start=moment, end=moment, parts=tuple(parts))


def _covered(planner: _Planner, sanded: AbstractSet[PartName], first: dt.datetime) -> Iterator[Event]:
    """Keep what is sanded and bare covered until work on it begins."""
    until: dict[dt.datetime, list[PartName]] = {}
    for part in (part for step in planner.steps for part in step.parts if part in sanded):
        begins = min((event.start for event in planner.events if event.is_work and part in event.parts), default=None)
        if begins is not None:
            until.setdefault(begins, []).append(part)
    for end, parts in until.items():
        what = "sanded already: keep it covered with what does not slip while it is walked on"
        yield Event("cover", first, end, tuple(parts), what)


def _notes(jobs: Sequence[Job], calendar: Calendar) -> tuple[str, ...]:
    steps, ways = calendar.steps, calendar.ways
    landings = {step.parts for step in steps if step.blocks}
    found = [
        f"{level_title(each.parts[0].level).capitalize()} is one piece, and nothing leads past it from "
        f"{each.start:%d %b %H:%M} to {each.end:%d %b %H:%M}: stay on one floor"
        f"{'' if each.open_step else ', or coat it in two halves'}."
        for each in calendar.closed
        if each.parts in landings
    ]
    alone = {part for parts in landings for part in parts}
    found += [
        f"No way leads up from {way.start:%d %b %H:%M} to {way.end:%d %b %H:%M}, since two steps side by side cannot "
        f"be stepped on ({named(way.closed, several=True)}): stay on one floor."
        for way in ways
        if way.climb == "none" and not alone & set(way.closed)
    ]
    found += [DOUBLE] if any(way.climb == "double" for way in ways) else []
    walked = {step.parts[0].kind for step in steps}
    stained = [
        job.coats[-1].product for job in jobs if walked & set(job.kinds) and job.coats and not job.coats[-1].is_film
    ]
    found += dict.fromkeys(
        f"The label of {before.product} ends the wait for the next coat before the {wait:g} h that are usual under "
        f"another product, so {after.product} is planned as the label says; ask its maker whether it may go on so soon."
        for job in jobs
        for before, after in pairwise(job.coats)
        if before.product != after.product and (wait := before.times.passed_over) is not None
    )
    found += dict.fromkeys(
        f"The last coat named is {name}: bare stain wears off a tread; add a topcoat." for name in stained
    )
    return tuple(found)
