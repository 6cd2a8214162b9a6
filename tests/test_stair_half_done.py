"""Stairs that are half done are planned on safely: as logged, held minute by minute by the simulation of all plans.

A stair is made up with recipes, cans whose labels say every hour, and what was done to each part: coats, rub-outs,
sanding, fitting. It is logged, read again and planned by the real ways; what is wet, missing and hard is worked out of
what was made up, by `test_stair_days.Simulation`, which knows nothing of logbooks.
"""

from __future__ import annotations

import datetime as dt
import random
import sys
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import pytest
from test_stair_days import Made, Simulation, key_of

from finishlab.errors import UsageError
from finishlab.finish import ColourStep, Finish, Topcoat
from finishlab.logbook.store import Logbook
from finishlab.plan.calendar import Job, Work
from finishlab.plan.days import calendar_document
from finishlab.plan.drying import Coat, Laid, Times, WorkHours
from finishlab.plan.logged import logged_plan
from finishlab.plan.stair_plan import calendar_of
from finishlab.recipe import Can, Label, Recipe
from finishlab.stair.names import PartName
from finishlab.stair.records import Conditions, Flight, Part, PartEvent

IN_CI: Final = 60
"""Random stairs at every run of the tests; ``python tests/test_stair_half_done.py 1000`` makes more."""
START: Final = dt.date(2024, 6, 17)
AWAY: Final = ("tread", "return")
KINDS: Final = {"stain": "oil stain", "topcoat": "water polyurethane 1-part"}
RUBBED: Final = {"stain": False, "topcoat": True}
"""Whether a coat of these kinds is rubbed out before the next: as `finishlab.coatings` has it, common practice."""
EVENING: Final = dt.time(18)
"""When a coat was given whose hour is not logged, as docs/plan.md says it is taken."""


@dataclass
class Logged:
    """A stair made up: what is logged, and what the simulation is to know."""

    events: list[tuple[int, PartEvent]] = field(default_factory=list)
    """Place of the part in `parts`, and what was done to it."""
    parts: list[Part] = field(default_factory=list)
    cans: list[tuple[str, Label]] = field(default_factory=list)
    topcoats: dict[int, int] = field(default_factory=dict)
    """Recipe -> how many topcoats it has; each has one coat of stain."""
    made: Made | None = None
    away: bool = False


def label_of(rng: random.Random) -> Label:
    """Return a label that says all its hours."""
    least = rng.choice([2.0, 4.0, 12.0, 24.0])
    return Label(
        recoat_h=least,
        recoat_within_h=rng.choice([None, None, least + 24.0, least + 200.0]),
        recoat_other_h=least + rng.choice([0.0, 8.0, 24.0]),
        walk_on_h=rng.choice([3.0, 12.0, 24.0, 60.0, 100.0]),
        use_h=rng.choice([24.0, 72.0, 150.0]),
        cure_d=rng.choice([7.0, 30.0]),
    )


def coat_of(step: str, label: Label) -> Coat:
    """Return a coat as its label has it: another product's hours end with the label's window, where that is later."""
    within, other = label.recoat_within_h, label.recoat_other_h or 0.0
    times = Times(
        recoat=(label.recoat_h or 0.0, within),
        socks=label.walk_on_h or 0.0,
        use=label.use_h or 0.0,
        cure=(label.cure_d or 0.0) * 24,
        under_other=(other, within if within is not None and within > other else None),
        rub_out=RUBBED[step],
    )
    return Coat(step, times)


def made_up(seed: int) -> Logged:
    """Return a random stair, each part with as many of its coats as it happens to have."""
    rng = random.Random(seed)  # noqa: S311 - no secret
    out = Logged(away=rng.random() < 0.4)
    out.cans = [("stain", label_of(rng)), ("topcoat", label_of(rng)), ("topcoat", label_of(rng))]
    out.topcoats = {1: rng.randint(1, 3), 2: rng.randint(1, 3)}
    recipe = rng.choice([1, 2])
    for flight in (1, 2)[: rng.choice([1, 1, 2])]:
        count = rng.randint(2, 6)
        out.parts += [Part(2 * flight - 1, "tread", n, recipe_number=recipe) for n in range(1, count + 1)]
        boards = rng.choice([0, 1, 2, 4])
        out.parts += [Part(2 * flight, "landing board", n, recipe_number=3 - recipe) for n in range(1, boards + 1)]
        more = rng.choice([0, 0, count])
        out.parts += [Part(2 * flight - 1, "nosing", n, recipe_number=recipe) for n in range(1, more + 1)]
        out.parts += [Part(2 * flight - 1, "riser", 1, recipe_number=3 - recipe)] * rng.randint(0, 1)
    work = Work(set_h=rng.choice([0.0, 24.0]))
    out.made = Made([], [], {}, WorkHours(8.0, rng.choice([14.0, 18.0])), work, START)
    for place, part in enumerate(out.parts):
        _work(rng, out, place, part)
    return out


def _work(rng: random.Random, out: Logged, place: int, part: Part) -> None:
    """Make up what was done to a part, and tell the simulation what that comes to."""
    assert out.made is not None
    mine = PartName(part.flight_number, part.kind, part.place, part.side)
    layers = [("stain", 1), *(("topcoat", n) for n in range(1, out.topcoats[part.recipe_number or 1] + 1))]
    usual = {"stain": 0, "topcoat": 1}
    done = rng.choice([0, 0, 1, len(layers), rng.randint(0, len(layers))])
    moment = dt.datetime.combine(START, dt.time(20)) - dt.timedelta(hours=rng.choice([26, 40, 90, 300]))
    given: list[tuple[str, int, int, dt.datetime, bool]] = []
    for step, number in reversed(layers[:done]):
        can = 2 if step == "topcoat" and rng.random() < 0.2 else usual[step]
        timed = rng.random() < 0.8
        when = moment if timed else dt.datetime.combine(moment.date(), EVENING)
        given.append((step, number, can, when, timed))
        moment -= dt.timedelta(hours=rng.choice([25, 49, 200]))
    given.reverse()
    if rng.random() < 0.2:  # what was on before it was sanded counts no longer
        out.events.append(
            (place, PartEvent("coat", START - dt.timedelta(days=60), "topcoat", 1, part.recipe_number, 2))
        )
        out.events.append((place, PartEvent("sanded", START - dt.timedelta(days=50))))
    for step, number, can, when, timed in given:
        how = Conditions(time=f"{when:%H:%M}") if timed else Conditions()
        coat = PartEvent("coat", when.date(), step, number, part.recipe_number, can + 1, conditions=how)  # type: ignore[arg-type]  # a step
        out.events.append((place, coat))
    rubbed = bool(given) and rng.random() < 0.3
    if rubbed:
        out.events.append((place, PartEvent("rubbed out", START - dt.timedelta(days=1))))
    fitted = bool(given) and rng.random() < 0.3
    if fitted:
        out.events.append((place, PartEvent("fitted", START - dt.timedelta(days=1))))
    coats = [Laid(coat_of(step, out.cans[can][1]), when) for step, _, can, when, _ in given]
    laid = replace(coats[-1], rubbed_out=rubbed, below=tuple(coats[:-1])) if coats else None
    left = tuple(coat_of(step, out.cans[usual[step]][1]) for step, _ in layers[done:])
    away = out.away and part.kind in AWAY and not fitted
    out.made.parts.append(mine)
    if laid is not None:
        out.made.laid[mine] = laid
    if left or (away and laid is not None):
        out.made.jobs.append(Job((mine,), left, away=away, after=laid))


def planned(out: Logged, folder: Path) -> dict[str, Any]:
    """Log a stair, read it again, and return what its plan prints as JSON."""
    assert out.made is not None
    with Logbook.open(folder) as log:
        for number, (step, label) in enumerate(out.cans, start=1):
            log.add_can(Can(KINDS[step], f"{step} {number}", label=label))
        for number, topcoats in out.topcoats.items():
            steps = (ColourStep("oil", colour="honey", can_number=1),)
            finish = Finish(
                steps=steps, topcoat=Topcoat(KINDS["topcoat"], product="satin", coats=topcoats, can_number=2)
            )
            log.add_recipe(Recipe(f"recipe {number}", finish))
        levels = sorted({part.flight_number for part in out.parts} | {1})
        flights = {n: Flight("flight", risers=9) if n % 2 else Flight("landing") for n in levels}
        log.add_flights(flights, out.parts)
        stair = {(p.record.flight_number, p.record.kind, p.record.place): p.ident for p in log.stair().parts}
        idents = [stair[part.flight_number, part.kind, part.place] for part in out.parts]
        events = sorted(out.events, key=lambda each: each[1].date)
        log.log_events([(idents[place], event) for place, event in events])
        plan = logged_plan(log, sized=False)
    plan = replace(plan, start=START, hours=out.made.hours, work=out.made.work, away=AWAY if out.away else (), us=False)
    return dict(calendar_document(plan, calendar_of(plan), ()).data)


def tried(seed: int, folder: Path) -> tuple[list[str], bool]:
    """Return what is wrong with the plan of a random stair, and whether it could be planned at all."""
    out = made_up(seed)
    try:
        told = planned(out, folder)
    except UsageError as refused:
        if refused.code in {"no-recoat-slot", "nothing-to-do", "all-done"}:
            return [], False
        raise
    assert out.made is not None
    assert {key_of(part) for part in out.made.parts} >= {
        (each["flight"], each["kind"], each["number"], each["side"])
        for event in told["events"]
        for each in event["parts"]
    }
    return Simulation(out.made, told).run(), True


@pytest.mark.parametrize("first", range(0, IN_CI, 20))
def test_half_done_stairs_are_planned_safely(first: int, tmp_path: Path) -> None:
    """Whatever is logged, no part is coated, walked on, used or carried before each coat on it allows, nor too late."""
    found = [(seed, *tried(seed, tmp_path / f"{seed}")) for seed in range(first, first + 20)]
    assert sum(could for _, _, could in found) > 8
    wrong = [f"stair {seed}: {sentence}" for seed, sentences, _ in found for sentence in sentences[:2]]
    assert not wrong, "\n".join(wrong[:10])


if __name__ == "__main__":
    count, bad, planned_ones = int(sys.argv[1]) if len(sys.argv) > 1 else IN_CI, 0, 0
    for each in range(count):
        with tempfile.TemporaryDirectory() as made_in:
            sentences, was = tried(each, Path(made_in) / "log")
        planned_ones += was
        bad += bool(sentences)
        if sentences and bad <= 20:
            sys.stdout.write(f"{each}: {sentences[:3]}\n")
    sys.stdout.write(f"{count} stairs, {planned_ones} could be planned, {bad} with something wrong\n")
