"""From the logbook to the house file for the drawer."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Final

from finishlab.cautions import CAUTIONS, DEFERS
from finishlab.errors import FinishlabError
from finishlab.photos.writing import thumbnail
from finishlab.records import Finish, today
from finishlab.reports.print.svg_drawing import svg_drawing
from finishlab.reports.print.views import HouseCan, HousePhoto, HouseSection, HouseView, Swatch
from finishlab.reports.swatch import hex_colour
from finishlab.stair.drawing import stair_svg
from finishlab.stair.shown import flights_shown
from finishlab.workflow.printing.labels import recipe_words
from finishlab.workflow.printing.schedule import finish_steps
from finishlab.workflow.rows import board_row, spot_row

if TYPE_CHECKING:
    import datetime as dt

    from finishlab.logbook import Logbook, StoredApproval
    from finishlab.records import Batch
    from finishlab.reports.rows import Lab
    from finishlab.stair.records import StoredEvent, StoredStair

__all__ = ["house_view"]

_PHOTO_PIXELS: Final = 900
_MOST_PHOTOS: Final = 24
_PART_PIXELS: Final = 600
_MOST_OF_A_PART: Final = 2
_FILE_NAMES: Final = re.compile(r"\S[^,]*\.[A-Za-z0-9]{2,5}(, \S[^,]*\.[A-Za-z0-9]{2,5})*")
"""A note that is no more than names of files, as it is written where none was given."""

_READING: Final = HouseSection(
    "How to read this file",
    (
        ("Numbers", "B3 is test board 3, F2 floor spot 2, R1 recipe 1, C4 can 4."),
        ("The stair", "Parts are counted from the bottom up; left and right are seen from below."),
        (
            "Colours",
            (
                "L*, a*, b* (CIELAB, D65, 2 degrees): more L* is lighter, more a* redder, more b* yellower. "
                "Compare a new board with the kept one under the same lamps, not with this paper."
            ),
        ),
        ("Labels", "Their codes hold the address of a record, such as finishlab:board/B3, and what the label says."),
    ),
)

# Common practice, no source; the note below the heading says so on paper too.
_CARE: Final = HouseSection(
    "Care and repair",
    (
        (
            "Cleaning",
            (
                "Vacuum, and wipe with a well wrung cloth. No wax, polish or soap that leaves a film: treads become "
                "slippery, and the next coat does not hold. The maker's own advice wins."
            ),
        ),
        (
            "Scratches",
            (
                "Small ones: the same stain and topcoat from the can named here, tried on the kept board first. Deeper "
                "ones: sand and coat the whole tread, never a patch in its middle."
            ),
        ),
        (
            "A new tread",
            (
                "The same wood, sanded with the same grits, from the same lots if any is left. Try a new lot on wood "
                "beside the kept board first."
            ),
        ),
        ("Measure again", "Each year, at the same places and in the same light: wood and finish go on changing."),
    ),
    "Common practice, no source.",
)


def house_view(
    log: Logbook, *, title: str | None = None, date: dt.date | None = None, photos: bool = True
) -> HouseView:
    """Return all of a logbook that belongs into the drawer.

    Parameters
    ----------
    log
        The logbook.
    title
        What stands at the top; without it the name of the logbook's folder.
    date
        Day it was printed; without it today.
    photos
        Whether small pictures go along; nothing of the camera's file but its pixels does.
    """
    stair = log.stair()
    day = date or today()
    cans = {int(each.number[1:]): each.record for each in log.cans()}
    flights = flights_shown(stair)
    shown, note = _photos(log) if photos else ((), "")
    return HouseView(
        title=title or f"House file: {log.folder.resolve().name}",
        subtitle=f"What was put on test boards and stair, from which cans, and how to do it again. As of {day}.",
        date=day,
        sections=tuple(_finishes(log, stair.cans)),
        cans=tuple(_can(number, can, _used_on(stair, number)) for number, can in cans.items()),
        stair=svg_drawing(stair_svg(flights)) if stair.parts else None,
        stair_text=tuple(_coated(stair)),
        swatches=tuple(_swatches(log)),
        photos=shown,
        photos_note=note,
        stair_photos=_stair_photos(log, stair) if photos else (),
        care=_CARE,
        cautions=tuple((each.title, f"{each.long} ({each.source})") for each in CAUTIONS.values()),
        defers=DEFERS,
        reading=_READING,
    )


def _finishes(log: Logbook, cans: Mapping[int, Batch]) -> Iterator[HouseSection]:
    standards = log.standards()
    names = {each.number: each.record.name for each in log.recipes()}
    for each in sorted(standards, key=lambda found: found.ended is not None):
        name = f"{each.approval.recipe} {names.get(each.approval.recipe, '')}".strip()
        current = each.ended is None
        title = f"The standard: {name}" if current else f"An earlier standard: {name}"
        yield HouseSection(title, tuple(_decided(each)) + _steps(each.approval.finish, cans))
    approved = {each.approval.recipe: each.approval.finish for each in standards if each.ended is None}
    boards = log.boards()
    for recipe in log.recipes():
        number = int(recipe.number[1:])
        on = ", ".join(board.number for board in boards if board.record.recipe_number == number)
        lines = [("Boards", on)] if on else []
        lines += [("Note", recipe.record.note)] if recipe.record.note else []
        same = approved.get(recipe.number) == recipe.record.finish
        steps = (("Steps", "as the standard, above"),) if same else _steps(recipe.record.finish, cans)
        yield HouseSection(recipe_words(number, recipe.record) or recipe.number, (*lines, *steps))


def _decided(stored: StoredApproval) -> Iterator[tuple[str, str]]:
    found = stored.approval
    yield "Decided", f"on {found.date} by {found.who}"
    if stored.ended is not None:
        yield "Held until", f"{stored.ended.astimezone():%Y-%m-%d}"
    if found.board:
        yield "Kept board", found.board
    if found.reason:
        yield "Reason", found.reason


def _steps(finish: Finish, cans: Mapping[int, Batch]) -> tuple[tuple[str, str], ...]:
    steps = enumerate(finish_steps(finish, cans), start=1)
    return tuple((f"{n}. {step.title}", "; ".join(w for w in (step.detail, step.time) if w)) for n, step in steps)


def _can(number: int, can: Batch, used_on: str) -> HouseCan:
    named = " ".join(word for word in (can.maker, can.product) if word)
    left = f"{_litres(can.left_l)} L" if can.left_l is not None else ""
    if can.size_l is not None:
        left = f"{left or '?'} of {_litres(can.size_l)} L"
    opened = can.opened.isoformat() if can.opened else ""
    return HouseCan(f"C{number}", f"{named}, {can.kind}", can.lot or "", left, can.place or "", opened, used_on)


def _litres(litres: float) -> str:
    return f"{round(litres, 2):g}"


def _used_on(stair: StoredStair, number: int) -> str:
    idents = {event.part for event in stair.events if event.batch_number == number}
    return stair.listed(part.name for part in stair.parts if part.ident in idents)


def _coated(stair: StoredStair) -> Iterator[HouseSection]:
    """Say part by part what it has had and from which can."""
    words = {part.ident: stair.words(part) for part in stair.parts}
    lines: dict[int, list[str]] = {}
    for event in stair.events:
        what = f"{event.step} {event.coat}" if event.kind == "coat" else event.kind
        can = f" from C{event.batch_number}" if event.batch_number is not None else ""
        odd = f" (not as the recipe: {event.deviation})" if event.deviation else ""
        note = f" ({event.note})" if event.note else ""
        lines.setdefault(event.part, []).append(f"{event.date} {what}{can}{odd}{note}")
    told = tuple((words[part.ident], "; ".join(lines[part.ident])) for part in stair.parts if part.ident in lines)
    if told:
        yield HouseSection("What was done to each part", told)


def _swatches(log: Logbook) -> Iterator[Swatch]:
    for spot in (spot_row(each) for each in log.floor_spots()):
        yield from _swatch(f"{spot.number} floor", spot.record.spot or "", spot.lab)
    for board in (board_row(each) for each in log.boards()):
        yield from _swatch(board.number, board.record.purpose, board.lab)


def _swatch(name: str, caption: str, lab: Lab | None) -> Iterator[Swatch]:
    if lab is not None:
        figures = "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*(round(value, 1) + 0.0 for value in lab))
        yield Swatch(name, f"{figures}\n{caption}", hex_colour(lab))


def _photos(log: Logbook) -> tuple[tuple[HousePhoto, ...], str]:
    """Return small pictures of boards and floor, each photo once, and a sentence about those there is no room for."""
    named: dict[str, list[str]] = {}
    for number, photo in _named_photos(log):
        named.setdefault(photo, []).append(number)
    captions = [(photo, ", ".join(dict.fromkeys(numbers))) for photo, numbers in named.items()]
    left = len(captions) - _MOST_PHOTOS
    note = f"The first {_MOST_PHOTOS}; the logbook's folder holds {left} more." if left > 0 else ""
    return tuple(_pictures(log, captions[:_MOST_PHOTOS], _PHOTO_PIXELS)), note


def _pictures(log: Logbook, captions: Iterable[tuple[str, str]], pixels: int) -> Iterator[HousePhoto]:
    """Return small pictures; a photo whose file is gone or damaged is passed over."""
    for photo, caption in captions:
        try:
            jpeg = thumbnail(log.photo_path(photo), pixels, quality=80)
        except FinishlabError:
            continue
        yield HousePhoto(caption, jpeg)


def _stair_photos(log: Logbook, stair: StoredStair) -> tuple[HousePhoto, ...]:
    """Return small pictures of the stair's parts: of each its first photo and its latest."""
    events = {event.ident: event for event in stair.events}
    taken: dict[int, dict[str, str]] = {}
    ordered = sorted(stair.colours, key=lambda colour: (events[colour.event].date, colour.event))
    for colour in ordered:
        caption = _shows(stair, events[colour.event], colour.light)
        taken.setdefault(colour.part, {}).setdefault(colour.photo, caption)
    captions: list[tuple[str, str]] = []
    for part in stair.parts:
        found = list(taken.get(part.ident, {}).items())
        chosen = found if len(found) <= _MOST_OF_A_PART else [found[0], found[-1]]
        captions += [(photo, f"{stair.words(part)}, {words}") for photo, words in chosen]
    return tuple(_pictures(log, captions, _PART_PIXELS))


def _shows(stair: StoredStair, measured: StoredEvent, light: str) -> str:
    """Return when a photo of a part was taken and what it shows: the part after the last thing done to it."""
    before = [
        event
        for event in stair.events
        if event.part == measured.part
        and event.kind not in {"measured", "dry-fitted"}
        and (event.date, event.ident) <= (measured.date, measured.ident)
    ]
    state = "before anything was done"
    if before:
        last = before[-1]
        state = f"after {last.step} {last.coat}" if last.kind == "coat" else last.kind
    words = "" if measured.note is None or _FILE_NAMES.fullmatch(measured.note) else f"; {measured.note}"
    return f"{measured.date}: {state}, {light}{words}"


def _named_photos(log: Logbook) -> Iterable[tuple[str, str]]:
    for board in log.boards():
        yield from ((f"{board.number} ({each.light})", each.photo) for each in board.measurements)
    for spot in log.floor_spots():
        yield from ((f"{spot.number} ({each.light})", each.photo) for each in spot.measurements)
