"""The printed strip: a page at true size, in black ink only, with advice to print and use it; a page for the eye."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Final

import numpy as np

from finishlab.imaging.strip import EYE_ROWS, PAGES, STRIP, EyeRow, Paper, Rect, Screen, StripGeometry
from finishlab.show.sheets import Sheet, new_sheet

_CUT_LINE = 0.2
_CUT_GREY = 0.6
_BAND_GREY = 0.35
_QUIET = 2.0
"""Bare paper kept around each tag, one of its modules wide: the finder needs a light rim around the black border."""
RULER_DROP = 7.0
"""How far below the strip the ruler hangs, mm."""
RULER_INDENT = 4.0
"""How far right of the strip's left end the ruler begins, mm."""
_SQUARE = 100.0
_GREY = 0.3
_ADVICE: Final = Path(__file__).with_name("advice.toml")
_EYE_TOP: Final = 42.0
_EYE_EVERY: Final = 42.0
_EYE_WORDS: Final = (
    "Print it like the strip: same printer, paper and settings, at 100 %. Hang it in even light and look from 3 m, one "
    "eye, with the glasses you read signs with. In each row one square vanishes among the lines. Type them: finishlab "
    "strip learn --number {number} --seen 1:STEP --seen 2:STEP ... Halves are fine; leave out a row that has none."
)


def strip_pdf(*, paper: Paper, number: int, geometry: StripGeometry = STRIP) -> bytes:
    """Return the strip's page as the bytes of a PDF; the same page is always the same bytes.

    Parameters
    ----------
    paper
        ``"a4"`` or ``"letter"``, upright.
    number
        The strip's number, carried by its tags and printed on it.
    geometry
        The strip to print.

    Raises
    ------
    ValueError
        If the strip cannot carry the number.
    """
    tag_ids = geometry.tag_ids(number)
    width, height = PAGES[paper]
    sheet = new_sheet(
        width,
        height,
        title=f"finishlab strip {number:04d}",
        subject=f"Grey strip {number:04d}, {paper}, print at true size",
    )
    place = geometry.place_on_page(paper)
    _draw_heading(sheet, place, number)
    _draw_cut_line(sheet, place)
    for patch in geometry.patches:
        if geometry.greys[patch.level] < 1.0:  # bare paper is left bare
            r = patch.rect
            sheet.box(place.x + r.x, place.y + r.y, r.width, r.height, geometry.greys[patch.level])
    for tag, tag_id in zip(geometry.tags, tag_ids, strict=True):
        _draw_tag(sheet, Rect(place.x + tag.rect.x, place.y + tag.rect.y, tag.rect.width, tag.rect.height), tag_id)
    _draw_screens(sheet, place, geometry.screens)
    _draw_number(sheet, place, geometry.number_text, number)
    _draw_edges(sheet, place, geometry)
    _draw_advice(sheet, top=place.bottom + RULER_DROP, number=number)
    return sheet.finish()


def strip_layout(paper: Paper, geometry: StripGeometry = STRIP) -> bytes:
    """Return where the strip and its fields lie on the page, as the JSON document ``finishlab/strip/1``."""
    return (json.dumps(geometry.layout(paper), indent=2) + "\n").encode()


def module_outlines(white: np.ndarray) -> list[list[tuple[int, int]]]:
    """Return the outlines of a tag's black parts, row by row, as closed loops of module corners (column, row).

    Filled as one path they give the tag without a seam between neighbouring modules, for they share their corners.

    Parameters
    ----------
    white
        Shape (rows, columns), bool, True where white.
    """
    loops = []
    for row, line in enumerate(np.pad(~np.asarray(white, dtype=bool), ((0, 0), (1, 1)))):
        for left, right in np.flatnonzero(line[1:] != line[:-1]).reshape(-1, 2).tolist():
            loops.append([(left, row), (right, row), (right, row + 1), (left, row + 1)])
    return loops


def _draw_tag(sheet: Sheet, at: Rect, tag_id: int) -> None:
    from finishlab.imaging.finder import tag_modules  # loads OpenCV, so only when a strip is drawn

    white = tag_modules(tag_id)
    module = at.width / white.shape[1]
    loops = [[(at.x + x * module, at.y + y * module) for x, y in loop] for loop in module_outlines(white)]
    sheet.polygons(loops, 0.0)


def _draw_heading(sheet: Sheet, place: Rect, number: int) -> None:
    sheet.text(place.x, 16.2, "Grey strip", cap=4.4, bold=True)
    sheet.text(place.right, 16.2, f"{number:04d}", cap=4.4, bold=True, align="right")
    sheet.text(place.x, 22.4, "For one project: floor and test boards beside the same print.", cap=1.9, grey=0.3)
    sheet.text(
        place.right, 22.4, "Print at 100 % (actual size), black ink only, matt paper", cap=1.9, grey=0.3, align="right"
    )


def _draw_cut_line(sheet: Sheet, place: Rect) -> None:
    # The line lies just outside the strip: whoever cuts along its inner side leaves bare paper up to the edge.
    half = _CUT_LINE / 2
    sheet.frame(
        place.x - half,
        place.y - half,
        place.width + _CUT_LINE,
        place.height + _CUT_LINE,
        line=_CUT_LINE,
        grey=_CUT_GREY,
    )
    for y in (place.y - half, place.bottom + half):
        for x, way in ((place.x, -1), (place.right, 1)):
            sheet.line(x + way * 1.5, y, x + way * 4.5, y, line=_CUT_LINE, grey=_CUT_GREY)
    for x in (place.x - half, place.right + half):
        sheet.line(x, place.y - 1.5, x, place.y - 3.5, line=_CUT_LINE, grey=_CUT_GREY)
        sheet.line(x, place.bottom + 1.5, x, place.bottom + 3.5, line=_CUT_LINE, grey=_CUT_GREY)


def _draw_screens(sheet: Sheet, place: Rect, screens: tuple[Screen, ...]) -> None:
    # A screen is one path: of a rectangle alone some programs move the sides to whole dots, which widens thin lines.
    for screen in screens:
        lines = [Rect(place.x + r.x, place.y + r.y, r.width, r.height) for r in screen.lines()]
        sheet.polygons([[(float(x), float(y)) for x, y in line.corners()] for line in lines], 0.0)


def _draw_number(sheet: Sheet, place: Rect, at: Rect, number: int) -> None:
    sheet.text(place.x + at.x, place.y + at.centre[1] + 0.8, f"strip {number:04d}", cap=1.6, bold=True)


def _draw_edges(sheet: Sheet, place: Rect, geometry: StripGeometry) -> None:
    """Name the two long edges in the bands outside the tags, between the tags' quiet zones."""
    left, middle, right = sorted({tag.rect.x for tag in geometry.tags})
    tag = geometry.tags[0].rect
    slots = [(left + tag.width + _QUIET, middle - _QUIET), (middle + tag.width + _QUIET, right - _QUIET)]
    band = min(t.rect.y for t in geometry.tags)
    for words, baseline in (
        ("BOARD EDGE \N{EN DASH} lay the test board here", place.y + band / 2 + 0.8),
        ("FLOOR EDGE \N{EN DASH} lay the floor or a spare plank here", place.bottom - band / 2 + 0.8),
    ):
        for start, end in slots:
            sheet.text(
                place.x + (start + end) / 2, baseline, words, cap=1.6, bold=True, grey=_BAND_GREY, align="centre"
            )


def _draw_advice(sheet: Sheet, *, top: float, number: int) -> None:
    """Draw the advice from `top` (millimetres) down: a ruler, a square of 100 mm with the drawing, short steps."""
    margin = (sheet.width - 190.0) / 2
    _draw_ruler(sheet, margin + RULER_INDENT, top)
    top += 8.0
    _draw_square(sheet, margin, top)
    column = margin + _SQUARE + 12.0
    y = top + 1.9
    for index, step in enumerate(tomllib.loads(_ADVICE.read_text(encoding="utf-8"))["step"], start=1):
        sheet.text(column, y, str(index), cap=2.5, bold=True, grey=0.45)
        sheet.text(column + 5.5, y, step["title"], cap=2.5, bold=True)
        y = sheet.paragraph(
            column + 5.5, y + 5.2, step["words"], width=190.0 - _SQUARE - 17.5, cap=2.05, leading=4.3, grey=0.15
        )
        y += 3.4
    _draw_own_notes(sheet, margin, top + _SQUARE + 16.0)
    _draw_foot(sheet, margin, number)


def _draw_ruler(sheet: Sheet, x: float, top: float) -> None:
    """Draw a ruler of 150 mm that hangs from `top`, with ticks down to 2.5 mm; it is cut off later."""
    line, length = 0.15, 150
    sheet.line(x - line / 2, top, x + length + line / 2, top, line=line)
    for mm in range(0, length + 1, 5):
        tick = 2.5 if mm % 50 == 0 else 1.1 if mm % 10 == 0 else 0.7
        sheet.line(x + mm, top, x + mm, top + tick, line=line)
    for mm in range(0, length + 1, 50):
        sheet.text(x + mm + 0.6, top + 2.5, str(mm), cap=1.15)
    sheet.text(x + length + 4.5, top + 2.5, "mm: check before cutting", cap=1.5, grey=_GREY)


def _draw_square(sheet: Sheet, x: float, y: float) -> None:
    """Draw the second check of scale: a square whose sides are 100 mm from line middle to line middle."""
    sheet.frame(x, y, _SQUARE, _SQUARE, line=0.15)
    for at in range(10, 100, 10):
        long = 1.2 if at % 50 else 2.0
        sheet.line(x + at, y + _SQUARE, x + at, y + _SQUARE - long, line=0.15)
        sheet.line(x, y + at, x + long, y + at, line=0.15)
    sheet.text(x + _SQUARE / 2, y + _SQUARE + 4.2, "100 mm", cap=1.8, align="centre", grey=_GREY)
    sheet.upright_text(x - 1.8, y + _SQUARE / 2, "100 mm", cap=1.8, grey=_GREY)
    _draw_from_above(sheet, x + 8.0, y + 6.0, 84.0)
    _draw_from_the_side(sheet, x + 8.0, y + 68.0, 84.0)


def _draw_from_above(sheet: Sheet, x: float, y: float, width: float) -> None:
    """Draw board, strip and floor as the camera sees them."""
    sheet.text(x, y, "As the camera sees it", cap=1.8, bold=True)
    board, strip, floor = y + 3.0, y + 22.0, y + 36.0
    sheet.box(x + 12, board, width - 24, strip - board - 0.4, 0.86)
    sheet.frame(x + 12, board, width - 24, strip - board - 0.4, line=0.25, grey=0.2)
    for i in range(4):
        at = board + 3.2 + 3.9 * i
        sheet.curve(
            [(x + 13, at), (x + 30, at - 1.5), (x + 52, at + 1.8), (x + width - 13, at - 0.4)], line=0.12, grey=0.6
        )
    _draw_little_strip(sheet, x + 4, strip, width - 8, floor - strip)
    for row in range(2):
        for column in range(2):
            left = x + (0 if column == 0 else (width * 0.62 if row == 0 else width * 0.3))
            right = x + (width if column == 1 else (width * 0.62 if row == 0 else width * 0.3))
            sheet.box(left, floor + 0.4 + row * 10, right - left, 9.8, 0.92)
            sheet.frame(left, floor + 0.4 + row * 10, right - left, 9.8, line=0.2, grey=0.35)
    for left, words, baseline in ((x + width / 2, "test board", board + 10.6), (x + width / 2, "floor", floor + 8.0)):
        half = 1.2 + 0.75 * len(words)
        sheet.box(left - half, baseline - 2.6, 2 * half, 3.6, 1.0)
        sheet.text(left, baseline, words, cap=1.8, align="centre")


def _draw_little_strip(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.box(x, y, width, height, 1.0)
    sheet.frame(x, y, width, height, line=0.25)
    tag = height * 0.3
    edge = height * 0.09
    rows = (y + edge, y + height - edge - tag)
    for top in rows:
        for left in (x + edge, x + (width - tag) / 2, x + width - edge - tag):
            sheet.box(left, top, tag, tag, 0.0)
    cells = 7
    span = (width - tag) / 2 - edge - tag - 1.4 - 0.7
    for index, top in enumerate(rows):
        for i in range(cells):
            grey = i / cells if index else 1 - (i + 1) / cells
            offset = i * span / cells
            for left in (x + edge + tag + 1.0 + offset, x + width - edge - tag - 1.0 - offset - span / cells):
                sheet.box(left, top, span / cells, tag, grey)
    sheet.text(x + width / 2, y + height / 2 + 0.6, "strip", cap=1.3, align="centre")


def _draw_from_the_side(sheet: Sheet, x: float, y: float, width: float) -> None:
    """Draw the phone straight above, all surfaces at one height."""
    sheet.text(x, y, "From the side", cap=1.8, bold=True)
    ground = y + 23.0
    middle = x + width / 2
    sheet.box(x + 4, ground, 30, 2.6, 0.86)
    sheet.frame(x + 4, ground, 30, 2.6, line=0.2, grey=0.2)
    sheet.box(x + 50, ground, 30, 2.6, 0.92)
    sheet.frame(x + 50, ground, 30, 2.6, line=0.2, grey=0.35)
    sheet.line(x + 34.4, ground + 0.2, x + 49.6, ground + 0.2, line=0.6)
    sheet.box(x + 34.4, ground + 0.6, 15.2, 2.0, 0.97)
    sheet.frame(x + 34.4, ground + 0.6, 15.2, 2.0, line=0.15, grey=0.5)
    phone = y + 3.4
    sheet.frame(middle - 8, phone, 16, 1.8, line=0.3, radius=0.7)
    sheet.box(middle - 1, phone + 1.8, 2, 0.6, 0.0)
    for way in (-1, 1):
        sheet.line(middle + way * 0.9, phone + 2.9, middle + way * 34, ground - 0.6, line=0.15, grey=0.45, dash=0.9)
    sheet.text(middle + 11, phone + 1.8, "phone level, straight above", cap=1.6, grey=_GREY)
    for at, words in ((x + 19, "board"), (middle, "strip on card"), (x + 65, "floor")):
        sheet.text(at, ground + 6.0, words, cap=1.6, align="centre", grey=_GREY)


def _draw_own_notes(sheet: Sheet, x: float, y: float) -> None:
    """Draw lines to write on, since a print can only be told from its twin by what was noted on it."""
    sheet.text(x, y, "Your notes", cap=1.8, bold=True)
    for index, words in enumerate(("Project", "Printed on", "Printer", "Paper")):
        baseline = y + 7.5 + 6.5 * index
        sheet.text(x, baseline, words, cap=1.8, grey=_GREY)
        sheet.line(x + 19.0, baseline + 0.6, x + _SQUARE, baseline + 0.6, line=0.15, grey=0.6)


def _draw_foot(sheet: Sheet, margin: float, number: int) -> None:
    y = sheet.height - 16.0
    sheet.line(margin, y, sheet.width - margin, y, line=0.15, grey=0.6)
    sheet.text(margin, y + 4.6, f"finishlab  strip {number:04d}", cap=1.7, grey=_GREY)
    words = "Greys come out differently on every printer: step 4 tells how they came out on yours."
    sheet.text(sheet.width - margin, y + 4.6, words, cap=1.7, grey=_GREY, align="right")


def eye_page_pdf(*, paper: Paper, number: int) -> bytes:
    """Return the page as the bytes of a PDF; the same page is always the same bytes."""
    width, height = PAGES[paper]
    title = f"finishlab strip {number:04d}, page for the eye"
    sheet = new_sheet(width, height, title=title, subject="Lines and greys to be matched by eye, print at true size")
    left = (width - EYE_ROWS[0].screen.rect.width) / 2
    sheet.text(left, 16.2, f"By eye: strip {number:04d}", cap=3.6, bold=True)
    span = EYE_ROWS[0].screen.rect.width
    sheet.paragraph(left, 22.4, _EYE_WORDS.format(number=number), width=span, cap=1.9, leading=4.2, grey=_GREY)
    for index, row in enumerate(EYE_ROWS):
        _draw_row(sheet, row, left, _EYE_TOP + index * _EYE_EVERY, index + 1)
    return sheet.finish()


def _draw_row(sheet: Sheet, row: EyeRow, left: float, top: float, number: int) -> None:
    lines = [line.corners() for line in row.screen.lines()]
    sheet.polygons([[(left + float(x), top + float(y)) for x, y in corners] for corners in lines], 0.0)
    sheet.text(left - 5.0, top + row.screen.rect.height / 2 + 1.3, str(number), cap=2.6, bold=True)
    for step, (at, grey) in enumerate(zip(row.patches(), row.greys, strict=True), start=1):
        sheet.box(left + at.x, top + at.y, at.width, at.height, grey)
        sheet.text(left + at.centre[0], top + row.screen.rect.height + 3.0, str(step), cap=1.6, align="centre")
