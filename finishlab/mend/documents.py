"""What goes wrong with a finish on a stair, what the record of a part says of it, and the care of a stair years later.

The faults are one table, `faults.toml`: a further one is one entry there. All of it is **common practice, no source**,
unless marked; the label always wins. The record says products and days, waits and damp, wood, neighbours, colour, age.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from finishlab.cautions import Action, Caution, cautions_for
from finishlab.coatings import COATINGS, COMMON, Coating, follow, wood_in
from finishlab.errors import UsageError
from finishlab.finish import Finish
from finishlab.show.document import (
    Block,
    Column,
    Document,
    Line,
    Listing,
    Paragraph,
    Table,
    caution_blocks,
    caution_data,
)
from finishlab.stair.documents import PartShown
from finishlab.stair.progress import Progress, can_words, deviations, held_by, hours_between, recipe_of

if TYPE_CHECKING:
    from finishlab.recipe import Label
    from finishlab.stair.records import Conditions, StoredEvent, StoredPart, StoredStair


Ask = Literal["coats", "waits", "wood", "neighbours", "colour", "age"]
"""What of the record of a part matters: its coats with product and day, the waits between them and how damp it was, its
wood, the cans its neighbours got, its colour beside theirs, how old it is."""


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


def _read(text: str) -> tuple[str, tuple[str, ...], tuple[str, ...], dict[str, Fault]]:
    table = tomllib.loads(text)
    faults = (Fault(**{name: _frozen(value) for name, value in each.items()}) for each in table["fault"])
    found = {each.name: each for each in faults}
    return table["try_first"], _frozen(table["old_cans"]), _frozen(table["yearly"]), found


def _frozen(value: Any) -> Any:  # noqa: ANN401 - of TOML
    if isinstance(value, dict):
        return tuple(value.items())
    return tuple(value) if isinstance(value, list) else value


TRY_FIRST, OLD_CANS, YEARLY, FAULTS = _read(Path(__file__).with_name("faults.toml").read_text(encoding="utf-8"))
"""What is said of every fault; of old cans; what is done each year; and name -> fault."""

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


_YEAR: Final = 365.25
_TOLD_BY_WAITS: Final = frozenset({"air", "damp", "too-soon", "window-closed"})


@dataclass(frozen=True, slots=True)
class PartRecord:
    """One part with all that was logged of it and of those beside it."""

    stair: StoredStair
    part: StoredPart
    shown: Mapping[int, PartShown]
    progress: Mapping[int, Progress]
    day: dt.date
    """Today."""

    @property
    def words(self) -> str:
        """What it is called."""
        return self.stair.words(self.part)

    @property
    def finish(self) -> Finish:
        """The finish of its recipe; an empty one where it has none."""
        recipe = recipe_of(self.stair, self.part, self.progress[self.part.ident])
        return Finish() if recipe is None else recipe.finish

    @property
    def coats(self) -> list[StoredEvent]:
        """Its coats since its wood was last sanded, in their order."""
        return self.coats_of(self.part)

    def coats_of(self, part: StoredPart) -> list[StoredEvent]:
        """Return the coats of any part."""
        known = self.progress[part.ident]
        coats = [event for events in known.coats.values() for event in events]
        return sorted(coats, key=lambda event: (event.date, event.ident))

    def kind(self, event: StoredEvent) -> Coating | None:
        """Return what a coat is of: as its can says, else as the recipe; None where neither does."""
        can = self.stair.can_of(event)
        if can is not None:
            return held_by(can)
        if event.step == "seal":
            return COATINGS["sealer"]
        said = self.finish.steps[(event.coat or 1) - 1 :][:1] if event.step == "stain" else (self.finish.topcoat,)
        return next((section.coating for section in said if section is not None), None)

    @property
    def last_kind(self) -> Coating | None:
        """What its last coat is of; as its recipe ends where none is logged."""
        if self.coats:
            return self.kind(self.coats[-1])
        top = self.finish.topcoat
        return None if top is None else top.coating

    def says(self, fault: Fault) -> list[str]:
        """Return what matters of it for a fault, a sentence each; what was not written down is named too."""
        told = [line for ask in fault.ask for line in _SAYS[ask](self)]
        # What the waits say in full is not said a second time as a deviation.
        known = _TOLD_BY_WAITS if "waits" in fault.ask else frozenset()
        mine = {event.ident for event in self.coats}
        return told + [
            f"not as planned: {each.sentence}"
            for each in deviations(self.stair)
            if each.part == self.part.ident and each.event in mine and each.code not in known
        ]


def _ago(record: PartRecord, day: dt.date) -> str:
    days = (record.day - day).days
    if days < 1:
        return "today"
    if days < 2 * _YEAR:
        return f"{days} day{'' if days == 1 else 's'} ago"
    return f"{days / _YEAR:.0f} years ago"


def _coats(record: PartRecord) -> Iterator[str]:
    for event in record.coats:
        kind, can = record.kind(event), can_words(event.batch_number, record.stair.cans)
        what = f" ({kind.kind})" if kind is not None else ""
        odd = f"; not as the recipe: {event.deviation}" if event.deviation else ""
        odd += f"; {words}" if (words := event.conditions.in_words) else ""
        note = f"; {event.note}" if event.note else ""
        from_ = f" from {can}" if can else ", its can not written down"
        yield f"{event.what}{what} on {event.date}, {_ago(record, event.date)}{from_}{odd}{note}"
    if not record.coats:
        yield "no coat of it is logged"


def _waits(record: PartRecord) -> Iterator[str]:
    for below, above in pairwise(record.coats):
        yield from _wait(record, below, above)
    yield from _damp(record)


def _wait(record: PartRecord, below: StoredEvent, above: StoredEvent) -> Iterator[str]:
    """Hold the days between two coats against the label of the lower one, or what is usual; and whether they hold."""
    kinds, label = (record.kind(below), record.kind(above)), record.stair.label_of(below)
    days, (least, most) = (above.date - below.date).days, hours_between(below, above)
    words = f"{above.what} came {'the same day as' if days == 0 else f'{days} d after'} {below.what}"
    wanted = _least_hours(kinds, label)
    if wanted is not None:
        hours, who = wanted
        exact = least == most
        soon = most < hours if exact else most <= hours
        after = f", {most:g} h" if exact else ""
        yield f"{words}{after}; {who} at least {hours:g} h{', so too soon' if soon else ''}"
    if label is not None and label.recoat_within_h is not None and least > label.recoat_within_h:
        yield f"{words}, after the {label.recoat_within_h:g} h its label allows without a rub-out"
    if kinds[0] is not None and kinds[1] is not None:
        found = follow(kinds[0].kind, kinds[1].kind)
        if found.verdict in {"does not hold", "test"}:
            yield f"{kinds[1].kind} over {kinds[0].kind}: {found.reason} ({found.source})"


def _least_hours(kinds: tuple[Coating | None, Coating | None], label: Label | None) -> tuple[float, str] | None:
    other = kinds[0] is not kinds[1]
    asked = None if label is None else label.next_coat_h(another=other)
    if asked is not None:
        return asked, "its label asks for"
    if kinds[0] is None or kinds[0].usual is None:
        return None
    usual = kinds[0].usual
    return ((usual.under_other_h if other else None) or usual.recoat_h)[0], f"usual ({COMMON}) are"


def _damp(record: PartRecord) -> Iterator[str]:
    """Say how warm and damp it was at each coat, and as the recipe has it, beside what the kind wants."""
    told = False
    for event in record.coats:
        kind, air = record.kind(event), _air(event.conditions.air_c, event.conditions.rh_percent)
        if air:
            told = True
            yield f"{event.what} went on at {air}{_beyond(kind, event.conditions)}"
    for number, step in enumerate(record.finish.steps, start=1):
        air = _air(step.air_c, step.rh_percent)
        if air:
            told = True
            yield f"its recipe was made at {air} (step {number})"
    last = record.last_kind
    if last is not None and last.usual is not None:
        low, high = last.usual.air_c
        damp = f"at most {last.usual.most_rh:g} % humidity"
        yield f"{last.kind} wants {low:g} to {high:g} C and {damp} ({last.usual.source})"
    if not told:
        yield "how warm and damp the air was is not written down"


def _air(air_c: float | None, rh_percent: float | None) -> str:
    air = [f"{air_c:g} C"] if air_c is not None else []
    return " and ".join([*air, *([f"{rh_percent:g} % humidity"] if rh_percent is not None else [])])


def _beyond(kind: Coating | None, given: Conditions) -> str:
    """Return in what a day was beyond what a kind wants."""
    if kind is None or kind.usual is None:
        return ""
    (low, high), damp = kind.usual.air_c, kind.usual.most_rh
    found = ["too cold"] if given.air_c is not None and given.air_c < low else []
    found += ["too warm"] if given.air_c is not None and given.air_c > high else []
    found += ["too damp"] if given.rh_percent is not None and given.rh_percent > damp else []
    return f": {' and '.join(found)} for {kind.kind} ({kind.usual.source})" if found else ""


def _wood(record: PartRecord) -> Iterator[str]:
    species = record.part.record.species
    wood = wood_in(species)
    if species is None:
        yield "its wood is not written down"
    elif wood is None:
        yield f"its wood is {species}"
    else:
        words = [f"its wood is {species}"]
        words += ["takes stain in blotches"] if wood.blotches else []
        words += ["has much tannin, which water and iron turn grey"] if wood.tannin == "much" else []
        words += ["has an oil of its own"] if wood.oily else []
        yield f"{', '.join(words)} ({wood.source})"
    grits, finest = record.finish.preparation.grits, None if wood is None else wood.finest
    if grits:
        fine = f", finer than the {finest} that still takes stain" if finest is not None and grits[-1] > finest else ""
        yield f"its recipe sands it to {grits[-1]}{fine}"


def _neighbours(record: PartRecord) -> Iterator[str]:
    """Say in what the parts beside it differ: wood, recipe, number of coats, can and lot, day."""
    name = record.part.name
    here = _marks(record, record.part)
    beside = [
        part
        for part in record.stair.parts
        if part.name.kind == name.kind and part.name.level == name.level and abs(part.name.place - name.place) == 1
    ]
    alike = []
    for part in beside:
        there = _marks(record, part)
        differ = [f"{what} {there[what]} there, {here[what]} here" for what in here if here[what] != there.get(what)]
        if differ:
            yield f"beside {record.stair.words(part)}: {'; '.join(differ)}"
        else:
            alike.append(record.stair.words(part))
    if alike:
        yield f"nothing that is written down differs from {' and '.join(alike)}: wood, recipe, coats, cans, days"


def _marks(record: PartRecord, part: StoredPart) -> dict[str, str]:
    recipe = recipe_of(record.stair, part, record.progress[part.ident])
    marks = {"wood": part.record.species or "unknown", "recipe": "none" if recipe is None else f"R{recipe.number}"}
    coats = record.coats_of(part)
    for step in ("stain", "seal", "topcoat"):
        mine = [event for event in coats if event.step == step]
        marks[f"{step} coats"] = f"{len(mine)}"
        marks[f"{step} from"] = ", ".join(
            dict.fromkeys(can_words(event.batch_number, record.stair.cans) or "no can named" for event in mine)
        )
        marks[f"{step} on"] = ", ".join(dict.fromkeys(f"{event.date}" for event in mine))
    return {what: said or "nothing" for what, said in marks.items()}


def _colour(record: PartRecord) -> Iterator[str]:
    """Say its colour beside the mean of the others of its kind that were measured in the same light."""
    mine = record.shown[record.part.ident]
    if mine.lab is None:
        yield f"its colour since the last coat is not measured: finishlab stairs measure {mine.words} PHOTO"
        return
    others = [
        each.lab
        for ident, each in record.shown.items()
        if ident != record.part.ident and each.lab is not None and each.light == mine.light
        if each.name.kind == mine.name.kind and each.coats == mine.coats
    ]
    own = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*mine.lab)
    if not others:
        yield f"measured {own} in {mine.light}; no other part of its kind and state is measured in that light"
        return
    mean = [sum(values) / len(others) for values in zip(*others, strict=True)]
    ways = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))
    steps = [(value - middle, words) for value, middle, words in zip(mine.lab, mean, ways, strict=True)]
    apart = ", ".join(f"{abs(step):.1f} {words[step < 0]}" for step, words in steps if abs(step) >= 0.05)
    yield f"measured {own} in {mine.light}: {apart or 'as'} than the mean of {len(others)} others"


def _age(record: PartRecord) -> Iterator[str]:
    if not record.coats:
        yield "when it got its last coat is not written down"
        return
    last = record.coats[-1]
    kind, label = record.kind(last), record.stair.label_of(last)
    yield f"its last coat is from {last.date}, {_ago(record, last.date)}"
    cure = label.cure_d if label is not None and label.cure_d is not None else None
    who = "its label" if cure is not None else COMMON
    if cure is None and kind is not None and kind.usual is not None:
        cure = kind.usual.cure_d[1]
    if cure is not None and (record.day - last.date).days < cure:
        yield f"it is not cured yet: {cure:g} days ({who})"


_SAYS: Final[Mapping[Ask, Callable[[PartRecord], Iterator[str]]]] = {
    "coats": _coats,
    "waits": _waits,
    "wood": _wood,
    "neighbours": _neighbours,
    "colour": _colour,
    "age": _age,
}


def faults_document() -> Document:
    """Return ``finishlab/faults/1``: what can be asked for."""
    rows = [(each.name, each.look) for each in FAULTS.values()]
    blocks = (
        Table((Column("fault", fold=False), Column("how it looks")), rows),
        Line(),
        Paragraph("One of them: finishlab mend lap marks --part “tread 7”. Years later: finishlab mend care."),
    )
    data = [{"name": each.name, "also": list(each.also), "look": each.look} for each in FAULTS.values()]
    return Document("faults", {"faults": data}, blocks)


def fault_document(fault: Fault, records: Sequence[PartRecord] = (), board: str | None = None) -> Document:
    """Return ``finishlab/mend/1``: a fault, and what the record of the parts that have it says.

    Parameters
    ----------
    fault
        The fault.
    records
        The parts that have it.
    board
        The kept board's number, None where no standard is approved.
    """
    said = [(record, record.says(fault)) for record in records]
    kinds = [kind.kind for record in records if (kind := record.last_kind) is not None]
    cautions = cautions_for([*fault.products, *kinds], ["apply", *fault.actions])
    kept = TRY_FIRST if board is None else TRY_FIRST.replace("the kept board", f"the kept board {board}")
    data = {
        "fault": fault.name,
        "look": fault.look,
        "why": fault.why,
        "look_alikes": [{"fault": other.name, "how_to_tell": how} for other, how in look_alikes(fault)],
        "first": list(fault.first),
        "never": list(fault.never),
        "try_first": kept,
        "call_a_finisher": fault.finisher,
        "source": fault.source,
        "record": [{"part": record.part.code, "words": record.words, "says": lines} for record, lines in said],
        **caution_data(cautions),
    }
    return Document("mend", data, tuple(_told(fault, said, kept, cautions)))


def _told(
    fault: Fault, said: Sequence[tuple[PartRecord, list[str]]], kept: str, cautions: Sequence[Caution]
) -> Iterator[Block]:
    """Tell cautions last, but what not to do before what to do."""
    yield Paragraph(f"{fault.name.capitalize()}: {fault.look}.")
    yield Paragraph(f"Why: {fault.why}.", 2)
    yield Listing("Is it that?", [f"{other.name}: {how}" for other, how in look_alikes(fault)])
    for record, lines in said:
        yield Listing(f"What is written down of {record.words}", lines)
    yield Listing("Never", fault.never)
    yield Listing("First", fault.first, numbered=True)
    yield Line()
    yield Paragraph(kept)
    yield Paragraph(f"Call a finisher if {fault.finisher}.")
    yield Paragraph(f"Source: {fault.source}; the label wins.")
    yield Line()
    yield from caution_blocks(cautions)


def care_document(records: Sequence[PartRecord] = ()) -> Document:
    """Return ``finishlab/care/1``: care by kind of finish, of all kinds or of those on parts; old cans."""
    found = dict.fromkeys(kind for record in records if (kind := record.last_kind) is not None and kind.mends)
    kinds = tuple(found) or tuple(kind for kind in COATINGS.values() if kind.mends)
    left = {record.part.code: _left(record) for record in records}
    aged = FAULTS["worn nosing"]
    cautions = cautions_for([kind.kind for kind in kinds], ("apply", "sand", "strip", "dispose"))
    data = {
        "kinds": [{"kind": kind.kind, "mends": kind.mends, "source": COMMON} for kind in kinds],
        "yearly": list(YEARLY),
        "old_cans": list(OLD_CANS),
        "never": list(aged.never),
        "source": COMMON,
        "record": [
            {"part": record.part.code, "words": record.words, "says": _aged(record), "left": left[record.part.code]}
            for record in records
        ],
        **caution_data(cautions),
    }
    return Document("care", data, (*_care(kinds, records), *caution_blocks(cautions)))


def _care(kinds: Sequence[Coating], records: Sequence[PartRecord]) -> Iterator[Block]:
    for record in records:
        yield Listing(f"What is written down of {record.words}", [*_aged(record), *_left(record)])
    yield Listing("By kind of finish", [f"{kind.kind}: {kind.mends}" for kind in kinds])
    yield Listing("Each year", YEARLY)
    yield Listing("Never", FAULTS["worn nosing"].never)
    yield Listing("Old cans", OLD_CANS)
    yield Line()
    yield Paragraph(TRY_FIRST)
    yield Paragraph(f"Source: {COMMON}; the label wins.")
    yield Line()


def _aged(record: PartRecord) -> list[str]:
    """Return what the record says of age and coats."""
    return record.says(FAULTS["worn nosing"])


def _left(record: PartRecord) -> list[str]:
    """Return which cans of its coats still hold something, and where they stand."""
    out = []
    for number in dict.fromkeys(event.batch_number for event in record.coats):
        can = record.stair.cans.get(number or 0)
        if can is not None and can.left_l:
            place = f", {can.place}" if can.place else ""
            opened = f", opened {can.opened}" if can.opened else ""
            out.append(f"C{number} {can.product} still holds {can.left_l:g} L{place}{opened}")
    return out
