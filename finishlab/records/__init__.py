"""What people write down: floor spots, test boards and the photos they were measured in.

Records hold words and dates, no colours. They are checked and tidied when built, so that whatever reaches the logbook
is clean: white space collapsed, empty text turned to None, lights spelt one way. A field added here needs a column
of the same name and a migration in the logbook, and nothing else there.
"""

from __future__ import annotations

from finishlab.records.boards import MAX_COATS, PURPOSES, BoardRecord, Purpose
from finishlab.records.floor import SURFACES, FloorSpotRecord, Surface
from finishlab.records.photos import PhotoRecord
from finishlab.records.tidy import DAYLIGHT, LONG_TEXT, SHORT_TEXT, Light, normalise_light, parse_date, today

__all__ = [
    "DAYLIGHT",
    "LONG_TEXT",
    "MAX_COATS",
    "PURPOSES",
    "SHORT_TEXT",
    "SURFACES",
    "BoardRecord",
    "FloorSpotRecord",
    "Light",
    "PhotoRecord",
    "Purpose",
    "Surface",
    "normalise_light",
    "parse_date",
    "today",
]
