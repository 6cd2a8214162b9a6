"""Pages as a PDF: the same words and drawings as on a screen, for paper and for those who file things."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

from finishlab.show.document import Column, Facts, Listing, Table
from finishlab.show.flow import Flow, Look, Piece
from finishlab.show.pages import (
    PICTURE_BAR_MM,
    Block,
    Card,
    Cards,
    Chart,
    Charts,
    Colours,
    Outline,
    Pages,
    Picture,
    Pictures,
    Section,
    Swatch,
    Swatches,
    Words,
)
from finishlab.show.sheets import MISSING_NOTE, letters_missing

if TYPE_CHECKING:
    from finishlab.imaging.strip import Paper
    from finishlab.show.sheets import Sheet


_DPI: Final = 220
_GUTTER: Final = 5.0
"""Between two columns, millimetres."""
_PICTURE_MOST: Final = 124.0
"""Height of a picture that stands alone in its row; of several it is shared out."""
_CHART_MOST: Final = 225.0
_SPARE: Final = 8.0
_SMALLER: Final = (1.0, 0.9, 0.8)
"""Parts of their width that charts take, the largest first that fits on the sheet."""
"""Of a sheet left over by the highest columns."""
_SURROUND: Final = "#777777"
_AFTER_FACT: Final = 1.1
_FACT_LINES: Final = 12
"""Lines of a value that stay together."""
_SPACE: Final = "{http://www.w3.org/2000/svg}"
_CAP: Final = 0.718
_SIZE: Final = 13.0
_GREYS: Final = {"#555": 0.33, "#222": 0.13, "#fff": 1.0}


def pages_pdf(pages: Pages, look: Look, profile: bytes = b"", *, paper: Paper = "a4") -> bytes:
    """Return pages as the bytes of a PDF; the same pages are always the same bytes.

    Parameters
    ----------
    pages
        What is shown.
    look
        How.
    profile
        ICC profile of sRGB, for charts.
    paper
        Size of the sheets.
    """
    flow = Flow(look, paper, title=pages.title, subject=pages.subject, foot=pages.foot)
    draw = partial(_draw, flow, profile)
    for block in pages.top:
        draw(block)
    flow.y += look.gap
    for section in pages.sections:
        flow.heading(section.title, "heading", room=_room(flow, section))
        for block in section.blocks:
            draw(block)
        flow.y += look.gap
    if letters_missing(pages):
        flow.words(MISSING_NOTE, "note")
    return flow.finish()


def _room(flow: Flow, section: Section) -> float:
    """Return what must be left of a sheet for a section to begin there."""
    first = section.blocks[0] if section.blocks else None
    return _outline_piece(flow, first.svg).height + 12.0 if isinstance(first, Outline) else section.room


def _draw(flow: Flow, profile: bytes, block: Block) -> None:
    if isinstance(block, Charts):
        _draw_charts(flow, block, profile)
    else:
        _KINDS[type(block)](flow, block)


def _draw_words(flow: Flow, block: Words) -> None:
    if block.look == "heading":
        _draw_title(flow, block.text)
        return
    if block.look != "notice":
        flow.words(block.text, block.look, strong=block.strong)
        return
    pad = 1.8
    piece = flow.text(block.text, "notice", flow.width, strong=block.strong)
    flow.space(2.2 + pad)
    flow.room(piece.height + pad)
    size = flow.width + 2 * pad, piece.height + 2 * pad - 0.6
    flow.sheet.frame(flow.look.left - pad, flow.y - pad, *size, line=0.42, grey=0.1)
    flow.row([(0.0, [piece])], below=3.5)


def _draw_title(flow: Flow, title: str, room: float = 40.0) -> None:
    """Set a heading within a section, if there is one."""
    if title:
        flow.heading(title, "small", room=room)


def _draw_facts(flow: Flow, block: Facts) -> None:
    _draw_title(flow, block.title)
    names = flow.look.names
    for name, cell in block.rows:
        said = "" if cell is None else str(cell)
        if not names:
            flow.words(said, strong=f"{name}:" if name else "")
            continue
        lines = flow.lines(said, "plain", flow.width - (names if name else 0.0))
        for start in range(0, len(lines), _FACT_LINES):
            part = flow.text("\n".join(lines[start : start + _FACT_LINES]), "plain", flow.width)
            named = [flow.text(name, "name", names - 3.0)] if name and not start else []
            flow.row([(0.0, named), (names if name else 0.0, [part])])
        flow.y += _AFTER_FACT


def _draw_listing(flow: Flow, block: Listing) -> None:
    _draw_title(flow, block.title if block.lines else "", room=20.0)
    for number, line in enumerate(block.lines, start=1):
        flow.words(line, strong=f"{number}." if block.numbered else "")


def _draw_table(flow: Flow, block: Table) -> None:
    if not block.rows:
        return
    _draw_title(flow, block.title)
    if block.note:
        flow.words(block.note, "note")

    def cells(row: Sequence[object]) -> list[Callable[[float], list[Piece]]]:
        said = ["" if cell is None else str(cell) for cell in row]
        return [partial(_cell, flow, words, "cell" if n else "head") for n, words in enumerate(said)]

    _draw_rows(flow, block.columns, [cells(row) for row in block.rows])


def _cell(flow: Flow, words: str, style: str, width: float) -> list[Piece]:
    return [flow.text(words, style, width)]


def _draw_rows(flow: Flow, columns: Sequence[Column], rows: Sequence[Sequence[Callable[[float], list[Piece]]]]) -> None:
    """Draw a table of cells that are told their width; its head is repeated on every sheet."""
    head_line, row_line, grey, pad = flow.look.rows
    widths = [flow.width * (column.share or 1 / len(columns)) for column in columns]
    starts = [sum(widths[:n]) for n in range(len(widths))]

    def draw(row: Sequence[Callable[[float], list[Piece]]], line: float, ink: float) -> None:
        pieces = [cell(width - 2 * pad) for cell, width in zip(row, widths, strict=True)]
        high = max(sum(piece.height for piece in column) for column in pieces)
        if flow.room(high + 2 * pad) and row is not head:
            draw(head, head_line, 0.1)
        flow.y += pad
        flow.row([(start + pad, column) for start, column in zip(starts, pieces, strict=True)], below=pad)
        flow.sheet.line(flow.look.left, flow.y, flow.look.left + flow.width, flow.y, line=line, grey=ink)

    head = [partial(_cell, flow, column.name, "head") for column in columns]
    draw(head, head_line, 0.1)
    for row in rows:
        draw(row, row_line, grey)
    flow.y += 1.8


def _draw_cards(flow: Flow, block: Cards) -> None:
    _draw_rows(flow, block.columns, [_card(flow, card, block.columns) for card in block.cards])


def _card(flow: Flow, card: Card, columns: Sequence[Column]) -> list[Callable[[float], list[Piece]]]:
    rest = "; ".join(f"{name} {value}" for name, value in card.details if value not in card.title)

    def told(width: float) -> list[Piece]:
        pieces = [flow.text(card.title, "cell", width, strong=card.name), flow.text(card.words, "cell", width)]
        pieces += [flow.text(card.warning, "head", width)] if card.warning else []
        return [*pieces, flow.text(rest, "detail", width)] if rest else pieces

    def figures(column: Column, width: float) -> list[Piece]:
        shown = [figure for figure in card.figures if figure.column == column.name]
        return [flow.text(figure.value, "head" if figure.large else "cell", width) for figure in shown]

    return [
        partial(_cell, flow, card.mark, "head"),
        lambda _: [_colours(flow, card.colours, 20.5, 10.6)],
        told,
        *(partial(figures, column) for column in columns[3:]),
    ]


def _colours(flow: Flow, block: Colours, width: float, height: float) -> Piece:
    edge = 1.4

    def draw(x: float, y: float) -> None:
        flow.sheet.colour_box(x, y, width, height, _SURROUND)
        parts = [2.0 if block.large and 0 < n < len(block.colours) - 1 else 1.0 for n in range(len(block.colours))]
        unit = (width - 2 * edge) / sum(parts)
        for n, colour in enumerate(block.colours):
            left = x + edge + sum(parts[:n]) * unit
            flow.sheet.colour_box(left, y + edge, parts[n] * unit, height - 2 * edge, colour)

    return Piece(height, draw)


def _draw_colours(flow: Flow, block: Colours) -> None:
    flow.row([(0.0, [_colours(flow, block, flow.width, 40.0 if block.large else 14.0)])], below=1.8)
    if block.caption:
        flow.words(block.caption, "note")


def _grid(flow: Flow, columns: Sequence[Sequence[Piece]], across: int, *, below: float = 1.8) -> None:
    """Lay columns of pieces out in rows; each row stays on one sheet."""
    step = (flow.width + _GUTTER) / across
    for start in range(0, len(columns), across):
        row = columns[start : start + across]
        flow.row([(n * step, pieces) for n, pieces in enumerate(row)], below=below)


def _draw_pictures(flow: Flow, block: Pictures) -> None:
    width = (flow.width + _GUTTER) / block.across - _GUTTER
    shown = []
    for picture in block.pictures:
        piece = _picture(flow, picture, width, _PICTURE_MOST / block.across)
        caption = "note" if picture.width_mm else "caption"
        shown.append([piece, flow.text(picture.caption, caption, width)])
    _grid(flow, shown, block.across)


def _picture(flow: Flow, picture: Picture, width: float, most: float) -> Piece:
    across, down = picture.size
    if picture.width_mm is None:
        height = min(width * down / across, most)
        return Piece(height + 1.4, partial(_draw_picture, flow, picture, (width, height)))
    pad, scale = 2.2, 4.2
    inner = width - 2 * pad
    height = inner * down / across

    def draw(x: float, y: float) -> None:
        sheet = flow.sheet
        sheet.colour_box(x, y, width, height + 2 * pad, _SURROUND)
        sheet.picture(x + pad, y + pad, inner, height, picture.jpeg)
        middle, base = y + pad + height / 2, y + height + 2 * pad + 2.8
        for left in (x, x + width - pad * 0.8):
            sheet.line(left, middle, left + pad * 0.8, middle, line=0.42)
        start, end = x + pad, x + pad + inner * picture.bar_percent / 100
        for corner in ((start, base, end, base), (start, base, start, base - 1.4), (end, base, end, base - 1.4)):
            sheet.line(*corner, line=0.28)
        words = f"{PICTURE_BAR_MM} mm"
        sheet.text(end + 1.4, base + 0.35, words, cap=flow.look.styles["foot"].cap, grey=0.1, face=flow.look.face)

    return Piece(height + 2 * pad + scale, draw)


def _draw_picture(flow: Flow, picture: Picture, size: tuple[float, float], x: float, y: float) -> None:
    flow.sheet.picture(x, y, *size, picture.jpeg)


def _draw_swatches(flow: Flow, block: Swatches) -> None:
    width = (flow.width + _GUTTER) / 4 - _GUTTER
    _grid(flow, [_swatch(flow, each, width) for each in block.swatches], 4)


def _swatch(flow: Flow, swatch: Swatch, width: float) -> list[Piece]:
    high = 22.0

    def draw(x: float, y: float) -> None:
        flow.sheet.colour_box(x, y, width, high, swatch.colour)
        flow.sheet.frame(x, y, width, high, line=0.15, grey=0.4)

    words = [flow.text(swatch.name, "swatch name", width), flow.text(swatch.caption, "swatch", width)]
    return [Piece(high + 1.6, draw), *words]


def _draw_charts(flow: Flow, block: Charts, profile: bytes) -> None:
    """Draw wide charts over the whole width, the others in two columns, each to the shorter one."""
    if not block.charts:
        return
    least = min(chart.drawing.size[0] for chart in block.charts)
    wide = [chart for chart in block.charts if chart.drawing.size[0] > least]
    for chart in wide:
        _grid(flow, [_chart(flow, chart, profile, flow.width)], 1)
    half = (flow.width - _GUTTER) / 2
    pairs: list[tuple[list[Piece], list[Piece]]] = []
    heights, most = [math.inf, math.inf], 0.0
    left = flow.bottom - flow.y - _SPARE  # of a sheet begun: the first charts go there as far as they fit
    for chart in block.charts:
        if chart in wide:
            continue
        if not pairs and _high(_chart(flow, chart, profile, _SMALLER[-1] * half)) <= left:
            pairs.append(([], []))
            heights, most = [0.0, 0.0], left
        # A little smaller, so that no sheet stays half empty for a chart that all but fits.
        for smaller in _SMALLER:
            pieces = _chart(flow, chart, profile, smaller * half)
            if min(heights) + _high(pieces) <= most:
                break
        else:
            pieces, most = _chart(flow, chart, profile, half), flow.height - _SPARE
            pairs.append(([], []))
            heights = [0.0, 0.0]
        high = _high(pieces)
        shorter = heights.index(min(heights))
        pairs[-1][shorter].extend(pieces)
        heights[shorter] += high
    for pair in pairs:
        _grid(flow, pair, 2)


def _high(pieces: Sequence[Piece]) -> float:
    return sum(piece.height for piece in pieces)


def _chart(flow: Flow, chart: Chart, profile: bytes, width: float) -> list[Piece]:
    wide, high = chart.drawing.size
    height = min(width * high / wide, _CHART_MOST)

    def draw(x: float, y: float) -> None:
        flow.sheet.picture(x, y, width, height, chart.drawing.png(profile, dpi=_DPI))

    return [flow.text(chart.heading, "small", width), Piece(height + 0.7, draw), flow.text(chart.note, "note", width)]


def _draw_outline(flow: Flow, block: Outline) -> None:
    flow.row([(0.0, [_outline_piece(flow, block.svg)])])


_KINDS: Final[dict[type, Callable[[Flow, Any], None]]] = {
    Words: _draw_words,
    Facts: _draw_facts,
    Listing: _draw_listing,
    Table: _draw_table,
    Cards: _draw_cards,
    Colours: _draw_colours,
    Pictures: _draw_pictures,
    Swatches: _draw_swatches,
    Outline: _draw_outline,
}


def _outline_piece(flow: Flow, svg: str) -> Piece:
    """Return an SVG of polygons and lines of text as a piece as wide as its sheet, or as high."""
    root = ET.fromstring(svg)  # noqa: S314 - our own document
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    scale = min(flow.width / width, (flow.height - 14.0) / height)

    def draw(x: float, y: float) -> None:
        for element in root:
            if element.tag == f"{_SPACE}polygon":
                _draw_polygon(flow.sheet, element, (x, y), scale)
            elif element.tag == f"{_SPACE}text" and element.text:
                _draw_text(flow.sheet, element, (x, y), scale)

    return Piece(height * scale, draw)


def _draw_polygon(sheet: Sheet, element: ET.Element, at: tuple[float, float], scale: float) -> None:
    pairs = (pair.split(",") for pair in element.attrib["points"].split())
    points = [(at[0] + float(x) * scale, at[1] + float(y) * scale) for x, y in pairs]
    line = float(element.attrib["stroke-width"]) * scale
    sheet.shape(points, fill=element.attrib["fill"], line=line, grey=0.3)


def _draw_text(sheet: Sheet, element: ET.Element, at: tuple[float, float], scale: float) -> None:
    said = element.attrib
    sheet.text(
        at[0] + float(said["x"]) * scale,
        at[1] + float(said["y"]) * scale,
        element.text or "",
        cap=float(said.get("font-size", _SIZE)) * _CAP * scale,
        bold=said.get("font-weight") == "bold",
        grey=_GREYS.get(said.get("fill", ""), 0.0),
        align="centre" if said.get("text-anchor") == "middle" else "left",
    )
