"""The stair as the logbook has it, as rows to show: each part's state, colour, finish and what it is still short of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Final

from finishlab.stair.colours import Coloured, colours_now
from finishlab.stair.names import parse_parts, select
from finishlab.stair.progress import Progress, can_words, progress_of, recipe_of, state_words, wanted
from finishlab.stair.records import COAT_STEPS, CoatStep, StoredPart, StoredStair
from finishlab.stair.rows import DueRow, FlightShown, PartShown, coats_words

__all__ = ["due_rows", "flights_shown", "named_parts", "parts_shown"]

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
    """Return the flights from the bottom up with their parts; `given` as in `finishlab.stair.progress.wanted`."""
    shown = parts_shown(stair, given)
    flights = []
    for flight in stair.flights:
        parts = tuple(shown[part.ident] for part in stair.parts if part.record.flight_number == flight.number)
        flights.append(FlightShown(flight.title, flight.record, parts))
    return flights


def parts_shown(stair: StoredStair, given: Mapping[CoatStep, int] | None = None) -> dict[int, PartShown]:
    """Return each part with its state, by `StoredPart.ident`; `given` as in `finishlab.stair.progress.wanted`."""
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


def due_rows(stair: StoredStair, text: str = "", given: Mapping[CoatStep, int] | None = None) -> list[DueRow]:
    """Return the parts that are still short of a coat, those short of the same together; raises as `named_parts`."""
    shown = parts_shown(stair, given)
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
