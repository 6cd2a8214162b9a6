"""Photos of the strip's very PDF, taken from two or three steps back: other physics than the learner inverts.

The page is rasterised by PDFium, printed and photographed in numpy: black edges grow, light spreads in the paper and
must come out through the ink again (Yule, Nielsen 1951), optics and a pixel's aperture average in linear light, a
colour filter array is interpolated, the picture is toned, sharpened and saved as JPEG. Nothing here is a photo of a
real print: it is rendered.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np
import pypdfium2
from PIL import Image
from render.camera import Tone, balanced_raw, colour_matrix
from rendered import photo_of
from scipy.ndimage import (
    convolve,
    distance_transform_edt,
    gaussian_filter,
    gaussian_filter1d,
    map_coordinates,
    median_filter,
)

from finishlab.colorimetry.spaces import WAVELENGTHS, linear_to_srgb, srgb_to_linear
from finishlab.imaging.correction import phone_tone
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP
from finishlab.show.sheets import POINTS_PER_MM
from finishlab.strip.page import strip_pdf

__all__ = ["PRINTS", "TONES", "Print", "Shot", "linear_photo", "photo", "true_lightness"]

FINE: Final = 160
"""Dots a millimetre along the profile of the lines; PDFium draws no more than 32767 across."""
COARSE: Final = 10
"""Of what the lens is shown."""
NUMBER: Final = 412


def _half_tone(gain: float) -> Callable[[np.ndarray], np.ndarray]:
    """Return the share of paper that a half-tone with a tone value increase leaves of a DeviceGray value."""
    return lambda g: g - gain * 4.0 * g * (1.0 - g)


@dataclass(frozen=True, slots=True)
class Print:
    """A printer: tone of its greys, what its black is like, how ink and light spread (mm)."""

    name: str
    tone: Callable[[np.ndarray], np.ndarray] = srgb_to_linear
    """Share of paper, over black, of DeviceGray values."""
    paper: float = 0.82
    black: float = 0.045
    saving: float = 1.0
    growth: float = 0.03
    spread: float = 0.06
    wiggle: float = 0.0
    """Share of paper by which the ramp swings."""

    @property
    def solid(self) -> float:
        """Reflectance of solid black: toner saving lifts it."""
        return self.paper - self.saving * (self.paper - self.black)

    def reflectance(self, grey: np.ndarray) -> np.ndarray:
        """Return the luminous reflectance factor of DeviceGray values of 0..1."""
        g = np.asarray(grey, dtype=float)
        share = np.asarray(self.tone(g)) + self.wiggle * np.sin(3 * np.pi * g) * g
        return np.asarray(self.solid + (self.paper - self.solid) * share)


PRINTS: Final = (
    Print("managed", srgb_to_linear),
    Print("exponent 0.8", lambda g: srgb_to_linear(g) ** 0.8),
    Print("exponent 1.2", lambda g: srgb_to_linear(g) ** 1.2),
    Print("offset-like, gain 17 %", _half_tone(0.17), black=0.025),
    Print("laser, gain 24 %", _half_tone(0.24), black=0.025, growth=0.05),
    Print("toner saving", srgb_to_linear, saving=0.88),
)


def _log_curve(slope: float, bend: float) -> Callable[[np.ndarray], np.ndarray]:
    """Return a power of light with a bend in the logarithm, as public photos of charts were described."""

    def encode(light: np.ndarray) -> np.ndarray:
        x = np.log(np.maximum(light, 1e-4))
        return np.asarray(linear_to_srgb(np.clip(np.exp(slope * x + bend * x * np.exp(0.7 * x)), 0.0, 1.0)))

    return encode


def _of_charts(light: np.ndarray) -> np.ndarray:
    """Return the usual curve of public photos of charts, as the fit believes it."""
    usual = phone_tone()
    log = np.interp(np.log(np.maximum(light, 1e-5)), usual.mean - usual.mean[-1], usual.grid)
    return np.asarray(linear_to_srgb(np.clip(np.exp(log), 0.0, 1.0)))


def _filmic(light: np.ndarray) -> np.ndarray:
    """Return a filmic curve: a rational function with toe and shoulder, then sRGB."""
    x = 0.75 * np.maximum(light, 0.0)
    return np.asarray(linear_to_srgb(np.clip(x * (2.51 * x + 0.03) / (x * (2.43 * x + 0.59) + 0.14), 0.0, 1.0)))


TONES: Final[dict[str, Callable[[np.ndarray], np.ndarray]]] = {
    "plain": Tone().apply,
    "contrast": Tone(contrast=0.3, shoulder=0.8).apply,
    "soft": Tone(contrast=0.15, gamma=0.9, shoulder=0.75).apply,
    "log 1.1": _log_curve(1.1, 0.1),
    "log 1.2": _log_curve(1.2, -0.1),
    "of charts": _of_charts,
    "filmic": _filmic,
}


@dataclass(frozen=True, slots=True)
class Shot:
    """How the photo is taken."""

    px_per_mm: float = 2.0
    rotation: float = 3.0
    tilt: float = 8.0
    azimuth: float = 60.0
    exposure: float = 0.85
    """Light of bare paper of reflectance 0.82 at the strip's centre over the sensor's limit."""
    tone: str = "log 1.1"
    camera: str = "synthetic phone 1"
    lamp: str = "D65"
    gradient: float = 0.10
    curve: float = -0.02
    veil: float = 0.008
    blur: float = 0.6
    """Deviation of the lens, pixels."""
    noise: float = 0.004
    sharpen: float = 0.25
    jpeg: int | None = 92
    demosaic: bool = True
    seed: int = 1
    canvas: tuple[int, int] | None = None
    """Size of the photo; a little larger than the strip unless named."""
    paper_cast: float = field(default=-0.02)
    ink_cast: float = field(default=0.03)


def _drawn(number: int, top: float, bottom: float, per_mm: int) -> np.ndarray:
    """Return DeviceGray of the strip between two heights (mm) as PDFium draws the page, per_mm dots a millimetre."""
    place = STRIP.place_on_page("a4")
    with pypdfium2.PdfDocument(strip_pdf(paper="a4", number=number)) as document:
        page = document[0]
        width, height = page.get_size()
        crop = (
            place.x * POINTS_PER_MM,
            height - (place.y + bottom) * POINTS_PER_MM,
            width - place.right * POINTS_PER_MM,
            (place.y + top) * POINTS_PER_MM,
        )
        picture = page.render(scale=per_mm / POINTS_PER_MM, crop=crop).to_numpy()[..., 0]
    size = (round(STRIP.width * per_mm), round((bottom - top) * per_mm))
    return np.asarray(Image.fromarray(picture).resize(size, Image.Resampling.BILINEAR), dtype=np.float32) / 255


@lru_cache(maxsize=2)
def _page(number: int) -> np.ndarray:
    return _drawn(number, 0.0, STRIP.height, COARSE)


@lru_cache(maxsize=2)
def _from_black(number: int) -> np.ndarray:
    """Return the signed distance (mm) from black along the middle of the strip, where the lines are; below 0 inside."""
    middle = STRIP.height / 2
    black = _drawn(number, middle - 0.1, middle + 0.1, FINE).mean(axis=0) < 0.5
    outside, inside = (np.asarray(distance_transform_edt(part), dtype=np.float32) for part in (~black, black))
    return np.where(black, 0.5 - inside, outside - 0.5) / FINE


@lru_cache(maxsize=16)
def _printed(made: Print, number: int) -> np.ndarray:
    """Return luminous reflectance over the strip, shape (46 COARSE, 190 COARSE), float32."""
    table = made.reflectance(np.arange(256) / 255).astype(np.float32)
    reflectance = table[np.rint(_page(number) * 255).astype(np.uint8)]
    ink = np.clip((made.growth - _from_black(number)) * FINE + 0.5, 0.0, 1.0)
    through = 1.0 - (1.0 - np.sqrt(made.solid / made.paper)) * ink
    lines = made.paper * through * gaussian_filter1d(through, made.spread * FINE, truncate=3.5)
    rect = STRIP.screens[0].rect
    rows = slice(round(rect.y * COARSE), round(rect.bottom * COARSE))
    reflectance[rows] = lines.reshape(-1, FINE // COARSE).mean(axis=1)
    return np.asarray(reflectance)


def true_lightness(made: Print) -> np.ndarray:
    """Return L* of the strip's levels in a print."""
    return np.asarray(116.0 * np.cbrt(made.reflectance(np.asarray(STRIP.greys))) - 16.0)


def _to_strip(shot: Shot, size: tuple[int, int]) -> np.ndarray:
    """Return the homography from pixels of the photo to millimetres of the strip."""
    turn, tilt, azimuth = np.deg2rad([shot.rotation, shot.tilt, shot.azimuth])
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    axis = np.array([np.cos(azimuth), np.sin(azimuth)])
    # A far camera: foreshortening across the axis, and a little perspective along it.
    short = np.eye(2) + (1.0 / np.cos(tilt) - 1.0) * np.outer(axis, axis)
    out = np.eye(3)
    out[:2, :2] = spin @ short / shot.px_per_mm
    out[2, :2] = axis * np.sin(tilt) / (1.4 * 10 * STRIP.width * shot.px_per_mm)
    centre = np.eye(3)
    centre[:2, 2] = [-(size[0] - 1) / 2, -(size[1] - 1) / 2]
    back = np.eye(3)
    back[:2, 2] = [STRIP.width / 2, STRIP.height / 2]
    return np.asarray(back @ out @ centre)


def _light_on_sensor(made: Print, shot: Shot) -> np.ndarray:
    """Return balanced raw light averaged by each pixel's aperture, shape (h, w, 3)."""
    turn = np.deg2rad(shot.rotation)
    reach = shot.px_per_mm * (STRIP.width * abs(np.cos(turn)) + STRIP.height * abs(np.sin(turn)))
    rise = shot.px_per_mm * (STRIP.width * abs(np.sin(turn)) + STRIP.height * abs(np.cos(turn)))
    size = shot.canvas or (round(reach) + 60, round(rise) + 60)
    many = 5
    offsets = (np.arange(many) + 0.5) / many - 0.5
    back = _to_strip(shot, size)
    share = np.zeros((size[1], size[0], 3))
    slope = (WAVELENGTHS - 555.0) / 300.0
    paper = made.paper * (1.0 + shot.paper_cast * slope)
    ink = made.solid * (1.0 + shot.ink_cast * slope)
    bench = 0.3 * np.ones_like(slope) * (1.0 + 0.5 * slope)
    paper_raw, ink_raw, bench_raw = (balanced_raw(each, shot.camera, shot.lamp) for each in (paper, ink, bench))
    picture = _printed(made, NUMBER)
    for dx in offsets:
        for dy in offsets:
            x, y = np.meshgrid(np.arange(size[0]) + dx, np.arange(size[1]) + dy)
            w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
            mx = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w
            my = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w
            r = map_coordinates(picture, [my * COARSE - 0.5, mx * COARSE - 0.5], order=1, mode="nearest")
            t = ((r - made.solid) / (made.paper - made.solid))[..., None]
            on = ((mx > 0) & (mx < STRIP.width) & (my > 0) & (my < STRIP.height))[..., None]
            lit = 1.0 + shot.gradient * (mx - 95.0) / 190.0 + shot.curve * ((mx - 95.0) / 95.0) ** 2
            share += np.where(on, ink_raw + t * (paper_raw - ink_raw), bench_raw) * lit[..., None]
    raw = share / many**2 * (shot.exposure / 0.82)
    for k in range(3):
        raw[..., k] = gaussian_filter(raw[..., k], shot.blur)
    return np.asarray(raw + shot.veil * shot.exposure / 0.82)


def _mosaic(raw: np.ndarray) -> np.ndarray:
    """Return the picture as seen through a colour filter array, shape (h, w, 3).

    Interpolated linearly, then the differences of red and blue from green are put through a median against false colour
    (W. T. Freeman, US patent 4724395, 1988).
    """
    seen = np.zeros(raw.shape)
    seen[0::2, 0::2, 0], seen[1::2, 1::2, 2] = raw[0::2, 0::2, 0], raw[1::2, 1::2, 2]
    seen[0::2, 1::2, 1], seen[1::2, 0::2, 1] = raw[0::2, 1::2, 1], raw[1::2, 0::2, 1]
    green = np.array([[0, 1, 0], [1, 4, 1], [0, 1, 0]]) / 4.0
    other = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]]) / 4.0
    red, middle, blue = (convolve(seen[..., k], kernel) for k, kernel in enumerate((other, green, other)))
    return np.stack([middle + median_filter(each - middle, 5) for each in (red, middle, blue)], axis=-1)


def _raw(made: Print, shot: Shot) -> np.ndarray:
    rng = np.random.default_rng(shot.seed)
    raw = _light_on_sensor(made, shot)
    raw = raw + shot.noise * np.sqrt(np.maximum(raw, 0.0) + 0.01) * rng.standard_normal(raw.shape)
    return np.asarray(np.clip(_mosaic(raw) if shot.demosaic else raw, 0.0, 1.0))


def pixels_of(made: Print, shot: Shot) -> np.ndarray:
    """Return the photo's codes, uint8, after JPEG."""
    rgb = np.clip(_raw(made, shot) @ colour_matrix(shot.camera, shot.lamp).T, 0.0, 1.0)
    codes = TONES[shot.tone](rgb)
    if shot.sharpen:
        luma = codes @ np.array([0.2126, 0.7152, 0.0722])
        codes = codes + (shot.sharpen * (luma - gaussian_filter(luma, 1.2)))[..., None]
    pixels = np.clip(np.rint(codes * 255), 0, 255).astype(np.uint8)
    if shot.jpeg is None:
        return np.asarray(pixels)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=shot.jpeg)
    return np.asarray(Image.open(io.BytesIO(file.getvalue())).convert("RGB"))


def photo(made: Print, shot: Shot) -> LinearImage:
    """Return a photo of a print."""
    return photo_of(pixels_of(made, shot))


def linear_photo(made: Print, shot: Shot) -> LinearImage:
    """Return the same as a camera raw file, developed to linear light in 16 bits."""
    from dataclasses import replace

    codes = np.rint(_raw(made, shot) * 65535).astype(np.uint16)
    table = (np.arange(65536) / 65535).astype(np.float32)
    plain = photo_of(np.zeros((*codes.shape[:2], 3), dtype=np.uint8))
    return LinearImage(codes, table, np.eye(3), replace(plain.info, linear=True))
