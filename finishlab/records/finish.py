"""A finish in full: how the wood was prepared, each colour step, the seal and the topcoat.

Every field may be left empty; what is written down is checked against `finishlab.records.limits`. Units stand in the
names: ``_mm``, ``_percent``, ``_h`` hours, ``_min`` minutes, ``_c`` degrees Celsius, ``_gu`` gloss units at 60 degrees.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Final, Literal, Self

from finishlab.coatings import stain_bases, topcoat_kinds
from finishlab.errors import UsageError
from finishlab.records.entries import Checked, MixPart, entries, entry
from finishlab.records.limits import Section

__all__ = [
    "MOST_STEPS",
    "SHEEN_GU",
    "STEP_KINDS",
    "TOPCOAT_KINDS",
    "ColourStep",
    "Finish",
    "Looking",
    "Preparation",
    "Seal",
    "Topcoat",
]

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

MOST_STEPS: Final = 12
"""Most colour steps on record (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Preparation(Checked):
    """The wood and what was done to it before any colour.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"<field>-out-of-range"``, ``"grits-not-ascending"``, ``"bad-size"`` ...
    """

    SECTION: ClassVar[Section] = "preparation"

    cut: str | None = entry("cut", "cut", choices=("plain", "rift", "quarter"))
    construction: str | None = entry("construction", "construction", choices=("solid", "edge-glued", "veneer"))
    stock_lot: str | None = entry("stock", "lot of the wood", own=True)
    offcut_of: str | None = entry("offcut", "offcut of tread", own=True)
    """Number of the tread the board was cut from."""
    size_mm: tuple[float, float, float] | None = entry("size", "size", "mm", "size", own=True)
    """Length, width, thickness."""
    moisture_percent: float | None = entry("moisture", "moisture", "%", "number", own=True)
    grits: tuple[int, ...] = entry("grits", "grits", form="grits")
    """From coarse to fine."""
    grain_raised: bool | None = entry("raised", "grain raised", form="flag")
    drying_h: float | None = entry("drying", "drying after raising", "h", "number")
    conditioner: str | None = entry("conditioner", "conditioner")
    conditioner_dwell_min: float | None = entry("dwell", "conditioner stays on", "min", "number")
    conditioner_wait_h: float | None = entry("wait", "wait after the conditioner", "h", "number")
    typed_in: str | None = entry("typed-in", "unit the size was typed in", form="unit", choices=("in",), own=True)

    def __post_init__(self) -> None:
        Checked.__post_init__(self)
        if self.size_mm is None:
            object.__setattr__(self, "typed_in", None)
        if any(later <= earlier for earlier, later in zip(self.grits, self.grits[1:], strict=False)):
            shown = "-".join(str(grit) for grit in self.grits)
            raise UsageError(
                "grits-not-ascending",
                f"The grits {shown} do not go from coarse to fine.",
                "Write them from coarse to fine, such as 80-100-120.",
            )


@dataclass(frozen=True, slots=True)
class ColourStep(Checked):
    """One coat of stain or dye.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"unknown-step-kind"``, ``"thinner-percent-out-of-range"`` ...
    """

    SECTION: ClassVar[Section] = "step"

    kind: str | None = entry("kind", "kind of stain", form="choice", choices=STEP_KINDS)
    maker: str | None = entry("maker", "maker")
    colour: str | None = entry("colour", "colour")
    lot: str | None = entry("lot", "lot")
    can_number: int | None = entry("can", "can", form="can")
    """Number 3 is shown as C3."""
    mix: tuple[MixPart, ...] = entry("mix", "mix", form="mix")
    mix_by: Literal["volume", "mass"] | None = entry("by", "way of mixing", form="choice", choices=("volume", "mass"))
    thinner_percent: float | None = entry("thinner", "thinner", "%", "number")
    applicator: str | None = entry("applicator", "applicator", choices=("rag", "brush", "foam", "pad"))
    wipe_min: float | None = entry("wipe", "wiped after", "min", "number")
    coat: int | None = entry("coat", "coat", form="count")
    next_h: float | None = entry("next", "next step after", "h", "number")
    air_c: float | None = entry("air", "air", "C", "number")
    rh_percent: float | None = entry("rh", "relative humidity", "%", "number")

    @property
    def name(self) -> str | None:
        """What the step looks like in a few words: the colours of its mix, or maker and colour."""
        if self.mix:
            return " + ".join(part.colour for part in self.mix)
        return " ".join(word for word in (self.maker, self.colour) if word) or None


@dataclass(frozen=True, slots=True)
class Seal(Checked):
    """The sealer between colour and topcoat.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"coats-out-of-range"`` ...
    """

    SECTION: ClassVar[Section] = "seal"

    kind: str | None = entry("kind", "kind of sealer", choices=("none", "shellac", "water sealer", "oil sealer"))
    maker: str | None = entry("maker", "maker")
    lot: str | None = entry("lot", "lot")
    can_number: int | None = entry("can", "can", form="can")
    coats: int | None = entry("coats", "coats", form="count")


@dataclass(frozen=True, slots=True)
class Topcoat(Checked):
    """The finish on top.

    Raises
    ------
    UsageError
        If a value passes a hard limit: ``"unknown-topcoat-kind"``, ``"gloss-gu-out-of-range"`` ...
    """

    SECTION: ClassVar[Section] = "topcoat"

    kind: str | None = entry("kind", "kind of topcoat", form="choice", choices=TOPCOAT_KINDS)
    maker: str | None = entry("maker", "maker")
    product: str | None = entry("product", "product")
    lot: str | None = entry("lot", "lot")
    can_number: int | None = entry("can", "can", form="can")
    hardener_ratio: tuple[float, float] | None = entry("hardener", "finish to hardener", form="ratio")
    """Parts of finish, parts of hardener."""
    mixed_h: float | None = entry("mixed", "time since mixing", "h", "number")
    """When the last of it was put on."""
    sheen: str | None = entry("sheen", "sheen", choices=tuple(SHEEN_GU))
    gloss_gu: float | None = entry("gloss", "gloss at 60 degrees", "GU", "number")
    coats: int | None = entry("coats", "coats", form="count")
    recoat_h: float | None = entry("recoat", "between coats", "h", "number")
    rubout_grit: int | None = entry("rubout", "rubbed out with grit", form="count")
    anti_slip: str | None = entry("antislip", "anti-slip additive")

    @property
    def gloss_range(self) -> tuple[float, float] | None:
        """Gloss in GU, from and to: as measured, else what the sheen's name stands for; None where neither says."""
        if self.gloss_gu is not None:
            return self.gloss_gu, self.gloss_gu
        return SHEEN_GU.get((self.sheen or "").casefold())


@dataclass(frozen=True, slots=True)
class Looking(Checked):
    """How the board lay when it was measured and looked at.

    Raises
    ------
    UsageError
        ``"text-too-long"``.
    """

    SECTION: ClassVar[Section] = "measure"

    place: str | None = entry("place", "place", choices=("on the floor", "on a stair"), own=True)
    grain: str | None = entry("grain", "grain to the planks", choices=("parallel", "across"), own=True)


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
    looking: Looking | None = None

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
        return not self.as_dict()

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form: what is written down, section by section."""
        sections: dict[str, Any] = {
            "preparation": self.preparation.as_dict(),
            "steps": [step.as_dict() for step in self.steps],
            "seal": None if self.seal is None else self.seal.as_dict(),
            "topcoat": None if self.topcoat is None else self.topcoat.as_dict(),
            "looking": None if self.looking is None else self.looking.as_dict(),
        }
        return {name: value for name, value in sections.items() if value}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a finish from `as_dict`.

        Raises
        ------
        UsageError
            If a value cannot be meant.
        TypeError
            If there are names that are no field's.
        """
        unknown = set(data) - {"preparation", "steps", "seal", "topcoat", "looking"}
        if unknown:
            raise TypeError(f"a finish has no {', '.join(sorted(unknown))}")
        return cls(
            Preparation.from_dict(data.get("preparation") or {}),
            tuple(ColourStep.from_dict(step) for step in data.get("steps") or ()),
            Seal.from_dict(data["seal"]) if data.get("seal") else None,
            Topcoat.from_dict(data["topcoat"]) if data.get("topcoat") else None,
            Looking.from_dict(data["looking"]) if data.get("looking") else None,
        )

    def as_recipe(self) -> Finish:
        """Return the finish without what belongs to one piece of wood: its lot, tread, size, moisture, where it lay."""
        own: dict[str, Any] = {each.name: None for each in entries(Preparation) if each.own}
        return replace(self, preparation=replace(self.preparation, **own), looking=None)

    def with_wood_of(self, other: Finish) -> Finish:
        """Return this finish on the piece of wood another one says."""
        own = {each.name: getattr(other.preparation, each.name) for each in entries(Preparation) if each.own}
        return replace(self, preparation=replace(self.preparation, **own), looking=other.looking)

    def cans(self) -> tuple[int, ...]:
        """Return the numbers of the cans it names, each once, in order of use."""
        named = [step.can_number for step in self.steps]
        named += [each.can_number for each in (self.seal, self.topcoat) if each is not None]
        return tuple(dict.fromkeys(number for number in named if number is not None))
