"""One file that holds a whole logbook, out and in: JSON with its schema, a CSV table each, the photos.

The same logbook gives the same bytes: entries are sorted and carry no time of their own.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NoReturn

from sqlalchemy import Column, Engine, MetaData, Table, inspect
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.types import DateTime

from finishlab.errors import LogbookError, OutputError
from finishlab.files import Cell, csv_text, whole_file
from finishlab.logbook.audit import COLUMN_KINDS, TABLES
from finishlab.logbook.database import migrate, migrate_to, open_engine
from finishlab.logbook.merge import (
    FORMAT,
    Dump,
    MergeResult,
    checked,
    damaged,
    decoded_row,
    read_dump,
    refuse_other_form,
)
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.photo_files import photo_place
from finishlab.logbook.store import Logbook
from finishlab.logbook.tables import DAMAGED, Base, UtcDateTime
from finishlab.photos.kept import shareable
from finishlab.version import __version__


def upgraded(dump: Dump) -> Dump:
    """Return a dump of an older finishlab with its tables at today's step.

    Raises
    ------
    LogbookError
        ``"archive-newer"`` or ``"archive-damaged"``.
    """
    refuse_other_form(dump)
    revision = str(dump.get("tables_at"))
    if revision == HEAD:
        return dump
    with tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        engine = open_engine(Path(folder) / "old.db")
        try:
            if not migrate_to(engine, revision):
                raise LogbookError(
                    "archive-newer",
                    f"The archive was made by a newer finishlab (its tables are at “{revision}”).",
                    "Update finishlab, then import it again.",
                )
            _fill(engine, dump)
            migrate(engine)
            with engine.connect() as connection:
                return read_dump(connection)
        except (SQLAlchemyError, *DAMAGED) as error:
            raise damaged(f"its tables do not fit together ({type(error).__name__})") from error
        finally:
            engine.dispose()


def _fill(engine: Engine, dump: Dump) -> None:
    """Put the rows into tables of the dump's own step, whose columns may not be today's."""
    with engine.begin() as connection:
        there = set(inspect(connection).get_table_names())
        for name in [name for name in TABLES if name in there]:
            found = inspect(connection).get_columns(name)
            # A moment is read and written in one way only, the logbook's own.
            old = Table(
                name,
                MetaData(),
                *(Column(c["name"], UtcDateTime() if isinstance(c["type"], DateTime) else c["type"]) for c in found),
            )
            connection.execute(old.delete())
            rows = [decoded_row(old, row) for row in dump["tables"].get(name, [])]
            if rows:
                connection.execute(old.insert(), rows)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a `Dump`, made from the tables."""
    said = {mapper.class_.__tablename__: str(mapper.class_.__doc__) for mapper in Base.registry.mappers}
    tables = {
        name: {"type": "array", "items": _row_schema(each), "description": said[name].split("\n", maxsplit=1)[0]}
        for name, each in sorted(TABLES.items())
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A finishlab logbook",
        "type": "object",
        "required": ["format", "tables_at", "tables"],
        "properties": {
            "format": {"const": FORMAT},
            "tables_at": {"const": HEAD},
            "tables": {
                "type": "object",
                "required": sorted(tables),
                "properties": tables,
                "additionalProperties": False,
            },
        },
        "additionalProperties": False,
    }


def _row_schema(each: Table) -> dict[str, Any]:
    return {
        "type": "object",
        "required": sorted(each.columns.keys()),
        "properties": {name: _value_schema(found) for name, found in sorted(each.columns.items())},
        "additionalProperties": False,
    }


def _value_schema(of: Column[Any]) -> dict[str, Any]:
    schema: dict[str, Any] = next(dict(schema) for kind, _, schema in COLUMN_KINDS if isinstance(of.type, kind))
    return schema | {"type": [schema["type"], "null"]} if of.nullable else schema


_ARCHIVE_FORMAT: Final = "finishlab/archive/1"
_MANIFEST: Final = "archive.json"
_LOGBOOK: Final = "logbook.json"
_SCHEMA: Final = "logbook.schema.json"
_CHECK_NAME: Final = "Check the name and the folder."
_LARGEST_TEXT: Final = 1 << 28
"""Bytes of `logbook.json`."""
_LARGEST_PHOTO: Final = 1 << 29
_MORE_THAN_CAMERA: Final = 1 << 20
"""Bytes by which a copy of a photo may be larger than the original."""
_TIGHTEST: Final = 20
"""How many times smaller than itself a photo is packed at most: it is packed already."""
_CHUNK: Final = 1 << 20
_PACKINGS: Final = frozenset({zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED})
_UNREADABLE: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    NotImplementedError,
    RuntimeError,  # a password is asked for; a list in a list in a list ...
    ValueError,
    OverflowError,
    EOFError,
    LookupError,
    MemoryError,
)
"""What reading a file that is no whole archive raises."""
_README: Final = """This archive holds a finishlab logbook.

logbook.json         everything, as described by logbook.schema.json (JSON Schema, draft 2020-12)
tables/*.csv         the same tables for a spreadsheet; a text that could pass for a formula has a ' before it
photos/              the photos by the SHA-256 of the file the camera wrote; places are taken out

Take it in with: finishlab import THIS-FILE
"""


def _cell(value: Any) -> Cell:  # noqa: ANN401 - any JSON value
    """Return a cell of a table: what is a value of its own stays, lists and objects are written as JSON."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True) if isinstance(value, dict | list) else value


def _put_tables(file: zipfile.ZipFile, document: Mapping[str, Any]) -> None:
    """Add the tables, as `logbook.json` and as CSV."""
    schema = json_schema()
    _put(file, _MANIFEST, _json({"format": _ARCHIVE_FORMAT, "made_with": f"finishlab {__version__}"}))
    _put(file, _SCHEMA, _json(schema))
    _put(file, "README.txt", _README.encode())
    columns = schema["properties"]["tables"]["properties"]
    for name, rows in sorted(document["tables"].items()):
        head = sorted(columns[name]["items"]["properties"])
        cells = ([_cell(row.get(each)) for each in head] for row in rows)
        # The mark at the front tells spreadsheets that the text is UTF-8.
        _put(file, f"tables/{name}.csv", csv_text(head, cells, figures=None).encode("utf-8-sig"))
    _put(file, _LOGBOOK, _json(document))


def _put(file: zipfile.ZipFile, name: str, content: bytes, packing: int = zipfile.ZIP_DEFLATED) -> None:
    entry = zipfile.ZipInfo(name)
    entry.external_attr = 0o644 << 16
    entry.compress_type = packing
    file.writestr(entry, content)


def _json(value: Mapping[str, Any]) -> bytes:
    return (json.dumps(value, ensure_ascii=False, sort_keys=True, indent=1, allow_nan=False) + "\n").encode()


def _document(file: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    """Return `logbook.json`; raises ``"archive-damaged"``, or ``"not-an-archive"`` for another program's file."""
    if _json_in(file, path, _MANIFEST).get("format") != _ARCHIVE_FORMAT:
        raise _no_archive(path)
    return _json_in(file, path, _LOGBOOK)


def _json_in(file: zipfile.ZipFile, path: Path, name: str) -> dict[str, Any]:
    with _reading(path):
        entry = _entry(file, name)
        if entry is None:
            raise _no_archive(path)
        if entry.file_size > _LARGEST_TEXT:
            raise damaged(f"{name} says it has {entry.file_size / 1e9:.1f} GB")
        with file.open(entry) as source:
            text = source.read(_LARGEST_TEXT + 1)
        found = json.loads(text, parse_constant=_no_number)
        # What JSON can say and nothing here can hold: half letters, numbers without end.
        json.dumps(found, ensure_ascii=False, allow_nan=False).encode()
    if not isinstance(found, dict):
        raise _damaged(path)
    return found


def _extract(file: zipfile.ZipFile, path: Path, name: str, into: Path, size: int) -> bool:
    """Write a photo to `into`; return whether the archive has it.

    Parameters
    ----------
    file, path
        The archive.
    name
        Of the photo's file.
    into
        Where to write it.
    size
        Bytes of the photo as the camera wrote it: a copy that lost its place is hardly larger.

    Raises
    ------
    LogbookError
        ``"archive-damaged"`` if it is packed as no photo can be, or is not what it says.
    """
    with _reading(path):
        entry = _entry(file, f"photos/{name}")
        if entry is None:
            return False
        most = min(size + _MORE_THAN_CAMERA, _LARGEST_PHOTO)
        if entry.file_size > min(most, _TIGHTEST * entry.compress_size + _MORE_THAN_CAMERA):
            raise damaged(f"the photo {name[:16]} is larger than it says")
        with file.open(entry) as source, into.open("wb") as target:
            shutil.copyfileobj(source, target, _CHUNK)
    return True


def _entry(file: zipfile.ZipFile, name: str) -> zipfile.ZipInfo | None:
    try:
        entry = file.getinfo(name)
    except KeyError:
        return None
    if entry.compress_type not in _PACKINGS:
        raise damaged(f"{name[:40]!r} is packed in a way that finishlab never packs")
    return entry


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    try:
        yield
    except _UNREADABLE as error:
        raise _damaged(path) from error


def _no_number(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number")


@contextmanager
def open_archive(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open an archive to read.

    Raises
    ------
    LogbookError
        ``"archive-not-found"``, ``"not-an-archive"`` or ``"archive-damaged"``.
    """
    try:
        # A pipe or a device has no end that could be looked for.
        if path.exists() and not path.is_file():
            raise _no_archive(path)
        with path.open("rb") as stream:
            try:
                file = zipfile.ZipFile(stream)
            except _UNREADABLE as error:
                raise (_damaged(path) if zipfile.is_zipfile(path) else _no_archive(path)) from error
            with file:
                yield file
    except FileNotFoundError as error:
        raise LogbookError("archive-not-found", f"There is no file {path}.", _CHECK_NAME) from error
    except OSError as error:
        raise LogbookError(
            "archive-not-found", f"{path} cannot be read ({error.strerror or error}).", _CHECK_NAME
        ) from error


def _no_archive(path: Path) -> LogbookError:
    return LogbookError(
        "not-an-archive", f"{path} is no archive of a logbook.", "Name a file made by: finishlab export"
    )


def _damaged(path: Path) -> LogbookError:
    return LogbookError(
        "archive-damaged", f"{path} is damaged.", "Copy it again, or make it again with: finishlab export"
    )


@dataclass(frozen=True, slots=True)
class Exported:
    """What an archive holds."""

    boards: int
    floor_spots: int
    photos: int
    missing: tuple[str, ...]
    """Names of photos whose files are no longer in the logbook, or no longer what they were."""
    kept_back: tuple[str, ...] = ()
    """Names of photos of which nobody can say what they tell: see `finishlab.photos.kept.shareable`."""


def export_logbook(log: Logbook, path: Path, *, photos: bool = True) -> Exported:
    """Write all a logbook holds into one archive; of a photo goes along what tells nothing of people and places.

    Parameters
    ----------
    log
        The logbook.
    path
        The archive.
    photos
        Whether photos go along.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    dump = log.dump()
    try:
        checked(dump)
    except LogbookError as error:
        raise LogbookError(
            "logbook-damaged",
            f"The logbook holds what no import would take: {error.message.partition(': ')[2]}",
            "Find it and move it aside: finishlab check --repair",
        ) from error
    _refuse_unknown(path, dump)
    rows = dump["tables"]["photos"]
    missing: list[str] = []
    kept_back: list[str] = []
    with whole_file(path) as stream, zipfile.ZipFile(stream, "w", allowZip64=True) as file:
        for row in rows if photos else []:
            place = photo_place(log.folder, row["sha256"], row["suffix"])
            content = place.read_bytes() if place.is_file() else b""
            if hashlib.sha256(content).hexdigest() not in (row["sha256"], row.get("kept_sha256")):
                missing.append(row["file_name"])
                continue
            clean = shareable(content)
            if clean is None:
                kept_back.append(row["file_name"])
                continue
            own = hashlib.sha256(clean).hexdigest()
            row["kept_sha256"] = None if own == row["sha256"] else own
            _put(file, f"photos/{row['sha256']}{row['suffix']}", clean, zipfile.ZIP_STORED)  # packed already
        _put_tables(file, dump)
    kept = {name: sum(row["removed"] is None for row in dump["tables"][name]) for name in ("boards", "floor_spots")}
    given = len(rows) - len(missing) - len(kept_back) if photos else 0
    return Exported(kept["boards"], kept["floor_spots"], given, tuple(missing), tuple(kept_back))


def _refuse_unknown(path: Path, dump: Dump) -> None:
    """See that an archive that is to be replaced holds nothing that this logbook does not know.

    Raises
    ------
    OutputError
        ``"output-taken"``.
    """
    if not zipfile.is_zipfile(path):
        return
    try:
        with open_archive(path) as file:
            document = _document(file, path)
            refuse_other_form(document)
    except LogbookError:
        return  # no archive, and so never replaced
    known = {row["uuid"] for row in dump["tables"]["changes"]}
    if not {row.get("uuid") for row in document["tables"].get("changes", [])} <= known:
        raise OutputError(
            "output-taken",
            f"{path} is an archive with entries that this logbook does not have, so it is not replaced.",
            f"Name another file, or take it in first: finishlab import {path}",
        )


def import_logbook(log: Logbook, path: Path) -> MergeResult:
    """Take an archive into a logbook, empty or used: nothing twice, nothing lost.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``, ``"archive-newer"``, ``"not-an-archive"``, ``"archive-not-found"``, ``"photo-changed"``;
        the logbook's boards and spots are as they were then.
    """
    with open_archive(path) as file, tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        dump = checked(upgraded(_document(file, path)))
        for row in dump["photos"]:
            copy = Path(folder) / "photo"
            if _extract(file, path, f"{row['sha256']}{row['suffix']}", copy, row["size"]):
                log.keep_photo_copy(copy, row)
        return log.merge(dump)
