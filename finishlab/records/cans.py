"""A can of stain, sealer or finish: its lot, what its label says, how much is left and where."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field
from typing import ClassVar, Final

from finishlab.coatings import can_kinds
from finishlab.errors import UsageError
from finishlab.records.base import DatedRecord
from finishlab.records.entries import Checked, entry
from finishlab.records.limits import Section, check_number
from finishlab.records.tidy import check_choice, checked_date, line, note_text, tidy, today

__all__ = ["CAN_KINDS", "Batch", "Label"]

CAN_KINDS: Final = can_kinds()
"""What a can may hold."""


@dataclass(frozen=True, slots=True)
class Label(Checked):
    """What the can's label says; it wins over every usual figure.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"recoat-h-out-of-range"`` ..., ``"coverage-order"``, ``"recoat-order"``.
    """

    SECTION: ClassVar[Section] = "label"

    coverage_low_m2_per_l: float | None = entry("coverage", "covers at least", "m2/L", "number")
    """For one coat."""
    coverage_high_m2_per_l: float | None = entry("coverage-to", "covers at most", "m2/L", "number")
    recoat_h: float | None = entry("recoat", "recoat after", "h", "number")
    recoat_within_h: float | None = entry("recoat-within", "recoat within", "h", "number")
    recoat_other_h: float | None = entry("recoat-other", "another product after", "h", "number")
    """Before a coat of another product, where the label asks for more or less than before its own."""
    walk_on_h: float | None = entry("walk-on", "socks after", "h", "number")
    use_h: float | None = entry("use", "in use after", "h", "number")
    cure_d: float | None = entry("cure", "cured after", "days", "number")
    pot_life_h: float | None = entry("pot-life", "pot life", "h", "number")
    price: float | None = entry("price", "price of the can", form="number")
    currency: str | None = entry("currency", "currency")
    typed_in: str | None = entry(
        "typed-in", "unit the coverage was typed in", form="unit", choices=("ft2/gal", "ft2/qt")
    )

    def __post_init__(self) -> None:
        Checked.__post_init__(self)
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
class Batch(DatedRecord):
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
        tidy(
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
    check_number("can", name, float(value))
    return float(value)
