"""What people write down of floor spots, test boards and photo files.

Records hold words and dates, no colours. They are checked and tidied when built, so that whatever reaches the logbook
is clean: white space collapsed, empty text turned to None, lights spelt one way. A field added here needs a column
of the same name and a migration in the logbook, and nothing else there.
"""

from __future__ import annotations

from finishlab.records.boards import (
    CLEAR_ONLY,
    FINISHED_STATES,
    MAX_COATS,
    PURPOSES,
    STATES,
    BoardRecord,
    Purpose,
    State,
)
from finishlab.records.floor import SURFACES, FloorSpotRecord, Surface
from finishlab.records.photos import PhotoRecord

__all__ = [
    "CLEAR_ONLY",
    "FINISHED_STATES",
    "MAX_COATS",
    "PURPOSES",
    "STATES",
    "SURFACES",
    "BoardRecord",
    "FloorSpotRecord",
    "PhotoRecord",
    "Purpose",
    "State",
    "Surface",
]
