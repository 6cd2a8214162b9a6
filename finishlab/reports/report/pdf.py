"""The report as a PDF, for paper and for those who file things: the same words and drawings as the page."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from finishlab.files import write_atomically
from finishlab.imaging.strip import PAGES, Paper
from finishlab.reports.details import board_details
from finishlab.reports.plots.drawing import WIDTH
from finishlab.reports.print.fonts import MISSING_NOTE, beside
from finishlab.reports.print.sheet import POINTS_PER_MM
from finishlab.reports.report.contents import Crop, ReportContent
from finishlab.reports.report.letters import BOLD, REGULAR, marked, own_letters, report_letters_missing
from finishlab.reports.report.pictures import ReportDrawing, drawings
from finishlab.reports.report.story import LABELS_WIN, METHOD, RENDERED, Story, tell
from finishlab.reports.rows import what_it_is
from finishlab.reports.sentences import CAUTIONS, as_sentence, chance, interval, place_mark
from finishlab.reports.swatch import hex_colour

if TYPE_CHECKING:
    from finishlab.matching.ranking import RankedBoard

__all__ = ["pdf_bytes", "write_pdf"]

_MARGIN: Final = 16.0
_FRAME: Final = 6.0
"""Points that the library's frame keeps free of itself."""
_DPI: Final = 220
_GUTTER: Final = 14.0
"""Points between two columns."""
_MOST_HEIGHT: Final = 225.0
_SPARE: Final = 24.0
"""Points of a page left over by the highest columns, for the frame and the space below a row."""
_BAR_MM: Final = 50.0
_SURROUND: Final = "#777777"
_LINE: Final = "#c4c4c4"
_SOFT: Final = "#4a4a4a"


def write_pdf(path: str | Path, content: ReportContent, profile: bytes, *, paper: Paper = "a4") -> None:
    """Write the PDF in one step.

    Parameters
    ----------
    path
        Where to.
    content
        What it holds.
    profile
        ICC profile of sRGB, for the drawings.
    paper
        Size of the pages.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_atomically(path, pdf_bytes(content, profile, paper=paper))


def pdf_bytes(content: ReportContent, profile: bytes, *, paper: Paper = "a4") -> bytes:
    """Return the PDF; the same content gives the same bytes."""
    from reportlab.platypus import SimpleDocTemplate

    own_letters()
    out = io.BytesIO()
    width, height = (side * POINTS_PER_MM for side in PAGES[paper])
    margin = _MARGIN * POINTS_PER_MM
    story = tell(content)
    document = SimpleDocTemplate(
        out,
        pagesize=(width, height),
        leftMargin=margin - _FRAME,
        rightMargin=margin - _FRAME,
        topMargin=margin,
        bottomMargin=margin,
        title=f"{content.title}: {story.answer}",
        author="finishlab",
        subject="Which board comes closest to the floor",
        creator="finishlab",
        lang="en",
        invariant=1,
    )
    flow = [*_top(content, story), *_pictures(content, profile, width - 2 * margin, height - 2 * margin - _SPARE)]
    flow += [*_boards(content, story, width - 2 * margin), *_words(content, story, width - 2 * margin)]
    footer = partial(_footer, f"finishlab {content.version} · {content.title} · {content.made}")
    document.build(flow, onFirstPage=footer, onLaterPages=footer)
    return out.getvalue()


@cache
def _styles() -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle

    plain = ParagraphStyle("plain", fontName=REGULAR, fontSize=9, leading=12.5, spaceAfter=4, textColor="#1a1a1a")

    def style(name: str, **changes: object) -> ParagraphStyle:
        return ParagraphStyle(name, parent=plain, **changes)

    return {
        "plain": plain,
        "note": style("note", fontSize=8, leading=10.5, textColor=_SOFT),
        "answer": style("answer", fontName=BOLD, fontSize=17, leading=21, spaceAfter=5),
        "lead": style("lead", fontSize=10.5, leading=14),
        "heading": style("heading", fontName=BOLD, fontSize=12, leading=15, spaceBefore=12, spaceAfter=5),
        "small": style("small", fontName=BOLD, fontSize=9.5, leading=12, spaceBefore=7, spaceAfter=3),
        "cell": style("cell", fontSize=8, leading=10, spaceAfter=0),
        "head": style("head", fontName=BOLD, fontSize=8, leading=10, spaceAfter=0),
        "notice": style(
            "notice", borderColor="#1a1a1a", borderWidth=1.2, borderPadding=5, spaceBefore=11, spaceAfter=10
        ),
    }


def _text(words: str, style: str = "plain", *, bold: str = "") -> Any:  # noqa: ANN401 - reportlab has no types
    from reportlab.platypus import Paragraph

    lead = f"<b>{marked(bold)}</b> " if bold else ""
    return Paragraph(lead + marked(words), _styles()[style])


def _heading(words: str, style: str = "heading", *, room: float = 40.0) -> list[Any]:
    """Return a heading that is not left alone at the foot of a page: `room` millimetres are wanted below it."""
    from reportlab.platypus import CondPageBreak

    return [CondPageBreak(room * POINTS_PER_MM), _text(words, style)]


def _footer(words: str, canvas: Any, document: Any) -> None:  # noqa: ANN401 - reportlab has no types
    width, _ = document.pagesize
    canvas.saveState()
    canvas.setFont(REGULAR, 7.5)
    canvas.setFillGray(0.3)
    y = _MARGIN * POINTS_PER_MM * 0.55
    line = canvas.beginText(_MARGIN * POINTS_PER_MM, y)
    for font, piece in beside(words[:110], own_letters()):
        line.setFont(font or REGULAR, 7.5)
        line.textOut(piece)
    canvas.drawText(line)
    canvas.drawRightString(width - _MARGIN * POINTS_PER_MM, y, f"{document.page}")
    canvas.restoreState()


def _top(content: ReportContent, story: Story) -> list[Any]:
    light = f" · {content.light}" if content.light else ""
    flow = [_text(f"{content.title} · {content.made}{light}", "note"), _text(story.answer, "answer")]
    if story.detail:
        flow.append(_text(story.detail, "lead"))
    flow += [_text(other) for other in story.others]
    if story.aim:
        flow.append(_text(story.aim))
    if content.rendered:
        flow.append(_text(RENDERED[1], "notice", bold=RENDERED[0]))
    return flow


def _pictures(content: ReportContent, profile: bytes, width: float, height: float) -> list[Any]:
    found = drawings(content, columns=4)
    if not found:
        return []
    half = (width - _GUTTER) / 2
    crops = [_crop(crop, half) for crop in content.crops.values()]
    flow = [*_heading("Pictures", room=60.0), *_side_by_side(crops[:2], width)]
    whole = [each for each in found if each.drawing.size[0] > WIDTH]
    for each in whole:
        flow += _side_by_side([_drawing(each, profile, width)], width, columns=1)
    blocks = [_drawing(each, profile, half) for each in found if each not in whole]
    for columns in _balanced(blocks, half, height):
        flow += _side_by_side(columns, width)
    if len(crops) > 2:
        flow += [*_heading("Cut from the photos", "small", room=60.0), *_side_by_side(crops[2:], width)]
    return flow


def _balanced(blocks: Sequence[list[Any]], width: float, most: float) -> list[tuple[list[Any], list[Any]]]:
    """Share blocks out to pairs of columns, each to the shorter one, none higher than `most` points."""
    pairs: list[tuple[list[Any], list[Any]]] = []
    heights = [math.inf, math.inf]
    for block in blocks:
        high = sum(part.wrap(width, most)[1] + part.getSpaceBefore() + part.getSpaceAfter() for part in block)
        if min(heights) + high > most:
            pairs.append(([], []))
            heights = [0.0, 0.0]
        shorter = heights.index(min(heights))
        pairs[-1][shorter].extend(block)
        heights[shorter] += high
    return pairs


def _side_by_side(blocks: Sequence[list[Any]], width: float, *, columns: int = 2) -> list[Any]:
    """Lay blocks out in rows; a row stays on one page."""
    from reportlab.platypus import Table

    rows = []
    for i in range(0, len(blocks), columns):
        row = [*blocks[i : i + columns], *[[]] * columns][:columns]
        table = Table([row], colWidths=[(width + _GUTTER) / columns] * columns, hAlign="LEFT")
        whole = ((0, 0), (-1, -1))
        table.setStyle(
            [
                ("VALIGN", *whole, "TOP"),
                *((f"{side}PADDING", *whole, 0) for side in ("LEFT", "TOP")),
                ("RIGHTPADDING", *whole, _GUTTER),
                ("BOTTOMPADDING", *whole, 9),
            ]
        )
        rows.append(table)
    return rows


def _drawing(each: ReportDrawing, profile: bytes, width: float) -> list[Any]:
    from reportlab.platypus import Image

    wide, high = each.drawing.size
    height = width * high / wide
    if height > _MOST_HEIGHT * POINTS_PER_MM:
        height = _MOST_HEIGHT * POINTS_PER_MM
        width = height * wide / high
    image = Image(io.BytesIO(each.drawing.png(profile, dpi=_DPI)), width=width, height=height)
    image.hAlign = "LEFT"
    return [_text(each.heading, "small"), image, _text(each.note, "note")]


@cache
def _flowable() -> Any:  # noqa: ANN401 - reportlab has no types
    """Return the class of a block that is drawn by a function; made late, as reportlab is loaded late."""
    from reportlab.platypus import Flowable

    class Drawn(Flowable):  # type: ignore[misc]
        def __init__(self, width: float, height: float, draw: Callable[[Any], None]) -> None:
            super().__init__()
            self.width, self.height = width, height
            self._draw = draw

        def draw(self) -> None:
            self._draw(self.canv)

    return Drawn


def _crop(crop: Crop, width: float) -> list[Any]:
    """Return a crop on neutral grey with its scale and its words."""
    from reportlab.lib.utils import ImageReader

    pad = 2.2 * POINTS_PER_MM
    inner = width - 2 * pad
    height = inner * crop.height / crop.width
    total = height + 2 * pad + 11

    def draw(canvas: Any) -> None:  # noqa: ANN401 - reportlab has no types
        canvas.setFillColor(_SURROUND)
        canvas.rect(0, 11, width, height + 2 * pad, stroke=0, fill=1)
        canvas.drawImage(ImageReader(io.BytesIO(crop.jpeg)), pad, 11 + pad, inner, height)
        canvas.setStrokeGray(0)
        canvas.setLineWidth(1.2)
        middle = 11 + pad + height / 2
        for x in (0.0, width - pad * 0.8):
            canvas.line(x, middle, x + pad * 0.8, middle)
        canvas.setLineWidth(0.8)
        end = pad + inner * _BAR_MM / crop.width_mm
        canvas.lines([(pad, 3, end, 3), (pad, 3, pad, 7), (end, 3, end, 7)])
        canvas.setFont(REGULAR, 7.5)
        canvas.setFillGray(0.1)
        canvas.drawString(end + 4, 2, f"{_BAR_MM:g} mm")

    return [_flowable()(width, total, draw), _text(crop.caption, "note")]


def _boards(content: ReportContent, story: Story, width: float) -> list[Any]:
    ranking = content.ranking
    if not ranking.boards:
        return []
    told = content.told.boards
    head = ["place", "board | floor", "what it is, and how it differs", "dE00 (95 %)", "closest", "L*, a*, b*"]
    rows = [[_text(name, "head") for name in head]]
    rows += [_board_cells(board, content) for board in told]
    shares = (0.07, 0.13, 0.42, 0.15, 0.09, 0.14)
    flow = [*_heading("The boards, from the nearest on", room=60.0), _table(rows, [width * share for share in shares])]
    notes = "Of each swatch the left half is the board, the right half the floor; dE00 is CIEDE2000 to the floor."
    if any(board.tied for board in told):
        notes += " The photos leave the order of boards that share a letter open."
    if len(ranking.boards) > len(told):
        notes += f" {len(ranking.boards) - len(told)} more boards are ranked behind these."
    flow.append(_text(notes, "note"))
    if story.open:
        flow += [*_heading("What stays open", "small", room=20.0), *(_text(line) for line in story.open)]
    for table in story.tables:
        cells = [[_text(name, "head") for name in table.head]]
        cells += [[_text(cell, "head" if i == 0 else "cell") for i, cell in enumerate(row)] for row in table.rows]
        columns = [width / len(table.head)] * len(table.head)
        flow += [*_heading(table.heading, "small"), _text(table.intro, "note"), _table(cells, columns)]
    return flow


def _board_cells(board: RankedBoard, content: ReportContent) -> list[Any]:
    row = content.boards.get(board.board)
    words = board.sentence or as_sentence(board.in_words)
    recipe = "" if row is None else f": {what_it_is(row.record)}"
    told = [_text(recipe.removeprefix(": "), "cell", bold=board.board), _text(words, "cell")]
    if not board.final:
        told.append(_text("No verdict yet.", "head"))
    if row is not None:
        known = what_it_is(row.record)
        rest = [f"{label} {value}" for label, value in board_details(row.record) if value not in known]
        told += [_text("; ".join(rest), "note")] if rest else []
    figures = ", ".join(f"{value:.1f}" for value in board.lab)
    return [
        _text(place_mark(board), "head"),
        _swatch(hex_colour(board.lab), hex_colour(content.ranking.floor.lab)),
        told,
        [_text(f"{board.delta_e00.value:.1f}", "head"), _text(interval(board.delta_e00), "cell")],
        _text(chance(board.probability_closest), "cell"),
        _text(figures, "cell"),
    ]


def _swatch(board: str, floor: str) -> Any:  # noqa: ANN401 - reportlab has no types
    wide, high, edge = 58.0, 30.0, 4.0

    def draw(canvas: Any) -> None:  # noqa: ANN401 - reportlab has no types
        canvas.setFillColor(_SURROUND)
        canvas.rect(0, 0, wide, high, stroke=0, fill=1)
        for x, colour in ((edge, board), (wide / 2, floor)):
            canvas.setFillColor(colour)
            canvas.rect(x, edge, wide / 2 - edge, high - 2 * edge, stroke=0, fill=1)

    return _flowable()(wide, high, draw)


def _table(rows: Sequence[Sequence[Any]], columns: Sequence[float]) -> Any:  # noqa: ANN401 - reportlab has no types
    from reportlab.platypus import Table

    table = Table(list(rows), colWidths=list(columns), repeatRows=1, spaceAfter=5, hAlign="LEFT")
    whole = ((0, 0), (-1, -1))
    table.setStyle(
        [
            ("VALIGN", *whole, "TOP"),
            ("LINEBELOW", *whole, 0.5, _LINE),
            ("LINEBELOW", (0, 0), (-1, 0), 1.0, "#1a1a1a"),
            *((f"{side}PADDING", *whole, 3) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")),
        ]
    )
    return table


def _words(content: ReportContent, story: Story, width: float) -> list[Any]:
    flow = [*_heading("The floor", room=70.0), *(_text(line) for line in story.floor)]
    spots = [spot for spot in content.spots if spot.lab is not None]
    if spots:
        rows = [[_text(name, "head") for name in ("spot", "where", "light", "L*, a*, b*")]]
        for spot in spots:
            figures = ", ".join(f"{value:.1f}" for value in spot.lab or ())
            cells = (spot.record.spot or "", spot.record.light, figures)
            rows.append([_text(spot.number, "head"), *(_text(cell, "cell") for cell in cells)])
        flow.append(_table(rows, [width * share for share in (0.1, 0.42, 0.24, 0.24)]))
    if story.doubts:
        flow += _heading("Doubts", room=30.0)
        flow += [_text(sentence, bold=f"{who}:") for who, sentence in story.doubts]
    flow += [*_heading("How this was measured"), _text(METHOD)]
    flow += [_text(text, bold=f"{name}:") for name, text in story.facts]
    flow += _heading("What to do next", room=30.0)
    flow += [_text(step, bold=f"{i}.") for i, step in enumerate(story.steps, start=1)]
    flow += [*_heading("Before you open a can"), _text(LABELS_WIN)]
    flow += [_text(text, bold=f"{title}:") for title, text in CAUTIONS]
    if report_letters_missing(content):
        flow.append(_text(MISSING_NOTE, "note"))
    return flow
