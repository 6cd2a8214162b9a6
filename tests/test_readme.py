"""The README for the person with the stair: short, in the right order, and every line works where it is pasted."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from build_readme import PASTED, README, ROOT, SHOWN, TASKS, Ran, counted, paste, pasted_lines, prepare, shape

MOST_WORDS = 900
LOGGING = ("strip", "floor", "board", "rank")


@pytest.fixture(scope="module")
def page() -> str:
    """The README."""
    return README.read_text(encoding="utf-8")


def table_lines(page: str) -> list[str]:
    """Return the whole commands that stand in the README's table of what comes after the choice."""
    rows = re.findall(r"^\|.*\|$", page, re.MULTILINE)
    return [command for row in rows for command in re.findall(r"`(finishlab [^`]*)`", row)]


@pytest.fixture(scope="module")
def hour(page: str, tmp_path_factory: pytest.TempPathFactory) -> list[Ran]:
    """Paste the README's lines, one after another, in a clean folder with the sample photos and the environment."""
    folder = tmp_path_factory.mktemp("first-hour")
    prepare(folder)
    return paste([*pasted_lines(page), *table_lines(page)], folder)


def hour_of(hour: list[Ran], command: str) -> str:
    """Return what the line that begins so printed."""
    (output,) = (each.output for each in hour if each.line.startswith(command))
    return output


def test_the_first_hour_works_to_the_end(page: str, hour: list[Ran]) -> None:
    """Every line is run and none fails, from the strip to the answer; so are the commands for what comes after it."""
    failed = [each for each in hour if each.code]
    assert not failed, failed
    assert [each.line for each in hour] == [*pasted_lines(page), *table_lines(page)]
    assert len(table_lines(page)) >= 10
    assert "mix, 2 coats" in hour_of(hour, "finishlab rank").splitlines()[0]


def test_what_the_readme_shows_is_what_is_printed(page: str, hour: list[Ran]) -> None:
    """The output beneath a block is what its lines print; if not, run ``python docs/build_readme.py``."""
    left = iter(hour)
    shown = 0
    for block in PASTED.finditer(page):
        ran = [next(left) for line in block[1].splitlines() if line.strip()]
        if block[2] is not None:
            shown += 1
            assert shape(block[2]) == shape("\n".join(each.output for each in ran if each.output))
    assert shown >= 1


def test_six_boards_take_five_commands(page: str, hour: list[Ran]) -> None:
    """From the page to print to the answer there are at most five commands."""
    typed = [line for line in pasted_lines(page) if line.split()[0] == "finishlab" and line.split()[1] in LOGGING]
    assert typed[0].startswith("finishlab strip --output")
    assert typed[-1] == "finishlab rank"
    assert len(typed) <= 5
    assert len(re.findall(r"^ +board-\S+ +cherry; ", hour_of(hour, "finishlab board add"), re.MULTILINE)) == 6


def test_it_is_short_and_the_cautions_come_before_the_code(page: str) -> None:
    """The README has 900 words at most, and says what can hurt and what it cannot do before how to test or program."""
    assert len(page.split()) <= MOST_WORDS
    places = [page.index(words) for words in ("## Cautions", "## What it cannot do", "'.[test]'")]
    assert places == sorted(places)


def test_names_in_the_readme_are_there(page: str) -> None:
    """Photos that are named lie in the project: braces and all, as the shell reads them."""
    names = re.findall(r"sample_photos/\S+\.(?:jpg|heic|csv)", page)
    done = subprocess.run(
        ["/usr/bin/env", "bash", "-c", f"ls {' '.join(names)}"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert names
    assert done.returncode == 0, done.stderr


def test_the_lengths_of_the_tasks_are_counted() -> None:
    """Each of the five tasks has one command, what it prints, and its true length in lines and words."""
    text = TASKS.read_text(encoding="utf-8")
    blocks = list(SHOWN.finditer(text))
    assert len(blocks) == len(re.findall(r"^## ", text, re.MULTILINE)) == 5
    for block in blocks:
        assert (block[3] or "").strip() == counted(block[2].rstrip("\n"))


def test_pasting_ends_where_a_line_fails(tmp_path: Path) -> None:
    """A line that fails ends the pasting, and its code is told."""
    ran = paste(["true", "false", "touch never"], tmp_path)
    assert [each.code for each in ran] == [0, 1]
    assert not (tmp_path / "never").exists()
