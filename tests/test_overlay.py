"""The picture that shows what was found."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from rendered import photo_of, rendered, scene_with, view_of

from finishlab.demo.scene import Glare
from finishlab.demo.view import project
from finishlab.imaging.finder import StripFit
from finishlab.imaging.overlay import FieldDrawing, check_picture
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import FIELD_NAMES, STRIP, FieldName, Rect
from finishlab.measure import Inspection, measure

SCENE = scene_with(view=view_of(), glares=(Glare(80.0, -22.0, 0.05, (18.0, 9.0)),))
MARKS = {"sampled": (0, 190, 255), "glare": (255, 0, 200), "left out": (255, 140, 0), "frame": (255, 255, 255)}


def inspected() -> tuple[LinearImage, Inspection]:
    """Return a photo with some glare, and both of its fields measured."""
    image = photo_of(rendered(SCENE).pixels)
    return image, measure(image, ("board", "floor"))


def drawings(inspection: Inspection) -> Mapping[FieldName, FieldDrawing]:
    """Return what to draw of an inspection."""
    return {
        name: FieldDrawing(
            surface=view.surface,
            rect=view.image.rect,
            px_per_mm=view.image.px_per_mm,
            lab=inspection.measurement.fields[name].estimate.lab,
            text=f"{name} L* 50",
        )
        for name, view in inspection.views.items()
    }


def near(picture: np.ndarray, colour: tuple[int, int, int]) -> np.ndarray:
    """Return where a picture has a colour, give or take the smoothing of lines."""
    return np.asarray(np.abs(picture.astype(int) - colour).max(axis=-1) < 40)


def box(rect: Rect) -> tuple[slice, slice]:
    """Return the rows and columns of a rectangle of the scene (the view is straight)."""
    (left, top), (right, bottom) = np.rint(project(rendered(SCENE).truth.homography, rect.corners()[[0, 2]])).astype(
        int
    )
    return slice(int(top), int(bottom)), slice(int(left), int(right))


def test_everything_found_is_drawn() -> None:
    """The strip and fields are framed, sampled surface outlined, glare hatched, each in its field and colour."""
    image, inspection = inspected()
    picture = check_picture(image, inspection.fit, drawings(inspection))
    assert picture.shape == image.encoded.shape
    assert picture.dtype == np.uint8
    board, floor = (box(STRIP.fields[name].inset(-1.0, -1.0)) for name in FIELD_NAMES)
    before = image.encoded
    for field in (board, floor):
        drawn = near(picture[field], MARKS["sampled"]) & ~near(before[field], MARKS["sampled"])
        assert drawn.sum() > 100
        assert near(picture[field], MARKS["frame"]).sum() > 200
    glare = inspection.views["board"].surface.glare.mean()
    hatched = near(picture[board], MARKS["glare"]).mean()
    assert 0.1 * glare < hatched < 0.6 * glare
    assert not near(picture[floor], MARKS["glare"]).any()


def test_the_photo_itself_is_untouched() -> None:
    """Drawing changes neither the photo's pixels nor the masks."""
    image, inspection = inspected()
    pixels = image.encoded.copy()
    masks = {name: view.surface.mask.copy() for name, view in inspection.views.items()}
    check_picture(image, inspection.fit, drawings(inspection))
    np.testing.assert_array_equal(image.encoded, pixels)
    for name, view in inspection.views.items():
        np.testing.assert_array_equal(view.surface.mask, masks[name])


def test_swatch_has_the_colour_found() -> None:
    """Beside each field a patch shows the colour found in it, as sRGB."""
    image, inspection = inspected()
    found = drawings(inspection)
    vivid = {
        name: FieldDrawing(d.surface, d.rect, d.px_per_mm, (60.0, -50.0, 40.0), d.text) for name, d in found.items()
    }
    picture = check_picture(image, inspection.fit, vivid)
    green = near(picture, (54, 169, 69))
    assert green.sum() > 200
    rows = np.flatnonzero(green.any(axis=1))
    strip_rows = box(Rect(0.0, 0.0, STRIP.width, STRIP.height))[0]
    assert rows.min() < strip_rows.start
    assert rows.max() > strip_rows.stop


def test_large_photo_is_drawn_small() -> None:
    """A photo longer than 1600 pixels is drawn at 1600, its shape kept, with the marks where they belong."""
    image, inspection = inspected()
    large = np.kron(image.encoded, np.ones((3, 3, 1), dtype=np.uint8))
    grown = np.diag([3.0, 3.0, 1.0]) @ np.array([[1, 0, 1 / 3], [0, 1, 1 / 3], [0, 0, 1]])
    fit = StripFit(grown @ inspection.fit.to_pixels, inspection.fit.number, inspection.fit.roles_seen, 0.0)
    picture = check_picture(photo_of(large), fit, drawings(inspection))
    assert max(picture.shape) == 1600
    assert picture.shape[1] / picture.shape[0] == pytest.approx(image.size[0] / image.size[1], rel=0.01)
    factor = picture.shape[1] / image.size[0]
    rows, columns = box(STRIP.fields["floor"])
    scaled = tuple(slice(int(s.start * factor), int(s.stop * factor)) for s in (rows, columns))
    assert near(picture[scaled], MARKS["sampled"]).sum() > 100


def test_what_is_left_out_is_hatched() -> None:
    """Surface that was not sampled is hatched the other way, in its own colour."""
    image, inspection = inspected()
    found = dict(drawings(inspection))
    surface = inspection.views["floor"].surface
    mask = surface.mask.copy()
    mask[:, : mask.shape[1] // 2] = False
    floor = found["floor"]
    cut = type(surface)(mask, surface.outline, surface.glare, {"other-surface": 0.5})
    found["floor"] = FieldDrawing(cut, floor.rect, floor.px_per_mm, floor.lab, floor.text)
    picture = check_picture(image, inspection.fit, found)
    rect = STRIP.fields["floor"]
    left = box(Rect(rect.x + 3, rect.y + 3, rect.width / 2 - 6, rect.height - 20))
    right = box(Rect(rect.centre[0] + 6, rect.y + 3, rect.width / 2 - 12, rect.height - 20))
    assert 0.1 < near(picture[left], MARKS["left out"]).mean() < 0.45
    assert near(picture[right], MARKS["left out"]).mean() < 0.01


def test_no_fields() -> None:
    """With no field measured the strip alone is framed."""
    image, inspection = inspected()
    picture = check_picture(image, inspection.fit, {})
    strip = box(Rect(-2.0, -2.0, STRIP.width + 4.0, STRIP.height + 4.0))
    changed = (picture.astype(int) != image.encoded).any(axis=-1)
    assert changed[strip].mean() > 0.05
    outside = changed.copy()
    outside[strip] = False
    # A code may move by rounding on its way through linear light, no more.
    assert np.abs(picture.astype(int) - image.encoded)[outside].max(initial=0) <= 6
