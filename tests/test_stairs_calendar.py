"""The calendar of the stair: always a way up, every recoat window kept, whatever the stair and the products."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishlab.coatings import COATINGS
from finishlab.errors import UsageError
from finishlab.plan.calendar import Calendar, Event, Job, Work, nights, plan_calendar
from finishlab.plan.drying import Coat, Times, WorkHours, default_coat, gap_rules, parse_days, parse_hours
from finishlab.plan.parts import WALKED_ON, way_up
from finishlab.stair.names import PartName, named

START: Final = dt.date(2026, 12, 1)
STAIN: Final = default_coat("oil stain")
TOPCOAT: Final = default_coat("water polyurethane")
ROUND_THE_CLOCK: Final = WorkHours(0, 24)


def treads(count: int, level: int = 1) -> list[PartName]:
    """Return a flight's treads."""
    return [PartName(level, "tread", place) for place in range(1, count + 1)]


# -- random stairs, products and working hours


@st.composite
def stairs(draw: st.DrawFn) -> list[PartName]:
    """One to three flights with landings of none to four boards, top nosings and risers or not."""
    parts = []
    for number in range(1, draw(st.integers(1, 3)) + 1):
        level = 2 * number - 1
        parts += treads(draw(st.integers(1, 9)), level)
        parts += [PartName(level + 1, "landing board", n + 1) for n in range(draw(st.integers(0, 4)))]
        if draw(st.booleans()):
            parts.append(PartName(level, "landing nosing", 1))
        if draw(st.booleans()):
            parts += [PartName(level, "riser", n) for n in (1, 2)]
        if draw(st.booleans()):
            parts += [PartName(level, "return", n, side) for n in (1, 2) for side in ("left", "right")]
    return parts


@st.composite
def coats(draw: st.DrawFn) -> tuple[Coat, ...]:
    """One to five coats of one to three products, with windows that end or do not."""
    found: list[Coat] = []
    for number in range(draw(st.integers(1, 3))):
        least = draw(st.sampled_from([0.5, 1, 2, 4, 12, 24, 48]))
        width = draw(st.sampled_from([None, 0.0, 1.5, 6.0, 24.0, 200.0]))
        window = (least, None if width is None else least + width)
        times = Times(
            recoat=window,
            under_other=draw(st.sampled_from([None, (24.0, 72.0), (3.0, None)])),
            late=draw(st.sampled_from([None, 72.0, 24.0])),
            rub_out=draw(st.booleans()),
            socks=draw(st.sampled_from([0, 4, 24, 30.5])),
            use=draw(st.sampled_from([24, 72])),
            cure=draw(st.sampled_from([168, 720])),
        )
        found += [Coat(f"product {number}", times)] * draw(st.integers(1, 2))
    return tuple(found)


@st.composite
def plans(draw: st.DrawFn) -> dict[str, Any]:
    """All that a calendar is made from."""
    first = draw(st.sampled_from([0.0, 7.5, 8.0, 17.0]))
    kinds = [("tread", "landing nosing", "return"), ("landing board",), ("riser",)]
    parts = draw(stairs())
    groups = [[part for part in parts if part.kind in each] for each in kinds]
    return {
        "parts": parts,
        "jobs": [
            Job(mine, draw(coats()), away=draw(st.booleans()), at_once=draw(st.sampled_from([None, 1, 4])))
            for mine in groups
        ],
        "start": draw(st.dates(dt.date(2024, 1, 1), dt.date(2030, 12, 31))),
        "hours": WorkHours(
            first,
            draw(st.sampled_from([first + 5, first + 7])),
            frozenset(draw(st.sets(st.integers(0, 6), min_size=1))),
            frozenset({dt.date(2026, 12, 25)}),
        ),
        "work": Work(
            draw(st.sampled_from([0.5, 1.0, 2.5])),
            draw(st.sampled_from([0.0, 0.5, 2.0])),
            draw(st.sampled_from([0.5, 1.0, 3.0])),
            draw(st.sampled_from([0.0, 12.0, 24.0])),
        ),
    }


def planned(given_: dict[str, Any]) -> Calendar | None:
    """Return the calendar, or None where the products cannot be applied in these hours, which must be said."""
    rest = {name: value for name, value in given_.items() if name not in ("parts", "jobs", "start")}
    try:
        return plan_calendar(given_["parts"], given_["jobs"], given_["start"], **rest)
    except UsageError as refused:
        if refused.code in ("no-recoat-slot", "day-too-short"):
            return None
        raise


def closed_spans(calendar: Calendar, part: PartName, *, away: bool) -> list[tuple[dt.datetime, dt.datetime]]:
    """Return when a part cannot be stepped on, worked out from its events alone."""
    opening = "fit" if away else "coat"
    spans = []
    for event in calendar.of(part):
        if event.kind == "walk-on":
            begun = [each.start for each in calendar.of(part) if each.kind == opening]
            spans.append((min(begun), event.start))
    return spans


def overlap(one: tuple[dt.datetime, dt.datetime], other: tuple[dt.datetime, dt.datetime]) -> bool:
    """Return whether two spans share a moment."""
    return one[0] < other[1] and other[0] < one[1]


@settings(max_examples=150)
@given(plans())
def test_two_neighbours_are_never_closed_together(plan: dict[str, Any]) -> None:
    """From whatever stair, products and hours: no two neighbours on the way up are unwalkable at one moment."""
    calendar = planned(plan)
    if calendar is None:
        return
    away = {kind: job.away for job in plan["jobs"] for kind in job.kinds}
    spans = [
        [span for part in step.parts for span in closed_spans(calendar, part, away=away[part.kind])]
        for step in way_up(plan["parts"])
    ]
    assert all(spans), "every step that is walked on is closed once and opened again"
    for one, other in itertools.pairwise(spans):
        assert not any(overlap(a, b) for a in one for b in other)


@settings(max_examples=150)
@given(plans())
def test_a_landing_that_blocks_is_closed_alone(plan: dict[str, Any]) -> None:
    """While a landing of one piece is closed no other step is."""
    calendar = planned(plan)
    if calendar is None:
        return
    away = {kind: job.away for job in plan["jobs"] for kind in job.kinds}
    steps = [
        (step, closed_spans(calendar, part, away=away[part.kind]))
        for step in way_up(plan["parts"])
        for part in step.parts
    ]
    for step, spans in steps:
        if step.blocks:
            others = [span for other, found in steps if other is not step for span in found]
            assert not any(overlap(a, b) for a in spans for b in others)


@settings(max_examples=150)
@given(plans())
def test_no_recoat_window_is_broken(plan: dict[str, Any]) -> None:
    """Each coat follows the one before within its window, or, where the product allows, late and after a rub-out."""
    calendar = planned(plan)
    if calendar is None:
        return
    for part in plan["parts"]:
        (job,) = (job for job in plan["jobs"] if part.kind in job.kinds)
        events = calendar.of(part)
        given_coats = [event for event in events if event.kind == "coat"]
        assert len(given_coats) == len(job.coats)
        rubbed = [event for event in events if event.kind == "rub-out"]
        for (before, after), (earlier, later) in zip(
            itertools.pairwise(job.coats), itertools.pairwise(given_coats), strict=True
        ):
            assert earlier.end is not None
            assert keeps(before, after, earlier, later, rubbed)


def keeps(before: Coat, after: Coat, earlier: Event, later: Event, rubbed: list[Event]) -> bool:
    """Return whether the wait between two coats is one the label allows, with its rub-out between them."""
    assert earlier.end is not None
    waited = (later.start - earlier.end) / dt.timedelta(hours=1)
    between = [each for each in rubbed if each.end == later.start and each.start >= earlier.end]
    same = before.product == after.product
    least, most = before.times.recoat if same else before.times.under_other or before.times.recoat
    if waited >= least and (most is None or waited <= most):
        return not before.times.rub_out or bool(between)
    late = before.times.late
    return late is not None and waited >= late and bool(between)


@settings(max_examples=150)
@given(plans())
def test_work_is_done_by_day_one_thing_at_a_time_and_no_step_stays_open(plan: dict[str, Any]) -> None:
    """All work lies in working hours of one day, nothing overlaps, so a step that is open is closed the same day."""
    calendar = planned(plan)
    if calendar is None:
        return
    work = [event for event in calendar.events if event.is_work]
    for event in work:
        assert event.end is not None
        hours = plan["hours"].window(event.start.date())
        assert hours is not None
        assert hours[0] <= event.start <= event.end <= hours[1]
    for one, other in itertools.pairwise(work):
        assert one.end is not None
        assert one.end <= other.start
    for each in calendar.closed:
        assert not each.open_step or each.end <= dt.datetime.combine(each.start.date(), dt.time()) + dt.timedelta(
            days=1
        )


@settings(max_examples=60)
@given(plans())
def test_the_same_figures_give_the_same_calendar(plan: dict[str, Any]) -> None:
    """Planning twice, and from parts in another order, gives one calendar, part for part."""
    calendar = planned(plan)
    assert calendar == planned(plan)
    turned = planned({**plan, "parts": plan["parts"][::-1]})
    if calendar is None or turned is None:
        assert calendar is turned
        return
    for part in plan["parts"]:
        if part.kind in WALKED_ON:
            assert calendar.of(part) or part.kind == "riser"
            assert [(e.kind, e.start, e.end) for e in calendar.of(part)] == [
                (e.kind, e.start, e.end) for e in turned.of(part)
            ]


@settings(max_examples=100)
@given(plans())
def test_each_night_leaves_a_way_up(plan: dict[str, Any]) -> None:
    """Each night names what is closed and what is open: together all steps, and never two neighbours closed."""
    calendar = planned(plan)
    if calendar is None:
        return
    steps = way_up(plan["parts"])
    for night in nights(calendar).values():
        assert set(night.closed) | set(night.open) == {part for step in steps for part in step.parts}
        assert not set(night.closed) & set(night.open)
        shut = [bool(set(step.parts) & set(night.closed)) for step in steps]
        assert not any(one and other for one, other in itertools.pairwise(shut))


# -- known cases


def test_alternate_treads_wait_as_the_rule_of_thumb_says() -> None:
    """Working round the clock, waits make up no more than 2 (stain dry + coats x recoat + walk-on) (arithmetic)."""
    calendar = plan_calendar(treads(13), [Job(treads(13), (STAIN, *[TOPCOAT] * 3))], START, hours=ROUND_THE_CLOCK)
    rule = 2 * (72 + 3 * 4 + 24)
    last = max(event.start for event in calendar.events if event.kind == "walk-on")
    work = sum((e.end - e.start for e in calendar.events if e.is_work and e.end), dt.timedelta())
    waited = (last - calendar.events[0].start - work) / dt.timedelta(hours=1)
    assert waited == 2 * (72 + 2 * 4 + 24)
    assert waited <= rule


def test_every_second_tread_is_done_first() -> None:
    """Of five treads 1, 3 and 5 are coated first; 2 and 4 begin when those are walked on in socks."""
    calendar = plan_calendar(treads(5), [Job(treads(5), (TOPCOAT,))], START)
    first, second = (event for event in calendar.events if event.kind == "coat")
    assert [part.place for part in first.parts] == [1, 3, 5]
    assert [part.place for part in second.parts] == [2, 4]
    assert first.end is not None
    assert second.start >= first.end + dt.timedelta(hours=TOPCOAT.times.socks)


def test_treads_finished_away_close_only_to_be_fitted() -> None:
    """Treads finished away are coated together, wait 48 h, and are swapped one by one, 1, 3, 5 before 2, 4."""
    calendar = plan_calendar(treads(5), [Job(treads(5), (TOPCOAT,), away=True)], START)
    (coat,) = (event for event in calendar.events if event.kind == "coat")
    fits = [event for event in calendar.events if event.kind == "fit"]
    assert len(coat.parts) == 5
    assert coat.end is not None
    assert fits[0].start >= coat.end + dt.timedelta(hours=48)
    assert [event.parts[0].place for event in fits] == [1, 3, 5, 2, 4]
    assert not nights(calendar)


def test_a_window_that_closes_at_night_moves_the_coat_before() -> None:
    """With a window of 6 to 8 h and work from 8 to 18, a first coat given late is given the next morning instead."""
    coat = Coat("p", Times(recoat=(6, 8), socks=24, use=72, cure=720))
    late = WorkHours(8, 18, off=frozenset())
    calendar = plan_calendar(treads(1), [Job(treads(1), (coat, coat, coat))], START, hours=WorkHours(6, 22))
    starts = [event.start.hour for event in calendar.events if event.kind == "coat"]
    assert starts == [6, 13, 20]
    with pytest.raises(UsageError) as refused:
        plan_calendar(treads(1), [Job(treads(1), (coat, coat, coat))], START, hours=late)
    assert refused.value.code == "no-recoat-slot"
    assert "working hours" in refused.value.hint


def test_a_missed_window_is_mended_by_a_rub_out() -> None:
    """Where the label allows a late coat after a rub-out, one is planned, and the missed window told."""
    coat = Coat("p", Times(recoat=(2, 3), late=24, socks=24, use=72, cure=720))
    assert [gap.late for gap in gap_rules(coat, coat)] == [False, True]
    calendar = plan_calendar(treads(1), [Job(treads(1), (coat, coat))], START, hours=WorkHours(8, 10))
    kinds = [event.kind for event in calendar.events]
    assert kinds[:4] == ["coat", "recoat", "rub-out", "coat"]
    assert "missed" in calendar.events[1].what


def test_the_rub_out_counts_into_the_window() -> None:
    """Dry after 2 h, to be recoated within 3: rubbing out for 1.5 h comes too late, for 1 h it does not."""
    coat = Coat("p", Times(recoat=(2, 3), rub_out=True, socks=24, use=72, cure=720))
    job = [Job(treads(1), (coat, coat))]
    with pytest.raises(UsageError) as refused:
        plan_calendar(treads(1), job, START, work=Work(rub_out_h=1.5))
    assert refused.value.code == "no-recoat-slot"
    calendar = plan_calendar(treads(1), job, START, work=Work(rub_out_h=1.0))
    assert [event.kind for event in calendar.events][:4] == ["coat", "recoat", "rub-out", "coat"]


def test_days_off_are_kept() -> None:
    """Nothing is done on Sundays, nor on a day off."""
    hours = WorkHours(8, 18, parse_days(["mon-sat"]), frozenset({dt.date(2026, 12, 4)}))
    calendar = plan_calendar(treads(4), [Job(treads(4), (STAIN, TOPCOAT, TOPCOAT))], START, hours=hours)
    days = {event.start.date() for event in calendar.events if event.is_work}
    assert dt.date(2026, 12, 4) not in days
    assert all(day.weekday() != 6 for day in days)


def test_bare_stain_and_a_blocking_landing_are_told() -> None:
    """A plan that ends in stain, and a landing that nothing leads past, come with a note."""
    parts = [*treads(2), PartName(2, "landing board", 1)]
    calendar = plan_calendar(parts, [Job(parts, (STAIN,))], START)
    assert any("Landing 1 is one piece" in note for note in calendar.notes)
    assert any("bare stain" in note for note in calendar.notes)


@pytest.mark.parametrize("kind", [each.kind for each in COATINGS.values() if each.usual is not None])
def test_default_times_are_the_cautious_end(kind: str) -> None:
    """Without a label the longer wait of each range is planned, and no window ends (common practice, no source)."""
    times = default_coat(kind).times
    assert times.recoat == (COATINGS[kind].figures.recoat_h[1], None)
    assert times.cure == COATINGS[kind].figures.cure_d[1] * 24


@pytest.mark.parametrize(("text", "hours"), [("8-18", (8, 18)), ("7:30-17:00", (7.5, 17)), ("0 to 24", (0, 24))])
def test_hours_and_days_are_read(text: str, hours: tuple[float, float]) -> None:
    """Hours come as 8-18 or 7:30-17:00, days as mon-fri or sat, also over the week's end."""
    assert parse_hours(text) == hours
    assert parse_days(["mon-wed, sat"]) == {0, 1, 2, 5}
    assert parse_days(["fri-mon"]) == {4, 5, 6, 0}


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: parse_hours("early"), "bad-hours"),
        (lambda: parse_days(["someday"]), "bad-day"),
        (lambda: WorkHours(18, 8), "bad-hours"),
        (lambda: WorkHours(8.25, 18), "bad-hours"),
        (lambda: WorkHours(8, 18, frozenset()), "no-working-day"),
        (lambda: Times(recoat=(4, 2), socks=1, use=1, cure=1), "bad-times"),
        (lambda: Times(recoat=(4, None), socks=-1, use=1, cure=1), "bad-times"),
        (lambda: Work(fit_h=0), "bad-times"),
        (lambda: Job(treads(1), (STAIN,), at_once=0), "bad-count"),
        (lambda: plan_calendar(treads(1), [Job(treads(1), (STAIN,))], dt.date(9999, 1, 1)), "bad-date"),
        (lambda: plan_calendar(treads(1), [Job([PartName(1, "riser", 1)], (STAIN,))], START), "nothing-to-do"),
        (lambda: plan_calendar(treads(1), [Job(treads(1), ())], START), "no-coats"),
        (lambda: plan_calendar(treads(1), [Job(treads(1), (STAIN,))], START, work=Work(coat_h=11)), "day-too-short"),
    ],
)
def test_impossible_plans_are_refused(call: object, code: str) -> None:
    """Each figure that cannot be meant is refused by name, with what to give instead."""
    assert callable(call)
    with pytest.raises(UsageError) as refused:
        call()
    assert refused.value.code == code
    assert refused.value.hint


def test_a_return_is_coated_with_its_tread() -> None:
    """A tread's returns get each coat with it; a return whose tread is finished elsewhere comes before the steps."""
    returns = [PartName(1, "return", place, side) for place in (1, 2) for side in ("left", "right")]
    parts = [*treads(4), *returns]
    together = plan_calendar(parts, [Job(parts, (STAIN, TOPCOAT))], START)
    for each in returns:
        tread = next(part for part in parts if part.kind == "tread" and part.place == each.place)
        assert [e.start for e in together.of(each) if e.kind == "coat"] == [
            e.start for e in together.of(tread) if e.kind == "coat"
        ]
    apart = plan_calendar(parts, [Job(treads(4), (STAIN,), away=True), Job(returns, (STAIN,))], START)
    assert {e.parts for e in apart.events if e.kind == "coat"} == {tuple(returns), tuple(treads(4))}


def test_parts_of_two_sides_are_named_side_by_side() -> None:
    """Numbers in a row are told as a run, each side for itself."""
    sides = [PartName(1, "return", place, side) for place in (1, 2, 3, 5) for side in ("left", "right")]
    assert named(sides, several=False) == "returns 1 to 3, 5 left, 1 to 3 and 5 right"
