"""Rows to frozen objects, in a fixed number of queries however many boards there are."""

from __future__ import annotations

import gc
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from finishlab.board.records import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.difference import DeltaE
from finishlab.logbook.entities import KINDS, AnyRow, readable, record_in, subject_name
from finishlab.logbook.stored import (
    Change,
    Stored,
    StoredApproval,
    StoredBoard,
    StoredMeasurement,
    StoredPair,
    StoredSpot,
    field_from_dict,
    strip_from_dict,
)
from finishlab.logbook.tables import (
    ApprovalRow,
    BatchRow,
    BoardRow,
    ChangeRow,
    FloorSpotRow,
    MeasurementRow,
    PairRow,
    RecipeRow,
    TrialRow,
)
from finishlab.recipe.records import Approval
from finishlab.record import Light, Record

__all__ = [
    "change_of",
    "many_objects",
    "read_approvals",
    "read_boards",
    "read_history",
    "read_numbered",
    "read_part_measurements",
    "read_spots",
]


R = TypeVar("R", bound=Record)
Numbered = TypeVar("Numbered", RecipeRow, BatchRow, TrialRow)

_BRIEF: Final = (
    MeasurementRow.board_number,
    MeasurementRow.photo_sha256,
    MeasurementRow.result,
    MeasurementRow.light,
    MeasurementRow.strip_number,
    MeasurementRow.version,
    MeasurementRow.settings,
    MeasurementRow.created,
)
_FETCHED: Final = 500
"""Rows fetched at once where many are read."""


def read_numbered(
    session: Session,
    table: type[Numbered],
    record: type[R],
    *,
    number: int | None = None,
    removed: bool = False,
) -> list[Stored[R]]:
    """Read the recipes, cans or trials that were not removed, or with `removed` all: every one, or one."""
    shown: list[ColumnElement[bool]] = [] if removed else [table.removed.is_(None)]
    shown += [] if number is None else [table.number == number]
    found = session.scalars(select(table).where(*shown).order_by(table.number))
    return [
        Stored(subject_name(row), said, row.created, row.removed)
        for row, said in readable(_named, partial(record_in, record), found, strict=number is not None)
    ]


def _named(row: AnyRow) -> str:
    return f"{KINDS[type(row)].words} {subject_name(row)}"


def read_approvals(session: Session) -> list[StoredApproval]:
    """Read every standard there was, first to last."""
    rows = session.scalars(select(ApprovalRow).order_by(ApprovalRow.id))
    read = readable(lambda _: "the standard", partial(record_in, Approval), rows)
    return [StoredApproval(said, row.created, row.ended) for row, said in read]


def read_boards(
    session: Session, *, number: int | range | None = None, light: Light | None = None, brief: bool = False
) -> list[StoredBoard]:
    """Read the boards that were not removed: all, one, or those of a range of numbers; in three queries.

    With a `light`, only what was measured in it is given, and only boards of which there is something. `brief` leaves
    out where the strip lay and the fit's figures, which take longer to read than all the rest.
    """
    shown: list[ColumnElement[bool]] = [BoardRow.removed.is_(None)]
    if isinstance(number, range):
        shown.append(BoardRow.number.between(number[0], number[-1]))
    elif number is not None:
        shown.append(BoardRow.number == number)
    rows = session.scalars(select(BoardRow).where(*shown).order_by(BoardRow.number)).all()
    of_board = MeasurementRow.board_number == BoardRow.number
    measured = select(*(_BRIEF if brief else (MeasurementRow,))).join(BoardRow, of_board).where(*shown)
    paired = select(PairRow).join(BoardRow, PairRow.board_number == BoardRow.number).where(*shown)
    if light is not None:
        measured = measured.where(MeasurementRow.light == light)
        paired = paired.where(PairRow.light == light)
    measurements: dict[int | None, list[StoredMeasurement]] = defaultdict(list)
    ordered = measured.order_by(MeasurementRow.id)
    strict = isinstance(number, int)
    read: Callable[[Any], StoredMeasurement] = _brief_measurement if brief else _measurement
    found = session.execute(ordered, execution_options={"yield_per": _FETCHED}) if brief else session.scalars(ordered)
    for row, said in readable(_of_board, read, found, strict=strict):
        measurements[row.board_number].append(said)
    pairs: dict[int, list[StoredPair]] = defaultdict(list)
    for pair, paired_as in readable(_of_board, _pair, session.scalars(paired.order_by(PairRow.id)), strict=strict):
        pairs[pair.board_number].append(paired_as)
    return [
        StoredBoard(
            number=subject_name(row),
            record=record,
            measurements=tuple(measurements[row.number]),
            pairs=tuple(pairs[row.number]),
            created=row.created,
        )
        for row, record in readable(_named, partial(record_in, BoardRecord), rows, strict=strict)
        if light is None or measurements[row.number]
    ]


def _of_board(row: Any) -> str:  # noqa: ANN401 - a row of a board's colour or pair
    return f"board B{row.board_number}"


def read_spots(session: Session, *, number: int | None = None, light: Light | None = None) -> list[StoredSpot]:
    """Read the floor spots that were not removed: all, or one; in two queries. `light` as in `read_boards`."""
    shown: list[ColumnElement[bool]] = [FloorSpotRow.removed.is_(None)]
    if number is not None:
        shown.append(FloorSpotRow.number == number)
    rows = session.scalars(select(FloorSpotRow).where(*shown).order_by(FloorSpotRow.number)).all()
    owned = MeasurementRow.spot_number == FloorSpotRow.number
    measured = select(MeasurementRow).join(FloorSpotRow, owned).where(*shown)
    if light is not None:
        measured = measured.where(MeasurementRow.light == light)
    measurements: dict[int | None, list[StoredMeasurement]] = defaultdict(list)
    strict = number is not None
    found = session.scalars(measured.order_by(MeasurementRow.id))
    for each, said in readable(lambda row: f"floor spot F{row.spot_number}", _measurement, found, strict=strict):
        measurements[each.spot_number].append(said)
    return [
        StoredSpot(
            number=subject_name(row),
            record=record,
            measurements=tuple(measurements[row.number]),
            created=row.created,
        )
        for row, record in readable(_named, partial(record_in, FloorSpotRecord), rows, strict=strict)
        if light is None or measurements[row.number]
    ]


def read_part_measurements(session: Session, ident: int) -> tuple[StoredMeasurement, ...]:
    """Read all that was measured of a part of the stair."""
    mine = (
        select(MeasurementRow)
        .where(MeasurementRow.part_id == ident)
        .order_by(MeasurementRow.created, MeasurementRow.id)
    )
    return tuple(said for _, said in readable(lambda _: "the stair", _measurement, session.scalars(mine)))


def read_history(session: Session, subject: str | None, *, last: int | None = None) -> tuple[Change, ...]:
    """Read what was done to a subject, or to all, first to last; with `last`, what so many of the newest writes did."""
    mine = [] if subject is None else [ChangeRow.subject == subject]
    if last is not None:
        newest = select(ChangeRow.made).where(*mine).group_by(ChangeRow.made).order_by(func.max(ChangeRow.id).desc())
        mine.append(ChangeRow.made.in_(newest.limit(last)))
    found = session.scalars(select(ChangeRow).where(*mine).order_by(ChangeRow.id))
    return tuple(change for _, change in readable(lambda row: f"the history of {row.subject}", change_of, found))


def change_of(row: ChangeRow) -> Change:
    """Return the entry of the history a row holds."""
    return Change(row.made, row.who, row.what, row.before, row.after, row.subject, row.id)


def _measurement(row: MeasurementRow) -> StoredMeasurement:
    return StoredMeasurement(
        photo=row.photo_sha256,
        field=field_from_dict(row.result),
        light=row.light,
        strip_number=row.strip_number,
        strip=None if row.strip_reading is None else strip_from_dict(row.strip_reading),
        version=row.version,
        settings=row.settings,
        correction=row.correction,
        created=row.created,
    )


def _brief_measurement(row: Any) -> StoredMeasurement:  # noqa: ANN401 - a row of the columns of `_BRIEF`
    return StoredMeasurement(
        photo=row.photo_sha256,
        field=field_from_dict(row.result),
        light=row.light,
        strip_number=row.strip_number,
        strip=None,
        version=row.version,
        settings=row.settings,
        correction={},
        created=row.created,
    )


def _pair(row: PairRow) -> StoredPair:
    return StoredPair(
        photo=row.photo_sha256,
        board=field_from_dict(row.board_result),
        floor=field_from_dict(row.floor_result),
        delta_e00=DeltaE(row.de00_value, row.de00_low, row.de00_high),
        light=row.light,
        created=row.created,
    )


@contextmanager
def many_objects() -> Iterator[None]:
    """Put off Python's search for cycles while thousands of objects are made, none of which is a cycle.

    The search runs again and again over all that was made so far and takes longer than making it: reading 10,000 boards
    takes half the time without it.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()
