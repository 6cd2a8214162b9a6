"""What one photo shows at first sight, found in a worker: its strip, its surfaces, what it most likely is, a picture.

The way is that of the commands; nothing is judged here. What a command will ask for when the photo is logged as what it
looks like, and the picture, are made after the answer went back (`finish`): so the answer takes no longer than the
measuring, and logging does not measure again.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from finishlab.errors import FinishlabError, NoStripError, QualityError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from finishlab.imaging.finder import StripFit
    from finishlab.imaging.pixels import LinearImage
    from finishlab.measure.flow import Inspection
    from finishlab.measure.results import Measurement
    from finishlab.measuring import MeasureOptions
    from finishlab.measuring.logged import FloorSeen
    from finishlab.quality import Doubt

__all__ = ["Glance", "KindName", "Known", "Made", "finish", "glance"]

KindName = Literal["strip", "floor", "board", "pair", "tread"]
"""What a photo can be of: the strip from afar, a place of the floor, a board, a board beside the floor, a tread."""
_AFAR: Final = 0.32
"""Share of the photo's long side below which the strip is seen from afar: it takes half of it to measure beside, and a
tenth to a quarter to learn its print from."""
_ALIKE: Final = 2.0
"""dE00 below which both sides of the strip may well be one surface. This tool's own: both sides of one rendered floor
differ by 0 to 1.3; a proposal only."""
_PICTURE: Final = 1200
"""Pixels of the picture's long side: a phone's screen has no more."""
_QUALITY: Final = 80
_PAIR_ONLY: Final = "grain-directions-differ"
"""Code of the doubt that is about board and floor together."""
Made = tuple[tuple[Any, tuple[Any, ...], Any], ...]
"""Work, its arguments, and what came of it: as a command asks for it."""
_HELD: Final[dict[Path, Callable[[], tuple[Any, Made]]]] = {}
"""Of the photo that was looked at last in this process: what gives its picture and what a command will ask for."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the logbook knows that a photo is looked at with."""

    asked: Mapping[KindName, MeasureOptions]
    """Kind -> how the command for it measures, with what is known of strips and cameras; none for the strip itself."""
    seen: FloorSeen
    alone: KindName = "board"
    """What a surface without the floor is rather: a board, or a tread."""
    floor_next: bool = True
    """Whether a photo with one surface all around is rather of the floor."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What was found."""

    kind: KindName | None = None
    """What it most likely is; None where nothing says it."""
    strip: int | None = None
    """The strip's number."""
    tilt_deg: float | None = None
    """How far off straight above the camera was; None where no strip was found."""
    measurement: Measurement | None = None
    error: FinishlabError | None = None
    """Why it gives no figure."""
    doubts: tuple[Doubt, ...] = ()
    pictured: bool = False
    """Whether there is something to draw."""

    @property
    def found(self) -> bool:
        """Whether the strip was found."""
        return self.tilt_deg is not None


def glance(path: Path, known: Known) -> Glance:
    """Look at one photo.

    Parameters
    ----------
    path
        The photo.
    known
        What the logbook knows.

    Returns
    -------
    Glance
        What is wrong with the photo is in it.
    """
    from finishlab.measuring import found_strip
    from finishlab.measuring.shown import picture_of_refused

    _HELD.clear()
    try:
        image, fit = found_strip(path)
    except NoStripError as error:
        return _from_afar(path, error)
    except FinishlabError as error:
        return Glance(error=error)
    if _share(image, fit) < _AFAR:
        return _from_afar(path, None)
    try:
        found = _inspected(image, fit, known)
    except QualityError as error:
        _HELD[path] = lambda: (picture_of_refused(image, fit, ("board", "floor"), long_side=_PICTURE)[0], ())
        return Glance(None, fit.number, fit.tilt_deg, error=error, pictured=True)
    kind = _kind_of(found.measurement, known)
    _HELD[path] = lambda: _as_asked(path, image, fit, known.asked[kind], found)
    whole = found.measurement
    fields = {name: field for name, field in whole.fields.items() if name in known.asked[kind].fields}
    result = replace(whole, fields=fields, pair=whole.pair if kind == "pair" else None)
    doubts = {each.code: each for field in fields.values() for each in field.doubts}
    if kind != "pair":
        doubts.pop(_PAIR_ONLY, None)
    return Glance(kind, fit.number, fit.tilt_deg, result, None, tuple(doubts.values()), pictured=True)


def _share(image: LinearImage, fit: StripFit) -> float:
    """Return how much of the photo's long side the strip takes."""
    from finishlab.imaging.strip import STRIP

    return fit.px_per_mm * STRIP.width / max(image.size)


def _inspected(image: LinearImage, fit: StripFit, known: Known) -> Inspection:
    """Measure both sides of the strip, or that which allows it.

    Raises
    ------
    QualityError
        Why neither does.
    """
    first: QualityError | None = None
    for kind in ("pair", known.alone, "floor"):
        try:
            return _measured(image, fit, known.asked[kind])
        except QualityError as error:
            first = first or error
    raise first or AssertionError


def _measured(image: LinearImage, fit: StripFit, options: MeasureOptions) -> Inspection:
    from finishlab.measure.flow import measure
    from finishlab.measuring import profile_of

    greys = {each.number: each for each in options.strip_greys}
    return measure(image, options.fields, options.floor_is, fit, greys.get, profile_of(image, options.profiles))


def _kind_of(found: Measurement, known: Known) -> KindName:
    """Return what a photo most likely shows, by what lies at the two sides of the strip."""
    if "floor" not in found.fields:
        return known.alone
    if "board" not in found.fields:
        return "floor"
    floor_there = known.seen.strange(found.fields["floor"]) is None
    alike = found.pair is not None and found.pair.value < _ALIKE
    if alike and (known.floor_next or not floor_there):
        return "floor"
    return "pair" if floor_there else known.alone


def _as_asked(
    path: Path, image: LinearImage, fit: StripFit, options: MeasureOptions, found: Inspection
) -> tuple[Any, Made]:
    """Return the picture of a photo measured as a command for its kind measures it, and what answers that command."""
    from finishlab.measuring import PhotoResult, measure_one
    from finishlab.measuring.shown import picture_of

    made: Made = ()
    with contextlib.suppress(QualityError):  # then the command says so itself
        if tuple(found.views) != options.fields:
            found = _measured(image, fit, options)
        made = ((measure_one, ((path, None, options, None),), PhotoResult(str(path), found.measurement)),)
    return picture_of(found, image, long_side=_PICTURE), made


def _from_afar(path: Path, none: NoStripError | None) -> Glance:
    """Look at a photo of the strip from a few steps back; where there is no strip either, `none` says so."""
    from finishlab.imaging.finder import find_strip
    from finishlab.imaging.opencv import shrink
    from finishlab.imaging.overlay import check_picture
    from finishlab.measure.learn_print import look_at_print
    from finishlab.measuring import print_in
    from finishlab.photos import read_photo, srgb_pixels

    image = read_photo(path)
    try:
        fit = find_strip(image, small=True)
    except NoStripError as error:
        small = replace(image, encoded=shrink(image.encoded, max(1.0, max(image.size) / _PICTURE)))
        _HELD[path] = lambda: (srgb_pixels(small), ())
        return Glance(error=none or error, pictured=True)
    made: Made = ()
    _HELD[path] = lambda: (check_picture(image, fit, {}, long_side=_PICTURE), made)
    try:
        look = look_at_print(image)
    except FinishlabError as error:
        return Glance("strip", fit.number, fit.tilt_deg, error=error, pictured=True)
    made = ((print_in, (path,), look),)
    return Glance("strip", look.number, fit.tilt_deg, doubts=look.doubts, pictured=True)


def finish(path: Path, known: Known, picture: Path) -> Made:
    """Write the picture of a photo, a JPEG with what was found in it drawn in; return what a command will ask for.

    The picture has nothing of the photo's file but the pixels, and is whole or not there. Arguments are as of `glance`.
    """
    from finishlab.photos import write_jpeg

    if path not in _HELD:  # another process looked at it, or at another photo since
        glance(path, known)
    pixels, made = _HELD.pop(path)()
    part = picture.with_suffix(".part")
    part.write_bytes(write_jpeg(pixels, quality=_QUALITY))
    part.replace(picture)
    return made
