"""Draw on a copy of the photo what was found in it: strip, fields, light, what was sampled and what was left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lab_to_srgb8, srgb8_of_linear
from finishlab.imaging import drawing
from finishlab.imaging.correction import Correction
from finishlab.imaging.drawing import BLACK, WHITE, Ink
from finishlab.imaging.finder import StripFit
from finishlab.imaging.opencv import cv2
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.imaging.surface import Surface

__all__ = ["BELIEVED", "GLARE", "LEFT_OUT", "SAMPLED", "FieldDrawing", "check_picture", "hatch", "light_lines"]

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
    image
        The photo.
    fit
        Where the strip lies in it.
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
            drawing.cross(canvas, _points(to_canvas, patch.rect.corners()), LEFT_OUT, max(1, canvas.shape[1] // 700))
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
    size = (round(image.size[0] * factor), round(image.size[1] * factor))
    small = cv2.resize(image.encoded, size, interpolation=cv2.INTER_AREA)
    return srgb8_of_linear(image.decode[small] @ image.to_srgb.T.astype(np.float32))


def _points(matrix: np.ndarray, corners: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.perspectiveTransform(corners.reshape(-1, 1, 2).astype(np.float64), matrix))


def _polygon(canvas: np.ndarray, matrix: np.ndarray, rect: Rect, colour: Ink, width: int = 2) -> None:
    drawing.line(canvas, _points(matrix, rect.corners()), colour, width, closed=True)


def _draw_masks(canvas: np.ndarray, matrix: np.ndarray, field: FieldDrawing, surface: Surface) -> None:
    moved = matrix @ _grid_to_mm(field)
    size = (canvas.shape[1], canvas.shape[0])
    for mask, colour, is_glare in (
        (surface.glare, GLARE, True),
        (~surface.mask & ~surface.glare, LEFT_OUT, False),
    ):
        seen = cv2.warpPerspective(mask.astype(np.uint8), moved, size, flags=cv2.INTER_NEAREST) > 0
        canvas[seen & hatch(size[1], size[0], glare=is_glare)] = colour


def _draw_outline(canvas: np.ndarray, matrix: np.ndarray, field: FieldDrawing, surface: Surface) -> None:
    """Draw the outline of what was sampled, a little inside it so that the field's own frame does not hide it."""
    p = field.px_per_mm
    moved = matrix @ _grid_to_mm(field)
    inner = cv2.copyMakeBorder(surface.mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    inner = cv2.erode(inner, np.ones((3, 3), np.uint8), iterations=round(0.8 * p))[1:-1, 1:-1]
    contours, _ = cv2.findContours(inner, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        if len(contour) > 4 * p:
            drawing.line(canvas, _points(moved, contour.astype(float)), SAMPLED, closed=True)


def _grid_to_mm(field: FieldDrawing) -> np.ndarray:
    p = field.px_per_mm
    return np.array([[1 / p, 0, field.rect.x + 0.5 / p], [0, 1 / p, field.rect.y + 0.5 / p], [0, 0, 1]])


def _draw_light(canvas: np.ndarray, matrix: np.ndarray, rects: list[Rect], correction: Correction) -> None:
    """Draw lines of equal light over strip and fields, in per cent of the light at the strip's centre.

    Figures stand in the fields only: the strip's greys stay free.
    """
    scale = max(0.4, canvas.shape[1] / 3200)
    strip = Rect(0.0, 0.0, STRIP.width, STRIP.height)
    for rect, level, points in light_lines([strip, *rects], correction):
        path = _points(matrix, points).reshape(-1, 2)
        drawing.dashed(canvas, path, BLACK, (0.0, 6.0, 6.0, 0.0))
        drawing.dashed(canvas, path, WHITE, (6.0, 6.0))
        if rect is not strip:
            text = f"{level} %"
            width, height = drawing.text_size(text, scale)
            x, y = path[len(path) // 2]
            drawing.write(canvas, text, (x - width / 2, y + height / 2), scale, WHITE, BLACK)


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
    text_w, text_h = drawing.text_size(field.text, scale)
    box = round(text_h * 2.2)
    swatch = box if field.lab is not None else 0
    left = int(np.clip(x0 - (text_w + swatch) // 2, 0, max(0, w - text_w - swatch - 12)))
    top = int(np.clip(y0 - box // 2, 0, h - box - 1))
    cv2.rectangle(canvas, (left, top), (left + swatch + text_w + 12, top + box), WHITE, -1)
    if field.lab is not None:
        red, green, blue = (int(v) for v in lab_to_srgb8(np.array(field.lab)))
        cv2.rectangle(canvas, (left, top), (left + box, top + box), (red, green, blue), -1)
    cv2.rectangle(canvas, (left, top), (left + swatch + text_w + 12, top + box), BLACK, 1)
    drawing.write(canvas, field.text, (left + swatch + 6, top + (box + text_h) // 2), scale, BLACK)
