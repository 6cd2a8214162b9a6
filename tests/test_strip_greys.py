"""A strip's own greys: what is known of them, learning them, and what they do to a measurement. Photos are rendered."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logbook_makers import DAY, keep, measurement
from render.paper import PrintedStrip
from render.photo import render_scene
from render.printers import Printer
from render.scene import Scene, Surface
from render.spectral import grey_material
from render.texture import Texture
from render.view import View
from rendered import photo_of

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness
from finishlab.errors import FinishlabError, LogbookError, QualityError, UsageError
from finishlab.imaging.finder import apply_homography, find_strip
from finishlab.imaging.greys import USUAL, StripGreys, greys_of_readings
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP, Rect
from finishlab.logbook.store import Logbook
from finishlab.measure.areas import GreyArea, PixelRect
from finishlab.measure.flow import measure
from finishlab.measure.learn_print import learn_greys
from finishlab.rank.comparing import compare
from finishlab.strip.greys import learn_from_readings

OTHER: Final = Printer(paper=0.83, ink=0.035, gamma=1.05)
"""A print that keeps sRGB's tone, somewhat darker."""
GREY: Final = np.asarray(STRIP.greys)


def lightness(model: Printer) -> np.ndarray:
    """Return L* of each level of a print."""
    return np.asarray(lightness_of_reflectance(model.reflectance(GREY)))


def off(greys: StripGreys, model: Printer = OTHER) -> np.ndarray:
    """Return by how much greys are off those of a print, L*."""
    return np.asarray(np.array(greys.lightness) - lightness(model))


def read_all(model: Printer = OTHER, number: int = 412) -> StripGreys:
    """Return the greys of a print whose levels were all read without error."""
    return greys_of_readings({level: [float(each)] for level, each in enumerate(lightness(model))}, number=number)


# -- what is known ----------------------------------------------------------------------------------------------------


def test_an_unknown_print_is_the_usual_one() -> None:
    """Without learning the greys are the usual print's, which holds a print that keeps sRGB's tone within its doubt."""
    assert USUAL.reflectance([7, 0]) == pytest.approx([USUAL.values[7], USUAL.values[0]], abs=1e-12)
    for model in (Printer(), OTHER):
        assert (np.abs(off(USUAL, model)) < 2 * np.array(USUAL.standard_error)).all()
    assert USUAL.key == "usual"
    assert USUAL.scope_ending == ":usual"


def test_levels_that_were_read_come_out_as_read() -> None:
    """Eight readings without error give the print back within 0.1 L*, known to 0.4 L*, better than the usual one."""
    greys = read_all()
    assert np.abs(off(greys)).max() < 0.1
    assert max(greys.standard_error) < 0.4
    assert (np.array(greys.standard_error) < np.array(USUAL.standard_error)).all()


def test_levels_that_were_not_read_follow_the_print() -> None:
    """Black, one middle grey and paper tell the others within 2 L*; those are less sure than what was read.

    A print that keeps sRGB's tone and one whose dots gain may share three greys and differ between them.
    """
    full = lightness(OTHER)
    greys = greys_of_readings({level: [float(full[level])] for level in (0, 3, 7)}, number=1)
    assert np.abs(off(greys)).max() < 2.0
    error = np.array(greys.standard_error)
    assert error[[1, 2, 4, 5, 6]].min() > error[[0, 3, 7]].max()
    assert (error < np.array(USUAL.standard_error)).all()


def test_repeat_readings_are_surer() -> None:
    """Four readings of each grey are surer than one, but an error common to an instrument stays."""
    full = lightness(OTHER)
    once, often = (greys_of_readings({i: [float(v)] * n for i, v in enumerate(full)}, number=1) for n in (1, 4))
    assert np.mean(often.standard_error) < 0.8 * np.mean(once.standard_error)
    assert min(often.standard_error) > 0.19


@given(
    st.floats(0.82, 0.92),
    st.floats(0.028, 0.062),
    st.floats(0.92, 1.08),
    st.sets(st.integers(0, 7), min_size=1),
    st.data(),
)
def test_the_stated_error_is_not_far_off(
    paper: float, black: float, gamma: float, levels: set[int], data: st.DataObject
) -> None:
    """For prints within two deviations, read 0.3 L* off at most, no grey is off by four standard errors."""
    model = Printer(paper=paper, ink=black, gamma=gamma)
    noise = {level: data.draw(st.floats(-0.3, 0.3)) for level in sorted(levels)}
    full = lightness(model)
    greys = greys_of_readings({level: [float(full[level]) + noise[level]] for level in sorted(levels)}, number=1)
    assert (np.abs(off(greys, model)) < 4 * np.array(greys.standard_error)).all()


def test_effects_make_the_standard_error() -> None:
    """Effects are independent: their squares add up to the greys' variance."""
    greys = read_all()
    moved = np.array([lightness_of_reflectance(v) for v in greys.variants().values()]) - np.array(greys.lightness)
    assert np.sqrt((moved**2).sum(axis=0)) == pytest.approx(greys.standard_error, abs=1e-9)


def test_greys_survive_json() -> None:
    """Stored and read again, greys are the same to the last digit."""
    greys = replace(read_all(), learned="2024-05-31T10:00:00+00:00", basis=("0:24.1",))
    assert StripGreys.from_dict(json.loads(json.dumps(greys.as_dict()))) == greys


@pytest.mark.parametrize(
    "change",
    [
        {"values": (0.1,)},
        {"values": tuple(reversed(USUAL.values))},
        {"values": (float("nan"), *USUAL.values[1:])},
        {"values": (0.0, *USUAL.values[1:])},
        {"effects": (("print-1", (0.1,)),)},
        {"source": "guessed"},
        {"number": 7},
        {"source": "typed"},
    ],
)
def test_greys_that_cannot_be_are_refused(change: dict[str, object]) -> None:
    """Greys are eight finite rising reflectances; what was learned is a numbered strip's, a usual print none's."""
    with pytest.raises(ValueError, match=r"grey|strip"):
        replace(USUAL, **change)  # type: ignore[arg-type] # wrong on purpose


@pytest.mark.parametrize("readings", [{}, {3: []}, {8: [50.0]}, {0: [60.0], 7: [30.0]}])
def test_readings_that_cannot_be_are_refused(readings: dict[int, list[float]]) -> None:
    """No reading, a level the strip has not, and greys that fall are refused."""
    with pytest.raises(ValueError, match=r"level|rise"):
        greys_of_readings(readings, number=1)


# -- from a photo -----------------------------------------------------------------------------------------------------


def card_photo(*cards: float, model: Printer = OTHER) -> tuple[LinearImage, list[GreyArea]]:
    """Return a rendered photo of a strip with grey cards of these L* above it, and where they lie."""
    pixels, known = None, []
    for index, card in enumerate(cards):
        surface = Surface(
            grey_material(float(reflectance_of_lightness(card))),
            Rect(-20.0, -60.0, 230.0, 60.0),
            Texture(grain=0.0, pores=0.0),
        )
        scene = Scene(
            board=surface,
            floor=None,
            strip=PrintedStrip(number=412, printer=model, paper_cast=0.0, ink_cast=0.0),
            view=View(1200, 900, strip_share=0.62),
            jpeg_quality=None,
        )
        shot = render_scene(scene).pixels
        fit = find_strip(photo_of(shot))
        x, y = (int(v) for v in apply_homography(fit.to_pixels, np.array([50.0 + 30.0 * index, -18.0])))
        pixels = shot.copy() if pixels is None else pixels
        pixels[y - 20 : y + 20, x - 20 : x + 20] = shot[y - 20 : y + 20, x - 20 : x + 20]
        known.append(GreyArea(PixelRect(x - 20, y - 20, 40, 40), round(surface.material.lab[0], 3)))
    assert pixels is not None
    return photo_of(pixels), known


def test_one_grey_sets_what_it_can() -> None:
    """One grey of L* 50 makes itself come out right and the middle greys better, and every grey surer."""
    image, known = card_photo(50.0)
    found = learn_greys(image, known)
    assert found.greys.number == 412
    assert found.greys.source == "photo"
    assert abs(found.misfit[0]) < 0.5 * abs(found.misfit_before[0])
    before, after = np.abs(off(USUAL)), np.abs(off(found.greys))
    assert after[2:6].mean() < 0.6 * before[2:6].mean()
    error, usual = np.array(found.greys.standard_error), np.array(USUAL.standard_error)
    assert error[3] < 0.4 * usual[3]
    assert (error < usual).all()


def test_several_greys_tell_the_shape_too() -> None:
    """Three greys leave the greys between them within 0.8 L*, and all surer than one grey does."""
    one, three = (learn_greys(*card_photo(*cards)).greys for cards in ((50.0,), (32.0, 55.0, 82.0)))
    assert np.abs(off(three))[1:7].max() < 0.8
    assert np.mean(three.standard_error) < np.mean(one.standard_error)


def test_learned_greys_state_their_error() -> None:
    """Greys learned beside three known ones are within two and a half stated errors of what they are."""
    found = learn_greys(*card_photo(32.0, 55.0, 82.0, model=Printer())).greys
    assert (np.abs(off(found, Printer())) < 2.5 * np.array(found.standard_error)).all()


def test_what_cannot_be_learned_is_refused() -> None:
    """No grey, a grey that cannot be, one far away, one too small, and another strip's number are refused."""
    image, known = card_photo(50.0)
    rect = known[0].rect

    def code(greys: list[GreyArea], number: int | None = None) -> str:
        with pytest.raises(FinishlabError) as caught:
            learn_greys(image, greys, number=number)
        assert caught.value.hint
        return caught.value.code

    assert code([]) == "no-grey"
    assert code([GreyArea(rect, 90.0)]) == "greys-disagree"
    assert code([GreyArea(PixelRect(rect.x, rect.y, 3, 3), 50.0)]) == "rectangle-too-small"
    assert code([GreyArea(PixelRect(1190, 0, 40, 40), 50.0)]) == "rectangle-outside-photo"
    assert code(known, 7) == "other-strip"
    white = image.encoded.copy()
    white[rect.y : rect.y + 40, rect.x : rect.x + 40] = 255
    with pytest.raises(QualityError, match="too bright"):
        learn_greys(replace(image, encoded=white), known)


def test_a_grey_far_from_the_strip_is_refused() -> None:
    """Light is followed a hand's breadth from the strip, no farther."""
    scene = Scene(board=None, floor=None, view=View(1200, 900, strip_share=0.3), jpeg_quality=None)
    with pytest.raises(QualityError) as caught:
        learn_greys(photo_of(render_scene(scene).pixels), [GreyArea(PixelRect(5, 5, 20, 20), 50.0)])
    assert caught.value.code == "grey-far"


# -- measuring with them ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pair_image() -> LinearImage:
    """A rendered photo of board and floor beside a print that keeps sRGB's tone, somewhat darker."""
    return photo_of(render_scene(Scene(strip=PrintedStrip(number=412, printer=OTHER), jpeg_quality=None)).pixels)


def test_learned_greys_are_used_and_told(pair_image: LinearImage) -> None:
    """Looked up by the number in the photo, learned greys move the colour, narrow the interval and are told."""
    asked: list[int] = []
    greys = read_all()

    def look_up(number: int) -> StripGreys | None:
        asked.append(number)
        return greys

    usual = measure(pair_image, ("board", "floor")).measurement
    own = measure(pair_image, ("board", "floor"), greys=look_up).measurement
    assert asked == [412]
    assert usual.settings["print"]["source"] == "usual"
    assert own.settings["print"]["source"] == "typed"
    assert own.settings["print"]["key"] == greys.key
    assert own.pair is not None
    assert usual.pair is not None
    assert own.pair.high - own.pair.low < usual.pair.high - usual.pair.low
    scopes = {e.scope for e in own.fields["board"].estimate.shared if e.name.startswith("print-")}
    assert scopes == {f"strip:412:{greys.key}"}
    doubt = {}
    for name, found in (("usual", usual), ("own", own)):
        parts = [e.vector for e in found.fields["board"].estimate.shared if e.name.startswith("print-")]
        doubt[name] = float(np.linalg.norm(parts))
    assert doubt["own"] < 0.3 * doubt["usual"]


def test_greys_not_learned_are_usual(pair_image: LinearImage) -> None:
    """A strip of which nothing was learned is measured as before, to the last digit."""
    assert measure(pair_image, greys=lambda _: None).measurement == measure(pair_image).measurement


# -- the logbook ------------------------------------------------------------------------------------------------------


def test_the_logbook_keeps_what_was_learned(tmp_path: Path) -> None:
    """The newest holds, what was learned before stays with its time, forgetting ends it, and all is in the history."""
    first, second = read_all(), read_all(Printer())
    with Logbook.open(tmp_path / "log", who="A") as log:
        assert log.learned_greys() == ()
        log.learn_strip(first)
        log.learn_strip(second)
        log.learn_strip(read_all(number=7))
        assert log.learned_greys() == (read_all(number=7), second)
        log.forget_strip(412)
    with Logbook.open(tmp_path / "log", who="A") as log:
        assert [greys.number for greys in log.learned_greys()] == [7]
        kept = log.strip_greys_history(412)
        assert [each.greys for each in kept] == [first, second]
        assert all(each.ended is not None and each.ended >= each.created for each in kept)
        assert [change.what for change in log.history("strip 412")] == ["learn", "learn", "forget"]
        with pytest.raises(LogbookError) as caught:
            log.forget_strip(412)
        assert caught.value.code == "strip-not-learned"
        with pytest.raises(ValueError, match="usual print"):
            log.learn_strip(USUAL)


def test_the_logbook_gathers_what_photos_said_of_a_print(tmp_path: Path) -> None:
    """Each logged photo adds what it said of a print nobody learned; a learned print needs none of it."""
    one, two = ([0.1 * k + shift for k in range(len(USUAL.effects))] for shift in (0.0, 0.5))
    with Logbook.open(tmp_path / "log") as log:
        assert log.photographed_greys() == ()
        for name, strip, said in (("a.jpg", 412, one), ("b.jpg", 412, two), ("c.jpg", 7, one), ("d.jpg", 412, None)):
            found = measurement(keep(log, tmp_path, name), strip=strip)
            told = {} if said is None else {"print": said}
            log.add_board(BoardRecord("ash", date=DAY), [replace(found, correction=told)])
        gathered = log.photographed_greys()
        assert [greys.number for greys in gathered] == [7, 412]
        assert [greys.photos for greys in gathered] == [1, 2]
        assert gathered[1].said == pytest.approx([0.5 * (a + b) for a, b in zip(one, two, strict=True)])
        assert gathered[1].key == USUAL.key
        log.learn_strip(read_all())
        assert [greys.number for greys in log.photographed_greys()] == [7]


@pytest.mark.parametrize(
    ("readings", "code"),
    [
        ({}, "no-reading"),
        ({9: [50.0]}, "unknown-level"),
        ({3: [0.0]}, "bad-lightness"),
        ({3: [float("nan")]}, "bad-lightness"),
        ({3: [50.0, 55.0]}, "readings-disagree"),
        ({2: [60.0], 3: [50.0]}, "greys-not-rising"),
    ],
)
def test_typed_slips_are_told(tmp_path: Path, readings: dict[int, list[float]], code: str) -> None:
    """A slip of the hand is refused with a sentence and nothing is kept."""
    with Logbook.open(tmp_path / "log") as log:
        with pytest.raises(UsageError) as caught:
            learn_from_readings(log, 412, readings)
        assert caught.value.code == code
        assert log.learned_greys() == ()


@pytest.mark.parametrize(
    ("floor_key", "board_key", "differ"),
    [("nominal", "abc", True), (None, "abc", True), (None, "nominal", False), ("abc", "abc", False)],
)
def test_different_knowledge_of_one_strip_is_a_doubt(
    tmp_path: Path, floor_key: str | None, board_key: str, differ: bool
) -> None:
    """Floor and board measured before and after learning get ``greys-differ``; a record without a key is nominal."""

    def said(key: str | None) -> dict[str, object]:
        return {} if key is None else {"print": {"key": key}}

    with Logbook.open(tmp_path / "log") as log:
        spot = measurement(keep(log, tmp_path, "floor.jpg"), "floor")
        log.add_floor_spots(FloorSpotRecord(date=DAY), [[replace(spot, settings=said(floor_key))]])
        for name, strip in (("same.jpg", 412), ("other.jpg", 413)):
            found = measurement(keep(log, tmp_path, name), strip=strip)
            log.add_board(BoardRecord("ash", date=DAY), [replace(found, settings=said(board_key))])
        codes = {b.board: {d.code: d.message for d in b.doubts} for b in compare(log).ranking.boards}
    assert ("greys-differ" in codes["B1"]) is differ
    assert "strips-differ" not in codes["B1"]
    assert "greys-differ" not in codes["B2"]
    assert "finishlab strip learn" in codes["B2"]["strips-differ"]
    if differ:
        assert "0412" in codes["B1"]["greys-differ"]
        assert "re-measure" in codes["B1"]["greys-differ"]
