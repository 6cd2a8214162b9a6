"""Run the commands that README.md and docs/questions.md show; put what they print, and the pictures, in their places.

Run ``python docs/build_readme.py`` when an output has changed. Commands run in a scratch folder that holds the sample
photos and the demo's logbook; nothing else of the README is touched.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

import pypdfium2
from PIL import Image

ROOT: Final = Path(__file__).parents[1]
README: Final = ROOT / "README.md"
QUESTIONS: Final = ROOT / "docs" / "questions.md"
PICTURES: Final = ROOT / "docs" / "pictures"
COLUMNS: Final = 100
BLOCK: Final = re.compile(r"```console\n(\$ [^\n]*)\n.*?```", re.DOTALL)


def run(command: str, folder: Path, logbook: str = "logbook") -> str:
    """Run one finishlab command and return what it prints, talk and results as they come."""
    words = shlex.split(command)
    if words[0] != "finishlab":
        raise ValueError(f"not one of ours: {command}")
    settings = os.environ | {"COLUMNS": str(COLUMNS), "FINISHLAB_LOGBOOK": str(folder / logbook), "NO_COLOR": "1"}
    done = subprocess.run(  # noqa: S603 - a command of our own README
        [sys.executable, "-m", "finishlab.cli", *words[1:]],
        cwd=folder,
        env=settings,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=True,
    )
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()).strip("\n")


def with_output(page: str, folder: Path, logbook: str = "logbook") -> str:
    """Return a page with each shown command's output beneath it."""

    def shown(block: re.Match[str]) -> str:
        output = run(block[1].removeprefix("$ "), folder, logbook)
        return f"```console\n{block[1]}\n{output}\n```" if output else f"```console\n{block[1]}\n```"

    return BLOCK.sub(shown, page)


def draw_check_picture(folder: Path) -> None:
    """Draw what was measured in a photo of board and floor."""
    run("finishlab measure board-mix-two-coats.jpg --field both --save-picture check.png", folder)
    with Image.open(folder / "check.png") as picture:
        small = picture.convert("RGB")
    small.thumbnail((1200, 1200))
    small.save(PICTURES / "check-picture.jpg", quality=85, optimize=True)


def draw_strip(folder: Path) -> None:
    """Draw the page that `finishlab strip` prints."""
    run("finishlab strip --output strip-1043.pdf --number 1043", folder)
    document = pypdfium2.PdfDocument(folder / "strip-1043.pdf")
    page = document[0].render(scale=1.6).to_pil().convert("L")
    document.close()
    page.quantize(16).save(PICTURES / "strip.png", optimize=True)


def draw_page(folder: Path) -> None:
    """Draw the top of the demo's page as a browser shows it, where there is a browser."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    pages = sorted((folder / "demo").glob("*.html"))
    if browser is None or not pages:
        print("docs/pictures/page.png is left as it is: no browser, or no page")
        return
    target = folder / "page.png"
    subprocess.run(  # noqa: S603 - the browser of this machine, on a page just made
        [
            browser,
            "--headless",
            "--no-sandbox",
            "--hide-scrollbars",
            "--window-size=1000,1300",
            f"--screenshot={target}",
            pages[0].as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    with Image.open(target) as picture:
        picture.convert("RGB").quantize(128).save(PICTURES / "page.png", optimize=True)


def main() -> None:
    """Write both pages and the pictures."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for photo in (ROOT / "sample_photos").iterdir():
            shutil.copy(photo, folder)
        run("finishlab demo --into demo", folder)
        README.write_text(with_output(README.read_text(encoding="utf-8"), folder), encoding="utf-8")
        QUESTIONS.write_text(with_output(QUESTIONS.read_text(encoding="utf-8"), folder, "demo"), encoding="utf-8")
        draw_check_picture(folder)
        draw_strip(folder)
        draw_page(folder)


if __name__ == "__main__":
    main()
