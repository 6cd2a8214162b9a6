"""The page in a real browser: a phone that does the whole work, a laptop that looks at it, a reader without scripts.

One logbook is filled through the page, by touch and typing alone, and looked at from every side. Every page is held by
axe-core (its own rules for WCAG 2.2 A and AA and for good practice) in both languages.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlsplit

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
    send,
    served,
    write_down,
)
from PIL import Image

from finishlab.logbook.store import Logbook
from finishlab.page.app import ORDER

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Route

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
    write_down(person, "/recipes/new", {"name": "walnut and honey"})
    write_down(person, "/cans/new", {"product": "clear", "kind": "oil polyurethane"})
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
    phone.go("/boards/B1")
    assert not re.search(r"[0-9a-f]{20}", phone.page.inner_text("main")), "a photo without a name is told in short"
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
    assert form.locator("button").is_enabled(), "it can be made again"
    assert not phone.wrong


def _faults(person: Person) -> list[str]:
    """Return what is wrong with the page that is shown: axe-core's findings, what is too wide or too low to touch."""
    from axe_playwright_python.sync_playwright import Axe

    where, found = (
        person.page.url.removeprefix(person.home),
        Axe().run(person.page, options={"resultTypes": ["violations"]}),
    )
    wrong = [
        f"{where}: {each['id']} {each['help']}: {each['nodes'][0]['html']}" for each in found.response["violations"]
    ]
    wide, room = person.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    wrong += [f"{where}: {wide} pixels wide"] if wide > room else []
    return wrong + [f"{where}: too low to touch: {each}" for each in person.page.evaluate(_SIZES)]


def _look(person: Person, screen: str) -> list[str]:
    """Return what is wrong with the page that is shown, and take its picture if pictures are wanted."""
    if PICTURES:
        name = urlsplit(person.page.url).path.strip("/").replace("/", "-") or "start"
        person.page.screenshot(path=f"{PICTURES}/{name}-{screen}.png", full_page=True)
    return _faults(person)


@pytest.fixture(scope="module")
def seen(phone: Person, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """Look at every kind of page on a phone, those too that only a form leads to; return what is wrong, by address."""
    empty = tmp_path_factory.mktemp("photos") / "empty.jpg"
    Image.new("RGB", (800, 600), "#8a7f70").save(empty)
    send(phone, ["board-raw.jpg", empty])
    answered = phone.page.url.removeprefix(phone.home)
    by_form = ("/stair/log?1.T1=part&1.T4=part&what=topcoat", "/stair/edit?1.T1=part", "/stair/part?parts=1.T1")
    pages = addresses(phone, ["/", answered, phone.logged, *by_form])
    return {address: _look(phone, "phone") for address in pages}


def test_every_page_is_sound_on_a_phone(phone: Person, seen: dict[str, list[str]]) -> None:
    """At 390 pixels in English: no finding of axe-core, nothing too wide or too low, no error, no request elsewhere."""
    assert len(seen) > 25
    assert not "\n".join(each for faults in seen.values() for each in faults)
    assert not phone.wrong


def test_every_page_is_sound_on_a_laptop(home: Home, seen: dict[str, list[str]]) -> None:
    """At 1,280 pixels, in German and in the dark the same pages are as sound."""
    person, faults = home.person(LAPTOP, "de"), []
    for address in seen:
        person.go(address)
        faults += _look(person, "laptop")
    assert not "\n".join(faults)
    assert not person.wrong


def test_refusals_are_sound(home: Home) -> None:
    """What a stranger sees, what is not there and what cannot be read are pages without a finding too."""
    stranger = Person(home.browser.new_context(**PHONE, locale="de").new_page(), home.at.address, "de")
    person = home.person(PHONE, "de")
    stranger.go("/boards")
    faults = _faults(stranger)
    for address in ("/nowhere", "/stair/log?what=topcoat", "/boards/B99"):
        person.go(address)
        faults += _faults(person)
    assert not "\n".join(faults)


def test_a_page_left_open_says_when_it_is_old(home: Home, phone: Person) -> None:
    """Somebody logs on another screen; the page that is open here says so, and brings it at a tap."""
    phone.go("/stair")
    other = home.person(LAPTOP, "en")
    log_coat(other, "sanded", ["1.T4"])
    phone.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    phone.page.locator("#old a").click()
    phone.page.wait_for_load_state()
    assert "tread 4: sanded" in phone.page.inner_text("fieldset >> nth=0")
    assert phone.page.locator("#old").inner_text() == ""


def test_reading_and_logging_need_no_script(home: Home, seen: dict[str, list[str]]) -> None:
    """Without JavaScript each page has its heading and its text, and what is done to a part can be logged."""
    person = home.person(PHONE, "en", java_script_enabled=False)
    for address in ORDER:
        person.go(address)
        assert len(person.page.inner_text("main")) > 40, address
    for address in seen.keys() - set(ORDER):  # the same without a screen: what there is to read came with the page
        assert "</h1>" in person.page.request.get(person.home + address).text(), address
    log_coat(person, "topcoat", ["1.T4"])
    assert "tread 4" in person.page.inner_text(".said")
    assert not person.wrong


def test_a_photo_comes_over_a_network_that_drops(home: Home) -> None:
    """A photo that does not get through, and one whose answer is lost, is sent again by itself, and answered once."""
    person, tries = home.person(PHONE, "en"), 0

    def drop(route: Route) -> None:
        nonlocal tries
        if route.request.method == "POST":
            tries += 1
        if route.request.method != "POST" or tries > 2:
            route.continue_()
            return
        if tries == 2:
            route.fetch(max_redirects=0)  # the server has it, and nobody hears so
        route.abort()

    person.page.route("**/photograph", drop)
    send(person, ["floor-kitchen-doorway.jpg"])
    assert tries == 3
    assert person.page.locator("article.answer").count() == 1
