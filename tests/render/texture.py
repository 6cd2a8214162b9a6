"""Grain, pores, planks, seams and knots as fields over a surface in millimetres.

A field says how much of the dark and of the pore material stands at each place. It is scaled so that its mean over a
given window is an exact figure, and the material is built so that this mean reproduces the material's mean spectrum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from render.fields import gaussian, look_up, stretched

__all__ = ["Knot", "Texture", "TextureFields", "texture_fields"]


@dataclass(frozen=True, slots=True)
class Knot:
    """A knot: centre in the frame of the scene (mm) and radius (mm)."""

    x: float
    y: float
    radius: float = 7.0


@dataclass(frozen=True, slots=True)
class Texture:
    """How a surface looks apart from its mean colour."""

    direction: float = 0.0
    """Angle of the grain, degrees, 0 along x."""
    grain: float = 0.30
    """Mean share of the dark (latewood) material."""
    pores: float = 0.015
    """Mean share of the pore material."""
    ring_mm: float = 5.0
    """Mean distance of the growth rings on the surface."""
    cathedral: float = 1.0
    """How far the rings wander: 0 straight (rift, quarter), 1 plain sawn."""
    plank_mm: float = 0.0
    """Width of the planks across the grain; 0 for one piece."""
    seam_offset_mm: float = 0.0
    """Where a seam lies across the grain, from the scene's origin."""
    plank_spread: float = 0.25
    """Relative standard deviation of the dark share from plank to plank."""
    seam_mm: float = 0.5
    """Width of the dark line between planks."""
    knots: tuple[Knot, ...] = ()


@dataclass(frozen=True, slots=True)
class TextureFields:
    """Fields over a rectangle, each shape (H, W) float32."""

    dark: np.ndarray
    """Share of the dark material; its mean over the window is `Texture.grain` exactly."""
    pore: np.ndarray
    """Share of the pore material; its mean over the window is `Texture.pores` exactly."""
    odd: np.ndarray
    """Share of seam or knot over all that, 0..1: not part of the mean."""


def _smooth_noise(rng: np.random.Generator, shape: tuple[int, int], along: float, across: float) -> np.ndarray:
    """Return noise of unit variance smoothed by Gaussians of these sigmas in pixels, drawn coarse where it may be."""
    steps = [max(1, int(sigma / 4)) for sigma in (across, along)]
    coarse = tuple(int(np.ceil(n / s)) + 3 for n, s in zip(shape, steps, strict=True))
    noise = gaussian(rng.standard_normal(coarse).astype(np.float32), (across / steps[0], along / steps[1]), rim="wrap")
    noise /= max(float(noise.std()), 1e-6)
    noise = stretched(noise, (steps[0], steps[1]))
    return np.ascontiguousarray(noise[: shape[0], : shape[1]])


def _grain(u: np.ndarray, v: np.ndarray, texture: Texture, plank: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return growth rings, fibres and figure in the grain frame (u along, v across, mm), positive, about mean 1."""
    mm = float(abs(v[1, 0] - v[0, 0]))
    wander = texture.cathedral * _smooth_noise(rng, u.shape, 70 / mm, 11 / mm)
    ripple = _smooth_noise(rng, u.shape, 25 / mm, 3.0 / mm)
    phase = v / texture.ring_mm + 1.1 * wander + 0.12 * ripple + 7.31 * plank
    saw = phase - np.floor(phase)
    rings = np.where(saw < 0.82, (saw / 0.82) ** 2, (1.0 - saw) / 0.18)
    fibre = _smooth_noise(rng, u.shape, 9 / mm, max(0.25 / mm, 0.3))
    streak = _smooth_noise(rng, u.shape, 45 / mm, 1.6 / mm)
    figure = _smooth_noise(rng, u.shape, 60 / mm, 22 / mm)
    field = 0.35 + 1.2 * rings + 0.18 * fibre + 0.16 * streak + 0.14 * figure
    return np.asarray(np.clip(field, 0.05, 2.6))


def _pores(shape: tuple[int, int], mm: float, rings: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return short dark streaks along the grain, denser in one part of each ring, not negative."""
    streaks = _smooth_noise(rng, shape, 1.6 / mm, max(0.12 / mm, 0.35))
    return np.asarray(np.clip(streaks - 1.6, 0.0, 1.2) * (0.4 + rings), dtype=np.float32)


def _odd(x: np.ndarray, y: np.ndarray, v: np.ndarray, texture: Texture) -> tuple[np.ndarray, np.ndarray]:
    """Return the share of seams and knots, and how far knots bend the grain (mm across)."""
    odd = np.zeros(x.shape, dtype=np.float32)
    bend = np.zeros(x.shape, dtype=np.float32)
    mm = float(abs(v[1, 0] - v[0, 0])) if v.shape[0] > 1 else 1.0
    if texture.plank_mm > 0:
        place = (v - texture.seam_offset_mm) / texture.plank_mm
        distance = np.abs(place - np.round(place)) * texture.plank_mm
        odd = np.clip((texture.seam_mm / 2 - distance) / mm + 0.5, 0.0, 1.0).astype(np.float32)
    for knot in texture.knots:
        turn = np.arctan2(y - knot.y, x - knot.x)
        r = np.hypot(x - knot.x, y - knot.y) / knot.radius
        r = r * (1.0 + 0.09 * np.sin(2 * turn + knot.x) + 0.05 * np.sin(3 * turn + knot.y) + 0.02 * np.sin(7 * turn))
        odd = np.maximum(odd, 0.85 * np.clip((1.08 - r) / 0.16, 0.0, 1.0) * (0.8 + 0.2 * np.cos(11.0 * r**1.3)))
        bend += knot.radius * 1.3 * np.exp(-0.5 * (r / 1.7) ** 2)
    return odd, bend


def _to_window_mean(field: np.ndarray, window: np.ndarray, mean: float) -> np.ndarray:
    """Scale a positive field so that its mean over the window is exact."""
    inside = field[window] if window.any() else field
    present = float(inside.mean(dtype=np.float64))
    return np.asarray(field * (mean / present if present > 0 else 0.0), dtype=np.float32)


def texture_fields(
    x0: float, y0: float, shape: tuple[int, int], mm: float, texture: Texture, seed: int, window: tuple[float, ...]
) -> TextureFields:
    """Make the fields over a rectangle.

    The fields are made in the grain frame and read from there, so that streaks follow any direction.

    Parameters
    ----------
    x0, y0
        Scene coordinates (mm) of the centre of the first pixel.
    shape
        Rows and columns.
    mm
        Size of a pixel in millimetres.
    texture
        What to make.
    seed
        Same seed, same surface.
    window
        Rectangle (x, y, right, bottom) over which the means hold exactly, seams and knots left out.
    """
    rng = np.random.default_rng(seed)
    angle = np.deg2rad(texture.direction)
    cos, sin = float(np.cos(angle)), float(np.sin(angle))
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32) * np.float32(mm)
    x += np.float32(x0)
    y += np.float32(y0)
    u, v = x * cos + y * sin, -x * sin + y * cos
    u0, v0 = float(u.min()) - 2 * mm, float(v.min()) - 2 * mm
    grid = (int((float(v.max()) - v0) / mm) + 4, int((float(u.max()) - u0) / mm) + 4)
    # Fields in the grain frame
    gv, gu = np.mgrid[0 : grid[0], 0 : grid[1]].astype(np.float32) * np.float32(mm)
    gu += np.float32(u0)
    gv += np.float32(v0)
    plank = np.floor((gv - texture.seam_offset_mm) / texture.plank_mm) if texture.plank_mm > 0 else np.zeros_like(gv)
    gx, gy = gu * cos - gv * sin, gu * sin + gv * cos
    odd, bend = _odd(gx, gy, gv, texture)
    dark = _grain(gu, gv + bend, texture, plank, rng)
    pore = _pores(grid, mm, dark / 2.0, rng)
    if texture.plank_mm > 0:
        number = (plank - plank.min()).astype(int)
        factor = np.exp(texture.plank_spread * rng.standard_normal(int(number.max()) + 1))
        dark = dark * factor[number]
    if (cos, sin) == (1.0, 0.0):
        rows, cols = slice(2, 2 + shape[0]), slice(2, 2 + shape[1])
        dark, pore, odd = dark[rows, cols], pore[rows, cols], odd[rows, cols]
    else:
        dark, pore, odd = look_up((dark, pore, odd), (v - v0) / mm, (u - u0) / mm)
    left, top, right, bottom = window
    inside = (x >= left) & (x <= right) & (y >= top) & (y <= bottom) & (odd < 0.01)
    return TextureFields(
        _to_window_mean(np.asarray(dark, dtype=np.float32), inside, texture.grain),
        _to_window_mean(np.asarray(pore, dtype=np.float32), inside, texture.pores),
        np.asarray(odd, dtype=np.float32),
    )
