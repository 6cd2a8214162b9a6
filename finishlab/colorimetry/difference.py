"""Differences between two colours: CIEDE2000 with its interval, signed differences, and their words.

Sources: ISO/CIE 11664-6:2022 (CIEDE2000); ASTM D2244 and CIE 015:2018 (signed differences).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from finishlab.colorimetry.ciede2000 import delta_e_00
from finishlab.colorimetry.estimate import LabEstimate

__all__ = [
    "BANDS",
    "PUBLISHED_THRESHOLDS",
    "DeltaE",
    "SignedDifference",
    "band",
    "delta_e_00",
    "delta_e_interval",
    "describe",
    "signed_difference",
]

PUBLISHED_THRESHOLDS: Final[tuple[tuple[str, float, float, str], ...]] = (
    ("CIEDE2000", 0.8, 1.8, "half of observers perceive / accept it, tooth colours: Paravina et al. 2015"),
    ("CIE 1976", 0.5, 2.0, "begins to be visible / reads as another colour, finished wood: Drvna industrija 2020, 2"),
)
"""Formula, first and second threshold, what they mean and who says so. None is a tolerance for stained wood: no such
tolerance is published."""

BANDS: Final[tuple[tuple[float, str], ...]] = (
    (0.8, "hardly any difference"),
    (1.8, "very close"),
    (3.5, "close"),
    (6.0, "clearly different"),
    (math.inf, "another colour"),
)
"""Upper end (CIEDE2000) and words of each band. The bands are this tool's own: the first two ends are set at the two
thresholds of Paravina et al. 2015, the others by judgement."""

_DEGREES: Final[tuple[tuple[float, str], ...]] = ((1.5, "a touch "), (3.0, ""), (math.inf, "much "))
"""Upper end (CIEDE2000 of that direction alone) and the word before it; the tool's own."""
_NOTICED: Final = 0.5
"""Below this a direction is not named."""

_WORDS: Final = (("darker", "lighter"), ("greener", "pinker"), ("bluer", "more golden"))
_WOOD: Final = (58.0, 8.0, 24.0)
"""The middle of wood colours."""


@dataclass(frozen=True, slots=True)
class DeltaE:
    """A CIEDE2000 difference with its 95 % interval.

    Raises
    ------
    ValueError
        If a figure is negative or not finite, or the value lies outside its interval.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.value <= self.high < math.inf:
            raise ValueError("a difference must be finite, not negative and inside its interval")

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form."""
        return {"value": self.value, "low": self.low, "high": self.high}


@dataclass(frozen=True, slots=True)
class SignedDifference:
    """Board minus floor in each direction of CIELAB (ASTM D2244), CIELAB units, not weighted as CIEDE2000 weights them.

    Raises
    ------
    ValueError
        If a figure is not finite.
    """

    dL: float
    """Above 0: the board is lighter."""
    da: float
    """Above 0: the board is redder (the trade says pinker)."""
    db: float
    """Above 0: the board is yellower (the trade says more golden)."""
    dC: float
    """Above 0: the board is more colourful."""
    dH: float
    """Metric hue difference. Above 0: the board's hue angle is larger, which among wood colours is more golden."""
    middle: tuple[float, float, float] = _WOOD
    """The colour half-way between the two, at which the directions are weighed."""

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for v in (self.dL, self.da, self.db, self.dC, self.dH)):
            raise ValueError("a signed difference must be finite")

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form."""
        return {"dL": self.dL, "da": self.da, "db": self.db, "dC": self.dC, "dH": self.dH}

    def weighed(self) -> tuple[float, float, float]:
        """Return the differences in L*, a* and b* alone as CIEDE2000 weighs them at this colour, with their signs."""
        middle, steps = np.array(self.middle), np.diag((self.dL, self.da, self.db))
        sizes = delta_e_00(middle - steps / 2.0, middle + steps / 2.0).tolist()
        signed = (math.copysign(s, d) for s, d in zip(sizes, (self.dL, self.da, self.db), strict=True))
        return next(signed), next(signed), next(signed)


def signed_difference(lab_board: ArrayLike, lab_floor: ArrayLike) -> SignedDifference:
    """Board minus floor, direction by direction (ASTM D2244; CIE 015:2018).

    Parameters
    ----------
    lab_board, lab_floor
        CIELAB D65 2 degrees, shape (3,).
    """
    l1, a1, b1 = (float(v) for v in np.asarray(lab_board, dtype=np.float64))
    l0, a0, b0 = (float(v) for v in np.asarray(lab_floor, dtype=np.float64))
    c1, c0 = math.hypot(a1, b1), math.hypot(a0, b0)
    turn = math.atan2(a0 * b1 - b0 * a1, a0 * a1 + b0 * b1)
    hue = 2.0 * math.sqrt(c1 * c0) * math.sin(turn / 2.0)
    middle = ((l1 + l0) / 2.0, (a1 + a0) / 2.0, (b1 + b0) / 2.0)
    return SignedDifference(l1 - l0, a1 - a0, b1 - b0, c1 - c0, hue, middle)


def delta_e_interval(one: LabEstimate, two: LabEstimate, extra_covariance: ArrayLike | None = None) -> DeltaE:
    """CIEDE2000 between two uncertain colours with its 95 % interval.

    Effects with the same name and scope move both colours together and largely cancel.

    Parameters
    ----------
    one, two
        The two colours, in either order.
    extra_covariance
        A further covariance of their difference, shape (3, 3), CIELAB units squared.

    Returns
    -------
    DeltaE
        `value` is the difference of the two means, not corrected for the lift by noise; the interval is (see
        `finishlab.colorimetry.interval`).
    """
    from finishlab.colorimetry.interval import difference_intervals, joint_covariance

    joint = joint_covariance(one, two, extra_covariance)
    value, low, high = difference_intervals(one.lab, two.lab, joint)
    return DeltaE(float(value), float(low), float(high))


def band(delta_e00: float) -> str:
    """Return the words of the band a CIEDE2000 difference falls in (see `BANDS`)."""
    return next(words for end, words in BANDS if delta_e00 < end)


def describe(difference: SignedDifference, delta_e00: DeltaE | None = None, reference: str = "the floor") -> str:
    """Say a signed difference in lay words, the direction first that CIEDE2000 finds the largest at this colour.

    Parameters
    ----------
    difference
        Board minus `reference`.
    delta_e00
        The CIEDE2000 of the same pair; puts its band first, and says so when there may be no difference at all.
    reference
        What the board is compared with, as it shall stand in the sentence.

    Returns
    -------
    str
        A phrase to stand in a sentence or a table, e.g. ``"close, a touch darker and pinker than the floor"``.
    """
    sizes = zip(difference.weighed(), _WORDS, strict=True)
    named = sorted(((size, words) for size, words in sizes if abs(size) >= _NOTICED), key=lambda each: -abs(each[0]))
    groups: dict[str, list[str]] = {}
    for size, words in named:
        degree = next(word for end, word in _DEGREES if abs(size) < end)
        groups.setdefault(degree, []).append(words[size > 0])
    told = f"{_joined(groups)} than {reference}" if groups else ""
    if delta_e00 is not None:
        unsure = delta_e00.low == 0.0
        how_far = band(delta_e00.value)
        if unsure and delta_e00.value >= BANDS[1][0]:
            how_far = f"perhaps {how_far}"
        told = f"{how_far}, {told}" if told else how_far
        if unsure:
            told += "; there may also be no difference" if groups else "; there may be none at all"
    return told or f"much like {reference}"


def _joined(groups: dict[str, list[str]]) -> str:
    """Join words with commas and one 'and', each in its degree; no word may seem to borrow another's."""
    spoken: list[str] = []
    for degree, words in groups.items():
        # one degree for all is said once; after another degree a plain word is set off
        before = degree or ("also " if spoken else "")
        again = degree if len(groups) > 1 else ""
        spoken += [before + words[0], *(again + word for word in words[1:])]
    return spoken[0] if len(spoken) == 1 else ", ".join(spoken[:-1]) + " and " + spoken[-1]
