"""Linear light, XYZ and CIELAB: the one illuminant constant and the few formulas all else stands on; and spectra.

Arrays have the colour in their last axis, shape ``(..., 3)``. Single precision stays single precision, so that whole
photos can be converted without doubling their memory; everything else is computed in double. Values outside 0..1 are
carried through by the formulas' own linear pieces: noise around black stays unbiased.

Sources: CIE 015:2018 and ISO/CIE 11664-4:2019 (CIELAB), IEC 61966-2-1:1999 (sRGB primaries, white and transfer curve).

**Spectra** of lights, the observer and chart patches come from colour-science, on one wavelength grid: 400 to 700 nm in
steps of 5 nm, integrated by plain sums, so that a perfect diffuser is (100, 0, 0) in CIELAB exactly. None of this is
needed to measure a photo, and the library is loaded only then.

How far a pair that looks alike in one light comes apart in another follows the idea of ISO 18314-4 (metamerism index
for a change of illuminant): what already differs in the reference light is taken out by a multiplicative correction of
the tristimulus values; the colour difference that is left in the test light is the index. For pairs that match exactly
it is their difference in the test light.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from functools import cache
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.floating[Any]]

D65_XY: Final[tuple[float, float]] = (0.3127, 0.3290)
"""Chromaticity of the white of IEC 61966-2-1: CIE illuminant D65, 1931 2 degree observer, to four decimals."""


def _white(x: float, y: float) -> NDArray[np.float64]:
    """XYZ with Y = 1 of the chromaticity (x, y)."""
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


D65_XYZ: Final[NDArray[np.float64]] = _white(*D65_XY)
"""The one illuminant: XYZ of the perfect white diffuser, Y = 1, shape (3,)."""

_PRIMARIES_XY: Final = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))


def _rgb_to_xyz_matrix() -> NDArray[np.float64]:
    """Linear sRGB to XYZ from the primaries of IEC 61966-2-1.

    Not the standard's rounded four-digit matrix: with it white is off neutral by up to 0.01 in a* and b*.
    """
    primaries = np.stack([_white(x, y) for x, y in _PRIMARIES_XY], axis=1)
    weights = np.linalg.solve(primaries, D65_XYZ)
    return np.asarray(primaries * weights, dtype=np.float64)


RGB_TO_XYZ: Final[NDArray[np.float64]] = _rgb_to_xyz_matrix()
"""Matrix from linear sRGB to XYZ, shape (3, 3); maps (1, 1, 1) to `D65_XYZ` exactly."""
XYZ_TO_RGB: Final[NDArray[np.float64]] = np.asarray(np.linalg.inv(RGB_TO_XYZ), dtype=np.float64)
"""Matrix from XYZ to linear sRGB, shape (3, 3)."""

# ISO/CIE 11664-4 as exact fractions: the cube root becomes a straight line below (6/29)^3.
_EDGE: Final = 6.0 / 29.0
_SLOPE: Final = 1.0 / (3.0 * _EDGE**2)
_OFFSET: Final = 4.0 / 29.0

for _constant in (D65_XYZ, RGB_TO_XYZ, XYZ_TO_RGB):
    _constant.flags.writeable = False


def _floats(values: ArrayLike) -> FloatArray:
    """Return `values` as floats, keeping single precision where it is given."""
    array = np.asarray(values)
    return array if array.dtype == np.float32 else array.astype(np.float64, copy=False)


def _apply(matrix: NDArray[np.float64], values: FloatArray) -> FloatArray:
    """Multiply each colour in the last axis by `matrix` in the values' own precision."""
    result: FloatArray = values @ matrix.T.astype(values.dtype, copy=False)
    return result


def srgb_to_linear(encoded: ArrayLike) -> FloatArray:
    """Undo the sRGB transfer curve (IEC 61966-2-1): encoded 0..1 to linear light 0..1, any shape.

    Values below the curve's straight piece, negative ones too, follow that piece.
    """
    v = _floats(encoded)
    # the power is taken of a safe value: a negative base would give NaN in the branch not chosen
    curve = ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(v <= 0.04045, v / 12.92, curve)


def linear_to_srgb(linear: ArrayLike) -> FloatArray:
    """Apply the sRGB transfer curve (IEC 61966-2-1): linear light 0..1 to encoded 0..1, any shape."""
    v = _floats(linear)
    curve = 1.055 * np.maximum(v, 0.0031308) ** (1.0 / 2.4) - 0.055
    return np.where(v <= 0.0031308, v * 12.92, curve)


def srgb8_of_linear(linear: FloatArray) -> NDArray[np.uint8]:
    """Return 8 bit sRGB of the linear light of a picture, any shape; what is outside 0..1 is clipped.

    By a table: a whole photo takes a tenth of the time that its curve does.
    """
    return _srgb_codes()[(np.clip(linear, 0.0, 1.0) * 65535.0 + 0.5).astype(np.uint16)]


@cache
def _srgb_codes() -> NDArray[np.uint8]:
    """Return the sRGB code of linear light in 65535ths: within 0.03 of a code even where the curve is steepest."""
    return np.asarray(np.rint(linear_to_srgb(np.arange(65536) / 65535) * 255.0), dtype=np.uint8)


def rgb_to_xyz(rgb: ArrayLike) -> FloatArray:
    """Linear sRGB, shape (..., 3), 1.0 = perfect white diffuser, to XYZ with Y of white = 1."""
    return _apply(RGB_TO_XYZ, _floats(rgb))


def xyz_to_rgb(xyz: ArrayLike) -> FloatArray:
    """XYZ with Y of white = 1, shape (..., 3), to linear sRGB. Nothing is clipped."""
    return _apply(XYZ_TO_RGB, _floats(xyz))


def _f(ratio: FloatArray) -> FloatArray:
    """The compressive function of CIELAB, of X/Xn, Y/Yn or Z/Zn."""
    return np.where(ratio > _EDGE**3, np.cbrt(ratio), _SLOPE * ratio + _OFFSET)


def _f_inverse(f: FloatArray) -> FloatArray:
    """The inverse of `_f`."""
    return np.where(f > _EDGE, f**3, (f - _OFFSET) / _SLOPE)


def _f_slope(ratio: FloatArray) -> FloatArray:
    """The derivative of `_f`."""
    safe = np.maximum(ratio, _EDGE**3)
    return np.where(ratio > _EDGE**3, 1.0 / (3.0 * np.cbrt(safe) ** 2), _SLOPE)


def ratio_to_lab(ratio: ArrayLike) -> FloatArray:
    """X/Xn, Y/Yn, Z/Zn, shape (..., 3), to CIELAB relative to that white (ISO/CIE 11664-4:2019)."""
    f = _f(_floats(ratio))
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=-1)


def lab_to_ratio(lab: ArrayLike) -> FloatArray:
    """CIELAB, shape (..., 3), to X/Xn, Y/Yn, Z/Zn of its white (ISO/CIE 11664-4:2019)."""
    v = _floats(lab)
    fy = (v[..., 0] + 16.0) / 116.0
    return _f_inverse(np.stack([fy + v[..., 1] / 500.0, fy, fy - v[..., 2] / 200.0], axis=-1))


def xyz_to_lab(xyz: ArrayLike) -> FloatArray:
    """XYZ with Y of white = 1, shape (..., 3), to CIELAB D65 2 degrees (ISO/CIE 11664-4:2019)."""
    v = _floats(xyz)
    return ratio_to_lab(v / D65_XYZ.astype(v.dtype, copy=False))


def lab_to_xyz(lab: ArrayLike) -> FloatArray:
    """CIELAB D65 2 degrees, shape (..., 3), to XYZ with Y of white = 1 (ISO/CIE 11664-4:2019)."""
    ratio = lab_to_ratio(lab)
    return ratio * D65_XYZ.astype(ratio.dtype, copy=False)


def rgb_to_lab(rgb: ArrayLike) -> FloatArray:
    """Linear sRGB, shape (..., 3), to CIELAB D65 2 degrees."""
    return xyz_to_lab(rgb_to_xyz(rgb))


def lab_to_rgb(lab: ArrayLike) -> FloatArray:
    """CIELAB D65 2 degrees, shape (..., 3), to linear sRGB. Nothing is clipped."""
    return xyz_to_rgb(lab_to_xyz(lab))


def lab_to_srgb8(lab: ArrayLike) -> NDArray[np.uint8]:
    """CIELAB, shape (..., 3), to encoded 8 bit sRGB for a swatch; what a screen cannot show is clipped."""
    encoded = linear_to_srgb(np.clip(lab_to_rgb(lab), 0.0, 1.0))
    return np.round(encoded * 255.0).astype(np.uint8)


def hex_colour(lab: Sequence[float]) -> str:
    """Return a CIELAB D65 colour as ``"#rrggbb"`` in sRGB; what a screen cannot show is clipped."""
    red, green, blue = (int(value) for value in lab_to_srgb8(lab))
    return f"#{red:02x}{green:02x}{blue:02x}"


def lab_jacobian(rgb: ArrayLike) -> FloatArray:
    """How CIELAB moves with linear sRGB: dLab/drgb at each colour.

    Parameters
    ----------
    rgb
        Linear sRGB, shape (..., 3).

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Element ``[..., i, j]`` is the derivative of (L*, a*, b*)[i] by (R, G, B)[j]. The chain rule over
        ISO/CIE 11664-4:2019.
    """
    xyz = rgb_to_xyz(rgb)
    white = D65_XYZ.astype(xyz.dtype, copy=False)
    to_lab = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]], dtype=xyz.dtype)
    slopes = _f_slope(xyz / white) / white
    jacobian: FloatArray = (to_lab * slopes[..., None, :]) @ RGB_TO_XYZ.astype(xyz.dtype, copy=False)
    return jacobian


def lightness_of_reflectance(reflectance: ArrayLike) -> FloatArray:
    """L* of a luminous reflectance Y (0..1), any shape (ISO/CIE 11664-4:2019)."""
    return 116.0 * _f(_floats(reflectance)) - 16.0


def reflectance_of_lightness(lightness: ArrayLike) -> FloatArray:
    """Luminous reflectance Y (0..1) of L*, any shape: the inverse of `lightness_of_reflectance`."""
    return _f_inverse((_floats(lightness) + 16.0) / 116.0)


WAVELENGTHS: Final[np.ndarray] = np.arange(400.0, 701.0, 5.0)
"""The common grid in nanometres, shape (61,)."""

_EDITIONS: Final[dict[str, str]] = {
    "from November 2014": "ColorChecker24 - After November 2014",
    "before November 2014": "ColorChecker24 - Before November 2014",
    "2005": "ColorChecker 2005",
    "mean of 30": "BabelColor Average",
    "Ohta 1997": "ColorChecker N Ohta",
    "ISO 17321-1": "ISO 17321-1",
}
"""Edition of the 24-patch chart, by its years or by who measured it -> its name in colour-science (what the mean is of,
and the year of Ohta's spectra, from memory)."""

CHARTS: Final[tuple[str, ...]] = ("mean of 30", "Ohta 1997", "ISO 17321-1")
"""Chart editions with measured patch spectra. Editions differ among themselves, so name the one you use."""

CHART_EDITIONS: Final[tuple[str, ...]] = tuple(_EDITIONS)
"""Chart editions with reference values: spectra of those in `CHARTS`, else xyY."""

DEFAULT_EDITION: Final = CHART_EDITIONS[0]


@cache
def _colour() -> ModuleType:
    """Import colour-science on first use, without its remark that Matplotlib is not installed."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r'.*"Matplotlib" related API features.*')
        import colour
    module: ModuleType = colour
    return module


def _frozen(values: object) -> np.ndarray:
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array


def _on_grid(distribution: Any) -> np.ndarray:  # noqa: ANN401 - the library ships no types
    """Interpolate a colour-science distribution (one or several columns) to the grid; zero outside its range."""
    nm = np.asarray(distribution.wavelengths, dtype=float)
    values = np.asarray(distribution.values, dtype=float)
    if values.ndim == 1:
        return _frozen(np.interp(WAVELENGTHS, nm, values, left=0.0, right=0.0))
    columns = [np.interp(WAVELENGTHS, nm, column, left=0.0, right=0.0) for column in values.T]
    return _frozen(np.stack(columns, axis=1))


@cache
def illuminant(name: str) -> np.ndarray:
    """Return the relative power of a light, 1.0 at its largest value, shape (61,).

    Parameters
    ----------
    name
        ``"D65"``, ``"A"``, ``"LED-B1"``, ``"FL11"`` and the like, as CIE 015:2018 names them; ``"2700K"`` is a Planck
        radiator.

    Raises
    ------
    KeyError
        If no such light is known.

    Notes
    -----
    CIE standard illuminants A and D, fluorescent FL and LED series from CIE 015:2018 through colour-science; Planck
    radiators by c2 = 1.4388e-2 m K (CIE 015:2018).
    """
    if name.endswith("K"):
        metres = WAVELENGTHS * 1e-9
        power = metres**-5 / np.expm1(1.4388e-2 / (metres * float(name[:-1])))
    else:
        power = _on_grid(_colour().SDS_ILLUMINANTS[name])
    return _frozen(power / power.max())


@cache
def observer() -> np.ndarray:
    """Return the CIE 1931 2 degree colour-matching functions, shape (61, 3)."""
    return _on_grid(_colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])


def edition_named(text: str) -> str | None:
    """Return the chart edition somebody means by its name here or in colour-science, None if there is none."""
    plain = " ".join(text.split()).casefold()
    return next((name for name, other in _EDITIONS.items() if plain in {name.casefold(), other.casefold()}), None)


def chart_words(edition: str) -> str:
    """Return what a chart is called: an edition of the 24-patch chart, or patches somebody named."""
    name = edition_named(edition)
    return edition if name is None else f"24-patch chart, {name}"


@cache
def chart_reflectances(name: str = "mean of 30") -> dict[str, np.ndarray]:
    """Return the measured patch spectra of a 24-patch chart: patch name -> reflectance factor, shape (61,).

    Raises
    ------
    KeyError
        If the edition is not one of `CHARTS`.
    """
    edition = edition_named(name)
    if edition not in CHARTS:
        raise KeyError(f"no chart called {name!r}")
    return {patch: _on_grid(spectrum) for patch, spectrum in _colour().SDS_COLOURCHECKERS[_EDITIONS[edition]].items()}


@cache
def chart_lab(edition: str = DEFAULT_EDITION) -> dict[str, tuple[float, float, float]]:
    """Return the reference colours of a 24-patch chart: patch name -> CIELAB D65 2 degrees, in the chart's order.

    From measured spectra where the edition has them. Else from its published xyY, adapted to D65 with CAT02 (CIE
    159:2004); of the edition that has both, the two ways differ by 0.7 CIEDE2000 on average, 1.5 at most.

    Raises
    ------
    KeyError
        If the edition is not one of `CHART_EDITIONS`.
    """
    named = edition_named(edition)
    if named is None:
        raise KeyError(f"no chart edition called {edition!r}")
    if named in CHARTS:
        labs = {name: lab_from_reflectance(spectrum) for name, spectrum in chart_reflectances(named).items()}
    else:
        labs = _adapted_lab(_EDITIONS[named])
    return {name: (float(lab[0]), float(lab[1]), float(lab[2])) for name, lab in labs.items()}


def _adapted_lab(edition: str) -> dict[str, np.ndarray]:
    """Return CIELAB D65 of an edition's published xyY."""
    colour = _colour()
    chart = colour.CCS_COLOURCHECKERS[edition]
    white = white_xyz("D65")
    x, y = chart.illuminant
    source = np.array([x / y, 1.0, (1.0 - x - y) / y])
    out = {}
    for name, (x, y, luminance) in chart.data.items():
        xyz = np.array([x / y, 1.0, (1.0 - x - y) / y]) * luminance
        adapted = colour.adaptation.chromatic_adaptation_VonKries(xyz, source, white, transform="CAT02")
        out[name] = ratio_to_lab(np.asarray(adapted, dtype=float) / white)
    return out


@cache
def camera_sensitivities() -> dict[str, np.ndarray]:
    """Return the two cameras measured at NPL that colour-science carries: name -> R, G, B, shape (61, 3)."""
    return {name: _on_grid(table) for name, table in _colour().MSDS_CAMERA_SENSITIVITIES.items()}


@cache
def white_xyz(light: str = "D65") -> np.ndarray:
    """Return XYZ of the perfect diffuser under a light, Y = 1, shape (3,)."""
    weights = illuminant(light)[:, None] * observer()
    return _frozen(weights.sum(axis=0) / weights[:, 1].sum())


def xyz_from_reflectance(reflectance: np.ndarray, light: str = "D65") -> np.ndarray:
    """Return XYZ (Y = 1 for the perfect diffuser) of reflectance spectra under a light.

    Parameters
    ----------
    reflectance
        Reflectance factor, shape (..., 61).
    light
        As `illuminant` takes it.

    Returns
    -------
    ndarray, shape (..., 3)
    """
    weights = illuminant(light)[:, None] * observer()
    return np.asarray(np.asarray(reflectance, dtype=float) @ (weights / weights[:, 1].sum()))


def lab_from_reflectance(reflectance: np.ndarray, light: str = "D65") -> np.ndarray:
    """Return CIELAB of reflectance spectra under a light, white the perfect diffuser in it, shape (..., 3)."""
    return ratio_to_lab(xyz_from_reflectance(reflectance, light) / white_xyz(light))


def corrected_batch(standard_reference: ArrayLike, batch_reference: ArrayLike, batch_test: ArrayLike) -> np.ndarray:
    """Return the batch in the test light as it would be if it matched the standard in the reference light.

    X, Y and Z of the batch in the test light are each multiplied by the ratio that makes batch and standard equal in
    the reference light.

    Parameters
    ----------
    standard_reference, batch_reference, batch_test
        CIELAB, each relative to white in its light, shapes (..., 3).
    """
    ratio = lab_to_ratio(standard_reference) / np.maximum(lab_to_ratio(batch_reference), 1e-6)
    return ratio_to_lab(lab_to_ratio(batch_test) * ratio)
