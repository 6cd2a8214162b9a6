"""A plan as tables for a spreadsheet, and as entries of a calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from finishlab.cautions import DEFERS, Caution, cautions_for
from finishlab.coatings import COMMON
from finishlab.plan.calendar import Calendar, Event, nights
from finishlab.plan.cutting import CuttingPlan
from finishlab.plan.geometry import WALKED_ON
from finishlab.plan.icalendar import Entry, icalendar_text
from finishlab.plan.stair_plan import Quantity, StairPlan
from finishlab.plan.way_up import named
from finishlab.reports.tables import Cell, csv_text
from finishlab.stair.names import level_title

__all__ = ["calendar_csv", "calendar_ics", "cutting_csv", "quantities_csv"]


def quantities_csv(found: Sequence[Quantity]) -> str:
    """Return one row a product."""
    header = (
        "product", "kind", "parts", "coats top", "coats edges", "coats underside", "area to coat m2",
        "coverage least m2/L", "coverage most m2/L", "coverage source", "waste %", "litres least", "litres most",
        "buy least", "buy most", "cost least", "cost most", "currency", "coverage from", "cans from",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for each in found:
        product, need, buy = each.product, each.need, each.buy or ()
        coats = (product.coats.top, product.coats.on_edges, product.coats.under)
        area = (round(need.coat_area, 4), *(round(value, 4) for value in need.coverage))
        litres = (round(need.waste * 100, 4), *(round(value, 4) for value in need.litres))
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
        "diagonal front left mm", "diagonal front right mm",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for piece in found.pieces:
        outline = (round(each, 1) for each in piece.outline)
        rows.append((piece.name, round(piece.length, 1), round(piece.width, 1), piece.strips, *outline))
    return csv_text(header, rows)


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
    if event.kind in {"fit", "rub-out"}:
        return cautions_for((), ("fit" if event.kind == "fit" else "sand",))
    names = [f"{each.kind} {each.name}" for each in plan.products if each.name == event.product]
    on_stair = any(part.kind in WALKED_ON and part.kind not in plan.away for part in event.parts)
    return cautions_for(names, ("apply", "wet stair") if on_stair else ("apply",))
