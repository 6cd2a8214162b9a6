"""Photograph: photos come from the phone, each is answered at once, and is logged as what it is by its own command.

Choosing photos, the answers with the form that logs them, the pictures, and what they were logged as are four pages.
Photos stand in the addresses by their ids, so a page can be looked at again whatever became of the answer; what is
logged already is never logged again (`_logged_as`).
"""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, cast

from finishlab.board.files import Shown, read_name
from finishlab.coatings import WOODS
from finishlab.errors import FinishlabError, UsageError
from finishlab.logbook.store import Logbook
from finishlab.matching.scatter import FEW_SPOTS
from finishlab.measuring import MeasureOptions, PhotoResult, looking_elsewhere
from finishlab.measuring.logged import FloorSeen, doubt_light, floor_seen
from finishlab.page.app import Answer, Onward, Page, Route, Sent, Visit
from finishlab.page.asking import Field, RefusedError, given, options_of
from finishlab.page.bench import MOST_BYTES, PHOTO_ID, Bench, Glance, KindName, Known, Waiting, bench_of
from finishlab.page.reading import Words
from finishlab.record import DAYLIGHT

_AT_ONCE: Final = 3 * MOST_BYTES
"""Bytes of all photos of one form; the script sends them one by one."""
_MOST_PHOTOS: Final = 40
"""On one page."""
_COMMANDS: Final[Mapping[KindName, str]] = {
    "floor": "floor add",
    "board": "board add",
    "pair": "board add",
    "tread": "stairs measure",
    "strip": "strip learn",
}
"""What a photo can be, in the order it is asked, and the command that logs it."""
_FIRST: Final = (
    *("to", "species", "stain", "coats", "topcoat", "surface", "spot", "words", "floor_is", "light", "white", "each"),
)
_MORE: Final = ("purpose", "state", "note", "new_light", "confirm_floor")
"""What is asked for, by the commands' options: at first, and what is folded away; ``words`` name parts of the stair."""
_BESIDE: Final = frozenset({"floor_is", "confirm_floor"})
"""What a board has only beside the floor."""
_WITH_TO: Final = frozenset({"to", "light", "floor_is", "new_light", "confirm_floor"})
"""What goes with a photo of a board that is logged: its record stays as it is."""
_REMEMBERED: Final = ("light", "species", "stain", "coats", "topcoat", "floor_is", "surface", "words")
"""What the next form of this visitor begins with."""


@dataclass(frozen=True, slots=True)
class Logged:
    """What a photo is logged as."""

    kind: KindName
    words: str
    """``B3``, ``F1``, ``tread 7``, ``0412``."""


@dataclass(frozen=True, slots=True)
class Answered:
    """One photo on the page of answers."""

    photo: str
    name: str
    kind: KindName | None
    found: Glance | None = None
    """None where it was logged and cleared away."""
    said: tuple[str, ...] = ()
    """What is wrong or doubtful, each with what to do."""
    logged: Logged | None = None

    @property
    def good(self) -> bool:
        """Whether it can be logged."""
        return self.logged is None and self.found is not None and self.found.error is None


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
    return Logbook.open_existing(folder) or nullcontext()


def _known(log: Logbook | None, visit: Visit) -> Known:
    """Return what photos are looked at with: as the commands measure in the light that was named last."""
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
    return visit.visitor.kept.get(name, default)


def _seen(visit: Visit) -> Answer:
    """Show what was found in each photo, and the form that logs them."""
    bench, ids = bench_of(visit.folder), _ids(visit.query.get("photos", ""))
    waiting = {each: found for each in ids if (found := bench.find(each)) is not None}
    with _opened(visit.folder) as log:
        logged = _logged_as(log, ids)
        known = _known(log, visit)
        for each in waiting.values():
            bench.begin(each, known)
        answers = [
            _answered(visit, log, photo, bench.glance(photo, known), logged.get(each))
            for each, photo in waiting.items()
        ]
        answers += [
            Answered(each, each, as_what.kind, logged=as_what)
            for each, as_what in logged.items()
            if each not in waiting
        ]
        to_log = [each for each in answers if each.good]
        kinds = Counter(each.kind for each in to_log if each.kind is not None)
        values = {
            "answers": answers,
            "to_log": to_log,
            "kind": kinds.most_common(1)[0][0] if kinds else "board",
            "kinds": tuple(_COMMANDS),
            "fields": _fields(visit, log, [waiting[each.photo] for each in to_log]),
            "more": _MORE,
        }
    return Page(visit.words("photograph.seen"), "photograph_seen.html.j2", values)


def _answered(visit: Visit, log: Logbook | None, photo: Waiting, found: Glance, logged: Logged | None) -> Answered:
    """Return what is said of one photo."""
    said = _said(visit.words, log, photo, found, _kept(visit, "light", DAYLIGHT))
    return Answered(photo.photo, photo.name, _kind_of(photo, found), found, tuple(said), logged)


def _kind_of(photo: Waiting, found: Glance) -> KindName | None:
    """Return what a photo most likely shows: as its file's name says, or as it looks where that is left open."""
    named = _by_name(photo)
    if named is None or found.kind is None or (named[0] == "board" and found.kind != "floor"):
        return found.kind
    return named[0]


def _said(words: Words, log: Logbook | None, photo: Waiting, found: Glance, light: str) -> Iterator[str]:
    """Yield what is wrong with a photo, or doubtful, a sentence each with what to do."""
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
        filled |= {name: str(value) for name, value in shown.said.fields.items() if name in (*_FIRST, *_MORE)}
        filled |= {name: text for name, text in (("light", shown.light), ("spot", shown.spot)) if text}
    return filled


@functools.cache
def _kinds(name: str) -> tuple[KindName, ...]:
    """Return the kinds of photos whose command takes a field."""
    takes = [kind for kind, command in _COMMANDS.items() if name in options_of(command)]
    return tuple(kind for kind in takes if kind != "board" or name not in _BESIDE)


def _fields(visit: Visit, log: Logbook | None, photos: Sequence[Waiting]) -> list[tuple[Field, tuple[KindName, ...]]]:
    """Return what is asked for, each with the kinds of photos that have it, in the words of this page."""
    words, filled = visit.words, _filled(visit, log, photos)
    boards = [] if log is None else [each.record for each in log.boards()]
    likely = {name: _used(getattr(each, name) for each in boards) for name in ("species", "stain", "topcoat")}
    likely["species"] = [*dict.fromkeys([*likely["species"], *WOODS])]
    likely["light"] = [*dict.fromkeys([DAYLIGHT, *(log.lights_logged() if log is not None else ())])]
    found = []
    for name in (*_FIRST, *_MORE):
        if name != "each" or len(photos) > 1:
            kinds = _kinds(name)
            (field,) = visit.fields(_COMMANDS[kinds[0]], filled, names=(name,))
            hint = words.own.get(f"photograph.{name}_hint", "")
            field = replace(field, label=words(f"photograph.{name}"), hint=hint, default="", unit="", needed=False)
            said = {**field.said, "": words("photograph.new_board")} if name == "to" else field.said
            found.append((replace(field, choices=tuple(likely.get(name, field.choices)), said=said), kinds))
    return found


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
            said = _told(visit, bench, kind, photos)
    for each in photos:
        bench.drop(each)
    visit.visitor.kept |= {name: visit.form.text(name) for name in _REMEMBERED if kind in _kinds(name)}
    visit.visitor.kept["kind"] = kind
    rest = ",".join(each for each in named if each not in chosen)
    return Onward(f"/photograph/logged?photos={','.join(chosen)}&rest={rest}", said)


def _told(visit: Visit, bench: Bench, kind: KindName, photos: Sequence[Waiting]) -> Sequence[str]:
    """Run the command that logs photos of a kind, as they were measured already; return what it says of them.

    Raises
    ------
    RefusedError
        If it logs none.
    """
    names = [name for name in (*_FIRST, *_MORE) if kind in _kinds(name) and name != "words"]
    if visit.form.text("to") and "to" in names:
        names = [name for name in names if name in _WITH_TO]
    options = given(visit.fields(_COMMANDS[kind], names=names), visit.form.typed)
    if kind == "pair":
        options["with_floor"] = True
    words = [visit.form.text("words")] if kind == "tread" else []
    with looking_elsewhere(bench.workers.run, {each.path: each.name for each in photos}):
        asked = visit.ask(_COMMANDS[kind], *words, *(each.path for each in photos), **options)
    said = [each.removeprefix("  - ") for each in asked.said]
    for photo in photos:
        said = [photo.named(each) for each in said]
    if asked.errors:
        errors = tuple(_for_page(visit.words, photos, each) for each in asked.errors)
        raise RefusedError(replace(asked, said=tuple(said), errors=errors))
    return said


def _logged_as(log: Logbook | None, photos: Sequence[str]) -> dict[str, Logged]:
    """Return what photos are logged as, by their ids."""
    if log is None or not photos:
        return {}
    found: dict[str, Logged] = {}
    for greys in log.learned_greys():
        for photo in photos:
            if f"photo {photo}" in greys.basis:
                found[photo] = Logged("strip", f"{greys.number:04d}")
    parts = log.owners_of_photos("part", photos)
    if parts:
        stair = log.stair()
        found |= {photo: Logged("tread", stair.words(stair.part(ident))) for photo, ident in parts.items()}
    found |= {photo: Logged("floor", f"F{key}") for photo, key in log.owners_of_photos("spot", photos).items()}
    found |= {photo: Logged("board", f"B{key}") for photo, key in log.owners_of_photos("board", photos).items()}
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
    Route(
        "/photograph",
        show=_choose,
        do=_receive,
        title="photograph.title",
        commands=tuple({"measure", *_COMMANDS.values()}),
        most_bytes=_AT_ONCE,
    ),
    Route("/photograph/seen", show=_seen, do=_log),
    Route("/photograph/picture/{photo}", show=_picture),
    Route("/photograph/logged", show=_logged),
)
