"""What people call by a letter and a number: boards, floor spots, recipes, cans, trials; a new kind is one entry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final, TypeVar, cast

from finishlab.logbook.tables import BatchRow, BoardRow, FloorSpotRow, RecipeRow, TrialRow
from finishlab.records import Batch, BoardRecord, FloorSpotRecord, Recipe
from finishlab.records.base import Record
from finishlab.records.numbers import Number
from finishlab.strip.records import TrialRecord

__all__ = ["KINDS", "AnyRow", "Kind", "read_record", "record_in", "subject_name"]

AnyRow = BoardRow | FloorSpotRow | RecipeRow | BatchRow | TrialRow
R = TypeVar("R", bound=Record)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of numbered thing."""

    letter: str
    """Before its number: ``"B"`` for B3."""
    subject: str
    """How codes of failures name it."""
    words: str
    command: str
    """Adds the first."""
    record: type[Record]


KINDS: Final[Mapping[Any, Kind]] = {
    BoardRow: Kind("B", "board", "board", "finishlab board add PHOTO ...", BoardRecord),
    FloorSpotRow: Kind("F", "spot", "floor spot", "finishlab floor add PHOTO ...", FloorSpotRecord),
    RecipeRow: Kind("R", "recipe", "recipe", "finishlab recipe add NAME ...", Recipe),
    BatchRow: Kind("C", "can", "can", "finishlab can add PRODUCT --kind KIND", Batch),
    TrialRow: Kind("H", "trial", "trial", "finishlab trial same PHOTO ...", TrialRecord),
}


def subject_name(row: AnyRow) -> Number:
    """Return the number people see, ``"B3"``, ``"F3"``, ``"R3"``, ``"C3"`` or ``"H3"``."""
    return Number.of(KINDS[type(row)].letter, row.number)


def record_in(kind: type[R], row: object) -> R:
    """Return the record a row holds, whose columns bear the names of its fields; raises what building it raises."""
    return kind.from_dict({each.name: getattr(row, each.name) for each in fields(cast("Any", kind))})


def read_record(row: AnyRow) -> Any:  # noqa: ANN401 - the record of its kind
    """Return the record a numbered row holds."""
    return record_in(KINDS[type(row)].record, row)
