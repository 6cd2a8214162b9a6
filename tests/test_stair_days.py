"""The days of the stair are safe: a simulation of its own, minute by minute, of who can walk where.

The simulation reads what a plan prints (its JSON document) and the labels that were made up for it. Of the planner it
uses nothing but the call: what is wet, missing, hard or walked on is worked out here again, for every minute.
"""

from __future__ import annotations

import datetime as dt
import random
import sys
from dataclasses import dataclass, field
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from finishlab.errors import UsageError
from finishlab.plan.calendar import Fitting, plan_calendar
from finishlab.plan.documents import calendar_document
from finishlab.plan.drying import Coat, Laid, Times, WorkHours
from finishlab.plan.geometry import Part, Shape
from finishlab.plan.stair_plan import Job, StairPlan

IN_CI: Final = 300
"""Random plans at every run of the tests; ``python tests/test_stair_days.py 10000`` makes more."""
SHAPE: Final = Shape(900, 250, 25)
WAY: Final = ("tread", "landing nosing", "landing board")
Key = tuple[str, str, int, str | None]


@dataclass
class Made:
    """A random plan as it is made up, before anything is planned."""

    parts: list[Part]
    jobs: list[Job]
    laid: dict[Part, Laid]
    hours: WorkHours
    fitting: Fitting
    start: dt.date
    coat_h: float
    rub_h: float
    done: list[Part] = field(default_factory=list)
    """Parts that have all their coats, and nothing is planned for."""

    def document(self) -> dict[str, Any]:
        """Return what the plan prints as JSON."""
        calendar = plan_calendar(
            self.parts, self.jobs, self.start, hours=self.hours, coat_h=self.coat_h, rub_h=self.rub_h,
            fitting=self.fitting, laid=self.laid,
        )  # fmt: skip
        plan = StairPlan(tuple(self.parts), start=self.start)
        return dict(calendar_document(plan, calendar, ()).data)


def key_of(part: Part) -> Key:
    """Return what the document calls a part."""
    level = part.level
    return f"flight {(level + 1) // 2}" if level % 2 else f"landing {level // 2}", part.kind, part.place, part.side


def made_up(seed: int) -> Made:
    """Return a random stair with its coats, some parts of it begun or done."""
    rng = random.Random(seed)  # noqa: S311 - no secret
    parts: list[Part] = []
    for number in range(1, rng.choice([1, 1, 2, 3]) + 1):
        level = 2 * number - 1
        count = rng.randint(1, 7)
        parts += [Part("tread", SHAPE, level, n) for n in range(1, count + 1)]
        parts += [Part("landing nosing", SHAPE, level, 1)] * rng.randint(0, 1)
        parts += [Part("landing board", SHAPE, level + 1, n) for n in range(1, rng.choice([0, 0, 1, 2, 3]) + 1)]
        parts += [Part("riser", SHAPE, level, n) for n in range(1, rng.choice([0, 2]) + 1)]
        parts += [Part("nosing", SHAPE, level, n) for n in range(1, rng.choice([0, 0, count]) + 1)]
        parts += [Part("return", SHAPE, level, n, "left") for n in range(1, rng.choice([0, 0, count]) + 1)]
    jobs: list[Job] = []
    laid: dict[Part, Laid] = {}
    done: list[Part] = []
    start = dt.date(2026, 10, 1) + dt.timedelta(days=rng.randrange(200))  # over both changes of the clock
    for kinds in (("tread", "landing nosing", "return"), ("landing board",), ("riser",), ("nosing",)):
        mine = [part for part in parts if part.kind in kinds]
        away = rng.random() < 0.4
        coats = coats_of(rng)
        fresh = [part for part in mine if not away and rng.random() < rng.choice([0, 0, 0.3])]
        groups: dict[int, list[Part]] = {}
        for part in fresh:
            groups.setdefault(rng.randint(1, len(coats)), []).append(part)
        for count, begun in groups.items():
            # Between a day and an hour before the first day.
            ended = dt.datetime.combine(start, dt.time()) - dt.timedelta(hours=rng.choice([1, 6, 30, 200]))
            after = Laid(coats[count - 1], ended, rubbed_out=rng.random() < 0.2)
            laid |= dict.fromkeys(begun, after)
            if coats[count:]:
                jobs.append(Job(tuple({p.kind for p in begun}), coats[count:], parts=tuple(begun), after=after))
            else:
                done += begun
        rest = [part for part in mine if part not in fresh]
        if rest:
            at_once = rng.choice([None, 1, 4]) if away else None
            jobs.append(Job(tuple({p.kind for p in rest}), coats, away=away, at_once=at_once, parts=tuple(rest)))
    first = rng.choice([7.5, 8.0, 17.0, 0.0])
    hours = WorkHours(
        first, first + rng.choice([5, 7]), frozenset(rng.sample(range(7), rng.randint(1, 7))),
        zone=rng.choice([None, ZoneInfo("Europe/Vienna"), ZoneInfo("America/New_York")]),
    )  # fmt: skip
    fitting = Fitting(rng.choice([0.5, 1.0, 3.0]), rng.choice([0.0, 12.0, 24.0]), rng.choice([0.0, 24.0, 48.0]))
    return Made(
        parts, jobs, laid, hours, fitting, start, rng.choice([0.5, 1.0, 2.5]), rng.choice([0.0, 0.5, 2.0]), done
    )


def coats_of(rng: random.Random) -> tuple[Coat, ...]:
    """Return one to five coats of one to three products."""
    found: list[Coat] = []
    for number in range(rng.randint(1, 3)):
        least, width = rng.choice([0.5, 1, 4, 12, 24, 48]), rng.choice([None, None, 6.0, 24.0, 200.0])
        times = Times(
            recoat=(least, None if width is None else least + width),
            socks=rng.choice([0, 4, 24, 30.5]),
            use=rng.choice([24, 72, 96]),
            cure=rng.choice([168, 720]),
            under_other=rng.choice([None, (24.0, 72.0), (3.0, None)]),
            late=rng.choice([None, 72.0]),
            rub_out=rng.random() < 0.5,
        )
        found += [Coat(f"product {number}", times)] * rng.randint(1, 2)
    return tuple(found)


# -- the simulation


class Minutes:
    """A clock that counts real minutes from a day before the plan begins, whatever the clock on the wall shows."""

    def __init__(self, made: Made) -> None:
        self.zone = made.hours.zone
        self.zero = self._real(dt.datetime.combine(made.start - dt.timedelta(days=10), dt.time()))

    def _real(self, shown: dt.datetime) -> dt.datetime:
        return shown.replace(tzinfo=self.zone or dt.UTC).astimezone(dt.UTC)

    def at(self, shown: str | dt.datetime) -> int:
        """Return the real minute of what a clock shows."""
        moment = dt.datetime.fromisoformat(shown) if isinstance(shown, str) else shown
        return round((self._real(moment) - self.zero).total_seconds() / 60)


def simulate(made: Made, told: dict[str, Any]) -> list[str]:
    """Return all that is unsafe or untrue in what a plan tells, worked out minute by minute."""
    clock = Minutes(made)
    last = max(clock.at(event["end"] or event["start"]) for event in told["events"]) + 1
    parts = {key_of(part): part for part in made.parts}
    job_of = {key_of(part): job for job in made.jobs for part in job.parts or ()}
    wrong: list[str] = []
    wet = {key: np.zeros(last, bool) for key in parts}  # not to be stepped on: its own coat does not allow socks yet
    soft = {key: np.zeros(last, bool) for key in parts}  # not to be used: socks only
    gone = {key: np.zeros(last, bool) for key in parts}  # missing, or its adhesive not set
    given: dict[Key, list[dict[str, Any]]] = {key: [] for key in parts}
    fitted_at: dict[Key, int] = {}
    for event in told["events"]:
        for each in event["parts"]:
            key = (each["flight"], each["kind"], each["number"], each["side"])
            if event["kind"] == "coat":
                given[key].append(event)
            if event["kind"] == "fit":
                start, end = clock.at(event["start"]), clock.at(event["end"])
                fitted_at[key] = start
                gone[key][start : end + round(60 * made.fitting.set_hours)] = True
    for key, part in parts.items():
        job, laid = job_of.get(key), made.laid.get(part)
        events = given[key]
        if job is None and events:
            wrong.append(f"{key} is done and planned again")
        if job is not None and len(events) != len(job.coats):
            wrong.append(f"{key} gets {len(events)} coats, not {len(job.coats)}")
        coats = [(laid.coat, clock.at(laid.ended), clock.at(laid.ended))] if laid else []
        coats += [(coat, clock.at(e["start"]), clock.at(e["end"])) for coat, e in zip(job.coats, events)] if job else []
        for (below, _, ended), (above, start, _) in zip(coats, coats[1:]):
            same = below.product == above.product
            least, most = below.times.recoat if same or below.times.under_other is None else below.times.under_other
            if start < ended + 60 * least - 1:
                wrong.append(f"{key}: coat too early by {(ended + 60 * least - start) / 60:.1f} h")
            rubbed = any(
                e["kind"] == "rub-out" and any(key == (p["flight"], p["kind"], p["number"], p["side"]) for p in e["parts"])
                and ended <= clock.at(e["start"]) <= start
                for e in told["events"]
            )  # fmt: skip
            out = rubbed or (laid is not None and laid.rubbed_out and below is coats[0][0])
            if most is not None and start > ended + 60 * most and not out and made.rub_h:
                wrong.append(f"{key}: coat too late, without a rub-out")
        work = [(clock.at(e["start"]), clock.at(e["end"])) for e in told["events"] if e["kind"] in {"rub-out", "coat"}
                and any(key == (p["flight"], p["kind"], p["number"], p["side"]) for p in e["parts"])]  # fmt: skip
        if work:  # between its coats a part is at work, whatever may be stepped on
            wet[key][work[0][0] : work[-1][1]] = True
        for coat, start, end in coats:
            wet[key][max(start, 0) : end + round(60 * coat.times.socks)] = True
            soft[key][max(start, 0) : end + round(60 * max(coat.times.use, coat.times.socks))] = True
    away = {key for key, job in job_of.items() if job.away}
    for key in away:
        # Old treads lie on the stair until the new one comes; what is wet then is on a rack.
        start = fitted_at.get(key)
        if start is not None and (wet[key] & ~gone[key])[start:].any():
            wrong.append(f"{key} is carried and fitted before its own coat allows")
        if start is not None:
            wet[key][:start] = False
    for key in parts:  # a wet nosing closes the tread it is on, and so does one that is being fitted
        if key[1] == "nosing" and (tread := (key[0], "tread", key[2], None)) in parts:
            wet[tread] |= wet[key] & (key not in away)
            gone[tread] |= gone[key]
    wrong += moments(clock, told, wet, soft, gone, parts, fitted_at, away)
    wrong += ways(clock, told, {key: wet[key] | gone[key] for key in parts}, parts)
    return wrong


def moments(
    clock: Minutes, told: dict[str, Any], wet: dict[Key, Any], soft: dict[Key, Any], gone: dict[Key, Any],
    parts: dict[Key, Part], fitted_at: dict[Key, int], away: set[Key],
) -> list[str]:  # fmt: skip
    """Return which parts are said to be walked on or in use before their own coat, adhesive and place allow."""
    wrong = []
    for event in told["events"]:
        if event["kind"] not in {"walk-on", "use"}:
            continue
        now = clock.at(event["start"])
        for each in event["parts"]:
            key = (each["flight"], each["kind"], each["number"], each["side"])
            if wet[key][now] or gone[key][now]:
                wrong.append(f"{key} is {event['kind']} while wet or missing")
            shoes = event["kind"] == "use" or "socks" not in event["what"]
            if shoes and soft[key][now]:
                wrong.append(f"{key} is {event['kind']} ({event['what']}) before its coat allows use")
            if key in away and key in fitted_at and now < fitted_at[key]:
                wrong.append(f"{key} is {event['kind']} before it is fitted")
    return wrong


def ways(clock: Minutes, told: dict[str, Any], shut: dict[Key, Any], parts: dict[Key, Part]) -> list[str]:
    """Return where what is told of the way up is not so, for every minute and every night."""
    order = {kind: n for n, kind in enumerate(WAY)}
    walked = sorted((k for k in parts if k[1] in WAY), key=lambda k: (parts[k].level, order[k[1]], k[2]))
    steps: list[list[Key]] = []
    for key in walked:
        boards = [k for k in walked if k[:2] == key[:2]] if key[1] == "landing board" else []
        half = len(boards) // 2
        if boards and boards.index(key) not in {0, half}:
            steps[-1].append(key)
        else:
            steps.append([key])
    if not steps:
        return []
    closed = np.array([np.any([shut[key] for key in step], axis=0) for step in steps])
    single = np.array([step[0][1] == "landing board" and sum(k[:2] == step[0][:2] for k in walked) == 1 for step in steps])
    stuck = (closed & single[:, None]).any(axis=0) | (closed[1:] & closed[:-1]).any(axis=0)
    stuck[: clock.at(told["start"])] = False  # what was so before the plan begins is not the plan's
    double = closed.any(axis=0) & ~stuck
    wrong, notes = [], " ".join(told["notes"])
    if double[clock.at(told["start"]) :].any() and "double step" not in notes:
        wrong.append("a double step, and nothing says so")
    if stuck.any() and "nothing leads past" not in notes and "No way leads up" not in notes:
        wrong.append("no way up, and nothing says so")
    said = np.full(closed.shape[1], "single", object)
    begin = clock.at(told["start"])
    for way in told["ways"]:
        start, end = clock.at(way["start"]), clock.at(way["end"])
        said[start:end] = way["climb"]
        for each in way["open"]:
            key = (each["flight"], each["kind"], each["number"], each["side"])
            if shut[key][start:end].any():
                wrong.append(f"{key} is told open from {way['start']}, and is not")
    truth = np.where(stuck, "none", np.where(double, "double", "single"))
    cautious = {"single": 0, "double": 1, "none": 2}
    rank = np.vectorize(cautious.get)
    if (rank(said[begin:]) < rank(truth[begin:])).any():
        at = int(np.argmax(rank(said[begin:]) < rank(truth[begin:])))
        wrong.append(f"minute {at}: told {said[begin + at]}, and it is {truth[begin + at]}")
    # An hour that the clock shows twice is told as the whole of both; nothing else is told worse than it is.
    worse = np.convolve(rank(said[begin:]) > rank(truth[begin:]), np.ones(61), "valid") > 60
    if worse.any():
        wrong.append(f"minute {int(np.argmax(worse))}: told worse than it is")
    for night in told["nights"]:
        midnight = clock.at(dt.datetime.fromisoformat(night["after"]) + dt.timedelta(days=1))
        names = {(p["flight"], p["kind"], p["number"], p["side"]) for p in night["open"]}
        true = {key for key in walked if not shut[key][midnight]}
        if names - true:
            wrong.append(f"night after {night['after']}: told open, and is not: {sorted(map(str, names - true))}")
        if night["climb"] != truth[midnight]:
            wrong.append(f"night after {night['after']}: told {night['climb']}, and it is {truth[midnight]}")
    return wrong


def tried(seed: int) -> tuple[list[str], bool]:
    """Return what is wrong with a random plan, and whether it could be planned at all."""
    made = made_up(seed)
    try:
        told = made.document()
    except UsageError as refused:
        if refused.code in {"no-recoat-slot", "day-too-short", "nothing-to-do"}:
            return [], False
        raise
    return simulate(made, told), True


@pytest.mark.parametrize("first", range(0, IN_CI, 50))
def test_random_plans_hurt_nobody(first: int) -> None:
    """No part is used, walked on or carried before its own coat allows, and how one gets up is told for every minute."""
    found = [(seed, *tried(seed)) for seed in range(first, first + 50)]
    assert sum(planned for _, _, planned in found) > 25
    wrong = [f"plan {seed}: {sentence}" for seed, sentences, _ in found for sentence in sentences[:2]]
    assert not wrong, "\n".join(wrong[:10])


def test_the_simulation_sees_what_is_wrong() -> None:
    """A plan that is meddled with is found out: a use before its coat, an open step, a missing sentence, a lost coat."""
    made = next(each for each in map(made_up, range(200)) if any(job.away for job in each.jobs) and tried_clean(each))
    told = made.document()
    use = next(event for event in told["events"] if event["kind"] == "use")
    early = {**use, "start": told["events"][0]["start"], "end": told["events"][0]["start"]}
    assert simulate(made, {**told, "events": [*told["events"], early]})
    assert simulate(made, {**told, "notes": []})
    assert simulate(made, {**told, "events": [event for event in told["events"] if event["kind"] != "coat"]})
    assert simulate(made, {**told, "ways": []})


def tried_clean(made: Made) -> bool:
    """Return whether a plan can be made, and has a double step."""
    try:
        told = made.document()
    except UsageError:
        return False
    return any(way["climb"] == "double" for way in told["ways"]) and any(e["kind"] == "use" for e in told["events"])


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else IN_CI
    bad = planned = 0
    for seed in range(count):
        sentences, could = tried(seed)
        planned += could
        bad += bool(sentences)
        if sentences and bad <= 20:
            sys.stdout.write(f"{seed}: {sentences[:3]}\n")
    sys.stdout.write(f"{count} plans, {planned} could be planned, {bad} with something wrong\n")
