"""All that a report shows, gathered from a logbook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Final

from finishlab.board.shown import SpotRow
from finishlab.matching.aims import MATCH, Aim
from finishlab.rank.comparing import Comparison, compare
from finishlab.rank.sentences import answer
from finishlab.show.pages import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from finishlab.logbook import Logbook, StoredBoard
    from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = ["MOST_PICTURED", "MOST_TOLD", "ReportContent", "gather_report", "report_document"]

MOST_PICTURED: Final = 20
"""Boards that are drawn: more would hide each other."""
MOST_TOLD: Final = 60
"""Boards that are listed; of the rest their number is said."""
_TITLE: Final = "Stair finish and floor"
_RENDERED: Final = "Rendered"
"""How a rendered photo's camera is named, so that no report passes it for a photograph."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportContent(Comparison):
    """Everything a report shows: a comparison, with pictures and what it is called."""

    title: str
    """Name of the project or logbook."""
    made: str
    """Date the report was made, ISO 8601."""
    version: str
    """finishlab's version."""
    spots: tuple[SpotRow, ...] = ()
    crops: Mapping[str, Picture] = field(default_factory=dict)
    """Pictures by board number."""
    rendered: bool = False
    """The photos are computed pictures of surfaces that do not exist; the report says so."""
    extra: Mapping[str, str] = field(default_factory=dict)
    """Further lines for the method: name -> text (strip number, camera, settings)."""

    @property
    def pictured(self) -> tuple[RankedBoard, ...]:
        """The boards that are drawn, the nearest first."""
        return tuple(self.ranking.boards[:MOST_PICTURED])

    @property
    def told(self) -> Ranking:
        """The ranking of the boards that are listed, the nearest first."""
        return replace(self.ranking, boards=self.ranking.boards[:MOST_TOLD])


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
        As `finishlab.rank.comparing.compare` takes them.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards`` if there is nothing to compare.
    """
    from finishlab.board.shown import photo_namer, spot_row
    from finishlab.record import today
    from finishlab.report.crops import crops_of
    from finishlab.version import __version__

    found = compare(log, light=light, aim=aim, other=other).as_measured()
    ranking = found.ranking
    shown = [log.board(board.board) for board in ranking.boards[:MOST_PICTURED]]
    spots = [spot for spot in log.floor_spots() if any(m.light == found.light for m in spot.measurements)]
    name = photo_namer(log)
    return ReportContent(
        **{each.name: getattr(found, each.name) for each in fields(found)},
        title=title or _TITLE,
        made=today().isoformat(),
        version=__version__,
        spots=tuple(spot_row(spot, name=name) for spot in spots),
        crops=crops_of(log, shown, found.light, ranking.floor.lab),
        rendered=_is_rendered(log, shown, found.light),
        extra=_extra(log, found),
    )


def report_document(content: ReportContent, *, page: Path, pdf: Path | None) -> dict[str, object]:
    """Return ``finishlab/report/1``: where a report was written, and what it says first."""
    return {
        "format": "finishlab/report/1",
        "page": str(page),
        "pdf": None if pdf is None else str(pdf),
        "title": content.title,
        "light": content.light,
        "answer": answer(content.ranking),
        "rendered": content.rendered,
        "boards": list(content.ranking.numbers),
        "crops": list(content.crops),
    }


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
    from finishlab.strip.trials import trust_line

    strips = log.strips()
    named = ", ".join(f"{number:04d}" for number in strips)
    extra = {"Strip" if len(strips) == 1 else "Strips": named} if strips else {}
    tried = trust_line(found.trust)
    return extra | ({"Trials": tried} if tried else {})
