"""A board's record put together from a logged board, a recipe, a file, options and answers; the later ones win."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final, Protocol

from finishlab.errors import UsageError
from finishlab.logbook import Logbook, StoredRecipe
from finishlab.records import CLEAR_ONLY, BoardRecord, ColourStep, Finish, Looking, Preparation, Seal, Topcoat
from finishlab.records.entries import Checked
from finishlab.records.finish_text import changed, parse_fields, step_changes
from finishlab.records.short_text import long_form, short_form

__all__ = ["SECTIONS", "Draft", "Entered", "FinishTexts", "HasRecipes", "draft_like", "draft_of", "entered_texts"]

SECTIONS: Final[Mapping[str, type[Checked]]] = {
    "preparation": Preparation,
    "seal": Seal,
    "topcoat": Topcoat,
    "looking": Looking,
}
"""The sections of a finish that there are once."""

_OF_THE_PHOTO: Final = ("date", "light")
_OF_THE_BOARD: Final = ("date", "light", "note", "purpose")
_SHORT: Final = ("stain", "coats", "topcoat")


class HasRecipes(Protocol):
    """Whatever finds a recipe by its number or name: a logbook, or what remembers those it found."""

    @property
    def recipe(self) -> Callable[[str], StoredRecipe]:
        """Return what finds a recipe; it raises `LogbookError` ``"unknown-recipe"``."""


@dataclass(frozen=True, slots=True)
class FinishTexts:
    """What was typed of a finish, and where the rest is to come from."""

    preparation: str | None = None
    steps: tuple[str, ...] = ()
    seal: str | None = None
    top: str | None = None
    looking: str | None = None
    recipe: str | None = None
    like: str | None = None
    file: str | None = None
    row: int | None = None
    ask: bool = False

    def given(self) -> tuple[str, ...]:
        """Return the names of the options that were given."""
        names = {"steps": "step", "file": "from"}
        return tuple(names.get(f.name, f.name) for f in fields(self) if getattr(self, f.name) not in {None, (), False})


@dataclass(frozen=True, slots=True)
class Entered:
    """What one source says of a board; what it does not say is left out."""

    fields: Mapping[str, Any] = field(default_factory=dict)
    """Fields of the record in short; ``recipe`` is a recipe's number or name."""
    sections: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """Section -> its fields."""
    steps: tuple[ColourStep, ...] = ()
    step_texts: tuple[str, ...] = ()

    def on(self, finish: Finish) -> Finish:
        """Return a finish with what is said here in its place."""
        made: dict[str, Any] = {
            name: changed(SECTIONS[name], getattr(finish, name), said) for name, said in self.sections.items()
        }
        if "preparation" in made:
            made["preparation"] = made["preparation"] or Preparation()
        whole = replace(finish, **made)
        if self.steps:
            whole = replace(whole, steps=self.steps)
        return step_changes(whole, self.step_texts) if self.step_texts else whole


@dataclass(frozen=True, slots=True)
class Draft:
    """A board's record on its way: not checked as a whole before `record`."""

    fields: Mapping[str, Any] = field(default_factory=dict)
    """Fields of the record but its finish."""
    finish: Finish = field(default_factory=Finish)
    logged: bool = False
    """Whether the board is logged: naming its recipe then does not put the recipe's finish over its own."""

    def with_said(self, log: HasRecipes, said: Iterable[Entered]) -> Draft:
        """Return the draft with what sources say, the later before the earlier.

        Raises
        ------
        UsageError
            What a section cannot be.
        LogbookError
            ``"unknown-recipe"``.
        """
        draft = self
        for each in said:
            draft = draft._with(log, each)
        return draft

    def _with(self, log: HasRecipes, said: Entered) -> Draft:
        values = {name: value for name, value in said.fields.items() if name != "recipe"}
        finish = self.finish
        if said.fields.get("recipe") is not None:
            recipe = log.recipe(str(said.fields["recipe"]))
            values["recipe_number"] = recipe.number.key
            if not self.logged or finish.as_recipe().is_empty():
                finish = recipe.record.finish.with_wood_of(finish)
        return self.with_finish(said.on(finish), values)

    def with_finish(self, finish: Finish, values: Mapping[str, Any]) -> Draft:
        """Return the draft with another finish; stain, coats and topcoat follow it where they are not said."""
        before, after = short_form(self.finish), short_form(finish)
        follows = {}
        for name in _SHORT:
            was, now = before.get(name), after.get(name)
            if was != now and (now is not None or self.fields.get(name) == was):
                follows[name] = now
        return Draft({**self.fields, **follows, **values}, finish, self.logged)

    def without(self, names: Iterable[str]) -> Draft:
        """Return the draft with fields or sections taken out."""
        empty: dict[str, Any] = {"preparation": Preparation(), "steps": (), "seal": None, "top": None, "looking": None}
        named = list(names)
        gone = {"topcoat" if name == "top" else name: empty[name] for name in named if name in empty}
        values = dict.fromkeys(name for name in named if name not in empty)
        return self.with_finish(replace(self.finish, **gone), values)

    def record(self, *, keep_date: bool = False) -> BoardRecord:
        """Return the record; with `keep_date` its date is not held against today.

        Raises
        ------
        UsageError
            If a value cannot be meant.
        """
        if self.fields.get("species") is None:
            raise UsageError("no-species", "The board has no species.", "Say which wood it is, e.g. --species ash.")
        made = BoardRecord(**self.fields, finish=self.finish, latest=dt.date.max if keep_date else None)
        unsaid = not self.logged and self.fields.get("purpose") is None
        return replace(made, purpose=CLEAR_ONLY, latest=dt.date.max) if unsaid and _clear_only(made) else made

    def changes(self, before: BoardRecord) -> dict[str, Any]:
        """Return the fields that differ from a logged record."""
        made = {**self.fields, "finish": None if self.finish.is_empty() else self.finish}
        return {name: value for name, value in made.items() if value != getattr(before, name)}


def _clear_only(record: BoardRecord) -> bool:
    """Return whether a board has a topcoat and nothing that colours it: it then is the clear-only control."""
    whole = long_form(record)
    return whole.topcoat is not None and not whole.steps and not record.coats


def draft_of(record: BoardRecord, leave_out: Iterable[str] = (), *, logged: bool = False) -> Draft:
    """Return a record as a draft."""
    left = {*leave_out, "finish"}
    kept = {f.name: getattr(record, f.name) for f in fields(record) if f.name not in left}
    return Draft(kept, record.finish or Finish(), logged)


def draft_like(log: Logbook, number: str, own: Draft | None = None) -> Draft:
    """Return a draft as another board's record says it.

    A new board has its own day and light; a logged one also keeps its note, purpose and what belongs to its wood.

    Raises
    ------
    LogbookError
        ``"unknown-board"``.
    """
    like = log.board(number).record
    if own is not None:
        copied = draft_of(like, _OF_THE_BOARD)
        return Draft({**own.fields, **copied.fields}, copied.finish.with_wood_of(own.finish), own.logged)
    copied = draft_of(like, _OF_THE_PHOTO)
    purpose = "candidate" if like.purpose == "approved standard" else like.purpose  # only one board was approved
    return Draft({**copied.fields, "purpose": purpose}, copied.finish)


def entered_texts(values: Mapping[str, Any], texts: FinishTexts) -> Entered:
    """Return what options say.

    Raises
    ------
    UsageError
        What `finishlab.records.finish_text.parse_fields` raises.
    """
    typed = {"preparation": texts.preparation, "seal": texts.seal, "topcoat": texts.top, "looking": texts.looking}
    sections = {name: parse_fields(SECTIONS[name], text) for name, text in typed.items() if text is not None}
    given = {name: value for name, value in values.items() if value is not None}
    if texts.recipe is not None:
        given["recipe"] = texts.recipe
    return Entered(given, sections, step_texts=texts.steps)
