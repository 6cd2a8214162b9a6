"""What a plan has to say: what to buy, what to cut, whether the risers fit; with its cautions, or as a spreadsheet."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any, Final

from finishlab.cautions import Action, Caution, cautions_for
from finishlab.coatings import COMMON
from finishlab.files import Cell, csv_text
from finishlab.plan.parts import Shape
from finishlab.plan.stair_plan import Coats, Purchase, Quantity, StairPlan
from finishlab.plan.woodwork import (
    CODE,
    NO_NOSING_FROM,
    NOSING,
    WHO_DECIDES,
    CodeFigure,
    CuttingPlan,
    FloorPurchase,
    Piece,
    RiserCheck,
)
from finishlab.record import counted, enumerated, gathered
from finishlab.show import jsons
from finishlab.show.document import Block, Document, Line, Paragraph, caution_blocks, caution_data
from finishlab.stair.names import UPRIGHT, PartName, level_title, named
from finishlab.units import FT2_PER_GAL, area_text, as_typed_text, inches_text, length_text, limit_text, volume_text

_FT2_PER_QT: Final = 4 * FT2_PER_GAL
"""1 ft2/qt in m2/L."""
_ACCLIMATISE: Final = (
    "Let the boards lie in the warm, dry room for a week or two, stacked with air between, until a moisture meter "
    "shows 6 to 9 % and no change from day to day; measure and cut then (common practice, no source)."
)
_LAYING: Final = (
    "Leave the boxes in the room for 48 h before laying (common practice, no source; the label wins).",
    (
        "A floating floor needs its gap at every wall, and at the stair: 6 to 10 mm (common practice, no source; the "
        "label wins). A top nosing that laps over hides the gap; one that lies flush, or is glued or nailed through, "
        "pins the floor."
    ),
)


def quantities_document(plan: StairPlan, found: Sequence[Quantity], cautions: Sequence[Caution]) -> Document:
    """Return ``finishlab/plan-quantities/1``: litres as [least, most], areas in m2, coverage in m2/L."""
    data = {"products": [_product(each) for each in found], **caution_data(cautions)}
    data["not_counted"] = plan.not_counted or None
    data["notes"] = list(plan.notes)
    return Document("plan-quantities", data, (*_to_buy(plan, found), *caution_blocks(cautions)))


def _product(quantity: Quantity) -> dict[str, Any]:
    product, origin = quantity.product, quantity.product.origin
    return {
        "name": product.name,
        "kind": product.kind,
        "coats": _coats_data(product.coats),
        "parts": [part_data(part) for part in quantity.parts],
        "uses": [
            {"coats": _coats_data(coats), "parts": list(map(part_data, parts))}
            for coats, parts in _uses(quantity).items()
        ],
        "coat_area_m2": round(quantity.coat_area, 4),
        "coverage_m2_per_l": [round(value, 4) for value in quantity.coverage],
        "coverage_source": "label" if quantity.from_label else COMMON,
        "coverage_from": origin.coverage if quantity.from_label else None,
        "coats_from": origin.coats or None,
        "coats_source": origin.coats or origin.coats_by,
        "cans_from": origin.cans or None,
        "in_hand": [{"can": can, "litres": litres} for can, litres in origin.in_hand],
        "waste": product.waste,
        "waste_source": origin.waste,
        "litres": [round(value, 4) for value in quantity.litres],
        "buy": None
        if quantity.buy is None
        else {name: _bought(each) for name, each in zip(("least", "most"), quantity.buy, strict=True)},
    }


def _bought(bought: Purchase) -> dict[str, Any]:
    cans = [{"size": can.name, "litres": round(can.litres, 4), "count": count} for can, count in bought.cans]
    currency = {"currency": bought.currency} if bought.currency else {}
    return {"cans": cans, "litres": round(bought.litres, 4), "cost": bought.cost, **currency}


def part_data(part: PartName) -> dict[str, Any]:
    """Return a part as documents name it."""
    return {"flight": level_title(part.level), "kind": part.kind, "number": part.place, "side": part.side}


def _to_buy(plan: StairPlan, found: Sequence[Quantity]) -> Iterator[Block]:
    """Say what to buy of each product, with the range that the coverage leaves."""
    litres = partial(volume_text, us=plan.us)
    for quantity in found:
        product = quantity.product
        which = " of what is finished away from the stair" if plan.away and product.coats.under else ""
        says = f" ({product.origin.coats})" if product.origin.coats else ""
        yield Paragraph(f"{product.title}: {_coats(product.coats, quantity.parts, says)}{which}")
        yield Paragraph(f"on {_counted(quantity.parts)}: {area_text(quantity.coat_area, us=plan.us)} to coat in all", 2)
        uses = _uses(quantity)
        if product.each is not None and list(uses) != [product.coats]:
            told = (
                f"{_coats(coats, parts, '')} of {named(parts, several=plan.several)}" for coats, parts in uses.items()
            )
            yield Paragraph(f"still to come: {'; '.join(told)}", 2)
        yield Paragraph(_covers(quantity, us=plan.us), 2)
        amounts = " to ".join(dict.fromkeys(map(litres, quantity.litres)))
        yield Paragraph(f"needs {amounts}, {product.waste * 100:g} % waste included ({product.origin.waste})", 2)
        yield Paragraph(_buy(quantity), 2)
        if product.origin.in_hand:
            left = ", ".join(f"{litres(amount)} in {can}" for can, amount in product.origin.in_hand)
            yield Paragraph(f"still in hand, and not taken off: {left}", 2)
        yield Line()
    if plan.not_counted:
        yield Paragraph(f"Not counted, since their sizes are not written down: {plan.not_counted}.")
        yield Paragraph("Add them, for example: finishlab stairs edit 'landing nosing 1' --front 36in --depth 3.5in", 2)
        yield Line()
    for note in plan.notes:
        yield Paragraph(note)
    if plan.notes:
        yield Line()
    total = _total(found)
    if total:
        yield Paragraph(total)
        yield Line()


def _coats_data(coats: Coats) -> dict[str, int]:
    return {"top": coats.top, "edges": coats.on_edges, "under": coats.under}


def _uses(quantity: Quantity) -> dict[Coats, list[PartName]]:
    """Return the parts by the coats they are to get."""
    return gathered((coats, part) for part, coats in quantity.uses)


def _coats(coats: Coats, parts: Sequence[PartName], says: str) -> str:
    """Return the coats in words, with who says so: ``3 coats on top and edges (R1), 1 on the underside``."""
    if all(part.kind in UPRIGHT for part in parts):
        return f"{counted(coats.top, 'coat')} on the face{says}"
    where = "on top and edges" if coats.on_edges == coats.top else f"on top, {coats.on_edges} on the edges"
    under = f", {coats.under} on the underside" if coats.under else ""
    return f"{counted(coats.top, 'coat')} {where}{says}{under}"


def _counted(parts: Sequence[PartName]) -> str:
    """Return ``13 treads and 14 risers``."""
    return enumerated([counted(count, kind) for kind, count in Counter(part.kind for part in parts).items()])


def _covers(quantity: Quantity, *, us: bool) -> str:
    least, most = quantity.coverage
    metric = _span(least, most)
    who = (
        f"as {quantity.product.origin.coverage} says"
        if quantity.from_label
        else "usual figures, but labels differ; common practice, no source"
    )
    if us:
        return f"one quart covers {_span(least / _FT2_PER_QT, most / _FT2_PER_QT)} ft2 ({metric} m2/L): {who}"
    return f"one litre covers {metric} m2: {who}"


def _span(least: float, most: float) -> str:
    return f"{least:.3g}" if most - least < 1e-9 else f"{least:.3g} to {most:.3g}"


def _buy(quantity: Quantity) -> str:
    origin = quantity.product.origin
    if quantity.buy is None:
        return origin.no_cans
    whose = f" ({origin.cans})" if origin.cans else ""
    least, most = (_cans(each) for each in quantity.buy)
    if least == most:
        return f"Buy {least}{whose}"
    return f"Buy {least}, or up to {most}{whose}: read the coverage on the label before you buy, and name it"


def _cans(bought: Purchase) -> str:
    cost = "" if bought.cost is None else f" for {bought.cost:.2f} {bought.currency}".rstrip()
    return bought.words + cost


def _total(found: Sequence[Quantity]) -> str:
    costs = [(each.buy[0].cost, each.buy[1].cost) for each in found if each.buy is not None]
    known = [(low, high) for low, high in costs if low is not None and high is not None]
    currencies = {bought.currency for each in found if each.buy is not None for bought in each.buy if bought.cans}
    if len(known) < 2 or len(currencies) > 1:
        return ""
    low, high = sum(low for low, _ in known), sum(high for _, high in known)
    missing = len(found) - len(known)
    rest = f"; {counted(missing, 'product')} without a price not counted" if missing else ""
    unit = f" {currency}" if (currency := currencies.pop()) else ""
    return f"Together {low:.2f}{'' if abs(high - low) < 0.005 else f' to {high:.2f}'}{unit}{rest}"


def cutting_document(
    plan: StairPlan, found: CuttingPlan, cautions: Sequence[Caution], sources: Mapping[str, str]
) -> Document:
    """Return ``finishlab/plan-cutting/1``: lengths in mm, angles in degrees.

    `sources` says of ``kerf_mm``, ``allowance_mm`` and ``spares`` who says so.
    """
    data = {
        **jsons.entry(found, "kerf=kerf_mm:9 allowance=allowance_mm:9"),
        "spares": sum(piece.part is None for piece in found.pieces),
        "sources": dict(sources),
        **jsons.entry(found, "used_share:4 cost:9"),
        "pieces": [_piece(piece) for piece in found.pieces],
        "boards": [
            jsons.entry(board.stock, "length=length_mm:2 width=width_mm:2 price:9") | jsons.entry(board, "lanes")
            for board in found.boards
        ],
    }
    blocks = (*_to_cut(plan, found, sources), *caution_blocks(cautions))
    return Document("plan-cutting", data | caution_data(cautions), blocks)


def _piece(piece: Piece) -> dict[str, Any]:
    outline: dict[str, Any] | None = None
    if piece.shape is not None:
        front, back, depth, *others = (round(each, 2) for each in piece.outline)
        shape = piece.shape
        outline = {
            "front_mm": front, "back_mm": back, "depth_mm": depth, "sides_mm": others[:2], "diagonals_mm": others[2:],
            "angles_deg": [round(angle, 2) for angle in shape.angles], "angles_worked_out": list(shape.solved),
        }  # fmt: skip
    told = jsons.entry(piece, "name length=length_mm:2 width=width_mm:2 strips strip_width=strip_width_mm:2")
    return told | {"outline": outline}


def _to_cut(plan: StairPlan, found: CuttingPlan, sources: Mapping[str, str]) -> Iterator[Block]:
    """Say which boards to buy, what is cut from each, and the outline of each tread that is not square."""
    long = partial(length_text, us=plan.us)
    for stock, count in Counter(board.stock for board in found.boards).items():
        cost = "" if stock.price is None else f", {count * stock.price:.2f}"
        yield Paragraph(f"Buy {counted(count, 'board')} of {long(stock.length)} x {long(stock.width)}{cost}")
    spares = sum(piece.part is None for piece in found.pieces)
    spare = f", {counted(spares, 'spare')} included ({sources['spares']})" if spares else ""
    yield Paragraph(
        f"{100 * found.used_share:.0f} % of the wood is used{spare}; a saw cut takes {long(found.kerf)} "
        f"({sources['kerf_mm']}), each piece is {long(found.allowance)} longer than its tread for cutting to fit "
        f"({sources['allowance_mm']})."
    )
    yield Paragraph(_ACCLIMATISE)
    yield Line()
    yield from _pieces(plan, found.pieces)
    yield Paragraph("From each board, lane by lane:")
    for number, board in enumerate(found.boards, start=1):
        lanes = " | ".join(", ".join(lane) for lane in board.lanes)
        yield Paragraph(f"{number:>2}. {lanes}", 2, 6)
    yield Line()


def _pieces(plan: StairPlan, pieces: Sequence[Piece]) -> Iterator[Block]:
    """Say which pieces to cut, alike ones once, and how to mark those that are not square."""
    long = partial(length_text, us=plan.us)
    alike = gathered(((round(each.length, 2), round(each.width, 2), each.strips, each.shape), each) for each in pieces)
    for group in alike.values():
        one = group[0]
        parts = [piece.part for piece in group if piece.part is not None]
        name = ", ".join(piece.name for piece in group if piece.part is None) or named(parts, several=plan.several)
        size = f"{long(round(one.length, 2))} x {long(round(one.width, 2))}"
        glued = "" if one.strips == 1 else f", glued up of {one.strips} strips of {long(one.strip_width)} once jointed"
        yield Paragraph(f"{name[:1].upper()}{name[1:]}: cut {counted(len(group), 'piece')} of {size}{glued}")
        if one.shape is not None and not one.shape.is_square:
            front, back, depth, left, right, diagonal, other = map(long, one.outline)
            yield Paragraph(f"then to: front {front}, back {back}, depth {depth}", 2)
            yield Paragraph(f"sides: left {left}, right {right}; angles in front: {_angles(one.shape)}", 2)
            yield Paragraph(f"check: front left to back right {diagonal}, front right to back left {other}", 2)
    yield Line()


def _angles(shape: Shape) -> str:
    """Return both angles, and which was not measured: ``left 91.5, right 86.2 degrees (worked out from the back)``."""
    said = (f"{side} {angle:.1f}" for side, angle in zip(("left", "right"), shape.angles, strict=True))
    worked = f" ({' and '.join(shape.solved)} worked out from the back)" if shape.solved else ""
    return f"{', '.join(said)} degrees{worked}"


def risers_document(found: RiserCheck, *, us: bool) -> Document:
    """Return ``finishlab/plan-risers/1``: heights in mm, from the bottom up; people get cautions too."""
    data = {
        **jsons.entry(found, "before=before_mm:2 after=after_mm:2 variation=variation_mm:2"),
        "tread_allowed_mm": _inwards(found.tread_allowed),
        "thickness_allowed_mm": _inwards(found.thickness_allowed),
        "nosing_to_measure": found.nosing_open,
        "figures": [
            jsons.entry(each, "what value=value_mm:2 least=least_mm:9 most=most_mm:9 holds") for each in found.figures
        ],
        "holds": found.holds,
        "code": CODE,
        "who_decides": WHO_DECIDES,
    }
    raised: tuple[Action, ...] = ("raise",) if found.tread_added > 0 else ()
    cautions = cautions_for((), ("fit", "take up", *raised))
    return Document("plan-risers", data | caution_data(cautions), (*_risers(found, us=us), *caution_blocks(cautions)))


def _risers(found: RiserCheck, *, us: bool) -> Iterator[Block]:
    """Tell the risers before and after, each figure beside the model code's, and who decides."""
    long = partial(length_text, us=us)
    last = len(found.after)
    for number, (before, after) in enumerate(zip(found.before, found.after, strict=True), start=1):
        same = abs(before - after) < 0.05
        name = "only riser" if last == 1 else f"riser {number}"
        place = " (lowest)" if number == 1 else " (highest)" if number == last else ""
        if not same or place or len(set(found.before)) > 1:
            change = "stays" if same else f"becomes {long(after)}"
            yield Paragraph(f"{name + place:<20} {long(before)}, {change}", 0, 21)
    yield Line()
    for figure in found.figures:
        verdict = "holds" if figure.holds else "DOES NOT HOLD"
        tenths = as_typed_text(figure.value, inches=False)
        value = f"{inches_text(figure.value)} ({tenths})" if us else tenths
        yield Paragraph(f"{figure.what}: {value}; {_limit(figure, us=us)}: {verdict}")
    if found.nosing_open:
        asked, enough = (limit_text(each, most=False, us=us) for each in (NOSING[0], NO_NOSING_FROM))
        yield Paragraph(f"nosing: model code at least {asked} where treads are under {enough} deep: measure it")
    if found.tread_allowed is not None:
        yield Paragraph(_tread_words(found, us=us))
    elif last > 1:
        yield Paragraph("No thickness of tread makes these risers hold: the floors, or the stair, must change.")
    yield Line()
    yield Paragraph(f"Figures: {CODE}. {WHO_DECIDES}")
    yield Line()


def _inwards(span: tuple[float, float] | None) -> list[float] | None:
    """Return both ends rounded so that they still hold."""
    return None if span is None else [math.ceil(span[0] * 100 - 1e-6) / 100, math.floor(span[1] * 100 + 1e-6) / 100]


def _tread_words(found: RiserCheck, *, us: bool) -> str:
    """Say between which changes of the treads, and between which thicknesses, the risers hold; rounded inwards."""
    low, high = found.tread_allowed or (0.0, 0.0)
    if low > 0 or high < 0:
        near, far = (low, high) if low > 0 else (-high, -low)
        words = f"{limit_text(near, most=False, us=us)} and {limit_text(far, most=True, us=us)}"
        text = f"The risers hold if each tread becomes between {words} {'higher' if low > 0 else 'lower'}"
    else:
        down = f"from {limit_text(-low, most=True, us=us)} lower" if low < 0 else "from as high as now"
        text = f"The risers hold if each tread becomes {down} to {limit_text(high, most=True, us=us)} higher"
    span = found.thickness_allowed
    if span is not None:
        thin, thick = (limit_text(end, most=most, us=us) for end, most in zip(span, (False, True), strict=True))
        now = length_text(found.tread_now or 0.0, us=us)
        text += f": new treads from {thin} to {thick} thick in the place of those of {now}"
    return f"{text}."


def _limit(figure: CodeFigure, *, us: bool) -> str:
    ends = ((figure.least, False), (figure.most, True))
    limits = [limit_text(each, most=most, us=us) for each, most in ends if each is not None]
    how = "at most " if figure.least is None else "at least " if figure.most is None else ""
    return f"model code {how}{' to '.join(limits)}"


def floor_document(found: FloorPurchase, *, us: bool, waste_source: str) -> Document:
    """Return ``finishlab/plan-floor/1``: areas in m2."""
    data = {
        **jsons.entry(found, "area=area_m2:4 waste:9"),
        "sources": {"waste": waste_source},
        **jsons.entry(found, "with_waste=with_waste_m2:4 box_area=box_m2:4 boxes cost:9"),
    }
    boxes = "1 box" if found.boxes == 1 else f"{found.boxes} boxes"
    cost = "" if found.cost is None else f" for {found.cost:.2f}"
    area = partial(area_text, us=us)
    blocks: tuple[Block, ...] = (
        Paragraph(f"Buy {boxes}{cost}"),
        Paragraph(
            f"{area(found.area)} of floor, with {found.waste * 100:g} % waste ({waste_source}) "
            f"{area(found.with_waste)}; the boxes hold {area(found.bought)}.",
            2,
        ),
        Paragraph("Buy boxes of one run number, and keep a few planks: for repairs, and to measure boards beside.", 2),
        *(Paragraph(each, 2) for each in _LAYING),
        Line(),
    )
    cautions = cautions_for((), ("take up", "strip"))
    return Document("plan-floor", data | caution_data(cautions), (*blocks, *caution_blocks(cautions)))


def quantities_csv(found: Sequence[Quantity]) -> str:
    """Return one row a product."""
    header = (
        "product", "kind", "parts", "coats top", "coats edges", "coats underside", "area to coat m2",
        "coverage least m2/L", "coverage most m2/L", "coverage source", "waste %", "litres least", "litres most",
        "buy least", "buy most", "cost least", "cost most", "currency", "coverage from", "cans from",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for each in found:
        product, buy = each.product, each.buy or ()
        coats = (product.coats.top, product.coats.on_edges, product.coats.under)
        area = (round(each.coat_area, 4), *(round(value, 4) for value in each.coverage))
        litres = (round(product.waste * 100, 4), *(round(value, 4) for value in each.litres))
        bought = (
            (*(one.words for one in buy), *(one.cost for one in buy), buy[1].currency or None) if buy else (None,) * 5
        )
        origin = (product.origin.coverage if each.from_label else None, product.origin.cans or None)
        source = "label" if each.from_label else COMMON
        rows.append((product.name, product.kind, len(each.parts), *coats, *area, source, *litres, *bought, *origin))
    return csv_text(header, rows)


def cutting_csv(found: CuttingPlan) -> str:
    """Return one row a piece: the rectangle to cut, and the outline to cut it to."""
    header = (
        "piece", "length mm", "width mm", "strips", "front mm", "back mm", "depth mm", "left side mm", "right side mm",
        "diagonal front left mm", "diagonal front right mm", "strip mm", "left angle", "right angle",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for piece in found.pieces:
        outline: list[Cell] = [round(each, 1) for each in piece.outline] or [None] * 7
        angles = (None, None) if piece.shape is None else (round(angle, 1) for angle in piece.shape.angles)
        size = (round(piece.length, 1), round(piece.width, 1))
        rows.append((piece.name, *size, piece.strips, *outline, round(piece.strip_width, 1), *angles))
    return csv_text(header, rows)
