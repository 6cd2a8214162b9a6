"""The logbook's tables as plain values that JSON and CSV can hold, and back."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Column, Connection, Engine, MetaData, Table, inspect, select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.types import JSON, BigInteger, Date, DateTime, Float, Integer, String, Text

from finishlab.errors import LogbookError
from finishlab.logbook.columns import column_value, plain_value
from finishlab.logbook.database import migrate, migrate_to, open_engine
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.tables import Base, UtcDateTime

__all__ = [
    "FORMAT",
    "TABLES",
    "Dump",
    "Row",
    "Tables",
    "checked",
    "damaged",
    "json_schema",
    "read_dump",
    "upgraded",
]

FORMAT: Final = "finishlab/logbook/1"
TABLES: Final[tuple[Table, ...]] = tuple(Base.metadata.sorted_tables)
"""Every table, those that are named by others before those that name them."""

_HASH: Final = re.compile(r"[0-9a-f]{64}")
_SUFFIX: Final = re.compile(r"(\.[a-z0-9]{1,8})?")

Row = dict[str, Any]
Tables = Mapping[str, list[Row]]
"""All tables, the values as the database takes them."""


@dataclass(frozen=True, slots=True)
class Dump:
    """All rows of a logbook, in the order of their keys."""

    revision: str
    """The step the tables are at, see `finishlab.logbook.migrations`."""
    tables: Mapping[str, list[Row]]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON document."""
        return {"format": FORMAT, "tables_at": self.revision, "tables": dict(self.tables)}

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Dump:
        """Rebuild a dump from `as_dict`.

        Raises
        ------
        LogbookError
            ``"archive-damaged"`` if it is none.
        """
        tables = document.get("tables")
        good = document.get("format") == FORMAT and isinstance(tables, Mapping)
        if not good or not all(
            isinstance(rows, list) and all(isinstance(row, dict) for row in rows) for rows in (tables or {}).values()
        ):
            raise damaged("its list of tables is not one")
        return cls(str(document.get("tables_at")), dict(tables or {}))


def damaged(why: str) -> LogbookError:
    """Return the error of an archive that cannot be taken in."""
    return LogbookError("archive-damaged", f"The archive is damaged: {why}.", "Make it again with: finishlab export")


def read_dump(connection: Connection) -> Dump:
    """Read all tables, at one moment."""
    tables = {}
    for each in TABLES:
        found = connection.execute(select(each).order_by(*each.primary_key.columns)).mappings()
        tables[each.name] = [{name: plain_value(value) for name, value in row.items()} for row in found]
    return Dump(HEAD, tables)


def checked(dump: Dump) -> Tables:
    """Return the tables; rows that a table of today cannot hold, and photos that name no photo file, are refused.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``.
    """
    tables: dict[str, list[Row]] = {
        each.name: [dict.fromkeys(each.columns.keys()) | _decoded(each, row) for row in dump.tables.get(each.name, [])]
        for each in TABLES
    }
    for each in TABLES:
        wanted = {column.name for column in each.columns if not column.nullable or column.name == "uuid"}
        for row in tables[each.name]:
            given = {name for name, value in row.items() if value is not None}
            if wanted - given:
                raise damaged(f"the table {each.name} lacks {min(wanted - given)}")
    columns = {each.name: set(each.columns.keys()) for each in TABLES}
    for row in tables["row_images"]:
        if not {*(row["before"] or ()), *(row["after"] or ())} < columns.get(row["table_name"], set()):
            raise damaged(f"an image is of no row of a table {row['table_name']}")
    if not {row["change_id"] for row in tables["row_images"]} <= {row["id"] for row in tables["changes"]}:
        raise damaged("an image is of no change")
    for row in tables["photos"]:
        hashes = [row["sha256"], row.get("kept_sha256") or row["sha256"]]
        if not all(_HASH.fullmatch(each) for each in hashes) or not _SUFFIX.fullmatch(row["suffix"]):
            raise damaged("a photo has no proper name")
    return tables


def _decoded(into: Table, row: Mapping[str, Any]) -> Row:
    """Return a row's values as the database takes them.

    Raises
    ------
    LogbookError
        ``"archive-damaged"`` if a value cannot be one of its column.
    """
    out: Row = {}
    for name, value in row.items():
        if name not in into.columns:
            raise damaged(f"the table {into.name} has no column {name}")
        try:
            out[name] = column_value(into.columns[name].type, value)
        except (TypeError, ValueError) as error:
            raise damaged(f"{into.name}.{name} cannot be {value!r}") from error
    return out


def upgraded(dump: Dump) -> Dump:
    """Return a dump of an older finishlab with its tables at today's step.

    Raises
    ------
    LogbookError
        ``"archive-newer"`` or ``"archive-damaged"``.
    """
    if dump.revision == HEAD:
        return dump
    with tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        engine = open_engine(Path(folder) / "old.db")
        try:
            if not migrate_to(engine, dump.revision):
                raise LogbookError(
                    "archive-newer",
                    f"The archive was made by a newer finishlab (its tables are at “{dump.revision}”).",
                    "Update finishlab, then import it again.",
                )
            _fill(engine, dump)
            migrate(engine)
            with engine.connect() as connection:
                return read_dump(connection)
        except SQLAlchemyError as error:
            raise damaged(f"its tables do not fit together ({type(error).__name__})") from error
        finally:
            engine.dispose()


def _fill(engine: Engine, dump: Dump) -> None:
    """Put the rows into tables of the dump's own step, whose columns may not be today's."""
    with engine.begin() as connection:
        there = set(inspect(connection).get_table_names())
        for name in [each.name for each in TABLES if each.name in there]:
            found = inspect(connection).get_columns(name)
            # A moment is read and written in one way only, the logbook's own.
            old = Table(
                name,
                MetaData(),
                *(Column(c["name"], UtcDateTime() if isinstance(c["type"], DateTime) else c["type"]) for c in found),
            )
            connection.execute(old.delete())
            rows = [_decoded(old, row) for row in dump.tables.get(name, [])]
            if rows:
                connection.execute(old.insert(), rows)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of `Dump.as_dict`, made from the tables."""
    tables = {
        each.name: {"type": "array", "items": _row_schema(each), "description": _said_of(each)}
        for each in sorted(TABLES, key=lambda each: each.name)
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


def _said_of(each: Table) -> str:
    words = {mapper.class_.__tablename__: mapper.class_.__doc__ for mapper in Base.registry.mappers}
    return str(words[each.name]).split("\n", maxsplit=1)[0]


def _row_schema(each: Table) -> dict[str, Any]:
    return {
        "type": "object",
        "required": sorted(each.columns.keys()),
        "properties": {name: _value_schema(found) for name, found in sorted(each.columns.items())},
        "additionalProperties": False,
    }


def _value_schema(of: Column[Any]) -> dict[str, Any]:
    kinds: Iterable[tuple[type | tuple[type, ...], dict[str, Any]]] = (
        (JSON, {"type": "object"}),
        (UtcDateTime, {"type": "string", "format": "date-time"}),
        (Date, {"type": "string", "format": "date"}),
        (Float, {"type": "number"}),
        ((Integer, BigInteger), {"type": "integer"}),
        ((String, Text), {"type": "string"}),
    )
    schema = next(dict(found) for kind, found in kinds if isinstance(of.type, kind))
    return schema | {"type": [schema["type"], "null"]} if of.nullable else schema
