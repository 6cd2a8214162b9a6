"""A strip's own greys, from an instrument's readings, an eye or photos, into the logbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.errors import FinishlabError, UsageError

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys
    from finishlab.logbook import Logbook
    from finishlab.measure import GreyArea
    from finishlab.measure.learn_greys import LearnedGreys
    from finishlab.measure.learn_print import LearnedPrint, PrintFit

__all__ = ["learn_from_eye", "learn_from_far", "learn_from_photo", "learn_from_readings", "print_in"]

_AGREE: Final = 1.5
"""Repeat readings of one grey differ by less, L*: more is a slip of the hand, not noise."""


def learn_from_readings(log: Logbook, number: int, readings: Mapping[int, Sequence[float]]) -> StripGreys:
    """Learn a strip's greys from L* read with an instrument.

    Parameters
    ----------
    log
        Where to keep them.
    number
        The strip's number.
    readings
        Level (0 black to 7 bare paper) -> its readings. Levels that were not read are filled in.

    Raises
    ------
    UsageError
        ``bad-lightness``, ``unknown-level``, ``readings-disagree``, ``greys-not-rising`` or ``no-reading``.
    """
    from finishlab.imaging.greys import greys_of_readings

    _check(readings)
    try:
        greys = greys_of_readings(readings, number=number, learned=_now(), basis=_typed(readings))
    except ValueError as error:
        raise _not_rising() from error
    return log.learn_strip(greys)


def _typed(readings: Mapping[int, Sequence[float]]) -> tuple[str, ...]:
    return tuple(f"{level}:{value:g}" for level in sorted(readings) for value in readings[level])


def learn_from_photo(
    log: Logbook, path: str | Path, known: Sequence[GreyArea], *, number: int | None = None
) -> LearnedGreys:
    """Learn the greys of the strip in a photo from known greys beside it.

    Raises
    ------
    PhotoError
        If the file cannot be read as a photo.
    FinishlabError
        What `finishlab.measure.learn_greys.learn_greys` raises.
    """
    from finishlab.measure.learn_greys import learn_greys
    from finishlab.photos import read_photo

    found = learn_greys(read_photo(Path(path)), known, number=number, learned=_now())
    log.learn_strip(found.greys)
    return found


def learn_from_far(
    log: Logbook,
    paths: Sequence[str | Path],
    *,
    number: int | None = None,
    readings: Mapping[int, Sequence[float]] | None = None,
) -> tuple[LearnedPrint | None, list[FinishlabError]]:
    """Learn the greys of the strip in photos taken from a few steps back, by its screens of lines.

    Every photo is tried; what those tell that can be used is kept. `readings` of some levels, above all of the paper,
    which no photo tells, are weighed with it.

    Returns
    -------
    found, errors
        None if no photo could be used; what is wrong with each of the others, its file named.

    Raises
    ------
    FinishlabError
        What `finishlab.measure.learn_print.learn_print` raises, and `learn_from_readings`.
    """
    from finishlab.imaging.greys import greys_of_readings
    from finishlab.measure.learn_print import learn_print
    from finishlab.measuring.photos import look, with_path

    if readings:
        _check(readings)
    looks, errors = [], []
    for path in paths:
        try:
            looks.append(look(print_in, Path(path)))
        except FinishlabError as error:
            errors.append(with_path(error, Path(path)))
    if not looks:
        return None, errors
    found = learn_print(looks, number=number, learned=_now())
    if readings:
        own, basis = found.greys, _typed(readings)
        try:
            known = greys_of_readings(
                readings, number=int(own.number or 0), learned=own.learned, basis=basis, believed=own
            )
        except ValueError as error:
            raise _not_rising() from error
        found = replace(found, greys=known)
    log.learn_strip(found.greys)
    return found, errors


def print_in(path: Path) -> PrintFit:
    """Return what a photo taken from a few steps back says of the print of its strip; errors as in `learn_from_far`."""
    from finishlab.measure.learn_print import look_at_print
    from finishlab.photos import read_photo

    return look_at_print(read_photo(path))


def learn_from_eye(log: Logbook, number: int, seen: Mapping[int, float]) -> StripGreys:
    """Learn a strip's greys from the steps of the second page that vanished among its lines, seen from afar.

    Parameters
    ----------
    log
        Where to keep them.
    number
        The strip's number; the second page is printed with it.
    seen
        Row of the page (1, 2 ...) -> the step that vanished, halves allowed.

    Raises
    ------
    UsageError
        ``bad-step`` or ``greys-not-rising``.
    """
    from finishlab.measure.learn_print import greys_seen

    basis = tuple(f"row {row}: step {step:g}" for row, step in sorted(seen.items()))
    try:
        return log.learn_strip(greys_seen(seen, number=number, learned=_now(), basis=basis))
    except ValueError as error:
        raise UsageError(
            "bad-step", f"These steps cannot all have vanished: {error}.", "Look again from 3 m, and type row:step."
        ) from error


def _check(readings: Mapping[int, Sequence[float]]) -> None:
    from finishlab.imaging.strip import STRIP

    top = len(STRIP.greys) - 1
    if not any(len(values) for values in readings.values()):
        raise UsageError(
            "no-reading", "No grey of the strip is given.", "Name levels as measured, e.g. --lightness 3:55.2."
        )
    for level, values in readings.items():
        if not 0 <= level <= top:
            raise UsageError(
                "unknown-level", f"The strip has no grey {level}.", f"Levels run from 0, black, to {top}, bare paper."
            )
        if not all(0.0 < value <= 100.0 for value in values):
            raise UsageError(
                "bad-lightness", f"Grey {level} has no lightness a print can have.", "Write L* from above 0 to 100."
            )
        if max(values) - min(values) > _AGREE:
            raise UsageError(
                "readings-disagree",
                f"The readings of grey {level} differ by {max(values) - min(values):.1f} L*.",
                "Read it again, and check which grey was which.",
            )
    means = [sum(readings[level]) / len(readings[level]) for level in sorted(readings)]
    if any(dark >= light for dark, light in pairwise(means)):
        raise _not_rising()


def _not_rising() -> UsageError:
    return UsageError(
        "greys-not-rising",
        "The lightnesses do not rise from black to paper.",
        "Levels run from 0, black, to 7, bare paper; check which grey was which.",
    )


def _now() -> str:
    return dt.datetime.now(tz=dt.UTC).isoformat(timespec="seconds")
