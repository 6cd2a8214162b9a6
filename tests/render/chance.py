"""Scenes drawn at random within what a careful but ordinary user would photograph."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.imaging.strip import STRIP, Rect
from render.camera import CAMERAS, Tone, random_film
from render.paper import PrintedStrip
from render.printers import Printer, random_printer
from render.scene import Glare, Scene, Surface
from render.spectral import INK_SETS, LIGHTS, STAINS, Material, finish, grey_material, print_material, woods
from render.texture import Texture
from render.view import Light, View, homography, project

__all__ = ["random_pair", "random_scene", "wood_pool"]

_LAMPS: Final[tuple[str, ...]] = ("D65", "D50", "A", "2700K", "LED-B1", "LED-B3", "LED-B5", "FL11")


@cache
def wood_pool() -> tuple[Material, ...]:
    """Return finished woods in the range of real floors and boards, derived from every measured wood."""
    rng = np.random.default_rng(20)
    pool = []
    for name in woods():
        for _ in range(60):
            mix = rng.dirichlet([1.5, 1.5, 1.5, 0.4]) * rng.gamma(2.0, 0.16)
            amounts = {stain: float(amount) for stain, amount in zip(STAINS, mix, strict=True)}
            material = finish(
                name,
                lighten=float(rng.uniform(0.06, 0.3)),
                stains=amounts,
                coats=bool(rng.random() < 0.85),
                amber=float(rng.uniform(0.0, 0.05)),
            )
            lightness, a, b = material.lab
            if 35 < lightness < 78 and max(3.0, 0.22 * b) < a < 16 and 11 < b < 34:
                pool.append(material)
    return tuple(pool)


@cache
def _pool_labs() -> np.ndarray:
    return np.array([material.lab for material in wood_pool()])


def _print_near(lab: np.ndarray, distance: float, rng: np.random.Generator) -> Material | None:
    """Return a print about `distance` (CIEDE2000) from a colour, or None if the inks cannot make it."""
    step = rng.standard_normal(3) * (1.0, 0.7, 0.9)
    low, high = 0.0, 4.0 * distance / float(np.linalg.norm(step)) + 1.0
    for _ in range(25):
        middle = (low + high) / 2
        if float(delta_e_00(lab, lab + middle * step)) < distance:
            low = middle
        else:
            high = middle
    goal = lab + low * step
    if not (25 < goal[0] < 82):
        return None
    inks = str(rng.choice([inks for inks in INK_SETS if inks != "stress"]))
    try:
        return print_material(
            (float(goal[0]), float(goal[1]), float(goal[2])), inks=inks, dark=float(rng.uniform(0.02, 0.2)), name=inks
        )
    except ValueError:
        return None


def random_pair(
    rng: np.random.Generator, kind: Literal["wood", "print"], low: float = 0.8, high: float = 12.0
) -> tuple[Material, Material]:
    """Draw a wooden board and a floor of a kind, whose true CIEDE2000 lies evenly between two bounds."""
    pool, labs = wood_pool(), _pool_labs()
    while True:
        index, distance = int(rng.integers(len(pool))), float(rng.uniform(low, high))
        if kind == "wood":
            gaps = np.abs(delta_e_00(labs[index], labs) - distance)
            near = np.flatnonzero(gaps < 0.4)
            near = near[near != index]
            floor = pool[int(rng.choice(near))] if near.size else None
        else:
            floor = _print_near(labs[index], distance, rng)
        if floor is not None and low <= float(delta_e_00(labs[index], np.array(floor.lab))) <= high:
            return pool[index], floor


def _view(rng: np.random.Generator, width: int, height: int, max_tilt: float) -> View:
    """Draw a view with the whole strip, and most of both fields, in the photo."""
    tilt = float(min(abs(rng.normal(0.0, 12.0)) if rng.random() < 0.85 else rng.uniform(20.0, 40.0), max_tilt))
    rotation = float(rng.normal(0.0, 8.0)) + (0.0 if rng.random() < 0.7 else float(rng.integers(0, 4)) * 90.0)
    if rng.random() < 0.15:
        rotation = float(rng.uniform(0.0, 360.0))
    share, azimuth = float(rng.uniform(0.35, 0.82)), float(rng.uniform(0.0, 360.0))
    aim = (95.0 + float(rng.normal(0.0, 8.0)), 23.0 + float(rng.normal(0.0, 6.0)))
    strip = Rect(0, 0, STRIP.width, STRIP.height)
    keep = np.concatenate([r.corners() for r in (strip, *STRIP.fields.values())])
    while True:
        view = View(width, height, share, rotation % 360.0, tilt, azimuth, aim)
        points = project(homography(view), keep)
        margin = 0.01 * width
        if (points > margin).all() and (points < np.array([width, height]) - margin).all():
            return view
        share *= 0.95


def _board(rng: np.random.Generator, material: Material) -> Surface:
    size = (150.0, 300.0) if rng.random() < 0.4 else (300.0, 150.0)
    middle = 95.0 + float(rng.normal(0.0, 10.0))
    return Surface(
        material,
        Rect(middle - size[0] / 2, -size[1], *size),
        Texture(
            direction=float(rng.choice([0.0, 90.0])) + float(rng.normal(0.0, 3.0)),
            grain=float(rng.uniform(0.15, 0.35)),
            pores=float(rng.uniform(0.0, 0.03)),
            ring_mm=float(rng.uniform(2.5, 8.0)),
            cathedral=float(rng.uniform(0.2, 1.2)),
        ),
    )


def _floor(rng: np.random.Generator, material: Material) -> Surface:
    texture = Texture(
        direction=float(rng.choice([0.0, 90.0], p=[0.7, 0.3])) + float(rng.normal(0.0, 2.0)),
        grain=float(rng.uniform(0.12, 0.3)),
        pores=float(rng.uniform(0.0, 0.02)),
        ring_mm=float(rng.uniform(3.0, 9.0)),
        cathedral=float(rng.uniform(0.2, 1.2)),
        plank_mm=float(rng.uniform(140.0, 220.0)),
        seam_offset_mm=float(rng.uniform(0.0, 200.0)),
        plank_spread=float(rng.uniform(0.0, 0.15)),
    )
    if rng.random() < 0.3:  # a spare plank instead of the whole floor
        return Surface(material, Rect(-60.0, 46.0, 320.0, 180.0), texture)
    return Surface(material, Rect(-700.0, 46.0, 1600.0, 900.0), texture)


def _glares(rng: np.random.Generator) -> tuple[Glare, ...]:
    """Draw no glare, or one or two lobes that touch a field."""
    glares = []
    for _ in range(int(rng.choice([0, 1, 2], p=[0.5, 0.35, 0.15]))):
        field = STRIP.fields["board" if rng.random() < 0.5 else "floor"]
        glares.append(
            Glare(
                x=float(rng.uniform(field.x, field.right)),
                y=float(rng.uniform(field.y - 15, field.bottom + 15)),
                peak=float(rng.uniform(0.1, 0.9)),
                radius=(float(rng.uniform(4.0, 14.0)), float(rng.uniform(3.0, 8.0))),
                angle=float(rng.uniform(0.0, 180.0)),
            )
        )
    return tuple(glares)


def _nominal_print(rng: np.random.Generator) -> PrintedStrip:
    """Draw a strip printed as the tool took every print to be, within a little."""
    return PrintedStrip(
        number=int(rng.integers(1, STRIP.numbers + 1)),
        printer=Printer(
            paper=float(rng.uniform(0.82, 0.90)),
            ink=float(rng.uniform(0.03, 0.06)),
            gamma=float(rng.uniform(0.95, 1.05)),
        ),
        paper_cast=float(rng.normal(0.0, 0.015)),
        ink_cast=float(rng.normal(0.02, 0.02)),
    )


def _as_met(scene: Scene, strip: PrintedStrip) -> Scene:
    """Return the scene with its strip from any printer, and one phone in two with the other family of tone curves.

    Both are drawn by a generator of their own, so that the rest of the scene stays as it is.
    """
    rng = np.random.default_rng([scene.seed, 1])
    printed = replace(strip, printer=random_printer(rng))
    return replace(scene, strip=printed, tone=random_film(rng) if rng.random() < 0.5 else scene.tone)


def random_scene(
    rng: np.random.Generator,
    *,
    floor_is: Literal["wood", "print"] | None = None,
    lamps: tuple[str, ...] = _LAMPS,
    cameras: tuple[str, ...] = CAMERAS,
    size: tuple[int, int] = (2000, 1500),
    difference: tuple[float, float] = (0.8, 12.0),
    max_tilt: float = 40.0,
    max_gradient: float = 0.25,
    glare: bool = True,
    nominal: bool = False,
) -> Scene:
    """Draw a scene: a finished wooden board beside a printed or wooden floor, as a phone may take it.

    Parameters
    ----------
    rng
        Source of randomness; equal generators draw equal scenes.
    floor_is
        What the floor is; half and half when left out.
    lamps, cameras
        Lights and cameras to draw from.
    size
        Photo width and height.
    difference
        Least and largest true CIEDE2000 of the pair, drawn evenly.
    max_tilt, max_gradient, glare
        Limits on what disturbs.
    nominal
        Whether the strip is printed as the tool takes it to be, within 5 % of its exponent, and the camera's tone is of
        the one family `Tone`; otherwise printers and tone curves are those people have.

    Raises
    ------
    KeyError
        If a lamp is unknown.
    """
    for lamp in lamps:
        LIGHTS[lamp]
    kind: Literal["wood", "print"] = floor_is or ("print" if rng.random() < 0.5 else "wood")
    materials = random_pair(rng, kind, *difference)
    board, floor = _board(rng, materials[0]), _floor(rng, materials[1])
    strip = _nominal_print(rng)
    scene = Scene(
        board=board,
        floor=floor,
        strip=strip,
        bench=grey_material(float(rng.uniform(0.06, 0.6)), warm=float(rng.uniform(-0.1, 0.5))),
        lamp=str(rng.choice(lamps)),
        camera=str(rng.choice(cameras)),
        view=_view(rng, *size, max_tilt),
        light=Light(
            gradient=float(rng.uniform(0.0, max_gradient)),
            direction=float(rng.uniform(0.0, 360.0)),
            curve=float(rng.uniform(-0.04, 0.0)),
            vignette=float(rng.uniform(0.0, 0.05)),
        ),
        glares=_glares(rng) if glare else (),
        veil=float(rng.uniform(0.0, 0.012)),
        blur_px=float(rng.uniform(0.4, 1.2)),
        exposure=float(rng.uniform(0.62, 0.9)),
        white_error=(float(np.exp(rng.normal(0.0, 0.03))), float(np.exp(rng.normal(0.0, 0.04)))),
        tone=Tone(
            contrast=float(rng.uniform(0.0, 0.45)),
            gamma=float(rng.uniform(0.88, 1.08)),
            shoulder=float(rng.uniform(0.85, 1.0)),
        ),
        saturation=float(rng.uniform(1.0, 1.2)),
        sharpen=float(rng.uniform(0.0, 0.5)),
        full_well=float(rng.uniform(3000.0, 20000.0)),
        read_noise=float(rng.uniform(0.0005, 0.003)),
        jpeg_quality=int(rng.integers(85, 97)),
        subsampling="4:2:0" if rng.random() < 0.7 else "4:4:4",
        seed=int(rng.integers(2**31)),
    )
    return scene if nominal else _as_met(scene, strip)
