"""What the logbook knows, page by page: a command whose document is shown, with its options as fields of a form.

A page like others is an entry of a table: `TOLD` for what is looked up, `THINGS` for what has a number, `CHANGES` for
what is written, `PRINTED` for what is a PDF.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, Final

from finishlab.page import forms, reading
from finishlab.page.app import Answer, Onward, Route, Sent, Visit
from finishlab.page.asking import Asked, RefusedError, Value, command_of
from finishlab.page.reading import asked_of, blocks_of, markup, page, page_of, reader
from finishlab.page.texts import LANGUAGES
from finishlab.record import normalize
from finishlab.show.document import Facts

__all__ = ["PART_OPTIONS", "PRINTED", "ROUTES", "THINGS", "TOLD", "View"]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A page made of one command."""

    command: str
    address: str = ""
    """With its arguments in braces; that of the command's own words unless told."""
    title: str = ""
    """Key of its heading; that of the command's own words unless told."""
    arguments: tuple[str, ...] = ()
    """Parts of the address, or fields, that stand behind the command."""
    options: tuple[str, ...] = ()
    """What is asked for."""
    fixed: Mapping[str, Value] = field(default_factory=dict)
    finish: bool = False
    """Whether all fields of a finish are asked for too."""
    waits: bool = False
    """Whether nothing is asked before something was typed."""
    then: str = ""
    """Of a change: the page that is shown when it is done."""

    def __post_init__(self) -> None:
        """Name address and heading by the command where they are not told."""
        words = self.command.split()
        title = ".".join(words if len(words) > 1 else [*words, "title"])
        normalize(self, address=self.address or f"/{'/'.join(words)}", title=self.title or title)


PART_OPTIONS: Final = (
    *("front", "back", "depth", "thickness", "nosing", "height", "left_angle", "right_angle"),
    *("species", "recipe", "fixing", "note"),
)
"""What is written of a part of the stair, by the options of `finishlab stairs edit`."""
_SIZES: Final = ("treads", "front", "depth", "thickness", "edge", "odd")

TOLD: Final = (
    View(command="standard", fixed={"all": True}),
    View(
        command="board compare",
        address="/boards/compare",
        title="compare.title",
        arguments=("first", "second"),
        waits=True,
    ),
    View(
        command="plan quantities",
        options=("recipe", "coverage", "waste", "coats", "under", "can_size", *_SIZES, "liquid", "product"),
    ),
    View(
        command="plan calendar",
        options=("start", "hours", "days", "away", "set", "by_part", "recipe", "treads", "liquid"),
    ),
    View(
        command="plan cutting",
        options=("stock", "kerf", "allowance", "spare", *_SIZES),
    ),
    View(
        command="plan risers",
        options=("riser", "count", "tread_added", "lower_added", "upper_added", "tread_depth", "nosing", "tread_now"),
        waits=True,
    ),
    View(
        command="plan floor",
        options=("room", "box", "waste", "price"),
        waits=True,
    ),
    View(command="cautions"),
)
"""Pages that show what a command says."""

PRINTED: Final = (
    View(address="/print/strip.pdf", command="strip", title="print.strip", options=("paper", "number")),
    View(
        address="/print/labels.pdf",
        command="labels",
        title="print.labels",
        arguments=("what",),
        options=("sheet", "first"),
    ),
    View(address="/print/schedule.pdf", command="schedule", title="print.schedule", options=("parts", "paper")),
    View(
        address="/print/house-file.pdf",
        command="house-file",
        title="print.house",
        options=("title", "without_photos", "paper"),
    ),
    View(
        address="/print/report.pdf", command="report", title="print.report", options=("title", "light", "aim", "paper")
    ),
)
"""What comes as a PDF."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """A kind of thing that the logbook numbers: its list, the page of one, and what of it can be changed."""

    command: str
    letter: str
    address: str
    named: str
    """Of its list in the document of one."""
    own: tuple[str, ...]
    """Fields of its record that can be changed, by their options."""
    clears: bool = False
    """Whether a field is taken out by ``--clear``; else by an empty text."""
    finish: bool = False
    litres: tuple[str, ...] = ()
    """Options that the record keeps in litres."""
    pictured: bool = False


THINGS: Final = (
    Thing(
        command="board",
        letter="B",
        address="/boards",
        named="boards",
        own=("species", "stain", "coats", "topcoat", "state", "purpose", "recipe", "maker", "light", "date", "note"),
        clears=True,
        finish=True,
        pictured=True,
    ),
    Thing(
        command="floor",
        letter="F",
        address="/floor",
        named="spots",
        own=("spot", "surface", "light", "date", "note"),
        pictured=True,
    ),
    Thing(command="recipe", letter="R", address="/recipes", named="recipes", own=("name", "note"), finish=True),
    Thing(
        command="can",
        letter="C",
        address="/cans",
        named="cans",
        own=("product", "kind", "maker", "lot", "size", "left", "place", "opened", "note"),
        litres=("size", "left"),
    ),
)

CHANGES: Final = (
    View(
        address="/boards/{number}/approve",
        command="approve",
        title="approve.title",
        arguments=("number",),
        options=("reason", "date"),
        then="/standard",
    ),
    View(
        address="/recipes/new",
        command="recipe add",
        title="recipe.new",
        arguments=("name",),
        options=("from_board", "note"),
        finish=True,
        then="/recipes",
    ),
    View(
        address="/cans/new",
        command="can add",
        title="can.new",
        arguments=("product",),
        options=("kind", "maker", "lot", "size", "left", "place", "opened", "label", "note"),
        then="/cans",
    ),
    View(
        command="stairs add-parts",
        address="/stair/add-parts",
        title="stair.add_parts",
        arguments=("parts",),
        options=PART_OPTIONS,
        then="/stair",
    ),
)
"""Pages that write something and are no edit of a thing."""

# -- What is looked up ------------------------------------------------------------------------------------------------


def _fields(view: View, values: Mapping[str, str]) -> list[forms.Field]:
    return forms.fields_of(command_of(view.command), (*view.arguments, *view.options), values)


def _told(view: View, visit: Visit) -> Answer:
    fields = _fields(view, visit.query)
    options = forms.given(fields, visit.query)
    typed = any(options.values())
    arguments = [str(options.pop(name, "")) for name in view.arguments]
    values: dict[str, Any] = {"fields": fields, "view": view, "typed": typed, "blocks": "", "notes": ()}
    if not all(arguments) or (view.waits and not typed):
        return page(visit, view.title, "told.html.j2", values)
    asked = asked_of(visit, view.command, *arguments, **options, **view.fixed)
    values |= {"blocks": markup(visit, blocks_of(asked)), "notes": asked.said}
    # A form that cannot be meant is the visitor's to mend; that nothing is logged yet is an answer like others.
    status = 422 if asked.errors and typed else 200
    return page(visit, view.title, "told.html.j2", values, errors=asked.errors, status=status)


def _plan(visit: Visit) -> Answer:
    pages = [view for view in TOLD if view.address.startswith("/plan/")]
    return page(visit, "plan.title", "pages.html.j2", {"pages": pages})


# -- What has a number ------------------------------------------------------------------------------------------------


def _list(thing: Thing, visit: Visit) -> Answer:
    command = f"{thing.command} list"
    fields = forms.fields_of(command_of(command), ("light",) if thing.pictured else (), visit.query)
    asked = asked_of(visit, command, **forms.given(fields, visit.query))
    values = {"blocks": markup(visit, blocks_of(asked)), "notes": asked.said, "thing": thing, "fields": fields}
    values["new"] = page_of(visit.words, f"finishlab {thing.command} add")
    return page(visit, f"{thing.command}.list", "list.html.j2", values, errors=asked.errors)


def _shown(thing: Thing, visit: Visit) -> tuple[str, Asked, Mapping[str, Any]]:
    """Return a thing's number, all that is told of it, and its entry.

    Raises
    ------
    RefusedError
        If there is none.
    """
    number = visit.path["number"].upper()
    asked = asked_of(visit, f"{thing.command} show", number)
    if asked.errors:
        raise RefusedError(asked)
    (entry,) = asked.document.data[thing.named]
    return number, asked, entry


def _one(thing: Thing, visit: Visit) -> Answer:
    number, asked, entry = _shown(thing, visit)
    lights = _photos(entry) if thing.pictured else {}
    title, blocks = f"{visit.words(f'{thing.command}.one')} {number}", blocks_of(asked)
    if blocks and isinstance(blocks[0], Facts):  # the page says it already
        blocks[0] = replace(blocks[0], title="")
    values = {
        "blocks": markup(visit, blocks),
        "notes": asked.said,
        "thing": thing,
        "number": number,
        "photos": list(enumerate(lights.values(), 1)),
    }
    return page(visit, title, "thing.html.j2", values)


def _groups(thing: Thing, entry: Mapping[str, Any]) -> list[forms.Group]:
    """Return all fields of a thing: of its record, and of its finish."""
    record = dict(entry.get("record", entry))
    record |= {name: f"{record[f'{name}_l']:.4g}L" for name in thing.litres if record.get(f"{name}_l") is not None}
    if record.get("recipe_number"):
        record["recipe"] = f"R{record['recipe_number']}"
    # A form of the page has a field "state" of its own, as a board has.
    fields = forms.fields_of(command_of(f"{thing.command} edit"), thing.own, record, before="own.")
    finish = forms.finish_groups(record.get("finish"), own=thing.command == "board") if thing.finish else []
    return [forms.Group("", tuple(fields)), *finish]


def _edit(thing: Thing, visit: Visit) -> Answer:
    number, _, entry = _shown(thing, visit)
    title = visit.words("page.edit", what=number)
    return page(visit, title, "edit.html.j2", {"groups": _groups(thing, entry), "number": number})


def _edited(thing: Thing, visit: Visit) -> Answer:
    number, _, entry = _shown(thing, visit)
    record, *finish = _groups(thing, entry)
    changed = {name.removeprefix("own."): text for name, text in forms.changes(record.fields, visit.form.typed).items()}
    emptied = [name for name, text in changed.items() if not text] if thing.clears else []
    options: dict[str, Value] = {name: text for name, text in changed.items() if name not in emptied}
    options |= forms.finish_changes(finish, visit.form.typed)
    asked = visit.ask(f"{thing.command} edit", number, may_fail=False, clear=emptied or None, **options)
    return Onward(f"{thing.address}/{number}", asked.said)


def _removed(thing: Thing, visit: Visit) -> Answer:
    return Onward(thing.address, visit.ask(f"{thing.command} remove", visit.path["number"].upper()).said)


def _picture(thing: Thing, visit: Visit) -> Answer:
    number, _, entry = _shown(thing, visit)
    photos, place, size = _photos(entry), visit.path["place"], visit.path["size"]
    if size not in reading.SIZES or place not in {str(each) for each in range(1, len(photos) + 1)}:
        raise reading.no_picture(number)
    return Sent(reading.picture(visit.folder, [*photos][int(place) - 1], size), "image/jpeg")


def _photos(entry: Mapping[str, Any]) -> dict[str, str]:
    """Return hash and light of each photo of a thing, in the order they were logged."""
    return {each["photo"]: each["light"] for each in entry["measurements"]}


# -- What is written --------------------------------------------------------------------------------------------------


def _asks(view: View, visit: Visit) -> list[forms.Group]:
    names = [name for name in (*view.arguments, *view.options) if name not in visit.path]
    fields = forms.fields_of(command_of(view.command), names, before="own.")
    return [forms.Group("", tuple(fields)), *(forms.finish_groups(None, own=False) if view.finish else [])]


def _change(view: View, visit: Visit) -> Answer:
    number = visit.path.get("number", "")
    values = {"groups": _asks(view, visit), "number": number}
    return page(visit, f"{visit.words(view.title)} {number}".strip(), "edit.html.j2", values)


def _changed(view: View, visit: Visit) -> Answer:
    asked_for, *finish = _asks(view, visit)
    options = forms.given(asked_for.fields, visit.form.typed) | forms.finish_changes(finish, visit.form.typed)
    arguments = [
        visit.path[name].upper() if name in visit.path else _in_words(options.pop(name, "")) for name in view.arguments
    ]
    return Onward(view.then, visit.ask(view.command, *arguments, may_fail=False, **options).said)


def _in_words(value: Value) -> str:
    """Return what was typed for an argument, a line or several, in one line."""
    return ", ".join(value) if isinstance(value, list) else str(value)


def _history(visit: Visit) -> Answer:
    subject = visit.query.get("subject", "").strip()
    asked = visit.ask("history", *([subject] if subject else []), may_fail=True)
    groups: list[list[str]] = []
    for line in asked.results:
        if line.startswith(" ") and groups:
            groups[-1].append(line.strip())
        else:
            groups.append([line])
    read = reader(visit.words)
    values = {"groups": [[read.prose(line) for line in group] for group in reversed(groups)], "subject": subject}
    return page(visit, "history.title", "history.html.j2", values, errors=asked.errors)


def _step_back(visit: Visit) -> Answer:
    step, subject = visit.form.text("step"), visit.form.text("subject")
    asked = visit.ask("redo" if step == "redo" else "undo", *([subject] if subject else []))
    return Onward(visit.form.text("then") if visit.form.text("then") in _BACK else "/history", asked.said)


_BACK: Final = frozenset({"/history", *(thing.address for thing in THINGS)})
"""Where somebody may be sent after something was taken back."""


# -- What is printed --------------------------------------------------------------------------------------------------


def _print(visit: Visit) -> Answer:
    printed = [(view, _fields(view, visit.query)) for view in PRINTED]
    return page(visit, "print.title", "print.html.j2", {"printed": printed})


def _printed(view: View, visit: Visit) -> Answer:
    options = forms.given(_fields(view, visit.query), visit.query)
    named = [each for name in view.arguments for each in visit.query.get(name, "").split()]
    options = {name: value for name, value in options.items() if name not in view.arguments}
    name = view.address.rpartition("/")[2]
    with tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        pdf = Path(folder) / name
        files: dict[str, Value] = {"output": pdf}
        if view.command == "report":  # its page is the one file it always writes
            files = {"output": pdf.with_suffix(".html"), "pdf": pdf}
        visit.ask(view.command, *named, may_fail=False, **options, **files)
        return Sent(pdf.read_bytes(), "application/pdf", name)


# -- The page itself --------------------------------------------------------------------------------------------------


def _state(visit: Visit) -> Answer:
    """Tell a page that was left open whether it is old."""
    return Sent(json.dumps({"state": visit.state}).encode(), "application/json")


def _settings(visit: Visit) -> Answer:
    return page(visit, "settings.title", "settings.html.j2", {"languages": LANGUAGES})


def _set(visit: Visit) -> Answer:
    language, units = visit.form.text("language"), visit.form.text("units")
    if language in LANGUAGES:
        visit.visitor.language = language
    if units in {"mm", "in"}:
        visit.visitor.units = units
    return Onward("/settings")


# -- All of them ------------------------------------------------------------------------------------------------------


def _thing_routes(thing: Thing) -> list[Route]:
    one = f"{thing.address}/{{number}}"
    return [
        Route(thing.address, show=partial(_list, thing), title=f"{thing.command}.list"),
        Route(f"{one}/edit", show=partial(_edit, thing), do=partial(_edited, thing)),
        Route(f"{one}/remove", do=partial(_removed, thing)),
        *([Route(f"{one}/photo/{{place}}/{{size}}", show=partial(_picture, thing))] if thing.pictured else []),
        Route(one, show=partial(_one, thing)),
    ]


def _routes() -> list[Route]:
    told = [Route(each.address, show=partial(_told, each)) for each in TOLD]
    things = {thing.command: _thing_routes(thing) for thing in THINGS}
    return [
        *told,
        *(Route(each.address, show=partial(_change, each), do=partial(_changed, each)) for each in CHANGES),
        *things["board"],
        *things["floor"],
        *things["recipe"],
        *things["can"],
        Route("/plan", show=_plan, title="plan.title"),
        Route("/print", show=_print, title="print.title"),
        *(Route(each.address, show=partial(_printed, each)) for each in PRINTED),
        Route("/history", show=_history, do=_step_back, title="history.title"),
        Route("/settings", show=_settings, do=_set, title="settings.title"),
        Route("/state", show=_state),
    ]


ROUTES: Final = tuple(_routes())
