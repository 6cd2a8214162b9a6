"""Markup and script in every text field of every form: all of it comes back as text, on whatever page it is shown."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Final

import pytest
from page_visits import Visits
from test_page_views import filled  # noqa: F401 - a fixture

from finishlab.logbook.database import last_change

HOSTILE: Final = """<script>alert(1)</script>"'><img src=x onerror=alert(1)>{{7*7}}<!--"""
RAW: Final = ("<script>alert", "<img src=x", "<!--{", "}}<!--")
MOST_PAGES: Final = 80


@dataclass
class Seen:
    """A form of a page, as a browser reads it."""

    action: str
    fields: dict[str, str] = field(default_factory=dict)
    texts: list[str] = field(default_factory=list)
    """Names of fields that take any text."""


class Reader(HTMLParser):
    """Reads forms and links off a page."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address = address
        self.text = ""
        self.forms: list[Seen] = []
        self.links: list[str] = []
        self.inside = False
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a link, a form or one of its fields."""
        found = {name: value or "" for name, value in attrs}
        if tag == "a" and found.get("href", "").startswith("/"):
            self.links.append(found["href"].split("#")[0])
        elif tag == "form" and found.get("method") == "post" and "enctype" not in found:
            self.forms.append(Seen(found.get("action") or self.address))
            self.inside = True
        elif self.inside and (name := found.get("name", "")):
            self._field(tag, name, found)
        elif self.inside and tag == "option" and ("selected" in found or self._select not in self.forms[-1].fields):
            self.forms[-1].fields[self._select] = found.get("value", "")

    def _field(self, tag: str, name: str, found: dict[str, str]) -> None:
        form, kind = self.forms[-1], found.get("type", "text")
        if tag == "select":
            self._select = name
        elif tag == "textarea" or (tag == "input" and kind in {"text", "search"}):
            form.texts.append(name)
            form.fields[name] = found.get("value", "")
        elif tag == "input" and (kind == "hidden" or (kind in {"checkbox", "radio"} and "checked" in found)):
            form.fields[name] = found.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        """Note the end of a form."""
        self.inside = self.inside and tag != "form"


@pytest.fixture
def logbook(tmp_path: Path, filled: Path) -> Path:  # noqa: F811 - the fixture that is imported
    """A copy of the filled logbook."""
    shutil.copytree(filled, tmp_path / "logbook")
    return tmp_path / "logbook"


def _read(page: Visits, address: str) -> Reader:
    """Return what a page holds, after looking for markup that came through."""
    answer = page.get(address)
    if answer.headers["content-type"].startswith("text/html"):
        _held(answer.text, address)
    reader = Reader(address)
    if answer.headers["content-type"].startswith("text/html"):
        reader.text = answer.text
        reader.feed(answer.text)
    return reader


def _held(text: str, address: str) -> None:
    assert not [raw for raw in RAW if raw in text], address
    assert "Something went wrong that should not" not in text, address


def _pages(page: Visits) -> Iterator[Reader]:
    """Give every page that a link leads to, from the first on; pictures and papers are left out."""
    known, open_ = {"/"}, ["/"]
    while open_ and len(known) < MOST_PAGES:
        reader = _read(page, open_.pop(0))
        yield reader
        new = [link for link in dict.fromkeys(reader.links) if link not in known]
        fresh = [link for link in new if not re.search(r"\.pdf|/photo/|/beside-floor|/print/", link)]
        known.update(fresh)
        open_ += fresh


def test_markup_in_any_text_field_stays_text(page: Visits) -> None:
    """Each text field takes script and markup: no answer, and no page after it, holds it as such.

    What is asked alike where a thing is made and where it is changed is tried in one of both.
    """
    forms = {
        (re.sub(r"/[A-Z]?\d+|/new|/edit", "", form.action), name): (reader.address, form, name)
        for reader in _pages(page)
        for form in reader.forms
        for name in form.texts
    }
    assert len(forms) > 40
    before = last_change(page.folder)
    for address, form, name in forms.values():
        now = {"as_of": str(last_change(page.folder)), "once": f"{address} {name}"}
        answer = page.client.post(form.action, data={**form.fields, **now, name: HOSTILE})
        _held(answer.text, f"{address} {name}")
        assert answer.status_code < 500, (address, name)
    assert last_change(page.folder) > before + 20
    page.send("/settings", {"language": "de"})
    assert sum(reader.text.count("{{7*7}}") for reader in _pages(page)) > 20
