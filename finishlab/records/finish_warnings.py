"""What is likely a slip in a finish, or will be regretted later: the soft limits of `finishlab.records.limits`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, zip_longest
from typing import Any, Final

from finishlab.coatings import Coating, Layer, follow_notes, of_step
from finishlab.records.boards import FINISHED_STATES, BoardRecord
from finishlab.records.cans import Label
from finishlab.records.finish import ColourStep, Finish
from finishlab.records.limits import SOFT, SoftLimit
from finishlab.records.numbers import named
from finishlab.units import as_typed_text
from finishlab.woods import FINEST, wood_in

__all__ = ["FinishWarning", "WarningContext", "board_warnings", "warnings"]

_PENETRATING: Final = ("oil", "water", "dye")
"""Bases of stains that soak in."""
_USUAL_TOPCOATS: Final = 3
"""Coats a tread wants of a topcoat of unknown kind (general articles)."""


@dataclass(frozen=True, slots=True)
class WarningContext:
    """What a finish is held against; what is not known is left out, and nothing is said of it."""

    species: str | None = None
    """The wood of the board."""
    stain: str | None = None
    coats: int | None = None
    """Of stain, as the board's record has both in short."""
    tread_species: str | None = None
    tread_woods: tuple[tuple[str, str], ...] = ()
    """Where treads differ in their wood: each wood, and which treads are of it."""
    tread: Finish | None = None
    """How the treads are finished, or are to be."""
    approved: Finish | None = None
    """The finish of the approved board."""
    on_tread: bool = False
    """Whether the finish goes onto a tread, or is to be made the standard for treads."""
    state: str | None = None
    deciding: bool = False
    """Whether a decision is taken on this board."""
    clear_only: bool | None = None
    """Whether a clear-only board is logged."""
    floor_gloss_gu: float | None = None
    lights: int | None = None
    """In how many lights the board was measured."""
    spots: int | None = None
    """At how many places the floor was measured."""
    labels: Mapping[int, Label] = field(default_factory=dict)
    """What the cans' labels say, by the can's number."""


@dataclass(frozen=True, slots=True)
class FinishWarning:
    """One thing to think about; the record stands as it is."""

    code: str
    message: str

    def as_dict(self) -> dict[str, str]:
        """Return the JSON form."""
        return {"code": self.code, "message": self.message}


Figures = dict[str, Any]
Rule = Callable[[SoftLimit, Finish, WarningContext], Iterator[Figures]]


def warnings(finish: Finish, context: WarningContext | None = None) -> tuple[FinishWarning, ...]:
    """Return what the soft limits say of a finish, each sentence once and a slip of several steps in one.

    Parameters
    ----------
    finish
        The finish.
    context
        What it is held against.
    """
    known = context or WarningContext()
    said: dict[str, FinishWarning] = {}
    for row in SOFT:
        found = list(_RULES.get(row.code, _bounds)(row, finish, known))
        if len(found) > 1 and row.several is not None:
            sentences = [row.several.format(**_together(found))]
        else:
            sentences = [row.sentence.format(**figures) for figures in found]
        for message in sentences:
            said.setdefault(message, FinishWarning(row.code, message))
    return tuple(said.values())


def _together(found: Sequence[Figures]) -> dict[str, str]:
    """Return what several steps are told with in one sentence: what they share once, what differs in their order."""
    words = {}
    for name in found[0]:
        values = (each[name] for each in found)
        shown = [f"{value:g}" if isinstance(value, int | float) else str(value) for value in values]
        words[name] = shown[0] if len(set(shown)) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
    return words


def board_warnings(record: BoardRecord, context: WarningContext | None = None) -> tuple[FinishWarning, ...]:
    """Return what the soft limits say of a board; wood and state are its record's unless the context has them."""
    known = context or WarningContext()
    whole = replace(
        known,
        species=known.species or record.species,
        state=known.state or record.state,
        stain=record.stain,
        coats=record.coats,
    )
    return warnings(record.finish or Finish(), whole)


def _outside(row: SoftLimit, value: float | None) -> bool:
    if value is None:
        return False
    return (row.low is not None and value < row.low) or (row.high is not None and value > row.high)


def _bounds(row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    """Hold a field of a section, or of every colour step, against its bounds."""
    if row.section == "step":
        for number, step in enumerate(finish.steps, start=1):
            value = getattr(step, row.field)
            if _outside(row, value):
                yield {"step": number, "value": value}
        return
    value = getattr(getattr(finish, row.section), row.field, None)
    if _outside(row, value):
        yield {"value": value}


def _no_clear_only(_row: SoftLimit, _finish: Finish, context: WarningContext) -> Iterator[Figures]:
    if context.clear_only is False:
        yield {}


def _not_finished_yet(_row: SoftLimit, _finish: Finish, context: WarningContext) -> Iterator[Figures]:
    if context.deciding and context.state is not None and context.state not in FINISHED_STATES:
        yield {"state": context.state}


def _species_differs(_row: SoftLimit, _finish: Finish, context: WarningContext) -> Iterator[Figures]:
    woods = context.tread_woods or ((context.tread_species, ""),)
    for wood, which in woods:
        if _differ(context.species, wood):
            yield {"species": context.species, "tread": f"{wood} ({which})" if which else wood}


def _coats_without_stain(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    if context.coats and context.stain is None and not finish.steps:
        yield {"value": context.coats}


def _small_board(row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    size = finish.preparation.size_mm
    shorter = None if size is None else min(size[:2])  # the third is the thickness
    if shorter is not None and _outside(row, shorter):
        yield {"value": as_typed_text(shorter, inches=finish.preparation.typed_in == "in")}


def _lot_unknown(_row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    # Of a record that says nothing of the wood, a missing lot would be one of many things missing.
    if not finish.preparation.is_empty() and finish.preparation.stock_lot is None:
        yield {}


def _grit_skipped(row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    for coarse, fine in pairwise(finish.preparation.grits):
        if _outside(row, fine / coarse):
            yield {"value": coarse, "other": fine}


def _grit_too_fine(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    last, wood = finish.preparation.grits[-1:], wood_in(context.species)
    finest = FINEST if wood is None else wood.finest
    if last and last[0] > finest:
        yield {"value": last[0], "wood": "wood" if wood is None else wood.name, "finest": finest}


def _blotching(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    wood = wood_in(context.species)
    soaks_in = any(step.kind in _PENETRATING for step in finish.steps)
    if wood is not None and wood.blotches and soaks_in and not finish.preparation.conditioner:
        yield {"wood": wood.name.capitalize()}


def _tannin(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    wood = wood_in(context.species)
    if wood is not None and wood.tannin == "much" and any(each.watery for each in _layers(finish)):
        yield {"wood": wood.name.capitalize()}


def _oily_wood(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    wood = wood_in(context.species)
    if wood is not None and wood.oily and finish.topcoat is not None:
        yield {"wood": wood.name.capitalize()}


def _grain_raised(_row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    first = next(iter(_layers(finish)), None)
    if first is not None and first.watery and finish.preparation.grits and not finish.preparation.grain_raised:
        yield {"coat": first.kind.capitalize()}


def _does_not_follow(_row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    waits = [step.next_h for step in finish.steps]
    layers = [Layer(each.kind, wait) for each, wait in zip_longest(_layers(finish), waits) if each is not None]
    yield from ({"note": note} for note in follow_notes(layers))


def _layers(finish: Finish) -> tuple[Coating, ...]:
    """Return the coatings of a finish in their order, those whose kind is known."""
    sealed = finish.seal is not None and finish.seal.kind not in {None, "none"}
    found = [
        *(of_step("step", step.kind) for step in finish.steps),
        of_step("seal", None) if sealed else None,
        of_step("topcoat", None if finish.topcoat is None else finish.topcoat.kind),
    ]
    return tuple(each for each in found if each is not None)


def _last_grit_differs(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    here = finish.preparation.grits[-1:]
    there = context.tread.preparation.grits[-1:] if context.tread is not None else ()
    if here and there and here != there:
        yield {"value": here[0], "tread": there[0]}


def _drying_short(row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    wood = finish.preparation
    if wood.grain_raised is not False and _outside(row, wood.drying_h):
        yield {"value": wood.drying_h}


def _bases_mixed(_row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    kinds = list(dict.fromkeys(step.kind for step in finish.steps if step.kind is not None))
    if len(kinds) > 1:
        yield {"kinds": " and ".join((", ".join(kinds[:-1]), kinds[-1]))}


def _lot_differs(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    for number, here, there in _steps_beside(finish, context.approved):
        if _differ(here.lot, there.lot):
            yield {"step": number, "value": here.lot, "approved": there.lot}


def _applicator_differs(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    for number, here, there in _steps_beside(finish, context.tread):
        if _differ(here.applicator, there.applicator):
            yield {"step": number, "value": here.applicator, "tread": there.applicator}


def _long_gel_wipe(row: SoftLimit, finish: Finish, _context: WarningContext) -> Iterator[Figures]:
    for number, step in enumerate(finish.steps, start=1):
        if step.kind == "gel" and _outside(row, step.wipe_min):
            yield {"step": number, "value": step.wipe_min}


def _next_too_early(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    for number, step in enumerate(finish.steps, start=1):
        label = None if step.can_number is None else context.labels.get(step.can_number)
        wanted = None if label is None else label.recoat_h
        if wanted is not None and step.next_h is not None and step.next_h < wanted:
            yield {"step": number, "value": step.next_h, "can": named("C", step.can_number), "label": wanted}


def _past_pot_life(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    coat = finish.topcoat
    label = None if coat is None or coat.can_number is None else context.labels.get(coat.can_number)
    if coat is None or coat.mixed_h is None or label is None or label.pot_life_h is None:
        return
    if coat.mixed_h > label.pot_life_h:
        yield {"value": coat.mixed_h, "can": named("C", coat.can_number), "label": label.pot_life_h}


def _gloss_differs(row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    gloss = None if finish.topcoat is None else finish.topcoat.gloss_range
    floor = context.floor_gloss_gu
    if gloss is None or floor is None:
        return
    low, high = gloss
    if _outside(row, max(low - floor, floor - high)):
        yield {"value": f"{low:g}" if low == high else f"{low:g} to {high:g}", "floor": floor}


def _few_topcoats(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    top = finish.topcoat
    if not context.on_tread or top is None or top.coats is None:
        return
    kind = of_step("topcoat", top.kind)
    usual = _USUAL_TOPCOATS if kind is None else kind.figures.coats
    if top.coats < usual:
        yield {"value": top.coats, "usual": usual}


def _anti_slip_differs(_row: SoftLimit, finish: Finish, context: WarningContext) -> Iterator[Figures]:
    there = None if context.tread is None else context.tread.topcoat
    here = finish.topcoat
    if there is not None and there.anti_slip and here is not None and not here.anti_slip:
        yield {}


def _one_light_only(row: SoftLimit, _finish: Finish, context: WarningContext) -> Iterator[Figures]:
    if _outside(row, context.lights):
        yield {"measured": f"The board was {'measured in one light only' if context.lights else 'not measured'}"}


def _few_places(row: SoftLimit, _finish: Finish, context: WarningContext) -> Iterator[Figures]:
    if _outside(row, context.spots):
        yield {"value": context.spots}


def _differ(one: str | None, other: str | None) -> bool:
    return bool(one and other) and str(one).casefold() != str(other).casefold()


def _steps_beside(finish: Finish, other: Finish | None) -> Iterator[tuple[int, ColourStep, ColourStep]]:
    if other is not None:
        for number, (here, there) in enumerate(zip(finish.steps, other.steps, strict=False), start=1):
            yield number, here, there


_RULES: Final[Mapping[str, Rule]] = {
    "no-clear-only": _no_clear_only,
    "not-finished-yet": _not_finished_yet,
    "species-differs": _species_differs,
    "coats-without-stain": _coats_without_stain,
    "small-board": _small_board,
    "stock-lot-unknown": _lot_unknown,
    "grit-skipped": _grit_skipped,
    "grit-too-fine": _grit_too_fine,
    "blotching": _blotching,
    "tannin": _tannin,
    "oily-wood": _oily_wood,
    "grain-raised": _grain_raised,
    "does-not-follow": _does_not_follow,
    "last-grit-differs": _last_grit_differs,
    "drying-short": _drying_short,
    "bases-mixed": _bases_mixed,
    "lot-differs": _lot_differs,
    "applicator-differs": _applicator_differs,
    "long-gel-wipe": _long_gel_wipe,
    "next-too-early": _next_too_early,
    "past-pot-life": _past_pot_life,
    "gloss-differs": _gloss_differs,
    "few-topcoats": _few_topcoats,
    "anti-slip-differs": _anti_slip_differs,
    "one-light-only": _one_light_only,
    "few-places": _few_places,
}
"""What two bounds alone do not say, by the limit's code."""
