"""How far each part of the stair is: its coats since its wood was last sanded, and what it is still to have."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from finishlab.records import Can, Finish
from finishlab.stair.names import PartKind
from finishlab.stair.records import COAT_STEPS, CoatStep, StoredEvent, StoredPart, StoredStair

__all__ = ["TOPCOATS", "WORN", "Progress", "can_words", "coats_of", "progress_of", "recipe_of", "state_words", "wanted"]

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
    order: dict[int, int] = field(default_factory=dict)
    """Event -> its place in the order of what was done."""
    coloured_after: int = -1
    """Place of the last event that changed the colour."""
    rubbed_out: bool = False
    """Whether it was rubbed out since its last coat."""

    def add(self, event: StoredEvent) -> None:
        """Take in the next thing done."""
        self.order[event.ident] = len(self.order)
        self.last = event
        if event.kind == "sanded":
            # Sanded wood has no finish left; being rubbed out between coats is another thing.
            self.coats.clear()
            self.last_coat, self.rubbed_out = None, False
            self.done.pop("touched up", None)
        elif event.kind == "coat" and event.step is not None:
            self.coats.setdefault(event.step, []).append(event)
            self.last_coat, self.rubbed_out = event, False
        elif event.kind == "rubbed out":
            self.rubbed_out = True
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


def coats_of(finish: Finish) -> dict[CoatStep, int]:
    """Return how many coats a finish has of each step it says something of."""
    out: dict[CoatStep, int] = {}
    if finish.steps:
        out["stain"] = max(len(finish.steps), *(step.coat or 0 for step in finish.steps))
    if finish.seal is not None:
        out["seal"] = (
            finish.seal.coats if finish.seal.coats is not None else int(finish.seal.kind not in {None, "none"})
        )
    if finish.topcoat is not None:
        out["topcoat"] = TOPCOATS if finish.topcoat.coats is None else finish.topcoat.coats
    return out


def recipe_of(part: StoredPart, progress: Progress | None) -> int | None:
    """Return the number of a part's recipe: the one it is to have, else that of its last coat."""
    if part.record.recipe_number is not None or progress is None or progress.last_coat is None:
        return part.record.recipe_number
    return progress.last_coat.recipe_number


def wanted(
    stair: StoredStair, part: StoredPart, progress: Progress, given: Mapping[CoatStep, int] | None = None
) -> dict[CoatStep, int]:
    """Return the coats a part is to have: as given, else as its recipe says, else the usual topcoats of a worn part.

    A part that nobody walks on and that has neither recipe nor coat is to have none.
    """
    number = recipe_of(part, progress)
    recipe = stair.recipes.get(number) if number is not None else None
    finished = part.record.kind in WORN or recipe is not None or bool(progress.coats)
    out = coats_of(recipe.finish) if recipe is not None else {}
    if part.record.kind in WORN and "topcoat" not in out:
        out["topcoat"] = TOPCOATS
    return out | dict(given or {}) if finished else {}


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


def can_words(number: int | None, cans: Mapping[int, Can]) -> str | None:
    """Return a can in words: ``"C1 Acme honey (lot 4711)"``."""
    if number is None:
        return None
    can = cans.get(number)
    if can is None:
        return f"C{number}"
    named = " ".join(word for word in (can.maker, can.product) if word)
    return f"C{number} {named}" + (f" (lot {can.lot})" if can.lot else "")
