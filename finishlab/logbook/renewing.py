"""Logged photos measured again: the new figures take the old ones' place, and the old ones go into the history."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.imaging.strip import FieldName
from finishlab.logbook import writing as rows
from finishlab.logbook.stored import DirectPair
from finishlab.logbook.subjects import find, subject_name
from finishlab.logbook.tables import (
    Base,
    BoardRow,
    FloorSpotRow,
    MeasurementRow,
    PairRow,
    PartEventRow,
    PartRow,
)
from finishlab.measure import Measurement
from finishlab.stair.reading import part_code

__all__ = ["RenewShelf", "swap_figures"]

Figures = TypeVar("Figures", MeasurementRow, PairRow)
_MEASURED: Final = (
    "photo_sha256", "field", "result", "strip_number", "strip_reading", "correction", "settings", "version",
)  # fmt: skip
_OWNERS: Final[Mapping[type[Base], str]] = {
    BoardRow: "board_number",
    FloorSpotRow: "spot_number",
    PartRow: "part_id",
}
_PAIRED: Final = ("photo_sha256", "board_result", "floor_result", "de00_value", "de00_low", "de00_high")


class RenewShelf:
    """The part of a logbook that renews measurements; `finishlab.logbook.store.Logbook` is one."""

    _who: str

    def _write(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def renew_measurements(self, number: str, measurements: Sequence[Measurement]) -> None:
        """Put new measurements of a board's or spot's logged photos in the place of the old ones.

        Direct pairs that were logged are renewed with them. Light, photos and order stay; the old figures stand in the
        history, whole.

        Raises
        ------
        LogbookError
            ``"unknown-board"``, ``"unknown-spot"``, or ``"photo-not-logged"`` if a photo is not one of the subject's;
            nothing is renewed then.
        """
        table: type[BoardRow | FloorSpotRow] = FloorSpotRow if number.strip()[:1].upper() == "F" else BoardRow
        with self._write() as session:
            row = find(session, table, number, lock=True)
            before: dict[str, Any] = {"measurements": [], "pairs": []}
            board = isinstance(row, BoardRow)
            owner = MeasurementRow.board_number if board else MeasurementRow.spot_number
            for measurement in measurements:
                logged = _find_logged(session, owner == row.number, measurement, subject_name(row))
                _renew(session, logged, measurement, "board" if board else "floor", before)
                _renew_pair(session, row, measurement, before)
            after = {"photos": [each["photo_sha256"] for each in before["measurements"]]}
            rows.note_change(session, self._who, "remeasure", subject_name(row), before=before, after=after)

    def renew_part_measurements(self, ident: int, measurements: Sequence[Measurement]) -> None:
        """Put new measurements of a stair part's logged photos in the place of the old ones; as `renew_measurements`.

        Raises
        ------
        LogbookError
            ``"photo-not-logged"``; nothing is renewed then.
        """
        with self._write() as session:
            code = part_code(session, ident)
            before: dict[str, Any] = {"part": ident, "events": [], "measurements": []}
            for measurement in measurements:
                logged = _find_logged(session, MeasurementRow.part_id == ident, measurement, code)
                # By their moment a measurement and its event know each other: it stays.
                made = logged.created
                _renew(session, logged, measurement, "board", before)
                logged.created = made
                before["events"] += [n for n in _events_at(session, ident, made) if n not in before["events"]]
            after = {"part": ident, "photos": [each["photo_sha256"] for each in before["measurements"]]}
            rows.note_change(session, self._who, "remeasure", code, before=before, after=after)


def _events_at(session: Session, ident: int, made: dt.datetime) -> Sequence[int]:
    mine = (PartEventRow.part_id == ident, PartEventRow.created == made)
    return session.scalars(select(PartEventRow.id).where(*mine)).all()


def _find_logged(session: Session, owned: ColumnElement[bool], measurement: Measurement, name: str) -> MeasurementRow:
    photo = rows.find_photo(session, measurement.photo_id)
    logged = None
    if photo is not None:
        wanted = select(MeasurementRow).where(owned, MeasurementRow.photo_sha256 == photo.sha256)
        logged = session.scalars(wanted).first()
    if logged is None:
        raise LogbookError(
            "photo-not-logged", f"The photo {measurement.photo_id} is not logged for {name}.", "Add it instead."
        )
    return logged


def _renew(
    session: Session, logged: MeasurementRow, measurement: Measurement, wanted: FieldName, before: dict[str, Any]
) -> None:
    before["measurements"].append({name: getattr(logged, name) for name in _MEASURED})
    for name, value in rows.measured_values(session, measurement, wanted).items():
        setattr(logged, name, value)
    session.flush()


def _renew_pair(
    session: Session, row: BoardRow | FloorSpotRow, measurement: Measurement, before: dict[str, Any]
) -> None:
    pair = DirectPair.of(measurement) if isinstance(row, BoardRow) else None
    if pair is None:
        return
    photo = before["measurements"][-1]["photo_sha256"]
    wanted = select(PairRow).where(PairRow.board_number == row.number, PairRow.photo_sha256 == photo)
    logged = session.scalars(wanted).first()
    if logged is None:
        return
    before["pairs"].append({name: getattr(logged, name) for name in _PAIRED})
    for name, value in rows.paired_values(pair).items():
        setattr(logged, name, value)
    session.flush()


def swap_figures(
    session: Session, table: type[BoardRow | FloorSpotRow | PartRow], number: int, figures: Mapping[str, Any]
) -> dict[str, Any]:
    """Put figures from the history in the place of those that stand; return those that stood, in the same form.

    Raises
    ------
    LogbookError
        ``"photo-not-logged"`` if a photo was taken out since.
    """
    stood: dict[str, Any] = {"measurements": [], "pairs": []}
    owner = _OWNERS[table]
    for values in figures.get("measurements") or ():
        logged = _logged(session, MeasurementRow, owner, number, values["photo_sha256"])
        stood["measurements"].append({name: getattr(logged, name) for name in _MEASURED})
        lab = values["result"]["estimate"]["lab"]
        for name, value in (values | dict(zip(("lab_l", "lab_a", "lab_b"), lab, strict=True))).items():
            setattr(logged, name, value)
    for values in figures.get("pairs") or ():
        pair = _logged(session, PairRow, "board_number", number, values["photo_sha256"])
        stood["pairs"].append({name: getattr(pair, name) for name in _PAIRED})
        for name, value in values.items():
            setattr(pair, name, value)
    session.flush()
    return stood


def _logged(session: Session, table: type[Figures], owner: str, number: int, photo: str) -> Figures:
    wanted = select(table).where(getattr(table, owner) == number, table.photo_sha256 == photo)
    logged = session.scalars(wanted).first()
    if logged is None:
        raise LogbookError(
            "photo-not-logged", f"The photo {photo[:16]} is no longer logged here.", "Add it again, then measure anew."
        )
    return logged
