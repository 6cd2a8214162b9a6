"""A recipe that boards and parts share, and the decision that makes one the standard."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field

from finishlab.errors import UsageError
from finishlab.records.base import DatedRecord, Record
from finishlab.records.finish import Finish
from finishlab.records.numbers import Number, named
from finishlab.records.tidy import checked_date, line, note_text, tidy, today

__all__ = ["Approval", "Recipe"]


@dataclass(frozen=True, slots=True)
class Recipe(Record):
    """A named finish; number 3 is shown as R3.

    Raises
    ------
    UsageError
        ``"no-name"``, ``"text-too-long"``.
    """

    name: str
    finish: Finish = field(default_factory=Finish)
    note: str | None = None

    def __post_init__(self) -> None:
        name = line("name", self.name)
        if name is None:
            raise UsageError("no-name", "The recipe has no name.", "Name it, e.g. “honey, satin”.")
        finish = Finish.from_dict(self.finish) if isinstance(self.finish, Mapping) else self.finish
        tidy(self, name=name, finish=finish.as_recipe(), note=note_text(self.note))


@dataclass(frozen=True, slots=True)
class Approval(DatedRecord):
    """The decision that a recipe is the standard.

    Raises
    ------
    UsageError
        ``"bad-date"``, ``"future-date"``, ``"text-too-long"``.
    """

    recipe_number: int
    finish: Finish
    """The recipe as it was approved: a later change of the recipe does not change what was decided."""
    who: str
    board_number: int | None = None
    date: dt.date = field(default_factory=today)
    reason: str | None = None
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        finish = Finish.from_dict(self.finish) if isinstance(self.finish, Mapping) else self.finish
        tidy(
            self,
            finish=finish,
            who=line("name of who decided", self.who) or "unknown",
            date=checked_date(self.date, latest, "it was decided"),
            reason=note_text(self.reason),
        )

    @property
    def recipe(self) -> Number:
        """The recipe as people write it, ``"R1"``."""
        return Number.of("R", self.recipe_number)

    @property
    def board(self) -> Number | None:
        """The approved board as people write it, ``"B3"``."""
        return named("B", self.board_number)
