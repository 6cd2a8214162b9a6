"""Black ramps of published print characterisations, read where Debian's packages are installed.

Nothing of them is part of the project; a test that needs one skips where its package is absent. ``FINISHLAB_SHARE``
names another folder in place of ``/usr/share`` (packages unpacked somewhere else).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageCms

SHARE: Final = tuple(Path(each) for each in ("/usr/share", os.environ.get("FINISHLAB_SHARE", "/usr/share")))
PROFILES: Final = {
    "libgs-common": "color/icc/ghostscript/default_cmyk.icc",
    "scribus-data": "scribus/profiles/ISOcoated_v2_300_bas.icc",
    "krita-data": "color/icc/krita/cmyk.icm",
}
"""Debian package -> its profile of a print."""
MEASURED: Final = ("FOGRA28L", "FOGRA29L", "FOGRA30L", "FOGRA39L", "FOGRA40L", "TR003", "TR005", "TR006")
"""Measured prints of Debian's icc-profiles-free: coated, uncoated, light weight and super calandered papers (TR002,
newsprint of L* 80, is no home's paper)."""


def profile_ramp(package: str, grey: np.ndarray) -> np.ndarray | None:
    """Return L* of DeviceGray values as black ink alone by a package's profile, None if it is absent."""
    path = next((share / PROFILES[package] for share in SHARE if (share / PROFILES[package]).is_file()), None)
    if path is None:
        return None
    ink = np.zeros((1, grey.size, 4), dtype=np.uint8)
    ink[0, :, 3] = np.rint(255 * (1 - grey))
    lab = ImageCms.createProfile("LAB")
    intent = ImageCms.Intent.ABSOLUTE_COLORIMETRIC
    transform = ImageCms.buildTransform(str(path), lab, "CMYK", "LAB", renderingIntent=intent)
    out = ImageCms.applyTransform(Image.fromarray(ink, "CMYK"), transform)
    assert out is not None
    return np.asarray(out)[0, :, 0] * (100 / 255)


def measured_ramp(name: str, grey: np.ndarray) -> np.ndarray | None:
    """Return L* of DeviceGray values as black ink alone by measured print data; None if absent."""
    path = next((file for share in SHARE if (file := share / "color/icc" / f"{name}.ti3").is_file()), None)
    if path is None:
        return None
    text = path.read_text(encoding="latin-1")
    columns = text.split("BEGIN_DATA_FORMAT")[1].split("END_DATA_FORMAT")[0].split()
    rows = [line.split() for line in text.split("BEGIN_DATA\n")[1].split("END_DATA")[0].strip().splitlines()]
    c, m, y, k, lightness = (
        columns.index(f"CMYK_{ink}") if ink in "CMYK" else columns.index(ink) for ink in ("C", "M", "Y", "K", "LAB_L")
    )
    ramp = {float(row[k]): float(row[lightness]) for row in rows if all(float(row[i]) == 0 for i in (c, m, y))}
    steps = sorted(ramp)
    return np.asarray(np.interp(100 * (1 - grey), steps, [ramp[step] for step in steps]))


def ramps(grey: np.ndarray) -> Iterator[tuple[str, np.ndarray]]:
    """Yield name and L* of every published ramp that is installed."""
    for package in PROFILES:
        found = profile_ramp(package, grey)
        if found is not None:
            yield package, found
    for name in MEASURED:
        found = measured_ramp(name, grey)
        if found is not None:
            yield name, found
