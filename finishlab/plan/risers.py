"""The riser check: do the risers still fit after a new floor and new treads.

Only the first and the last riser change: the new floor raises where one stands, the new treads raise where one steps.
The figures of the model code are those of the International Residential Code, 2018 edition, section R311.7, as they
are often quoted. **The local code and the inspector decide; editions and amendments differ.**
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.errors import UsageError
from finishlab.units import MM_PER_INCH

__all__ = ["CODE", "NOSING", "NO_NOSING_FROM", "WHO_DECIDES", "CodeFigure", "RiserCheck", "check_risers"]

CODE: Final = "International Residential Code (US model code), 2018 edition, section R311.7"
WHO_DECIDES: Final = "The local code and the inspector decide; editions and amendments differ."

MOST_RISER: Final = 7.75 * MM_PER_INCH
MOST_VARIATION: Final = 0.375 * MM_PER_INCH
"""Between the largest and the smallest riser of a flight, mm."""
LEAST_TREAD: Final = 10 * MM_PER_INCH
NOSING: Final = (0.75 * MM_PER_INCH, 1.25 * MM_PER_INCH)
NO_NOSING_FROM: Final = 11 * MM_PER_INCH
"""From this tread depth on no nosing is asked for, mm (R311.7.5.3, exception; from memory)."""
_TOLERANCE: Final = 0.01
"""Millimetres: what rounding of inches does."""


@dataclass(frozen=True, slots=True)
class CodeFigure:
    """One figure held against the model code: mm; a limit that is not set is None."""

    what: str
    value: float
    least: float | None = None
    most: float | None = None

    @property
    def holds(self) -> bool:
        """Whether it is within the limits, to a hundredth of a millimetre."""
        above = self.least is None or self.value >= self.least - _TOLERANCE
        return above and (self.most is None or self.value <= self.most + _TOLERANCE)


@dataclass(frozen=True, slots=True)
class RiserCheck:
    """Risers of one flight before and after, mm, from the bottom up, and the figures held against the model code.

    ``tread_allowed`` is from which to which thickness added to each tread the risers would hold, None if no thickness
    does.
    """

    before: tuple[float, ...]
    after: tuple[float, ...]
    figures: tuple[CodeFigure, ...]
    tread_allowed: tuple[float, float] | None
    tread_now: float | None = None
    """Thickness of the treads that are taken out, mm; None where new ones lie on them, or nobody says."""
    tread_added: float = 0.0
    """By how much each tread becomes higher, mm."""
    nosing_open: bool = False
    """Whether the treads are so shallow that a nosing is asked for, and none was measured."""

    @property
    def thickness_allowed(self) -> tuple[float, float] | None:
        """The thinnest and the thickest new tread with which the risers hold, mm, where the old ones are taken out."""
        if self.tread_now is None or self.tread_allowed is None:
            return None
        low, high = (self.tread_now + added for added in self.tread_allowed)
        return (max(low, 0.0), high) if high > 0 else None

    @property
    def variation(self) -> float:
        """Largest less smallest riser afterwards, mm."""
        return max(self.after) - min(self.after)

    @property
    def holds(self) -> bool:
        """Whether every figure is within the model code's."""
        return all(figure.holds for figure in self.figures)


def check_risers(
    risers: Sequence[float],
    *,
    tread_added: float = 0.0,
    lower_added: float = 0.0,
    upper_added: float = 0.0,
    tread_depth: float | None = None,
    nosing: float | None = None,
    tread_now: float | None = None,
) -> RiserCheck:
    """Return the risers of a flight after new coverings, held against the model code.

    The first riser becomes r1 + tread added - lower floor added, the last rN + upper floor added - tread added, those
    between stay (arithmetic). A single riser stands between both floors and has no tread.

    Parameters
    ----------
    risers
        Heights now, mm, from the bottom up, floor to tread to floor.
    tread_added
        By how much each tread becomes higher, mm: new tread less what is taken away; may be negative.
    lower_added, upper_added
        By how much the floor below and above becomes higher, mm.
    tread_depth
        Nosing to nosing, mm, if it is to be checked.
    nosing
        How far a tread stands out over its riser, mm, if it is to be checked. Treads of 11 in and more need none; one
        that is there is still held against the most.
    tread_now
        Thickness of the treads that are taken out, mm: then the thinnest and thickest new one are known too.

    Raises
    ------
    UsageError
        ``"no-risers"``; ``"bad-riser"`` if a riser is or becomes no height at all.
    """
    if not risers:
        raise UsageError("no-risers", "No riser is given.", "Measure each riser, from the bottom up.")
    after = _after(risers, tread_added, lower_added, upper_added)
    for number, (old, new) in enumerate(zip(risers, after, strict=True), start=1):
        if not 0 < old < 1000 or new <= 0:
            raise UsageError("bad-riser", f"Riser {number} cannot be {min(old, new):.1f} mm.", "Measure it again.")
    figures = [
        CodeFigure("highest riser", max(after), most=MOST_RISER),
        CodeFigure("risers differ by", max(after) - min(after), most=MOST_VARIATION),
    ]
    if tread_depth is not None:
        figures.append(CodeFigure("tread, nosing to nosing", tread_depth, least=LEAST_TREAD))
    asked = tread_depth is None or tread_depth < NO_NOSING_FROM - _TOLERANCE
    if nosing is not None:
        figures.append(CodeFigure("nosing", nosing, least=NOSING[0] if asked else None, most=NOSING[1]))
    allowed = _tread_allowed(risers, lower_added, upper_added)
    nosing_open = tread_depth is not None and asked and nosing is None
    return RiserCheck(tuple(risers), after, tuple(figures), allowed, tread_now, tread_added, nosing_open)


def _after(risers: Sequence[float], tread: float, lower: float, upper: float) -> tuple[float, ...]:
    new = list(risers)
    if len(new) == 1:
        tread = 0.0
    new[0] += tread - lower
    new[-1] += upper - tread
    return tuple(new)


def _tread_allowed(risers: Sequence[float], lower: float, upper: float) -> tuple[float, float] | None:
    """Return between which thicknesses added all risers hold; each rule is linear in the thickness."""
    if len(risers) == 1:
        return None
    first, last, between = risers[0] - lower, risers[-1] + upper, risers[1:-1]
    least, most = [last - MOST_RISER], [MOST_RISER - first]
    for each in (max(between), min(between)) if between else ():
        least += [each - MOST_VARIATION - first, last - each - MOST_VARIATION]
        most += [each + MOST_VARIATION - first, last - each + MOST_VARIATION]
    least.append((last - first - MOST_VARIATION) / 2)
    most.append((last - first + MOST_VARIATION) / 2)
    if between and (max(between) > MOST_RISER or max(between) - min(between) > MOST_VARIATION):
        return None
    low, high = max(least), min(most)
    return (low, high) if low <= high + _TOLERANCE else None
