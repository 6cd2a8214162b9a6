"""Quantities of liquid, boards and floor, against figures worked out by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.coatings import COATINGS, COMMON, Usual, coating
from finishlab.errors import UsageError
from finishlab.plan.parts import Shape
from finishlab.plan.stair_plan import Can, Coats, coat_area, need, purchase
from finishlab.plan.woodwork import Stock, floor_purchase, plan_cutting
from finishlab.stair.names import PartKind, PartName
from finishlab.units import LITRES_PER_GAL, LITRES_PER_QT, M2_PER_FT2, MM_PER_INCH, parse_coverage

TREAD = Shape(front=36 * MM_PER_INCH, depth=11.5 * MM_PER_INCH, thickness=1.0625 * MM_PER_INCH)
TREADS = {PartName(1, "tread", place): TREAD for place in range(1, 14)}
SHAPES: list[tuple[PartKind, Shape]] = [("tread", TREAD)] * 13
QUART = Can(LITRES_PER_QT, label="1qt")
LABEL = parse_coverage("125 ft2/qt")


def test_one_stain_coat_on_both_faces() -> None:
    """13 treads, one coat on both faces at 125 ft2/qt: 0.671 qt, with 15 % 0.772, so 1 quart (arithmetic)."""
    area = coat_area(SHAPES, Coats(top=1, under=1))
    found = need(area, LABEL, 0.15)
    assert need(area, LABEL, 0.0)[1] / LITRES_PER_QT == pytest.approx(0.671, abs=5e-4)
    assert found[1] / LITRES_PER_QT == pytest.approx(0.772, abs=5e-4)
    assert purchase(found[1], [QUART]).cans == ((QUART, 1),)


def test_three_topcoats_and_one_underneath() -> None:
    """Three coats on top and edges, one underneath: 176.8 ft2, 1.415 qt, with 10 % 1.556, so 2 quarts (arithmetic)."""
    area = coat_area(SHAPES, Coats(top=3, under=1))
    assert area / M2_PER_FT2 == pytest.approx(176.8, abs=0.05)
    found = need(area, LABEL, 0.10)
    assert need(area, LABEL, 0.0)[1] / LITRES_PER_QT == pytest.approx(1.415, abs=5e-4)
    assert found[1] / LITRES_PER_QT == pytest.approx(1.556, abs=5e-4)
    assert purchase(found[1], [QUART]).cans == ((QUART, 2),)


def test_a_riser_is_coated_where_it_shows() -> None:
    """A riser counts length times height once a coat, whatever coats edges and underside get."""
    riser: tuple[PartKind, Shape] = ("riser", Shape(914, 190, 19))
    assert coat_area([riser], Coats(top=2, under=1)) == pytest.approx(2 * 0.914 * 0.190)


@pytest.mark.parametrize(
    ("kind", "coverage"),
    [
        ("oil stain", (5, 15)),
        ("water stain", (4, 15)),
        ("gel stain", (7, 10)),
        ("oil polyurethane", (7, 12)),
        ("water polyurethane", (9, 15)),
        ("sealer", (10, 15)),
        ("hardwax oil", (20, 30)),
        ("riser paint", (9, 10)),
    ],
)
def test_default_coverages_are_those_written_down(kind: str, coverage: tuple[float, float]) -> None:
    """The ranges used where no label is given (common practice, no source), each marked as such."""
    assert coating(kind).figures.coverage == coverage
    assert coating(kind).figures.source == COMMON


@pytest.mark.parametrize("found", [each.usual for each in COATINGS.values() if each.usual is not None])
def test_every_coating_has_figures_in_order(found: Usual) -> None:
    """Every range runs from less to more, and use comes no later than cure."""
    for low, high in (found.coverage, found.recoat_h, found.use_d, found.cure_d):
        assert 0 < low <= high
    assert found.use_d[1] <= found.cure_d[1]


def test_hardwax_oil_is_not_ten_times_out() -> None:
    """4.3 m2 take 0.14 to 0.22 L of hardwax oil a coat; 35-50 cl a square metre, as one reads, is ten times that."""
    found = need(4.316, coating("hardwax oil").figures.coverage, 0.0)
    assert found == pytest.approx((0.144, 0.216), abs=5e-4)
    assert found[1] < 4.316 * 0.35 / 5


def test_the_range_is_that_of_the_coverage() -> None:
    """Without a label the least and the most needed are as far apart as the figures found: threefold for oil stain."""
    least, most = need(10, coating("oil stain").figures.coverage)
    assert most / least == pytest.approx(3)


@given(
    st.floats(0.01, 60),
    st.lists(
        st.tuples(st.sampled_from([0.25, 0.473, 0.946, 2.5, 3.785]), st.floats(1, 90)),
        min_size=1,
        max_size=3,
        unique_by=lambda c: c[0],
    ),
    st.booleans(),
)
def test_cans_hold_enough_and_no_other_choice_beats_them(
    litres: float, sizes: list[tuple[float, float]], priced: bool
) -> None:
    """The cans hold what is needed, and cost no more (or leave no more over) than cans of any one size alone."""
    cans = [Can(size, price if priced else None) for size, price in sizes]
    found = purchase(litres, cans)
    assert found.litres >= litres - 1e-6
    for can in cans:
        count = math.ceil(litres / can.litres - 1e-9)
        if count > 20:  # beyond that the bulk comes in the largest cans
            continue
        if priced:
            assert found.cost is not None
            assert found.cost <= count * (can.price or 0) + 1e-5
        else:
            assert found.litres <= count * can.litres + 1e-6


def test_cans_of_two_sizes_are_mixed() -> None:
    """For 4.5 qt a gallon and a quart leave least over; where prices are known the cheaper wins."""
    gallon = Can(LITRES_PER_GAL, label="1gal")
    assert purchase(4.5 * LITRES_PER_QT, [QUART, gallon]).cans == ((gallon, 1), (QUART, 1))
    dear, cheap = Can(LITRES_PER_QT, 20.0, "1qt"), Can(LITRES_PER_GAL, 50.0, "1gal")
    found = purchase(3 * LITRES_PER_QT, [dear, cheap])
    assert (found.cans, found.cost) == (((cheap, 1),), 50.0)


def test_exactly_full_cans_are_not_rounded_up() -> None:
    """Three quarts come in three quarts, not four for the last binary digit; a drop more takes a fourth."""
    assert purchase(3 * LITRES_PER_QT, [QUART]).cans == ((QUART, 3),)
    assert purchase(3.001 * LITRES_PER_QT, [QUART]).cans == ((QUART, 4),)


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: need(1, (5, 15), 1.0), "bad-waste"),
        (lambda: need(1, (0, 15)), "bad-coverage"),
        (lambda: purchase(1, []), "no-cans"),
        (lambda: purchase(1, [Can(size) for size in (1, 2, 3, 4, 5)]), "too-many-sizes"),
        (lambda: Can(0), "bad-volume"),
        (lambda: Can(1, -1), "bad-price"),
        (lambda: Coats(top=9), "coats-out-of-range"),
        (lambda: coating("ketchup"), "unknown-liquid"),
        (lambda: floor_purchase([], 2), "no-area"),
        (lambda: floor_purchase([3], 0), "bad-area"),
        (lambda: floor_purchase([3], 2, 1.5), "bad-waste"),
        (lambda: plan_cutting({}, [Stock(2400, 300)]), "nothing-to-cut"),
        (lambda: plan_cutting(TREADS, []), "no-stock"),
        (lambda: plan_cutting(TREADS, [Stock(2400, 300), Stock(2400, 200)]), "stock-widths-differ"),
        (lambda: plan_cutting(TREADS, [Stock(900, 300)]), "stock-too-short"),
    ],
)
def test_impossible_figures_are_refused(call: object, code: str) -> None:
    """Each figure that cannot be meant is refused by name, with what to give instead."""
    assert callable(call)
    with pytest.raises(UsageError) as refused:
        call()
    assert refused.value.code == code
    assert refused.value.hint


# -- floor


def test_boxes_of_floor_are_rounded_up() -> None:
    """12 x 14 ft with 10 % waste is 184.8 ft2; boxes of 20.5 ft2 make 9.01, so 10 boxes (arithmetic)."""
    found = floor_purchase([168 * M2_PER_FT2], 20.5 * M2_PER_FT2, box_price=54.0)
    assert found.with_waste / M2_PER_FT2 == pytest.approx(184.8)
    assert (found.boxes, found.cost) == (10, 540.0)
    assert (found.bought - found.area) / M2_PER_FT2 == pytest.approx(37.0)


@given(st.floats(0.5, 500), st.floats(0.5, 4), st.floats(0, 0.3))
def test_boxes_are_enough_and_not_one_too_many(area: float, box: float, waste: float) -> None:
    """The boxes hold area and waste, and one box less would not."""
    found = floor_purchase([area], box, waste)
    assert found.bought >= found.with_waste * (1 - 1e-8)
    assert (found.boxes - 1) * box < found.with_waste


# -- cutting


def test_treads_are_cut_from_long_boards() -> None:
    """A board of 96 in holds two treads of 36 in with their allowance: 13 and a spare take 7 of tread width."""
    found = plan_cutting(TREADS, [Stock(96 * MM_PER_INCH, 11.5 * MM_PER_INCH, 60.0)])
    assert len(found.boards) == 7
    assert found.cost == 420.0
    assert [piece.name for piece in found.pieces][-1] == "spare"


def test_wide_boards_hold_lanes_and_narrow_ones_are_glued_up() -> None:
    """A panel of 24 in holds two treads side by side; boards of 6 in take two strips a tread."""
    panels = plan_cutting(TREADS, [Stock(96 * MM_PER_INCH, 24 * MM_PER_INCH)])
    assert len(panels.boards) == 4
    assert all(len(board.lanes) <= 2 for board in panels.boards)
    strips = plan_cutting(TREADS, [Stock(96 * MM_PER_INCH, 6 * MM_PER_INCH)])
    assert {piece.strips for piece in strips.pieces} == {2}
    assert len(strips.boards) == 14


def test_an_out_of_square_tread_needs_a_longer_board() -> None:
    """A tread that leans 10 degrees to one side is cut from a rectangle longer by depth x tan 10 degrees."""
    leaning = {PartName(1, "tread", 1): Shape(914, 292, 27, left=100, right=80)}
    (piece,) = plan_cutting(leaning, [Stock(2400, 300)], allowance=0, spares=0).pieces
    assert piece.length == pytest.approx(914 + 292 * math.tan(math.radians(10)))
    assert piece.outline[3] == pytest.approx(292 / math.cos(math.radians(10)))


@given(
    st.lists(
        st.tuples(st.floats(500, 1300), st.floats(150, 400), st.floats(80, 100), st.floats(80, 100)),
        min_size=1,
        max_size=12,
    ),
    st.lists(st.sampled_from([1500.0, 1830.0, 2440.0, 3050.0]), min_size=1, max_size=3, unique=True),
    st.sampled_from([120.0, 305.0, 620.0]),
    st.integers(0, 2),
)
def test_every_piece_is_cut_and_every_board_holds_its_pieces(
    treads: list[tuple[float, float, float, float]], lengths: list[float], width: float, spares: int
) -> None:
    """Whatever the treads and boards: each piece is cut, strip by strip, and no lane is longer than its board."""
    parts = {
        PartName(1, "tread", place): Shape(front, depth, 27, left=left, right=right)
        for place, (front, depth, left, right) in enumerate(treads, start=1)
    }
    stock = [Stock(length, width) for length in lengths]
    try:
        found = plan_cutting(parts, stock, spares=spares)
    except UsageError as refused:
        if refused.code == "stock-too-short":
            return
        raise
    by_name = {piece.name: piece for piece in found.pieces}
    assert len(found.pieces) == len(parts) + spares
    cut = [name for board in found.boards for lane in board.lanes for name in lane]
    assert sorted(cut) == sorted(name for name, piece in by_name.items() for _ in range(piece.strips))
    for board in found.boards:
        for lane in board.lanes:
            used = sum(by_name[name].length for name in lane) + (len(lane) - 1) * found.kerf
            assert used <= board.stock.length + 1e-3
        across = sum(min(max(by_name[name].width for name in lane), width) for lane in board.lanes)
        assert across + (len(board.lanes) - 1) * found.kerf <= width + 1e-3 or len(board.lanes) == 1
    assert found == plan_cutting(parts, stock, spares=spares)
