"""What must be so of rows that were put back: whatever they name is there, and nothing has taken their place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.kinds import AnyRow, read_record
from finishlab.logbook.many import batches
from finishlab.logbook.recipes import check_recipe_name
from finishlab.logbook.subjects import check_named, check_unused
from finishlab.logbook.tables import (
    BoardRow,
    FlightRow,
    FloorSpotRow,
    LastingRow,
    MeasurementRow,
    PartEventRow,
    PartRow,
    RecipeRow,
)
from finishlab.stair.names import level_title
from finishlab.stair.reading import part_code, part_name, part_record, stair_levels
from finishlab.stair.store import check_events

__all__ = ["check_put_back", "is_shown", "record_of"]

_MEASURED: Final = (
    ("board", BoardRow, "board_number"),
    ("spot", FloorSpotRow, "spot_number"),
    ("part", None, "part_id"),
)
"""What is measured: its kind, the table whose rows come back with their photos, and the column that names it."""


def is_shown(row: LastingRow) -> bool:
    """Return whether a row holds: not if it was removed, or ended when another took its place."""
    return getattr(row, "removed", None) is None and getattr(row, "ended", None) is None


def record_of(row: LastingRow) -> Any:  # noqa: ANN401 - a record of any kind
    """Return what a numbered row says that is shown; None of others."""
    return read_record(row) if isinstance(row, AnyRow) and is_shown(row) else None


def check_put_back(session: Session, put_back: Sequence[tuple[LastingRow, Any]]) -> None:
    """Check rows as they stand now, many of a kind at once.

    Parameters
    ----------
    session, put_back
        The rows, in their transaction, each with what `record_of` said of it before.

    Raises
    ------
    LogbookError
        ``"photo-logged-twice"``, ``"recipe-in-use"``, ``"recipe-name-taken"``, ``"unknown-recipe"``, ``"unknown-can"``,
        ``"unknown-flight"``, ``"unknown-part"``, ``"part-there"``, ``"coat-logged-twice"``.
    """
    for row, _ in put_back:
        if isinstance(row, RecipeRow) and not is_shown(row):
            check_unused(session, row)
    shown = [(row, before) for row, before in put_back if is_shown(row)]
    _check_named(session, [(row, before) for row, before in shown if isinstance(row, AnyRow)])
    for subject, table, column in _MEASURED:
        back = {row.number for row, before in shown if isinstance(row, table) and before is None} if table else set()
        back |= {getattr(row, column) for row, _ in shown if isinstance(row, MeasurementRow)} - {None}
        rows.refuse_elsewhere(session, subject, sorted(back))
    _check_parts(session, [row for row, _ in shown if isinstance(row, PartRow)])
    _check_events(session, [row for row, _ in shown if isinstance(row, PartEventRow)])


def _check_named(session: Session, put_back: Iterable[tuple[AnyRow, Any]]) -> None:
    """See that recipes and cans that came to be named are there, and that names of recipes are free."""
    named = {}
    for row, before in put_back:
        if isinstance(row, RecipeRow):
            check_recipe_name(session, row.name, row.number)
        record = read_record(row)
        finish = getattr(record, "finish", None)
        cans = () if finish is None else tuple(finish.cans())
        named[getattr(record, "recipe_number", None), cans, before is None] = record, before
    for record, before in named.values():
        check_named(session, record, before)


def _check_parts(session: Session, back: Sequence[PartRow]) -> None:
    """See that the parts' flights are there, and no other part is called as one of them."""
    if not back:
        return
    named = stair_levels(session)
    gone = set(session.scalars(select(FlightRow.number).where(FlightRow.removed.is_not(None))))
    for row in back:
        if row.flight_number in gone:
            level = level_title(named[row.flight_number])
            raise LogbookError(
                "unknown-flight",
                f"The {level} of this part was removed.",
                f'Bring that back first: finishlab undo "{level}"',
            )
    shown = session.scalars(select(PartRow).where(PartRow.removed.is_(None)))
    met = Counter(part_name(part_record(row), named) for row in shown)
    for name in (part_name(part_record(row), named) for row in back):
        if met[name] > 1:
            raise LogbookError(
                "part-there", f"The stair has another part {name.words(with_level=True)} now.", "Remove that first."
            )


def _check_events(session: Session, back: Sequence[PartEventRow]) -> None:
    """See that what was done was done to parts that are there, each coat once."""
    for some in batches({row.part_id for row in back}):
        gone = session.scalars(select(PartRow).where(PartRow.id.in_(some), PartRow.removed.is_not(None))).first()
        if gone is not None:
            level = level_title(stair_levels(session)[gone.flight_number])
            raise LogbookError(
                "unknown-part",
                f"{part_code(session, gone.id)} was removed.",
                f'Bring it back first, or its flight: finishlab redo "{level}"',
            )
    check_events(session, back)
