"""The stair as the logbook has it, as rows to show: each part's state, colour, finish and what it is still short of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from finishlab.logbook import StoredEvent, StoredPart, StoredStair
from finishlab.records import PartSizes
from finishlab.records.stair_names import parse_parts, select
from finishlab.records.stairs import COAT_STEPS, SIZE_NAMES, CoatStep, size_facts
from finishlab.reports.rows import ColourRow
from finishlab.reports.stair.rows import DueRow, EventRow, FlightShown, PartDetail, PartShown, coats_words
from finishlab.workflow.stair.colours import Coloured, colours_now
from finishlab.workflow.stair.state import Progress, can_words, progress_of, recipe_of, state_words, wanted

if TYPE_CHECKING:
    from finishlab.logbook import Change, Logbook, StoredMeasurement
    from finishlab.stairs.geometry import Part as PlannedPart

__all__ = ["due_rows", "flights_shown", "named_parts", "part_details", "parts_for_plan"]

_HOURS_A_DAY: Final = 24.0
_ANY_SIZE: Final = (900.0, 250.0, 25.0)
"""Sizes of a part of which only the days are asked."""


def named_parts(stair: StoredStair, text: str) -> list[StoredPart]:
    """Return the parts somebody means, in the order of the stair.

    Raises
    ------
    UsageError
        ``"bad-parts"``, ``"which-flight"``, ``"which-part"``.
    LogbookError
        ``"unknown-part"``.
    """
    by_name = {part.name: part for part in stair.parts}
    return [by_name[name] for name in select(parse_parts(text), list(by_name))]


def flights_shown(stair: StoredStair, given: Mapping[CoatStep, int] | None = None) -> list[FlightShown]:
    """Return the flights from the bottom up with their parts; `given` as in `finishlab.workflow.stair.state.wanted`."""
    shown = _parts_shown(stair, given)
    flights = []
    for flight in stair.flights:
        parts = tuple(shown[part.ident] for part in stair.parts if part.record.flight_number == flight.number)
        flights.append(FlightShown(flight.title, flight.record, parts))
    return flights


def _parts_shown(stair: StoredStair, given: Mapping[CoatStep, int] | None = None) -> dict[int, PartShown]:
    progress = progress_of(stair.events)
    colours = colours_now(stair, progress)
    called = _names(stair)
    return {
        part.ident: _shown(stair, part, called(part), progress.get(part.ident), colours.get(part.ident), given)
        for part in stair.parts
    }


def _names(stair: StoredStair) -> Callable[[StoredPart], str]:
    """Return what names parts; as `StoredStair.words`, with the levels counted once."""
    levels: dict[str, set[int]] = {}
    for part in stair.parts:
        levels.setdefault(part.name.kind, set()).add(part.name.level)
    return lambda part: part.name.words(with_level=len(levels[part.name.kind]) > 1)


def _shown(
    stair: StoredStair,
    part: StoredPart,
    words: str,
    progress: Progress | None,
    colour: Coloured | None,
    given: Mapping[CoatStep, int] | None,
) -> PartShown:
    want = wanted(stair, part, progress, given)
    return PartShown(
        name=part.name,
        words=words,
        record=part.record,
        recipe=_recipe_words(stair, recipe_of(part, progress)),
        state=state_words(progress, want),
        coats={} if progress is None else {step: progress.count(step) for step in COAT_STEPS if progress.count(step)},
        wanted={step: want[step] for step in COAT_STEPS if want.get(step)},
        fitted=progress is not None and "fitted" in progress.done,
        last=None if progress is None or progress.last is None else progress.last.date,
        lab=None if colour is None else colour.lab,
        light=None if colour is None else colour.light,
        note="" if colour is None else colour.note,
    )


def _recipe_words(stair: StoredStair, number: int | None) -> str | None:
    if number is None:
        return None
    recipe = stair.recipes.get(number)
    return f"R{number}" if recipe is None else f"R{number} {recipe.name}"


def part_details(log: Logbook, text: str) -> list[PartDetail]:
    """Return all that is known of the parts somebody means; raises as `named_parts`."""
    from finishlab.workflow.rows import change_line, photo_namer

    stair = log.stair()
    shown = _parts_shown(stair)
    progress = progress_of(stair.events)
    details = []
    for part in named_parts(stair, text):
        events = [event for event in stair.events if event.part == part.ident]
        measured = log.part_measurements(part.ident)
        history = tuple(change_line(change) for change in _told(log.stair_history(part.code)))
        details.append(
            PartDetail(
                shown[part.ident],
                _finish_sentences(stair, shown[part.ident], progress.get(part.ident)),
                tuple(_event_row(stair, event) for event in events),
                _colour_rows(measured, photo_namer(log)),
                history,
            )
        )
    return details


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


def _colour_rows(measured: Sequence[StoredMeasurement], name: Callable[[str], str]) -> tuple[ColourRow, ...]:
    from finishlab.workflow.rows import colour_row

    return tuple(colour_row(each, name) for each in measured)


def _finish_sentences(stair: StoredStair, part: PartShown, progress: Progress | None) -> tuple[str, ...]:
    """Return which finish is on a part and from which cans."""
    if progress is None or not progress.coats:
        planned = f" It is to get {part.recipe}." if part.recipe else ""
        return (f"No finish is on {part.words} yet.{planned}",)
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
    return tuple(sentences)


def _event_row(stair: StoredStair, event: StoredEvent) -> EventRow:
    what = f"{event.step} {event.coat}" if event.kind == "coat" else event.kind
    remarks = [event.faces, f"not as the recipe: {event.deviation}" if event.deviation else None, event.note]
    return EventRow(
        f"E{event.ident}",
        event.date,
        what,
        None if event.recipe_number is None else f"R{event.recipe_number}",
        can_words(event.batch_number, stair.cans),
        "; ".join(remark for remark in remarks if remark),
    )


def due_rows(stair: StoredStair, text: str = "", given: Mapping[CoatStep, int] | None = None) -> list[DueRow]:
    """Return the parts that are still short of a coat, those short of the same together; raises as `named_parts`."""
    shown = _parts_shown(stair, given)
    progress = progress_of(stair.events)
    parts = named_parts(stair, text) if text.strip() else list(stair.parts)
    groups: dict[tuple[str, str, dt.date | None, str | None], list[PartShown]] = {}
    for part in parts:
        row = shown[part.ident]
        short = {step: n - row.coats.get(step, 0) for step, n in row.wanted.items() if n > row.coats.get(step, 0)}
        if not short:
            continue
        step = next(step for step in COAT_STEPS if step in short)
        known = progress.get(part.ident)
        number = 1 if known is None else known.next_coat(step)
        told = ", ".join(coats_words(step, short[step]) for step in COAT_STEPS if step in short)
        key = (told, f"{step} {number}", _not_before(stair, known, step), _usual_can(stair, part, step, progress))
        groups.setdefault(key, []).append(row)
    return [DueRow(tuple(rows), stair.listed(row.name for row in rows), *key) for key, rows in groups.items()]


def _not_before(stair: StoredStair, progress: Progress | None, step: CoatStep) -> dt.date | None:
    """Return the first day on which the label of the last coat's can allows a coat of a step."""
    last = None if progress is None else progress.last_coat
    can = None if last is None or last.batch_number is None else stair.cans.get(last.batch_number)
    if last is None or can is None or can.label is None:
        return None
    wanted = can.label.next_coat_h(another=last.step != step)
    return None if wanted is None else last.date + dt.timedelta(days=int(wanted // _HOURS_A_DAY))


def _usual_can(stair: StoredStair, part: StoredPart, step: CoatStep, progress: Mapping[int, Progress]) -> str | None:
    """Return the can a step was last done from, on this part or on others of its recipe, else the recipe's."""
    recipe = recipe_of(part, progress.get(part.ident))
    coats = [
        event
        for each in progress.values()
        for event in each.coats.get(step, ())
        if event.batch_number is not None and event.recipe_number == recipe
    ]
    if coats:
        return can_words(max(coats, key=lambda event: (event.date, event.ident)).batch_number, stair.cans)
    finish = None if recipe is None or recipe not in stair.recipes else stair.recipes[recipe].finish
    if finish is None:
        return None
    named = {
        "stain": next((each.can_number for each in finish.steps if each.can_number is not None), None),
        "seal": None if finish.seal is None else finish.seal.can_number,
        "topcoat": None if finish.topcoat is None else finish.topcoat.can_number,
    }
    return can_words(named[step], stair.cans)


def parts_for_plan(log: Logbook, *, sized: bool = True) -> list[PlannedPart]:
    """Return the parts whose sizes are known, in mm, as quantities, cutting and calendar want them.

    A part without front, depth (or height) or thickness is left out; compare with ``log.stair_parts()``. Unless
    `sized`, where it is days that are wanted, it comes with sizes that say nothing.
    """
    from finishlab.stairs.geometry import Part as PlannedPart
    from finishlab.stairs.geometry import Shape

    planned = []
    for part in log.stair_parts():
        sizes = part.record.sizes
        depth = sizes.height if part.record.kind in {"riser", "stringer", "skirt"} and sizes.height else sizes.depth
        if sizes.front is None or depth is None or sizes.thickness is None:
            if not sized:
                shape = Shape(*_ANY_SIZE)
                planned.append(PlannedPart(part.name.kind, shape, part.name.level, part.name.place, part.name.side))
            continue
        angles = sizes.left_angle, sizes.right_angle
        # Where both were measured the angles say the shape: the cut follows them.
        back = sizes.back if angles == (None, None) else None
        left, right = (90.0 if angle is None else angle for angle in angles)
        shape = Shape(sizes.front, depth, sizes.thickness, back, left, right)
        planned.append(PlannedPart(part.name.kind, shape, part.name.level, part.name.place, part.name.side))
    return planned
