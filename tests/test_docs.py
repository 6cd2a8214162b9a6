"""The documents keep up with the code: made pages are fresh, links lead somewhere, the README says what is run."""

from __future__ import annotations

import importlib.util
import pkgutil
import re
from pathlib import Path
from types import ModuleType
from typing import Final

import pytest

from finishlab.quality import DOUBTS

ROOT: Final = Path(__file__).parents[1]
FOLDERS: Final = ("docs", "finishlab", "sample_photos")
PAGES: Final = sorted([*ROOT.glob("*.md"), *(page for name in FOLDERS for page in (ROOT / name).rglob("*.md"))])

SET_UP_LINES: Final = (
    "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/finishlab demo",
    "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest",
)


def build_reference() -> ModuleType:
    """Load docs/build_reference.py, which is a script outside the package."""
    spec = importlib.util.spec_from_file_location("build_reference", ROOT / "docs" / "build_reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def name_of(path: Path) -> str:
    """Return a page's path from the root."""
    return path.relative_to(ROOT).as_posix()


def anchors(page: Path) -> set[str]:
    """Return the anchors a page's headings get."""
    headings = re.findall(r"^#+ +(.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", ["commands.md", "doubts.md", "decisions/README.md", "logbook.schema.json"])
def test_made_pages_are_fresh(page: str) -> None:
    """A page made from the code says what the code says now; if not, run ``python docs/build_reference.py``."""
    assert (ROOT / "docs" / page).read_text(encoding="utf-8") == build_reference().PAGES[page]()


def test_every_command_is_documented() -> None:
    """Every command of the tool has its heading in docs/commands.md, and a help text of its own."""
    page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    found = {path: command for path, command, _ in build_reference().commands()}
    assert found.keys() >= {"finishlab strip", "finishlab measure", "finishlab board add", "finishlab rank"}
    for path, command in found.items():
        assert f"\n## `{path}`\n" in page
        assert command.help, f"{path} has no help text"


def test_every_option_says_what_it_is() -> None:
    """Every option of every command has a help text."""
    silent = [
        f"{path} {parameter.name}"
        for path, command, _ in build_reference().commands()
        for parameter in command.params
        if parameter.param_type_name == "option" and not getattr(parameter, "help", None)
    ]
    assert not silent


def test_every_doubt_is_documented() -> None:
    """Every kind of doubt has its line in docs/doubts.md."""
    page = (ROOT / "docs" / "doubts.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `([a-z-]+)` \|", page, re.MULTILINE)) == set(DOUBTS)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_lead_somewhere(page: Path) -> None:
    """Every relative link of a page leads to a file that is there, and to a heading that is in it."""
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    links = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'(?:src|href)="([^"]+)"', text)
    for link in links:
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        target = (page.parent / path).resolve() if path else page
        assert target.exists(), f"{link} leads nowhere"
        assert target.is_relative_to(ROOT), f"{link} leads out of the project"
        if anchor:
            assert anchor in anchors(target), f"{link}: no such heading"


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_files_named_in_text_are_there(page: Path) -> None:
    """A path of ours written as code in a page, such as `finishlab/measure/flow.py`, exists."""
    for path in re.findall(r"`((?:finishlab|tests|docs|\.ci)/[\w./-]+)`", page.read_text(encoding="utf-8")):
        assert (ROOT / path).exists(), f"{path} is not there"


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_names_in_text_are_there(page: Path) -> None:
    """A dotted name written as code in a page, such as `finishlab.imaging.finder.find_strip`, can be imported."""
    for name in sorted(set(re.findall(r"`(finishlab(?:\.[A-Za-z]\w*)+)`", page.read_text(encoding="utf-8")))):
        assert pkgutil.resolve_name(name) is not None


@pytest.mark.parametrize("line", SET_UP_LINES)
@pytest.mark.parametrize("page", ["README.md", ".ci/run"])
def test_set_up_lines_are_the_ones_that_are_run(page: str, line: str) -> None:
    """Both set-up lines stand, letter for letter, in the README and in the script that checks every change."""
    assert line in (ROOT / page).read_text(encoding="utf-8")


def test_decisions_are_numbered() -> None:
    """Decisions are numbered without a gap, in the file's name and in its title."""
    pages = sorted((ROOT / "docs" / "decisions").glob("[0-9]*.md"))
    assert len(pages) >= 3
    for number, page in enumerate(pages, start=1):
        assert page.name.startswith(f"{number:04d}-")
        assert page.read_text(encoding="utf-8").startswith(f"# {number}. ")
