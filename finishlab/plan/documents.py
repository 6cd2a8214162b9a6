"""A plan as JSON documents, as tables for CSV, and as entries of a calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from finishlab.cautions import DEFERS, Caution, cautions_for
from finishlab.coatings import COMMON
from finishlab.plan.calendar import Calendar, Event, nights
from finishlab.plan.coverage import Purchase
from finishlab.plan.cutting import CuttingPlan, Piece
from finishlab.plan.floor import FloorPurchase
from finishlab.plan.geometry import WALKED_ON, Part
from finishlab.plan.icalendar import Entry, icalendar_text
from finishlab.plan.risers import CODE, WHO_DECIDES, RiserCheck
from finishlab.plan.stair_plan import Quantity, StairPlan
from finishlab.plan.way_up import named
from finishlab.reports.tables import Cell, csv_text
from finishlab.stair.names import level_title

__all__ = [
    "calendar_csv",
    "calendar_document",
    "calendar_ics",
    "cautions_document",
    "cutting_csv",
    "cutting_document",
    "floor_purchase_document",
    "quantities_csv",
    "quantities_document",
    "risers_document",
]

Document = dict[str, Any]


def cautions_document(cautions: Iterable[Caution]) -> Document:
    """Return ``finishlab/cautions/1``: every caution with its source."""
    return _document("cautions", tuple(cautions))


def quantities_document(found: Sequence[Quantity], cautions: Sequence[Caution]) -> Document:
    """Return ``finishlab/plan-quantities/1``: litres as [least, most], areas in m2, coverage in m2/L."""
    return _document(
        "plan-quantities",
        cautions,
        products=[
            {
                "name": each.product.name,
                "kind": each.product.kind,
                "coats": {"top": each.product.coats.top, "edges": _edges(each), "under": each.product.coats.under},
                "parts": [_part(part) for part in each.parts],
                "coat_area_m2": round(each.need.coat_area, 4),
                "coverage_m2_per_l": [round(value, 4) for value in each.need.coverage],
                "coverage_source": _source(each),
                "coverage_from": each.product.origin.coverage if each.from_label else None,
                "coats_from": each.product.origin.coats or None,
                "cans_from": each.product.origin.cans or None,
                "in_hand": [{"can": can, "litres": litres} for can, litres in each.product.origin.in_hand],
                "waste": each.need.waste,
                "litres": [round(value, 4) for value in each.need.litres],
                "buy": None if each.buy is None else {"least": _bought(each.buy[0]), "most": _bought(each.buy[1])},
            }
            for each in found
        ],
    )


def quantities_csv(found: Sequence[Quantity]) -> str:
    """Return one row a product."""
    header = (
        "product", "kind", "parts", "coats top", "coats edges", "coats underside", "area to coat m2",
        "coverage least m2/L", "coverage most m2/L", "coverage source", "waste %", "litres least", "litres most",
        "buy least", "buy most", "cost least", "cost most", "currency", "coverage from", "cans from",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for each in found:
        low, high = each.buy or (None, None)
        product, need = each.product, each.need
        coats = (product.coats.top, _edges(each), product.coats.under)
        figures: tuple[Cell, ...] = (
            round(need.coat_area, 4),
            *(round(value, 4) for value in need.coverage),
            _source(each),
        )
        litres = (round(need.waste * 100, 4), *(round(value, 4) for value in need.litres))
        currency = None if high is None else high.currency or None
        origin = (product.origin.coverage if each.from_label else None, product.origin.cans or None)
        bought = (_words(low), _words(high), _cost(low), _cost(high), currency, *origin)
        rows.append((product.name, product.kind, len(each.parts), *coats, *figures, *litres, *bought))
    return csv_text(header, rows)


def cutting_document(found: CuttingPlan, cautions: Sequence[Caution]) -> Document:
    """Return ``finishlab/plan-cutting/1``: lengths in mm."""
    return _document(
        "plan-cutting",
        cautions,
        kerf_mm=found.kerf,
        allowance_mm=found.allowance,
        used_share=round(found.used_share, 4),
        cost=found.cost,
        pieces=[_piece(piece) for piece in found.pieces],
        boards=[
            {
                "length_mm": round(board.stock.length, 2),
                "width_mm": round(board.stock.width, 2),
                "price": board.stock.price,
                "lanes": [list(lane) for lane in board.lanes],
            }
            for board in found.boards
        ],
    )


def cutting_csv(found: CuttingPlan) -> str:
    """Return one row a piece: the rectangle to cut, and the outline to cut it to."""
    header = (
        "piece", "length mm", "width mm", "strips", "front mm", "back mm", "depth mm", "left side mm", "right side mm",
        "diagonal front left mm", "diagonal front right mm",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for piece in found.pieces:
        outline = piece.corners
        cells: tuple[Cell, ...] = ()
        if piece.part is not None and outline is not None:
            shape = piece.part.shape
            figures = (shape.front, shape.back_mm, shape.depth, *outline.sides, *outline.diagonals)
            cells = tuple(round(each, 1) for each in figures)
        rows.append((piece.name, round(piece.length, 1), round(piece.width, 1), piece.strips, *cells))
    return csv_text(header, rows)


def calendar_document(plan: StairPlan, calendar: Calendar, cautions: Sequence[Caution]) -> Document:
    """Return ``finishlab/plan-calendar/1``: events with local times, and what is open in each night."""
    return _document(
        "plan-calendar",
        cautions,
        start=None if plan.start is None else plan.start.isoformat(),
        notes=list(calendar.notes),
        events=[
            {
                "kind": event.kind,
                "start": event.start.isoformat(timespec="minutes"),
                "end": None if event.end is None else event.end.isoformat(timespec="minutes"),
                "what": event.what,
                "parts": [_part(part) for part in event.parts],
            }
            for event in calendar.events
        ],
        nights=[
            {
                "after": night.day.isoformat(),
                "closed": [_part(part) for part in night.closed],
                "open": [_part(part) for part in night.open],
            }
            for night in nights(calendar)
        ],
    )


def calendar_csv(plan: StairPlan, calendar: Calendar) -> str:
    """Return one row for each part and event."""
    rows: list[Sequence[Cell]] = []
    for part in plan.parts:
        for event in calendar.of(part):
            times = (f"{event.start:%Y-%m-%d %H:%M}", None if event.end is None else f"{event.end:%Y-%m-%d %H:%M}")
            rows.append((level_title(part.level), part.kind, part.place, part.side, event.kind, *times, event.what))
    return csv_text(("flight", "part", "number", "side", "event", "from", "to", "what"), rows)


def calendar_ics(plan: StairPlan, calendar: Calendar) -> str:
    """Return the calendar as an iCalendar file: work with its cautions, windows that end, milestones, open steps."""
    entries = []
    for event in calendar.events:
        if event.kind == "recoat" and event.end is None:
            continue
        who = named(event.parts, several=plan.several)
        said = [f"{each.title}: {each.short}" for each in _cautions_of(plan, event)]
        text = "\n".join([who, *said, DEFERS]) if event.is_work else who
        entries.append(Entry(event.start, event.end, f"Stair: {event.what} ({who})", text, busy=event.is_work))
    for night in nights(calendar):
        if night.open:
            title = f"Stair tonight: step only on {named(night.open, several=plan.several)}"
            entries.append(Entry(night.day, night.day + dt.timedelta(days=1), title, busy=False))
    return icalendar_text("Stair", entries, plan.start or calendar.events[0].start.date())


def _cautions_of(plan: StairPlan, event: Event) -> tuple[Caution, ...]:
    """Return what is to be said at the moment of one piece of work."""
    if event.kind == "fit":
        return cautions_for((), ("fit",))
    if event.kind == "rub-out":
        return cautions_for((), ("sand",))
    names = [f"{each.kind} {each.name}" for each in plan.products if each.name == event.product]
    on_stair = any(part.kind in WALKED_ON and part.kind not in plan.away for part in event.parts)
    return cautions_for(names, ("apply", "wet stair") if on_stair else ("apply",))


def risers_document(found: RiserCheck) -> Document:
    """Return ``finishlab/plan-risers/1``: heights in mm, from the bottom up."""
    return _document(
        "plan-risers",
        (),
        before_mm=[round(each, 2) for each in found.before],
        after_mm=[round(each, 2) for each in found.after],
        variation_mm=round(found.variation, 2),
        tread_allowed_mm=None if found.tread_allowed is None else [round(each, 2) for each in found.tread_allowed],
        figures=[
            {
                "what": figure.what,
                "value_mm": round(figure.value, 2),
                "least_mm": figure.least,
                "most_mm": figure.most,
                "holds": figure.holds,
            }
            for figure in found.figures
        ],
        holds=found.holds,
        code=CODE,
        who_decides=WHO_DECIDES,
    )


def floor_purchase_document(found: FloorPurchase) -> Document:
    """Return ``finishlab/plan-floor/1``: areas in m2."""
    return _document(
        "plan-floor",
        (),
        area_m2=round(found.area, 4),
        waste=found.waste,
        with_waste_m2=round(found.with_waste, 4),
        box_m2=round(found.box_area, 4),
        boxes=found.boxes,
        cost=found.cost,
    )


def _document(kind: str, cautions: Sequence[Caution], **content: object) -> Document:
    from finishlab.colorimetry.estimate import COLOUR_SPACE  # loads NumPy, which a plan in words needs not

    head = {"format": f"finishlab/{kind}/1", "colour_space": COLOUR_SPACE}
    said = {"cautions": [each.as_dict() for each in cautions], "defers": DEFERS} if cautions else {}
    return {**head, **content, **said}


def _part(part: Part) -> Document:
    return {"flight": level_title(part.level), "kind": part.kind, "number": part.place, "side": part.side}


def _piece(piece: Piece) -> Document:
    outline = piece.corners
    found: Document = {
        "name": piece.name,
        "length_mm": round(piece.length, 2),
        "width_mm": round(piece.width, 2),
        "strips": piece.strips,
        "outline": None,
    }
    if piece.part is not None and outline is not None:
        shape = piece.part.shape
        found["outline"] = {
            "front_mm": round(shape.front, 2),
            "back_mm": round(shape.back_mm, 2),
            "depth_mm": round(shape.depth, 2),
            "sides_mm": [round(each, 2) for each in outline.sides],
            "diagonals_mm": [round(each, 2) for each in outline.diagonals],
        }
    return found


def _edges(quantity: Quantity) -> int:
    coats = quantity.product.coats
    return coats.top if coats.edges is None else coats.edges


def _source(quantity: Quantity) -> str:
    return "label" if quantity.from_label else COMMON


def _bought(bought: Purchase) -> Document:
    cans = [{"size": can.name, "litres": round(can.litres, 4), "count": count} for can, count in bought.cans]
    currency = {"currency": bought.currency} if bought.currency else {}
    return {"cans": cans, "litres": round(bought.litres, 4), "cost": bought.cost, **currency}


def _words(bought: Purchase | None) -> str | None:
    return None if bought is None else " and ".join(f"{count} x {can.name}" for can, count in bought.cans)


def _cost(bought: Purchase | None) -> float | None:
    return None if bought is None else bought.cost
