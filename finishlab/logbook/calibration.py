"""What a logbook has learned of strips and cameras, and the trials at home that say how far to trust it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.errors import LogbookError
from finishlab.imaging.greys import USUAL, StripGreys
from finishlab.logbook import writing as rows
from finishlab.logbook.database import Transactions
from finishlab.logbook.stored import StoredTrial, read_numbered
from finishlab.logbook.tables import (
    BoardRow,
    CameraProfileRow,
    FloorSpotRow,
    MeasurementRow,
    StripGreysRow,
    StripRow,
    TrialRow,
    decoded,
    subject_name,
)
from finishlab.logbook.writing import kept_photo, note_change, now
from finishlab.record import Light, normalise_light
from finishlab.strip import TrialRecord


@dataclass(frozen=True, slots=True)
class StoredGreys:
    """What was learned of a strip at one time."""

    greys: StripGreys
    created: dt.datetime
    """UTC."""
    ended: dt.datetime | None
    """UTC; when it was forgotten or learned anew. None for what holds today."""


def _subject(number: int) -> str:
    return f"strip {number:04d}"


def _not_learned(number: int) -> LogbookError:
    return LogbookError(
        "strip-not-learned",
        f"The logbook has learned nothing of strip {number:04d}.",
        "Learn its greys with finishlab strip learn.",
    )


def _end(session: Session, number: int) -> dict[str, Any] | None:
    """Let what is known of a strip end now; return it, None if there is nothing."""
    old = rows.ended(session, StripGreysRow, StripGreysRow.strip_number == number)
    return None if old is None else old.greys


def _greys(row: StripGreysRow) -> StripGreys:
    return decoded(_subject(row.strip_number), StripGreys.from_dict, row.greys)


def _holding(session: Session, camera: str, light: str) -> list[CameraProfileRow]:
    """Return the profiles that hold for a camera in a light, the latest last."""
    asked = select(CameraProfileRow).where(
        CameraProfileRow.camera == camera, CameraProfileRow.light == light, CameraProfileRow.removed.is_(None)
    )
    return list(session.scalars(asked.order_by(CameraProfileRow.created, CameraProfileRow.id)))


_ENOUGH_CASTS: Final = 50
"""Photos of a light whose casts tell what is usual in it."""


class CalibrationStore(Transactions):
    """The part of a logbook that keeps strips' greys, cameras' profiles and trials."""

    # Strips

    def strips(self) -> tuple[int, ...]:
        """Return the numbers of the strips seen in logged photos or learned, first seen first."""
        with self._read() as session:
            return tuple(session.scalars(select(StripRow.number).order_by(StripRow.first_seen, StripRow.number)))

    def learn_strip(self, greys: StripGreys) -> StripGreys:
        """Keep what was learned of a strip's greys; it holds from now on, and what held before stays in the history.

        Raises
        ------
        ValueError
            If the greys are a usual print's.
        """
        if greys.number is None:
            raise ValueError("a usual print's greys are no strip's own")
        with self._write() as session:
            rows.insert_if_missing(session, StripRow(number=greys.number, first_seen=rows.now()), greys.number)
            before = _end(session, greys.number)
            session.add(StripGreysRow(strip_number=greys.number, greys=greys.as_dict(), created=rows.now()))
            rows.note_change(session, self._who, "learn", _subject(greys.number), before=before, after=greys.as_dict())
        return greys

    def forget_strip(self, number: int) -> None:
        """Let a strip be a usual print again; what was learned stays in the history.

        Raises
        ------
        LogbookError
            ``"strip-not-learned"``.
        """
        with self._write() as session:
            before = _end(session, number)
            if before is None:
                raise _not_learned(number)
            rows.note_change(session, self._who, "forget", _subject(number), before=before)

    def learned_greys(self) -> tuple[StripGreys, ...]:
        """Return what holds today of every strip that was learned, by number."""
        with self._read() as session:
            holds = select(StripGreysRow).where(StripGreysRow.ended.is_(None)).order_by(StripGreysRow.strip_number)
            return tuple(_greys(row) for row in session.scalars(holds))

    def photographed_greys(self) -> tuple[StripGreys, ...]:
        """Return what logged photos said of every strip that was not learned, by number."""
        terms, row = len(USUAL.effects), MeasurementRow
        learned = select(StripGreysRow.strip_number).where(StripGreysRow.ended.is_(None))
        one_a_photo = (
            select(func.max(row.id))
            .where(row.strip_number.not_in(learned), func.json_array_length(row.correction, "$.print") == terms)
            .group_by(row.photo_sha256)
        )
        # The database takes the mean: a logbook of thousands of photos gives one row a strip.
        means = [func.avg(row.correction["print", term].as_float()) for term in range(terms)]
        asked = select(row.strip_number, func.count(), *means).where(row.id.in_(one_a_photo)).group_by(row.strip_number)
        with self._read() as session:
            found = session.execute(asked.order_by(row.strip_number)).all()
        return tuple(
            replace(USUAL, number=number, photos=photos, said=tuple(float(each) for each in said))
            for number, photos, *said in found
        )

    def strip_greys_history(self, number: int, *, needed: bool = True) -> tuple[StoredGreys, ...]:
        """Return all that was ever learned of a strip, first to last.

        Raises
        ------
        LogbookError
            ``"strip-not-learned"`` if nothing was and something is needed.
        """
        with self._read() as session:
            found = select(StripGreysRow).where(StripGreysRow.strip_number == number).order_by(StripGreysRow.id)
            learned = tuple(StoredGreys(_greys(row), row.created, row.ended) for row in session.scalars(found))
        if needed and not learned:
            raise _not_learned(number)
        return learned

    # Cameras

    def add_camera_profile(self, profile: CameraProfile) -> None:
        """Keep a camera's profile; it takes the place of one of the same camera and light, which the history keeps.

        Raises
        ------
        LogbookError
            ``"photo-not-kept"`` if the chart's photo was not kept before.
        """
        light = normalise_light(profile.light)
        with self._write() as session:
            photo = kept_photo(session, profile.photo_id)
            before = _holding(session, profile.camera, light)
            for each in before:
                each.removed = now()
            row = CameraProfileRow(
                camera=profile.camera, light=light, photo_sha256=photo, profile=profile.as_dict(), created=now()
            )
            session.add(row)
            session.flush()
            old = dict(before[-1].profile) if before else None
            note_change(session, self._who, "learn", f"camera {row.id}", before=old, after=profile.as_dict())

    def camera_profiles(self) -> list[CameraProfile]:
        """Return the profiles that hold, by camera and light."""
        by_camera = (CameraProfileRow.camera, CameraProfileRow.light, CameraProfileRow.created)
        shown = select(CameraProfileRow).where(CameraProfileRow.removed.is_(None)).order_by(*by_camera)
        with self._read() as session:
            # Two can hold after an archive was taken in: the later one counts.
            rows = {(row.camera, row.light): row for row in session.scalars(shown)}
            return [decoded(f"the camera “{c}”", CameraProfile.from_dict, r.profile) for (c, _), r in rows.items()]

    def forget_camera_profile(self, camera: str, light: str) -> None:
        """Use a profile no longer; what was measured with it stays.

        Raises
        ------
        LogbookError
            ``"unknown-camera"`` if there is none.
        """
        with self._write() as session:
            rows = _holding(session, camera, normalise_light(light))
            if not rows:
                raise LogbookError(
                    "unknown-camera",
                    f"The logbook has no profile of the camera “{camera}” in the light “{normalise_light(light)}”.",
                    "See what there is: finishlab camera list",
                )
            for row in rows:
                row.removed = now()
                note_change(session, self._who, "forget", f"camera {row.id}", before=dict(row.profile))

    # Trials

    def add_trials(self, trials: list[TrialRecord]) -> list[StoredTrial]:
        """Log trials and give them their numbers.

        Raises
        ------
        LogbookError
            ``"photo-tried-already"`` if one of the photos is part of a trial: counted twice it would count for two.
        """
        with self._write() as session:
            logged = read_numbered(session, TrialRow, TrialRecord)
            known = {photo: str(each.number) for each in logged for photo in each.record.photos}
            for record in trials:
                for photo in record.photos:
                    if photo in known:
                        name = next(str(side["file"]) for side in record.sides if side["photo"] == photo)
                        raise LogbookError(
                            "photo-tried-already",
                            f"The photo {name} is part of the trial {known[photo]} already.",
                            "Take another photo for each trial.",
                        )
                    known[photo] = "before it"
            added = rows.add_rows(session, TrialRow, trials)
            for row, record in zip(added, trials, strict=True):
                rows.note_change(session, self._who, "add", subject_name(row), after=record.as_dict(), row=row)
            return read_numbered(session, TrialRow, TrialRecord)[len(logged) :]

    def trials(self) -> list[StoredTrial]:
        """Return the trials by number."""
        with self._read() as session:
            return read_numbered(session, TrialRow, TrialRecord)

    # Light

    def lights_logged(self) -> tuple[Light, ...]:
        """Return the lights of all that is logged, the first the first."""
        with self._read() as session:
            asked = _shown(select(MeasurementRow.light)).group_by(MeasurementRow.light)
            return tuple(session.scalars(asked.order_by(func.min(MeasurementRow.id))))

    def casts_logged(self, light: Light) -> list[tuple[float, float, float]]:
        """Return the colour cast of the last photos in a light (`Measurement.correction`); of older versions none."""
        asked = _shown(select(MeasurementRow.correction["cast"])).where(MeasurementRow.light == light)
        with self._read() as session:
            found = session.scalars(asked.order_by(MeasurementRow.id.desc()).limit(_ENOUGH_CASTS))
            return [(cast[0], cast[1], cast[2]) for cast in found if cast is not None]


def _shown(asked: Select[Any]) -> Select[Any]:
    """Return a query of measurements without those of removed boards and places of the floor."""
    asked = asked.outerjoin(BoardRow, MeasurementRow.board_number == BoardRow.number)
    asked = asked.outerjoin(FloorSpotRow, MeasurementRow.spot_number == FloorSpotRow.number)
    return asked.where(BoardRow.removed.is_(None), FloorSpotRow.removed.is_(None))
