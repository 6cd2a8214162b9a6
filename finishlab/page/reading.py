"""What commands say, asked once for each state of the logbook, and how it is read on a page.

A document is read in the visitor's language, with the commands it names as links to pages, and numbers of things too.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from finishlab.page.app import Page, Visit
from finishlab.page.asking import Asked, Value
from finishlab.page.pictures import Kept
from finishlab.page.texts import Words, words_in
from finishlab.show.document import Block, Line
from finishlab.show.html import Reader, blocks_html

if TYPE_CHECKING:
    from collections.abc import Hashable

    from markupsafe import Markup

    from finishlab.errors import FinishlabError

__all__ = ["PAGES", "asked_of", "blocks_of", "kept", "markup", "page", "page_of", "reader"]

_LISTS: Final = {"board": "/boards", "floor": "/floor", "recipe": "/recipes", "can": "/cans"}
PAGES: Final = {
    "start": ("/", "start.title"),
    "status": ("/", "start.title"),
    "board add": ("/photograph", "photograph.title"),
    "floor add": ("/photograph", "photograph.title"),
    "strip learn": ("/photograph", "photograph.title"),
    "measure": ("/photograph", "photograph.title"),
    "board": ("/boards", "board.list"),
    "floor": ("/floor", "floor.list"),
    "recipe": ("/recipes", "recipe.list"),
    "recipe add": ("/recipes/new", "recipe.new"),
    "can": ("/cans", "can.list"),
    "can add": ("/cans/new", "can.new"),
    **{f"{each} edit": (f"{address}/{{}}/edit", "page.edit") for each, address in _LISTS.items()},
    "approve": ("/boards/{}/approve", "approve.title"),
    "standard": ("/standard", "standard.title"),
    "rank": ("/ranking", "ranking.title"),
    "rank --full": ("/ranking#all", "ranking.below"),
    "stairs": ("/stair", "stair.title"),
    "plan": ("/plan", "plan.title"),
    "plan quantities": ("/plan/quantities", "plan.quantities"),
    "plan calendar": ("/plan/calendar", "plan.calendar"),
    "plan cutting": ("/plan/cutting", "plan.cutting"),
    "strip": ("/print", "print.title"),
    "labels": ("/print", "print.title"),
    "schedule": ("/print", "print.title"),
    "house-file": ("/print", "print.title"),
    "report": ("/print", "print.title"),
    "cautions": ("/cautions", "cautions.title"),
    "history": ("/history", "history.title"),
    "undo": ("/history", "history.title"),
    "redo": ("/history", "history.title"),
}
"""Command -> the page that does the same, and the key of its name."""

_THINGS: Final = {"B": "/boards", "F": "/floor", "R": "/recipes", "C": "/cans", "E": "/stair/events"}
_NUMBER: Final = re.compile(r"[BFRCE][1-9]\d{0,5}")
_COMMAND: Final = re.compile(
    r"finishlab(?P<words>(?: [a-z][a-z-]*){1,2})"
    r"""(?P<rest>(?: (?:--[a-z-]+|[A-Z][A-Z0-9.]*|"[^"]*"|“[^”]*”|[A-Z]\d+))*)"""
)
_LINKS: Final = re.compile(f"(?P<command>{_COMMAND.pattern})|\\b(?P<number>[BF][1-9]\\d{{0,5}})\\b")
"""In a sentence, recipes and cans stay as they are: R311 is a section of a code too."""
_READ: Final = 4096
"""Texts whose links were found that are kept."""


def reader(words: Words) -> Reader:
    """Return how a visitor with these words reads documents."""
    return _reader(words.language)


@functools.cache
def _reader(language: str) -> Reader:
    words = words_in(language)
    return Reader(functools.partial(_prose, language), functools.partial(_word, language), words.of, _address)


def _address(text: str) -> str | None:
    return f"{_THINGS[text[0]]}/{text}" if _NUMBER.fullmatch(text) else None


@functools.lru_cache(_READ)
def _word(language: str, text: str) -> Markup:
    """Return a name, a head, a cell: in the visitor's language where it is one of the program's words."""
    from markupsafe import escape

    return escape(words_in(language).of(text))


@functools.lru_cache(_READ)
def _prose(language: str, text: str) -> Markup:
    """Return a sentence with its links; one that has no words in the visitor's language says that it is English."""
    from markupsafe import Markup

    told = words_in(language).of(text)
    linked, at = Markup(""), 0
    for found in _LINKS.finditer(told):
        link = _link(language, found)
        if link is not None:
            linked += Markup("{}{}").format(told[at : found.start()], link)
            at = found.end()
    linked += Markup("{}").format(told[at:])
    return Markup('<span lang="en">{}</span>').format(linked) if words_in(language).lacks(text) else linked


def _link(language: str, found: re.Match[str]) -> Markup | None:
    from markupsafe import Markup

    number = found["number"]
    if number is not None:
        return Markup('<a href="{}">{}</a>').format(_address(number), number)
    place = _named(words_in(language), found["words"].split(), found["rest"])
    if place is None:
        return None
    address, name, left = place
    return Markup('<a href="{}">{}</a>{}').format(address, name, left)


def _named(words: Words, said: Sequence[str], rest: str) -> tuple[str, str, str] | None:
    """Return address and name of a command's page, and what stood behind the command and is none of it."""
    one, number = said[0], _NUMBER.search(rest)
    choices = [f"{one}{rest}" if len(said) == 1 else " ".join(said), one]
    command = next((each for each in choices if each in PAGES and (number or "{}" not in PAGES[each][0])), None)
    if command is None or PAGES[command][1] not in words.own:  # a page that is not built
        return None
    address, title = PAGES[command]
    of_command = command != one or len(said) == 1 or one in _GROUPS
    what = number[0] if number else ""
    return address.format(what), words(title, what=what), "" if of_command else f" {said[1]}{rest}"


_GROUPS: Final = frozenset({"board", "floor", "recipe", "can", "stairs", "strip", "plan"})
"""Commands whose second word is a command too."""


def page_of(words: Words, command: str) -> tuple[str, str] | None:
    """Return address and name of the page that does what a command line does; None where there is none."""
    found = _COMMAND.match(command)
    place = _named(words, found["words"].split(), found["rest"]) if found else None
    return place and place[:2]


def _rows(said: Any) -> int:  # noqa: ANN401 - whatever has documents
    return 20 + sum(len(getattr(block, "rows", ())) for each in said.documents for block in each.blocks)


_KEPT: Final[Kept[Any]] = Kept(40_000, _rows)
"""What was asked lately, by the state of the logbook it was asked of; a row of a table is about a kilobyte."""


def kept(visit: Visit, what: tuple[Hashable, ...], make: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever is made
    """Return what was made of this state of the logbook today; a plan begins tomorrow."""
    from finishlab.record import today

    return _KEPT.get((visit.folder, visit.state, today(), *what), make)


def asked_of(visit: Visit, command: str, *arguments: str, **options: Value) -> Asked:
    """Return what a command that only looks up says, asked once for each state of the logbook."""
    named = tuple((name, tuple(value) if isinstance(value, list) else value) for name, value in options.items())
    asked: Asked = kept(
        visit,
        (command, arguments, named, visit.visitor.units),
        lambda: visit.ask(command, *arguments, may_fail=True, **options),
    )
    return asked


def page(
    visit: Visit,
    title: str,
    template: str,
    values: Mapping[str, Any],
    errors: Sequence[FinishlabError] = (),
    status: int = 200,
) -> Page:
    """Return a page of this module's templates; `title` is the key of its heading, or the heading."""
    heading = visit.words(title) if title in visit.words.own else title
    return Page(heading, template, values, errors=errors, status=status)


def markup(visit: Visit, blocks: Sequence[Block]) -> Markup:
    """Return blocks as this visitor reads them."""
    return blocks_html(blocks, reader(visit.words))


def blocks_of(asked: Asked) -> list[Block]:
    """Return all that a command said: its documents' blocks, and its lines."""
    blocks = [block for each in asked.documents for block in each.blocks]
    return [*blocks, *(Line(text, whole=True) for text in asked.results)]
