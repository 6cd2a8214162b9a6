"""Rendered photos and synthetic fields with known truth, shared by the tests of imaging and measuring.

Every picture here comes from `finishlab.demo`'s renderer or from a formula; none is a photo of a real surface.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any, Final

import numpy as np

from finishlab.colorimetry.spaces import lab_to_rgb, srgb_to_linear
from finishlab.demo.render import RenderedPhoto, render_scene
from finishlab.demo.scene import Scene
from finishlab.demo.spectral import finish
from finishlab.demo.texture import Texture
from finishlab.demo.view import View
from finishlab.imaging.corrected import CorrectedImage
from finishlab.imaging.finder import StripFit
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.imaging.strip import STRIP, FieldName, Rect

__all__ = [
    "DECODE",
    "WOODEN_FLOOR",
    "corrected_field",
    "photo_of",
    "rendered",
    "scene_with",
    "straight_fit",
    "streaks",
    "view_of",
    "with_board",
    "with_floor",
]

DECODE: Final = np.asarray(srgb_to_linear(np.arange(256) / 255), dtype=np.float32)
"""Linear value of each 8 bit sRGB code."""

WOODEN_FLOOR: Final = finish("crosscut", lighten=0.12, stains={"brown": 0.1}, name="wooden floor")


def photo_of(
    pixels: np.ndarray, full_size: tuple[int, int] | None = None, decode: np.ndarray = DECODE, camera: str = "Camera"
) -> LinearImage:
    """Return upright pixels as a photo in sRGB."""
    size = full_size or (pixels.shape[1], pixels.shape[0])
    info = PhotoInfo("00112233aabbccdd", camera, "", "sRGB", size)
    return LinearImage(np.ascontiguousarray(pixels), decode, np.eye(3), info)


def view_of(width: int = 1000, height: int = 750, share: float = 0.72, **others: Any) -> View:
    """Return a camera over the strip, straight above it unless told."""
    return View(width=width, height=height, strip_share=share, **{"tilt": 0.0, **others})


def scene_with(**changes: Any) -> Scene:
    """Return the default scene in the small view, changed."""
    return replace(Scene(view=view_of(tilt=8.0)), **changes)


def with_board(scene: Scene, **changes: Any) -> Scene:
    """Return the scene with its board changed."""
    assert scene.board is not None
    return replace(scene, board=replace(scene.board, **changes))


def with_floor(scene: Scene, **changes: Any) -> Scene:
    """Return the scene with its floor changed."""
    assert scene.floor is not None
    return replace(scene, floor=replace(scene.floor, **changes))


@cache
def rendered(scene: Scene) -> RenderedPhoto:
    """Render a scene, once for all tests that ask for it."""
    return render_scene(scene)


def straight_fit(px_per_mm: float, left: float = 0.0, top: float = 0.0) -> StripFit:
    """Return a fit without perspective: millimetre (0, 0) lies at the outer corner of pixel (left, top)."""
    p = px_per_mm
    matrix = np.array([[p, 0.0, left - 0.5], [0.0, p, top - 0.5], [0.0, 0.0, 1.0]])
    return StripFit(matrix, 1, frozenset(range(6)), 0.0)


def corrected_field(
    lab: np.ndarray | tuple[float, float, float],
    *,
    field: FieldName = "board",
    px_per_mm: float = 5.0,
    grain: np.ndarray | float = 1.0,
    noise: float = 0.0,
    seed: int = 1,
) -> CorrectedImage:
    """Return a field of one colour, its light multiplied by `grain` (shape (h, w) or a number), with noise."""
    rect = STRIP.fields[field]
    h, w = round(rect.height * px_per_mm), round(rect.width * px_per_mm)
    rgb = np.broadcast_to(np.asarray(lab_to_rgb(np.asarray(lab, dtype=float))), (h, w, 3))
    rgb = rgb * np.broadcast_to(np.asarray(grain), (h, w))[..., None]
    if noise:
        rgb = rgb + noise * np.random.default_rng(seed).standard_normal((h, w, 3))
    return CorrectedImage(
        rgb=np.ascontiguousarray(rgb, dtype=np.float32),
        inside=np.ones((h, w), dtype=bool),
        clipped=np.zeros((h, w), dtype=bool),
        rect=Rect(rect.x, rect.y, rect.width, rect.height),
        px_per_mm=px_per_mm,
        light=np.ones((h, w), dtype=np.float32),
    )


def streaks(
    seed: int, along_mm: float, across_mm: float, *, depth: float = 0.12, upright: bool = False, px_per_mm: float = 2.0
) -> np.ndarray:
    """Return the light of a streaky surface over a field, mean 1 over all seeds, shape (h, w).

    A stationary Gaussian texture with known mean: the scatter of a field's mean over seeds is the true standard error.
    """
    from scipy.ndimage import gaussian_filter

    rect = STRIP.fields["board"]
    shape = (round(rect.height * px_per_mm), round(rect.width * px_per_mm))
    sigma = (along_mm, across_mm) if upright else (across_mm, along_mm)
    sigma = (sigma[0] * px_per_mm, sigma[1] * px_per_mm)
    pad = [int(3 * s) + 1 for s in sigma]
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal((shape[0] + 2 * pad[0], shape[1] + 2 * pad[1]))
    smooth = gaussian_filter(noise, sigma)[pad[0] : pad[0] + shape[0], pad[1] : pad[1] + shape[1]]
    gain = np.sqrt(4 * np.pi * sigma[0] * sigma[1])
    return np.asarray(1.0 + depth * gain * smooth)


TEXTURE_PLAIN: Final = Texture(grain=0.0, pores=0.0)
