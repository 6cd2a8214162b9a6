"""Rendered photos for the tests of the whole way: each is rendered once a session, and only when a test asks for it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from click.testing import CliRunner, Result

from finishlab.cli import finishlab
from finishlab.demo.camera import Tone
from finishlab.demo.paper import PrintedStrip
from finishlab.demo.render import render_scene
from finishlab.demo.scene import Scene, Surface, Truth, truth_of
from finishlab.demo.spectral import finish, print_material
from finishlab.demo.texture import Texture
from finishlab.demo.view import View
from finishlab.imaging.strip import Rect
from finishlab.photos import CameraTags, matrix_profile, write_jpeg

STRIP_NUMBER: Final = 412
CAMERA: Final = CameraTags("Test", "One", dt.datetime(2024, 5, 11, 10, 30, tzinfo=dt.UTC))
BASE: Final = Scene(
    strip=PrintedStrip(number=STRIP_NUMBER),
    view=View(1200, 900, strip_share=0.62, rotation=2.0, tilt=5.0),
    tone=Tone(contrast=0.2),
    saturation=1.1,
)
"""A good photo: board and floor beside the strip, even light, no glare."""


def board(golden: float, seed_name: str) -> Surface:
    """Return a stained board, the darker the more stain."""
    wood = finish("crosscut", lighten=0.16, stains={"golden": golden, "red-brown": golden / 2}, name=seed_name)
    return Surface(wood, Rect(20.0, -150.0, 150.0, 150.0), Texture(direction=90.0, grain=0.2, pores=0.01))


def floor(lab: tuple[float, float, float]) -> Surface:
    """Return a printed floor of a colour."""
    texture = Texture(grain=0.2, pores=0.01, plank_mm=180.0, seam_offset_mm=190.0)
    return Surface(print_material(lab, name="floor"), Rect(-300.0, 46.0, 800.0, 500.0), texture)


SCENES: Final[dict[str, Scene]] = {
    "floor1": replace(BASE, board=None, floor=floor((55.0, 7.0, 22.0)), seed=11),
    "floor2": replace(BASE, board=None, floor=floor((56.5, 6.5, 21.0)), seed=12),
    "light_board": replace(BASE, board=board(0.15, "light"), floor=None, seed=13),
    "dark_board": replace(BASE, board=board(0.60, "dark"), floor=None, seed=14),
    "pair": replace(BASE, board=board(0.30, "middle"), floor=floor((55.0, 7.0, 22.0)), seed=15),
    "other_strip": replace(BASE, floor=None, strip=PrintedStrip(number=413), seed=16),
    "straight": replace(BASE, view=View(1200, 900, strip_share=0.62, rotation=0.0, tilt=0.0), seed=17),
    "half_strip": replace(BASE, view=View(1200, 900, strip_share=0.62, rotation=0.0, tilt=0.0), seed=17),
    "hidden_strip": replace(BASE, view=View(1200, 900, strip_share=0.62, rotation=0.0, tilt=0.0), seed=17),
    "no_strip": replace(BASE, strip=None, seed=18),
    "blurred": replace(BASE, blur_px=9.0, seed=19),
    "clipped": replace(BASE, seed=20),
    "dark": replace(BASE, exposure=0.012, seed=21),
}
"""Name of a photo -> what it shows."""


@dataclass(frozen=True)
class Photos:
    """The rendered photos, by name."""

    folder: Path

    def __call__(self, name: str) -> Path:
        """Return the file of a photo, rendered now if it was not asked for before."""
        path = self.folder / f"{name}.jpg"
        if not path.exists():
            pixels = render_scene(replace(SCENES[name], jpeg_quality=None)).pixels
            pixels = _spoiled(name, pixels)
            path.write_bytes(write_jpeg(pixels, quality=92, profile=matrix_profile("sRGB"), camera=CAMERA))
        return path

    def truth(self, name: str) -> Truth:
        """Return the truth about a photo."""
        return truth_of(SCENES[name])


def _spoiled(name: str, pixels: np.ndarray) -> np.ndarray:
    """Return the pixels after what no scene does: the strip cut or covered, or an exposure far too long."""
    height, width = pixels.shape[:2]
    strip = slice(int(0.38 * height), int(0.62 * height))
    pixels = pixels.copy()
    if name == "half_strip":
        return pixels[:, : width // 2]
    if name == "hidden_strip":
        pixels[strip, int(0.27 * width) :] = 90
        pixels[strip.start : height // 2, :] = 90
    elif name == "clipped":
        pixels = np.minimum(pixels * 2.4, 255.0).astype(np.uint8)
    return pixels


@pytest.fixture(scope="session")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Photos:
    """The rendered photos."""
    return Photos(tmp_path_factory.mktemp("photos"))


@dataclass(frozen=True)
class Run:
    """The command, run in this process on a logbook of its own."""

    logbook: Path

    def __call__(self, *args: object, columns: int = 100) -> Result:
        """Run it with these arguments; the terminal has so many columns."""
        env = {"FINISHLAB_LOGBOOK": str(self.logbook), "FINISHLAB_DEBUG": "", "COLUMNS": str(columns)}
        return CliRunner(env=env).invoke(finishlab, [str(arg) for arg in args])


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    """The folder of a logbook that is not made yet."""
    return tmp_path / "logbook"


@pytest.fixture
def run(logbook: Path) -> Run:
    """The command, on a logbook that is not made yet."""
    return Run(logbook)
