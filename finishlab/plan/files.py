"""A plan as tables for a spreadsheet, and as an iCalendar file (RFC 5545), the few properties of it that a plan needs.

Times are local and carry no zone ("floating", section 3.3.5): work at eight is at eight wherever the stair is. The same
plan gives the same file: identifiers are made from what an event says, and the time stamp is the first day of the plan.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.cautions import DEFERS, Caution, cautions_for
from finishlab.coatings import COMMON
from finishlab.plan.calendar import Calendar, Event, nights
from finishlab.plan.cutting import CuttingPlan
from finishlab.plan.geometry import UPRIGHT, WALKED_ON
from finishlab.plan.stair_plan import Quantity, StairPlan
from finishlab.plan.way_up import named
from finishlab.show.csv_text import Cell, csv_text
from finishlab.stair.names import level_title

__all__ = [
    "Entry",
    "calendar_csv",
    "calendar_ics",
    "cutting_csv",
    "icalendar_text",
    "quantities_csv",
]

_LONGEST: Final = 75
"""Longest line, octets (section 3.1)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the calendar.

    Parameters
    ----------
    start, end
        Moments, or days for an entry of whole days (the end is then the day after its last).
    title
        One line.
    text
        More, several lines.
    busy
        Whether somebody is at work then.
    """

    start: dt.datetime | dt.date
    end: dt.datetime | dt.date | None
    title: str
    text: str = ""
    busy: bool = True


def icalendar_text(name: str, entries: Iterable[Entry], stamp: dt.date) -> str:
    """Return the file, with CRLF and lines folded.

    Parameters
    ----------
    name
        Of the calendar.
    entries
        In their order.
    stamp
        Day that stands as the moment the entries were made.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//finishlab//stair plan//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{_escaped(name)}",
    ]
    seen: dict[str, int] = {}
    for entry in entries:
        identity = f"{entry.start}|{entry.end}|{entry.title}|{entry.text}"
        seen[identity] = seen.get(identity, 0) + 1
        lines += _entry(entry, _identifier(f"{identity}|{seen[identity]}"), stamp)
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _entry(entry: Entry, identifier: str, stamp: dt.date) -> list[str]:
    lines = ["BEGIN:VEVENT", f"UID:{identifier}", f"DTSTAMP:{stamp:%Y%m%d}T000000Z", f"DTSTART{_moment(entry.start)}"]
    if entry.end is not None and entry.end != entry.start:
        lines.append(f"DTEND{_moment(entry.end)}")
    lines.append(f"SUMMARY:{_escaped(entry.title)}")
    if entry.text:
        lines.append(f"DESCRIPTION:{_escaped(entry.text)}")
    lines += [f"TRANSP:{'OPAQUE' if entry.busy else 'TRANSPARENT'}", "END:VEVENT"]
    return lines


def _moment(when: dt.datetime | dt.date) -> str:
    if isinstance(when, dt.datetime):
        return f":{when:%Y%m%dT%H%M%S}"
    return f";VALUE=DATE:{when:%Y%m%d}"


def _identifier(text: str) -> str:
    return f"{hashlib.sha256(text.encode()).hexdigest()[:32]}@finishlab"


def _escaped(text: str) -> str:
    """Return a TEXT value (section 3.3.11)."""
    kept = "".join(c for c in text.replace("\r\n", "\n") if c == "\n" or c.isprintable())
    return kept.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def _folded(line: str) -> str:
    """Return a line cut into pieces of at most 75 octets, none within a character; the next begins with a space."""
    pieces, piece, size = [], "", 0
    for character in line:
        octets = len(character.encode())
        if size + octets > _LONGEST:
            pieces.append(piece)
            piece, size = " ", 1
        piece += character
        size += octets
    return "\r\n".join([*pieces, piece])


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
        "diagonal front left mm", "diagonal front right mm", "strip mm", "left angle", "right angle",
    )  # fmt: skip
    rows: list[Sequence[Cell]] = []
    for piece in found.pieces:
        outline: list[Cell] = [round(each, 1) for each in piece.outline] or [None] * 7
        angles = (None, None) if piece.part is None else (round(angle, 1) for angle in piece.part.shape.angles)
        size = (round(piece.length, 1), round(piece.width, 1))
        rows.append((piece.name, *size, piece.strips, *outline, round(piece.strip_width, 1), *angles))
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
            climb = {"single": "", "double": " (double steps)", "none": " (no way up)"}[night.climb]
            title = f"Stair tonight: step only on {named(night.open, several=plan.several)}{climb}"
            entries.append(Entry(night.day, night.day + dt.timedelta(days=1), title, busy=False))
    return icalendar_text("Stair", entries, plan.start or calendar.events[0].start.date())


def _cautions_of(plan: StairPlan, event: Event) -> tuple[Caution, ...]:
    """Return what is to be said at the moment of one piece of work."""
    if event.kind in {"fit", "rub-out"}:
        old = any(part.kind in UPRIGHT for part in event.parts)
        return cautions_for((), ("fit" if event.kind == "fit" else "strip" if old else "sand",))
    names = [f"{each.kind} {each.name}" for each in plan.products if each.name == event.product]
    on_stair = any(part.kind in WALKED_ON and part.kind not in plan.away for part in event.parts)
    return cautions_for(names, ("apply", "wet stair") if on_stair else ("apply",))
