"""A logbook's report: gathered here, written as a page and as a PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.matching.aims import MATCH, Aim
from finishlab.reports.report.contents import MOST_PICTURED, ReportContent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from finishlab.imaging.strip import Paper
    from finishlab.logbook import Logbook, StoredBoard
    from finishlab.workflow.comparing import Comparison

__all__ = ["gather_report", "report_of", "write_report"]

_TITLE: Final = "Stair finish and floor"
_RENDERED: Final = "Rendered"
"""How a rendered photo's camera is named, so that no report passes it for a photograph."""


def gather_report(
    log: Logbook, *, title: str | None = None, light: str | None = None, aim: Aim = MATCH, other: Aim | None = None
) -> ReportContent:
    """Rank a logbook's boards and gather all that a report shows of them.

    Parameters
    ----------
    log
        An open logbook.
    title
        What the report is headed by.
    light, aim, other
        As `finishlab.workflow.comparing.compare` takes them.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards`` if there is nothing to compare.
    """
    from finishlab.workflow.comparing import compare

    return report_of(log, compare(log, light=light, aim=aim, other=other), title=title)


def report_of(log: Logbook, found: Comparison, *, title: str | None = None) -> ReportContent:
    """Gather a report of a comparison that was made already."""
    from finishlab.records import today
    from finishlab.version import __version__
    from finishlab.workflow.crops import crops_of
    from finishlab.workflow.rows import photo_namer, spot_row

    ranking = found.ranking
    shown = [log.board(board.board) for board in ranking.boards[:MOST_PICTURED]]
    spots = [spot for spot in log.floor_spots() if any(m.light == found.light for m in spot.measurements)]
    name = photo_namer(log)
    return ReportContent(
        title=title or _TITLE,
        made=today().isoformat(),
        version=__version__,
        ranking=ranking,
        boards=found.boards,
        light=found.light,
        spots=tuple(spot_row(spot, name=name) for spot in spots),
        crops=crops_of(log, shown, found.light, ranking.floor.lab),
        rendered=_is_rendered(log, shown, found.light),
        lights=found.lights,
        choices=found.choices,
        recipes=found.recipes,
        left_out=found.left_out,
        costs=found.costs,
        extra=_extra(log, found),
    )


def write_report(
    content: ReportContent, *, page: Path | None = None, pdf: Path | None = None, paper: Paper = "a4"
) -> None:
    """Write a report.

    Parameters
    ----------
    content
        What it holds.
    page
        Where the HTML page goes; None writes none.
    pdf
        Where the PDF goes; None writes none.
    paper
        Size of the PDF's pages.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    from finishlab.photos.profiles import matrix_profile

    if page is not None:
        from finishlab.reports.report.page import write_page

        write_page(page, content)
    if pdf is not None:
        from finishlab.reports.report.pdf import write_pdf

        write_pdf(pdf, content, matrix_profile("sRGB"), paper=paper)


def _is_rendered(log: Logbook, boards: Sequence[StoredBoard], light: str) -> bool:
    """Return whether a photo of a board was computed, as the demo's are."""
    from finishlab.errors import LogbookError

    for photo in {measured.photo for board in boards for measured in board.measurements if measured.light == light}:
        try:
            camera = log.photo(photo).camera_model or ""
        except LogbookError:  # its file is gone
            continue
        if camera.startswith(_RENDERED):
            return True
    return False


def _extra(log: Logbook, found: Comparison) -> dict[str, str]:
    from finishlab.reports.trials import trust_line

    strips = log.strips()
    named = ", ".join(f"{number:04d}" for number in strips)
    extra = {"Strip" if len(strips) == 1 else "Strips": named} if strips else {}
    tried = trust_line(found.trust)
    return extra | ({"Trials": tried} if tried else {})
