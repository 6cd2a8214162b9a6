"""The pages as one application: routes from the views' tables, one shape of answer, one way with failures.

A view is a plain function of a `Visit`; it runs in a thread, so it may open the logbook and run commands. To add one:
write ``def boards(visit: Visit) -> Answer`` in a module of `VIEWS`, and a `Route` in its table ``ROUTES``. ``show``
answers GET, ``do`` answers a posted form; where ``do`` raises, ``show`` of the same route is shown again with the
sentence above and every field as it was typed (`Visit.typed`). A command that a sentence names is a link to the route
that names it too. A form is begun with the macro ``form`` of ``macros.html.j2``, which carries what this module checks:
whose form it is, that it is sent once only, and which things it is about, so that a change made meanwhile is shown
before it is written over.
"""

from __future__ import annotations

import functools
import importlib
import re
import secrets
import threading
import time
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, BinaryIO, Final, TypeVar
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount
from starlette.routing import Route as Path_
from starlette.staticfiles import StaticFiles

from finishlab.cli.failures import INTERRUPTED, failure_of
from finishlab.cli.lazy import Source, logged_words
from finishlab.colorimetry.spaces import hex_colour
from finishlab.errors import ExitCode, FinishlabError
from finishlab.logbook.database import last_change
from finishlab.page.asking import Asked, Field, RefusedError, Value, ask, fields_of
from finishlab.page.guard import STAY, BodyError, Guard, Pairing, Visitor
from finishlab.page.reading import LANGUAGES, Links, Words, words_for, words_in
from finishlab.page.workers import Kept
from finishlab.record import today
from finishlab.show.document import Block
from finishlab.show.html import blocks_html

_HERE: Final = Path(__file__).parent
VIEWS: Final = ("views", "photograph", "stair")
"""Modules of this room with ``ROUTES``."""
ORDER: Final = (
    *("/", "/photograph", "/boards", "/floor", "/ranking", "/next", "/stair", "/plan", "/print", "/recipes", "/cans"),
    *("/history", "/settings"),
)
"""Of the list of pages."""
FORM_BYTES: Final = 256 * 1024
"""Of a form without photos."""
_ANSWERS: Final = 5000
"""Answers to forms that are kept for a form that is sent again."""
T = TypeVar("T")
_STATUS: Final[dict[int, int]] = {ExitCode.FAILURE: 500, INTERRUPTED: 500, ExitCode.LOGBOOK: 409}
"""Exit code of a command -> HTTP status; 422 for all others, which say what was wrong with what was sent."""


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that came with a form."""

    name: str
    """As the phone calls it; never a path here."""
    file: BinaryIO


@dataclass(frozen=True, slots=True)
class Form:
    """What was posted."""

    fields: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    uploads: tuple[Upload, ...] = ()

    def text(self, name: str, default: str = "") -> str:
        """Return the last value of a field, without blanks at its ends."""
        return self.fields.get(name, (default,))[-1].strip()

    @property
    def typed(self) -> dict[str, str]:
        """The last value of each field."""
        return {name: values[-1] for name, values in self.fields.items()}

    def texts(self, name: str) -> tuple[str, ...]:
        """Return all values of a field."""
        return self.fields.get(name, ())


@dataclass(frozen=True, slots=True)
class Page:
    """A page to show."""

    title: str
    template: str
    values: Mapping[str, Any] = field(default_factory=dict)
    said: Sequence[str] = ()
    """Sentences to show above: cautions first of all."""
    errors: Sequence[FinishlabError] = ()
    status: int = 200


@dataclass(frozen=True, slots=True)
class Sent:
    """A picture or a file."""

    content: bytes
    media_type: str
    name: str = ""
    """Under which a browser keeps it; empty for what is shown in a page."""


@dataclass(frozen=True, slots=True)
class Onward:
    """Done: another page is shown, and what was said stands above it."""

    address: str
    said: Sequence[str] = ()


Answer = Page | Sent | Onward


@dataclass(frozen=True, slots=True)
class Visit:
    """One request, as a view sees it."""

    folder: Path
    """The logbook's."""
    address: str
    path: Mapping[str, str]
    """The parts of the address in braces."""
    query: Mapping[str, str]
    form: Form
    visitor: Visitor
    words: Words
    state: int
    """Number of the newest entry of the history as the page was made; 0 while nothing is logged."""

    @property
    def again(self) -> str:
        """The address with all that was asked for in it."""
        return f"{self.address}?{urlencode(self.query)}" if self.query else self.address

    @property
    def links(self) -> Links:
        """How documents are read in this visitor's language."""
        return links_in(self.words.language)

    def do(self, command: str, *arguments: str | Path, **options: Value) -> Asked:
        """Run a command on this logbook, see `finishlab.page.asking.ask`; `RefusedError` if it fails."""
        return ask(self.folder, command, *arguments, inches=self.visitor.units == "in", **options)

    def ask(self, command: str, *arguments: str | Path, **options: Value) -> Asked:
        """Do the same where a failure is part of the answer."""
        try:
            return self.do(command, *arguments, **options)
        except RefusedError as refused:
            return refused.asked

    def look(self, command: str, *arguments: str, **options: Value) -> Asked:
        """Return what a command that only looks up says, asked once for each state of the logbook."""
        what = (command, arguments, repr(options), self.visitor.units)
        return self.kept(what, lambda: self.ask(command, *arguments, **options))

    def read(self, command: str, *arguments: str, **options: Value) -> tuple[Markup, Asked]:
        """Return the same as this visitor reads it, and what was said beside; a long list is not rendered twice."""

        def made() -> tuple[Markup, Asked]:
            asked = self.ask(command, *arguments, **options)
            return self.told(asked.blocks), replace(asked, documents=(), results=())

        return self.kept((self.words.language, command, arguments, repr(options), self.visitor.units), made)

    def kept(self, what: tuple[Hashable, ...], make: Callable[[], T]) -> T:
        """Return what was made of this state of the logbook today; a plan begins tomorrow."""
        found: T = _KEPT.get((self.folder, self.state, today(), *what), make)
        return found

    def fields(self, command: str, values: Mapping[str, object] | None = None, **which: Sequence[str]) -> list[Field]:
        """Return what a command takes, see `finishlab.page.asking.fields_of`, with what is logged to choose from."""

        def offered(what: Sequence[Source]) -> Mapping[str, str | None]:
            return self.kept(("offered", *what), lambda: dict(logged_words(self.folder, what)))

        return fields_of(command, values, offered=offered, **which)

    def told(self, blocks: Sequence[Block], level: int = 2) -> Markup:
        """Return blocks as this visitor reads them."""
        return blocks_html(blocks, self.links.reader, level=level)

    def typed(self, name: str, default: object = "") -> str:
        """Return what was typed into a field, or else what stands there."""
        if name in self.form.fields:
            return self.form.fields[name][-1]
        return "" if default is None else str(default)

    def ticked(self, name: str, value: str = "yes", *, default: bool = False) -> bool:
        """Return whether a box is ticked: as it was sent, or else as it stands."""
        return value in self.form.texts(name) if self.form.fields else default


@dataclass(frozen=True, slots=True)
class Route:
    """An address and its views."""

    address: str
    """With parts in braces: ``/boards/{number}``."""
    show: Callable[[Visit], Answer] | None = None
    do: Callable[[Visit], Answer] | None = None
    title: str = ""
    """Key of its name; empty for a page that no list and no sentence names."""
    commands: tuple[str, ...] = ()
    """Commands that do the same, as sentences name them."""
    most_bytes: int = FORM_BYTES
    """Of what may be posted to it."""

    @property
    def methods(self) -> list[str]:
        """What it answers."""
        return [name for name, view in (("GET", self.show), ("POST", self.do)) if view is not None]


def all_routes() -> tuple[Route, ...]:
    """Return the addresses of all views."""
    return tuple(route for name in VIEWS for route in importlib.import_module(f"finishlab.page.{name}").ROUTES)


@functools.cache
def links_in(language: str) -> Links:
    """Return how documents are read in a language, with the commands they name as links to their pages."""
    named = {
        command: (re.sub(r"{\w+}", "{}", route.address), route.title)
        for route in all_routes()
        for command in route.commands
    }
    return Links(words_in(language), {**named, "rank --full": ("/ranking#all", "ranking.below")})


def _weight(said: object) -> int:
    if isinstance(said, tuple):
        return 20 + len(said[0]) // 1000
    documents = said.documents if isinstance(said, Asked) else ()
    return 20 + sum(len(getattr(block, "rows", ())) for each in documents for block in each.blocks)


_KEPT: Final[Kept[Any]] = Kept(40_000, _weight)
"""What was asked lately, by the state of the logbook it was asked of; a row of a table is about a kilobyte."""


def application(folder: Path, pairing: Pairing, hosts: frozenset[str], routes: Sequence[Route] | None = None) -> Guard:
    """Return the application that serves a logbook.

    Parameters
    ----------
    folder
        The logbook's.
    pairing
        Who may come in.
    hosts
        ``host:port`` under which it may be addressed.
    routes
        Others than those of all views.
    """
    site = _Site(folder, pairing, all_routes() if routes is None else routes)
    return Guard(site.starlette(), pairing, hosts, most_bytes=site.most_bytes, refused=site.refused)


class _Site:
    """The routes of one logbook, and what they share."""

    def __init__(self, folder: Path, pairing: Pairing, routes: Sequence[Route]) -> None:
        self.folder = folder
        self.pairing = pairing
        self.routes = routes
        listed = {route.address: route.title for route in routes if route.title}
        self.listed = [(address, listed[address]) for address in ORDER if address in listed]
        self.writing = threading.Lock()
        self.sent = Kept[Answer](_ANSWERS)
        self.environment = _environment()

    def starlette(self) -> Starlette:
        """Return the application behind the guard."""
        paths = [Path_(each.address, self._endpoint(each), methods=each.methods) for each in self.routes]
        paths.append(Path_("/pair", self._pair, methods=["GET", "POST"]))
        static = Mount("/static", StaticFiles(directory=_HERE / "static"))
        return Starlette(
            routes=[*paths, static], exception_handlers=dict.fromkeys((404, 405, 400, BodyError), self._missed)
        )

    def most_bytes(self, path: str) -> int:
        """Return how much may be posted to an address."""
        return max((each.most_bytes for each in self.routes if each.address == path), default=FORM_BYTES)

    def refused(self, scope: Mapping[str, Any], status: int, key: str, *, given: str = "") -> Response:
        """Return the page that says why somebody is not let in, or where nothing is."""
        template = self.environment.get_template("refused.html.j2")
        return HTMLResponse(template.render(w=_words(scope), key=key, given=given), status)

    async def _pair(self, request: Request) -> Response:
        """Show where the code is typed, and let in whoever has the right one."""
        key = request.query_params.get("key", "")
        if request.method == "GET":
            return self.refused(request.scope, 200, "guard.pair", given=key)
        async with request.form(max_files=0, max_fields=5) as posted:
            found = self.pairing.pair(str(posted.get("code", "")))
        if found is None:
            return self.refused(request.scope, 403, "guard.wrong_code")
        answer = RedirectResponse("/", 303)
        name = request.scope["state"]["cookie"]
        answer.set_cookie(name, found[0], max_age=STAY, httponly=True, samesite="strict")
        return answer

    async def _missed(self, request: Request, error: Exception) -> Response:
        if isinstance(error, BodyError):
            answer = self.refused(request.scope, error.status, error.key)
        else:
            status = getattr(error, "status_code", 404)
            answer = self.refused(request.scope, status, "guard.form" if status == 400 else "guard.missing")
        answer.headers["connection"] = "close"
        return answer

    def _endpoint(self, route: Route) -> Callable[[Request], Any]:
        async def endpoint(request: Request) -> Response:
            if request.method != "POST":
                return await run_in_threadpool(self._shown, route, self._visit(request, Form()))
            async with request.form(max_files=40, max_fields=400, max_part_size=FORM_BYTES) as posted:
                visit = self._visit(request, _form(posted))
                return await run_in_threadpool(self._done, route, visit)

        return endpoint

    def _visit(self, request: Request, form: Form) -> Visit:
        visitor: Visitor = request.scope["state"]["visitor"]
        place = (request.url.path, request.path_params, dict(request.query_params))
        return Visit(self.folder, *place, form, visitor, _words(request.scope), last_change(self.folder))

    def _shown(self, route: Route, visit: Visit, error: Exception | None = None) -> Response:
        """Answer with a page; after a form that failed, with what was wrong above it."""
        status, errors, said = (200, (), ()) if error is None else _failure(error)
        try:
            answer = Page(visit.words("page.failed"), "failed.html.j2") if route.show is None else route.show(visit)
        except Exception as again:  # noqa: BLE001 - the last stop before a traceback
            status, errors, said = _failure(error or again)
            answer = Page(visit.words("page.failed"), "failed.html.j2")
        if isinstance(answer, Page) and errors:
            answer = replace(answer, errors=(*errors, *answer.errors), said=(*said, *answer.said), status=status)
        return self._response(visit, answer)

    def _done(self, route: Route, visit: Visit) -> Response:
        """Do what a form asks for: once, and not over what was changed since it was opened."""
        if not secrets.compare_digest(visit.form.text("token").encode(), visit.visitor.token.encode()):
            return self._response(visit, Page(visit.words("conflict.old"), "old_form.html.j2", status=403))
        once = visit.form.text("once") or secrets.token_urlsafe(12)
        try:
            answer = self.sent.get((visit.visitor.token, once), lambda: self._written(route, visit))
        except Exception as error:  # noqa: BLE001 - every failure is shown with what was typed
            return self._shown(route, visit, error)
        return self._response(visit, answer)

    def _written(self, route: Route, visit: Visit) -> Answer:
        if route.do is None:
            raise LookupError(route.address)
        about = tuple(filter(None, visit.form.text("about").split(",")))
        if not about:
            return route.do(visit)
        with self.writing:
            opened = visit.form.text("as_of")
            if not opened.isdecimal() or last_change(self.folder, about) > int(opened):
                return self._conflict(visit, about)
            return route.do(visit)

    def _conflict(self, visit: Visit, about: Sequence[str]) -> Page:
        """Return what was changed meanwhile, and the form with all that was typed."""
        changes = [line for each in about for line in visit.ask("history", each, last=1).results]
        mine = {"token", "once", "as_of", "about"}
        typed = [(name, value) for name, values in visit.form.fields.items() if name not in mine for value in values]
        values = {"changes": changes, "typed": typed, "about": ",".join(about)}
        return Page(visit.words("conflict.title"), "conflict.html.j2", values, status=409)

    def _response(self, visit: Visit, answer: Answer) -> Response:
        if isinstance(answer, Onward):
            visit.visitor.said += answer.said
            return RedirectResponse(answer.address, 303)
        if isinstance(answer, Sent):
            kept = {"content-disposition": f'attachment; filename="{answer.name}"'} if answer.name else {}
            return Response(answer.content, media_type=answer.media_type, headers=kept)
        said, visit.visitor.said[:] = [*visit.visitor.said, *answer.said], []
        template = self.environment.get_template(answer.template)
        text = template.render(
            answer.values,
            page=answer,
            said=said,
            visit=visit,
            w=visit.words,
            read=visit.links.reader,
            listed=self.listed,
            languages=LANGUAGES,
            now=time.strftime("%H:%M"),
        )
        return HTMLResponse(text, answer.status)


def _words(scope: Mapping[str, Any]) -> Words:
    """Return the words of a visitor's language, or of the one that the browser asks for."""
    visitor = scope["state"]["visitor"]
    if visitor is not None and visitor.language:
        return words_in(visitor.language)
    return words_for(dict(scope["headers"]).get(b"accept-language", b"").decode("latin-1"))


def _failure(error: Exception) -> tuple[int, tuple[FinishlabError, ...], tuple[str, ...]]:
    """Return an error as an HTTP status, sentences with what to do, and what was said before."""
    if isinstance(error, RefusedError):
        return _STATUS.get(error.asked.exit_code, 422), error.asked.errors, error.asked.said
    named = failure_of(error)
    return _STATUS.get(named.exit_code, 422), (named,), ()


def _form(posted: FormData) -> Form:
    fields: dict[str, list[str]] = {}
    uploads = []
    for name, value in posted.multi_items():
        if isinstance(value, str):
            fields.setdefault(name, []).append(value)
        elif value.filename:
            uploads.append(Upload(Path(value.filename).name, value.file))
    return Form({name: tuple(values) for name, values in fields.items()}, tuple(uploads))


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_HERE / "templates", encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["hex"] = hex_colour
    environment.globals |= {"once": lambda: secrets.token_urlsafe(12)}
    return environment
