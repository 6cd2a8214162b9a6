"""Images of rows put back: what was added is hidden, what was taken out is there again, the rest is as it was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any, Final, Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook.columns import plain_value, row_values
from finishlab.logbook.images import LASTING
from finishlab.logbook.many import batches
from finishlab.logbook.tables import ImageRow, LastingRow
from finishlab.logbook.undo.checks import check_put_back, record_of
from finishlab.logbook.writing import now

__all__ = ["PuttingBack"]

_HIDING: Final = frozenset({"boards", "floor_spots"})
"""Tables whose rows, hidden, hide what was measured of them."""


class PuttingBack:
    """The images of some entries of the history, and the rows they are about, in a few queries however many."""

    def __init__(self, session: Session, changes: Sequence[int]) -> None:
        self._session = session
        self._images: dict[int, list[ImageRow]] = defaultdict(list)
        self._rows: dict[tuple[str, str], LastingRow] = {}
        self._before: dict[tuple[str, str], tuple[LastingRow, Any]] = {}
        wanted: dict[str, set[str]] = defaultdict(set)
        for some in batches(changes):
            asked = select(ImageRow).where(ImageRow.change_id.in_(some)).order_by(ImageRow.id.desc())
            for image in session.scalars(asked):
                self._images[image.change_id].append(image)
                wanted[image.table_name].add(image.row_uuid)
        for table, names in wanted.items():
            for some_names in batches(sorted(names)):
                of = LASTING[table]
                for row in session.scalars(select(of).where(of.uuid.in_(some_names))):
                    self._rows[table, row.uuid] = row

    def known(self, change: int) -> Literal["values", "nothing", "no values"]:
        """Return what the logbook has of a change: values of rows, no row, or only that rows were changed."""
        images = self._images[change]
        kept = all(image.before is not None or image.after is not None for image in images)
        return "no values" if not kept else "values" if images else "nothing"

    def put_back(self, change: int, subject: str) -> None:
        """Give the rows of a change what they held before, the last changed first.

        Raises
        ------
        LogbookError
            ``"cannot-undo"`` if one does not stand as the change left it.
        """
        images = self._images[change]
        # With a board that was added its measurements are hidden too, and stay.
        hidden = {each.row_uuid for each in images if each.before is None and each.table_name in _HIDING}
        for image in images:
            if image.before is None and image.thing in hidden and image.row_uuid != image.thing:
                continue
            row = self._row(image, subject)
            self._before.setdefault((image.table_name, image.row_uuid), (row, record_of(row)))
            if image.after is None:
                self._session.add(row)
            elif image.before is None:
                _hide(self._session, row)
            else:
                _restore(row, image, subject)
        self._session.flush()

    def rows(self) -> Iterable[LastingRow]:
        """Return the rows that were put back so far."""
        return [row for row, _ in self._before.values()]

    def check(self) -> None:
        """Check the rows as they stand now; errors as in `finishlab.logbook.undo.checks.check_put_back`."""
        check_put_back(self._session, [each for each in self._before.values() if each[0] in self._session])

    def _row(self, image: ImageRow, subject: str) -> LastingRow:
        key = image.table_name, image.row_uuid
        row = self._rows.get(key)
        if (row is None) != (image.after is None):
            raise _in_the_way(subject)
        if row is None:
            of = LASTING[image.table_name]
            values = row_values(of.metadata.tables[image.table_name], image.before or {})
            row = self._rows[key] = of(uuid=image.row_uuid, **values)
        return row


def _hide(session: Session, row: LastingRow) -> None:
    """Show a row no longer; what has no moment of its removal is taken out."""
    column = next((name for name in ("removed", "ended") if hasattr(row, name)), None)
    if column is None:
        session.delete(row)
    elif getattr(row, column) is None:
        setattr(row, column, now())


def _restore(row: LastingRow, image: ImageRow, subject: str) -> None:
    left, before = image.after or {}, image.before or {}
    if any(plain_value(getattr(row, name)) != value for name, value in left.items()):
        raise _in_the_way(subject)
    for name, value in row_values(row.metadata.tables[image.table_name], before).items():
        setattr(row, name, value)


def _in_the_way(subject: str) -> LogbookError:
    return LogbookError(
        "cannot-undo",
        f"Something since stands in the way: {subject} is not as that change left it.",
        f"Change it with its own command; see: finishlab history {subject}",
    )
