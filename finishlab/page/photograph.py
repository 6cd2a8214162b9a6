"""Photograph: photos come from the phone, each is answered at once, and is logged as what it is by its own command.

Choosing photos, the answers with the form that logs them, the pictures, and what they were logged as are four pages.
Photos stand in the addresses by their ids, so a page can be looked at again whatever became of the answer; what is
logged already is never logged again (`_logged_as`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from finishlab.errors import FinishlabError, UsageError
from finishlab.page.app import Answer, Onward, Page, Route, Sent, Visit
from finishlab.page.asking import Asked, RefusedError
from finishlab.page.glance import Glance, KindName, Known
from finishlab.page.waiting import MOST_BYTES, PHOTO_ID, Bench, Waiting, bench_of
from finishlab.record import DAYLIGHT

if TYPE_CHECKING:
    from finishlab.board.files import Shown
    from finishlab.logbook.store import Logbook
    from finishlab.page.texts import Words

__all__ = ["ROUTES"]

_AT_ONCE: Final = 3 * MOST_BYTES
"""Bytes of all photos of one form; the script sends them one by one."""
_MOST_PHOTOS: Final = 40
"""On one page."""
_OFFERED: Final = 40
"""Boards that another photo can be added to, the newest first."""
_COMMANDS: Final[Mapping[KindName, str]] = {
    "floor": "floor add",
    "board": "board add",
    "pair": "board add",
    "tread": "stairs measure",
    "strip": "strip learn",
}
"""What a photo can be, in the order it is asked, and the command that logs it."""
_BOARDS: Final[tuple[KindName, ...]] = ("board", "pair")
_LIT: Final[tuple[KindName, ...]] = ("floor", "board", "pair", "tread")
FIELDS: Final[Mapping[str, tuple[KindName, ...]]] = {
    "to": _BOARDS,
    "species": _BOARDS,
    "stain": _BOARDS,
    "coats": _BOARDS,
    "topcoat": _BOARDS,
    "purpose": _BOARDS,
    "stage": _BOARDS,
    "floor_is": ("pair",),
    "surface": ("floor",),
    "spot": ("floor",),
    "parts": ("tread",),
    "white": ("strip",),
    "light": _LIT,
    "note": _LIT,
    "each": _BOARDS,
    "new_light": ("floor", *_BOARDS),
    "confirm_floor": ("floor", "pair"),
}
"""Field of the form -> the kinds that have it. Each is an option of the command (`_OPTIONS`), but the parts: they stand
before the photos."""
_OPTIONS: Final = {"stage": "state"}
"""Field -> option, where the form calls it otherwise: every form of the page has a ``state`` of its own."""
_TICKS: Final = frozenset({"new_light", "confirm_floor", "each"})
_WITH_TO: Final = frozenset({"to", "light", "floor_is", "new_light", "confirm_floor"})
"""What goes with a photo of a board that is logged: its record stays as it is."""
_REMEMBERED: Final = ("light", "species", "stain", "coats", "topcoat", "floor_is", "surface", "parts")
"""What the next form of this visitor begins with."""


@dataclass(frozen=True, slots=True)
class Logged:
    """What a photo is logged as."""

    kind: KindName
    number: str
    """``B3``, ``F1``, ``1.T7``, ``0412``."""
    words: str
    """The same as people say it."""


@dataclass(frozen=True, slots=True)
class Answered:
    """One photo on the page of answers."""

    photo: str
    name: str
    kind: KindName | None
    found: bool
    """Whether there is a strip."""
    said: tuple[str, ...] = ()
    """What is wrong or doubtful, each with what to do."""
    colours: tuple[tuple[str, str, str], ...] = ()
    """Field, its colour for a screen, and its figures."""
    apart: str = ""
    """CIEDE2000 of board and floor beside one another, with its interval."""
    pictured: bool = False
    good: bool = False
    """Whether it can be logged."""
    logged: Logged | None = None


def _choose(visit: Visit) -> Answer:
    bench_of(visit.folder)  # a worker is ready by the time the photo comes
    return Page(visit.words("photograph.title"), "photograph.html.j2", {"before": visit.query.get("before", "")})


def _receive(visit: Visit) -> Answer:
    """Take what the phone sends; what is no photo is said, and the others are taken all the same."""
    bench = bench_of(visit.folder)
    taken: list[Waiting] = []
    wrong: list[FinishlabError] = []
    for upload in visit.form.uploads:
        try:
            taken.append(bench.take(upload.name, upload.file))
        except FinishlabError as error:
            wrong.append(error)
    if not taken:
        raise wrong[0] if wrong else UsageError("no-photo-sent", visit.words("photograph.none_sent"))
    with _opened(visit.folder) as log:
        known = _known(log, visit)
    for each in taken:
        bench.begin(each, known)
    ids = dict.fromkeys((*_ids(visit.form.text("before")), *(each.photo for each in taken)))
    of = visit.words.of
    return Onward(f"/photograph/seen?photos={','.join(ids)}", [f"{of(each.message)} {of(each.hint)}" for each in wrong])


def _ids(text: str) -> list[str]:
    """Return the ids of photos in a text from an address, each once."""
    return [each for each in dict.fromkeys(text.split(",")) if PHOTO_ID.fullmatch(each)][:_MOST_PHOTOS]


def _opened(folder: Path) -> AbstractContextManager[Logbook | None]:
    """Open the logbook if there is one; none is made by looking."""
    from finishlab.logbook.store import Logbook

    return Logbook.open_existing(folder) or nullcontext()


def _known(log: Logbook | None, visit: Visit) -> Known:
    """Return what photos are looked at with: as the commands measure in the light that was named last."""
    from finishlab.matching.scatter import FEW_SPOTS
    from finishlab.measuring import MeasureOptions
    from finishlab.measuring.logged import FloorSeen, floor_seen

    how: dict[KindName, MeasureOptions] = {
        "pair": MeasureOptions(("board", "floor"), cast("Any", _kept(visit, "floor_is", "print"))),
        "board": MeasureOptions(("board",)),
        "tread": MeasureOptions(("board",), "wood"),
        "floor": MeasureOptions(("floor",), "wood" if _kept(visit, "surface") == "wood" else "print"),
    }
    if log is None:
        return Known(how, FloorSeen([]))
    light = _kept(visit, "light", DAYLIGHT)
    asked = {kind: each.with_calibration(log, light) for kind, each in how.items()}
    seen = floor_seen(log, light)
    alone: KindName = "tread" if log.standard() is not None and log.stair().parts else "board"
    floor_next = len(seen.spots) < FEW_SPOTS or _kept(visit, "kind") == "floor"
    return Known(asked, seen, alone, floor_next)


def _kept(visit: Visit, name: str, default: str = "") -> str:
    return visit.visitor.kept.get(f"photograph.{name}", default)


def _seen(visit: Visit) -> Answer:
    """Show what was found in each photo, and the form that logs them."""
    bench, ids = bench_of(visit.folder), _ids(visit.query.get("photos", ""))
    waiting = [found for each in ids if (found := bench.find(each)) is not None]
    with _opened(visit.folder) as log:
        logged = _logged_as(log, ids)
        known = _known(log, visit)
        for each in waiting:
            bench.begin(each, known)
        answers = [_answered(visit, log, each, bench.glance(each, known), logged.get(each.photo)) for each in waiting]
        there = {each.photo for each in waiting}
        answers += [
            Answered(each, each, logged[each].kind, found=True, logged=logged[each])
            for each in ids
            if each in logged and each not in there
        ]
        to_log = [each for each in answers if each.good and each.logged is None]
        kind = _proposed(to_log)
        values = {
            "answers": answers,
            "to_log": to_log,
            "kind": kind,
            "kinds": tuple(_COMMANDS),
            "fields": FIELDS,
            "filled": _filled(visit, log, [each for each in waiting if each.photo in {one.photo for one in to_log}]),
            "offered": _offered(visit, log),
        }
    return Page(visit.words("photograph.seen"), "photograph_seen.html.j2", values)


def _answered(visit: Visit, log: Logbook | None, photo: Waiting, found: Glance, logged: Logged | None) -> Answered:
    """Return what is said of one photo."""
    from finishlab.colorimetry.spaces import hex_colour

    result = found.measurement
    fields = {} if result is None else result.fields
    colours = tuple(
        (name, hex_colour(each.estimate.lab), "L* {:.0f}, a* {:.0f}, b* {:.0f}".format(*each.estimate.lab))
        for name, each in fields.items()
    )
    pair = None if result is None else result.pair
    return Answered(
        photo.photo,
        photo.name,
        _kind_of(photo, found),
        found=found.found,
        said=tuple(_said(visit.words, log, photo, found, _kept(visit, "light", DAYLIGHT))),
        colours=colours,
        apart="" if pair is None else f"{pair.value:.1f} ({pair.low:.1f} to {pair.high:.1f})",
        pictured=found.pictured,
        good=found.error is None,
        logged=logged,
    )


def _kind_of(photo: Waiting, found: Glance) -> KindName | None:
    """Return what a photo most likely shows: as its file's name says, or as it looks where that is left open."""
    named = _by_name(photo)
    if named is None or found.kind is None or (named[0] == "board" and found.kind != "floor"):
        return found.kind
    return named[0]


def _said(words: Words, log: Logbook | None, photo: Waiting, found: Glance, light: str) -> Iterator[str]:
    """Yield what is wrong with a photo, or doubtful, a sentence each with what to do."""
    from finishlab.measuring import PhotoResult
    from finishlab.measuring.logged import doubt_light

    if found.error is not None:
        error = _for_page(words, [photo], found.error)
        yield f"{words.of(error.message)} {words.of(error.hint)}".strip()
        return
    doubts = {each.code: each for each in found.doubts}
    if log is not None and found.measurement is not None:
        (told,) = doubt_light(log, [PhotoResult(str(photo.path), found.measurement)], light)
        for field in told.measurement.fields.values() if told.measurement is not None else ():
            doubts |= {each.code: each for each in field.doubts}
    yield from (words.of(each.message) for each in doubts.values())
    learned = {greys.number for greys in log.learned_greys()} if log is not None else set()
    if found.kind != "strip" and found.strip is not None and found.strip not in learned:
        yield words("photograph.print_not_learned", strip=f"{found.strip:04d}")


def _for_page(words: Words, photos: Sequence[Waiting], error: FinishlabError) -> FinishlabError:
    """Return a failure with the photos' own names, and a hint that speaks of this page and not of a command line."""
    for each in photos:
        error = each.named_error(error)
    hint = words.own.get(f"photograph_hint.{error.code}", error.hint)
    return type(error)(error.code, error.message, hint)


def _by_name(photo: Waiting) -> tuple[KindName, Shown] | None:
    """Return what a photo shows by its file's name; None where the name says nothing, as names of phones do."""
    from finishlab.board.files import read_name

    stem = Path(photo.name).stem
    if stem.casefold().startswith("strip"):
        return None
    shown = read_name(stem)
    if shown is None or shown.kind == "left out":
        return None
    if shown.kind == "board" and not set(shown.said.fields) - {"stain"}:
        return None  # any word can be the name of a stain
    kind: KindName = "floor" if shown.kind == "floor" else "pair" if shown.with_floor else "board"
    return kind, shown


def _proposed(answers: Sequence[Answered]) -> KindName:
    """Return what most of the photos are."""
    kinds = Counter(each.kind for each in answers if each.kind is not None)
    return kinds.most_common(1)[0][0] if kinds else "board"


def _filled(visit: Visit, log: Logbook | None, photos: Sequence[Waiting]) -> dict[str, str]:
    """Return what the fields begin with: as the last board and place of the floor were, or as a file's name says."""
    filled = {"light": DAYLIGHT, "purpose": "candidate", "floor_is": "print", "surface": "vinyl"}
    if log is not None:
        boards, spots = log.boards(), log.floor_spots()
        if boards:
            record = boards[-1].record
            filled |= {
                name: str(value)
                for name in ("species", "stain", "coats", "topcoat", "light")
                if (value := getattr(record, name)) is not None
            }
        if spots:
            surface = spots[-1].record.surface
            filled |= {"surface": surface, "floor_is": "wood" if surface == "wood" else "print"}
    filled |= {name: text for name in _REMEMBERED if (text := _kept(visit, name))}
    for _, shown in filter(None, map(_by_name, photos[:1])):
        filled |= {name: str(value) for name, value in shown.said.fields.items() if name in FIELDS}
        filled |= {name: text for name, text in (("light", shown.light), ("spot", shown.spot)) if text}
    return filled


def _offered(visit: Visit, log: Logbook | None) -> dict[str, Any]:
    """Return what can be chosen in the fields."""
    from finishlab.board import PURPOSES, STATES, SURFACES
    from finishlab.board.shown import what_it_is
    from finishlab.coatings import WOODS

    records = [] if log is None else [(each.number, each.record) for each in log.boards()]
    stair = None if log is None else log.stair()
    return {
        "to": [("", visit.words("photograph.new_board"))]
        + [(number, f"{number}: {what_it_is(record)}") for number, record in records[: -_OFFERED - 1 : -1]],
        "species": [*dict.fromkeys([*(record.species for _, record in records), *WOODS])],
        "stain": _used(record.stain for _, record in records),
        "topcoat": _used(record.topcoat for _, record in records),
        "light": list(dict.fromkeys([DAYLIGHT, *(log.lights_logged() if log is not None else ())])),
        "purpose": PURPOSES,
        "stage": STATES,
        "surface": SURFACES,
        "floor_is": ("print", "wood"),
        "parts": [] if stair is None else [stair.words(part) for part in stair.parts],
    }


def _used(texts: Iterator[str | None]) -> list[str]:
    return list(dict.fromkeys(text for text in texts if text))


def _picture(visit: Visit) -> Answer:
    """Send the picture of what was found in a photo: pixels alone, nothing of the phone's file beside them."""
    bench = bench_of(visit.folder)
    photo = bench.find(visit.path["photo"])
    picture = None if photo is None else bench.picture(photo)
    if picture is None:
        raise UsageError("no-picture", visit.words("photograph.gone"))
    return Sent(picture, "image/jpeg")


def _log(visit: Visit) -> Answer:
    """Log photos as what they are; those that are logged already stay as they are."""
    bench, named = bench_of(visit.folder), _ids(visit.query.get("photos", ""))
    kind = cast("KindName", visit.form.text("kind"))
    chosen = [each for each in named if each in visit.form.texts("photo")]
    if kind not in _COMMANDS or not chosen:
        raise UsageError("nothing-chosen", visit.words("photograph.nothing_chosen"))
    said: Sequence[str] = ()
    with bench.logging:
        with _opened(visit.folder) as log:
            logged = _logged_as(log, chosen)
        open_ = [each for each in chosen if each not in logged]
        photos = [found for each in open_ if (found := bench.find(each)) is not None]
        if len(photos) < len(open_):
            raise UsageError("photo-gone", visit.words("photograph.gone"), visit.words("photograph.send_again"))
        for each in photos:
            bench.settle(each)
        if photos:
            said = _asked(visit, bench, kind, photos).said
    for each in photos:
        bench.drop(each)
    visit.visitor.kept |= {f"photograph.{name}": visit.form.text(name) for name in _REMEMBERED if kind in FIELDS[name]}
    visit.visitor.kept["photograph.kind"] = kind
    rest = ",".join(each for each in named if each not in chosen)
    return Onward(f"/photograph/logged?photos={','.join(chosen)}&rest={rest}", said)


def _asked(visit: Visit, bench: Bench, kind: KindName, photos: Sequence[Waiting]) -> Asked:
    """Run the command that logs photos of a kind, as they were measured already."""
    from finishlab.measuring import looking_elsewhere

    names = [name for name, kinds in FIELDS.items() if kind in kinds and name != "parts"]
    if visit.form.text("to") and kind in _BOARDS:
        names = [name for name in names if name in _WITH_TO]
    options: dict[str, Any] = {
        _OPTIONS.get(name, name): visit.form.text(name) == "yes" if name in _TICKS else visit.form.text(name) or None
        for name in names
    }
    if kind == "pair":
        options["with_floor"] = True
    words = [visit.form.text("parts")] if kind == "tread" else []
    try:
        with looking_elsewhere(bench.workers.run, {each.path: each.name for each in photos}):
            asked = visit.ask(_COMMANDS[kind], *words, *(each.path for each in photos), **options)
    except RefusedError as refused:
        asked = _named(refused.asked, photos)
        raise RefusedError(
            replace(asked, errors=tuple(_for_page(visit.words, photos, each) for each in asked.errors))
        ) from refused
    return _named(asked, photos)


def _named(asked: Asked, photos: Sequence[Waiting]) -> Asked:
    """Return what a command said with the photos' own names."""
    said = [each.removeprefix("  - ") for each in asked.said]
    for photo in photos:
        said = [photo.named(each) for each in said]
    return replace(asked, said=tuple(said))


def _logged_as(log: Logbook | None, photos: Sequence[str]) -> dict[str, Logged]:
    """Return what photos are logged as, by their ids."""
    if log is None or not photos:
        return {}
    found: dict[str, Logged] = {}
    for greys in log.learned_greys():
        for photo in photos:
            if f"photo {photo}" in greys.basis:
                found[photo] = Logged("strip", f"{greys.number:04d}", f"{greys.number:04d}")
    parts = log.owners_of_photos("part", photos)
    if parts:
        stair = log.stair()
        for photo, ident in parts.items():
            part = stair.part(ident)
            found[photo] = Logged("tread", part.code, stair.words(part))
    for photo, number in log.owners_of_photos("spot", photos).items():
        found[photo] = Logged("floor", f"F{number}", f"F{number}")
    for photo, number in log.owners_of_photos("board", photos).items():
        found[photo] = Logged("board", f"B{number}", f"B{number}")
    return found


def _logged(visit: Visit) -> Answer:
    """Show what photos were logged as, and what comes next."""
    photos = _ids(visit.query.get("photos", ""))
    if not photos:
        return Onward("/photograph")
    with _opened(visit.folder) as log:
        found = _logged_as(log, photos)
    values = {"logged": list(dict.fromkeys(found.values())), "rest": _ids(visit.query.get("rest", ""))}
    return Page(visit.words("photograph.logged"), "photograph_logged.html.j2", values)


ROUTES: Final = (
    Route("/photograph", show=_choose, do=_receive, title="photograph.title", most_bytes=_AT_ONCE),
    Route("/photograph/seen", show=_seen, do=_log),
    Route("/photograph/picture/{photo}", show=_picture),
    Route("/photograph/logged", show=_logged),
)
