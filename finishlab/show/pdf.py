"""Pages as a PDF: the same words and drawings as on a screen, for paper and for those who file things.

ReportLab's Platypus lays them out; what it knows nothing of (fonts for letters of any script, swatches, pictures to
scale) is added here.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import (
    BalancedColumns,
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    HRFlowable,
    Image,
    KeepInFrame,
    PageTemplate,
    Paragraph,
    Spacer,
)
from reportlab.platypus import Table as Grid

from finishlab.imaging.strip import PAGES
from finishlab.show.document import Column, Facts, Listing, Table
from finishlab.show.pages import (
    PICTURE_BAR_MM,
    Block,
    Card,
    Cards,
    Charts,
    Colours,
    Outline,
    Pages,
    Picture,
    Pictures,
    Section,
    Swatches,
    Words,
)
from finishlab.show.sheets import (
    DEJAVU,
    HELVETICA,
    MISSING_NOTE,
    POINTS_PER_MM,
    Face,
    Sheet,
    cap_of,
    font_runs,
    letters_missing,
    shortened,
)

if TYPE_CHECKING:
    from finishlab.imaging.strip import Paper


_DPI: Final = 220
_GUTTER: Final = 5.0 * POINTS_PER_MM
"""Between two columns."""
_PICTURE_MOST: Final = 124.0 * POINTS_PER_MM
"""Height of a picture that stands alone in its row; of several it is shared out."""
_CAPTION: Final = 400
"""Most letters of a picture's caption, which stays on one sheet with it."""
_CHART_MOST: Final = 215.0 * POINTS_PER_MM
_FOOT: Final = 8.6
"""From the bottom of the sheet to the baseline of its last line, millimetres."""
_SURROUND: Final = "#777777"
_UNIT: Final = re.compile(r"(?<=\d) (?=(?:C|L|days|h|min|mm)\b|%)")
"""Before what stays on one line with its figure."""
_SPACE: Final = "{http://www.w3.org/2000/svg}"
_SVG_SIZE: Final = 13.0
_INK, _SOFT = 0.1, 0.29


@dataclass(frozen=True, slots=True)
class Style:
    """How a text is set; points."""

    size: float
    leading: float
    """From baseline to baseline."""
    before: float = 0.0
    """Space kept free above and below."""
    after: float = 0.0
    bold: bool = False
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Look:
    """How all pages of one kind look; points, margins in millimetres."""

    left: float
    right: float
    face: Face
    styles: Mapping[str, Style]
    """By the name of what is set: ``"plain"``, ``"heading"`` ..."""
    top: float = 16.0
    """Of the sheet, and at its bottom."""
    names: float = 0.0
    """Width of the column of names in facts; 0 sets them in front of their values."""
    rule: float = 0.0
    """Width of the line below a heading; 0 draws none."""
    rows: tuple[float, float, float, float] = (0.85, 0.3, 0.5, 2.8)
    """Of a table: line below the head, line below a row, its grey, space about a cell."""
    gap: float = 0.0
    """Below what belongs together."""


REPORT: Final = Look(
    left=16.0,
    right=16.0,
    face=DEJAVU,
    styles={
        "plain": Style(9, 12.5, after=4, grey=_INK),
        "kicker": Style(8, 10.5, after=4, grey=_SOFT),
        "note": Style(8, 10.5, after=4, grey=_SOFT),
        "title": Style(17, 21, after=5, bold=True, grey=_INK),
        "lead": Style(10.5, 14, after=4, grey=_INK),
        "notice": Style(9, 12.5, before=10, after=12, grey=_INK),
        "heading": Style(12, 15, before=12, after=5, bold=True, grey=_INK),
        "small": Style(9.5, 12, before=7, after=3, bold=True, grey=_INK),
        "cell": Style(8, 10, grey=_INK),
        "head": Style(8, 10, bold=True, grey=_INK),
        "detail": Style(8, 10.5, grey=_SOFT),
        "foot": Style(7.5, 10, grey=0.3),
    },
    rows=(1.0, 0.5, 0.77, 3.0),
)
HOUSE: Final = Look(
    left=22.0,  # wide enough to be punched
    right=14.0,
    face=HELVETICA,
    styles={
        "plain": Style(8.3, 10.7),
        "name": Style(8.3, 10.7, bold=True),
        "note": Style(8.3, 10.7, after=4.5),
        "title": Style(25.5, 32, after=4, bold=True),
        "heading": Style(12.6, 15.9, before=2, after=1, bold=True),
        "cell": Style(7.5, 9.6),
        "head": Style(7.5, 9.6, bold=True),
        "caption": Style(7.1, 8.9, grey=0.15),
        "swatch name": Style(8.3, 10.4, bold=True),
        "swatch": Style(6.7, 8.4, grey=0.2),
        "foot": Style(6.3, 8, grey=0.35),
    },
    names=42.0 * POINTS_PER_MM,
    rule=0.85,
    rows=(0.3, 0.3, 0.5, 2.0),
    gap=10.0,
)


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
    width, height = PAGES[paper]
    room = (width - look.left - look.right) * POINTS_PER_MM, (height - 2 * look.top) * POINTS_PER_MM
    story = Setter(look, *room, profile).pages(pages)
    foot = partial(_draw_foot, look, pages.foot)
    return sheets_of(story, look, paper, foot, title=pages.title, subject=pages.subject)


def sheets_of(
    story: Iterable[Flowable],
    look: Look,
    paper: Paper,
    draw: Callable[[Sheet, int], None],
    *,
    title: str,
    subject: str,
    foot: float = 0.0,
    head: float = 0.0,
) -> bytes:
    """Return what Platypus lays out as the bytes of a PDF; the same is always the same bytes.

    Parameters
    ----------
    story
        What there is, in order.
    look, paper
        Margins and size of the sheets.
    draw
        Draws what every sheet has besides: onto the sheet, by its number.
    title, subject
        What the file says of itself.
    foot, head
        Points kept free at the foot of the first sheet, and at the head of the others.
    """
    out, (width, height) = io.BytesIO(), (side * POINTS_PER_MM for side in PAGES[paper])
    left, right, top = (side * POINTS_PER_MM for side in (look.left, look.right, look.top))

    def every(canvas: Any, document: Any) -> None:  # noqa: ANN401 - the library has no types
        canvas.setViewerPreference("PrintScaling", "None")  # true size; a viewer may ignore it
        draw(Sheet(canvas, *PAGES[paper]), document.page)

    document = BaseDocTemplate(
        out,
        pagesize=(width, height),
        title=title,
        subject=subject,
        author="finishlab",
        creator="finishlab",
        lang="en",
        invariant=1,  # the same pages are the same bytes
    )
    inner, high = width - left - right, height - 2 * top
    for name, low, high_left in (("first", foot, high - foot), ("later", 0.0, high - head)):
        frame = Frame(left, top + low, inner, high_left, 0, 0, 0, 0, id=name)
        document.addPageTemplates(PageTemplate(name, [frame], onPage=every, autoNextPageTemplate="later"))
    document.build(list(story))
    return out.getvalue()


def _draw_foot(look: Look, words: str, sheet: Sheet, number: int) -> None:
    how, y = look.styles["foot"], sheet.height - _FOOT
    cap, right = cap_of(how.size), sheet.width - look.right
    said = shortened(words, width=right - look.left - 20.0, cap=cap, face=look.face)
    sheet.text(look.left, y, said, cap=cap, grey=how.grey, face=look.face)
    sheet.text(right, y, f"page {number}", cap=cap, grey=how.grey, align="right", face=look.face)


class Drawn(Flowable):  # type: ignore[misc]  # the library has no types
    """Something of a size in points that is drawn in millimetres from its left top down."""

    def __init__(self, width: float, height: float, draw: Callable[[Sheet], None]) -> None:
        super().__init__()
        self.width, self.height, self.drawing = width, height, draw

    def wrap(self, *_room: float) -> tuple[float, float]:
        """Return the size."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it."""
        self.drawing(Sheet(self.canv, self.width / POINTS_PER_MM, self.height / POINTS_PER_MM))


class Setter:
    """Turns blocks into what Platypus lays out on sheets of a width and height, points."""

    def __init__(self, look: Look, width: float, height: float, profile: bytes = b"") -> None:
        self.look, self.width, self.height, self.profile = look, width, height, profile

    def pages(self, pages: Pages) -> Iterator[Flowable]:
        """Give all that is shown."""
        for block in pages.top:
            yield from self.block(block)
        yield Spacer(0, self.look.gap)
        for section in pages.sections:
            yield from self.heading(section)
            for block in section.blocks:
                yield from self.block(block)
            yield Spacer(0, self.look.gap)
        if letters_missing(pages):
            yield self.text(MISSING_NOTE, "note")

    def block(self, block: Block) -> Iterator[Flowable]:
        """Give a block, by the method that is called as its kind."""
        given: Iterator[Flowable] = getattr(self, type(block).__name__.lower())(block)
        return given

    def heading(self, section: Section) -> Iterator[Flowable]:
        """Give a section's heading, on a new sheet where too little is left for what follows."""
        first = section.blocks[0] if section.blocks else None
        room = section.room * POINTS_PER_MM
        yield CondPageBreak(next(self.outline(first)).height + 36.0 if isinstance(first, Outline) else room)
        yield self.text(section.title, "heading")
        if self.look.rule:
            yield HRFlowable("100%", self.look.rule, color=Color(0, 0, 0), spaceBefore=0, spaceAfter=5)

    def text(self, words: str, style: str, *, strong: str = "", **more: Any) -> Paragraph:  # noqa: ANN401 - of Platypus' styles
        """Return a paragraph, `strong` in bold before it."""
        how, markup = self.look.styles[style], partial(_markup, face=self.look.face)
        said = [markup(strong, bold=True)] if strong else []
        said += [markup(words, bold=how.bold)] if words else []
        looks = {
            "fontName": font_runs("x", bold=how.bold, face=self.look.face)[0][0],
            "fontSize": how.size,
            "leading": how.leading,
            "textColor": Color(how.grey, how.grey, how.grey),
            "spaceBefore": how.before,
            "spaceAfter": how.after,
        }
        return Paragraph(" ".join(said), ParagraphStyle(style, **looks | more))

    def place(self, *words: Flowable) -> Flowable:
        """Return words as one, which are made smaller where they do not fit the width and height."""
        return KeepInFrame(self.width, self.height, list(words), mode="shrink")

    def title(self, title: str) -> Iterator[Flowable]:
        """Give a heading within a section, if there is one."""
        if title:
            yield self.text(title, "small", keepWithNext=1)

    def words(self, block: Words) -> Iterator[Flowable]:
        """Give a paragraph; a notice is framed."""
        if block.look == "heading":
            yield from self.title(block.text)
        else:
            framed = {"borderWidth": 1.2, "borderColor": Color(_INK, _INK, _INK), "borderPadding": 5}
            more = framed if block.look == "notice" else {}
            yield self.text(block.text, block.look, strong=block.strong, **more)

    def facts(self, block: Facts) -> Iterator[Flowable]:
        """Give names and values: the names in a column of their own, or in front."""
        yield from self.title(block.title)
        for name, cell in block.rows:
            said = "" if cell is None else str(cell)
            if self.look.names:
                row = [self.text(name, "name"), self.text(said, "plain")]
                widths = [self.look.names, self.width - self.look.names]
                yield Grid([row], widths, splitInRow=1, style=padded(right=8, bottom=2.5))
            else:
                yield self.text(said, "plain", strong=f"{name}:" if name else "")

    def listing(self, block: Listing) -> Iterator[Flowable]:
        """Give lines, one after another."""
        yield from self.title(block.title if block.lines else "")
        for number, line in enumerate(block.lines, start=1):
            yield self.text(line, "plain", strong=f"{number}." if block.numbered else "")

    def table(self, block: Table) -> Iterator[Flowable]:
        """Give a table of texts, the first of a row in bold."""
        if block.rows:
            yield from self.title(block.title)
            yield from [self.text(block.note, "note")] if block.note else []
            rows = [
                [self.text("" if cell is None else str(cell), "cell" if n else "head") for n, cell in enumerate(row)]
                for row in block.rows
            ]
            yield self.rows(block.columns, rows)

    def rows(self, columns: Sequence[Column], rows: Sequence[Sequence[object]]) -> Flowable:
        """Return a table of cells; its head is repeated on every sheet."""
        head_line, row_line, grey, pad = self.look.rows
        widths = [self.width * (column.share or 1 / len(columns)) for column in columns]
        heads = [self.text(column.name, "head") for column in columns]
        style = [
            *padded(pad, pad, pad, pad),
            ("LINEBELOW", (0, 0), (-1, 0), head_line, Color(_INK, _INK, _INK)),
            ("LINEBELOW", (0, 1), (-1, -1), row_line, Color(grey, grey, grey)),
        ]
        return Grid([heads, *rows], widths, repeatRows=1, splitInRow=1, style=style, spaceAfter=5)

    def cards(self, block: Cards) -> Iterator[Flowable]:
        """Give entries as the rows of a table."""
        yield self.rows(block.columns, [self.card(card, block.columns) for card in block.cards])

    def card(self, card: Card, columns: Sequence[Column]) -> list[object]:
        """Return the row of an entry."""
        rest = "; ".join(f"{name} {value}" for name, value in card.details if value not in card.title)
        told = [self.text(card.title, "cell", strong=card.name), self.text(card.words, "cell")]
        told += [self.text(card.warning, "head")] if card.warning else []
        told += [self.text(rest, "detail")] if rest else []
        figures = [
            [self.text(each.value, "head" if each.large else "cell") for each in card.figures if each.column == c.name]
            for c in columns[3:]
        ]
        return [self.text(card.mark, "head"), _colours(card.colours, 58.0, 30.0), told, *figures]

    def colours(self, block: Colours) -> Iterator[Flowable]:
        """Give colours edge to edge."""
        yield _colours(block, self.width, 113.0 if block.large else 40.0)
        yield Spacer(0, 5)
        if block.caption:
            yield self.text(block.caption, "note")

    def grid(self, cells: Sequence[Sequence[Flowable]], across: int, width: float = 0.0) -> Flowable:
        """Return cells side by side; each row stays on one sheet."""
        rows = [list(cells[start : start + across]) for start in range(0, len(cells), across)]
        rows[-1] += [[]] * (across - len(rows[-1]))
        widths = [width or (self.width + _GUTTER) / across] * across
        return Grid(rows, widths, style=padded(right=_GUTTER, bottom=5), hAlign="LEFT")

    def pictures(self, block: Pictures) -> Iterator[Flowable]:
        """Give pictures with their captions."""
        width = (self.width + _GUTTER) / block.across - _GUTTER
        shown = []
        for picture in block.pictures:
            caption = "note" if picture.width_mm else "caption"
            drawn = self.picture(picture, width, _PICTURE_MOST / block.across)
            words = textwrap.shorten(picture.caption, _CAPTION, placeholder="…")
            shown.append([drawn, Spacer(0, 4), self.text(words, caption)])
        yield self.grid(shown, block.across)

    def picture(self, picture: Picture, width: float, most: float) -> Flowable:
        """Return a picture; one whose scale is known on grey, marked in its middle, with a bar below."""
        across, down = picture.size
        if picture.width_mm is None:
            scale = min(width / across, most / down)
            return Image(io.BytesIO(picture.jpeg), across * scale, down * scale, hAlign="LEFT")
        return Drawn(width, (width - 12.5) * down / across + 24.4, partial(_draw_to_scale, self.look, picture))

    def swatches(self, block: Swatches) -> Iterator[Flowable]:
        """Give colours with a name and words each."""
        width, high = (self.width + _GUTTER) / 4 - _GUTTER, 62.0
        cells = []
        for each in block.swatches:
            words = [self.text(each.name, "swatch name"), self.text(each.caption, "swatch")]
            cells.append([Drawn(width, high, partial(_draw_swatch, each.colour)), Spacer(0, 4), *words])
        yield self.grid(cells, 4)

    def charts(self, block: Charts) -> Iterator[Flowable]:
        """Give wide charts over the whole width, the others in two columns."""
        least = min((chart.drawing.size[0] for chart in block.charts), default=0.0)
        half = (self.width - _GUTTER) / 2
        narrow = []
        for chart in block.charts:
            wide, high = chart.drawing.size
            width = self.width if wide > least else half
            height = min(width * high / wide, _CHART_MOST)
            picture = Image(io.BytesIO(chart.drawing.png(self.profile, dpi=_DPI)), height * wide / high, height)
            words = self.text(chart.heading, "small"), self.text(chart.note, "note")
            whole = self.grid([[words[0], picture, words[1]]], 1, width - 0.1)
            if width == half:
                narrow.append(whole)
            else:
                yield whole
        if narrow:
            pads = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
            needed = max(each.wrap(half, self.height)[1] for each in narrow)
            yield BalancedColumns(narrow, needed=needed, innerPadding=_GUTTER, **pads)

    def outline(self, block: Outline) -> Iterator[Drawn]:
        """Give an SVG of polygons and lines of text, as wide as its sheet, or as high."""
        root = ET.fromstring(block.svg)  # noqa: S314 - our own document
        width, height = float(root.attrib["width"]), float(root.attrib["height"])
        scale = min(self.width / width, (self.height - 40.0) / height)
        yield Drawn(width * scale, height * scale, partial(_draw_outline, root, scale / POINTS_PER_MM))


def padded(left: float = 0, top: float = 0, right: float = 0, bottom: float = 0) -> list[tuple[Any, ...]]:
    """Return how cells stand in a table: at its top, with so much space about them."""
    pads = {"LEFT": left, "TOP": top, "RIGHT": right, "BOTTOM": bottom}
    padded = [(f"{side}PADDING", (0, 0), (-1, -1), by) for side, by in pads.items()]
    return [("VALIGN", (0, 0), (-1, -1), "TOP"), *padded]


def _markup(words: str, *, bold: bool, face: Face) -> str:
    """Return text as Platypus reads it, each piece in a font that has its letters; a figure keeps its unit."""
    lines = []
    for line in words.splitlines():
        runs = (f'<font name="{font}">{escape(piece)}</font>' for font, piece in font_runs(line, bold=bold, face=face))
        lines.append(_UNIT.sub("\u00a0", "".join(runs)))
    return "<br/>".join(lines)


def _colours(block: Colours, width: float, height: float) -> Flowable:
    parts = [2.0 if block.large and 0 < n < len(block.colours) - 1 else 1.0 for n in range(len(block.colours))]

    def draw(sheet: Sheet) -> None:
        edge = 1.4
        sheet.box(0, 0, sheet.width, sheet.height, _SURROUND)
        unit = (sheet.width - 2 * edge) / sum(parts)
        for n, colour in enumerate(block.colours):
            sheet.box(edge + sum(parts[:n]) * unit, edge, parts[n] * unit, sheet.height - 2 * edge, colour)

    return Drawn(width, height, draw)


def _draw_swatch(colour: str, sheet: Sheet) -> None:
    sheet.box(0, 0, sheet.width, sheet.height, colour)
    sheet.frame(0, 0, sheet.width, sheet.height, line=0.15, grey=0.4)


def _draw_to_scale(look: Look, picture: Picture, sheet: Sheet) -> None:
    pad, across, down = 2.2, *picture.size
    inner = sheet.width - 2 * pad
    height = inner * down / across
    sheet.box(0, 0, sheet.width, height + 2 * pad, _SURROUND)
    sheet.picture(pad, pad, inner, height, picture.jpeg)
    middle, base = pad + height / 2, height + 2 * pad + 2.8
    for left in (0, sheet.width - pad * 0.8):
        sheet.line(left, middle, left + pad * 0.8, middle, line=0.42)
    end = pad + inner * picture.bar_percent / 100
    for corner in ((pad, base, end, base), (pad, base, pad, base - 1.4), (end, base, end, base - 1.4)):
        sheet.line(*corner, line=0.28)
    size = cap_of(look.styles["foot"].size)
    sheet.text(end + 1.4, base + 0.35, f"{PICTURE_BAR_MM} mm", cap=size, grey=_INK, face=look.face)


def _draw_outline(root: ET.Element, scale: float, sheet: Sheet) -> None:
    for element in root:
        said = element.attrib
        if element.tag == f"{_SPACE}polygon":
            pairs = (pair.split(",") for pair in said["points"].split())
            points = [(float(x) * scale, float(y) * scale) for x, y in pairs]
            sheet.shape(points, fill=said["fill"], line=float(said["stroke-width"]) * scale, grey=0.3)
        elif element.tag == f"{_SPACE}text" and element.text:
            sheet.text(
                float(said["x"]) * scale,
                float(said["y"]) * scale,
                element.text,
                cap=cap_of(float(said.get("font-size", _SVG_SIZE)) * POINTS_PER_MM) * scale,
                bold=said.get("font-weight") == "bold",
                grey=0.33 if "fill" in said else 0.0,
            )
