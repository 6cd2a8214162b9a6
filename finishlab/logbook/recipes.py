"""Recipes, cans and the standard in a logbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord
from finishlab.errors import LogbookError, UsageError
from finishlab.logbook import writing as rows
from finishlab.logbook.database import Transactions
from finishlab.logbook.entities import check_named, edit, find, record_in
from finishlab.logbook.reading import read_approvals, read_numbered
from finishlab.logbook.stored import StoredApproval, StoredCan, StoredRecipe
from finishlab.logbook.tables import ApprovalRow, BatchRow, BoardRow, ChangeRow, RecipeRow
from finishlab.recipe import Approval, Can, Recipe
from finishlab.record import today

STANDARD = "standard"
"""Name of the standard in the history."""


class RecipeStore(Transactions):
    """The part of a logbook that keeps recipes, cans and the standard; `finishlab.logbook.store.Logbook` is one."""

    # Recipes

    def add_recipe(self, recipe: Recipe) -> StoredRecipe:
        """Log a recipe and give it its number.

        Raises
        ------
        LogbookError
            ``"recipe-name-taken"``, or ``"unknown-can"`` if it names a can that is not logged.
        """
        with self._write() as session:
            number = _add_recipe(session, recipe, self._who)
            return read_numbered(session, RecipeRow, Recipe, number=number)[0]

    def recipes(self) -> list[StoredRecipe]:
        """Return the recipes by number."""
        with self._read() as session:
            return read_numbered(session, RecipeRow, Recipe)

    def recipe(self, number: str) -> StoredRecipe:
        """Return one recipe, by its number or by its name.

        Raises
        ------
        LogbookError
            ``"unknown-recipe"``.
        """
        with self._read() as session:
            return read_numbered(session, RecipeRow, Recipe, number=_named(session, number).number)[0]

    def edit_recipe(self, number: str, **changes: Any) -> StoredRecipe:  # noqa: ANN401 - each field has its own type
        """Change fields of a recipe; what boards have on them, and what was approved, does not change with it.

        Raises
        ------
        LogbookError
            ``"unknown-recipe"``, ``"unknown-can"``, ``"recipe-name-taken"``.
        UsageError
            ``"unknown-field"``, or what `Recipe` raises.
        """
        with self._write() as session:
            row = _named(session, number, lock=True)
            if "name" in changes:
                check_recipe_name(session, str(changes["name"]), row.number)
            edit(session, row, changes, self._who)
            return read_numbered(session, RecipeRow, Recipe, number=row.number)[0]

    # Cans

    def add_can(self, can: Can) -> StoredCan:
        """Log a can and give it its number."""
        with self._write() as session:
            number = rows.add_row(session, BatchRow, can)
            rows.note_change(session, self._who, "add", f"C{number}", after=can.as_dict())
            return read_numbered(session, BatchRow, Can, number=number)[0]

    def cans(self, *, removed: bool = False) -> list[StoredCan]:
        """Return the cans by number; with `removed`, those that are gone too."""
        with self._read() as session:
            return read_numbered(session, BatchRow, Can, removed=removed)

    def can(self, number: str) -> StoredCan:
        """Return one can.

        Raises
        ------
        LogbookError
            ``"unknown-can"``.
        """
        with self._read() as session:
            return read_numbered(session, BatchRow, Can, number=find(session, BatchRow, number).number)[0]

    def edit_can(self, number: str, **changes: Any) -> StoredCan:  # noqa: ANN401 - each field has its own type
        """Change fields of a can; the values before are kept in the history.

        Raises
        ------
        LogbookError
            ``"unknown-can"``.
        UsageError
            ``"unknown-field"``, or what `Can` raises.
        """
        with self._write() as session:
            row = find(session, BatchRow, number, lock=True)
            edit(session, row, changes, self._who)
            return read_numbered(session, BatchRow, Can, number=row.number)[0]

    # The standard

    def approve(self, number: str, *, reason: str | None = None, date: dt.date | None = None) -> StoredApproval:
        """Make a board's recipe the standard; the standard before stays on record.

        A board without a recipe gets a new one, made from its finish. What is approved is what is on the board;
        where its recipe was approved by it before and edited since, the recipe as it stands.

        Raises
        ------
        LogbookError
            ``"unknown-board"``.
        UsageError
            ``"bad-date"`` or ``"future-date"``.
        """
        with self._write() as session:
            row = find(session, BoardRow, number, lock=True)
            record = record_in(BoardRecord, row)
            if row.recipe_number is None:
                name = _free_name(session, record.recipe_name)
                made = _add_recipe(session, Recipe(name, record.whole_finish), self._who)
                edit(session, row, {"recipe_number": made}, self._who)
            recipe = record_in(Recipe, session.get_one(RecipeRow, row.recipe_number))
            by_recipe = record.finish is None and record.recipe_number is not None
            if by_recipe or _edited_since_approved(session, int(row.recipe_number or 0), row.number):
                finish = recipe.finish
            else:
                finish = record.whole_finish
            approval = Approval(
                int(row.recipe_number or 0), finish.as_recipe(), self._who, row.number, date or today(), reason
            )
            before = _set_standard(session, approval)
            rows.note_change(session, self._who, "approve", STANDARD, before=before, after=approval.as_dict())
            return read_approvals(session)[-1]

    def standard(self) -> StoredApproval | None:
        """Return today's standard, None while none is approved."""
        return next((each for each in reversed(self.standards()) if each.ended is None), None)

    def standards(self) -> tuple[StoredApproval, ...]:
        """Return every standard there was, first to last."""
        with self._read() as session:
            return tuple(read_approvals(session))


def _edited_since_approved(session: Session, recipe: int, board: int) -> bool:
    """Return whether a recipe was edited since this board was the last it was approved by."""
    mine = [each for each in read_approvals(session) if each.approval.recipe_number == recipe]
    approved = [each.created for each in mine[-1:] if each.approval.board_number == board]
    row = ChangeRow
    edits = session.scalars(select(row.made).where(row.what == "edit", row.subject == f"R{recipe}"))
    return bool(approved) and any(made > approved[-1] for made in edits)


def _set_standard(session: Session, approval: Approval) -> dict[str, Any] | None:
    """Let the standard end and another begin; return what it was, None if there was none."""
    old = _today(session)
    before = None
    if old is not None:
        before = next(each for each in reversed(read_approvals(session)) if each.ended is None).approval.as_dict()
        old.ended = rows.now()
    session.add(ApprovalRow(created=rows.now(), **rows.record_values(approval)))
    return before


def _today(session: Session) -> ApprovalRow | None:
    return session.scalars(
        select(ApprovalRow).where(ApprovalRow.ended.is_(None)).order_by(ApprovalRow.id.desc())
    ).first()


def _add_recipe(session: Session, recipe: Recipe, who: str) -> int:
    check_recipe_name(session, recipe.name, None)
    check_named(session, recipe)
    number = rows.add_row(session, RecipeRow, recipe)
    rows.note_change(session, who, "add", f"R{number}", after=recipe.as_dict())
    return number


def _named(session: Session, name: str, *, lock: bool = False) -> RecipeRow:
    """Return a recipe by its number, or by its name where that is not a number."""
    plain = " ".join(name.split())
    called = select(RecipeRow).where(func.lower(RecipeRow.name) == plain.lower(), RecipeRow.removed.is_(None))
    row = session.scalars(called.with_for_update() if lock else called).first()
    return row if row is not None else find(session, RecipeRow, name, lock=lock)


def _names(session: Session) -> Mapping[str, int]:
    shown = session.execute(select(RecipeRow.name, RecipeRow.number).where(RecipeRow.removed.is_(None)))
    return {name.casefold(): number for name, number in shown}


def check_recipe_name(session: Session, name: str, own: int | None) -> None:
    """See that a name means one recipe."""
    taken = _names(session).get(" ".join(name.split()).casefold())
    if taken is not None and taken != own:
        raise LogbookError("recipe-name-taken", f"R{taken} is named “{name}” already.", "Give it another name.")


def _free_name(session: Session, name: str) -> str:
    taken = _names(session)
    tried, count = name, 1
    while tried.casefold() in taken:
        count += 1
        tried = f"{name[:190]} ({count})"
    return tried


def chosen_recipe(log: RecipeStore, name: str | None) -> tuple[int, Recipe, dt.date | None]:
    """Return the recipe that is meant: of none named the standard, else the only one.

    Its number, the recipe as approved where it is the standard, and the day it became that.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"``, ``"no-recipe"``.
    UsageError
        ``"which-recipe"``.
    """
    standard = log.standard()
    recipes = log.recipes()
    if name is not None:
        found = log.recipe(name)
    elif standard is not None:
        found = log.recipe(standard.approval.recipe)
    elif len(recipes) == 1:
        found = recipes[0]
    elif not recipes:
        raise LogbookError("no-recipe", "There is no recipe yet.", "Make one of a board: finishlab recipe --help")
    else:
        names = ", ".join(each.number for each in recipes)
        raise UsageError("which-recipe", f"There are several recipes: {names}.", "Name one, or approve one.")
    number = found.number.key
    if standard is None or standard.approval.recipe_number != number:
        return number, found.record, None
    # What was decided is the finish as it was on that day, whatever became of the recipe since.
    approved = Recipe(found.record.name, standard.approval.finish, found.record.note)
    return number, approved, standard.approval.date
