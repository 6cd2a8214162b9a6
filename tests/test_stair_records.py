"""Flights, parts and what was done to them, as people write them down."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.errors import UsageError
from finishlab.stair.names import PART_KINDS, SIDED, SIDES
from finishlab.stair.records import COAT_STEPS, EVENT_KINDS, Flight, Part, PartEvent, PartSizes

DAY = dt.date(2024, 5, 31)
INCH = 25.4


def code_of(made: object) -> str:
    """Return the code with which a record refuses its values."""
    with pytest.raises(UsageError) as refused:
        made()  # type: ignore[operator]  # a function without parameters
    assert refused.value.hint
    return refused.value.code


def test_a_flight_has_one_tread_fewer_than_risers() -> None:
    """Treads are risers less one; a landing has neither."""
    assert Flight(risers=14).treads == 13
    assert Flight("landing").treads is None


def test_the_back_width_of_an_out_of_square_tread() -> None:
    """B = F - D (cot aL + cot aR): F 36, D 10.5, angles 89.0 and 90.5 degrees give 35.908 in (plane geometry)."""
    sizes = PartSizes(front=36 * INCH, depth=10.5 * INCH, left_angle=89.0, right_angle=90.5)
    assert sizes.back_width is not None
    assert round(sizes.back_width / INCH, 3) == 35.908
    assert sizes.out_of_square


def test_a_measured_back_edge_wins_over_the_angles() -> None:
    """The back edge as it was measured is kept, and what the angles give stays at hand for comparison."""
    sizes = PartSizes(front=914, back=900, depth=292, left_angle=90, right_angle=90)
    assert sizes.back_width == 900
    assert sizes.back_by_angles == pytest.approx(914)


def test_a_square_tread() -> None:
    """Without back and angles the back is as wide as the front, and without a front nothing is known of it."""
    assert PartSizes(front=914, depth=292).back_width == 914
    assert not PartSizes(front=914, depth=292).out_of_square
    assert PartSizes(depth=292).back_width is None
    assert PartSizes(depth=292, left_angle=80).back_by_angles is None


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"front": 0}, "size-out-of-range"),
        ({"depth": -1}, "size-out-of-range"),
        ({"thickness": 10_000}, "size-out-of-range"),
        ({"front": float("nan")}, "size-out-of-range"),
        ({"left_angle": 20}, "angle-out-of-range"),
        ({"right_angle": 161}, "angle-out-of-range"),
        ({"front": 100, "depth": 300, "left_angle": 45, "right_angle": 45}, "no-back-width"),
    ],
)
def test_sizes_that_cannot_be_are_refused(values: dict[str, Any], code: str) -> None:
    """A size of nothing or less, a corner that is none, or corners that leave no back edge are refused."""
    assert code_of(lambda: PartSizes(**values)) == code


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"kind": "step"}, "unknown-part-kind"),
        ({"place": 0}, "place-out-of-range"),
        ({"place": True}, "place-out-of-range"),
        ({"side": "left"}, "part-without-side"),
        ({"kind": "skirt", "side": "inner"}, "unknown-side"),
        ({"species": "x" * 201}, "text-too-long"),
    ],
)
def test_parts_that_cannot_be_are_refused(values: dict[str, object], code: str) -> None:
    """A part of an unknown kind, without a place, or at a side it cannot have is refused."""
    made = {"flight_number": 1, "kind": "tread", "place": 7} | values
    assert code_of(lambda: Part(**made)) == code  # type: ignore[arg-type]  # wrong values on purpose


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"kind": "painted"}, "unknown-event-kind"),
        ({"kind": "coat"}, "coat-without-step"),
        ({"kind": "coat", "step": "stain"}, "coat-without-step"),
        ({"kind": "coat", "step": "wax", "coat": 1}, "unknown-step"),
        ({"kind": "coat", "step": "stain", "coat": 9}, "coat-out-of-range"),
        ({"kind": "sanded", "coat": 1}, "event-without-coat"),
        ({"kind": "note", "note": "  "}, "empty-note"),
        ({"kind": "sanded", "date": dt.date.max}, "future-date"),
        ({"kind": "sanded", "date": "May"}, "bad-date"),
        ({"kind": "sanded", "faces": "x" * 101}, "text-too-long"),
    ],
)
def test_events_that_cannot_be_are_refused(values: dict[str, object], code: str) -> None:
    """What nobody can have done, or not on that day, is refused."""
    assert code_of(lambda: PartEvent(**values)) == code  # type: ignore[arg-type]  # wrong values on purpose


def test_flights_that_cannot_be_are_refused() -> None:
    """A landing has no risers, and a flight at least one."""
    assert code_of(lambda: Flight("landing", risers=2)) == "landing-with-risers"
    assert code_of(lambda: Flight(risers=0)) == "risers-out-of-range"
    assert code_of(lambda: Flight("ramp")) == "unknown-flight-kind"  # type: ignore[arg-type]  # on purpose


def test_texts_are_tidied() -> None:
    """White space is collapsed and empty text turned to None."""
    part = Part(1, "tread", 7, species="  red   oak ", fixing=" ", note="left end\n  short ")
    assert (part.species, part.fixing, part.note) == ("red oak", None, "left end\nshort")
    event = PartEvent("coat", "2024-05-31", "stain", 1, faces=" top  and edges")  # type: ignore[arg-type]  # text is taken
    assert (event.date, event.faces) == (DAY, "top and edges")


sizes = st.builds(
    PartSizes,
    front=st.none() | st.floats(500, 2000),
    depth=st.none() | st.floats(100, 400),
    left_angle=st.none() | st.floats(60, 120),
    right_angle=st.none() | st.floats(60, 120),
    thickness=st.none() | st.floats(5, 60),
)
parts = st.sampled_from(PART_KINDS).flatmap(
    lambda kind: st.builds(
        Part,
        flight_number=st.integers(0, 9),
        kind=st.just(kind),
        place=st.integers(1, 200),
        side=st.sampled_from((None, *SIDES)) if kind in SIDED else st.none(),
        sizes=sizes,
        recipe_number=st.none() | st.integers(1, 99),
        note=st.none() | st.text(max_size=30),
    )
)
events = st.sampled_from([kind for kind in EVENT_KINDS if kind not in {"coat", "note"}]).flatmap(
    lambda kind: st.builds(PartEvent, kind=st.just(kind), date=st.dates(max_value=DAY), note=st.none() | st.text())
) | st.builds(
    PartEvent,
    kind=st.just("coat"),
    date=st.dates(max_value=DAY),
    step=st.sampled_from(COAT_STEPS),
    coat=st.integers(1, 8),
    batch_number=st.none() | st.integers(1, 99),
)


@given(part=parts)
def test_a_part_round_trips(part: Part) -> None:
    """A part's JSON form, one entry a field, gives the same part back."""
    assert Part.from_dict(part.as_dict()) == part
    assert list(part.as_dict()) == [f.name for f in fields(Part)]


@given(event=events)
def test_an_event_round_trips(event: PartEvent) -> None:
    """An event's JSON form, one entry a field, gives the same event back."""
    assert PartEvent.from_dict(event.as_dict()) == event
    assert list(event.as_dict()) == [f.name for f in fields(PartEvent)]
