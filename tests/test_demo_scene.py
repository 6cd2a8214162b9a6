"""The scene renderer tells the truth about what it renders."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import ModuleType
from typing import Literal

import numpy as np
import pytest
from render.camera import (
    CAMERAS,
    Tone,
    balanced_raw,
    colour_matrix,
    develop,
    ideal_lab,
    saturate,
    sensitivities,
)
from render.chance import random_pair, random_scene, wood_pool
from render.encode import decode_jpeg
from render.paper import PrintedStrip
from render.photo import RenderedPhoto, render_linear, render_scene
from render.scene import Blob, Glare, Scene, Surface, truth_of
from render.spectral import (
    INK_SETS,
    LIGHTS,
    Material,
    coat,
    colour_temperature,
    finish,
    grey_material,
    print_material,
    woods,
)
from render.texture import Knot, Texture, texture_fields
from render.view import Light, View, homography, project, world_grid
from skimage.color import deltaE_ciede2000

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import (
    CHARTS,
    WAVELENGTHS,
    camera_sensitivities,
    chart_reflectances,
    illuminant,
    lab_from_reflectance,
    srgb_to_linear,
)
from finishlab.imaging.strip import STRIP, Rect

_WHERE: tuple[Literal["encoded", "linear"], ...] = ("encoded", "linear")
_KINDS: tuple[Literal["wood", "print"], ...] = ("wood", "print")
SMALL = View(width=640, height=480, strip_share=0.6, tilt=12.0, rotation=7.0)
FLAT = View(width=760, height=570, strip_share=0.75, tilt=0.0)


def plain_scene(**changes: object) -> Scene:
    """Return a scene without any fault of camera or light."""
    ideal = Scene(
        view=FLAT,
        light=Light(vignette=0.0),
        veil=0.0,
        blur_px=0.0,
        full_well=float("inf"),
        read_noise=0.0,
        jpeg_quality=None,
        exposure=0.8,
    )
    return replace(ideal, **changes)  # type: ignore[arg-type] # keyword names are checked by replace


def field_pixels(scene: Scene, name: str, inset: float = 2.0) -> tuple[np.ndarray, ...]:
    """Return row and column masks of a field's pixels."""
    rect = STRIP.fields[name].inset(inset, inset)  # type: ignore[index] # the two names
    x, y, _ = world_grid(scene.view)
    return np.nonzero((x > rect.x) & (x < rect.right) & (y > rect.y) & (y < rect.bottom))


@cache
def small_photo() -> RenderedPhoto:
    """Render one small photo, once for all tests."""
    return render_scene(Scene(view=SMALL))


@pytest.mark.parametrize("lamp", ["D65", "A", "FL11"])
@pytest.mark.parametrize("camera", CAMERAS[:3])
def test_uniform_surface_is_its_analytic_value(lamp: str, camera: str) -> None:
    """A surface without grain renders as spectrum x light x sensitivity x exposure at every pixel."""
    scene = plain_scene(lamp=lamp, camera=camera)
    assert scene.board is not None
    smooth = replace(scene.board, texture=Texture(grain=0.0, pores=0.0))
    scene = replace(scene, board=smooth)
    rows, cols = field_pixels(scene, "board")
    raw = render_linear(scene)[rows, cols]
    expected = 0.8 * balanced_raw(np.array(smooth.material.mean), camera, lamp)
    np.testing.assert_allclose(raw, np.broadcast_to(expected, raw.shape), rtol=2e-5)


@pytest.mark.parametrize("direction", [0.0, 90.0, 33.0])
def test_grain_keeps_the_mean(direction: float) -> None:
    """Grain and pores leave the linear mean over the field within 0.5 % of the material's own."""
    scene = plain_scene()
    assert scene.board is not None
    texture = Texture(direction=direction, pores=0.02)
    board = replace(scene.board, texture=texture, rect=Rect(-55.0, -150.0, 300.0, 150.0))
    scene = replace(scene, board=board)
    raw = render_linear(scene)[field_pixels(scene, "board", 0.0)]
    expected = 0.8 * balanced_raw(np.array(board.material.mean), scene.camera, scene.lamp)
    np.testing.assert_allclose(raw.mean(axis=0), expected, rtol=5e-3)
    assert raw.std() > 0.01


def test_texture_means_are_exact_over_the_window() -> None:
    """Shares of latewood and pores average to the asked figures over the window, seams and knots left out."""
    texture = Texture(grain=0.3, pores=0.02, plank_mm=60.0, seam_offset_mm=20.0, knots=(Knot(50.0, 30.0),))
    window = (10.0, 5.0, 110.0, 65.0)
    fields = texture_fields(0.0, 0.0, (140, 240), 0.5, texture, 3, window)
    y, x = np.mgrid[0:140, 0:240] * 0.5
    inside = (x >= 10) & (x <= 110) & (y >= 5) & (y <= 65) & (fields.odd < 0.01)
    assert fields.dark[inside].mean(dtype=float) == pytest.approx(0.3, rel=1e-5)
    assert fields.pore[inside].mean(dtype=float) == pytest.approx(0.02, rel=1e-5)
    assert fields.odd[60, 100] > 0.4, "the knot"
    assert fields.odd[40, 200] > 0.4, "the seam at y = 20"


@pytest.mark.parametrize(("rotation", "tilt"), [(0.0, 0.0), (90.0, 25.0), (213.0, 40.0)])
def test_homography_maps_the_strip(rotation: float, tilt: float) -> None:
    """The strip's corners in the picture are where the homography says: its paper ends there."""
    view = View(width=640, height=640, strip_share=0.5, rotation=rotation, tilt=tilt)
    scene = plain_scene(view=view, board=None, floor=None, bench=grey_material(0.02))
    truth = truth_of(scene)
    bright = render_linear(scene)[..., 1] > 0.3
    corners = project(truth.homography, Rect(0, 0, STRIP.width, STRIP.height).corners())
    middle = corners.mean(axis=0)
    for corner in corners:
        inward = (middle - corner) / np.linalg.norm(middle - corner)
        inner, outer = np.rint(corner + 4 * inward).astype(int), np.rint(corner - 3 * inward).astype(int)
        assert bright[inner[1], inner[0]]
        assert not bright[outer[1], outer[0]]
    assert project(truth.homography, np.array(view.aim)) == pytest.approx([319.5, 319.5])


def test_world_grid_inverts_the_homography() -> None:
    """Scene coordinates of a pixel project back onto it within a thousandth of a pixel at double precision."""
    x, y, mm = world_grid(SMALL)
    px = project(homography(SMALL), np.stack([x, y], axis=-1))
    rows, cols = np.mgrid[0 : SMALL.height, 0 : SMALL.width]
    assert np.abs(px - np.stack([cols, rows], axis=-1)).max() < 2e-3
    assert mm.min() > 0


def test_truth_agrees_with_other_libraries(colour: ModuleType) -> None:
    """The truth's CIEDE2000 equals colour-science's and scikit-image's for the same Lab pair."""
    rng = np.random.default_rng(11)
    for _ in range(6):
        truth = truth_of(random_scene(rng))
        assert truth.delta_e00 is not None
        assert truth.board_lab is not None
        assert truth.floor_lab is not None
        pair = np.array(truth.board_lab), np.array(truth.floor_lab)
        assert float(colour.difference.delta_E_CIE2000(*pair)) == pytest.approx(truth.delta_e00, abs=1e-6)
        other = deltaE_ciede2000(*pair)  # type: ignore[no-untyped-call] # the library has no types
        assert float(other) == pytest.approx(truth.delta_e00, abs=1e-6)


def test_same_seed_same_pixels() -> None:
    """Equal scenes give equal pixels, and another seed gives others."""
    scene = Scene(view=replace(SMALL, width=320, height=240))
    first, again = render_scene(scene), render_scene(scene)
    assert np.array_equal(first.pixels, again.pixels)
    assert not np.array_equal(first.pixels, render_scene(replace(scene, seed=2)).pixels)


def test_photo_is_its_jpeg() -> None:
    """The pixels handed out are those of the JPEG file beside them."""
    photo = small_photo()
    assert photo.jpeg is not None
    assert photo.pixels.dtype == np.uint8
    assert np.array_equal(decode_jpeg(photo.jpeg), photo.pixels)


@pytest.mark.parametrize("inks", list(INK_SETS))
def test_print_hits_its_target(inks: str) -> None:
    """A print solved for a target has that colour under D65 within 0.002, and is metameric to a wood of that colour."""
    wood = finish("crosscut", lighten=0.15, stains={"golden": 0.2, "red-brown": 0.15})
    made = print_material(wood.lab, inks=inks)
    assert np.abs(lab_from_reflectance(np.array(made.mean)) - wood.lab).max() < 2e-3
    moved = lab_from_reflectance(np.array([made.mean, wood.mean]), "A")
    assert 0.1 < float(delta_e_00(moved[0], moved[1])) < 5.0


def test_impossible_print_is_refused() -> None:
    """Inks that cannot make a colour say so."""
    with pytest.raises(ValueError, match="cannot make"):
        print_material((50.0, 90.0, 90.0))


def test_random_scenes_keep_their_bounds() -> None:
    """Random scenes hold the whole strip, a true difference of 0.8 to 12, and every kind of light, camera and floor."""
    rng = np.random.default_rng(4)
    lamps, cameras, kinds = set(), set(), set()
    for _ in range(60):
        scene = random_scene(rng)
        truth = truth_of(scene)
        assert truth.delta_e00 is not None
        assert 0.8 <= truth.delta_e00 <= 12.0
        corners = project(truth.homography, Rect(0, 0, STRIP.width, STRIP.height).corners())
        assert (corners > 0).all()
        assert (corners < [scene.view.width - 1, scene.view.height - 1]).all()
        assert scene.view.tilt <= 40
        assert scene.light.gradient <= 0.25
        assert 1.0 <= scene.saturation <= 1.2
        lamps.add(scene.lamp)
        cameras.add(scene.camera)
        kinds.add(truth.settings["floor_kind"])
    assert len(lamps) >= 5
    assert len(cameras) >= 5
    assert kinds == {"wood", "print"}


def test_random_scene_repeats() -> None:
    """Equal generators draw equal scenes, and what is asked for is held."""
    asked = {"floor_is": "wood", "lamps": ("A",), "cameras": ("Sony ILCE-7RM2",), "glare": False, "max_tilt": 5.0}
    first, again = (random_scene(np.random.default_rng(9), **asked) for _ in range(2))  # type: ignore[arg-type]
    assert first == again
    assert (first.lamp, first.camera, first.glares) == ("A", "Sony ILCE-7RM2", ())
    with pytest.raises(KeyError):
        random_scene(np.random.default_rng(9), lamps=("candle",))


def test_light_falls_as_asked() -> None:
    """A gradient of 25 % is 25 % between the two ends of the photo, and noise-free greys follow it."""
    view = replace(FLAT, aim=(95.0, 23.0))
    light = Light(gradient=0.25, direction=0.0, vignette=0.0)
    x, y, _ = world_grid(view)
    field = light.field(x, y, view)
    middle = field.shape[0] // 2
    assert float(field[middle, -1] - field[middle, 0]) == pytest.approx(0.25, abs=0.001)
    assert float(field[middle].mean()) == pytest.approx(1.0, abs=1e-3)


def test_glare_hand_shadow_and_veil() -> None:
    """Glare adds white to a board but not to the strip; a hand hides; a shadow darkens by its figure; a veil adds."""
    base = render_linear(plain_scene())
    forward = homography(FLAT)

    def at(picture: np.ndarray, x: float, y: float) -> np.ndarray:
        px = np.rint(project(forward, np.array([x, y]))).astype(int)
        return np.asarray(picture[px[1], px[0]])

    shiny = render_linear(plain_scene(glares=(Glare(95.0, -5.0, 0.5, (20.0, 20.0)),)))
    assert at(shiny - base, 95.0, -5.0) == pytest.approx([0.4] * 3, abs=0.004)
    assert at(shiny - base, 95.0, 2.0) == pytest.approx([0.0] * 3, abs=1e-6)
    skin = grey_material(0.4, warm=0.6, name="hand")
    hand = render_linear(plain_scene(blobs=(Blob(95.0, -25.0, (15.0, 10.0), material=skin),)))
    assert at(hand, 95.0, -25.0) == pytest.approx(0.8 * balanced_raw(np.array(skin.mean), CAMERAS[0], "D65"), rel=1e-4)
    dark = render_linear(plain_scene(blobs=(Blob(95.0, -25.0, (15.0, 10.0), darkening=0.4),)))
    assert at(dark, 95.0, -25.0) == pytest.approx(0.6 * at(base, 95.0, -25.0), rel=1e-4)
    veiled = render_linear(plain_scene(veil=0.01))
    np.testing.assert_allclose(veiled - base, 0.008, atol=1e-6)


def test_strip_greys_are_those_of_its_print() -> None:
    """Each grey patch of a plain photo has the luminance that the print model gives, through an sRGB decode."""
    scene = plain_scene(strip=PrintedStrip(number=1234, paper_cast=0.0, ink_cast=0.0), exposure=1.0)
    pixels = render_scene(scene).pixels
    forward = homography(FLAT)
    for patch in STRIP.patches[:16]:
        px = np.rint(project(forward, np.array(patch.sample.centre))).astype(int)
        want = float(PrintedStrip().printer.reflectance(np.array(STRIP.greys[patch.level])))
        # one code value is the resolution of the file
        got = srgb_to_linear(pixels[px[1], px[0]] / 255.0)
        assert np.abs(got - want).max() < 0.006


def test_board_may_lie_askew() -> None:
    """A turned board uncovers bench where a flush one lies."""
    scene = plain_scene(bench=grey_material(0.9))
    assert scene.board is not None
    askew = render_linear(replace(scene, board=replace(scene.board, angle=6.0)))[..., 2]
    flush = render_linear(scene)[..., 2]
    assert (askew > 0.6).sum() != (flush > 0.6).sum()


def test_noise_is_as_strong_as_asked() -> None:
    """Pixel noise on a plain bench is shot noise plus read noise, within 10 %."""
    scene = plain_scene(
        board=None, floor=None, strip=None, bench=grey_material(0.5), full_well=2000.0, camera="synthetic phone 1"
    )
    quiet, noisy = render_linear(scene), render_scene(scene).pixels
    linear = srgb_to_linear(noisy / 255.0) @ np.linalg.inv(colour_matrix(scene.camera, scene.lamp)).T
    assert float((linear - quiet)[..., 1].std()) == pytest.approx(np.sqrt(0.4 / 2000.0), rel=0.1)


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("lamp", ["D65", "2700K", "LED-B3", "FL11"])
def test_cameras_see_white_as_white(camera: str, lamp: str) -> None:
    """A perfect diffuser is (100, 0, 0) to every ideal camera in every light; greys stay neutral."""
    assert ideal_lab(np.ones(WAVELENGTHS.size), camera, lamp) == pytest.approx([100, 0, 0], abs=1e-6)
    assert np.abs(ideal_lab(np.full(WAVELENGTHS.size, 0.2), camera, lamp)[1:]).max() < 1e-6
    assert colour_matrix(camera, lamp).sum(axis=1) == pytest.approx([1, 1, 1])


def test_unknown_names_are_refused() -> None:
    """Lights, charts, cameras and bad settings that do not exist raise."""
    for call in (lambda: illuminant("candle"), lambda: chart_reflectances("none"), lambda: sensitivities("none")):
        with pytest.raises(KeyError):
            call()
    with pytest.raises(ValueError, match="camera"):
        Scene(camera="none")
    with pytest.raises(ValueError, match="tone"):
        Tone(contrast=2.0)
    with pytest.raises(ValueError, match="saturation"):
        Scene(saturation=5.0)
    with pytest.raises(ValueError, match="range"):
        Scene(veil=2.0)
    with pytest.raises(ValueError, match="tilt"):
        View(tilt=80.0)
    with pytest.raises(ValueError, match="reflectance"):
        Material("bad", "wood", (2.0,) * 61, (0.1,) * 61, (0.1,) * 61)


@pytest.mark.parametrize("contrast", [-0.3, 0.0, 0.6])
@pytest.mark.parametrize("shoulder", [0.7, 1.0])
def test_tone_rises_everywhere(contrast: float, shoulder: float) -> None:
    """A tone curve rises and stays within 0..1."""
    e = Tone(contrast, 0.9, shoulder).apply(np.linspace(0.0, 1.0, 400))
    assert (np.diff(e) > 0).all()
    assert e[0] >= 0.0
    assert e[-1] <= 1.0


def test_saturation_keeps_luma_and_greys() -> None:
    """Saturation stretches away from luma and leaves greys and luma alone, encoded or linear."""
    colour = np.array([[0.5, 0.4, 0.3], [0.4, 0.4, 0.4]])
    stretched = saturate(colour, 1.2)
    luma = np.array([0.2126, 0.7152, 0.0722])
    assert stretched @ luma == pytest.approx(colour @ luma, abs=1e-6)
    assert stretched[1] == pytest.approx(colour[1], abs=1e-6)
    one, two = (develop(colour, np.eye(3), Tone(), 1.2, where) for where in _WHERE)
    assert not np.allclose(one, two)


def test_coat_darkens_and_amber_yellows() -> None:
    """A clear coat darkens wood; a yellowing one raises b*."""
    bare = woods()["stmpwood"]
    clear, amber = lab_from_reflectance(coat(bare)), lab_from_reflectance(coat(bare, amber=0.1))
    assert clear[0] < lab_from_reflectance(bare)[0]
    assert amber[2] > clear[2]


def test_stains_do_what_their_names_say() -> None:
    """More stain is darker; golden raises b* more than a*, red-brown raises a*, on every measured wood."""
    for name in woods():
        plain = np.array(finish(name, lighten=0.1).lab)
        golden = np.array(finish(name, lighten=0.1, stains={"golden": 0.2}).lab)
        red = np.array(finish(name, lighten=0.1, stains={"red-brown": 0.2}).lab)
        assert golden[0] < plain[0]
        assert red[0] < plain[0]
        assert golden[2] - plain[2] > golden[1] - plain[1]
        assert red[1] > plain[1]


def test_spectra_are_where_they_should_be() -> None:
    """Colour temperatures of the lights are the published ones within 30 K, and the charts are all there."""
    for name, kelvin in {"D65": 6504, "D50": 5003, "A": 2856, "2700K": 2700, "LED-B1": 2733}.items():
        assert colour_temperature(name) == pytest.approx(kelvin, abs=30)
    assert all(len(chart_reflectances(name)) == 24 for name in CHARTS)
    assert len(camera_sensitivities()) == 2
    assert all(illuminant(name).max() == 1.0 for name in LIGHTS)
    assert len(wood_pool()) > 200


def test_random_pairs_of_both_kinds() -> None:
    """Asked for a narrow range of differences, pairs lie in it."""
    rng = np.random.default_rng(2)
    for kind in _KINDS:
        board, floor = random_pair(rng, kind, 2.0, 3.0)
        assert 2.0 <= float(delta_e_00(board.lab, floor.lab)) <= 3.0
        assert (board.kind, floor.kind) == ("wood", kind)


def test_no_floor_no_pair() -> None:
    """A scene of one surface has no pair to tell the truth about."""
    truth = truth_of(replace(Scene(), floor=None))
    assert truth.floor_lab is None
    assert truth.delta_e00 is None
    assert truth.board_lab is not None
    outside = Surface(finish("oldwood"), Rect(5000.0, 46.0, 10.0, 10.0))
    assert render_linear(plain_scene(floor=outside)).min() >= 0.0
