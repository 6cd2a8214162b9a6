"""The days of the stair are safe: a simulation of its own, minute by minute, of who can walk where.

The simulation reads what a plan prints (its JSON document) and the labels that were made up for it. Of the planner it
uses nothing but the call: what is wet, missing, hard or walked on is worked out here again, for every minute.
"""

from __future__ import annotations

import datetime as dt
import json
import random
import sys
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from conftest import Run

from finishlab.errors import UsageError
from finishlab.plan.calendar import Job, Work, plan_calendar
from finishlab.plan.days import calendar_document
from finishlab.plan.drying import Coat, Laid, Times, WorkHours
from finishlab.plan.stair_plan import StairPlan
from finishlab.stair.names import PartName

IN_CI: Final = 300
"""Random plans at every run of the tests; ``python tests/test_stair_days.py 10000`` makes more."""
WAY: Final = ("tread", "landing nosing", "landing board")
CLIMBS: Final = ("single", "double", "none")
Key = tuple[str, str, int, str | None]


@dataclass
class Made:
    """A random plan as it is made up, before anything is planned."""

    parts: list[PartName]
    jobs: list[Job]
    laid: dict[PartName, Laid]
    hours: WorkHours
    work: Work
    start: dt.date
    done: list[PartName] = field(default_factory=list)
    """Parts that have all their coats, and nothing is planned for."""

    def document(self) -> dict[str, Any]:
        """Return what the plan prints as JSON."""
        calendar = plan_calendar(
            self.parts, self.jobs, self.start, hours=self.hours, work=self.work, laid=self.laid,
        )  # fmt: skip
        plan = StairPlan(tuple(self.parts), start=self.start)
        return dict(calendar_document(plan, calendar, ()).data)


def key_of(part: PartName) -> Key:
    """Return what the document calls a part."""
    level = part.level
    return f"flight {(level + 1) // 2}" if level % 2 else f"landing {level // 2}", part.kind, part.place, part.side


def made_up(seed: int) -> Made:
    """Return a random stair with its coats, some parts of it begun or done."""
    rng = random.Random(seed)  # noqa: S311 - no secret
    parts: list[PartName] = []
    for number in range(1, rng.choice([1, 1, 2, 3]) + 1):
        level = 2 * number - 1
        count = rng.randint(1, 7)
        parts += [PartName(level, "tread", n) for n in range(1, count + 1)]
        parts += [PartName(level, "landing nosing", 1)] * rng.randint(0, 1)
        parts += [PartName(level + 1, "landing board", n) for n in range(1, rng.choice([0, 0, 1, 2, 3]) + 1)]
        parts += [PartName(level, "riser", n) for n in range(1, rng.choice([0, 2]) + 1)]
        parts += [PartName(level, "nosing", n) for n in range(1, rng.choice([0, 0, count]) + 1)]
        parts += [PartName(level, "return", n, "left") for n in range(1, rng.choice([0, 0, count]) + 1)]
    jobs: list[Job] = []
    laid: dict[PartName, Laid] = {}
    done: list[PartName] = []
    start = dt.date(2026, 10, 1) + dt.timedelta(days=rng.randrange(200))  # over both changes of the clock
    for kinds in (("tread", "landing nosing", "return"), ("landing board",), ("riser",), ("nosing",)):
        mine = [part for part in parts if part.kind in kinds]
        away = rng.random() < 0.4
        coats = coats_of(rng)
        fresh = [part for part in mine if not away and rng.random() < rng.choice([0, 0, 0.3])]
        groups: dict[int, list[PartName]] = {}
        for part in fresh:
            groups.setdefault(rng.randint(1, len(coats)), []).append(part)
        for count, begun in groups.items():
            # Between a day and an hour before the first day.
            ended = dt.datetime.combine(start, dt.time()) - dt.timedelta(hours=rng.choice([1, 6, 30, 200]))
            after = Laid(coats[count - 1], ended, rubbed_out=rng.random() < 0.2)
            laid |= dict.fromkeys(begun, after)
            if coats[count:]:
                jobs.append(Job(begun, coats[count:], after=after))
            else:
                done += begun
        rest = [part for part in mine if part not in fresh]
        if rest:
            at_once = rng.choice([None, 1, 4]) if away else None
            jobs.append(Job(rest, coats, away=away, at_once=at_once))
    first = rng.choice([7.5, 8.0, 17.0, 0.0])
    hours = WorkHours(
        first, first + rng.choice([5, 7]), frozenset(rng.sample(range(7), rng.randint(1, 7))),
        zone=rng.choice([None, ZoneInfo("Europe/Vienna"), ZoneInfo("America/New_York")]),
    )  # fmt: skip
    fitted = rng.choice([0.5, 1.0, 3.0]), rng.choice([0.0, 12.0, 24.0]), rng.choice([0.0, 24.0, 48.0])
    work = Work(rng.choice([0.5, 1.0, 2.5]), rng.choice([0.0, 0.5, 2.0]), *fitted)
    return Made(parts, jobs, laid, hours, work, start, done)


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


@dataclass
class Simulation:
    """What is so in every minute, worked out of the events a plan tells and of the labels."""

    made: Made
    told: dict[str, Any]
    wrong: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.clock = Minutes(self.made)
        self.begin = self.clock.at(self.told["start"])
        last = max(self.clock.at(event["end"] or event["start"]) for event in self.told["events"]) + 1
        self.parts = {key_of(part): part for part in self.made.parts}
        self.job_of = {key_of(part): job for job in self.made.jobs for part in job.parts or ()}
        self.away = {key for key, job in self.job_of.items() if job.away}
        never = np.zeros(last, bool)
        self.wet = {key: never.copy() for key in self.parts}  # its own coat does not allow socks yet, or it is at work
        self.soft = {key: never.copy() for key in self.parts}  # not to be used: socks only
        self.gone = {key: never.copy() for key in self.parts}  # missing, or its adhesive not set
        self.fitted_at: dict[Key, int] = {}

    def spans(self, key: Key, *kinds: str) -> list[tuple[int, int]]:
        """Return from when to when something was done to a part."""
        mine = (event for event in self.told["events"] if event["kind"] in kinds and key in keys(event))
        return [(self.clock.at(event["start"]), self.clock.at(event["end"])) for event in mine]

    def run(self) -> list[str]:
        """Return all that is unsafe or untrue."""
        for key in self.parts:
            self.coated(key)
            self.fitted(key)
        for key in self.parts:  # a wet nosing closes the tread it is on, and so does one that is being fitted
            tread = (key[0], "tread", key[2], None)
            if key[1] == "nosing" and tread in self.parts:
                self.wet[tread] |= self.wet[key] & (key not in self.away)
                self.gone[tread] |= self.gone[key]
        self.moments()
        self.ways()
        return self.wrong

    def coated(self, key: Key) -> None:
        """Lay the coats of a part, each as its own label has it, and hold their windows."""
        job, laid, given = self.job_of.get(key), self.made.laid.get(self.parts[key]), self.spans(key, "coat")
        want = () if job is None else job.coats
        if len(given) != len(want):
            self.wrong.append(f"{key} gets {len(given)} coats, not {len(want)}")
            return
        coats = [] if laid is None else [(laid.coat, self.clock.at(laid.ended), self.clock.at(laid.ended))]
        coats += [(coat, *span) for coat, span in zip(want, given, strict=True)]
        for (below, _, ended), (above, start, _) in pairwise(coats):
            out = any(ended <= rub <= start for rub, _ in self.spans(key, "rub-out"))
            out |= laid is not None and laid.rubbed_out and ended == coats[0][2]
            self.in_window(key, below, above, start - ended, out=out)
        work = self.spans(key, "rub-out", "coat")
        if work:  # between its coats a part is at work, whatever may be stepped on
            self.wet[key][work[0][0] : work[-1][1]] = True
        under = () if laid is None else laid.below
        coats += [(each.coat, self.clock.at(each.ended), self.clock.at(each.ended)) for each in under]
        for coat, start, end in coats:
            socks, shoes = (round(60 * hours) for hours in (coat.times.socks, max(coat.times.use, coat.times.socks)))
            self.wet[key][max(start, 0) : max(end + socks, 0)] = True
            self.soft[key][max(start, 0) : max(end + shoes, 0)] = True

    def in_window(self, key: Key, below: Coat, above: Coat, waited: int, *, out: bool) -> None:
        """Hold one coat against the window of the coat below it; `waited` in minutes."""
        same = below.product == above.product
        least, most = below.times.recoat if same or below.times.under_other is None else below.times.under_other
        if waited < 60 * least - 1:
            self.wrong.append(f"{key}: coat {60 * least - waited:.0f} min too early")
        if most is not None and waited > 60 * most and not out and self.made.work.rub_out_h:
            self.wrong.append(f"{key}: coat too late, without a rub-out")

    def fitted(self, key: Key) -> None:
        """Take out the old part and fit the new one; old treads lie on the stair until then."""
        for start, end in self.spans(key, "fit"):
            self.fitted_at[key] = start
            self.gone[key][start : end + round(60 * self.made.work.set_h)] = True
            if (self.wet[key] & ~self.gone[key])[start:].any():
                self.wrong.append(f"{key} is carried and fitted before its own coat allows")
            self.wet[key][:start] = False

    def moments(self) -> None:
        """Tell parts that are said to be walked on or in use before their own coat, adhesive and place allow."""
        for event in self.told["events"]:
            if event["kind"] not in {"walk-on", "use"}:
                continue
            now, shoes = self.clock.at(event["start"]), event["kind"] == "use" or "socks" not in event["what"]
            for key in keys(event):
                if self.wet[key][now] or self.gone[key][now]:
                    self.wrong.append(f"{key} is {event['kind']} while wet or missing")
                if shoes and self.soft[key][now]:
                    self.wrong.append(f"{key} is {event['kind']} ({event['what']}) before its coat allows use")
                if key in self.away and now < self.fitted_at.get(key, now):
                    self.wrong.append(f"{key} is {event['kind']} before it is fitted")

    def ways(self) -> None:
        """Hold what is told of the way up against every minute and every night."""
        shut = {key: self.wet[key] | self.gone[key] for key in self.parts}
        steps = self.steps()
        if not steps:
            return
        closed = np.array([np.any([shut[key] for key in step], axis=0) for step in steps])[:, self.begin :]
        whole = np.array([step == [k for k in self.parts if k[:2] == step[0][:2]] for step in steps])
        whole &= np.array([step[0][1] == "landing board" for step in steps])  # a landing of one board
        stuck = (closed & whole[:, None]).any(axis=0) | (closed[1:] & closed[:-1]).any(axis=0)
        truth = np.where(stuck, 2, np.where(closed.any(axis=0), 1, 0))
        notes = " ".join(self.told["notes"])
        if (truth == 1).any() and "double step" not in notes:
            self.wrong.append("a double step, and nothing says so")
        if stuck.any() and "nothing leads past" not in notes and "No way leads up" not in notes:
            self.wrong.append("no way up, and nothing says so")
        said = np.zeros(len(truth), int)
        for way in self.told["ways"]:
            start, end = (self.clock.at(way[name]) - self.begin for name in ("start", "end"))
            said[start:end] = CLIMBS.index(way["climb"])
            for key in keys(way, "open"):
                if shut[key][start + self.begin : end + self.begin].any():
                    self.wrong.append(f"{key} is told open from {way['start']}, and is not")
        if (said < truth).any():
            self.wrong.append(f"minute {int(np.argmax(said < truth))}: told better than it is")
        # An hour that the clock shows twice is told as the whole of both; nothing else is told worse than it is.
        if (np.convolve(said > truth, np.ones(61), "valid") > 60).any():
            self.wrong.append(f"minute {int(np.argmax(said > truth))}: told worse than it is")
        self.nights(shut, truth)

    def nights(self, shut: dict[Key, Any], truth: Any) -> None:
        """Hold what is told of each night against its midnight."""
        for night in self.told["nights"]:
            midnight = self.clock.at(dt.datetime.fromisoformat(night["after"]) + dt.timedelta(days=1))
            lies = [key for key in keys(night, "open") if shut[key][midnight]]
            if lies or CLIMBS.index(night["climb"]) != truth[midnight - self.begin]:
                self.wrong.append(f"night after {night['after']}: told {night['climb']}, and open {lies}")

    def steps(self) -> list[list[Key]]:
        """Return what one steps on from the bottom up; a landing of several boards is two halves."""
        order = {kind: n for n, kind in enumerate(WAY)}
        walked = [key for key in self.parts if key[1] in WAY]
        walked.sort(key=lambda key: (self.parts[key].level, order[key[1]], key[2]))
        found: list[list[Key]] = []
        for key in walked:
            boards = [each for each in walked if each[:2] == key[:2]] if key[1] == "landing board" else []
            if boards and boards.index(key) not in {0, len(boards) // 2}:
                found[-1].append(key)
            else:
                found.append([key])
        return found


def keys(told: dict[str, Any], name: str = "parts") -> list[Key]:
    """Return the parts that a piece of the document names."""
    return [(each["flight"], each["kind"], each["number"], each["side"]) for each in told[name]]


def simulate(made: Made, told: dict[str, Any]) -> list[str]:
    """Return all that is unsafe or untrue in what a plan tells, worked out minute by minute."""
    return Simulation(made, told).run()


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
    """No part is used, walked on or carried before its own coat allows, and each minute has its way up told."""
    found = [(seed, *tried(seed)) for seed in range(first, first + 50)]
    assert sum(planned for _, _, planned in found) > 25
    wrong = [f"plan {seed}: {sentence}" for seed, sentences, _ in found for sentence in sentences[:2]]
    assert not wrong, "\n".join(wrong[:10])


def test_the_example_uses_no_tread_before_its_coat_allows(run: Run, tmp_path: Path) -> None:
    """In `plan example` treads are fitted 48 h after their last coat, whose label asks for 3 days: socks until then."""
    file = tmp_path / "stair.toml"
    file.write_text(run("plan", "example").stdout, encoding="utf-8")
    told = json.loads(run("plan", "calendar", "--from", file, "--zone", "UTC", "--json").stdout)

    def when(part: Key, kind: str, end: str = "start") -> list[dt.datetime]:
        mine = [event for event in told["events"] if event["kind"] == kind and part in keys(event)]
        return [dt.datetime.fromisoformat(event[end]) for event in mine]

    treads = {key for event in told["events"] for key in keys(event) if key[1] == "tread"}
    assert len(treads) == 12
    for tread in treads:
        (fitted,), (used,) = when(tread, "fit"), when(tread, "use")
        hard = max(when(tread, "coat", "end"))
        assert fitted >= hard + dt.timedelta(hours=48)
        assert used >= hard + dt.timedelta(days=3)
        assert used >= max(when(tread, "fit", "end")) + dt.timedelta(hours=24)
    walked = [
        event for event in told["events"] if event["kind"] == "walk-on" and "tread" in {k[1] for k in keys(event)}
    ]
    for event in walked:
        early = any(when(key, "use")[0] > dt.datetime.fromisoformat(event["start"]) for key in keys(event))
        assert ("socks" in event["what"]) == early


def test_the_simulation_sees_what_is_wrong() -> None:
    """A plan that is meddled with is found out: a use too early, a missing sentence, a lost coat, no ways."""
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
