"""Rendered photos and synthetic fields with known truth, shared by the tests of imaging and measuring.

Every picture here comes from the renderer in `render/` or from a formula; none is a photo of a real surface.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any, Final

import numpy as np
from render.photo import RenderedPhoto, render_scene
from render.printers import Printer
from render.scene import Scene
from render.spectral import finish
from render.texture import Texture
from render.view import View

from finishlab.colorimetry.spaces import lab_to_rgb, srgb_to_linear
from finishlab.imaging.finder import StripFit, apply_homography
from finishlab.imaging.greys import StripGreys
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.imaging.rectify import CorrectedImage, FlatView, grid_to_mm
from finishlab.imaging.strip import STRIP, FieldName, Rect

__all__ = [
    "DECODE",
    "PLAIN",
    "WOODEN_FLOOR",
    "corrected_field",
    "greys_of_print",
    "photo_of",
    "places_of",
    "rendered",
    "scene_with",
    "straight_fit",
    "streaks",
    "streaky",
    "view_of",
    "window_of",
    "with_board",
    "with_floor",
]

DECODE: Final = np.asarray(srgb_to_linear(np.arange(256) / 255), dtype=np.float32)
"""Linear value of each 8 bit sRGB code."""

PLAIN: Final = Texture(grain=0.0, pores=0.0)
"""A surface without any texture."""

WOODEN_FLOOR: Final = finish("crosscut", lighten=0.12, stains={"brown": 0.1}, name="wooden floor")


def photo_of(
    pixels: np.ndarray, full_size: tuple[int, int] | None = None, decode: np.ndarray = DECODE, camera: str = "Camera"
) -> LinearImage:
    """Return upright pixels as a photo in sRGB."""
    size = full_size or (pixels.shape[1], pixels.shape[0])
    info = PhotoInfo("00112233aabbccdd", camera, "", "sRGB", size)
    return LinearImage(np.ascontiguousarray(pixels), decode, np.eye(3), info)


def greys_of_print(model: Printer, number: int = 7) -> StripGreys:
    """Return the greys of a rendered print, exactly known."""
    values = tuple(float(value) for value in model.reflectance(np.asarray(STRIP.greys)))
    return StripGreys(values, (), "typed", number)


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


def streaky(shape: tuple[int, int], sigma: tuple[float, float], seed: int) -> np.ndarray:
    """Return Gaussian texture of mean 0 and deviation 1 on a torus, smoothed by `sigma` (rows, columns)."""
    noise = np.random.default_rng(seed).standard_normal(shape)
    rows, columns = (np.exp(-2 * (np.pi * s * np.fft.fftfreq(n)) ** 2) for s, n in zip(sigma, shape, strict=True))
    smooth = np.fft.ifft2(np.fft.fft2(noise) * np.outer(rows, columns)).real
    return np.asarray(smooth * np.sqrt(4 * np.pi * sigma[0] * sigma[1]))


def streaks(
    seed: int,
    along_mm: float,
    across_mm: float,
    *,
    depth: float = 0.08,
    upright: bool = False,
    px_per_mm: float = 5.0,
    fields: tuple[int, int] = (1, 1),
) -> list[np.ndarray]:
    """Return the light of streaky fields cut from one large surface, each shape (h, w), 1 on average over all seeds.

    The mean of the surface is known, so the scatter of the fields' means is the true standard error of one.
    """
    rect = STRIP.fields["board"]
    h, w = round(rect.height * px_per_mm), round(rect.width * px_per_mm)
    sigma = (across_mm * px_per_mm, along_mm * px_per_mm)
    whole = 1.0 + depth * streaky((h * fields[0], w * fields[1]), sigma[::-1] if upright else sigma, seed)
    return [whole[y * h : (y + 1) * h, x * w : (x + 1) * w] for y in range(fields[0]) for x in range(fields[1])]


def places_of(view: FlatView) -> np.ndarray:
    """Return each pixel's centre in millimetres of the strip frame, shape (h, w, 2)."""
    rows, columns = np.indices(view.inside.shape)
    return apply_homography(grid_to_mm(view.rect, view.px_per_mm), np.stack([columns, rows], axis=-1))


def window_of(image: CorrectedImage, rect: Rect) -> tuple[slice, slice]:
    """Return the rows and columns of a corrected picture that lie in a rectangle of the strip frame."""
    return FlatView(image.rgb, image.inside, image.clipped, image.rect, image.px_per_mm).window(rect)
