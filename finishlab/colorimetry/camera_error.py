"""How far a camera that does not see as eyes do can be off, even with perfect greys: one documented place.

Found by simulation over cameras, lights and measured spectra: see docs/decisions/0005-camera-error.md.
"""

from __future__ import annotations

from typing import Final

import numpy as np

__all__ = ["PRINT_AGAINST_WOOD", "WOOD_AGAINST_WOOD"]

_PRINT_SHARE: Final = 0.8
_WOOD_SHARE: Final = 0.4
"""Share of the simulated covariances that is used: the simulated stains, inks and synthetic phones are harsher than the
published case, and the intervals are held against rendered scenes (docs/accuracy figures in the decision record)."""

PRINT_AGAINST_WOOD: Final = _PRINT_SHARE * np.array(
    [[0.037, -0.012, 0.075], [-0.012, 1.287, -0.885], [0.075, -0.885, 1.496]]
)
"""Covariance of the error of (L*, a*, b*) of a print relative to wood, shape (3, 3)."""

WOOD_AGAINST_WOOD: Final = _WOOD_SHARE * np.array(
    [[0.011, -0.023, 0.022], [-0.023, 0.299, -0.308], [0.022, -0.308, 0.568]]
)
"""Covariance of the error of the difference of two woods, shape (3, 3)."""

for _constant in (PRINT_AGAINST_WOOD, WOOD_AGAINST_WOOD):
    _constant.flags.writeable = False
