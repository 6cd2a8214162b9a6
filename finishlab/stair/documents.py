"""What the stair's commands have to say: the stair drawn, a part in full, what is short of a coat, what was logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from finishlab.board.shown import colour_blocks, colour_document, colour_row, photo_namer
from finishlab.logbook.wording import change_line
from finishlab.record import today as this_day
from finishlab.show.document import Block, Cell, Colour, Column, Document, Facts, Line, Listing, Table
from finishlab.stair.deviations import deviations, window_closed
from finishlab.stair.progress import Progress, can_words, missing, passed_over, progress_of, recipe_of
from finishlab.stair.records import (
    COAT_STEPS,
    SIZE_NAMES,
    CoatStep,
    PartSizes,
    StoredEvent,
    StoredPart,
    StoredStair,
    size_facts,
)
from finishlab.stair.shown import (
    FlightShown,
    PartShown,
    coats_words,
    flight_heading,
    grouped,
    parts_shown,
    size_words,
    stair_notes,
)

if TYPE_CHECKING:
    from finishlab.logbook import Change, Logbook

__all__ = ["deviations_document", "due_document", "events_document", "parts_document", "stair_document", "usual_can"]

_EVENT_COLUMNS: Final = (
    *(Column(name, fold=False) for name in ("event", "day", "what", "recipe")), Column("can"), Column("remarks"),
)  # fmt: skip
_DUE_COLUMNS: Final = (
    Column("parts"), Column("short of"), Column("next", fold=False), Column("not before", fold=False),
    Column("can so far"),
)  # fmt: skip
_DEVIATION_COLUMNS: Final = (
    Column("part", fold=False), Column("event", fold=False), Column("day", fold=False), Column("what"),
)  # fmt: skip
_HOURS_A_DAY: Final = 24.0


def stair_document(flights: Sequence[FlightShown], notes: Sequence[str] = ()) -> Document:
    """Return ``finishlab/stair/1``: flights from the bottom up, their parts, states and colours; drawn too."""
    told = [
        {"flight": flight.title, "record": flight.record.as_dict(), "parts": [_part(part) for part in flight.parts]}
        for flight in flights
    ]
    return Document("stair", {"flights": told, "notes": list(notes)}, tuple(_picture(flights)))


def _picture(flights: Sequence[FlightShown]) -> Iterator[Block]:
    """Draw the stair as it stands: the top flight first, in it the top step first."""
    if not flights:
        yield Line("No stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")
        return
    for flight in reversed(flights):
        yield Line(flight_heading(flight))
        yield _flight_table(flight)
        yield Line()
    for note in stair_notes(flights):
        yield Line(f"- {note}")
    if any(part.lab is not None for flight in flights for part in flight.parts):
        yield Line("Figures: L* a* b* as measured since the last coat.")
    yield Line("Counted from the bottom up; left and right are seen from below.")


def _flight_table(flight: FlightShown) -> Table:
    """Return a flight as steps, and beside each step its name, its colour where any is measured, and its state."""
    measured = any(part.lab is not None for part in flight.parts)
    steps = sorted((part for part in flight.parts if part.record.kind == "tread"), key=lambda part: -part.name.place)
    top = [part for part in flight.parts if part.record.kind in {"landing nosing", "landing board"}]
    others = [part for part in flight.parts if part.record.kind not in {"tread", "landing nosing", "landing board"}]
    drawn = _steps(len(steps), flat=flight.record.kind == "landing")
    cells: list[tuple[str, str, PartShown]] = []
    cells += [(drawn[0] if index == 0 else "", name, alike[0]) for index, (name, alike) in enumerate(grouped(top))]
    floor = [] if top else [(drawn[0], *[""] * (3 if measured else 2))]
    cells += [(line, part.name.words(with_level=False), part) for line, part in zip(drawn[1:], steps, strict=False)]
    cells += [("", name, alike[0]) for name, alike in grouped(others)]
    rows: list[Sequence[Cell]] = [*floor]
    rows += [(line, name, *([Colour(part.lab)] if measured else []), _marked(part)) for line, name, part in cells]
    colour = [Column("", fold=False)] if measured else []
    return Table((Column("", fold=False), Column("", fold=False), *colour, Column("")), rows, ruled=False)


def _marked(part: PartShown) -> str:
    """Return a part's state, marked where something was done otherwise than planned."""
    return f"{part.state} (!)" if part.deviations else part.state


def _steps(count: int, *, flat: bool) -> list[str]:
    """Return the lines of a flight from its top down: the floor above it, then each tread."""
    if flat:
        return [f"┌{'─' * 9}"]
    wide = next((width for most, width in ((8, 3), (14, 2)) if count <= most), 1)
    lines = [f"{' ' * (count * wide)}┌───"]
    return lines + [f"{' ' * (place * wide)}┌{'─' * (wide - 1)}┘" for place in reversed(range(count))]


def _part(part: PartShown) -> dict[str, Any]:
    return {
        "part": part.name.code,
        "words": part.words,
        "record": part.record.as_dict(),
        "recipe": part.recipe,
        "state": part.state,
        "coats": dict(part.coats),
        "wanted": dict(part.wanted),
        "fitted": part.fitted,
        "deviations": list(part.deviations),
        "changed_since_approval": bool(part.changed),
        "last": None if part.last is None else part.last.isoformat(),
        "lab": None if part.lab is None else [round(value, 3) + 0.0 for value in part.lab],
        "light": part.light,
        "note": part.note or None,
    }


def parts_document(log: Logbook, text: str) -> Document:
    """Return ``finishlab/stair-parts/1``: the parts somebody means, all that was done to them and measured of them.

    Raises as `StoredStair.named`.
    """
    stair = log.stair()
    shown, progress = parts_shown(stair), progress_of(stair.events)
    data: list[dict[str, Any]] = []
    blocks: list[Block] = []
    for part in stair.named(text):
        mine = shown[part.ident]
        finish = _finish_sentences(stair, mine, progress.get(part.ident))
        logged = [event for event in stair.events if event.part == part.ident]
        events = [_event(stair, event) for event in logged]
        colours = [colour_row(each, photo_namer(log)) for each in log.part_measurements(part.ident)]
        told = [
            {**row, "conditions": event.conditions.as_dict() or None} for row, event in zip(events, logged, strict=True)
        ]
        history = [change_line(change) for change in _told(log.stair_history(part.code))]
        measured = [colour_document(colour) for colour in colours]
        data.append(_part(mine) | {"finish": finish, "events": told, "measurements": measured, "history": history})
        blocks += [Line()] if blocks else []
        blocks += [*map(Line, finish), Line(), _facts(mine)]
        blocks += [Line(), Table(_EVENT_COLUMNS, [tuple(event.values()) for event in events])] if events else []
        blocks += colour_blocks(colours) if colours else []
        blocks.append(Listing("History", history))
    return Document("stair-parts", {"parts": data}, blocks)


def _facts(part: PartShown) -> Facts:
    record = part.record
    rows = (
        ("code", part.name.code),
        ("state", part.state),
        ("to have", ", ".join(coats_words(step, count) for step, count in part.wanted.items()) or None),
        ("sizes", size_words(record.sizes)),
        ("wood", record.species),
        ("recipe", part.recipe),
        ("fixing", record.fixing),
        ("note", record.note),
        ("colour", f"it is {part.note}" if part.note else None),
        ("not as planned", " ".join(part.deviations) or None),
    )
    return Facts(part.words.capitalize(), rows)


def _finish_sentences(stair: StoredStair, part: PartShown, progress: Progress | None) -> list[str]:
    """Return which finish is on a part and from which cans."""
    if progress is None or not progress.coats:
        planned = f" It is to get {part.recipe}." if part.recipe else ""
        return [f"No finish is on {part.words} yet.{planned}"]
    sentences = [f"On {part.words}: {part.recipe or 'no recipe named'}."]
    for step in COAT_STEPS:
        coats = progress.coats.get(step, [])
        for number in dict.fromkeys(event.batch_number for event in coats):
            mine = [event for event in coats if event.batch_number == number]
            count = f"{len(mine)} coats" if len(mine) > 1 else "1 coat"
            days = " and ".join(dict.fromkeys(str(event.date) for event in mine))
            can = can_words(number, stair.cans) or "no can named"
            place = None if number is None or number not in stair.cans else stair.cans[number].place
            kept = f"; the rest is kept in: {place}" if place else ""
            sentences.append(f"{step.capitalize()}: {count} on {days} from {can}{kept}.")
    return sentences


def _event(stair: StoredStair, event: StoredEvent) -> dict[str, str | None]:
    """Return one thing done to a part, as the document has it and in the order of the table's columns."""
    remarks = [
        event.faces,
        event.conditions.words,
        f"not as the recipe: {event.deviation}" if event.deviation else None,
        event.note,
    ]
    return {
        "event": f"E{event.ident}",
        "date": event.date.isoformat(),
        "what": f"{event.step} {event.coat}" if event.kind == "coat" else event.kind,
        "recipe": None if event.recipe_number is None else f"R{event.recipe_number}",
        "can": can_words(event.batch_number, stair.cans),
        "remarks": "; ".join(remark for remark in remarks if remark),
    }


def _told(changes: Sequence[Change]) -> list[Change]:
    """Leave out what the list of events says already; sizes and recipe are told each by itself."""
    kept = [change for change in changes if change.what not in {"log", "add-photos"}]
    return [replace(change, before=_flat(change.before), after=_flat(change.after)) for change in kept]


def _flat(values: Mapping[str, object] | None) -> dict[str, object] | None:
    if values is None or "sizes" not in values:
        return None if values is None else dict(values)
    sizes = values["sizes"] if isinstance(values["sizes"], Mapping) else {}
    known = size_facts(PartSizes.from_dict(sizes))
    recipe = values.get("recipe_number")
    told = {name: value for name, value in values.items() if name not in {"sizes", "recipe_number"}}
    each = {name: known.get(name) for name in SIZE_NAMES}
    return told | each | {"recipe": None if recipe is None else f"R{recipe}"}


def due_document(
    stair: StoredStair, text: str = "", given: Mapping[CoatStep, int] | None = None, *, today: dt.date | None = None
) -> Document:
    """Return ``finishlab/stair-due/1``: the parts still short of a coat, those short of the same together.

    Parameters
    ----------
    stair
        The stair.
    text
        Which parts; all unless they are named. Raises as `StoredStair.named`.
    given
        Coats wanted, in the place of what the recipes say.
    today
        The day by which a recoat window is open or closed; today unless it is named.
    """
    shown, progress = parts_shown(stair, given), progress_of(stair.events)
    groups: dict[tuple[str, str, dt.date | None, str | None, str], list[PartShown]] = {}
    closed: dict[str, dt.date] = {}
    for part in stair.named(text) if text.strip() else stair.parts:
        row, known = shown[part.ident], progress.get(part.ident, Progress())
        short = missing(known, row.wanted)
        if not short:
            continue
        step = next(iter(short))
        told = ", ".join(coats_words(each, len(left)) for each, left in short.items())
        end = window_closed(stair, known, today or this_day())
        remark = "" if end is None else f"window closed on {end}, rub out first"
        if end is not None:
            closed[remark] = end
        first = _not_before(stair, known, step)
        key = (
            told,
            f"{step} {short[step][0]}",
            first,
            can_words(usual_can(stair, part, step, progress), stair.cans),
            remark,
        )
        groups.setdefault(key, []).append(row)
    rows = [(stair.listed(part.name for part in parts), *key) for key, parts in groups.items()]
    data = [
        {
            "parts": [part.name.code for part in parts],
            "words": words,
            "short_of": short_of,
            "next": next_coat,
            "not_before": None if first is None else first.isoformat(),
            "can": can,
            "recipes": list(dict.fromkeys(part.recipe for part in parts)),
            "window_closed": closed[remark].isoformat() if remark else None,
            "remark": remark or None,
        }
        for parts, (words, short_of, next_coat, first, can, remark) in zip(groups.values(), rows, strict=True)
    ]
    assumed = "topcoat" not in (given or {}) and any(row.recipe is None for parts in groups.values() for row in parts)
    notes = _due_notes(stair, [row for parts in groups.values() for row in parts], shown, progress)
    return Document("stair-due", {"due": data, "notes": notes}, tuple(_due_blocks(rows, notes, assumed=assumed)))


def _due_notes(
    stair: StoredStair, short: Sequence[PartShown], shown: Mapping[int, PartShown], progress: Mapping[int, Progress]
) -> list[str]:
    """Say which recipes were changed since they were approved, and which coats were passed over for good."""
    notes = list(dict.fromkeys(row.changed for row in short if row.changed))
    over: dict[str, list[StoredPart]] = {}
    for part in stair.parts:
        for step in passed_over(progress.get(part.ident, Progress()), shown[part.ident].wanted):
            over.setdefault(step, []).append(part)
    return notes + [
        f"{stair.listed(part.name for part in parts)}: {step} was passed over, and does not take over what is on it; "
        "sand it and begin anew, or leave it so."
        for step, parts in over.items()
    ]


def _due_blocks(rows: Sequence[Sequence[Cell]], notes: Sequence[str], *, assumed: bool) -> Iterator[Block]:
    if rows:
        told = any(row[-1] for row in rows)
        columns = (*_DUE_COLUMNS, Column("note")) if told else _DUE_COLUMNS
        yield Table(columns, rows if told else [row[:-1] for row in rows])
    else:
        yield Line("No part is short of a coat.")
    yield from map(Line, notes)
    if rows and assumed:
        yield Line("Where no recipe says how many topcoats, 3 are taken (general articles); name yours: --topcoats 4")
    if rows:
        yield Line("The labels of the cans win.")


def deviations_document(stair: StoredStair, text: str = "") -> Document:
    """Return ``finishlab/stair-deviations/1``: what was done otherwise than planned, part by part.

    Raises as `StoredStair.named`.
    """
    parts = {part.ident: part for part in (stair.named(text) if text.strip() else stair.parts)}
    events = {event.ident: event for event in stair.events}
    found = [each for each in deviations(stair) if each.part in parts]
    found.sort(key=lambda each: (parts[each.part].name.order, each.event))
    rows = [(stair.words(parts[each.part]), f"E{each.event}", events[each.event].date, each.sentence) for each in found]
    data = [
        {"part": parts[each.part].code, "event": f"E{each.event}", "date": events[each.event].date.isoformat()}
        | {"code": each.code, "sentence": each.sentence}
        for each in found
    ]
    none = (Line("Nothing was logged that differs from what was planned."),)
    if not rows:
        return Document("stair-deviations", {"deviations": data}, none)
    one = rows[0][1]
    hint = (
        f"Logged by mistake? Change it, for example: finishlab stairs edit-event {one} --help, or take it back: "
        f"finishlab stairs remove {one}"
    )
    return Document("stair-deviations", {"deviations": data}, (Table(_DEVIATION_COLUMNS, rows), Line(hint)))


def _not_before(stair: StoredStair, progress: Progress, step: CoatStep) -> dt.date | None:
    """Return the first day on which the label of the last coat's can allows a coat of a step."""
    last = progress.last_coat
    can = None if last is None or last.batch_number is None else stair.cans.get(last.batch_number)
    if last is None or can is None or can.label is None:
        return None
    wait = can.label.next_coat_h(another=last.step != step)
    if wait is None:
        return None
    if last.conditions.time is not None:
        return (last.moment + dt.timedelta(hours=wait)).date()
    return last.date + dt.timedelta(days=int(wait // _HOURS_A_DAY))


def usual_can(stair: StoredStair, part: StoredPart, step: CoatStep, progress: Mapping[int, Progress]) -> int | None:
    """Return the can a step was last done from, on this part or on others of its recipe, else the recipe's."""
    found = recipe_of(stair, part, progress.get(part.ident))
    recipe = None if found is None else found.number
    coats = [
        event
        for each in progress.values()
        for event in each.coats.get(step, ())
        if event.batch_number is not None and event.recipe_number == recipe
    ]
    if coats:
        return max(coats, key=lambda event: (event.date, event.ident)).batch_number
    if found is None:
        return None
    finish = found.finish
    named = finish.steps if step == "stain" else (finish.seal if step == "seal" else finish.topcoat,)
    numbers = (each.can_number for each in named if each is not None and each.can_number is not None)
    return next(numbers, None)


def events_document(events: Iterable[tuple[str, str]], notes: Sequence[str]) -> Document:
    """Return ``finishlab/stair-events/1``: numbers and parts of what was logged, and what is worth a second look."""
    logged = [{"event": number, "part": part} for number, part in events]
    return Document("stair-events", {"events": logged, "notes": list(notes)})
