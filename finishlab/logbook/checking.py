"""A logbook looked over, some of its photos measured again, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.errors import FinishlabError
from finishlab.logbook.audit import ASIDE, Finding
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import StoredBoard, StoredMeasurement, StoredSpot
from finishlab.measuring.logged import measured_again
from finishlab.show.document import Document, Line, Listing

__all__ = ["Again", "check_document", "measure_sample"]

SAME: Final = 0.005
"""CIEDE2000 up to which a colour counts as the same: two decimals are shown."""


@dataclass(frozen=True, slots=True)
class Again:
    """A logged colour beside what its photo gives today."""

    number: str
    photo: str
    version: str
    """finishlab's version when it was logged."""
    delta_e00: float | None
    """CIEDE2000 between the two; None if the photo gives no colour."""
    error: FinishlabError | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form."""
        return {
            "number": self.number,
            "photo": self.photo,
            "version": self.version,
            "delta_e00": self.delta_e00,
            "error": None if self.error is None else self.error.as_dict(),
        }


def measure_sample(log: Logbook, size: int, on_photo: Callable[[], None] = lambda: None) -> list[Again]:
    """Measure some logged photos again, spread evenly over boards and floor; nothing is logged."""
    things: list[StoredBoard | StoredSpot] = [*log.floor_spots(), *log.boards()]
    logged = [(each.number, found) for each in things for found in each.measurements]
    step = max(1, -(-len(logged) // size)) if size else 0
    again = []
    for number, found in logged[::step] if step else ():
        again.append(_again(log, number, found))
        on_photo()
    return again


def _again(log: Logbook, number: str, found: StoredMeasurement) -> Again:
    try:
        result = measured_again(log, found)
    except FinishlabError as error:
        return Again(number, found.photo[:16], found.version, None, error)
    now = None if result.measurement is None else result.measurement.fields.get(found.field.name)
    if now is None:
        return Again(number, found.photo[:16], found.version, None, result.error)
    off = float(delta_e_00(found.field.estimate.lab, now.estimate.lab))
    return Again(number, found.photo[:16], found.version, round(off, 4))


def check_document(found: Sequence[Finding], again: Sequence[Again], *, repair: bool) -> Document:
    """Return what a check says."""
    open_ones = [each for each in found if not each.mended]
    moved = [each for each in again if each.delta_e00 is not None and each.delta_e00 > SAME]
    failed = [each for each in again if each.error is not None]
    blocks: list[Line | Listing] = [
        Listing("Not as it should be:", [each.what for each in open_ones]),
        Listing("Put right, or moved aside:", [each.what for each in found if each.mended]),
        Listing("Measured again, photos that give no colour:", [_failed(each) for each in failed]),
        Listing(
            "Measured again, colours that differ from what was logged (finishlab remeasure takes the new ones):",
            [f"{each.number}: dE00 {each.delta_e00:.2f}, logged by finishlab {each.version}" for each in moved],
        ),
    ]
    same = len(again) - len(moved) - len(failed)
    if again:
        blocks.append(Line(f"{same} of {len(again)} colours measured again are as they were logged."))
    blocks.append(Line(_conclusion(open_ones, repair=repair, mended=len(found) - len(open_ones))))
    data = {
        "sound": not open_ones,
        "findings": [{"code": each.code, "what": each.what, "mended": each.mended} for each in found],
        "measured_again": [each.as_dict() for each in again],
    }
    return Document("check", data, blocks)


def _failed(each: Again) -> str:
    return f"{each.number}: {'' if each.error is None else each.error.message}"


def _conclusion(left: Sequence[Finding], *, repair: bool, mended: int) -> str:
    if left and not repair:
        return "Nothing was changed. What can be mended is moved aside, never deleted, by: finishlab check --repair"
    if left:
        return "What is left wants a backup: photos can be put back by adding them again, the rest from a copy."
    return f"What was moved aside lies in the logbook's folder {ASIDE}/." if mended else "The logbook is sound."
