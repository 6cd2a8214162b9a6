"""What is to be logged, held against what is there: do photos of one thing show one thing, is a light new."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import Final

import numpy as np

from finishlab.colorimetry.difference import delta_e_interval
from finishlab.errors import QualityError
from finishlab.imaging.strip import FieldName
from finishlab.logbook import Logbook
from finishlab.matching.scatter import USUAL_PHOTO
from finishlab.measuring.photos import PhotoResult

__all__ = ["lights_logged", "near_light", "refuse_mixed"]

_ONE_SURFACE: Final = 2.0
"""dE00 by which places of one board may differ beyond what their photos' errors explain. This tool's own; near the 2
units of CIE 1976 that one wood surface spans (Buchelt, Wagenfuehr, Eur. J. Wood Prod. 70 (2012) 377)."""
_ALIKE: Final = 0.75
"""Likeness of two names from which one may be a slip for the other (`difflib`'s ratio). This tool's own."""


def refuse_mixed(results: Sequence[PhotoResult], field: FieldName = "board") -> None:
    """Refuse photos as repeats of one board whose colours differ by more than errors and one board's wood explain.

    Raises
    ------
    QualityError
        ``"photos-disagree"``, with the two that differ most and their colours.
    """
    scatter = np.diag(np.square(USUAL_PHOTO)) * 2.0
    worst = None
    for one, two in combinations([each for each in results if each.measurement is not None], 2):
        found = [each.measurement.fields[field].estimate for each in (one, two) if each.measurement is not None]
        apart = delta_e_interval(found[0], found[1], scatter)
        if apart.low > _ONE_SURFACE and (worst is None or apart.value > worst[0].value):
            worst = apart, (one.path, found[0].lab), (two.path, found[1].lab)
    if worst is None:
        return
    apart, *shown = worst
    told = ", ".join("{} L* {:.1f} a* {:.1f} b* {:.1f}".format(path, *lab) for path, lab in shown)
    raise QualityError(
        "photos-disagree",
        f"These photos do not show one board: {told}, dE00 {apart.value:.1f} apart ({apart.low:.1f} to "
        f"{apart.high:.1f}).",
        "If they are different boards, log one a photo with --each; if it is one, photograph it again in even light.",
    )


def lights_logged(log: Logbook) -> tuple[str, ...]:
    """Return the lights of all that was logged, the first first."""
    measured = [m for spot in log.floor_spots() for m in spot.measurements]
    measured += [m for board in log.boards(brief=True) for m in board.measurements]
    return tuple(dict.fromkeys(m.light for m in measured))


def near_light(light: str, known: Iterable[str]) -> str | None:
    """Return what to say of a new light whose name is much like that of a light there is; None if it is not."""
    lights = list(known)
    if light in lights or not difflib.get_close_matches(light, lights, 1, _ALIKE):
        return None
    return f"“{light}” is a new light; logged so far: {', '.join(lights)}. Photos are compared within one light only."
