"""Camera profiles in the logbook: one that holds for each camera and light, the earlier ones kept but not shown."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.errors import LogbookError
from finishlab.logbook.reading import decoded
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.tables import CameraProfileRow
from finishlab.logbook.writing import kept_photo, note_change, now
from finishlab.records import normalise_light

__all__ = ["CameraShelf"]


class CameraShelf(Shelf):
    """The part of a logbook that keeps cameras' profiles; `finishlab.logbook.store.Logbook` is one."""

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
            return [_profile(row) for row in rows.values()]

    def camera_profile(self, camera: str, light: str) -> CameraProfile | None:
        """Return the profile of a camera (EXIF make and model) in a light, or None."""
        with self._read() as session:
            rows = _holding(session, camera, normalise_light(light))
            return _profile(rows[-1]) if rows else None

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


def _holding(session: Session, camera: str, light: str) -> list[CameraProfileRow]:
    """Return the profiles that hold for a camera in a light, the latest last."""
    asked = select(CameraProfileRow).where(
        CameraProfileRow.camera == camera, CameraProfileRow.light == light, CameraProfileRow.removed.is_(None)
    )
    return list(session.scalars(asked.order_by(CameraProfileRow.created, CameraProfileRow.id)))


def _profile(row: CameraProfileRow) -> CameraProfile:
    return decoded(f"the camera “{row.camera}”", CameraProfile.from_dict, row.profile)
