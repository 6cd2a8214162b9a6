"""Scene -> photo: every pixel looks up what lies under it, in linear light, then the camera develops it.

Each material's raw colour is computed once from spectra; textures only say how much of which material stands where. All
averaging over a pixel is done on linear light: textures are made at the photo's scale, edges cover pixels by share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.imaging.strip import STRIP, FieldName, Rect
from render.camera import balanced_raw, colour_matrix, develop
from render.chart import ChartCard
from render.encode import decode_jpeg, encode_jpeg
from render.fields import gaussian, look_up
from render.local_tone import even_out
from render.paper import CAST_CELLS, cast_raster, paper_share
from render.scene import Blob, Glare, Scene, Surface, Truth, truth_of
from render.texture import texture_fields
from render.view import world_grid

__all__ = ["RenderedPhoto", "render_linear", "render_scene"]

_SUBPIXELS: Final = tuple(np.float32(v) for v in (-0.375, -0.125, 0.125, 0.375))
"""Where in a pixel the strip is looked up, along each side: over these the raster's cells leave no gap."""


@dataclass(frozen=True, slots=True)
class RenderedPhoto:
    """A rendered photo and the truth about it."""

    pixels: np.ndarray
    """Shape (H, W, 3) uint8, encoded RGB as a phone would save it, after JPEG."""
    truth: Truth
    scene: Scene
    jpeg: bytes | None
    """The very JPEG file `pixels` was read from, None when the scene asks for no JPEG."""


@dataclass(slots=True)
class _Canvas:
    """The picture in the making: scene coordinates of every pixel, raw colour, and gloss."""

    x: np.ndarray
    y: np.ndarray
    mm: np.ndarray
    raw: np.ndarray
    gloss: np.ndarray


def _cover(canvas: _Canvas, rect: Rect, angle: float, rows: slice, cols: slice) -> np.ndarray:
    """Return the share of each pixel that a rectangle, turned about the middle of its strip-side edge, covers."""
    x, y, mm = canvas.x[rows, cols], canvas.y[rows, cols], canvas.mm[rows, cols]
    if angle != 0.0:
        pivot_y = rect.bottom if rect.y < 0 else rect.y
        x, y = _turned(x, y, rect.centre[0], pivot_y, angle)
    across = np.minimum(x - rect.x, rect.right - x) / mm
    along = np.minimum(y - rect.y, rect.bottom - y) / mm
    return np.asarray(np.clip(across + 0.5, 0, 1) * np.clip(along + 0.5, 0, 1), dtype=np.float32)


def _turned(x: np.ndarray, y: np.ndarray, cx: float, cy: float, degrees: float) -> tuple[np.ndarray, np.ndarray]:
    c, s = np.float32(np.cos(np.deg2rad(degrees))), np.float32(np.sin(np.deg2rad(degrees)))
    dx, dy = x - np.float32(cx), y - np.float32(cy)
    return dx * c + dy * s + np.float32(cx), -dx * s + dy * c + np.float32(cy)


def _window(canvas: _Canvas, rect: Rect, margin: float) -> tuple[slice, slice] | None:
    """Return rows and columns of the photo that hold a rectangle, or None."""
    inside = (
        (canvas.x > rect.x - margin)
        & (canvas.x < rect.right + margin)
        & (canvas.y > rect.y - margin)
        & (canvas.y < rect.bottom + margin)
    )
    rows, cols = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    if rows.size == 0:
        return None
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)


def _lay_surface(canvas: _Canvas, surface: Surface, name: FieldName, scene: Scene, seed: int) -> None:
    """Lay a textured board or floor on the canvas."""
    rect = surface.rect
    window = _window(canvas, rect, 0.1 * rect.height if surface.angle else 1.0)
    if window is None:
        return
    rows, cols = window
    x, y = canvas.x[rows, cols], canvas.y[rows, cols]
    cover = _cover(canvas, rect, surface.angle, rows, cols)
    if surface.angle != 0.0:
        pivot_y = rect.bottom if rect.y < 0 else rect.y
        x, y = _turned(x, y, rect.centre[0], pivot_y, surface.angle)
    left, top = max(rect.x, float(x.min())) - 2, max(rect.y, float(y.min())) - 2
    right, bottom = min(rect.right, float(x.max())) + 2, min(rect.bottom, float(y.max())) + 2
    step = 1.0 / float(np.clip(scene.view.px_per_mm, 1.0, 4.0))
    shape = (int((bottom - top) / step) + 2, int((right - left) / step) + 2)
    field = STRIP.fields[name]
    inside = (max(field.x, rect.x), max(field.y, rect.y), min(field.right, rect.right), min(field.bottom, rect.bottom))
    fields = texture_fields(left, top, shape, step, surface.texture, seed, inside)
    material, texture = surface.material, surface.texture
    mean, dark, pore = (
        balanced_raw(np.array(s), scene.camera, scene.lamp).astype(np.float32)
        for s in (material.mean, material.dark, material.pore)
    )
    light = (mean - texture.grain * dark - texture.pores * pore) / (1.0 - texture.grain - texture.pores)
    place = (y - np.float32(top)) / np.float32(step), (x - np.float32(left)) / np.float32(step)
    m, p, o = (field[..., None] for field in look_up((fields.dark, fields.pore, fields.odd), *place))
    colour = light + m * (dark - light) + p * (pore - light)
    colour += o * (pore - colour)
    target = canvas.raw[rows, cols]
    target += cover[..., None] * (np.maximum(colour, 0.0) - target)
    gloss = canvas.gloss[rows, cols]
    gloss += cover * (surface.gloss - gloss)


def _over_pixels(field: np.ndarray, x: np.ndarray, y: np.ndarray, per_mm: float, inside: np.ndarray) -> np.ndarray:
    """Return the mean of a raster over each pixel's own area where `inside`, shape (number of pixels,) float32.

    Parameters
    ----------
    field
        Raster from the strip's corner, cells no larger than a quarter of a pixel unless the photo is larger still.
    x, y
        Scene coordinates of a window of pixels, mm, each (H, W).
    per_mm
        Cells of the raster in 1 mm.
    inside
        Pixels that are asked for, (H, W) bool.
    """
    steps = [np.gradient(axis)[::-1] for axis in (x, y)]  # along columns, along rows
    at = [axis[inside] for axis in (x, y)]
    (xc, xr), (yc, yr) = [[step[inside] for step in pair] for pair in steps]
    total = np.zeros(at[0].shape, dtype=np.float32)
    cells, half = np.float32(per_mm), np.float32(0.5)
    for down in _SUBPIXELS:
        for right in _SUBPIXELS:
            px, py = at[0] + right * xc + down * xr, at[1] + right * yc + down * yr
            total += look_up((field,), py * cells - half, px * cells - half)[0]
    return total / np.float32(len(_SUBPIXELS) ** 2)


def _lay_strip(canvas: _Canvas, scene: Scene) -> None:
    """Lay the printed strip on the canvas."""
    printed = scene.strip
    window = _window(canvas, Rect(0.0, 0.0, STRIP.width, STRIP.height), 1.0)
    if printed is None or window is None:
        return
    cover = _cover(canvas, Rect(0.0, 0.0, STRIP.width, STRIP.height), 0.0, *window)
    inside = cover > 0.0
    if not inside.any():
        return
    x, y = canvas.x[window], canvas.y[window]
    share, per_mm = paper_share(printed, 1.0 / float(canvas.mm[window][inside].min()))
    t = _over_pixels(share, x, y, per_mm, inside)[:, None]
    paper, ink = (balanced_raw(s, scene.camera, scene.lamp).astype(np.float32) for s in printed.spectra())
    colour = ink + t * (paper - ink)
    casts = cast_raster(printed)
    if casts is not None:
        rows, cols = (axis[inside] * np.float32(CAST_CELLS) - np.float32(0.5) for axis in (y, x))
        for cast, spectrum in zip(look_up(casts, rows, cols), printed.cast_spectra(), strict=True):
            tint = balanced_raw(spectrum, scene.camera, scene.lamp).astype(np.float32)
            colour += cast[:, None] * tint
    target = canvas.raw[window]
    target[inside] += cover[inside][:, None] * (colour - target[inside])
    canvas.gloss[window] *= 1.0 - cover


def _lay_chart(canvas: _Canvas, chart: ChartCard, scene: Scene) -> None:
    """Lay a 24-patch chart on the canvas."""
    x, y = _turned(canvas.x, canvas.y, *chart.rect.centre, chart.angle)
    turned = _Canvas(x, y, canvas.mm, canvas.raw, canvas.gloss)
    for rect, spectrum in ((chart.rect, chart.card_spectrum()), *chart.patches()):
        window = _window(turned, rect, 1.0)
        if window is not None:
            colour = balanced_raw(spectrum, scene.camera, scene.lamp).astype(np.float32)
            cover = _cover(turned, rect, 0.0, *window)
            canvas.raw[window] += cover[..., None] * (colour - canvas.raw[window])
            canvas.gloss[window] *= 1.0 - cover


def _blob(canvas: _Canvas, blob: Blob | Glare) -> np.ndarray:
    """Return the squared elliptical distance from a blob's centre, 1 at its radius."""
    x, y = _turned(canvas.x, canvas.y, blob.x, blob.y, blob.angle)
    return np.asarray(((x - blob.x) / blob.radius[0]) ** 2 + ((y - blob.y) / blob.radius[1]) ** 2, dtype=np.float32)


def _lay_blobs(canvas: _Canvas, scene: Scene) -> np.ndarray:
    """Lay hands on the canvas and return what shadows leave of the light."""
    lit = np.ones_like(canvas.x)
    for blob in scene.blobs:
        share = np.clip((1.0 - np.sqrt(_blob(canvas, blob))) / blob.edge + 0.5, 0.0, 1.0)
        if blob.material is None:
            lit *= 1.0 - blob.darkening * share
        else:
            colour = balanced_raw(np.array(blob.material.mean), scene.camera, scene.lamp).astype(np.float32)
            canvas.raw += share[..., None] * (colour - canvas.raw)
            canvas.gloss *= 1.0 - share
    return lit


def render_linear(scene: Scene) -> np.ndarray:
    """Return balanced raw light at the sensor, exposure, blur and veil included, noise not, (H, W, 3) float32."""
    rng = np.random.default_rng(scene.seed)
    seeds = rng.integers(0, 2**31, size=3)
    x, y, mm = world_grid(scene.view)
    bench = balanced_raw(np.array(scene.bench.mean), scene.camera, scene.lamp).astype(np.float32)
    canvas = _Canvas(x, y, mm, np.empty((*x.shape, 3), dtype=np.float32), np.zeros_like(x))
    mottle = gaussian(np.random.default_rng(seeds[2]).standard_normal((64, 64)), 2.0, rim="wrap")
    tile = np.pad(mottle, ((0, 2), (0, 2)), mode="wrap")
    canvas.raw[:] = bench * (1.0 + 0.35 * look_up((tile,), (y / 20) % 64, (x / 20) % 64)[0][..., None])
    if scene.floor is not None:
        _lay_surface(canvas, scene.floor, "floor", scene, int(seeds[0]))
    if scene.board is not None:
        _lay_surface(canvas, scene.board, "board", scene, int(seeds[1]))
    _lay_strip(canvas, scene)
    if scene.chart is not None:
        _lay_chart(canvas, scene.chart, scene)
    lit = _lay_blobs(canvas, scene) * scene.light.field(x, y, scene.view)
    for glare in scene.glares:
        canvas.raw += (glare.peak * canvas.gloss * np.exp(-0.5 * _blob(canvas, glare)))[..., None]
    height, width = x.shape
    across = (np.arange(width, dtype=np.float32) / (width - 1) - 0.5)[None, :] ** 2
    along = (np.arange(height, dtype=np.float32) / (height - 1) - 0.5)[:, None] ** 2
    lit *= 1.0 - scene.light.vignette * 2.0 * (across + along)
    raw = canvas.raw * (lit * np.float32(scene.exposure))[..., None]
    if scene.light.tint_gradient:
        raw *= scene.light.tint(x, y, scene.view)
    if scene.blur_px > 0.0:
        raw = gaussian(raw, scene.blur_px, rim="nearest", reach=3.0)
    raw += np.float32(scene.veil * scene.exposure)
    raw *= np.array([scene.white_error[0], 1.0, scene.white_error[1]], dtype=np.float32)
    return np.asarray(raw)


def render_scene(scene: Scene) -> RenderedPhoto:
    """Render a scene.

    Returns
    -------
    RenderedPhoto
        Pixels (after JPEG), the truth, and the JPEG file itself.
    """
    raw = render_linear(scene)
    rng = np.random.default_rng(scene.seed + 7919)
    if scene.full_well < np.inf:
        sigma = np.sqrt(raw / np.float32(scene.full_well) + np.float32(scene.read_noise**2))
        raw = raw + sigma * rng.standard_normal(raw.shape, dtype=np.float32)
    raw = np.clip(raw, 0.0, 1.0)
    if scene.local_tone > 0.0:
        raw = even_out(raw, scene.local_tone)
    encoded = develop(raw, colour_matrix(scene.camera, scene.lamp), scene.tone, scene.saturation, scene.saturation_on)
    if scene.sharpen > 0.0:
        luma = encoded @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
        encoded = encoded + (scene.sharpen * (luma - gaussian(luma, 1.2, rim="nearest")))[..., None]
    pixels = np.clip(np.rint(encoded * 255.0), 0, 255).astype(np.uint8)
    if scene.jpeg_quality is None:
        return RenderedPhoto(pixels, truth_of(scene), scene, None)
    data = encode_jpeg(pixels, scene.jpeg_quality, scene.subsampling)
    return RenderedPhoto(decode_jpeg(data), truth_of(scene), scene, data)
