"""Cameras: learning a profile from a chart's photo, and keeping it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from finishlab.records import normalise_light, today
from finishlab.workflow.recording import keep_original, photo_day

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys
    from finishlab.logbook import Logbook
    from finishlab.measure.areas import GreyArea, KnownColour
    from finishlab.measure.camera_learning import LearnedProfile

__all__ = ["keep_camera", "learn_camera", "learn_camera_by_hand"]


def learn_camera(
    path: str | Path,
    *,
    light: str | None = None,
    edition: str | None = None,
    corners: Sequence[tuple[float, float]] | None = None,
    strip_greys: Sequence[StripGreys] = (),
) -> LearnedProfile:
    """Learn a camera's profile from a photo of a 24-patch chart; nothing is kept.

    Parameters
    ----------
    path
        The photo, as the camera saved it; the chart beside the strip, or alone.
    light
        The light it was taken in; daylight unless said.
    edition
        Which edition of the chart it is, as colour-science names it.
    corners
        See `finishlab.measure.camera_learning.learn_profile`, which also says what this raises.
    strip_greys
        What was learned of single strips; those read with an instrument are used, the others learned anew.
    """
    from finishlab.colorimetry.spectra import DEFAULT_EDITION
    from finishlab.measure.camera_learning import learn_profile
    from finishlab.photos import read_photo

    path = Path(path)
    known = {each.number: each for each in strip_greys}
    return learn_profile(
        read_photo(path),
        light=normalise_light(light),
        edition=edition or DEFAULT_EDITION,
        corners=corners,
        date=photo_day(path) or today(),
        greys=known.get,
        learned=dt.datetime.now(tz=dt.UTC).isoformat(timespec="seconds"),
    )


def learn_camera_by_hand(
    path: str | Path, greys: Sequence[GreyArea], patches: Sequence[KnownColour], *, light: str | None = None
) -> LearnedProfile:
    """Learn a camera's profile from patches of known colour that are named by hand; nothing is kept.

    Parameters
    ----------
    path
        The photo, as the camera saved it.
    greys, patches
        See `finishlab.measure.camera_learning.learn_from_patches`, which also says what this raises.
    light
        The light it was taken in; daylight unless said.
    """
    from finishlab.measure.camera_learning import LearnedProfile, check_camera_named, learn_from_patches
    from finishlab.photos import read_photo

    path = Path(path)
    image = read_photo(path)
    check_camera_named(image)
    profile = learn_from_patches(
        image,
        greys,
        patches,
        light=normalise_light(light),
        chart=f"{len(patches)} patches named by hand",
        date=photo_day(path) or today(),
    )
    return LearnedProfile(profile)


def keep_camera(log: Logbook, path: str | Path, found: LearnedProfile) -> None:
    """Keep a profile, its chart's photo, and what the chart told of the strip's greys.

    The profile takes the place of an earlier one of that camera and light.
    """
    keep_original(log, str(path), found.profile.photo_id)
    log.add_camera_profile(found.profile)
    if found.greys is not None:
        log.learn_strip(found.greys.greys)
