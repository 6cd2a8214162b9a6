"""Where the rendered camera stands, and how the light falls on the work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishlab.imaging.strip import STRIP

__all__ = ["Light", "View", "homography", "project", "world_grid"]

_FOCAL = 0.72
"""Focal length over photo width of a phone's main camera, about 26 mm on 36 mm film (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class View:
    """The camera over the work.

    Raises
    ------
    ValueError
        If the tilt is not below 60 degrees, a size is not positive or the distortion is beyond 20 %.
    """

    width: int = 2000
    height: int = 1500
    strip_share: float = 0.6
    """Length of the strip over the photo's width, as it would be without tilt."""
    rotation: float = 0.0
    """Turn of the strip in the photo, degrees clockwise."""
    tilt: float = 10.0
    """Angle off straight above, degrees."""
    tilt_azimuth: float = 60.0
    """Axis about which the camera tilts, degrees from x in the scene."""
    aim: tuple[float, float] = (95.0, 23.0)
    """Scene point (mm) at the centre of the photo."""
    distortion: float = 0.0
    """Radial distortion left in the photo: how much farther out its corners show than a true lens would, over
    their distance from the centre, 0.01 for 1 % (barrel); negative for pincushion. The truth's homography leaves it
    out."""

    def __post_init__(self) -> None:
        if abs(self.distortion) > 0.2:
            raise ValueError("a lens distorts by 20 % at most")
        if not (0.0 <= self.tilt < 60.0 and self.strip_share > 0 and min(self.width, self.height) > 15):
            raise ValueError("a view needs a tilt below 60 degrees and positive sizes")

    @property
    def px_per_mm(self) -> float:
        """Scale at the centre of the photo."""
        return self.strip_share * self.width / STRIP.width


@dataclass(frozen=True, slots=True)
class Light:
    """How the light falls: the kind of lamp is the scene's, this is its evenness."""

    gradient: float = 0.0
    """Change of the light across the photo's longer side over its mean, 0.25 for 25 %."""
    direction: float = 30.0
    """Where it grows, degrees from the photo's x axis."""
    curve: float = 0.0
    """Curved part: change from the centre to the ends of the longer side, over the mean; negative falls off."""
    vignette: float = 0.02
    """Loss in the corners of the photo."""
    tint_gradient: float = 0.0
    """Change of red over blue along `direction` across the photo's longer side, 0.1 for 10 %: a warm lamp on one side,
    daylight on the other. Green stays as it is."""

    def field(self, x: np.ndarray, y: np.ndarray, view: View) -> np.ndarray:
        """Return relative light at scene points (mm), 1 at the aim, without the vignette."""
        half = max(view.width, view.height) / view.px_per_mm / 2
        along = self._along(x, y, view)
        radius2 = ((x - view.aim[0]) ** 2 + (y - view.aim[1]) ** 2) / half**2
        return np.asarray(np.maximum(1.0 + 0.5 * self.gradient * along + self.curve * radius2, 0.05), dtype=np.float32)

    def tint(self, x: np.ndarray, y: np.ndarray, view: View) -> np.ndarray:
        """Return the factors of red, green and blue at scene points (mm), shape (..., 3), 1 at the aim."""
        along = self._along(x, y, view)
        red = np.exp(0.25 * self.tint_gradient * along)
        return np.stack([red, np.ones_like(red), 1 / red], axis=-1).astype(np.float32)

    def _along(self, x: np.ndarray, y: np.ndarray, view: View) -> np.ndarray:
        """Return how far scene points lie along the direction: -1 to 1 over the photo's longer side."""
        half = max(view.width, view.height) / view.px_per_mm / 2
        turn = np.deg2rad(self.direction - view.rotation)
        return np.asarray(((x - view.aim[0]) * np.cos(turn) + (y - view.aim[1]) * np.sin(turn)) / half)


def _turn(axis: str, degrees: float) -> np.ndarray:
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    if axis == "z":
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def homography(view: View) -> np.ndarray:
    """Return the map from scene millimetres to photo pixels, shape (3, 3), last row the depth in mm."""
    focal = _FOCAL * view.width
    depth = focal / view.px_per_mm
    turned = (
        _turn("z", view.rotation)
        @ _turn("z", view.tilt_azimuth)
        @ _turn("x", view.tilt)
        @ _turn("z", -view.tilt_azimuth)
    )
    shift = np.array([0.0, 0.0, depth]) - turned[:, :2] @ np.array(view.aim)
    lens = np.array([[focal, 0.0, (view.width - 1) / 2], [0.0, focal, (view.height - 1) / 2], [0.0, 0.0, 1.0]])
    return np.asarray(lens @ np.column_stack([turned[:, 0], turned[:, 1], shift]))


def project(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Return points (..., 2) mapped by a homography."""
    points = np.asarray(points, dtype=float)
    mapped = np.concatenate([points, np.ones_like(points[..., :1])], axis=-1) @ matrix.T
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def _undistorted(view: View) -> tuple[np.ndarray, np.ndarray]:
    """Return where each photo pixel would lie under a lens without distortion: columns and rows."""
    px, py = np.arange(view.width)[None, :], np.arange(view.height)[:, None]
    if view.distortion == 0.0:
        return px, py
    cx, cy = (view.width - 1) / 2, (view.height - 1) / 2
    radius2 = ((px - cx) ** 2 + (py - cy) ** 2) / (cx**2 + cy**2)
    # Barrel distortion draws the corners in, so a corner shows what lies farther out.
    factor = 1.0 + view.distortion * radius2
    return cx + (px - cx) * factor, cy + (py - cy) * factor


def world_grid(view: View) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return scene x, y (mm) and the size of a pixel (mm) at every photo pixel, each (H, W) float32.

    The size is that across the direction of the tilt; along it a pixel covers more.
    """
    forward = homography(view)
    back = np.linalg.inv(forward)
    px, py = _undistorted(view)
    w = back[2, 0] * px + back[2, 1] * py + back[2, 2]
    x = (back[0, 0] * px + back[0, 1] * py + back[0, 2]) / w
    y = (back[1, 0] * px + back[1, 1] * py + back[1, 2]) / w
    depth = forward[2, 0] * x + forward[2, 1] * y + forward[2, 2]
    return x.astype(np.float32), y.astype(np.float32), (depth / (_FOCAL * view.width)).astype(np.float32)
