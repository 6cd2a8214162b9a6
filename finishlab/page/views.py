"""What the logbook knows, page by page: a command whose document is shown, with its options as fields of a form.

A page like others is an entry of a table: `TOLD` for what is looked up, `THINGS` for what has a number, `CHANGES` for
what is written, `PRINTED` for what is a PDF. Start, ranking and what is next are told of the whole job.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from finishlab.errors import FinishlabError, LogbookError, UsageError
from finishlab.page.app import Answer, Onward, Page, Route, Sent, Visit
from finishlab.page.asking import (
    Asked,
    Field,
    Group,
    RefusedError,
    Value,
    arguments_of,
    changes,
    command_of,
    finish_changes,
    finish_groups,
    given,
    option_words,
    options_of,
)
from finishlab.page.bench import SIZES, bench_of, no_picture
from finishlab.page.reading import LANGUAGES
from finishlab.record import normalize
from finishlab.show.document import Block, Document, Facts, Listing


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A page made of one command; it asks for all the command takes."""

    command: str
    address: str = ""
    """With its arguments in braces; that of the command's own words unless told."""
    title: str = ""
    """Key of its heading; that of the command's own words unless told."""
    fixed: Mapping[str, Value] = field(default_factory=dict)
    """Options that are not asked for."""
    waits: bool = False
    """Whether nothing is asked before something was typed."""
    then: str = ""
    """Of a change: the page that is shown when it is done."""

    def __post_init__(self) -> None:
        """Name address and heading by the command where they are not told."""
        words = self.command.split()
        title = ".".join(words if len(words) > 1 else [*words, "title"])
        normalize(self, address=self.address or f"/{'/'.join(words)}", title=self.title or title)

    def fields(self, visit: Visit, values: Mapping[str, str] | None = None) -> list[Field]:
        """Return what is asked for, with what was typed."""
        return visit.fields(self.command, values, without=(*self.fixed, *visit.path))

    def answers(self, visit: Visit, typed: Mapping[str, str]) -> tuple[list[str], dict[str, Value]]:
        """Return what was typed as arguments and as options of the command."""
        options = given(self.fields(visit), typed)
        said = [visit.path.get(name, "").upper() or options.pop(name, "") for name in arguments_of(self.command)]
        return [", ".join(each) if isinstance(each, list) else str(each) for each in said], options


TOLD: Final = (
    View(command="standard", fixed={"all": True}),
    View(command="board compare", address="/boards/compare", title="compare.title", waits=True),
    View(command="plan quantities"),
    View(command="plan calendar"),
    View(command="plan cutting"),
    View(command="plan risers", waits=True),
    View(command="plan floor", waits=True),
    View(command="cautions"),
)
"""Pages that show what a command says."""
PRINTED: Final = tuple(
    View(command=command, address=f"/print/{command}.pdf", title=f"print.{command}")
    for command in ("strip", "labels", "schedule", "house-file", "report")
)
"""What comes as a PDF."""
CHANGES: Final = (
    View(command="approve", address="/boards/{number}/approve", then="/standard"),
    View(command="recipe add", address="/recipes/new", title="recipe.new", then="/recipes"),
    View(command="can add", address="/cans/new", title="can.new", then="/cans"),
    View(command="stairs add", address="/stair/add", title="stair.add", then="/stair"),
    View(command="stairs add-parts", address="/stair/add-parts", title="stair.add_parts", then="/stair"),
)
"""Pages that write something and are no edit of a thing."""


@dataclass(frozen=True, slots=True)
class Thing:
    """A kind of thing that the logbook numbers: its list, the page of one, and what of it can be changed."""

    command: str
    address: str
    named: str
    """Of its list in the document of one."""
    pictured: bool = False
    without: tuple[str, ...] = ()
    """What the form that changes it does not ask for."""


THINGS: Final = (
    Thing("board", "/boards", "boards", pictured=True),
    Thing("floor", "/floor", "spots", pictured=True),
    Thing("recipe", "/recipes", "recipes"),
    Thing("can", "/cans", "cans", without=("label",)),
)

# -- The job ----------------------------------------------------------------------------------------------------------

_SEEN: Final = {**{step: f"/{step}" for step in ("print", "floor", "boards", "standard")}, "answer": "/ranking"}
"""Step of the guide -> where what was done of it is seen."""
_CROPPED: Final = 6
"""Boards of the ranking that are shown as they look."""
_MOST: Final = 60
"""Boards in the ranking's table, as the report has it."""
_AIMS: Final[Mapping[str, Mapping[str, str]]] = {
    "match": {},
    "darker": {"aim": "contrast", "darker": "12"},
    "lighter": {"aim": "contrast", "lighter": "12"},
}
"""Aims that are a tap away; other steps and limits stand in the form. `rank` weighs a match against twelve L* too."""
_TO_DO: Final = "What to do next"
"""Title of what the ranking's document says of it."""


def _guide(visit: Visit) -> Mapping[str, Any]:
    """Return how far the job is, also before anything is logged."""
    from finishlab.guide import read_guide, status_document

    asked = visit.look("status")
    if asked.documents:
        return asked.document.data
    if any(error.code != "logbook-empty" for error in asked.errors):
        raise RefusedError(asked)
    return status_document(read_guide(None, visit.folder)).data


def _following(visit: Visit, guide: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is next of the job, and the page for it."""
    found = guide["next"] or {"missing": "", "command": ""}
    to = visit.links.page_of(found["command"] or "")
    return {"next": guide["next"], "missing": visit.links.reader.prose(found["missing"]), "to": to}


def _start(visit: Visit) -> Answer:
    guide, prose = _guide(visit), visit.links.reader.prose
    steps = [{**step, "said": prose(str(step["found"]))} for step in guide["steps"]]
    values = {"steps": steps, "pages": _SEEN, **_following(visit, guide)}
    return Page(visit.words("start.title"), "start.html.j2", values)


def _next(visit: Visit) -> Answer:
    """Show what is most worth doing: of the job, for the answer, and on the stair."""
    blocks: list[Block] = []
    try:
        _, full, _ = _ranked(visit, {}).documents
        blocks += [block for block in full.blocks if isinstance(block, Listing) and block.title == _TO_DO]
    except FinishlabError:  # nothing to compare yet: the guide says what is missing
        pass
    blocks += visit.look("stairs due").blocks
    values = {"blocks": visit.told(blocks), **_following(visit, _guide(visit))}
    return Page(visit.words("next.title"), "next.html.j2", values)


def _ranked(visit: Visit, query: Mapping[str, str]) -> Asked:
    """Return the answer at a glance, in full, and for programs; weighed once for each state of the logbook.

    Raises
    ------
    FinishlabError
        If there is nothing to compare, or the aim cannot be meant.
    """
    options = given(visit.fields("rank"), query)
    key = tuple(sorted((name, str(value)) for name, value in options.items() if value))
    return visit.kept(("ranked", key), lambda: Asked(_weighed(visit.folder, options), (), (), (), 0))


def _weighed(folder: Path, options: Mapping[str, Value]) -> tuple[Document, ...]:
    """Do as ``rank`` does, once for its three ways of telling."""
    from finishlab.logbook.store import Logbook
    from finishlab.rank.commands import other_aim, read_aim
    from finishlab.rank.comparing import compare
    from finishlab.rank.documents import comparison_document

    wanted = command_of("rank").make_context("rank", option_words(options)).params
    light = wanted.pop("light")
    aim = read_aim(**{name: wanted[name] for name in wanted if name not in {"full", "most", "as_json"}})
    log = Logbook.open_existing(folder)
    if log is None:
        raise LogbookError("logbook-empty", "Nothing is logged yet.", "Begin with: finishlab start")
    with log:
        found = compare(log, light=light, aim=aim, other=other_aim(aim))
    people = [comparison_document(found, full=full, most=_MOST, as_json=False) for full in (False, True)]
    return *people, comparison_document(found, full=True, most=None, as_json=True)


def _ranking(visit: Visit) -> Answer:
    values: dict[str, Any] = {"fields": visit.fields("rank", visit.query), "switches": _switches(visit), "lights": []}
    values |= {"glance": "", "full": "", "pictured": [], "pictured_light": ""}
    title, template = visit.words("ranking.title"), "ranking.html.j2"
    try:
        glance, full, found = _ranked(visit, visit.query).documents
    except FinishlabError as error:
        return Page(title, template, values, errors=[error], status=422 if visit.query else 200)
    data = found.data
    light, query = data["light"], {name: value for name, value in visit.query.items() if name != "light"}
    lights = [each["light"] for each in (data["lights"] or {}).get("compared", ())] or [light]
    values |= {
        "glance": visit.told(glance.blocks),
        "full": visit.told(full.blocks),
        "lights": [(each, f"?{urlencode({**query, 'light': each})}", each == light) for each in lights],
        "pictured": [board["board"] for board in data["ranking"][:_CROPPED]],
        "pictured_light": f"?{urlencode({'light': light})}",
    }
    return Page(title, template, values)


def _switches(visit: Visit) -> list[tuple[str, str, bool]]:
    """Return key, address and whether it is the aim shown, of each aim that is a tap away."""
    query = visit.query
    rest = {name: value for name, value in query.items() if name not in {"aim", "lighter", "darker", "hue_within"}}
    contrast = "lighter" if query.get("lighter") else "darker"
    now = "match" if query.get("aim", "match") == "match" else contrast
    return [(name, f"?{urlencode({**rest, **aim})}", name == now) for name, aim in _AIMS.items()]


def _crop(visit: Visit) -> Answer:
    *_, found = _ranked(visit, {"light": visit.query["light"]} if visit.query.get("light") else {}).documents
    number, data = visit.path["number"], found.data
    if number not in {board["board"] for board in data["ranking"]}:
        raise no_picture(number)
    floor = tuple(data["floor"]["lab"])
    return Sent(bench_of(visit.folder).beside_floor(number, data["light"], floor, visit.state), "image/jpeg")


# -- What is looked up ------------------------------------------------------------------------------------------------


def _told(view: View, visit: Visit) -> Answer:
    fields = view.fields(visit, visit.query)
    arguments, options = view.answers(visit, visit.query)
    typed = any(arguments) or any(options.values())
    values: dict[str, Any] = {"fields": fields, "view": view, "typed": typed, "blocks": "", "notes": ()}
    title = visit.words(view.title)
    if not all(arguments) or (view.waits and not typed):
        return Page(title, "told.html.j2", values)
    values["blocks"], asked = visit.read(view.command, *arguments, **options, **view.fixed)
    values["notes"] = asked.said
    # A form that cannot be meant is the visitor's to mend; that nothing is logged yet is an answer like others.
    return Page(title, "told.html.j2", values, errors=asked.errors, status=422 if asked.errors and typed else 200)


def _plan(visit: Visit) -> Answer:
    pages = [view for view in TOLD if view.address.startswith("/plan/")]
    return Page(visit.words("plan.title"), "pages.html.j2", {"pages": pages})


# -- What has a number ------------------------------------------------------------------------------------------------


def _list(thing: Thing, visit: Visit) -> Answer:
    command = f"{thing.command} list"
    fields = visit.fields(command, visit.query)
    blocks, asked = visit.read(command, **given(fields, visit.query))
    values = {"blocks": blocks, "notes": asked.said, "thing": thing, "fields": fields}
    values["new"] = visit.links.page_of(f"finishlab {thing.command} add")
    return Page(visit.words(f"{thing.command}.list"), "list.html.j2", values, errors=asked.errors)


def _shown(thing: Thing, visit: Visit) -> tuple[str, Asked, Mapping[str, Any]]:
    """Return a thing's number, all that is told of it, and its entry.

    Raises
    ------
    RefusedError
        If there is none.
    """
    number = visit.path["number"].upper()
    asked = visit.look(f"{thing.command} show", number)
    if asked.errors:
        raise RefusedError(asked)
    (entry,) = asked.document.data[thing.named]
    return number, asked, entry


def _one(thing: Thing, visit: Visit) -> Answer:
    number, asked, entry = _shown(thing, visit)
    title, blocks = f"{visit.words(f'{thing.command}.one')} {number}", asked.blocks
    if blocks and isinstance(blocks[0], Facts):  # the page says it already
        blocks[0] = replace(blocks[0], title="")
    values = {
        "blocks": visit.told(blocks),
        "notes": asked.said,
        "thing": thing,
        "number": number,
        "photos": list(enumerate(_photos(entry).values(), 1)) if thing.pictured else [],
    }
    return Page(title, "thing.html.j2", values)


def _picture(thing: Thing, visit: Visit) -> Answer:
    number, _, entry = _shown(thing, visit)
    photos, place, size = [*_photos(entry)], visit.path["place"], visit.path["size"]
    if size not in SIZES or place not in map(str, range(1, len(photos) + 1)):
        raise no_picture(number)
    return Sent(bench_of(visit.folder).small_copy(photos[int(place) - 1], size), "image/jpeg")


def _photos(entry: Mapping[str, Any]) -> dict[str, str]:
    """Return hash and light of each photo of a thing, in the order they were logged."""
    return {each["photo"]: each["light"] for each in entry["measurements"]}


# -- What is written --------------------------------------------------------------------------------------------------


_TYPED: Final = {
    "recipe_number": ("recipe", "R{}"),
    "batch_number": ("can", "C{}"),
    "size_l": ("size", "{:.4g}L"),
    "left_l": ("left", "{:.4g}L"),
    "air_c": ("air", "{:g}"),
    "rh_percent": ("humidity", "{:g}"),
    "wipe_min": ("wipe", "{:g}"),
}
"""What is kept of something -> the option for it, and how it is typed."""


def typed_as(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is written of something by its options, as they take it; what is not known is left out."""
    known = {name: value for name, value in record.items() if value is not None}
    typed = {_TYPED[name][0]: _TYPED[name][1].format(value) for name, value in known.items() if name in _TYPED}
    return known | typed


def written(visit: Visit, command: str, what: str, groups: Sequence[Group]) -> Asked:
    """Write what was changed in a form of the fields of a record and of its finish."""
    record, *finish = groups
    changed = changes(record.fields, visit.form.typed)
    emptied = [name for name, text in changed.items() if not text] if "clear" in options_of(command) else []
    options: dict[str, Value] = {name: text for name, text in changed.items() if name not in emptied}
    options |= finish_changes(finish, visit.form.typed)
    return visit.do(command, what, clear=[name.replace("_", "-") for name in emptied] or None, **options)


def _groups(thing: Thing, visit: Visit) -> tuple[str, list[Group]]:
    """Return the number of a thing, and all its fields: of its record, and of its finish."""
    number, _, entry = _shown(thing, visit)
    record, command = typed_as(entry.get("record", entry)), f"{thing.command} edit"
    fields = visit.fields(command, record, without=(*arguments_of(command), *thing.without))
    return number, [Group("", tuple(fields)), *_finish(command, record.get("finish"))]


def _edit(thing: Thing, visit: Visit) -> Answer:
    number, groups = _groups(thing, visit)
    return Page(visit.words("page.edit", what=number), "edit.html.j2", {"groups": groups, "about": number})


def _edited(thing: Thing, visit: Visit) -> Answer:
    number, groups = _groups(thing, visit)
    return Onward(f"{thing.address}/{number}", written(visit, f"{thing.command} edit", number, groups).said)


def _removed(thing: Thing, visit: Visit) -> Answer:
    return Onward(thing.address, visit.do(f"{thing.command} remove", visit.path["number"].upper()).said)


def _finish(command: str, finish: Mapping[str, Any] | None = None) -> list[Group]:
    return finish_groups(finish, own=command.startswith("board")) if "step" in options_of(command) else []


def _change(view: View, visit: Visit) -> Answer:
    number, says = visit.path.get("number", ""), f"{view.title}_says"
    groups = [Group("", tuple(view.fields(visit))), *_finish(view.command)]
    values = {"groups": groups, "about": number, "says": says if says in visit.words.own else ""}
    return Page(f"{visit.words(view.title)} {number}".strip(), "edit.html.j2", values)


def _changed(view: View, visit: Visit) -> Answer:
    arguments, options = view.answers(visit, visit.form.typed)
    finish = finish_changes(_finish(view.command), visit.form.typed)
    return Onward(view.then, visit.do(view.command, *arguments, **options, **finish).said)


def _history(visit: Visit) -> Answer:
    subject = visit.query.get("subject", "").strip()
    asked = visit.ask("history", *([subject] if subject else []))
    groups: list[list[str]] = []
    for line in asked.results:
        if line.startswith(" ") and groups:
            groups[-1].append(line.strip())
        else:
            groups.append([line])
    prose = visit.links.reader.prose
    values = {"groups": [[prose(line) for line in group] for group in reversed(groups)], "subject": subject}
    return Page(visit.words("history.title"), "history.html.j2", values, errors=asked.errors)


def _step_back(visit: Visit) -> Answer:
    """Take a change back or bring it again: the last of all only where none has come since it was shown."""
    subject = visit.form.text("subject")
    if not subject and visit.form.text("as_of") != str(visit.state):
        raise UsageError("changed-meanwhile", visit.words("history.changed"), visit.words("history.look_again"))
    asked = visit.do("redo" if visit.form.text("step") == "redo" else "undo", *([subject] if subject else []))
    return Onward(visit.form.text("then") if visit.form.text("then") in _BACK else "/history", asked.said)


_BACK: Final = frozenset({"/history", "/stair", *(thing.address for thing in THINGS)})
"""Where somebody may be sent after something was taken back."""


# -- What is printed --------------------------------------------------------------------------------------------------


def _print(visit: Visit) -> Answer:
    printed = [(view, view.fields(visit, visit.query)) for view in PRINTED]
    return Page(visit.words("print.title"), "print.html.j2", {"printed": printed})


def _printed(view: View, visit: Visit) -> Answer:
    arguments, options = view.answers(visit, visit.query)
    name = view.address.rpartition("/")[2]
    with tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        pdf = Path(folder) / name
        files: dict[str, Value] = {"output": pdf}
        if view.command == "report":  # its page is the one file it always writes
            files = {"output": pdf.with_suffix(".html"), "pdf": pdf}
        visit.do(view.command, *(word for each in arguments for word in each.split()), **options, **files)
        return Sent(pdf.read_bytes(), "application/pdf", name)


# -- The page itself --------------------------------------------------------------------------------------------------


def _state(visit: Visit) -> Answer:
    """Tell a page that was left open whether it is old."""
    return Sent(json.dumps({"state": visit.state}).encode(), "application/json")


def _settings(visit: Visit) -> Answer:
    return Page(visit.words("settings.title"), "settings.html.j2", {"languages": LANGUAGES})


def _set(visit: Visit) -> Answer:
    language, units = visit.form.text("language"), visit.form.text("units")
    if language in LANGUAGES:
        visit.visitor.language = language
    if units in {"mm", "in"}:
        visit.visitor.units = units
    return Onward("/settings")


# -- All of them ------------------------------------------------------------------------------------------------------


def _thing_routes(thing: Thing) -> list[Route]:
    one, command = f"{thing.address}/{{number}}", thing.command
    return [
        Route(thing.address, show=partial(_list, thing), title=f"{command}.list", commands=(command,)),
        Route(
            f"{one}/edit",
            show=partial(_edit, thing),
            do=partial(_edited, thing),
            title="page.edit",
            commands=(f"{command} edit",),
        ),
        Route(f"{one}/remove", do=partial(_removed, thing)),
        *([Route(f"{one}/photo/{{place}}/{{size}}", show=partial(_picture, thing))] if thing.pictured else []),
        Route(one, show=partial(_one, thing)),
    ]


ROUTES: Final = (
    Route("/", show=_start, title="start.title", commands=("start", "status")),
    Route("/ranking", show=_ranking, title="ranking.title", commands=("rank",)),
    Route("/next", show=_next, title="next.title"),
    Route("/boards/{number}/beside-floor", show=_crop),
    *(Route(each.address, partial(_told, each), title=each.title, commands=(each.command,)) for each in TOLD),
    *(
        Route(each.address, partial(_change, each), partial(_changed, each), each.title, (each.command,))
        for each in CHANGES
    ),
    *(route for thing in THINGS for route in _thing_routes(thing)),
    Route("/plan", show=_plan, title="plan.title", commands=("plan",)),
    Route("/print", show=_print, title="print.title", commands=tuple(each.command for each in PRINTED)),
    *(Route(each.address, show=partial(_printed, each)) for each in PRINTED),
    Route("/history", show=_history, do=_step_back, title="history.title", commands=("history", "undo", "redo")),
    Route("/settings", show=_settings, do=_set, title="settings.title"),
    Route("/state", show=_state),
)
