"""A plan in words on a terminal: what to buy, what to cut, which day brings what, and the cautions."""

from __future__ import annotations

import datetime as dt
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from finishlab.cautions import DEFERS, Caution
from finishlab.plan.calendar import Calendar, Event, Night, nights
from finishlab.plan.coverage import DEFAULT_WASTE, Coats, Purchase
from finishlab.plan.cutting import CuttingPlan, Piece
from finishlab.plan.floor import FloorPurchase
from finishlab.plan.geometry import UPRIGHT, Part
from finishlab.plan.risers import CODE, WHO_DECIDES, RiserCheck
from finishlab.plan.stair_plan import Quantity, StairPlan
from finishlab.plan.way_up import full_name, named
from finishlab.units import FT2_PER_GAL, area_text, length_text, volume_text

if TYPE_CHECKING:
    from rich.console import Console

__all__ = [
    "print_calendar",
    "print_cautions",
    "print_cutting",
    "print_floor_purchase",
    "print_parts",
    "print_quantities",
    "print_risers",
]

_WIDEST: Final = 100
"""Longer lines are hard to read."""
_FT2_PER_QT: Final = 4 * FT2_PER_GAL
"""1 ft2/qt in m2/L."""
_WITH_UNIT: Final = re.compile(r"(\d) (mm|in|ft2|m2|qt|L|%)\b")
_WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def print_quantities(console: Console, plan: StairPlan, found: Sequence[Quantity]) -> None:
    """Print what to buy of each product, with the range that the coverage leaves."""
    for quantity in found:
        product, need = quantity.product, quantity.need
        which = " of what is finished away from the stair" if plan.away and product.coats.under else ""
        says = f" ({product.origin.coats})" if product.origin.coats else ""
        _line(console, f"{product.title}: {_coats(product.coats, quantity.parts, says)}{which}")
        _line(console, f"on {_counted(quantity.parts)}: {area_text(need.coat_area, us=plan.us)} to coat in all", 2)
        _line(console, _covers(quantity, us=plan.us), 2)
        amounts = " to ".join(dict.fromkeys(volume_text(each, us=plan.us) for each in need.litres))
        usual = ", as is usual" if need.waste == DEFAULT_WASTE else ""
        _line(console, f"needs {amounts}, {need.waste * 100:g} % waste included{usual}", 2)
        _line(console, _buy(quantity), 2)
        if product.origin.in_hand:
            left = ", ".join(f"{volume_text(litres, us=plan.us)} in {can}" for can, litres in product.origin.in_hand)
            _line(console, f"still in hand, and not taken off: {left}", 2)
        console.print()
    if plan.not_counted:
        _line(console, f"Not counted, since their sizes are not written down: {plan.not_counted}.")
        _line(console, "Add them, for example: finishlab stairs edit 'landing nosing 1' --front 36in --depth 3.5in", 2)
        console.print()
    total = _total(found)
    if total:
        _line(console, total)
        console.print()


def print_cutting(console: Console, plan: StairPlan, found: CuttingPlan) -> None:
    """Print the boards to buy, what is cut from each, and the outline of each tread that is not square."""
    by_size: dict[tuple[float, float, float | None], int] = {}
    for board in found.boards:
        key = (board.stock.length, board.stock.width, board.stock.price)
        by_size[key] = by_size.get(key, 0) + 1
    for (length, width, price), count in by_size.items():
        cost = "" if price is None else f", {count * price:.2f}"
        size = f"{length_text(length, us=plan.us)} x {length_text(width, us=plan.us)}"
        _line(console, f"Buy {count} {'board' if count == 1 else 'boards'} of {size}{cost}")
    spare = any(piece.part is None for piece in found.pieces)
    _line(
        console,
        f"{100 * found.used_share:.0f} % of the wood is used{', the spare included' if spare else ''}; a saw cut takes "
        f"{length_text(found.kerf, us=plan.us)}, each piece is {length_text(found.allowance, us=plan.us)} longer than "
        "its tread for cutting to fit.",
    )
    console.print()
    _pieces(console, plan, found.pieces)
    _line(console, "From each board, lane by lane:")
    for number, board in enumerate(found.boards, start=1):
        lanes = " | ".join(", ".join(lane) for lane in board.lanes)
        _line(console, f"{number:>2}. {lanes}", 2, 6)
    console.print()


def print_calendar(console: Console, plan: StairPlan, calendar: Calendar) -> None:
    """Print the calendar day by day, and for each night what may be stepped on."""
    for line in (_summary(calendar), *(f"Note: {note}" for note in calendar.notes)):
        _line(console, line)
    console.print()
    night_of = {night.day: night for night in nights(calendar)}
    days: dict[dt.date, list[Event]] = {}
    for event in calendar.events:
        if event.kind != "recoat":
            days.setdefault(event.start.date(), []).append(event)
    waiting: list[dt.date] = []
    for day in sorted({*days, *night_of}):
        if day not in days:
            if waiting and night_of[day].closed != night_of[waiting[-1]].closed:
                _waiting(console, plan, waiting, night_of)
                waiting = []
            waiting.append(day)
            continue
        _waiting(console, plan, waiting, night_of)
        waiting = []
        _line(console, _day(day))
        for event in days[day]:
            _event(console, plan, calendar, event)
        if day in night_of:
            _line(console, f"night        {_stay(plan, night_of[day])}", 2, 15)
    console.print()
    _line(console, "Planned for about 21 C and 50 % humidity; cold or damp air takes longer, so test before you go on.")
    _line(console, "Sanding, repairs and masking come before the first coat and are not counted.")
    console.print()


def print_parts(console: Console, plan: StairPlan, calendar: Calendar) -> None:
    """Print the calendar part by part."""
    for part in plan.parts:
        events = [event for event in calendar.of(part) if event.kind != "recoat"]
        if events:
            _line(console, full_name(part, several=plan.several).capitalize())
            for event in events:
                _line(console, f"{_short_day(event.start)} {event.start:%H:%M}  {event.what}", 2, 21)
            console.print()


def print_risers(console: Console, found: RiserCheck, *, us: bool) -> None:
    """Print the risers before and after, each figure beside the model code's, and who decides."""
    names = ["only riser"] if len(found.after) == 1 else [f"riser {n}" for n in range(1, len(found.after) + 1)]
    for number, (name, before, after) in enumerate(zip(names, found.before, found.after, strict=True)):
        same = abs(before - after) < 0.05
        place = "" if number else " (lowest)"
        place = " (highest)" if number == len(names) - 1 and number else place
        change = "stays" if same else f"becomes {length_text(after, us=us)}"
        if not same or number in (0, len(names) - 1) or len(set(found.before)) > 1:
            _line(console, f"{name + place:<20} {length_text(before, us=us)}, {change}", 0, 21)
    console.print()
    for figure in found.figures:
        verdict = "holds" if figure.holds else "DOES NOT HOLD"
        _line(
            console,
            f"{figure.what}: {length_text(figure.value, us=us)}; {_limit(figure.least, figure.most, us=us)}: {verdict}",
        )
    if found.tread_allowed is not None:
        low, high = found.tread_allowed
        if high > 0:
            _line(
                console,
                f"The risers hold if each tread becomes between {length_text(max(low, 0), us=us)} and "
                f"{length_text(high, us=us)} higher.",
            )
    elif len(found.after) > 1:
        _line(console, "No thickness of tread makes these risers hold: the floors, or the stair, must change.")
    console.print()
    _line(console, f"Figures: {CODE}. {WHO_DECIDES}")
    console.print()


def print_floor_purchase(console: Console, found: FloorPurchase, *, us: bool) -> None:
    """Print how many boxes of floor to buy."""
    boxes = "1 box" if found.boxes == 1 else f"{found.boxes} boxes"
    cost = "" if found.cost is None else f" for {found.cost:.2f}"
    _line(console, f"Buy {boxes}{cost}")
    _line(
        console,
        f"{area_text(found.area, us=us)} of floor, with {found.waste * 100:g} % waste "
        f"{area_text(found.with_waste, us=us)}; the boxes hold {area_text(found.bought, us=us)}.",
        2,
    )
    _line(console, "Buy boxes of one run number, and keep a few planks: for repairs, and to measure boards beside.", 2)
    console.print()


def print_cautions(console: Console, cautions: Iterable[Caution], *, sources: bool = False) -> None:
    """Print cautions in full, with who says so where it is asked for, and what wins over them."""
    _line(console, "Cautions")
    for caution in cautions:
        _line(console, f"{caution.title}. {caution.long}", 2, 4)
        if sources:
            _line(console, f"Source: {caution.source}.", 4)
    _line(console, DEFERS, 2, 2)


def _line(console: Console, text: str, indent: int = 0, hanging: int | None = None) -> None:
    """Print a paragraph, wrapped at words; what follows the first line is indented by `hanging`."""
    width = min(console.width, _WIDEST)
    after = " " * (indent + 2 if hanging is None else hanging)
    kept = _WITH_UNIT.sub("\\1\u00a0\\2", text)  # a figure and its unit stay on one line
    lines = textwrap.wrap(
        kept, width, initial_indent=" " * indent, subsequent_indent=after, break_long_words=False,
        break_on_hyphens=False, replace_whitespace=False, drop_whitespace=True,
    )  # fmt: skip
    console.print("\n".join(lines).replace("\u00a0", " "), markup=False, highlight=False, soft_wrap=True)


def _coats(coats: Coats, parts: Sequence[Part], says: str = "") -> str:
    """Return the coats in words, with who says so: ``3 coats on top and edges (R1), 1 on the underside``."""
    if all(part.kind in UPRIGHT for part in parts):
        return f"{_count(coats.top, 'coat')} on the face{says}"
    edges = coats.top if coats.edges is None else coats.edges
    words = f"{_count(coats.top, 'coat')} on top and edges"
    if edges != coats.top:
        words = f"{_count(coats.top, 'coat')} on top, {edges} on the edges"
    return f"{words}{says}, {coats.under} on the underside" if coats.under else f"{words}{says}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _counted(parts: Sequence[Part]) -> str:
    """Return ``13 treads and 14 risers``."""
    kinds: dict[str, int] = {}
    for part in parts:
        kinds[part.kind] = kinds.get(part.kind, 0) + 1
    words = [_count(count, kind) for kind, count in kinds.items()]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _covers(quantity: Quantity, *, us: bool) -> str:
    least, most = quantity.need.coverage
    metric = _span(least, most)
    who = (
        f"as {quantity.product.origin.coverage} says"
        if quantity.from_label
        else "usual figures, but labels differ; common practice, no source"
    )
    if us:
        return f"one quart covers {_span(least / _FT2_PER_QT, most / _FT2_PER_QT)} ft2 ({metric} m2/L): {who}"
    return f"one litre covers {metric} m2: {who}"


def _span(least: float, most: float) -> str:
    return f"{least:.3g}" if most - least < 1e-9 else f"{least:.3g} to {most:.3g}"


def _buy(quantity: Quantity) -> str:
    if quantity.buy is None:
        return quantity.product.origin.no_cans
    whose = f" ({quantity.product.origin.cans})" if quantity.product.origin.cans else ""
    least, most = (_cans(each) for each in quantity.buy)
    if least == most:
        return f"Buy {least}{whose}"
    return f"Buy {least}, or up to {most}{whose}: read the coverage on the label before you buy, and name it"


def _cans(bought: Purchase) -> str:
    words = " and ".join(f"{count} x {can.name}" for can, count in bought.cans)
    return words if bought.cost is None else f"{words} for {_money(bought.cost, bought.currency)}"


def _money(cost: float, currency: str) -> str:
    return f"{cost:.2f} {currency}".rstrip()


def _total(found: Sequence[Quantity]) -> str:
    costs = [(each.buy[0].cost, each.buy[1].cost) for each in found if each.buy is not None]
    known = [(low, high) for low, high in costs if low is not None and high is not None]
    currencies = {bought.currency for each in found if each.buy is not None for bought in each.buy if bought.cans}
    if len(known) < 2 or len(currencies) > 1:
        return ""
    low, high = sum(low for low, _ in known), sum(high for _, high in known)
    missing = len(found) - len(known)
    rest = f"; {_count(missing, 'product')} without a price not counted" if missing else ""
    unit = f" {currency}" if (currency := currencies.pop()) else ""
    return f"Together {low:.2f}{'' if abs(high - low) < 0.005 else f' to {high:.2f}'}{unit}{rest}"


def _pieces(console: Console, plan: StairPlan, pieces: Sequence[Piece]) -> None:
    """Print the pieces to cut, alike ones once, and how to mark those that are not square."""
    alike: dict[tuple[float, float, int, object], list[Piece]] = {}
    for piece in pieces:
        shape = None if piece.part is None else piece.part.shape
        alike.setdefault((round(piece.length, 2), round(piece.width, 2), piece.strips, shape), []).append(piece)
    for (length, width, strips, _), group in alike.items():
        who = ", ".join(piece.name for piece in group if piece.part is None)
        parts = [piece.part for piece in group if piece.part is not None]
        name = who or named(parts, several=plan.several)
        size = f"{length_text(length, us=plan.us)} x {length_text(width, us=plan.us)}"
        glued = "" if strips == 1 else f", glued up of {strips} strips"
        _line(console, f"{name[:1].upper()}{name[1:]}: cut {_count(len(group), 'piece')} of {size}{glued}")
        outline = group[0].corners
        if parts and outline is not None and not parts[0].shape.is_square:
            shape = parts[0].shape
            left, right = outline.sides
            one, other = outline.diagonals
            texts = [
                length_text(each, us=plan.us)
                for each in (shape.front, shape.back_mm, shape.depth, left, right, one, other)
            ]
            _line(console, f"then to: front {texts[0]}, back {texts[1]}, depth {texts[2]}", 2)
            _line(console, f"sides: left {texts[3]}, right {texts[4]}", 2)
            _line(console, f"check: front left to back right {texts[5]}, front right to back left {texts[6]}", 2)
    console.print()


def _summary(calendar: Calendar) -> str:
    """Return from when to when, and when the stair can be used again."""
    milestones = (("walk-on", "every step can be walked on"), ("use", "used with care"), ("cure", "cured"))
    last = {kind: max((e.start for e in calendar.events if e.kind == kind), default=None) for kind, _ in milestones}
    work = [event for event in calendar.events if event.is_work]
    words = [f"Work from {_dated(work[0].start)} to {_dated(work[-1].start)}"]
    latest = work[-1].start
    for kind, text in milestones:
        when = last[kind]
        if when is not None and when >= latest:  # parts finished away may be hard before the last is fitted
            words.append(f"{text} from {_dated(when)}")
            latest = when
    return "; ".join(words) + "."


def _event(console: Console, plan: StairPlan, calendar: Calendar, event: Event) -> None:
    who = named(event.parts, several=plan.several)
    start = f"{event.start:%H:%M}"
    if event.is_work and event.end is not None:
        _line(console, f"{start}-{event.end:%H:%M}  {event.what}: {who}{_window(calendar, event)}", 2, 15)
    else:
        _line(console, f"from {start}   {event.what}: {who}", 2, 15)


def _window(calendar: Calendar, event: Event) -> str:
    """Return until when a coat must be on, or that it comes late."""
    if event.kind != "coat":
        return ""
    for each in calendar.events:
        if each.kind == "recoat" and each.coat == event.coat and each.parts == event.parts:
            if each.end is not None:
                return f" (must be on by {_short_day(each.end)} {each.end:%H:%M})"
            return " (the usual window is missed, so only after the rub-out)" if "missed" in each.what else ""
    return ""


def _waiting(console: Console, plan: StairPlan, days: Sequence[dt.date], night_of: dict[dt.date, Night]) -> None:
    """Print days on which nothing is done, alike ones together."""
    if days:
        span = _day(days[0]) if len(days) == 1 else f"{_day(days[0])} to {_day(days[-1])}"
        _line(console, span)
        _line(console, f"drying       {_stay(plan, night_of[days[0]])}", 2, 15)


def _stay(plan: StairPlan, night: Night) -> str:
    if len(night.closed) * 3 <= len(night.open):
        return f"keep off {named(night.closed, several=plan.several)}"
    return f"step only on {named(night.open, several=plan.several)}" if night.open else "nothing can be stepped on"


def _day(day: dt.date) -> str:
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def _dated(moment: dt.datetime) -> str:
    return f"{_short_day(moment)} {moment.year}"


def _short_day(moment: dt.datetime) -> str:
    return f"{_WEEKDAYS[moment.weekday()][:3]} {moment.day} {_MONTHS[moment.month - 1][:3]}"


def _limit(least: float | None, most: float | None, *, us: bool) -> str:
    if least is not None and most is not None:
        return f"model code {length_text(least, us=us)} to {length_text(most, us=us)}"
    if most is not None:
        return f"model code at most {length_text(most, us=us)}"
    return f"model code at least {length_text(least or 0.0, us=us)}"
