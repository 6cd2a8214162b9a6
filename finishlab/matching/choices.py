"""Match or contrast: the best board under each aim, and what choosing it costs under the other."""

from __future__ import annotations

from dataclasses import dataclass

from finishlab.colorimetry.difference import DeltaE
from finishlab.matching.aims import Aim

__all__ = ["Choice"]


@dataclass(frozen=True, slots=True)
class Choice:
    """The best board under one aim."""

    aim: Aim
    board: str
    score: DeltaE
    """How far it is from the aim."""
    probability_best: float
    within_limits: float | None
    other: Aim
    other_score: DeltaE
    """How far the same board is from the other aim."""
    cost: float
    """How much farther from the other aim it is than that aim's own best board."""
    in_words: str = ""
