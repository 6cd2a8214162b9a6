"""The page in a real browser: a phone that does the whole work, a laptop that looks at it, a reader without scripts.

One logbook is filled through the page, by touch and typing alone, and looked at from every side. Every page is held by
axe-core (its own rules for WCAG 2.2 A and AA and for good practice) in both languages.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pypdfium2
import pytest
from page_walk import (
    CHROMIUM,
    LAPTOP,
    PHONE,
    Person,
    Served,
    addresses,
    browser,
    enter_stair,
    log_coat,
    pair,
    photograph,
    served,
)

from finishlab.logbook import Logbook

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed (apt-get install -y chromium)")

PICTURES: Final = os.environ.get("FINISHLAB_PAGE_PICTURES")
"""Folder into which every page is photographed, if any."""
_SIZES: Final = """() => [...document.querySelectorAll('button, .act, nav a, select, summary, .tick label, input')]
    .map(each => [each, each.getBoundingClientRect()])
    .filter(([each, box]) => box.width && box.height < 44 && !each.closest('.tick label > *'))
    .map(([each, box]) => `${each.outerHTML.slice(0, 80)} ${box.height}`)"""
"""What is meant to be touched and is lower than 44 pixels (the enhanced size of WCAG 2.2, 2.5.5)."""


@dataclass(frozen=True)
class Home:
    """A logbook that is served, and a browser."""

    folder: Path
    at: Served
    browser: Browser

    def person(self, screen: dict[str, Any], language: str, **more: Any) -> Person:
        """Return somebody who is paired."""
        context = self.browser.new_context(**screen, locale=language, **more)
        context.set_default_timeout(20_000)
        person = Person(context.new_page(), self.at.address, language)
        pair(person, self.at)
        return person


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    """Serve a new logbook."""
    folder = tmp_path_factory.mktemp("page") / "log"
    with served(folder) as at, browser() as found:
        yield Home(folder, at, found)


@pytest.fixture(scope="module")
def phone(home: Home) -> Person:
    """Do the work from nothing to a coat on three treads, on a phone."""
    person = home.person(PHONE, "en")
    photograph(person, ["strip-from-three-steps-back.jpg"], "strip", {})
    photograph(person, ["floor-middle-of-the-hall.jpg"], "floor", {"spot": "hall"})
    wood = {"species": "red oak", "stain": "walnut", "coats": "1"}
    photograph(person, ["board-walnut-one-coat.jpg"], "board", wood)
    photograph(person, ["board-mix-two-coats.jpg"], "board", {"stain": "walnut and honey", "coats": "2"})
    enter_stair(person)
    log_coat(person, "topcoat", ["1.T1", "1.T2", "1.T3"])
    return person


def test_a_phone_does_the_whole_work(home: Home, phone: Person) -> None:
    """Paired by its code, it learns the print, logs floor and boards, ranks them, and logs a coat on three treads."""
    with Logbook.open(home.folder) as log:
        assert [greys.number for greys in log.learned_greys()] == [1043]
        assert len(log.floor_spots()) == 1
        assert [(each.record.stain, each.record.coats) for each in log.boards()] == [
            ("walnut", 1), ("walnut and honey", 2),
        ]  # fmt: skip
        stair = log.stair()
        assert [(stair.part(event.part).code, event.coat) for event in stair.events] == [
            (f"1.T{place}", 1) for place in (1, 2, 3)
        ]
    phone.go("/ranking")
    text = phone.page.inner_text("main")
    assert "B1" in text
    assert "B2" in text
    assert not phone.wrong


def test_a_label_comes_as_a_pdf(phone: Person, tmp_path: Path) -> None:
    """The labels are made at a tap, and say what is on the boards."""
    phone.go("/print")
    form = phone.page.locator('form[action="/print/labels.pdf"]')
    with phone.page.expect_download() as coming:
        form.locator("button").click()
    coming.value.save_as(tmp_path / "labels.pdf")
    document = pypdfium2.PdfDocument(tmp_path / "labels.pdf")
    text = document[0].get_textpage().get_text_bounded()
    document.close()
    assert "B2" in text
    assert "walnut and honey" in text
    assert not phone.wrong


def _faults(person: Person, address: str) -> list[str]:
    """Return what is wrong with a page: axe-core's findings, what is too wide or too small to touch."""
    from axe_playwright_python.sync_playwright import Axe

    person.go(address)
    found = Axe().run(person.page)
    wrong = [
        f"{address}: {each['id']} {each['help']}: {each['nodes'][0]['html'][:200]}"
        for each in found.response["violations"]
    ]
    wide = person.page.evaluate("document.documentElement.scrollWidth")
    width = person.page.viewport_size["width"] if person.page.viewport_size else 0
    wrong += [f"{address}: {wide} pixels wide"] if wide > width else []
    wrong += [f"{address}: too low to touch: {each}" for each in person.page.evaluate(_SIZES)]
    return wrong


@pytest.fixture(scope="module")
def seen(phone: Person) -> list[str]:
    """Return an address of every kind of page."""
    return addresses(phone)


@pytest.mark.parametrize(("screen", "language"), [("phone", "en"), ("laptop", "de")])
def test_every_page_is_sound(home: Home, phone: Person, seen: list[str], screen: str, language: str) -> None:
    """On both screens and in both languages: no finding of axe-core, nothing too wide or too low, no error."""
    person = phone if screen == "phone" else home.person(LAPTOP, language)
    assert len(seen) > 15
    faults = []
    for address in seen:
        faults += _faults(person, address)
        if PICTURES:
            name = address.strip("/").partition("?")[0].replace("/", "-") or "start"
            person.page.screenshot(path=f"{PICTURES}/{name}-{screen}.png", full_page=True)
    assert not faults, "\n".join(faults)
    assert not person.wrong


def test_reading_and_logging_need_no_script(home: Home, seen: list[str]) -> None:
    """Without JavaScript each page can be read, and what is done to a part can be logged."""
    person = home.person(PHONE, "en", java_script_enabled=False)
    for address in seen:
        person.go(address)
        assert person.page.inner_text("h1").strip(), address
    log_coat(person, "topcoat", ["1.T4"])
    assert "tread 4" in person.page.inner_text(".said")
    assert not person.wrong
