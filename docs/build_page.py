"""Photograph every page of `finishlab page` into docs/pictures/page; count taps, letters, seconds for docs/page.md.

Run ``python docs/build_page.py`` when the pages look otherwise; about three minutes. The pictures are taken by the
browser's tests (`tests/test_page_browser.py`), the taps are those of `tests/page_walk.py`. ``--figures`` counts only.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PIL import Image

ROOT: Final = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from page_walk import PHONE, PHOTOS, Person, browser, enter_stair, log_coat, pair, photograph, served  # noqa: E402

PAGE: Final = ROOT / "docs" / "page.md"
PICTURES: Final = ROOT / "docs" / "pictures" / "page"
WIDTHS: Final = {"phone": 390, "laptop": 600}
"""Pixels across of the pictures that are kept."""
TALLEST: Final = 700
QUALITY: Final = 24
"""Of WebP; what is written stays readable, and all pictures stay below 600 kB."""
TAP: Final = 1.1
LETTER: Final = 0.28
"""Seconds a person takes to point, and to type a letter, by the keystroke-level model (Card, Moran and Newell, The
Keystroke-Level Model for User Performance Time with Interactive Systems, 1980; average typist; from memory)."""


@dataclass(frozen=True, slots=True)
class Counted:
    """What one job takes."""

    taps: int
    letters: int
    machine: float
    """Seconds until all is answered, the person's own time left out."""

    @property
    def seconds(self) -> float:
        """With the person's own time as the keystroke-level model has it."""
        return self.taps * TAP + self.letters * LETTER + self.machine


def on_page(person: Person, work: Callable[[], None]) -> Counted:
    """Count a job that begins at the opened start page."""
    person.go("/")
    taps, letters, start = person.taps, person.letters, time.perf_counter()
    work()
    # One more tap: from the start page to the page of the work.
    return Counted(person.taps - taps + 1, person.letters - letters, time.perf_counter() - start)


def on_command_line(folder: Path, line: str) -> Counted:
    """Count the same job on the command line, in the folder the photos were carried to; Return is a letter too."""
    words = shlex.split(line)
    start = time.perf_counter()
    command = [sys.executable, "-m", "finishlab.cli", "--logbook", str(folder), *words[1:]]
    subprocess.run(command, check=True, cwd=folder.parent, capture_output=True)  # noqa: S603 - a line of LINES
    return Counted(0, len(line) + 1, time.perf_counter() - start)


WOOD: Final = {"species": "red oak", "stain": "walnut", "coats": "1"}
FIRST, NEXT = "board-walnut-one-coat.jpg", "board-mix-two-coats.jpg"
LINES: Final = {
    "the first board": f"finishlab board add {FIRST} --species 'red oak' --stain walnut --coats 1",
    "the next board": f"finishlab board add {NEXT} --like B1 --stain 'walnut and honey' --coats 2",
    "a coat on three treads": "finishlab stairs log treads 1-3 topcoat",
}


def figures() -> str:
    """Return the table of what each job takes, on the page and on the command line."""
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        for name in (FIRST, NEXT):
            (folder / name).write_bytes((PHOTOS / name).read_bytes())
        found: dict[str, tuple[Counted, Counted]] = {}
        with served(folder / "page") as at, browser() as chromium:
            person = Person(chromium.new_context(**PHONE, locale="en").new_page(), at.address)
            pair(person, at)
            photograph(person, ["floor-middle-of-the-hall.jpg"], "floor", {"spot": "hall"})
            enter_stair(person)
            jobs: dict[str, Callable[[], None]] = {
                "the first board": lambda: photograph(person, [FIRST], "board", WOOD),
                "the next board": lambda: photograph(
                    person, [NEXT], "board", {"stain": "walnut and honey", "coats": "2"}
                ),
                "a coat on three treads": lambda: log_coat(person, "topcoat", ["1.T1", "1.T2", "1.T3"]),
            }
            on_command_line(folder / "lines", "finishlab stairs add 5 --tread 914x292x27")
            for name, work in jobs.items():
                found[name] = on_page(person, work), on_command_line(folder / "lines", LINES[name])
    rows = ["| | taps | letters | seconds of the machine | seconds in all |", "|---|---|---|---|---|"]
    for name, both in found.items():
        for where, one in zip(("page", "command line"), both, strict=True):
            rows.append(f"| {name}, {where} | {one.taps} | {one.letters} | {one.machine:.1f} | {one.seconds:.0f} |")
    lines = "\n".join(LINES.values())
    return (
        "\n".join(rows)
        + f"\n\nOn the command line that was, the photos carried to the computer before:\n\n```sh\n{lines}\n```"
    )


def pictures() -> str:
    """Take the pictures by the tests, keep them small, and return a list of them."""
    with tempfile.TemporaryDirectory() as taken:
        command = [sys.executable, "-m", "pytest", "-q", "-n0", "tests/test_page_browser.py"]
        there = {**os.environ, "FINISHLAB_PAGE_PICTURES": taken}
        subprocess.run(command, check=True, cwd=ROOT, env=there)  # noqa: S603 - our own tests
        return keep(Path(taken))


def keep(taken: Path) -> str:
    """Put pictures that were taken into the place of the old ones; return a list of them."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    for old in PICTURES.glob("*.webp"):
        old.unlink()
    for path in sorted(taken.glob("*.png")):
        width = WIDTHS[path.stem.rpartition("-")[2]]
        with Image.open(path) as picture:
            small = picture.convert("RGB").resize((width, round(picture.height * width / picture.width)))
        cut = small.crop((0, 0, width, min(small.height, TALLEST)))
        cut.save(PICTURES / f"{path.stem}.webp", quality=QUALITY, method=6)
    both = "- {0}: [phone](pictures/page/{0}-phone.webp), [laptop](pictures/page/{0}-laptop.webp)"
    return "\n".join(
        both.format(name) for name in sorted({path.stem.rpartition("-")[0] for path in taken.glob("*.png")})
    )


def put(name: str, text: str) -> None:
    """Put a text between its marks in docs/page.md."""
    before = PAGE.read_text(encoding="utf-8")
    mark = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
    PAGE.write_text(mark.sub(lambda found: f"{found[1]}{text}\n{found[2]}", before), encoding="utf-8")


if __name__ == "__main__":
    put("figures", figures())
    if "--figures" not in sys.argv:
        put("pictures", pictures())
        size = sum(path.stat().st_size for path in PICTURES.glob("*.webp"))
        print(json.dumps({"pictures": len(list(PICTURES.glob("*.webp"))), "bytes": size}))
