"""What a logbook has learned of strips and cameras, given to what is measured: the one place that does."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from finishlab.records import normalise_light

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.workflow.batch import How

__all__ = ["as_learned"]


def as_learned(how: How, log: Logbook, light: str | None, *, profile: bool = True) -> How:
    """Return how photos are to be measured, with the strips' greys and the cameras' profiles a logbook holds.

    Of a strip that was not learned it holds what each logged photo said of its print.

    Parameters
    ----------
    how
        What to measure.
    log
        The logbook.
    light
        The photos' light: a profile holds for one. Daylight when not said.
    profile
        False leaves profiles out.
    """
    lit = normalise_light(light)
    known = tuple(each for each in log.camera_profiles() if each.light == lit) if profile else ()
    return replace(how, strip_greys=(*log.learned_greys(), *log.photographed_greys()), profiles=known)
