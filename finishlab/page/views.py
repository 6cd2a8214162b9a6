"""What the logbook knows, page by page: a command whose document is shown, with its options as fields of a form.

A page like others is an entry of a table: `TOLD` for what is looked up, `THINGS` for what has a number, `CHANGES` for what
is written, `PRINTED` for what comes as a PDF. Start, the ranking, what is next and the history have a view of their own.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from finishlab.errors import FinishlabError, LogbookError
from finishlab.page import forms, pictures
from finishlab.page.app import Answer, Onward, Page, Route, Sent, Visit
from finishlab.page.asking import Asked, RefusedError, Value, command_of, option_words
from finishlab.page.reading import page_of, reader
from finishlab.show.document import Block, Document, Line, Listing
from finishlab.show.html import blocks_html

if TYPE_CHECKING:
    from collections.abc import Hashable

    from markupsafe import Markup

__all__ = ["ROUTES"]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A page made of one command."""

    address: str
    """With its arguments in braces."""
    command: str
    title: str
    """Key of its heading."""
    arguments: tuple[str, ...] = ()
    """Parts of the address, or fields, that stand behind the command."""
    options: tuple[str, ...] = ()
    """What is asked for."""
    fixed: Mapping[str, Value] = field(default_factory=dict)
    listed: bool = False
    """Whether it stands in the list of pages."""
    waits: bool = False
    """Whether nothing is asked before something was typed."""
    then: str = ""
    """Of a change: the page that is shown when it is done."""


_SIZES: Final = ("treads", "front", "depth", "thickness", "edge", "odd")
_AIM: Final = (
    *("lighter", "darker", "hue_within", "no_redder", "no_greener", "no_yellower", "no_bluer", "no_lighter"),
    *("no_darker", "texture", "cmc"),
)

TOLD: Final = (
    View(address="/standard", command="standard", title="standard.title", fixed={"all": True}),
    View(
        address="/boards/compare",
        command="board compare",
        title="compare.title",
        arguments=("first", "second"),
        waits=True,
    ),
    View(
        address="/plan/quantities",
        command="plan quantities",
        title="plan.quantities",
        options=("recipe", "coverage", "waste", "coats", "under", "can_size", *_SIZES, "liquid", "product"),
    ),
    View(
        address="/plan/calendar",
        command="plan calendar",
        title="plan.calendar",
        options=("start", "hours", "days", "away", "set", "by_part", "recipe", "treads", "liquid"),
    ),
    View(
        address="/plan/cutting",
        command="plan cutting",
        title="plan.cutting",
        options=("stock", "kerf", "allowance", "spare", *_SIZES),
    ),
    View(
        address="/plan/risers",
        command="plan risers",
        title="plan.risers",
        options=("riser", "count", "tread_added", "lower_added", "upper_added", "tread_depth", "nosing", "tread_now"),
        waits=True,
    ),
    View(
        address="/plan/floor",
        command="plan floor",
        title="plan.floor",
        options=("room", "box", "waste", "price"),
        waits=True,
    ),
    View(address="/cautions", command="cautions", title="cautions.title"),
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
    adds: tuple[str, ...] = ()
    """What is asked for of a new one, its argument first; nothing where it takes a photo."""
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
        adds=("product", "kind", "maker", "lot", "size", "left", "place", "opened", "label", "note"),
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
)
"""Pages that write something and are no edit of a thing."""

_KEPT: Final[pictures.Kept[Any]] = pictures.Kept(300, lambda _: 1)
"""What was asked lately, by the state of the logbook it was asked of."""
_CROPPED: Final = 6
"""Boards of the ranking that are shown as they look."""


def _kept(visit: Visit, what: tuple[Hashable, ...], make: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever is made
    """Return what was made of this state of the logbook today; a plan begins tomorrow."""
    from finishlab.record import today

    return _KEPT.get((visit.folder, visit.state, today(), *what), make)


def _asked(visit: Visit, command: str, *arguments: str, **options: Value) -> Asked:
    """Return what a command that only looks up says, asked once for each state of the logbook."""
    named = tuple((name, tuple(value) if isinstance(value, list) else value) for name, value in options.items())
    asked: Asked = _kept(
        visit, (command, arguments, named), lambda: visit.ask(command, *arguments, may_fail=True, **options)
    )
    return asked


def _page(
    visit: Visit,
    title: str,
    template: str,
    values: Mapping[str, Any],
    errors: Sequence[FinishlabError] = (),
    status: int = 200,
) -> Page:
    """Return a page of this module's templates; `title` is the key of its heading, or the heading."""
    heading = visit.words(title) if title in visit.words.own else title
    return Page(heading, template, {"read": reader(visit.words), **values}, errors=errors, status=status)


def _markup(visit: Visit, blocks: Sequence[Block]) -> Markup:
    return blocks_html(blocks, reader(visit.words))


def _blocks(asked: Asked) -> list[Block]:
    """Return all that a command said: its documents' blocks, and its lines."""
    blocks = [block for each in asked.documents for block in each.blocks]
    return [*blocks, *(Line(text, whole=True) for text in asked.results)]


def _status(asked: Asked, *, typed: bool) -> int:
    """Return 422 for a form that cannot be meant; that nothing is logged yet is an answer like others."""
    return 422 if asked.errors and typed else 200


# -- What is looked up ------------------------------------------------------------------------------------------------


def _told(view: View, visit: Visit) -> Answer:
    fields = forms.fields_of(command_of(view.command), (*view.arguments, *view.options), visit.query)
    options = forms.given(fields, visit.query)
    typed = any(options.values())
    arguments = [str(options.pop(name, "")) for name in view.arguments]
    values: dict[str, Any] = {"fields": fields, "view": view, "typed": typed, "blocks": "", "notes": ()}
    if view.waits and not typed:
        return _page(visit, view.title, "told.html.j2", values)
    asked = _asked(visit, view.command, *arguments, **options, **view.fixed)
    values |= {"blocks": _markup(visit, _blocks(asked)), "notes": asked.said}
    return _page(visit, view.title, "told.html.j2", values, errors=asked.errors, status=_status(asked, typed=typed))


def _plan(visit: Visit) -> Answer:
    pages = [view for view in TOLD if view.address.startswith("/plan/")]
    return _page(visit, "plan.title", "pages.html.j2", {"pages": pages})


# -- What has a number ------------------------------------------------------------------------------------------------


def _list(thing: Thing, visit: Visit) -> Answer:
    asked = _asked(visit, f"{thing.command} list")
    values = {"blocks": _markup(visit, _blocks(asked)), "notes": asked.said, "thing": thing, "cards": []}
    return _page(visit, f"{thing.command}.list", "list.html.j2", values, errors=asked.errors)


def _one(thing: Thing, visit: Visit) -> Answer:
    number = visit.path["number"].upper()
    asked = visit.ask(f"{thing.command} show", number)
    values = {
        "blocks": _markup(visit, _blocks(asked)),
        "notes": asked.said,
        "thing": thing,
        "number": number,
        "photos": pictures.photos_of(visit.folder, number) if thing.pictured else [],
    }
    return _page(visit, f"{visit.words(f'{thing.command}.one')} {number}", "thing.html.j2", values)


def _record(thing: Thing, visit: Visit, number: str) -> Mapping[str, Any]:
    (entry,) = visit.ask(f"{thing.command} show", number).document.data[thing.named]
    record: Mapping[str, Any] = entry.get("record", entry)
    return record


def _groups(thing: Thing, record: Mapping[str, Any]) -> list[forms.Group]:
    command = command_of(f"{thing.command} edit")
    groups = [forms.Group("", tuple(forms.fields_of(command, thing.own, record)))]
    return groups + (forms.finish_groups(record.get("finish"), own=thing.command == "board") if thing.finish else [])


def _edit(thing: Thing, visit: Visit) -> Answer:
    number = visit.path["number"].upper()
    values = {"groups": _groups(thing, _record(thing, visit, number)), "number": number, "thing": thing}
    return _page(visit, visit.words("page.edit", what=number), "edit.html.j2", values)


def _edited(thing: Thing, visit: Visit) -> Answer:
    number = visit.path["number"].upper()
    groups = _groups(thing, _record(thing, visit, number))
    typed = {name: values[-1] for name, values in visit.form.fields.items()}
    changed = forms.changes(groups[0].fields, typed)
    emptied = [name for name, text in changed.items() if not text] if thing.clears else []
    options: dict[str, Value] = {name: text for name, text in changed.items() if name not in emptied}
    options |= forms.finish_changes(groups[1:], typed)
    asked = visit.ask(f"{thing.command} edit", number, clear=emptied or None, **options)
    return Onward(f"{thing.address}/{number}", asked.said)


def _removed(thing: Thing, visit: Visit) -> Answer:
    return Onward(thing.address, visit.ask(f"{thing.command} remove", visit.path["number"].upper()).said)


def _new(thing: Thing, visit: Visit) -> Answer:
    groups = [forms.Group("", tuple(forms.fields_of(command_of(f"{thing.command} add"), thing.adds)))]
    return _page(visit, f"{thing.command}.new", "edit.html.j2", {"groups": groups, "number": "", "thing": thing})


def _added(thing: Thing, visit: Visit) -> Answer:
    fields = forms.fields_of(command_of(f"{thing.command} add"), thing.adds)
    options = forms.given(fields, {name: values[-1] for name, values in visit.form.fields.items()})
    asked = visit.ask(f"{thing.command} add", str(options.pop(thing.adds[0], "")), **options)
    return Onward(thing.address, asked.said)


def _picture(visit: Visit) -> Answer:
    place = visit.path["place"]
    number = int(place) if place.isdecimal() and len(place) < 5 else 0
    jpeg = pictures.picture(visit.folder, visit.path["number"], number, visit.path["size"])
    return Sent(jpeg, "image/jpeg")


# -- What is written --------------------------------------------------------------------------------------------------


def _change(view: View, visit: Visit) -> Answer:
    fields = forms.fields_of(command_of(view.command), view.options)
    number = visit.path.get("number", "")
    values = {"groups": [forms.Group("", tuple(fields))], "number": number, "thing": None}
    return _page(visit, f"{visit.words(view.title)} {number}".strip(), "edit.html.j2", values)


def _changed(view: View, visit: Visit) -> Answer:
    fields = forms.fields_of(command_of(view.command), view.options)
    options = forms.given(fields, {name: values[-1] for name, values in visit.form.fields.items()})
    asked = visit.ask(view.command, *(visit.path[name].upper() for name in view.arguments), **options)
    return Onward(view.then, asked.said)


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
    return _page(visit, "history.title", "history.html.j2", values, errors=asked.errors)


def _step_back(visit: Visit) -> Answer:
    step, subject = visit.form.text("step"), visit.form.text("subject")
    asked = visit.ask("redo" if step == "redo" else "undo", *([subject] if subject else []))
    return Onward(visit.form.text("then") if visit.form.text("then") in _BACK else "/history", asked.said)


_BACK: Final = frozenset({"/history", *(thing.address for thing in THINGS)})
"""Where somebody may be sent after something was taken back."""


# -- What is printed --------------------------------------------------------------------------------------------------


def _print(visit: Visit) -> Answer:
    printed = [
        (view, forms.fields_of(command_of(view.command), (*view.arguments, *view.options), visit.query))
        for view in PRINTED
    ]
    return _page(visit, "print.title", "print.html.j2", {"printed": printed})


def _printed(view: View, visit: Visit) -> Answer:
    fields = forms.fields_of(command_of(view.command), (*view.arguments, *view.options), visit.query)
    options = forms.given(fields, visit.query)
    named = [each for name in view.arguments for each in _several(options.pop(name, ()))]
    name = view.address.rpartition("/")[2]
    with tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        pdf = Path(folder) / name
        files: dict[str, Value] = {"output": pdf}
        if view.command == "report":  # its page is the one file it always writes
            files = {"output": pdf.with_suffix(".html"), "pdf": pdf}
        visit.ask(view.command, *named, **options, **files)
        return Sent(pdf.read_bytes(), "application/pdf", name)


def _several(value: Value) -> Sequence[str]:
    return [] if value is None or isinstance(value, bool) else [value] if isinstance(value, str) else [*map(str, value)]


# -- Start, the ranking, what is next ---------------------------------------------------------------------------------


def _guide(visit: Visit) -> Document:
    """Return how far the job is, also before anything is logged."""
    from finishlab.guide.steps import read_guide, status_document

    asked = _asked(visit, "status")
    if asked.documents:
        return asked.document
    if any(error.code != "logbook-empty" for error in asked.errors):
        raise RefusedError(asked)
    return status_document(read_guide(None, visit.folder))


def _start(visit: Visit) -> Answer:
    data = _guide(visit).data
    read = reader(visit.words)
    steps = [{**step, "said": read.prose(str(step["found"]))} for step in data["steps"]]
    following = data["next"]
    values = {
        "steps": steps,
        "next": following,
        "missing": read.prose(following["missing"]) if following else "",
        "to": page_of(following["command"] or "") if following else None,
        "pages": _STEP_PAGES,
    }
    return _page(visit, "start.title", "start.html.j2", values)


_STEP_PAGES: Final = {
    "print": "/print",
    "floor": "/floor",
    "boards": "/boards",
    "answer": "/ranking",
    "standard": "/standard",
}
"""Step of the guide -> where what was done of it is seen."""


@dataclass(frozen=True, slots=True)
class _Ranked:
    """The answer for one light and aim, told once for people at a glance and in full, and once for programs."""

    glance: Document
    full: Document
    data: Mapping[str, Any]


def _ranked(visit: Visit, query: Mapping[str, str]) -> _Ranked:
    """Return the answer, weighed once for each state of the logbook: it takes a second.

    Raises
    ------
    FinishlabError
        If there is nothing to compare, or the aim cannot be meant.
    """
    fields = forms.fields_of(command_of("rank"), ("light", "aim", *_AIM), query)
    options = forms.given(fields, query)
    key = tuple(sorted((name, str(value)) for name, value in options.items() if value))
    found: _Ranked = _kept(visit, ("ranked", key), lambda: _weighed(visit.folder, options))
    return found


def _weighed(folder: Path, options: Mapping[str, Value]) -> _Ranked:
    """Do as ``rank`` does, once for its three ways of telling."""
    from finishlab.logbook.store import Logbook
    from finishlab.rank.comparing import compare
    from finishlab.rank.documents import comparison_document
    from finishlab.rank.options import other_aim, read_aim

    wanted = command_of("rank").make_context("rank", option_words(options)).params
    light = wanted.pop("light")
    aim = read_aim(**{name: wanted[name] for name in wanted if name not in {"full", "most", "as_json"}})
    log = Logbook.open_existing(folder)
    if log is None:
        raise LogbookError("logbook-empty", "Nothing is logged yet.", "Begin with: finishlab start")
    with log:
        found = compare(log, light=light, aim=aim, other=other_aim(aim))
    glance, full = (comparison_document(found, full=each, most=_MOST, as_json=False) for each in (False, True))
    return _Ranked(glance, full, comparison_document(found, full=True, most=None, as_json=True).data)


_MOST: Final = 60
"""Boards in the ranking's table, as the report has it."""


def _ranking(visit: Visit) -> Answer:
    fields = forms.fields_of(command_of("rank"), ("light", *_AIM), visit.query)
    values: dict[str, Any] = {"fields": fields, "switches": _aims(visit), "glance": "", "full": "", "pictured": []}
    try:
        ranked = _ranked(visit, visit.query)
    except FinishlabError as error:
        return _page(visit, "ranking.title", "ranking.html.j2", values, errors=[error])
    lights = [each["light"] for each in (ranked.data["lights"] or {}).get("compared", ())] or [ranked.data["light"]]
    light, query = ranked.data["light"], {name: value for name, value in visit.query.items() if name != "light"}
    values |= {
        "glance": _markup(visit, ranked.glance.blocks),
        "full": _markup(visit, ranked.full.blocks),
        "lights": [(each, f"?{urlencode({**query, 'light': each})}", each == light) for each in lights],
        "pictured": [board["board"] for board in ranked.data["ranking"][:_CROPPED]],
        "light": light,
    }
    return _page(visit, "ranking.title", "ranking.html.j2", values)


_STEPS: Final = {
    "match": {},
    "darker": {"aim": "contrast", "darker": "12"},
    "lighter": {"aim": "contrast", "lighter": "12"},
}
"""Aims that are a tap away; other steps and limits stand in the form. Twelve L* is what `rank` weighs a match against."""


def _aims(visit: Visit) -> list[tuple[str, str, bool]]:
    """Return key, address and whether it is the aim shown, of each aim that is a tap away."""
    rest = {
        name: value for name, value in visit.query.items() if name not in {"aim", "lighter", "darker", "hue_within"}
    }
    now = (
        "match" if visit.query.get("aim", "match") == "match" else "lighter" if visit.query.get("lighter") else "darker"
    )
    return [(name, f"?{urlencode({**rest, **query})}", name == now) for name, query in _STEPS.items()]


def _crop(visit: Visit) -> Answer:
    ranked = _ranked(visit, {"light": visit.query["light"]} if visit.query.get("light") else {})
    number, light = visit.path["number"], ranked.data["light"]
    if number not in {board["board"] for board in ranked.data["ranking"]}:
        raise LogbookError("no-picture", f"{number} is not in the ranking.", "Open the board's page.")
    return Sent(
        pictures.crop(visit.folder, number, light, tuple(ranked.data["floor"]["lab"]), visit.state), "image/jpeg"
    )


def _next(visit: Visit) -> Answer:
    """Show what is most worth doing: of the job, for the answer, and on the stair."""
    following = _guide(visit).data["next"]
    blocks: list[Block] = []
    try:
        full = _ranked(visit, {}).full
        blocks += [block for block in full.blocks if isinstance(block, Listing) and block.title == _TO_DO]
    except FinishlabError:  # nothing to compare yet: the guide says what is missing
        pass
    due = _asked(visit, "stairs due")
    blocks += [block for each in due.documents for block in each.blocks]
    values = {
        "next": following,
        "missing": reader(visit.words).prose(following["missing"]) if following else "",
        "to": page_of(following["command"] or "") if following else None,
        "blocks": _markup(visit, blocks),
    }
    return _page(visit, "next.title", "next.html.j2", values)


_TO_DO: Final = "What to do next"
"""Title of what the ranking's document says of it."""


# -- All of them ------------------------------------------------------------------------------------------------------


def _thing_routes(thing: Thing) -> list[Route]:
    one = f"{thing.address}/{{number}}"
    routes = [
        Route(thing.address, show=partial(_list, thing), title=f"{thing.command}.list"),
        *([Route(f"{thing.address}/new", show=partial(_new, thing), do=partial(_added, thing))] if thing.adds else []),
        Route(f"{one}/edit", show=partial(_edit, thing), do=partial(_edited, thing)),
        Route(f"{one}/remove", do=partial(_removed, thing)),
        Route(one, show=partial(_one, thing)),
    ]
    return routes


def _routes() -> list[Route]:
    told = [Route(each.address, show=partial(_told, each)) for each in TOLD]
    things = {thing.command: _thing_routes(thing) for thing in THINGS}
    return [
        Route("/", show=_start, title="start.title"),
        *told,
        *(Route(each.address, show=partial(_change, each), do=partial(_changed, each)) for each in CHANGES),
        *things["board"],
        *things["floor"],
        Route("/ranking", show=_ranking, title="ranking.title"),
        Route("/next", show=_next, title="next.title"),
        *things["recipe"],
        *things["can"],
        Route("/plan", show=_plan, title="plan.title"),
        Route("/print", show=_print, title="print.title"),
        *(Route(each.address, show=partial(_printed, each)) for each in PRINTED),
        Route("/history", show=_history, do=_step_back, title="history.title"),
        Route("/pictures/{number}/beside-floor", show=_crop),
        Route("/pictures/{number}/{place}/{size}", show=_picture),
    ]


ROUTES: Final = tuple(_routes())
