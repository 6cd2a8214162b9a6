"""A rendered camera: from scene light to the numbers in the file.

Sensitivities -> raw -> white balance -> 3x3 matrix to linear sRGB -> exposure -> tone curve -> saturation -> noise and
JPEG (the last two in `render.photo`). The matrix is fitted on a 24-patch chart under D65 and A and mixed by
the light's colour temperature, as cameras do; it never learns the spikes of a lamp, and that limits any grey reference.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.spaces import (
    WAVELENGTHS,
    XYZ_TO_RGB,
    camera_sensitivities,
    chart_reflectances,
    illuminant,
    linear_to_srgb,
    rgb_to_lab,
    white_xyz,
    xyz_from_reflectance,
)
from render.spectral import colour_temperature, read_table

__all__ = [
    "CAMERAS",
    "Film",
    "Tone",
    "ToneCurve",
    "balanced_raw",
    "colour_matrix",
    "develop",
    "ideal_lab",
    "linear_srgb_of_reflectance",
    "random_film",
    "saturate",
    "sensitivities",
]

_LUMA: Final = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Luma weights of ITU-R BT.709."""

# Centre, width to the short side, width to the long side (nm) of R, G, B; crosstalk; edge of the infrared filter.
_PHONES: Final = {
    "synthetic phone 1": (((598.0, 17.0, 38.0), (531.0, 34.0, 36.0), (459.0, 24.0, 28.0)), 0.05, 655.0),
    "synthetic phone 2": (((594.0, 21.0, 34.0), (535.0, 38.0, 34.0), (463.0, 28.0, 26.0)), 0.08, 640.0),
    "synthetic phone 3": (((605.0, 19.0, 42.0), (528.0, 31.0, 40.0), (454.0, 22.0, 32.0)), 0.03, 665.0),
}

CAMERAS: Final[tuple[str, ...]] = (
    "Nikon 5100 (NPL)",
    "Sigma SDMerill (NPL)",
    "Canon PowerShot S90",
    "Sony ILCE-7RM2",
    *_PHONES,
)
"""Four measured cameras and three synthetic phones."""


@dataclass(frozen=True, slots=True)
class Tone:
    """The curve a phone puts over sRGB-encoded values.

    Raises
    ------
    ValueError
        If the curve would not rise everywhere.
    """

    contrast: float = 0.0
    """0 plain sRGB; up to 0.6: share of an S curve (3 e^2 - 2 e^3) mixed in."""
    gamma: float = 1.0
    """Exponent on the encoded value; below 1 lifts the middle."""
    shoulder: float = 1.0
    """Encoded value above which highlights are pressed together, 1 for none."""

    def __post_init__(self) -> None:
        if not (-0.3 <= self.contrast <= 0.6 and 0.6 <= self.gamma <= 1.6 and 0.6 <= self.shoulder <= 1.0):
            raise ValueError("a tone curve needs contrast -0.3..0.6, gamma 0.6..1.6 and shoulder 0.6..1")

    def apply(self, linear: np.ndarray) -> np.ndarray:
        """Return the encoded value of linear light, same shape, unclipped above 1 only without a shoulder."""
        e = linear_to_srgb(np.maximum(linear, 0.0))
        if self.gamma != 1.0:
            e = e**self.gamma
        if self.shoulder < 1.0:
            room = 1.0 - self.shoulder
            pressed = self.shoulder - room * np.expm1(-np.maximum(e - self.shoulder, 0.0) / room)
            e = np.where(e > self.shoulder, pressed, e)
        e = np.minimum(e, 1.0)
        if self.contrast != 0.0:
            e = e + self.contrast * (e * e * (3.0 - 2.0 * e) - e)
        return np.asarray(e)


@dataclass(frozen=True, slots=True)
class Film:
    """A tone curve of another family: a saturating response of linear light, dark light held back, highlights pressed.

    ``code = (1 + knee) x^n / (x^n + knee)``, then encoded as sRGB: K.-I. Naka, W. A. H. Rushton, J. Physiol. 185 (1966)
    536-555, scaled to reach 1 at the sensor's limit.

    Raises
    ------
    ValueError
        If the curve would not rise as phones' curves do.
    """

    power: float = 1.33
    knee: float = 0.45

    def __post_init__(self) -> None:
        if not (0.8 <= self.power <= 2.0 and 0.05 <= self.knee <= 10.0):
            raise ValueError("a film tone curve needs power 0.8..2 and knee 0.05..10")

    def apply(self, linear: np.ndarray) -> np.ndarray:
        """Return the encoded value of linear light, same shape, 1 from the sensor's limit on."""
        bent = np.clip(linear, 0.0, 1.0) ** self.power
        return np.asarray(linear_to_srgb((1.0 + self.knee) * bent / (bent + self.knee)))


ToneCurve = Tone | Film


def random_film(rng: np.random.Generator) -> Film:
    """Draw a curve as phones have them.

    On the grey patches of charts photographed by phones the sRGB-decoded code rises 1.11 +- 0.10 times as steeply as
    the light, in logarithms, with one bend common to all: white 0.19 below the straight line, middle greys 0.15 above,
    black 0.13 below (measured on public photos, part of it uneven light). So do these curves.
    """
    return Film(float(np.clip(rng.normal(1.33, 0.10), 1.0, 1.7)), float(0.45 * np.exp(rng.normal(0.0, 0.2))))


def _phone(name: str) -> np.ndarray:
    """Parametric sensitivities: two-sided bells, some crosstalk, an infrared filter. Synthetic, shaped after phones."""
    bells, crosstalk, edge = _PHONES[name]
    columns = []
    for centre, short, long in bells:
        width = np.where(centre > WAVELENGTHS, short, long)
        columns.append(np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2))
    table = np.stack(columns, axis=1)
    table = table + crosstalk * table.sum(axis=1, keepdims=True)
    infrared = 1.0 / (1.0 + np.exp((WAVELENGTHS - edge) / 8.0))
    ultraviolet = 1.0 / (1.0 + np.exp((412.0 - WAVELENGTHS) / 5.0))
    return np.asarray(table * (infrared * ultraviolet)[:, None])


@cache
def sensitivities(camera: str) -> np.ndarray:
    """Return a camera's R, G, B sensitivity on the common grid, shape (61, 3).

    Raises
    ------
    KeyError
        If the camera is not one of `CAMERAS`.
    """
    if camera in _PHONES:
        return _phone(camera)
    if camera in camera_sensitivities():
        return camera_sensitivities()[camera]
    table = read_table("camera_sensitivities.csv")
    return np.stack([table[f"{camera} {channel}"] for channel in "RGB"], axis=1)


def balanced_raw(reflectance: np.ndarray, camera: str, light: str) -> np.ndarray:
    """Return raw R, G, B of reflectance spectra, 1.0 for the perfect diffuser, shape (..., 3)."""
    weights = illuminant(light)[:, None] * sensitivities(camera)
    return np.asarray(np.asarray(reflectance, dtype=float) @ (weights / weights.sum(axis=0)))


def linear_srgb_of_reflectance(reflectance: np.ndarray) -> np.ndarray:
    """Return linear sRGB of reflectance spectra as seen under D65, perfect diffuser (1, 1, 1), shape (..., 3)."""
    scale = np.linalg.solve(XYZ_TO_RGB, np.ones(3)) / white_xyz("D65")
    return np.asarray((xyz_from_reflectance(reflectance) * scale) @ XYZ_TO_RGB.T)


@cache
def _fitted_matrix(camera: str, light: str) -> np.ndarray:
    """Fit balanced raw under a light -> linear sRGB under D65 on the chart, rows summing to 1 so that white stays."""
    chart = np.stack(list(chart_reflectances("mean of 30").values()))
    raw, goal = balanced_raw(chart, camera, light), linear_srgb_of_reflectance(chart)
    weight = 1.0 / (goal.mean(axis=1, keepdims=True) + 0.05)  # about equal visual weight for dark and light patches
    rows = []
    for k in range(3):
        others = [i for i in range(3) if i != k]
        a = (raw[:, others] - raw[:, [k]]) * weight
        b = (goal[:, k] - raw[:, k]) * weight[:, 0]
        solution = np.linalg.lstsq(a, b, rcond=None)[0]
        row = np.empty(3)
        row[others] = solution
        row[k] = 1.0 - solution.sum()
        rows.append(row)
    return np.stack(rows)


@cache
def colour_matrix(camera: str, light: str) -> np.ndarray:
    """Return the camera's 3x3 matrix, balanced raw -> linear sRGB, in a light, shape (3, 3).

    The matrices for D65 and A, mixed linearly in reciprocal colour temperature and held beyond the two.
    """
    warm, cold = 1.0 / colour_temperature("A"), 1.0 / colour_temperature("D65")
    share = float(np.clip((1.0 / colour_temperature(light) - cold) / (warm - cold), 0.0, 1.0))
    return (1.0 - share) * _fitted_matrix(camera, "D65") + share * _fitted_matrix(camera, "A")


def ideal_lab(reflectance: np.ndarray, camera: str, light: str) -> np.ndarray:
    """Return CIELAB by a linear, noise-free camera balanced on the perfect diffuser, shape (..., 3)."""
    return np.asarray(rgb_to_lab(balanced_raw(reflectance, camera, light) @ colour_matrix(camera, light).T))


def saturate(rgb: np.ndarray, factor: float) -> np.ndarray:
    """Stretch colours away from their luma by a factor, in whatever encoding `rgb` has, shape (..., 3)."""
    luma = (rgb @ _LUMA.astype(rgb.dtype))[..., None]
    return np.asarray(luma + factor * (rgb - luma))


def develop(
    raw: np.ndarray,
    matrix: np.ndarray,
    tone: ToneCurve,
    saturation: float = 1.0,
    where: Literal["encoded", "linear"] = "encoded",
) -> np.ndarray:
    """Turn exposed, balanced raw into encoded RGB.

    Parameters
    ----------
    raw
        Shape (..., 3), 1.0 at the sensor's limit.
    matrix
        From `colour_matrix`.
    tone
        Tone curve.
    saturation
        Factor about luma.
    where
        Whether saturation acts on encoded or on linear values.

    Returns
    -------
    ndarray, shape (..., 3)
        Encoded values in 0..1, of the input's precision.
    """
    rgb = raw @ matrix.T.astype(raw.dtype)
    if where == "linear":
        return np.asarray(np.clip(tone.apply(saturate(rgb, saturation)), 0.0, 1.0))
    return np.asarray(np.clip(saturate(tone.apply(rgb), saturation), 0.0, 1.0))
