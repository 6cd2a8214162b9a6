"""The documents keep up with the code: made pages are fresh, links lead somewhere, the README says what is run."""

from __future__ import annotations

import pkgutil
import re
import tomllib
from itertools import chain
from pathlib import Path
from typing import Final

import pytest
from build_readme import shown_commands
from build_reference import PAGES as MADE
from build_reference import commands

from finishlab.quality import DOUBTS

ROOT: Final = Path(__file__).parents[1]
FOLDERS: Final = ("docs", "finishlab", "sample_photos")
PAGES: Final = sorted([*ROOT.glob("*.md"), *(page for name in FOLDERS for page in (ROOT / name).rglob("*.md"))])

SET_UP_LINES: Final = (
    "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/finishlab demo",
    "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest",
)


def anchors(page: Path) -> set[str]:
    """Return the anchors a page's headings get."""
    headings = re.findall(r"^#+ +(.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", sorted(MADE))
def test_made_pages_are_fresh(page: str) -> None:
    """A page made from the code says what the code says now; if not, run ``python docs/build_reference.py``."""
    assert (ROOT / "docs" / page).read_text(encoding="utf-8") == MADE[page]()


def test_every_command_is_documented() -> None:
    """Every command of the tool has its heading in docs/commands.md, and a help text of its own."""
    page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    found = {path: command for path, command, _ in commands()}
    assert found.keys() >= {"finishlab strip", "finishlab measure", "finishlab board add", "finishlab rank"}
    for path, command in found.items():
        assert f"\n## `{path}`\n" in page
        assert command.help, f"{path} has no help text"


def test_every_option_says_what_it_is() -> None:
    """Every option of every command has a help text."""
    silent = [
        f"{path} {parameter.name}"
        for path, command, _ in commands()
        for parameter in command.params
        if parameter.param_type_name == "option" and not getattr(parameter, "help", None)
    ]
    assert not silent


def test_every_doubt_is_documented() -> None:
    """Every kind of doubt has its line in docs/doubts.md."""
    page = (ROOT / "docs" / "doubts.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `([a-z-]+)` \|", page, re.MULTILINE)) == set(DOUBTS)


def test_links_lead_somewhere() -> None:
    """Every relative link of a page leads to a file of the project that is there, and to a heading that is in it."""
    wrong = []
    for page in PAGES:
        text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        links = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'(?:src|href)="([^"]+)"', text)
        for link in links:
            path, _, anchor = link.partition("#")
            target = (page.parent / path).resolve() if path else page
            if re.match(r"[a-z]+:", link):
                continue
            if not target.exists() or not target.is_relative_to(ROOT) or (anchor and anchor not in anchors(target)):
                wrong.append(f"{page}: {link}")
    assert not wrong


def test_what_is_named_in_text_is_there() -> None:
    """What a page names as code is there: a path such as `finishlab/measure/flow.py`, a dotted name of the package."""
    wrong = []
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        paths = re.findall(r"`((?:finishlab|tests|docs|\.ci)/[\w./-]+)`", text)
        wrong += [f"{page}: {path}" for path in paths if not (ROOT / path).exists()]
        for name in sorted(set(re.findall(r"`(finishlab(?:\.[A-Za-z]\w*)+)`", text))):
            assert pkgutil.resolve_name(name) is not None
    assert not wrong


@pytest.mark.parametrize("line", SET_UP_LINES)
@pytest.mark.parametrize("page", ["README.md", ".ci/run"])
def test_set_up_lines_are_the_ones_that_are_run(page: str, line: str) -> None:
    """Both set-up lines stand, letter for letter, in the README and in the script that checks every change."""
    assert line in (ROOT / page).read_text(encoding="utf-8")


def test_decisions_are_numbered() -> None:
    """Each decision has a number of its own, in the file's name and in its title."""
    pages = sorted((ROOT / "docs" / "decisions").glob("[0-9]*.md"))
    assert len(pages) >= 3
    numbers = [int(page.name[:4]) for page in pages]
    assert len(set(numbers)) == len(numbers)
    for number, page in zip(numbers, pages, strict=True):
        assert page.read_text(encoding="utf-8").startswith(f"# {number}. ")


def test_the_whole_job_shows_what_each_command_printed() -> None:
    """Each command of the walk through a whole job stands with what it printed, and none of them failed."""
    shown = list(shown_commands((ROOT / "docs" / "whole-job.md").read_text(encoding="utf-8")))
    assert len(shown) > 20
    for command, output in shown:
        assert output, command
        assert "Error:" not in output, command


def test_every_dependency_says_what_it_is_for() -> None:
    """The page of dependencies names each one of pyproject with its bound, a purpose and megabytes; the lock has it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [*project["dependencies"], *chain.from_iterable(project["optional-dependencies"].values())]
    bounds = dict(each.split(">=") for each in asked if not each.startswith("finishlab["))
    rows = re.findall(
        r"^\| ([\w-]+) \| ([\d.]+) \| (.{5,}?) \| ([\d.]+) \|",
        (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8"),
        re.MULTILINE,
    )
    assert {name: bound for name, bound, *_ in rows} == bounds
    lists = (ROOT / ".ci" / "locked.txt", ROOT / ".ci" / "locked-dev.txt")
    lines = "".join(each.read_text(encoding="utf-8") for each in lists)
    locked = re.findall(r"^([\w.-]+)==([\d.]+) --hash=sha256:[0-9a-f]{64}$", lines, re.MULTILINE)
    versions = dict(locked)
    for name, bound in bounds.items():
        assert [int(n) for n in versions[name].split(".")] >= [int(n) for n in bound.split(".")], name
