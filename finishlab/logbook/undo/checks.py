"""What must be so of rows that were put back: whatever they name is there, and nothing has taken their place."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.recipes import check_recipe_name
from finishlab.logbook.stair.events import check_event, event_record, part_code
from finishlab.logbook.stair.reading import part_name, part_record
from finishlab.logbook.stair.shelf import stair_levels
from finishlab.logbook.subjects import AnyRow, check_named, check_unused, read_record
from finishlab.logbook.tables import (
    BoardRow,
    FlightRow,
    FloorSpotRow,
    LastingRow,
    MeasurementRow,
    PairRow,
    PartEventRow,
    PartRow,
    RecipeRow,
)
from finishlab.records.stair_names import level_title

__all__ = ["check_put_back", "is_shown", "record_of"]

_SUBJECTS: Final[Mapping[str, Literal["board", "spot", "part"]]] = {
    "board_number": "board",
    "spot_number": "spot",
    "part_id": "part",
}


def is_shown(row: LastingRow) -> bool:
    """Return whether a row holds: not if it was removed, or ended when another took its place."""
    return getattr(row, "removed", None) is None and getattr(row, "ended", None) is None


def record_of(row: LastingRow) -> Any:  # noqa: ANN401 - a record of any kind
    """Return what a numbered row says that is shown; None of others."""
    return read_record(row) if isinstance(row, AnyRow) and is_shown(row) else None


def check_put_back(session: Session, row: LastingRow, before: Any) -> None:  # noqa: ANN401 - a record of any kind
    """Check a row as it stands now.

    Parameters
    ----------
    session, row
        The row, in its transaction.
    before
        What `record_of` said of it before.

    Raises
    ------
    LogbookError
        ``"photo-logged-twice"``, ``"recipe-in-use"``, ``"recipe-name-taken"``, ``"unknown-recipe"``, ``"unknown-can"``,
        ``"unknown-flight"``, ``"unknown-part"``, ``"part-there"``, ``"coat-logged-twice"``.
    """
    if not is_shown(row):
        if isinstance(row, RecipeRow):
            check_unused(session, row)
        return
    if isinstance(row, AnyRow):
        _check_numbered(session, row, before)
    check = _CHECKS.get(type(row))
    if check is not None:
        check(session, row)


def _check_numbered(session: Session, row: AnyRow, before: Any) -> None:  # noqa: ANN401 - a record of any kind
    check_named(session, read_record(row), before)
    if isinstance(row, RecipeRow):
        check_recipe_name(session, row.name, row.number)
    if before is not None or not isinstance(row, BoardRow | FloorSpotRow):
        return
    owner = MeasurementRow.board_number if isinstance(row, BoardRow) else MeasurementRow.spot_number
    for measured in session.scalars(select(MeasurementRow).where(owner == row.number)):
        _check_photo(session, measured)


def _check_photo(session: Session, row: MeasurementRow | PairRow) -> None:
    """See that a photo was not logged elsewhere since."""
    column = next(name for name in _SUBJECTS if getattr(row, name, None) is not None)
    number = getattr(row, column)
    rows.refuse_twice(session, type(row), _SUBJECTS[column], number, row.photo_sha256, elsewhere_only=True)


def _check_part(session: Session, row: PartRow) -> None:
    record, named = part_record(row), stair_levels(session)
    level = level_title(named[record.flight_number])
    if session.get_one(FlightRow, record.flight_number).removed is not None:
        raise LogbookError(
            "unknown-flight",
            f"The {level} of this part was removed.",
            f'Bring that back first: finishlab undo "{level}"',
        )
    name = part_name(record, named)
    others = select(PartRow).where(PartRow.removed.is_(None), PartRow.id != row.id)
    others = others.where(PartRow.flight_number == row.flight_number, PartRow.kind == row.kind)
    if any(part_name(part_record(each), named) == name for each in session.scalars(others)):
        raise LogbookError(
            "part-there", f"The stair has another part {name.words(with_level=True)} now.", "Remove that first."
        )


def _check_event(session: Session, row: PartEventRow) -> None:
    part = session.get_one(PartRow, row.part_id)
    if part.removed is not None:
        level = level_title(stair_levels(session)[part.flight_number])
        raise LogbookError(
            "unknown-part",
            f"{part_code(session, part.id)} was removed.",
            f'Bring it back first, or its flight: finishlab redo "{level}"',
        )
    check_event(session, row.part_id, event_record(row), but=row.id)


_CHECKS: Final[Mapping[type[LastingRow], Callable[[Session, Any], None]]] = {
    MeasurementRow: _check_photo,
    PairRow: _check_photo,
    PartRow: _check_part,
    PartEventRow: _check_event,
}
