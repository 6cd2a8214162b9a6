"""The finishing schedule for the bench: steps with their times, a table of parts to tick, cautions at the foot.

Set large, to be read at arm's length with gloves on (sizes are common practice, no source). Steps and rows become
smaller, nothing below 8 pt, before a second page is begun; what that page does not hold goes on overleaf under the same
headings.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

from reportlab.lib.colors import Color
from reportlab.lib.enums import TA_RIGHT
from reportlab.platypus import CondPageBreak, Flowable, HRFlowable, PageBreak, Spacer
from reportlab.platypus import Table as Grid

from finishlab.cautions import DEFERS, Action, cautions_for
from finishlab.coatings import Usual
from finishlab.finish import ColourStep, Finish, Preparation, Seal, Topcoat
from finishlab.finish.entering import products_of
from finishlab.finish.fields import Section, specs
from finishlab.imaging.strip import PAGES, Paper
from finishlab.logbook.entities import chosen_recipe
from finishlab.record import today
from finishlab.show.pdf import Drawn, Look, Setter, Style, padded, sheets_of
from finishlab.show.sheets import (
    HELVETICA,
    MISSING_NOTE,
    POINTS_PER_MM,
    Sheet,
    cap_of,
    letters_missing,
    line_width,
    shortened,
)
from finishlab.stair.progress import can_words, coats_of, progress_of, recipe_of, resolved

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.recipe import Can, Label
    from finishlab.stair.progress import Progress
    from finishlab.stair.records import StoredPart, StoredStair


_LEAST_CAP: Final = cap_of(8.0)
"""Height of Helvetica's capitals at 8 pt, mm: nothing is set smaller."""
_SIZES: Final = (13.4, 12.6, 11.8, 11.0, 10.3, 9.5, 9.1)
"""Sizes of the steps, points, tried from the largest on until the page holds all; details are a tenth smaller."""
_TITLE: Final = 23.7
_OVERLEAF: Final = 11.8
"""Size of the steps where the parts need a second page anyway."""
_NUMBER_WIDTH, _TITLE_WIDTH, _TIME_WIDTH = 25.0, 139.0, 122.0
_ROW_MOST: Final = 31.0
_ROWS_LEAST: Final = (18.7, 14.7)
"""Heights of a row, points: the least that is comfortable to tick, and the least there is."""
_HEAD: Final = 23.0
_NAME_WIDTHS: Final = (96.0, 147.0)
"""Least and greatest width of the parts' names."""
_GAP: Final = 7.0
_MOST_COLUMNS: Final = 9
_COLUMN_LEAST: Final = 41.0
"""Width of a column that holds a box and a day."""
_BLANK_ROWS: Final = 10
_STEP_STYLES: Final = ("step", "detail", "time")
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
    inner, high = ((side - 2 * _look(1).top) * POINTS_PER_MM for side in PAGES[paper])
    foot = _foot(Setter(_look(_OVERLEAF), inner, high), view)
    low = foot.wrap(inner, high)[1]
    setter, row = _fitting(view, inner, high - low - _GAP)
    wide, left, top = inner / POINTS_PER_MM, setter.look.left, setter.look.top
    title = shortened(view.title, width=wide, cap=_LEAST_CAP, bold=True)

    def draw(sheet: Sheet, number: int) -> None:
        if number == 1:
            sheet.put(foot, left, sheet.height - top - low / POINTS_PER_MM, wide, low)
        else:
            sheet.text(left, top + _LEAST_CAP, title, cap=_LEAST_CAP, bold=True)

    told = {"title": f"finishlab schedule, {view.title}", "subject": "Finishing schedule"}
    story = (*_above(setter, view), *_tables(setter, view, row))
    return sheets_of(story, setter.look, paper, draw, **told, foot=low + _GAP, head=_HEAD)


def _look(size: float) -> Look:
    """Return how the schedule looks with steps of a size."""
    styles = {
        "date": Style(10.3, 12.4, grey=0.2),
        "subtitle": Style(9.5, 11.8, grey=0.15),
        "number": Style(size, size * 1.22, bold=True, grey=0.4),
        "step": Style(size, size * 1.22, bold=True),
        "detail": Style(size * 0.9, size * 1.22),
        "time": Style(size * 0.9, size * 1.22, bold=True),
        "column": Style(9, 10, bold=True),
        "part": Style(10, 11, bold=True),
        "foot": Style(8.7, 10.3),
    }
    return Look(left=12.0, right=12.0, top=12.0, face=HELVETICA, styles=styles)


def _fitting(view: ScheduleView, inner: float, height: float) -> tuple[Setter, float]:
    """Return what sets the steps so large that one page holds all, and the height of a row of the table.

    Steps shrink only as far as is needed to leave the table its rows; then the rows shrink too, or take what is left.
    """
    for least in _ROWS_LEAST:
        for size in _SIZES:
            setter = Setter(_look(size), inner, height)
            room = height - _HEAD - 2 * _GAP - sum(each.wrap(inner, height)[1] for each in _above(setter, view))
            row = max(least, _names_height(setter, view))
            if len(view.parts) * row <= room:
                return setter, min(max(row, room / max(1, len(view.parts))), _ROW_MOST)
    setter = Setter(_look(_OVERLEAF), inner, height)
    return setter, max(_ROWS_LEAST[0], _names_height(setter, view))


def _above(setter: Setter, view: ScheduleView) -> Iterator[Flowable]:
    """Give the heading and the steps."""
    room = 2 * (setter.width - 90) / POINTS_PER_MM / line_width(view.title or " ", cap=cap_of(_TITLE), bold=True)
    size = _TITLE * min(1.0, max(room, 0.4))  # two lines, if it can be read so
    title = setter.text(view.title, "step", fontSize=size, leading=size * 1.15)
    date = setter.text("" if view.date is None else view.date.isoformat(), "date", alignment=TA_RIGHT)
    yield Grid([[title, date]], [setter.width - 90, 90], style=padded(bottom=4))
    yield from [setter.text(view.subtitle, "subtitle")] if view.subtitle else []
    yield Spacer(0, 4)
    yield HRFlowable("100%", 1.4, color=Color(0, 0, 0), spaceBefore=0, spaceAfter=0)
    yield Spacer(0, _GAP)
    widths = [_NUMBER_WIDTH, _TITLE_WIDTH + _GAP, 0.0, _TIME_WIDTH]
    widths[2] = setter.width - sum(widths)
    rows = [
        [setter.text(str(n), "number"), *map(setter.text, (step.title, step.detail, step.time), _STEP_STYLES)]
        for n, step in enumerate(view.steps, start=1)
    ]
    pad = setter.look.styles["step"].size * 0.5
    yield from [Grid(rows, widths, style=padded(right=_GAP, bottom=pad))] if rows else []


def _names_height(setter: Setter, view: ScheduleView) -> float:
    """Return the height that the parts' names need."""
    width = _name_width(setter, view) - _GAP
    return max((setter.text(part.name, "part").wrap(width, 1e6)[1] + 3 for part in view.parts), default=0.0)


def _name_width(setter: Setter, view: ScheduleView) -> float:
    """Return the width of the column of names: that of the longest, within its limits and what the columns leave."""
    least, most = _NAME_WIDTHS
    longest = max((line_width(part.name, cap=cap_of(10), bold=True) for part in view.parts), default=0.0)
    most = min(most, setter.width - min(len(view.columns), _MOST_COLUMNS) * _COLUMN_LEAST)
    return max(least, min(longest * POINTS_PER_MM + _GAP, most))


def _tables(setter: Setter, view: ScheduleView, row: float) -> Iterator[Flowable]:
    """Give the parts with their boxes, further columns on further sheets."""
    name = _name_width(setter, view)
    for first in range(0, max(len(view.columns), 1), _MOST_COLUMNS):
        columns = view.columns[first : first + _MOST_COLUMNS] or ("done",)
        wide = (setter.width - name) / len(columns)
        # A table of one or two rows below the steps is worth no half page.
        yield PageBreak() if first else CondPageBreak(_HEAD + _GAP + min(len(view.parts), 3) * row)
        yield Spacer(0, _GAP)
        rows: list[list[Flowable]] = [[Spacer(0, 0), *(setter.text(each, "column") for each in columns)]]
        for part in view.parts:
            boxes = (Drawn(wide, row, partial(_draw_cell, part.done.get(each))) for each in columns)
            rows.append([setter.text(part.name, "part"), *boxes])
        style = [
            *padded(),
            ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
            ("VALIGN", (0, 1), (-1, -1), "MIDDLE"),
            ("LEFTPADDING", (1, 0), (-1, 0), 3.4),
            ("BOTTOMPADDING", (0, 0), (-1, 0), 4),
            ("LINEBELOW", (0, 0), (-1, 0), 1.1, Color(0, 0, 0)),
            ("LINEBELOW", (0, 1), (-1, -1), 0.34, Color(0.4, 0.4, 0.4)),
        ]
        heights = [_HEAD, *[row] * len(view.parts)]
        yield Grid(rows, [name, *[wide] * len(columns)], heights, style=style, repeatRows=1)


def _foot(setter: Setter, view: ScheduleView) -> Flowable:
    """Return the cautions, and what else is said at the foot, in a frame."""
    others = (view.usual, MISSING_NOTE if letters_missing(view) else "", view.defers)
    lines = [setter.text(f"\N{BULLET} {words}", "foot") for words in view.cautions]
    lines += [setter.text(words, "foot") for words in others if words]
    return Grid([[lines]], [setter.width], style=[*padded(8, 6, 4, 6), ("BOX", (0, 0), (-1, -1), 1.4, Color(0, 0, 0))])


def _draw_cell(day: str | None, sheet: Sheet) -> None:
    """Draw a box to tick and a line for the date; ticked, with its day, where it is done already."""
    x, side = 1.2, min(4.5, sheet.height - 1.6)
    top, start = (sheet.height - side) / 2, x + side + 1.2
    wide = sheet.width - 1.2 - start
    sheet.frame(x, top, side, side, line=0.35)
    if day is None:
        if wide > 3.0:
            sheet.line(start, top + side, start + wide, top + side, line=0.15, grey=0.4)
        return
    sheet.line(x + side * 0.2, top + side * 0.55, x + side * 0.42, top + side * 0.8, line=0.6)
    sheet.line(x + side * 0.42, top + side * 0.8, x + side * 0.85, top + side * 0.2, line=0.6)
    sheet.text(start, top + (side + _LEAST_CAP) / 2, day, cap=_LEAST_CAP)


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
        meant = [part for part in stair.parts if _number(stair, part, progress[part.ident]) == number]
    columns = _columns(worked.finish)
    rows = tuple(
        SchedulePart(part.name.words(with_level=stair.several_flights), _done(progress[part.ident], columns))
        for part in meant
    )
    steps = tuple(finish_steps(worked.finish, stair.cans))
    found = cautions_for(products_of(worked.finish, stair.cans), _ACTIONS)
    others = [part.name for part in meant if _number(stair, part, progress[part.ident]) not in {None, number}]
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


def _number(stair: StoredStair, part: StoredPart, progress: Progress) -> int | None:
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


def _done(progress: Progress, columns: tuple[str, ...]) -> dict[str, str]:
    """Return what a part has had, by column."""
    done = {"sanded": progress.done["sanded"]} if "sanded" in progress.done else {}
    for step, events in progress.coats.items():
        for event in events:
            done[f"{step} {event.coat}" if f"{step} {event.coat}" in columns else step] = event.date
    return {name: f"{day:%m-%d}" for name, day in done.items() if name in columns}
