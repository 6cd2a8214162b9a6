"""What commands say, asked once for each state of the logbook, and how it is read on a page; its pictures.

A document is read in the visitor's language, with the commands it names as links to pages, and numbers of things too.

A picture is a small copy, nothing of the file but pixels. Its photo is found through the logbook alone, by the number
of a thing and of its photo, so no text that came over the network is ever part of a path, and is opened where a hostile
file can do no harm.
"""

from __future__ import annotations

import functools
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

from finishlab.errors import FinishlabError, LogbookError
from finishlab.page.app import Page, Visit
from finishlab.page.asking import Asked, Value
from finishlab.page.texts import Words, words_in
from finishlab.show.document import Block, Line
from finishlab.show.html import Reader, blocks_html

if TYPE_CHECKING:
    from markupsafe import Markup

    from finishlab.logbook.store import Logbook

T = TypeVar("T")

__all__ = [
    "KEPT_BYTES",
    "PAGES",
    "SIZES",
    "Kept",
    "asked_of",
    "blocks_of",
    "crop",
    "kept",
    "markup",
    "no_picture",
    "page",
    "page_of",
    "picture",
    "reader",
]

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


class Kept(Generic[T]):
    """What was made once, by what it is of; the oldest is dropped where there is too much.

    Parameters
    ----------
    most
        How much is kept.
    weigh
        How much one is.
    """

    def __init__(self, most: int, weigh: Callable[[T], int]) -> None:
        self._most = most
        self._weigh = weigh
        self._size = 0
        self._found: OrderedDict[Hashable, T] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under a key; made once, however many ask for it at the same time."""
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
                return self._found[key]
            making = self._making.setdefault(key, threading.Lock())
        try:
            with making:
                with self._lock:
                    if key in self._found:
                        return self._found[key]
                made = make()
                self._keep(key, made)
                return made
        finally:
            with self._lock:
                self._making.pop(key, None)

    def _keep(self, key: Hashable, made: T) -> None:
        with self._lock:
            self._found[key] = made
            self._size += self._weigh(made)
            while self._size > self._most and len(self._found) > 1:
                self._size -= self._weigh(self._found.popitem(last=False)[1])


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


# -- Pictures ---------------------------------------------------------------------------------------------------------

SIZES: Final = {"small": 480, "large": 1600}
"""Name of a size -> pixels of the long side."""
KEPT_BYTES: Final = 24_000_000
"""Of pictures in memory: about 600 small ones."""
_QUALITY: Final = {"small": 80, "large": 88}


_PICTURES: Final = Kept[bytes](KEPT_BYTES, len)


def picture(folder: Path, photo: str, size: str) -> bytes:
    """Return a photo of the logbook, named by its hash, as a JPEG of one of `SIZES`.

    Raises
    ------
    FinishlabError
        If its file cannot be read, or costs more than a photo may.
    """
    return _PICTURES.get((photo, size), lambda: _made(folder, _small, folder, photo, SIZES[size], _QUALITY[size]))


def crop(folder: Path, number: str, light: str, floor: tuple[float, ...], state: int) -> bytes:
    """Return a board above the floor, cut from its photo at one scale and corrected, as the report shows it.

    Parameters
    ----------
    folder
        The logbook's.
    number
        The board's.
    light
        Whose photos are used.
    floor
        Mean CIELAB of the floor.
    state
        Of the logbook; what is learned of a strip changes the picture.

    Raises
    ------
    LogbookError
        ``"no-picture"`` if its photo gives none.
    """
    key = (folder, number, light, state)
    return _PICTURES.get(key, lambda: _made(folder, _beside, folder, number, light, floor))


_ONE: Final = threading.Lock()
"""Pictures take one worker at most, so that a photo that was just taken need not wait for those logged long ago."""


def _made(folder: Path, work: Callable[..., bytes], *args: object) -> bytes:
    """Return a picture that is made where a photo can do no harm."""
    from finishlab.page.waiting import bench_of

    with _ONE:
        return bench_of(folder).workers.do(work, *args)


def _small(folder: Path, photo: str, side: int, quality: int) -> bytes:
    from finishlab.photos import thumbnail

    with _logbook(folder) as log:
        return thumbnail(log.photo_path(photo), side, quality=quality)


def _beside(folder: Path, number: str, light: str, floor: tuple[float, ...]) -> bytes:
    from finishlab.report.pictures import crops_of

    with _logbook(folder) as log:
        found = crops_of(log, [log.board(number)], light, floor)
    if number not in found:
        raise no_picture(number)
    return found[number].jpeg


def _logbook(folder: Path) -> Logbook:
    from finishlab.logbook.store import Logbook

    log = Logbook.open_existing(folder)
    if log is None:
        raise no_picture("anything")
    return log


def no_picture(number: str) -> LogbookError:
    """Return that there is no picture of a thing."""
    return LogbookError("no-picture", f"There is no such picture of {number}.", "Open its page.")
