"""What changed, collected in one place: an image of every row a writing session adds, changes or takes out.

The images that came together since the last entry of the history belong to the next one, see
`finishlab.logbook.writing.note_change`; `undo` puts them back, and archives tell by them who knows more of a thing.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from typing import Any, Final

from sqlalchemy import event, inspect, select
from sqlalchemy.orm import ORMExecuteState, Session, UOWTransaction

from finishlab.logbook.columns import plain_value
from finishlab.logbook.tables import Base, ChangeRow, ImageRow, LastingRow, PartEventRow

__all__ = ["HOLDERS", "LASTING", "OWNERS", "WritingSession", "taken_images", "thing_of"]

LASTING: Final[Mapping[str, type[LastingRow]]] = {
    mapper.class_.__tablename__: mapper.class_
    for mapper in Base.registry.mappers
    if issubclass(mapper.class_, LastingRow) and mapper.class_ is not ChangeRow
}
"""Tables whose rows can be put back, by name."""
OWNERS: Final[Mapping[str, str]] = {"board_number": "boards", "spot_number": "floor_spots", "part_id": "parts"}
"""Columns that name what was measured -> its table."""
HOLDERS: Final[Mapping[str, tuple[str, ...]]] = {
    "approvals": (),
    "strip_greys": ("strip_number",),
    "camera_profiles": ("camera", "light"),
}
"""Tables of which one row holds at a time, for all that agree in these columns: together they are one thing."""
_NAMES: Final = uuid.UUID("4d1f0c52-7f0e-5c8e-9b0a-6d2f0a6f4b11")
_PENDING: Final = "images"
Pending = dict[tuple[str, str], tuple[ImageRow, dict[str, Any]]]
"""Table and name of a row -> its image, and what it held when it was first met."""


class WritingSession(Session):
    """A session whose changes are noted."""


def thing_of(
    table: str,
    row: Mapping[str, Any],
    named: Callable[[str, Any], str | None],
    event_at: Callable[[int, Any], str | None],
) -> str:
    """Return the name of what a row belongs to.

    Parameters
    ----------
    table, row
        The row's table and its values by column.
    named
        Returns the name of a row of another table by its key.
    event_at
        Returns the name of the event of a part at a moment: by these a part's measurement knows its event.
    """
    if table in HOLDERS:
        return str(uuid.uuid5(_NAMES, "/".join([table, *(str(row[column]) for column in HOLDERS[table])])))
    found = None
    if table in {"measurements", "pairs"}:
        column = next(name for name in OWNERS if row.get(name) is not None)
        found = event_at(row[column], row["created"]) if column == "part_id" else None
        found = found or named(OWNERS[column], row[column])
    return str(found or row["uuid"])


def taken_images(session: Session, change: ChangeRow, row: LastingRow | None = None) -> list[ImageRow]:
    """Return the images of what was flushed since they were taken last, or of one row, as those of a change."""
    pending: Pending = session.info.setdefault(_PENDING, {})
    keys = list(pending) if row is None else [(row.__tablename__, row.uuid)]
    images = []
    for image, values in (pending.pop(key) for key in keys):
        if image.before is None or image.before != image.after:
            image.change, image.thing = change, _thing(session, image.table_name, values)
            images.append(image)
    return images


@event.listens_for(WritingSession, "before_flush")
def _note_rows(session: Session, _context: UOWTransaction, _instances: object) -> None:
    pending: Pending = session.info.setdefault(_PENDING, {})
    for row in (*session.new, *session.dirty):
        if isinstance(row, LastingRow):
            row.uuid = row.uuid or _new_name(session, row)
            _note(pending, row, *((None, {}) if row in session.new else _moved(row)))
    for row in session.deleted:
        if isinstance(row, LastingRow):
            _note(pending, row, _values(row), None)


@event.listens_for(WritingSession, "do_orm_execute")
def _refuse_unseen(state: ORMExecuteState) -> None:
    """See that no row is changed by a statement, of which a flush knows nothing."""
    mapper = state.bind_mapper if state.is_update or state.is_delete else None
    if mapper is not None and issubclass(mapper.class_, LastingRow):
        raise RuntimeError(f"rows of {mapper.class_.__tablename__} are changed one by one, so that each has its image")


@event.listens_for(WritingSession, "before_commit")
def _refuse_unsaid(session: Session) -> None:
    """See that nothing is changed without an entry in the history."""
    if session.in_nested_transaction():
        return
    session.flush()
    if session.info.get(_PENDING):
        tables = sorted({table for table, _ in session.info[_PENDING]})
        raise RuntimeError(f"changed without an entry in the history: {', '.join(tables)}")


def _note(pending: Pending, row: LastingRow, before: dict[str, Any] | None, after: dict[str, Any] | None) -> None:
    key = (row.__tablename__, row.uuid)
    if isinstance(row, ChangeRow) or before == after:
        return
    if key not in pending:
        values = {column.key: getattr(row, column.key) for column in row.__table__.columns}
        pending[key] = ImageRow(table_name=key[0], row_uuid=key[1], before=before, after=after), values
        return
    held = pending[key][0]
    if held.before is not None and before is not None:
        held.before, held.after = before | held.before, None if after is None else (held.after or {}) | after
    elif after is None:
        del pending[key]  # it was added a moment ago


def _moved(row: LastingRow) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the changed columns' values, before and after."""
    before: dict[str, Any] = {}
    after: dict[str, Any] = {}
    for name in _columns(row):
        moved = inspect(row).attrs[name].history
        if moved.added and moved.deleted:
            before[name], after[name] = plain_value(moved.deleted[0]), plain_value(moved.added[0])
    return before, after


def _values(row: LastingRow) -> dict[str, Any]:
    return {name: plain_value(getattr(row, name)) for name in _columns(row)}


def _columns(row: LastingRow) -> list[str]:
    return [column.key for column in row.__table__.columns if not column.primary_key and column.key != "uuid"]


def _new_name(session: Session, row: LastingRow) -> str:
    """Return a name that no other row has; what was measured in a photo of one thing is called the same everywhere."""
    for column, table in OWNERS.items():
        owner = getattr(row, column, None)
        if row.__tablename__ in {"measurements", "pairs"} and owner is not None:
            name = _named(session, table, owner)
            return str(uuid.uuid5(uuid.UUID(name), f"{row.__tablename__}/{row.photo_sha256}"))  # type: ignore[attr-defined]  # both have it
    return str(uuid.uuid4())


def _thing(session: Session, table: str, values: Mapping[str, Any]) -> str:
    def event_at(part: int, moment: Any) -> str | None:  # noqa: ANN401 - a moment
        asked = select(PartEventRow.uuid).where(PartEventRow.part_id == part, PartEventRow.created == moment)
        return session.scalars(asked.limit(1)).first()

    return thing_of(table, values, lambda other, key: _named(session, other, key), event_at)


def _named(session: Session, table: str, key: object) -> str:
    """Return the name of a row by its key."""
    return session.get_one(LASTING[table], key).uuid
