"""From the logbook to the schedule for the bench: the steps of one recipe, and the parts that are to get it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from finishlab.cautions import DEFERS, Action, cautions_for
from finishlab.coatings import Usual, of_step
from finishlab.errors import UsageError
from finishlab.records import Finish, Recipe, Topcoat, today
from finishlab.records.entries import Checked, entries
from finishlab.records.finish import ColourStep, Preparation, Seal
from finishlab.records.finish_text import value_words
from finishlab.records.products import products_of
from finishlab.reports.print.views import SchedulePart, ScheduleStep, ScheduleView
from finishlab.stair.progress import can_words, coats_of, progress_of, recipe_of
from finishlab.workflow.printing.labels import recipe_words

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from finishlab.logbook import Logbook
    from finishlab.records import Batch, Label
    from finishlab.stair.progress import Progress

__all__ = ["chosen_recipe", "finish_steps", "schedule_view"]

_BLANK_ROWS: Final = 10
_USUAL_WORDS: Final = (
    "Usual hours hold at about 21 C and 50 % humidity (common practice, no source); they stand where neither the label "
    "nor the recipe says any."
)
_ACTIONS: Final[tuple[Action, ...]] = ("apply", "sand", "wet stair", "dispose")


def schedule_view(log: Logbook, recipe: str | None, parts: str = "", *, date: dt.date | None = None) -> ScheduleView:
    """Return the schedule of a recipe: of the one named, else of the standard, else of the only one.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"``, ``"unknown-part"``.
    UsageError
        ``"no-recipe"``, ``"which-recipe"``, and what `StoredStair.named` raises.
    """
    number, chosen, standard = chosen_recipe(log, recipe)
    stair = log.stair()
    progress = progress_of(stair.events)
    if parts.strip():
        meant = stair.named(parts)
    else:
        meant = [part for part in stair.parts if recipe_of(part, progress.get(part.ident)) == number]
    columns = _columns(chosen.finish)
    rows = tuple(
        SchedulePart(part.name.words(with_level=stair.several_flights), _done(progress.get(part.ident), columns))
        for part in meant
    )
    steps = tuple(finish_steps(chosen.finish, stair.cans))
    found = cautions_for(products_of(chosen.finish, stair.cans), _ACTIONS)
    told = [f"The standard since {standard}." if standard else None, chosen.note]
    return ScheduleView(
        title=recipe_words(number, chosen) or chosen.name,
        subtitle=" ".join(word for word in told if word),
        steps=steps,
        columns=columns,
        parts=rows or tuple(SchedulePart("", {}) for _ in range(_BLANK_ROWS)),
        cautions=tuple(each.short for each in found),
        defers=DEFERS,
        usual=_USUAL_WORDS if any("usual:" in text for step in steps for text in (step.time, step.detail)) else "",
        date=date or today(),
    )


def chosen_recipe(log: Logbook, name: str | None) -> tuple[int, Recipe, dt.date | None]:
    """Return number and recipe, as approved where it is the standard, and the day it became that."""
    standard = log.standard()
    recipes = log.recipes()
    if name is not None:
        found = log.recipe(name)
    elif standard is not None:
        found = log.recipe(standard.approval.recipe)
    elif len(recipes) == 1:
        found = recipes[0]
    elif not recipes:
        raise UsageError("no-recipe", "There is no recipe yet.", "Make one of a board: finishlab recipe --help")
    else:
        names = ", ".join(each.number for each in recipes)
        raise UsageError("which-recipe", f"There are several recipes: {names}.", "Name one, or approve one.")
    number = int(found.number[1:])
    if standard is None or standard.approval.recipe_number != number:
        return number, found.record, None
    # What was decided is the finish as it was on that day, whatever became of the recipe since.
    approved = Recipe(found.record.name, standard.approval.finish, found.record.note)
    return number, approved, standard.approval.date


def finish_steps(finish: Finish, cans: Mapping[int, Batch]) -> Iterator[ScheduleStep]:
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


def _topcoats(coat: Topcoat, count: int, cans: Mapping[int, Batch]) -> Iterator[ScheduleStep]:
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
    cans: Mapping[int, Batch],
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
    found = of_step(section.SECTION, section.kind)
    return None if found is None else found.usual


def _span(values: tuple[float, float]) -> str:
    least, most = values
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


def _label(can: int | None, cans: Mapping[int, Batch]) -> Label | None:
    return None if can is None or can not in cans else cans[can].label


def _said(section: Checked, *names: str) -> str:
    told = []
    for each in entries(type(section)):
        value = getattr(section, each.name)
        if each.name not in names or value is None or value == ():
            continue
        shown = value_words(section, each)
        if each.name == "mix" and isinstance(section, ColourStep) and section.mix_by:
            shown += f" by {section.mix_by}"
        plain = each.name in {"kind", "mix", "maker", "applicator", "sheen"}
        told.append(shown if plain else f"{each.label} {shown}")
    return ", ".join(told)


def _source(section: ColourStep | Seal | Topcoat, cans: Mapping[int, Batch]) -> str:
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
