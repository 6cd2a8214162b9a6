"""What goes wrong with a finish on a stair, as one table; and how the everyday word for it is found.

A further fault is one entry. All of it is **common practice, no source**, unless marked; the label always wins.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import Final, Literal

from finishlab.cautions import Action
from finishlab.coatings import COMMON
from finishlab.errors import UsageError

__all__ = ["FAULTS", "OLD_CANS", "TRY_FIRST", "YEARLY", "Ask", "Fault", "fault_of", "look_alikes"]

Ask = Literal["coats", "waits", "wood", "neighbours", "colour", "age"]
"""What of the record of a part matters: its coats with product and day, the waits between them and how damp it was, its
wood, the cans its neighbours got, its colour beside theirs, how old it is."""

TRY_FIRST: Final = (
    "Try it on an offcut that was finished the same way, never on the kept board, before you touch a tread."
)
"""Said of every fault."""

OLD_CANS: Final = (
    "Stir, strain and coat a piece of glass or an offcut: what is not dry in the label's time is waste.",
    "A skin on oil is cut out, not stirred in; water products that froze or smell sour are done.",
    "An opened can lasts a year or two, a closed one some more; hardwax oil thickens first. Write the day on it.",
    "A new lot can differ: prove it beside the kept board, and coat whole treads with one lot.",
)
YEARLY: Final = (
    "Vacuum, and wipe with a well wrung cloth: no soap that leaves a film, no polish, no wax.",
    "Once a year, a drop of water on the nosings where feet go: it should bead.",
    "Look in low light along the treads: dull is time for a recoat, bare wood is late.",
    "Measure the same treads in the same light, and write down what was mended, from which can.",
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong."""

    name: str
    also: tuple[str, ...]
    """Everyday words for it."""
    look: str
    unlike: tuple[tuple[str, str], ...]
    """A look-alike, by its name, and how to tell it from this."""
    why: str
    first: tuple[str, ...]
    never: tuple[str, ...]
    finisher: str
    """When to call one."""
    ask: tuple[Ask, ...]
    actions: tuple[Action, ...] = ("sand",)
    products: tuple[str, ...] = ()
    """What the mending takes, for its cautions."""
    source: str = COMMON


_SOLVENT: Final = "mineral spirits"

_ALL: Final = (
    Fault(
        "lap marks",
        (
            "lap mark",
            "laps",
            "overlap",
            "overlaps",
            "streaks",
            "stripes",
            "bands",
            "dark bands",
            "wet edge",
            "stop marks",
        ),
        "darker bands with a straight edge, where wet stain or finish met stain or finish that had begun to set",
        (
            ("blotches", "follow the wood and have no straight edge"),
            ("a tread that differs", "a whole tread is off, end to end, not a band of it"),
        ),
        "the edge dried before the next stroke met it: too large an area at once, warm or moving air, a stop in "
        "mid-tread",
        (
            "In a stain that is still fresh: wipe the whole tread with its own stain, and wipe it off evenly at once.",
            (
                "In a dry oil stain: wet a rag with mineral spirits and even the band out; what stays is under the "
                "surface."
            ),
            (
                "In a topcoat: let it cure, rub the whole tread level with 220 to 320, and coat it from end to end in "
                "one go."
            ),
        ),
        (
            "Do not dab more stain on the lighter places: that makes a second edge.",
            "Do not stop in the middle of a tread.",
        ),
        "the bands go through several treads and stay after one tread was sanded and stained anew",
        ("coats", "waits", "neighbours"),
        products=(_SOLVENT,),
    ),
    Fault(
        "blotches",
        (
            "blotch",
            "blotchy",
            "splotches",
            "uneven stain",
            "uneven colour",
            "patchy",
            "cloudy stain",
            "mottled",
            "spots in stain",
        ),
        "darker and lighter clouds that follow the wood, worst on pine, maple, birch, cherry and at end grain",
        (
            ("lap marks", "have a straight edge where two strokes met"),
            ("white haze", "lies in the topcoat and is milky, not dark"),
        ),
        "some wood drinks more than its neighbour; glue or old finish left on the wood does the same as light spots",
        (
            (
                "Under stain alone: wipe it hard with mineral spirits while it is fresh, which takes the most from the "
                "dark places."
            ),
            "Even the light places with a gel stain over the whole tread, thin, and wipe it off.",
            "Else sand back to bare wood, use a conditioner or a gel, and prove it on an offcut of the same wood.",
        ),
        (
            "Do not stain again over it: dark places get darker too.",
            "Do not coat it and hope: a topcoat shows it more.",
        ),
        "the treads are fitted and more than two of them have to go back to bare wood",
        ("wood", "coats", "neighbours"),
        products=(_SOLVENT, "gel stain"),
    ),
    Fault(
        "too dark",
        ("dark", "darker", "darker than the board", "came out dark", "too brown", "stain too strong"),
        "the whole tread is darker than the kept board, beside it and in the same light",
        (
            ("too red", "is off in hue: about as light as the board, but pinker"),
            ("a tread that differs", "only one tread is off"),
        ),
        "stain left on longer, a coarser last grit, wood that drinks more, a second coat, or an oil topcoat over it",
        (
            (
                "Look again when it is dry and beside the kept board: wet stain is darker, and a dry one without "
                "topcoat lighter."
            ),
            (
                "An oil stain of the last hours comes lighter with a rag and mineral spirits; a dry one comes back by "
                "sanding only."
            ),
            "Before the topcoat, sand lightly and evenly with the last grit, whole tread by whole tread.",
        ),
        ("A stain cannot make it lighter: no white or light stain over it.", "Do not bleach stained oak on the stair."),
        "it is under topcoats already: only bare wood helps then",
        ("colour", "coats", "wood"),
        products=(_SOLVENT,),
    ),
    Fault(
        "too light",
        ("light", "lighter", "pale", "washed out", "stain did not take", "does not take stain", "faded", "no colour"),
        "the whole tread is lighter than the kept board, beside it and in the same light",
        (
            ("a tread that differs", "only one tread is off"),
            ("worn nosing", "is light where feet go, not all over"),
            ("white haze", "is milky and goes when it is wetted"),
        ),
        "a finer last grit, stain wiped too soon, wood that was sealed, waxed or glued over, a can that was not "
        "stirred",
        (
            "Wet it: that is how it looks under a topcoat. Dry stain without one is always paler.",
            "A second thin coat of the same stain, wiped the same, is darker; prove it on the offcut with its topcoat.",
            (
                "Where drops of water bead, something seals the wood: sand it off to the grit of the recipe and stain "
                "again."
            ),
        ),
        (
            "Do not leave stain thick to darken it: it stays soft and the topcoat peels.",
            "Do not mix stain into the last topcoat.",
        ),
        "the colour still differs after sanding to the recipe's grit and one more proof",
        ("colour", "coats", "wood"),
        products=("oil stain",),
    ),
    Fault(
        "too red",
        ("red", "pink", "pinkish", "reddish", "orange", "too warm", "too orange", "too pink"),
        "as light as the kept board but pinker or more orange, most on red oak and under an oil topcoat",
        (
            ("too dark", "is darker, with the hue right"),
            ("too light", "shows more of the wood, and red oak's own is pink"),
        ),
        "the wood's own pink comes through a thin stain; an oil topcoat is amber and adds to it",
        (
            "Compare beside the kept board in daylight and by the lamps of the stair: warm lamps make all wood redder.",
            "A topcoat that stays clear (water) adds less amber than oil: try both over the same stain on an offcut.",
            "A stain with a little green or grey takes red away, and makes it darker: prove it with its topcoat.",
        ),
        ("Do not judge it under one lamp.", "Do not lay a coloured coat over one tread alone."),
        "the whole stair is coated and the colour has to change",
        ("colour", "wood", "coats"),
        products=("oil stain",),
    ),
    Fault(
        "still tacky",
        (
            "tacky",
            "sticky",
            "not dry",
            "does not dry",
            "wont dry",
            "won't dry",
            "soft",
            "gummy",
            "still wet",
            "not drying",
        ),
        "a finger still sticks or leaves its print after the label's time",
        (
            ("peeling", "comes off in skins once it is dry"),
            ("white haze", "is hard, only milky"),
        ),
        "cold, damp or still air; a thick coat; stain not wiped off or not dry below; oily wood; an old can",
        (
            "Wait and give it dry, warm, moving air, 18 to 24 C and under 60 % humidity, for two or three days.",
            "Stain that was left thick: wipe it off with a rag wet with mineral spirits, then let it dry again.",
            "If it is soft after a week, scrape off what comes, clean, and begin that tread from the last sound coat.",
        ),
        (
            "No further coat over it: it seals the soft one in.",
            "No heater or flame beside it: its vapour burns.",
            "Do not sand it: it rolls up.",
        ),
        "it is still soft after two weeks, or it is a two-part finish",
        ("waits", "coats", "wood"),
        actions=("wet stair",),
        products=(_SOLVENT, "oil polyurethane"),
    ),
    Fault(
        "peeling",
        (
            "peels",
            "peel",
            "flaking",
            "flakes",
            "lifting",
            "comes off",
            "delaminating",
            "chipping off",
            "skin comes off",
        ),
        "the coat comes off in skins or flakes, or lifts with a piece of tape",
        (
            ("worn nosing", "is rubbed away, not lifted, and only where feet go"),
            ("fish eyes", "were there from the first hour, as round craters"),
        ),
        "nothing held below: wax or oil, a glossy coat that was not rubbed out, stain left thick, water over fresh oil",
        (
            "Press tape across a cut and pull: what lifts has to go, and its edge does not stop where you see it.",
            "Sand that whole tread down to a coat that holds, or to bare wood; clean; then coat from there.",
            "Write down which coat lifted from which: the next stair depends on it.",
        ),
        (
            "Do not coat over a loose edge.",
            "Do not touch up the flake alone: the rest follows.",
            "No dry sanding of old coatings before a lead test.",
        ),
        "it lifts on more than one tread, or the coat below is old and nobody knows what it is",
        ("waits", "coats"),
        actions=("sand", "strip"),
    ),
    Fault(
        "fish eyes",
        ("fish eye", "fisheyes", "craters", "crawling", "finish pulls away", "beading up", "round holes", "silicone"),
        "small round craters from the first minutes on, in which the coat drew back",
        (
            ("bubbles", "stand up or leave a pin hole, and are smaller"),
            ("dust", "is a grain you can feel, not a hole"),
        ),
        "silicone, wax, oil or soap on the surface: polish, hand cream, a spray used in the room, tack cloths",
        (
            "While it is wet: wipe the coat off at once, and clean with the product's own thinner.",
            "Once it is hard: rub out the whole tread, clean twice with fresh rags, and try a thin coat on one place.",
            "Find the source: polish, lubricant spray or a rag with softener, before the next tread.",
        ),
        ("Do not brush more finish into the holes: they open again.", "No wax, polish or silicone spray in the room."),
        "they come back after cleaning: a barrier coat has to go between",
        ("coats", "waits"),
        products=(_SOLVENT,),
    ),
    Fault(
        "bubbles",
        ("bubble", "blisters", "foam", "pinholes", "pin holes", "air in the finish", "bubbly"),
        "small round bubbles, or the pin holes they leave, spread evenly",
        (
            ("fish eyes", "are wider, flat craters with clean wood or colour below"),
            ("dust", "is a hard grain"),
        ),
        "a shaken can, a roller or brush worked too fast, a thick or warm coat, sun on the tread, air out of open "
        "pores",
        (
            "While it is wet: tip it off lightly with the brush, once.",
            (
                "Once it is hard: rub flat with 220 to 320, vacuum, and coat thinner, from a can that was stirred and "
                "not shaken."
            ),
            "In open pored wood, a thinned first coat or a sealer keeps the air in.",
        ),
        ("Do not shake the can.", "Do not brush again once it sets.", "No heat gun over it: the vapour burns."),
        "they come back on every coat",
        ("coats", "waits"),
    ),
    Fault(
        "dust",
        (
            "dust nibs",
            "nibs",
            "grit in finish",
            "rough",
            "gritty",
            "hair in finish",
            "specks",
            "sandpaper feel",
            "bits",
        ),
        "hard grains that a finger feels and low light shows",
        (
            ("raised grain", "is in lines along the grain and came with the first coat of water"),
            ("bubbles", "are round and hollow"),
        ),
        "dust in the air or on the tread, a dirty brush, dried skin from the can",
        (
            "Between coats: rub out with 220 to 320 by hand, vacuum, wipe with the cloth the label allows, and coat.",
            "On the last coat: once it is cured, rub with a fine grey pad along the grain; it gets a little duller.",
            "Before the next coat: sweep nothing for an hour, damp the floor beside, strain the finish.",
        ),
        ("Do not pick at it while it is wet.", "Do not sand the last coat before it is cured."),
        "the last coat has to stay glossy",
        ("waits", "coats"),
    ),
    Fault(
        "raised grain",
        ("fuzzy", "furry", "fuzz", "hairy", "rough after water", "grain stands up", "whiskers"),
        "rough lines along the grain after the first coat of something with water",
        (
            ("dust", "is in grains, everywhere"),
            ("scratches", "lie below the surface and across the grain"),
        ),
        "water swells cut fibres; they dry standing up",
        (
            "Let it dry through, then take off what stands up with the last grit, lightly, by hand.",
            "Under a water stain: before, wet bare wood, let it dry 2 to 24 h, sand off once, then stain.",
            "Do it on every tread alike: wetted and sanded wood takes less colour.",
        ),
        (
            "Do not sand through the colour at edges and nosings.",
            "No steel wool under anything with water: it leaves rust.",
        ),
        "the colour is sanded through on the nosings of several treads",
        ("coats", "wood"),
    ),
    Fault(
        "white haze",
        (
            "haze",
            "white",
            "milky",
            "cloudy",
            "blush",
            "blushing",
            "white spots",
            "white marks",
            "white rings",
            "foggy",
            "whitish",
        ),
        "a milky veil or white spots in or on the coat",
        (
            ("blotches", "are dark and in the wood"),
            ("scratches", "are lines, white only where the light falls on them"),
            ("still tacky", "is soft"),
        ),
        "damp caught in or under the coat, a coat too early over one that was not dry, rub-out dust left on, soap or "
        "wax",
        (
            "Wipe with a damp cloth: if it goes and comes back, it is dust or soap on top; clean it and look again.",
            "Give it dry, warm air for some days: damp in a thin coat often leaves by itself.",
            "What stays: rub out the whole tread and coat again on a dry day; deep haze goes back to the sound coat.",
        ),
        ("Do not coat over it: it is locked in.", "No iron, hair dryer or heat gun on a film."),
        "it stays after a week, or lies below the stain",
        ("waits", "coats"),
    ),
    Fault(
        "scratches",
        (
            "scratch",
            "scratched",
            "swirls",
            "sanding marks",
            "sanding scratches",
            "pigtails",
            "dog scratches",
            "gouge",
            "dent",
        ),
        "lines in the coat, or dark ones in the colour that came from sanding",
        (
            ("raised grain", "stands up along the grain"),
            ("worn nosing", "is a dull or bare place, not lines"),
        ),
        "in the colour: a grit skipped, or sanding across the grain; in the coat: grit under a shoe, a claw, furniture",
        (
            (
                "White and in the coat only: an oiled tread takes a little of its oil; a film is rubbed out and "
                "coated, whole."
            ),
            "Into the colour: the recipe's stain into the scratch with a fine brush, wiped at once, then the topcoat.",
            "Dark swirls under stain: sand with the last two grits along the grain, the whole tread, and stain again.",
        ),
        (
            "No wax stick or polish on a tread: nothing holds on it later.",
            "Do not sand a patch in the middle of a film.",
        ),
        "they go through the colour on more than a few treads",
        ("age", "coats"),
    ),
    Fault(
        "worn nosing",
        (
            "worn",
            "worn through",
            "wear",
            "bare nosing",
            "worn edge",
            "traffic wear",
            "grey tread",
            "dull in the middle",
            "worn tread",
        ),
        "dull, then lighter or grey where feet go, at the front edge first",
        (
            ("too light", "is all over"),
            ("peeling", "leaves an edge of film that lifts"),
        ),
        "the film or oil is walked away; grey means that water reaches the wood",
        (
            (
                "Put a drop of water on it: if it beads, the coat is there and a recoat is enough; if the wood "
                "darkens, it is bare."
            ),
            "Dull but whole: clean, rub out the whole tread and give it one coat more of the same.",
            "Bare or grey: that tread is sanded to bare wood, stained and coated by its recipe.",
        ),
        (
            "Do not recoat over polish or soap.",
            "Do not wait: a recoat is a day, sanding bare is a week.",
            "Do not make nosings glossy.",
        ),
        "more than a third of the treads are bare, or the nosing is worn round",
        ("age", "coats"),
        actions=("sand", "strip"),
    ),
    Fault(
        "a tread that differs",
        (
            "differs",
            "different tread",
            "one tread",
            "odd tread",
            "does not match",
            "neighbours",
            "neighbors",
            "mismatch",
            "tread stands out",
            "one step looks different",
        ),
        "one tread is lighter, darker or of another hue than those beside it, under the same lamp",
        (
            ("blotches", "are within one tread"),
            ("lap marks", "are bands within one tread"),
            ("too dark", "all treads are off the board, and alike"),
        ),
        "another board or wood, another lot of stain, another grit or wiping time, one coat more, turned end for end",
        (
            "Turn it end for end if it is loose: wood changes with direction.",
            "Compare the record of both treads: wood, can and lot, grit, day, coats; one of these is nearly always it.",
            "Move it to the top or to a closet step, or sand and finish that tread by the recipe from the same can.",
        ),
        ("Do not stain the others to match it.", "Do not judge it before its topcoats are on and dry."),
        "it is fitted and glued, and differs in its wood",
        ("neighbours", "colour", "coats", "wood"),
    ),
)

FAULTS: Final[dict[str, Fault]] = {each.name: each for each in _ALL}
"""Name -> fault."""

_LIKE: Final = 0.78
"""Likeness of two words from which one is taken for a slip of the other (`difflib`'s ratio). This tool's own."""


def fault_of(text: str) -> Fault:
    """Return the fault that everyday words mean.

    The name itself, else the longest name or word of it that stands in the text, else one that is a slip away.

    Raises
    ------
    UsageError
        ``"unknown-fault"``, with those that are like it.
    """
    words = " ".join(re.findall(r"[a-z']+", text.casefold()))
    named = {name: each for each in FAULTS.values() for name in (*each.also, each.name)}
    found = [name for name in named if re.search(rf"\b{re.escape(name)}\b", words)]
    if found:
        return named[max(found, key=len)]
    near = difflib.get_close_matches(words, named, n=3, cutoff=_LIKE)
    if near and len({named[name].name for name in near}) == 1:
        return named[near[0]]
    like = difflib.get_close_matches(words, named, n=3, cutoff=0.5)
    meant = list(dict.fromkeys(named[name].name for name in like))
    hint = f"Did you mean: {', '.join(meant)}?" if meant else f"Choose one of: {', '.join(FAULTS)}."
    raise UsageError("unknown-fault", f"“{text}” is not a fault that is known here.", hint)


def look_alikes(fault: Fault) -> tuple[tuple[Fault, str], ...]:
    """Return what is easily taken for a fault, and how to tell."""
    return tuple((FAULTS[name], how) for name, how in fault.unlike)
