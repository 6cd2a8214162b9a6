"""What is likely a slip in a finish, or will be regretted later: soft limits, each with its bounds or its rule."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, zip_longest
from typing import Any, Final

from finishlab.board import FINISHED_STATES, BoardRecord
from finishlab.coatings import FINEST, Coating, Layer, Wood, follow_notes, wood_in
from finishlab.finish import ColourStep, Finish
from finishlab.recipe import Label
from finishlab.record import named
from finishlab.units import COMMON_PRACTICE, as_typed_text

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
    tread_woods: tuple[tuple[str, str], ...] = ()
    """Each wood of the treads, and which of them are of it where they differ, in words."""
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


Figures = dict[str, Any]
Rule = Callable[["SoftLimit", Finish, WarningContext], Iterable[Figures]]
"""Gives the figures of each sentence that is to be said."""


def _bounds(row: SoftLimit, finish: Finish, _known: WarningContext) -> Iterator[Figures]:
    """Hold a field of a section, or of every colour step, against its bounds."""
    if row.section == "step":
        for number, step in enumerate(finish.steps, start=1):
            value = getattr(step, row.field)
            if row.passed(value):
                yield {"step": number, "value": value}
    else:
        value = getattr(getattr(finish, row.section), row.field, None)
        yield from _said(row.passed(value), value=value)


@dataclass(frozen=True, slots=True)
class SoftLimit:
    """One thing that is likely a slip, or will be regretted later; it is told, not refused."""

    code: str
    section: str
    """The part of a record it is about."""
    field: str
    sentence: str
    """What is said, with places in braces for what the record holds; of several steps in one, see `_words`."""
    low: float | None = None
    high: float | None = None
    """Bounds of the field, or of what the rule holds against them."""
    rule: Rule = _bounds
    """When it is said, where bounds of the field do not say it all."""
    source: str = COMMON_PRACTICE

    def passed(self, value: float | None) -> bool:
        """Return whether a figure lies beyond the bounds; one that is not known does not."""
        if value is None:
            return False
        return (self.low is not None and value < self.low) or (self.high is not None and value > self.high)


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
        found = list(row.rule(row, finish, known))
        together = [found] if found and "step" in found[0] else [[each] for each in found]
        for message in (row.sentence.format(**_words(each)) for each in together):
            said.setdefault(message, FinishWarning(row.code, message))
    return tuple(said.values())


def _words(found: Sequence[Figures]) -> dict[str, str]:
    """Return what a sentence is told with: what several steps share once, what differs in their order."""
    words = {}
    for name in found[0]:
        shown = [f"{round(v, 2):g}" if isinstance(v, int | float) else str(v) for v in (each[name] for each in found)]
        words[name] = shown[0] if len(set(shown)) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
    one = len(found) == 1
    steps = f"{'step' if one else 'steps'} {words.get('step')}"
    verbs = {"is": "is", "was": "was", "has": "has"} if one else {"is": "are", "was": "were", "has": "have"}
    return {**words, "step": steps, "Step": steps.capitalize(), **verbs}


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


def _said(wrong: object, **figures: object) -> list[Figures]:
    """Return the figures of a sentence where something is wrong, else nothing."""
    return [figures] if wrong else []


def _differ(one: str | None, other: str | None) -> bool:
    return bool(one and other) and str(one).casefold() != str(other).casefold()


def _unfinished(_row: SoftLimit, _finish: Finish, known: WarningContext) -> list[Figures]:
    state = known.state if known.deciding else None
    return _said(state is not None and state not in FINISHED_STATES, state=state)


def _shorter_side(row: SoftLimit, finish: Finish, _known: WarningContext) -> list[Figures]:
    size = finish.preparation.size_mm
    if size is None:
        return []
    shorter = min(size[:2])  # the third is the thickness
    return _said(row.passed(shorter), value=as_typed_text(shorter, inches=finish.preparation.typed_in == "in"))


def _skipped_grits(row: SoftLimit, finish: Finish, _known: WarningContext) -> list[Figures]:
    steps = pairwise(finish.preparation.grits)
    return [{"value": coarse, "other": fine} for coarse, fine in steps if row.passed(fine / coarse)]


def _too_fine(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    last, wood = finish.preparation.last_grit or 0, wood_in(known.species)
    finest = FINEST if wood is None else wood.finest
    return _said(last > finest, value=last, wood="wood" if wood is None else wood.name, finest=finest)


def _other_woods(_row: SoftLimit, _finish: Finish, known: WarningContext) -> list[Figures]:
    differ = [(wood, which) for wood, which in known.tread_woods if _differ(known.species, wood)]
    words = (f"{wood} ({which})" if which else wood for wood, which in differ)
    return [{"species": known.species, "tread": each} for each in words]


def _of_wood(wanted: Callable[[Wood, Finish], object]) -> Rule:
    """Return a rule that is said of a board's wood where what is wanted of both holds."""

    def rule(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
        wood = wood_in(known.species)
        return [] if wood is None else _said(wanted(wood, finish), wood=wood.name.capitalize())

    return rule


def _layers(finish: Finish) -> tuple[Coating, ...]:
    """Return the coatings of a finish in their order, those whose kind is known."""
    sealed = finish.seal is not None and finish.seal.kind not in {None, "none"}
    found = [
        *(step.coating for step in finish.steps),
        finish.seal.coating if finish.seal is not None and sealed else None,
        None if finish.topcoat is None else finish.topcoat.coating,
    ]
    return tuple(each for each in found if each is not None)


def _grain(_row: SoftLimit, finish: Finish, _known: WarningContext) -> list[Figures]:
    first, wood = next(iter(_layers(finish)), None), finish.preparation
    raises = first is not None and first.watery and wood.grits and not wood.grain_raised
    return _said(raises, coat="" if first is None else first.kind.capitalize())


def _follows(_row: SoftLimit, finish: Finish, _known: WarningContext) -> list[Figures]:
    waits = [step.next_h for step in finish.steps if step.coating is not None]
    layers = [Layer(each.kind, wait) for each, wait in zip_longest(_layers(finish), waits) if each is not None]
    return [{"note": note} for note in follow_notes(layers)]


def _last_grits(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    here = finish.preparation.last_grit
    there = None if known.tread is None else known.tread.preparation.last_grit
    return _said(here and there and here != there, value=here, tread=there)


def _bases(_row: SoftLimit, finish: Finish, _known: WarningContext) -> list[Figures]:
    kinds = list(dict.fromkeys(step.kind for step in finish.steps if step.kind is not None))
    return _said(len(kinds) > 1, kinds=" and ".join((", ".join(kinds[:-1]), *kinds[-1:])))


def _beside(finish: Finish, other: Finish | None) -> Iterator[tuple[int, ColourStep, ColourStep]]:
    """Give each colour step with that of another finish."""
    pairs = zip(finish.steps, () if other is None else other.steps, strict=False)
    return ((number, here, there) for number, (here, there) in enumerate(pairs, start=1))


def _lots(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    pairs = _beside(finish, known.approved)
    return [{"step": n, "value": one.lot, "approved": two.lot} for n, one, two in pairs if _differ(one.lot, two.lot)]


def _tools(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    tools = ((n, one.applicator, two.applicator) for n, one, two in _beside(finish, known.tread))
    return [{"step": n, "value": one, "tread": two} for n, one, two in tools if _differ(one, two)]


def _gels(row: SoftLimit, finish: Finish, _known: WarningContext) -> list[Figures]:
    gels = ((number, step) for number, step in enumerate(finish.steps, start=1) if step.kind == "gel")
    return [{"step": number, "value": step.wipe_min} for number, step in gels if row.passed(step.wipe_min)]


def _next_coats(_row: SoftLimit, finish: Finish, known: WarningContext) -> Iterator[Figures]:
    for number, step in enumerate(finish.steps, start=1):
        label = known.labels.get(step.can_number or 0)
        wanted = None if label is None else label.recoat_h
        if wanted is not None and step.next_h is not None and step.next_h < wanted:
            yield {"step": number, "value": step.next_h, "can": named("C", step.can_number), "label": wanted}


def _pot_life(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    coat = finish.topcoat
    label = None if coat is None else known.labels.get(coat.can_number or 0)
    if coat is None or coat.mixed_h is None or label is None or label.pot_life_h is None:
        return []
    can = named("C", coat.can_number)
    return _said(coat.mixed_h > label.pot_life_h, value=coat.mixed_h, can=can, label=label.pot_life_h)


def _gloss(row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    gloss, floor = None if finish.topcoat is None else finish.topcoat.gloss_range, known.floor_gloss_gu
    if gloss is None or floor is None:
        return []
    low, high = gloss
    shown = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return _said(row.passed(max(low - floor, floor - high)), value=shown, floor=floor)


def _topcoats(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    top = finish.topcoat
    if not known.on_tread or top is None or top.coats is None:
        return []
    kind = top.coating
    usual = _USUAL_TOPCOATS if kind is None else kind.figures.coats
    return _said(top.coats < usual, value=top.coats, usual=usual)


def _anti_slip(_row: SoftLimit, finish: Finish, known: WarningContext) -> list[Figures]:
    here, there = finish.topcoat, None if known.tread is None else known.tread.topcoat
    return _said(there is not None and there.anti_slip and here is not None and not here.anti_slip)


SOFT: Final[tuple[SoftLimit, ...]] = (
    SoftLimit(
        "no-clear-only",
        "board",
        "purpose",
        "No clear-only board is logged; without one nobody can say how much of the colour is the stain's.",
        rule=lambda _row, _finish, known: _said(known.clear_only is False),
    ),
    SoftLimit(
        "not-finished-yet",
        "board",
        "state",
        "The board is {state}; a stain looks different under its topcoat, so decide when it is topcoated and dry.",
        rule=_unfinished,
    ),
    SoftLimit(
        "species-differs",
        "board",
        "species",
        "The board is {species}, the treads are {tread}.",
        rule=_other_woods,
    ),
    SoftLimit(
        "small-board",
        "preparation",
        "size_mm",
        "A side of the board is {value}; under 100 mm it shows too little of the wood.",
        low=100,
        rule=_shorter_side,
    ),
    SoftLimit(
        "coats-without-stain",
        "board",
        "coats",
        "The board has {value} coats of stain, and no stain is named: write down which one, or take the coats out.",
        rule=lambda _row, finish, known: _said(
            known.coats and known.stain is None and not finish.steps, value=known.coats
        ),
    ),
    SoftLimit(
        "stock-lot-unknown",
        "preparation",
        "stock_lot",
        "The lot of the wood is not written down.",
        # Of a record that says nothing of the wood, a missing lot would be one of many things missing.
        rule=lambda _row, finish, _known: _said(
            not finish.preparation.is_empty() and finish.preparation.stock_lot is None
        ),
    ),
    SoftLimit(
        "moisture",
        "preparation",
        "moisture_percent",
        "The wood has {value} % moisture; indoors 6 to 9 % is usual, and stain takes differently outside 5 to 12 %.",
        low=5,
        high=12,
    ),
    SoftLimit(
        "grit-skipped",
        "preparation",
        "grits",
        "From grit {value} to {other} is more than twice as fine; scratches of the first may show under stain.",
        high=2,
        rule=_skipped_grits,
    ),
    SoftLimit(
        "grit-too-fine",
        "preparation",
        "grits",
        "The last grit is {value}; {wood} sanded finer than {finest} takes less stain.",
        rule=_too_fine,
    ),
    SoftLimit(
        "blotching",
        "preparation",
        "conditioner",
        "{wood} takes a penetrating stain in blotches: use a conditioner or a gel, and try it on an offcut first.",
        rule=_of_wood(
            lambda wood, finish: (
                wood.blotches
                and not finish.preparation.conditioner
                and any(step.kind in _PENETRATING for step in finish.steps)
            )
        ),
    ),
    SoftLimit(
        "tannin",
        "step",
        "kind",
        "{wood} has much tannin: with water and iron it turns grey to black, so no steel wool before or between coats.",
        rule=_of_wood(lambda wood, finish: wood.tannin == "much" and any(each.watery for each in _layers(finish))),
    ),
    SoftLimit(
        "oily-wood",
        "topcoat",
        "kind",
        "{wood} has an oil of its own, on which a film may stay soft or peel: try it on an offcut first.",
        rule=_of_wood(lambda wood, finish: wood.oily and finish.topcoat is not None),
    ),
    SoftLimit(
        "grain-raised",
        "preparation",
        "grain_raised",
        "{coat} raises the grain: wet the bare wood, let it dry, sand off what stands up, and do so on every tread.",
        rule=_grain,
    ),
    SoftLimit("does-not-follow", "step", "kind", "{note}", rule=_follows),
    SoftLimit(
        "last-grit-differs",
        "preparation",
        "grits",
        "The last grit is {value}, on the treads {tread}; finer sanding stains lighter.",
        rule=_last_grits,
    ),
    SoftLimit(
        "drying-short",
        "preparation",
        "drying_h",
        "After raising the grain the wood dried {value} h; under 2 h it may still be damp.",
        low=2,
        rule=lambda row, finish, _known: _said(
            finish.preparation.grain_raised is not False and row.passed(finish.preparation.drying_h),
            value=finish.preparation.drying_h,
        ),
    ),
    SoftLimit(
        "bases-mixed",
        "step",
        "kind",
        "The colour steps are {kinds}; one base may not hold on the other, so ask the makers or keep to one.",
        rule=_bases,
    ),
    SoftLimit(
        "lot-differs",
        "step",
        "lot",
        "{Step} {is} of lot {value}, the approved board of {approved}; lots differ, so mix cans together or test.",
        rule=_lots,
    ),
    SoftLimit(
        "much-thinner",
        "step",
        "thinner_percent",
        "{Step} {has} {value} % thinner; more than 20 % can leave too little binder.",
        high=20,
    ),
    SoftLimit(
        "applicator-differs",
        "step",
        "applicator",
        "{Step} went on with {value}, on the treads with {tread}; the same tool gives the same colour.",
        rule=_tools,
    ),
    SoftLimit(
        "long-wipe",
        "step",
        "wipe_min",
        "{Step} stayed {value} min before wiping; after 15 min stain gets tacky and uneven.",
        high=15,
    ),
    SoftLimit(
        "long-gel-wipe",
        "step",
        "wipe_min",
        "{Step} {is} gel and stayed {value} min before wiping; gel sets after about 5 min.",
        high=5,
        rule=_gels,
    ),
    SoftLimit(
        "many-coats",
        "step",
        "coat",
        "{Step} {is} coat {value}; beyond two coats stain lies on the wood and may not hold the topcoat.",
        high=2,
    ),
    SoftLimit(
        "next-too-early",
        "step",
        "next_h",
        "After {step} the next came in {value} h; the label of {can} says {label} h.",
        rule=_next_coats,
    ),
    SoftLimit(
        "air-temperature",
        "step",
        "air_c",
        "{Step} {was} put on at {value} C; most labels ask for 13 to 32 C.",
        low=13,
        high=32,
    ),
    SoftLimit(
        "damp-air",
        "step",
        "rh_percent",
        "{Step} {was} put on at {value} % humidity; above 70 % it dries slowly.",
        high=70,
    ),
    SoftLimit(
        "past-pot-life",
        "topcoat",
        "mixed_h",
        "The topcoat was used {value} h after mixing; the label of {can} gives it {label} h.",
        rule=_pot_life,
    ),
    SoftLimit(
        "gloss-differs",
        "topcoat",
        "gloss_gu",
        "The topcoat's gloss is {value} GU, the floor's {floor} GU; matte and gloss read as different colours.",
        high=10,
        rule=_gloss,
    ),
    SoftLimit(
        "few-topcoats",
        "topcoat",
        "coats",
        "The finish has only {value} of the {usual} coats of topcoat that a tread wants at least.",
        rule=_topcoats,
    ),
    SoftLimit(
        "anti-slip-differs",
        "topcoat",
        "anti_slip",
        "The treads get an anti-slip additive and this board has none; it changes the look, so try it on a board too.",
        rule=_anti_slip,
    ),
    SoftLimit(
        "one-light-only",
        "measure",
        "light",
        "The board was {measured}; look at it by lamplight too before deciding.",
        low=2,
        source="ASTM D1729: confirm under a second, very different source",
        rule=lambda row, _finish, known: _said(
            row.passed(known.lights), measured="measured in one light only" if known.lights else "not measured"
        ),
    ),
    SoftLimit(
        "few-places",
        "measure",
        "spots",
        "The floor was measured at {value} of the 5 places wanted; planks differ.",
        low=5,
        rule=lambda row, _finish, known: _said(row.passed(known.spots), value=known.spots),
    ),
)
"""What is warned of. Bounds are of the field; of `grit-skipped` the ratio, of `gloss-differs` the difference."""
