"""The page's words in each language: its own by key, and those that come in documents by their English text.

A key missing in a language is an error a test finds. A document's word without an entry stays English, as the command
line says it.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

__all__ = ["LANGUAGES", "Words", "words_for", "words_in"]

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""Code (ISO 639-1) -> what its speakers call it."""
DOCUMENTS: Final = "documents"
"""The section that is looked up by the English text."""


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

    def of(self, text: str) -> str:
        """Return a document's word in this language; English where it has none."""
        return self.documents.get(text, text)


@functools.cache
def words_in(language: str) -> Words:
    """Return the words of a language of `LANGUAGES`."""
    found = tomllib.loads((Path(__file__).parent / "texts" / f"{language}.toml").read_text(encoding="utf-8"))
    documents = found.pop(DOCUMENTS, {})
    own = {f"{section}.{key}": text for section, texts in found.items() for key, text in texts.items()}
    return Words(language, own, documents)


def words_for(accepted: str) -> Words:
    """Return the words of the first known language of an ``Accept-Language`` header (RFC 9110); English for none."""
    for each in accepted.split(","):
        language = each.split(";")[0].strip().lower().split("-")[0]
        if language in LANGUAGES:
            return words_in(language)
    return words_in("en")
