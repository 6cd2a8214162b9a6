"""A finish in full: how the wood was prepared, each colour step, the seal and the topcoat; and its fields in words.

Every field may be left empty; what is written down is checked when it is built. A field's name, key, unit, form and
limits stand once, here: options, questions, files, limits, wording and [the page about them](finish-record.md) are made
from them. Units stand in the names: ``_mm``, ``_percent``, ``_h`` hours, ``_min`` minutes, ``_c`` degrees Celsius,
``_gu`` gloss units at 60 degrees.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Final, Literal, Self, cast

from finishlab.coatings import Coating, of_step, stain_bases, topcoat_kinds
from finishlab.errors import UsageError
from finishlab.finish.fields import FieldSpec, MixPart, Section, parse_fields, specs, typed, typed_key
from finishlab.record import SHORT_TEXT
from finishlab.units import read_figure

STEP_KINDS: Final = stain_bases()
"""What a stain is based on."""

TOPCOAT_KINDS: Final = topcoat_kinds()
"""What a topcoat can be; what is none of these is written into `Topcoat.product`."""

SHEEN_GU: Final[Mapping[str, tuple[float, float]]] = {
    "matte": (10.0, 25.0),
    "satin": (25.0, 40.0),
    "semi-gloss": (55.0, 75.0),
    "gloss": (70.0, 100.0),
}
"""Gloss units at 60 degrees a sheen's name usually stands for (general articles; makers differ)."""

_TWO_PART: Final = "kind=water polyurethane 2-part"

MOST_STEPS: Final = 12
"""Most colour steps on record (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Preparation(Section):
    """The wood and what was done to it before any colour.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"<field>-out-of-range"``, ``"grits-not-ascending"``, ``"bad-size"`` ...
    """

    SECTION: ClassVar[str] = "preparation"

    cut: str | None = typed("cut", "cut", choices=("plain", "rift", "quarter"))
    construction: str | None = typed("construction", "construction", choices=("solid", "edge-glued", "veneer"))
    stock_lot: str | None = typed("stock", "lot of the wood", own=True)
    offcut_of: str | None = typed("offcut", "offcut of tread", own=True)
    """Number of the tread the board was cut from."""
    size_mm: tuple[float, float, float] | None = typed("size", "size", "mm", "size", own=True, above=0)
    """Length, width, thickness."""
    moisture_percent: float | None = typed("moisture", "moisture", "%", own=True, low=0, high=30)
    grits: tuple[int, ...] = typed("grits", "grits", form="grits", low=24, high=400)
    """From coarse to fine."""
    grain_raised: bool | None = typed("raised", "grain raised", form="flag")
    drying_h: float | None = typed("drying", "drying after raising", "h", low=0, high=72, only_with="grain_raised")
    conditioner: str | None = typed("conditioner", "conditioner")
    conditioner_dwell_min: float | None = typed("dwell", "conditioner stays on", "min", low=0, only_with="conditioner")
    conditioner_wait_h: float | None = typed("wait", "wait after the conditioner", "h", low=0, only_with="conditioner")
    typed_in: str | None = typed("typed-in", "unit the size was typed in", form="unit", choices=("in",), own=True)

    def __post_init__(self) -> None:
        Section.__post_init__(self)
        if self.size_mm is None:
            object.__setattr__(self, "typed_in", None)
        if any(later <= earlier for earlier, later in zip(self.grits, self.grits[1:], strict=False)):
            shown = "-".join(str(grit) for grit in self.grits)
            raise UsageError(
                "grits-not-ascending",
                f"The grits {shown} do not go from coarse to fine.",
                "Write them from coarse to fine, such as 80-100-120.",
            )

    @property
    def last_grit(self) -> int | None:
        """The finest grit."""
        return self.grits[-1] if self.grits else None


@dataclass(frozen=True, slots=True)
class ColourStep(Section):
    """One coat of stain or dye.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"unknown-step-kind"``, ``"thinner-percent-out-of-range"`` ...
    """

    SECTION: ClassVar[str] = "step"

    kind: str | None = typed("kind", "kind of stain", form="choice", choices=STEP_KINDS)
    maker: str | None = typed("maker", "maker")
    colour: str | None = typed("colour", "colour")
    lot: str | None = typed("lot", "lot")
    can_number: int | None = typed("can", "can", form="can")
    """Number 3 is shown as C3."""
    mix: tuple[MixPart, ...] = typed("mix", "mix", form="mix", above=0)
    mix_by: Literal["volume", "mass"] | None = typed(
        "by", "way of mixing", form="choice", choices=("volume", "mass"), only_with="mix"
    )
    thinner_percent: float | None = typed("thinner", "thinner", "%", low=0, high=50)
    applicator: str | None = typed("applicator", "applicator", choices=("rag", "brush", "foam", "pad"))
    wipe_min: float | None = typed("wipe", "wiped after", "min", low=0, high=60)
    coat: int | None = typed("coat", "coat", form="count", low=1, high=4)
    next_h: float | None = typed("next", "next step after", "h", low=0)
    air_c: float | None = typed("air", "air", "C", low=-5, high=45)
    rh_percent: float | None = typed("rh", "relative humidity", "%", low=0, high=100)

    @property
    def name(self) -> str | None:
        """What the step looks like in a few words: the colours of its mix, or maker and colour."""
        if self.mix:
            return " + ".join(part.colour for part in self.mix)
        return " ".join(word for word in (self.maker, self.colour) if word) or None

    @property
    def coating(self) -> Coating | None:
        """What it is of: by its kind, else by its own words; None where neither says."""
        return of_step("step", self.kind, self.name)


@dataclass(frozen=True, slots=True)
class Seal(Section):
    """The sealer between colour and topcoat.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"coats-out-of-range"`` ...
    """

    SECTION: ClassVar[str] = "seal"

    kind: str | None = typed("kind", "kind of sealer", choices=("none", "shellac", "water sealer", "oil sealer"))
    maker: str | None = typed("maker", "maker")
    lot: str | None = typed("lot", "lot")
    can_number: int | None = typed("can", "can", form="can")
    coats: int | None = typed("coats", "coats", form="count", low=0, high=2)

    @property
    def coating(self) -> Coating | None:
        """What it is of: whatever its kind, its figures are a sealer's."""
        return of_step("seal", self.kind)


@dataclass(frozen=True, slots=True)
class Topcoat(Section):
    """The finish on top.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"unknown-topcoat-kind"``, ``"gloss-gu-out-of-range"`` ...
    """

    SECTION: ClassVar[str] = "topcoat"

    kind: str | None = typed("kind", "kind of topcoat", form="choice", choices=TOPCOAT_KINDS)
    maker: str | None = typed("maker", "maker")
    product: str | None = typed("product", "product")
    lot: str | None = typed("lot", "lot")
    can_number: int | None = typed("can", "can", form="can")
    hardener_ratio: tuple[float, float] | None = typed(
        "hardener", "finish to hardener", form="ratio", above=0, only_with=_TWO_PART
    )
    """Parts of finish, parts of hardener."""
    mixed_h: float | None = typed("mixed", "time since mixing", "h", low=0, only_with=_TWO_PART)
    """When the last of it was put on."""
    sheen: str | None = typed("sheen", "sheen", choices=tuple(SHEEN_GU))
    gloss_gu: float | None = typed("gloss", "gloss at 60 degrees", "GU", low=0, high=100)
    coats: int | None = typed("coats", "coats", form="count", low=0, high=8)
    recoat_h: float | None = typed("recoat", "between coats", "h", low=0)
    rubout_grit: int | None = typed("rubout", "rubbed out with grit", form="count", low=150, high=600)
    anti_slip: str | None = typed("antislip", "anti-slip additive")

    @property
    def name(self) -> str | None:
        """What it is in a few words: maker, sheen, product or kind."""
        what = self.product if self.kind in {None, "other"} else self.kind
        words = [self.maker if what is None or what == self.product else None, self.sheen, what]
        return " ".join(word for word in words if word)[:SHORT_TEXT] or None

    @property
    def coating(self) -> Coating | None:
        """What it is of: by its kind, else by its own words; None where neither says."""
        return of_step("topcoat", self.kind, self.product)

    @property
    def gloss_range(self) -> tuple[float, float] | None:
        """Gloss in GU, from and to: as measured, else what the sheen's name stands for; None where neither says."""
        if self.gloss_gu is not None:
            return self.gloss_gu, self.gloss_gu
        return SHEEN_GU.get((self.sheen or "").casefold())


@dataclass(frozen=True, slots=True)
class ViewingConditions(Section):
    """How the board lay when it was measured and looked at.

    Raises
    ------
    UsageError
        ``"text-too-long"``.
    """

    SECTION: ClassVar[str] = "measure"

    place: str | None = typed("place", "place", choices=("on the floor", "on a stair"), own=True)
    grain: str | None = typed("grain", "grain to the planks", choices=("parallel", "across"), own=True)


@dataclass(frozen=True, slots=True)
class FinishPart:
    """A part of a finish: its section, and how it is named where it is typed and asked for."""

    name: str
    """In `Finish` and in JSON."""
    section: type[Section]
    option: str
    """Its option, without the hyphens."""
    title: str
    """What it is called when it is asked for."""
    help: str
    """Of its option, with an example."""
    several: bool = False


FINISH_PARTS: Final = (
    FinishPart(
        "preparation",
        Preparation,
        "preparation",
        "the wood and its preparation",
        'The wood: "size=150x300x19; grits=80-100-120; raised=yes".',
    ),
    FinishPart(
        "steps",
        ColourStep,
        "step",
        "the colour steps, in order: oil; maker=Acme; colour=honey; lot=7; wipe=10",
        'A colour step, in order; repeatable: "oil; maker=Acme; colour=honey; lot=7; wipe=10; coats=2". '
        '"2: wipe=5" changes step 2 of a logged one, or adds it where there is one.',
        several=True,
    ),
    FinishPart("seal", Seal, "seal", "the sealer", 'The sealer: "shellac; coats=1".'),
    FinishPart(
        "topcoat",
        Topcoat,
        "top",
        "the topcoat",
        'The topcoat in full: "water pu; sheen=satin; gloss=30; coats=3; recoat=4".',
    ),
    FinishPart(
        "looking",
        ViewingConditions,
        "looking",
        "how it lay when it was photographed",
        'How it lay: "place=on the floor; grain=parallel".',
    ),
)
"""From the bare wood to the last coat, in the order of the record."""


@dataclass(frozen=True, slots=True)
class Finish:
    """A finish from the bare wood to the last coat; what is not known is left empty.

    Raises
    ------
    UsageError
        ``"too-many-steps"``, and what the sections raise.
    """

    preparation: Preparation = Preparation()
    steps: tuple[ColourStep, ...] = ()
    """In the order they were put on."""
    seal: Seal | None = None
    topcoat: Topcoat | None = None
    looking: ViewingConditions | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "steps", tuple(self.steps))
        if len(self.steps) > MOST_STEPS:
            raise UsageError(
                "too-many-steps",
                f"A finish cannot have {len(self.steps)} colour steps.",
                f"Keep to {MOST_STEPS}, and put the rest into the note.",
            )

    def is_empty(self) -> bool:
        """Return whether nothing is written down."""
        sections = (self.preparation, self.seal, self.topcoat, self.looking)
        return not self.steps and all(each is None or each.is_empty() for each in sections)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form: what is written down, section by section."""
        sections: dict[str, Any] = {}
        for part in FINISH_PARTS:
            value: Any = getattr(self, part.name)
            sections[part.name] = [each.as_dict() for each in value] if part.several else value and value.as_dict()
        return {name: value for name, value in sections.items() if value}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a finish from `as_dict`.

        Raises
        ------
        UsageError
            If a value cannot be meant.
        TypeError
            If there are names that are no field's, or it is no mapping.
        """
        if not isinstance(cast("object", data), Mapping):
            raise TypeError("a finish is a table of its parts")
        known = {part.name: part for part in FINISH_PARTS}
        unknown = set(data) - set(known)
        if unknown:
            raise TypeError(f"a finish has no {', '.join(sorted(unknown))}")
        read: dict[str, Any] = {}
        for name, value in data.items():
            section = known[name].section
            if known[name].several:
                read[name] = tuple(section.from_dict(each) for each in value or ())
            elif value:
                read[name] = section.from_dict(value)
        return cls(**read)

    def as_recipe(self) -> Finish:
        """Return the finish without what belongs to one piece of wood: its lot, tread, size, moisture, where it lay."""
        own: dict[str, Any] = {each.name: None for each in specs(Preparation, units=True) if each.own}
        return replace(self, preparation=replace(self.preparation, **own), looking=None)

    def with_wood_of(self, other: Finish) -> Finish:
        """Return this finish on the piece of wood another one says."""
        own = {each.name: getattr(other.preparation, each.name) for each in specs(Preparation, units=True) if each.own}
        return replace(self, preparation=replace(self.preparation, **own), looking=other.looking)

    def cans(self) -> tuple[int, ...]:
        """Return the numbers of the cans it names, each once, in order of use."""
        named = [step.can_number for step in self.steps]
        named += [each.can_number for each in (self.seal, self.topcoat) if each is not None]
        return tuple(dict.fromkeys(number for number in named if number is not None))

    def in_short(self) -> dict[str, Any]:
        """Return `stain`, `coats` and `topcoat` of a board as its finish says them; what it does not say is left out.

        Coats of one colour put on one after the other are one stain of several coats.
        """
        said: dict[str, Any] = {}
        names = list(dict.fromkeys(step.name or f"{step.kind} stain" for step in self.steps if step.name or step.kind))
        if names:
            said["stain"] = ", then ".join(names)[:SHORT_TEXT]
            said["coats"] = min(len(self.steps), 8)
        topcoat = None if self.topcoat is None or self.topcoat.coats == 0 else self.topcoat.name
        return said if topcoat is None else said | {"topcoat": topcoat}

    @classmethod
    def from_short(cls, stain: str | None, coats: int | None, topcoat: str | None) -> Self:
        """Return the little that a board's short text says."""
        count = coats if coats is not None else 1
        steps: tuple[ColourStep, ...] = ()
        if stain is not None:
            many = count > 1
            steps = tuple(ColourStep(colour=stain, coat=n if many else None) for n in range(1, min(count, 4) + 1))
        bare = topcoat is None or topcoat.casefold() in _BARE
        return cls(steps=steps, topcoat=None if bare else Topcoat(product=topcoat))


_BARE: Final = {"none", "no", "bare", "without"}


def step_changes(finish: Finish, texts: tuple[str, ...]) -> Finish:
    """Return a finish with the colour steps that texts say.

    A text that begins with a number and a colon changes that step, or adds it where it is the next; the others are the
    new steps, in order. ``coats=2`` makes two coats of one text.

    Raises
    ------
    UsageError
        ``"no-such-step"``, ``"coats-out-of-range"``, and what `parse_fields` raises.
    """
    kept, fresh = list(finish.steps), []
    for text in texts:
        numbered = re.match(r"\s*([0-9]+)\s*:(.*)", text, re.DOTALL)
        if numbered is None:
            fresh += _coats(text)
            continue
        number = int(numbered[1])
        if not 1 <= number <= len(kept) + 1:
            raise UsageError(
                "no-such-step",
                f"There is no colour step {number} to change.",
                f"Steps on record: {len(kept)}. Without a number the texts are the new steps, all of them.",
            )
        if number > len(kept):
            kept += _coats(numbered[2])
            continue
        kept[number - 1] = replace(kept[number - 1], **parse_fields(ColourStep, numbered[2]))
    return replace(finish, steps=tuple(fresh) if fresh else tuple(step for step in kept if not step.is_empty()))


def _coats(text: str) -> list[ColourStep]:
    """Return the steps of one text: several when it says ``coats=``."""
    items = [item for item in text.split(";") if typed_key(item.partition("=")[0]) != "coats" or "=" not in item]
    said = [
        item.partition("=")[2]
        for item in text.split(";")
        if "=" in item and typed_key(item.partition("=")[0]) == "coats"
    ]
    step = ColourStep(**parse_fields(ColourStep, ";".join(items)))
    if not said:
        return [] if step.is_empty() else [step]
    count = read_figure(said[-1], "", "number of coats")
    if count not in range(1, 5):
        raise UsageError("coats-out-of-range", f"A colour cannot have {said[-1].strip()} coats.", "Give 1 to 4.")
    return [replace(step, coat=number) for number in range(1, int(count) + 1)]


Row = tuple[str, str]
"""A label and its value, both in words."""


_ROWS: Final[Mapping[str, Mapping[str, str]]] = {
    "preparation": {
        "piece": "cut construction size stock offcut moisture",
        "preparation": "grits raised drying conditioner dwell wait",
    },
    "steps": {"step": "maker+colour kind lot can mix thinner applicator wipe coat next air rh"},
    "seal": {"seal": "maker+kind lot can coats"},
    "topcoat": {"topcoat": "maker+product kind sheen gloss coats lot can hardener mixed recoat rubout antislip"},
    "looking": {"lay": "place grain"},
}
"""Part of a finish -> its rows, each with the keys of its fields; those in no row come last in the last one."""
_PLAIN: Final = ("maker", "colour", "kind", "product", "cut", "construction", "place", "can")
"""Fields that are told without their name."""


def finish_rows(finish: Finish | None) -> tuple[Row, ...]:
    """Return what is written of a finish, from the bare wood to the last coat; what is not has no row."""
    rows = []
    for part, number, section in _sections(finish or Finish()):
        known = {each.key: each for each in specs(part.section)}
        orders = {label: keys.split() for label, keys in _ROWS[part.name].items()}
        placed = {key for order in orders.values() for group in order for key in group.split("+")}
        orders[[*orders][-1]] += [key for key in known if key not in placed]
        for label, order in orders.items():
            groups = ([_words(section, known[key]) for key in group.split("+")] for group in order)
            told = ", ".join(words for group in groups if (words := " ".join(filter(None, group))))
            rows += [(f"{label} {number}" if part.several else label, told)] if told else []
    return tuple(rows)


def _sections(finish: Finish) -> Iterator[tuple[FinishPart, int, Section]]:
    """Give each section that is there, of several with its number."""
    for part in FINISH_PARTS:
        found: Any = getattr(finish, part.name)
        for number, section in enumerate(found if part.several else [found], start=1):
            if section is not None:
                yield part, number, section


def _words(section: Section, each: FieldSpec) -> str | None:
    """Return a field that is written down as it stands in a row."""
    value = getattr(section, each.name)
    told_beside = {"by": "mix", "kind": "product" if value == "other" else ""}.get(each.key)
    if value == each.empty or (told_beside and getattr(section, told_beside, None)):
        return None  # a way of mixing is told with the mix, and a product says more than “other”
    words = section.words(each)
    if each.key == "mix" and (by := getattr(section, "mix_by", None)):
        words += f" by {by}"
    if each.form == "flag":
        return each.label if value else each.label.replace(" ", " not ", 1)
    if each.key == "coats":
        return f"{words} coat{'' if value == 1 else 's'}"
    if each.key == "applicator":
        return f"with {words}"
    return words if each.key in _PLAIN else f"{each.label} {words}"


def finish_changes(before: Finish | None, after: Finish | None) -> tuple[str, ...]:
    """Return in words what differs between two finishes, one entry a field."""
    one, two = (
        {name: (label, words) for name, label, words, _ in finish_fields(f or Finish())} for f in (before, after)
    )
    told = []
    for name in dict.fromkeys((*one, *two)):
        here, there = one.get(name), two.get(name)
        if here != there:
            label = (there or here or ("", ""))[0]
            told.append(f"{label} {here[1] if here else 'none'} -> {there[1] if there else 'none'}")
    return tuple(told)


def finish_fields(finish: Finish) -> Iterator[tuple[str, str, str, Any]]:
    """Give every field that is written: its JSON name, the name people read, its value in words and as JSON.

    The JSON name is a field's path, such as ``finish.steps.1.wipe_min``.
    """
    for part, number, section in _sections(finish):
        path = f"{part.name}.{number}" if part.several else part.name
        called = f"step {number}: " if part.several else f"{part.name}: " if part.name in _NAMED else ""
        for each, words, value in section.written():
            yield f"finish.{path}.{each.name}", f"{called}{each.label}", words, value


_NAMED = ("seal", "topcoat")
"""Parts whose fields are told with the part's name."""


def product_words(section: ColourStep | Seal | Topcoat) -> str:
    """Return all words of one product; a step's as a stain, whose kind may not be known: ``walnut stain``."""
    if isinstance(section, ColourStep):
        return together(section.kind, "stain", section.name) if section.kind or section.name else ""
    if isinstance(section, Seal):
        return together(section.kind, section.maker)
    hardener = "hardener" if section.hardener_ratio else None
    return together(section.kind, section.maker, section.product, section.sheen, hardener)


def together(*words: str | None) -> str:
    """Return words that are there as one text."""
    return " ".join(word for word in words if word)
