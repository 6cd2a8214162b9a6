"""Write a file whole or not at all, and only over one of its own kind: the one way anything is written for a reader.

What was there before may be a photo, the logbook, an archive somebody sent or the table a command was given: a slip of
the hand must not cost any of these. So a file is replaced only by another of its kind that finishlab itself wrote, told
by what stands in it and not by its name, and that is said. Tables are written as CSV that a spreadsheet can open
without running anything in it.
"""

from __future__ import annotations

import contextlib
import csv
import io
import logging
import os
import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO, Final

from finishlab.errors import OutputError

LOGBOOK_FILE: Final = "logbook.db"
"""Name of the database in a logbook's folder."""
PHOTO_FOLDER: Final = "photos"
"""Name of the folder beside it that holds the kept photos."""
SAID: Final = logging.getLogger("finishlab")
"""Hears when a file was replaced."""

_KINDS: Final = (
    (b"%PDF", b"finishlab"),
    (b"\x89PNG", b"finishlab"),
    (b"PK\x03\x04", b"logbook.schema.json"),
    (b"<!doctype html", b"finishlab"),
    (b"<?xml", b"drawing-title drawing-desc"),
    (b"BEGIN:VCALENDAR", b"finishlab"),
    (b"{", b'"finishlab/'),
)
"""How a file of a kind begins -> what is somewhere in each that finishlab writes."""
_MOST_READ: Final = 1 << 26
_NUMBERS: Final = re.compile(rb"[0-9.]+")


def write_atomically(path: str | Path, content: bytes) -> None:
    """Write a file of this content as `whole_file` does."""
    with whole_file(path) as stream:
        stream.write(content)


@contextlib.contextmanager
def whole_file(path: str | Path) -> Iterator[IO[bytes]]:
    """Give a file to write that lies beside `path` and is moved into place at the end; a reader never sees half of it.

    What is no file, such as a pipe or ``/dev/stdout``, is written to as it stands and never replaced.

    Raises
    ------
    OutputError
        ``output-not-writable`` if the folder is missing, may not be written, or `path` is a folder; ``output-taken`` if
        what is there is of another kind or not finishlab's, or if `path` belongs to a logbook.
    """
    target = Path(path)
    temporary: Path | None = None
    try:
        _refuse_logbook(target)
        if target.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        if target.exists() and not target.is_file():
            with target.open("wb") as stream:
                yield stream
            return
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        temporary = Path(name)
        with os.fdopen(handle, "wb") as stream:
            yield stream
        replaced = _replaces(temporary, target)
        temporary.chmod(mode)
        temporary.replace(target)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(
            "output-not-writable",
            f"{target} cannot be written: {reason.lower()}.",
            "Name a file in a folder that exists and that you may write to.",
        ) from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
    if replaced:
        SAID.info("%s was there before and is replaced.", target)


def _refuse_logbook(target: Path) -> None:
    """See that a file is none of a logbook's own: its database, what SQLite keeps beside it, anything of its photos."""
    place = target.resolve()
    owned = place.name.startswith(LOGBOOK_FILE) and (place.parent / LOGBOOK_FILE).exists()
    if owned or any(
        each.name == PHOTO_FOLDER and (each.parent / LOGBOOK_FILE).exists() for each in (place, *place.parents)
    ):
        raise OutputError("output-taken", f"{target} belongs to a logbook.", "Name a file outside the logbook.")


def _replaces(new: Path, target: Path) -> bool:
    """Return whether a file takes another's place.

    Raises
    ------
    OutputError
        ``output-taken`` if it may not.
    """
    if not target.exists() or not target.stat().st_size:
        return False
    if not _of_one_kind(_read(new), _read(target)):
        raise OutputError(
            "output-taken",
            f"{target} is there already and is no file that this command writes, so it is not replaced.",
            "Name another file, or move that one away first.",
        )
    return True


def _of_one_kind(new: bytes, old: bytes) -> bool:
    """Say whether two files are of one kind, the old one finishlab's."""
    for begins, mark in _KINDS:
        if new.startswith(begins):
            return old.startswith(begins) and mark in old
    # Tables have their head, drawings the attributes of their first tag.
    return _first_line(new) == _first_line(old)


def _first_line(content: bytes) -> bytes:
    return _NUMBERS.sub(b"", content.split(b"\n", 1)[0].strip())


def _read(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(_MOST_READ)


def _umask() -> int:
    # The mask can only be read by setting it; a temporary file would otherwise be readable by its owner alone.
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


Cell = str | int | float | None
_STARTS_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: an apostrophe before what begins like one.

    The characters are those the Open Worldwide Application Security Project names under CSV injection.
    """
    return f"'{text}" if text.startswith(_STARTS_A_FORMULA) else text


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]], *, figures: int | None = 10) -> str:
    """Return a table as CSV (RFC 4180: commas, quotes where needed, CRLF).

    Numbers stay numbers, also negative ones; None is an empty cell; texts are guarded. A fraction has at most so many
    significant `figures`; None writes it so that it is read again as the same number.
    """
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow([guarded(name) for name in header])
    for row in rows:
        writer.writerow([_cell(cell, figures) for cell in row])
    return stream.getvalue()


def _cell(cell: Cell, figures: int | None) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return guarded(cell)
    return f"{cell:.{figures}g}" if isinstance(cell, float) and figures is not None else str(cell)
