"""A recipe that boards and parts share, the decision that makes one the standard, and the cans it is put on from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field
from typing import ClassVar, Final

from finishlab.coatings import can_kinds
from finishlab.errors import UsageError
from finishlab.finish import Finish
from finishlab.finish.fields import HardLimit, Section, typed
from finishlab.record import (
    DatedRecord,
    Number,
    Record,
    check_choice,
    checked_date,
    line,
    named,
    normalize,
    note_text,
    today,
)

CAN_KINDS: Final = can_kinds()
"""What a can may hold."""

LITRES: Final = {
    "size_l": HardLimit("can", "size_l", "size", "L", low=0, above_low=True),
    "left_l": HardLimit("can", "left_l", "rest", "L", low=0),
}
"""What refuses a can's volumes."""


@dataclass(frozen=True, slots=True)
class Recipe(Record):
    """A named finish; number 3 is shown as R3.

    Raises
    ------
    UsageError
        ``"no-name"``, ``"text-too-long"``.
    """

    name: str
    finish: Finish = field(default_factory=Finish)
    note: str | None = None

    def __post_init__(self) -> None:
        name = line("name", self.name)
        if name is None:
            raise UsageError("no-name", "The recipe has no name.", "Name it, e.g. “honey, satin”.")
        finish = self.finish if isinstance(self.finish, Finish) else Finish.from_dict(self.finish)
        normalize(self, name=name, finish=finish.as_recipe(), note=note_text(self.note))


@dataclass(frozen=True, slots=True)
class Standard(DatedRecord):
    """The decision that a recipe is the standard.

    Raises
    ------
    UsageError
        ``"bad-date"``, ``"future-date"``, ``"text-too-long"``.
    """

    recipe_number: int
    finish: Finish
    """The recipe as it was approved: a later change of the recipe does not change what was decided."""
    who: str
    board_number: int | None = None
    date: dt.date = field(default_factory=today)
    reason: str | None = None
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        finish = self.finish if isinstance(self.finish, Finish) else Finish.from_dict(self.finish)
        normalize(
            self,
            finish=finish,
            who=line("name of who decided", self.who) or "unknown",
            date=checked_date(self.date, latest, "it was decided"),
            reason=note_text(self.reason),
        )

    @property
    def recipe(self) -> Number:
        """The recipe as people write it, ``"R1"``."""
        return Number.of("R", self.recipe_number)

    @property
    def board(self) -> Number | None:
        """The approved board as people write it, ``"B3"``."""
        return named("B", self.board_number)


@dataclass(frozen=True, slots=True)
class Label(Section):
    """What the can's label says; it wins over every usual figure.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"recoat-h-out-of-range"`` ..., ``"coverage-order"``, ``"recoat-order"``.
    """

    SECTION: ClassVar[str] = "label"

    coverage_low_m2_per_l: float | None = typed("coverage", "covers at least", "m2/L", above=0)
    """For one coat."""
    coverage_high_m2_per_l: float | None = typed("coverage-to", "covers at most", "m2/L", above=0)
    recoat_h: float | None = typed("recoat", "recoat after", "h", low=0)
    recoat_within_h: float | None = typed("recoat-within", "recoat within", "h", low=0)
    recoat_other_h: float | None = typed("recoat-other", "another product after", "h", low=0)
    """Before a coat of another product, where the label asks for more or less than before its own."""
    walk_on_h: float | None = typed("walk-on", "socks after", "h", low=0)
    use_h: float | None = typed("use", "in use after", "h", low=0)
    cure_d: float | None = typed("cure", "cured after", "days", low=0)
    pot_life_h: float | None = typed("pot-life", "pot life", "h", above=0)
    price: float | None = typed("price", "price of the can", form="number", low=0)
    currency: str | None = typed("currency", "currency")
    typed_in: str | None = typed(
        "typed-in", "unit the coverage was typed in", form="unit", choices=("ft2/gal", "ft2/qt")
    )

    def __post_init__(self) -> None:
        Section.__post_init__(self)
        low, high = self.coverage_low_m2_per_l, self.coverage_high_m2_per_l
        if low is None and high is None:
            object.__setattr__(self, "typed_in", None)
        if low is not None and high is not None and high < low:
            raise UsageError(
                "coverage-order", f"A coverage from {low:g} to {high:g} m2/L runs backwards.", "Give the lower first."
            )
        opens, closes = self.recoat_h, self.recoat_within_h
        if opens is not None and closes is not None and closes < opens:
            raise UsageError(
                "recoat-order",
                f"A recoat window from {opens:g} to {closes:g} h ends before it begins.",
                "Read the label again: recoat after, and recoat within.",
            )

    def next_coat_h(self, *, another: bool) -> float | None:
        """Return the hours the label asks for before the next coat, of the same product or of another; None: none."""
        return self.recoat_other_h if another and self.recoat_other_h is not None else self.recoat_h


@dataclass(frozen=True, slots=True)
class Can(DatedRecord):
    """One can; number 3 is shown as C3.

    Raises
    ------
    UsageError
        ``"unknown-can-kind"``, ``"no-product"``, ``"size-l-out-of-range"``, ``"left-l-out-of-range"``,
        ``"more-left-than-size"``, ``"bad-date"``, ``"future-date"``, ``"text-too-long"``, and what `Label` raises.
    """

    kind: str
    product: str
    """Name or colour on the can."""
    maker: str | None = None
    lot: str | None = None
    size_l: float | None = None
    """Litres when full."""
    left_l: float | None = None
    """Litres left."""
    place: str | None = None
    """Where the rest is kept."""
    opened: dt.date | None = None
    label: Label | None = None
    note: str | None = None
    date: dt.date = field(default_factory=today)
    """Day it was logged; an ISO 8601 text is taken too."""
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        product = line("product", self.product)
        if product is None:
            raise UsageError("no-product", "The can has no product.", "Say what is in it, as its label does.")
        label = Label.from_dict(self.label) if isinstance(self.label, Mapping) else self.label
        normalize(
            self,
            product=product,
            maker=line("maker", self.maker),
            lot=line("lot", self.lot),
            place=line("place", self.place),
            opened=None if self.opened is None else checked_date(self.opened, latest, "the can was opened"),
            label=None if label is None or label.is_empty() else label,
            note=note_text(self.note),
            date=checked_date(self.date, latest, "the can was logged"),
            size_l=_litres("size_l", self.size_l),
            left_l=_litres("left_l", self.left_l),
        )
        check_choice("can-kind", self.kind, CAN_KINDS, "kind of can")
        if self.size_l is not None and self.left_l is not None and self.left_l > self.size_l:
            raise UsageError(
                "more-left-than-size",
                f"{self.left_l:g} L cannot be left in a can of {self.size_l:g} L.",
                "Correct the size of the can or what is left.",
            )


def _litres(name: str, value: object) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError("not-a-number", f"“{value}” is not a number of litres.", "Give litres as a number.")
    return LITRES[name].check(float(value))
