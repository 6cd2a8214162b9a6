"""Text from anywhere: a board's file, a table of boards, a plan; taken in whole or refused in a sentence."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from campaign import fill, run, said_badly
from hostile_text import KINDS, tried

CASES = 200


def test_no_text_brings_the_program_down(tmp_path: Path) -> None:
    """Of files changed at random each is taken in and can be taken back, or is refused and the logbook stays as it was.

    The campaign of docs/reliability.md goes on from here with many times as many.
    """
    log = fill(tmp_path)
    came = []
    for number in range(CASES):
        what, wrong = tried(number, log)
        assert not wrong, f"case {number}"
        came.append(what)
    assert min(came.count("taken in"), came.count("refused")) > CASES / 10


@pytest.mark.parametrize("value", ["9" * 400, "[2, " + "9" * 400 + "]", "inf", "nan"])
@pytest.mark.parametrize("name", ["recoat_h", "waste", "ready_h"])
def test_a_number_nobody_can_reckon_with_is_refused(name: str, value: str, tmp_path: Path) -> None:
    """A number of any length, endless or none at all, in a plan is told with its place and code 2."""
    text, commands = KINDS["stair.toml"]
    file = tmp_path / "stair.toml"
    file.write_text(re.sub(rf"^{name} = [^#\n]*", f"{name} = {value} ", text, flags=re.MULTILINE), encoding="utf-8")
    result = run(tmp_path / "log", *(str(file) if word == "FILE" else word for word in commands[0]))
    assert (result.exit_code, said_badly(result), name in result.stderr) == (2, None, True), result.output


@pytest.mark.parametrize("name", KINDS)
def test_the_files_are_well_before_they_are_changed(name: str, tmp_path: Path) -> None:
    """Each file is taken by every command it is given to: else the cases would say nothing."""
    log = fill(tmp_path)
    text, commands = KINDS[name]
    (tmp_path / name).write_text(text, encoding="utf-8")
    for words in commands:
        result = run(log, *(str(tmp_path / name) if word == "FILE" else word for word in words))
        assert result.exit_code == 0, result.output
