"""A person with a phone or a laptop at the page: a real server, a real browser, and what their fingers do counted.

Used by the browser's tests, by docs/build_page_pictures.py, and by docs/build_page_taps.py.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Locator, Page, Request, Response

CHROMIUM: Final = shutil.which("chromium") or shutil.which("chromium-browser")
PHOTOS: Final = Path(__file__).parent.parent / "sample_photos"
PHONE: Final[dict[str, Any]] = {
    "viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "is_mobile": True, "has_touch": True,
}  # fmt: skip
LAPTOP: Final[dict[str, Any]] = {"viewport": {"width": 1280, "height": 900}}
_READY: Final = 30.0
"""Seconds a server may take to say its address."""


@dataclass(frozen=True)
class Served:
    """A page that is served."""

    address: str
    """``http://127.0.0.1:40123``."""
    code: str


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Serve a logbook by the command, as a process of its own, until the end of the block."""
    words = [sys.executable, "-m", "finishlab.cli", "--logbook", str(folder), "page", "--port", "0", "--no-browser"]
    log = folder.parent / "server.txt"
    with log.open("w") as told:
        process = subprocess.Popen(words, stdout=told, stderr=told, env={**os.environ, "COLUMNS": "200"})  # noqa: S603
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
        code = re.search(r"type (\d{4}) (\d{4})", text)
        if address and code:
            return Served(address[0], code[1] + code[2])
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
    taps: int = 0
    letters: int = 0
    wrong: list[str] = field(default_factory=list)
    """Errors in the console, requests to elsewhere, answers that failed."""
    expected: set[int] = field(default_factory=lambda: {200, 303})
    """Statuses that answers may have."""

    def __post_init__(self) -> None:
        """Listen to what the browser says."""
        self.page.on("console", lambda said: self.wrong.append(said.text) if said.type in {"error", "warning"} else None)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("request", self._asked)
        self.page.on("response", self._answered)

    def _asked(self, request: Request) -> None:
        if not request.url.startswith((f"{self.home}/", "blob:", "data:")):
            self.wrong.append(f"asks {request.url}")

    def _answered(self, response: Response) -> None:
        if response.status not in self.expected:
            self.wrong.append(f"{response.status} {response.url}")

    def go(self, address: str) -> None:
        """Open an address of the page."""
        self.page.goto(self.home + address)

    def tap(self, what: Locator) -> None:
        """Tap once."""
        what.scroll_into_view_if_needed()
        what.click()
        self.taps += 1

    def button(self, name: str) -> None:
        """Tap a button or a link by its name."""
        button = self.page.get_by_role("button", name=name, exact=True)
        self.tap(button if button.count() else self.page.get_by_role("link", name=name, exact=True).first)

    def write(self, name: str, text: str) -> None:
        """Tap into a field, if something else stands there, and type."""
        place = self.page.locator(f"[name={name}]").first
        if place.input_value() != text:
            self.taps += 1
            self.letters += len(text)
            place.fill(text)

    def choose(self, name: str, value: str) -> None:
        """Choose of a list: a tap to open it, a tap on what is meant, unless it stands there already."""
        place = self.page.locator(f"select[name={name}]")
        if place.input_value() != value:
            self.taps += 2
            place.select_option(value)

    def photograph(self, *names: str) -> None:
        """Take photos as good as the samples: open the page, one tap to the camera or the gallery, a shot or tap each."""
        self.go("/photograph")
        self.taps += 1 + len(names)
        self.page.set_input_files("#gallery", [PHOTOS / name for name in names])
