"""Choose a stair finish that goes well with a floor, from phone photos beside a printed grey strip.

The names below are all that a script needs; they are loaded when they are used.

>>> import finishlab
>>> found = finishlab.measure_photo("board.jpg", fields=("board", "floor"))     # doctest: +SKIP
>>> with finishlab.Logbook.open("stairs") as log:                               # doctest: +SKIP
...     ranking = finishlab.rank_boards(log)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

from finishlab.version import __version__

if TYPE_CHECKING:
    from finishlab.board import BoardRecord, FloorSpotRecord
    from finishlab.colorimetry.difference import DeltaE, SignedDifference
    from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
    from finishlab.errors import (
        ExitCode,
        FinishlabError,
        LogbookError,
        MissingLibraryError,
        NoStripError,
        OutputError,
        PhotoError,
        QualityError,
        UsageError,
    )
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import DirectPair, StoredBoard, StoredMeasurement, StoredPair, StoredSpot
    from finishlab.matching.aims import Aim
    from finishlab.matching.ranking import RankedBoard, Ranking
    from finishlab.matching.scatter import FloorPool
    from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect
    from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, Texture
    from finishlab.measuring import How, MeasureOptions, PhotoResult, measure_photo, measure_photos
    from finishlab.measuring.logged import log_board, log_board_photos, log_floor_spots
    from finishlab.quality import Doubt
    from finishlab.rank.comparing import Comparison, compare, rank_boards

__all__ = [
    "Aim",
    "BoardRecord",
    "Comparison",
    "DeltaE",
    "DirectPair",
    "Doubt",
    "ExitCode",
    "FieldMeasurement",
    "FinishlabError",
    "FloorPool",
    "FloorSpotRecord",
    "GreyArea",
    "How",
    "LabEstimate",
    "Logbook",
    "LogbookError",
    "MeasureOptions",
    "Measurement",
    "MissingLibraryError",
    "NoStripError",
    "OutputError",
    "PhotoError",
    "PhotoResult",
    "PixelPolygon",
    "PixelRect",
    "QualityError",
    "RankedBoard",
    "Ranking",
    "SharedEffect",
    "SignedDifference",
    "Spread",
    "StoredBoard",
    "StoredMeasurement",
    "StoredPair",
    "StoredSpot",
    "StripReading",
    "Texture",
    "UsageError",
    "__version__",
    "compare",
    "log_board",
    "log_board_photos",
    "log_floor_spots",
    "measure_photo",
    "measure_photos",
    "rank_boards",
]

_MODULES: Final[dict[str, tuple[str, ...]]] = {
    "colorimetry.difference": ("DeltaE", "SignedDifference"),
    "colorimetry.estimate": ("LabEstimate", "SharedEffect"),
    "errors": (
        "ExitCode",
        "FinishlabError",
        "LogbookError",
        "MissingLibraryError",
        "NoStripError",
        "OutputError",
        "PhotoError",
        "QualityError",
        "UsageError",
    ),
    "logbook.store": ("Logbook",),
    "logbook.stored": ("DirectPair", "StoredBoard", "StoredMeasurement", "StoredPair", "StoredSpot"),
    "matching.aims": ("Aim",),
    "matching.scatter": ("FloorPool",),
    "matching.ranking": ("RankedBoard", "Ranking"),
    "measure.areas": ("GreyArea", "PixelPolygon", "PixelRect"),
    "measure.results": ("FieldMeasurement", "Measurement", "Spread", "StripReading", "Texture"),
    "quality": ("Doubt",),
    "board": ("BoardRecord", "FloorSpotRecord"),
    "rank.comparing": ("Comparison", "compare", "rank_boards"),
    "measuring.logged": ("log_board", "log_board_photos", "log_floor_spots"),
    "measuring": ("How", "MeasureOptions", "PhotoResult", "measure_photo", "measure_photos"),
}
_HOME: Final = {name: module for module, names in _MODULES.items() for name in names}


if not TYPE_CHECKING:  # a type checker would take any name for one that is there

    def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever the name stands for
        if name not in _HOME:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        return getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
