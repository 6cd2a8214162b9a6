"""The scenes behind the demo's photos: what each board and plank is made of, and how each photo was held."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import Final
from zlib import crc32

from finishlab.imaging.strip import Rect
from render.camera import Tone
from render.paper import PrintedStrip
from render.printers import Printer
from render.scene import Blob, Glare, Scene, Surface
from render.spectral import Material, StainName, finish, grey_material, print_material
from render.story import (
    BOARDS,
    HONEY,
    SPOTS,
    STAND_BACK,
    STRIP_NUMBER,
    WALNUT,
    StoryBoard,
    StoryPhoto,
    StorySpot,
)
from render.texture import Knot, Texture
from render.view import Light, View

__all__ = ["CAMERA", "board_material", "floor_material", "scene_of"]

CAMERA: Final = "synthetic phone 2"
FLOOR_LAB: Final = (50.2, 7.2, 20.6)
"""The floor's usual colour, CIELAB D65."""
_LAMP: Final = "2700K"

_WOOD: Final = "yewdead"
_LIGHTEN: Final = 0.05
_REDNESS: Final[dict[StainName, float]] = {"red-brown": 0.24, "golden": 0.03}
"""What makes the measured wood look like fresh cherry: chosen by eye, no source."""
_STAINS: Final[dict[str, dict[StainName, float]]] = {
    WALNUT: {"brown": 0.30, "grey": 0.18},
    HONEY: {"golden": 0.26, "red-brown": 0.10, "brown": 0.05},
}
"""What one coat adds to K/S, mean over the grid; invented."""
_COATS: Final = {0: 0.0, 1: 1.0, 2: 1.7}
"""How much stain so many coats leave: a second coat takes less than the first."""
_AMBER: Final = {"hardwax oil, matte": 0.04, "water varnish, matte": 0.0}
"""How much a topcoat yellows; invented."""

_TONE: Final = Tone(contrast=0.3, gamma=0.97, shoulder=0.95)
_SATURATION: Final = 1.1
_PRINT: Final = PrintedStrip(STRIP_NUMBER, Printer(paper=0.86), paper_cast=-0.015)
_BENCH: Final = grey_material(0.34, warm=0.35)
_PALE_BENCH: Final = grey_material(0.48, warm=0.15)

_ALL_OVER: Final = Rect(-600.0, -600.0, 1400.0, 1400.0)
_LONG_SIDE: Final = Rect(-52.0, -150.0, 300.0, 150.0)
_SHORT_SIDE: Final = Rect(17.0, -300.0, 156.0, 300.0)


def _seam_at(y: float, direction: float = 0.0) -> Texture:
    """Return the floor's texture with a seam at a place across the planks (mm)."""
    return Texture(
        grain=0.26,
        pores=0.006,
        ring_mm=7.0,
        cathedral=0.7,
        plank_mm=182.0,
        seam_offset_mm=y,
        plank_spread=0.06,
        direction=direction,
    )


def _grain(ring_mm: float, cathedral: float, direction: float = 0.0, knots: tuple[Knot, ...] = ()) -> Texture:
    return Texture(direction=direction, grain=0.22, pores=0.012, ring_mm=ring_mm, cathedral=cathedral, knots=knots)


@dataclass(frozen=True, slots=True)
class _Shot:
    """How one photo was held and lit, and how the board lay."""

    view: View
    light: Light
    board: Rect = _LONG_SIDE
    texture: Texture = field(default_factory=lambda: _grain(4.5, 0.9))
    floor: Texture = field(default_factory=lambda: _seam_at(-60.0))
    glares: tuple[Glare, ...] = ()
    bench: Material = _BENCH
    exposure: float = 0.78
    white_error: tuple[float, float] = (1.0, 1.0)


def _view(share: float, rotation: float, tilt: float, azimuth: float, y: float = 23.0) -> View:
    return View(strip_share=share, rotation=rotation, tilt=tilt, tilt_azimuth=azimuth, aim=(95.0, y))


def _pool_of_light(direction: float, gradient: float) -> Light:
    return Light(gradient=gradient, direction=direction, curve=-0.03, vignette=0.04)


_SHOTS: Final[dict[str, _Shot]] = {
    STAND_BACK.file: _Shot(_view(0.24, 4.0, 6.0, 30.0), Light(0.04, 120.0)),
    "floor-beside-the-stair.jpg": _Shot(_view(0.62, 3.0, 6.0, 20.0, 34.0), Light(0.07, 20.0)),
    "floor-beside-the-stair-evening.jpg": _Shot(
        _view(0.60, -4.0, 9.0, 130.0, 34.0), _pool_of_light(60.0, 0.12), exposure=0.62, white_error=(1.05, 0.93)
    ),
    "floor-middle-of-the-hall.jpg": _Shot(
        _view(0.58, -2.0, 8.0, 80.0, 34.0), Light(0.05, 100.0), floor=_seam_at(128.0, 90.0)
    ),
    "floor-middle-of-the-hall-evening.jpg": _Shot(
        _view(0.62, 5.0, 7.0, 10.0, 34.0),
        _pool_of_light(200.0, 0.10),
        floor=_seam_at(128.0, 90.0),
        exposure=0.6,
        white_error=(1.06, 0.92),
    ),
    "floor-near-the-front-door.jpg": _Shot(
        _view(0.56, 14.0, 18.0, 40.0, 34.0), Light(0.10, 150.0), floor=_seam_at(-80.0), white_error=(0.98, 1.03)
    ),
    "floor-near-the-front-door-evening.jpg": _Shot(
        _view(0.59, -11.0, 10.0, 260.0, 34.0),
        _pool_of_light(330.0, 0.11),
        floor=_seam_at(-80.0),
        exposure=0.6,
        white_error=(1.05, 0.94),
    ),
    "floor-under-the-window.jpg": _Shot(
        _view(0.60, -7.0, 12.0, 200.0, 34.0),
        Light(0.14, 80.0, -0.02),
        floor=_seam_at(150.0),
        glares=(Glare(140.0, 90.0, 0.07, (10.0, 5.0), 12.0),),
    ),
    "floor-kitchen-doorway.jpg": _Shot(
        _view(0.61, 181.0, 5.0, 300.0, 34.0), Light(0.06, 240.0), floor=_seam_at(-30.0), white_error=(1.02, 0.98)
    ),
    "board-raw.jpg": _Shot(_view(0.60, -2.0, 6.0, 60.0, 0.0), Light(0.06, 30.0), texture=_grain(5.5, 1.1)),
    "board-clear-only.jpg": _Shot(
        _view(0.62, 4.0, 9.0, 150.0, 0.0),
        Light(0.05, 210.0),
        texture=_grain(5.0, 1.0, knots=(Knot(128.0, -27.0, 5.0),)),
    ),
    "board-honey-one-coat.jpg": _Shot(
        _view(0.52, 91.0, 8.0, 20.0, 4.0), Light(0.07, 60.0), _SHORT_SIDE, texture=_grain(4.0, 0.8, 90.0)
    ),
    "board-honey-two-coats.jpg": _Shot(
        _view(0.61, 2.0, 10.0, 100.0, 0.0),
        Light(0.08, 340.0),
        texture=_grain(4.5, 1.0),
        glares=(Glare(62.0, -24.0, 0.08, (9.0, 4.5), 20.0),),
    ),
    "board-honey-two-coats-varnish.jpg": _Shot(
        _view(0.60, -5.0, 27.0, 5.0, 0.0), Light(0.06, 120.0), texture=_grain(6.0, 0.7)
    ),
    "board-walnut-one-coat.jpg": _Shot(
        _view(0.63, 1.0, 7.0, 250.0, 8.0),
        Light(0.05, 280.0),
        Rect(38.0, -34.0, 112.0, 34.0),
        texture=_grain(3.5, 0.4),
        bench=_PALE_BENCH,
    ),
    "board-walnut-one-coat-oil.jpg": _Shot(
        _view(0.60, 8.0, 11.0, 30.0, 0.0), Light(0.22, 10.0, -0.03), texture=_grain(4.2, 1.0)
    ),
    "board-walnut-one-coat-oil-evening.jpg": _Shot(
        _view(0.60, -3.0, 8.0, 70.0, 0.0),
        _pool_of_light(110.0, 0.11),
        texture=_grain(4.2, 1.0),
        exposure=0.62,
        white_error=(1.05, 0.94),
    ),
    "board-walnut-two-coats.jpg": _Shot(
        _view(0.58, -3.0, 8.0, 110.0), Light(0.06, 70.0), texture=_grain(5.0, 0.9), floor=_seam_at(140.0)
    ),
    "board-walnut-two-coats-evening.jpg": _Shot(
        _view(0.61, 6.0, 10.0, 190.0, 0.0),
        _pool_of_light(20.0, 0.09),
        texture=_grain(5.0, 0.9),
        exposure=0.64,
        white_error=(1.06, 0.94),
    ),
    "board-mix-one-coat.heic": _Shot(
        _view(0.60, -9.0, 9.0, 330.0, 0.0), Light(0.07, 190.0), texture=_grain(4.8, 0.8), white_error=(1.01, 1.02)
    ),
    "board-mix-two-coats.jpg": _Shot(
        _view(0.57, 2.0, 7.0, 90.0),
        Light(0.07, 250.0),
        _SHORT_SIDE,
        texture=_grain(5.2, 1.0, 90.0),
        floor=_seam_at(130.0),
    ),
    "board-mix-two-coats-evening.jpg": _Shot(
        _view(0.60, -5.0, 9.0, 40.0, 0.0),
        _pool_of_light(300.0, 0.12),
        texture=_grain(5.2, 1.0),
        exposure=0.6,
        white_error=(1.05, 0.93),
    ),
}


def _contact_shadows(board: Rect) -> tuple[Blob, ...]:
    """Return the soft dark lines where a board's ends and far side meet what it lies on, clear of the strip."""
    half, middle = board.height / 2 / 1.5, board.y + board.height / 2 - 1.0  # an edge of 1 reaches to 1.5 radii
    ends = [
        Blob(x, middle, (reach, half), edge=1.0, darkening=dark)
        for x, reach, dark in ((board.x - 0.3, 1.2, 0.4), (board.right + 0.3, 1.2, 0.4), (board.right + 0.8, 3.2, 0.16))
    ]
    far = Blob(board.centre[0], board.y - 0.3, (board.width / 2 / 1.5, 1.2), edge=1.0, darkening=0.4)
    return (*ends, far)


@cache
def board_material(board: StoryBoard) -> Material:
    """Return what a board is made of: the stains' absorption adds to the wood's, coat by coat (Kubelka-Munk 1931)."""
    amounts = dict(_REDNESS)
    for stain, share in board.parts:
        for part, amount in _STAINS[stain].items():
            amounts[part] = amounts.get(part, 0.0) + share * _COATS[board.coats] * amount
    amber = 0.0 if board.topcoat is None else _AMBER[board.topcoat]
    coated = board.topcoat is not None
    return finish(_WOOD, lighten=_LIGHTEN, stains=amounts, coats=coated, amber=amber, name=f"board {board.number}")


@cache
def floor_material(spot: StorySpot | None = None) -> Material:
    """Return the floor's print at a spot, or its usual colour."""
    lightness, a, b = spot.offset if spot is not None else (0.0, 0.0, 0.0)
    name = "smoked-larch print" if spot is None else f"smoked-larch print at {spot.where}"
    return print_material((FLOOR_LAB[0] + lightness, FLOOR_LAB[1] + a, FLOOR_LAB[2] + b), inks="decor", name=name)


def scene_of(photo: StoryPhoto) -> Scene:
    """Return the scene of one of the story's photos.

    Raises
    ------
    KeyError
        If the story has no such photo.
    """
    shot = _SHOTS[photo.file]
    scene = Scene(
        board=None,
        floor=None,
        strip=_PRINT,
        bench=shot.bench,
        lamp=_LAMP if photo.evening else "D65",
        camera=CAMERA,
        view=shot.view,
        light=shot.light,
        glares=shot.glares,
        blur_px=0.8,
        exposure=shot.exposure,
        white_error=shot.white_error,
        tone=_TONE,
        saturation=_SATURATION,
        sharpen=0.25,
        full_well=9000.0,
        jpeg_quality=None,
        seed=crc32(photo.file.encode()),
    )
    if photo is STAND_BACK:
        return scene
    for spot in SPOTS:
        if photo in (spot.photo, spot.evening):
            return replace(scene, floor=Surface(floor_material(spot), _ALL_OVER, shot.floor, gloss=0.8))
    for board in BOARDS:
        if photo in (board.photo, board.evening):
            surface = Surface(board_material(board), shot.board, shot.texture)
            floor = None
            if board.with_floor and photo is board.photo:
                floor = Surface(floor_material(), _ALL_OVER, shot.floor, gloss=0.8)
            return replace(scene, board=surface, floor=floor, blobs=_contact_shadows(shot.board))
    raise KeyError(photo.file)
