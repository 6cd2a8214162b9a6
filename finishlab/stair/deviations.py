"""What was done to parts otherwise than planned: told when it is logged, listed later, marked where parts are shown.

What is told is worked out of the events alone, by going through them day by day, so it comes and goes with what is
logged, edited and taken back. Limits without a source beside them are common practice.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

from finishlab.coatings import COATINGS, Coating, Role, coating
from finishlab.finish import ColourStep
from finishlab.stair.progress import (
    TOPCOATS,
    WORN,
    Layer,
    PartRecipe,
    Progress,
    can_words,
    coats_of,
    layers,
    recipe_of,
    resolved,
    wanted,
)
from finishlab.stair.records import (
    COAT_STEPS,
    CoatStep,
    PartEvent,
    StoredEvent,
    StoredPart,
    StoredStair,
)

_FITS: Final[Mapping[CoatStep, tuple[Role, ...]]] = {
    "stain": ("stain",),
    "seal": ("seal", "topcoat"),
    "topcoat": ("topcoat", "paint"),
}
"""What a coat of a step can be; a thinned topcoat is a usual sealer, and risers are painted."""
_AIR_C: Final = (13.0, 32.0)
_DAMP: Final = 70.0
"""Air and relative humidity beyond which a coat of unknown kind dries badly (common practice, no source)."""
_SAID_ONCE: Final = {"sanded-off"}
"""What is told when it is logged and is no deviation."""
_OWN: Final = "own"
_LOTS = Counter[tuple[int | None, str, str]]


@dataclass(frozen=True, slots=True)
class Deviation:
    """One thing that was done otherwise."""

    part: int
    """`StoredPart.ident`."""
    event: int
    """`StoredEvent.ident`."""
    code: str
    sentence: str


def deviations(stair: StoredStair) -> tuple[Deviation, ...]:
    """Return what was done to the parts otherwise than planned, by day."""
    return tuple(each for each in _noticed(stair) if each.code not in _SAID_ONCE)


def remarks(stair: StoredStair, events: Sequence[tuple[int, PartEvent]]) -> list[str]:
    """Return what is worth a second look before it dries, each once with the parts it is about.

    `stair` is the stair before the events.
    """
    first = max((event.ident for event in stair.events), default=0) + 1
    now = dt.datetime.now(dt.UTC)
    new = [
        StoredEvent(
            **{each.name: getattr(event, each.name) for each in fields(PartEvent)}, ident=n, part=ident, created=now
        )
        for n, (ident, event) in enumerate(events, start=first)
    ]
    after = sorted((*stair.events, *new), key=lambda event: (event.date, event.ident))
    about: dict[str, list[StoredPart]] = {}
    told = [each for each in _noticed(replace(stair, events=tuple(after))) if each.event >= first and each.code != _OWN]
    for each in sorted(told, key=lambda each: each.event):
        about.setdefault(each.sentence, []).append(stair.part(each.part))
    return [f"{_capital(stair.listed(part.name for part in parts))}: {sentence}" for sentence, parts in about.items()]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _noticed(stair: StoredStair) -> Iterator[Deviation]:
    """Go through all that was done by day, and tell each event against what was before it."""
    parts = {part.ident: part for part in stair.parts}
    progress: dict[int, Progress] = {}
    lots: _LOTS = Counter()
    for event in stair.events:
        part, known = parts.get(event.part), progress.setdefault(event.part, Progress())
        if part is None:  # its own row cannot be read
            continue
        for code, sentence in _of_event(stair, part, known, event, lots):
            yield Deviation(part.ident, event.ident, code, sentence)
        if event.kind == "sanded":
            lots.subtract(lot for coats in known.coats.values() for each in coats if (lot := _lot(stair, each)))
        known.add(event)
        if event.kind == "coat" and (lot := _lot(stair, event)):
            lots[lot] += 1
    for ident, known in progress.items():
        for coat, sentence in _dated_before(known):
            yield Deviation(ident, coat.ident, "before-the-coat-below", sentence)


def _lot(stair: StoredStair, event: PartEvent) -> tuple[int | None, str, str] | None:
    can = stair.can_of(event)
    return None if can is None or can.lot is None else (event.recipe_number, event.step or "", can.lot)


def _dated_before(known: Progress) -> Iterator[tuple[StoredEvent, str]]:
    """Tell coats with a day before that of the coat below them."""
    coats = [event for step in COAT_STEPS for event in known.coats.get(step, ())]
    coats.sort(key=lambda event: (COAT_STEPS.index(event.step or "topcoat"), event.coat or 0))
    for number, coat in enumerate(coats):
        below = max(coats[:number], key=lambda event: event.moment, default=None)
        timed = below is not None and None not in {below.conditions.time, coat.conditions.time}
        if below is not None and (below.date > coat.date or (timed and below.moment > coat.moment)):
            when = f"{below.date} {below.conditions.time}" if below.date == coat.date else f"{below.date}"
            # Of two such coats the one logged later is likely the slip.
            if coat.ident > below.ident:
                yield coat, f"its date lies before that of the coat below it, {below.step} {below.coat} of {when}."
            else:
                yield below, f"its date lies after that of the coat above it, {coat.step} {coat.coat} of {coat.date}."


def _of_event(
    stair: StoredStair, part: StoredPart, known: Progress, event: StoredEvent, lots: _LOTS
) -> Iterator[tuple[str, str]]:
    if event.deviation:
        yield _OWN, f"done otherwise: {event.deviation}."
    if event.kind == "sanded" and known.coats:
        yield (
            "sanded-off",
            "sanding takes the finish off, so its coats count no longer; between coats log rubbed-out instead.",
        )
    if event.kind == "fitted" and part.record.kind in WORN:
        yield from _fitted(known, wanted(stair, part, known).get("topcoat", TOPCOATS))
    if event.kind == "coat" and event.step is not None:
        recipe = _expected(stair, part, known, event)
        yield from _coat(known, event, recipe)
        yield from _can(stair, event, recipe)
        if known.last_coat is not None:
            yield from _too_soon(stair, known, known.last_coat, event)
        yield from _conditions(stair, event, recipe)
        yield from _other_lot(stair, event, recipe, lots)


def _fitted(known: Progress, want: int) -> Iterator[tuple[str, str]]:
    if not known.count("topcoat"):
        yield "fitted-bare", "fitted without any topcoat; bare and stained wood marks at the first step."
    elif known.count("topcoat") < want == TOPCOATS:
        yield "fitted-early", f"fitted with fewer than {want} topcoats; treads want {want} or more (general articles)."
    elif known.count("topcoat") < want:
        yield "fitted-early", f"fitted with fewer than the {want} topcoats it is to get."


def _expected(stair: StoredStair, part: StoredPart, known: Progress, event: StoredEvent) -> PartRecipe | None:
    """Return the recipe a part was to get when something was done: of those it inherits, the one of that day."""
    if part.record.recipe_number is not None or known.recipe_number is not None:
        return recipe_of(stair, part, known)
    held = [
        each.approval.recipe_number
        for each in stair.standards
        if each.approval.date <= event.date <= (each.until or event.date)
    ]
    if not held or part.record.kind not in WORN:
        return None if event.recipe_number is None else resolved(stair, event.recipe_number)
    return resolved(stair, event.recipe_number if event.recipe_number in held else held[-1], "standard")


def _coat(known: Progress, event: StoredEvent, recipe: PartRecipe | None) -> Iterator[tuple[str, str]]:
    step, coat = event.step or "topcoat", event.coat or 1
    if coat > known.next_coat(step):
        yield "coat-passed-over", f"{step} {coat} is logged, but not {step} {known.next_coat(step)} before it."
    later = [each for each in COAT_STEPS[COAT_STEPS.index(step) + 1 :] if known.count(each)]
    # What was logged later with an earlier day is told as a wrong day alone.
    if later and any(below.ident < event.ident for below in known.coats[later[-1]]):
        yield "wrong-order", f"{step} over {later[-1]}: it will not take as on bare wood; try it on a board first."
    if recipe is None:
        return
    if event.recipe_number not in {None, recipe.number}:
        why = ", the standard" if recipe.why == "standard" else ""
        yield "wrong-recipe", f"it is to get R{recipe.number}{why}, and this is a coat of R{event.recipe_number}."
    asked = coats_of(recipe.finish)
    for below in COAT_STEPS[: COAT_STEPS.index(step)] if coat == 1 and known.last_coat is not None else ():
        done = known.count(below)
        if done < asked.get(below, 0):
            what = f"{below} {done} of {asked[below]}" if done else f"no {below}"
            yield "coat-passed-over", f"{step} over {what}: what is left out does not take over it later."
    count = asked.get(step, 0)
    if recipe.finish.steps or recipe.finish.topcoat is not None:
        dark = "; each further coat of stain makes it darker, and the others will not match" if step == "stain" else ""
        if not count and step in {"stain", "seal"}:
            yield "extra-coat", f"R{recipe.number} has no {step}{dark}."
        elif count and coat > count:
            yield "extra-coat", f"{step} {coat} of {count}: R{recipe.number} asks for no more{dark}."


def _can(stair: StoredStair, event: StoredEvent, recipe: PartRecipe | None) -> Iterator[tuple[str, str]]:
    """Tell a can that holds something else than the coat it is said to be, or than the recipe asks for."""
    can = stair.can_of(event)
    held = None if can is None else _known(can.kind)
    step = event.step or "topcoat"
    if can is None or held is None:
        return
    if held.role not in _FITS[step]:
        yield "wrong-can", f"C{event.batch_number} holds {can.kind}, which is no {step}."
        return
    layer = None if recipe is None else _layer_of(recipe, step, event.coat or 1)
    if recipe is None or layer is None:
        return
    asked = layer.section.coating
    if asked is not None and step != "seal" and asked.kind != held.kind:
        yield "wrong-can", f"C{event.batch_number} holds {can.kind}, and R{recipe.number} asks for {asked.kind}."
        return
    named = layer.section.can_number
    other = stair.cans.get(named or 0)
    if other is not None and (other.maker, other.product) != (can.maker, can.product):
        yield (
            "wrong-can",
            (
                f"it is from {can_words(event.batch_number, stair.cans)}, and R{recipe.number} names "
                f"{can_words(named, stair.cans)}."
            ),
        )


def _layer_of(recipe: PartRecipe, step: CoatStep, coat: int) -> Layer | None:
    """Return what a recipe says of a coat; of one more than it has, what it says of the last."""
    mine = [layer for layer in layers(recipe.finish) if layer.step == step]
    return mine[min(coat, len(mine)) - 1] if mine else None


def _known(kind: str) -> Coating | None:
    """Return what a can of a kind holds; None for “other”."""
    return coating(kind) if any(kind in each.recorded for each in COATINGS.values()) else None


def _apart(last: StoredEvent, then: PartEvent) -> tuple[float, float]:
    """Return between how many hours two coats lie: exactly where both have an hour, else within a day of it."""
    if last.conditions.time and then.conditions.time:
        hours = (then.moment - last.moment) / dt.timedelta(hours=1)
        return hours, hours
    days = (then.date - last.date).days
    return 24.0 * (days - 1), 24.0 * (days + 1)


def _too_soon(stair: StoredStair, known: Progress, last: StoredEvent, event: StoredEvent) -> Iterable[tuple[str, str]]:
    """Say where the label of the last coat's can asks for more time, or for less, than there was."""
    label = stair.label_of(last)
    if label is None or event.date < last.date:
        return
    wanted_h = label.next_coat_h(another=last.step != event.step)
    name = f"{last.step} {last.coat}"
    least, most = _apart(last, event)
    middle = (least + most) / 2
    if wanted_h is not None and middle < wanted_h:
        # Without hours on record the coats can be up to a day further apart.
        told = "too soon after" if most <= wanted_h else "perhaps too soon after"
        yield "too-soon", f"{told} {name} of {last.date}: the label of C{last.batch_number} asks for {wanted_h:g} h."
    if label.recoat_within_h is not None and least > label.recoat_within_h and not known.rubbed_out:
        yield (
            "window-closed",
            (
                f"too late after {name} of {last.date}: the label of C{last.batch_number} allows "
                f"{label.recoat_within_h:g} h; rub it out first, as the label says."
            ),
        )


def window_closed(stair: StoredStair, known: Progress, today: dt.date) -> dt.date | None:
    """Return the day on which the recoat window of a part's last coat ended; None while it stands open, or rubbed out.

    Without the hour of the coat its window is taken to end with the day, so that it is not told too early.
    """
    last = known.last_coat
    label = stair.label_of(last)
    within = None if label is None else label.recoat_within_h
    if last is None or within is None or known.rubbed_out:
        return None
    if last.conditions.time is None:
        closes = dt.datetime.combine(last.date, dt.time(23, 59)) + dt.timedelta(hours=within)
    else:
        closes = last.moment + dt.timedelta(hours=within)
    return closes.date() if closes.date() < today else None


def _conditions(stair: StoredStair, event: StoredEvent, recipe: PartRecipe | None) -> Iterator[tuple[str, str]]:
    """Tell air, damp, pot life, and a wiping or an applicator that is not the recipe's."""
    done = event.conditions
    can = stair.can_of(event)
    kind = None if can is None else _known(can.kind)
    usual = None if kind is None else kind.usual
    low, high = _AIR_C if usual is None else usual.air_c
    if done.air_c is not None and not low <= done.air_c <= high:
        how = "slowly, or not at all" if done.air_c < low else "before it has levelled"
        yield "air", f"at {done.air_c:g} C a coat dries {how}; {low:g} to {high:g} C is usual."
    if done.rh_percent is not None and done.rh_percent > (_DAMP if usual is None else usual.most_rh):
        yield "damp", f"at {done.rh_percent:g} % humidity a coat dries slowly; wait longer than the label says."
    pot_life = None if can is None or can.label is None else can.label.pot_life_h
    if done.mixed and done.time and pot_life is not None:
        mixed, used = (int(text[:2]) + int(text[3:]) / 60 for text in (done.mixed, done.time))
        stood = (used - mixed) % 24
        if stood > pot_life:
            yield (
                "pot-life",
                f"put on {stood:.2g} h after it was mixed: the label of C{event.batch_number} allows {pot_life:g} h.",
            )
    layer = None if recipe is None or event.step is None else _layer_of(recipe, event.step, event.coat or 1)
    if recipe is None or layer is None or not isinstance(layer.section, ColourStep):
        return
    minutes, by = layer.section.wipe_min, layer.section.applicator
    if done.wipe_min is not None and minutes is not None and done.wipe_min != minutes:
        yield "wiping", f"wiped after {done.wipe_min:g} min, and R{recipe.number} says {minutes:g}."
    if done.applicator and by and done.applicator.casefold() != by.casefold():
        yield "applicator", f"by {done.applicator}, and R{recipe.number} says {by}."


def _other_lot(
    stair: StoredStair, event: StoredEvent, recipe: PartRecipe | None, lots: _LOTS
) -> Iterator[tuple[str, str]]:
    can = stair.can_of(event)
    number = event.recipe_number if recipe is None or event.recipe_number is not None else recipe.number
    mine = (lot for (of, step, lot), count in lots.items() if count > 0 and (of, step) == (number, event.step))
    first = next(mine, None)
    if can is not None and can.lot is not None and first is not None and can.lot != first:
        named = can_words(event.batch_number, stair.cans)
        yield (
            "other-lot",
            (
                f"{named} is of another lot than the other parts' ({first}); "
                "lots can differ, so mix the cans, or keep to one lot on what is seen together."
            ),
        )
