"""Lines and words on a picture, made to show on any ground and without colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from finishlab.imaging.opencv import cv2

__all__ = ["BLACK", "WHITE", "Ink", "cross", "dashed", "line", "text_size", "wrapped", "write"]

Ink = tuple[int, int, int]
"""8 bit sRGB."""

WHITE: Final[Ink] = (255, 255, 255)
BLACK: Final[Ink] = (0, 0, 0)
_FONT: Final = cv2.FONT_HERSHEY_SIMPLEX
_UNTIL_ASCII: Final = str.maketrans({"±": "+-", "Δ": "d", "°": " deg"})


def _plain(text: str) -> str:
    """Return a text in the letters that the font has."""
    return text.translate(_UNTIL_ASCII).encode("ascii", "replace").decode("ascii")


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
