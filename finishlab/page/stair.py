"""The stair on the page: a drawing to touch, the record of a part, and what was done logged to one or to many parts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from finishlab.errors import LogbookError, UsageError
from finishlab.page.app import Answer, Onward, Page, Route, Visit
from finishlab.page.asking import command_of
from finishlab.page.forms import Group, changes, fields_of
from finishlab.page.views import PART_OPTIONS

if TYPE_CHECKING:
    from finishlab.cautions import Caution
    from finishlab.logbook.store import Logbook
    from finishlab.page.asking import Value
    from finishlab.page.forms import Field
    from finishlab.page.texts import Words
    from finishlab.recipe import Can
    from finishlab.show.document import Document
    from finishlab.stair.documents import FlightShown, PartShown
    from finishlab.stair.entering import Done
    from finishlab.stair.records import PartEvent, StoredEvent, StoredPart, StoredStair

_DONE: Final = (
    "stain", "seal", "topcoat", "sanded", "rubbed-out", "dry-fitted", "fitted", "touched-up", "note",
)  # fmt: skip
"""What can be logged, as `finishlab stairs log` calls it."""
_COATS: Final = ("stain", "seal", "topcoat")
_ALWAYS: Final = ("can", "date", "time", "note")
_MORE: Final = ("faces", "applicator", "air", "humidity", "wipe", "mixed", "recipe", "deviation")
"""Options of `finishlab stairs log`: those asked for first, and those that are folded away."""
_SIZES: Final = ("tread", "nosing", "riser", "top_nosing", "landing_board")
_SIDED: Final = ("returns", "skirts", "stringers")
_ADDED: Final = ("landing_boards", "species", "recipe", "name")
"""Options of `finishlab stairs add`: sizes, at which sides something is, and others."""
_CHOSEN: Final = "part"
"""Value of a box that chooses parts; its name says which."""
_GROUPS: Final = ("all treads", "odd treads", "even treads", "all risers")
_FEWEST: Final = 3
"""Treads of a flight from which on groups of them are offered."""


@dataclass(frozen=True, slots=True)
class _Choice:
    """A box of the list: parts that are chosen by it."""

    parts: str
    """As `finishlab stairs log` reads them."""
    words: str
    state: str = ""


@dataclass(frozen=True, slots=True)
class _Flight:
    """What can be chosen of a flight or landing."""

    title: str
    many: tuple[_Choice, ...]
    """Groups of parts."""
    steps: tuple[_Choice, ...]
    """What is stepped on, from the top down."""
    others: tuple[_Choice, ...]


@contextmanager
def _logbook(visit: Visit) -> Iterator[Logbook]:
    """Open the logbook; one without a stair is as good as none."""
    from finishlab.logbook.store import Logbook

    with Logbook.open(visit.folder) as log:
        yield log


def _stair(visit: Visit) -> Answer:
    """Show the stair: drawn, listed to choose from, what is due, and what can be stepped on."""
    from finishlab.plan.days import walking_document
    from finishlab.stair.documents import due_document, flights_shown, stair_notes

    if not visit.state:
        return Onward("/stair/add")
    with _logbook(visit) as log:
        stair = log.stair()
        if not stair.parts:
            return Onward("/stair/add")
        flights = flights_shown(stair)
        values: dict[str, Any] = {
            "drawing": _drawing(visit, log, flights),
            "flights": [_choices(visit.words, flight) for flight in reversed(flights)],
            "notes": stair_notes(flights),
            "tonight": _told(visit, walking_document(log)),
            "due": _told(visit, due_document(stair)),
            "done": _DONE,
        }
    return Page(visit.words("stair.title"), "stair.html.j2", values)


def _drawing(visit: Visit, log: Logbook, flights: Sequence[FlightShown]) -> str:
    from markupsafe import Markup

    from finishlab.board.shown import recipe_colours
    from finishlab.stair.drawing import linked_stair

    drawn = linked_stair(
        flights,
        lambda parts: f"/stair/part?{urlencode({'parts': parts})}",
        colours=recipe_colours(log),
        say=visit.words.of,
        title=visit.words("stair.drawing"),
    )
    return Markup(drawn)  # noqa: S704 - escapes what it is given


def _choices(words: Words, flight: FlightShown) -> _Flight:
    """Return what can be chosen of a flight: many at once, and part by part."""
    from finishlab.plan.parts import WALKED_ON
    from finishlab.stair.documents import flight_heading

    parts = [part for part in flight.parts if part.record.kind in WALKED_ON]
    others = [part for part in flight.parts if part not in parts]
    code = flight.parts[0].name.code.partition(".")[0] if flight.parts else ""
    groups = _GROUPS if any(part.record.kind == "riser" for part in others) else _GROUPS[:-1]
    many = groups if sum(part.record.kind == "tread" for part in parts) >= _FEWEST else ()

    def one(part: PartShown) -> _Choice:
        return _Choice(part.name.code, words.of(part.name.words(with_level=False)), words.of(part.state))

    return _Flight(
        words.of(flight_heading(flight)),
        tuple(_Choice(f"{code}/{each}", words.of(each)) for each in many),
        tuple(map(one, reversed(parts))),
        tuple(map(one, others)),
    )


def _told(visit: Visit, document: Document, *, level: int = 3) -> str:
    from finishlab.page.reading import reader
    from finishlab.show.html import blocks_html

    return blocks_html(document.blocks, reader(visit.words), level=level)


def _chosen(visit: Visit, stair: StoredStair) -> list[StoredPart]:
    """Return the parts that were chosen by touch, by boxes or in words."""
    said = visit.form.text("parts") or visit.query.get("parts", "")
    named = [said] if said else []
    named += [name for name, value in visit.query.items() if value == _CHOSEN]
    if not named:
        raise UsageError("no-parts", visit.words("stair.none_chosen"), visit.words("stair.choose_first"))
    return stair.named(", ".join(named))


def _part(visit: Visit) -> Answer:
    """Show the record of parts, and what can be logged of them."""
    from finishlab.stair.documents import parts_document

    with _logbook(visit) as log:
        stair = log.stair()
        parts = _chosen(visit, stair)
        codes = ",".join(part.code for part in parts)
        told = _told(visit, parts_document(log, codes), level=2)
    title = _capital(visit.words.of(stair.listed(part.name for part in parts)))
    return Page(title, "stair_part.html.j2", {"told": told, "parts": codes, "done": _DONE})


def _form(visit: Visit) -> Answer:
    """Show the form for what was done to parts, filled in as it was the last time."""
    from finishlab.stair.entering import read_event

    what = visit.form.text("what") or visit.query.get("what", "")
    done = read_event(what)
    if done is None:
        raise UsageError("no-event", visit.words("stair.no_event"), visit.words("stair.choose_first"))
    with _logbook(visit) as log:
        stair = log.stair()
        parts = _chosen(visit, stair)
        cans = _cans(log, done)
        recipes = [(str(each.number), f"{each.number} {each.record.name}") for each in log.recipes()]
        words = visit.words
        values: dict[str, Any] = {
            "parts": ",".join(part.code for part in parts),
            "names": words.of(stair.listed(part.name for part in parts)),
            "what": what,
            "coat": done.kind == "coat",
            "cautions": _cautions(stair, parts, done, cans),
            "filled": _filled(stair, parts, done),
            "choices": {
                "can": [("", words("stair.no_can")), *((f"C{number}", told) for number, told in cans.items())],
                "recipe": [("", words("stair.own_recipe")), *recipes],
            },
            "always": [name for name in _ALWAYS if name != "can" or done.kind in {"coat", "touched up"}],
            "more": _MORE if done.kind == "coat" else ("recipe", "deviation") if done.kind == "touched up" else (),
        }
    title = f"{_capital(words.of(what))}: {values['names']}"
    return Page(title, "stair_log.html.j2", values)


def _cans(log: Logbook, done: Done) -> dict[int, str]:
    """Return the cans there are in words, those that are of the step first."""
    from finishlab.coatings import of_step
    from finishlab.stair.progress import can_words

    live: Mapping[int, Can] = {each.number.key: each.record for each in log.cans()}
    others = [number for number, can in live.items() if done.step is None or of_step(done.step, can.kind) is None]
    ordered = [number for number in live if number not in others] + others
    return {number: can_words(number, live) or "" for number in ordered}


def _cautions(
    stair: StoredStair, parts: Sequence[StoredPart], done: Done, cans: Mapping[int, str]
) -> tuple[Caution, ...]:
    """Return what work and products call for: of every can that may be named, for the form comes before the choice."""
    from finishlab.cautions import cautions_for
    from finishlab.stair.entering import next_events, work_done

    coated = done.kind in {"coat", "touched up"}
    note = {"note": "-"} if done.kind == "note" else {}
    events: list[tuple[int, PartEvent]] = []
    for number in (None, *cans) if coated else (None,):
        events += next_events(stair, parts, done, batch_number=number, **note)
    products, actions = work_done(stair, events)
    return cautions_for(products, actions)


def _filled(stair: StoredStair, parts: Sequence[StoredPart], done: Done) -> dict[str, str]:
    """Return the fields as they were when the same was done last: this can, this rag; the air only of today."""
    from finishlab.record import today
    from finishlab.stair.documents import usual_can
    from finishlab.stair.progress import progress_of

    now = dt.datetime.now(tz=dt.UTC).astimezone()
    filled = {"date": today().isoformat(), "time": f"{now:%H:%M}" if done.kind in {"coat", "touched up"} else ""}
    alike = [event for event in stair.events if (event.kind, event.step) == (done.kind, done.step)]
    last: StoredEvent | None = max(alike, key=lambda event: event.ident, default=None)
    can = None if done.step is None else usual_can(stair, parts[0], done.step, progress_of(stair.events))
    if can is None and last is not None:
        can = last.batch_number
    if can is not None:
        filled["can"] = f"C{can}"
    if last is None or done.kind != "coat":
        return filled
    how = last.conditions
    filled |= {"faces": last.faces or "", "applicator": how.applicator or ""}
    if last.date == today():
        filled |= {
            name: f"{value:g}"
            for name, value in (("air", how.air_c), ("humidity", how.rh_percent))
            if value is not None
        }
    return filled


def _log(visit: Visit) -> Answer:
    """Log what was done, as the command does, and say what it says: cautions, and what is worth a second look."""
    form = visit.form
    words = " ".join(filter(None, (form.text("parts"), form.text("what"), form.text("coat"))))
    options = {name: form.text(name) or None for name in (*_ALWAYS, *_MORE)}
    said = visit.ask("stairs log", words, may_fail=False, **options).said
    return Onward("/stair", said)


def _add_form(visit: Visit) -> Answer:
    """Show the form for flights that are entered, the whole stair where there is none."""
    recipes = []
    if visit.state:
        with _logbook(visit) as log:
            recipes = [(str(each.number), f"{each.number} {each.record.name}") for each in log.recipes()]
    words = visit.words
    sides = [("", words("stair.none")), *((side, words.of(side)) for side in ("left", "right", "both"))]
    values = {
        "recipes": [("", words("stair.no_recipe")), *recipes],
        "sides": sides,
        "sizes": _SIZES,
        "sided": _SIDED,
    }
    return Page(words("stair.add"), "stair_add.html.j2", values)


def _add(visit: Visit) -> Answer:
    form = visit.form
    options: dict[str, Value] = {name: form.text(name) or None for name in (*_SIZES, *_SIDED, *_ADDED)}
    options |= {name: form.text(name) == "yes" for name in ("no_risers", "no_top_nosing")}
    said = visit.ask("stairs add", form.text("words"), may_fail=False, **options).said
    return Onward("/stair", said)


_EVENT: Final = (
    *("date", "of", "coat", "recipe", "can", "faces", "deviation", "note"),
    *("time", "air", "humidity", "applicator", "wipe", "mixed"),
)
"""What is written of an event, by the options of `finishlab stairs edit-event`."""


def _edit(visit: Visit) -> Answer:
    """Show what is written of parts, to be changed; where they differ the field is empty, and what is left so stays."""
    parts, fields = _part_fields(visit)
    return _edit_page(visit, [part.code for part in parts], fields, [part.code for part in parts])


def _edit_page(visit: Visit, what: Sequence[str], fields: Sequence[Field], about: Sequence[str]) -> Page:
    named = ",".join(what)
    values = {"groups": [Group("", tuple(fields))], "number": ",".join(about), "removes": named}
    return Page(visit.words("page.edit", what=", ".join(what)), "stair_edit.html.j2", values)


def _part_fields(visit: Visit) -> tuple[list[StoredPart], list[Field]]:
    with _logbook(visit) as log:
        parts = _chosen(visit, log.stair())
    written = []
    for part in parts:
        record, sizes = part.record, part.record.sizes
        texts: dict[str, object] = {name: sizes.words(name) for name in PART_OPTIONS[:6]}
        texts |= {"left_angle": sizes.left_angle, "right_angle": sizes.right_angle, "species": record.species}
        texts |= {"recipe": _numbered("R", record.recipe_number), "fixing": record.fixing, "note": record.note}
        written.append(texts)
    alike = {name: written[0][name] for name in PART_OPTIONS if len({str(each[name]) for each in written}) == 1}
    return parts, fields_of(command_of("stairs edit"), PART_OPTIONS, alike)


def _edited(visit: Visit) -> Answer:
    parts, fields = _part_fields(visit)
    codes = ",".join(part.code for part in parts)
    said = visit.ask("stairs edit", codes, may_fail=False, **_changed(visit, fields)).said
    return Onward(f"/stair/part?{urlencode({'parts': codes})}", said)


def _changed(visit: Visit, fields: Sequence[Field]) -> dict[str, Value]:
    """Return what was changed in a form as options: texts, and the names of the fields that were emptied."""
    changed = changes(fields, visit.form.typed)
    emptied = [name.replace("_", "-") for name, text in changed.items() if not text]
    return {"clear": emptied or None, **{name: text for name, text in changed.items() if text}}


def _event(visit: Visit) -> Answer:
    """Show what was logged of a part, to be changed or taken out."""
    event, part, fields = _event_fields(visit)
    return _edit_page(visit, [event], fields, [part])


def _event_fields(visit: Visit) -> tuple[str, str, list[Field]]:
    named = visit.path["event"].upper()
    with _logbook(visit) as log:
        stair = log.stair()
    found = next((each for each in stair.events if f"E{each.ident}" == named), None)
    if found is None:
        raise LogbookError("unknown-event", visit.words("stair.no_such_event"), visit.words("stair.look_again"))
    how = found.conditions
    texts: dict[str, object] = {name: getattr(found, name) for name in ("coat", "faces", "deviation", "note")}
    texts |= {"date": found.date.isoformat(), "of": found.step, "recipe": _numbered("R", found.recipe_number)}
    texts |= {"can": _numbered("C", found.batch_number), "time": how.time, "air": how.air_c, "wipe": how.wipe_min}
    texts |= {"humidity": how.rh_percent, "applicator": how.applicator, "mixed": how.mixed}
    return named, stair.part(found.part).code, fields_of(command_of("stairs edit-event"), _EVENT, texts)


def _event_edited(visit: Visit) -> Answer:
    event, part, fields = _event_fields(visit)
    said = visit.ask("stairs edit-event", event, may_fail=False, **_changed(visit, fields)).said
    return Onward(f"/stair/part?{urlencode({'parts': part})}", said)


def _numbered(letter: str, number: int | None) -> str | None:
    return None if number is None else f"{letter}{number}"


def _remove(visit: Visit) -> Answer:
    """Leave parts or an event out from now on."""
    return Onward("/stair", visit.ask("stairs remove", visit.form.text("what")).said)


def _undo(visit: Visit) -> Answer:
    """Take the last change back; not where somebody has made another one since the button was shown."""
    if visit.form.text("state") != str(visit.state):
        raise UsageError("changed-meanwhile", visit.words("stair.changed"), visit.words("stair.look_again"))
    return Onward("/stair", visit.ask("undo").said)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


ROUTES: Final = (
    Route("/stair", show=_stair, title="stair.title"),
    Route("/stair/part", show=_part),
    Route("/stair/log", show=_form, do=_log),
    Route("/stair/add", show=_add_form, do=_add),
    Route("/stair/edit", show=_edit, do=_edited),
    Route("/stair/events/{event}", show=_event, do=_event_edited),
    Route("/stair/remove", show=_stair, do=_remove),
    Route("/stair/undo", show=_stair, do=_undo),
)
