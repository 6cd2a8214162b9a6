"""The days of the work, told, as a spreadsheet and as an iCalendar file (RFC 5545); and what can be walked on now.

Of the standard the file has the few properties that a plan needs. Its times are local and carry no zone ("floating",
section 3.3.5): work at eight is at eight wherever the stair is. The same plan gives the same file: identifiers are made
from what an event says, and the time stamp is the first day of the plan.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from finishlab.cautions import CAUTIONS, DEFERS, Caution, cautions_for
from finishlab.coatings import COMMON
from finishlab.files import Cell, csv_text
from finishlab.plan.calendar import DOUBLE, SAND_LAST, Calendar, Event, Way, nights
from finishlab.plan.documents import part_data
from finishlab.plan.drying import Window, WorkHours, machine_zone
from finishlab.plan.logged import coats_laid
from finishlab.plan.parts import WALKED_ON, parted, way_up
from finishlab.plan.stair_plan import Product, StairPlan
from finishlab.record import gathered
from finishlab.show.document import (
    Block,
    Column,
    Document,
    Line,
    Listing,
    Paragraph,
    Table,
    caution_blocks,
    caution_data,
)
from finishlab.stair.names import UPRIGHT, PartName, full_name, level_title, named, need_flight
from finishlab.stair.progress import progress_of

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.plan.drying import Laid
    from finishlab.stair.records import StoredEvent, StoredStair


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
            {"after": day.isoformat(), **_fields(night, "closed", "open", "climb")}
            for day, night in nights(calendar).items()
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


def _fields(of: Event | Way, *names: str) -> dict[str, Any]:
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
    night_of = nights(calendar)
    days = gathered((event.start.date(), event) for event in calendar.events if event.kind != "recoat")
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
            stay = stay_words(way, several=plan.several)
            yield Paragraph(f"{way.start:%H:%M}-{way.end:%H:%M}  {stay}", 2, 15)
        if day in night_of:
            yield Paragraph(f"night        {stay_words(night_of[day], several=plan.several)}", 2, 15)
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
        by = gathered(
            (product.coat.times.who(name), f"{words} {least:g}{'' if most is None else f' to {most:g}'} h")
            for name, words, (least, most) in _waits(product)
        )
        yield f"{product.title}: " + "; ".join(f"{', '.join(each)} ({who})" for who, each in by.items())
    work = gathered((who, f"{_HOURS[name]} {hours:g} h") for name, (hours, who) in plan.work_hours.items())
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


def _by_daylight(calendar: Calendar, day: dt.date, night: Way | None) -> Iterator[Way]:
    """Return how one gets up while something else is closed on a day than in the night after it."""
    begins = dt.datetime.combine(day, dt.time())
    for way in calendar.ways:
        start, end = max(way.start, begins), min(way.end, begins + dt.timedelta(hours=23, minutes=59))
        if way.closed and start < end and start.date() == day and way.closed != (night.closed if night else ()):
            yield replace(way, start=start, end=end)


def _waiting(plan: StairPlan, days: Sequence[dt.date], night_of: Mapping[dt.date, Way]) -> Iterator[Block]:
    """Tell days on which nothing is done, alike ones together."""
    yield Paragraph(_day(days[0]) if len(days) == 1 else f"{_day(days[0])} to {_day(days[-1])}")
    yield Paragraph(f"drying       {stay_words(night_of[days[0]], several=plan.several)}", 2, 15)


def stay_words(way: Way, *, several: bool) -> str:
    """Say what may be stepped on; flights are named wherever the stair is more than one."""
    several = several or len({part.level for part in (*way.closed, *way.open)}) > 1
    climb = {"single": "", "double": " (double steps)", "none": " (no way up: stay on one floor)"}[way.climb]
    if len(way.closed) * 3 <= len(way.open):
        return f"keep off {named(way.closed, several=several)}{climb}"
    return f"step only on {named(way.open, several=several)}{climb}" if way.open else "nothing can be stepped on"


def _day(day: dt.date) -> str:
    return f"{day:%A} {day.day} {day:%B}"


def _dated(moment: dt.datetime) -> str:
    return f"{_short_day(moment)} {moment.year}"


def _short_moment(moment: dt.datetime) -> str:
    """Return a day and an hour: ``"Mon 3 Jun 14:30"``."""
    return f"{_short_day(moment)} {moment:%H:%M}"


def _short_day(moment: dt.datetime) -> str:
    return f"{moment:%a} {moment.day} {moment:%b}"


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
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//finishlab//stair plan//EN", "CALSCALE:GREGORIAN"]
    lines.append(f"X-WR-CALNAME:{_escaped(name)}")
    seen: Counter[str] = Counter()
    for entry in entries:
        identity = f"{entry.start}|{entry.end}|{entry.title}|{entry.text}"
        seen[identity] += 1
        uid = hashlib.sha256(f"{identity}|{seen[identity]}".encode()).hexdigest()[:32]
        lines += ["BEGIN:VEVENT", f"UID:{uid}@finishlab", f"DTSTAMP:{stamp:%Y%m%d}T000000Z"]
        lines.append(f"DTSTART{_moment(entry.start)}")
        if entry.end is not None and entry.end != entry.start:
            lines.append(f"DTEND{_moment(entry.end)}")
        lines.append(f"SUMMARY:{_escaped(entry.title)}")
        lines += [f"DESCRIPTION:{_escaped(entry.text)}"] if entry.text else []
        lines += [f"TRANSP:{'OPAQUE' if entry.busy else 'TRANSPARENT'}", "END:VEVENT"]
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _moment(when: dt.datetime | dt.date) -> str:
    return f":{when:%Y%m%dT%H%M%S}" if isinstance(when, dt.datetime) else f";VALUE=DATE:{when:%Y%m%d}"


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
    for day, night in nights(calendar).items():
        if night.open:
            climb = {"single": "", "double": " (double steps)", "none": " (no way up)"}[night.climb]
            title = f"Stair tonight: step only on {named(night.open, several=plan.several)}{climb}"
            entries.append(Entry(day, day + dt.timedelta(days=1), title, busy=False))
    return icalendar_text("Stair", entries, plan.start or calendar.events[0].start.date())


def _cautions_of(plan: StairPlan, event: Event) -> tuple[Caution, ...]:
    """Return what is to be said at the moment of one piece of work."""
    if event.kind in {"fit", "rub-out"}:
        old = any(part.kind in UPRIGHT for part in event.parts)
        return cautions_for((), ("fit" if event.kind == "fit" else "strip" if old else "sand",))
    names = [f"{each.kind} {each.name}" for each in plan.products if each.name == event.product]
    on_stair = any(part.kind in WALKED_ON and part.kind not in plan.away for part in event.parts)
    return cautions_for(names, ("apply", "wet stair") if on_stair else ("apply",))


_GLUE: Final = dt.timedelta(days=2)
"""How long after a part was fitted it is worth saying that its adhesive is not known."""
_COLUMNS: Final = (Column("parts"), Column("from", fold=False), Column("since"))
_LISTED: Final = (
    "Where the parts lie is not logged: a step that is missing or loose is open whatever stands here, and a tread that "
    "dries in the workshop closes no step. Go by what you see."
)
_SOCKS: Final = (
    "These are hours until socks, in about 21 C and 50 % humidity; shoes, cold and damp take longer, and labels win."
)


@dataclass(frozen=True, slots=True)
class _Wet:
    """A step that is not to be walked on yet."""

    part: PartName
    opens: dt.datetime
    why: str


def walking_document(log: Logbook, now: dt.datetime | None = None) -> Document:
    """Return ``finishlab/stair-walk/1``: what can be walked on, the steps that cannot with the hour and the reason.

    Every coat on a part counts, not the last alone. One whose hour is not logged is taken to have been given as late as
    can be, so that nothing opens too early.

    Parameters
    ----------
    log
        The open logbook.
    now
        Local time without a zone; the present moment unless it is named.
    """
    now = now or dt.datetime.now(tz=dt.UTC).astimezone().replace(tzinfo=None)
    stair = log.stair()
    wet = sorted(_wet(log, stair, now), key=lambda each: each.opens)
    ways = _ways(stair, wet, now)
    notes = [*_not_known(stair, now), *([_SOCKS] if wet else []), *([_LISTED] if stair.parts else [])]
    data = {
        "at": now.isoformat(timespec="minutes"),
        "closed": [
            {"part": each.part.code, "from": each.opens.isoformat(timespec="minutes"), "since": each.why}
            for each in wet
        ],
        "ways": [
            {"from": way.start.isoformat(timespec="minutes"), "climb": way.climb, "words": words} for way, words in ways
        ],
        "notes": notes,
    }
    return Document("stair-walk", data, tuple(_blocks(stair, wet, ways, notes, now.date())))


def _wet(log: Logbook, stair: StoredStair, now: dt.datetime) -> Iterator[_Wet]:
    hours = WorkHours(zone=machine_zone())
    treads = {(part.name.level, part.name.place): part for part in stair.parts if part.name.kind == "tread"}
    for part, coats in coats_laid(log, stair):
        if part.name.kind not in {*WALKED_ON, "nosing"} or not coats:
            continue
        opens, event, laid = max(
            ((hours.later(laid.ended, laid.coat.times.socks), event, laid) for event, laid in coats),
            key=lambda each: each[0],
        )
        step = treads.get((part.name.level, part.name.place), part) if part.name.kind == "nosing" else part
        if opens > now:
            yield _Wet(step.name, opens, _why(event, laid))


def _why(event: StoredEvent, laid: Laid) -> str:
    """Return what was done when, and who says how long it takes: ``"topcoat 2 at 14:30; 12 h (the label of C1)"``."""
    what = f"{event.step} {event.coat}" if event.step is not None else event.kind
    time = event.conditions.time
    when = f"on {event.date} at {time}" if time is not None else f"on {event.date}, hour not logged"
    who = laid.coat.times.who("socks")
    who = f"usual of {laid.coat.product}" if who == COMMON else who
    return f"{what} {when}; {laid.coat.times.socks:g} h ({who})"


def _ways(stair: StoredStair, wet: Sequence[_Wet], now: dt.datetime) -> list[tuple[Way, str]]:
    """Return how one gets up from now on, and from each moment on at which a step opens."""
    parts = [part.name for part in stair.parts]
    steps, several = way_up(parts), need_flight(parts)
    found = []
    for moment in [now, *dict.fromkeys(each.opens for each in wet)] if steps else []:
        way = Way(moment, moment, *parted(steps, {each.part for each in wet if each.opens > moment}))
        words = stay_words(way, several=several) if way.closed else "every step can be walked on"
        found.append((way, words))
    return found


def _not_known(stair: StoredStair, now: dt.datetime) -> Iterator[str]:
    """Say what the logbook does not know of: adhesive that sets."""
    progress = progress_of(stair.events)
    days = ((progress[part.ident].done.get("fitted"), part.name) for part in stair.parts)
    fitted = gathered((day, name) for day, name in days if day is not None and now.date() - day < _GLUE)
    for day, names in fitted.items():
        told = stair.listed(names)
        yield f"{told}: fitted on {day}. How long the adhesive wants is not known here; its label says it."


def _blocks(
    stair: StoredStair,
    wet: Sequence[_Wet],
    ways: Sequence[tuple[Way, str]],
    notes: Sequence[str],
    today: dt.date,
) -> Iterator[Block]:
    if not ways:
        yield Paragraph("No step of a stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")
        return
    for number, (way, words) in enumerate(ways):
        since = f"From {_when(way.start, today)}" if number else "Now"
        yield Paragraph(f"{since}: {words}." if wet else f"{since}: {words}, as far as is logged.")
    groups = gathered(((each.opens, each.why), each.part) for each in wet)
    several = stair.several_flights
    rows = [(named(parts, several=several), _when(opens, today), why) for (opens, why), parts in groups.items()]
    yield Table(_COLUMNS, rows)
    if any(way.climb == "double" for way, _ in ways):
        yield Paragraph(DOUBLE)
    if wet:
        yield Paragraph(CAUTIONS["blocked-stairs"].spoken)
    yield Listing("Not known here, or not sure", list(notes))


def _when(moment: dt.datetime, today: dt.date) -> str:
    """Return a moment as one says it in the evening: ``"today 21:40"``, ``"tomorrow 09:00"``."""
    days = {today: "today", today + dt.timedelta(days=1): "tomorrow"}
    return f"{days.get(moment.date(), moment.date())} {moment:%H:%M}"
