"""The demo's page: the ranking by daylight, the pictures it rests on, and what the lamp says."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from finishlab.logbook import Logbook, StoredBoard
    from finishlab.reports.page import Picture
    from finishlab.workflow.comparing import Comparison

__all__ = ["write_demo_page"]

_TITLE: Final = "Demo: stair treads of cherry for a smoked-larch floor"
_LONG_SIDE: Final = 800
_QUALITY: Final = 80
_CHECKED: Final = ("B2", "B4", "B6", "B8", "B10")
"""Boards whose photo is shown with all that was found in it: knot, glare, offcut, and both with the floor beside."""


def write_demo_page(folder: Path, page: Path, lights: Sequence[str]) -> dict[str, Any]:
    """Write the page of a demo's logbook.

    Parameters
    ----------
    folder
        The logbook.
    page
        Where to write.
    lights
        Lights to rank in; the page shows the first and tells of the others.

    Returns
    -------
    dict
        Light -> its ranking as a ``finishlab/ranking/1`` document.

    Raises
    ------
    OutputError
        If the page cannot be written.
    """
    from finishlab.logbook import Logbook
    from finishlab.records import today
    from finishlab.reports.documents import ranking_document
    from finishlab.reports.page import PageContent, write_page
    from finishlab.version import __version__
    from finishlab.workflow.comparing import compare
    from finishlab.workflow.rows import photo_namer, spot_row

    with Logbook.open(folder) as log:
        found = [compare(log, light=light) for light in lights]
        first, name = found[0], photo_namer(log)
        content = PageContent(
            title=_TITLE,
            made=today().isoformat(),
            version=__version__,
            ranking=first.ranking,
            boards=first.boards,
            spots=tuple(spot_row(spot, name=name) for spot in log.floor_spots(first.light)),
            pictures=_pictures(log, first),
            rendered=True,
            extra=_extra(log, found),
        )
    write_page(page, content)
    return {each.light: dict(ranking_document(each.ranking)) for each in found}


def _pictures(log: Logbook, found: Comparison) -> tuple[Picture, ...]:
    boards = {board.number: board for board in log.boards(found.light)}
    return tuple(_picture(log, boards[ranked.board]) for ranked in found.ranking.boards)


def _picture(log: Logbook, board: StoredBoard) -> Picture:
    """Return a board's photo, small; for some with strip, fields and what was sampled drawn in."""
    from finishlab.photos import thumbnail, write_jpeg
    from finishlab.reports.page import Picture
    from finishlab.reports.rows import what_it_is
    from finishlab.workflow.measuring import inspect_photo
    from finishlab.workflow.pictures import picture_of

    path = log.photo_path(board.measurements[0].photo)
    what = what_it_is(board.record)
    if board.number not in _CHECKED:
        jpeg = thumbnail(path, _LONG_SIDE, quality=_QUALITY)
        caption, alt = f"{board.number}: {what}.", f"Board {board.number} above the grey strip, rendered"
    else:
        inspection, image = inspect_photo(
            path, fields=("board", "floor") if board.pairs else ("board",), strip_greys=log.learned_greys()
        )
        jpeg = write_jpeg(picture_of(inspection, image), quality=_QUALITY, long_side=_LONG_SIDE)
        caption = f"{board.number}: {what}. With what was found: the strip, the field, the outline of what was sampled."
        alt = f"Board {board.number} above the grey strip, rendered, with outlines of what was sampled"
    width, height = _size(jpeg)
    return Picture(jpeg, width, height, caption, alt)


def _size(jpeg: bytes) -> tuple[int, int]:
    """Return width and height of a JPEG, from its frame header (ITU-T T.81, B.2.2)."""
    at = 2
    while at + 9 <= len(jpeg):
        marker, length = jpeg[at + 1], int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if 0xC0 <= marker <= 0xCF and marker not in {0xC4, 0xC8, 0xCC}:
            return int.from_bytes(jpeg[at + 7 : at + 9], "big"), int.from_bytes(jpeg[at + 5 : at + 7], "big")
        at += 2 + length
    raise ValueError("not a JPEG")


def _extra(log: Logbook, found: Sequence[Comparison]) -> dict[str, str]:
    from finishlab.reports.sentences import answer

    strips = ", ".join(f"{number:04d}" for number in log.strips())
    extra = {"Photos": "rendered scenes, not photographs", "Strip": f"number {strips}, read in every photo"}
    return extra | {f"By {each.light}": answer(each.ranking) for each in found[1:]}
