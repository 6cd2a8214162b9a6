"""Run the commands that README.md and the pages of docs/ show; put what they print in its place.

Run ``python docs/build_readme.py`` when an output has changed. The README's lines are run one after another as somebody
would paste them, in a folder that holds the sample photos, the environment and the demo; `tests/test_readme.py` runs
them too. The pages of docs/ show commands on the demo's logbook. The pictures are drawn anew as well.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pypdfium2
from PIL import Image

ROOT: Final = Path(__file__).parents[1]
README: Final = ROOT / "README.md"
QUESTIONS: Final = ROOT / "docs" / "questions.md"
TASKS: Final = ROOT / "docs" / "tasks.md"
WHOLE_JOB: Final = ROOT / "docs" / "whole-job.md"
PICTURES: Final = ROOT / "docs" / "pictures"
DEMO: Final = "finishlab-demo"
COLUMNS: Final = 80
"""Of the terminal that README and tasks are shown on; the questions are answered on a wider one."""
WIDE: Final = 100
PASTED: Final = re.compile(r"```sh\n(.*?)```(?:\n\n```text\n(.*?)```)?", re.DOTALL)
"""A block to paste, and what it prints where that is shown."""
SHOWN: Final = re.compile(r"```console\n(\$ [^\n]*)\n(.*?)```(\n\n\*\d+ lines?, \d+ words\.\*)?", re.DOTALL)
"""A command with what it prints, and how long that is where it is counted."""


@dataclass(frozen=True, slots=True)
class Ran:
    """One line that was run, and what came of it."""

    line: str
    code: int
    output: str


def clean(output: str) -> str:
    """Return an output without spaces at the ends of lines and empty lines around it."""
    return "\n".join(line.rstrip() for line in output.splitlines()).strip("\n")


def shape(text: str) -> str:
    """Return a text without its figures, which another machine may round another way, and on one line."""
    return re.sub(r"[-+]?\d+(\.\d+)?", "#", " ".join(text.split()))


# -- lines that are pasted


def pasted_lines(page: str) -> list[str]:
    """Return the lines of a page that somebody would paste, in order."""
    return [line for block in PASTED.finditer(page) for line in block[1].splitlines() if line.strip()]


def prepare(folder: Path) -> None:
    """Make a folder as it is after the README's first line but for the demo: the photos, and the environment."""
    (folder / "sample_photos").symlink_to(ROOT / "sample_photos")
    (folder / ".venv").symlink_to(sys.prefix)


def paste(lines: Sequence[str], folder: Path) -> list[Ran]:
    """Run lines one after another in one shell, which is no terminal; the first that fails is the last that is run."""
    said = [folder / f".said-{number}" for number in range(len(lines))]
    script = "".join(f"{{ {line}\n}} >{name} 2>&1 || exit\n" for line, name in zip(lines, said, strict=True))
    kept = {name: value for name, value in os.environ.items() if not name.startswith("FINISHLAB_")}
    done = subprocess.run(  # noqa: S603 - lines of our own README
        ["/usr/bin/env", "bash", "-c", script],
        cwd=folder,
        env=kept | {"COLUMNS": str(COLUMNS), "NO_COLOR": "1", "HOME": str(folder)},
        stdin=subprocess.DEVNULL,
        check=False,
    )
    outputs = [name.read_text(encoding="utf-8") for name in said if name.exists()]
    codes = [0] * (len(outputs) - 1) + [done.returncode]
    return [Ran(*each) for each in zip(lines, codes, map(clean, outputs), strict=False)]


def with_pasted(page: str, ran: Sequence[Ran]) -> str:
    """Return a page with what its pasted lines printed, where it shows that."""
    left = iter(ran)

    def filled(block: re.Match[str]) -> str:
        lines = [line for line in block[1].splitlines() if line.strip()]
        output = "\n".join(each.output for each in [next(left) for _ in lines] if each.output)
        shown = "" if block[2] is None else f"\n\n```text\n{output}\n```"
        return f"```sh\n{block[1]}```{shown}"

    return PASTED.sub(filled, page)


# -- commands that are shown with what they print


def shown_commands(page: str) -> Iterator[tuple[str, str]]:
    """Yield each command that a page shows, and what it says the command prints."""
    for block in SHOWN.finditer(page):
        yield block[1].removeprefix("$ "), block[2].rstrip("\n")


def with_shown(page: str, run: Callable[[str], str]) -> str:
    """Return a page with each shown command's output beneath it, counted where it was."""

    def filled(block: re.Match[str]) -> str:
        output = run(block[1].removeprefix("$ "))
        body = f"```console\n{block[1]}\n{output}\n```" if output else f"```console\n{block[1]}\n```"
        return body if block[3] is None else f"{body}\n\n{counted(output)}"

    return SHOWN.sub(filled, page)


def counted(output: str) -> str:
    """Return how long an output is, as a page says it."""
    lines = len(output.splitlines())
    return f"*{lines} line{'' if lines == 1 else 's'}, {len(output.split())} words.*"


def run_on(logbook: Path, folder: Path, columns: int = COLUMNS) -> Callable[[str], str]:
    """Return what runs one command of ours on a logbook and gives what it prints, talk and results as they come."""

    def run(command: str) -> str:
        words = shlex.split(command)
        if words[0] != "finishlab":
            raise ValueError(f"not one of ours: {command}")
        done = subprocess.run(  # noqa: S603 - a command of our own pages
            [sys.executable, "-m", "finishlab.cli", *words[1:]],
            cwd=folder,
            env=os.environ | {"COLUMNS": str(columns), "FINISHLAB_LOGBOOK": str(logbook), "NO_COLOR": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=True,
        )
        return clean(done.stdout)

    return run


# -- pictures


def draw_check_picture(run: Callable[[str], str], folder: Path) -> None:
    """Draw what was measured in a photo of board and floor."""
    run("finishlab measure sample_photos/board-mix-two-coats.jpg --field both --save-picture check.png")
    with Image.open(folder / "check.png") as picture:
        small = picture.convert("RGB")
    small.thumbnail((1200, 1200))
    small.save(PICTURES / "check-picture.jpg", quality=85, optimize=True)


def draw_strip(run: Callable[[str], str], folder: Path) -> None:
    """Draw the page that `finishlab strip` prints."""
    run("finishlab strip --output strip-1043.pdf --number 1043")
    document = pypdfium2.PdfDocument(folder / "strip-1043.pdf")
    page = document[0].render(scale=1.6).to_pil().convert("L")
    document.close()
    page.quantize(16).save(PICTURES / "strip.png", optimize=True)


def draw_page(folder: Path) -> None:
    """Draw the top of the demo's page as a browser shows it, where there is a browser."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    pages = sorted((folder / DEMO).glob("*.html"))
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
    """Write the pages and the pictures."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        prepare(folder)
        run = run_on(folder / DEMO, folder)
        run(f"finishlab demo --into {DEMO}")
        readme = README.read_text(encoding="utf-8")
        ran = paste(pasted_lines(readme), folder)
        if ran[-1].code:
            raise SystemExit(f"{ran[-1].line}\n{ran[-1].output}")
        README.write_text(with_pasted(readme, ran), encoding="utf-8")
        # The tasks look at what the questions' page logs first.
        for page, columns in ((QUESTIONS, WIDE), (TASKS, COLUMNS)):
            shown = with_shown(page.read_text(encoding="utf-8"), run_on(folder / DEMO, folder, columns))
            page.write_text(shown, encoding="utf-8")
        # The whole job begins with nothing logged.
        job = with_shown(WHOLE_JOB.read_text(encoding="utf-8"), run_on(folder / "job", folder))
        WHOLE_JOB.write_text(job, encoding="utf-8")
        draw_check_picture(run, folder)
        draw_strip(run, folder)
        draw_page(folder)


if __name__ == "__main__":
    main()
