"""What people call by a letter and a number: found, changed and removed; recipes, cans and the standard."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, Final, TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord
from finishlab.errors import LogbookError, UsageError
from finishlab.logbook import writing as rows
from finishlab.logbook.database import Transactions
from finishlab.logbook.stored import StoredCan, StoredRecipe, StoredStandard, read_approvals, read_numbered
from finishlab.logbook.tables import (
    KINDS,
    AnyRow,
    ApprovalRow,
    BatchRow,
    BoardRow,
    ChangeRow,
    FloorSpotRow,
    PartRow,
    RecipeRow,
    read_record,
    record_in,
    subject_name,
)
from finishlab.logbook.writing import AnyRecord, change_light, note_change, record_values
from finishlab.recipe import Can, Recipe, Standard
from finishlab.record import runs, today

Named = TypeVar("Named", bound=AnyRow)
T = TypeVar("T")
_DIGITS: Final = re.compile(r"[0-9]{1,9}")
_MOST_NAMED: Final = 12
_NOT_JUDGED_AGAIN: Final = ("date", "opened")


def table_of(name: str) -> type[AnyRow] | None:
    """Return the table of ``"B3"``, ``"F3"``, ``"R3"``, ``"C3"`` or ``"H3"``; None if it is none of these."""
    plain = name.strip().upper()
    if not _DIGITS.fullmatch(plain[1:]):
        return None
    return next((table for table, kind in KINDS.items() if kind.letter == plain[:1]), None)


def find(session: Session, table: type[Named], number: str, *, removed: bool = False, lock: bool = False) -> Named:
    """Return the row of ``"B3"``, or ``"3"`` since the table is known.

    With `lock` it is held for this transaction, where the database locks rows.

    Raises
    ------
    LogbookError
        ``"unknown-board"``, ``"unknown-spot"``, ``"unknown-recipe"``, ``"unknown-can"``,
        ``"unknown-trial"``, with what there is in the hint; removed ones too, unless `removed`.
    """
    kind = KINDS[table]
    name = number.strip().upper()
    if _DIGITS.fullmatch(name):
        name = f"{kind.letter}{name}"
    row = None
    if name[:1] == kind.letter and _DIGITS.fullmatch(name[1:]):
        asked = select(table).where(table.number == int(name[1:]))
        row = session.scalars(asked.with_for_update() if lock else asked).first()
    if row is None:
        raise LogbookError(
            f"unknown-{kind.subject}", f"The logbook has no {kind.words} {number}.", _what_there_is(session, table)
        )
    if row.removed is not None and not removed:
        raise LogbookError(
            f"unknown-{kind.subject}",
            f"The {kind.words} {name} was removed on {row.removed.astimezone().date().isoformat()}.",
            _what_there_is(session, table),
        )
    return row


def _what_there_is(session: Session, table: type[Named]) -> str:
    kind = KINDS[table]
    numbers = session.scalars(select(table.number).where(table.removed.is_(None)).order_by(table.number)).all()
    if not numbers:
        return f"No {kind.words} is logged; add one with: {kind.command}"
    return f"Logged: {_listed(kind.letter, numbers)}."


def _listed(letter: str, numbers: Sequence[int]) -> str:
    """Return ``"B1 to B4, B7"``: runs of three or more are drawn together, and a long list is cut."""
    parts: list[str] = []
    for first, last in runs(numbers):
        parts += (
            [f"{letter}{first} to {letter}{last}"]
            if last > first + 1
            else [f"{letter}{n}" for n in sorted({first, last})]
        )
    return ", ".join(parts) if len(parts) <= _MOST_NAMED else ", ".join(parts[:_MOST_NAMED]) + " and more"


def check_named(session: Session, record: AnyRecord, before: AnyRecord | None = None) -> None:
    """See that the recipe and the cans a record names are there; those it named before may have been removed since.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"`` or ``"unknown-can"``.
    """
    recipe = getattr(record, "recipe_number", None)
    if recipe is not None and recipe != getattr(before, "recipe_number", None):
        find(session, RecipeRow, f"R{recipe}")
    for can in set(cans_of(record)) - set(cans_of(before)):
        find(session, BatchRow, f"C{can}")


def cans_of(record: AnyRecord | None) -> tuple[int, ...]:
    """Return the numbers of the cans a record names."""
    finish = getattr(record, "finish", None)
    return () if finish is None else finish.cans()


def edit(session: Session, row: AnyRow, changes: Mapping[str, Any], who: str) -> None:
    """Change fields of a record, and note what they were; no change leaves no entry.

    A new light also holds for the photos measured in the old one: it was one word for both.

    Raises
    ------
    UsageError
        ``"unknown-field"``, or what the record raises.
    LogbookError
        ``"unknown-recipe"`` or ``"unknown-can"`` if a record comes to name one that is not there.
    """
    before = read_record(row)
    known = [f.name for f in fields(before)]
    for name in changes:
        if name not in known:
            words = KINDS[type(row)].words
            raise UsageError("unknown-field", f"A {words} has no field “{name}”.", f"It has: {', '.join(known)}.")
    given = dict(changes)
    if "date" in known:
        # A date that stays is not judged again: the clock may have been set back since.
        given["latest"] = None if any(name in changes for name in _NOT_JUDGED_AGAIN) else dt.date.max
    after = replace(before, **given)
    if after == before:
        return
    check_named(session, after, before)
    for name, value in record_values(after).items():
        setattr(row, name, value)
    noted = after.as_dict()
    if isinstance(row, BoardRow | FloorSpotRow) and after.light != before.light:
        noted["photos"] = change_light(session, row, before.light, after.light)
    note_change(session, who, "edit", subject_name(row), before=before.as_dict(), after=noted)


def check_unused(session: Session, row: AnyRow) -> None:
    """See that no board, part or standard has a recipe that is to go.

    Raises
    ------
    LogbookError
        ``"recipe-in-use"``.
    """
    if not isinstance(row, RecipeRow):
        return
    users: tuple[type[BoardRow | PartRow], ...] = (BoardRow, PartRow)
    for table in users:
        named = select(table).where(table.recipe_number == row.number, table.removed.is_(None)).limit(1)
        user = session.scalars(named).first()
        if user is not None:
            who = f"board {subject_name(user)}" if isinstance(user, BoardRow) else "a part of the stair"
            raise LogbookError(
                "recipe-in-use", f"The recipe R{row.number} is that of {who}.", "Give that another recipe first."
            )
    today = select(ApprovalRow).where(ApprovalRow.recipe_number == row.number, ApprovalRow.ended.is_(None)).limit(1)
    if session.scalars(today).first() is not None:
        raise LogbookError(
            "recipe-in-use", f"The recipe R{row.number} is the standard.", "Approve a board of another first."
        )


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

    def approve(self, number: str, *, reason: str | None = None, date: dt.date | None = None) -> StoredStandard:
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
            approval = Standard(
                int(row.recipe_number or 0), finish.as_recipe(), self._who, row.number, date or today(), reason
            )
            old = rows.ended(session, ApprovalRow)
            session.add(ApprovalRow(created=rows.now(), **rows.record_values(approval)))
            before = None if old is None else record_in(Standard, old).as_dict()
            rows.note_change(session, self._who, "approve", STANDARD, before=before, after=approval.as_dict())
            return read_approvals(session)[-1]

    def standard(self) -> StoredStandard | None:
        """Return today's standard, None while none is approved."""
        return next((each for each in reversed(self.standards()) if each.ended is None), None)

    def standards(self) -> tuple[StoredStandard, ...]:
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
