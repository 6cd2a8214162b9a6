"""Every constant without a source is in the table of guesses; `test_accuracy_page` shows that one is felt."""

from __future__ import annotations

import ast
import importlib
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Final

import pytest
from accuracy_guesses import GUESSES, WORDS_ONLY, Guess

import finishlab

PACKAGE: Final = Path(finishlab.__file__).parent
ROOMS: Final = ("colorimetry", "imaging", "measure", "matching")
"""The rooms in which figures of colours are made."""
MARK: Final = "practice, no source"


def marked() -> Iterator[tuple[str, str]]:
    """Yield module and name of every constant whose docstring says that it has no source."""
    for room in ROOMS:
        for path in sorted((PACKAGE / room).rglob("*.py")):
            body = ast.parse(path.read_text(encoding="utf-8")).body
            for one, two in pairwise(body):
                text = two.value.value if isinstance(two, ast.Expr) and isinstance(two.value, ast.Constant) else ""
                if (
                    isinstance(one, ast.AnnAssign)
                    and isinstance(one.target, ast.Name)
                    and MARK in " ".join(str(text).split())
                ):
                    module = ".".join(("finishlab", *path.relative_to(PACKAGE).with_suffix("").parts))
                    yield module, one.target.id


def test_every_constant_without_a_source_is_listed() -> None:
    """Each one is either varied, or named as one that only decides what is said."""
    listed = {(guess.module, guess.name) for guess in GUESSES} | set(WORDS_ONLY)
    assert set(marked()) <= listed


@pytest.mark.parametrize("guess", GUESSES, ids=lambda guess: guess.what)
def test_guess_is_there(guess: Guess) -> None:
    """A guess names a constant that is there, and two other values of the same shape."""
    value = importlib.import_module(guess.module)
    for step in guess.name.split("."):
        value = getattr(value, step)
    for other in guess.others:
        assert other != value
        assert type(other) is type(value)
        assert not isinstance(other, tuple) or len(other) == len(value)
