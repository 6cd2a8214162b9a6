"""How far each part of the stair is: its recipe, its coats since its wood was sanded, and what it is still to have."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from finishlab.finish import ColourStep, Finish, Seal, Topcoat
from finishlab.recipe import Can
from finishlab.stair.names import PartKind, PartName
from finishlab.stair.records import COAT_STEPS, CoatStep, StoredEvent, StoredPart, StoredStair

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


def progress_of(events: Iterable[StoredEvent]) -> dict[int, Progress]:
    """Return how far each part is that something was done to; events by day, as the logbook gives them."""
    found: dict[int, Progress] = {}
    for event in events:
        found.setdefault(event.part, Progress()).add(event)
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


def recipe_of(stair: StoredStair, part: StoredPart, progress: Progress | None) -> PartRecipe | None:
    """Return a part's recipe: its own, else that of the coats it has had, else, where feet wear it, the standard."""
    if part.record.recipe_number is not None:
        return resolved(stair, part.record.recipe_number, "own")
    if progress is not None and progress.recipe_number is not None:
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
        was, now = (recipe_of(stair, part, progress.get(part.ident)) for stair in (before, after))
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
