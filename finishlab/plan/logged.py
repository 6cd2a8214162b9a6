"""The stair and the recipe that are logged, as what plans are made from."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Final

from finishlab.coatings import can_kinds, coating
from finishlab.errors import UsageError
from finishlab.finish import ColourStep, Topcoat
from finishlab.logbook.entities import chosen_recipe
from finishlab.plan.drying import Laid, recoat_times
from finishlab.plan.entered import product_of
from finishlab.plan.parts import Shape
from finishlab.plan.stair_plan import Can, Coats, Origin, Product, StairPlan
from finishlab.record import gathered
from finishlab.stair.names import UPRIGHT, PartName, listed
from finishlab.stair.progress import (
    WORN,
    Layer,
    PartRecipe,
    Progress,
    coats_of,
    layers,
    missing,
    passed_over,
    progress_of,
    recipe_of,
    resolved,
)
from finishlab.units import LITRES_PER_QT

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.plan.drying import Coat, Times, Window
    from finishlab.recipe import Can as LoggedCan
    from finishlab.recipe import Label
    from finishlab.stair.records import CoatStep, StoredEvent, StoredPart, StoredStair


_US_SIZES: Final = {
    0.125: "1/4 pt", 0.25: "1/2 pt", 0.5: "1 pt", 1: "1 qt", 2: "1/2 gal", 4: "1 gal", 5: "5 qt", 20: "5 gal",
}  # fmt: skip
"""Quarts -> what a can of that size is called."""
_UNDER: Final = re.compile(r"under|both|bottom|back|all")
"""What says that a coat was given to the underside too."""
_SLOW: Final[Mapping[CoatStep, str]] = {"stain": "oil stain", "seal": "sealer", "topcoat": "oil polyurethane"}
"""What a coat is taken to be where neither can nor recipe says it: the kind that takes longest."""
_END_OF_DAY: Final = dt.time(18)
"""When a coat whose hour is not on record is taken to have been given, so that nothing opens too early."""
_MOST_SIZES: Final = 4
"""As many sizes as a purchase can be mixed of."""


def logged_plan(log: Logbook, recipe: str | None = None, *, sized: bool = True) -> StairPlan:
    """Return the logged stair, each part with the coats it is still to get by its own recipe.

    With a recipe named it is for the parts of that recipe alone; where none is to get it yet, as if all that feet wear
    and that has no recipe of its own got it.

    Raises
    ------
    UsageError
        ``"no-stair"``, ``"no-sizes"``, ``"no-recipe"``, ``"which-recipe"``, ``"unknown-kind"``, ``"all-done"``.
    LogbookError
        ``"unknown-recipe"``.
    """
    plan, stair = logged_stair(log, sized=sized), log.stair()
    cans = {each.number.key: each.record for each in log.cans()}
    work = _Work(stair, progress_of(stair.events), cans)
    recipes, notes = _recipes(log, work, recipe)
    by_recipe = gathered((recipes[part.ident].number, part) for part in stair.parts if part.ident in recipes)
    products, unsized, planned = [], [], set(plan.parts)
    for parts in by_recipe.values():
        worked = recipes[parts[0].ident]
        notes += [worked.changed] if worked.changed else []
        for made in finish_products(worked, cans):
            uses = [(part.name, coats) for part in parts if (coats := work.left(part, worked, made))]
            each = tuple(use for use in uses if use[0] in planned)
            unsized += [name for name, _ in uses if name not in planned]
            if each:
                products.append(replace(made.product, each=each))
    notes += work.notes(recipes)
    if not products and not unsized and (sized or not work.to_fit(recipes)):
        raise UsageError(
            "all-done",
            "No part is short of a coat.",
            "See what each part has: finishlab stairs show; what is sanded again is logged so: stairs log PARTS sanded",
        )
    us = plan.us or any(can.label is not None and can.label.typed_in for can in cans.values())
    us = us or any(can.label in _US_SIZES.values() for product in products for can in product.cans)
    missing = listed(dict.fromkeys(unsized)) if unsized else ""
    there = [part for part in stair.parts if part.name in planned]
    known = [(part.name, work.progress[part.ident]) for part in there]
    return replace(
        plan,
        products=tuple(products),
        us=us,
        not_counted=missing,
        notes=tuple(dict.fromkeys(notes)),
        laid={part.name: laid for part in there if (laid := work.laid(part, recipes.get(part.ident)))},
        fitted=frozenset(name for name, each in known if "fitted" in each.done),
        sanded=frozenset(name for name, each in known if "sanded" in each.done and not each.coats),
    )


def _recipes(log: Logbook, work: _Work, recipe: str | None) -> tuple[dict[int, PartRecipe], list[str]]:
    """Return the recipe of each part that is planned, and what is to be said of the others."""
    stair = work.stair
    own = {part.ident: recipe_of(stair, part, work.progress[part.ident]) for part in stair.parts}
    found = dict(own)
    named = None if recipe is None else log.recipe(recipe).number.key
    notes: list[str] = []
    live = log.recipes()
    if len(live) == 1 or (named is None and not any(found.values())):
        # Nothing decided otherwise, the only recipe there is is meant; of several none can be.
        only = live[0].number.key if len(live) == 1 else chosen_recipe(log, None)[0]
        found |= {
            part.ident: resolved(stair, only, "only")
            for part in stair.parts
            if found[part.ident] is None and part.record.kind in WORN
        }
    if named is not None and not any(each is not None and each.number == named for each in found.values()):
        decided = {ident for ident, each in found.items() if each is not None and each.why in {"own", "begun"}}
        free = [part for part in stair.parts if part.record.kind in WORN and part.ident not in decided]
        found = dict.fromkeys(found) | {part.ident: resolved(stair, named, "only") for part in free}
        notes.append(
            f"No part is to get R{named} yet: planned as if {stair.listed(part.name for part in free)} got it."
        )
        named = named if free else None
    elif named is not None:
        others = gathered(
            (mine.number, part.name)
            for part in stair.parts
            if (mine := found[part.ident]) is not None and mine.number != named
        )
        told = [f"{stair.listed(names)} (R{number})" for number, names in others.items()]
        notes += [f"Of another recipe, and not in this plan: {', '.join(told)}."] if told else []
        found = {ident: each if each and each.number == named else None for ident, each in found.items()}
    without = [part for part in stair.parts if own[part.ident] is None and not found[part.ident]]
    if without:
        names = stair.listed(part.name for part in without)
        notes.append(
            f"Left out, since no recipe is theirs: {names}. Give them one, for example: finishlab stairs edit "
            f"“{names.split(',')[0]}” --recipe {live[0].number if live else 'R1'}"
        )
    return {ident: each for ident, each in found.items() if each is not None}, notes


@dataclass(frozen=True, slots=True)
class Made:
    """A product of a recipe, and which of the recipe's coats it is."""

    product: Product
    layers: tuple[Layer, ...]


@dataclass(frozen=True, slots=True)
class _Work:
    """What is left to do on the logged stair."""

    stair: StoredStair
    progress: Mapping[int, Progress]
    cans: Mapping[int, LoggedCan]

    def left(self, part: StoredPart, recipe: PartRecipe, made: Made) -> Coats | None:
        """Return the coats of a product a part is still to get; None for none.

        Of the underside it is taken to have got its coat with the first that does not say otherwise.
        """
        known = self.progress[part.ident]
        left = {(step, n) for step, numbers in missing(known, coats_of(recipe.finish)).items() for n in numbers}
        mine = [layer for layer in made.layers if (layer.step, layer.number) in left]
        if not mine:
            return None
        numbers = {layer.number for layer in made.layers}
        on = [event for event in known.coats.get(made.layers[0].step, ()) if event.coat in numbers]
        under = any(event.faces is None or _UNDER.search(event.faces.casefold()) for event in on)
        reached = not under and "fitted" not in known.done
        return Coats(len(mine), under=int(reached and made.product.coats.under > 0))

    def laid(self, part: StoredPart, recipe: PartRecipe | None) -> Laid | None:
        """Return the last coat a part has already, and all that dries under it."""
        known = self.progress[part.ident]
        on = {event.ident: laid for event, laid in self.drying(part, recipe, _usual_end)}
        last = None if known.last_coat is None else on.pop(known.last_coat.ident)
        return None if last is None else replace(last, rubbed_out=known.rubbed_out, below=tuple(on.values()))

    def drying(
        self, part: StoredPart, recipe: PartRecipe | None, ended: Callable[[StoredEvent], dt.datetime]
    ) -> list[tuple[StoredEvent, Laid]]:
        """Return all that dries on a part, each with the times of its own can, else of its recipe, else usual ones."""
        try:
            made = () if recipe is None else finish_products(recipe, self.cans)
        except UsageError:  # a recipe that does not say of what kind it is
            made = ()
        return [(event, Laid(self.coat(event, made), ended(event))) for event in self.progress[part.ident].drying]

    def coat(self, event: StoredEvent, made: Sequence[Made]) -> Coat:
        """Return what was put on, with the times of its own can, else of its recipe's products, else usual ones."""
        step: CoatStep = event.step or "topcoat"
        can = self.stair.can_of(event)
        of_step = [each for each in made if each.layers[0].step == step]
        same = [each for each in of_step if any(layer.number == event.coat for layer in each.layers)]
        mine = next(iter(same or of_step[-1:]), None)
        if mine is not None and (can is None or mine.layers[0].section.can_number == event.batch_number):
            return mine.product.coat
        kind = can.kind if can is not None and can.kind in can_kinds() and can.kind != "other" else _SLOW[step]
        kind = kind if coating(kind).usual is not None else _SLOW[step]
        usual = product_of(kind, name=mine.product.name if mine is not None else None)
        return _labelled(usual, event.batch_number, self.stair.cans, None).coat

    def to_fit(self, recipes: Mapping[int, PartRecipe]) -> bool:
        """Return whether some part has its coats and was not fitted."""
        return any(
            "fitted" not in self.progress[part.ident].done and self.progress[part.ident].coats
            for part in self.stair.parts
            if part.ident in recipes
        )

    def notes(self, recipes: Mapping[int, PartRecipe]) -> Iterator[str]:
        """Say which parts are done, and which coats were passed over and are not planned."""
        done: list[PartName] = []
        bare: dict[str, list[PartName]] = {}
        over: dict[CoatStep, list[PartName]] = {}
        for part in self.stair.parts:
            recipe = recipes.get(part.ident)
            if recipe is None:
                continue
            want = coats_of(recipe.finish)
            if part.record.kind in WORN and not want.get("topcoat"):
                bare.setdefault(recipe.words, []).append(part.name)
            if self.progress[part.ident].coats and not missing(self.progress[part.ident], want):
                done.append(part.name)
            for step in passed_over(self.progress[part.ident], want):
                over.setdefault(step, []).append(part.name)
        for words, names in bare.items():
            yield f"{words} names no topcoat, so none is planned for {self.stair.listed(names)}, which feet wear."
        if done:
            yield f"Finished, and not planned again: {self.stair.listed(done)}."
        for step, names in over.items():
            yield f"Not planned: {step} on {self.stair.listed(names)}, since another coat lies over it already."


def coats_laid(log: Logbook, stair: StoredStair) -> Iterator[tuple[StoredPart, list[tuple[StoredEvent, Laid]]]]:
    """Give each part with all that dries on it: its coats since its wood was sanded, and what was touched up.

    One whose hour is not logged ended when it was logged, where that was on its day, else with its day. What nobody
    says the kind of is taken for what takes longest.
    """
    work = _Work(stair, progress_of(stair.events), {each.number.key: each.record for each in log.cans()})
    for part in stair.parts:
        yield part, work.drying(part, recipe_of(stair, part, work.progress[part.ident]), _latest_end)


def _usual_end(event: StoredEvent) -> dt.datetime:
    """Return when it is taken to have been done: late in the day, where its hour is not on record."""
    return event.moment if event.conditions.time else dt.datetime.combine(event.date, _END_OF_DAY)


def _latest_end(event: StoredEvent) -> dt.datetime:
    """Return the last moment at which it can have been done."""
    logged = event.created.replace(tzinfo=dt.UTC).astimezone().replace(tzinfo=None)
    if event.conditions.time:
        return event.moment
    return logged if logged.date() == event.date else dt.datetime.combine(event.date, dt.time()) + dt.timedelta(days=1)


def logged_stair(log: Logbook, *, sized: bool = True) -> StairPlan:
    """Return the logged stair without products; unless `sized`, with its parts of unknown size.

    Raises
    ------
    UsageError
        ``"no-stair"`` or ``"no-sizes"``.
    """
    stored = log.stair_parts()
    if not stored:
        raise UsageError(
            "no-stair",
            "The stair is not described.",
            "Enter it once with: finishlab stairs add RISERS, or give --treads and their sizes, or a file with --from.",
        )
    us = any(part.record.sizes.inches for part in stored)  # typed in inches, shown in inches
    if not sized:
        return StairPlan(tuple(part.name for part in stored), us=us)
    shapes = {part.name: shape for part in stored if (shape := _shape_of(part)) is not None}
    if not shapes:
        raise UsageError(
            "no-sizes",
            "No part of the logged stair has its sizes.",
            "Add them, for example: finishlab stairs edit all treads --front 36in --depth 11.5in --thickness 1in",
        )
    return StairPlan(tuple(shapes), us=us, shapes=shapes)


def finish_products(recipe: PartRecipe, cans: Mapping[int, LoggedCan]) -> tuple[Made, ...]:
    """Return the products of a recipe in the order they go on.

    Raises
    ------
    UsageError
        ``"empty-recipe"``, ``"unknown-kind"``.
    """
    found = tuple(_products(recipe, cans))
    if not found:
        raise UsageError(
            "empty-recipe",
            f"Recipe R{recipe.number} says neither stain nor topcoat.",
            f"Add them, for example: finishlab recipe edit R{recipe.number} --step oil --top “oil pu; coats=3”",
        )
    return found


def _products(recipe: PartRecipe, cans: Mapping[int, LoggedCan]) -> Iterator[Made]:
    number = f"R{recipe.number}"
    for _, alike in groupby(layers(recipe.finish), key=_same):
        mine = tuple(alike)
        section = mine[0].section
        kind = section.coating
        if kind is None:
            what, example = "topcoat it has", "--top “oil pu”"
            if isinstance(section, ColourStep):
                what, example = f"stain its step “{section.name or 1}” is", "--step “1: kind=oil”"
            raise UsageError(
                "unknown-kind",
                f"Recipe {number} does not say what kind of {what}.",
                f"Say it, for example: finishlab recipe edit {number} {example}",
            )
        named, origin = kind.kind, number if section.kind else f"{number}, by its words"
        if isinstance(section, ColourStep):
            name, wait = section.name or _on_can(section.can_number, cans), section.next_h
        elif isinstance(section, Topcoat):
            named, wait = section.kind or kind.recorded[0], section.recoat_h
            name = " ".join(word for word in (section.maker, section.product) if word)
            name = name or _on_can(section.can_number, cans)
            if section.coats is None:
                origin = f"usual, since {number} does not say how many"
        else:
            name, wait = section.kind or "", None
        product = product_of(named, name=name or None, coats=len(mine))
        yield Made(_said(product, origin, section.can_number, cans, wait), mine)


def _on_can(number: int | None, cans: Mapping[int, LoggedCan]) -> str:
    """Return the product's name as its can has it; empty where no can is named."""
    can = cans.get(number or 0)
    return "" if can is None else " ".join(word for word in (can.maker, can.product) if word)


def _same(layer: Layer) -> tuple[object, ...]:
    """Return what coats of one product have in common."""
    section = layer.section
    if isinstance(section, ColourStep):
        return layer.step, section.kind, section.name, section.can_number, section.next_h
    return layer.step, section.can_number


def _said(
    product: Product, recipe: str, can: int | None, cans: Mapping[int, LoggedCan], recoat_h: float | None
) -> Product:
    """Return a product with all that the recipe and its can say, and who said it."""
    product = replace(product, origin=Origin(coats=recipe))
    if can is None or can not in cans:
        return _labelled(product, can, cans, recoat_h)
    hint = f"C{can} has no size written down: finishlab can edit C{can} --size 1L, or name sizes with --can-size"
    alike = {number: each for number, each in cans.items() if _same_product(each, cans[can])}
    left = tuple((f"C{number}", each.left_l) for number, each in alike.items() if each.left_l)
    origin = Origin(recipe, coverage=f"the label of C{can}", no_cans=hint, in_hand=left)
    product = replace(product, origin=origin)
    return _labelled(_with_cans(product, {can: cans[can], **alike}), can, cans, recoat_h)


def _with_cans(product: Product, alike: Mapping[int, LoggedCan]) -> Product:
    """Return a product with the sizes and prices of its logged cans; of one size the last can's price."""
    sizes: dict[float, tuple[int, Can]] = {}
    for number, each in alike.items():
        if each.size_l is None:
            continue
        label = each.label
        price, currency = (None, None) if label is None else (label.price, label.currency)
        before = sizes.get(round(each.size_l, 2))
        if before is None or price is not None:
            can = Can(each.size_l, price, _size_words(each.size_l), (currency or "") if price is not None else "")
            sizes[round(each.size_l, 2)] = number, can
    kept = sorted(sizes.values(), key=lambda each: each[0], reverse=True)[:_MOST_SIZES]
    if not kept:
        return product
    cans = tuple(can for _, can in kept)
    from_ = " and ".join(f"C{number}" for number in sorted(number for number, _ in kept))
    what = "sizes and prices" if len(kept) > 1 else "size and price"
    if any(can.price is None for can in cans):
        what = "sizes" if len(kept) > 1 else "size"
    return replace(product, cans=cans, origin=replace(product.origin, cans=f"{what} of {from_}"))


def _same_product(one: LoggedCan, other: LoggedCan) -> bool:
    return all(
        (getattr(one, name) or "").casefold() == (getattr(other, name) or "").casefold()
        for name in ("kind", "maker", "product")
    )


def _size_words(litres: float) -> str:
    """Return a can's size: by its US name where it is one, else in litres."""
    for quarts, name in _US_SIZES.items():
        if abs(litres - quarts * LITRES_PER_QT) < 0.002 * litres:
            return name
    return f"{litres:.4g} L"


def _labelled(product: Product, can: int | None, cans: Mapping[int, LoggedCan], recoat_h: float | None) -> Product:
    """Return a product with what its label says in the place of usual figures; the recipe's own wait comes next."""
    label = cans[can].label if can is not None and can in cans else None
    product = replace(product, coats=Coats(product.coats.top, under=1))
    window, other = None, None
    if label is not None:
        window = _window(product.coat.times, label, can, own=recoat_h)
        other = None if label.recoat_other_h is None else (label.recoat_other_h, None)
    by = (f"the label of C{can}", product.origin.coats)
    times = recoat_times(product.coat.times, window, other=other, own=recoat_h, by=by)
    if label is not None:
        cure = None if label.cure_d is None else label.cure_d * 24
        times = times.with_said(by[0], socks=label.walk_on_h, use=label.use_h, cure=cure)
        bounds = [each for each in (label.coverage_low_m2_per_l, label.coverage_high_m2_per_l) if each is not None]
        if bounds:
            product = replace(product, coverage=(bounds[0], bounds[-1]))
    return replace(product, coat=replace(product.coat, times=times))


def _window(times: Times, label: Label, can: int | None, *, own: float | None) -> Window | None:
    """Return the label's hours to the next coat, None where it gives none.

    A label with its latest hour alone leaves the first to the recipe, or to what is usual.

    Raises
    ------
    UsageError
        ``"no-first-hour"`` if that is after the latest hour.
    """
    least, most = label.recoat_h, label.recoat_within_h
    if least is not None:
        return least, most
    if most is None:
        return None
    known = times.recoat[0] if own is None else own
    if known > most:
        why = f"{known:g} h is usual" if own is None else f"the recipe waits {known:g} h"
        raise UsageError(
            "no-first-hour",
            f"The label of C{can} allows the next coat within {most:g} h, but says no first hour, and {why}.",
            f"Enter the first hour its label gives: finishlab can edit C{can} --label “recoat=HOURS”",
        )
    return known, most


def _shape_of(part: StoredPart) -> Shape | None:
    """Return a part's shape; None without front, depth (or height) or thickness."""
    sizes = part.record.sizes
    depth = sizes.height if part.name.kind in UPRIGHT and sizes.height else sizes.depth
    if sizes.front is None or depth is None or sizes.thickness is None:
        return None
    try:
        return Shape(sizes.front, depth, sizes.thickness, sizes.back, sizes.left_angle, sizes.right_angle)
    except UsageError as error:
        raise UsageError(
            error.code, f"{part.name.words(with_level=True).capitalize()}: {error.message}", error.hint
        ) from error
