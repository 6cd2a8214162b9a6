"""A board's record from a TOML or CSV file, with the record's own names for the fields.

In a CSV file a section's field is written ``preparation.grits`` or ``steps.1.kind``, with or without ``finish.`` before
it; a row is a board. A whole section may also be a text as it is typed on the command line.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from finishlab.errors import UsageError
from finishlab.records import ColourStep
from finishlab.records.entries import Checked, entries
from finishlab.records.finish import Finish
from finishlab.records.finish_text import likely_sides, parse_fields, read_value, step_changes, unit_typed
from finishlab.records.units import read_figure
from finishlab.things.entering import SECTIONS, Entered
from finishlab.toml_file import Section, read_text, read_toml

__all__ = ["read_record_file", "read_record_rows"]

_TEXTS: Final = ("species", "stain", "topcoat", "light", "note", "purpose", "state", "maker")
_WHAT: Final = "board's record"
_HINT: Final = "Field names are those of: finishlab board show B1 --json"
_PARTS: Final = ("preparation", "steps", "seal", "topcoat", "looking")


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
        return _entered(_csv_section(Path(path), row))
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
    rows = _csv_rows(Path(path))
    return [partial(_read_row, Path(path), rows, number) for number in range(1, len(rows))]


def _read_row(path: Path, rows: list[list[str]], number: int) -> Entered:
    return _entered(_row_section(path, rows, number))


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


def _entered(top: Section) -> Entered:
    values: dict[str, Any] = {name: top.text(name) if name != "note" else top.raw(name) for name in _TEXTS}
    values |= {"coats": _whole(top, "coats"), "date": top.day("date"), "recipe": top.text("recipe")}
    number = top.raw("recipe_number")
    if number is not None:
        values["recipe"] = f"R{str(number).strip().upper().removeprefix('R')}"
    finish = top.table("finish")
    sections = {name: _fields(finish, name, kind) for name, kind in SECTIONS.items()}
    steps = _steps(finish)
    finish.finish()
    top.finish()
    given = {name: value for name, value in values.items() if value is not None}
    return Entered(given, {name: said for name, said in sections.items() if said}, steps)


def _whole(section: Section, name: str) -> int | None:
    value = section.raw(name)
    if not isinstance(value, str):
        return section.whole(name)
    figure = read_figure(value, "", f"{section.where}, {name}")
    if figure % 1:
        raise UsageError("not-a-whole-number", f"{section.where}, {name}: “{value}” is not whole.", "Give whole coats.")
    return int(figure)


def _fields(finish: Section, name: str, kind: type[Checked]) -> dict[str, Any]:
    said = finish.raw(name)
    return parse_fields(kind, said) if isinstance(said, str) else _typed(finish.table(name), kind)


def _typed(table: Section, kind: type[Checked]) -> dict[str, Any]:
    """Return a section's fields: values as the record keeps them, or texts as people type them."""
    found: dict[str, Any] = {}
    for each in entries(kind):
        value: Any = table.raw(each.name)
        if value is None:
            continue
        if isinstance(value, str):
            found |= unit_typed(each, value)
            value = read_value(each, value)
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


def _steps(finish: Section) -> tuple[ColourStep, ...]:
    said = finish.raw("steps")
    if isinstance(said, str):
        said = [text for text in said.split("|") if text.strip()]
    if isinstance(said, list) and said and all(isinstance(each, str) for each in said):
        return step_changes(Finish(), tuple(said)).steps
    if isinstance(said, str) or not said:
        return ()
    return tuple(ColourStep(**_typed(each, ColourStep)) for each in finish.tables("steps", "step"))


def _csv_section(path: Path, row: int | None) -> Section:
    rows = _csv_rows(path)
    count = len(rows) - 1
    if row is None and count > 1:
        raise UsageError("which-row", f"{path} has {count} rows.", "Say which one is this board, e.g. --row 2.")
    if row is not None and row > count:
        raise UsageError("which-row", f"{path} has no row {row}.", f"Rows below the head: {count}.")
    return _row_section(path, rows, row or 1)


def _csv_rows(path: Path) -> list[list[str]]:
    """Return the head and the rows below it; rows without a word are passed over and not counted."""
    text = read_text(path, _WHAT)
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise UsageError("not-csv", f"{path} is no CSV: {error}.", "Save the sheet as CSV again.") from error
    rows = [cells for cells in rows if any(cell.strip() for cell in cells)]
    if len(rows) < 2:
        raise UsageError("not-csv", f"{path} has no row below its head.", "The first row names the fields.")
    return rows


def _row_section(path: Path, rows: list[list[str]], row: int) -> Section:
    head, chosen = rows[0], rows[row]
    if len(chosen) > len(head) and any(cell.strip() for cell in chosen[len(head) :]):
        where = f"{path.name}, row {row}"
        raise UsageError("not-csv", f"{where}: it has more cells than the head.", "Put texts with commas in quotes.")
    content: dict[str, Any] = {}
    for name, cell in zip(head, chosen, strict=False):
        if cell.strip() and name.strip():
            _put(content, name.strip().lower(), cell.strip())
    _number_steps(content)
    return Section(content, f"{path.name}, row {row}", _HINT)


def _put(content: dict[str, Any], name: str, cell: str) -> None:
    """Put a cell where its dotted name says."""
    path = name.split(".")
    in_finish = path[0] == "steps" or (path[0] in _PARTS and (len(path) > 1 or path[0] != "topcoat"))
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
