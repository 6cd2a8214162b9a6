"""Files from anywhere: each is read or refused with a code, soon, and none brings the program down."""

from __future__ import annotations

from pathlib import Path

import pytest
from hostile_photos import corpus, hostile, outcome

CASES = 1000
BLOCK = 250


@pytest.mark.parametrize("first", range(0, CASES, BLOCK))
def test_no_file_brings_the_program_down(first: int, tmp_path: Path) -> None:
    """Of the corpus and its mutations every file is read or refused with a code, within ten seconds.

    The campaign of docs/reliability.md goes on from here with twenty times as many.
    """
    for number in range(first, first + BLOCK):
        name, data = hostile(number)
        found = outcome(data, tmp_path)
        assert not found.startswith(("unforeseen", "hung")), f"{name}: {found}"


def test_what_people_have_is_read(tmp_path: Path) -> None:
    """The whole files of the corpus are read, the odd ones refused with the code that fits."""
    told = {name: outcome(data, tmp_path) for name, data in corpus().items()}
    for name in ("jpeg", "progressive", "png", "tiff", "packed tiff", "webp", "heic", "raw", "grey", "two at once"):
        assert told[name] == "read", name
    assert told["press colours"] == "cmyk"
    assert told["a page that is a photo"] == "not-a-photo"
    assert told["huge by its head"] == told["ninety by ninety thousand"] == "photo-too-large"
    assert told["nothing but a head"] == "photo-truncated"
