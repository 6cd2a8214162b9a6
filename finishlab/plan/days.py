"""The days of the work: as a document, as a table for a spreadsheet, and as an iCalendar file (RFC 5545).

Of the standard the file has the few properties that a plan needs. Its times are local and carry no zone ("floating",
section 3.3.5): work at eight is at eight wherever the stair is. The same plan gives the same file: identifiers are made
from what an event says, and the time stamp is the first day of the plan.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from finishlab.cautions import DEFERS, Caution, cautions_for
from finishlab.files import Cell, csv_text
from finishlab.plan.calendar import SAND_LAST, Calendar, Event, Night, Way, nights
from finishlab.plan.documents import part_data
from finishlab.plan.drying import Window
from finishlab.plan.parts import WALKED_ON, full_name, named
from finishlab.plan.stair_plan import Product, StairPlan
from finishlab.show.document import Block, Document, Line, Listing, Paragraph, caution_blocks, caution_data
from finishlab.stair.names import UPRIGHT, level_title

_WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def calendar_document(
    plan: StairPlan, calendar: Calendar, cautions: Sequence[Caution], *, by_part: bool = False
) -> Document:
    """Return ``finishlab/plan-calendar/1``: events with local times, and what is open in each night.

    For people it is told day by day, or part by part.
    """
    data = {
        "start": None if plan.start is None else plan.start.isoformat(),
        "notes": [*plan.notes, *calendar.notes],
        "events": [_fields(event, "kind", "start", "end", "what", "parts") for event in calendar.events],
        "nights": [
            {"after": night.day.isoformat(), **_fields(night, "closed", "open", "climb")} for night in nights(calendar)
        ],
        "ways": [_fields(way, "start", "end", "closed", "open", "climb") for way in calendar.ways],
        "products": [_hours_data(product) for product in plan.products],
        "work": {name: hours for name, (hours, _) in plan.work_hours.items()},
        "sources": {name: who for name, (_, who) in plan.work_hours.items()},
    }
    told = _by_part(plan, calendar) if by_part else _by_day(plan, calendar)
    hours = Listing("Hours it is planned with", list(_hours(plan)))
    blocks = (*told, hours, Line(), *caution_blocks(cautions))
    return Document("plan-calendar", data | caution_data(cautions), blocks)


def _fields(of: Event | Night | Way, *names: str) -> dict[str, Any]:
    """Return the JSON form of fields: moments to the minute, parts as documents name them."""
    told = {}
    for name in names:
        value = getattr(of, name)
        if isinstance(value, dt.datetime):
            value = value.isoformat(timespec="minutes")
        told[name] = list(map(part_data, value)) if isinstance(value, tuple) else value
    return told


def _by_day(plan: StairPlan, calendar: Calendar) -> Iterator[Block]:
    """Tell the calendar day by day, and for each night what may be stepped on."""
    notes = (*plan.notes, *calendar.notes)
    yield from map(Paragraph, (_summary(calendar), *(f"Note: {note}" for note in notes)))
    yield Line()
    night_of = {night.day: night for night in nights(calendar)}
    days: dict[dt.date, list[Event]] = {}
    for event in calendar.events:
        if event.kind != "recoat":
            days.setdefault(event.start.date(), []).append(event)
    waiting: list[dt.date] = []
    for day in sorted({*days, *night_of}):
        if waiting and (day in days or night_of[day].closed != night_of[waiting[-1]].closed):
            yield from _waiting(plan, waiting, night_of)
            waiting = []
        if day not in days:
            waiting.append(day)
            continue
        yield Paragraph(_day(day))
        for event in days[day]:
            yield Paragraph(_event(plan, calendar, event), 2, 15)
        for way in _by_daylight(calendar, day, night_of.get(day)):
            stay = _stay(plan, way)
            yield Paragraph(f"{way.start:%H:%M}-{way.end:%H:%M}  {stay}", 2, 15)
        if day in night_of:
            yield Paragraph(f"night        {_stay(plan, night_of[day])}", 2, 15)
    yield Line()
    yield Paragraph(
        "Planned for about 21 C and 50 % humidity; cold or damp air takes longer, so test before you go on."
    )
    yield Paragraph(SAND_LAST)


_HOURS: Final = {
    "coat_h": "a coat of a group of parts takes",
    "rub_out_h": "rubbing out takes",
    "fit_h": "taking a part out and fitting the new takes",
    "set_h": "glue holds after",
    "ready_h": "a part is handled after its last coat after",
}


def _waits(product: Product) -> Iterator[tuple[str, str, Window]]:
    """Give the hours of a product: the field's name, in words, and from when to when."""
    times = product.coat.times
    yield "recoat", "next coat", times.recoat
    if times.under_other is not None:
        yield "under_other", "another product over it", times.under_other
    for name, words in (("socks", "walked on in socks"), ("use", "used with care"), ("cure", "cured")):
        yield name, words, (getattr(times, name), None)


def _hours_data(product: Product) -> dict[str, Any]:
    waits, times = {name: window for name, _, window in _waits(product)}, product.coat.times
    return {
        "name": product.name,
        "kind": product.kind,
        "recoat_h": list(waits["recoat"]),
        "under_other_h": list(waits["under_other"]) if "under_other" in waits else None,
        **{f"{name}_h": getattr(times, name) for name in ("socks", "use", "cure")},
        "sources": {f"{name}_h": times.who(name) for name in waits},
    }


def _hours(plan: StairPlan) -> Iterator[str]:
    """Tell the hours of each product and of the work, and who says them."""
    for product in {each.title: each for each in plan.products}.values():
        by: dict[str, list[str]] = {}
        for name, words, (least, most) in _waits(product):
            until = "" if most is None else f" to {most:g}"
            by.setdefault(product.coat.times.who(name), []).append(f"{words} {least:g}{until} h")
        yield f"{product.title}: " + "; ".join(f"{', '.join(each)} ({who})" for who, each in by.items())
    work: dict[str, list[str]] = {}
    for name, (hours, who) in plan.work_hours.items():
        work.setdefault(who, []).append(f"{_HOURS[name]} {hours:g} h")
    yield from (f"{', '.join(each)} ({who})" for who, each in work.items())


def _by_part(plan: StairPlan, calendar: Calendar) -> Iterator[Block]:
    """Tell the calendar part by part."""
    for part in plan.parts:
        events = [event for event in calendar.of(part) if event.kind != "recoat"]
        if events:
            yield Paragraph(full_name(part, several=plan.several).capitalize())
            for event in events:
                yield Paragraph(f"{_short_moment(event.start)}  {event.what}", 2, 21)
            yield Line()


def _summary(calendar: Calendar) -> str:
    """Return from when to when, and when the stair can be used again."""
    milestones = (("walk-on", "every step can be walked on"), ("use", "used with care"), ("cure", "cured"))
    last = {kind: max((e.start for e in calendar.events if e.kind == kind), default=None) for kind, _ in milestones}
    work = [event for event in calendar.events if event.is_work]
    latest = work[-1].start
    words = [f"Work from {_dated(work[0].start)} to {_dated(latest)}"]
    for kind, text in milestones:
        when = last[kind]
        if when is not None and when >= latest:  # parts finished away may be hard before the last is fitted
            words.append(f"{text} from {_dated(when)}")
            latest = when
    return "; ".join(words) + "."


def _event(plan: StairPlan, calendar: Calendar, event: Event) -> str:
    who = named(event.parts, several=plan.several)
    if event.kind == "cover" and event.end is not None:
        return f"until {_short_moment(event.end)}   {event.what}: {who}"
    if event.is_work and event.end is not None:
        return f"{event.start:%H:%M}-{event.end:%H:%M}  {event.what}: {who}{_window(calendar, event)}"
    return f"from {event.start:%H:%M}   {event.what}: {who}"


def _window(calendar: Calendar, event: Event) -> str:
    """Return until when a coat must be on, or that it comes late."""
    if event.kind != "coat":
        return ""
    for each in calendar.events:
        if each.kind == "recoat" and each.coat == event.coat and each.parts == event.parts:
            if each.end is not None:
                return f" (must be on by {_short_moment(each.end)})"
            return " (the usual window is missed, so only after the rub-out)" if "missed" in each.what else ""
    return ""


def _by_daylight(calendar: Calendar, day: dt.date, night: Night | None) -> Iterator[Way]:
    """Return how one gets up while something else is closed on a day than in the night after it."""
    begins = dt.datetime.combine(day, dt.time())
    for way in calendar.ways:
        start, end = max(way.start, begins), min(way.end, begins + dt.timedelta(hours=23, minutes=59))
        if way.closed and start < end and start.date() == day and way.closed != (night.closed if night else ()):
            yield replace(way, start=start, end=end)


def _waiting(plan: StairPlan, days: Sequence[dt.date], night_of: Mapping[dt.date, Night]) -> Iterator[Block]:
    """Tell days on which nothing is done, alike ones together."""
    yield Paragraph(_day(days[0]) if len(days) == 1 else f"{_day(days[0])} to {_day(days[-1])}")
    yield Paragraph(f"drying       {_stay(plan, night_of[days[0]])}", 2, 15)


def _stay(plan: StairPlan, way: Night | Way) -> str:
    return stay_words(way, several=plan.several)


def stay_words(way: Night | Way, *, several: bool) -> str:
    """Say what may be stepped on; flights are named wherever the stair is more than one."""
    several = several or len({part.level for part in (*way.closed, *way.open)}) > 1
    climb = {"single": "", "double": " (double steps)", "none": " (no way up: stay on one floor)"}[way.climb]
    if len(way.closed) * 3 <= len(way.open):
        return f"keep off {named(way.closed, several=several)}{climb}"
    return f"step only on {named(way.open, several=several)}{climb}" if way.open else "nothing can be stepped on"


def _day(day: dt.date) -> str:
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def _dated(moment: dt.datetime) -> str:
    return f"{_short_day(moment)} {moment.year}"


def _short_moment(moment: dt.datetime) -> str:
    """Return a day and an hour: ``"Mon 3 Jun 14:30"``."""
    return f"{_short_day(moment)} {moment:%H:%M}"


def _short_day(moment: dt.datetime) -> str:
    return f"{_WEEKDAYS[moment.weekday()][:3]} {moment.day} {_MONTHS[moment.month - 1][:3]}"


_LONGEST: Final = 75
"""Longest line of an iCalendar file, octets (RFC 5545, section 3.1)."""


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
