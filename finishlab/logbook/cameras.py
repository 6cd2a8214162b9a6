"""Camera profiles in the logbook: one that holds for each camera and light, the earlier ones kept but not shown."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.errors import LogbookError
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
        with self._write() as session:
            _add_profile(session, profile, self._who)

    def camera_profiles(self) -> list[CameraProfile]:
        """Return the profiles that hold, by camera and light."""
        with self._read() as session:
            return _read_profiles(session)

    def camera_profile(self, camera: str, light: str) -> CameraProfile | None:
        """Return the profile of a camera (EXIF make and model) in a light, or None."""
        with self._read() as session:
            return _find_profile(session, camera, light)

    def forget_camera_profile(self, camera: str, light: str) -> None:
        """Use a profile no longer; what was measured with it stays. ``"unknown-camera"`` if there is none."""
        with self._write() as session:
            _forget_profile(session, camera, light, self._who)


def _add_profile(session: Session, profile: CameraProfile, who: str) -> None:
    """Insert a profile; one of the same camera and light holds no longer, and the history says so."""
    light = normalise_light(profile.light)
    photo = kept_photo(session, profile.photo_id)
    before = _rows(session, profile.camera, light)
    for each in before:
        each.removed = now()
    row = CameraProfileRow(
        camera=profile.camera, light=light, photo_sha256=photo, profile=profile.as_dict(), created=now()
    )
    session.add(row)
    session.flush()
    old = dict(before[-1].profile) if before else None
    note_change(session, who, "learn", _subject(row), before=old, after=profile.as_dict())


def _read_profiles(session: Session) -> list[CameraProfile]:
    """Return the profiles that hold, by camera and light."""
    shown = select(CameraProfileRow).where(CameraProfileRow.removed.is_(None))
    rows = session.scalars(shown.order_by(CameraProfileRow.camera, CameraProfileRow.light, CameraProfileRow.created))
    # Two can hold after an archive was taken in: the later one counts.
    return [_profile(row) for row in {(row.camera, row.light): row for row in rows}.values()]


def _find_profile(session: Session, camera: str, light: str) -> CameraProfile | None:
    """Return the profile that holds for a camera in a light, or None."""
    rows = _rows(session, camera, normalise_light(light))
    return _profile(rows[-1]) if rows else None


def _forget_profile(session: Session, camera: str, light: str, who: str) -> None:
    """Let a profile hold no longer; what was measured with it stays as it is.

    Raises
    ------
    LogbookError
        ``"unknown-camera"``.
    """
    rows = _rows(session, camera, normalise_light(light))
    if not rows:
        raise LogbookError(
            "unknown-camera",
            f"The logbook has no profile of the camera “{camera}” in the light “{normalise_light(light)}”.",
            "See what there is: finishlab camera list",
        )
    for row in rows:
        row.removed = now()
        note_change(session, who, "forget", _subject(row), before=dict(row.profile))


def _subject(row: CameraProfileRow) -> str:
    return f"camera {row.id}"


def _rows(session: Session, camera: str, light: str) -> list[CameraProfileRow]:
    """Return the profiles that hold for a camera in a light, the latest last."""
    asked = select(CameraProfileRow).where(
        CameraProfileRow.camera == camera, CameraProfileRow.light == light, CameraProfileRow.removed.is_(None)
    )
    return list(session.scalars(asked.order_by(CameraProfileRow.created, CameraProfileRow.id)))


def _profile(row: CameraProfileRow) -> CameraProfile:
    try:
        return CameraProfile.from_dict(row.profile)
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise LogbookError(
            "logbook-damaged",
            f"The profile of the camera “{row.camera}” in the logbook cannot be read ({error}).",
            "Update finishlab if a newer one wrote it, or learn the camera again.",
        ) from error
