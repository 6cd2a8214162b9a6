"""The logbook: what was measured, when, in which photo, and every change since; names are loaded when they are used."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from finishlab.logbook.calibration import StoredGreys
    from finishlab.logbook.history import Undone
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import (
        Change,
        DirectPair,
        StoredBoard,
        StoredCan,
        StoredMeasurement,
        StoredPair,
        StoredRecipe,
        StoredSpot,
        StoredStandard,
        StoredTrial,
    )

__all__ = [
    "Change",
    "DirectPair",
    "Logbook",
    "StoredBoard",
    "StoredCan",
    "StoredGreys",
    "StoredMeasurement",
    "StoredPair",
    "StoredRecipe",
    "StoredSpot",
    "StoredStandard",
    "StoredTrial",
    "Undone",
]

# A subject's own store (`finishlab.stair.store`) builds on modules in here, and `Logbook` on it: loading them only when
# they are used lets either be imported first.
_ELSEWHERE: Final = {
    "Logbook": "store",
    "StoredGreys": "calibration",
    "Undone": "history",
}
"""Name -> the module it is in, where that is not `finishlab.logbook.stored`."""


if not TYPE_CHECKING:  # a type checker would take any name for one that is there

    def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever is asked for
        """Load a name when it is used."""
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        return getattr(importlib.import_module(f"{__name__}.{_ELSEWHERE.get(name, 'stored')}"), name)
