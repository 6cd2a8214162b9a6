"""The registry of cautions: what can hurt somebody, in a short text for the moment of use and a long one for paper.

One place serves commands, plan, page and docs. A caution never replaces a label, a safety data sheet, the local code
or a licensed person; each says so where it matters, and `DEFERS` says it for all.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final, Literal, get_args

__all__ = ["ACTIONS", "CAUTIONS", "DEFERS", "Action", "Caution", "cautions_for", "due"]

DEFERS: Final = (
    "Read the label and the safety data sheet: they win over anything said here. "
    "Where the local code or a licensed person has a say, they decide."
)

Action = Literal["apply", "sand", "strip", "wet stair", "fit", "choose sheen", "dispose"]
ACTIONS: Final[tuple[Action, ...]] = get_args(Action)
"""What can be done: give a coat, sand bare wood or rub out, take an old coating off, coat treads in place, take treads
out and fit new ones, choose a sheen, throw away."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One kind of caution.

    Parameters
    ----------
    code
        Stable machine-readable name.
    title
        A few words.
    short
        One or two sentences for the moment of use.
    long
        The whole of it, for the plan and the report.
    source
        Who says so; "common practice, no source" where nobody does.
    """

    code: str
    title: str
    short: str
    long: str
    source: str

    @property
    def spoken(self) -> str:
        """The short text as one line for the moment of use: ``Caution: rags with oil ...``."""
        return f"Caution: {self.short[:1].lower()}{self.short[1:]}"

    def as_dict(self) -> dict[str, str]:
        """Return the JSON form."""
        return {name: getattr(self, name) for name in ("code", "title", "short", "long", "source")}


_KINDS: Final = (
    Caution(
        "oily-rags",
        "Oily rags",
        "Rags with oil or oil stain can catch fire by themselves; dry them flat outdoors, never in a pile. "
        "The label and the safety data sheet win.",
        "Rags, pads and sanding dust soaked with oil or oil stain can catch fire by themselves. Never leave them in a "
        "pile: dry them flat or hung outdoors, away from buildings, then store them in a tight metal can with water. "
        "Ask your community how to dispose of them.",
        "National Fire Protection Association, safety tip sheet on oily rags",
    ),
    Caution(
        "vapour",
        "Vapour",
        "Solvent vapour burns and harms: no flame, pilot light or boiler near it, and air from two sides.",
        "Solvent vapour burns and harms: no flame, pilot light, boiler or spark near it, and air from two sides until "
        "the smell is gone. A dust mask is no vapour mask; the label says which one is. Children, pets and people with "
        "weak lungs stay away.",
        "National Fire Protection Association, safety tip sheet on oily rags (flammable vapour); safety data sheets",
    ),
    Caution(
        "hardener",
        "Two-part finishes",
        "A two-part finish with a hardener is for trained people with the right protection; a dust mask is none.",
        "Hardeners of two-part finishes often hold isocyanates, which can make lungs and skin oversensitive for life. "
        "Leave them to trained people with the protection the safety data sheet names; a dust mask is none.",
        "Regulation (EU) 2020/1149 (REACH, annex XVII, entry 74: training before professional use); safety data sheets",
    ),
    Caution(
        "wood-dust",
        "Wood dust",
        "Wood dust, oak above all, causes cancer: extract it, and wear an N95 or P100 mask that fits.",
        "Wood dust causes cancer (IARC group 1), and oak's is among the worst: sand with extraction, wear an N95 or "
        "P100 mask that fits, and vacuum instead of sweeping. Dust in a bag can burn: empty it outdoors each day.",
        "International Agency for Research on Cancer, Monographs volume 100C (wood dust); the rest common practice",
    ),
    Caution(
        "lead-paint",
        "Old coatings",
        "In a home built before 1978 take old coatings for lead paint until tested: no dry sanding, scraping or heat.",
        "In a home built before 1978 treat old coatings as lead paint until they are tested: no dry sanding, scraping "
        "or heat. A test kit or a laboratory tells; certified renovators know how to remove them. Other countries "
        "stopped lead at other dates.",
        "US Environmental Protection Agency, Renovation, Repair and Painting rule (40 CFR part 745)",
    ),
    Caution(
        "blocked-stairs",
        "Wet or missing treads",
        "Block the stair at top and bottom while treads are wet or missing, keep another way out, no children or pets.",
        "A wet or missing tread is a fall. Block the stair at top and bottom, mark the safe treads so that they "
        "are seen at night, keep another way out in case of fire, and keep children and pets away. Never leave a step "
        "open or loose.",
        "common practice, no source",
    ),
    Caution(
        "slip",
        "Slip and sheen",
        "High gloss is slippery on a stair. An anti-slip additive changes the look: put it on the test board too.",
        "High gloss is slippery on a stair, in socks above all; a lower sheen or an anti-slip additive helps. An "
        "additive changes the look, so put it on the test board too. Wax and polish never belong on a tread.",
        "common practice, no source",
    ),
    Caution(
        "disposal",
        "Leftovers and waste",
        "Oil products and solvents are household hazardous waste: never down a drain.",
        "Oil products and solvents are household hazardous waste: never down a drain, nor on the ground. Keep what is "
        "left closed in their own cans with the labels on, and ask your community where to take the rest.",
        "US Environmental Protection Agency, household hazardous waste",
    ),
)

CAUTIONS: Final[dict[str, Caution]] = {each.code: each for each in _KINDS}
"""Code -> caution, the gravest first."""

# Gel stains are mostly oil under another name (common practice, no source).
_OILY: Final = re.compile(r"\boil|oil\b|linseed|\btung\b|\balkyd|\bdanish\b|(?<!water )(?<!water-based )\bgel stain")
_SOLVENT: Final = re.compile(r"solvent|spirit|thinner|lacquer|shellac|varnish|naphtha")
_WATER: Final = re.compile(r"\bwater|\bacrylic|\blatex")
_HARDENER: Final = re.compile(r"hardener|two[- ]part|2[- ]part|\b2k\b|isocyanate|catalys|conversion")
_GLOSS: Final = re.compile(r"gloss")


def cautions_for(products: Iterable[str | None], actions: Iterable[Action] = ("apply",)) -> tuple[Caution, ...]:
    """Return the cautions that products and actions call for, in the registry's order.

    A name that says nothing (``walnut``) calls for none of the product's own; the label does.

    Parameters
    ----------
    products
        Names as people write them: kind, maker, sheen; None is left out.
    actions
        What is done.
    """
    codes: set[str] = set()
    for product in products:
        codes |= _of_product((product or "").casefold())
    wanted = set(actions)
    if not wanted & {"apply", "dispose"}:
        codes &= {"slip"}
    codes |= {code for action, found in _BY_ACTION.items() if action in wanted for code in found}
    return tuple(caution for code, caution in CAUTIONS.items() if code in codes)


def due(kinds: Iterable[str], shown_today: Collection[str]) -> tuple[Caution, ...]:
    """Return the cautions of these codes that were not shown yet today, in the registry's order.

    Raises
    ------
    KeyError
        If a code is not in the registry.
    """
    wanted = [CAUTIONS[code].code for code in kinds]
    return tuple(caution for code, caution in CAUTIONS.items() if code in wanted and code not in shown_today)


_BY_ACTION: Final[dict[Action, tuple[str, ...]]] = {
    "sand": ("wood-dust",),
    "strip": ("wood-dust", "lead-paint"),
    "wet stair": ("blocked-stairs",),
    "fit": ("blocked-stairs", "lead-paint"),
    "choose sheen": ("slip",),
    "dispose": ("disposal",),
}


def _of_product(name: str) -> set[str]:
    codes: set[str] = set()
    if _OILY.search(name):
        codes |= {"oily-rags", "vapour", "disposal"}
    if _SOLVENT.search(name) and not _WATER.search(name):
        codes |= {"vapour", "disposal"}
    if _HARDENER.search(name):
        codes |= {"hardener", "vapour"}
    if _GLOSS.search(name):
        codes |= {"slip"}
    return codes
