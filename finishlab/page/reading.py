"""How all reads in a visitor's language: the page's own words by key, those of documents by their English text.

A key missing in a language is an error a test finds. A document's word without an entry stays English, as the command
line says it. Commands that a sentence names become links to the pages that do the same, numbers of things to theirs.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.show.html import Reader

if TYPE_CHECKING:
    from markupsafe import Markup

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""Code (ISO 639-1) -> what its speakers call it."""


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one language."""

    language: str
    own: Mapping[str, str]
    """``section.key`` -> text with places in braces."""
    documents: Mapping[str, str]
    """English text -> the same in this language."""

    def __call__(self, key: str, **places: object) -> str:
        """Return a text of the page's own, with its places filled in.

        Raises
        ------
        KeyError
            If there is no such text.
        """
        return self.own[key].format(**places)

    def lacks(self, text: str) -> bool:
        """Return whether a sentence is English and has no words in this language."""
        english = bool(self.documents) and _WORD.search(text) is not None and " " in text.strip()
        return english and text not in self.own.values() and self.of(text) == text

    def of(self, text: str) -> str:
        """Return a document's word or sentence in this language; English where it has none."""
        return _told(self.language, text) if self.documents and len(text) < _LONGEST else text


@functools.cache
def words_in(language: str) -> Words:
    """Return the words of a language of `LANGUAGES`."""
    found = _texts(f"{language}.toml")
    documents = {
        english: told for texts in _texts(f"{language}_documents.toml").values() for english, told in texts.items()
    }
    own = {f"{section}.{key}": text for section, texts in found.items() for key, text in texts.items()}
    return Words(language, own, documents)


def _texts(name: str) -> dict[str, dict[str, str]]:
    file = Path(__file__).parent / "texts" / name
    return tomllib.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}


_LONGEST: Final = 2000
"""Letters of a sentence that is looked for; what is longer, somebody wrote."""
_READ: Final = 8192
"""Texts of documents that are kept as they were found."""
_WORD: Final = re.compile("[A-Za-z][a-z]")
"""What has none of it, such as the code of a part, reads alike in every language."""
_SENTENCES: Final = re.compile(r"((?<=[^.]\.) )")
_JOINTS: Final = (re.compile("(; )"), re.compile("(, )"), re.compile("( and )"))
"""Between sentences, and between names in a row."""
_PLACE: Final = re.compile(r"#|\{(\w+)\}")
_FORMS: Final = {
    "#": r"\d[\d.,-]*",
    "figure": r"[-+]?[\d.]+",
    "chance": r"[<>]? ?[\d.]+ %",
    "board": r"[A-Z]?\d+",
    "number": r"[-+]?[\w.]+",
    "list": r"\d[\d, and-]*",
    "recipe": r"R\d+.*?",
    "coats": r"\d+ .+?",
    "done": r"sanded|rubbed out|dry-fitted|fitted|touched up|note",
    "share": r"hardly any|about [a-z ]+?|most|nearly all",
    "clock": r"(?:night|\d\d:\d\d(?:-\d\d:\d\d)?) *",
    **dict.fromkeys(("day", "last"), r"[A-Z][a-z]+day \d+ [A-Z][a-z]+"),
    "date": r"\d+ [A-Z][a-z]+",
    "dated": r"\d+ [A-Z][a-z]{2} [\d:]+",
    "hour": r"[\d:]+",
    "at": r"(?:L?\d+/)?(?:tread|riser|landing|nosing|return|stringer|skirt)[^:]*",
    "names": r"(?:[A-Z0-9.]+|(?:flight|landing|strip) \d+|standard)(?:, [\w. ]+)*(?: and \d+ more)?",
    "when": r"\d{4}-\d\d-\d\d(?: \d\d:\d\d)?",
    "colours": r"(?:(?:, | and )?(?:a touch |much |also )?(?:lighter|darker|greener|pinker|bluer|more golden))+",
}
"""What a place of this name holds; others hold anything."""


@dataclass(frozen=True, slots=True)
class _Sentence:
    """An English sentence with places, and how it is put in another language."""

    literal: str
    """Its longest piece without a place."""
    pattern: re.Pattern[str]
    told: str


@functools.cache
def _sentences(language: str) -> list[_Sentence]:
    """Return the sentences with places of a language, those that say most first."""
    found = []
    for english, told in words_in(language).documents.items():
        pieces = _PLACE.split(english)
        if len(pieces) > 1:
            names = [name or "#" for name in pieces[1::2]]
            groups = [f"({_FORMS.get(name, '.+?')})" for name in names]
            pattern = "".join(re.escape(piece) + group for piece, group in zip(pieces[::2], [*groups, ""], strict=True))
            places = {name: place for place, name in enumerate(names) if name != "#"}
            numbers = iter([place for place, name in enumerate(names) if name == "#"])
            put = _PLACE.sub(lambda found: f"{{{places[found[1]] if found[1] else next(numbers)}}}", told)  # noqa: B023
            found.append(_Sentence(max(pieces[::2], key=len), re.compile(pattern, re.DOTALL), put))
    return sorted(found, key=lambda each: -len(each.told))


@functools.lru_cache(_READ)
def _told(language: str, text: str) -> str:
    """Return a text in a language, what stands in its places too; a capital at its start is no other text."""
    known = _known(language, text)
    return text if known is None else known


def _known(language: str, text: str) -> str | None:
    for start in (str, str.lower, str.upper):
        found = _found(language, start(text[:1]) + text[1:])
        if found is not None:
            # A noun keeps its capital within a German sentence.
            return found[:1].upper() + found[1:] if text[:1].isupper() else found
    return None


def _found(language: str, text: str) -> str | None:
    """Return a text in a language: as it stands there, as a sentence with places, or as a row of such texts."""
    documents = words_in(language).documents
    if text in documents:
        return documents[text]
    several = _in_a_row(language, text, _SENTENCES)
    if several is not None:
        return several
    for sentence in _sentences(language):
        if sentence.literal in text and (found := sentence.pattern.fullmatch(text)):
            return sentence.told.format(*(_piece(language, piece) for piece in found.groups()))
    bare = _found(language, text[:-1]) if text.endswith(".") else None
    return _in_a_row(language, text, *_JOINTS) if bare is None else f"{bare}."


def _in_a_row(language: str, text: str, *joints: re.Pattern[str]) -> str | None:
    """Return sentences or names in a row, each by itself; None where one of them is not known."""
    for joint in joints:
        pieces = joint.split(text)
        if len(pieces) > 1:
            words = {" and ": f" {words_in(language).documents['and']} "}
            told: list[str] = []
            for place, piece in enumerate(pieces):
                known = words.get(piece, piece) if place % 2 or not _WORD.search(piece) else _known(language, piece)
                if known is None:
                    break
                told.append(known)
            else:
                return "".join(told)
    return None


def _piece(language: str, piece: str) -> str:
    """Return what stands in a place, with the blanks that set it in its column."""
    bare = piece.strip()
    return piece.replace(bare, _told(language, bare)) if bare else piece


def words_for(accepted: str) -> Words:
    """Return the words of the first known language of an ``Accept-Language`` header (RFC 9110); English for none."""
    for each in accepted.split(","):
        language = each.split(";")[0].strip().lower().split("-")[0]
        if language in LANGUAGES:
            return words_in(language)
    return words_in("en")


# -- Links ------------------------------------------------------------------------------------------------------------

Pages = Mapping[str, tuple[str, str]]
"""Command -> the page that does the same, with ``{}`` for a number, and the key of its name."""
_THINGS: Final = {"B": "/boards", "F": "/floor", "R": "/recipes", "C": "/cans", "E": "/stair/events"}
_NUMBER: Final = re.compile(r"[BFRCE][1-9]\d{0,5}")
_COMMAND: Final = re.compile(
    r"finishlab(?P<words>(?: [a-z][a-z-]*){1,2})"
    r"""(?P<rest>(?: (?:--[a-z-]+|[A-Z][A-Z0-9.]*|"[^"]*"|“[^”]*”|[A-Z]\d+))*)"""
)
_LINKS: Final = re.compile(f"(?P<command>{_COMMAND.pattern})|\\b(?P<number>[BF][1-9]\\d{{0,5}})\\b")
"""In a sentence, recipes and cans stay as they are: R311 is a section of a code too."""
_OPTION: Final = re.compile(r"--([a-z]+)\b(?!-)")
_GROUPS: Final = frozenset({"board", "floor", "recipe", "can", "stairs", "strip", "plan"})
"""Commands whose second word is a command too."""


class Links:
    """How documents are read by visitors of one language, with links to pages.

    Parameters
    ----------
    words
        The language's.
    pages
        Where links lead.
    """

    def __init__(self, words: Words, pages: Pages) -> None:
        self._words = words
        self._pages = pages
        kept = functools.lru_cache(_READ)
        self.reader = Reader(kept(self._prose), kept(self._word), words.of, _address)

    def page_of(self, command: str) -> tuple[str, str] | None:
        """Return address and name of the page that does what a command line does; None where there is none."""
        found = _COMMAND.match(command)
        place = self._named(found) if found else None
        return place and place[:2]

    def _word(self, text: str) -> Markup:
        """Return a name, a head, a cell: in the visitor's language where it is one of the program's words."""
        from markupsafe import escape

        return escape(self._words.of(text))

    def _prose(self, text: str) -> Markup:
        """Return a sentence with its links; one that has no words in the visitor's language says that it is English."""
        from markupsafe import Markup

        told = self._words.of(text)
        linked, at = Markup(""), 0
        for found in _LINKS.finditer(told):
            number = found["number"]
            place = (_address(number), number, "") if number else self._named(found)
            if place is not None:
                linked += Markup('{}<a href="{}">{}</a>{}').format(told[at : found.start()], *place)
                at = found.end()
        linked += Markup("{}").format(self.asked(told[at:]))
        return Markup('<span lang="en">{}</span>').format(linked) if self._words.lacks(text) else linked

    def asked(self, text: str) -> str:
        """Return a sentence with options as forms call them; one about a command line stays."""
        if "finishlab " in text:
            return text
        return _OPTION.sub(lambda found: self._words("page.quoted", what=self._words.of(found[1])), text)

    def _named(self, found: re.Match[str]) -> tuple[str, str, str] | None:
        """Return address and name of a command's page, and what stood behind the command and is none of it."""
        said, rest = found["words"].split(), found["rest"]
        one, number = said[0], _NUMBER.search(rest)
        choices = [f"{one}{rest}" if len(said) == 1 else " ".join(said), one]
        pages = self._pages
        command = next((each for each in choices if each in pages and (number or "{}" not in pages[each][0])), None)
        if command is None:
            return None
        address, title = pages[command]
        of_command = command != one or len(said) == 1 or one in _GROUPS
        what = number[0] if number else ""
        return address.format(what), self._words(title, what=what), "" if of_command else f" {said[1]}{rest}"


def _address(text: str) -> str | None:
    return f"{_THINGS[text[0]]}/{text}" if _NUMBER.fullmatch(text) else None
