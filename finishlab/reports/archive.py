"""One file that holds a whole logbook: JSON with its schema, a CSV table each, the photos.

The same logbook gives the same bytes: entries are sorted and carry no time of their own.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from finishlab.errors import LogbookError
from finishlab.files import whole_file
from finishlab.reports.tables import Cell, csv_text

__all__ = ["ArchiveReader", "ArchiveWriter", "open_archive", "write_archive"]

FORMAT: Final = "finishlab/archive/1"
_MANIFEST: Final = "archive.json"
_LOGBOOK: Final = "logbook.json"
_SCHEMA: Final = "logbook.schema.json"
_CHECK_NAME: Final = "Check the name and the folder."
_LARGEST_TEXT: Final = 2_000_000_000
_README: Final = """This archive holds a finishlab logbook.

logbook.json         everything, as described by logbook.schema.json (JSON Schema, draft 2020-12)
tables/*.csv         the same tables for a spreadsheet; a text that could pass for a formula has a ' before it
photos/              the photos by the SHA-256 of the file the camera wrote; places are taken out

Take it in with: finishlab import THIS-FILE
"""


def _cell(value: Any) -> Cell:  # noqa: ANN401 - any JSON value
    """Return a cell of a table: what is a value of its own stays, lists and objects are written as JSON."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True) if isinstance(value, dict | list) else value


class ArchiveWriter:
    """An archive being written; see `write_archive`."""

    def __init__(self, file: zipfile.ZipFile) -> None:
        self._file = file

    def photo(self, name: str, content: bytes) -> None:
        """Add a photo; photos are packed already."""
        self._put(f"photos/{name}", content, zipfile.ZIP_STORED)

    def tables(self, document: Mapping[str, Any], schema: Mapping[str, Any], version: str) -> None:
        """Add the tables, as `logbook.json` and as CSV."""
        manifest = {"format": FORMAT, "made_with": f"finishlab {version}"}
        self._put(_MANIFEST, _json(manifest))
        self._put(_SCHEMA, _json(schema))
        self._put("README.txt", _README.encode())
        columns = schema["properties"]["tables"]["properties"]
        for name, rows in sorted(document["tables"].items()):
            head = sorted(columns[name]["items"]["properties"])
            cells = ([_cell(row.get(name)) for name in head] for row in rows)
            # The mark at the front tells spreadsheets that the text is UTF-8.
            self._put(f"tables/{name}.csv", csv_text(head, cells, figures=None).encode("utf-8-sig"))
        self._put(_LOGBOOK, _json(document))

    def _put(self, name: str, content: bytes, packing: int = zipfile.ZIP_DEFLATED) -> None:
        entry = zipfile.ZipInfo(name)
        entry.external_attr = 0o644 << 16
        entry.compress_type = packing
        self._file.writestr(entry, content)


def _json(value: Mapping[str, Any]) -> bytes:
    return (json.dumps(value, ensure_ascii=False, sort_keys=True, indent=1, allow_nan=False) + "\n").encode()


@contextmanager
def write_archive(path: Path) -> Iterator[ArchiveWriter]:
    """Write an archive, whole or not at all.

    Raises
    ------
    OutputError
        ``"output-not-writable"``.
    """
    with whole_file(path) as stream, zipfile.ZipFile(stream, "w", allowZip64=True) as file:
        yield ArchiveWriter(file)


class ArchiveReader:
    """An archive being read; see `open_archive`."""

    def __init__(self, file: zipfile.ZipFile, path: Path) -> None:
        self._file = file
        self._path = path

    def document(self) -> dict[str, Any]:
        """Return `logbook.json`.

        Raises
        ------
        LogbookError
            ``"archive-damaged"``, or ``"not-an-archive"`` for another program's file.
        """
        if self._json(_MANIFEST).get("format") != FORMAT:
            raise _no_archive(self._path)
        return self._json(_LOGBOOK)

    def extract(self, name: str, into: Path) -> bool:
        """Write a photo to `into`; return whether the archive has it."""
        try:
            with self._file.open(f"photos/{name}") as source, into.open("wb") as target:
                while chunk := source.read(1 << 20):
                    target.write(chunk)
        except KeyError:
            return False
        return True

    def _json(self, name: str) -> dict[str, Any]:
        try:
            if self._file.getinfo(name).file_size > _LARGEST_TEXT:
                raise _damaged(self._path)
            found = json.loads(self._file.read(name))
        except KeyError:
            raise _no_archive(self._path) from None
        except ValueError as error:
            raise _damaged(self._path) from error
        if not isinstance(found, dict):
            raise _damaged(self._path)
        return found


@contextmanager
def open_archive(path: Path) -> Iterator[ArchiveReader]:
    """Open an archive to read.

    Raises
    ------
    LogbookError
        ``"archive-not-found"``, ``"not-an-archive"`` or ``"archive-damaged"``.
    """
    try:
        with zipfile.ZipFile(path) as file:
            yield ArchiveReader(file, path)
    except FileNotFoundError as error:
        raise LogbookError(
            "archive-not-found", f"There is no file {path}.", "Check the name and the folder."
        ) from error
    except zipfile.BadZipFile as error:
        raise (_damaged(path) if zipfile.is_zipfile(path) else _no_archive(path)) from error
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
