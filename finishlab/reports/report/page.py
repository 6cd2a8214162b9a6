"""The report as a page: one HTML file that holds all it shows and asks for nothing from outside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from finishlab.files import write_atomically
from finishlab.reports.details import board_details
from finishlab.reports.report.contents import Crop, ReportContent
from finishlab.reports.report.pictures import drawings
from finishlab.reports.report.story import LABELS_WIN, METHOD, RENDERED, Story, tell
from finishlab.reports.rows import BoardRow, what_it_is
from finishlab.reports.sentences import CAUTIONS, as_sentence, chance, interval, place_mark
from finishlab.reports.swatch import hex_colour

if TYPE_CHECKING:
    from finishlab.matching.ranking import RankedBoard

__all__ = ["page_html", "write_page"]

_BAR_MM: Final = 50
_STAGED: Final = (2, 4)
"""Fewest and most boards shown at the top: those that may be the nearest, or the two nearest."""


def page_html(content: ReportContent) -> str:
    """Return the page as HTML text."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates", encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("page.html.j2").render(_values(content))


def write_page(path: str | Path, content: ReportContent) -> None:
    """Write the page in one step.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_atomically(path, page_html(content).encode("utf-8", "replace"))


def _values(content: ReportContent) -> dict[str, Any]:
    ranking = content.ranking
    story = tell(content)
    leaders = len(ranking.leaders) if ranking.boards else 0
    staged = list(content.crops)[: min(max(leaders, _STAGED[0]), _STAGED[1])]
    told = content.told.boards
    return {
        "content": content,
        "story": story,
        "method": METHOD,
        "rendered": RENDERED,
        "labels_win": LABELS_WIN,
        "cautions": CAUTIONS,
        "floor_colour": hex_colour(ranking.floor.lab),
        "first": _board_values(ranking.boards[0], None) if ranking.boards else None,
        "staged": [_crop_values(content.crops[number]) for number in staged],
        "crops": [_crop_values(c) for number, c in content.crops.items() if number not in staged],
        "drawings": _drawn(content),
        "boards": [_board_values(board, content.boards.get(board.board)) for board in told],
        "more": len(ranking.boards) - len(told),
        "any_tied": any(board.tied for board in told),
        "spots": _spots(content),
        "tables": _tables(story),
    }


def _drawn(content: ReportContent) -> list[dict[str, Any]]:
    from markupsafe import Markup

    return [
        # The drawing escapes what it is given; it is markup of this package's own.
        {"heading": d.heading, "note": d.note, "svg": Markup(d.drawing.svg(d.ident))}  # noqa: S704
        for d in drawings(content)
    ]


def _crop_values(crop: Crop) -> dict[str, Any]:
    return {
        "uri": crop.data_uri,
        "width": crop.width,
        "height": crop.height,
        "alt": crop.alt,
        "caption": crop.caption,
        "bar": f"{100 * _BAR_MM / crop.width_mm:.1f}",
        "bar_words": f"{_BAR_MM} mm",
    }


def _board_values(board: RankedBoard, row: BoardRow | None) -> dict[str, Any]:
    score = board.score
    return {
        "place": place_mark(board),
        "number": board.board,
        "recipe": "" if row is None else what_it_is(row.record),
        "colour": hex_colour(board.lab),
        "lab": "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*board.lab),
        "figures": ", ".join(f"{value:.1f}" for value in board.lab),
        "value": f"{board.delta_e00.value:.1f}",
        "interval": interval(board.delta_e00),
        "score": "" if score is None or score == board.delta_e00 else f"{score.value:.1f} ({interval(score)})",
        "chance": chance(board.probability_closest),
        "within": "" if board.within_limits is None else chance(board.within_limits),
        "ratio": "" if board.ratio_to_floor_spread is None else f"{board.ratio_to_floor_spread:.1f}",
        "grain": "" if board.colours_e00 is None else f"{board.colours_e00:.1f}",
        "photos": board.photos,
        "pairs": board.pairs,
        "final": board.final,
        "words": board.sentence or as_sentence(board.in_words),
        "details": () if row is None else board_details(row.record),
    }


def _spots(content: ReportContent) -> list[dict[str, str]]:
    return [
        {
            "number": spot.number,
            "where": spot.record.spot or "",
            "light": spot.record.light,
            "figures": ", ".join(f"{v:.1f}" for v in spot.lab),
            "colour": hex_colour(spot.lab),
        }
        for spot in content.spots
        if spot.lab is not None
    ]


def _tables(story: Story) -> list[dict[str, Any]]:
    return [
        {"ident": table.ident, "heading": table.heading, "intro": table.intro, "head": table.head, "rows": table.rows}
        for table in story.tables
    ]
