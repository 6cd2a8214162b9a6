"""Logged photos measured again: the new figures take the old ones' place; the images of the rows keep the old ones."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.kinds import subject_name
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.stored import DirectPair
from finishlab.logbook.subjects import find
from finishlab.logbook.tables import BoardRow, FloorSpotRow, MeasurementRow, PairRow, PartEventRow
from finishlab.measure import Measurement
from finishlab.stair.reading import part_code

__all__ = ["RenewShelf"]


class RenewShelf(Shelf):
    """The part of a logbook that renews measurements; `finishlab.logbook.store.Logbook` is one."""

    def renew_measurements(self, number: str, measurements: Sequence[Measurement]) -> None:
        """Put new measurements of a board's or spot's logged photos in the place of the old ones.

        Direct pairs that were logged are renewed with them. Light, photos and order stay; the old figures stand in the
        history's images of their rows.

        Raises
        ------
        LogbookError
            ``"unknown-board"``, ``"unknown-spot"``, or ``"photo-not-logged"`` if a photo is not one of the subject's;
            nothing is renewed then.
        """
        table: type[BoardRow | FloorSpotRow] = FloorSpotRow if number.strip()[:1].upper() == "F" else BoardRow
        with self._write() as session:
            row = find(session, table, number, lock=True)
            board = isinstance(row, BoardRow)
            owner = MeasurementRow.board_number if board else MeasurementRow.spot_number
            photos = []
            for measurement in measurements:
                logged = _find_logged(session, owner == row.number, measurement, subject_name(row))
                _put(logged, rows.measured_values(session, measurement, "board" if board else "floor"))
                photos.append(logged.photo_sha256)
                if board:
                    _renew_pair(session, row.number, measurement, logged.photo_sha256)
            rows.note_change(session, self._who, "remeasure", subject_name(row), after={"photos": photos})

    def renew_part_measurements(self, ident: int, measurements: Sequence[Measurement]) -> None:
        """Put new measurements of a stair part's logged photos in the place of the old ones; as `renew_measurements`.

        Raises
        ------
        LogbookError
            ``"photo-not-logged"``; nothing is renewed then.
        """
        with self._write() as session:
            code = part_code(session, ident)
            photos, events = [], []
            for measurement in measurements:
                logged = _find_logged(session, MeasurementRow.part_id == ident, measurement, code)
                # By their moment a measurement and its event know each other: it stays.
                values = rows.measured_values(session, measurement, "board") | {"created": logged.created}
                _put(logged, values)
                photos.append(logged.photo_sha256)
                events += [n for n in _events_at(session, ident, logged.created) if n not in events]
            after = {"part": ident, "events": events, "photos": photos}
            rows.note_change(session, self._who, "remeasure", code, after=after)


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


def _renew_pair(session: Session, number: int, measurement: Measurement, photo: str) -> None:
    pair = DirectPair.of(measurement)
    wanted = select(PairRow).where(PairRow.board_number == number, PairRow.photo_sha256 == photo)
    logged = None if pair is None else session.scalars(wanted).first()
    if pair is not None and logged is not None:
        _put(logged, rows.paired_values(pair))


def _put(row: MeasurementRow | PairRow, values: Mapping[str, Any]) -> None:
    for name, value in values.items():
        setattr(row, name, value)
