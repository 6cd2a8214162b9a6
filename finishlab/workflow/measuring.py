"""One photo file to a `Measurement`, and a picture of what was found in it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.errors import NoStripError, UsageError

if TYPE_CHECKING:
    from finishlab.colorimetry.camera_profile import CameraProfile
    from finishlab.imaging.finder import StripFit
    from finishlab.imaging.greys import StripGreys
    from finishlab.imaging.pixels import LinearImage
    from finishlab.imaging.strip import FieldName
    from finishlab.measure import GreyArea, HandInspection, Inspection, Measurement, SurfaceArea, SurfaceKind

__all__ = ["check_how", "inspect_photo", "measure_photo", "photo_and_strip", "profile_of"]

_QUICK_LONG_SIDE: Final = 2000
"""Pixels that a photo is first decoded to: the strip is found in it, and most often it is enough to measure."""
_BY_HAND_LONG_SIDE: Final = 5000
"""Pixels a very large photo is decoded to when areas are named by hand: a photo up to twice that stays as it is."""
_VERY_LARGE: Final = 50_000_000
"""Pixels above which a JPEG is decoded at half its size at most: the full one takes 700 MB, and a strip that is too
small at half the size is smaller than a fifteenth of the photo."""
_HALF: Final = 0.4
"""Scale above which a photo counts as decoded at half its size or more: odd sides are rounded."""
_ENOUGH_PX_PER_MM: Final = 3.5
"""Decoded pixels per millimetre from which a reduced photo is measured as well as the full one."""


def measure_photo(
    path: str | Path,
    *,
    fields: Sequence[FieldName] = ("board",),
    floor_is: SurfaceKind = "print",
    greys: Sequence[GreyArea] = (),
    area: SurfaceArea | None = None,
    strip_greys: Sequence[StripGreys] = (),
    profiles: Sequence[CameraProfile] = (),
) -> Measurement:
    """Measure the surfaces in one photo.

    Parameters
    ----------
    path
        A JPEG, PNG, TIFF, WebP or HEIC file, or with the extra ``raw`` a camera raw file.
    fields
        ``"board"`` (against the strip's board edge), ``"floor"``, or both; both give their difference too.
    floor_is
        ``"print"`` or ``"wood"``: a camera tells print from wood less well, so the interval is wider.
    greys
        Without a strip in the photo: areas of known lightness.
    area
        Without a strip: the surface to measure, a rectangle or a polygon. It is reported as the board field.
    strip_greys
        What was learned of single strips (``Logbook.learned_greys()``); the one with the number of the strip in the
        photo is used, and the result's settings say so.
    profiles
        Learned camera profiles of the photo's light (``Logbook.camera_profiles()``); the one of the photo's camera is
        used.

    Returns
    -------
    Measurement
        Nothing is logged.

    Raises
    ------
    PhotoError
        If the file cannot be read as a photo.
    NoStripError
        If no strip is found and no grey is named.
    QualityError
        If the photo does not allow a figure.
    UsageError
        If fields, greys or area cannot be meant.

    Examples
    --------
    >>> found = measure_photo("board.jpg", fields=("board", "floor"))    # doctest: +SKIP
    >>> found.fields["board"].estimate.lab, found.pair                   # doctest: +SKIP
    """
    found = inspect_photo(
        path, fields=fields, floor_is=floor_is, greys=greys, area=area, strip_greys=strip_greys, profiles=profiles
    )
    return found[0].measurement


def inspect_photo(
    path: str | Path,
    *,
    fields: Sequence[FieldName] = ("board",),
    floor_is: SurfaceKind = "print",
    greys: Sequence[GreyArea] = (),
    area: SurfaceArea | None = None,
    strip_greys: Sequence[StripGreys] = (),
    profiles: Sequence[CameraProfile] = (),
) -> tuple[Inspection | HandInspection, LinearImage]:
    """Measure as `measure_photo` does; return all that was found, and the decoded photo, for a picture."""
    from finishlab.measure import measure, measure_by_hand
    from finishlab.photos import read_photo

    fields = tuple(dict.fromkeys(fields))
    check_how(fields, greys, area)
    path = Path(path)
    if area is not None:
        image = read_photo(path, long_side=_BY_HAND_LONG_SIDE)
        kind: SurfaceKind = floor_is if fields == ("floor",) else "wood"
        return measure_by_hand(image, greys, area, kind, profile_of(image, profiles)), image
    image, fit = _found_strip(path)
    known = {each.number: each for each in strip_greys}
    return measure(image, fields, floor_is, fit, known.get, profile_of(image, profiles)), image


def profile_of(image: LinearImage, profiles: Sequence[CameraProfile]) -> CameraProfile | None:
    """Return the profile of the camera that made a photo, or None."""
    camera = image.info.seen_by
    return next((each for each in profiles if camera and each.camera == camera), None)


def _found_strip(path: Path) -> tuple[LinearImage, StripFit]:
    """Return the photo at the least size that will do, and the strip in it."""
    from finishlab.imaging.finder import find_strip
    from finishlab.imaging.sharpness import looks_blurred
    from finishlab.photos import read_photo

    wanted: int | None = _QUICK_LONG_SIDE
    while True:
        image = read_photo(path, long_side=wanted)
        width, height = image.info.full_size
        finest = image.scale > _HALF if width * height > _VERY_LARGE else image.scale == 1.0
        try:
            fit = find_strip(image)
            if finest or fit.px_per_mm >= _ENOUGH_PX_PER_MM:
                return image, fit
        except NoStripError as error:
            if finest and looks_blurred(image):
                raise NoStripError(
                    error.code,
                    "No grey strip can be made out, since the photo is blurred.",
                    "Hold the phone still, tap the strip to focus, and photograph again.",
                ) from error
            if finest:
                raise
        wanted = max(image.size) * 2 - 1 if width * height > _VERY_LARGE else None
        del image  # before the next is decoded: a very large photo is not to be held twice


def photo_and_strip(path: Path, *, by_hand: bool = False) -> tuple[LinearImage, StripFit | None]:
    """Return a photo and the strip in it, None where none is found or, `by_hand`, none is looked for."""
    from finishlab.photos import read_photo

    if by_hand:
        return read_photo(path), None
    try:
        return _found_strip(path)
    except NoStripError:
        return read_photo(path, long_side=_QUICK_LONG_SIDE), None


def check_how(fields: Sequence[FieldName], greys: Sequence[GreyArea], area: SurfaceArea | None) -> None:
    """Check that what is to be measured can be meant.

    Raises
    ------
    UsageError
        ``unknown-field``, ``grey-and-area`` or ``one-area``.
    """
    if not fields or isinstance(fields, str) or not set(fields) <= {"board", "floor"}:
        raise UsageError("unknown-field", f"{fields!r} are no fields of the strip.", "Choose board, floor or both.")
    if bool(greys) != (area is not None):
        raise UsageError(
            "grey-and-area",
            "A grey and the surface to measure belong together.",
            "Name both: --grey X,Y,W,H:L and --area X,Y,W,H.",
        )
    if area is not None and len(set(fields)) > 1:
        raise UsageError("one-area", "By hand only one surface is measured in a photo.", "Name one field only.")
