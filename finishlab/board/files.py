"""Boards from files: what a folder's photos show, by their names or a table beside them; many from one CSV file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from finishlab.board import CLEAR_ONLY
from finishlab.errors import FinishlabError, LogbookError, UsageError
from finishlab.finish.entering import UNSTAINED, Draft, Entered, finish_context, read_record_rows, read_rows_beside
from finishlab.finish.warnings import board_warnings
from finishlab.record import DAYLIGHT, normalise_light

if TYPE_CHECKING:
    from finishlab.board import BoardRecord
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard


EXAMPLE: Final = "walnut-2-coats-satin.jpg"
"""A name that says what its photo shows."""
Kind = Literal["board", "floor", "left out"]
EVENING: Final = "evening lamp"
"""The light that names such as ``-evening`` mean where no lamp is logged under another."""

_COUNTS: Final = {"no": 0, "zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
_LIGHTS: Final = {
    **dict.fromkeys(("evening", "lamp", "lamplight", "night"), EVENING),
    DAYLIGHT: DAYLIGHT,
}
_PURPOSES: Final = {
    **dict.fromkeys(("raw", "bare", "unfinished"), "raw"),
    **dict.fromkeys(("clear", "control"), CLEAR_ONLY),
}
_SHEENS: Final = ("matte", "matt", "satin", "semi", "semigloss", "gloss", "glossy")
_TOPCOATS: Final = frozenset(
    (*_SHEENS, "hardwax", "oil", "oiled", "water", "varnish", "lacquer", "poly", "polyurethane", "wax", "topcoat")
)
"""Words with which a topcoat begins."""
_PASSED_OVER: Final = frozenset(["board", "photo", "copy", "again", "only", "stain", "stained"])
_CAMERAS: Final = frozenset(
    ("img", "dsc", "dscn", "pxl", "mvimg", "image", "whatsapp", "screenshot", "signal", "pict", "scan", "photo")
)
"""How files begin that a camera or a phone named (common practice, no source)."""
_WITH_FLOOR: Final = re.compile(r"\b(?:with|and|beside) (?:the )?floor\b")
_COATS: Final = re.compile(rf"\b(\d|{'|'.join(_COUNTS)}) ?(?:coats?|x)\b")
_ASIDE: Final = ("photo", "floor", "spot", "surface", "light", "with_floor")
_YES: Final = {"yes": True, "y": True, "true": True, "1": True, "x": True, "no": False, "n": False, "false": False}


@dataclass(frozen=True, slots=True)
class Shown:
    """What one photo shows, as far as its name, a table or an answer says it."""

    kind: Kind
    said: Entered = field(default_factory=Entered)
    """Of a board: its record and finish, without the light."""
    light: str | None = None
    with_floor: bool = False
    spot: str | None = None
    """Of the floor: where."""
    surface: str | None = None


def read_name(name: str) -> Shown | None:
    """Return what a photo shows by its name, or by what somebody answered; None where it says nothing.

    Parameters
    ----------
    name
        Such as ``walnut-2-coats-satin``, ``raw``, ``clear-only-hardwax-oil``, ``floor-by-the-door``; each may end in
        ``-evening`` and in a number.
    """
    text = " ".join(re.split(r"[\W_]+", name.casefold())).strip()
    text = re.sub(r"(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])", " ", text)
    words = text.split()
    if not words or words[0] in _CAMERAS or not any(word.isalpha() for word in words):
        return None
    light = next((_LIGHTS[word] for word in words if word in _LIGHTS), None)
    if words[0] in {"floor", "plank", "planks"}:
        where = " ".join(word for word in words[1:] if word not in _LIGHTS)
        return Shown("floor", light=light, spot=where if re.search("[a-z]", where) else None)
    if words[0] == "strip":
        return Shown("left out")
    beside = _WITH_FLOOR.search(text)
    rest = _WITH_FLOOR.sub(" ", text)
    said = _board(rest)
    return Shown("board", Entered(said), light, with_floor=beside is not None) if said else None


def _board(text: str) -> dict[str, Any]:
    """Return the fields of a board that words say: stain, coats and topcoat, in this order, or what else it is."""
    said: dict[str, Any] = {}
    coats = _COATS.search(text)
    before, after = (text[: coats.start()], text[coats.end() :]) if coats else (text, "")
    if coats:
        said["coats"] = _COUNTS.get(coats[1], int(coats[1]) if coats[1].isdigit() else 0)
    words = [word for word in before.split() if _tells(word)]
    purpose = next((_PURPOSES[word] for word in words if word in _PURPOSES), None)
    words = [word for word in words if word not in _PURPOSES]
    if purpose is not None:
        said["purpose"] = purpose
    cut = next((place for place, word in enumerate(words) if word in _TOPCOATS), len(words))
    stain, top = words[:cut], words[cut:] + [word for word in after.split() if _tells(word)]
    if stain and purpose is None:
        said["stain"] = " ".join(stain)
    if top:
        said["topcoat"] = " ".join(word for word in top if word != "topcoat") or "topcoat"
    return said


def _tells(word: str) -> bool:
    return not word.isdigit() and word not in _PASSED_OVER and word not in _LIGHTS


def table_beside(folder: Path) -> Path | None:
    """Return the table in a folder of photos; None where there is none.

    Raises
    ------
    UsageError
        ``"several-tables"``.
    """
    tables = sorted(path for path in folder.iterdir() if path.suffix.lower() == ".csv" and path.is_file())
    if len(tables) > 1:
        named = ", ".join(path.name for path in tables)
        raise UsageError("several-tables", f"{folder} holds several tables: {named}.", "Leave one of them there.")
    return tables[0] if tables else None


def read_table(path: Path) -> dict[str, Shown]:
    """Return what a table says of photos, by their file names.

    Its head names ``photo``, what `finishlab board import` takes, and ``light``, ``with_floor``, ``spot`` and
    ``surface``. A row with a spot, or with ``floor`` said yes to, is a place of the floor.

    Raises
    ------
    UsageError
        ``"not-csv"``, ``"no-photo-named"``, ``"named-twice"``, or what is wrong with a row.
    """
    found: dict[str, Shown] = {}
    for row, (aside, read) in enumerate(read_rows_beside(path, _ASIDE), start=1):
        name = aside.get("photo", "")
        if not name:
            raise UsageError(
                "no-photo-named", f"{path.name}, row {row}: no photo is named.", "Name the files in a column “photo”."
            )
        if name in found:
            raise UsageError("named-twice", f"{path.name}, row {row}: {name} is named twice.", "Keep one of its rows.")
        light = normalise_light(aside["light"]) if aside.get("light") else None
        if aside.get("spot") or _yes(aside.get("floor"), path, row):
            found[name] = Shown("floor", light=light, spot=aside.get("spot"), surface=aside.get("surface"))
        else:
            found[name] = Shown("board", read(), light, with_floor=_yes(aside.get("with_floor"), path, row))
    return found


def _yes(text: str | None, path: Path, row: int) -> bool:
    if text is None:
        return False
    said = _YES.get(text.casefold())
    if said is None:
        raise UsageError("not-yes-or-no", f"{path.name}, row {row}: “{text}” is not yes or no.", "Write yes or no.")
    return said


def by_name(shown: Mapping[str, Shown], path: Path) -> Shown | None:
    """Return what a table says of a photo: by its name, with its ending or without."""
    return shown.get(path.name) or shown.get(path.stem)


_MOST_NAMED: Final = 5


@dataclass(frozen=True, slots=True)
class Imported:
    """Boards logged from the rows of a file, in its order; row 1 is the first below the head.

    Parameters
    ----------
    boards
        The boards.
    warnings
        What is likely a slip -> the rows it is about.
    seen
        Row -> the board that was logged before and says the same.
    """

    boards: tuple[StoredBoard, ...]
    warnings: Mapping[str, tuple[int, ...]]
    seen: Mapping[int, str]


def import_boards(log: Logbook, path: str | Path) -> Imported:
    """Log every row of a CSV file as a board, all or none; their photos are added afterwards.

    Raises
    ------
    UsageError, LogbookError
        What is wrong with the first row that cannot be a board, which is named, and how many more there are;
        ``"not-csv"`` and what `finishlab.finish.entering.read_record_rows` raises for the file.
    """
    records = _records(log, Path(path))
    before = {_plain(board.record): board.number for board in log.boards()}
    boards = tuple(log.add_boards(records))
    seen = {row: before[_plain(record)] for row, record in enumerate(records, start=1) if _plain(record) in before}
    return Imported(boards, _warnings(log, boards), seen)


def _records(log: Logbook, path: Path) -> list[BoardRecord]:
    find = cache(log.recipe)
    cans = {can.number.key for can in log.cans()}
    found: list[BoardRecord] = []
    wrong: list[tuple[int, FinishlabError]] = []
    for row, read in enumerate(read_record_rows(path), start=1):
        try:
            record = Draft().with_said(find, [read()]).record()
            missing = [] if record.finish is None else sorted(set(record.finish.cans()) - cans)
            if missing:
                raise LogbookError("unknown-can", f"There is no can C{missing[0]}.", "See: finishlab can list")
            found.append(record)
        except FinishlabError as error:
            wrong.append((row, error))
    if wrong:
        raise _named(path, wrong)
    return found


def _named(path: Path, wrong: Sequence[tuple[int, FinishlabError]]) -> FinishlabError:
    """Return the first row's error with the row's name, and how many others are wrong."""
    row, first = wrong[0]
    where = f"{path.name}, row {row}"
    message = first.message if first.message.startswith(where) else f"{where}: {first.message}"
    if len(wrong) > 1:
        others = rows_words([row for row, _ in wrong[1:]])
        message += f" {others.capitalize()} {'is' if len(wrong) == 2 else 'are'} wrong too."
    return type(first)(first.code, message, f"{first.hint} Nothing was logged.".strip())


def rows_words(rows: Sequence[int]) -> str:
    """Return rows in words: ``row 3``, ``rows 3, 5 and 9``, ``rows 3, 4, 5, 6, 7 and 12 more``."""
    if len(rows) == 1:
        return f"row {rows[0]}"
    named = [str(row) for row in rows[:_MOST_NAMED]]
    last = f"{len(rows) - _MOST_NAMED} more" if len(rows) > _MOST_NAMED else named.pop()
    return f"rows {', '.join(named)} and {last}"


def _plain(record: BoardRecord) -> str:
    """Return what two records of one board say alike: all but the day they were written down."""
    return repr(sorted((name, value) for name, value in record.as_dict().items() if name != "date"))


def _warnings(log: Logbook, boards: Sequence[StoredBoard]) -> dict[str, tuple[int, ...]]:
    context = finish_context(log, boards[0])
    compared = context.clear_only is True or boards[0].record.purpose == CLEAR_ONLY
    held = replace(context, clear_only=None)
    found: dict[str, list[int]] = {}
    for row, board in enumerate(boards, start=1):
        for each in board_warnings(board.record, held):
            found.setdefault(each.message, []).append(row)
    stained = [row for row, b in enumerate(boards, start=1) if b.record.stain and b.record.purpose not in UNSTAINED]
    if stained and not compared:
        one = boards[stained[0] - 1]
        for each in board_warnings(one.record, replace(held, clear_only=False)):
            found.setdefault(each.message, stained)
    return {message: tuple(rows) for message, rows in found.items()}
