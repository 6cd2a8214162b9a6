"""A print is learned from a photo taken a few steps back. The strip's very PDF is printed and photographed in numpy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from strip_photo import PRINTS, Print, Shot, linear_photo, photo, true_lightness

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness
from finishlab.errors import ExitCode, QualityError, UsageError
from finishlab.imaging.finder import apply_homography, find_strip
from finishlab.imaging.greys import StripGreys
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import screen_reflectance
from finishlab.imaging.strip import EYE_ROWS
from finishlab.measure.learn_print import LearnedPrint, greys_seen, learn_print, look_at_print

SHOT = Shot(rotation=7.0)


def learned(photos: list[LinearImage], number: int | None = None) -> LearnedPrint:
    """Learn a print from photos."""
    return learn_print([look_at_print(each) for each in photos], number=number)


def off(greys: StripGreys, made: Print) -> np.ndarray:
    """Return by how much greys are off those of a print in L*, its paper taken as known."""
    truth = true_lightness(made)
    scale = reflectance_of_lightness(truth[-1]) / greys.values[-1]
    return np.asarray(lightness_of_reflectance(np.array(greys.values) * scale) - truth)


@pytest.mark.parametrize("made", PRINTS, ids=lambda made: made.name)
def test_greys_of_every_kind_of_printer_are_learned(made: Print) -> None:
    """One photo tells the greys between black and paper within 1.0 L* rms, black within 5, whatever the printer.

    The truth is rendered; what every print is taken for without it is off by up to 10.
    """
    found = learned([photo(made, SHOT)])
    error = off(found.greys, made)
    assert float(np.sqrt(np.mean(error[1:-1] ** 2))) < 1.0
    assert abs(error[0]) < 5.0
    assert found.greys.number == 412
    assert found.greys.source == "screens"
    assert abs(found.growth - made.growth) < 0.02
    assert not found.doubts


@pytest.mark.parametrize(
    "change",
    [
        {"px_per_mm": 1.6, "tilt": 20.0},
        {"px_per_mm": 2.4, "rotation": 97.0, "sharpen": 0.5},
        {"tone": "filmic", "jpeg": 85, "rotation": -12.0},
        {"tone": "contrast", "camera": "Nikon 5100 (NPL)", "lamp": "A", "gradient": 0.25},
    ],
    ids=["far and tilted", "near, turned, sharpened", "filmic, small file", "lamp light that falls off"],
)
def test_greys_are_learned_from_afar_and_near(change: dict[str, object]) -> None:
    """Over distances, angles, tones, lamps and sharpening the greys stay within 2 L* rms, and the doubt holds them."""
    made = PRINTS[3]
    greys = learned([photo(made, replace(SHOT, **change))]).greys  # type: ignore[arg-type] # fields of Shot
    error = off(greys, made)[1:-1]
    assert float(np.sqrt(np.mean(error**2))) < 2.0
    absolute = np.array(greys.lightness) - true_lightness(made)
    assert np.all(np.abs(absolute) < 3.0 * np.array(greys.standard_error))


def test_several_photos_are_surer_but_not_by_their_number() -> None:
    """Three photos are surer than one; what one phone's photos believe alike does not average out."""
    shots = [replace(SHOT, seed=seed, rotation=turn) for seed, turn in ((1, 6.0), (2, 20.0), (3, 95.0))]
    photos = [photo(PRINTS[0], shot) for shot in shots]
    alone = np.mean([learned([each]).greys.standard_error for each in photos], axis=0)
    three = np.array(learned(photos).greys.standard_error)
    assert np.all(three <= alone + 0.01)
    assert three[0] < alone[0]
    assert three[3] > alone[3] / np.sqrt(3.0)


def test_a_raw_file_needs_no_lines() -> None:
    """Linear light tells the greys within 1.0 L* rms though the lines are painted over: its tone is known."""
    image = linear_photo(PRINTS[4], replace(SHOT, veil=0.004))
    greys = learned([without_screens(image)]).greys
    assert greys.source == "raw"
    assert float(np.sqrt(np.mean(off(greys, PRINTS[4])[1:-1] ** 2))) < 1.0


def without_screens(image: LinearImage) -> LinearImage:
    """Return the photo with bare paper over the screens."""
    back = np.linalg.inv(find_strip(image, small=True).to_pixels)
    x, y = np.meshgrid(np.arange(image.size[0]), np.arange(image.size[1]))
    places = apply_homography(back, np.stack([x, y], axis=-1))
    band = (np.abs(places[..., 1] - 23.0) < 4.7) & (places[..., 0] > 1.0) & (places[..., 0] < 189.0)
    paper = image.encoded[(np.abs(places[..., 1] - 23.0) < 2.0) & (np.abs(places[..., 0] - 95.0) < 4.0)].mean(axis=0)
    pixels = image.encoded.copy()
    pixels[band] = paper.astype(pixels.dtype)
    return replace(image, encoded=pixels)


def test_an_older_print_says_that_it_has_no_lines() -> None:
    """A strip without screens is told by looking, refused in a sentence that names both ways out, and exits with 5."""
    with pytest.raises(QualityError) as caught:
        learned([without_screens(photo(PRINTS[0], SHOT))])
    assert caught.value.code == "no-screens"
    assert caught.value.exit_code == ExitCode.QUALITY
    assert "no line screens" in caught.value.message
    assert "--grey" in caught.value.hint


def test_a_photo_from_near_is_refused() -> None:
    """Where the lines show one by one the photo is refused: step back."""
    with pytest.raises(QualityError) as caught:
        learned([photo(PRINTS[0], replace(SHOT, px_per_mm=5.0))])
    assert caught.value.code == "lines-show"
    assert "steps back" in caught.value.hint


def test_photos_of_two_strips_are_not_mixed() -> None:
    """A number other than the one read is refused."""
    with pytest.raises(UsageError) as caught:
        learned([photo(PRINTS[0], SHOT)], number=7)
    assert caught.value.code == "other-strip"


@pytest.mark.parametrize("made", PRINTS[:4], ids=lambda made: made.name)
def test_an_eye_tells_greys_too(made: Print) -> None:
    """Steps that vanish, named to halves, give the greys between within 2.5 L* rms and within their doubt."""
    seen = {}
    for number, row in enumerate(EYE_ROWS, start=1):
        lines = screen_reflectance(row.screen, made.paper, made.solid, made.growth, 0.8 * made.spread)
        ladder = made.reflectance(np.array(row.greys))
        seen[number] = round(2 * float(np.interp(lines, ladder, np.arange(1, len(ladder) + 1)))) / 2
    greys = greys_seen(seen, number=412)
    error = off(greys, made)
    assert float(np.sqrt(np.mean(error[1:-1] ** 2))) < 2.5
    absolute = np.array(greys.lightness) - true_lightness(made)
    assert np.all(np.abs(absolute) < 2.5 * np.array(greys.standard_error))


@pytest.mark.parametrize("seen", [{}, {9: 4.0}, {1: 99.0}])
def test_steps_that_are_not_on_the_page_are_refused(seen: dict[int, float]) -> None:
    """No row, a row or a step that the page has not is a ValueError."""
    with pytest.raises(ValueError, match="run from 1"):
        greys_seen(seen, number=412)
