"""Which recipe is meant where none is named: the standard, else the only one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from finishlab.errors import UsageError
from finishlab.records import Recipe

if TYPE_CHECKING:
    import datetime as dt

    from finishlab.logbook import Logbook

__all__ = ["chosen_recipe"]


def chosen_recipe(log: Logbook, name: str | None) -> tuple[int, Recipe, dt.date | None]:
    """Return number and recipe, as approved where it is the standard, and the day it became that."""
    standard = log.standard()
    recipes = log.recipes()
    if name is not None:
        found = log.recipe(name)
    elif standard is not None:
        found = log.recipe(standard.approval.recipe)
    elif len(recipes) == 1:
        found = recipes[0]
    elif not recipes:
        raise UsageError("no-recipe", "There is no recipe yet.", "Make one of a board: finishlab recipe --help")
    else:
        names = ", ".join(each.number for each in recipes)
        raise UsageError("which-recipe", f"There are several recipes: {names}.", "Name one, or approve one.")
    number = found.number.key
    if standard is None or standard.approval.recipe_number != number:
        return number, found.record, None
    # What was decided is the finish as it was on that day, whatever became of the recipe since.
    approved = Recipe(found.record.name, standard.approval.finish, found.record.note)
    return number, approved, standard.approval.date
