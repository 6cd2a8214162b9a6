"""A channel cut off at the dark end: found, told, and refused where it decides the colour."""

from __future__ import annotations

import numpy as np
import pytest
from render.camera import CAMERAS
from render.encode import decode_jpeg
from render.photo import render_scene
from render.scene import Scene
from render.spectral import Material, finish
from rendered import DECODE, photo_of, rendered, scene_with, with_board, with_floor

from finishlab.errors import ExitCode, QualityError
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.imaging.sampling import BlackClipping, black_clipping
from finishlab.measure.areas import GreyArea, PixelRect
from finishlab.measure.by_hand import measure_by_hand
from finishlab.measure.flow import Inspection, measure
from finishlab.measure.uncertainty_budget import judge_field
from finishlab.quality import Doubt

STACKED = "Sigma SDMerill (NPL)"
"""The camera whose matrix multiplies an error of white most."""


def places(height: int, width: int) -> np.ndarray:
    """Return every pixel of a picture, shape (N, 2)."""
    return np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2).astype(float)


def warm(blue: float, camera: str = STACKED) -> Scene:
    """Return a dark board and floor under a warm lamp whose blue the camera's white gets wrong by a factor."""
    scene = scene_with(camera=camera, lamp="2700K", white_error=(1.0, blue), saturation=1.1)
    return with_floor(with_board(scene, material=_dark(2.0)), material=_dark(1.9))


def _dark(golden: float) -> Material:
    return finish("crosscut", lighten=0.16, stains={"golden": golden, "red-brown": 0.5})


def taken(scene: Scene) -> Inspection:
    """Return the board of a scene measured."""
    return measure(photo_of(rendered(scene).pixels), ("board",))


@pytest.mark.parametrize(("code", "lost"), [(0, True), (2, True), (3, False), (9, False)])
def test_codes_up_to_two_hold_nothing(code: int, lost: bool) -> None:
    """A channel at code 0 to 2 beside a brighter one is lost, at code 3 it is not."""
    pixels = np.full((20, 20, 3), 120, np.uint8)
    pixels[:5, :, 2] = code
    found = black_clipping(photo_of(pixels), places(20, 20))
    assert found.share == pytest.approx(0.25 if lost else 0.0)
    assert not lost or found.name == "blue"


def test_a_black_pore_has_lost_no_colour() -> None:
    """Where all channels are black nothing is cut off that would count."""
    pixels = np.full((20, 20, 3), 120, np.uint8)
    pixels[:5] = 0
    assert black_clipping(photo_of(pixels), places(20, 20)).share == 0.0


def test_the_same_light_is_lost_in_16_bit() -> None:
    """What is lost goes by light and not by code: 16 bit files are judged alike."""
    from finishlab.colorimetry.spaces import srgb_to_linear

    decode = np.asarray(srgb_to_linear(np.arange(65536) / 65535), dtype=np.float32)
    pixels = np.full((10, 10, 3), 30000, np.uint16)
    pixels[:4, :, 0], pixels[4:, :, 0] = 2 * 257, 3 * 257
    image = LinearImage(pixels, decode, np.eye(3), PhotoInfo("0" * 16, "", "", "sRGB", (10, 10)))
    found = black_clipping(image, places(10, 10))
    assert found.name == "red"
    assert found.share == pytest.approx(0.4)


def test_no_place_has_lost_nothing() -> None:
    """Without a place to look at nothing is lost."""
    assert black_clipping(photo_of(np.zeros((4, 4, 3), np.uint8)), np.empty((0, 2))).share == 0.0


@pytest.mark.parametrize(("share", "beside", "refused"), [(0.41, 0.0, True), (0.39, 0.0, False), (0.6, 0.3, False)])
def test_a_board_without_blue_is_refused(share: float, beside: float, refused: bool) -> None:
    """Where over 40 % of a board, beyond what the floor has lost too, holds no blue it is refused with what to do."""
    seen = taken(warm(0.95))
    view, estimate = seen.views["board"], seen.measurement.fields["board"].estimate

    def judged() -> list[Doubt]:
        lost = BlackClipping(share, "blue")
        return judge_field("board", view.image, view.surface, estimate, seen.correction, lost, beside)

    if not refused:
        assert "colour-lost" in {each.code for each in judged()}
        return
    with pytest.raises(QualityError, match="holds no blue at all") as caught:
        judged()
    assert (caught.value.code, caught.value.exit_code) == ("colour-lost", ExitCode.QUALITY)
    assert "whiter light" in caught.value.hint


def test_a_little_lost_is_doubted() -> None:
    """Where a few per cent are lost the figure stands, with a doubt that names share and channel."""
    found = taken(warm(0.95)).measurement.fields["board"]
    told = [d for d in found.doubts if d.code == "colour-lost"]
    assert len(told) == 1
    assert told[0].figures["channel"] == "blue"
    assert 0.2 < float(told[0].figures["percent"]) <= 10.0
    assert "no blue" in told[0].message


def test_what_both_sides_have_lost_is_doubted_only() -> None:
    """Board and floor that have lost a channel alike are compared, with the doubt at both."""
    seen = measure(photo_of(rendered(warm(0.94)).pixels), ("board", "floor"))
    shares = {name: view.lost.share for name, view in seen.views.items() if view.lost is not None}
    assert min(shares.values()) > 0.1
    assert seen.measurement.pair is not None
    truth = rendered(warm(0.94)).truth.ideal_delta_e00
    assert truth is not None
    assert abs(seen.measurement.pair.value - truth) < 0.5, "what both have lost cancels"
    assert all("colour-lost" in {d.code for d in field.doubts} for field in seen.measurement.fields.values())


@pytest.mark.parametrize("camera", [c for c in CAMERAS if c != STACKED])
def test_usual_cameras_lose_nothing_under_a_warm_lamp(camera: str) -> None:
    """With a colour filter array even white 20 % off under a warm lamp leaves every channel, and no doubt of it."""
    found = taken(warm(0.8, camera))
    assert found.views["board"].lost is not None
    assert found.views["board"].lost.share < 0.002
    assert "colour-lost" not in {d.code for d in found.measurement.fields["board"].doubts}


def test_by_hand_it_is_doubted_and_never_refused() -> None:
    """A patch named by hand, e.g. a cyan that sRGB cannot hold, is measured with a doubt."""
    pixels = np.full((200, 300, 3), 118, np.uint8)
    pixels[:, 150:] = (0, 130, 160)
    found = measure_by_hand(
        photo_of(pixels), [GreyArea(PixelRect(10, 10, 100, 100), 50.0)], PixelRect(170, 20, 100, 100)
    )
    told = [d for d in found.measurement.fields["board"].doubts if d.code == "colour-lost"]
    assert [d.figures["channel"] for d in told] == ["red"]
    assert DECODE[2] < 0.00061 < DECODE[3]


def test_jpeg_noise_does_not_make_a_dark_board_lost() -> None:
    """A dark stain in a poor JPEG of an underexposed photo keeps its channels."""
    dark = finish("crosscut", lighten=0.1, stains={"brown": 0.6, "red-brown": 0.3})
    scene = scene_with(camera="Canon PowerShot S90", exposure=0.3, full_well=3000.0, jpeg_quality=60)
    scene = with_board(scene, material=dark)
    image = photo_of(decode_jpeg(render_scene(scene).jpeg or b""))
    lost = measure(image, ("board",)).views["board"].lost
    assert lost is not None
    assert lost.share < 0.002
