"""The finishing schedule for the bench: steps with their times, a table of parts to tick, cautions at the foot.

Set large, to be read at arm's length with gloves on (sizes are common practice, no source). It is one page; more parts
than that page holds go on overleaf under the same headings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.imaging.strip import PAGES, Paper
from finishlab.reports.print_fonts import unprintable
from finishlab.reports.print_page import PrintPages, Setting, break_lines, fit
from finishlab.reports.print_views import ScheduleStep, ScheduleView

__all__ = ["schedule_letters_missing", "schedule_pdf"]

_MARGIN: Final = 12.0
_STEP_CAPS: Final = (3.4, 3.2, 3.0, 2.8, 2.6)
"""Sizes of the steps, tried from the largest on until the page holds all."""
_OVERLEAF_CAP: Final = 3.0
"""Size of the steps where the parts need a second page anyway."""
_TITLE_WIDTH: Final = 46.0
_NUMBER_WIDTH: Final = 9.0
_TIME_WIDTH: Final = 40.0
_ROW_MOST, _ROW_LEAST = 11.0, 6.6
_HEAD: Final = 9.0
_NAME_WIDTH: Final = 34.0
_FOOT_CAP: Final = 2.2
_MOST_COLUMNS: Final = 9


@dataclass(frozen=True, slots=True)
class _Laid:
    """One step, broken into lines."""

    step: ScheduleStep
    title: list[str]
    detail: list[str]
    time: list[str]

    def height(self, cap: float) -> float:
        """Return the height it takes, with the space below it."""
        return cap * (1.7 * max(len(self.title), len(self.detail), len(self.time)) + 0.9)


def schedule_pdf(view: ScheduleView, *, paper: Paper = "a4") -> bytes:
    """Return the schedule as the bytes of a PDF; the same schedule is always the same bytes."""
    width, height = PAGES[paper]
    pages = PrintPages(width, height, title=f"finishlab schedule, {view.title}", subject="Finishing schedule")
    inner = width - 2 * _MARGIN
    top = _draw_heading(pages, view, inner)
    foot = _foot_lines(view, inner)
    bottom = height - _MARGIN - _foot_height(foot)
    # Steps shrink only as far as is needed to leave the table its least height.
    wanted = _HEAD + len(view.parts) * _ROW_LEAST + 6.0 if view.parts else 0.0
    for cap in _STEP_CAPS:
        laid = _lay(view.steps, inner, cap)
        if top + sum(step.height(cap) for step in laid) + wanted <= bottom:
            break
    else:
        cap = _OVERLEAF_CAP
        laid = _lay(view.steps, inner, cap)
    y = _draw_steps(pages, laid, top, cap, limit=bottom)
    _draw_foot(pages, foot, bottom)
    _draw_table(pages, view, y + 3.0, bottom - 3.0, inner)
    return pages.finish()


def schedule_letters_missing(view: ScheduleView) -> str:
    """Return the letters of a schedule that no font here can print; they stand as ``?``."""
    steps = (text for step in view.steps for text in (step.title, step.detail, step.time))
    return unprintable((view.title, view.subtitle, *steps, *(part.name for part in view.parts)))


def _draw_heading(pages: PrintPages, view: ScheduleView, inner: float) -> float:
    title = fit(view.title, width=inner - 32.0, height=14.0, cap=6.0, smallest=3.0, bold=True)
    y = pages.setting(_MARGIN, _MARGIN, title, bold=True)
    if view.date is not None:
        pages.text(_MARGIN + inner, _MARGIN + 3.0, view.date.isoformat(), cap=2.6, grey=0.2, align="right")
    if view.subtitle:
        said = fit(view.subtitle, width=inner, height=8.0, cap=2.8, smallest=2.0)
        y = pages.setting(_MARGIN, y + 2.6, said, grey=0.15)
    pages.line(_MARGIN, y + 2.6, _MARGIN + inner, y + 2.6, line=0.5)
    return y + 5.6


def _lay(steps: Sequence[ScheduleStep], inner: float, cap: float) -> list[_Laid]:
    detail = inner - _NUMBER_WIDTH - _TITLE_WIDTH - _TIME_WIDTH - 6.0
    return [
        _Laid(
            step,
            break_lines(step.title, width=_TITLE_WIDTH, cap=cap, bold=True),
            break_lines(step.detail, width=detail, cap=cap * 0.9) if step.detail else [],
            break_lines(step.time, width=_TIME_WIDTH, cap=cap * 0.9, bold=True) if step.time else [],
        )
        for step in steps
    ]


def _draw_steps(pages: PrintPages, laid: Sequence[_Laid], top: float, cap: float, *, limit: float) -> float:
    y = top
    for number, each in enumerate(laid, start=1):
        if y + each.height(cap) > limit:
            pages.next_page()
            y, limit = _MARGIN, pages.height - _MARGIN
        x = _MARGIN
        pages.text(x, y + cap, str(number), cap=cap, bold=True, grey=0.4)
        x += _NUMBER_WIDTH
        for lines, size, bold, width in (
            (each.title, cap, True, _TITLE_WIDTH + 3.0),
            (each.detail, cap * 0.9, False, pages.width - 2 * _MARGIN - _NUMBER_WIDTH - _TITLE_WIDTH - _TIME_WIDTH - 3),
            (each.time, cap * 0.9, True, 0.0),
        ):
            for index, line in enumerate(lines):
                pages.text(x, y + cap + index * cap * 1.7, line, cap=size, bold=bold)
            x += width
        y += each.height(cap)
    return y


def _foot_lines(view: ScheduleView, inner: float) -> list[tuple[str, bool]]:
    lines: list[tuple[str, bool]] = []
    for words in view.cautions:
        broken = break_lines(words, width=inner - 4.0, cap=_FOOT_CAP)
        lines += [(line, index == 0) for index, line in enumerate(broken)]
    lines += [(line, False) for line in break_lines(view.defers, width=inner - 4.0, cap=_FOOT_CAP)]
    return lines


def _foot_height(lines: Sequence[object]) -> float:
    return len(lines) * _FOOT_CAP * 1.65 + 5.0


def _draw_foot(pages: PrintPages, lines: Sequence[tuple[str, bool]], top: float) -> None:
    pages.frame(_MARGIN, top, pages.width - 2 * _MARGIN, _foot_height(lines), line=0.5)
    y = top + 2.0 + _FOOT_CAP
    for line, first in lines:
        if first:
            pages.box(_MARGIN + 1.2, y - _FOOT_CAP * 0.75, 0.9, 0.9, 0.0)
        pages.text(_MARGIN + 3.0, y, line, cap=_FOOT_CAP)
        y += _FOOT_CAP * 1.65


def _draw_table(pages: PrintPages, view: ScheduleView, top: float, bottom: float, inner: float) -> None:
    """Draw the table; what does not fit goes on another page, with all of its height to use."""
    left, first = list(view.parts), True
    while left:
        # A table of one or two rows below the steps is worth no half page: everything goes overleaf then.
        room = int((bottom - top - _HEAD) / _ROW_LEAST)
        if first and room < min(len(left), 3):
            room = 0
        if room > 0:
            rows, left = left[:room], left[room:]
            row = min(_ROW_MOST, (bottom - top - _HEAD) / max(len(rows), 1))
            _draw_rows(pages, view, [(part.name, part.done) for part in rows], top, row, inner)
        if left:
            pages.next_page()
            title = fit(view.title, width=inner, height=5.0, cap=3.4, smallest=2.0, bold=True)
            pages.setting(_MARGIN, _MARGIN, title, bold=True)
            top, bottom = _MARGIN + 9.0, pages.height - _MARGIN
        first = False


def _columns(view: ScheduleView, inner: float) -> Iterator[tuple[str, float, float]]:
    columns = view.columns[:_MOST_COLUMNS] or ("done",)
    width = (inner - _NAME_WIDTH) / len(columns)
    for index, name in enumerate(columns):
        yield name, _MARGIN + _NAME_WIDTH + index * width, width


def _draw_rows(
    pages: PrintPages, view: ScheduleView, rows: Sequence[tuple[str, object]], top: float, row: float, inner: float
) -> None:
    columns = list(_columns(view, inner))
    for name, x, width in columns:
        said = fit(name, width=width - 2.0, height=_HEAD - 2.5, cap=2.3, smallest=1.4, leading=1.5, bold=True)
        high = said.cap * (1 + (len(said.lines) - 1) * 1.5)
        pages.setting(x + 1.2, top + _HEAD - high - 1.8, said, leading=1.5, bold=True)
    y = top + _HEAD
    pages.line(_MARGIN, y, _MARGIN + inner, y, line=0.4)
    done = {part.name: part.done for part in view.parts}
    for name, _ in rows:
        said = fit(name, width=_NAME_WIDTH - 2.0, height=row - 1.6, cap=3.0, smallest=1.5, leading=1.4, bold=True)
        height = said.cap * (1 + (len(said.lines) - 1) * 1.4)
        pages.setting(_MARGIN, y + (row - height) / 2, said, leading=1.4, bold=True)
        for column, x, width in columns:
            _draw_cell(pages, x + 1.2, y, width - 2.4, row, done[name].get(column))
        y += row
        pages.line(_MARGIN, y, _MARGIN + inner, y, line=0.12, grey=0.4)


def _draw_cell(pages: PrintPages, x: float, y: float, width: float, row: float, day: str | None) -> None:
    """Draw a box to tick and a line for the date; ticked, with its day, where it is done already."""
    side = min(4.5, row - 2.0)
    top = y + (row - side) / 2
    pages.frame(x, top, side, side, line=0.35)
    start = x + side + 1.2
    if day is None:
        if x + width - start > 3.0:
            pages.line(start, top + side, x + width, top + side, line=0.15, grey=0.4)
        return
    pages.line(x + side * 0.2, top + side * 0.55, x + side * 0.42, top + side * 0.8, line=0.6)
    pages.line(x + side * 0.42, top + side * 0.8, x + side * 0.85, top + side * 0.2, line=0.6)
    said = fit(day, width=max(x + width - start, 4.0), height=side, cap=1.9, smallest=1.0, leading=1.4)
    pages.setting(start, top + (side - said.cap) / 2, Setting(said.lines[:1], said.cap))
