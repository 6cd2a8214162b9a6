"""The page of a logbook: one HTML file that holds all it shows and asks for nothing from outside."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishlab.reports.charts import IntervalBar, interval_chart
from finishlab.reports.files import write_atomically
from finishlab.reports.rows import BoardRow, Lab, SpotRow, what_it_is
from finishlab.reports.sentences import (
    CAUTIONS,
    answer,
    answer_detail,
    as_sentence,
    chance,
    doubts_once,
    floor_line,
    interval,
    next_steps,
    place_mark,
)
from finishlab.reports.swatch import hex_colour

if TYPE_CHECKING:
    from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = ["PageContent", "Picture", "page_html", "write_page"]


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo to show, small enough for a page.

    Raises
    ------
    ValueError
        If the bytes are not a JPEG, or still carry an Exif segment, which may say where it was taken.
    """

    jpeg: bytes
    width: int
    height: int
    caption: str
    alt: str
    """What the picture shows, for those who cannot see it."""

    def __post_init__(self) -> None:
        if not self.jpeg.startswith(b"\xff\xd8\xff"):
            raise ValueError("a picture for the page must be a JPEG")
        if b"Exif\x00\x00" in self.jpeg[:65536]:
            raise ValueError("a picture for the page must not carry camera or location data")
        if not self.alt.strip():
            raise ValueError("a picture for the page needs a text in its place")

    @property
    def data_uri(self) -> str:
        """The picture as text within the page."""
        return f"data:image/jpeg;base64,{base64.b64encode(self.jpeg).decode()}"


@dataclass(frozen=True, slots=True)
class PageContent:
    """Everything the page shows."""

    title: str
    """Name of the project or logbook."""
    made: str
    """Date the page was made, ISO 8601."""
    version: str
    """finishlab's version."""
    ranking: Ranking
    boards: Mapping[str, BoardRow]
    """What is logged of each board, by its number."""
    spots: tuple[SpotRow, ...] = ()
    pictures: tuple[Picture, ...] = ()
    rendered: bool = False
    """The photos are computed pictures of surfaces that do not exist; the page says so."""
    extra: Mapping[str, str] = field(default_factory=dict)
    """Further lines for the method: name -> text (strip number, camera, settings)."""


def page_html(content: PageContent) -> str:
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


def write_page(path: str | Path, content: PageContent) -> None:
    """Write the page in one step.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_atomically(path, page_html(content).encode("utf-8", "replace"))


def _values(content: PageContent) -> dict[str, Any]:
    from markupsafe import Markup

    ranking = content.ranking
    floor = hex_colour(ranking.floor.lab)
    ranked = [_board_values(board, content.boards.get(board.board)) for board in ranking.boards]
    bars = [
        IntervalBar(b.board, b.delta_e00.value, b.delta_e00.low, b.delta_e00.high, values["colour"])
        for b, values in zip(ranking.boards, ranked, strict=True)
    ]
    return {
        "content": content,
        "answer": answer(ranking),
        "detail": answer_detail(ranking, content.boards),
        "floor_colour": floor,
        "floor_line": floor_line(ranking.floor),
        "floor_spots": [
            {
                "number": s.number,
                "where": s.record.spot or "",
                "light": s.record.light,
                "figures": ", ".join(f"{v:.1f}" for v in s.lab),
                "colour": hex_colour(s.lab),
            }
            for s in content.spots
            if s.lab is not None
        ],
        "ranked": ranked,
        "any_tied": any(b.tied for b in ranking.boards),
        # The chart escapes what it is given; it is markup of this package's own.
        "chart": Markup(interval_chart(bars, floor_spread=ranking.floor.spread_e00)) if bars else None,  # noqa: S704
        "doubts": doubts_once(ranking),
        "next_steps": next_steps(ranking, content.boards),
        "cautions": CAUTIONS,
    }


def _board_values(board: RankedBoard, row: BoardRow | None) -> dict[str, Any]:
    return {
        "place": place_mark(board),
        "number": board.board,
        "recipe": "" if row is None else what_it_is(row.record),
        "purpose": "" if row is None or row.record.purpose == "candidate" else row.record.purpose,
        "colour": hex_colour(board.lab),
        "lab": _lab(board.lab),
        "value": f"{board.delta_e00.value:.1f}",
        "interval": interval(board.delta_e00),
        "chance": chance(board.probability_closest),
        "ratio": "" if board.ratio_to_floor_spread is None else f"{board.ratio_to_floor_spread:.1f}",
        "words": as_sentence(board.in_words),
    }


def _lab(lab: Lab) -> str:
    return "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*lab)
