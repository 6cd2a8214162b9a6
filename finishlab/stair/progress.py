"""How far each part of the stair is, held against its recipe: what it has had, what it lacks, what was done otherwise.

Deviations are told when they are logged, listed later, and marked where parts are shown. They are worked out of the
events alone, day by day, so they come and go with what is logged, edited and taken back. Limits without a source beside
them are common practice.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Final, Literal

from finishlab.coatings import COATINGS, Coating, Role, coating
from finishlab.finish import ColourStep, Finish, Seal, Topcoat
from finishlab.recipe import Can
from finishlab.record import gathered
from finishlab.stair.names import PartKind, PartName
from finishlab.stair.records import COAT_STEPS, CoatStep, PartEvent, StoredEvent, StoredPart, StoredStair

TOPCOATS: Final = 3
"""Topcoats a tread wants at least (general articles; four for hard use)."""
WORN: Final[tuple[PartKind, ...]] = ("tread", "nosing", "landing nosing", "return", "landing board")
"""Parts that feet and shoes wear; without a recipe they are taken to want a topcoat."""


@dataclass(slots=True)
class Progress:
    """What a part has had since its wood was last sanded."""

    coats: dict[CoatStep, list[StoredEvent]] = field(default_factory=dict)
    done: dict[str, dt.date] = field(default_factory=dict)
    """Kind of event -> the last day of it."""
    last: StoredEvent | None = None
    last_coat: StoredEvent | None = None
    drying: list[StoredEvent] = field(default_factory=list)
    """Its coats, and what was touched up."""
    order: dict[int, int] = field(default_factory=dict)
    """Event -> its place in the order of what was done."""
    coloured_after: int = -1
    """Place of the last event that changed the colour."""
    rubbed_out: bool = False
    """Whether it was rubbed out since its last coat."""
    recipe_number: int | None = None
    """Of the last coat that names one."""
    sanded_at: int = -1
    """Place of the last sanding of its wood."""

    def add(self, event: StoredEvent) -> None:
        """Take in the next thing done."""
        self.order[event.ident] = len(self.order)
        self.last = event
        if event.kind == "sanded":
            # Sanded wood has no finish left; being rubbed out between coats is another thing.
            self.coats.clear()
            self.drying.clear()
            self.sanded_at = self.order[event.ident]
            self.last_coat, self.rubbed_out, self.recipe_number = None, False, None
            self.done.pop("touched up", None)
        elif event.kind == "coat" and event.step is not None:
            self.coats.setdefault(event.step, []).append(event)
            self.last_coat, self.rubbed_out = event, False
            self.recipe_number = self.recipe_number if event.recipe_number is None else event.recipe_number
        elif event.kind == "rubbed out":
            self.rubbed_out = True
        if event.kind in {"coat", "touched up"}:
            self.drying.append(event)
        self.done[event.kind] = event.date
        if event.kind in {"sanded", "coat", "rubbed out", "touched up"}:
            self.coloured_after = self.order[event.ident]

    def count(self, step: CoatStep) -> int:
        """Return how many coats of a step it has."""
        return len({event.coat for event in self.coats.get(step, ())})

    def next_coat(self, step: CoatStep) -> int:
        """Return the number of the next coat of a step."""
        return max((event.coat or 0 for event in self.coats.get(step, ())), default=0) + 1


def progress_of(events: Iterable[StoredEvent]) -> defaultdict[int, Progress]:
    """Return how far each part is; events by day, as the logbook gives them."""
    found: defaultdict[int, Progress] = defaultdict(Progress)
    for event in events:
        found[event.part].add(event)
    return found


@dataclass(frozen=True, slots=True)
class Layer:
    """One coat of a finish."""

    step: CoatStep
    number: int
    """Of its step, from 1 on."""
    section: ColourStep | Seal | Topcoat
    """What the finish says of it."""


def layers(finish: Finish) -> tuple[Layer, ...]:
    """Return the coats of a finish in the order of the work.

    A topcoat that does not say how many coats it has gets as many as are usual of its kind.
    """
    colour: list[ColourStep] = []
    if finish.steps:
        # Where the highest number of a coat is above the count of steps, its step is given so many times more.
        most = max(finish.steps, key=lambda step: step.coat or 0)
        again = max(0, (most.coat or 0) - len(finish.steps))
        colour = [each for step in finish.steps for each in [step] * (1 + (again if step is most else 0))]
    found = [Layer("stain", number, step) for number, step in enumerate(colour, start=1)]
    seal, top = finish.seal, finish.topcoat
    if seal is not None:
        count = seal.coats if seal.coats is not None else int(seal.kind not in {None, "none"})
        found += [Layer("seal", number, seal) for number in range(1, count + 1)]
    if top is not None:
        usual = TOPCOATS if top.coating is None else top.coating.figures.coats
        count = usual if top.coats is None else top.coats
        found += [Layer("topcoat", number, top) for number in range(1, count + 1)]
    return tuple(found)


def coats_of(finish: Finish) -> dict[CoatStep, int]:
    """Return how many coats a finish has of each step it says something of."""
    said = {"stain": bool(finish.steps), "seal": finish.seal is not None, "topcoat": finish.topcoat is not None}
    counts = Counter(layer.step for layer in layers(finish))
    return {step: counts[step] for step in COAT_STEPS if said[step]}


@dataclass(frozen=True, slots=True)
class PartRecipe:
    """The recipe of a part; what everything that asks for its steps reads."""

    number: int
    name: str
    finish: Finish
    """As it was approved where it is the standard, whatever became of the recipe since; else as it stands."""
    why: Literal["own", "begun", "standard", "only"]
    """Its own, that of the coats it has had, the approved standard, or the only one there is."""
    approved: dt.date | None = None
    """Day on which it was approved, where it is the standard."""
    changed: str = ""
    """What is to be said where the recipe was edited since and not approved again; nothing where it was not."""

    @property
    def words(self) -> str:
        """``"R1 honey, satin"``."""
        return f"R{self.number} {self.name}".strip()


def recipe_of(stair: StoredStair, part: StoredPart, progress: Progress) -> PartRecipe | None:
    """Return a part's recipe: its own, else that of the coats it has had, else, where feet wear it, the standard."""
    if part.record.recipe_number is not None:
        return resolved(stair, part.record.recipe_number, "own")
    if progress.recipe_number is not None:
        return resolved(stair, progress.recipe_number, "begun")
    if stair.standard is not None and part.record.kind in WORN:
        return resolved(stair, stair.standard.approval.recipe_number, "standard")
    return None


def resolved(stair: StoredStair, number: int, why: Literal["own", "begun", "standard", "only"] = "own") -> PartRecipe:
    """Return a recipe as it is to be worked by."""
    recipe, standing = stair.recipes.get(number), stair.standard
    name = "" if recipe is None else recipe.name
    now = Finish() if recipe is None else recipe.finish
    if standing is None or standing.approval.recipe_number != number:
        return PartRecipe(number, name, now, why)
    approved = standing.approval.finish
    changed = ""
    if standing.edited and now != approved:
        changed = (
            f"R{number} {name} was changed since it was approved on {standing.approval.date}; parts are worked by what "
            f"was approved, until it is approved again: finishlab approve {standing.approval.board or 'B1'}"
        )
    return PartRecipe(number, name, _with_kinds(approved, now), why, standing.approval.date, changed)


def _with_kinds(approved: Finish, now: Finish) -> Finish:
    """Return what was approved, with the kinds it left open and the recipe says by now: that changes no decision."""
    steps, top = approved.steps, approved.topcoat
    if len(now.steps) == len(steps):
        steps = tuple(replace(mine, kind=mine.kind or its.kind) for mine, its in zip(steps, now.steps, strict=True))
    if top is not None and now.topcoat is not None and top.kind is None:
        top = replace(top, kind=now.topcoat.kind)
    return replace(approved, steps=steps, topcoat=top)


def recipe_changes(before: StoredStair, after: StoredStair) -> list[str]:
    """Return what an approval changes for which parts, and which it leaves as they are."""
    told: dict[str, list[PartName]] = {}
    progress = progress_of(after.events)
    for part in after.parts:
        was, now = (recipe_of(stair, part, progress[part.ident]) for stair in (before, after))
        if now is None:
            continue
        words = now.words
        if was is None or was.number != now.number:
            words = f"now to get {now.words}" + (f" (before: {was.words})" if was is not None else "")
        elif was.finish != now.finish:
            words = f"{now.words} as approved now"
        elif now.why == "own":
            words = f"keep their own recipe, {now.words}" if now.approved is None else f"{now.words}, as before"
        elif now.why == "begun":
            words = f"begun with {now.words}, and stay with it"
        else:
            words = f"{now.words}, as before"
        told.setdefault(words, []).append(part.name)
    return [f"{after.listed(names)}: {words}." for words, names in told.items()]


def wanted(
    stair: StoredStair, part: StoredPart, progress: Progress, given: Mapping[CoatStep, int] | None = None
) -> dict[CoatStep, int]:
    """Return the coats a part is to have: as given, else as its recipe says, else the usual topcoats of a worn part.

    A part that nobody walks on and that has neither recipe nor coat is to have none.
    """
    recipe = recipe_of(stair, part, progress)
    finished = part.record.kind in WORN or recipe is not None or bool(progress.coats)
    out = coats_of(recipe.finish) if recipe is not None else {}
    if part.record.kind in WORN and "topcoat" not in out:
        out["topcoat"] = TOPCOATS
    return out | dict(given or {}) if finished else {}


def missing(progress: Progress, want: Mapping[CoatStep, int]) -> dict[CoatStep, tuple[int, ...]]:
    """Return the coats a part is still to get, by their numbers; a step below the one it has begun is not among them.

    Stain does not take over a topcoat: `passed_over` names what was left out.
    """
    begun = _begun(progress)
    return {step: left for step, left in _short(progress, want).items() if COAT_STEPS.index(step) >= begun}


def passed_over(progress: Progress, want: Mapping[CoatStep, int]) -> tuple[CoatStep, ...]:
    """Return the steps of which coats are missing below a step that was begun."""
    begun = _begun(progress)
    return tuple(step for step in _short(progress, want) if COAT_STEPS.index(step) < begun)


def _begun(progress: Progress) -> int:
    return max((COAT_STEPS.index(step) for step in progress.coats), default=0)


def _short(progress: Progress, want: Mapping[CoatStep, int]) -> dict[CoatStep, tuple[int, ...]]:
    out: dict[CoatStep, tuple[int, ...]] = {}
    for step in COAT_STEPS:
        has = {event.coat for event in progress.coats.get(step, ())}
        short = want.get(step, 0) - len(has)
        left = [number for number in range(1, want.get(step, 0) + 1) if number not in has]
        if short > 0:
            out[step] = tuple(left[-short:])
    return out


def state_words(progress: Progress, want: Mapping[CoatStep, int]) -> str:
    """Return how far a part is: ``"stained, topcoat 1 of 3, rubbed out"``."""
    begun = [step for step in COAT_STEPS if progress.count(step)]
    words = [_step_words(step, progress.count(step), want.get(step), last=step == begun[-1]) for step in begun]
    if not begun:
        words += [kind for kind in ("sanded", "dry-fitted") if kind in progress.done][:1]
    if progress.rubbed_out and begun:
        words.append("rubbed out")
    words += [kind for kind in ("fitted", "touched up") if kind in progress.done]
    if not words:
        words.append("measured" if "measured" in progress.done else "nothing done yet")
    return ", ".join(words)


_DONE: Final[dict[CoatStep, str]] = {"stain": "stained", "seal": "sealed", "topcoat": "topcoated"}


def _step_words(step: CoatStep, count: int, want: int | None, *, last: bool) -> str:
    if want is not None and count < want:
        return f"{step} {count} of {want}"
    if want is not None and (not last or want == 1):
        return _DONE[step]
    if want is not None:
        return f"{step} {count} of {want}"
    return _DONE[step] if count == 1 else f"{_DONE[step]}, {count} coats"


def coats_words(step: str, count: int) -> str:
    """Return coats in words: ``"1 stain coat"``, ``"3 topcoats"``."""
    one = step if step == "topcoat" else f"{step} coat"
    return f"{count} {one}{'' if count == 1 else 's'}"


def can_words(number: int | None, cans: Mapping[int, Can]) -> str | None:
    """Return a can in words: ``"C1 Acme honey (lot 4711)"``."""
    if number is None:
        return None
    can = cans.get(number)
    if can is None:
        return f"C{number}"
    named = " ".join(word for word in (can.maker, can.product) if word)
    return f"C{number} {named}" + (f" (lot {can.lot})" if can.lot else "")


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
    told = [each for each in _noticed(replace(stair, events=tuple(after))) if each.event >= first and each.code != _OWN]
    told.sort(key=lambda each: each.event)
    about = gathered((each.sentence, stair.part(each.part).name) for each in told)
    told_of = ((stair.listed(parts), sentence) for sentence, parts in about.items())
    return [f"{names[:1].upper()}{names[1:]}: {sentence}" for names, sentence in told_of]


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
    held = held_by(can)
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
        mine, its = can_words(event.batch_number, stair.cans), can_words(named, stair.cans)
        yield "wrong-can", f"it is from {mine}, and R{recipe.number} names {its}."


def _layer_of(recipe: PartRecipe, step: CoatStep, coat: int) -> Layer | None:
    """Return what a recipe says of a coat; of one more than it has, what it says of the last."""
    mine = [layer for layer in layers(recipe.finish) if layer.step == step]
    return mine[min(coat, len(mine)) - 1] if mine else None


def held_by(can: Can | None) -> Coating | None:
    """Return what a can holds; None for “other”, and without a can."""
    known = can is not None and any(can.kind in each.recorded for each in COATINGS.values())
    return coating(can.kind) if can is not None and known else None


def hours_between(last: PartEvent, then: PartEvent) -> tuple[float, float]:
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
    least, most = hours_between(last, event)
    middle = (least + most) / 2
    if wanted_h is not None and middle < wanted_h:
        # Without hours on record the coats can be up to a day further apart.
        told = "too soon after" if most <= wanted_h else "perhaps too soon after"
        yield "too-soon", f"{told} {name} of {last.date}: the label of C{last.batch_number} asks for {wanted_h:g} h."
    if label.recoat_within_h is not None and least > label.recoat_within_h and not known.rubbed_out:
        allowed = f"the label of C{last.batch_number} allows {label.recoat_within_h:g} h"
        told = f"too late after {name} of {last.date}: {allowed}; rub it out first, as the label says."
        yield "window-closed", told


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
    kind = held_by(can)
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
        told = f"{named} is of another lot than the other parts' ({first}); "
        yield "other-lot", told + "lots can differ, so mix the cans, or keep to one lot on what is seen together."
