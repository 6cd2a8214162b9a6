"""Camera raw files: linear light from a mosaic made here (no camera took it), and what is said of bad ones."""

from __future__ import annotations

import json
import struct
import sys
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from click.testing import CliRunner
from conftest import SCENES, Run
from raw_samples import write_dng
from render.camera import Tone
from render.photo import RenderedPhoto, render_scene
from test_print_and_tone import slope_spread

from finishlab import measure_photo
from finishlab.cli import finishlab
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import srgb_to_linear
from finishlab.errors import PhotoError
from finishlab.imaging.correction import FitPriors
from finishlab.photos import photo_facts, read_photo, write_jpeg

BLOCKS: Final = np.repeat(
    np.repeat(np.array([[(0.6, 0.2, 0.1), (0.1, 0.4, 0.1)], [(0.18, 0.18, 0.18), (0.8, 0.8, 0.8)]]), 32, axis=0),
    48,
    axis=1,
)
"""Four plain quarters of linear light, shape (64, 96, 3)."""


@pytest.fixture
def dng(tmp_path: Path) -> Path:
    """A raw file of the four quarters; without the extra the test is skipped."""
    pytest.importorskip("rawpy", reason="needs the extra: pip install 'finishlab[raw]'")
    path = tmp_path / "blocks.dng"
    write_dng(path, BLOCKS)
    return path


def light_of(path: Path, long_side: int | None = None) -> np.ndarray:
    """Return linear sRGB in the middle of the four quarters, shape (2, 2, 3)."""
    photo = read_photo(path, long_side=long_side)
    width, height = photo.size
    linear = photo.decode[photo.encoded] @ photo.to_srgb.T
    return np.array([[linear[y, x] for x in (width // 4, 3 * width // 4)] for y in (height // 4, 3 * height // 4)])


@pytest.mark.parametrize("long_side", [None, 48])
def test_a_raw_file_gives_the_light_that_went_into_it(dng: Path, long_side: int | None) -> None:
    """Demosaiced or at half size, linear light comes back within 1e-3, whatever the sensor's own white."""
    assert light_of(dng, long_side) == pytest.approx(BLOCKS[16::32, 24::48], abs=1e-3)
    assert read_photo(dng, long_side=long_side).scale == (1.0 if long_side is None else 0.5)


def test_brightness_does_not_follow_the_picture(dng: Path, tmp_path: Path) -> None:
    """Half the exposure gives half the light: nothing is stretched to what the picture holds."""
    half = tmp_path / "half.dng"
    write_dng(half, BLOCKS, exposure=0.5)
    assert light_of(half) == pytest.approx(0.5 * light_of(dng), abs=1e-3)


def test_a_raw_file_says_that_it_is_linear_and_which_camera_made_it(dng: Path) -> None:
    """Camera and time come from the file's own tags; the photo is marked as linear and carries no doubt."""
    info = read_photo(dng).info
    assert (info.camera, info.taken, info.linear) == ("Test Raw One", "2024-05-11T10:30:00", True)
    assert info.doubts == ()
    assert info.profile.startswith("camera raw, linear")


@pytest.mark.parametrize(("orientation", "turns"), [(1, 0), (3, 2), (6, -1), (8, 1)])
def test_a_raw_file_is_upright(dng: Path, orientation: int, turns: int) -> None:
    """The orientation tag is followed, and the size is the upright photo's before decoding too."""
    write_dng(dng, BLOCKS, orientation=orientation)
    assert light_of(dng) == pytest.approx(np.rot90(BLOCKS[16::32, 24::48], turns), abs=1e-3)
    facts = photo_facts(dng)
    assert (facts.width, facts.height) == ((64, 96) if turns % 2 else (96, 64)) == read_photo(dng).info.full_size
    assert facts.suffix == ".raw"


def test_the_priors_of_linear_light_leave_the_tone_straight() -> None:
    """The slope of the tone curve is one, held to a quarter of a phone's or less, and the rest of the priors stays."""
    base, at = FitPriors(light_bend=0.01), [-4.0, -2.0, -1.0, -0.3]
    linear = FitPriors.for_linear(base)
    np.testing.assert_allclose(np.diff(linear.tone.usual(np.array(at))), np.diff(at))
    assert (slope_spread(linear.tone, at) < slope_spread(base.tone, at) / 4).all()
    assert replace(linear, tone=base.tone, channel=base.channel) == base


def _rendered() -> RenderedPhoto:
    """Render a pair with an honest camera: no tone curve beyond sRGB's, no boost of saturation."""
    return render_scene(replace(SCENES["pair"], jpeg_quality=None, tone=Tone(contrast=0.0), saturation=1.0))


def test_beside_the_strip_raw_agrees_with_the_truth_and_is_surer(dng: Path, tmp_path: Path) -> None:
    """Of one rendered scene the raw file's board is within 1 dE00 of the truth or nearer than the JPEG's, and surer."""
    photo = _rendered()
    linear = np.asarray(srgb_to_linear(photo.pixels / 255.0))
    write_dng(dng, linear)
    jpeg = tmp_path / "same.jpg"
    jpeg.write_bytes(write_jpeg(photo.pixels, quality=95))
    raw_found, jpeg_found = both = [measure_photo(p, fields=("board", "floor")) for p in (dng, jpeg)]
    assert photo.truth.board_lab is not None
    error = {
        name: float(delta_e_00(found.fields["board"].estimate.lab, photo.truth.board_lab))
        for name, found in (("raw", raw_found), ("jpeg", jpeg_found))
    }
    assert error["raw"] < max(1.0, error["jpeg"])
    # that a camera does not see as eyes do is no matter of the file
    kept = [[e for e in found.fields["board"].estimate.shared if not e.name.startswith("camera-")] for found in both]
    sizes = [
        np.trace(replace(found.fields["board"].estimate, shared=tuple(effects)).total_covariance())
        for found, effects in zip(both, kept, strict=True)
    ]
    assert sizes[0] < sizes[1]
    assert raw_found.pair is not None
    assert photo.truth.delta_e00 is not None
    assert raw_found.pair.low <= photo.truth.delta_e00 <= raw_found.pair.high


# -- what cannot be read


def test_without_the_extra_one_sentence_names_the_install_line(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without rawpy a raw file is refused with exit code 3 and the line that installs it."""
    monkeypatch.setitem(sys.modules, "rawpy", None)
    path = tmp_path / "board.dng"
    write_dng(path, BLOCKS)
    result = run("measure", path)
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "is a camera raw file, which needs an extra library." in result.stderr
    assert "pip install 'finishlab[raw]'" in result.stderr


@pytest.mark.parametrize("keep", [0.1, 0.6, 0.999])
def test_a_cut_raw_file_is_told(dng: Path, keep: float, capfd: pytest.CaptureFixture[str]) -> None:
    """A raw file cut off anywhere is refused as damaged or cut, and no library writes a remark of its own."""
    data = dng.read_bytes()
    dng.write_bytes(data[: int(keep * len(data))])
    with pytest.raises(PhotoError) as caught:
        read_photo(dng)
    assert caught.value.code in ("photo-truncated", "photo-damaged")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("head", [b"FUJIFILMCCD-RAW ", b"IIU\0\x18\0\0\0", b"\0\0\0\x18ftypcrx \0\0\0\1"])
def test_a_raw_head_without_a_picture_is_told(dng: Path, head: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    """Files that begin as raw files of other kinds and hold nothing are refused in words."""
    dng.write_bytes(head + bytes(2000))
    with pytest.raises(PhotoError) as caught:
        read_photo(dng)
    assert caught.value.code in ("photo-format", "photo-damaged")
    assert capfd.readouterr() == ("", "")


def test_a_raw_file_too_large_is_refused_before_it_is_unpacked(dng: Path) -> None:
    """A raw file whose tags claim more than 100 megapixels is refused by size."""
    data = bytearray(dng.read_bytes())
    for i in range(struct.unpack_from("<H", data, 8)[0]):
        at = 10 + 12 * i
        if struct.unpack_from("<H", data, at)[0] in (256, 257):
            struct.pack_into("<I", data, at + 8, 12000)
    dng.write_bytes(data)
    with pytest.raises(PhotoError) as caught:
        read_photo(dng)
    assert caught.value.code in ("photo-too-large", "photo-damaged")


def test_the_command_measures_a_raw_file_by_hand(dng: Path) -> None:
    """The command line takes a raw file as any photo; with no tone curve to guess, 18 % comes right from 80 %.

    Within 1 L*: this file has none of the veiling glare that a photo is believed to have.
    """
    typed = ["measure", str(dng), "--grey", "52,36,36,24:91.65", "--area", "4,36,36,24", "--json"]
    result = CliRunner().invoke(finishlab, typed)
    assert result.exit_code == 0, result.output
    lab = json.loads(result.stdout)["photos"][0]["fields"]["board"]["lab"]
    assert lab == pytest.approx([49.5, 0.0, 0.0], abs=1.0)


@pytest.mark.parametrize("orientation", [4, 7, 13, 65535])
def test_odd_orientations_give_one_size(tmp_path: Path, orientation: int) -> None:
    """Whatever a raw file says of its turning, header and pixels agree on the upright size."""
    write_dng(tmp_path / "a.dng", np.full((40, 60, 3), 0.4), orientation=orientation)
    photo = read_photo(tmp_path / "a.dng")
    assert photo.size == photo.info.full_size
