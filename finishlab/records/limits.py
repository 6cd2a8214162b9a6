"""What a finish record may hold, as two tables: hard limits refuse a value, soft limits let it pass with a warning.

Every row says its field, its bounds, its words and where it comes from. The records check themselves against the first
table; `finishlab.records.finish_warnings.warnings` reads the second; docs/finish-record.md is made from both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from finishlab.errors import UsageError

__all__ = [
    "COMMON_PRACTICE",
    "HARD",
    "LIKELY",
    "SOFT",
    "HardLimit",
    "LikelyLength",
    "Section",
    "SoftLimit",
    "check_number",
    "hard_limit",
    "likely_length",
]

COMMON_PRACTICE: Final = "common practice, no source"

Section = Literal["board", "preparation", "step", "seal", "topcoat", "measure", "can", "label"]
"""The part of a record a limit is about."""


@dataclass(frozen=True, slots=True)
class HardLimit:
    """One bound no record may pass."""

    section: Section
    field: str
    """Name of the record's field, with its unit."""
    words: str
    """What it is, as in "The moisture cannot be 40 %."."""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    above_low: bool = False
    """Whether `low` itself is out too."""
    rule: str = ""
    """What holds where two bounds do not say it."""
    source: str = COMMON_PRACTICE

    @property
    def code(self) -> str:
        """Code of the `UsageError` where the bounds are passed."""
        return f"{self.field.replace('_', '-')}-out-of-range"

    @property
    def hint(self) -> str:
        """What may be given."""
        unit = f" {self.unit}" if self.unit else ""
        if self.low is None and self.high is None:
            return f"Give {self.rule}."
        if self.high is None:
            return f"Give {'more than' if self.above_low else 'at least'} {self.low:g}{unit}."
        return f"Give {self.low:g} to {self.high:g}{unit}."


@dataclass(frozen=True, slots=True)
class SoftLimit:
    """One thing that is likely a slip, or will be regretted later; it is told, not refused."""

    code: str
    section: Section
    field: str
    sentence: str
    """What is said, with places in braces for what the record holds."""
    several: str | None = None
    """The same of several steps."""
    low: float | None = None
    high: float | None = None
    """Bounds of the field, where they say it all; else `finishlab.records.finish_warnings` has a rule of this code."""
    source: str = COMMON_PRACTICE


HARD: Final[tuple[HardLimit, ...]] = (
    HardLimit("board", "date", "day", rule="a day that is not in the future"),
    HardLimit("board", "purpose", "purpose", rule="one of the list"),
    HardLimit("board", "state", "state", rule="one of the list"),
    HardLimit("board", "coats", "number of stain coats", low=0, high=8),
    HardLimit("preparation", "size_mm", "size", "mm", low=0, above_low=True),
    HardLimit("preparation", "moisture_percent", "moisture", "%", low=0, high=30),
    HardLimit("preparation", "grits", "grit", low=24, high=400),
    HardLimit("preparation", "grits", "order of the grits", rule="the grits from coarse to fine, such as 80-100-120"),
    HardLimit("preparation", "drying_h", "drying after raising the grain", "h", low=0, high=72),
    HardLimit("preparation", "conditioner_dwell_min", "time the conditioner stays on", "min", low=0),
    HardLimit("preparation", "conditioner_wait_h", "wait after the conditioner", "h", low=0),
    HardLimit("step", "kind", "kind of stain", rule="one of the list"),
    HardLimit("step", "mix", "parts of a mix", low=0, above_low=True),
    HardLimit("step", "mix_by", "way of mixing", rule="one of the list"),
    HardLimit("step", "thinner_percent", "share of thinner", "%", low=0, high=50),
    HardLimit("step", "wipe_min", "time before wiping", "min", low=0, high=60),
    HardLimit("step", "coat", "number of the coat", low=1, high=4),
    HardLimit("step", "next_h", "time to the next step", "h", low=0),
    HardLimit("step", "air_c", "temperature of the air", "C", low=-5, high=45),
    HardLimit("step", "rh_percent", "relative humidity", "%", low=0, high=100),
    HardLimit("seal", "coats", "number of sealer coats", low=0, high=2),
    HardLimit("topcoat", "kind", "kind of topcoat", rule="one of the list"),
    HardLimit("topcoat", "hardener_ratio", "parts of finish and hardener", low=0, above_low=True),
    HardLimit("topcoat", "mixed_h", "time since mixing", "h", low=0),
    HardLimit("topcoat", "gloss_gu", "gloss at 60 degrees", "GU", low=0, high=100),
    HardLimit("topcoat", "coats", "number of topcoats", low=0, high=8),
    HardLimit("topcoat", "recoat_h", "time between topcoats", "h", low=0),
    HardLimit("topcoat", "rubout_grit", "grit for rubbing out", low=150, high=600),
    HardLimit("measure", "spots", "number of places measured", low=1),
    HardLimit("can", "kind", "kind of can", rule="one of the list"),
    HardLimit("can", "size_l", "size of the can", "L", low=0, above_low=True),
    HardLimit("can", "left_l", "rest in the can", "L", low=0),
    HardLimit("can", "left_l", "rest in the can against its size", rule="no more left than the can holds"),
    HardLimit("can", "opened", "day it was opened", rule="a day that is not in the future"),
    HardLimit("label", "coverage_low_m2_per_l", "coverage", "m2/L", low=0, above_low=True),
    HardLimit("label", "coverage_high_m2_per_l", "coverage", "m2/L", low=0, above_low=True),
    HardLimit("label", "coverage_high_m2_per_l", "order of the coverage", rule="the lower figure first"),
    HardLimit("label", "recoat_h", "time to recoat", "h", low=0),
    HardLimit("label", "recoat_within_h", "end of the recoat window", "h", low=0),
    HardLimit("label", "recoat_within_h", "order of the recoat window", rule="an end that is not before its start"),
    HardLimit("label", "recoat_other_h", "time before another product", "h", low=0),
    HardLimit("label", "walk_on_h", "time until socks may walk on it", "h", low=0),
    HardLimit("label", "use_h", "time until it may be used", "h", low=0),
    HardLimit("label", "cure_d", "time to cure", "days", low=0),
    HardLimit("label", "pot_life_h", "pot life", "h", low=0, above_low=True),
    HardLimit("label", "price", "price", low=0),
)
"""What refuses a record; a section's field may have two rows, bounds and an order."""


SOFT: Final[tuple[SoftLimit, ...]] = (
    SoftLimit(
        "no-clear-only",
        "board",
        "purpose",
        "No clear-only board is logged; without one nobody can say how much of the colour is the stain's.",
    ),
    SoftLimit(
        "not-finished-yet",
        "board",
        "state",
        "The board is {state}; a stain looks different under its topcoat, so decide when it is topcoated and dry.",
    ),
    SoftLimit("species-differs", "board", "species", "The board is {species}, the treads are {tread}."),
    SoftLimit(
        "small-board",
        "preparation",
        "size_mm",
        "A side of the board is {value}; under 100 mm it shows too little of the wood.",
        low=100,
    ),
    SoftLimit(
        "coats-without-stain",
        "board",
        "coats",
        "The board has {value:g} coats of stain, and no stain is named: write down which one, or take the coats out.",
    ),
    SoftLimit("stock-lot-unknown", "preparation", "stock_lot", "The lot of the wood is not written down."),
    SoftLimit(
        "moisture",
        "preparation",
        "moisture_percent",
        "The wood has {value:g} % moisture; indoors 6 to 9 % is usual, and stain takes differently outside 5 to 12 %.",
        low=5,
        high=12,
    ),
    SoftLimit(
        "grit-skipped",
        "preparation",
        "grits",
        "From grit {value:g} to {other:g} is more than twice as fine; scratches of the first may show under stain.",
        high=2,
    ),
    SoftLimit(
        "grit-too-fine",
        "preparation",
        "grits",
        "The last grit is {value:g}; {wood} sanded finer than {finest:g} takes less stain.",
    ),
    SoftLimit(
        "blotching",
        "preparation",
        "conditioner",
        "{wood} takes a penetrating stain in blotches: use a conditioner or a gel, and try it on an offcut first.",
    ),
    SoftLimit(
        "tannin",
        "step",
        "kind",
        "{wood} has much tannin: with water and iron it turns grey to black, so no steel wool before or between the "
        "coats.",
    ),
    SoftLimit(
        "oily-wood",
        "topcoat",
        "kind",
        "{wood} has an oil of its own, on which a film may stay soft or peel: try it on an offcut first.",
    ),
    SoftLimit(
        "grain-raised",
        "preparation",
        "grain_raised",
        "{coat} raises the grain: wet the bare wood, let it dry and sand off what stands up, then on every tread "
        "alike.",
    ),
    SoftLimit("does-not-follow", "step", "kind", "{note}"),
    SoftLimit(
        "last-grit-differs",
        "preparation",
        "grits",
        "The last grit is {value:g}, on the treads {tread:g}; finer sanding stains lighter.",
    ),
    SoftLimit(
        "drying-short",
        "preparation",
        "drying_h",
        "After raising the grain the wood dried {value:g} h; under 2 h it may still be damp.",
        low=2,
    ),
    SoftLimit(
        "bases-mixed",
        "step",
        "kind",
        "The colour steps are {kinds}; one base may not hold on the other, so ask the makers or keep to one.",
    ),
    SoftLimit(
        "lot-differs",
        "step",
        "lot",
        "Step {step} is of lot {value}, the approved board of {approved}; lots differ, so mix cans together or test.",
        several="Steps {step} are of lot {value}, on the approved board {approved}; lots differ, so mix cans or test.",
    ),
    SoftLimit(
        "much-thinner",
        "step",
        "thinner_percent",
        "Step {step} has {value:g} % thinner; more than 20 % can leave too little binder.",
        several="Steps {step} have {value} % thinner; more than 20 % can leave too little binder.",
        high=20,
    ),
    SoftLimit(
        "applicator-differs",
        "step",
        "applicator",
        "Step {step} went on with {value}, on the treads with {tread}; the same tool gives the same colour.",
        several="Steps {step} went on with {value}, on the treads with {tread}; the same tool gives the same colour.",
    ),
    SoftLimit(
        "long-wipe",
        "step",
        "wipe_min",
        "Step {step} stayed {value:g} min before wiping; after 15 min stain gets tacky and uneven.",
        several="Steps {step} stayed {value} min before wiping; after 15 min stain gets tacky and uneven.",
        high=15,
    ),
    SoftLimit(
        "long-gel-wipe",
        "step",
        "wipe_min",
        "Step {step} is a gel and stayed {value:g} min before wiping; gel sets after about 5 min.",
        several="Steps {step} are gels and stayed {value} min before wiping; gel sets after about 5 min.",
        high=5,
    ),
    SoftLimit(
        "many-coats",
        "step",
        "coat",
        "Step {step} is coat {value:g}; beyond two coats stain lies on the wood and may not hold the topcoat.",
        several="Steps {step} are coats {value}; beyond two coats stain lies on the wood and may not hold the topcoat.",
        high=2,
    ),
    SoftLimit(
        "next-too-early",
        "step",
        "next_h",
        "After step {step} the next came in {value:g} h; the label of {can} says {label:g} h.",
        several="After steps {step} the next came in {value} h; the label of {can} says {label} h.",
    ),
    SoftLimit(
        "air-temperature",
        "step",
        "air_c",
        "Step {step} was put on at {value:g} C; most labels ask for 13 to 32 C.",
        several="Steps {step} were put on at {value} C; most labels ask for 13 to 32 C.",
        low=13,
        high=32,
    ),
    SoftLimit(
        "damp-air",
        "step",
        "rh_percent",
        "Step {step} was put on at {value:g} % humidity; above 70 % it dries slowly.",
        several="Steps {step} were put on at {value} % humidity; above 70 % it dries slowly.",
        high=70,
    ),
    SoftLimit(
        "past-pot-life",
        "topcoat",
        "mixed_h",
        "The topcoat was used {value:g} h after mixing; the label of {can} gives it {label:g} h.",
    ),
    SoftLimit(
        "gloss-differs",
        "topcoat",
        "gloss_gu",
        "The topcoat's gloss is {value} GU, the floor's {floor:g} GU; matte and gloss read as different colours.",
        high=10,
    ),
    SoftLimit(
        "few-topcoats",
        "topcoat",
        "coats",
        "The finish has only {value:g} of the {usual:g} coats of topcoat that a tread wants at least.",
    ),
    SoftLimit(
        "anti-slip-differs",
        "topcoat",
        "anti_slip",
        "The treads get an anti-slip additive and this board has none; it changes the look, so try it on a board too.",
    ),
    SoftLimit(
        "one-light-only",
        "measure",
        "light",
        "{measured}; look at it in daylight and by lamplight before deciding.",
        low=2,
        source="ASTM D1729: confirm under a second, very different source",
    ),
    SoftLimit(
        "few-places",
        "measure",
        "spots",
        "The floor was measured at {value:g} of the 5 places wanted; planks differ.",
        low=5,
    ),
)
"""What is warned of. Bounds are of the field; of `grit-skipped` the ratio, of `gloss-differs` the difference."""


@dataclass(frozen=True, slots=True)
class LikelyLength:
    """What a length can be in a house, widely: one typed without its unit must lie within, as millimetres."""

    kind: str
    """What has the length: a part of the stair, a board, a cut."""
    field: str
    low: float
    high: float
    """Both in mm."""
    source: str = COMMON_PRACTICE


LIKELY: Final[tuple[LikelyLength, ...]] = (
    LikelyLength("board", "length", 40, 3000),
    LikelyLength("board", "width", 40, 3000),
    LikelyLength("board", "thickness", 2.5, 120),
    LikelyLength("tread", "front", 300, 3000),
    LikelyLength("tread", "back", 60, 3000),
    LikelyLength("tread", "depth", 120, 1500),
    LikelyLength("tread", "thickness", 10, 100),
    LikelyLength("tread", "nosing", 5, 80),
    LikelyLength("riser", "front", 300, 3000),
    LikelyLength("riser", "depth", 80, 300),
    LikelyLength("riser", "height", 80, 300),
    LikelyLength("riser", "thickness", 3, 60),
    LikelyLength("part", "front", 50, 12000),
    LikelyLength("part", "back", 50, 12000),
    LikelyLength("part", "depth", 14, 3000),
    LikelyLength("part", "height", 14, 3000),
    LikelyLength("part", "thickness", 3, 150),
    LikelyLength("part", "nosing", 5, 80),
    LikelyLength("added", "thickness", 1.5, 200),
    LikelyLength("saw cut", "width", 0.5, 10),
    LikelyLength("cutting", "allowance", 2, 300),
    LikelyLength("stock", "length", 300, 12000),
    LikelyLength("stock", "width", 40, 2000),
    LikelyLength("room", "side", 500, 60000),
    LikelyLength("room", "other side", 500, 60000),
)
"""Lengths by what has them; “part” is any part of the stair that has no row of its own."""


def likely_length(kind: str, field: str) -> LikelyLength | None:
    """Return what a length can be, None where nothing is known of it."""
    rows = {(row.kind, row.field): row for row in LIKELY}
    return rows.get((kind, field)) or rows.get(("part", field))


def hard_limit(section: str, field: str) -> HardLimit | None:
    """Return the bounds of a field, None where it has none."""
    bounded = (row for row in HARD if row.section == section and row.field == field)
    return next((row for row in bounded if row.low is not None or row.high is not None), None)


def check_number(section: str, field: str, value: float) -> None:
    """Hold a number against its hard limit.

    Raises
    ------
    UsageError
        ``"<field>-out-of-range"`` with hyphens for underscores.
    """
    row = hard_limit(section, field)
    if row is None:
        return
    low_passed = row.low is not None and (value <= row.low if row.above_low else value < row.low)
    if not math.isfinite(value) or low_passed or (row.high is not None and value > row.high):
        unit = f" {row.unit}" if row.unit else ""
        raise UsageError(row.code, f"The {row.words} cannot be {value:g}{unit}.", row.hint)
