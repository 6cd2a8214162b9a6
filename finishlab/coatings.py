"""The coatings of a stair as one table: kinds, their names, what they cover, how long they take, what else they ask.

A new kind is one entry here: recipes, cans, plan, schedule, quantities and docs read the table. The coverages gather
what makers' labels give, and they conflict up to threefold, so every figure is a range. The times are for about 21 C
and 50 % relative humidity. No standard or study stands behind either: **common practice, no source**, unless marked. A
label always wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from finishlab.errors import UsageError

__all__ = [
    "COATINGS",
    "COMMON",
    "Coating",
    "Role",
    "Usual",
    "can_kinds",
    "coating",
    "of_step",
    "stain_bases",
    "topcoat_kinds",
]

COMMON: Final = "common practice, no source"

Role = Literal["stain", "seal", "topcoat", "paint", "aid"]
"""What a coating is for: colour, a layer between, the wear layer, paint on what nobody steps on, what helps others."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual of a kind of coating where no label says it."""

    coverage: tuple[float, float]
    """Least and most one litre covers in one coat, m2/L."""
    recoat_h: tuple[float, float]
    """Hours to the next coat of the same, least and most that sources give."""
    walk_on_h: float
    """Hours until it is walked on in socks."""
    use_d: tuple[float, float]
    """Days until it is used with care, least and most."""
    cure_d: tuple[float, float]
    """Days until it is cured, least and most."""
    under_other_h: tuple[float, float] | None = None
    """Hours until another coating may go over it, where that takes longer; None where it does not."""
    coats: int = 1
    """How many a tread usually gets."""
    rub_out: bool = False
    """Whether a coat is rubbed out before the next."""
    source: str = COMMON


@dataclass(frozen=True, slots=True)
class Coating:
    """A kind of coating."""

    kind: str
    """Its name in the trade's words."""
    role: Role
    usual: Usual | None = None
    """None of what is no coat by itself."""
    base: str = ""
    """Of a stain: the word a recipe's colour step has for it."""
    also: tuple[str, ...] = ()
    """Other names it is known by."""
    sold_as: tuple[str, ...] = ()
    """Kinds that recipes and cans tell apart though their figures are one; empty: its own name."""
    oily: bool = False
    """Whether its rags can catch fire by themselves."""

    @property
    def is_film(self) -> bool:
        """Whether it can be the last coat of a tread; a stain cannot."""
        return self.role != "stain"

    @property
    def recorded(self) -> tuple[str, ...]:
        """The kinds that recipes and cans know it by."""
        return self.sold_as or (self.kind,)

    @property
    def figures(self) -> Usual:
        """Its usual figures.

        Raises
        ------
        UsageError
            ``"unknown-liquid"`` of what is no coat by itself.
        """
        if self.usual is None:
            raise _unknown(self.kind)
        return self.usual


_DYE: Final = Usual((4, 15), (1, 4), 4, (1, 1), (1, 1))

_ALL: Final = (
    Coating("oil stain", "stain", Usual((5, 15), (6, 24), 24, (1, 3), (1, 3), (24, 72)), base="oil", oily=True),
    Coating("water stain", "stain", _DYE, base="water"),
    Coating("gel stain", "stain", Usual((7, 10), (12, 24), 24, (1, 3), (1, 3), (24, 72)), base="gel", oily=True),
    Coating("dye", "stain", _DYE, base="dye"),
    Coating("conditioner", "aid"),
    Coating("sealer", "seal", Usual((10, 15), (2, 4), 24, (1, 3), (7, 30))),
    Coating(
        "oil polyurethane",
        "topcoat",
        Usual((7, 12), (6, 24), 24, (3, 4), (30, 30), coats=3, rub_out=True),
        also=("oil pu",),
        oily=True,
    ),
    Coating(
        "water polyurethane",
        "topcoat",
        Usual((9, 15), (2, 4), 24, (2, 3), (7, 30), coats=3, rub_out=True),
        also=("water pu",),
        sold_as=("water polyurethane 1-part", "water polyurethane 2-part"),
    ),
    Coating("hardwax oil", "topcoat", Usual((20, 30), (4, 24), 24, (3, 5), (7, 14), coats=2), oily=True),
    Coating("hardener", "aid"),
    Coating("thinner", "aid"),
    Coating("riser paint", "paint", Usual((9, 10), (4, 16), 24, (1, 2), (14, 30), coats=2), also=("paint",)),
)
COATINGS: Final[dict[str, Coating]] = {each.kind: each for each in _ALL}
"""Kind -> coating. A dye's figures are a water stain's; times of sealer, gel stain and riser paint are guesses on the
side of waiting; two coats of hardwax oil, three of a film."""


def coating(kind: str) -> Coating:
    """Return the coating of a kind, by any of its names.

    Raises
    ------
    UsageError
        ``"unknown-liquid"``.
    """
    name = " ".join(kind.lower().split())
    for each in COATINGS.values():
        if name in {each.kind, *each.also, *each.sold_as}:
            return each
    raise _unknown(kind)


def stain_bases() -> tuple[str, ...]:
    """Return what a colour step can be based on."""
    return tuple(each.base for each in COATINGS.values() if each.base)


def topcoat_kinds() -> tuple[str, ...]:
    """Return what a recipe's topcoat can be; what is none of these is ``"other"``."""
    return (*(name for each in COATINGS.values() if each.role == "topcoat" for name in each.recorded), "other")


def can_kinds() -> tuple[str, ...]:
    """Return what a can may hold."""
    return (*(name for each in COATINGS.values() for name in each.recorded), "other")


def of_step(section: str, kind: str | None) -> Coating | None:
    """Return the coating of a section of a finish: ``"step"`` by its base, ``"seal"``, ``"topcoat"`` by its kind.

    None where the kind is not known.
    """
    if section == "seal":
        return COATINGS["sealer"]
    if section == "step":
        return next((each for each in COATINGS.values() if kind and each.base == kind), None)
    return next((each for each in COATINGS.values() if each.role == "topcoat" and kind in each.recorded), None)


def _unknown(kind: str) -> UsageError:
    coats = ", ".join(each.kind for each in COATINGS.values() if each.usual is not None)
    return UsageError("unknown-liquid", f"“{kind}” is not a kind of coating.", f"Choose one of: {coats}.")
