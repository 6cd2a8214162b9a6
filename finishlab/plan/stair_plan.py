"""A stair, the products it gets and how the work is done: all that a plan is made from, and the plan's quantities."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from finishlab.coatings import COMMON, Layer, coating, follow_notes
from finishlab.errors import UsageError
from finishlab.plan.calendar import Calendar, Fitting, Job, need_flight, plan_calendar
from finishlab.plan.coverage import DEFAULT_WASTE, Can, Coats, Need, Purchase, coat_area, need, purchase
from finishlab.plan.cutting import Stock
from finishlab.plan.drying import Coat, WorkHours
from finishlab.plan.geometry import UPRIGHT, Part
from finishlab.stair.names import PartKind

__all__ = [
    "USUAL_PARTS",
    "Origin",
    "Product",
    "Quantity",
    "StairPlan",
    "calendar_of",
    "follow_notes_of",
    "jobs_of",
    "quantities_of",
]

USUAL_PARTS: Final[tuple[PartKind, ...]] = ("tread", "nosing", "landing nosing", "return", "landing board")
"""What a stain or a topcoat goes on unless the parts are named: all that lies flat."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Who says a product's figures, in words; empty where it goes without saying.

    Parameters
    ----------
    coats
        How many coats: ``"R1"``.
    coverage
        What a litre covers: ``"the label of C1"``.
    cans
        Sizes and prices: ``"size and price of C1"``.
    no_cans
        What to do where no size is known.
    in_hand
        Litres left in cans that are logged, by their number.
    waste
        What is lost in can and rag.
    """

    coats: str = ""
    coverage: str = "the label"
    cans: str = ""
    no_cans: str = "name the can sizes on sale to see how many to buy"
    in_hand: tuple[tuple[str, float], ...] = ()
    waste: str = COMMON


@dataclass(frozen=True, slots=True)
class Product:
    """One product and what it does on this stair.

    Parameters
    ----------
    name
        What people call it.
    kind
        The kind of liquid, see `finishlab.coatings.COATINGS`.
    coat
        One coat of it with its times.
    coats
        How many, on which faces.
    parts
        Kinds of part it goes on.
    coverage
        What the label says, m2/L, least and most; None: the kind's range.
    waste
        Share lost.
    cans
        What the shop sells.
    origin
        Where the figures come from.
    """

    name: str
    kind: str
    coat: Coat
    coats: Coats
    parts: tuple[PartKind, ...] = USUAL_PARTS
    coverage: tuple[float, float] | None = None
    waste: float = DEFAULT_WASTE
    cans: tuple[Can, ...] = ()
    origin: Origin = field(default_factory=Origin)

    @property
    def title(self) -> str:
        """Name and kind: ``Golden Oak (oil stain)``; the kind alone where it is the name."""
        return self.kind if self.name.casefold() == self.kind else f"{self.name} ({self.kind})"


@dataclass(frozen=True, slots=True)
class StairPlan:
    """All that a plan is made from.

    Parameters
    ----------
    parts
        The stair's parts.
    products
        In the order in which they are applied.
    away
        Kinds of part finished away from the stair.
    at_once
        How many of those are coated at a time; None: all.
    start
        First day of the work; None if no calendar is wanted.
    stock
        Boards on sale.
    us
        Whether answers are given in inches, feet and quarts too.
    not_counted
        Parts that are to be coated, but whose sizes are not known, in words.
    """

    parts: tuple[Part, ...]
    products: tuple[Product, ...] = ()
    away: tuple[PartKind, ...] = ()
    at_once: int | None = None
    start: dt.date | None = None
    hours: WorkHours = field(default_factory=WorkHours)
    coat_h: float = 1.0
    rub_h: float = 1.0
    fitting: Fitting = field(default_factory=Fitting)
    stock: tuple[Stock, ...] = ()
    us: bool = False
    not_counted: str = ""

    @property
    def several(self) -> bool:
        """Whether parts need their flight's name to be told apart."""
        return need_flight(self.parts)


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is needed of one product.

    Parameters
    ----------
    product
        The product.
    parts
        The parts it goes on.
    need
        Area times coats, coverage, litres.
    buy
        Cans for the least and for the most that may be needed; None where no can size is known.
    """

    product: Product
    parts: tuple[Part, ...]
    need: Need
    buy: tuple[Purchase, Purchase] | None

    @property
    def from_label(self) -> bool:
        """Whether the coverage is the label's."""
        return self.product.coverage is not None


def quantities_of(plan: StairPlan) -> tuple[Quantity, ...]:
    """Return what is needed of each product.

    Raises
    ------
    UsageError
        ``"no-products"``; ``"nothing-to-coat"`` if a product goes on no part of the stair.
    """
    if not plan.products:
        raise UsageError("no-products", "No product is named.", "Name one, for example --liquid “oil stain”.")
    return tuple(_quantity(plan, product) for product in plan.products)


def _quantity(plan: StairPlan, product: Product) -> Quantity:
    parts = tuple(part for part in plan.parts if part.kind in product.parts)
    # Nobody reaches the underside of what is finished on the stair.
    reached = [part for part in parts if not plan.away or part.kind in plan.away]
    fixed = [part for part in parts if part not in reached]
    area = coat_area(reached, product.coats) + coat_area(fixed, replace(product.coats, under=0))
    if area <= 0:
        raise UsageError(
            "nothing-to-coat",
            f"{product.title} goes on no part of this stair.",
            f"It is meant for: {', '.join(product.parts)}. Give such parts, or name other ones for it.",
        )
    coverage = product.coverage or coating(product.kind).figures.coverage
    found = need(area, coverage, product.waste)
    buy = (purchase(found.litres[0], product.cans), purchase(found.litres[1], product.cans)) if product.cans else None
    return Quantity(product, parts, found, buy)


def jobs_of(plan: StairPlan) -> tuple[Job, ...]:
    """Return the jobs of a plan: kinds of part that get the same coats in the same place, what stands upright first."""
    kinds = sorted({part.kind for part in plan.parts}, key=lambda kind: (kind not in UPRIGHT, kind != "tread", kind))
    groups: dict[tuple[tuple[Coat, ...], bool], list[PartKind]] = {}
    for kind in kinds:
        coats = _coats_on(plan.products, kind)
        if coats:
            groups.setdefault((coats, kind in plan.away), []).append(kind)
    return tuple(
        Job(tuple(kinds), coats, away=away, at_once=plan.at_once if away else None)
        for (coats, away), kinds in groups.items()
    )


def calendar_of(plan: StairPlan) -> Calendar:
    """Return the calendar of a plan.

    Raises
    ------
    UsageError
        ``"no-start"``, and what `finishlab.plan.calendar.plan_calendar` raises.
    """
    if plan.start is None:
        raise UsageError("no-start", "The first day of the work is not named.", "Name it, e.g. --start 2026-12-01.")
    return plan_calendar(
        plan.parts,
        jobs_of(plan),
        plan.start,
        hours=plan.hours,
        coat_h=plan.coat_h,
        rub_h=plan.rub_h,
        fitting=plan.fitting,
    )


def follow_notes_of(plan: StairPlan) -> tuple[str, ...]:
    """Return what is to be thought of where one product lies on another, with the hours the plan waits."""
    found: dict[str, None] = {}
    for kind in sorted({part.kind for part in plan.parts}):
        on = [product for product in plan.products if kind in product.parts and product.coats.top]
        waits = (product.coat.times.under_other or product.coat.times.recoat for product in on)
        layers = [Layer(coating(product.kind).kind, wait[0]) for product, wait in zip(on, waits, strict=True)]
        found |= dict.fromkeys(follow_notes(layers))
    return tuple(found)


def _coats_on(products: Sequence[Product], kind: PartKind) -> tuple[Coat, ...]:
    return tuple(product.coat for product in products if kind in product.parts for _ in range(product.coats.top))
