"""Short lines about what was just done, for stderr."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from finishlab.logbook import StoredBoard, StoredSpot
    from finishlab.records import BoardRecord
    from finishlab.reports.rows import BoardRow, PhotoResult

__all__ = ["board_summary", "doubt_lines", "photos_summary", "product_words", "spot_summary", "untouched"]


def board_summary(board: StoredBoard, done: str = "logged") -> str:
    """Return a board in one line: what it is, its colour, its photos."""
    from finishlab.reports.rows import what_it_is
    from finishlab.workflow.rows import board_row

    return f"{board.number} {done}: {what_it_is(board.record)}{_lit(board_row(board))}, {_photos(board)}."


def photos_summary(board: StoredBoard, added: int, light: str) -> str:
    """Return in one line what further photos of a board showed: its colour in their light, beside all it has."""
    from finishlab.workflow.rows import board_row

    count = f"{added} photo{'' if added == 1 else 's'}"
    colour = _colour(board_row(board, light).lab)
    return f"{board.number}: {count} added{colour} in {light}; now {_photos(board)}."


def _lit(row: BoardRow) -> str:
    """Return a colour, with its light where the board was measured in several."""
    several = len({colour.light for colour in row.colours}) > 1
    return _colour(row.lab) + (f" in {row.light}" if several and row.light is not None else "")


def spot_summary(spot: StoredSpot, done: str = "logged") -> str:
    """Return a floor spot in one line."""
    from finishlab.workflow.rows import spot_row

    where = f" ({spot.record.spot})" if spot.record.spot else ""
    return f"{spot.number} {done}: {spot.record.surface}{where}{_colour(spot_row(spot).lab)}, {_photos(spot)}."


def product_words(record: BoardRecord) -> list[str]:
    """Return the words of a board's finish that say what was put on."""
    finish = record.finish
    words: list[str | None] = [record.stain, record.topcoat]
    if finish is not None:
        words += [f"{step.kind} stain" for step in finish.steps if step.kind is not None]
        words += [step.name for step in finish.steps]
        words += [finish.seal.kind] if finish.seal is not None else []
        words += (
            [finish.topcoat.kind, finish.topcoat.product, finish.topcoat.sheen] if finish.topcoat is not None else []
        )
    return [word for word in words if word]


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


def _colour(lab: tuple[float, float, float] | None) -> str:
    return "" if lab is None else ", L* {:.1f} a* {:.1f} b* {:.1f}".format(*(round(v, 1) + 0.0 for v in lab))


def _photos(each: StoredBoard | StoredSpot) -> str:
    count = len(each.measurements)
    lights = ", ".join(dict.fromkeys(m.light for m in each.measurements)) or each.record.light
    return f"{count} photo{'' if count == 1 else 's'} in {lights}"
