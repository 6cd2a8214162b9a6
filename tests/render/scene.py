"""A scene to photograph, and the truth about it.

A flat work in the strip's frame (millimetres): a test board against the board edge, a floor against the floor edge, the
strip between them, a bench around. `render.photo.render_scene` makes the photo; `truth_of` says what a perfect
instrument would read.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.imaging.strip import Rect
from render.camera import CAMERAS, Tone, ToneCurve, ideal_lab
from render.chart import ChartCard
from render.paper import PrintedStrip
from render.spectral import Material, finish, grey_material, print_material
from render.texture import Texture
from render.view import Light, View, homography

__all__ = ["Blob", "Glare", "Lab", "Scene", "Surface", "Truth", "default_board", "default_floor", "truth_of"]

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Surface:
    """A board or a floor: its place in the scene, what it is made of and how it looks."""

    material: Material
    rect: Rect
    texture: Texture = field(default_factory=Texture)
    angle: float = 0.0
    """Turn of the rectangle about the middle of its strip-side edge, degrees: a board not laid flush."""
    gloss: float = 1.0
    """How much of a glare it takes up."""


@dataclass(frozen=True, slots=True)
class Glare:
    """A mirrored lamp: added white with smooth edges."""

    x: float
    y: float
    peak: float = 0.6
    """Added light at the centre, over a perfect diffuser."""
    radius: tuple[float, float] = (18.0, 9.0)
    """One sigma along and across, mm."""
    angle: float = 0.0


@dataclass(frozen=True, slots=True)
class Blob:
    """Something soft-edged over the work: a hand (`reflectance` set) or a cast shadow (`reflectance` None)."""

    x: float
    y: float
    radius: tuple[float, float] = (45.0, 30.0)
    angle: float = 0.0
    edge: float = 0.04
    """Width of the edge over the radius."""
    darkening: float = 0.5
    """A shadow leaves 1 - this of the light."""
    material: Material | None = None


def default_board() -> Surface:
    """Return a stained board, 300 x 150 mm, flush with the board edge."""
    wood = finish("crosscut", lighten=0.16, stains={"golden": 0.25, "red-brown": 0.12}, name="board")
    return Surface(wood, Rect(20.0, -150.0, 150.0, 150.0), Texture(direction=90.0))


def default_floor() -> Surface:
    """Return a printed floor below the floor edge."""
    floor = print_material((55.0, 7.0, 22.0), name="floor")
    return Surface(
        floor, Rect(-300.0, 46.0, 800.0, 500.0), Texture(grain=0.25, pores=0.01, plank_mm=180.0, seam_offset_mm=190.0)
    )


@dataclass(frozen=True, slots=True)
class Scene:
    """All that decides a rendered photo; equal scenes give equal pixels.

    Raises
    ------
    ValueError
        If a setting is outside what the renderer means.
    """

    board: Surface | None = field(default_factory=default_board)
    floor: Surface | None = field(default_factory=default_floor)
    strip: PrintedStrip | None = field(default_factory=PrintedStrip)
    chart: ChartCard | None = None
    """A 24-patch chart, lying over whatever is under it."""
    bench: Material = field(default_factory=lambda: grey_material(0.25, warm=0.15))
    lamp: str = "D65"
    camera: str = CAMERAS[0]
    view: View = field(default_factory=View)
    light: Light = field(default_factory=Light)
    glares: tuple[Glare, ...] = ()
    blobs: tuple[Blob, ...] = ()
    veil: float = 0.005
    """Veiling glare: added everywhere, over a perfect diffuser."""
    blur_px: float = 0.6
    """Sigma of lens and motion blur."""
    exposure: float = 0.8
    """Linear value of a perfect diffuser at the aim, 1 at the sensor's limit."""
    white_error: tuple[float, float] = (1.0, 1.0)
    """What the camera's guess of white gets wrong: factors on red and blue."""
    tone: ToneCurve = field(default_factory=Tone)
    saturation: float = 1.0
    saturation_on: Literal["encoded", "linear"] = "encoded"
    local_tone: float = 0.0
    """How far brightness is evened out from place to place, 0 not at all, 1 fully; see `render.local_tone`."""
    sharpen: float = 0.0
    """Unsharp mask on encoded values, share added."""
    full_well: float = 12000.0
    """Electrons at 1.0: shot noise is sqrt(signal / full well)."""
    read_noise: float = 0.0015
    jpeg_quality: int | None = 92
    """None for no JPEG."""
    subsampling: Literal["4:4:4", "4:2:2", "4:2:0"] = "4:2:0"
    seed: int = 1

    def __post_init__(self) -> None:
        if not 0.5 <= self.saturation <= 2.0:
            raise ValueError("saturation runs from 0.5 to 2")
        if not (0.0 <= self.veil < 0.5 and 0.0 < self.exposure <= 2.0 and self.blur_px >= 0.0):
            raise ValueError("veil, exposure or blur is out of range")
        if not 0.0 <= self.local_tone < 1.0:
            raise ValueError("local tone mapping runs from 0 to below 1")
        if self.camera not in CAMERAS:
            raise ValueError(f"no camera called {self.camera!r}")


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a scene: by a perfect instrument, and by an ideal camera."""

    board_lab: Lab | None
    """CIELAB D65 2 degrees of the board's mean spectrum."""
    floor_lab: Lab | None
    delta_e00: float | None
    """CIEDE2000 between the two."""
    ideal_board_lab: Lab | None
    """What a linear, noise-free camera of the same sensitivities and light, balanced on a perfect diffuser, reads."""
    ideal_floor_lab: Lab | None
    ideal_delta_e00: float | None
    homography: np.ndarray
    """Scene millimetres -> photo pixels, shape (3, 3), pixel centres at integers."""
    settings: dict[str, Any]
    """The scene's settings in plain words, for a record."""


def _lab(values: np.ndarray) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])


def truth_of(scene: Scene) -> Truth:
    """Return the truth about a scene.

    The mean of each surface over its field is its material's mean spectrum exactly, seams and knots left out.
    """
    true: dict[str, Lab | None] = {"board": None, "floor": None}
    ideal: dict[str, Lab | None] = {"board": None, "floor": None}
    for name, surface in (("board", scene.board), ("floor", scene.floor)):
        if surface is not None:
            true[name] = surface.material.lab
            ideal[name] = _lab(ideal_lab(np.array(surface.material.mean), scene.camera, scene.lamp))
    both = scene.board is not None and scene.floor is not None
    return Truth(
        board_lab=true["board"],
        floor_lab=true["floor"],
        delta_e00=float(delta_e_00(np.array(true["board"]), np.array(true["floor"]))) if both else None,
        ideal_board_lab=ideal["board"],
        ideal_floor_lab=ideal["floor"],
        ideal_delta_e00=float(delta_e_00(np.array(ideal["board"]), np.array(ideal["floor"]))) if both else None,
        homography=homography(scene.view),
        settings=_settings(scene),
    )


def _settings(scene: Scene) -> dict[str, Any]:
    rare = {
        "local_tone": scene.local_tone,
        "tint_gradient": scene.light.tint_gradient,
        "distortion": scene.view.distortion,
    }
    return {
        "lamp": scene.lamp,
        "camera": scene.camera,
        "board": scene.board.material.name if scene.board else None,
        "board_kind": scene.board.material.kind if scene.board else None,
        "floor": scene.floor.material.name if scene.floor else None,
        "floor_kind": scene.floor.material.kind if scene.floor else None,
        "tilt": scene.view.tilt,
        "rotation": scene.view.rotation,
        "strip_share": scene.view.strip_share,
        "gradient": scene.light.gradient,
        "curve": scene.light.curve,
        **asdict(scene.tone),
        "printer": scene.strip.printer.name if scene.strip else None,
        "saturation": scene.saturation,
        "veil": scene.veil,
        "glares": len(scene.glares),
        "blur_px": scene.blur_px,
        "exposure": scene.exposure,
        "jpeg_quality": scene.jpeg_quality,
        "seed": scene.seed,
        **{name: value for name, value in rare.items() if value},
    }
