"""The logbook: what was measured, when, in which photo, and every change since."""

from __future__ import annotations

from finishlab.logbook.looks import LoggedBoard, LoggedBoards, LoggedLook, LoggedPair
from finishlab.logbook.stair.stored import StoredColour, StoredEvent, StoredFlight, StoredPart, StoredStair
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import (
    Change,
    DirectPair,
    StoredApproval,
    StoredBoard,
    StoredCan,
    StoredMeasurement,
    StoredPair,
    StoredRecipe,
    StoredSpot,
    StoredTrial,
)
from finishlab.logbook.strips import StoredGreys
from finishlab.logbook.undo.shelf import Undone

__all__ = [
    "Change",
    "DirectPair",
    "Logbook",
    "LoggedBoard",
    "LoggedBoards",
    "LoggedLook",
    "LoggedPair",
    "StoredApproval",
    "StoredBoard",
    "StoredCan",
    "StoredColour",
    "StoredEvent",
    "StoredFlight",
    "StoredGreys",
    "StoredMeasurement",
    "StoredPair",
    "StoredPart",
    "StoredRecipe",
    "StoredSpot",
    "StoredStair",
    "StoredTrial",
    "Undone",
]
