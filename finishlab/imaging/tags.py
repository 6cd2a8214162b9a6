"""The open tag family that marks the strip: ArUco 5x5 with 250 members, made and found by OpenCV.

Family: S. Garrido-Jurado et al., Generation of fiducial marker dictionaries using Mixed Integer Linear Programming,
Pattern Recognition 51 (2016) 481-491.
"""

from __future__ import annotations

import numpy as np

from finishlab.imaging.opencv import cv2

__all__ = ["MODULES", "detect_tags", "tag_modules"]

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
