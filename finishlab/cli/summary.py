"""Short lines about what was just done, for stderr."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from finishlab.logbook import StoredBoard, StoredSpot
    from finishlab.measuring.photos import PhotoResult

__all__ = ["colour_words", "doubt_lines", "photos_words", "untouched"]


def untouched(results: Sequence[PhotoResult]) -> str:
    """Return that nothing was logged, and because of how many photos."""
    failed = sum(result.error is not None for result in results)
    if len(results) == 1:
        return "Nothing was logged."
    return f"Nothing was logged, because {failed} of {len(results)} photos failed; leave those out to log the others."


def doubt_lines(results: Sequence[PhotoResult]) -> list[str]:
    """Return each doubt once, with the photos it is about; a photo is easily taken again while the light is there."""
    about: dict[str, list[str]] = {}
    for result in results:
        for found in result.measurement.fields.values() if result.measurement is not None else ():
            for doubt in found.doubts:
                named = about.setdefault(doubt.message, [])
                if result.path not in named:
                    named.append(result.path)
    several = len(results) > 1
    return [f"  - {', '.join(paths) + ': ' if several else ''}{message}" for message, paths in about.items()]


def colour_words(lab: tuple[float, float, float] | None) -> str:
    """Return a colour for the end of a line; nothing while it is not measured."""
    return "" if lab is None else ", L* {:.1f} a* {:.1f} b* {:.1f}".format(*(round(v, 1) + 0.0 for v in lab))


def photos_words(each: StoredBoard | StoredSpot) -> str:
    """Return how many photos show a thing, and in which lights."""
    count = len(each.measurements)
    lights = ", ".join(dict.fromkeys(m.light for m in each.measurements)) or each.record.light
    return f"{count} photo{'' if count == 1 else 's'} in {lights}"
