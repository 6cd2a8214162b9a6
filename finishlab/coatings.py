"""The coatings and woods of a stair as tables: what is usual of each, which coating holds on which, how wood takes it.

A new kind, or a new wood, is one entry here: recipes, cans, plan, schedule, quantities, cautions and docs/coatings.md
read the tables. The coverages gather what makers' labels give, and they conflict up to threefold, so every figure is a
range. The times are for about 21 C and 50 % relative humidity. No standard or study stands behind either: **common
practice, no source**, unless marked. A label always wins.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final, Literal

from finishlab.errors import UsageError

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
    window_h: float | None = None
    """Hours after which the next coat only holds once this one is rubbed out; None where it always is, or never."""
    air_c: tuple[float, float] = (13, 32)
    """Between which temperatures it is put on, C."""
    most_rh: float = 70
    """Up to which relative humidity, %."""
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
    watery: bool = False
    """Whether it is thinned with water, and so raises the grain of bare wood."""
    hardener: str = ""
    """Which of the kinds it is sold as comes with a hardener to be mixed in."""
    mends: str = ""
    """How a place of it is mended years later."""

    @property
    def is_film(self) -> bool:
        """Whether it can be the last coat of a tread; a stain cannot."""
        return self.role != "stain"

    @property
    def names(self) -> tuple[str, ...]:
        """All names it is found by."""
        return (self.kind, *self.also, *self.sold_as)

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


_DYE: Final = Usual((4, 15), (1, 4), 4, (1, 1), (1, 1), air_c=(10, 30))
_FILM_MENDS: Final = (
    "A film cannot be mended in spots: rub out and coat the whole tread from edge to edge. Recoat it while it is dull "
    "but whole; once it is worn through to the stain, that tread is sanded bare, stained and coated anew."
)
_OIL_MENDS: Final = (
    "An oil can be mended in spots: clean, rub with a fine pad, work in a little of the same oil and wipe off all that "
    "stays wet. Oil the whole stair again when water no longer beads, before the wood turns grey."
)

_ALL: Final = (
    Coating("oil stain", "stain", Usual((5, 15), (6, 24), 24, (1, 3), (1, 3), (24, 72)), base="oil", oily=True),
    Coating("water stain", "stain", _DYE, base="water", watery=True),
    Coating("gel stain", "stain", Usual((7, 10), (12, 24), 24, (1, 3), (1, 3), (24, 72)), base="gel", oily=True),
    Coating("dye", "stain", _DYE, base="dye", watery=True),
    Coating("conditioner", "aid"),
    Coating("sealer", "seal", Usual((10, 15), (2, 4), 24, (1, 3), (7, 30), window_h=24)),
    Coating(
        "oil polyurethane",
        "topcoat",
        Usual((7, 12), (6, 24), 24, (3, 4), (30, 30), coats=3, rub_out=True),
        also=("oil pu",),
        oily=True,
        mends=_FILM_MENDS,
    ),
    Coating(
        "water polyurethane",
        "topcoat",
        Usual((9, 15), (2, 4), 24, (2, 3), (7, 30), coats=3, rub_out=True, air_c=(15, 30)),
        also=("water pu",),
        sold_as=("water polyurethane 1-part", "water polyurethane 2-part"),
        watery=True,
        hardener="water polyurethane 2-part",
        mends=_FILM_MENDS,
    ),
    Coating(
        "hardwax oil",
        "topcoat",
        Usual((20, 30), (4, 24), 24, (3, 5), (7, 14), coats=2, window_h=48),
        also=("hard wax oil",),
        oily=True,
        mends=_OIL_MENDS,
    ),
    Coating(
        "penetrating oil",
        "topcoat",
        Usual((10, 20), (12, 24), 24, (3, 7), (14, 30), coats=3),
        also=("danish oil", "tung oil", "linseed oil"),
        oily=True,
        mends=_OIL_MENDS,
    ),
    Coating("wax", "topcoat", Usual((20, 40), (12, 24), 12, (1, 2), (7, 14)), mends="Wax does not belong on a tread."),
    Coating("hardener", "aid"),
    Coating("thinner", "aid"),
    Coating("riser paint", "paint", Usual((9, 10), (4, 16), 24, (1, 2), (14, 30), coats=2), also=("paint",)),
)
COATINGS: Final[dict[str, Coating]] = {each.kind: each for each in _ALL}
"""Kind -> coating. A dye's figures are a water stain's; those of sealer, gel stain, penetrating oil, wax and riser
paint are guesses on the side of waiting; two coats of hardwax oil, three of a film."""

Verdict = Literal["holds", "wait", "test", "does not hold"]
"""Whether a coat holds on the one below: once that is dry; after a longer wait; perhaps, so test; no."""


@dataclass(frozen=True, slots=True)
class Follow:
    """What happens where one kind lies on another."""

    below: tuple[str, ...]
    """Kinds; empty for all."""
    above: tuple[str, ...]
    verdict: Verdict
    reason: str
    source: str = COMMON

    def covers(self, below: str, above: str) -> bool:
        """Whether it is about this pair."""
        return (not self.below or below in self.below) and (not self.above or above in self.above)


_PENETRATING: Final = ("oil stain", "water stain", "dye")
_FILMS: Final = ("oil polyurethane", "water polyurethane", "sealer")
_OILS: Final = ("hardwax oil", "penetrating oil")

_BARE: Final = "bare wood"

FOLLOWS: Final = (
    Follow(("wax",), (), "does not hold", "nothing holds on wax, not even after sanding, which spreads it"),
    Follow((), ("wax",), "does not hold", "wax makes a tread slippery, and no later coat holds on it"),
    Follow(("hardwax oil",), _OILS, "holds", "oil takes oil while it is clean"),
    Follow(("hardwax oil",), (), "does not hold", "its wax keeps a film, a stain or a paint from holding"),
    Follow(_FILMS, _OILS, "does not hold", "an oil has to soak in; on a closed film it stays tacky and rubs off"),
    Follow(
        _FILMS,
        _PENETRATING,
        "does not hold",
        "a stain has to soak into wood; on a closed film it stays on top, streaks, and the next coat peels with it",
    ),
    Follow(_FILMS, ("gel stain",), "test", "a gel can lie between two films as a glaze, thin and dry through"),
    Follow(
        ("gel stain",), _OILS, "does not hold", "a gel lies on the wood and closes the pores an oil has to soak into"
    ),
    Follow(
        ("oil stain",), _OILS, "test", "a stain with much binder closes the pores; makers of oils ask for their own"
    ),
    Follow(
        ("oil stain", "gel stain"), ("water polyurethane", "sealer"), "wait", "water over fresh oil beads and peels"
    ),
    Follow(
        ("penetrating oil",),
        ("water polyurethane", "sealer"),
        "test",
        "water over oil that is not hard beads and peels",
    ),
    Follow(("penetrating oil",), ("oil polyurethane",), "test", "over oil that is not hard the film stays soft"),
    Follow(("penetrating oil",), (*_PENETRATING, "gel stain"), "does not hold", "oiled pores take no more colour"),
    Follow(
        ("dye", "water stain"),
        ("water polyurethane",),
        "test",
        "water in the first coat lifts a water colour: lay it on without going back, or seal first",
    ),
    Follow(("oil polyurethane",), ("water polyurethane",), "test", "holds only on a hard, rubbed out film"),
    Follow(("water polyurethane",), ("oil polyurethane",), "holds", "once it is dry and rubbed out"),
    Follow(
        ("sealer",), ("oil polyurethane", "water polyurethane"), "holds", "unless it is a shellac with its wax left in"
    ),
    Follow(("riser paint",), (), "test", "a clear coat yellows a light paint, and may not hold on its binder"),
)
"""The first that covers a pair says it; of two stains nothing is said here, see the soft limit of mixed bases."""


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer of a finish: its kind, and the hours it is given before the next, where somebody says."""

    kind: str
    next_h: float | None = None


def follow(below: str, above: str) -> Follow:
    """Return whether one kind holds on another, and why."""
    found = next((each for each in FOLLOWS if each.covers(below, above)), None)
    if found is not None and not (below == above and found.verdict == "test"):
        return found
    return Follow((below,), (above,), "holds", "once the coat below is dry")


def follow_notes(layers: Sequence[Layer]) -> Iterator[str]:
    """Give a sentence with its reason for each two layers that follow one another and should not, or not so soon."""
    for below, above in pairwise((Layer(_BARE), *layers)):
        found = follow(below.kind, above.kind)
        stains = below.kind != _BARE and {COATINGS[each.kind].role for each in (below, above)} == {"stain"}
        if found.verdict == "holds" or stains:
            continue
        words = f"{above.kind} over {below.kind}".capitalize()
        if found.verdict == "does not hold":
            yield f"{words} does not hold: {found.reason}; the label wins."
        elif found.verdict == "test":
            yield f"{words}: {found.reason}; try it on an offcut first; the label wins."
        else:
            usual = COATINGS[below.kind].figures
            least, most = usual.under_other_h or usual.recoat_h
            if below.next_h is None or below.next_h < least:
                yield f"{words}: {found.reason}, so wait {least:g} to {most:g} h; the label wins."


def coating(kind: str) -> Coating:
    """Return the coating of a kind, by any of its names.

    Raises
    ------
    UsageError
        ``"unknown-liquid"``.
    """
    name = " ".join(kind.lower().split())
    for each in COATINGS.values():
        if name in each.names:
            return each
    raise _unknown(kind)


def kind_in(text: str) -> Coating | None:
    """Return the stain or topcoat whose name stands in a text, the longest name first; None where none does."""
    named = [(name, each) for each in COATINGS.values() if each.role in {"stain", "topcoat"} for name in each.names]
    found = [(name, each) for name, each in named if re.search(rf"\b{re.escape(name)}\b", text)]
    return max(found, key=lambda pair: len(pair[0]))[1] if found else None


def stain_bases() -> tuple[str, ...]:
    """Return what a colour step can be based on."""
    return tuple(each.base for each in COATINGS.values() if each.base)


def topcoat_kinds() -> tuple[str, ...]:
    """Return what a recipe's topcoat can be; what is none of these is ``"other"``."""
    return (*(name for each in COATINGS.values() if each.role == "topcoat" for name in each.recorded), "other")


def can_kinds() -> tuple[str, ...]:
    """Return what a can may hold."""
    return (*(name for each in COATINGS.values() for name in each.recorded), "other")


def of_step(section: str, kind: str | None, words: str | None = None) -> Coating | None:
    """Return the coating of a section of a finish: ``"step"`` by its base, ``"seal"``, ``"topcoat"`` by its kind.

    Where no kind is written down it is the one that the section's own words name, as in "walnut oil stain"; None where
    none does.
    """
    if section == "seal":
        return COATINGS["sealer"]
    role = "stain" if section == "step" else "topcoat"
    if kind is None:
        named = kind_in((words or "").casefold())
        return named if named is not None and named.role == role else None
    mine = (each for each in COATINGS.values() if each.role == role)
    return next((each for each in mine if kind == each.base or (not each.base and kind in each.recorded)), None)


def _unknown(kind: str) -> UsageError:
    coats = ", ".join(each.kind for each in COATINGS.values() if each.usual is not None)
    return UsageError("unknown-liquid", f"“{kind}” is not a kind of coating.", f"Choose one of: {coats}.")


FINEST: Final = 220
"""Finest grit before a stain on a wood that is not in the table (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Wood:
    """A wood as a finisher sees it."""

    name: str
    also: tuple[str, ...] = ()
    """Other names, in other languages too."""
    blotches: bool = False
    """Whether a penetrating stain goes on unevenly: it wants a conditioner, a gel, or a test."""
    tannin: Literal["little", "much"] = "little"
    """Much tannin turns grey to black with water and iron, and darkens with anything alkaline."""
    oily: bool = False
    """Whether its own oil keeps a film from drying or holding."""
    finest: int = 180
    """Finest grit before a stain; finer takes less colour."""
    source: str = COMMON


_GROWN: Final = (
    Wood("red oak", ("roteiche",), tannin="much"),
    Wood("white oak", ("weißeiche", "weisseiche"), tannin="much"),
    Wood("oak", ("eiche", "chêne", "roble", "quercia", "eik", "ek"), tannin="much"),
    Wood("ash", ("esche", "frêne", "fresno")),
    Wood("hickory", ("pecan",)),
    Wood("walnut", ("nussbaum", "noyer", "nogal"), tannin="much"),
    Wood("chestnut", ("kastanie", "châtaignier"), tannin="much"),
    Wood("maple", ("ahorn", "érable", "arce"), blotches=True, finest=220),
    Wood("birch", ("birke", "bouleau", "abedul"), blotches=True, finest=220),
    Wood("cherry", ("kirsche", "kirschbaum", "merisier", "cerezo"), blotches=True, tannin="much", finest=220),
    Wood("beech", ("buche", "hêtre", "haya"), blotches=True, finest=220),
    Wood("alder", ("erle", "aulne"), blotches=True, finest=220),
    Wood("poplar", ("aspen", "pappel", "peuplier"), blotches=True, finest=220),
    Wood("pine", ("kiefer", "pin", "pino", "furu"), blotches=True),
    Wood("fir", ("spruce", "hemlock", "douglasie", "fichte", "tanne", "épicéa"), blotches=True),
    Wood("mahogany", ("sapele", "mahagoni", "acajou"), tannin="much"),
    Wood("teak", ("iroko", "teck"), oily=True),
    Wood("rosewood", ("palisander", "cumaru", "ipe"), oily=True),
    Wood("bamboo", ("bambus", "bambou"), blotches=True, finest=220),
)
WOODS: Final[dict[str, Wood]] = {each.name: each for each in _GROWN}
"""Name -> wood."""


def wood_in(text: str | None) -> Wood | None:
    """Return the wood that a text names, the longest name first: ``hard maple`` is maple; None where none is named."""
    words = (text or "").casefold()
    found = [
        (name, each)
        for each in WOODS.values()
        for name in (each.name, *each.also)
        if re.search(rf"\b{re.escape(name)}\b", words)
    ]
    return max(found, key=lambda pair: len(pair[0]))[1] if found else None


_SHEENS: Final[tuple[tuple[str, float], ...]] = (
    (r"semi.?gloss", 65.0),
    (r"(?:extra|ultra|dead).?matte?", 8.0),
    (r"satin|silk|eggshell|semi.?matte?", 32.0),
    (r"matte?|flat", 17.0),
    (r"(?:high.?)?gloss(?:y)?", 80.0),
)
"""Words of sheen and the middle of what is sold under them, gloss units at 60 degrees (common practice)."""


@lru_cache(maxsize=4096)
def sheen_of(text: str | None) -> float | None:
    """Return the gloss units a product's name promises: ``"water-based matte"`` 17; None if it names no sheen."""
    words = (text or "").casefold()
    return next((gloss for pattern, gloss in _SHEENS if re.search(rf"\b(?:{pattern})\b", words)), None)
