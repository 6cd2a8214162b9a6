"""The stair on the page: a drawing to touch, the record of a part, and what was done logged to one or to many parts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final
from urllib.parse import urlencode

from markupsafe import Markup

from finishlab.board.shown import recipe_colours
from finishlab.cautions import Caution, cautions_for
from finishlab.coatings import of_step
from finishlab.errors import LogbookError, UsageError
from finishlab.logbook.store import Logbook
from finishlab.page.app import Answer, Onward, Page, Route, Visit
from finishlab.page.asking import Field, Group, given
from finishlab.page.reading import Words
from finishlab.page.views import typed_as, written
from finishlab.plan.parts import WALKED_ON
from finishlab.record import today
from finishlab.stair.documents import (
    FlightShown,
    PartShown,
    flight_heading,
    flights_shown,
    stair_notes,
    usual_can,
)
from finishlab.stair.drawing import linked_stair
from finishlab.stair.entering import Done, next_events, read_event, work_done
from finishlab.stair.progress import progress_of
from finishlab.stair.records import SIZE_NAMES, PartEvent, StoredEvent, StoredPart, StoredStair

_DONE: Final = (
    "stain", "seal", "topcoat", "sanded", "rubbed-out", "dry-fitted", "fitted", "touched-up", "note",
)  # fmt: skip
"""What can be logged, as `finishlab stairs log` calls it."""
_ASKED: Final[Mapping[str, tuple[Sequence[str], Sequence[str]]]] = {
    "coat": (
        ("coat", "can", "date", "time", "note"),
        ("faces", "applicator", "air", "humidity", "wipe", "mixed", "recipe", "deviation"),
    ),
    "touched up": (("can", "date", "time", "note"), ("recipe", "deviation")),
}
"""What is done -> what is asked for first, and what is folded away; of all else `_BRIEFLY`."""
_BRIEFLY: Final = ("date", "time", "note"), ()
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


def _stair(visit: Visit) -> Answer:
    """Show the stair: drawn, listed to choose from, what is due, and what can be stepped on."""
    if not visit.state:
        return Onward("/stair/add")
    with Logbook.open(visit.folder) as log:
        stair = log.stair()
        if not stair.parts:
            return Onward("/stair/add")
        flights = flights_shown(stair)
        values: dict[str, Any] = {
            "drawing": _drawing(visit, log, flights),
            "flights": [_choices(visit.words, flight) for flight in reversed(flights)],
            "notes": stair_notes(flights),
            "tonight": visit.told(visit.ask("stairs walk").blocks, level=3),
            "due": visit.told(visit.look("stairs due").blocks, level=3),
            "done": _DONE,
        }
    return Page(visit.words("stair.title"), "stair.html.j2", values)


def _drawing(visit: Visit, log: Logbook, flights: Sequence[FlightShown]) -> Markup:
    drawn = linked_stair(
        flights,
        lambda parts: f"/stair/part?{urlencode({'parts': parts})}",
        colours=recipe_colours(log),
        say=visit.words.of,
        title=visit.words("stair.drawing"),
    )
    return Markup(drawn)  # noqa: S704 - escapes what it is given


def _choices(words: Words, flight: FlightShown) -> dict[str, Any]:
    """Return what can be chosen of a flight or landing: many at once, and part by part from the top down."""
    parts = [part for part in flight.parts if part.record.kind in WALKED_ON]
    others = [part for part in flight.parts if part not in parts]
    code = flight.parts[0].name.code.partition(".")[0] if flight.parts else ""
    groups = _GROUPS if any(part.record.kind == "riser" for part in others) else _GROUPS[:-1]
    many = groups if sum(part.record.kind == "tread" for part in parts) >= _FEWEST else ()

    def one(part: PartShown) -> _Choice:
        return _Choice(part.name.code, words.of(part.name.words(with_level=False)), words.of(part.state))

    return {
        "title": words.of(flight_heading(flight)),
        "many": [_Choice(f"{code}/{each}", words.of(each)) for each in many],
        "steps": [one(each) for each in reversed(parts)],
        "others": [one(each) for each in others],
    }


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
    with Logbook.open(visit.folder) as log:
        stair = log.stair()
        parts = _chosen(visit, stair)
    codes = ",".join(part.code for part in parts)
    told = visit.told(visit.look("stairs part", codes).blocks)
    title = visit.words.of(stair.listed(part.name for part in parts))
    return Page(title, "stair_part.html.j2", {"told": told, "parts": codes, "done": _DONE})


def _form(visit: Visit) -> Answer:
    """Show the form for what was done to parts, filled in as it was the last time."""
    what, words = visit.form.text("what") or visit.query.get("what", ""), visit.words
    done = read_event(what)
    if done is None:
        raise UsageError("no-event", words("stair.no_event"), words("stair.choose_first"))
    with Logbook.open(visit.folder) as log:
        stair = log.stair()
        parts = _chosen(visit, stair)
        cautions = _cautions(stair, parts, done, [each.number.key for each in log.cans()])
        fields = _fields(visit, log, done, _filled(stair, parts, done))
    names = words.of(stair.listed(part.name for part in parts))
    always, more = _ASKED.get(done.kind, _BRIEFLY)
    values = {
        "parts": ",".join(part.code for part in parts),
        "what": what,
        "cautions": cautions,
        "always": [fields[name] for name in always],
        "more": [fields[name] for name in more],
    }
    return Page(f"{words.of(what)}: {names}", "stair_log.html.j2", values)


def _fields(visit: Visit, log: Logbook, done: Done, filled: Mapping[str, str]) -> dict[str, Field]:
    """Return what can be said of what was done; cans that are of the step come first."""
    words = visit.words
    next_coat = {"": words("stair.next_coat")}
    coat = Field(name="coat", label="coat", look="choice", choices=("1", "2", "3", "4", "5"), said=next_coat)
    fields = {"coat": coat} | {each.name: each for each in visit.fields("stairs log", filled)}
    can, recipe, note = fields["can"], fields["recipe"], fields["note"]
    fit = {str(each.number) for each in log.cans() if done.step and of_step(done.step, each.record.kind)}
    choices = tuple(sorted(can.choices, key=lambda each: each not in fit))
    fields["can"] = replace(can, choices=choices, said={**can.said, "": words("stair.no_can")})
    fields["recipe"] = replace(recipe, said={**recipe.said, "": words("stair.own_recipe")})
    fields["note"] = replace(note, needed=done.kind == "note")
    return fields


def _cautions(stair: StoredStair, parts: Sequence[StoredPart], done: Done, cans: Sequence[int]) -> tuple[Caution, ...]:
    """Return what work and products call for: of every can that may be named, for the form comes before the choice."""
    coated = done.kind in {"coat", "touched up"}
    note = {"note": "-"} if done.kind == "note" else {}
    events: list[tuple[int, PartEvent]] = []
    for number in (None, *cans) if coated else (None,):
        events += next_events(stair, parts, done, batch_number=number, **note)
    products, actions = work_done(stair, events)
    return cautions_for(products, actions)


def _filled(stair: StoredStair, parts: Sequence[StoredPart], done: Done) -> dict[str, str]:
    """Return the fields as they were when the same was done last: this can, this rag; the air only of today."""
    now = dt.datetime.now(tz=dt.UTC).astimezone()
    filled = {"date": today().isoformat(), "time": f"{now:%H:%M}" if done.kind in {"coat", "touched up"} else ""}
    alike = [event for event in stair.events if (event.kind, event.step) == (done.kind, done.step)]
    last: StoredEvent | None = max(alike, key=lambda event: event.ident, default=None)
    can = None if done.step is None else usual_can(stair, parts[0], done.step, progress_of(stair.events))
    if can is None and last is not None:
        can = last.batch_number
    filled |= typed_as({"batch_number": can})
    if last is None or done.kind != "coat":
        return filled
    how = last.conditions
    filled |= {"faces": last.faces or "", "applicator": how.applicator or ""}
    if last.date == today():
        filled |= typed_as({"air_c": how.air_c, "rh_percent": how.rh_percent})
    return filled


def _log(visit: Visit) -> Answer:
    """Log what was done, as the command does, and say what it says: cautions, and what is worth a second look."""
    words = " ".join(filter(None, map(visit.form.text, ("parts", "what", "coat"))))
    options = given(visit.fields("stairs log", without=("words",)), visit.form.typed)
    return Onward("/stair", visit.do("stairs log", words, **options).said)


# -- What is written, to be changed -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Written:
    """What is written of parts or of an event."""

    command: str
    """That changes it."""
    what: str
    """Which, as the command reads it."""
    parts: str
    """Codes of the parts it is of."""
    fields: Sequence[Field]


def _parts_written(visit: Visit) -> _Written:
    """Return what is written of the chosen parts; where they differ a field is empty, and what is left so stays."""
    with Logbook.open(visit.folder) as log:
        parts = _chosen(visit, log.stair())
    written = []
    for part in parts:
        sizes, texts = part.record.sizes, typed_as(part.record.as_dict())
        for name in (each.replace(" ", "_") for each in SIZE_NAMES):
            texts[name] = getattr(sizes, name) if name.endswith("angle") else sizes.words(name)
        written.append(texts)
    alike = {name: value for name, value in written[0].items() if all(each.get(name) == value for each in written)}
    codes = ",".join(part.code for part in parts)
    of_flights = ("name", "risers")
    return _Written("stairs edit", codes, codes, visit.fields("stairs edit", alike, without=("parts", *of_flights)))


def _event_written(visit: Visit) -> _Written:
    """Return what was logged of a part."""
    event = visit.path["event"].upper()
    with Logbook.open(visit.folder) as log:
        stair = log.stair()
    found = next((each for each in stair.events if f"E{each.ident}" == event), None)
    if found is None:
        raise LogbookError("unknown-event", visit.words("stair.no_such_event"), visit.words("history.look_again"))
    texts = typed_as({**found.as_dict(), **found.conditions.as_dict(), "of": found.step})
    fields = visit.fields("stairs edit-event", texts, without=("numbers",))
    return _Written("stairs edit-event", event, stair.part(found.part).code, fields)


def _edit(read: Callable[[Visit], _Written], visit: Visit) -> Answer:
    """Show what is written, to be changed or taken out."""
    found = read(visit)
    groups = [Group("", tuple(found.fields))]
    title = visit.words("page.edit", what=found.what.replace(",", ", "))
    return Page(title, "edit.html.j2", {"groups": groups, "about": found.parts, "removes": found.what})


def _edited(read: Callable[[Visit], _Written], visit: Visit) -> Answer:
    found = read(visit)
    said = written(visit, found.command, found.what, [Group("", tuple(found.fields))]).said
    return Onward(f"/stair/part?{urlencode({'parts': found.parts})}", said)


def _remove(visit: Visit) -> Answer:
    """Leave parts or an event out from now on."""
    return Onward("/stair", visit.do("stairs remove", visit.form.text("what")).said)


ROUTES: Final = (
    Route("/stair", show=_stair, title="stair.title", commands=("stairs",)),
    Route("/stair/part", show=_part),
    Route("/stair/log", show=_form, do=_log),
    Route("/stair/edit", show=partial(_edit, _parts_written), do=partial(_edited, _parts_written)),
    Route("/stair/events/{event}", show=partial(_edit, _event_written), do=partial(_edited, _event_written)),
    Route("/stair/remove", show=_stair, do=_remove),
)
