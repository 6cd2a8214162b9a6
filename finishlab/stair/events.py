"""What was done to parts of the stair, from what was typed to what is logged, and what is worth a second look."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, cast

from finishlab.errors import UsageError
from finishlab.stair.progress import TOPCOATS, WORN, Progress, can_words, progress_of, recipe_of
from finishlab.stair.records import COAT_STEPS, CoatStep, EventKind, PartEvent, StoredEvent, StoredPart, StoredStair

__all__ = ["Done", "next_events", "read_event", "remarks", "split_words"]

EVENT_HINT: Final = (
    "Say what was done: dry-fitted, sanded, stain, seal, topcoat (each with the number of its coat if you like), "
    "rubbed-out, fitted, touched-up or note."
)
_EVENTS: Final = re.compile(
    r"(?P<kind>dry[- ]fitted|sanded|rubbed[- ]out|fitted|touched[- ]up|note)"
    r"|(?:(?P<step>stain|seal|topcoat)(?: coat)?|coat)(?: (?P<coat>[0-9]+))?(?: (?:of )?(?P<of>stain|seal|topcoat))?"
)


@dataclass(frozen=True, slots=True)
class Done:
    """What was done, as it was typed."""

    kind: EventKind
    step: CoatStep | None = None
    coat: int | None = None
    """None for the next one of each part."""


def split_words(words: Sequence[str]) -> tuple[str, Done]:
    """Return the parts and what was done to them, which comes last: ``treads 3-9 topcoat 2``.

    Raises
    ------
    UsageError
        ``"no-event"``, ``"coat-without-step"``, ``"bad-parts"``.
    """
    tokens = " ".join(words).split()
    for start in range(1, len(tokens) + 1):
        done = read_event(" ".join(tokens[start:]))
        if done is not None:
            return " ".join(tokens[:start]), done
    raise UsageError("no-event", f"“{' '.join(tokens)}” does not say what was done.", EVENT_HINT)


def read_event(text: str) -> Done | None:
    """Return what was done, None if the text says something else; raises ``"coat-without-step"``."""
    match = _EVENTS.fullmatch(text.casefold())
    if match is None:
        return None
    if match["kind"]:
        return Done(cast("EventKind", match["kind"].replace("-", " ").replace("dry fitted", "dry-fitted")))
    step = match["step"] or match["of"]
    if step is None:
        raise UsageError("coat-without-step", "The coat does not say what it is of.", "Say stain, seal or topcoat.")
    return Done("coat", cast("CoatStep", step), None if match["coat"] is None else int(match["coat"]))


def next_events(
    stair: StoredStair, parts: Sequence[StoredPart], done: Done, **written: object
) -> list[tuple[int, PartEvent]]:
    """Return an event for each part: the next coat where none was named, of the part's own recipe.

    Parameters
    ----------
    stair, parts, done
        The stair, the parts, and what was done to them.
    written
        Further fields of `PartEvent`.

    Raises
    ------
    UsageError
        What `PartEvent` raises.
    """
    progress = progress_of(stair.events)
    out = []
    for part in parts:
        fields = dict(written)
        if done.kind == "coat" and done.step is not None:
            known = progress.get(part.ident, Progress())
            fields["step"] = done.step
            fields["coat"] = done.coat or known.next_coat(done.step)
            if fields.get("recipe_number") is None:
                fields["recipe_number"] = recipe_of(part, known)
        out.append((part.ident, PartEvent(done.kind, **fields)))  # type: ignore[arg-type]  # checked by it
    return out


def remarks(stair: StoredStair, events: Sequence[tuple[int, PartEvent]]) -> list[str]:
    """Return what is worth a second look before it dries, each once with the parts it is about.

    `stair` is the stair before the events.
    """
    progress = progress_of(stair.events)
    lots = _lots(stair, progress)
    about: dict[str, list[StoredPart]] = {}
    for ident, event in events:
        part = stair.part(ident)
        for sentence in _remarks_of(stair, part, progress.get(ident, Progress()), event, lots):
            about.setdefault(sentence, []).append(part)
    return [f"{_capital(stair.listed(part.name for part in parts))}: {sentence}" for sentence, parts in about.items()]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _remarks_of(
    stair: StoredStair,
    part: StoredPart,
    known: Progress,
    event: PartEvent,
    lots: Mapping[tuple[int | None, str], set[str]],
) -> Iterable[str]:
    if event.kind == "sanded" and known.coats:
        yield "sanding takes the finish off, so its coats count no longer; between coats log rubbed-out instead."
    if event.kind == "fitted" and part.record.kind in WORN and 0 < known.count("topcoat") < TOPCOATS:
        yield f"fitted with fewer than {TOPCOATS} topcoats; treads want {TOPCOATS} or more (general articles)."
    if event.kind == "fitted" and part.record.kind in WORN and not known.count("topcoat"):
        yield "fitted without any topcoat; bare and stained wood marks at the first step."
    if event.kind == "coat" and event.step is not None:
        yield from _coat_remarks(stair, part, known, event)
        yield from _lot_remarks(stair, event, recipe_of(part, known), lots)


def _coat_remarks(stair: StoredStair, part: StoredPart, known: Progress, event: PartEvent) -> Iterable[str]:
    step, coat = event.step or "topcoat", event.coat or 1
    if coat > known.next_coat(step):
        yield f"{step} {coat} is logged, but not {step} {known.next_coat(step)} before it."
    later = [each for each in COAT_STEPS[COAT_STEPS.index(step) + 1 :] if known.count(each)]
    if later:
        yield f"{step} over {later[-1]}: it will not take as on bare wood; try it on a board first."
    if part.record.recipe_number not in {None, event.recipe_number}:
        yield f"it is to get R{part.record.recipe_number}, and this is a coat of R{event.recipe_number}."
    if known.last_coat is not None:
        yield from _too_soon(stair, known.last_coat, event)


def _too_soon(stair: StoredStair, last: StoredEvent, event: PartEvent) -> Iterable[str]:
    """Say where the label of the last coat's can asks for more time, or for less, than the days allow."""
    can = None if last.batch_number is None else stair.cans.get(last.batch_number)
    label = None if can is None else can.label
    if label is None:
        return
    days = (event.date - last.date).days
    wanted = label.next_coat_h(another=last.step != event.step)
    name = f"{last.step} {last.coat}"
    if days < 0:
        return
    if wanted is not None and 24 * days < wanted:
        # Days are on record, not hours: within so many days the coats can be up to a day further apart.
        surely = 24 * (days + 1) <= wanted
        told = "too soon after" if surely else "perhaps too soon after"
        yield f"{told} {name} of {last.date}: the label of C{last.batch_number} asks for {wanted:g} h."
    if label.recoat_within_h is not None and 24 * (days - 1) > label.recoat_within_h:
        yield (
            f"too late after {name} of {last.date}: the label of C{last.batch_number} allows "
            f"{label.recoat_within_h:g} h; rub it out first, as the label says."
        )


def _lots(stair: StoredStair, progress: Mapping[int, Progress]) -> dict[tuple[int | None, str], set[str]]:
    """Return, by recipe and step, the lots that are on the parts."""
    out: dict[tuple[int | None, str], set[str]] = {}
    for known in progress.values():
        for step, coats in known.coats.items():
            for event in coats:
                can = None if event.batch_number is None else stair.cans.get(event.batch_number)
                if can is not None and can.lot is not None:
                    out.setdefault((event.recipe_number, step), set()).add(can.lot)
    return out


def _lot_remarks(
    stair: StoredStair, event: PartEvent, recipe: int | None, lots: Mapping[tuple[int | None, str], set[str]]
) -> Iterable[str]:
    can = None if event.batch_number is None else stair.cans.get(event.batch_number)
    before = lots.get((event.recipe_number or recipe, event.step or ""), set())
    if can is not None and can.lot is not None and before and can.lot not in before:
        named = can_words(event.batch_number, stair.cans)
        yield (
            f"{named} is of another lot than the other parts' ({', '.join(sorted(before))}); "
            "lots can differ, so mix the cans, or keep to one lot on what is seen together."
        )
