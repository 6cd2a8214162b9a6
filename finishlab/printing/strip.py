"""The printed strip: one page at true size, in black ink only, with the advice needed to print and use it."""

from __future__ import annotations

import json

import numpy as np

from finishlab.imaging.strip import PAGES, STRIP, Paper, Rect, Screen, StripGeometry
from finishlab.printing.strip_advice import RULER_DROP, draw_advice
from finishlab.show.pdf.sheet import Sheet

__all__ = ["module_outlines", "strip_layout", "strip_pdf"]

_CUT_LINE = 0.2
_CUT_GREY = 0.6
_BAND_GREY = 0.35
_QUIET = 2.0
"""Bare paper kept around each tag, one of its modules wide: the finder needs a light rim around the black border."""


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
    sheet = Sheet(
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
    draw_advice(sheet, top=place.bottom + RULER_DROP, number=number)
    return sheet.finish()


def strip_layout(paper: Paper, geometry: StripGeometry = STRIP) -> bytes:
    """Return where the strip and its fields lie on the page, as the JSON document ``finishlab/strip/1``."""
    return (json.dumps(geometry.layout(paper), indent=2) + "\n").encode()


def module_outlines(white: np.ndarray) -> list[list[tuple[int, int]]]:
    """Return the outlines of a tag's black parts, as closed loops of module corners (column, row).

    Filled by the odd-even rule as one path, they give the tag without a seam between neighbouring modules.

    Parameters
    ----------
    white
        Shape (rows, columns), bool, True where white.
    """
    black = np.pad(~np.asarray(white, dtype=bool), 1)
    # Each side between a black and a white module, walked with black on the right hand.
    following: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for row, column in np.argwhere(black):
        x, y = int(column) - 1, int(row) - 1
        sides = (
            (not black[row - 1, column], (x, y), (x + 1, y)),
            (not black[row, column + 1], (x + 1, y), (x + 1, y + 1)),
            (not black[row + 1, column], (x + 1, y + 1), (x, y + 1)),
            (not black[row, column - 1], (x, y + 1), (x, y)),
        )
        for is_edge, start, end in sides:
            if is_edge:
                following.setdefault(start, []).append(end)
    loops = []
    while following:
        start = min(following)
        loop, here = [start], _step(following, start)
        while here != start:
            loop.append(here)
            here = _step(following, here)
        loops.append(_without_straight_corners(loop))
    return loops


def _step(following: dict[tuple[int, int], list[tuple[int, int]]], here: tuple[int, int]) -> tuple[int, int]:
    ends = following[here]
    end = ends.pop()
    if not ends:
        del following[here]
    return end


def _without_straight_corners(loop: list[tuple[int, int]]) -> list[tuple[int, int]]:
    def turns(i: int) -> bool:
        (ax, ay), (bx, by), (cx, cy) = loop[i - 1], loop[i], loop[(i + 1) % len(loop)]
        return (bx - ax) * (cy - by) != (by - ay) * (cx - bx)

    return [point for i, point in enumerate(loop) if turns(i)]


def _draw_tag(sheet: Sheet, at: Rect, tag_id: int) -> None:
    from finishlab.imaging.tags import tag_modules  # loads OpenCV, so only when a strip is drawn

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
