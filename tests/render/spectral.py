"""Spectra of surfaces: measured woods, finished by formula, and prints that look like them.

Kubelka-Munk (1931), single constant: what a stain absorbs adds to K/S of the wood. A clear coat is a smooth interface
(Saunderson 1942). Stain absorptions are smooth synthetic curves; prints are ink-like mixtures of chart patch spectra,
solved to hit a target colour, so that they are metameric to wood.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.spaces import WAVELENGTHS, chart_reflectances, lab_from_reflectance, white_xyz
from render.kubelka_munk import k_over_s, reflectance, saunderson_measured

__all__ = [
    "INK_SETS",
    "LIGHTS",
    "STAINS",
    "Material",
    "coat",
    "colour_temperature",
    "finish",
    "grey_material",
    "print_material",
    "read_table",
    "stain_absorption",
    "woods",
]

LightKind = Literal["daylight", "lamp", "led", "fluorescent"]
StainName = Literal["brown", "red-brown", "golden", "grey"]
_DATA: Final = Path(__file__).parent / "data"

LIGHTS: Final[dict[str, LightKind]] = {
    "D65": "daylight",
    "D50": "daylight",
    "D55": "daylight",
    "D75": "daylight",
    "A": "lamp",
    "2700K": "lamp",
    "3000K": "lamp",
    "LED-B1": "led",
    "LED-B2": "led",
    "LED-B3": "led",
    "LED-B4": "led",
    "LED-B5": "led",
    "LED-V1": "led",
    "FL2": "fluorescent",
    "FL11": "fluorescent",
    "FL12": "fluorescent",
}
"""Lights by name (CIE 015:2018; ``2700K`` and ``3000K`` are Planck radiators) and the kind of each."""

STAINS: Final[tuple[StainName, ...]] = ("brown", "red-brown", "golden", "grey")
"""Synthetic stains, each a smooth absorption curve."""

INK_SETS: Final[dict[str, tuple[str, str, str, str]]] = {
    "process": ("cyan", "red", "yellow", "black 2 (1.5 D)"),
    "pale process": ("blue sky", "red", "yellow", "neutral 3.5 (1.05 D)"),
    "decor": ("blue flower", "moderate red", "orange yellow", "neutral 3.5 (1.05 D)"),
    "stress": ("cyan", "magenta", "yellow", "black 2 (1.5 D)"),
}
"""Patches of the 24-patch chart (BabelColor Average) that stand in for the inks of a decor print: three colours and a
dark one. A print that equals a finished wood under D65 differs from it under A by about 1.0 CIEDE2000 (``process``,
``pale process``), 0.6 (``decor``) or 2.5 (``stress``, more than a maker of floors would accept) on average."""


@dataclass(frozen=True, slots=True)
class Material:
    """A surface's mean spectrum and the darker spectra that its grain and pores are made of.

    All are reflectance factors on the common grid. The mean of the whole surface is `mean` whatever the grain does.

    Raises
    ------
    ValueError
        If a spectrum is not a reflectance on the common grid.
    """

    name: str
    kind: Literal["wood", "print", "plain"]
    mean: tuple[float, ...]
    dark: tuple[float, ...]
    """Latewood: what the dark side of the grain tends to."""
    pore: tuple[float, ...]
    """Pores, seams and knots."""

    def __post_init__(self) -> None:
        for spectrum in (self.mean, self.dark, self.pore):
            if len(spectrum) != WAVELENGTHS.size or min(spectrum) < 0.0 or max(spectrum) > 1.0:
                raise ValueError("a material's spectra are reflectance factors in 0..1 on the common grid")

    @property
    def lab(self) -> tuple[float, float, float]:
        """CIELAB D65 2 degrees of the mean spectrum."""
        lightness, a, b = lab_from_reflectance(np.array(self.mean))
        return float(lightness), float(a), float(b)


def _material(name: str, kind: Literal["wood", "print", "plain"], mean: np.ndarray) -> Material:
    """Build a material whose grain and pores absorb as the material does, only more."""
    ks = k_over_s(mean)
    parts = [mean, reflectance(1.7 * ks), reflectance(4.0 * ks)]
    mean_, dark, pore = (tuple(float(v) for v in np.clip(part, 0.0, 1.0)) for part in parts)
    return Material(name, kind, mean_, dark, pore)


def read_table(name: str) -> dict[str, np.ndarray]:
    """Read a spectra table of the demo's data folder, interpolated to the common grid: column name -> shape (61,)."""
    text = (_DATA / name).read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
    values = np.array(rows[1:], dtype=float)
    return {column: np.interp(WAVELENGTHS, values[:, 0], values[:, i]) for i, column in enumerate(rows[0]) if i > 0}


@cache
def woods() -> Mapping[str, np.ndarray]:
    """Return the measured wood spectra by name, each shape (61,)."""
    return read_table("wood_spectra.csv")


@cache
def stain_absorption(name: StainName) -> np.ndarray:
    """Return a synthetic stain's K/S per unit amount, mean 1 over the grid, shape (61,)."""
    t = WAVELENGTHS - 400.0
    if name == "golden":
        curve = np.exp(-t / 62.0)
    elif name == "brown":
        curve = np.exp(-t / 130.0) + 0.05
    elif name == "red-brown":
        curve = 0.8 * np.exp(-t / 120.0) + 0.45 * np.exp(-0.5 * ((t - 125.0) / 42.0) ** 2) + 0.02
    else:
        curve = 1.0 - 0.12 * t / 300.0
    return np.asarray(curve / curve.mean())


def coat(bare: np.ndarray, k1: float = 0.04, k2: float = 0.25, amber: float = 0.0) -> np.ndarray:
    """Put a clear coat over a surface (Saunderson 1942, specular part excluded).

    Parameters
    ----------
    bare
        Reflectance below the coat, shape (..., 61).
    k1
        Share mirrored at the outer surface.
    k2
        Share returned inward at the inner surface. 0.6 is the figure for a fully diffuse paint film; wood keeps some of
        its own rough surface, and 0.25 darkens as a clear coat does (chosen by eye, no source).
    amber
        Optical density of a yellowing coat, as golden absorption passed twice.
    """
    below = np.asarray(bare, dtype=float) * np.exp(-2.0 * amber * stain_absorption("golden"))
    return np.asarray(saunderson_measured(below, k1, k2) - k1)


def finish(
    wood: str,
    *,
    lighten: float = 0.25,
    stains: Mapping[StainName, float] | None = None,
    coats: bool = True,
    amber: float = 0.0,
    name: str | None = None,
) -> Material:
    """Derive a finished wood from a measured one.

    Parameters
    ----------
    wood
        Name of a measured wood.
    lighten
        Factor on the wood's K/S: weathered wood made fresh again when below 1.
    stains
        Stain name -> amount of absorption (K/S, mean over the grid).
    coats
        Whether a clear coat lies on top.
    amber
        Yellowing of the coat.
    name
        Name of the material; built from the parts when left out.
    """
    stains = stains or {}
    total = lighten * k_over_s(woods()[wood])
    for stain, amount in stains.items():
        total = total + amount * stain_absorption(stain)
    mean = reflectance(total)
    if coats:
        mean = coat(mean, amber=amber)
    label = name or "+".join([wood, *(f"{stain} {amount:.2f}" for stain, amount in stains.items())])
    return _material(label, "wood", mean)


def print_material(
    target: tuple[float, float, float], *, inks: str = "process", dark: float = 0.1, name: str = "print"
) -> Material:
    """Mix ink-like spectra on white until the print has a target colour under D65.

    Parameters
    ----------
    target
        CIELAB D65 2 degrees to hit.
    inks
        One of `INK_SETS`.
    dark
        Amount of the dark ink, fixed beforehand; the three colours are solved. Lowered when the target cannot be hit.
    name
        Name of the material.

    Raises
    ------
    ValueError
        If the inks cannot make that colour.
    """
    from scipy.optimize import least_squares

    chart = chart_reflectances("mean of 30")
    paper = k_over_s(chart["white 9.5 (.05 D)"])
    bases = np.stack([k_over_s(chart[ink]) for ink in INK_SETS[inks]])
    goal = np.array(target)

    def spectrum(amounts: np.ndarray, black: float) -> np.ndarray:
        return coat(reflectance(paper + amounts @ bases[:3] + black * bases[3]))

    for black in (dark, dark / 2, dark / 4, 0.0):
        fit = least_squares(
            lambda amounts, black=black: lab_from_reflectance(spectrum(amounts, black)) - goal,
            np.full(3, 0.1),
            bounds=(0.0, 5.0),
            xtol=1e-12,
            ftol=1e-12,
        )
        if np.abs(fit.fun).max() < 1e-3:
            return _material(name, "print", spectrum(fit.x, black))
    raise ValueError(f"the {inks} inks cannot make L* a* b* {target}")


def grey_material(level: float, *, warm: float = 0.0, name: str = "bench") -> Material:
    """Return a plain surface of one reflectance `level`, tilted by `warm` (relative, from 400 to 700 nm)."""
    tilt = 1.0 + warm * (WAVELENGTHS - 550.0) / 300.0
    return _material(name, "plain", np.clip(level * tilt, 0.0, 1.0))


def colour_temperature(light: str) -> float:
    """Return a light's correlated colour temperature in kelvin (McCamy 1992, good to a few kelvin near the locus)."""
    x, y, _ = white_xyz(light) / white_xyz(light).sum()
    n = (x - 0.3320) / (0.1858 - y)
    return float(449.0 * n**3 + 3525.0 * n**2 + 6823.3 * n + 5520.33)
