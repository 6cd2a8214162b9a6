"""Find the printed strip in a photo: tags to a homography from millimetres to pixels.

Tags are looked for first in a small grey copy, which costs little, then in finer ones when too few are seen. Each
candidate must agree with the others on one homography, so a chance pattern in the wood cannot pass for a tag.

The tags are an open family: ArUco 5x5 with 250 members, made and found by OpenCV (S. Garrido-Jurado et al.,
Generation of fiducial marker dictionaries using Mixed Integer Linear Programming, Pattern Recognition 51 (2016)
481-491).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.errors import NoStripError
from finishlab.imaging.opencv import cv2, grey_of, shrink
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP, Rect, StripGeometry, Tag

MODULES = 7
"""Modules along one side of a tag, its black border included."""


def _family() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)


def tag_modules(tag_id: int) -> np.ndarray:
    """Return the picture of a tag, shape (7, 7) bool, True where white; the black border is included.

    Raises
    ------
    ValueError
        If the family has no such tag.
    """
    if not 0 <= tag_id < 250:
        raise ValueError(f"the tag family has ids 0 to 249, not {tag_id}")
    return np.asarray(cv2.aruco.generateImageMarker(_family(), tag_id, MODULES)) > 127


def detect_tags(grey: np.ndarray, smallest_side: float) -> list[tuple[int, np.ndarray]]:
    """Find tags in a grey picture.

    Parameters
    ----------
    grey
        Shape (H, W), uint8.
    smallest_side
        Side of the smallest tag worth finding, in pixels.

    Returns
    -------
    list of (tag id, corners)
        Corners clockwise from the tag's own top left, shape (4, 2), pixel centres at integers.
    """
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = max(4.0 * smallest_side / max(grey.shape), 0.005)
    parameters.maxMarkerPerimeterRate = 2.0
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.cornerRefinementWinSize = 4
    parameters.relativeCornerRefinmentWinSize = 0.6
    parameters.adaptiveThreshWinSizeMin = 5
    parameters.adaptiveThreshWinSizeMax = 45
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.minCornerDistanceRate = 0.03
    parameters.minDistanceToBorder = 1
    detector = cv2.aruco.ArucoDetector(_family(), parameters)
    corners, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return []
    return [
        (int(tag_id), np.asarray(quad, dtype=float).reshape(4, 2))
        for tag_id, quad in zip(np.ravel(ids), corners, strict=True)
    ]


_SHARE_OF_LONG_SIDE: Final = 1 / 9
"""A strip shorter than this share of the photo's long side is not looked for: well below a sixth of its width."""
_SMALL_SHARE: Final = 1 / 16
"""The same where a small strip is expected, photographed from a few steps back."""
_SMALL_PASSES: Final = ((2200, 0.0), (4000, 0.0), (8000, 0.0), (8000, 1.5))
"""The same as `_PASSES` where the strip is small."""
_CLOSER: Final = 3.0
"""By how much the place of a small strip is enlarged for a second look."""
_PASSES: Final = ((1200, 0.0), (2200, 0.0), (2600, 2.2), (4000, 3.0))
"""Sizes at which tags are looked for, and the radius of the sharpening before it: cheap first."""
_PLENTY: Final = 4
"""Tags seen that make a further look not worth its time."""
_STRAY_MM: Final = 25.0
"""How far from its place a tag must lie to belong to another strip."""
_LEAST_REACH: Final = 60.0
"""How far apart along the strip tags must be seen, in millimetres: one end alone says too little of the light."""
_TOLERANCE_MM: Final = 1.5
"""How far a tag's corner may lie from where the others put it: curl and lens, not chance."""


@dataclass(frozen=True, eq=False, slots=True)
class StripFit:
    """Where the strip lies in the decoded photo."""

    to_pixels: np.ndarray
    """Shape (3, 3): millimetres of the strip frame -> decoded pixels."""
    number: int | None
    roles_seen: frozenset[int]
    """Which tags of the strip the fit rests on."""
    residual_mm: float
    """Root mean square distance of the tag corners from the fit."""
    strays: int = 0
    """Tags seen where this strip has none: another print lies in the photo."""

    @property
    def tags_seen(self) -> int:
        """How many tags the fit rests on."""
        return len(self.roles_seen)

    def pixels(self, places: np.ndarray) -> np.ndarray:
        """Return decoded pixel positions of places in millimetres, shape (..., 2)."""
        return apply_homography(self.to_pixels, places)

    def _jacobian(self) -> np.ndarray:
        centre = np.array([STRIP.width / 2, STRIP.height / 2])
        step = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        p = self.pixels(centre + step)
        return np.stack([(p[0] - p[1]) / 2, (p[2] - p[3]) / 2], axis=1)

    @property
    def px_per_mm(self) -> float:
        """Decoded pixels per millimetre at the strip's centre (geometric mean of the two directions)."""
        return float(np.sqrt(abs(np.linalg.det(self._jacobian()))))

    @property
    def tilt_deg(self) -> float:
        """Angle between the view and straight above, from the foreshortening at the strip's centre."""
        s = np.linalg.svd(self._jacobian(), compute_uv=False)
        return float(np.degrees(np.arccos(np.clip(s[1] / s[0], 0.0, 1.0))))

    @property
    def rotation_deg(self) -> float:
        """Direction of the strip's long edge in the photo, clockwise from right, -180..180."""
        x, y = self._jacobian()[:, 0]
        return float(np.degrees(np.arctan2(y, x)))


@dataclass(frozen=True, eq=False, slots=True)
class _Seen:
    """A tag of the strip as seen: which it is, the digit it carries, its corners in pixels, shape (4, 2)."""

    tag: Tag
    value: int
    corners: np.ndarray


def apply_homography(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Return points moved by a 3 x 3 homography, shape (..., 2)."""
    points = np.asarray(points, dtype=float)
    h = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(h[..., :2] / h[..., 2:])


def find_strip(image: LinearImage, geometry: StripGeometry = STRIP, *, small: bool = False) -> StripFit:
    """Find the strip.

    Parameters
    ----------
    image
        The photo.
    geometry
        The strip looked for.
    small
        Whether it may be as small in the photo as `_SMALL_SHARE`: that takes a look at the photo's every pixel.

    Returns
    -------
    StripFit

    Raises
    ------
    NoStripError
        ``no-strip`` if no tag of the strip is seen, ``strip-hidden`` if those seen lie at one end of it.
    """
    grey = grey_of(image.encoded)
    found: dict[int, np.ndarray] = {}
    looked: list[tuple[int, np.ndarray]] = []
    share = _SMALL_SHARE if small else _SHARE_OF_LONG_SIDE
    for long_side, sharpen in _SMALL_PASSES if small else _PASSES:
        picture = _resized(grey, long_side)
        if picture is None:
            continue
        factor = grey.shape[1] / picture.shape[1]
        looked = [(tag, (quad + 0.5) * factor - 0.5) for tag, quad in _look(picture, sharpen, geometry, share)]
        for tag, quad in looked:
            found.setdefault(tag, quad)
        fit = _fit(found, geometry)
        if fit is not None and fit.tags_seen >= _PLENTY:
            break
    if small and fit is not None and fit.tags_seen < len(geometry.tags):
        found = _looked_closely(grey, fit, geometry) | found
        fit = _fit(found, geometry) or fit
    if fit is not None and _reach(fit, geometry) >= _LEAST_REACH:
        return replace(_refined(fit, found, grey, factor, geometry), strays=_strays(fit, looked, geometry))
    best = sum(geometry.read_tag(tag) is not None for tag in found)
    if best:
        raise NoStripError(
            "strip-hidden",
            "Too little of the grey strip can be seen: tags at two places along it are needed.",
            "Lay the whole strip in view, flat and uncovered, and photograph again.",
        )
    raise NoStripError(
        "no-strip",
        "No grey strip was found in the photo.",
        "Photograph the board with the printed strip beside it, sharp and at least a third of the photo's width; "
        "or name grey areas by hand with --grey.",
    )


def _strays(fit: StripFit, looked: list[tuple[int, np.ndarray]], geometry: StripGeometry) -> int:
    """Return how many tags of a strip lie where this strip has none: those of another print in the photo."""
    back = np.linalg.inv(fit.to_pixels)
    strays = 0
    for tag_id, quad in looked:
        read = geometry.read_tag(tag_id)
        if read is not None:
            off = apply_homography(back, quad.mean(axis=0)) - np.array(read[0].rect.centre)
            strays += bool(np.linalg.norm(off) > _STRAY_MM)
    return strays


def _reach(fit: StripFit, geometry: StripGeometry) -> float:
    """Return how far along the strip the seen tags lie apart, in millimetres."""
    across = [tag.rect.centre[0] for tag in geometry.tags if tag.role in fit.roles_seen]
    return max(across) - min(across)


def _looked_closely(grey: np.ndarray, fit: StripFit, geometry: StripGeometry) -> dict[int, np.ndarray]:
    """Return the tags seen about where a fit puts a small strip, in a copy some times as large."""
    corners = fit.pixels(Rect(-10.0, -10.0, geometry.width + 20.0, geometry.height + 20.0).corners())
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int)
    part = np.ascontiguousarray(grey[top:bottom, left:right])
    large = cv2.resize(part, None, fx=_CLOSER, fy=_CLOSER, interpolation=cv2.INTER_CUBIC)
    seen = detect_tags(np.asarray(large), 0.5 * _CLOSER * geometry.tags[0].rect.width * fit.px_per_mm)
    return {tag: (quad + 0.5) / _CLOSER - 0.5 + (left, top) for tag, quad in seen}


def _look(grey: np.ndarray, sharpen: float, geometry: StripGeometry, share: float) -> list[tuple[int, np.ndarray]]:
    """Return the tags seen in a grey picture, put through an unsharp mask of radius `sharpen` pixels first if not 0."""
    if sharpen:
        soft = cv2.GaussianBlur(grey, (0, 0), sharpen)
        grey = np.asarray(cv2.addWeighted(grey, 2.5, soft, -1.5, 0.0))
    smallest = 0.6 * geometry.tags[0].rect.width / geometry.width * share * max(grey.shape)
    return detect_tags(grey, smallest)


def _resized(grey: np.ndarray, long_side: int) -> np.ndarray | None:
    """Return the picture at about `long_side`, doubled at most; None where that repeats an earlier, smaller size."""
    factor = max(grey.shape) / long_side
    if factor >= 1:
        return shrink(grey, factor)
    if long_side <= 1200 or factor > 0.97:
        return grey
    scale = min(2.0, 1 / factor)
    return np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC))


def _fit(found: Mapping[int, np.ndarray], geometry: StripGeometry) -> StripFit | None:
    """Return the homography most tags agree on, or None if no two do."""
    seen = []
    for tag_id, quad in found.items():
        read = geometry.read_tag(tag_id)
        if read is not None:
            seen.append(_Seen(read[0], read[1], quad))
    agreed = _agreeing(seen)
    if len(agreed) < 2:
        return None
    settled = _settled(agreed)
    if settled is None:
        return None
    matrix, kept, residual = settled
    number = _number([(each.tag.digit, each.value) for each in kept], geometry)
    return StripFit(matrix, number, frozenset(each.tag.role for each in kept), residual)


def _agreeing(seen: list[_Seen]) -> list[_Seen]:
    """Return the most tags, one of each role, that lie about where one of them puts the others."""
    best: list[_Seen] = []
    for one in seen:
        # One tag fixes a homography; its word far along the strip is rough, so the bound widens with distance.
        guess, _ = cv2.findHomography(one.tag.rect.corners(), one.corners)
        if guess is None:
            continue
        back = np.linalg.pinv(guess)
        agree, roles = [one], {one.tag.role}
        for other in seen:
            if other.tag.role in roles:
                continue
            place = other.tag.rect
            miss = np.abs(apply_homography(back, other.corners) - place.corners()).max()
            reach = float(np.hypot(place.x - one.tag.rect.x, place.y - one.tag.rect.y))
            if miss < 4.0 + 0.25 * reach:
                agree.append(other)
                roles.add(other.tag.role)
        if len(agree) > len(best):
            best = agree
    return best


def _settled(agreed: list[_Seen]) -> tuple[np.ndarray, list[_Seen], float] | None:
    """Return the homography of the tags, those left after the worst were dropped, and the residual in mm."""
    world = np.concatenate([each.tag.rect.corners() for each in agreed])
    pixels = np.concatenate([each.corners for each in agreed])
    keep = list(range(len(agreed)))
    while True:
        rows = np.concatenate([np.arange(4 * i, 4 * i + 4) for i in keep])
        matrix, _ = cv2.findHomography(world[rows], pixels[rows])
        if matrix is None:
            return None
        miss_mm = np.linalg.norm(apply_homography(np.linalg.inv(matrix), pixels) - world, axis=1).reshape(-1, 4)
        worst = max(keep, key=lambda i: float(miss_mm[i].max()))
        if miss_mm[worst].max() < _TOLERANCE_MM or len(keep) <= 2:
            break
        keep.remove(worst)
    residual = float(np.sqrt((miss_mm[keep] ** 2).mean()))
    if residual > _TOLERANCE_MM:
        return None
    return np.asarray(matrix), [agreed[i] for i in keep], residual


def _number(read: list[tuple[int, int]], geometry: StripGeometry) -> int | None:
    """Return the strip number that the tags agree on, or None."""
    digits = [{value for place, value in read if place == digit} for digit in (0, 1)]
    if any(len(values) != 1 for values in digits):
        return None
    return geometry.number_from_digits(digits[0].pop(), digits[1].pop())


def _refined(
    fit: StripFit, found: Mapping[int, np.ndarray], grey: np.ndarray, factor: float, geometry: StripGeometry
) -> StripFit:
    """Return the fit with the tag corners sharpened in the full picture, where they were found in a smaller one."""
    if factor <= 1.2:
        return fit
    window = int(np.clip(round(1.5 * factor), 2, 9))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.02)
    sharper = {}
    for tag_id, quad in found.items():
        corners = quad.astype(np.float32).reshape(-1, 1, 2)
        moved = np.asarray(cv2.cornerSubPix(grey, corners.copy(), (window, window), (-1, -1), criteria)).reshape(4, 2)
        sharper[tag_id] = np.where(np.abs(moved - quad).max() < window, moved, quad)
    return _fit(sharper, geometry) or fit
