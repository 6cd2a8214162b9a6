"""What was found in a photo, drawn on a copy of it, and a panel under it: lines and words that show without colour.

The photo carries strip, fields, light, what was sampled and what was left out. The panel says at a glance why the
figures are what they are: tone curves as fitted with the strip's greys as points; the colours found, large, side by
side; in words what is in doubt and what the lines on the photo mean.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import (
    lab_to_srgb8,
    lightness_of_reflectance,
    linear_to_srgb,
    reflectance_of_lightness,
    srgb8_of_linear,
)
from finishlab.imaging.correction import Correction, PatchReadings
from finishlab.imaging.finder import StripFit
from finishlab.imaging.opencv import cv2
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.rectify import grid_to_mm
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.imaging.surface import Surface

Ink = tuple[int, int, int]
"""8 bit sRGB."""

WHITE: Final[Ink] = (255, 255, 255)
BLACK: Final[Ink] = (0, 0, 0)
_FONT: Final = cv2.FONT_HERSHEY_SIMPLEX
_UNTIL_ASCII: Final = str.maketrans({"±": "+-", "Δ": "d", "°": " deg"})


def _plain(text: str) -> str:
    """Return a text in the letters that the font has."""
    return text.translate(_UNTIL_ASCII).encode("ascii", "replace").decode("ascii")


def _ink_of(lab: tuple[float, float, float]) -> Ink:
    red, green, blue = lab_to_srgb8(np.array(lab)).tolist()
    return red, green, blue


def text_size(text: str, scale: float) -> tuple[int, int]:
    """Return width of a text and height of its capitals, in pixels."""
    (width, height), _ = cv2.getTextSize(_plain(text), _FONT, scale, 1)
    return width, height


def write(
    canvas: np.ndarray, text: str, at: tuple[float, float], scale: float, ink: Ink, halo: Ink | None = None
) -> None:
    """Write a line of text; `at` is its left end on the base line."""
    where = (round(at[0]), round(at[1]))
    if halo is not None:
        cv2.putText(canvas, _plain(text), where, _FONT, scale, halo, 3, cv2.LINE_AA)
    cv2.putText(canvas, _plain(text), where, _FONT, scale, ink, 1, cv2.LINE_AA)


def wrapped(text: str, width: float, scale: float) -> list[str]:
    """Return a text as lines no wider than `width` pixels, broken between words."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_size(longer, scale)[0] <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def line(canvas: np.ndarray, points: np.ndarray, ink: Ink, width: int = 2, *, closed: bool = False) -> None:
    """Draw a line of a colour with a black one around it; `points` (N, 2) or (N, 1, 2)."""
    whole = [np.round(points).astype(np.int32).reshape(-1, 1, 2)]
    cv2.polylines(canvas, whole, isClosed=closed, color=BLACK, thickness=width + 2, lineType=cv2.LINE_AA)
    cv2.polylines(canvas, whole, isClosed=closed, color=ink, thickness=width, lineType=cv2.LINE_AA)


def dashed(
    canvas: np.ndarray, points: np.ndarray, ink: Ink, pattern: Sequence[float], width: int = 1, halo: Ink | None = None
) -> None:
    """Draw a line in pieces: `pattern` gives the lengths in pixels drawn and left out in turn, none for a full line."""
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    for piece in _pieces(points, pattern) if pattern else [points]:
        whole = [np.round(piece * 8).astype(np.int32).reshape(-1, 1, 2)]
        if halo is not None:
            cv2.polylines(canvas, whole, isClosed=False, color=halo, thickness=width + 2, lineType=cv2.LINE_AA, shift=3)
        cv2.polylines(canvas, whole, isClosed=False, color=ink, thickness=width, lineType=cv2.LINE_AA, shift=3)


def _pieces(points: np.ndarray, pattern: Sequence[float]) -> list[np.ndarray]:
    """Return the parts of a line that a pattern draws."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    start, drawn, out = 0.0, 0, []
    while start < along[-1]:
        end = start + pattern[drawn % len(pattern)]
        if drawn % 2 == 0:
            inner = along[(along > start) & (along < end)]
            at = np.concatenate([[start], inner, [min(end, along[-1])]])
            out.append(np.stack([np.interp(at, along, points[:, axis]) for axis in range(2)], axis=1))
        start, drawn = end, drawn + 1
    return out


def cross(canvas: np.ndarray, corners: np.ndarray, ink: Ink, width: int = 2) -> None:
    """Cross out a four-sided area; `corners` (4, 2) in turn."""
    for one, other in ((0, 2), (1, 3)):
        line(canvas, corners.reshape(4, 2)[[one, other]], ink, width)


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
        for row in wrapped(text, self.right - left, scale * self.unit):
            if self.top + _LEADING * self.unit > self.canvas.shape[0]:
                return
            self.top += _LEADING * self.unit
            write(self.canvas, row, (left, self.top - 6 * self.unit), scale * self.unit, ink)

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
    rows = wrapped(f"NO FIGURE: {sentence}", canvas.shape[1] - 2 * _MARGIN * unit, scale)
    height = (len(rows) * 28 + 14) * unit
    canvas[: round(height)] = (25, 25, 25)
    for number, row in enumerate(rows):
        write(canvas, row, (_MARGIN * unit, (28 * (number + 1)) * unit), scale, WHITE)
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
        size = text_size(str(tick), 0.42 * unit)
        write(canvas, str(tick), (x - size[0] / 2, bottom + 17 * unit), 0.42 * unit, _SOFT)
        write(canvas, str(tick), (left - size[0] - 6 * unit, y + size[1] / 2), 0.42 * unit, _SOFT)
    low, high = lightness_of_reflectance(np.array(correction.greys_seen))
    for k, (name, ink, wide) in enumerate(_CHANNELS):
        exposures = reflectance_of_lightness(np.linspace(max(float(low) - 8, 1.0), min(float(high) + 6, 100.0), 60))
        codes = _codes_of(correction, k, exposures)
        path = at(lightness_of_reflectance(exposures), codes)
        path = path[codes <= 1.0]
        dashed(canvas, path, ink, (), max(1, round(wide * unit)))
        _name_curve(canvas, name, ink, path[-1], k, unit)
        if content.greys is not None:
            _draw_greys(canvas, at, k, content.greys, correction, unit)
    for field in content.fields:
        _mark_field(canvas, field, at, unit)


def _name_curve(canvas: np.ndarray, name: str, ink: Ink, end: np.ndarray, k: int, unit: float) -> None:
    """Write a channel's letter where its curve ends, the letters side by side above it."""
    write(canvas, name, (end[0] + (14 * k - 44) * unit, end[1] - 8 * unit), 0.5 * unit, ink, _GROUND)


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
    cv2.fillPoly(canvas, [np.round(tip).astype(np.int32)], _ink_of(field.lab), cv2.LINE_AA)
    cv2.polylines(
        canvas, [np.round(tip).astype(np.int32)], isClosed=True, color=BLACK, thickness=1, lineType=cv2.LINE_AA
    )
    width = text_size(field.name, 0.42 * unit)[0]
    rise = 1.9 * size + (14 * unit if up else 0)
    write(canvas, field.name, (x - width / 2, y - rise), 0.42 * unit, _WORDS, _GROUND)


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
        cv2.rectangle(pen.canvas, *corners, _ink_of(field.lab), -1)
        ink = BLACK if field.lab[0] > 55 else WHITE
        write(pen.canvas, field.name, (left + 8 * unit, top + 22 * unit), 0.52 * unit, ink)
    cv2.rectangle(pen.canvas, (round(pen.left), round(top)), (round(pen.right), round(top + height)), BLACK, 1)
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
        line(pen.canvas, np.array([[left, middle], [left + width, middle]]), SAMPLED)
    elif kind == "light":
        box[:] = 120
        dashed(pen.canvas, np.array([[left, middle], [left + width, middle]]), WHITE, (6.0, 7.0), halo=BLACK)
    elif kind == "cross":
        corners = np.array([[left, top], [left + height, top], [left + height, top + height], [left, top + height]])
        cross(pen.canvas, corners, LEFT_OUT, 1)
    else:
        box[:] = 150
        box[hatch(box.shape[0], box.shape[1], glare=kind == "glare")] = GLARE if kind == "glare" else LEFT_OUT
    write(pen.canvas, text, (left + width + 10 * unit, pen.top + 19 * unit), 0.46 * unit, _WORDS)
    pen.top += _LEADING * unit


BELIEVED: Final = 0.3
"""Weight in the fit below which a grey counts as not believed."""
SAMPLED: Final[Ink] = (0, 190, 255)
GLARE: Final[Ink] = (255, 0, 200)
LEFT_OUT: Final[Ink] = (255, 140, 0)
_LONG_SIDE: Final = 1600
_STEPS: Final = (1, 2, 5, 10, 20, 50)
"""Per cent from one line of equal light to the next."""
_LINES: Final = 5
"""No more lines of equal light than this."""
_GRID_MM: Final = 2.0
_LEAST_LINE_MM: Final = 15.0


@dataclass(frozen=True, eq=False, slots=True)
class FieldDrawing:
    """What to draw for one field."""

    surface: Surface | None
    """None where none was found."""
    rect: Rect
    px_per_mm: float
    lab: tuple[float, float, float] | None
    """The colour found, None where there is no figure."""
    text: str
    """What to write beside the swatch; nothing is written where it is empty."""


def check_picture(
    image: LinearImage,
    fit: StripFit,
    fields: Mapping[FieldName, FieldDrawing],
    correction: Correction | None = None,
    *,
    long_side: int = _LONG_SIDE,
) -> np.ndarray:
    """Return the photo with everything found drawn on it, shape (H, W, 3), uint8 sRGB.

    Sampled surface is outlined by a full line, glare is hatched one way, what else was left out the other way, so that
    the picture also reads without colour.

    Parameters
    ----------
    image, fit
        The photo, and where the strip lies in it.
    fields
        What was found in the fields.
    correction
        The fit of tone and light. Adds lines of equal light over strip and fields, in per cent of the light at the
        strip's centre, and crosses out the greys that were not believed.
    long_side
        Pixels of the picture's long side, at most.
    """
    factor = min(1.0, long_side / max(image.size))
    canvas = _shrunk(image, factor)
    # pixel centres stay pixel centres: a plain factor would be off by up to half a pixel
    shift = (factor - 1) / 2
    to_canvas = np.array([[factor, 0, shift], [0, factor, shift], [0, 0, 1]]) @ fit.to_pixels
    for field in fields.values():
        if field.surface is not None:
            _draw_masks(canvas, to_canvas, field, field.surface)
    if correction is not None:
        _draw_light(canvas, to_canvas, [field.rect for field in fields.values()], correction)
    _polygon(canvas, to_canvas, Rect(0, 0, STRIP.width, STRIP.height), WHITE)
    for number, patch in enumerate(STRIP.patches):
        if correction is not None and correction.weights[number] < BELIEVED:
            cross(canvas, _points(to_canvas, patch.rect.corners()), LEFT_OUT, max(1, canvas.shape[1] // 700))
        else:
            _polygon(canvas, to_canvas, patch.sample, WHITE, 1)
    for name, field in fields.items():
        _polygon(canvas, to_canvas, field.rect, WHITE)
        if field.surface is not None:
            _draw_outline(canvas, to_canvas, field, field.surface)
        if field.text:
            _label(canvas, to_canvas, name, field)
    return canvas


def hatch(height: int, width: int, *, glare: bool) -> np.ndarray:
    """Return where ink stands in an area hatched as glare, or as what else was left out, shape (height, width)."""
    combine = np.add if glare else np.subtract
    return np.asarray(combine.outer(np.arange(height), np.arange(width)) % 8 < 2)


def _shrunk(image: LinearImage, factor: float) -> np.ndarray:
    """Return the photo at the picture's size, 8 bit sRGB."""
    small = cv2.resize(image.encoded, [round(side * factor) for side in image.size], interpolation=cv2.INTER_AREA)
    return srgb8_of_linear(image.decode[small] @ image.to_srgb.T.astype(np.float32))


def _points(matrix: np.ndarray, corners: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.perspectiveTransform(corners.reshape(-1, 1, 2).astype(np.float64), matrix))


def _polygon(canvas: np.ndarray, matrix: np.ndarray, rect: Rect, colour: Ink, width: int = 2) -> None:
    line(canvas, _points(matrix, rect.corners()), colour, width, closed=True)


def _draw_masks(canvas: np.ndarray, matrix: np.ndarray, field: FieldDrawing, surface: Surface) -> None:
    moved = matrix @ grid_to_mm(field.rect, field.px_per_mm)
    size = (canvas.shape[1], canvas.shape[0])
    for mask, colour, is_glare in ((surface.glare, GLARE, True), (~surface.mask & ~surface.glare, LEFT_OUT, False)):
        seen = cv2.warpPerspective(mask.astype(np.uint8), moved, size, flags=cv2.INTER_NEAREST) > 0
        canvas[seen & hatch(size[1], size[0], glare=is_glare)] = colour


def _draw_outline(canvas: np.ndarray, matrix: np.ndarray, field: FieldDrawing, surface: Surface) -> None:
    """Draw the outline of what was sampled, a little inside it so that the field's own frame does not hide it."""
    p = field.px_per_mm
    moved = matrix @ grid_to_mm(field.rect, field.px_per_mm)
    inner = cv2.copyMakeBorder(surface.mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    inner = cv2.erode(inner, np.ones((3, 3), np.uint8), iterations=round(0.8 * p))[1:-1, 1:-1]
    contours, _ = cv2.findContours(inner, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        if len(contour) > 4 * p:
            line(canvas, _points(moved, contour.astype(float)), SAMPLED, closed=True)


def _draw_light(canvas: np.ndarray, matrix: np.ndarray, rects: list[Rect], correction: Correction) -> None:
    """Draw lines of equal light over strip and fields, in per cent of the light at the strip's centre.

    Figures stand in the fields only: the strip's greys stay free.
    """
    scale = max(0.4, canvas.shape[1] / 3200)
    strip = Rect(0.0, 0.0, STRIP.width, STRIP.height)
    for rect, level, points in light_lines([strip, *rects], correction):
        path = _points(matrix, points).reshape(-1, 2)
        dashed(canvas, path, BLACK, (0.0, 6.0, 6.0, 0.0))
        dashed(canvas, path, WHITE, (6.0, 6.0))
        if rect is not strip:
            text = f"{level} %"
            width, height = text_size(text, scale)
            x, y = path[len(path) // 2]
            write(canvas, text, (x - width / 2, y + height / 2), scale, WHITE, BLACK)


def light_lines(rects: list[Rect], correction: Correction) -> list[tuple[Rect, int, np.ndarray]]:
    """Return lines of equal light over rectangles of the strip frame.

    Returns
    -------
    list of (Rect, int, ndarray)
        The rectangle, per cent of the light at the strip's centre, and the line in millimetres, shape (N, 2). The steps
        are the same in all, and so coarse that few lines are needed; where light is even to a per cent there is none.
    """
    from skimage.measure import find_contours

    middle = float(correction.light(np.array([STRIP.width / 2, STRIP.height / 2])).mean())
    grids = []
    for rect in rects:
        columns, rows = (
            np.linspace(start, start + length, max(2, round(length / _GRID_MM) + 1))
            for start, length in ((rect.x, rect.width), (rect.y, rect.height))
        )
        light = correction.light(np.stack(np.meshgrid(columns, rows), axis=-1)).mean(axis=-1)
        grids.append((rect, columns, rows, 100.0 * light / middle))
    low, high = (float(f([f(grid[-1]) for grid in grids])) for f in (np.min, np.max))
    step = next((s for s in _STEPS if (high - low) / s <= _LINES), _STEPS[-1])
    out = []
    for rect, columns, rows, percent in grids:
        for level in range(int(np.ceil(low / step)) * step, int(high) + 1, step):
            # scikit-image types a part of itself only
            for path in find_contours(percent, float(level)):  # type: ignore[no-untyped-call]
                x = np.interp(path[:, 1], np.arange(columns.size), columns)
                y = np.interp(path[:, 0], np.arange(rows.size), rows)
                points = np.stack([x, y], axis=-1)
                if np.hypot(*np.diff(points, axis=0).T).sum() >= _LEAST_LINE_MM:
                    out.append((rect, level, points))
    return out


def _label(canvas: np.ndarray, matrix: np.ndarray, name: FieldName, field: FieldDrawing) -> None:
    """Put the swatch and its figures at the outer side of the field, upright."""
    y = field.rect.y if name == "board" else field.rect.bottom
    x0, y0 = _points(matrix, np.array([[field.rect.x + field.rect.width / 2, y]]))[0, 0]
    h, w = canvas.shape[:2]
    scale = max(0.45, w / 2200)
    text_w, text_h = text_size(field.text, scale)
    box = round(text_h * 2.2)
    swatch = box if field.lab is not None else 0
    left = int(np.clip(x0 - (text_w + swatch) // 2, 0, max(0, w - text_w - swatch - 12)))
    top = int(np.clip(y0 - box // 2, 0, h - box - 1))
    cv2.rectangle(canvas, (left, top), (left + swatch + text_w + 12, top + box), WHITE, -1)
    if field.lab is not None:
        cv2.rectangle(canvas, (left, top), (left + box, top + box), _ink_of(field.lab), -1)
    cv2.rectangle(canvas, (left, top), (left + swatch + text_w + 12, top + box), BLACK, 1)
    write(canvas, field.text, (left + swatch + 6, top + (box + text_h) // 2), scale, BLACK)
