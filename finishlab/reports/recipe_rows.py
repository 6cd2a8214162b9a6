"""What pages of recipes, standards and cans are made of."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from finishlab.records import Approval, Batch, Recipe

__all__ = ["CanRow", "RecipeRow", "StandardRow"]


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """A recipe and what is finished by it."""

    number: str
    record: Recipe
    standard_since: dt.date | None
    """Day it was made the standard, None if it is not today's."""
    boards: tuple[str, ...]
    parts: tuple[str, ...]
    """Stair parts as people name them."""
    parts_listed: str = ""
    """The same in one line."""


@dataclass(frozen=True, slots=True)
class StandardRow:
    """A standard, today's or one that was."""

    approval: Approval
    name: str | None
    """The recipe's name, None if it was removed."""
    ended: dt.date | None
    """None for today's."""


@dataclass(frozen=True, slots=True)
class CanRow:
    """A can and what it went on."""

    number: str
    record: Batch
    went_on: tuple[str, ...] = ()
    """Each coat from it, one a line."""
    told: tuple[str, ...] = ()
    """The same in few lines, parts that got the same together."""
