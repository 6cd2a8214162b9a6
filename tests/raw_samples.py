"""Small camera raw files (DNG) with known light, made here: no camera took them."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any, Final

import numpy as np

__all__ = ["NEUTRAL", "WHITE_LEVEL", "write_dng"]

WHITE_LEVEL: Final = 16383
NEUTRAL: Final = (0.5, 1.0, 0.625)
"""What the made-up sensor sees of white, red, green, blue (AsShotNeutral)."""
_XYZ_TO_SRGB: Final = (
    (3.2404542, -1.5371385, -0.4985314),
    (-0.9692660, 1.8760108, 0.0415560),
    (0.0556434, -0.2040259, 1.0572252),
)
"""Inverse of IEC 61966-2-1's matrix, D65."""
_TYPES: Final = {"B": 1, "s": 2, "H": 3, "I": 4, "II": 5, "ii": 10}


def _value(kind: str, values: Any) -> tuple[int, bytes]:
    """Return count and bytes of one entry (TIFF 6.0, section 2)."""
    if kind == "s":
        data = values.encode() + b"\0"
        return len(data), data
    if kind in ("II", "ii"):
        numbers = [n for v in values for n in (round(v * 10000), 10000)]
        return len(values), struct.pack(f"<{len(numbers)}{kind[0]}", *numbers)
    return len(values), struct.pack(f"<{len(values)}{kind}", *values)


def _tiff(tags: list[tuple[int, str, Any]], strip: bytes) -> bytes:
    """Return a little-endian TIFF of one strip; its offset takes the place of tag 273's value."""
    body_at = 8 + 2 + 12 * len(tags) + 4
    table, body = struct.pack("<H", len(tags)), b""
    for tag, kind, values in sorted(tags, key=lambda t: t[0]):
        count, data = _value(kind, values)
        if tag == 273:
            data = b"STRP"
        if len(data) > 4:
            table += struct.pack("<HHII", tag, _TYPES[kind], count, body_at + len(body))
            body += data + bytes(len(data) % 2)
        else:
            table += struct.pack("<HHI", tag, _TYPES[kind], count) + data.ljust(4, b"\0")
    out = struct.pack("<2sHI", b"II", 42, 8) + table + bytes(4) + body
    return out.replace(b"STRP", struct.pack("<I", len(out)), 1) + strip


def write_dng(
    path: Path,
    srgb_linear: np.ndarray,
    *,
    orientation: int = 1,
    exposure: float = 1.0,
    more: tuple[tuple[int, str, Any], ...] = (),
) -> None:
    """Write linear light (sRGB's primaries, shape (H, W, 3), even sides) as the Bayer mosaic of a made-up sensor.

    The sensor's channels are those of sRGB, scaled by `NEUTRAL`, so that colours come back as they went in
    (Digital Negative Specification 1.4: ColorMatrix1 is XYZ -> camera). `more` are fields besides: number, type, value.
    """
    light = np.clip(srgb_linear * exposure * np.array(NEUTRAL), 0.0, 1.0)
    mosaic = np.empty(light.shape[:2], dtype="<u2")
    for row, column, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        part = light[row::2, column::2, channel]
        mosaic[row::2, column::2] = np.rint(part * WHITE_LEVEL)
    matrix = np.diag(NEUTRAL) @ np.array(_XYZ_TO_SRGB)
    height, width = mosaic.shape
    path.write_bytes(
        _tiff(
            [
                (254, "I", [0]),
                (256, "I", [width]),
                (257, "I", [height]),
                (258, "H", [16]),
                (259, "H", [1]),
                (262, "H", [32803]),
                (271, "s", "Test"),
                (272, "s", "Raw One"),
                (273, "I", [0]),
                (274, "H", [orientation]),
                (277, "H", [1]),
                (278, "I", [height]),
                (279, "I", [mosaic.nbytes]),
                (284, "H", [1]),
                (306, "s", "2024:05:11 10:30:00"),
                (33421, "H", [2, 2]),
                (33422, "B", [0, 1, 1, 2]),
                (50706, "B", [1, 4, 0, 0]),
                (50707, "B", [1, 1, 0, 0]),
                (50708, "s", "Test Raw One"),
                (50714, "H", [0]),
                (50717, "I", [WHITE_LEVEL]),
                (50721, "ii", list(matrix.ravel())),
                (50728, "II", list(NEUTRAL)),
                (50778, "H", [21]),
                *more,
            ],
            mosaic.tobytes(),
        )
    )
