"""The stair and the recipe that are logged, as what plans are made from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Final

from finishlab.coatings import of_step
from finishlab.errors import UsageError
from finishlab.logbook.recipes import chosen_recipe
from finishlab.plan.coverage import Can, Coats
from finishlab.plan.drying import recoat_times
from finishlab.plan.entered import product_of
from finishlab.plan.geometry import UPRIGHT, Part, Shape
from finishlab.plan.stair_plan import Origin, Product, StairPlan
from finishlab.stair.names import listed
from finishlab.stair.progress import coats_of
from finishlab.units import LITRES_PER_QT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from finishlab.finish.finish import Finish
    from finishlab.logbook import Logbook
    from finishlab.plan.drying import Times, Window
    from finishlab.recipe.records import Can as LoggedCan
    from finishlab.recipe.records import Label
    from finishlab.stair.records import StoredPart

__all__ = ["logged_plan", "logged_products", "logged_stair", "planned_parts"]

_US_SIZES: Final = {
    0.125: "1/4 pt", 0.25: "1/2 pt", 0.5: "1 pt", 1: "1 qt", 2: "1/2 gal", 4: "1 gal", 5: "5 qt", 20: "5 gal",
}  # fmt: skip
"""Quarts -> what a can of that size is called."""
_ANY_SIZE: Final = (900.0, 250.0, 25.0)
"""Sizes of a part of which only the days are asked."""
_MOST_SIZES: Final = 4
"""As many sizes as a purchase can be mixed of."""


def logged_plan(log: Logbook, recipe: str | None = None, *, sized: bool = True) -> StairPlan:
    """Return the logged stair with the products of a recipe: the one named, else the standard, else the only one.

    Raises
    ------
    UsageError
        ``"no-stair"``, ``"no-sizes"``, ``"no-recipe"``, ``"which-recipe"``, ``"unknown-kind"``.
    LogbookError
        ``"unknown-recipe"``.
    """
    stair, products = logged_stair(log, sized=sized), logged_products(log, recipe)
    coated = {kind for product in products for kind in product.parts}
    here = log.stair_parts() if sized else ()
    unsized = [part.name for part in here if part.name.kind in coated and _shape_of(part) is None]
    us = stair.us or any(each.record.label is not None and each.record.label.typed_in for each in log.cans())
    us = us or any(can.label in _US_SIZES.values() for product in products for can in product.cans)
    return replace(stair, products=products, us=us, not_counted=listed(unsized) if unsized else "")


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
    parts = planned_parts(stored, sized=sized)
    if not parts:
        raise UsageError(
            "no-sizes",
            "No part of the logged stair has its sizes.",
            "Add them, for example: finishlab stairs edit all treads --front 36in --depth 11.5in --thickness 1in",
        )
    # Typed in inches, shown in inches.
    return StairPlan(tuple(parts), us=any(part.record.sizes.inches for part in stored))


def logged_products(log: Logbook, recipe: str | None = None) -> tuple[Product, ...]:
    """Return what a recipe puts on, in order; coverage, times, sizes and prices are the cans' where these say them."""
    number, chosen, _ = chosen_recipe(log, recipe)
    cans = {each.number.key: each.record for each in log.cans()}
    products = tuple(_products(f"R{number}", chosen.finish, cans))
    if not products:
        raise UsageError(
            "empty-recipe",
            f"Recipe R{number} says neither stain nor topcoat.",
            f"Add them, for example: finishlab recipe edit R{number} --step oil --top “oil pu; coats=3”",
        )
    return products


def _products(number: str, finish: Finish, cans: Mapping[int, LoggedCan]) -> Iterator[Product]:
    steps = [(of_step("step", step.kind), step.name, step.can_number, step.next_h) for step in finish.steps]
    for (stain, name, can, next_h), alike in groupby(steps):
        if stain is None:
            raise UsageError(
                "unknown-kind",
                f"Recipe {number} does not say what kind of stain its step “{name or 1}” is.",
                f"Say it, for example: finishlab recipe edit {number} --step “1: kind=oil”",
            )
        coats = len(list(alike))
        called = name or _on_can(can, cans) or None
        yield _said(product_of(stain.kind, name=called, coats=coats), number, can, cans, next_h)
    seals = coats_of(finish).get("seal", 0)
    if finish.seal is not None and seals:
        sealed = product_of("sealer", name=finish.seal.kind, coats=seals)
        yield _said(sealed, number, finish.seal.can_number, cans, None)
    coat = finish.topcoat
    if coat is not None:
        film = of_step("topcoat", coat.kind)
        if film is None:
            raise UsageError(
                "unknown-kind",
                f"Recipe {number} does not say what kind of topcoat it has.",
                f"Say it, for example: finishlab recipe edit {number} --top “oil pu”; for others use --from FILE.",
            )
        name = " ".join(word for word in (coat.maker, coat.product) if word) or _on_can(coat.can_number, cans)
        top = product_of(str(coat.kind), name=name or None, coats=coat.coats or film.figures.coats)
        if coat.coats is None:
            number = f"usual, since {number} does not say how many"
        yield _said(top, number, coat.can_number, cans, coat.recoat_h)


def _on_can(number: int | None, cans: Mapping[int, LoggedCan]) -> str:
    """Return the product's name as its can has it; empty where no can is named."""
    can = None if number is None else cans.get(number)
    return "" if can is None else " ".join(word for word in (can.maker, can.product) if word)


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
    times = recoat_times(product.coat.times, window, other=other, own=recoat_h)
    if label is not None:
        cure = None if label.cure_d is None else label.cure_d * 24
        times = times.with_said(socks=label.walk_on_h, use=label.use_h, cure=cure)
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


def planned_parts(stored: Sequence[StoredPart], *, sized: bool = True) -> list[Part]:
    """Return the parts whose sizes are known, in mm, as quantities, cutting and calendar want them.

    Unless `sized`, where it is days that are wanted, the others come too, with sizes that say nothing.
    """
    shaped = ((part.name, _shape_of(part)) for part in stored)
    return [
        Part(name.kind, shape or Shape(*_ANY_SIZE), name.level, name.place, name.side)
        for name, shape in shaped
        if shape is not None or not sized
    ]


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
