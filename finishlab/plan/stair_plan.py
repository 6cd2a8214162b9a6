"""A stair, the products it gets and how the work is done: all that a plan is made from, and the plan's quantities.

How much liquid that takes is areas times coats and waste over coverage, in cans, with the range the coverage leaves.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from finishlab.coatings import COMMON, Layer, coating, follow_notes
from finishlab.errors import UsageError
from finishlab.plan.calendar import Calendar, Job, Work, plan_calendar
from finishlab.plan.drying import Coat, Laid, WorkHours
from finishlab.plan.parts import Shape, face_areas
from finishlab.plan.woodwork import Stock
from finishlab.record import gathered
from finishlab.stair.names import UPRIGHT, PartKind, PartName, need_flight

DEFAULT_WASTE: Final = 0.15
"""Share of a liquid lost in can, rag and brush: 10 to 20 % is usual (common practice, no source)."""
_MOST_COATS: Final = 8
_TOLERANCE: Final = 1e-9
"""What is exactly full is not rounded up to another can by the last binary digit."""
_MOST_MIXED: Final = 20
"""Of more than this many of the largest cans, the rest is not worth trying other mixtures for."""


@dataclass(frozen=True, slots=True)
class Coats:
    """How many coats which faces get.

    Parameters
    ----------
    top
        Coats on the face that shows.
    edges
        Coats on front, back and ends; None: as many as on the top.
    under
        Coats on the underside.

    Raises
    ------
    UsageError
        ``"coats-out-of-range"``.
    """

    top: int
    edges: int | None = None
    under: int = 0

    @property
    def on_edges(self) -> int:
        """Coats on front, back and ends."""
        return self.top if self.edges is None else self.edges

    def __post_init__(self) -> None:
        for count in (self.top, self.edges or 0, self.under):
            if not 0 <= count <= _MOST_COATS:
                raise UsageError(
                    "coats-out-of-range", f"{count} coats cannot be meant.", f"Give a number from 0 to {_MOST_COATS}."
                )


@dataclass(frozen=True, slots=True)
class Can:
    """A can on sale.

    Raises
    ------
    UsageError
        ``"bad-volume"``, ``"bad-price"``.
    """

    litres: float
    price: float | None = None
    label: str = ""
    """How its size was written: ``1qt``."""
    currency: str = ""
    """Of its price, where that is written down."""

    def __post_init__(self) -> None:
        if not 0 < self.litres <= 1000:
            raise UsageError("bad-volume", f"A can does not hold {self.litres:g} L.", "Write for example 1qt or 2.5L.")
        if self.price is not None and not 0 <= self.price < 1e9:
            raise UsageError("bad-price", f"A can does not cost {self.price:g}.", "Write for example 1qt=18.50.")

    @property
    def name(self) -> str:
        """Its size as written, else in litres."""
        return self.label or f"{self.litres:g} L"


@dataclass(frozen=True, slots=True)
class Purchase:
    """Cans to buy, the largest first, each with how many."""

    cans: tuple[tuple[Can, int], ...]

    @property
    def litres(self) -> float:
        """What they hold together."""
        return sum(can.litres * count for can, count in self.cans)

    @property
    def words(self) -> str:
        """``"1 x 1gal and 2 x 1qt"``."""
        return " and ".join(f"{count} x {can.name}" for can, count in self.cans)

    @property
    def currency(self) -> str:
        """Currency of the cost; empty where none is written down, or not one for all."""
        named = {can.currency for can, _ in self.cans}
        return named.pop() if len(named) == 1 else ""

    @property
    def cost(self) -> float | None:
        """What they cost together; None where a price is not known, or not in one currency."""
        if len({can.currency for can, _ in self.cans}) > 1:
            return None
        total = 0.0
        for can, count in self.cans:
            if can.price is None:
                return None
            total += can.price * count
        return total


def coat_area(parts: Iterable[tuple[PartKind, Shape]], coats: Coats) -> float:
    """Return the area of parts times the coats each face gets, m2; of what stands upright the face that shows alone."""
    total = 0.0
    for kind, shape in parts:
        areas = face_areas(shape)
        total += coats.top * areas.top
        if kind not in UPRIGHT:
            total += coats.on_edges * areas.edges + coats.under * areas.underside
    return total


def need(area: float, coverage: tuple[float, float], waste: float = DEFAULT_WASTE) -> tuple[float, float]:
    """Return the least and the most litres needed for an area times coats, m2, where a litre covers so much, m2/L.

    Raises
    ------
    UsageError
        ``"bad-waste"`` if the waste is not from 0 to below 1; ``"bad-coverage"`` if a coverage is not above 0.
    """
    if not 0 <= waste < 1:
        raise UsageError("bad-waste", f"{waste * 100:g} % waste cannot be meant.", "10 to 20 % is usual.")
    least, most = coverage
    if not 0 < least <= most:
        raise UsageError("bad-coverage", "A litre covers more than nothing.", "Copy the coverage from the label.")
    return area * (1 + waste) / most, area * (1 + waste) / least


def purchase(litres: float, cans: Sequence[Can]) -> Purchase:
    """Return which cans to buy so that they hold at least so much.

    The cheapest where every price is known, else what leaves least over; then the fewest cans.

    Raises
    ------
    UsageError
        ``"no-cans"`` if no size is given, ``"too-many-sizes"`` for more than four.
    """
    sizes = sorted(cans, key=lambda can: (-can.litres, can.price or 0.0, can.label))
    if not sizes:
        raise UsageError("no-cans", "No can size is given.", "Give what the shop sells, for example --can-size 1qt.")
    if len(sizes) > 4:
        raise UsageError("too-many-sizes", "More than four can sizes are given.", "Leave out those you will not buy.")
    if litres <= 0:
        return Purchase(())
    bulk = max(0, math.floor(litres / sizes[0].litres) - _MOST_MIXED)
    rest = litres - bulk * sizes[0].litres
    priced = all(can.price is not None for can in sizes) and len({can.currency for can in sizes}) == 1

    def rank(counts: tuple[int, ...]) -> tuple[float, float, int]:
        held = sum(count * can.litres for count, can in zip(counts, sizes, strict=True))
        cost = sum(count * (can.price or 0.0) for count, can in zip(counts, sizes, strict=True)) if priced else 0.0
        return round(cost, 6), round(held, 9), sum(counts)

    chosen = min(_mixtures(rest, sizes), key=rank)
    bought = (
        (can, count + (bulk if number == 0 else 0))
        for number, (can, count) in enumerate(zip(sizes, chosen, strict=True))
    )
    return Purchase(tuple((can, count) for can, count in bought if count))


def _mixtures(litres: float, sizes: Sequence[Can]) -> Iterable[tuple[int, ...]]:
    """Give the mixtures worth trying: any number of the larger cans, filled up with the smallest."""
    *larger, smallest = sizes
    ranges = (range(min(_MOST_MIXED + 1, _enough(litres, can.litres)) + 1) for can in larger)
    for counts in itertools.product(*ranges):
        rest = litres - sum(count * can.litres for count, can in zip(counts, larger, strict=True))
        yield (*counts, max(0, _enough(rest, smallest.litres)))


def _enough(litres: float, size: float) -> int:
    return math.ceil(litres / size - _TOLERANCE)


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
    waste, coats_by
        Who says what is lost in can and rag; and how many coats, where `coats` leaves it out.
    """

    coats: str = ""
    coverage: str = "the label"
    cans: str = ""
    no_cans: str = "name the can sizes on sale to see how many to buy"
    in_hand: tuple[tuple[str, float], ...] = ()
    waste: str = COMMON
    coats_by: str = COMMON


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
    each: tuple[tuple[PartName, Coats], ...] | None = None
    """Of a logged stair: the parts that are to get it, each with the coats it is still to get; None: all of `parts`."""

    def on(self, parts: Iterable[PartName]) -> tuple[tuple[PartName, Coats], ...]:
        """Return which of these parts get it, each with its coats."""
        if self.each is not None:
            return self.each
        return tuple((part, self.coats) for part in parts if part.kind in self.parts)

    @property
    def liquid(self) -> tuple[object, ...]:
        """What is the same of one liquid whichever recipe asks for it."""
        return self.name, self.kind, self.coverage, self.waste, self.cans, self.origin.coverage

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
    hours
        When somebody works.
    work
        How long work takes.
    stock
        Boards on sale.
    us
        Whether answers are given in inches, feet and quarts too.
    not_counted
        Parts that are to be coated, but whose sizes are not known, in words.
    notes
        What else is to be known: which parts and coats are left out, and why.
    laid
        Parts that have coats already: the last of them, with those under it.
    fitted
        Parts that are fitted already.
    sanded
        Parts that are sanded and bare.
    said
        Who says how long work takes, by its name in `work_hours`.
    shapes
        What the parts measure; the days ask for none.
    """

    parts: tuple[PartName, ...]
    products: tuple[Product, ...] = ()
    away: tuple[PartKind, ...] = ()
    at_once: int | None = None
    start: dt.date | None = None
    hours: WorkHours = field(default_factory=WorkHours)
    work: Work = field(default_factory=Work)
    stock: tuple[Stock, ...] = ()
    us: bool = False
    not_counted: str = ""
    notes: tuple[str, ...] = ()
    laid: Mapping[PartName, Laid] = field(default_factory=dict)
    fitted: frozenset[PartName] = frozenset()
    sanded: frozenset[PartName] = frozenset()
    said: tuple[tuple[str, str], ...] = ()
    shapes: Mapping[PartName, Shape] = field(default_factory=dict)

    @property
    def work_hours(self) -> dict[str, tuple[float, str]]:
        """Return how long work takes, hours, each with who says so; what is fitted only where something is away."""
        names = ("coat_h", "rub_out_h", *(("fit_h", "set_h", "ready_h") if self.away else ()))
        return {name: (getattr(self.work, name), dict(self.said).get(name, COMMON)) for name in names}

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
    uses
        The parts it goes on, each with its coats.
    coat_area
        Area times coats, m2.
    coverage
        Least and most one litre covers, m2/L.
    litres
        Least and most that is needed, waste included.
    buy
        Cans for the least and for the most that may be needed; None where no can size is known.
    """

    product: Product
    uses: tuple[tuple[PartName, Coats], ...]
    coat_area: float
    coverage: tuple[float, float]
    litres: tuple[float, float]
    buy: tuple[Purchase, Purchase] | None

    @property
    def parts(self) -> tuple[PartName, ...]:
        """The parts it goes on."""
        return tuple(part for part, _ in self.uses)

    @property
    def from_label(self) -> bool:
        """Whether the coverage is the label's."""
        return self.product.coverage is not None


def quantities_of(plan: StairPlan) -> tuple[Quantity, ...]:
    """Return what is needed of each liquid, bought once for all recipes that ask for it.

    Raises
    ------
    UsageError
        ``"no-products"``; ``"nothing-to-coat"`` if a product goes on no part of the stair.
    """
    if not plan.products:
        raise UsageError("no-products", "No product is named.", "Name one, for example --liquid “oil stain”.")
    same = gathered((product.liquid, product) for product in plan.products)
    return tuple(_quantity(plan, products) for products in same.values())


def _quantity(plan: StairPlan, products: Sequence[Product]) -> Quantity:
    product = products[0]
    names = dict.fromkeys(each.origin.coats for each in products if each.origin.coats)
    product = replace(product, origin=replace(product.origin, coats=", ".join(names)))
    uses = tuple(use for each in products for use in each.on(plan.parts))
    on_stair = {part for part in plan.parts if plan.away and part.kind not in plan.away}  # nobody reaches its underside
    area = sum(
        coat_area([(part.kind, plan.shapes[part])], replace(coats, under=0) if part in on_stair else coats)
        for part, coats in uses
    )
    if area <= 0:
        raise UsageError(
            "nothing-to-coat",
            f"{product.title} goes on no part of this stair.",
            f"It is meant for: {', '.join(product.parts)}. Give such parts, or name other ones for it.",
        )
    coverage = product.coverage or coating(product.kind).figures.coverage
    litres = need(area, coverage, product.waste)
    buy = (purchase(litres[0], product.cans), purchase(litres[1], product.cans)) if product.cans else None
    return Quantity(product, uses, area, coverage, litres, buy)


def jobs_of(plan: StairPlan) -> tuple[Job, ...]:
    """Return the jobs of a plan: parts that get the same coats in the same place.

    What was begun comes first, since its recoat windows run, then what stands upright.
    """
    groups: dict[tuple[tuple[Coat, ...], bool, Laid | None], list[PartName]] = {}
    coats_on: dict[PartName, list[Coat]] = {}
    for product in plan.products:
        for part, coats in product.on(plan.parts):
            coats_on.setdefault(part, []).extend([product.coat] * coats.top)
    parts = sorted(plan.parts, key=lambda part: (part.kind not in UPRIGHT, part.kind != "tread", part.kind))
    for part in parts:
        away = part.kind in plan.away and part not in plan.fitted
        laid = plan.laid.get(part)
        to_fit = away and laid is not None and part not in coats_on
        if coats_on.get(part) or to_fit:
            groups.setdefault((tuple(coats_on.get(part, ())), away, laid), []).append(part)
    found = [
        Job(mine, coats, away=away, at_once=plan.at_once if away else None, after=laid)
        for (coats, away, laid), mine in groups.items()
    ]
    return tuple(sorted(found, key=lambda job: job.after is None))


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
        work=plan.work,
        laid=plan.laid,
        sanded=plan.sanded,
    )


def follow_notes_of(plan: StairPlan) -> tuple[str, ...]:
    """Return what is to be thought of where one product lies on another, with the hours the plan waits."""
    on = gathered((part, product) for product in plan.products for part, coats in product.on(plan.parts) if coats.top)
    found: dict[str, None] = {}
    for products in dict.fromkeys(map(tuple, on.values())):
        waits = (product.coat.times.under_other or product.coat.times.recoat for product in products)
        layers = [Layer(coating(product.kind).kind, wait[0]) for product, wait in zip(products, waits, strict=True)]
        found |= dict.fromkeys(follow_notes(layers))
    return tuple(found)
