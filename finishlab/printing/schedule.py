"""The finishing schedule for the bench: steps with their times, a table of parts to tick, cautions at the foot.

Set large, to be read at arm's length with gloves on (sizes are common practice, no source). Steps and rows become
smaller, nothing below 8 pt, before a second page is begun; what that page does not hold goes on overleaf under the same
headings.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from finishlab.cautions import DEFERS, Action, cautions_for
from finishlab.coatings import Usual
from finishlab.finish import ColourStep, Finish, Preparation, Seal, Topcoat
from finishlab.finish.entering import products_of
from finishlab.finish.fields import Section, specs
from finishlab.imaging.strip import PAGES, Paper
from finishlab.logbook.entities import chosen_recipe
from finishlab.record import today
from finishlab.show.sheets import (
    MISSING_NOTE,
    Setting,
    Sheet,
    break_lines,
    cap_of,
    fit,
    letters_missing,
    line_width,
    new_sheet,
)
from finishlab.stair.progress import can_words, coats_of, progress_of, recipe_of, resolved

if TYPE_CHECKING:
    from finishlab.logbook import Logbook
    from finishlab.recipe import Can, Label
    from finishlab.stair.progress import Progress
    from finishlab.stair.records import StoredPart, StoredStair


_MARGIN: Final = 12.0
_LEAST_CAP: Final = cap_of(8.0)
"""Height of Helvetica's capitals at 8 pt, mm: nothing is set smaller."""
_STEP_CAPS: Final = (3.4, 3.2, 3.0, 2.8, 2.6, 2.4, 2.3)
"""Sizes of the steps, tried from the largest on until the page holds all; their details are a tenth smaller."""
_OVERLEAF_CAP: Final = 3.0
"""Size of the steps where the parts need a second page anyway."""
_TITLE_WIDTH: Final = 46.0
_NUMBER_WIDTH: Final = 9.0
_TIME_WIDTH: Final = 40.0
_ROW_MOST: Final = 11.0
_ROWS_LEAST: Final = (6.6, 5.2)
"""Heights of a row: the least that is comfortable to tick, and the least there is."""
_NAME_CAP: Final = 3.0
_HEAD: Final = 9.0
_NAME_WIDTHS: Final = (34.0, 42.0, 52.0)
_FOOT_CAP: Final = 2.2
_MOST_COLUMNS: Final = 9
_COLUMN_LEAST: Final = 14.5
"""Width of a column that holds a box and a day."""
_BLANK_ROWS: Final = 10
_USUAL_WORDS: Final = (
    "Usual hours hold at about 21 C and 50 % humidity (common practice, no source); they stand where neither the label "
    "nor the recipe says any."
)
_ACTIONS: Final[tuple[Action, ...]] = ("apply", "sand", "wet stair", "dispose")


@dataclass(frozen=True, slots=True)
class ScheduleStep:
    """One step of the work, in order."""

    title: str
    detail: str = ""
    time: str = ""
    """How long, or how long until the next step."""


@dataclass(frozen=True, slots=True)
class SchedulePart:
    """One row of the table to tick."""

    name: str
    done: Mapping[str, str]
    """Column -> day it was done; what is not done is missing."""


@dataclass(frozen=True, slots=True)
class ScheduleView:
    """The schedule of one recipe."""

    title: str
    subtitle: str
    steps: tuple[ScheduleStep, ...]
    columns: tuple[str, ...]
    """What is ticked, in order: ``"sanded"``, ``"stain 1"`` ..."""
    parts: tuple[SchedulePart, ...]
    cautions: tuple[str, ...]
    """Each in a sentence or two."""
    defers: str
    """What wins over all of it."""
    date: dt.date | None = None
    """Day it was printed."""
    usual: str = ""
    """What usual hours hold for, where some are shown."""


def schedule_pdf(view: ScheduleView, *, paper: Paper = "a4") -> bytes:
    """Return the schedule as the bytes of a PDF; the same schedule is always the same bytes."""
    width, height = PAGES[paper]
    pages = new_sheet(width, height, title=f"finishlab schedule, {view.title}", subject="Finishing schedule")
    inner = width - 2 * _MARGIN
    top = _draw_heading(pages, view, inner)
    foot = _foot_lines(view, inner)
    bottom = height - _MARGIN - _foot_height(foot)
    cap, least = _sizes(view, inner, bottom - top)
    y = _draw_steps(pages, view.steps, top, cap, limit=bottom)
    _draw_foot(pages, foot, bottom)
    for first in range(0, max(len(view.columns), 1), _MOST_COLUMNS):
        columns = view.columns[first : first + _MOST_COLUMNS]
        grid = _Grid(columns or ("done",), _name_width(view, inner), inner, least)
        if first:
            y, bottom = _overleaf(pages, view, inner)
        y = _draw_table(pages, view, grid, y + 3.0, bottom - 3.0)
    return pages.finish()


def _sizes(view: ScheduleView, inner: float, height: float) -> tuple[float, float]:
    """Return the size of the steps and the least height of a row with which one page holds all.

    Steps shrink only as far as is needed to leave the table its rows; then the rows shrink too.
    """
    tallest = _names_height(view, _name_width(view, inner))
    for least in _ROWS_LEAST:
        row = max(least, tallest)
        wanted = _HEAD + len(view.parts) * row + 6.0 if view.parts else 0.0
        for cap in _STEP_CAPS:
            if sum(_step_height(_laid(step, inner, cap), cap) for step in view.steps) + wanted <= height:
                return cap, row
    return _OVERLEAF_CAP, max(_ROWS_LEAST[0], tallest)


def _name_width(view: ScheduleView, inner: float) -> float:
    """Return the width of the column of names: the least in which each stands on one line, if there is one."""
    columns = min(len(view.columns), _MOST_COLUMNS)
    fitting = [width for width in _NAME_WIDTHS if inner - width >= columns * _COLUMN_LEAST] or [_NAME_WIDTHS[0]]
    longest = max((line_width(part.name, cap=_LEAST_CAP, bold=True) for part in view.parts), default=0.0)
    return next((width for width in fitting if longest <= width - 2.0), fitting[-1])


def _names_height(view: ScheduleView, width: float) -> float:
    """Return the height the names need at their least size."""
    lines = (len(break_lines(part.name, width=width - 2.0, cap=_LEAST_CAP, bold=True)) for part in view.parts)
    return _LEAST_CAP * (1 + (max(lines, default=1) - 1) * 1.4) + 1.6


def _draw_heading(pages: Sheet, view: ScheduleView, inner: float) -> float:
    title = fit(view.title, width=inner - 32.0, height=14.0, cap=6.0, smallest=2.4, bold=True)
    y = pages.setting(_MARGIN, _MARGIN, title, bold=True)
    if view.date is not None:
        pages.text(_MARGIN + inner, _MARGIN + 3.0, view.date.isoformat(), cap=2.6, grey=0.2, align="right")
    if view.subtitle:
        said = fit(view.subtitle, width=inner, height=8.0, cap=2.8, smallest=_LEAST_CAP)
        y = pages.setting(_MARGIN, y + 2.6, said, grey=0.15)
    pages.line(_MARGIN, y + 2.6, _MARGIN + inner, y + 2.6, line=0.5)
    return y + 5.6


_Laid = list[tuple[float, list[str], float, bool]]
"""The columns of a step: where each stands, its lines, the height of their capitals, and whether they are bold."""


def _laid(step: ScheduleStep, inner: float, cap: float) -> _Laid:
    small, detail = cap * 0.9, _NUMBER_WIDTH + _TITLE_WIDTH + 3.0
    wide = inner - detail - _TIME_WIDTH - 3.0
    return [
        (_NUMBER_WIDTH, break_lines(step.title, width=_TITLE_WIDTH, cap=cap, bold=True), cap, True),
        (detail, break_lines(step.detail, width=wide, cap=small), small, False),
        (inner - _TIME_WIDTH, break_lines(step.time, width=_TIME_WIDTH, cap=small, bold=True), small, True),
    ]


def _step_height(laid: _Laid, cap: float) -> float:
    """Return the height a step takes, with the space below it."""
    return cap * (1.7 * max(len(lines) for _, lines, _, _ in laid) + 0.9)


def _draw_steps(pages: Sheet, steps: Sequence[ScheduleStep], top: float, cap: float, *, limit: float) -> float:
    y = top
    for number, step in enumerate(steps, start=1):
        laid = _laid(step, pages.width - 2 * _MARGIN, cap)
        height = _step_height(laid, cap)
        if y + height > limit:
            pages.next_page()
            y, limit = _MARGIN, pages.height - _MARGIN
        pages.text(_MARGIN, y + cap, str(number), cap=cap, bold=True, grey=0.4)
        for x, lines, size, bold in laid:
            for index, line in enumerate(lines):
                pages.text(_MARGIN + x, y + cap + index * cap * 1.7, line, cap=size, bold=bold)
        y += height
    return y


def _foot_lines(view: ScheduleView, inner: float) -> list[tuple[str, bool]]:
    lines: list[tuple[str, bool]] = []
    for words in view.cautions:
        broken = break_lines(words, width=inner - 4.0, cap=_FOOT_CAP)
        lines += [(line, index == 0) for index, line in enumerate(broken)]
    for words in (view.usual, MISSING_NOTE if letters_missing(view) else "", view.defers):
        lines += [(line, False) for line in break_lines(words, width=inner - 4.0, cap=_FOOT_CAP) if line]
    return lines


def _foot_height(lines: Sequence[object]) -> float:
    return len(lines) * _FOOT_CAP * 1.65 + 5.0


def _draw_foot(pages: Sheet, lines: Sequence[tuple[str, bool]], top: float) -> None:
    pages.frame(_MARGIN, top, pages.width - 2 * _MARGIN, _foot_height(lines), line=0.5)
    y = top + 2.0 + _FOOT_CAP
    for line, first in lines:
        if first:
            pages.box(_MARGIN + 1.2, y - _FOOT_CAP * 0.75, 0.9, 0.9, 0.0)
        pages.text(_MARGIN + 3.0, y, line, cap=_FOOT_CAP)
        y += _FOOT_CAP * 1.65


@dataclass(frozen=True, slots=True)
class _Grid:
    """How the table is divided: the names of its columns, the width of the parts' names, and the least row."""

    columns: tuple[str, ...]
    name_width: float
    inner: float
    least: float

    def places(self) -> Iterator[tuple[str, float, float]]:
        """Return each column with its left edge and its width."""
        width = (self.inner - self.name_width) / len(self.columns)
        for index, name in enumerate(self.columns):
            yield name, _MARGIN + self.name_width + index * width, width


def _overleaf(pages: Sheet, view: ScheduleView, inner: float) -> tuple[float, float]:
    """Go on with a new page under the schedule's name; return from where to where there is room."""
    pages.next_page()
    title = fit(view.title, width=inner, height=5.0, cap=3.4, smallest=_LEAST_CAP, bold=True)
    pages.setting(_MARGIN, _MARGIN, title, bold=True)
    return _MARGIN + 6.0, pages.height - _MARGIN


def _draw_table(pages: Sheet, view: ScheduleView, grid: _Grid, top: float, bottom: float) -> float:
    """Draw the table, what does not fit overleaf with all of that page's height; return where it ends."""
    left, first = list(view.parts), True
    while left:
        # A table of one or two rows below the steps is worth no half page: everything goes overleaf then.
        room = int((bottom - top - _HEAD) / grid.least + 1e-6)
        if first and room < min(len(left), 3):
            room = 0
        if room > 0:
            rows, left = left[:room], left[room:]
            row = min(_ROW_MOST, (bottom - top - _HEAD) / len(rows))
            top = _draw_rows(pages, grid, rows, top, row)
        if left:
            top, bottom = _overleaf(pages, view, grid.inner)
            top += 3.0
        first = False
    return top


def _draw_rows(pages: Sheet, grid: _Grid, rows: Sequence[SchedulePart], top: float, row: float) -> float:
    for name, x, width in grid.places():
        said = fit(name, width=width - 2.0, height=_HEAD - 2.5, cap=2.3, smallest=_LEAST_CAP, leading=1.5, bold=True)
        high = said.cap * (1 + (len(said.lines) - 1) * 1.5)
        pages.setting(x + 1.2, top + _HEAD - high - 1.8, said, leading=1.5, bold=True)
    y = top + _HEAD
    pages.line(_MARGIN, y, _MARGIN + grid.inner, y, line=0.4)
    for part in rows:
        said = _named(part.name, grid.name_width - 2.0, row - 1.4)
        height = said.cap * (1 + (len(said.lines) - 1) * 1.4)
        pages.setting(_MARGIN, y + (row - height) / 2, said, leading=1.4, bold=True)
        for column, x, width in grid.places():
            _draw_cell(pages, x + 1.2, y, width - 2.4, row, part.done.get(column))
        y += row
        pages.line(_MARGIN, y, _MARGIN + grid.inner, y, line=0.12, grey=0.4)
    return y


def _named(name: str, width: float, height: float) -> Setting:
    """Return a part's name on one line if that can be read, else on as many as it takes."""
    cap = min(_NAME_CAP, _NAME_CAP * width / max(line_width(name, cap=_NAME_CAP, bold=True), 1e-3))
    if cap >= _LEAST_CAP:
        return Setting((name,), cap)
    return fit(name, width=width, height=height, cap=_NAME_CAP, smallest=_LEAST_CAP, leading=1.4, bold=True)


def _draw_cell(pages: Sheet, x: float, y: float, width: float, row: float, day: str | None) -> None:
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
    said = fit(day, width=max(x + width - start, 4.0), height=side, cap=2.2, smallest=_LEAST_CAP, leading=1.4)
    pages.setting(start, top + (side - said.cap) / 2, Setting(said.lines[:1], said.cap))


def schedule_view(log: Logbook, recipe: str | None, parts: str = "", *, date: dt.date | None = None) -> ScheduleView:
    """Return the schedule of a recipe: of the one named, else of the standard, else of the only one.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"``, ``"unknown-part"``.
    UsageError
        ``"no-recipe"``, ``"which-recipe"``, and what `StoredStair.named` raises.
    """
    number, chosen, _ = chosen_recipe(log, recipe)
    stair = log.stair()
    worked = resolved(stair, number)
    progress = progress_of(stair.events)
    if parts.strip():
        meant = stair.named(parts)
    else:
        meant = [part for part in stair.parts if _number(stair, part, progress.get(part.ident)) == number]
    columns = _columns(worked.finish)
    rows = tuple(
        SchedulePart(part.name.words(with_level=stair.several_flights), _done(progress.get(part.ident), columns))
        for part in meant
    )
    steps = tuple(finish_steps(worked.finish, stair.cans))
    found = cautions_for(products_of(worked.finish, stair.cans), _ACTIONS)
    others = [part.name for part in meant if _number(stair, part, progress.get(part.ident)) not in {None, number}]
    apart = f"Of another recipe: {stair.listed(others)}." if others else None
    told = [f"The standard since {worked.approved}." if worked.approved else None, chosen.note, worked.changed, apart]
    return ScheduleView(
        title=worked.words,
        subtitle=" ".join(word for word in told if word),
        steps=steps,
        columns=columns,
        parts=rows or tuple(SchedulePart("", {}) for _ in range(_BLANK_ROWS)),
        cautions=tuple(each.short for each in found),
        defers=DEFERS,
        usual=_USUAL_WORDS if any("usual:" in text for step in steps for text in (step.time, step.detail)) else "",
        date=date or today(),
    )


def _number(stair: StoredStair, part: StoredPart, progress: Progress | None) -> int | None:
    found = recipe_of(stair, part, progress)
    return None if found is None else found.number


def finish_steps(finish: Finish, cans: Mapping[int, Can]) -> Iterator[ScheduleStep]:
    """Return the steps of a finish in the order of the work, with times: the label's, the recipe's, else usual ones."""
    seals, tops = coats_of(finish).get("seal", 0), coats_of(finish).get("topcoat", 0)
    yield from _preparation(finish.preparation)
    for index, step in enumerate(finish.steps, start=1):
        title = f"Stain {index}" + (f": {step.name}" if step.name else "")
        said = _said(step, "kind", "mix", "thinner_percent", "applicator", "wipe_min", "air_c", "rh_percent")
        following = finish.steps[index] if index < len(finish.steps) else None
        same = following is not None and (following.kind, following.name) == (step.kind, step.name)
        last = following is None and not seals and not tops
        time = "" if last else _next(step, step.next_h, cans, another=not same)
        yield ScheduleStep(title, _joined(said, _source(step, cans)), time)
    if finish.seal is not None and seals:
        said = _said(finish.seal, "kind", "maker", "coats")
        time = _next(finish.seal, None, cans, another=True) if tops else ""
        yield ScheduleStep("Seal", _joined(said, _source(finish.seal, cans)), time)
    if finish.topcoat is not None:
        yield from _topcoats(finish.topcoat, tops, cans)


def _preparation(wood: Preparation) -> Iterator[ScheduleStep]:
    grits = f"{_said(wood, 'grits')}, " if wood.grits else ""
    yield ScheduleStep("Sand", f"{grits}the same as on the test board; vacuum off the dust")
    if wood.grain_raised:
        dry = f"dry {wood.drying_h:g} h" if wood.drying_h is not None else "until dry"
        yield ScheduleStep("Raise the grain", "wipe with a damp cloth, let dry, knock off lightly", dry)
    if wood.conditioner:
        stays = f"leave on {wood.conditioner_dwell_min:g} min" if wood.conditioner_dwell_min is not None else ""
        wait = f"wait {wood.conditioner_wait_h:g} h" if wood.conditioner_wait_h is not None else ""
        yield ScheduleStep("Conditioner", _joined(wood.conditioner, stays), wait)


def _topcoats(coat: Topcoat, count: int, cans: Mapping[int, Can]) -> Iterator[ScheduleStep]:
    what = " ".join(word for word in (coat.maker, coat.product, coat.kind if coat.kind != "other" else None) if word)
    said = _said(coat, "sheen", "gloss_gu", "hardener_ratio", "anti_slip")
    rub = f"rub out with {coat.rubout_grit} between coats" if coat.rubout_grit is not None and count > 1 else ""
    title = "Topcoat" if count == 1 else f"Topcoats 1 to {count}"
    if count:
        between = _next(coat, coat.recoat_h, cans, another=False, word="between coats") if count > 1 else ""
        yield ScheduleStep(title, _joined(what, said, rub, _source(coat, cans)), between)
        told = _until_cured(coat, _label(coat.can_number, cans))
        if told:
            yield ScheduleStep("Wait", told)


def _until_cured(coat: Topcoat, label: Label | None) -> str:
    """Return when it can be walked on, used and is cured: by the label, what it leaves out as is usual."""
    usual = _usual(coat)
    said = (None, None, None) if label is None else (label.walk_on_h, label.use_h, label.cure_d)
    known = (None, None, None) if usual is None else ((usual.walk_on_h, usual.walk_on_h), usual.use_d, usual.cure_d)
    labelled, others = [], []
    for name, value, unit, span, unit_of_span in zip(
        ("socks", "in use", "cured"), said, ("h", "h", "days"), known, ("h", "days", "days"), strict=True
    ):
        if value is not None:
            labelled.append(f"{name} after {value:g} {unit}")
        elif span is not None:
            others.append(f"{name} after {_span(span)} {unit_of_span}")
    told = [f"by the label: {', '.join(labelled)}"] if labelled else []
    return _joined(*told, f"usual: {', '.join(others)}" if others else "")


def _next(
    section: ColourStep | Seal | Topcoat,
    hours: float | None,
    cans: Mapping[int, Can],
    *,
    another: bool,
    word: str = "to the next step",
) -> str:
    """Return how long to wait: the label's hours first, since it wins, then the recipe's; without either usual ones."""
    label = _label(section.can_number, cans)
    least = None if label is None else label.next_coat_h(another=another)
    most = None if label is None else label.recoat_within_h
    ends = [("after", least), ("within", most)]
    window = ", ".join(f"{name} {value:g} h" for name, value in ends if value is not None)
    told = [f"label: {window}" if window else "", f"recipe: {hours:g} h" if hours is not None else ""]
    usual = _usual(section)
    under_other = usual.under_other_h if another and usual is not None else None
    if under_other is not None and hours is None and (label is None or label.recoat_other_h is None):
        # A label that names no other product does not shorten the usual wait under one.
        told.append(f"usual: {_span(under_other)} h under another product")
    elif least is None and hours is None and usual is not None:
        told.append(f"usual: {_span(usual.recoat_h)} h")
    found = _joined(*told)
    return f"{found} {word}" if found and not found.endswith("another product") else found


def _usual(section: ColourStep | Seal | Topcoat) -> Usual | None:
    """Return what is usual of a section of a finish; None where its kind is not known."""
    return None if section.coating is None else section.coating.usual


def _span(values: tuple[float, float]) -> str:
    least, most = values
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


def _label(can: int | None, cans: Mapping[int, Can]) -> Label | None:
    return None if can is None or can not in cans else cans[can].label


def _said(section: Section, *names: str) -> str:
    told = []
    for each in specs(type(section)):
        value = getattr(section, each.name)
        if each.name not in names or value is None or value == ():
            continue
        shown = section.words(each)
        if each.name == "mix" and isinstance(section, ColourStep) and section.mix_by:
            shown += f" by {section.mix_by}"
        plain = each.name in {"kind", "mix", "maker", "applicator", "sheen"}
        told.append(shown if plain else f"{each.label} {shown}")
    return ", ".join(told)


def _source(section: ColourStep | Seal | Topcoat, cans: Mapping[int, Can]) -> str:
    if section.can_number is not None:
        return f"can {can_words(section.can_number, cans)}"
    return f"lot {section.lot}" if section.lot else ""


def _joined(*words: str | None) -> str:
    return "; ".join(word for word in words if word)


def _columns(finish: Finish) -> tuple[str, ...]:
    counts = coats_of(finish)
    columns = ["sanded"]
    for step, count in counts.items():
        columns += [f"{step} {n}" if count > 1 else step for n in range(1, count + 1)]
    return tuple(columns)


def _done(progress: Progress | None, columns: tuple[str, ...]) -> dict[str, str]:
    """Return what a part has had, by column."""
    if progress is None:
        return {}
    done = {"sanded": progress.done["sanded"]} if "sanded" in progress.done else {}
    for step, events in progress.coats.items():
        for event in events:
            done[f"{step} {event.coat}" if f"{step} {event.coat}" in columns else step] = event.date
    return {name: f"{day:%m-%d}" for name, day in done.items() if name in columns}
