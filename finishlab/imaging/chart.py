"""A 24-patch chart in a photo: found by its patches or by four corners given, turned by its colours, read.

Where it may lie is told by the largest group of even, squarish regions that stand side by side; colours are not asked
there, so light, white balance and tone do not matter. Colours then judge what was found.

Places on the chart are in patches: x runs 0 to 6 along the rows, y 0 to 4 down, from the outer corner of the dark skin
patch; the space between patches is left out of account, since only their middles are read.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.errors import NoStripError, QualityError
from finishlab.imaging.finder import apply_homography
from finishlab.imaging.opencv import cv2, shrink, warp
from finishlab.imaging.pixels import LinearImage

_WINDOWS: Final = (11, 31, 75)
"""Sides of the neighbourhoods that a pixel is compared with: small charts and large."""
_STEPS: Final = (3, -3)
_AREA: Final = (120.0, 1 / 60)
"""A patch has at least so many pixels, and at most this share of the picture."""
_SQUARE: Final = (0.8, 0.5)
"""Least share of its box that a patch fills, and least ratio of the box's sides."""
_NEAR: Final = 1.65
"""Distance of neighbours over the side of the larger."""
_ALIKE: Final = 0.65
_LEAST: Final = 10
"""Patches a group must have."""


def candidate_corners(rgb: np.ndarray) -> np.ndarray | None:
    """Return four corners around the likeliest chart, clockwise as seen, pixels, shape (4, 2); None if there is none.

    Parameters
    ----------
    rgb
        Shape (H, W, 3), uint8.
    """
    squares = _apart(_squares(rgb))
    group = _largest_group(squares) if len(squares) >= _LEAST else squares
    if len(group) < _LEAST:
        return None
    side = float(np.median(group[:, 2]))
    centre, (width, height), angle = cv2.minAreaRect(group[:, :2].astype(np.float32))
    corners = np.asarray(cv2.boxPoints((centre, (width + side, height + side), angle)), dtype=float)
    (ax, ay), (bx, by) = corners[2] - corners[0], corners[3] - corners[1]
    return corners if ax * by - ay * bx > 0 else corners[::-1]


def _squares(rgb: np.ndarray) -> np.ndarray:
    """Return centre and side of every even squarish region, shape (n, 3), many of them more than once."""
    lightness = cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2LAB)[..., 0]
    out = []
    for channel in (lightness, rgb.max(axis=-1)):
        smooth = cv2.medianBlur(np.ascontiguousarray(channel), 3)
        for window in _WINDOWS:
            for step in _STEPS:
                parts = cv2.adaptiveThreshold(smooth, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, step)
                contours, _ = cv2.findContours(parts, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
                out += [square for contour in contours if (square := _square(contour, smooth.size)) is not None]
    return np.array(out).reshape(-1, 3)


def _square(contour: np.ndarray, pixels: int) -> tuple[float, float, float] | None:
    area = float(cv2.contourArea(contour))
    if not _AREA[0] <= area <= _AREA[1] * pixels:
        return None
    (x, y), (width, height), _ = cv2.minAreaRect(contour)
    if area < _SQUARE[0] * width * height or min(width, height) < _SQUARE[1] * max(width, height):
        return None
    return float(x), float(y), float(np.sqrt(area))


def _apart(squares: np.ndarray) -> np.ndarray:
    """Return one square of each place, the largest."""
    left = squares[np.argsort(-squares[:, 2])]
    kept: list[np.ndarray] = []
    while len(left):
        first = left[0]
        kept.append(first)
        left = left[np.hypot(*(left[:, :2] - first[:2]).T) > 0.4 * first[2]]
    return np.array(kept).reshape(-1, 3)


def _largest_group(squares: np.ndarray) -> np.ndarray:
    """Return the largest set of squares that are neighbours of one another and alike in size."""
    x, y, side = squares.T
    larger, smaller = np.maximum(side[:, None], side), np.minimum(side[:, None], side)
    near = (np.hypot(x[:, None] - x, y[:, None] - y) < _NEAR * larger) & (smaller > _ALIKE * larger)
    best: list[int] = []
    open_places = set(range(len(squares)))
    while open_places:
        group = [open_places.pop()]
        for member in group:
            joined = [other for other in np.flatnonzero(near[member]).tolist() if other in open_places]
            open_places.difference_update(joined)
            group += joined
        best = max(best, group, key=len)
    return squares[best]


_SIZES: Final = (1000, 1500, 700, 2600)
"""Long sides at which the chart is looked for, the quickest first."""
_CELL: Final = 32
"""Pixels a patch gets when the chart is laid flat to be refined."""
_MARGIN: Final = 0.5
_LEAST_FOUND: Final = 10
"""Patches whose middles must be found before they move the corners."""
_AGREES: Final = 0.80
"""Share of the variance of the reference colours that the readings must explain: a chart by chance reaches a half."""
_STRANGE: Final = (0.5, 0.3)
"""A camera with strange colours explains less: then at least so much, and so much more than the chart turned."""
_SURE: Final = 0.9
_INTERIOR: Final = 0.2
"""Half side of the square read in each patch, in patches: less than half of it, clear of blur and of a small error."""
_LEAST_PX: Final = 5.0
_CLIPPED: Final = 0.05
"""Share of a patch's pixels that may have a channel at either end of the codes."""
_COLUMNS, _ROWS = 6, 4


def _middles() -> np.ndarray:
    """Return the middles of the patches on the chart, row by row, shape (24, 2)."""
    x, y = np.meshgrid(np.arange(_COLUMNS) + 0.5, np.arange(_ROWS) + 0.5)
    return np.stack([x.ravel(), y.ravel()], axis=-1)


_OUTLINE: Final = np.array([[0.0, 0.0], [_COLUMNS, 0.0], [_COLUMNS, _ROWS], [0.0, _ROWS]])


@dataclass(frozen=True, eq=False, slots=True)
class ChartFit:
    """Where the chart lies in the decoded photo."""

    to_pixels: np.ndarray
    """Shape (3, 3): places on the chart -> decoded pixels."""

    @property
    def corners(self) -> np.ndarray:
        """Corners of the patches' outline, clockwise from dark skin, decoded pixels, shape (4, 2)."""
        return apply_homography(self.to_pixels, _OUTLINE)

    @property
    def middles(self) -> np.ndarray:
        """Middles of the 24 patches, decoded pixels, shape (24, 2)."""
        return apply_homography(self.to_pixels, _middles())


@dataclass(frozen=True, eq=False, slots=True)
class ChartReadings:
    """What the photo says of the chart's patches."""

    values: np.ndarray
    """Shape (24, 3): linear values of the file, mean of each patch's middle."""
    middles: np.ndarray
    """Shape (24, 2): decoded pixels."""
    places: np.ndarray
    """Shape (24, 2): on the chart, -1 to 1 along the rows and the same scale down."""
    usable: np.ndarray
    """Shape (24,), bool: False where a channel is clipped or black."""
    codes: tuple[np.ndarray, ...]
    """Of each patch: its middle's pixels as coded, shape (n, 1, 3)."""


def find_chart(image: LinearImage, reference: np.ndarray) -> ChartFit:
    """Find a 24-patch chart.

    Parameters
    ----------
    image
        The photo.
    reference
        Shape (24, 3): linear sRGB of the patches, to tell which way the chart lies and that it is one.

    Raises
    ------
    NoStripError
        ``"no-chart"``.
    """
    best: tuple[float, bool, ChartFit] | None = None
    for size in _SIZES:
        factor = max(1.0, max(image.size) / size)
        small = shrink(_eight_bit(image.encoded), factor)
        corners = candidate_corners(small)
        if corners is None:
            continue
        found = _oriented(image, (corners + 0.5) * factor - 0.5, reference)
        if best is None or found[0] > best[0]:
            best = found
        if found[0] > _SURE:
            break
    if best is None or not best[1]:
        raise NoStripError(
            "no-chart",
            "No 24-patch chart was found in the photo.",
            "Photograph it whole, flat and sharp, or name its corners with --corners, from the dark skin patch on.",
        )
    return best[2]


def chart_from_corners(image: LinearImage, corners: np.ndarray, reference: np.ndarray) -> ChartFit:
    """Return where the chart lies, given the outer corners of its four corner patches.

    Parameters
    ----------
    image
        The photo.
    corners
        Shape (4, 2), pixels of the upright, full-size photo, clockwise from the dark skin patch. The colours decide
        when they were begun at another corner.
    reference
        As in `find_chart`.

    Raises
    ------
    QualityError
        ``"not-a-chart"`` if the colours between these corners are not a chart's.
    """
    decoded = (np.asarray(corners, dtype=float) + 0.5) * image.scale - 0.5
    _, agrees, fit = _oriented(image, decoded, reference)
    if not agrees:
        raise QualityError(
            "not-a-chart",
            "What lies between the named corners does not have the colours of a 24-patch chart.",
            "Name the outer corners of the dark skin, bluish green, black and white patches, in this order.",
        )
    return fit


def read_chart(image: LinearImage, fit: ChartFit) -> ChartReadings:
    """Read the middle of every patch in linear light.

    Raises
    ------
    QualityError
        ``"chart-small"`` if a patch's middle is only a few pixels, ``"chart-outside"`` if one is not in the photo.
    """
    values, whole = np.zeros((24, 3)), np.zeros(24, dtype=bool)
    codes: list[np.ndarray] = []
    lowest, highest = float(image.decode[len(image.decode) // 128]), image.top
    for i, middle in enumerate(_middles()):
        square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * _INTERIOR + middle
        outline = apply_homography(fit.to_pixels, square)
        left, upper = np.floor(outline.min(axis=0)).astype(int)
        right, lower = np.ceil(outline.max(axis=0)).astype(int) + 1
        if left < 0 or upper < 0 or right > image.size[0] or lower > image.size[1]:
            raise QualityError(
                "chart-outside", "The chart does not lie wholly in the photo.", "Photograph the whole chart."
            )
        inside = np.zeros((lower - upper, right - left), dtype=np.uint8)
        cv2.fillConvexPoly(inside, np.round(outline - (left, upper)).astype(np.int32), 1)
        coded = image.encoded[upper:lower, left:right][inside > 0]
        kept = image.decode[coded]
        if len(kept) < _LEAST_PX**2:
            raise QualityError(
                "chart-small",
                f"The chart is too small in the photo: the middle of a patch is {len(kept)} pixels.",
                "Go nearer and photograph again.",
            )
        values[i] = kept.mean(axis=0, dtype=np.float64)
        at_end = (kept >= highest) | (kept <= lowest)
        whole[i] = float(at_end.any(axis=-1).mean()) <= _CLIPPED and values[i].min() > 0.0
        codes.append(np.ascontiguousarray(coded[:, None]))
    places = (_middles() - (_COLUMNS / 2, _ROWS / 2)) / (_COLUMNS / 2)
    return ChartReadings(values, fit.middles, places, whole, tuple(codes))


def _eight_bit(codes: np.ndarray) -> np.ndarray:
    return codes if codes.dtype == np.uint8 else (codes >> 8).astype(np.uint8)


def _homography(places: np.ndarray, pixels: np.ndarray) -> np.ndarray:
    matrix, _ = cv2.findHomography(places, pixels, cv2.RANSAC, 4.0) if len(places) > 4 else (None, None)
    if matrix is None:
        matrix = cv2.getPerspectiveTransform(places[:4].astype(np.float32), pixels[:4].astype(np.float32))
    return np.asarray(matrix)


def _oriented(image: LinearImage, corners: np.ndarray, reference: np.ndarray) -> tuple[float, bool, ChartFit]:
    """Return how well the colours agree, 0..1, whether that is enough, and the fit whose first corner is dark skin."""
    turned = []
    for turn in range(4):
        to_pixels = _refined(image, _homography(_OUTLINE, np.roll(corners, -turn, axis=0)))
        turned.append((_agreement(_quick_values(image, to_pixels), reference), ChartFit(to_pixels)))
    turned.sort(key=lambda each: -each[0])
    score, other = turned[0][0], turned[1][0]
    agrees = score >= _AGREES or (score >= _STRANGE[0] and score - other >= _STRANGE[1])
    return score, agrees, turned[0][1]


def _quick_values(image: LinearImage, to_pixels: np.ndarray) -> np.ndarray:
    """Return the file's linear value at the middle of each patch, shape (24, 3)."""
    at = np.round(apply_homography(to_pixels, _middles())).astype(int)
    at = np.clip(at, 0, np.array(image.size) - 1)
    return np.asarray(image.decode[image.encoded[at[:, 1], at[:, 0]]], dtype=float)


def _agreement(values: np.ndarray, reference: np.ndarray) -> float:
    """Return the share of the reference's variance that a linear map of the cube roots explains, worst of channels."""
    have, want = np.cbrt(np.maximum(values, 0.0)), np.cbrt(np.maximum(reference, 0.0))
    design = np.column_stack([have, np.ones(24)])
    left = want - design @ np.linalg.lstsq(design, want, rcond=None)[0]
    return float(1.0 - (left.var(axis=0) / want.var(axis=0)).max())


def _refined(image: LinearImage, rough: np.ndarray) -> np.ndarray:
    """Move the corners to where the patches' own middles are.

    The chart is laid flat; around each expected middle the even region is grown, and its centre taken if it is about as
    large as a patch. A patch that runs into the card (black on black) is not.
    """
    side = _CELL
    to_chart = np.array([[1 / side, 0, 0.5 / side - _MARGIN], [0, 1 / side, 0.5 / side - _MARGIN], [0, 0, 1.0]])
    size = (int((_COLUMNS + 2 * _MARGIN) * side), int((_ROWS + 2 * _MARGIN) * side))
    corners = apply_homography(rough, _OUTLINE)
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 40, 0)
    right, bottom = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 40, image.size)
    if right - left < 8 or bottom - top < 8:
        return rough
    per_cell = float(np.linalg.norm(corners[1] - corners[0])) / _COLUMNS
    step = max(1, int(per_cell / side))
    crop = shrink(_eight_bit(image.encoded[top:bottom, left:right]), step)
    to_crop = np.array([[1 / step, 0, (0.5 - left) / step - 0.5], [0, 1 / step, (0.5 - top) / step - 0.5], [0, 0, 1]])
    flat = cv2.medianBlur(np.ascontiguousarray(warp(crop, to_crop @ rough @ to_chart, size)), 3)
    expected = _middles()
    found, where = [], []
    for middle in expected:
        centre = _region_centre(flat, (middle + _MARGIN) * side - 0.5)
        if centre is not None:
            found.append(apply_homography(to_chart, centre))
            where.append(middle)
    if len(found) < _LEAST_FOUND:
        return rough
    return np.asarray(rough @ _homography(np.array(where), np.array(found)))


def _region_centre(flat: np.ndarray, seed: np.ndarray) -> np.ndarray | None:
    """Return the centre of the even region around a pixel, or None if it is not the size of a patch."""
    x, y = (round(float(v)) for v in seed)
    mask = np.zeros((flat.shape[0] + 2, flat.shape[1] + 2), dtype=np.uint8)
    tolerance = (9, 9, 9)
    flags = 4 | cv2.FLOODFILL_FIXED_RANGE | cv2.FLOODFILL_MASK_ONLY | (1 << 8)
    area, _, _, (left, top, width, height) = cv2.floodFill(flat.copy(), mask, (x, y), 0, tolerance, tolerance, flags)
    fits = min(width, height) > 0.5 * _CELL and max(width, height) < 1.1 * _CELL and area > 0.75 * width * height
    return np.array([left + (width - 1) / 2, top + (height - 1) / 2]) if fits else None
