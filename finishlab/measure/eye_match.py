"""Learn a print's greys from what an eye saw vanish: a row's lines are as light as the step that vanished in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.imaging.eye_page import EYE_ROWS
from finishlab.imaging.greys import StripGreys, axes_of, greys_of_logs
from finishlab.imaging.print_prior import usual_print
from finishlab.imaging.screens import GROWTH, SPREAD, screen_reflectance
from finishlab.imaging.strip import STRIP

__all__ = ["greys_seen"]

_EYE: Final = 1.5
"""Standard deviation of a match, L*: half a step, and the eye (common practice, no source)."""
_STEPS: Final = 8
_STEP: Final = 0.02


def greys_seen(seen: Mapping[int, float], *, number: int, learned: str = "", basis: tuple[str, ...] = ()) -> StripGreys:
    """Return the greys of a print by the steps that vanished on its second page.

    Parameters
    ----------
    seen
        Row (1, 2 ...) -> step, halves allowed.
    number, learned, basis
        See `StripGreys`.

    Raises
    ------
    ValueError
        If a row or step does not exist, none is named, or the greys do not come out rising.
    """
    if not seen or not all(1 <= row <= len(EYE_ROWS) for row in seen):
        raise ValueError(f"rows run from 1 to {len(EYE_ROWS)}")
    rows = [EYE_ROWS[row - 1] for row in seen]
    places = np.array([row.grey_at(step) for row, step in zip(rows, seen.values(), strict=True)])
    usual, departures = usual_print()
    terms = len(departures)

    def apart(theta: np.ndarray) -> np.ndarray:
        """Return by how much L* of each vanished step is above that of its lines."""
        greys = np.exp(usual + theta[:terms] @ departures)
        growth = GROWTH[0] + GROWTH[1] * theta[terms]
        spread = max(SPREAD[0] + SPREAD[1] * theta[terms + 1], 0.005)
        black = min(greys[0], 0.6 * greys[-1])
        lines = [screen_reflectance(row.screen, greys[-1], black, growth, spread) for row in rows]
        ladder = np.interp(places, STRIP.greys, lightness_of_reflectance(greys))
        return np.asarray(ladder - lightness_of_reflectance(np.array(lines)))

    theta = np.zeros(terms + 2)
    for _ in range(_STEPS):
        steps = _STEP * np.eye(theta.size)
        slope = np.stack([(apart(theta + s) - apart(theta - s)) / (2 * _STEP) for s in steps], axis=1)
        covariance = np.linalg.inv(slope.T @ slope / _EYE**2 + np.eye(theta.size))
        theta = covariance @ (slope.T @ (slope @ theta - apart(theta))) / _EYE**2
    left = departures.T @ covariance[:terms, :terms] @ departures
    found = usual + theta[:terms] @ departures
    return greys_of_logs(found, axes_of(left), "seen", number=number, learned=learned, basis=basis)
