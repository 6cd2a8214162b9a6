"""Shapes of the stair's parts, and the units they are typed in."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from finishlab.errors import UsageError
from finishlab.plan.parts import (
    Shape,
    alternating,
    back_width,
    corners,
    face_areas,
    way_up,
)
from finishlab.stair.names import PartName, full_name, named, need_flight
from finishlab.units import (
    FT2_PER_GAL,
    M2_PER_FT2,
    MM_PER_INCH,
    inches_text,
    is_us,
    length_text,
    parse_area,
    parse_coverage,
    parse_length,
    parse_volume,
)

TREAD = Shape(front=36 * MM_PER_INCH, depth=11.5 * MM_PER_INCH, thickness=1.0625 * MM_PER_INCH)

widths = st.floats(300, 2000)
depths = st.floats(80, 500)
angles = st.floats(60, 120)


# -- units


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("914", 914.0),
        ("914mm", 914.0),
        ("91.4 cm", 914.0),
        ("36in", 914.4),
        ('36"', 914.4),
        ("1 1/16 in", 26.9875),
        ("1-1/16in", 26.9875),
        ("3/4 inch", 19.05),
        ("2ft 6in", 762.0),
        ("2' 6 1/2\"", 774.7),
    ],
)
def test_lengths_are_read_as_people_write_them(text: str, mm: float) -> None:
    """A length takes its unit, fractions and feet with inches; without a unit it is millimetres (1 in = 25.4 mm)."""
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["", "wide", "0", "-3in", "36,5mm", "1in 2ft", "1/0in", "12 m2", "9" * 400, "nan", "1e3"]
)
def test_what_is_no_length_is_refused(text: str) -> None:
    """Words, nothing, less than nothing and impossible figures are refused with what to write instead."""
    with pytest.raises(UsageError, match="is not a length") as refused:
        parse_length(text)
    assert refused.value.code == "bad-length"
    assert "36in" in refused.value.hint


def test_a_square_foot_a_gallon_is_the_published_figure() -> None:
    """1 ft2/gal is 0.02454 m2/L: arithmetic from 1 in = 25.4 mm and 1 gal = 231 in3."""
    assert pytest.approx(0.02454, abs=5e-6) == FT2_PER_GAL
    assert parse_coverage("500 ft2/gal") == parse_coverage("125 sq ft per quart")
    assert parse_coverage("400-500 ft2/gal") == pytest.approx((400 * FT2_PER_GAL, 500 * FT2_PER_GAL))
    assert parse_volume("1 gal") == pytest.approx(3.785411784)
    assert parse_volume("32 fl oz") == parse_volume("1qt") == pytest.approx(0.946352946)
    assert parse_area("1 sq ft") == pytest.approx(0.09290304)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (parse_volume, "1"),
        (parse_volume, "1 cup"),
        (parse_area, "12"),
        (parse_coverage, "12"),
        (parse_coverage, "0 m2/L"),
    ],
)
def test_volumes_areas_and_coverages_need_a_unit(read: object, text: str) -> None:
    """What has no unit, or one nobody knows, is refused: a quart taken for a litre is a wrong purchase."""
    assert callable(read)
    with pytest.raises(UsageError):
        read(text)


@pytest.mark.parametrize(("mm", "text"), [(914.4, "36 in"), (912.06, "35 29/32 in"), (19.05, "3/4 in"), (0, "0 in")])
def test_inches_are_shown_as_on_a_tape(mm: float, text: str) -> None:
    """Inches are given to the nearest 1/32 as a fraction in its lowest terms."""
    assert inches_text(mm) == text


@given(st.integers(1, 20_000))
def test_inches_shown_are_within_a_64th(thirty_seconds: int) -> None:
    """Reading back what is shown in inches gives the length to half of 1/32 in."""
    mm = thirty_seconds * MM_PER_INCH / 32 + 0.3
    assert parse_length(inches_text(mm)) == pytest.approx(mm, abs=MM_PER_INCH / 64 + 1e-9)


def test_both_units_are_shown_where_inches_were_typed() -> None:
    """Who types inches reads inches first and millimetres after; who types millimetres reads no inches."""
    assert (is_us("1 1/16in"), is_us("125 ft2/qt"), is_us("914mm"), is_us("2.5L")) == (True, True, False, False)
    assert length_text(914.4, us=True) == "36 in (914 mm)"
    assert length_text(26.99) == "27 mm"


# -- areas


def test_areas_of_a_tread_in_feet() -> None:
    """A tread of 36 x 11.5 x 1 1/16 in has 2.875 ft2 on top, 0.701 at its edges; 13: 46.49 and 83.86 (arithmetic)."""
    areas = face_areas(TREAD)
    assert areas.top / M2_PER_FT2 == pytest.approx(2.875, abs=5e-4)
    assert areas.edges / M2_PER_FT2 == pytest.approx(0.701, abs=5e-4)
    assert 13 * (areas.top + areas.edges) / M2_PER_FT2 == pytest.approx(46.49, abs=5e-3)
    assert 13 * (areas.top + areas.underside + areas.edges) / M2_PER_FT2 == pytest.approx(83.86, abs=5e-3)


def test_areas_of_a_tread_in_metres() -> None:
    """A tread of 914 x 292 x 27 mm has 0.2669 m2 on top, 0.0651 at its edges; 13: 4.316 and 7.786 (arithmetic)."""
    areas = face_areas(Shape(914, 292, 27))
    assert areas.top == pytest.approx(0.2669, abs=5e-5)
    assert areas.edges == pytest.approx(0.0651, abs=5e-5)
    assert 13 * (areas.top + areas.edges) == pytest.approx(4.316, abs=5e-4)
    assert 13 * (areas.top + areas.underside + areas.edges) == pytest.approx(7.786, abs=5e-4)


def test_a_half_round_nosing_has_more_face() -> None:
    """A half-round front is pi/2 times the square one; nothing else changes."""
    square, rounded = face_areas(TREAD), face_areas(Shape(TREAD.front, TREAD.depth, TREAD.thickness, edge="half-round"))
    assert rounded.front == pytest.approx(math.pi / 2 * square.front)
    assert (rounded.top, rounded.back, rounded.ends) == (square.top, square.back, square.ends)


@given(widths, depths, angles, angles)
def test_area_of_an_out_of_square_tread_is_that_of_its_corners(
    front: float, depth: float, left: float, right: float
) -> None:
    """The area on top is that of the polygon through the four corners (shoelace formula), whatever the angles."""
    try:
        shape = Shape(front, depth, 27, left=left, right=right)
    except UsageError:
        assume(False)
    at = corners(shape)
    ring = [at.front_left, at.front_right, at.back_right, at.back_left]
    twice = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True))
    assert face_areas(shape).top == pytest.approx(abs(twice) / 2e6, rel=1e-9)
    assert at.blank >= max(shape.front, shape.back_mm) - 1e-9


# -- out of square


def test_back_width_is_the_published_figure() -> None:
    """Front 36, depth 10.5, angles 89.0 and 90.5 degrees: the back is 35.908 in (plane geometry, re-run)."""
    assert back_width(36, 10.5, 89.0, 90.5) == pytest.approx(35.908, abs=5e-4)


@given(widths, depths)
def test_square_angles_leave_the_width(front: float, depth: float) -> None:
    """Between square sides the back is as wide as the front, and both diagonals are alike."""
    assert back_width(front, depth, 90, 90) == front
    one, other = corners(Shape(front, depth, 27)).diagonals
    assert one == pytest.approx(other) == pytest.approx(math.hypot(front, depth))


@pytest.mark.parametrize(
    ("sizes", "code"),
    [
        ({"front": 0}, "bad-size"),
        ({"depth": -1}, "bad-size"),
        ({"thickness": math.inf}, "bad-size"),
        ({"left": 10}, "bad-angle"),
        ({"left": 45, "right": 45, "depth": 600}, "sides-cross"),
        ({"left": 89, "right": 90, "back": 700}, "back-contradicts-angles"),
        ({"left": 90, "back": 20}, "back-contradicts-angles"),
    ],
)
def test_impossible_sizes_are_refused(sizes: dict[str, float], code: str) -> None:
    """A size that cannot be meant, sides that cross, and a back that contradicts the angles are refused."""
    with pytest.raises(UsageError) as refused:
        Shape(**{"front": 914.0, "depth": 292.0, "thickness": 27.0, **sizes})  # type: ignore[arg-type] # no edge in it
    assert refused.value.code == code
    assert refused.value.hint


# -- the way up


def test_the_way_up_goes_through_all_flights() -> None:
    """Treads, the landing in two halves, the next flight's treads; every second one is a group."""
    parts = [
        *(PartName(1, "tread", place) for place in (3, 1, 2)),
        *(PartName(2, "landing board", place) for place in (1, 2, 3, 4)),
        PartName(1, "riser", 1),
        PartName(3, "tread", 1),
    ]
    steps = way_up(parts)
    assert [[part.words(with_level=False) for part in step.parts] for step in steps] == [
        ["tread 1"],
        ["tread 2"],
        ["tread 3"],
        ["landing board 1", "landing board 2"],
        ["landing board 3", "landing board 4"],
        ["tread 1"],
    ]
    first, second = alternating(steps)
    assert set(first) | set(second) == set(steps)
    assert not [one for one, two in itertools.pairwise(steps) if {one, two} <= set(first) or {one, two} <= set(second)]


def test_a_landing_of_one_piece_is_worked_on_alone() -> None:
    """Nothing leads past a landing of one piece, so it is a group of its own."""
    parts = [PartName(1, "tread", 1), PartName(2, "landing board", 1), PartName(3, "tread", 1)]
    groups = alternating(way_up(parts))
    assert [len(group) for group in groups] == [1, 1, 1]
    assert groups[-1][0].blocks


def test_parts_are_named_in_words() -> None:
    """Numbers of a kind stand together; the flight is named where there are several."""
    treads = [PartName(1, "tread", place) for place in (1, 3, 5)]
    assert named(treads, several=False) == "treads 1, 3 and 5"
    assert named([*treads, PartName(3, "tread", 2)], several=True) == "flight 1 treads 1, 3 and 5; flight 2 tread 2"
    assert full_name(PartName(2, "landing board", 4), several=True) == "landing 1 landing board 4"
    assert named([*treads, PartName(1, "tread", 4)], several=False) == "treads 1 and 3 to 5"
    assert not need_flight([*treads, PartName(2, "landing board", 1)])
    assert need_flight([*treads, PartName(3, "tread", 1)])
    assert PartName(1, "skirt", 1, "left").words(with_level=False) == "skirt 1 left"
