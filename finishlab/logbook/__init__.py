"""The logbook: what was measured, when, in which photo, and every change since."""

from __future__ import annotations

from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import Change, DirectPair, StoredBoard, StoredMeasurement, StoredPair, StoredSpot
from finishlab.logbook.strips import StoredGreys

__all__ = [
    "Change",
    "DirectPair",
    "Logbook",
    "StoredBoard",
    "StoredGreys",
    "StoredMeasurement",
    "StoredPair",
    "StoredSpot",
]
