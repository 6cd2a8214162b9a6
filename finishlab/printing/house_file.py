"""From the logbook to the house file for the drawer."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from finishlab.board.shown import pooled_lab, recipe_colours
from finishlab.cautions import CAUTIONS, DEFERS
from finishlab.coatings import COATINGS
from finishlab.colorimetry.spaces import hex_colour
from finishlab.errors import FinishlabError
from finishlab.finish import Finish
from finishlab.mend.documents import FAULTS, OLD_CANS, TRY_FIRST, YEARLY
from finishlab.printing.schedule import finish_steps
from finishlab.record import gathered, today
from finishlab.show.document import Column, Facts, Lab, Table
from finishlab.show.pages import Block, Outline, Pages, Picture, Pictures, Section, Swatch, Swatches, Words
from finishlab.stair.documents import flights_shown
from finishlab.stair.drawing import stair_svg
from finishlab.stair.progress import deviations, resolved
from finishlab.units import left_text

if TYPE_CHECKING:
    import datetime as dt

    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredStandard
    from finishlab.recipe import Can
    from finishlab.stair.records import StoredEvent, StoredStair


_PHOTO_PIXELS: Final = 900
_MOST_PHOTOS: Final = 24
_PART_PIXELS: Final = 600
_MOST_OF_A_PART: Final = 2
_FINISH: Final = "finish"
"""Marks what says how a finish is made."""
_FILE_NAMES: Final = re.compile(r"\S[^,]*\.[A-Za-z0-9]{2,5}(, \S[^,]*\.[A-Za-z0-9]{2,5})*")
"""A note that is no more than names of files, as it is written where none was given."""

_READING: Final = (
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
)

_CANS: Final = tuple(
    Column(name, share=share)
    for name, share in (
        ("can", 0.06), ("what", 0.28), ("lot", 0.13), ("left", 0.13), ("place", 0.22), ("used on", 0.18),
    )
)  # fmt: skip
_COLOURS_NOTE: Final = (
    "A screen or a printer shows colours only roughly: compare with the figures, or with the board itself."
)


def house_pages(log: Logbook, *, title: str | None = None, date: dt.date | None = None, photos: bool = True) -> Pages:
    """Return all of a logbook that belongs into the drawer, as pages.

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
    day = date or today()
    head = title or f"House file: {log.folder.resolve().name}"
    about = f"What was put on test boards and stair, from which cans, and how to do it again. As of {day}."
    return Pages(
        title=f"finishlab house file, {head}",
        subject=about,
        top=(Words(head, "title"), Words(about)),
        sections=tuple(_sections(log, photos=photos)),
        foot=f"{head}, {day.isoformat()}",
    )


def house_summary(pages: Pages) -> dict[str, object]:
    """Return what a house file holds, for ``finishlab/house-file/1``."""
    blocks = [block for section in pages.sections for block in section.blocks]
    return {
        "sections": [section.title for section in pages.sections if section.ident == _FINISH],
        "cans": sum(len(block.rows) for block in blocks if isinstance(block, Table)),
        "photos": sum(len(block.pictures) for block in blocks if isinstance(block, Pictures)),
    }


def _sections(log: Logbook, *, photos: bool) -> Iterator[Section]:
    stair = log.stair()
    cans = {each.number.key: each.record for each in log.cans()}
    yield _told("How to read this file", _READING)
    yield from _finishes(log, stair, stair.cans)
    if cans:
        parts = {part.ident: part.name for part in stair.parts}
        used = gathered((each.batch_number, parts[each.part]) for each in stair.events if each.part in parts)
        rows = [_can(number, can, stair.listed(set(used.get(number, ())))) for number, can in cans.items()]
        yield _section("Cans and leftovers", Table(_CANS, rows))
    if stair.parts:
        yield _section("The stair", Outline(stair_svg(flights_shown(stair), recipe_colours(log))))
    yield from _coated(stair)
    swatches = tuple(_swatches(log))
    if swatches:
        yield _section("Colours as measured", Words(_COLOURS_NOTE, "note"), Swatches(swatches), room=45.0)
    if photos:
        yield from _photos(log)
        shown = _stair_photos(log, stair)
        if shown:
            yield _section("Photos of the stair", Pictures(shown, across=3), room=60.0)
    yield _told("Care and repair", _care(stair), "Common practice, no source; the makers' own advice wins.")
    yield _told("Cautions", [(each.title, f"{each.long} ({each.source})") for each in CAUTIONS.values()], DEFERS)


def _care(stair: StoredStair) -> tuple[tuple[str, str], ...]:
    """Return how to care for what lies on this stair, by its kind; of every kind where nothing is written down."""
    kinds = [can.kind for number, can in stair.cans.items() if any(e.batch_number == number for e in stair.events)]
    kinds += [recipe.finish.topcoat.kind or "" for recipe in stair.recipes.values() if recipe.finish.topcoat]
    mended = tuple(each for each in COATINGS.values() if each.mends)
    here = [each for each in mended if any(kind in each.recorded for kind in kinds)]
    return (
        ("Each year", " ".join(YEARLY)),
        *((f"{each.kind[:1].upper()}{each.kind[1:]}", each.mends) for each in here or mended),
        (
            "A new tread",
            (
                "The same wood, sanded with the same grits, from the same lots if any is left; prove it on an offcut "
                "first."
            ),
        ),
        ("Before you mend", TRY_FIRST),
        ("Never", " ".join(FAULTS["worn nosing"].never)),
        ("Old cans", " ".join(OLD_CANS)),
        ("When it went wrong", "finishlab mend tells each fault, with what is written down of the tread."),
    )


def _section(title: str, *blocks: Block, ident: str = "", room: float = 23.0) -> Section:
    return Section(title, blocks, ident, room)


def _told(title: str, rows: Sequence[tuple[str, str]], note: str = "", *, ident: str = "") -> Section:
    """Return a section of names and what is said of each."""
    told = (Words(note, "note"),) if note else ()
    return _section(title, *told, Facts("", rows), ident=ident)


def _finishes(log: Logbook, stair: StoredStair, cans: Mapping[int, Can]) -> Iterator[Section]:
    standards = log.standards()
    names = {each.number: each.record.name for each in log.recipes()}
    for each in sorted(standards, key=lambda found: found.ended is not None):
        name = f"{each.approval.recipe} {names.get(each.approval.recipe, '')}".strip()
        current = each.ended is None
        title = f"The standard: {name}" if current else f"An earlier standard: {name}"
        yield _told(title, tuple(_decided(each)) + _steps(each.approval.finish, cans), ident=_FINISH)
    approved = {each.approval.recipe: each.approval.finish for each in standards if each.ended is None}
    boards = log.boards()
    for recipe in log.recipes():
        number = recipe.number.key
        on = ", ".join(board.number for board in boards if board.record.recipe_number == number)
        lines = [("Boards", on)] if on else []
        lines += [("Note", recipe.record.note)] if recipe.record.note else []
        worked = resolved(stair, number)
        lines += [("Changed", worked.changed)] if worked.changed else []
        same = approved.get(recipe.number) == recipe.record.finish
        steps = (("Steps", "as the standard, above"),) if same else _steps(recipe.record.finish, cans)
        yield _told(worked.words, (*lines, *steps), ident=_FINISH)


def _decided(stored: StoredStandard) -> Iterator[tuple[str, str]]:
    found = stored.approval
    yield "Decided", f"on {found.date} by {found.who}"
    if stored.ended is not None:
        yield "Held until", f"{stored.ended.astimezone():%Y-%m-%d}"
    if found.board:
        yield "Kept board", found.board
    if found.reason:
        yield "Reason", found.reason


def _steps(finish: Finish, cans: Mapping[int, Can]) -> tuple[tuple[str, str], ...]:
    steps = enumerate(finish_steps(finish, cans), start=1)
    return tuple((f"{n}. {step.title}", "; ".join(w for w in (step.detail, step.time) if w)) for n, step in steps)


def _can(number: int, can: Can, used_on: str) -> tuple[str, ...]:
    named = " ".join(word for word in (can.maker, can.product) if word)
    left = left_text(can.left_l, can.size_l) or ""
    opened = f", opened {can.opened.isoformat()}" if can.opened else ""
    return f"C{number}", f"{named}, {can.kind}{opened}", can.lot or "", left, can.place or "", used_on


def _coated(stair: StoredStair) -> Iterator[Section]:
    """Say part by part what it has had and from which can."""
    words = {part.ident: stair.words(part) for part in stair.parts}
    marked = gathered((found.event, found.sentence) for found in deviations(stair) if found.code != "own")
    lines: dict[int, list[str]] = {}
    for event in stair.events:
        can = f" from C{event.batch_number}" if event.batch_number is not None else ""
        odd = f" (not as the recipe: {event.deviation})" if event.deviation else ""
        note = f" ({event.note})" if event.note else ""
        how = f" ({event.conditions.in_words})" if event.conditions.in_words else ""
        mark = "".join(f" [! {sentence}]" for sentence in marked.get(event.ident, ()))
        lines.setdefault(event.part, []).append(f"{event.date} {event.what}{can}{how}{odd}{note}{mark}")
    told = tuple((words[part.ident], "; ".join(lines[part.ident])) for part in stair.parts if part.ident in lines)
    if told:
        yield _told("What was done to each part", told)


def _swatches(log: Logbook) -> Iterator[Swatch]:
    for spot in log.floor_spots():
        yield from _swatch(f"{spot.number} floor", spot.record.spot or "", pooled_lab(spot))
    for board in log.boards():
        yield from _swatch(board.number, board.record.purpose, pooled_lab(board))


def _swatch(name: str, caption: str, lab: Lab | None) -> Iterator[Swatch]:
    if lab is not None:
        figures = "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*(round(value, 1) + 0.0 for value in lab))
        yield Swatch(name, f"{figures}\n{caption}", hex_colour(lab))


def _photos(log: Logbook) -> Iterator[Section]:
    """Show boards and floor in small pictures, each photo once, and count those there is no room for."""
    named = gathered((photo, number) for number, photo in _named_photos(log))
    captions = [(photo, ", ".join(dict.fromkeys(numbers))) for photo, numbers in named.items()]
    left = len(captions) - _MOST_PHOTOS
    note = f"The first {_MOST_PHOTOS}; the logbook's folder holds {left} more." if left > 0 else ""
    shown = tuple(_pictures(log, captions[:_MOST_PHOTOS], _PHOTO_PIXELS))
    if shown:
        told = (Words(note, "note"),) if note else ()
        yield _section("Photos", *told, Pictures(shown), room=85.0)


def _pictures(log: Logbook, captions: Iterable[tuple[str, str]], pixels: int) -> Iterator[Picture]:
    """Return small pictures; a photo whose file is gone or damaged is passed over."""
    from finishlab.photos import thumbnail

    for photo, caption in captions:
        try:
            jpeg = thumbnail(log.photo_path(photo), pixels, quality=80)
        except FinishlabError:
            continue
        yield Picture(jpeg, caption, caption)


def _stair_photos(log: Logbook, stair: StoredStair) -> tuple[Picture, ...]:
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
