"""Colour profiles against the published spaces, against LittleCMS and against colour-science."""

from __future__ import annotations

import io

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from photo_samples import parametric_curve, sampled_curve, with_curves, with_element
from PIL import Image, ImageCms

from finishlab.colorimetry.spaces import linear_to_srgb
from finishlab.photos.profiles import (
    Primaries,
    SpaceName,
    UnsuitedProfileError,
    encoding_from_cicp,
    encoding_from_gamma,
    encoding_from_icc,
    matrix_profile,
    named_encoding,
)

SPACES: tuple[SpaceName, ...] = ("sRGB", "Display P3", "Adobe RGB", "ProPhoto RGB")
IN_COLOUR = {name: name for name in SPACES} | {"Adobe RGB": "Adobe RGB (1998)"}


def littlecms_to_srgb(codes: np.ndarray, profile: bytes) -> np.ndarray:
    """Convert (N, 3) codes to sRGB codes with LittleCMS."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    image = ImageCms.profileToProfile(
        Image.fromarray(codes[None]),
        source,
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
    )
    assert image is not None
    return np.asarray(np.asarray(image)[0])


def ours_to_srgb(codes: np.ndarray, profile: bytes) -> np.ndarray:
    """Convert (N, 3) codes to sRGB values 0..255, not rounded."""
    encoding = encoding_from_icc(profile)
    return np.asarray(linear_to_srgb(np.clip(encoding.table(256)[codes] @ encoding.to_srgb.T, 0.0, 1.0)) * 255)


CURVES = {
    "sRGB, sampled": sampled_curve(((np.linspace(0, 1, 1024) + 0.055) / 1.055) ** 2.4),
    "gamma 2.2 as one number": b"curv\0\0\0\0\0\0\0\x01\x02\x33",
    "linear": b"curv\0\0\0\0\0\0\0\0",
    "parametric 0": parametric_curve(0, 1.8),
    "parametric 1": parametric_curve(1, 2.2, 0.95, 0.05),
    "parametric 2": parametric_curve(2, 2.2, 0.93, 0.05, 0.02),
    "parametric 3": parametric_curve(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
    "parametric 4": parametric_curve(4, 2.2, 0.95, 0.03, 0.2, 0.1, 0.01, 0.0),
}


@pytest.mark.parametrize("space", SPACES)
def test_matrices_agree_with_colour_science(space: SpaceName) -> None:
    """Linear RGB of each published space goes to sRGB as in colour-science with the Bradford transform, to 1e-3."""
    expected = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES[IN_COLOUR[space]], colour.RGB_COLOURSPACES["sRGB"], "Bradford"
    )
    assert named_encoding(space).to_srgb == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("space", SPACES)
def test_curves_agree_with_colour_science(space: SpaceName) -> None:
    """The decoding table of each published space is colour-science's decoding function at 8 and 16 bits, to 2e-5."""
    decode = colour.RGB_COLOURSPACES[IN_COLOUR[space]].cctf_decoding
    for codes in (256, 65536):
        expected = decode(np.arange(codes) / (codes - 1))
        assert named_encoding(space).table(codes) == pytest.approx(expected, abs=2e-5)


def test_srgb_colorants_are_the_published_ones() -> None:
    """The colorants of sRGB are those of the published D50-adapted matrix (quoted from memory), to 2e-4."""
    icc = ImageCms.ImageCmsProfile(io.BytesIO(matrix_profile("sRGB"))).profile
    colorants = (icc.red_colorant, icc.green_colorant, icc.blue_colorant)
    found = np.array([colorant[0] for colorant in colorants if colorant is not None])
    published = [[0.4361, 0.2225, 0.0139], [0.3851, 0.7169, 0.0971], [0.1431, 0.0606, 0.7141]]
    assert found == pytest.approx(np.array(published), abs=2e-4)


@pytest.mark.parametrize("space", SPACES)
def test_written_profiles_are_read_by_littlecms(space: SpaceName) -> None:
    """LittleCMS accepts our profiles as RGB display profiles of matrix type and reads their name."""
    icc = ImageCms.ImageCmsProfile(io.BytesIO(matrix_profile(space))).profile
    assert icc.is_matrix_shaper
    assert icc.xcolor_space.strip() == "RGB"
    assert icc.profile_description == space
    assert encoding_from_icc(matrix_profile(space)).name == space


@pytest.mark.parametrize("space", SPACES)
def test_random_colours_agree_with_littlecms(space: SpaceName) -> None:
    """Random colours become the same sRGB code as LittleCMS gives, within one code of 255."""
    codes = np.random.default_rng(7).integers(0, 256, (4000, 3)).astype(np.uint8)
    profile = matrix_profile(space)
    difference = np.abs(ours_to_srgb(codes, profile) - littlecms_to_srgb(codes, profile))
    # LittleCMS gives whole codes, so half a code of this is its rounding.
    assert difference.max() <= 1.0


@pytest.mark.parametrize("name", CURVES)
def test_every_kind_of_curve_agrees_with_littlecms(name: str) -> None:
    """Sampled, one-number, empty and all five parametric curves are read as LittleCMS reads them."""
    codes = np.random.default_rng(8).integers(0, 256, (2000, 3)).astype(np.uint8)
    profile = with_curves(CURVES[name])
    difference = np.abs(ours_to_srgb(codes, profile) - littlecms_to_srgb(codes, profile))
    assert difference.max() <= 1.0


def test_littlecms_own_srgb_is_the_identity() -> None:
    """The sRGB profile that LittleCMS makes leaves colours where they are, to 2e-4."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    encoding = encoding_from_icc(profile)
    assert encoding.to_srgb == pytest.approx(np.eye(3), abs=2e-4)
    assert encoding.name == "sRGB built-in"


@given(space=st.sampled_from(SPACES), code=st.integers(0, 255))
def test_grey_stays_grey(space: SpaceName, code: int) -> None:
    """Equal codes are equal in linear sRGB whatever the profile: the white of every profile is white."""
    encoding = encoding_from_icc(matrix_profile(space))
    rgb = encoding.to_srgb @ np.repeat(encoding.table(256)[code], 3)
    assert np.ptp(rgb) < 1e-6


@given(space=st.sampled_from(SPACES))
def test_tables_rise_from_black_to_white(space: SpaceName) -> None:
    """A decoding table starts at 0, ends at 1 and never falls."""
    for codes in (256, 65536):
        table = named_encoding(space).table(codes)
        assert table[0] == 0.0
        assert table[-1] == pytest.approx(1.0, abs=1e-6)
        assert (np.diff(table) >= 0).all()


def test_white_below_the_last_code() -> None:
    """A file that keeps ten bits at the top of sixteen reaches 1.0 at its own white, 1023 * 64."""
    table = named_encoding("sRGB").table(65536, 1023 << 6)
    assert table[1023 << 6] == pytest.approx(1.0)
    assert table[512 << 6] == pytest.approx(((512 / 1023 + 0.055) / 1.055) ** 2.4, abs=1e-6)


def test_channels_on_different_curves_are_left_to_littlecms() -> None:
    """A profile whose red follows another curve has no one table, and is refused here."""
    profile = with_curves(CURVES["parametric 0"], channels=(b"rTRC",))
    with pytest.raises(UnsuitedProfileError, match="different curves"):
        encoding_from_icc(profile)


def test_profiles_on_tables_are_left_to_littlecms() -> None:
    """A profile with a look-up table from device to connection space is refused here even if it has a matrix too."""
    profile = with_element(matrix_profile("sRGB"), b"cprt", b"mAB \0\0\0\0", rename=b"A2B0")
    with pytest.raises(UnsuitedProfileError, match="not a matrix profile"):
        encoding_from_icc(profile)


@given(st.data())
def test_damaged_profiles_raise_only_their_own_error(data: st.DataObject) -> None:
    """A profile cut off or with random bytes in it is read or refused, never a crash."""
    profile = bytearray(matrix_profile("Adobe RGB"))
    for _ in range(data.draw(st.integers(1, 8))):
        profile[data.draw(st.integers(0, len(profile) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(profile[: data.draw(st.integers(0, len(profile)))])
    try:
        encoding = encoding_from_icc(cut)
    except UnsuitedProfileError:
        return
    assert np.isfinite(encoding.to_srgb).all()
    assert np.isfinite(encoding.table(256)).all()


def test_grey_profiles_serve_grey_photos_only() -> None:
    """The curve of a grey profile is used for a greyscale photo and refused for a colour one."""
    grey = with_element(matrix_profile("sRGB"), b"rTRC", parametric_curve(0, 1.8), rename=b"kTRC")
    grey = grey[:16] + b"GRAY" + grey[20:]
    table = encoding_from_icc(grey, grey=True).table(256)
    assert table[128] == pytest.approx((128 / 255) ** 1.8, abs=1e-5)
    with pytest.raises(UnsuitedProfileError):
        encoding_from_icc(grey)


def test_code_points() -> None:
    """Code points 12 and 13 (Recommendation H.273) are Display P3; the curves of HDR video are refused."""
    encoding = encoding_from_cicp(12, 13)
    assert encoding.name == "Display P3"
    assert (encoding.to_srgb == named_encoding("Display P3").to_srgb).all()
    for transfer in (16, 18):
        with pytest.raises(UnsuitedProfileError, match="code points"):
            encoding_from_cicp(9, transfer)
    spaces = colour.RGB_COLOURSPACES
    expected = colour.matrix_RGB_to_RGB(spaces["ITU-R BT.2020"], spaces["sRGB"], "Bradford")
    assert encoding_from_cicp(9, 1).to_srgb == pytest.approx(expected, abs=1e-3)


def test_gamma_and_chromaticities() -> None:
    """A PNG's gamma 1/2.2 alone means sRGB; another gamma, or primaries of its own, are taken at their word."""
    assert encoding_from_gamma(0.45455, None).name == "sRGB (by gamma)"
    assert encoding_from_gamma(1.0, None).table(256)[128] == pytest.approx(128 / 255, abs=1e-6)
    primaries = Primaries((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), (0.3127, 0.3290))
    wide = encoding_from_gamma(0.45455, primaries)
    assert wide.to_srgb == pytest.approx(named_encoding("Display P3").to_srgb, abs=1e-9)


def test_primaries_that_miss_white_are_refused() -> None:
    """Colorants that do not add up to the connection space's white cannot keep grey grey, and are refused."""
    profile = with_element(matrix_profile("sRGB"), b"rXYZ", b"XYZ \0\0\0\0" + bytes(12))
    with pytest.raises(UnsuitedProfileError, match="white"):
        encoding_from_icc(profile)
