"""Which steps can be walked on now, and from when the others: what is logged of the stair, held against the hours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from finishlab.cautions import CAUTIONS
from finishlab.coatings import COMMON
from finishlab.plan.calendar import DOUBLE, Night
from finishlab.plan.days import stay_words
from finishlab.plan.drying import WorkHours, machine_zone
from finishlab.plan.logged import coats_laid, planned_part
from finishlab.plan.parts import WALKED_ON, Part, named, need_flight, parted, way_up
from finishlab.show.document import Block, Column, Document, Listing, Paragraph, Table
from finishlab.stair.progress import progress_of

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.plan.drying import Laid
    from finishlab.stair.records import StoredEvent, StoredPart, StoredStair


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

    part: Part
    code: str
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
            {"part": each.code, "from": each.opens.isoformat(timespec="minutes"), "since": each.why} for each in wet
        ],
        "ways": [
            {"from": moment.isoformat(timespec="minutes"), "climb": way.climb, "words": words}
            for moment, way, words in ways
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
        shaped = planned_part(step, sized=False)
        if opens > now and shaped is not None:
            yield _Wet(shaped, step.code, opens, _why(event, laid))


def _why(event: StoredEvent, laid: Laid) -> str:
    """Return what was done when, and who says how long it takes: ``"topcoat 2 at 14:30; 12 h (the label of C1)"``."""
    what = f"{event.step} {event.coat}" if event.step is not None else event.kind
    time = event.conditions.time
    when = f"on {event.date} at {time}" if time is not None else f"on {event.date}, hour not logged"
    who = laid.coat.times.who("socks")
    who = f"usual of {laid.coat.product}" if who == COMMON else who
    return f"{what} {when}; {laid.coat.times.socks:g} h ({who})"


def _ways(stair: StoredStair, wet: Sequence[_Wet], now: dt.datetime) -> list[tuple[dt.datetime, Night, str]]:
    """Return how one gets up from now on, and from each moment on at which a step opens."""
    parts = [each for part in stair.parts if (each := planned_part(part, sized=False)) is not None]
    steps, several = way_up(parts), need_flight(parts)
    found = []
    for moment in [now, *dict.fromkeys(each.opens for each in wet)] if steps else []:
        way = Night(moment.date(), *parted(steps, {each.part for each in wet if each.opens > moment}))
        words = stay_words(way, several=several) if way.closed else "every step can be walked on"
        found.append((moment, way, words))
    return found


def _not_known(stair: StoredStair, now: dt.datetime) -> Iterator[str]:
    """Say what the logbook does not know of: adhesive that sets."""
    progress = progress_of(stair.events)
    fitted: dict[dt.date, list[StoredPart]] = {}
    for part in stair.parts:
        day = progress[part.ident].done.get("fitted") if part.ident in progress else None
        if day is not None and now.date() - day < _GLUE:
            fitted.setdefault(day, []).append(part)
    for day, parts in fitted.items():
        names = stair.listed(part.name for part in parts)
        yield f"{names}: fitted on {day}. How long the adhesive wants is not known here; its label says it."


def _blocks(
    stair: StoredStair,
    wet: Sequence[_Wet],
    ways: Sequence[tuple[dt.datetime, Night, str]],
    notes: Sequence[str],
    today: dt.date,
) -> Iterator[Block]:
    if not ways:
        yield Paragraph("No step of a stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")
        return
    for number, (moment, _, words) in enumerate(ways):
        since = f"From {_when(moment, today)}" if number else "Now"
        yield Paragraph(f"{since}: {words}." if wet else f"{since}: {words}, as far as is logged.")
    groups: dict[tuple[dt.datetime, str], list[Part]] = {}
    for each in wet:
        groups.setdefault((each.opens, each.why), []).append(each.part)
    several = stair.several_flights
    rows = [(named(parts, several=several), _when(opens, today), why) for (opens, why), parts in groups.items()]
    yield Table(_COLUMNS, rows)
    if any(way.climb == "double" for _, way, _ in ways):
        yield Paragraph(DOUBLE)
    if wet:
        yield Paragraph(CAUTIONS["blocked-stairs"].spoken)
    yield Listing("Not known here, or not sure", list(notes))


def _when(moment: dt.datetime, today: dt.date) -> str:
    """Return a moment as one says it in the evening: ``"today 21:40"``, ``"tomorrow 09:00"``."""
    days = {today: "today", today + dt.timedelta(days=1): "tomorrow"}
    return f"{days.get(moment.date(), moment.date())} {moment:%H:%M}"
