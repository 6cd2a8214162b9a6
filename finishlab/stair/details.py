"""All that is known of one part, for those who show it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from finishlab.reports.rows import ColourRow
from finishlab.stair.progress import Progress, can_words, progress_of
from finishlab.stair.records import COAT_STEPS, SIZE_NAMES, PartSizes, StoredEvent, StoredStair, size_facts
from finishlab.stair.rows import EventRow, PartDetail, PartShown
from finishlab.stair.showing import named_parts, parts_shown

if TYPE_CHECKING:
    from finishlab.logbook import Change, Logbook, StoredMeasurement

__all__ = ["part_details"]


def part_details(log: Logbook, text: str) -> list[PartDetail]:
    """Return all that is known of the parts somebody means; raises as `named_parts`."""
    from finishlab.workflow.rows import change_line, photo_namer

    stair = log.stair()
    shown = parts_shown(stair)
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
