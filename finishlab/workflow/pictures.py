"""The picture that shows what was found in a photo, for checking by eye."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from finishlab.colorimetry.spaces import lab_to_srgb8
from finishlab.imaging.overlay import FieldDrawing, check_picture
from finishlab.imaging.resample import shrink
from finishlab.measure import HandInspection, PixelRect
from finishlab.photos import srgb_pixels, write_png

if TYPE_CHECKING:
    from finishlab.imaging.pixels import LinearImage
    from finishlab.measure import FieldMeasurement, Inspection

__all__ = ["picture_of", "save_picture"]

_LONG_SIDE: Final = 1600
_GREY: Final = (255, 255, 255)
_AREA: Final = (0, 190, 255)
_GLARE: Final = (255, 0, 200)
_LEFT_OUT: Final = (255, 140, 0)


def save_picture(path: Path, inspection: Inspection | HandInspection, image: LinearImage) -> None:
    """Write the photo with strip, fields, outline of what was sampled, glare and the colours found, as a PNG.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_png(path, picture_of(inspection, image))


def picture_of(inspection: Inspection | HandInspection, image: LinearImage) -> np.ndarray:
    """Return that picture, shape (H, W, 3), uint8 sRGB."""
    if isinstance(inspection, HandInspection):
        return _picture_by_hand(inspection, image)
    drawings = {
        name: FieldDrawing(
            view.surface,
            view.image.rect,
            view.image.px_per_mm,
            inspection.measurement.fields[name].estimate.lab,
            _caption(inspection.measurement.fields[name]),
        )
        for name, view in inspection.views.items()
    }
    return check_picture(image, inspection.fit, drawings)


def _caption(found: FieldMeasurement) -> str:
    return f"{found.name}: " + "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*found.estimate.lab)


def _picture_by_hand(inspection: HandInspection, image: LinearImage) -> np.ndarray:
    """Draw the named rectangles, hatch what was left out, and set the colour found beside the area."""
    factor = max(1.0, max(image.size) / _LONG_SIDE)
    canvas = np.ascontiguousarray(shrink(srgb_pixels(image), factor))
    # The photo may have been decoded smaller than the pixels that areas are named in.
    factor /= image.scale
    top, left, bottom, right = _box(inspection.area.box, factor)
    surface = inspection.view.surface
    rows = np.linspace(0, surface.mask.shape[0] - 1, max(1, bottom - top)).round().astype(int)
    columns = np.linspace(0, surface.mask.shape[1] - 1, max(1, right - left)).round().astype(int)
    part = canvas[top:bottom, left:right]
    hatch = np.add.outer(np.arange(part.shape[0]), np.arange(part.shape[1])) % 8 < 2
    glare, used = surface.glare[np.ix_(rows, columns)], surface.mask[np.ix_(rows, columns)]
    part[glare & hatch] = _GLARE
    inside = surface.outline[np.ix_(rows, columns)]
    part[inside & ~glare & ~used & hatch[:, ::-1]] = _LEFT_OUT
    part[_edge(inside)] = _AREA
    for grey in inspection.greys:
        _outline(canvas, _box(grey.rect, factor), _GREY)
    if isinstance(inspection.area, PixelRect):
        _outline(canvas, (top, left, bottom, right), _AREA)
    side = max(8, min(bottom - top, right - left) // 4)
    swatch = (top + 6, left + 6, top + 6 + side, left + 6 + side)
    canvas[swatch[0] : swatch[2], swatch[1] : swatch[3]] = lab_to_srgb8(
        np.array(inspection.measurement.fields["board"].estimate.lab)
    )
    _outline(canvas, swatch, _GREY)
    return canvas


def _edge(inside: np.ndarray) -> np.ndarray:
    """Return the two pixels within the edge of a polygon; nothing for a rectangle, which has a frame around it."""
    padded = np.pad(inside, 2)
    core = inside.copy()
    for dy, dx in ((0, 2), (4, 2), (2, 0), (2, 4)):
        core &= padded[dy : dy + inside.shape[0], dx : dx + inside.shape[1]]
    return inside & ~core if not inside.all() else np.zeros_like(inside)


def _box(rect: PixelRect, factor: float) -> tuple[int, int, int, int]:
    """Return top, left, bottom and right on the canvas."""
    return (
        int(rect.y / factor),
        int(rect.x / factor),
        max(int((rect.y + rect.height) / factor), int(rect.y / factor) + 1),
        max(int((rect.x + rect.width) / factor), int(rect.x / factor) + 1),
    )


def _outline(canvas: np.ndarray, box: tuple[int, int, int, int], colour: tuple[int, int, int]) -> None:
    """Draw a frame of two pixels with a black one around, so that it shows on any ground."""
    top, left, bottom, right = box
    for grow, width, ink in ((3, 1, (0, 0, 0)), (2, 2, colour)):
        y0, x0 = max(0, top - grow), max(0, left - grow)
        y1, x1 = min(canvas.shape[0], bottom + grow), min(canvas.shape[1], right + grow)
        for rows, columns in (
            (slice(y0, y0 + width), slice(x0, x1)),
            (slice(y1 - width, y1), slice(x0, x1)),
            (slice(y0, y1), slice(x0, x0 + width)),
            (slice(y0, y1), slice(x1 - width, x1)),
        ):
            canvas[rows, columns] = ink
