"""The panel under the picture: why the figures are what they are, at a glance and without colour.

Tone curves as fitted with the strip's greys as points; the colours found, large, side by side; in words what is in
doubt and what the lines on the photo mean.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import (
    lab_to_srgb8,
    lightness_of_reflectance,
    linear_to_srgb,
    reflectance_of_lightness,
)
from finishlab.imaging import drawing
from finishlab.imaging.correction import Correction, PatchReadings
from finishlab.imaging.drawing import BLACK, WHITE, Ink
from finishlab.imaging.opencv import cv2
from finishlab.imaging.overlay import BELIEVED, GLARE, LEFT_OUT, SAMPLED, hatch
from finishlab.imaging.strip import FieldName

__all__ = ["GreyPoints", "PanelContent", "PanelField", "draw_panel"]

_GROUND: Final[Ink] = (247, 247, 245)
_GRID: Final[Ink] = (214, 214, 210)
_WORDS: Final[Ink] = (30, 30, 30)
_SOFT: Final[Ink] = (105, 105, 105)
_DESIGN: Final = 1600
"""Width in pixels that lengths below are given for."""
_LEAST_WIDTH: Final = 900
_HEIGHT: Final = 400
_MARGIN: Final = 26
_TEXT: Final = 0.52
_LEADING: Final = 25
_Placing = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""L* and code 0..1, of one shape, to pixels, shape (..., 2)."""
_CHANNELS: Final[tuple[tuple[str, Ink, float], ...]] = (
    ("R", (235, 120, 110), 6.0),
    ("G", (60, 160, 90), 3.4),
    ("B", (20, 30, 110), 1.2),
)
"""Name, ink and width: each is narrower and darker than the one below it, so that all show where they coincide, and
without colour too."""


@dataclass(frozen=True, eq=False, slots=True)
class GreyPoints:
    """The greys as read and as they are known: the points beside the tone curves."""

    readings: PatchReadings
    reflectance: np.ndarray
    """Shape (N,)."""


@dataclass(frozen=True, slots=True)
class PanelField:
    """A colour found: CIELAB, its standard error, and a line about what it was read from."""

    name: FieldName
    lab: tuple[float, float, float]
    error: tuple[float, float, float]
    read_from: str


@dataclass(frozen=True, eq=False, slots=True)
class PanelContent:
    """What the panel says."""

    fields: tuple[PanelField, ...] = ()
    pair: str = ""
    """A line about the difference of the two."""
    doubts: tuple[str, ...] = ()
    """Short titles."""
    refused: str = ""
    """The sentence why there is no figure."""
    hint: str = ""
    """What to do then."""
    correction: Correction | None = None
    greys: GreyPoints | None = None


@dataclass(slots=True)
class _Pen:
    """Where the next line of text goes in a column."""

    canvas: np.ndarray
    left: float
    top: float
    right: float
    unit: float

    def say(self, text: str, ink: Ink = _WORDS, *, scale: float = _TEXT, indent: float = 0.0) -> None:
        """Write a paragraph, and move down; what no longer fits in is left out."""
        left = self.left + indent * self.unit
        for row in drawing.wrapped(text, self.right - left, scale * self.unit):
            if self.top + _LEADING * self.unit > self.canvas.shape[0]:
                return
            self.top += _LEADING * self.unit
            drawing.write(self.canvas, row, (left, self.top - 6 * self.unit), scale * self.unit, ink)

    def head(self, text: str) -> None:
        """Write a heading: set apart by a line below it."""
        self.say(text, _SOFT)
        y = round(self.top + 2 * self.unit)
        cv2.line(self.canvas, (round(self.left), y), (round(self.right), y), _GRID, 1)
        self.top += 6 * self.unit


def draw_panel(width: int, content: PanelContent) -> np.ndarray:
    """Return the panel, shape (h, w, 3), uint8 sRGB; at least `width` wide, and never so narrow that words break."""
    width = max(width, _LEAST_WIDTH)
    unit = max(width / _DESIGN, 0.72)
    canvas = np.full((round(_HEIGHT * unit), width, 3), _GROUND, dtype=np.uint8)
    margin, top = _MARGIN * unit, 10 * unit
    if content.refused:
        top = _banner(canvas, content.refused, unit) + 4 * unit
    chart_right = 0.31 * width
    if content.correction is not None:
        _draw_tone(canvas, (margin, top, chart_right, canvas.shape[0] - 8 * unit), content, content.correction, unit)
    else:
        _Pen(canvas, margin, top, chart_right, unit).say("Tone and light were not fitted.", _SOFT)
    _draw_colours(_Pen(canvas, chart_right + 2 * margin, top, 0.685 * width, unit), content)
    _draw_words(_Pen(canvas, 0.685 * width + 1.5 * margin, top, width - margin, unit), content)
    return canvas


def _banner(canvas: np.ndarray, sentence: str, unit: float) -> float:
    """Write why there is no figure, white on black; return where the rest of the panel begins."""
    scale = 0.62 * unit
    rows = drawing.wrapped(f"NO FIGURE: {sentence}", canvas.shape[1] - 2 * _MARGIN * unit, scale)
    height = (len(rows) * 28 + 14) * unit
    canvas[: round(height)] = (25, 25, 25)
    for number, row in enumerate(rows):
        drawing.write(canvas, row, (_MARGIN * unit, (28 * (number + 1)) * unit), scale, WHITE)
    return height


# -- tone curves -------------------------------------------------------------------------------------------------------


def _draw_tone(
    canvas: np.ndarray,
    box: tuple[float, float, float, float],
    content: PanelContent,
    correction: Correction,
    unit: float,
) -> None:
    """Draw the three tone curves: lightness of a grey at the strip's centre against the code the file gives it."""
    pen = _Pen(canvas, box[0], box[1], box[2], unit)
    pen.head("Tone: code in the file (%) of a grey of lightness L*")
    left, top, right, bottom = box[0] + 34 * unit, pen.top + 4 * unit, box[2], box[3] - 34 * unit
    span = np.array([right - left, bottom - top])

    def at(lightness: np.ndarray, code: np.ndarray) -> np.ndarray:
        return np.stack([left + lightness / 100.0 * span[0], bottom - code * span[1]], axis=-1)

    for tick in range(0, 101, 20):
        for ends in (([tick, tick], [0.0, 1.0]), ([0.0, 100.0], [tick / 100, tick / 100])):
            one, two = np.round(at(np.array(ends[0], dtype=float), np.array(ends[1], dtype=float))).astype(int)
            cv2.line(canvas, one.tolist(), two.tolist(), _GRID, 1)
        x, y = at(np.array(float(tick)), np.array(tick / 100))
        size = drawing.text_size(str(tick), 0.42 * unit)
        drawing.write(canvas, str(tick), (x - size[0] / 2, bottom + 17 * unit), 0.42 * unit, _SOFT)
        drawing.write(canvas, str(tick), (left - size[0] - 6 * unit, y + size[1] / 2), 0.42 * unit, _SOFT)
    low, high = lightness_of_reflectance(np.array(correction.greys_seen))
    for k, (name, ink, wide) in enumerate(_CHANNELS):
        exposures = reflectance_of_lightness(np.linspace(max(float(low) - 8, 1.0), min(float(high) + 6, 100.0), 60))
        codes = _codes_of(correction, k, exposures)
        path = at(lightness_of_reflectance(exposures), codes)
        path = path[codes <= 1.0]
        drawing.dashed(canvas, path, ink, (), max(1, round(wide * unit)))
        _name_curve(canvas, name, ink, path[-1], k, unit)
        if content.greys is not None:
            _draw_greys(canvas, at, k, content.greys, correction, unit)
    for field in content.fields:
        _mark_field(canvas, field, at, unit)


def _name_curve(canvas: np.ndarray, name: str, ink: Ink, end: np.ndarray, k: int, unit: float) -> None:
    """Write a channel's letter where its curve ends, the letters side by side above it."""
    drawing.write(canvas, name, (end[0] + (14 * k - 44) * unit, end[1] - 8 * unit), 0.5 * unit, ink, _GROUND)


def _codes_of(correction: Correction, channel: int, exposure: np.ndarray) -> np.ndarray:
    """Return the sRGB-encoded value, 0..1, that a channel's fitted curve gives scene-linear exposures."""
    curve = correction.curves[channel]
    values = np.exp(np.interp(np.log(np.maximum(exposure, 1e-5)), curve[1], curve[0]))
    return np.asarray(linear_to_srgb(np.minimum(values, 1.0)))


def _draw_greys(
    canvas: np.ndarray, at: _Placing, channel: int, greys: GreyPoints, correction: Correction, unit: float
) -> None:
    """Draw each grey where its known reflectance, in the fitted light, meets the code it was read as."""
    readings, ink = greys.readings, _CHANNELS[channel][1]
    light = correction.light(readings.places)[:, channel]
    exposure = np.maximum(light * greys.reflectance + correction.glare[channel], 1e-5)
    where = at(np.clip(lightness_of_reflectance(exposure), 0.0, 103.0), linear_to_srgb(readings.values[:, channel]))
    for point, usable, weight in zip(where, readings.usable, correction.weights, strict=True):
        x, y = (round(float(v)) for v in point)
        size = max(1, round((6.5 - 1.8 * channel) * unit))
        if usable and weight >= BELIEVED:
            cv2.circle(canvas, (x, y), size, ink, 1, cv2.LINE_AA)
        elif readings.values[:, channel].max() > 0:
            size = max(3, round(5 * unit))
            cv2.line(canvas, (x - size, y - size), (x + size, y + size), BLACK, 1, cv2.LINE_AA)
            cv2.line(canvas, (x - size, y + size), (x + size, y - size), BLACK, 1, cv2.LINE_AA)


def _mark_field(canvas: np.ndarray, field: PanelField, at: _Placing, unit: float) -> None:
    """Mark on the axis how light a surface is: within the greys, or beyond them."""
    x, y = at(np.array(field.lab[0]), np.array(0.0))
    size, up = 7 * unit, field.name == "board"
    tip = np.array([[x, y], [x - size, y - 1.6 * size], [x + size, y - 1.6 * size]])
    red, green, blue = (int(v) for v in lab_to_srgb8(np.array(field.lab)))
    cv2.fillPoly(canvas, [np.round(tip).astype(np.int32)], (red, green, blue), cv2.LINE_AA)
    cv2.polylines(
        canvas, [np.round(tip).astype(np.int32)], isClosed=True, color=BLACK, thickness=1, lineType=cv2.LINE_AA
    )
    width = drawing.text_size(field.name, 0.42 * unit)[0]
    rise = 1.9 * size + (14 * unit if up else 0)
    drawing.write(canvas, field.name, (x - width / 2, y - rise), 0.42 * unit, _WORDS, _GROUND)


# -- colours and words -------------------------------------------------------------------------------------------------


def _draw_colours(pen: _Pen, content: PanelContent) -> None:
    """Draw the colours found as two areas that touch, as two woods would."""
    pen.head("Colour found: CIELAB D65, mean and standard error")
    if not content.fields:
        pen.say("None.", _SOFT)
        return
    unit = pen.unit
    top, height = pen.top + 4 * unit, 104 * unit
    wide = (pen.right - pen.left) / len(content.fields)
    for number, field in enumerate(content.fields):
        left = pen.left + number * wide
        corners = (round(left), round(top)), (round(left + wide), round(top + height))
        red, green, blue = (int(v) for v in lab_to_srgb8(np.array(field.lab)))
        cv2.rectangle(pen.canvas, *corners, (red, green, blue), -1)
        ink = BLACK if field.lab[0] > 55 else WHITE
        drawing.write(pen.canvas, field.name, (left + 8 * unit, top + 22 * unit), 0.52 * unit, ink)
    cv2.rectangle(
        pen.canvas,
        (round(pen.left), round(top)),
        (round(pen.right), round(top + height)),
        BLACK,
        1,
    )
    pen.top = top + height + 6 * unit
    for field in content.fields:
        figures = zip(("L*", "a*", "b*"), field.lab, field.error, strict=True)
        pen.say(f"{field.name}:  " + "   ".join(f"{axis} {v:.1f} +-{e:.1f}" for axis, v, e in figures))
        if field.read_from:
            pen.say(field.read_from, _SOFT, scale=0.46, indent=14)
    if content.pair:
        pen.say(content.pair)


def _draw_words(pen: _Pen, content: PanelContent) -> None:
    """Say what is in doubt, how well the greys fit, and what lines and hatches mean."""
    if content.refused:
        pen.head("What to do")
        pen.say(content.hint)
    else:
        pen.head("Doubts")
        for title in content.doubts or ("none",):
            pen.say(f"- {title}" if content.doubts else title)
    if content.correction is None and content.refused:
        return  # nothing is drawn on the photo that would need a word
    if content.correction is not None:
        pen.top += 8 * pen.unit
        pen.head("Light")
        pen.say(_about_light(content.correction))
    pen.top += 8 * pen.unit
    pen.head("On the photo")
    sampled, glare, left_out = "what was read", "glare, left out", "left out for other reasons"
    for kind, text in (("outline", sampled), ("glare", glare), ("left-out", left_out), ("light", "equal light")):
        _legend(pen, kind, text)
    if content.correction is not None and (content.correction.weights < BELIEVED).any():
        _legend(pen, "cross", "a grey that was not believed")


def _about_light(correction: Correction) -> str:
    believed = int((correction.weights >= BELIEVED).sum())
    return (
        f"{believed} of {correction.weights.size} greys believed; they agree within {100 * correction.residual:.1f} %. "
        f"Stray light {100 * float(correction.glare.mean()):.1f} %."
    )


def _legend(pen: _Pen, kind: str, text: str) -> None:
    """Show a sample of a mark and say what it is."""
    unit = pen.unit
    if pen.top + _LEADING * unit > pen.canvas.shape[0]:
        return
    left, top = round(pen.left), round(pen.top + 7 * unit)
    width, height = round(34 * unit), round(14 * unit)
    middle = top + height // 2
    box = pen.canvas[top : top + height, left : left + width]
    if kind == "outline":
        drawing.line(pen.canvas, np.array([[left, middle], [left + width, middle]]), SAMPLED)
    elif kind == "light":
        box[:] = 120
        drawing.dashed(pen.canvas, np.array([[left, middle], [left + width, middle]]), WHITE, (6.0, 7.0), halo=BLACK)
    elif kind == "cross":
        corners = np.array([[left, top], [left + height, top], [left + height, top + height], [left, top + height]])
        drawing.cross(pen.canvas, corners, LEFT_OUT, 1)
    else:
        box[:] = 150
        box[hatch(box.shape[0], box.shape[1], glare=kind == "glare")] = GLARE if kind == "glare" else LEFT_OUT
    drawing.write(pen.canvas, text, (left + width + 10 * unit, pen.top + 19 * unit), 0.46 * unit, _WORDS)
    pen.top += _LEADING * unit
