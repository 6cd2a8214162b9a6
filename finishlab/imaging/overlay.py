"""Draw on a copy of the photo what was found in it: strip, fields, what was sampled, what was left out, the colours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lab_to_srgb8, linear_to_srgb
from finishlab.imaging.finder import StripFit
from finishlab.imaging.opencv import cv2
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.imaging.surface import Surface

__all__ = ["FieldDrawing", "check_picture"]

_LONG_SIDE: Final = 1600
_WHITE: Final = (255, 255, 255)
_BLACK: Final = (0, 0, 0)
_SAMPLED: Final = (0, 190, 255)
_GLARE: Final = (255, 0, 200)
_LEFT_OUT: Final = (255, 140, 0)


@dataclass(frozen=True, eq=False, slots=True)
class FieldDrawing:
    """What to draw for one field."""

    surface: Surface
    rect: Rect
    px_per_mm: float
    lab: tuple[float, float, float]
    text: str
    """What to write beside the swatch."""


def check_picture(image: LinearImage, fit: StripFit, fields: Mapping[FieldName, FieldDrawing]) -> np.ndarray:
    """Return the photo with everything found drawn on it, shape (H, W, 3), uint8 sRGB.

    Sampled surface is outlined by a full line, glare is hatched one way, what else was left out the other way, so that
    the picture also reads without colour.
    """
    factor = min(1.0, _LONG_SIDE / max(image.size))
    size = (round(image.size[0] * factor), round(image.size[1] * factor))
    small = cv2.resize(image.encoded, size, interpolation=cv2.INTER_AREA)
    linear = image.decode[small] @ image.to_srgb.T.astype(np.float32)
    canvas = np.ascontiguousarray((linear_to_srgb(np.clip(linear, 0, 1)) * 255 + 0.5).astype(np.uint8))
    to_canvas = np.diag([factor, factor, 1.0]) @ fit.to_pixels
    for drawing in fields.values():
        _draw_masks(canvas, to_canvas, drawing)
    _polygon(canvas, to_canvas, Rect(0, 0, STRIP.width, STRIP.height), _WHITE)
    for patch in STRIP.patches:
        _polygon(canvas, to_canvas, patch.sample, _WHITE, 1)
    for name, drawing in fields.items():
        _polygon(canvas, to_canvas, drawing.rect, _WHITE)
        _draw_outline(canvas, to_canvas, drawing)
        _label(canvas, to_canvas, name, drawing)
    return canvas


def _points(matrix: np.ndarray, corners: np.ndarray) -> np.ndarray:
    return np.round(cv2.perspectiveTransform(corners.reshape(-1, 1, 2).astype(np.float64), matrix)).astype(np.int32)


def _polygon(canvas: np.ndarray, matrix: np.ndarray, rect: Rect, colour: tuple[int, int, int], width: int = 2) -> None:
    points = _points(matrix, rect.corners())
    cv2.polylines(canvas, [points], isClosed=True, color=_BLACK, thickness=width + 2, lineType=cv2.LINE_AA)
    cv2.polylines(canvas, [points], isClosed=True, color=colour, thickness=width, lineType=cv2.LINE_AA)


def _draw_masks(canvas: np.ndarray, matrix: np.ndarray, drawing: FieldDrawing) -> None:
    moved = matrix @ _grid_to_mm(drawing)
    size = (canvas.shape[1], canvas.shape[0])
    surface = drawing.surface
    hatch = np.add.outer(np.arange(size[1]), np.arange(size[0])) % 8 < 2
    other_way = np.subtract.outer(np.arange(size[1]), np.arange(size[0])) % 8 < 2
    for mask, colour, pattern in (
        (surface.glare, _GLARE, hatch),
        (~surface.mask & ~surface.glare, _LEFT_OUT, other_way),
    ):
        seen = cv2.warpPerspective(mask.astype(np.uint8), moved, size, flags=cv2.INTER_NEAREST) > 0
        canvas[seen & pattern] = colour


def _draw_outline(canvas: np.ndarray, matrix: np.ndarray, drawing: FieldDrawing) -> None:
    """Draw the outline of what was sampled, a little inside it so that the field's own frame does not hide it."""
    p = drawing.px_per_mm
    moved = matrix @ _grid_to_mm(drawing)
    inner = cv2.copyMakeBorder(drawing.surface.mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    inner = cv2.erode(inner, np.ones((3, 3), np.uint8), iterations=round(0.8 * p))[1:-1, 1:-1]
    contours, _ = cv2.findContours(inner, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        if len(contour) > 4 * p:
            points = _points(moved, contour.astype(float))
            cv2.polylines(canvas, [points], isClosed=True, color=_BLACK, thickness=4, lineType=cv2.LINE_AA)
            cv2.polylines(canvas, [points], isClosed=True, color=_SAMPLED, thickness=2, lineType=cv2.LINE_AA)


def _grid_to_mm(drawing: FieldDrawing) -> np.ndarray:
    p = drawing.px_per_mm
    return np.array([[1 / p, 0, drawing.rect.x + 0.5 / p], [0, 1 / p, drawing.rect.y + 0.5 / p], [0, 0, 1]])


def _label(canvas: np.ndarray, matrix: np.ndarray, name: FieldName, drawing: FieldDrawing) -> None:
    """Put the swatch and its figures at the outer side of the field, upright."""
    y = drawing.rect.y if name == "board" else drawing.rect.bottom
    x0, y0 = _points(matrix, np.array([[drawing.rect.x + drawing.rect.width / 2, y]]))[0, 0]
    h, w = canvas.shape[:2]
    scale = max(0.45, w / 2200)
    (text_w, text_h), _ = cv2.getTextSize(drawing.text, cv2.FONT_HERSHEY_SIMPLEX, scale, 1)
    box = round(text_h * 2.2)
    left = int(np.clip(x0 - (text_w + box) // 2, 0, max(0, w - text_w - box - 12)))
    top = int(np.clip(y0 - box // 2, 0, h - box - 1))
    cv2.rectangle(canvas, (left, top), (left + box + text_w + 12, top + box), _WHITE, -1)
    red, green, blue = (int(v) for v in lab_to_srgb8(np.array(drawing.lab)))
    cv2.rectangle(canvas, (left, top), (left + box, top + box), (red, green, blue), -1)
    cv2.rectangle(canvas, (left, top), (left + box + text_w + 12, top + box), _BLACK, 1)
    where = (left + box + 6, top + (box + text_h) // 2)
    cv2.putText(canvas, drawing.text, where, cv2.FONT_HERSHEY_SIMPLEX, scale, _BLACK, 1, cv2.LINE_AA)
