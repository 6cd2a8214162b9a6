"""What people write down: floor spots, test boards and their finish, recipes, cans, photo files.

Records hold words and dates, no colours. They are checked and tidied when built, so that whatever reaches the logbook
is clean: white space collapsed, empty text turned to None, lights spelt one way. A field added here needs a column
of the same name and a migration in the logbook, and nothing else there.
"""

from __future__ import annotations

from finishlab.finish.fields import MixPart
from finishlab.finish.finish import (
    SHEEN_GU,
    STEP_KINDS,
    TOPCOAT_KINDS,
    ColourStep,
    Finish,
    Looking,
    Preparation,
    Seal,
    Topcoat,
)
from finishlab.recipe.records import CAN_KINDS, Approval, Can, Label, Recipe
from finishlab.record import DAYLIGHT, LONG_TEXT, SHORT_TEXT, Light, normalise_light, parse_date, today
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
    "CAN_KINDS",
    "CLEAR_ONLY",
    "DAYLIGHT",
    "FINISHED_STATES",
    "LONG_TEXT",
    "MAX_COATS",
    "PURPOSES",
    "SHEEN_GU",
    "SHORT_TEXT",
    "STATES",
    "STEP_KINDS",
    "SURFACES",
    "TOPCOAT_KINDS",
    "Approval",
    "BoardRecord",
    "Can",
    "ColourStep",
    "Finish",
    "FloorSpotRecord",
    "Label",
    "Light",
    "Looking",
    "MixPart",
    "PhotoRecord",
    "Preparation",
    "Purpose",
    "Recipe",
    "Seal",
    "State",
    "Surface",
    "Topcoat",
    "normalise_light",
    "parse_date",
    "today",
]
