"""Linear light, XYZ and CIELAB: the one illuminant constant and the few formulas everything else stands on.

Arrays have the colour in their last axis, shape ``(..., 3)``. Single precision stays single precision, so that whole
photos can be converted without doubling their memory; everything else is computed in double. Values outside 0..1 are
carried through by the formulas' own linear pieces: noise around black stays unbiased.

Sources: CIE 015:2018 and ISO/CIE 11664-4:2019 (CIELAB), IEC 61966-2-1:1999 (sRGB primaries, white and transfer curve).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
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
