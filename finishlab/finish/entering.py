"""A board's record put together from a logged board, a recipe, a file, options and answers; the later ones win.

A file is TOML or CSV, with the record's own names for the fields. In a CSV file a section's field is written
``preparation.grits`` or ``steps.1.kind``, with or without ``finish.`` before it; a row is a board. A whole section may
also be a text as it is typed on the command line. What came out is held against the rest of the logbook.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from finishlab.board import CLEAR_ONLY, BoardRecord
from finishlab.coatings import sheen_of
from finishlab.errors import UsageError
from finishlab.finish import FINISH_PARTS, ColourStep, Finish, product_words, step_changes, together
from finishlab.finish.fields import Section, changed, likely_sides, parse_fields, specs
from finishlab.finish.warnings import FinishWarning, WarningContext, board_warnings
from finishlab.stair.names import PartName, listed
from finishlab.toml_file import Section as Table
from finishlab.toml_file import read_text, read_toml
from finishlab.units import read_figure

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredRecipe
    from finishlab.recipe import Can

UNSTAINED: Final = ("raw", CLEAR_ONLY)
"""Purposes of boards that have no stain."""

_SECTIONS: Final[Mapping[str, type[Section]]] = {p.name: p.section for p in FINISH_PARTS if not p.several}
_CLEARED: Final = {part.name if part.several else part.option: part.name for part in FINISH_PARTS}
"""Name for ``--clear`` -> part of the finish."""
_OF_THE_PHOTO: Final = ("date", "light")
_OF_THE_BOARD: Final = ("date", "light", "note", "purpose")
_STORED: Final = {"recipe": "recipe_number"}
_SHORT: Final = ("stain", "coats", "topcoat")


FindRecipe = Callable[[str], "StoredRecipe"]
"""Finds a recipe by its number or name; raises `LogbookError` ``"unknown-recipe"``."""


@dataclass(frozen=True, slots=True)
class FinishTexts:
    """What was typed of a finish, and where the rest is to come from."""

    parts: Mapping[str, Any] = field(default_factory=dict)
    """Part of the finish -> its text, of the steps their texts."""
    recipe: str | None = None
    like: str | None = None
    file: str | None = None
    row: int | None = None
    ask: bool = False

    def given(self) -> tuple[str, ...]:
        """Return the names of the options that were given."""
        others = {"recipe": self.recipe, "like": self.like, "from": self.file, "row": self.row, "ask": self.ask}
        parts = (p.option for p in FINISH_PARTS if p.name in self.parts)
        return (*parts, *(name for name, value in others.items() if value not in {None, False}))


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
            name: changed(_SECTIONS[name], getattr(finish, name), said) or getattr(Finish(), name)
            for name, said in self.sections.items()
        }
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

    def with_said(self, find: FindRecipe, said: Iterable[Entered]) -> Draft:
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
            draft = draft._with(find, each)
        return draft

    def _with(self, find: FindRecipe, said: Entered) -> Draft:
        values = {name: value for name, value in said.fields.items() if name != "recipe"}
        finish = self.finish
        if said.fields.get("recipe") is not None:
            recipe = find(str(said.fields["recipe"]))
            values["recipe_number"] = recipe.number.key
            if not self.logged or finish.as_recipe().is_empty():
                finish = recipe.record.finish.with_wood_of(finish)
        return self.with_finish(said.on(finish), values)

    def with_finish(self, finish: Finish, values: Mapping[str, Any]) -> Draft:
        """Return the draft with another finish; stain, coats and topcoat follow it where they are not said."""
        before, after = self.finish.in_short(), finish.in_short()
        follows = {}
        for name in _SHORT:
            was, now = before.get(name), after.get(name)
            if was != now and (now is not None or self.fields.get(name) == was):
                follows[name] = now
        return Draft({**self.fields, **follows, **values}, finish, self.logged)

    def without(self, names: Iterable[str]) -> Draft:
        """Return the draft without fields or parts, by their names for ``--clear``."""
        named = list(names)
        gone: dict[str, Any] = {_CLEARED[name]: getattr(Finish(), _CLEARED[name]) for name in named if name in _CLEARED}
        values = {_STORED.get(name, name): None for name in named if name not in _CLEARED}
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
        return replace(made, purpose=CLEAR_ONLY, latest=dt.date.max) if unsaid and _is_clear_only(made) else made

    def changes(self, before: BoardRecord) -> dict[str, Any]:
        """Return the fields that differ from a logged record."""
        made = {**self.fields, "finish": None if self.finish.is_empty() else self.finish}
        return {name: value for name, value in made.items() if value != getattr(before, name)}


def _is_clear_only(record: BoardRecord) -> bool:
    """Return whether a board has a topcoat and nothing that colours it: it then is the clear-only control."""
    return record.whole_finish.topcoat is not None and is_unstained(record) and not record.coats


def is_unstained(record: BoardRecord) -> bool:
    """Return whether nothing is named that colours a board."""
    return not record.stain and (record.finish is None or not record.finish.steps)


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
        What `finishlab.finish.fields.parse_fields` raises.
    """
    sections = {name: parse_fields(_SECTIONS[name], text) for name, text in texts.parts.items() if name in _SECTIONS}
    given = {name: value for name, value in values.items() if value is not None}
    if texts.recipe is not None:
        given["recipe"] = texts.recipe
    return Entered(given, sections, step_texts=texts.parts.get("steps", ()))


_TEXTS: Final = ("species", "stain", "topcoat", "light", "note", "purpose", "state", "maker")
_WHAT: Final = "board's record"
_HINT: Final = "Field names are those of: finishlab board show B1 --json"
_PARTS: Final = tuple(part.name for part in FINISH_PARTS)


def read_record_file(path: str | Path, row: int | None = None) -> Entered:
    """Return what a file says of a board.

    Parameters
    ----------
    path
        TOML, or CSV where the name ends in ``.csv``.
    row
        The row of a CSV file, 1 the first below its head; may be left out where there is only one.

    Raises
    ------
    UsageError
        ``"no-such-file"``, ``"not-toml"``, ``"not-csv"``, ``"which-row"``, ``"unknown-key"``, ``"wrong-kind"``, and
        what a value cannot be.
    """
    if Path(path).suffix.lower() == ".csv":
        rows = _csv_rows(Path(path))
        if row is None and len(rows) > 1:
            raise UsageError("which-row", f"{path} has {len(rows)} rows.", "Say which one is this board, e.g. --row 2.")
        if row is not None and row > len(rows):
            raise UsageError("which-row", f"{path} has no row {row}.", f"Rows below the head: {len(rows)}.")
        return _read_row(rows[(row or 1) - 1])
    if row is not None:
        raise UsageError("row-needs-csv", "Only a CSV file has rows.", "Leave out --row.")
    top = read_toml(path, _WHAT, _HINT)
    _gather(top.content)
    return _entered(top)


def read_record_rows(path: str | Path) -> list[Callable[[], Entered]]:
    """Return what reads each row of a CSV file, so that every row can fail alone.

    Raises
    ------
    UsageError
        ``"no-such-file"``, ``"not-csv"``.
    """
    if Path(path).suffix.lower() != ".csv":
        raise UsageError("not-csv", f"{path} is no CSV file.", "Save the sheet as CSV; a TOML file holds one board.")
    return [partial(_read_row, row) for row in _csv_rows(Path(path))]


def read_rows_beside(path: Path, aside: Collection[str]) -> Iterator[tuple[dict[str, str], Callable[[], Entered]]]:
    """Give the rows of a CSV file: its cells in the columns `aside`, and what reads the others as `read_record_rows`.

    Raises
    ------
    UsageError
        As `read_record_rows`.
    """
    for row in _csv_rows(path):
        told = {name: cell for name, cell in row.cells.items() if name in aside}
        yield told, partial(_read_row, replace(row, cells={n: cell for n, cell in row.cells.items() if n not in aside}))


def _gather(content: dict[str, Any]) -> None:
    """Put a file's sections under ``finish``, where they belong, also when they stand at the top."""
    for name in _PARTS:
        value = content.get(name)
        if name not in content or (name == "topcoat" and not isinstance(value, dict)):
            continue
        finish = content.setdefault("finish", {})
        if not isinstance(finish, dict) or name in finish:
            raise UsageError("wrong-kind", f"“{name}” is said in two ways.", _HINT)
        finish[name] = content.pop(name)


def _entered(top: Table) -> Entered:
    values: dict[str, Any] = {name: top.text(name) if name != "note" else top.raw(name) for name in _TEXTS}
    values |= {"coats": _whole(top, "coats"), "date": top.day("date"), "recipe": top.text("recipe")}
    number = top.raw("recipe_number")
    if number is not None:
        values["recipe"] = f"R{str(number).strip().upper().removeprefix('R')}"
    finish = top.table("finish")
    sections = {name: _fields(finish, name, kind) for name, kind in _SECTIONS.items()}
    steps = _steps(finish)
    finish.finish()
    top.finish()
    given = {name: value for name, value in values.items() if value is not None}
    return Entered(given, {name: said for name, said in sections.items() if said}, steps)


def _whole(table: Table, name: str) -> int | None:
    value = table.raw(name)
    if not isinstance(value, str):
        return table.whole(name)
    figure = read_figure(value, "", f"{table.where}, {name}")
    if figure % 1:
        raise UsageError("not-a-whole-number", f"{table.where}, {name}: “{value}” is not whole.", "Give whole coats.")
    return int(figure)


def _fields(finish: Table, name: str, kind: type[Section]) -> dict[str, Any]:
    said = finish.raw(name)
    return parse_fields(kind, said) if isinstance(said, str) else _typed(finish.table(name), kind)


def _typed(table: Table, kind: type[Section]) -> dict[str, Any]:
    """Return a section's fields: values as the record keeps them, or texts as people type them."""
    found: dict[str, Any] = {}
    for each in specs(kind, units=True):
        value: Any = table.raw(each.name)
        if value is None:
            continue
        if isinstance(value, str):
            found |= each.unit_typed(value)
            value = each.read(value)
        elif isinstance(value, list):
            value = tuple(value)
            if each.form == "size" and all(isinstance(side, int | float) for side in value):
                likely_sides(value, value)
        elif isinstance(value, dict) or (each.form in {"grits", "size", "ratio", "mix"}):
            raise UsageError("wrong-kind", f"{table.where}, {each.name}: a list or a text belongs here.", _HINT)
        if each.form == "mix" and not all(isinstance(v, str) or _is_part(v) for v in value):
            raise UsageError("wrong-kind", f"{table.where}, mix: write it as “2 honey + 1 walnut”.", _HINT)
        found[each.name] = value
    table.finish()
    return found


def _is_part(value: object) -> bool:
    if isinstance(value, dict):
        return set(value) == {"colour", "parts"} and isinstance(value["colour"], str)
    return hasattr(value, "parts")


def _steps(finish: Table) -> tuple[ColourStep, ...]:
    said = finish.raw("steps")
    if isinstance(said, str):
        said = [text for text in said.split("|") if text.strip()]
    if isinstance(said, list) and said and all(isinstance(each, str) for each in said):
        return step_changes(Finish(), tuple(said)).steps
    if isinstance(said, str) or not said:
        return ()
    return tuple(ColourStep(**_typed(each, ColourStep)) for each in finish.tables("steps", "step"))


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of a CSV file."""

    where: str
    """What it is called in sentences."""
    cells: Mapping[str, str]
    """Name of the column -> what stands there, where anything does."""
    too_long: bool
    """Whether it has more cells than the head."""


def _csv_rows(path: Path) -> list[_Row]:
    """Return the rows below the head; those without a word are passed over and not counted."""
    text = read_text(path, _WHAT)
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise UsageError("not-csv", f"{path} is no CSV: {error}.", "Save the sheet as CSV again.") from error
    rows = [[cell.strip() for cell in cells] for cells in rows if any(cell.strip() for cell in cells)]
    if len(rows) < 2:
        raise UsageError("not-csv", f"{path} has no row below its head.", "The first row names the fields.")
    names = [name.lower() for name in rows[0]]
    found = []
    for number, cells in enumerate(rows[1:], start=1):
        named = {name: cell for name, cell in zip(names, cells, strict=False) if name and cell}
        found.append(_Row(f"{path.name}, row {number}", named, too_long=any(cells[len(names) :])))
    return found


def _read_row(row: _Row) -> Entered:
    if row.too_long:
        raise UsageError(
            "not-csv", f"{row.where}: it has more cells than the head.", "Put texts with commas in quotes."
        )
    content: dict[str, Any] = {}
    for name, cell in row.cells.items():
        _put(content, name, cell)
    _number_steps(content)
    return _entered(Table(content, row.where, _HINT))


def _put(content: dict[str, Any], name: str, cell: str) -> None:
    """Put a cell where its dotted name says."""
    path = name.split(".")
    in_finish = path[0] in _PARTS and (len(path) > 1 or path[0] != "topcoat")
    path = ["finish", *path] if in_finish else path
    place: Any = content
    for word in path[:-1]:
        place = place.setdefault(word, {})
        if not isinstance(place, dict):
            raise UsageError("wrong-kind", f"“{name}” is said in two ways.", _HINT)
    place[path[-1]] = cell


def _number_steps(content: dict[str, Any]) -> None:
    """Put the steps of columns such as ``steps.2.kind`` in the order of their numbers."""
    finish = content.get("finish", {})
    steps = finish.get("steps") if isinstance(finish, dict) else None
    if not isinstance(steps, dict):
        return
    if not all(key.isdecimal() for key in steps):
        raise UsageError("unknown-key", "A column of the steps has no number.", "Write it as steps.1.colour.")
    finish["steps"] = [steps[key] for key in sorted(steps, key=int)]


def finish_context(log: Logbook, board: StoredBoard, *, deciding: bool = False) -> WarningContext:
    """Return what a logged board is held against.

    Parameters
    ----------
    log
        The logbook.
    board
        The board.
    deciding
        Whether it is to become the standard: then lights and places of the floor count too.
    """
    standard = log.standard()
    finish = None if standard is None else standard.approval.finish
    own = standard is not None and standard.approval.board == board.number
    return WarningContext(
        tread_woods=_tread_woods(log),
        tread=None if own else finish,
        approved=None if own else finish,
        on_tread=deciding,
        deciding=deciding,
        floor_gloss_gu=_floor_gloss(log),
        clear_only=_clear_only(log, board, deciding=deciding),
        lights=len({m.light for m in board.measurements}) if deciding else None,
        spots=_places(log) if deciding else None,
        labels={can.number.key: can.record.label for can in log.cans(removed=True) if can.record.label},
    )


def new_warnings(log: Logbook, board: StoredBoard, before: BoardRecord | None = None) -> tuple[FinishWarning, ...]:
    """Return what the soft limits say of a board as it is logged now and did not say of the record before."""
    now = board_warnings(board.record, finish_context(log, board, deciding=_decided(board.record)))
    if before is None:
        return now
    old = board_warnings(before, finish_context(log, board, deciding=_decided(before)))
    known = {each.message for each in old}
    newly = _decided(board.record) and not _decided(before)
    return tuple(each for each in now if each.message not in known and (newly or each.code != "no-clear-only"))


def _decided(record: BoardRecord) -> bool:
    return record.purpose == "approved standard"


def _places(log: Logbook) -> int:
    """Return at how many places the floor was measured: spots of one name are one, and so is the floor at a board."""
    spots = log.floor_spots()
    places = {(spot.record.spot or spot.number).casefold() for spot in spots}
    logged = {measured.photo for spot in spots for measured in spot.measurements}
    beside = {board for board, photo in log.boards_beside_floor() if photo not in logged}
    return len(places | beside)


def _floor_gloss(log: Logbook) -> float | None:
    """Return the gloss that a note on the floor names, such as ``"matte"``; None if no note does."""
    return next((gloss for spot in log.floor_spots() if (gloss := sheen_of(spot.record.note)) is not None), None)


def _tread_woods(log: Logbook) -> tuple[tuple[str, str], ...]:
    """Return each wood of the treads, and which are of it where they differ."""
    woods: dict[str, list[PartName]] = {}
    for each in log.stair_parts():
        if each.record.kind == "tread" and each.record.species:
            woods.setdefault(each.record.species, []).append(each.name)
    return tuple((wood, listed(names) if len(woods) > 1 else "") for wood, names in woods.items())


def _clear_only(log: Logbook, board: StoredBoard, *, deciding: bool) -> bool | None:
    """Return whether a clear-only board is logged; None where that does not matter or was told before.

    It is told at the first stained board, and again when one is decided on.
    """
    others = log.kinds_of_boards(board.number)
    if any(purpose == CLEAR_ONLY for purpose, _ in others):
        return True
    stained = board.record.stain is not None and board.record.purpose not in UNSTAINED
    told = any(stained and purpose not in UNSTAINED for purpose, stained in others)
    return False if stained and (deciding or not told) else None


def products_of(finish: Finish, cans: Mapping[int, Can]) -> list[str]:
    """Return what a finish puts on, all words of one product in one text; then its cans' own, by their counts."""
    sections = (*finish.steps, finish.seal, finish.topcoat)
    named = [product_words(each) for each in sections if each is not None]
    named.append(finish.preparation.conditioner or "")
    named += [together(cans[number].kind, cans[number].product) for number in finish.cans() if number in cans]
    return [name for name in named if name]
