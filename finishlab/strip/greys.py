"""A strip's own greys: learned from readings, an eye or photos, and what is known of them as document and picture."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import FinishlabError, UsageError
from finishlab.files import write_atomically
from finishlab.imaging.strip import STRIP, usual_print
from finishlab.measuring import look, print_in, with_path
from finishlab.show import jsons
from finishlab.show.document import Document, Line
from finishlab.show.drawing import (
    BAND,
    FONT_SIZE,
    INK,
    SOFT,
    WIDTH,
    Drawing,
    drawing_rules,
    figure_of,
    plain_axes,
)

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys
    from finishlab.logbook.calibration import StoredGreys
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import Change
    from finishlab.measure.areas import GreyArea
    from finishlab.measure.learn_print import LearnedGreys, LearnedPrint


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
        What `finishlab.measure.learn_print.learn_greys` raises.
    """
    from finishlab.measure.learn_print import learn_greys
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


_FROM = {
    "typed": "readings of an instrument",
    "photo": "a photo with known greys",
    "screens": "its line screens, photographed from a few steps back",
    "raw": "a camera raw file",
    "seen": "what an eye saw vanish",
    "usual": "a usual print",
}
_SUFFIXES: Final = (".svg", ".png")
_FAR: Final = 1.0
"""How many standard deviations among prints make one lighter or darker than usual."""
_LEFT, _RIGHT, _TOP, _BASE = 44.0, 12.0, 12.0, 40.0
_HEIGHT: Final = 260.0
_LEGEND: Final = 34.0
_SURE: Final = 1.96
_PALE_BLACK: Final = 36.0
"""L* above which black is paler than printers make it unless they save toner; the blackest papers stay below 34."""


def greys_document(found: Iterable[StripGreys]) -> Document:
    """Return what holds of each strip, one after another."""
    kept = list(found)
    return _document(kept, (), {}, [block for greys in kept for block in _page(greys)])


def strip_document(
    learned: Iterable[StoredGreys], changes: Sequence[Change], photographed: StripGreys | None = None
) -> Document:
    """Return all that is known of one strip: its greys as they hold today, what held before, and how that came.

    Of a strip that was not learned, `photographed` is what photos logged beside it say.
    """
    from finishlab.logbook.stored import change_entry, change_line

    now = [each.greys for each in learned if each.ended is None]
    before = [each.greys for each in learned if each.ended is not None]
    entry = _entry(now[-1]) if now else {}
    beside = {
        **{name: entry.get(name) for name in ("lightness", "standard_error")},
        "in_words": [sentence for each in now for sentence in print_in_words(each)],
        "history": [change_entry(change) for change in changes],
        "photographed": None
        if photographed is None
        else {"photos": photographed.photos, **jsons.entry(photographed.settled(), "lightness")},
    }
    lines = [line for each in now for line in _page(each)]
    if not now and photographed is not None:
        lines = _photographed_page(photographed)
    lines = lines or [_line("Nothing holds of this strip today: it is taken for a usual print.")]
    return _document(now, before, beside, [*lines, *(_line(f"- {change_line(change)}") for change in changes)])


def _document(
    now: Sequence[StripGreys], before: Sequence[StripGreys], beside: Mapping[str, Any], blocks: Sequence[Line]
) -> Document:
    data = {"strips": [_entry(greys) for greys in now], "before": [_entry(greys) for greys in before], **beside}
    return Document("strip-greys", data, blocks)


def _page(greys: StripGreys) -> list[Line]:
    """Return what is known of a strip's greys, in lines that stay whole."""
    basis = [f"  rests on {', '.join(greys.basis)}"] if greys.basis else []
    lines = (
        f"Strip {greys.number:04d}, from {_FROM[greys.source]}, learned {greys.learned}",
        f"  {'level':<8}" + " ".join(f"{level:>6}" for level in range(len(greys.values))),
        f"  {'L*':<8}" + " ".join(f"{value:6.1f}" for value in greys.lightness),
        f"  {'+-':<8}" + " ".join(f"{value:6.1f}" for value in greys.standard_error),
        *basis,
        *(f"  {sentence}" for sentence in print_in_words(greys)),
    )
    return [_line(line) for line in lines]


def _photographed_page(greys: StripGreys) -> list[Line]:
    """Return what photos say of a strip that was not learned."""
    photos = "One photo" if greys.photos == 1 else f"{greys.photos} photos"
    usual, settled = usual_curve()[0], greys.settled().lightness
    middle = len(usual) // 2 - 1
    again = [_line("  finishlab remeasure measures the first ones again with what the last ones said.")]
    return [
        _line(f"Strip {greys.number:04d} was not learned: it is taken for a usual print, and photos settle it."),
        _line(f"  {'level':<8}" + " ".join(f"{level:>6}" for level in range(len(settled)))),
        _line(f"  {'L*':<8}" + " ".join(f"{value:6.1f}" for value in settled)),
        _line(f"  {'usual':<8}" + " ".join(f"{value:6.1f}" for value in usual)),
        _line(
            f"  {photos} logged beside it {'says' if greys.photos == 1 else 'say'} that grey {middle} is "
            f"L* {settled[middle]:.0f}, usually {usual[middle]:.0f}. A photo from a few steps back tells far more: "
            "finishlab strip learn PHOTO."
        ),
        *(again if greys.photos > 1 else []),
    ]


def _line(text: str) -> Line:
    return Line(text, whole=True)


def print_in_words(greys: StripGreys) -> list[str]:
    """Return what is to be said of a print whose greys are known, a sentence each."""
    usual, spread = usual_curve()
    far = float(np.mean(((np.array(greys.lightness) - usual) / spread)[1:-1]))
    way = "about as light as usual" if abs(far) < _FAR else "lighter than usual" if far > 0 else "darker than usual"
    middle = len(usual) // 2 - 1
    here, there, sure, most = greys.lightness[middle], usual[middle], greys.standard_error[middle], spread[middle]
    said = [
        (
            f"This print comes out {way}: grey {middle} is L* {here:.0f}, give or take {2 * sure:.1f}; "
            f"in most prints it is {there - 2 * most:.0f} to {there + 2 * most:.0f}."
        )
    ]
    if greys.lightness[0] > _PALE_BLACK:
        said.append(
            f"Its black is pale (L* {greys.lightness[0]:.0f}): the printer saves ink or toner. Printed anew without "
            "that, dark finishes are told better."
        )
    return said


def usual_curve() -> tuple[np.ndarray, np.ndarray]:
    """Return L* of the greys of usual prints, black to paper, and how far those spread: one standard deviation."""
    log, departures = usual_print()
    lightness = lightness_of_reflectance(np.exp(log))
    return lightness, (lightness + 16.0) / 3.0 * np.sqrt((departures**2).sum(axis=0))


def _entry(greys: StripGreys) -> dict[str, Any]:
    return jsons.entry(greys, "number source learned key lightness standard_error basis")


def check_curve_name(name: str | None) -> None:
    """Check that the picture can be written under this name.

    Raises
    ------
    UsageError
        ``picture-not-drawn``.
    """
    if name is not None and Path(name).suffix.lower() not in _SUFFIXES:
        raise UsageError("picture-not-drawn", f"{name} is not the name of a picture.", "End the name in .svg or .png.")


def save_curve(name: str, greys: StripGreys) -> None:
    """Write how a print's greys came out beside usual ones, as SVG or PNG by the file's ending.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    from finishlab.photos.profiles import matrix_profile

    drawing = _print_curve(greys)
    svg = Path(name).suffix.lower() == ".svg"
    write_atomically(name, drawing.svg_file() if svg else drawing.png(matrix_profile("sRGB")))


def _print_curve(greys: StripGreys) -> Drawing:
    """Draw what a printer made of the strip's greys, beside prints at large."""
    found, doubt = np.array(greys.lightness), np.array(greys.standard_error)
    usual, spread = usual_curve()
    low, top, reach = usual - _SURE * spread, usual + _SURE * spread, _SURE * doubt
    with drawing_rules():
        figure = figure_of(_HEIGHT)
        high = _HEIGHT - _TOP - _BASE - _LEGEND
        axes = plain_axes(figure, (_LEFT, _TOP + _LEGEND, WIDTH - _LEFT - _RIGHT, high))
        axes.fill_between(STRIP.greys, low, top, **BAND)
        axes.plot(STRIP.greys, usual, color=SOFT, linewidth=1.2, linestyle=(0, (5, 2)))
        axes.errorbar(STRIP.greys, found, yerr=reach, color=INK, fmt="o-", markersize=5, linewidth=1.2, capsize=3)
        axes.set_xlim(-0.03, 1.03)
        axes.set_ylim(max(0.0, min(low.min(), (found - reach).min()) - 3), 100.0)
        axes.set_xlabel("grey in the file: 0 black, 1 bare paper")
        axes.set_ylabel("L*", rotation=0)
        axes.yaxis.set_label_coords(-34.0 / (WIDTH - _LEFT - _RIGHT), 0.5)
        for line, words in enumerate(
            ("dots: this print, bars hold 95 %", "hatched: 95 % of prints; dashed: their middle")
        ):
            y = 1.0 - (_TOP + FONT_SIZE + line * 1.4 * FONT_SIZE) / _HEIGHT
            figure.text(_LEFT / WIDTH, y, words, va="bottom")
    told = ", ".join(f"{value:.1f} +- {sure:.1f}" for value, sure in zip(found, doubt, strict=True))
    at = ", ".join(f"{value:.1f}" for value in usual)
    words = f"L* from black to paper: {told}. In a usual print: {at}."
    return Drawing(figure, f"Greys of strip {greys.number:04d}", words)
