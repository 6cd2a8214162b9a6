"""Which one more photo would do most to settle which board is the best."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["NextPhoto"]


@dataclass(frozen=True, slots=True)
class NextPhoto:
    """One more photo, and what it is expected to bring."""

    what: Literal["board with floor", "floor"]
    board: str | None
    """The board to photograph; None for the floor alone."""
    now: float
    """Chance that the board picked today is truly the best."""
    then: float
    """That chance after the photo, averaged over what the photo may show."""
    in_words: str = ""

    @property
    def gain(self) -> float:
        """By how much the chance of picking the right board grows."""
        return self.then - self.now

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form."""
        return {
            "what": self.what,
            "board": self.board,
            "chance_right_now": round(self.now, 4),
            "chance_right_then": round(self.then, 4),
            "in_words": self.in_words,
        }
