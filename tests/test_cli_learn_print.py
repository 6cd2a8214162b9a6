"""``finishlab strip learn PHOTO...`` as a user types it: a print is learned from afar, kept, shown, drawn and used."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from conftest import Run
from PIL import Image
from strip_photo import PRINTS, Shot, pixels_of, true_lightness

from finishlab.imaging.strip import EYE_ROWS
from finishlab.show.sheets import POINTS_PER_MM

SAVING = PRINTS[5]


@pytest.fixture(scope="module")
def far(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a photo of a print that saves toner, taken from afar: the strip in the middle of a larger picture."""
    folder = tmp_path_factory.mktemp("far")
    strip = pixels_of(SAVING, Shot(rotation=6.0, jpeg=None))
    picture = np.full((900, 1500, 3), 120, dtype=np.uint8)
    picture[300 : 300 + strip.shape[0], 500 : 500 + strip.shape[1]] = strip
    Image.fromarray(picture).save(folder / "far.jpg", quality=92)
    return folder / "far.jpg"


def document(text: str) -> dict[str, Any]:
    """Return the JSON document on stdout."""
    found: dict[str, Any] = json.loads(text)
    return found


def test_the_papers_lightness_goes_with_a_photo(run: Run, far: Path) -> None:
    """``--white`` beside a photo from afar: the paper comes out as said, all levels nearer the truth, and surer."""
    truth = true_lightness(SAVING)
    assert run("strip", "learn", far).exit_code == 0
    (alone,) = document(run("strip", "show", 412, "--json").stdout)["strips"]
    done = run("strip", "learn", far, "--white", f"{truth[-1]:.2f}", "--json")
    assert done.exit_code == 0, done.stderr
    (told,) = document(done.stdout)["strips"]
    assert told["source"] == "screens"
    assert told["basis"][-1].startswith("7:")
    assert told["lightness"][-1] == pytest.approx(truth[-1], abs=0.1)
    assert max(told["standard_error"][1:]) < max(alone["standard_error"][1:])
    off = [np.sqrt(np.mean((np.array(each["lightness"]) - truth)[2:] ** 2)) for each in (alone, told)]
    assert off[1] < off[0]


def test_a_photo_from_afar_is_learned_kept_shown_and_drawn(run: Run, far: Path, tmp_path: Path) -> None:
    """Without options the strip of the photo is learned by its number; shown, it says what the print is like."""
    done = run("strip", "learn", far, "--save-picture", tmp_path / "print.svg")
    assert done.exit_code == 0, done.stderr
    assert "learned" in done.stderr
    assert "This print comes out" in done.stdout
    assert "Its black is pale" in done.stdout
    drawn = (tmp_path / "print.svg").read_text()
    assert drawn.startswith("<?xml")
    assert "In a usual print" in drawn
    shown = document(run("strip", "show", 412, "--json").stdout)
    assert shown["format"].startswith("finishlab/strip-greys/")
    assert shown["strips"][0]["number"] == 412
    assert "pale" in " ".join(shown["in_words"])
    assert len(shown["lightness"]) == len(shown["standard_error"]) == 8
    error = np.array(shown["lightness"]) - true_lightness(SAVING)
    assert np.all(np.abs(error) < 3.0 * np.array(shown["standard_error"]))
    assert shown["strips"][0]["source"] == "screens"
    picture = run("strip", "show", 412, "--save-picture", tmp_path / "print.png")
    assert picture.exit_code == 0
    assert (tmp_path / "print.png").read_bytes().startswith(b"\x89PNG")


def test_a_photo_without_a_strip_exits_with_4_and_keeps_nothing(run: Run, tmp_path: Path) -> None:
    """A photo without a strip is refused with its code, and the strip stays a usual print."""
    Image.new("RGB", (800, 600), (120, 120, 120)).save(tmp_path / "none.jpg")
    assert run("strip", "learn", tmp_path / "none.jpg").exit_code == 4
    assert run("strip", "show", 412).exit_code == 6


def test_photos_that_cannot_be_used_are_named_and_the_others_learned(run: Run, far: Path, tmp_path: Path) -> None:
    """Every photo is tried: the good one is learned, the other named with what is wrong, and its code returned."""
    Image.new("RGB", (800, 600), (120, 120, 120)).save(tmp_path / "none.jpg")
    done = run("strip", "learn", tmp_path / "none.jpg", far, "--json")
    assert done.exit_code == 4
    assert "none.jpg" in done.stderr
    assert document(done.stdout)["strips"][0]["number"] == 412


def test_the_eye_page_is_written_and_what_was_seen_is_learned(run: Run, tmp_path: Path) -> None:
    """The second page is written beside the strip; steps typed from it are learned."""
    page = tmp_path / "eye.pdf"
    done = run("strip", "--output", tmp_path / "strip.pdf", "--eye-page", page, "--number", 412)
    assert done.exit_code == 0, done.stderr
    steps = [word for row in range(1, 6) for word in ("--seen", f"{row}:{9 - row}.5")]
    learned = run("strip", "learn", "--number", 412, *steps, "--json")
    assert learned.exit_code == 0, learned.stderr
    (entry,) = document(learned.stdout)["strips"]
    assert entry["source"] == "seen"
    assert entry["basis"][0] == "row 1: step 8.5"


def test_lines_and_ladders_of_the_eye_page_are_as_they_say(run: Run, tmp_path: Path) -> None:
    """Each row's lines cover what they should to 0.01; its squares have their greys to one of 255 steps."""
    page = tmp_path / "eye.pdf"
    run("strip", "--output", tmp_path / "strip.pdf", "--eye-page", page, "--number", 412, "--paper", "letter")
    per_mm = 20
    with pypdfium2.PdfDocument(page) as pdf:
        drawn = pdf[0].render(scale=per_mm / POINTS_PER_MM).to_numpy()[..., 0].astype(float)
    left = (215.9 - EYE_ROWS[0].screen.rect.width) / 2
    for index, row in enumerate(EYE_ROWS):
        top = 42.0 + 42.0 * index
        rect = row.screen.rect
        lines = drawn[int((top + 2) * per_mm), round(left * per_mm) : round((left + rect.width) * per_mm)]
        assert 1.0 - lines.mean() / 255 == pytest.approx(row.screen.coverage, abs=0.01)
        for at, grey in zip(row.patches(), row.greys, strict=True):
            x, y = at.centre
            assert drawn[round((top + y) * per_mm), round((left + x) * per_mm)] == pytest.approx(255 * grey, abs=1.0)
