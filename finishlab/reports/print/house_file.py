"""The house file for the drawer: what was put on which tread, from which can, and how to do it again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from finishlab.imaging.strip import PAGES, Paper
from finishlab.reports.print.fonts import MISSING_NOTE, unprintable
from finishlab.reports.print.pages import PrintPages, break_lines, fit
from finishlab.reports.print.views import Drawing, HouseCan, HousePhoto, HouseSection, HouseView, Swatch

__all__ = ["house_file_pdf", "house_letters_missing"]

_LEFT: Final = 22.0
"""Wide enough to be punched."""
_RIGHT: Final = 14.0
_TOP: Final = 16.0
_BOTTOM: Final = 16.0
_CAP: Final = 2.1
_LEADING: Final = 1.8
_NAME: Final = 42.0
_CAN_COLUMNS: Final = (("can", 0.06), ("what", 0.28), ("lot", 0.13), ("left", 0.13), ("place", 0.22), ("used on", 0.18))
_GAP: Final = 5.0


class _Flow:
    """Pages that are filled from top to bottom."""

    def __init__(self, view: HouseView, paper: Paper) -> None:
        width, height = PAGES[paper]
        self.pages = PrintPages(width, height, title=f"finishlab house file, {view.title}", subject=view.subtitle)
        self.width, self.bottom = width - _LEFT - _RIGHT, height - _BOTTOM
        self.y, self.number = _TOP, 1
        self._foot = f"{view.title}, {view.date.isoformat()}"
        self._draw_foot()

    def _draw_foot(self) -> None:
        foot = fit(self._foot, width=self.width - 20.0, height=2.0, cap=1.6, smallest=1.2)
        self.pages.setting(_LEFT, self.pages.height - 10.0, foot, grey=0.35)
        right = self.pages.width - _RIGHT
        self.pages.text(right, self.pages.height - 8.4, f"page {self.number}", cap=1.6, grey=0.35, align="right")

    def room(self, height: float) -> bool:
        """Make sure that `height` is left on the page; return whether a new page was begun for it."""
        if self.y + height <= self.bottom or self.y == _TOP:
            return False
        self.pages.next_page()
        self.number += 1
        self.y = _TOP
        self._draw_foot()
        return True

    def heading(self, words: str, *, with_room: float = 14.0) -> None:
        """Set a heading, never alone at the foot of a page."""
        self.room(with_room + 9.0)
        said = fit(words, width=self.width, height=9.0, cap=3.2, smallest=2.0, bold=True)
        self.y = self.pages.setting(_LEFT, self.y, said, bold=True) + 1.8
        self.pages.line(_LEFT, self.y, _LEFT + self.width, self.y, line=0.3)
        self.y += 2.6

    def lines(self, words: str, *, x: float = 0.0, width: float | None = None, bold: bool = False) -> None:
        """Set a text, over as many pages as it takes."""
        for line in break_lines(words, width=(width or self.width) - (0.0 if width else x), cap=_CAP, bold=bold):
            self.room(_CAP * _LEADING)
            self.pages.text(_LEFT + x, self.y + _CAP, line, cap=_CAP, bold=bold)
            self.y += _CAP * _LEADING


def house_file_pdf(view: HouseView, *, paper: Paper = "a4") -> bytes:
    """Return the house file as the bytes of a PDF; the same file is always the same bytes."""
    flow = _Flow(view, paper)
    title = fit(view.title, width=flow.width, height=16.0, cap=6.5, smallest=3.0, bold=True)
    flow.y = flow.pages.setting(_LEFT, flow.y, title, bold=True) + 3.0
    flow.lines(view.subtitle)
    flow.y += _GAP
    if view.reading is not None:
        _draw_section(flow, view.reading)
    for section in view.sections:
        _draw_section(flow, section)
    _draw_cans(flow, view.cans)
    if view.stair is not None:
        _draw_stair(flow, view.stair)
    for section in view.stair_text:
        _draw_section(flow, section)
    _draw_swatches(flow, view.swatches)
    _draw_photos(flow, "Photos", view.photos, across=2, note=view.photos_note)
    _draw_photos(flow, "Photos of the stair", view.stair_photos, across=3)
    if view.care is not None:
        _draw_section(flow, view.care)
    if house_letters_missing(view):
        flow.lines(MISSING_NOTE)
        flow.y += _GAP
    if view.cautions:
        _draw_section(flow, HouseSection("Cautions", view.cautions, view.defers or None))
    return flow.pages.finish()


def house_letters_missing(view: HouseView) -> str:
    """Return the letters of a house file that no font here can print; they stand as ``?``."""
    sections = (*view.sections, *view.stair_text)
    said = [text for each in sections for line in each.lines for text in line] + [each.title for each in sections]
    said += [text for can in view.cans for text in (can.what, can.lot, can.left, can.place, can.used_on)]
    said += [text for swatch in view.swatches for text in (swatch.name, swatch.caption)]
    said += [photo.caption for photo in (*view.photos, *view.stair_photos)]
    said += [] if view.stair is None else [text.words for text in view.stair.texts]
    return unprintable((view.title, view.subtitle, *said))


def _draw_section(flow: _Flow, section: HouseSection) -> None:
    flow.heading(section.title)
    if section.note:
        flow.lines(section.note)
        flow.y += 1.6
    for name, words in section.lines:
        if not name:
            flow.lines(words)
        else:
            left = break_lines(name, width=_NAME - 3.0, cap=_CAP, bold=True)
            right = break_lines(words, width=flow.width - _NAME, cap=_CAP)
            flow.room(_CAP * _LEADING * min(len(left), 12))
            start, page = flow.y, flow.number
            for index, line in enumerate(left):
                flow.pages.text(_LEFT, start + _CAP + index * _CAP * _LEADING, line, cap=_CAP, bold=True)
            for line in right:
                flow.room(_CAP * _LEADING)
                flow.pages.text(_LEFT + _NAME, flow.y + _CAP, line, cap=_CAP)
                flow.y += _CAP * _LEADING
            if flow.number == page:
                flow.y = max(flow.y, start + len(left) * _CAP * _LEADING)
        flow.y += 1.1
    flow.y += _GAP


def _draw_cans(flow: _Flow, cans: Sequence[HouseCan]) -> None:
    if not cans:
        return
    flow.heading("Cans and leftovers")
    _can_row(flow, {name: name for name, _ in _CAN_COLUMNS}, bold=True)
    for can in cans:
        what = f"{can.what}, opened {can.opened}" if can.opened else can.what
        values = (can.number, what, can.lot, can.left, can.place, can.used_on)
        _can_row(flow, {name: value for (name, _), value in zip(_CAN_COLUMNS, values, strict=True)})
    flow.y += _GAP


def _can_row(flow: _Flow, values: dict[str, str], *, bold: bool = False) -> None:
    cells, x = [], 0.0
    for name, share in _CAN_COLUMNS:
        width = share * flow.width
        cells.append((x, break_lines(values[name], width=width - 2.0, cap=_CAP * 0.9, bold=bold)))
        x += width
    height = max(len(lines) for _, lines in cells) * _CAP * 0.9 * _LEADING + 1.4
    flow.room(height)
    for x, lines in cells:
        for index, line in enumerate(lines):
            baseline = flow.y + _CAP * 0.9 * (1 + index * _LEADING)
            flow.pages.text(_LEFT + x, baseline, line, cap=_CAP * 0.9, bold=bold)
    flow.y += height
    flow.pages.line(_LEFT, flow.y - 0.9, _LEFT + flow.width, flow.y - 0.9, line=0.1, grey=0.5)


def _draw_stair(flow: _Flow, drawing: Drawing) -> None:
    scale = min(flow.width / drawing.width, (flow.bottom - _TOP - 14.0) / drawing.height)
    flow.heading("The stair", with_room=drawing.height * scale)
    for shape in drawing.shapes:
        points = [(_LEFT + x * scale, flow.y + y * scale) for x, y in shape.points]
        flow.pages.shape(points, fill=shape.fill, line=shape.line * scale, grey=0.3)
    for text in drawing.texts:
        flow.pages.text(
            _LEFT + text.x * scale,
            flow.y + text.y * scale,
            text.words,
            cap=text.cap * scale,
            bold=text.bold,
            grey=text.grey,
            align=text.align,
        )
    flow.y += drawing.height * scale + _GAP


def _draw_swatches(flow: _Flow, swatches: Sequence[Swatch]) -> None:
    if not swatches:
        return
    across, gap, high = 4, 5.0, 22.0
    width = (flow.width - (across - 1) * gap) / across
    flow.heading("Colours as measured", with_room=high + 12.0)
    flow.lines("A screen or a printer shows colours only roughly: compare with the figures, or with the board itself.")
    flow.y += 1.5
    for start in range(0, len(swatches), across):
        flow.room(high + 12.0)
        for index, swatch in enumerate(swatches[start : start + across]):
            x = _LEFT + index * (width + gap)
            flow.pages.colour_box(x, flow.y, width, high, swatch.colour)
            flow.pages.frame(x, flow.y, width, high, line=0.15, grey=0.4)
            name = fit(swatch.name, width=width, height=2.4, cap=_CAP, smallest=1.3, bold=True)
            y = flow.pages.setting(x, flow.y + high + 1.6, name, bold=True)
            said = fit(swatch.caption, width=width, height=5.4, cap=1.7, smallest=1.2)
            flow.pages.setting(x, y + 1.2, said, grey=0.2)
        flow.y += high + 13.0
    flow.y += _GAP


def _draw_photos(flow: _Flow, title: str, photos: Sequence[HousePhoto], *, across: int, note: str = "") -> None:
    if not photos:
        return
    gap, high, words = 6.0, 124.0 / across, 8.0
    width = (flow.width - (across - 1) * gap) / across
    flow.heading(title, with_room=high + words)
    if note:
        flow.lines(note)
        flow.y += 1.6
    for start in range(0, len(photos), across):
        flow.room(high + words)
        tallest = 0.0
        for index, photo in enumerate(photos[start : start + across]):
            x = _LEFT + index * (width + gap)
            _, shown = flow.pages.jpeg(x, flow.y, width, high, photo.jpeg)
            said = fit(photo.caption, width=width, height=6.0, cap=1.8, smallest=1.4)
            flow.pages.setting(x, flow.y + shown + 1.4, said, grey=0.15)
            tallest = max(tallest, shown)
        flow.y += tallest + words + 1.0
    flow.y += _GAP
