"""The picture that shows what was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from render.scene import Glare
from render.view import Light, project
from rendered import photo_of, rendered, scene_with, view_of

from finishlab.colorimetry.spaces import lab_to_srgb8
from finishlab.imaging.finder import StripFit
from finishlab.imaging.overlay import (
    FieldDrawing,
    GreyPoints,
    PanelContent,
    PanelField,
    check_picture,
    dashed,
    draw_panel,
    light_lines,
    text_size,
    wrapped,
    write,
)
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import FIELD_NAMES, STRIP, FieldName, Rect
from finishlab.measure.flow import Inspection, measure

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


def test_light_lines_follow_the_fitted_light() -> None:
    """Lines of equal light lie where the fit says that light is, in few steps, inside what they are drawn over."""
    image = photo_of(rendered(scene_with(view=view_of(), light=Light(gradient=0.4, direction=10.0))).pixels)
    inspection = measure(image, ("board", "floor"))
    rects = [STRIP.fields[name] for name in FIELD_NAMES]
    lines = light_lines(rects, inspection.correction)
    assert 2 <= len({level for _, level, _ in lines}) <= 6
    middle = inspection.correction.light(np.array([STRIP.width / 2, STRIP.height / 2])).mean()
    for rect, level, points in lines:
        light = inspection.correction.light(points).mean(axis=-1)
        np.testing.assert_allclose(light / middle, level / 100, atol=0.003)
        assert (points >= [rect.x - 1e-6, rect.y - 1e-6]).all()
        assert (points <= [rect.right + 1e-6, rect.bottom + 1e-6]).all()


def test_light_is_drawn_in_the_fields() -> None:
    """With the fit, lines of equal light are drawn in the fields, and the photo outside stays as it is."""
    image = photo_of(rendered(scene_with(view=view_of(), light=Light(gradient=0.4, direction=10.0))).pixels)
    inspection = measure(image, ("board", "floor"))
    without = check_picture(image, inspection.fit, drawings(inspection))
    picture = check_picture(image, inspection.fit, drawings(inspection), inspection.correction)
    changed = (picture.astype(int) != without).any(axis=-1)
    inner = box(STRIP.fields["board"].inset(8.0, 8.0))
    assert 0.003 < changed[inner].mean() < 0.1
    assert not changed[: inner[0].start // 3].any()


def test_a_grey_that_was_not_believed_is_crossed_out() -> None:
    """Greys that the fit gave no weight get a cross, the others their frame."""
    image, inspection = inspected()
    weights = inspection.correction.weights.copy()
    weights[[3, 20]] = 0.1
    doubted = replace(inspection.correction, weights=weights)
    picture = check_picture(image, inspection.fit, {}, doubted)
    for number, patch in enumerate(STRIP.patches):
        crossed = near(picture[box(patch.rect)], MARKS["left out"]).mean()
        assert (crossed > 0.02) == (number in {3, 20}), number


def panel_of(inspection: Inspection, **changes: object) -> np.ndarray:
    """Return the panel of an inspection."""
    fields = tuple(
        PanelField(name, field.estimate.lab, field.estimate.standard_error, "read from 90 % of the field")
        for name, field in inspection.measurement.fields.items()
    )
    greys = GreyPoints(inspection.readings, inspection.greys)
    content = PanelContent(fields, "", ("glare",), correction=inspection.correction, greys=greys)
    return draw_panel(1600, replace(content, **changes))  # type: ignore[arg-type]  # fields of PanelContent


def test_panel_shows_the_colours_found() -> None:
    """The panel is as wide as the picture and shows each colour found as an area of at least 5000 pixels."""
    panel = panel_of(inspected()[1])
    assert panel.shape[1:] == (1600, 3)
    assert panel.dtype == np.uint8
    for field in inspected()[1].measurement.fields.values():
        assert (np.abs(panel.astype(int) - lab_to_srgb8(np.array(field.estimate.lab))).max(axis=-1) <= 1).sum() > 5000


def test_panel_draws_curves_greys_and_words() -> None:
    """Without the fit no curve is drawn, without readings no points; doubts and a refusal change the words."""
    _, inspection = inspected()
    whole = panel_of(inspection)
    chart = slice(None), slice(0, 520)
    for changes in ({"correction": None}, {"greys": None}):
        assert (panel_of(inspection, **changes)[chart] != whole[chart]).any()
    other = panel_of(inspection, doubts=("seam in the field",))
    assert (other[chart] == whole[chart]).all()
    assert (other != whole).any()
    refused = panel_of(inspection, refused="The photo is too dark.")
    assert (refused[:20].max(axis=(1, 2)) < 60).any()


def test_panel_reads_without_colour() -> None:
    """In greyscale the curves of the three channels still differ from the ground and from one another."""
    panel = panel_of(inspected()[1], greys=None)
    inks = [(235, 120, 110), (60, 160, 90), (20, 30, 110)]
    luma = [float(np.dot(ink, (0.2126, 0.7152, 0.0722))) for ink in inks]
    assert min(abs(a - b) for a, b in ((luma[0], luma[1]), (luma[1], luma[2]))) > 10
    assert max(luma) < 0.7 * 247
    for ink in inks:
        assert near(panel[:, :520], ink).sum() > 50


def test_narrow_photo_gets_a_panel_that_can_be_read() -> None:
    """A narrow photo's panel is wider than it, so that words do not break."""
    assert draw_panel(300, PanelContent(refused="The photo is too dark.")).shape[1] == 900


@pytest.mark.parametrize("text", ["ΔE ± 3°", "äöü"])
def test_words_are_put_into_letters_the_font_has(text: str) -> None:
    """A text in letters that the font lacks has a size and is written, and nothing fails."""
    canvas = np.full((40, 200, 3), 255, dtype=np.uint8)
    write(canvas, text, (5, 30), 0.6, (0, 0, 0))
    assert text_size(text, 0.6)[0] > 10
    assert (canvas < 128).any()


def test_dashes_leave_gaps() -> None:
    """A dashed line covers about the share of its length that the pattern draws; a line is wrapped between words."""
    canvas = np.full((20, 400, 3), 255, dtype=np.uint8)
    dashed(canvas, np.array([[10.0, 10.0], [390.0, 10.0]]), (0, 0, 0), (10.0, 10.0))
    assert 0.4 < (canvas[10, 10:390, 0] < 128).mean() < 0.7
    assert wrapped("one two three", 1.0, 0.5) == ["one", "two", "three"]
    assert wrapped("one two three", 1000.0, 0.5) == ["one two three"]
