"""Colour profiles: from the bytes of an ICC profile, or from code points, to a curve and a matrix.

A matrix/TRC profile (ICC.1:2022, 8.3 and 10) says all there is in three colorants and a curve; reading them here keeps
16 bits and costs nothing per pixel. Profiles built on look-up tables are left to LittleCMS.

The profile connection space is D50. Colorants are related to the sRGB primaries adapted to D50 with the same Bradford
transform (ICC.1:2022, annex E), so white stays white and grey stays grey.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

Curve = Callable[[np.ndarray], np.ndarray]
SpaceName = Literal["sRGB", "Display P3", "Adobe RGB", "ProPhoto RGB"]

D50: Final = np.array([0.9642, 1.0, 0.8249])
"""XYZ of the profile connection space's white (ICC.1:2022, 7.2.16)."""
_BRADFORD: Final = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""Linearised Bradford cone matrix (ICC.1:2022, annex E)."""
_CURVES_ALIKE: Final = 0.002
"""Curves of the three channels that differ by no more than this in linear light are read as one."""


class UnsuitedProfileError(Exception):
    """The profile is not a matrix/TRC profile this module reads; the text says why."""


@dataclass(frozen=True, slots=True)
class Primaries:
    """Chromaticities (x, y) of red, green, blue and white."""

    red: tuple[float, float]
    green: tuple[float, float]
    blue: tuple[float, float]
    white: tuple[float, float]

    def colorants(self) -> np.ndarray:
        """Return linear RGB -> XYZ adapted to D50 by the Bradford transform, shape (3, 3)."""
        columns = np.array([_xyz(*self.red), _xyz(*self.green), _xyz(*self.blue)]).T
        white = _xyz(*self.white)
        return np.asarray(_adaptation(white) @ (columns * np.linalg.solve(columns, white)))


def _xyz(x: float, y: float) -> np.ndarray:
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def _adaptation(white: np.ndarray) -> np.ndarray:
    """Return the Bradford transform from `white` (XYZ) to D50, shape (3, 3)."""
    gains = (_BRADFORD @ D50) / (_BRADFORD @ white)
    return np.asarray(np.linalg.solve(_BRADFORD, gains[:, None] * _BRADFORD))


_D65: Final = (0.3127, 0.3290)
_PRIMARIES: Final[dict[SpaceName, Primaries]] = {
    # IEC 61966-2-1; SMPTE EG 432-1 with D65; Adobe RGB (1998), 2005-05; ISO 22028-2
    "sRGB": Primaries((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), _D65),
    "Display P3": Primaries((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65),
    "Adobe RGB": Primaries((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), _D65),
    "ProPhoto RGB": Primaries((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), (0.3457, 0.3585)),
}
_BT2020: Final = Primaries((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), _D65)
"""Recommendation ITU-R BT.2020-2, table 3."""
_SRGB_CURVE: Final = (3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
_PARAMETERS: Final[dict[SpaceName, tuple[int, tuple[float, ...]]]] = {
    # ICC.1:2022, 10.18, parametricCurveType: function type and its parameters
    "sRGB": _SRGB_CURVE,
    "Display P3": _SRGB_CURVE,
    "Adobe RGB": (0, (563 / 256,)),
    "ProPhoto RGB": (3, (1.8, 1.0, 0.0, 1 / 16, 1 / 32)),
}
_TO_SRGB: Final = np.linalg.inv(_PRIMARIES["sRGB"].colorants())


def _parametric(kind: int, p: tuple[float, ...]) -> Curve:
    """Return the curve of ICC.1:2022, table 68: function types 0 to 4 of the parametricCurveType."""
    g, a, b = (*p[:3], 1.0, 0.0)[:3] if kind else (p[0], 1.0, 0.0)
    slope, offset, shift, start = 0.0, 0.0, 0.0, -np.inf
    if kind in (1, 2):
        shift = p[3] if kind == 2 else 0.0
        start, offset = -b / a, shift
    elif kind in (3, 4):
        slope, start = p[3], p[4]
        shift, offset = (p[5], p[6]) if kind == 4 else (0.0, 0.0)

    def curve(x: np.ndarray) -> np.ndarray:
        power = np.maximum(a * x + b, 0.0) ** g + shift
        return np.asarray(np.where(x >= start, power, slope * x + offset))

    return curve


@dataclass(frozen=True, slots=True)
class ColourEncoding:
    """How a file's codes stand for light."""

    name: str
    curve: Curve
    """Code 0..1 -> linear light 0..1."""
    to_srgb: np.ndarray
    """Shape (3, 3): linear RGB of the file's primaries -> linear RGB of sRGB's primaries."""

    def table(self, codes: int, white: int | None = None) -> np.ndarray:
        """Return linear light of every code, shape (codes,), float32.

        Parameters
        ----------
        codes
            256 or 65536.
        white
            The code of full brightness; ``codes - 1`` unless given.
        """
        x = np.minimum(np.arange(codes) / (white or codes - 1), 1.0)
        return np.clip(self.curve(x), 0.0, 1.0).astype(np.float32)


def _encoding(name: str, curve: Curve, colorants: np.ndarray) -> ColourEncoding:
    """Relate D50 colorants to sRGB, with white held exactly.

    Raises
    ------
    UnsuitedProfileError
        If the colorants add up to something else than D50's white.
    """
    matrix = _TO_SRGB @ colorants
    white = matrix.sum(axis=1)
    if not np.isfinite(matrix).all() or np.abs(white - 1.0).max() > 0.05:
        raise UnsuitedProfileError("its primaries do not add up to white")
    # Sixteen-bit fixed point leaves white a few 1e-4 off; grey must stay grey.
    return ColourEncoding(name, curve, matrix / white[:, None])


def named_encoding(space: SpaceName, name: str | None = None) -> ColourEncoding:
    """Return the encoding of a published colour space, under `name` if given."""
    return _encoding(name or space, _parametric(*_PARAMETERS[space]), _PRIMARIES[space].colorants())


def encoding_from_gamma(gamma: float, primaries: Primaries | None) -> ColourEncoding:
    """Return the encoding of a PNG's gAMA and cHRM chunks (PNG third edition, 11.3.2).

    Parameters
    ----------
    gamma
        As the file has it, e.g. 0.45455.
    primaries
        None where the file has none; then 1/2.2 stands for sRGB.
    """
    exponent = 1.0 / gamma
    if primaries is None and abs(exponent - 2.2) < 0.01:
        return named_encoding("sRGB", "sRGB (by gamma)")
    colorants = (primaries or _PRIMARIES["sRGB"]).colorants()
    return _encoding(f"gamma {exponent:.2f}", lambda x: x**exponent, colorants)


_CICP_PRIMARIES: Final[dict[int, tuple[str, Primaries]]] = {
    1: ("sRGB", _PRIMARIES["sRGB"]),
    9: ("Rec. 2020", _BT2020),
    12: ("Display P3", _PRIMARIES["Display P3"]),
}
_CICP_CURVES: Final[dict[int, Curve]] = {
    # Files of the BT.709 family are shown as sRGB by viewers (common practice, no source).
    **dict.fromkeys((1, 2, 6, 13, 14, 15), _parametric(*_PARAMETERS["sRGB"])),
    4: lambda x: x**2.2,
    5: lambda x: x**2.8,
    8: lambda x: x,
}


def encoding_from_cicp(primaries: int, transfer: int) -> ColourEncoding:
    """Return the encoding of coding-independent code points (Recommendation ITU-T H.273, tables 2 and 3).

    Raises
    ------
    UnsuitedProfileError
        If a code point has no meaning for a still photo here, such as the two curves of HDR video (16 and 18).
    """
    if primaries not in _CICP_PRIMARIES or transfer not in _CICP_CURVES:
        raise UnsuitedProfileError(f"its colours are coded in an unusual way (code points {primaries}, {transfer})")
    name, chromaticities = _CICP_PRIMARIES[primaries]
    return _encoding(name, _CICP_CURVES[transfer], chromaticities.colorants())


def _tags(icc: bytes) -> dict[bytes, bytes]:
    """Return the tagged elements of a profile (ICC.1:2022, 7.3)."""
    if len(icc) < 132 or icc[36:40] != b"acsp":
        raise UnsuitedProfileError("it is damaged")
    (count,) = struct.unpack_from(">I", icc, 128)
    if count > 200 or len(icc) < 132 + 12 * count:
        raise UnsuitedProfileError("it is damaged")
    tags = {}
    for i in range(count):
        signature, offset, size = struct.unpack_from(">4sII", icc, 132 + 12 * i)
        tags[signature] = icc[offset : offset + size]
    return tags


def _fixed(data: bytes, offset: int, count: int) -> tuple[float, ...]:
    """Read s15Fixed16 numbers."""
    if len(data) < offset + 4 * count:
        raise UnsuitedProfileError("it is damaged")
    return tuple(v / 65536 for v in struct.unpack_from(f">{count}i", data, offset))


def _curve(element: bytes) -> Curve:
    """Read a curveType or parametricCurveType (ICC.1:2022, 10.6 and 10.18)."""
    if element[:4] == b"para" and len(element) >= 12:
        (kind,) = struct.unpack_from(">H", element, 8)
        if kind > 4:
            raise UnsuitedProfileError("its curve is of an unknown kind")
        parameters = _fixed(element, 12, (1, 3, 4, 5, 7)[kind])
        if kind in (1, 2) and parameters[1] == 0.0:
            raise UnsuitedProfileError("it is damaged")
        return _parametric(kind, parameters)
    if element[:4] != b"curv" or len(element) < 12:
        raise UnsuitedProfileError("it has no curve")
    (count,) = struct.unpack_from(">I", element, 8)
    if len(element) < 12 + 2 * count:
        raise UnsuitedProfileError("it is damaged")
    if count == 0:
        return lambda x: x
    values = np.frombuffer(element, ">u2", count, 12)
    if count == 1:
        exponent = float(values[0]) / 256
        return lambda x: x**exponent
    positions, levels = np.linspace(0.0, 1.0, count), values / 65535
    return lambda x: np.interp(x, positions, levels)


def _name(tags: dict[bytes, bytes]) -> str:
    """Read the profile's description (multiLocalizedUnicodeType or the older textDescriptionType)."""
    element = tags.get(b"desc", b"")
    try:
        if element[:4] == b"mluc":
            length, offset = struct.unpack_from(">II", element, 20)
            text = element[offset : offset + length].decode("utf-16-be", "replace")
        else:
            (length,) = struct.unpack_from(">I", element, 8)
            text = element[12 : 12 + length].decode("ascii", "replace")
    except struct.error:
        text = ""
    return "".join(c for c in text if c.isprintable()).strip() or "embedded profile"


def profile_name(icc: bytes) -> str:
    """Return the description of a profile, or ``"embedded profile"`` when it has none that can be read."""
    try:
        return _name(_tags(icc))
    except UnsuitedProfileError:
        return "embedded profile"


def encoding_from_icc(icc: bytes, *, grey: bool = False) -> ColourEncoding:
    """Read a matrix/TRC profile, or a grey profile for a greyscale photo.

    Parameters
    ----------
    icc
        The profile's bytes.
    grey
        Whether the photo is greyscale.

    Raises
    ------
    UnsuitedProfileError
        If the profile is damaged, is of another kind, or its channels follow different curves.
    """
    tags = _tags(icc)
    space = icc[16:20]
    if space == b"GRAY" and grey and b"kTRC" in tags:
        return ColourEncoding(_name(tags), _curve(tags[b"kTRC"]), np.eye(3))
    if space != b"RGB " or icc[20:24] != b"XYZ " or b"A2B0" in tags:
        raise UnsuitedProfileError("it is not a matrix profile for RGB")
    try:
        curves = [_curve(tags[key]) for key in (b"rTRC", b"gTRC", b"bTRC")]
        colorants = np.array([_fixed(tags[key], 8, 3) for key in (b"rXYZ", b"gXYZ", b"bXYZ")]).T
    except KeyError as error:
        raise UnsuitedProfileError("it is not a matrix profile for RGB") from error
    x = np.linspace(0.0, 1.0, 256)
    levels = np.array([curve(x) for curve in curves])
    if not np.isfinite(levels).all() or np.ptp(levels, axis=0).max() > _CURVES_ALIKE:
        raise UnsuitedProfileError("its channels follow different curves")
    return _encoding(_name(tags), curves[1], colorants)


def _s15(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def _text(text: str) -> bytes:
    coded = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(coded), 28) + coded


def matrix_profile(space: SpaceName) -> bytes:
    """Return the bytes of a version 4 matrix/TRC display profile (ICC.1:2022, 8.3) for a published colour space."""
    primaries = _PRIMARIES[space]
    kind, parameters = _PARAMETERS[space]
    curve = b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + _s15(*parameters)
    colorants = zip((b"rXYZ", b"gXYZ", b"bXYZ"), primaries.colorants().T, strict=True)
    elements = [
        (b"desc", _text(space)),
        (b"cprt", _text("Public domain")),
        (b"wtpt", b"XYZ \0\0\0\0" + _s15(*D50)),
        (b"chad", b"sf32\0\0\0\0" + _s15(*_adaptation(_xyz(*primaries.white)).ravel())),
        *((key, b"XYZ \0\0\0\0" + _s15(*column)) for key, column in colorants),
        *((key, curve) for key in (b"rTRC", b"gTRC", b"bTRC")),
    ]
    table, body, at = b"", b"", 132 + 12 * len(elements)
    for key, element in elements:
        table += struct.pack(">4sII", key, at + len(body), len(element))
        body += element + bytes(-len(element) % 4)
    size = at + len(body)
    date = struct.pack(">6H", 2024, 1, 1, 0, 0, 0)  # fixed, so that the same picture gives the same bytes
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x04300000, b"mntr", b"RGB ", b"XYZ ") + date + b"acsp"
    header += bytes(28) + _s15(*D50) + bytes(48)
    return header + struct.pack(">I", len(elements)) + table + body
