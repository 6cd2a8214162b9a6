"""A person with a phone or a laptop at the page: a real server, a real browser, and what their fingers do counted.

Used by the browser's tests and by docs/build_page_figures.py.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from finishlab.page.reading import words_in

if TYPE_CHECKING:
    from playwright.sync_api import Browser, ConsoleMessage, FilePayload, Locator, Page, Request, Response

CHROMIUM: Final = shutil.which("chromium") or shutil.which("chromium-browser")
PHOTOS: Final = Path(__file__).parent.parent / "sample_photos"
PHONE: Final[dict[str, Any]] = {
    "viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "is_mobile": True, "has_touch": True,
}  # fmt: skip
LAPTOP: Final[dict[str, Any]] = {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"}
_CODE: Final = re.compile(r"type (\d{4}) (\d{4})")
_READY: Final = 30.0
"""Seconds a server may take to say its address."""


@dataclass(frozen=True)
class Served:
    """A page that is served."""

    address: str
    """``http://127.0.0.1:40123``."""
    told: Path
    """What the command says."""

    @property
    def code(self) -> str:
        """The code that stands in its terminal now: each is good for one browser."""
        *_, last = _CODE.finditer(self.told.read_text())
        return last[1] + last[2]


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Serve a logbook by the command, as a process of its own, until the end of the block."""
    words = [sys.executable, "-m", "finishlab.cli", "--logbook", str(folder), "page", "--port", "0", "--no-browser"]
    log = folder.parent / "server.txt"
    with log.open("w") as told:
        process = subprocess.Popen(words, stdout=told, stderr=told, env={**os.environ, "COLUMNS": "200"})
        try:
            yield _ready(process, log)
        finally:
            process.terminate()
            process.wait(timeout=20)
    assert "Traceback" not in log.read_text()


def _ready(process: subprocess.Popen[bytes], log: Path) -> Served:
    until = time.monotonic() + _READY
    while time.monotonic() < until and process.poll() is None:
        text = log.read_text()
        address = re.search(r"http://127\.0\.0\.1:\d+", text)
        if address and _CODE.search(text):
            return Served(address[0], log)
        time.sleep(0.05)
    raise AssertionError(log.read_text())


@contextmanager
def browser() -> Iterator[Browser]:
    """Give Debian's own Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


@dataclass
class Person:
    """Somebody at the page; whatever goes wrong behind their back is kept."""

    page: Page
    home: str
    language: str = "en"
    taps: int = 0
    letters: int = 0
    logged: str = ""
    """Where it was said what the last photos were logged as."""
    wrong: list[str] = field(default_factory=list)
    """Errors in the console, requests to elsewhere, answers that failed."""

    def __post_init__(self) -> None:
        """Listen to what the browser says."""
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("request", self._asked)
        self.page.on("response", self._answered)

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            self.wrong.append(f"{message.text} ({self.page.url})")

    def _asked(self, request: Request) -> None:
        if not request.url.startswith((f"{self.home}/", "blob:", "data:")):
            self.wrong.append(f"asks {request.url}")

    def _answered(self, response: Response) -> None:
        if response.status not in {200, 303, 304}:
            self.wrong.append(f"{response.status} {response.url}")

    def words(self, key: str, **places: object) -> str:
        """Return a text of the page in this person's language."""
        return words_in(self.language)(key, **places)

    def go(self, address: str) -> None:
        """Open an address of the page."""
        self.page.goto(self.home + address)

    def tap(self, what: Locator) -> None:
        """Tap once."""
        what.click()
        self.taps += 1

    def button(self, key: str, **places: object) -> None:
        """Tap the first button of this name."""
        self.tap(self.page.get_by_role("button", name=self.words(key, **places), exact=True).first)

    def write(self, name: str, text: str) -> None:
        """Tap into a field and type, if something else stands there."""
        place = self.page.locator(f'input[name="{name}"]:visible').first
        if place.input_value() != text:
            self.taps += 1
            self.letters += len(text)
            place.fill(text)

    def choose(self, name: str, value: str) -> None:
        """Choose of a list, if something else stands there: a tap to open it, a tap on what is meant."""
        place = self.page.locator(f'select[name="{name}"]:visible').first
        if place.input_value() != value:
            self.taps += 2
            place.select_option(value)

    def tick(self, box: str, value: str) -> None:
        """Tick a box or take one of several, if it is not so already."""
        place = self.page.locator(f'input[name="{box}"][value="{value}"]')
        if not place.is_checked():
            self.tap(place)


def pair(person: Person, at: Served) -> None:
    """Type the code that stands in the terminal."""
    person.go("/pair")
    person.write("code", at.code)
    person.button("guard.let_in")


def send(person: Person, names: Sequence[str | Path]) -> None:
    """Photograph things, as good as the samples are, and wait for what the page says of them.

    The photos are called as phones call them, so that their names say nothing. One tap opens the camera, one takes the
    photo, one keeps it.
    """
    person.go("/photograph")
    person.taps += 3 * len(names)
    files: list[FilePayload] = [
        {"name": f"IMG_{2041 + number}.jpg", "mimeType": "image/jpeg", "buffer": (PHOTOS / name).read_bytes()}
        for number, name in enumerate(names)
    ]
    person.page.set_input_files("#gallery", files)
    person.page.wait_for_url("**/photograph/seen**")


def photograph(person: Person, names: Sequence[str], kind: str, fields: Mapping[str, str]) -> None:
    """Photograph things and log them as what they are."""
    send(person, names)
    person.tick("kind", kind)
    for name, text in fields.items():
        (person.choose if person.page.locator(f'select[name="{name}"]').count() else person.write)(name, text)
    person.button("photograph.log")
    person.page.wait_for_url("**/photograph/logged**")
    person.logged = person.page.url.removeprefix(person.home)


def write_down(person: Person, address: str, fields: Mapping[str, str]) -> None:
    """Fill in a form of a page and keep it."""
    person.go(address)
    for name, text in fields.items():
        (person.choose if person.page.locator(f'select[name="{name}"]').count() else person.write)(name, text)
    with person.page.expect_navigation():
        person.button("page.keep")


def enter_stair(person: Person, risers: str = "5") -> None:
    """Enter a small stair."""
    person.go("/stair/add")
    person.write("words", risers)
    person.write("tread", "914x292x27")
    person.button("page.keep")
    person.page.wait_for_url("**/stair")


def log_coat(person: Person, what: str, parts: Sequence[str]) -> None:
    """Log a coat on parts of the stair."""
    person.go("/stair")
    for each in parts:
        person.tick(each, "part")
    person.tap(person.page.locator(f'button[name=what][value="{what}"]'))
    person.page.wait_for_url("**/stair/log**")
    person.button("stair.log_it")
    person.page.wait_for_url("**/stair")


def addresses(person: Person, first: Sequence[str]) -> Iterator[str]:
    """Open these pages and one of every kind that their links lead to, and give the address of each as it is shown."""
    met: set[str] = set()
    open_ = [*first]
    while open_:
        address = open_.pop(0)
        kind = re.sub(r"\d+", "#", re.sub(r"(?<==)[^&]*", "", address))
        if kind in met:
            continue
        met.add(kind)
        person.go(address)
        links: list[str] = person.page.eval_on_selector_all(
            "a[href]", "all => all.map(each => each.getAttribute('href').split('#')[0])"
        )
        yield address
        open_ += [
            each for each in links if each.startswith("/") and not each.endswith(".pdf") and "/photo/" not in each
        ]
