"""Linear light, XYZ and CIELAB against published values and two public libraries."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.colorimetry import spaces

unit = st.floats(0, 1, allow_nan=False)
colours = st.tuples(unit, unit, unit)

# CIELAB D50 of the 24-patch ColorChecker, edition 2005, as its maker published them (values from memory).
COLORCHECKER_2005_LAB_D50 = [
    (37.986, 13.555, 14.059), (65.711, 18.130, 17.810), (49.927, -4.880, -21.925), (43.139, -13.095, 21.905),
    (55.112, 8.844, -25.399), (70.719, -33.397, -0.199), (62.661, 36.067, 57.096), (40.020, 10.410, -45.964),
    (51.124, 48.239, 16.248), (30.325, 22.976, -21.587), (72.532, -23.709, 57.255), (71.941, 19.363, 67.857),
    (28.778, 14.179, -50.297), (55.261, -38.342, 31.370), (42.101, 53.378, 28.190), (81.733, 4.039, 79.819),
    (51.935, 49.986, -14.574), (51.038, -28.631, -28.638), (96.539, -0.425, 1.186), (81.257, -0.638, -0.335),
    (66.766, -0.734, -0.504), (50.867, -0.153, -0.270), (35.656, -0.421, -1.231), (20.461, -0.079, -0.973),
]  # fmt: skip


def code(*values: int) -> np.ndarray:
    """Linear light of 8 bit sRGB codes."""
    return spaces.srgb_to_linear(np.array(values) / 255.0)


def test_transfer_curve_at_half() -> None:
    """The sRGB curve takes 0.5 to 0.2140411 (IEC 61966-2-1)."""
    assert float(spaces.srgb_to_linear(0.5)) == pytest.approx(0.2140411, abs=5e-8)


@pytest.mark.parametrize(("value", "lightness"), [(128, 53.585), (119, 50.034), (118, 49.637)])
def test_lightness_of_grey_codes(value: int, lightness: float) -> None:
    """Grey codes have the L* that the two formulas in a row give, to three decimals."""
    assert float(spaces.lightness_of_reflectance(code(value)[0])) == pytest.approx(lightness, abs=5e-4)
    assert spaces.rgb_to_lab(code(value, value, value))[0] == pytest.approx(lightness, abs=5e-4)


@pytest.mark.parametrize(("reflectance", "lightness"), [(0.18, 49.496), (0.90, 95.997), (1.0, 100.0), (0.0, 0.0)])
def test_lightness_of_reflectances(reflectance: float, lightness: float) -> None:
    """18 % is L* 49.50 (not the code 46 that some tables give), 90 % is 96.0, and the way back is exact."""
    assert float(spaces.lightness_of_reflectance(reflectance)) == pytest.approx(lightness, abs=5e-4)
    assert float(spaces.reflectance_of_lightness(spaces.lightness_of_reflectance(reflectance))) == pytest.approx(
        reflectance, abs=1e-12
    )


def test_cielab_worked_value() -> None:
    """XYZ (0.20654008, 0.12197225, 0.05136952) is Lab (41.52787529, 52.63858304, 26.92317922) under D65."""
    found = spaces.xyz_to_lab((0.20654008, 0.12197225, 0.05136952))
    np.testing.assert_allclose(found, (41.52787529, 52.63858304, 26.92317922), rtol=0, atol=5e-8)


def test_wood_code() -> None:
    """sRGB (186, 140, 99) is Lab (61.74, 12.32, 28.64)."""
    np.testing.assert_allclose(spaces.rgb_to_lab(code(186, 140, 99)), (61.74, 12.32, 28.64), rtol=0, atol=5e-3)


def test_white_is_neutral() -> None:
    """The perfect diffuser is (100, 0, 0), and every grey has no chroma, to rounding."""
    np.testing.assert_allclose(spaces.rgb_to_lab((1.0, 1.0, 1.0)), (100.0, 0.0, 0.0), rtol=0, atol=1e-9)
    greys = np.linspace(0, 1, 101)[:, None] * np.ones(3)
    assert np.abs(spaces.rgb_to_lab(greys)[:, 1:]).max() < 1e-9


def test_matrix_is_the_standards_at_its_own_precision() -> None:
    """Rounded to four decimals the matrix is that printed in IEC 61966-2-1."""
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(spaces.RGB_TO_XYZ, printed, rtol=0, atol=1e-4)


def test_constants_cannot_be_changed() -> None:
    """The illuminant and the matrices are read-only: no caller can change everybody's colours."""
    for constant in (spaces.D65_XYZ, spaces.RGB_TO_XYZ, spaces.XYZ_TO_RGB):
        with pytest.raises(ValueError, match="read-only"):
            constant[0] = 1.0


def test_agrees_with_colour_science(colour: ModuleType) -> None:
    """Transfer curve, XYZ, CIELAB and lightness agree with colour-science on random colours."""
    rgb = np.random.default_rng(1).uniform(0, 1, (2000, 3))
    xyz = spaces.rgb_to_xyz(rgb)
    lab = spaces.xyz_to_lab(xyz)
    np.testing.assert_allclose(spaces.srgb_to_linear(rgb), colour.models.eotf_sRGB(rgb), rtol=0, atol=1e-12)
    np.testing.assert_allclose(spaces.linear_to_srgb(rgb), colour.models.eotf_inverse_sRGB(rgb), rtol=0, atol=1e-12)
    # colour-science keeps the printed four-digit matrix: half a unit of its last digit, three times
    np.testing.assert_allclose(xyz, colour.RGB_to_XYZ(rgb, "sRGB"), rtol=0, atol=1.5e-4)
    np.testing.assert_allclose(lab, colour.XYZ_to_Lab(xyz, spaces.D65_XY), rtol=0, atol=1e-10)
    np.testing.assert_allclose(spaces.lab_to_xyz(lab), colour.Lab_to_XYZ(lab, spaces.D65_XY), rtol=0, atol=1e-12)
    lightness = colour.colorimetry.lightness_CIE1976(xyz[:, 1] * 100)
    np.testing.assert_allclose(spaces.lightness_of_reflectance(xyz[:, 1]), lightness, rtol=0, atol=1e-10)


def test_agrees_with_scikit_image() -> None:
    """From encoded sRGB to CIELAB and back scikit-image agrees to its own rounded white and matrix."""
    from skimage.color import lab2rgb, rgb2lab

    encoded = np.random.default_rng(2).uniform(0, 1, (2000, 3))
    lab = spaces.rgb_to_lab(spaces.srgb_to_linear(encoded))
    np.testing.assert_allclose(lab, rgb2lab(encoded), rtol=0, atol=0.02)
    np.testing.assert_allclose(spaces.linear_to_srgb(spaces.lab_to_rgb(lab)), lab2rgb(lab), rtol=0, atol=2e-3)


def test_chart_edition_2005(colour: ModuleType) -> None:
    """ColorChecker, edition 2005: its published xyY gives its published CIELAB within the rounding of both.

    The chart's values are for D50; CIELAB knows a colour only by its ratio to white, so the ratios are kept.
    """
    edition = colour.CCS_COLOURCHECKERS["ColorChecker 2005"]
    xyz = colour.xyY_to_XYZ(np.array(list(edition.data.values())))
    ratios = xyz / colour.xy_to_XYZ(edition.illuminant)
    found = spaces.xyz_to_lab(ratios * spaces.D65_XYZ)
    np.testing.assert_allclose(found, COLORCHECKER_2005_LAB_D50, rtol=0, atol=0.1)


def test_chart_editions_differ_as_published(colour: ModuleType) -> None:
    """Two editions of the same chart differ by 0.5-1.2 CIEDE2000 on average: a check must name the edition it uses."""
    from finishlab.colorimetry.delta_e import delta_e_00

    lab = {}
    for name in ("ColorChecker 2005", "ColorChecker24 - After November 2014"):
        edition = colour.CCS_COLOURCHECKERS[name]
        ratios = colour.xyY_to_XYZ(np.array(list(edition.data.values()))) / colour.xy_to_XYZ(edition.illuminant)
        lab[name] = spaces.xyz_to_lab(ratios * spaces.D65_XYZ)
    one, two = lab.values()
    assert 0.5 < float(np.mean(delta_e_00(one, two))) < 1.2


@given(colours)
def test_round_trips(rgb: tuple[float, ...]) -> None:
    """There and back again returns every colour: transfer curve, XYZ and CIELAB."""
    np.testing.assert_allclose(spaces.linear_to_srgb(spaces.srgb_to_linear(rgb)), rgb, rtol=0, atol=1e-6)
    np.testing.assert_allclose(spaces.xyz_to_rgb(spaces.rgb_to_xyz(rgb)), rgb, rtol=0, atol=1e-12)
    lab = spaces.rgb_to_lab(rgb)
    np.testing.assert_allclose(spaces.lab_to_rgb(lab), rgb, rtol=0, atol=1e-10)


def test_noise_below_black_is_carried_through() -> None:
    """Values below 0 follow the straight pieces of the formulas, so they come back, and no warning or NaN arises."""
    rgb = np.array([-0.01, 0.0, -0.02])
    np.testing.assert_allclose(spaces.lab_to_rgb(spaces.rgb_to_lab(rgb)), rgb, rtol=0, atol=1e-12)
    np.testing.assert_allclose(spaces.srgb_to_linear(spaces.linear_to_srgb(rgb)), rgb, rtol=0, atol=1e-12)


def test_single_precision_stays_single() -> None:
    """A float32 image gives a float32 image, within 0.01 of the double result."""
    rgb = np.random.default_rng(3).uniform(0, 1, (20, 30, 3)).astype(np.float32)
    single = spaces.rgb_to_lab(rgb)
    assert single.dtype == np.float32
    assert spaces.srgb_to_linear(rgb).dtype == np.float32
    assert spaces.lab_jacobian(rgb).dtype == np.float32
    np.testing.assert_allclose(single, spaces.rgb_to_lab(rgb.astype(float)), rtol=0, atol=0.01)


def test_swatches() -> None:
    """Eight-bit codes come back from their own CIELAB; what no screen shows is clipped, not wrapped."""
    codes = np.random.default_rng(4).integers(0, 256, (200, 3))
    lab = spaces.rgb_to_lab(spaces.srgb_to_linear(codes / 255.0))
    swatches = spaces.lab_to_srgb8(lab)
    assert swatches.dtype == np.uint8
    np.testing.assert_array_equal(swatches, codes)
    assert spaces.lab_to_srgb8((50.0, 127.0, 127.0)).max() == 255
    assert spaces.lab_to_srgb8((120.0, 0.0, 0.0)).tolist() == [255, 255, 255]


@given(colours.filter(lambda rgb: min(rgb) > 0.02))
def test_jacobian_is_the_slope(rgb: tuple[float, ...]) -> None:
    """The Jacobian agrees with numeric slopes."""
    step = 1e-6
    numeric = np.stack(
        [(spaces.rgb_to_lab(rgb + e) - spaces.rgb_to_lab(rgb - e)) / (2 * step) for e in np.eye(3) * step], axis=-1
    )
    np.testing.assert_allclose(spaces.lab_jacobian(rgb), numeric, rtol=1e-4, atol=1e-4)


def test_jacobian_in_the_dark() -> None:
    """Near black the straight piece of CIELAB has its constant slope, 903.3 L* per unit of Y."""
    jacobian = spaces.lab_jacobian(np.zeros((2, 3)))
    assert jacobian.shape == (2, 3, 3)
    np.testing.assert_allclose(jacobian[0, 0], 903.2963 * spaces.RGB_TO_XYZ[1], rtol=1e-6)


def test_a_pictures_codes_are_those_of_the_curve() -> None:
    """Linear light of every 8 bit code comes back as that code, and between them to the curve's nearest; clipped."""
    codes = np.arange(256)
    np.testing.assert_array_equal(spaces.srgb8_of_linear(spaces.srgb_to_linear(codes / 255.0)), codes)
    light = np.arange(65536)[::7] / 65535.0
    np.testing.assert_array_equal(spaces.srgb8_of_linear(light), np.rint(spaces.linear_to_srgb(light) * 255.0))
    np.testing.assert_array_equal(spaces.srgb8_of_linear(np.array([-0.5, 1.5])), [0, 255])


def test_a_planck_radiator_at_its_temperature_is_illuminant_a() -> None:
    """CIE standard illuminant A is a Planck radiator of about 2855.5 K at c2 = 1.4388e-2 m K (CIE 015:2018)."""
    np.testing.assert_allclose(spaces.illuminant("2855.5K"), spaces.illuminant("A"), rtol=2e-3)
