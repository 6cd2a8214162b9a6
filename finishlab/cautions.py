"""The registry of cautions: what can hurt somebody, in a short text for the moment of use and a long one for paper.

One place serves commands, plan, page and docs. A caution never replaces a label, a safety data sheet, the local code
or a licensed person; each says so where it matters, and `DEFERS` says it for all.

Which cautions a product calls for is told by the words people write, in the everyday names of several languages. A
stain, varnish or polyurethane of which nobody says what it is made of counts as oil: a caution too many costs a line,
one too few a house.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from finishlab.coatings import kind_in

DEFERS: Final = (
    "Read the label and the safety data sheet: they win over anything said here. "
    "Where the local code or a licensed person has a say, they decide."
)

Action = Literal["apply", "sand", "strip", "wet stair", "fit", "take up", "raise", "choose sheen", "dispose"]
"""What can be done: give a coat, sand bare wood or rub out, take an old coating off, coat treads in place, take treads
out and fit new ones, take up or cover an old floor, make treads higher, choose a sheen, throw away."""


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
        "stripper",
        "Paint strippers",
        "A stripper burns skin and eyes, and vapours of some kill in a closed room: outdoors, gloves and goggles, "
        "never with dichloromethane.",
        "Paint strippers burn skin and eyes. Vapour of dichloromethane (methylene chloride) has killed people in "
        "closed rooms; it is no longer sold to consumers in many countries. Work outdoors or in a draught, with the "
        "gloves and goggles the safety data sheet names, and take the coating for lead paint until it is tested. "
        "Rinse or neutralise as the label says before any stain.",
        "Regulation (EC) 1907/2006 (REACH, annex XVII, entry 59) and US 40 CFR part 751 (dichloromethane), from memory",
    ),
    Caution(
        "bleach",
        "Wood bleach",
        "Never mix bleaches, nor with ammonia, acid or another cleaner; gloves and goggles, and do not sand the dry "
        "residue.",
        "Chlorine bleach with acid or ammonia gives poisonous gas, two-part wood bleach is lye and strong peroxide, "
        "and oxalic acid is poisonous, its dust above all. One product at a time, gloves and goggles, rinse until "
        "nothing is left, and do not sand before that. Rags with peroxide can catch fire too: rinse them.",
        "safety data sheets; the rest common practice, no source",
    ),
    Caution(
        "gloves",
        "Skin and eyes",
        "Wear the gloves the safety data sheet names, goggles where it can splash; thin disposable gloves hold "
        "solvents for minutes.",
        "Oils, solvents, strippers and hardeners go through the skin or make it oversensitive. Wear gloves of the "
        "material the safety data sheet names, change them when they are wet, and goggles where something can splash. "
        "Never clean your hands with thinner.",
        "safety data sheets; the rest common practice, no source",
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
        "asbestos",
        "Old floor coverings",
        "Old vinyl, its backing and black adhesive can hold asbestos: do not sand, scrape, break or heat them; have "
        "them tested first.",
        "Vinyl and linoleum of the last century, their felt backing and black or dark adhesive can hold asbestos, on "
        "old treads too. Do not sand, scrape, break, heat or sweep them dry: have a laboratory test a piece first, "
        "and leave what holds it alone or to licensed people. Covering it whole is often allowed; your authority says.",
        "US Environmental Protection Agency, on asbestos in floor tiles, backing and adhesives (from memory)",
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
        "handrail",
        "Higher treads",
        "Higher treads make handrail and guard lower: measure both again from the new nosings; the local code decides.",
        "Where treads become higher, the handrail and the guard become lower by as much. Measure both from the line "
        "of the new nosings; 34 to 38 in (864 to 965 mm) for a handrail and 34 in for a guard on a stair are often "
        "quoted. The local code and the inspector decide; editions and amendments differ.",
        "International Residential Code (US model code), 2018, sections R311.7.8 and R312.1 (from memory)",
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

AT_EVERY_COAT: Final = frozenset({"oily-rags"})
"""Said at every coat that is logged, not once a day: the rags of the evening are others than those of the morning."""

_OIL: Final = ("oily-rags", "vapour", "gloves", "disposal")
_SOLVENT: Final = ("vapour", "gloves", "disposal")
_WORDS: Final = {
    # English; German; French, Spanish, Italian, Portuguese; Dutch, the Nordic languages, Polish.
    re.compile(
        r"\boils?\b|\boil[- ]|\boilf|(?:wax|hard|nut|tung|seed|teak|wood|floor|deck|worktop)oil\b|linseed|\btung\b"
        r"|\balkyd|\bdanish\b|öl\b|\böl|(?<![a-z])oel|(?:lein|hart|wachs|holz|nuss|tung)oel|firnis\b"
        r"|\bhuile|\baceite|\bolio\b|\bóleo|\w*olie\b|\w*olja\b|\w*olje\b|\bolej"
    ): _OIL,
    re.compile(
        r"solvent|spirit|\bthinner|lacquer|shellac|naphtha|turpentine|\bturps\b|acetone|\baceton\b|toluene|xylene|"
        r"kerosene|nitrocell|ethyl ketone|\bmek\b|lighter fluid|acquaragia|benzine?\b|gasoline|petrol|brush cleaner|"
        r"pinselreiniger|\blaca\b|paste wax|nitrolack|schellack|terpentin|verdünn|verduenn|diluant|térébenthine|"
        r"aguarrás|trementina|moisture[- ]cur"
    ): _SOLVENT,
    re.compile(r"\balcohol|\balkohol|\balcool|ethanol|isopropyl|methylated|\bmeths\b"): _SOLVENT,
    re.compile(
        r"hardener|\b(?:two|2)[- ](?:part|pack|component)\b|\b2[- ]?k\b|isocyanate|cataly[sz]|crosslink|conversion"
        r"|moisture[- ]cur|\bepox|härter|haerter|zweikomponenten|durcisseur|endurecedor|indurente|verharder"
        r"|activator|aktivator|polyaspart|polyurea|\ba ?[+/] ?b\b|bi[- ]compo"
    ): ("hardener", "vapour", "gloves"),
    re.compile(
        r"gloss(?!ar)|\bglanz|brillant|hochglänzend|\bwax(?:es)?\b(?![ -]?oil)|beeswax|wachs\b(?!-?öl)|\bcera\b|"
        r"\bpolish\b|(?<!huile[ -])\bcire\b"
    ): ("slip",),
    re.compile(
        r"stripper|paint remover|varnish remover|finish remover|methylene chloride|dichloromethane|caustic soda"
        r"|abbeizer|décapant|decapante|sverniciatore|afbijt"
    ): ("stripper", "vapour", "gloves", "disposal"),
    re.compile(
        r"\bbleach\b|bleaching|\bperoxide|oxalic|\blye\b|ammonia|bleichmittel|holzbleiche|peroxid\b|oxalsäure|javel"
        r"|\blejía|wood brightener|hypochlor|sodium hydroxide|natronlauge"
    ): ("bleach", "gloves"),
}
"""What a word calls for (the everyday names are common practice, no source)."""
_UNKNOWN: Final = re.compile(
    r"\bstains?\b|\bgel\b|polyurethan|urethane|\bpoly\b|\bpu\b|varnish|\benamel|beize\b|lasur|\w*lac?k\b|\w*lakk|"
    r"lakier|\besmalte|bejca|beis\b|\bvernis\b|\bbarniz|\bvernice|\bverniz|teinture|\blasure|\bbeits|\bbejdse|\blazuur|"
    r"poliuretano|\bmordente"
)
"""What is oil, unless it says what else it is: gel stains too are mostly oil under another name (common practice)."""
_WATER: Final = re.compile(
    r"\bwater(?!proof|[- ]?(?:resist|repel|tight|white|clear))|waterborne|\bacryl|\blatex|wasser|\baqua|\bacqua(?!r)|"
    r"à l.eau|al agua|\baquos|\bvann|\bvatten|\bhydro"
)
_OTHER_BASE: Final = re.compile(
    r"spirit|alcohol|shellac|schellack|lacquer|nitro|moisture[- ]cur|\bdye\b|\bmilk\b|stripper|remover|abbeizer|"
    r"décapant"
)
_NOT_SO: Final = re.compile(
    r"\b[a-zäöü]+[- ]free\b|\bfree (?:of|from) \w+|\bnon[- ]\w+|\b(?:no|without|never|ohne|kein\w*|sans|sin|"
    r"senza) (?:added )?\w+|\blow[- ]gloss|\bstain[- ](?:remover|resistan\w*|repellent|block\w*)|\b(?:tea|coffee|"
    r"vinegar)\b[\w ]* stain|\boil soap|\boil[- ]rubbed bronze|\bdanish soap|\b\w+(?:urethane?|urethan)[- ](?:adhesive|"
    r"glue|foam|kleber)|\b(?:oil|gas)[- ](?:lamp|burner|heater|boiler|tank)"
)
"""Words that say what a thing is not, or is not about."""
_RATIO: Final = re.compile(r"\b(?:\w+)[- ]parts? (?:of )?(?:\w+ ){1,3}(?:to|and|with|\+)? ?(?:\w+)[- ]parts?\b")
"""``two parts walnut to one part honey``: a mix, not a hardener."""


def cautions_for(products: Iterable[str | None], actions: Iterable[Action] = ("apply",)) -> tuple[Caution, ...]:
    """Return the cautions that products and actions call for, in the registry's order.

    A name that says nothing (``walnut``) calls for none of the product's own; the label does. ``walnut stain`` counts
    as oil, since it does not say what else it is.

    Parameters
    ----------
    products
        Names as people write them, all that is known of one product in one text: kind, maker, sheen; None is left out.
    actions
        What is done.
    """
    codes: set[str] = set()
    for product in products:
        codes |= _of_product(product or "")
    wanted = set(actions)
    if not wanted & {"apply", "dispose"}:
        codes &= {"slip"}
    codes |= {code for action, found in _BY_ACTION.items() if action in wanted for code in found}
    return tuple(caution for code, caution in CAUTIONS.items() if code in codes)


_BY_ACTION: Final[dict[Action, tuple[str, ...]]] = {
    "sand": ("wood-dust",),
    "strip": ("wood-dust", "lead-paint"),
    "wet stair": ("blocked-stairs",),
    "fit": ("blocked-stairs", "lead-paint"),
    "take up": ("asbestos",),
    "raise": ("handrail",),
    "choose sheen": ("slip",),
    "dispose": ("disposal",),
}


def _of_product(text: str) -> set[str]:
    """Return the codes that all words of one product call for."""
    whole = unicodedata.normalize("NFC", text).casefold()
    name = _RATIO.sub(" ", _NOT_SO.sub(" ", whole))
    codes = {code for pattern, found in _WORDS.items() if pattern.search(name) for code in found}
    kind = kind_in(name)
    watery = _WATER.search(name) is not None
    oily = kind.oily if kind is not None else _UNKNOWN.search(name) is not None and not _OTHER_BASE.search(name)
    if oily and not watery:
        codes |= set(_OIL)
    if watery and "oily-rags" not in codes and not codes & {"hardener", "stripper"} and not _ALCOHOL.search(name):
        codes -= set(_SOLVENT) - ({"gloves"} if "bleach" in codes else set())
    if _NO_SOLVENT.search(whole):
        codes.discard("vapour")
    return codes


_ALCOHOL: Final = re.compile(r"alcohol|alkohol|alcool|ethanol|isopropyl|methylated")
_NO_SOLVENT: Final = re.compile(
    r"solvent[- ]free|without solvent|no solvent|lösemittelfrei|loesemittelfrei|sans solvant"
)
